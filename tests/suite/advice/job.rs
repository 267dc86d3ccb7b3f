//! Job folders in which everything but the drawn errors is known, to be added to and run again.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;

use aslaid::pipeline::{Options, run};
use aslaid::record::AsBuilt;

use crate::advice::rng::Rng;

pub const ORIGIN: (f64, f64) = (567_900.0, 5_250_000.0);
/// One-sigma of a tape by default, metres.
const TAPE: f64 = 0.015;

pub type Cells = BTreeMap<String, String>;
pub type Spot = (f64, f64);

/// A job with the true places of its references and marks, metres from [`ORIGIN`].
#[derive(Clone)]
pub struct Job {
    pub extra: String,
    pub references: Vec<(String, Spot)>,
    pub places: Vec<Spot>,
    pub marks: Vec<Cells>,
    pub measures: Vec<[String; 4]>,
}

pub fn apart(a: Spot, b: Spot) -> f64 {
    f64::hypot(a.0 - b.0, a.1 - b.1)
}

/// Uniform between two bounds.
fn within(rng: &mut Rng, low: f64, high: f64) -> f64 {
    rng.between((low, high))
}

pub fn set(cells: &mut Cells, column: &str, value: impl ToString) {
    cells.insert(column.to_owned(), value.to_string());
}

impl Job {
    /// Seven references about a run of seven marks, each taped from two or three of them.
    pub fn random(seed: u64) -> Self {
        let mut rng = Rng::new(seed, 1);
        let references: Vec<(String, Spot)> = (0..7)
            .map(|i| {
                let spot = (within(&mut rng, 0.0, 36.0), within(&mut rng, -14.0, 14.0));
                (format!("P{}", i + 1), spot)
            })
            .collect();
        let places: Vec<Spot> = (0..7)
            .map(|i| (2.0 + 5.0 * f64::from(i), within(&mut rng, -0.4, 0.4)))
            .collect();
        let mut job = Self {
            extra: String::new(),
            references,
            marks: Vec::new(),
            places,
            measures: Vec::new(),
        };
        for i in 0..job.places.len() {
            let ties = if i % 3 == 2 { 3 } else { 2 };
            let cells = job.mark(i, ties, &mut rng);
            job.marks.push(cells);
        }
        job
    }

    /// A mark's row: taped from so many references, read at 1.5 to 1.8 m.
    fn mark(&self, index: usize, ties: usize, rng: &mut Rng) -> Cells {
        let here = self.places[index];
        let mut cells = Cells::new();
        set(&mut cells, "run", "A");
        set(&mut cells, "mark", format!("A{}", index + 1));
        set(&mut cells, "counter", 0.5 + 5.0 * index as f64);
        set(&mut cells, "ground", 100.0 + 0.01 * index as f64);
        let depth = 1.5 + 0.05 * index as f64;
        set(&mut cells, "depth_1", format!("{depth:.3}"));
        set(&mut cells, "depth_2", format!("{:.3}", depth + 0.01));
        let from = self.choose(here, ties, rng);
        for (number, &reference) in from.iter().enumerate() {
            let (name, spot) = &self.references[reference];
            set(&mut cells, &format!("tie_{}_ref", number + 1), name);
            let length = apart(here, *spot) + TAPE * rng.normal();
            set(
                &mut cells,
                &format!("tie_{}", number + 1),
                format!("{length:.4}"),
            );
        }
        if let &[a, b] = from.as_slice() {
            let right = cross(self.references[a].1, self.references[b].1, here) < 0.0;
            set(&mut cells, "side", if right { "right" } else { "left" });
        }
        cells
    }

    /// References in reach whose tapes meet at 10° at least.
    fn choose(&self, here: Spot, ties: usize, rng: &mut Rng) -> Vec<usize> {
        loop {
            let picked: BTreeSet<usize> = (0..ties)
                .map(|_| (within(rng, 0.0, 6.999)) as usize)
                .collect();
            let picked: Vec<usize> = picked.into_iter().collect();
            let spots: Vec<Spot> = picked.iter().map(|&i| self.references[i].1).collect();
            let near = spots.iter().all(|&s| (1.0..29.0).contains(&apart(here, s)));
            let cut = spots.len() == ties
                && spots.windows(2).all(|pair| {
                    let product = apart(here, pair[0]) * apart(here, pair[1]);
                    (cross(pair[0], pair[1], here) / product).abs() > 0.17
                });
            if near && cut {
                return picked;
            }
        }
    }

    /// Adds a tape, with its error.
    pub fn tape(&mut self, reference: usize, mark: usize, rng: &mut Rng) {
        let (name, spot) = &self.references[reference];
        let length = apart(*spot, self.places[mark]) + TAPE * rng.normal();
        self.measures.push([
            "distance".to_owned(),
            name.clone(),
            format!("A{}", mark + 1),
            format!("{length:.4}"),
        ]);
    }

    /// References that a tape of 100 ft reaches and that the mark isn't taped from.
    pub fn untaped(&self, mark: usize) -> Vec<usize> {
        let cells = &self.marks[mark];
        let taped = |name: &String| cells.iter().any(|(k, v)| k.ends_with("_ref") && v == name);
        (0..self.references.len())
            .filter(|&i| {
                let (name, spot) = &self.references[i];
                let length = apart(*spot, self.places[mark]);
                !taped(name) && (0.3..30.48).contains(&length)
            })
            .collect()
    }

    /// Writes the folder and computes it.
    pub fn run(&self) -> AsBuilt {
        let folder = tempfile::tempdir().expect("a folder");
        let put = |file: &str, text: String| {
            fs::write(folder.path().join(file), text).expect("a file");
        };
        put(
            "job.toml",
            format!(
                "[job]\nid = \"T-1\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"EPSG:26910\"\nunit = \"m\"\n\
                 vertical = \"local\"\nheight = \"95 m\"\ndistances = \"grid\"\n[equipment]\naxis_above_invert = \"0.04 m\"\n\
                 [[run]]\nid = \"A\"\ndiameter = \"0.1 m\"\npushed = \"downstream\"\n{}",
                self.extra
            ),
        );
        let mut control = "point,easting,northing\n".to_owned();
        for (name, (e, n)) in &self.references {
            let _ = writeln!(control, "{name},{:.4},{:.4}", ORIGIN.0 + e, ORIGIN.1 + n);
        }
        put("control.csv", control);
        put("marks.csv", table(&self.marks));
        let mut measures = "kind,from,to,value\n".to_owned();
        for row in &self.measures {
            measures += &(row.join(",") + "\n");
        }
        if !self.measures.is_empty() {
            put("measures.csv", measures);
        }
        let outcome = run(folder.path(), &Options::default()).expect("a job");
        let errors: Vec<_> = outcome
            .findings
            .iter()
            .filter(|finding| finding.level == aslaid::findings::Level::Error)
            .collect();
        assert!(errors.is_empty(), "{errors:#?}");
        outcome.record.expect("a record")
    }
}

/// Twice the area of a triangle, positive with the third point left of the line through the first two.
fn cross(a: Spot, b: Spot, c: Spot) -> f64 {
    (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0)
}

fn table(rows: &[Cells]) -> String {
    let columns: BTreeSet<&String> = rows.iter().flat_map(Cells::keys).collect();
    let line = |cells: Vec<&str>| cells.join(",") + "\n";
    let mut text = line(columns.iter().map(|column| column.as_str()).collect());
    for row in rows {
        let cell = |column: &&String| row.get(*column).map_or("", String::as_str);
        text += &line(columns.iter().map(cell).collect());
    }
    text
}

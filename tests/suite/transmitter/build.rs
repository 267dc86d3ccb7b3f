//! Jobs built in memory: marks with independent places and grounds.

use std::collections::BTreeMap;
use std::sync::Arc;

use aslaid::height::{Ground, GroundFrom, Grounds};
use aslaid::job::model::{
    CellCount, Equipment, Grid, Head, Job, LostPoints, MarkRow, Placing, ReadBy, Role, Run, Source,
    Stream,
};
use aslaid::limits::{Accuracy, Limits};
use aslaid::observe::{MarkPoints, Observations, Point, PointId, PointRole};
use aslaid::position::{Block, Place, Places};
use aslaid::run::Inputs;
use aslaid::units::LengthUnit;

/// A job under construction: each point with its own place and ground.
pub struct Site {
    pub job: Job,
    pub observations: Observations,
    pub places: Vec<Option<Place>>,
    pub grounds: Vec<Option<Ground>>,
}

impl Places for Site {
    fn place(&self, point: PointId) -> Option<Place> {
        self.places[point.0 as usize]
    }
    fn covariance(&self, a: PointId, b: PointId) -> Block {
        if a == b {
            self.places[a.0 as usize].map_or([[0.0; 2]; 2], |place| place.covariance)
        } else {
            [[0.0; 2]; 2]
        }
    }
}

impl Grounds for Site {
    fn ground(&self, point: PointId) -> Option<Ground> {
        self.grounds[point.0 as usize]
    }
    fn covariance(&self, a: PointId, b: PointId) -> f64 {
        if a == b {
            self.grounds[a.0 as usize].map_or(0.0, |ground| ground.variance)
        } else {
            0.0
        }
    }
}

pub fn source(row: usize) -> Source {
    Source {
        file: Arc::from("marks.csv"),
        row: row as u32,
    }
}

pub fn run(id: &str, pushed: Stream) -> Run {
    Run {
        id: Arc::from(id),
        diameter: Some(0.1016),
        wall: Some(0.006),
        texts: BTreeMap::new(),
        pushed,
        min_grade: None,
        station_from: Stream::Up,
        axis_above_invert: None,
        joins: None,
        lost: false,
        source: source(0),
    }
}

pub fn row(mark: &str, role: Role) -> MarkRow {
    MarkRow {
        source: source(2),
        run: 0,
        mark: Arc::from(mark),
        push: None,
        counter: None,
        role,
        usage: aslaid::job::model::Use::Yes,
        placing: Placing::default(),
        ground: None,
        readings: [None; 4],
        read_by: ReadBy::Automatic,
        lift: 0.0,
        attitude: aslaid::job::model::Attitude::Level,
        found_by: aslaid::job::model::FoundBy::Crossline,
        end_ahead: None,
        end_behind: None,
        signals: None,
        tilt: None,
        invert_depth: None,
        fitting: None,
        quality: None,
        photo: None,
        note: None,
        attributes: Vec::new(),
    }
}

impl Site {
    pub fn new(runs: Vec<Run>) -> Self {
        let job = Job {
            head: Head {
                id: "J".into(),
                supplier: Some("S".into()),
                ..Head::default()
            },
            grid: Grid {
                crs: "local".into(),
                unit: LengthUnit::Metre,
                vertical: None,
                geoid: None,
                height: None,
                taped_on_slope: false,
                distances_on_grid: false,
                geoid_separation: None,
                declination: None,
            },
            recast: None,
            equipment: Equipment {
                lens_to_transmitter: Some(0.25),
                axis_above_invert: Some(0.04),
                ..Equipment::default()
            },
            accuracy: Accuracy::default(),
            limits: Limits::default(),
            publish: Vec::new(),
            layers: std::collections::BTreeMap::new(),
            runs,
            pushes: Vec::new(),
            control: Vec::new(),
            marks: Vec::new(),
            measures: Vec::new(),
            camera: Vec::new(),
            levels: Vec::new(),
            logs: Vec::new(),
            notes: Vec::new(),
            left_out: Vec::new(),
            inputs: Vec::new(),
            cells: CellCount::default(),
            dropped: 0,
            lost: LostPoints::default(),
        };
        let observations = Observations {
            ground_to_grid: 1.0,
            ..Observations::default()
        };
        Self {
            job,
            observations,
            places: Vec::new(),
            grounds: Vec::new(),
        }
    }

    pub fn inputs(&self) -> Inputs<'_> {
        Inputs {
            job: &self.job,
            observations: &self.observations,
            places: self,
            grounds: self,
        }
    }

    /// Adds a row with its point; rows of the same mark join.
    pub fn add(&mut self, row: MarkRow, at: (f64, f64), sigma: f64, ground: Option<f64>) {
        let index = self.job.marks.len();
        let id = PointId(self.places.len() as u32);
        let suffix = match row.role {
            Role::Centre => "",
            Role::EndAhead => " ahead",
            Role::EndBehind => " behind",
            Role::Peak => " peak",
            Role::Exposed => " exposed",
        };
        self.observations.points.push(Point {
            name: Arc::from(format!("{}{suffix}", row.mark)),
            role: PointRole::Mark(index),
            site: None,
            fixed: None,
        });
        let covariance = [[sigma * sigma, 0.0], [0.0, sigma * sigma]];
        self.places.push(Some(Place {
            e: at.0,
            n: at.1,
            covariance,
        }));
        let variance = self.job.accuracy.ground.powi(2);
        self.grounds.push(ground.map(|z| Ground {
            z,
            variance,
            from: GroundFrom::Given,
        }));
        let marks = &mut self.observations.marks;
        let position = marks
            .iter()
            .position(|points| points.name == row.mark)
            .unwrap_or_else(|| {
                marks.push(MarkPoints {
                    name: row.mark.clone(),
                    run: row.run,
                    ..MarkPoints::default()
                });
                marks.len() - 1
            });
        let points = &mut marks[position];
        match row.role {
            Role::Centre => points.centre = Some((index, id)),
            Role::EndAhead => points.ahead = Some((index, id)),
            Role::EndBehind => points.behind = Some((index, id)),
            Role::Peak => points.peak = Some((index, id)),
            Role::Exposed => points.exposed = Some((index, id)),
        }
        self.job.marks.push(row);
    }
}

/// A small generator with a seed: splitmix64, and normal deviates by the polar method.
pub struct Random(pub u64);

impl Random {
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }
    pub fn normal(&mut self, sigma: f64) -> f64 {
        loop {
            let (u, v) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let s = u * u + v * v;
            if s > 0.0 && s < 1.0 {
                return sigma * u * (-2.0 * s.ln() / s).sqrt();
            }
        }
    }
}

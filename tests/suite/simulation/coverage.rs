//! Holds records against the truth and tabulates the shares inside.

use std::collections::BTreeMap;
use std::fmt;

use aslaid::pipeline::Outcome;
use aslaid::record::AsBuilt;
use aslaid::record::model::{DepthBasis, Vertex, VertexKind};

use super::inside::over_ellipse;
use super::tally::Tally;
use super::truth::Truth;

/// Tables of counts: quantity, heading.
#[derive(Clone, Debug, Default)]
pub struct Coverage {
    /// Jobs.
    pub jobs: usize,
    tallies: BTreeMap<(&'static str, String), Tally>,
    /// Jobs that gave no record, or errors: what they said.
    pub failures: Vec<String>,
    /// Findings: how many jobs have one of a level and code.
    pub findings: BTreeMap<String, usize>,
    /// Marks and observations that truth has and records don't.
    pub missing: Vec<String>,
}

/// Heading of the sum.
const ALL: &str = "all";

impl Coverage {
    /// Counts of a quantity over all jobs.
    pub fn all(&self, quantity: &'static str) -> Tally {
        self.of(quantity, ALL)
    }

    /// Counts of a quantity under a heading.
    pub fn of(&self, quantity: &'static str, heading: &str) -> Tally {
        self.tallies
            .get(&(quantity, heading.to_owned()))
            .copied()
            .unwrap_or_default()
    }

    /// Adds the counts of other jobs.
    pub fn merge(mut self, other: Self) -> Self {
        self.jobs += other.jobs;
        self.failures.extend(other.failures);
        self.missing.extend(other.missing);
        for (key, tally) in other.tallies {
            self.tallies.entry(key).or_default().merge(&tally);
        }
        for (code, jobs) in other.findings {
            *self.findings.entry(code).or_default() += jobs;
        }
        self
    }

    /// One job's counts.
    pub fn of_job(outcome: &Result<Outcome, String>, truth: &Truth) -> Self {
        let mut coverage = Self {
            jobs: 1,
            ..Self::default()
        };
        match outcome {
            Ok(Outcome {
                record: Some(record),
                findings,
                ..
            }) => {
                for finding in findings {
                    let key = format!("{:?} {}", finding.level, finding.code);
                    coverage.findings.insert(key, 1);
                }
                if let Some(error) = findings
                    .iter()
                    .find(|finding| finding.level == aslaid::findings::Level::Error)
                {
                    coverage
                        .failures
                        .push(format!("{}: {}", error.code, error.message));
                }
                coverage.compare(record, truth);
            }
            Ok(Outcome { findings, .. }) => {
                let said = findings
                    .first()
                    .map_or("nothing", |finding| finding.message.as_str());
                coverage.failures.push(format!("no record: {said}"));
            }
            Err(why) => coverage.failures.push(why.clone()),
        }
        coverage
    }

    fn compare(&mut self, record: &AsBuilt, truth: &Truth) {
        self.marks(record, truth);
        self.runs(record, truth);
        self.camera(record, truth);
        for check in &record.checks {
            self.count("check", truth, &check.from, check.difference / check.bound);
        }
    }

    /// Counts under the sum, the scenario and a heading of the quantity's own.
    fn count(&mut self, quantity: &'static str, truth: &Truth, heading: &str, ratio: f64) {
        for heading in [ALL, truth.class, heading, grade_class(truth.grade)] {
            if !heading.is_empty() {
                self.tallies
                    .entry((quantity, heading.to_owned()))
                    .or_default()
                    .add(ratio);
            }
        }
    }

    fn flag(&mut self, quantity: &'static str, heading: &str, yes: bool) {
        for heading in [ALL, heading] {
            if !heading.is_empty() {
                self.tallies
                    .entry((quantity, heading.to_owned()))
                    .or_default()
                    .add_flag(yes);
            }
        }
    }

    fn marks(&mut self, record: &AsBuilt, truth: &Truth) {
        let (metre, crs_metre) = (record.frame.unit.metres(), record.frame.crs_unit_metres);
        for (name, mark) in &truth.marks {
            let Some(found) = record.marks.iter().find(|found| found.mark == *name) else {
                self.missing.push(format!("mark {name}"));
                continue;
            };
            let place = [found.easting * crs_metre, found.northing * crs_metre];
            match &found.ellipse {
                Some(ellipse) => {
                    let ratio = over_ellipse(ellipse, difference(place, mark.grid, metre));
                    self.count("ellipse", truth, &mark.method, ratio);
                }
                None => self.missing.push(format!("ellipse of {name}")),
            }
            if let (Some(invert), Some(bound)) = (found.invert, found.invert_95) {
                self.count(
                    "invert",
                    truth,
                    &mark.method,
                    (invert - mark.invert / metre) / bound,
                );
            }
            if let (Some(azimuth), Some(bound)) = (found.axis_azimuth, found.axis_azimuth_95) {
                let off = (azimuth - mark.azimuth + 180.0).rem_euclid(360.0) - 180.0;
                self.count("direction", truth, "", off / bound);
            }
            if let (Some(depth), Some(bound)) = (found.transmitter_depth, found.depth_95) {
                let quantity = if found.depth_basis == DepthBasis::Ends {
                    "depth by ends"
                } else {
                    "depth"
                };
                self.count(
                    quantity,
                    truth,
                    &mark.method,
                    (depth - mark.depth / metre) / bound,
                );
            }
        }
    }

    fn camera(&mut self, record: &AsBuilt, truth: &Truth) {
        let (metre, crs_metre) = (record.frame.unit.metres(), record.frame.crs_unit_metres);
        for (what, sight) in &truth.camera {
            let Some(found) = record.camera.iter().find(|found| found.what == *what) else {
                self.missing.push(what.clone());
                continue;
            };
            let (Some(easting), Some(northing), Some(ellipse)) =
                (found.easting, found.northing, &found.ellipse)
            else {
                self.missing.push(format!("place of {what}"));
                continue;
            };
            let off = difference(
                [easting * crs_metre, northing * crs_metre],
                sight.grid,
                metre,
            );
            self.count("camera", truth, "", over_ellipse(ellipse, off));
            if let (Some(invert), Some(bound)) = (found.invert, found.invert_95) {
                self.count(
                    "camera invert",
                    truth,
                    "",
                    (invert - sight.invert / metre) / bound,
                );
            }
        }
    }

    fn runs(&mut self, record: &AsBuilt, truth: &Truth) {
        for run in &record.runs {
            let marks: Vec<usize> = (0..run.vertices.len())
                .filter(|&i| run.vertices[i].kind == VertexKind::Mark)
                .collect();
            for pair in marks.windows(2) {
                self.gap(&run.vertices[pair[0]..=pair[1]], record, truth);
            }
            // Drawn on the grid, and so reckoned; a run's fall is no longer there.
            let [plan, path] = truth.lengths(&run.run).map(|ground| truth.scale * ground);
            let metre = record.frame.unit.metres();
            if let (Some(length), Some(in_plan), Some(bound)) =
                (run.length, run.length_plan, run.length_95)
            {
                self.count("length", truth, "", (length - path / metre) / bound);
                self.count(
                    "length in plan",
                    truth,
                    "",
                    (in_plan - plan / metre) / bound,
                );
            }
            let known = truth.bends.iter().all(|bend| bend.located);
            if let (Some(grade), Some(bound), "A", true) =
                (run.grade, run.grade_95, run.run.as_str(), known)
            {
                self.count(
                    "run grade",
                    truth,
                    "",
                    (grade - 100.0 * truth.grade) / bound,
                );
            }
            for vertex in &run.vertices {
                if let (VertexKind::Junction, Some(grid)) = (vertex.kind, truth.junction) {
                    self.vertex("junction", vertex, grid, record, truth);
                }
            }
        }
    }

    /// From one mark to the next, with what lies between.
    fn gap(&mut self, vertices: &[Vertex], record: &AsBuilt, truth: &Truth) {
        let [first, between @ .., last] = vertices else {
            return;
        };
        let (Some(from), Some(to)) = (&first.mark, &last.mark) else {
            return;
        };
        if let (true, Some(grade), Some(bound), Some(true_grade)) = (
            between.is_empty(),
            first.grade,
            first.grade_95,
            truth.leg_grade(from, to),
        ) {
            self.count("leg grade", truth, "", (grade - 100.0 * true_grade) / bound);
        }
        let inferred = between
            .iter()
            .find(|vertex| vertex.kind == VertexKind::Bend);
        match truth.unlocated(from, to) {
            Some(bend) => {
                self.flag(
                    "bend found",
                    &format!("{} degrees", bend.degrees),
                    inferred.is_some(),
                );
                if let Some(vertex) = inferred {
                    self.vertex("bend ellipse", vertex, bend.grid, record, truth);
                }
            }
            None => self.flag("bend where there is none", "", inferred.is_some()),
        }
    }

    fn vertex(
        &mut self,
        quantity: &'static str,
        vertex: &Vertex,
        grid: [f64; 2],
        record: &AsBuilt,
        truth: &Truth,
    ) {
        let (metre, crs_metre) = (record.frame.unit.metres(), record.frame.crs_unit_metres);
        match &vertex.ellipse {
            Some(ellipse) => {
                let place = [vertex.easting * crs_metre, vertex.northing * crs_metre];
                self.count(
                    quantity,
                    truth,
                    "",
                    over_ellipse(ellipse, difference(place, grid, metre)),
                );
            }
            None => self.missing.push(format!("{quantity}: none stated")),
        }
    }
}

/// East and north from the truth to what was found, in the result unit.
fn difference([e, n]: [f64; 2], [true_e, true_n]: [f64; 2], metre: f64) -> [f64; 2] {
    [(e - true_e) / metre, (n - true_n) / metre]
}

/// Heading for a grade. Beyond 17.6 % the slope itself exceeds 10°, where readings come out deep and are widened.
fn grade_class(grade: f64) -> &'static str {
    match grade {
        ..0.05 => "grade under 5 %",
        ..0.10 => "grade 5 to 10 %",
        ..0.176 => "grade 10 to 17.6 %",
        _ => "grade over 17.6 %",
    }
}

impl fmt::Display for Coverage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} jobs; shares inside the stated 95 % regions, with their own 95 % intervals",
            self.jobs
        )?;
        for ((quantity, heading), tally) in &self.tallies {
            writeln!(f, "{quantity:>25}  {heading:<20} {tally}")?;
        }
        for (code, jobs) in &self.findings {
            writeln!(f, "{jobs:>6} jobs with {code}")?;
        }
        for (count, what) in [
            (self.failures.len(), &self.failures),
            (self.missing.len(), &self.missing),
        ] {
            if let Some(first) = what.first() {
                writeln!(f, "{count} times wrong or missing, first: {first}")?;
            }
        }
        Ok(())
    }
}

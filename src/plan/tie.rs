//! Common points of a plan and the job: a similarity from three or more, residuals, and the wrong one named.
//!
//! The file is a table: `point, plan_x, plan_y, easting, northing` and, where it is known, `sigma`; a point without `easting,
//! northing` is looked up by its name among the job's references and marks.
//!
//! **Test.** The similarity is fitted with weights w = 1/σ². With W their sum, x̄ the weighted mean and S = Σ wⱼ|xⱼ − x̄|², a place x that
//! it brings over has the variance q(x) = 1/W + |x − x̄|²/S, each axis, and the residual of point *i* has the covariance σᵢ²·rᵢ·I with
//! rᵢ = 1 − q(xᵢ)/σᵢ², so |vᵢ|²/(σᵢ²rᵢ) is chi-square of two degrees of freedom: over 13.8 (α = 0.001,
//! [`crate::sources::Source::Baarda1968`]) the point is wrong. The worst one is left out, named, and the rest tested again; never
//! below three points, where nothing could tell which is wrong.

use std::collections::BTreeMap;

use crate::crs::CrsError;
use crate::error::Error;
use crate::math::similarity::Similarity;
use crate::record::AsBuilt;
use crate::units::{Plain, counted, fixed, parse_number};

/// One-sigma of a common point, each axis, both systems together, metres (our choice: a well-marked point that both surveys set an
/// instrument on; where the points are worse, the column `sigma` says so).
pub const SIGMA: f64 = 0.01;

/// Chi-square of two degrees of freedom at α = 0.001: −2 ln 0.001.
const CHI_SQUARE: f64 = 13.815_510_557_964_274;

/// Redundancy below which a point can't be tested (our choice).
const TESTABLE: f64 = 1e-3;

/// A common point.
#[derive(Clone, Debug, PartialEq)]
pub struct Common {
    /// Name.
    pub point: String,
    /// In the plan's coordinates.
    pub plan: (f64, f64),
    /// On the job's grid, metres.
    pub grid: (f64, f64),
    /// One-sigma, each axis, metres.
    pub sigma: f64,
    /// Where it stands: `tie.csv:3`.
    pub source: String,
}

/// A common point after the fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// The point.
    pub common: Common,
    /// As the plan has it, less the job: east, north, metres.
    pub residual: (f64, f64),
    /// It took part; otherwise it was found wrong.
    pub used: bool,
}

/// The fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Tie {
    /// Plan to grid, metres.
    pub similarity: Similarity,
    /// Every point, in file order.
    pub points: Vec<Fitted>,
    /// W and S.
    weights: f64,
    spread: f64,
}

impl Tie {
    /// Points that took part.
    #[must_use]
    pub fn used(&self) -> usize {
        self.points.iter().filter(|point| point.used).count()
    }

    /// One-sigma of a place that the tie brings over, each axis, metres.
    #[must_use]
    pub fn sigma_at(&self, plan: (f64, f64)) -> f64 {
        self.variance_at(plan).sqrt()
    }

    fn variance_at(&self, (x, y): (f64, f64)) -> f64 {
        let centre = self.similarity.origin;
        let away = (x - centre.0).powi(2) + (y - centre.1).powi(2);
        1.0 / self.weights + away / self.spread
    }

    /// A place on the job's grid (metres) in the plan's own coordinates.
    #[must_use]
    pub fn back(&self, grid: (f64, f64)) -> (f64, f64) {
        let [a, b, e, n] = self.similarity.parameters;
        let (east, north) = (grid.0 - e, grid.1 - n);
        let size = a * a + b * b;
        let (x, y) = ((a * east - b * north) / size, (b * east + a * north) / size);
        (x + self.similarity.origin.0, y + self.similarity.origin.1)
    }

    /// Fits common points.
    ///
    /// # Errors
    /// Fewer than three, all in one place, or a misfit that nothing can be blamed for.
    pub fn fit(points: &[Common]) -> Result<Self, String> {
        if points.len() < 3 {
            return Err(format!(
                "{}: three or more are needed, so that they check each other",
                counted(points.len(), "common point")
            ));
        }
        let mut used = vec![true; points.len()];
        loop {
            let tie = once(points, &used)?;
            let Some(worst) = tie.worst() else {
                return Ok(tie);
            };
            if tie.used() == 3 {
                return Err(tie.misfit());
            }
            if let Some(flag) = used.get_mut(worst) {
                *flag = false;
            }
        }
    }

    /// The point in the fit that fits worst, if it fails the test.
    fn worst(&self) -> Option<usize> {
        let tests = self
            .points
            .iter()
            .enumerate()
            .filter(|(_, point)| point.used)
            .filter_map(|(index, point)| {
                let variance = point.common.sigma.powi(2);
                let redundancy = 1.0 - self.variance_at(point.common.plan) / variance;
                let square = point.residual.0.powi(2) + point.residual.1.powi(2);
                (redundancy > TESTABLE).then(|| (index, square / (variance * redundancy)))
            });
        let worst = tests.reduce(|worst, one| if one.1 > worst.1 { one } else { worst })?;
        (worst.1 > CHI_SQUARE).then_some(worst.0)
    }

    fn misfit(&self) -> String {
        let residuals = self.points.iter().filter(|point| point.used).map(|point| {
            format!(
                "{} {:.3} m",
                point.common.point,
                point.residual.0.hypot(point.residual.1)
            )
        });
        let left_out: Vec<_> = self
            .points
            .iter()
            .filter(|point| !point.used)
            .map(|point| point.common.point.as_str())
            .collect();
        let without = if left_out.is_empty() {
            String::new()
        } else {
            format!(" even without {}", left_out.join(", "))
        };
        format!(
            "the common points don't fit{without}, and three can't tell which of them is wrong: residuals {}. Add points, or check them",
            residuals.collect::<Vec<_>>().join(", ")
        )
    }

    /// What was found, for the record: scale and rotation, residuals, points left out.
    #[must_use]
    pub fn words(&self) -> String {
        let residuals = self.points.iter().map(|point| {
            let size = point.residual.0.hypot(point.residual.1);
            let left_out = if point.used { "" } else { " (wrong: left out)" };
            format!("{} {size:.3} m{left_out}", point.common.point)
        });
        format!(
            "The plan was tied by {} of {} common points: scale {:.8}, rotation {}° clockwise; residuals {}.",
            self.used(),
            self.points.len(),
            self.similarity.scale(),
            fixed(self.similarity.rotation().to_degrees(), 5),
            residuals.collect::<Vec<_>>().join(", ")
        )
    }

    /// Reads a tie file (CSV); `record` gives places to points that have only a name, and `metres` is the CRS's unit.
    ///
    /// # Errors
    /// A table that can't be read, or points that don't fit.
    pub fn parse(text: &str, file: &str, record: &AsBuilt) -> Result<Self, Error> {
        let points =
            table(text, file, record).map_err(|why| Error::Usage(format!("{file}: {why}")))?;
        Self::fit(&points).map_err(|why| Error::Usage(format!("{file}: {why}")))
    }
}

/// The fit with some of the points, and the residuals of all.
fn once(points: &[Common], used: &[bool]) -> Result<Tie, String> {
    let taken = || {
        points
            .iter()
            .zip(used)
            .filter(|(_, used)| **used)
            .map(|(point, _)| point)
    };
    let pairs: Vec<_> = taken()
        .map(|point| ((point.plan, point.grid), point.sigma.powi(-2)))
        .collect();
    let similarity =
        Similarity::weighted(&pairs).ok_or("the common points all lie in one place of the plan")?;
    let centre = similarity.origin;
    let spread = pairs
        .iter()
        .map(|(((x, y), _), weight)| weight * ((x - centre.0).powi(2) + (y - centre.1).powi(2)))
        .sum();
    let fitted = points.iter().zip(used).map(|(common, used)| {
        let (e, n) = similarity.apply(common.plan);
        let residual = (e - common.grid.0, n - common.grid.1);
        Fitted {
            common: common.clone(),
            residual,
            used: *used,
        }
    });
    Ok(Tie {
        similarity,
        points: fitted.collect(),
        weights: pairs.iter().map(|(_, weight)| weight).sum(),
        spread,
    })
}

fn table(text: &str, file: &str, record: &AsBuilt) -> Result<Vec<Common>, String> {
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let header = reader.headers().map_err(|why| why.to_string())?.clone();
    let names: Vec<String> = header
        .iter()
        .map(|name| {
            name.trim_start_matches('\u{feff}')
                .to_lowercase()
                .replace(' ', "_")
        })
        .collect();
    for needed in ["point", "plan_x", "plan_y"] {
        if !names.iter().any(|name| name == needed) {
            return Err(format!(
                "the column `{needed}` is missing: a tie file has point, plan_x, plan_y, easting, northing"
            ));
        }
    }
    let places = known_places(record);
    let mut points = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|why| why.to_string())?;
        let line = row.position().map_or(0, csv::Position::line);
        let cells: BTreeMap<&str, &str> = names
            .iter()
            .map(String::as_str)
            .zip(row.iter())
            .filter(|(_, cell)| !cell.is_empty())
            .collect();
        if cells.is_empty()
            || cells
                .get("point")
                .is_some_and(|point| point.starts_with('#'))
        {
            continue;
        }
        let point = common(&cells, &places, record, format!("{file}:{line}"))
            .map_err(|why| format!("row {line}: {why}"))?;
        // The same point again checks nothing.
        let same = |other: &&Common| other.point == point.point || other.plan == point.plan;
        if let Some(first) = points.iter().find(same) {
            return Err(format!(
                "row {line}: {} is the same point as {} in {}: give each common point once",
                point.point, first.point, first.source
            ));
        }
        points.push(point);
    }
    Ok(points)
}

fn common(
    cells: &BTreeMap<&str, &str>,
    places: &BTreeMap<&str, (f64, f64)>,
    record: &AsBuilt,
    source: String,
) -> Result<Common, String> {
    let number = |column: &str| {
        let cell = cells
            .get(column)
            .map(|text| parse_number(text, false).map_err(|why| format!("`{column}`: {why}")));
        cell.transpose()
    };
    let needed = |column: &str| number(column)?.ok_or_else(|| format!("`{column}` is empty"));
    let point = cells
        .get("point")
        .map_or_else(|| source.clone(), |point| (*point).to_owned());
    let unit = record.frame.crs_unit_metres;
    let (easting, northing) = match (number("easting")?, number("northing")?) {
        (Some(easting), Some(northing)) => from_job(record, (easting, northing))?,
        (None, None) => *places
            .get(point.as_str())
            .ok_or_else(|| format!("{point} has no easting and northing, and no reference or mark of the job has this name"))?,
        _ => return Err("easting and northing go together".to_owned()),
    };
    let sigma = cells
        .get("sigma")
        .map(|text| crate::units::parse_length(text, Plain::of(record.frame.unit)));
    let sigma = sigma
        .transpose()
        .map_err(|why| format!("`sigma`: {why}"))?
        .unwrap_or(SIGMA);
    if sigma <= 0.0 {
        return Err("`sigma` must be more than 0".to_owned());
    }
    Ok(Common {
        point,
        plan: (needed("plan_x")?, needed("plan_y")?),
        grid: (easting * unit, northing * unit),
        sigma,
        source,
    })
}

/// A place in the job's system in that of the results; CRS units.
fn from_job(record: &AsBuilt, place: (f64, f64)) -> Result<(f64, f64), String> {
    let why = |why: CrsError| why.to_string();
    let to = record
        .frame
        .given_crs
        .as_ref()
        .map(|_| record.frame.system());
    let Some(to) = to.transpose().map_err(why)? else {
        return Ok(place);
    };
    let Some(own) = to.given() else {
        return Ok(place);
    };
    let (from, unit) = (own.unit_metres(), record.frame.crs_unit_metres);
    let at = (place.0 * from, place.1 * from);
    let (places, _) = own.to_other(&to, &[at]).map_err(why)?;
    let (e, n) = places.first().ok_or("it lies nowhere")?;
    Ok((e / unit, n / unit))
}

/// References and marks by name, CRS unit.
fn known_places(record: &AsBuilt) -> BTreeMap<&str, (f64, f64)> {
    let marks = record.marks.iter().map(|mark| {
        (
            mark.mark.as_str(),
            (mark.paint.easting, mark.paint.northing),
        )
    });
    let references = record
        .references
        .iter()
        .map(|point| (point.point.as_str(), (point.easting, point.northing)));
    marks.chain(references).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(wrong: f64) -> Vec<Common> {
        let truth = Similarity {
            origin: (0.0, 0.0),
            parameters: [0.8, 0.6, 1000.0, 2000.0],
        };
        let places = [
            (0.0, 0.0),
            (90.0, 5.0),
            (80.0, 70.0),
            (10.0, 60.0),
            (45.0, 30.0),
        ];
        let common = |(index, plan): (usize, (f64, f64))| {
            let (e, n) = truth.apply(plan);
            let off = if index == 2 { wrong } else { 0.0 };
            Common {
                point: format!("P{index}"),
                plan,
                grid: (e + off, n),
                sigma: SIGMA,
                source: String::new(),
            }
        };
        places.into_iter().enumerate().map(common).collect()
    }

    #[test]
    fn there_and_back() {
        let tie = Tie::fit(&points(0.0)).unwrap();
        let (x, y) = tie.back(tie.similarity.apply((12.0, 34.0)));
        assert!((x - 12.0).hypot(y - 34.0) < 1e-9 && tie.used() == 5);
    }

    #[test]
    fn the_wrong_one_is_named_and_the_limit_itself_is_not() {
        let tie = Tie::fit(&points(0.3 * crate::units::FOOT)).unwrap();
        let wrong: Vec<_> = tie
            .points
            .iter()
            .filter(|point| !point.used)
            .map(|point| point.common.point.as_str())
            .collect();
        assert_eq!(wrong, ["P2"]);
        assert!(
            tie.words().contains("P2 0.091 m (wrong: left out)"),
            "{}",
            tie.words()
        );
        // The test's limit: |v|² = χ²σ²r with v = r·off for the one point that is off.
        let fit = once(&points(1.0), &[true; 5]).unwrap();
        let redundancy = fit.points[2].residual.0.hypot(fit.points[2].residual.1);
        let limit = SIGMA * (CHI_SQUARE / redundancy).sqrt();
        assert_eq!(Tie::fit(&points(limit * 0.999)).unwrap().used(), 5);
        assert_eq!(Tie::fit(&points(limit * 1.001)).unwrap().used(), 4);
    }

    /// Four points to a centimetre and a fifth to 0.3 m, by which it is off: it is sound, and moves nothing.
    #[test]
    fn a_coarse_point_is_weighed_as_such_and_is_not_wrong() {
        let mut coarse = points(0.3);
        coarse[2].sigma = 0.3;
        let tie = Tie::fit(&coarse).unwrap();
        assert_eq!(tie.used(), 5);
        let exact = Tie::fit(&points(0.0)).unwrap();
        let (place, sound) = ((80.0, 70.0), exact.similarity.apply((80.0, 70.0)));
        let (e, n) = tie.similarity.apply(place);
        assert!(
            (e - sound.0).hypot(n - sound.1) < 0.002,
            "{e} {n} {sound:?}"
        );
        assert!(tie.sigma_at(place) < 2.0 * SIGMA && tie.sigma_at(place) > exact.sigma_at(place));
        // Of three points the test has one figure only: it blames nobody, and takes the coarse one as it is.
        let three: Vec<_> = coarse[..3].to_vec();
        assert_eq!(Tie::fit(&three).unwrap().used(), 3);
        coarse[2].sigma = SIGMA;
        assert_eq!(Tie::fit(&coarse).unwrap().used(), 4);
    }

    #[test]
    fn three_that_do_not_fit_can_blame_nobody() {
        let error = Tie::fit(&points(0.5)[..3]).unwrap_err();
        assert!(
            error.contains("P0") && error.contains("P2") && error.contains("which of them"),
            "{error}"
        );
        assert!(Tie::fit(&points(0.0)[..2]).is_err());
        let same = vec![points(0.0)[0].clone(); 3];
        assert!(Tie::fit(&same).unwrap_err().contains("one place"));
    }
}

//! Coordinates that the job gives: geographic ones into the grid, datum by datum, and all held against the CRS's area of use.

use std::collections::BTreeMap;
use std::f64::consts::PI;
use std::sync::Arc;

use rayon::prelude::*;

use super::kinds::{Plane, apart, middle};
use super::problem::{Explanation, Problem, Subject};
use super::{ShiftId, window};
use crate::crs::{Crs, CrsError, Datum, shift_sigma};
use crate::job::model::{Fix, Geographic, Job};
use crate::job::sections::Place;
use crate::record::model::Operation;
use crate::units::{FOOT, US_SURVEY_FOOT};

/// A geographic position on its way into the grid.
pub(super) struct Fixing {
    pub(super) subject: Subject,
    pub(super) latitude: f64,
    pub(super) longitude: f64,
    pub(super) datum: Datum,
    /// Through a correction service.
    pub(super) corrected: bool,
}

/// Where it lies, and the shift that it shares.
#[derive(Clone, Copy)]
pub(super) struct Fixed {
    pub(super) place: Plane,
    pub(super) shift: Option<ShiftId>,
}

/// What conversion brought.
#[derive(Default)]
pub(super) struct Conversion {
    /// One for each fixing; `None` where it can't be used.
    pub(super) fixed: Vec<Option<Fixed>>,
    pub(super) operations: Vec<Operation>,
    pub(super) shifts: Vec<f64>,
    pub(super) shift_names: Vec<Arc<str>>,
}

/// The datum of a mark's position: as named; else the CRS's own for what came through a correction network
/// ([`crate::sources::Source::CommonPractice`]), WGS 84 for the rest.
pub(super) fn datum_of_mark(gnss: &Geographic) -> (Datum, bool) {
    let (usual, corrected) = of_fix(gnss.fix);
    let datum = match &gnss.datum {
        Some(name) => Datum::Named(name.clone()),
        None if gnss.surveyed => Datum::OfCrs,
        None => usual,
    };
    (datum, corrected)
}

/// The datum of a position without a name of one, and whether it came through a correction network.
pub(super) fn of_fix(fix: Option<Fix>) -> (Datum, bool) {
    match fix {
        Some(Fix::Rtk | Fix::Float) => (Datum::OfCrs, true),
        _ => (Datum::Wgs84, false),
    }
}

/// The datum of a control point's position: as named, else the CRS's own.
pub(super) fn datum_of_control(geographic: &Geographic) -> Datum {
    geographic
        .datum
        .as_ref()
        .map_or(Datum::OfCrs, |name| Datum::Named(name.clone()))
}

/// As far from WGS 84 as a datum may lie for correction networks to work in it, metres: those in use today are a metre or two off. Our
/// choice.
const TODAY: f64 = 5.0;

/// The datum of positions of which one lies at `at` (longitude, latitude): no correction network works in the datums of old, so that
/// what came through one without a name of its datum is in WGS 84, where the CRS's own lies far from that; with how far, endless where nothing
/// says so.
fn of_network(crs: &Crs, datum: Datum, corrected: bool, at: Option<Plane>) -> (Datum, Option<f64>) {
    let old = || {
        let (longitude, latitude) = at.filter(|_| datum == Datum::OfCrs && corrected)?;
        let (grid, _) = crs.to_grid(&datum, &[(longitude, latitude)]).ok()?;
        let (back, by) = crs.to_wgs84(&grid).ok()?;
        if by.old_datum {
            return Some(f64::INFINITY);
        }
        let (lon, lat) = back.first().copied()?;
        let off = window::RADIAN * (lat - latitude).hypot((lon - longitude) * lat.cos());
        Some(off).filter(|off| *off > TODAY)
    };
    match old() {
        Some(off) => (Datum::Wgs84, Some(off)),
        None => (datum, None),
    }
}

fn label(datum: &Datum) -> &str {
    match datum {
        Datum::OfCrs => "",
        Datum::Wgs84 => "WGS 84",
        Datum::Named(name) => name,
    }
}

fn epoch(job: &Job) -> Option<f64> {
    let (y, m, d) = window::date(job.head.located_on.as_deref())?;
    Some(f64::from(y) + (f64::from(m) - 1.0 + (f64::from(d) - 1.0) / 31.0) / 12.0)
}

/// Places that a thread brings into the grid at once.
const AT_ONCE: usize = 8192;

/// Mean place of a job whose marks lie at `places`, on the grid: what the frame's factors are taken at; with the operations used. `None`
/// where a place can't be converted.
pub(super) fn mean(job: &Job, crs: &Crs, places: &[Place]) -> Option<(Plane, Vec<Operation>)> {
    let mut placed = vec![(0.0, 0.0); places.len()];
    for (at, place) in placed.iter_mut().zip(places) {
        if let Place::Grid(east, north) = *place {
            *at = (east, north);
        }
    }
    let mut operations = Vec::new();
    for through_service in [true, false] {
        let (mut of, mut lonlat) = (Vec::new(), Vec::new());
        for (i, place) in places.iter().enumerate() {
            match *place {
                Place::Geographic {
                    latitude,
                    longitude,
                    corrected,
                } if corrected == through_service => {
                    of.push(i);
                    lonlat.push((longitude, latitude));
                }
                _ => {}
            }
        }
        if lonlat.is_empty() {
            continue;
        }
        let (datum, corrected) = of_fix(through_service.then_some(Fix::Rtk));
        let (datum, _) = of_network(crs, datum, corrected, lonlat.first().copied());
        let epoch = epoch(job);
        let some = |lonlat| crs.to_grid_at(&datum, epoch, lonlat).ok();
        let converted: Option<Vec<_>> = lonlat.par_chunks(AT_ONCE).map(some).collect();
        for (of, (converted, operation)) in of.chunks(AT_ONCE).zip(converted?) {
            if !operations.contains(&operation) {
                operations.push(operation);
            }
            for (i, place) in of.iter().zip(converted) {
                placed[*i] = place;
            }
        }
    }
    let add = |(e, n): Plane, place: &Plane| (e + place.0, n + place.1);
    let (e, n) = placed.iter().fold((0.0, 0.0), add);
    let count = placed.len() as f64;
    (!placed.is_empty()).then_some(((e / count, n / count), operations))
}

/// Converts all positions; those that can't be used become problems.
pub(super) fn convert(
    job: &Job,
    crs: &Crs,
    fixings: &[Fixing],
    problems: &mut Vec<Problem>,
) -> Conversion {
    let mut conversion = Conversion {
        fixed: vec![None; fixings.len()],
        ..Conversion::default()
    };
    let mut groups: BTreeMap<(&str, bool), Vec<usize>> = BTreeMap::new();
    let mut edge = Vec::new();
    for (i, fixing) in fixings.iter().enumerate() {
        if !crs.is_local() && !crs.contains(fixing.longitude, fixing.latitude) {
            if !crs.reaches(fixing.longitude, fixing.latitude) {
                problems.push(outside_geographic(crs, fixing));
                continue;
            }
            edge.push(&fixing.subject);
        }
        groups
            .entry((label(&fixing.datum), fixing.corrected))
            .or_default()
            .push(i);
    }
    problems.extend(at_edge(crs, &edge, true));
    for ((name, corrected), mut members) in groups {
        let Some(&first) = members.first() else {
            continue;
        };
        let of_first = (fixings[first].longitude, fixings[first].latitude);
        let datum = fixings[first].datum.clone();
        let (datum, off) = of_network(crs, datum, corrected, Some(of_first));
        if let Some(off) = off {
            problems.push(Problem::OldDatum {
                subject: fixings[first].subject.clone(),
                positions: members.len(),
                off,
            });
        }
        let name = if off.is_some() { label(&datum) } else { name };
        let converted = loop {
            let lonlat: Vec<Plane> = members
                .iter()
                .map(|&i| (fixings[i].longitude, fixings[i].latitude))
                .collect();
            match crs.to_grid_at(&datum, epoch(job), &lonlat) {
                Ok(done) => break Some(done),
                Err(CrsError::Place { index, .. }) if index < members.len() => {
                    problems.push(outside_geographic(crs, &fixings[members[index]]));
                    members.remove(index);
                }
                Err(error) => {
                    problems.extend(members.iter().map(|&i| Problem::Datum {
                        subject: fixings[i].subject.clone(),
                        why: error.to_string(),
                    }));
                    break None;
                }
            }
        };
        let Some((places, operation)) = converted else {
            continue;
        };
        let shift = conversion.shift(job, name, corrected, &operation, places.len(), problems);
        for (&i, place) in members.iter().zip(places) {
            conversion.fixed[i] = Some(Fixed { place, shift });
        }
        if !conversion.operations.contains(&operation) {
            conversion.operations.push(operation);
        }
    }
    conversion
}

impl Conversion {
    /// The shift that a group of positions shares, if it has a sigma.
    fn shift(
        &mut self,
        job: &Job,
        name: &str,
        corrected: bool,
        operation: &Operation,
        positions: usize,
        problems: &mut Vec<Problem>,
    ) -> Option<ShiftId> {
        let service = if corrected {
            job.accuracy.correction_service
        } else {
            0.0
        };
        let of_operation = shift_sigma(operation);
        if operation.ballpark {
            problems.push(Problem::Ballpark {
                from: operation.from.clone(),
                positions,
                sigma: of_operation,
            });
        }
        let sigma = service.hypot(of_operation);
        if sigma <= 0.0 {
            return None;
        }
        let name = if name.is_empty() {
            "correction service"
        } else {
            name
        };
        self.shifts.push(sigma);
        self.shift_names.push(name.into());
        Some(ShiftId((self.shifts.len() - 1) as u16))
    }
}

fn outside_geographic(crs: &Crs, fixing: &Fixing) -> Problem {
    let (lon, lat) = (fixing.longitude, fixing.latitude);
    let tries = [
        (Explanation::LongitudeSign, -lon, lat),
        (Explanation::LatitudeSign, lon, -lat),
        (Explanation::Swapped, lat, lon),
        (Explanation::Swapped, -lat, lon),
    ];
    let explanation = tries
        .into_iter()
        .find(|(_, lon, lat)| lat.abs() <= PI / 2.0 && crs.contains(*lon, *lat))
        .map(|(explanation, ..)| explanation);
    Problem::Outside {
        subject: fixing.subject.clone(),
        given: (lat.to_degrees(), lon.to_degrees()),
        geographic: true,
        explanation,
        area: area(crs),
    }
}

/// Name of the area of use.
fn area(crs: &Crs) -> String {
    crs.area()
        .map_or_else(String::new, |area| area.name.clone())
}

/// What is to be said of places a little outside the area of use.
fn at_edge(crs: &Crs, edge: &[&Subject], geographic: bool) -> Option<Problem> {
    Some(Problem::Edge {
        subject: (*edge.first()?).clone(),
        places: edge.len(),
        geographic,
        area: area(crs),
    })
}

/// Whether grid coordinates (metres) lie in the CRS's area of use.
fn inside(crs: &Crs, place: Plane) -> bool {
    crs.to_wgs84(&[place])
        .is_ok_and(|(lonlat, _)| lonlat.iter().all(|(lon, lat)| crs.contains(*lon, *lat)))
}

/// What explains a place outside the area of use lands no farther from those inside it, metres: our choice.
const TOWN: f64 = 20_000.0;

/// Holds grid coordinates against the area of use; false for those outside, which become problems.
pub(super) fn check_grid(
    crs: &Crs,
    places: &[(Subject, Plane)],
    problems: &mut Vec<Problem>,
) -> Vec<bool> {
    if crs.is_local() || crs.area().is_none() {
        return vec![true; places.len()];
    }
    let all: Vec<Plane> = places.iter().map(|(_, place)| *place).collect();
    let mut edge = Vec::new();
    let good: Vec<bool> = match crs.to_wgs84(&all) {
        Ok((lonlat, _)) => {
            let each = lonlat.iter().zip(places);
            each.map(|((lon, lat), (subject, _))| {
                let inside = crs.contains(*lon, *lat);
                let at_edge = !inside && crs.reaches(*lon, *lat);
                edge.extend(at_edge.then_some(subject));
                inside || at_edge
            })
            .collect()
        }
        Err(_) => all.iter().map(|place| inside(crs, *place)).collect(),
    };
    problems.extend(at_edge(crs, &edge, false));
    let site = middle(
        places
            .iter()
            .zip(&good)
            .filter(|(_, good)| **good)
            .map(|((_, place), _)| *place),
    );
    let near = |place: Plane| site.is_none_or(|site| apart(place, site) < TOWN);
    for ((subject, place), _) in places.iter().zip(&good).filter(|(_, good)| !**good) {
        let (e, n) = *place;
        let tries = [
            (Explanation::Swapped, n, e),
            (Explanation::MetresAsFeet, e / FOOT, n / FOOT),
            (
                Explanation::MetresAsFeet,
                e / US_SURVEY_FOOT,
                n / US_SURVEY_FOOT,
            ),
            (Explanation::FeetAsMetres, e * FOOT, n * FOOT),
        ];
        let explanation = tries
            .into_iter()
            .find(|(_, e, n)| near((*e, *n)) && inside(crs, (*e, *n)))
            .map(|(explanation, ..)| explanation);
        problems.push(Problem::Outside {
            subject: subject.clone(),
            given: (e / crs.unit_metres(), n / crs.unit_metres()),
            geographic: false,
            explanation,
            area: area(crs),
        });
    }
    good
}

//! Operations from one system to another, and which of them to use.

use std::cell::OnceCell;
use std::f64::consts::TAU;
use std::rc::Rc;

use super::ffi::{Context, Kind, Object, Ways};
use super::{Area, BALLPARK, CrsError, datum, system};
use crate::record::model::Operation;

/// One end of a conversion.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) enum Place {
    /// The projected CRS with this code.
    Projected(String),
    /// The geographic CRS under it.
    BaseOf(String),
    /// The geographic CRS of a datum, by name or code.
    Datum(String),
}

/// Points that are handed to PROJ at once: enough that the call costs nothing, few enough to stay in the cache.
const CHUNK: usize = 1024;

/// One end with the units that PROJ wants there.
struct End {
    object: Object,
    name: String,
    geographic: bool,
    /// Longitude of the prime meridian, radians; 0 for a projected CRS.
    meridian: f64,
    /// Metres or radians in one of PROJ's unit.
    unit: f64,
    /// Its ellipsoid is none of those that satellite positioning brought.
    old: bool,
}

/// Semi-major axis in metres and reciprocal flattening of GRS 1980 and WGS 84, to their common digits
/// ([`crate::sources::Source::Iogp72`]), and how far another one may lie from them: our choice.
const MODERN: [(f64, f64); 2] = [(6_378_137.0, 1.0), (298.2572, 0.01)];

/// Whether an ellipsoid is of the time before satellites.
fn is_old((semi_major, reciprocal): (f64, f64)) -> bool {
    let far = |value: f64, (modern, most): (f64, f64)| (value - modern).abs() > most;
    far(semi_major, MODERN[0]) || far(reciprocal, MODERN[1])
}

impl End {
    fn new(context: &Rc<Context>, place: &Place) -> Result<Self, CrsError> {
        let crs = |code: &str| {
            let object = context.object(code).ok_or_else(|| CrsError::Unknown {
                code: code.to_owned(),
            })?;
            system::projected(code, object)
        };
        let object = match place {
            Place::Projected(code) => crs(code)?,
            Place::BaseOf(code) => crs(code)?
                .base()
                .ok_or(CrsError::Library("it knows no base of this CRS"))?,
            Place::Datum(name) => datum::geographic(context, name)?,
        };
        let geographic = !matches!(place, Place::Projected(_));
        let axis = object
            .axes()
            .into_iter()
            .next()
            .ok_or(CrsError::Library("it knows no axes of this CRS"))?;
        let meridian = if geographic {
            object.prime_meridian().unwrap_or(0.0)
        } else {
            0.0
        };
        Ok(Self {
            name: object.name(),
            geographic,
            meridian,
            unit: system::metres(&axis),
            old: object.ellipsoid().is_some_and(is_old),
            object,
        })
    }

    fn native(&self, (x, y): (f64, f64)) -> (f64, f64) {
        ((x - self.meridian) / self.unit, y / self.unit)
    }

    fn ours(&self, x: f64, y: f64) -> (f64, f64) {
        let x = x * self.unit + self.meridian;
        // A longitude from another meridian can leave ±180°.
        let turns = if self.geographic && x.abs() > TAU / 2.0 {
            (x / TAU).round()
        } else {
            0.0
        };
        (x - turns * TAU, y * self.unit)
    }
}

/// One operation with what decides whether it is used.
struct Candidate {
    object: Object,
    ready: OnceCell<Option<Object>>,
    area: Option<Area>,
    accuracy: Option<f64>,
    ballpark: bool,
    offshore: bool,
}

impl Candidate {
    fn new(object: Object) -> Self {
        let accuracy = if object.kind() == Kind::Conversion {
            Some(0.0)
        } else {
            object.accuracy()
        };
        let area = object.area().map(Area::from);
        let offshore = area
            .as_ref()
            .is_some_and(|area| area.name.to_lowercase().contains("offshore"));
        let ballpark = object.is_ballpark();
        Self {
            object,
            ready: OnceCell::new(),
            area,
            accuracy,
            ballpark,
            offshore,
        }
    }

    /// A map projection is exact and has no bounds of its own.
    fn is_exact(&self) -> bool {
        self.accuracy == Some(0.0) && !self.ballpark
    }

    fn holds(&self, (longitude, latitude): (f64, f64)) -> bool {
        self.area
            .as_ref()
            .is_none_or(|area| area.contains(longitude, latitude))
    }

    /// Smaller is better.
    fn rank(&self) -> (bool, f64, f64) {
        let extent = self.area.as_ref().map_or(f64::MAX, |area| {
            let width = if area.west <= area.east {
                area.east - area.west
            } else {
                area.east - area.west + TAU
            };
            width * (area.north.sin() - area.south.sin())
        });
        (self.offshore, self.accuracy.unwrap_or(f64::MAX), extent)
    }
}

/// Two systems and the operations from the first to the second.
pub(super) struct Pair {
    from: End,
    to: End,
    sound: Vec<Candidate>,
    /// Those through third systems: finding them takes long, so they are asked for where there is no other.
    through: OnceCell<Vec<Candidate>>,
    ballpark: OnceCell<Vec<Candidate>>,
}

impl Pair {
    pub(super) fn new(context: &Rc<Context>, from: &Place, to: &Place) -> Result<Self, CrsError> {
        let (from, to) = (End::new(context, from)?, End::new(context, to)?);
        let sound = candidates(&from, &to, Ways::Direct);
        Ok(Self {
            from,
            to,
            sound,
            through: OnceCell::new(),
            ballpark: OnceCell::new(),
        })
    }

    /// The only operation, if the two systems share a datum: it needs no choice.
    fn exact(&self) -> Option<&Candidate> {
        match &self.sound[..] {
            [only] if only.is_exact() => Some(only),
            _ => None,
        }
    }

    /// Whether [`Self::convert`] needs to know where on the Earth it is.
    pub(super) fn needs_anchors(&self) -> bool {
        self.exact().is_none()
    }

    /// Whether one of the places lies in the area of an operation that minds the datums.
    pub(super) fn holds(&self, anchors: &[(f64, f64)]) -> bool {
        self.minding(anchors).is_some()
    }

    /// The best operation at one of the places that minds the datums.
    fn minding(&self, anchors: &[(f64, f64)]) -> Option<&Candidate> {
        let through = || {
            let all = || candidates(&self.from, &self.to, Ways::Through);
            let found = best(self.through.get_or_init(all), anchors)?;
            // Between datums of today, to leave out their difference may cost less than to go through a third one.
            let worth = found.accuracy.is_some_and(|metres| metres <= BALLPARK);
            (worth || self.from.old || self.to.old).then_some(found)
        };
        best(&self.sound, anchors).or_else(through)
    }

    /// Points from the one system to the other. `anchors` are their longitudes and latitudes in any datum, near
    /// enough to tell areas of use apart: the first that lies in an operation's area decides.
    pub(super) fn convert(
        &self,
        anchors: &[(f64, f64)],
        epoch: Option<f64>,
        points: &[(f64, f64)],
    ) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
        let candidate = self.choose(anchors)?;
        let moving = candidate.object.needs_epoch();
        if moving && epoch.is_none() {
            return Err(CrsError::NoEpoch {
                from: self.from.name.clone(),
                to: self.to.name.clone(),
            });
        }
        let ready = candidate
            .ready
            .get_or_init(|| candidate.object.east_first())
            .as_ref()
            .ok_or(CrsError::Library(
                "it can't run an operation that it offers",
            ))?;
        // PROJ takes an infinite time for "not known".
        let time = epoch.unwrap_or(f64::INFINITY);
        let mut out = Vec::with_capacity(points.len());
        let mut chunk = Vec::with_capacity(points.len().min(CHUNK));
        for part in points.chunks(CHUNK) {
            chunk.clear();
            chunk.extend(part.iter().map(|&point| {
                let (x, y) = self.from.native(point);
                [x, y, 0.0, time]
            }));
            ready.run(&mut chunk);
            out.extend(chunk.iter().map(|&[x, y, _, _]| self.to.ours(x, y)));
        }
        self.all_finite(points, &out)?;
        Ok((out, self.operation(candidate, epoch.filter(|_| moving))))
    }

    fn all_finite(&self, points: &[(f64, f64)], out: &[(f64, f64)]) -> Result<(), CrsError> {
        let bad = points
            .iter()
            .zip(out)
            .position(|(&(x, y), &(u, v))| ![x, y, u, v].iter().all(|f| f.is_finite()));
        let Some((index, &(x, y))) = bad.and_then(|index| Some((index, points.get(index)?))) else {
            return Ok(());
        };
        let (x, y) = if self.from.geographic {
            (x.to_degrees(), y.to_degrees())
        } else {
            (x, y)
        };
        let (from, to) = (self.from.name.clone(), self.to.name.clone());
        Err(CrsError::Place {
            index,
            count: points.len(),
            x,
            y,
            from,
            to,
        })
    }

    fn choose(&self, anchors: &[(f64, f64)]) -> Result<&Candidate, CrsError> {
        if let Some(only) = self.exact() {
            return Ok(only);
        }
        if let Some(candidate) = self.minding(anchors) {
            return Ok(candidate);
        }
        let ballpark = self
            .ballpark
            .get_or_init(|| candidates(&self.from, &self.to, Ways::Ballpark));
        best(ballpark, anchors).ok_or_else(|| CrsError::NoOperation {
            from: self.from.name.clone(),
            to: self.to.name.clone(),
        })
    }

    fn operation(&self, candidate: &Candidate, epoch: Option<f64>) -> Operation {
        Operation {
            from: self.from.name.clone(),
            to: self.to.name.clone(),
            name: candidate.object.name(),
            accuracy_m: candidate.accuracy,
            area: candidate.area.as_ref().map(|area| area.name.clone()),
            ballpark: candidate.ballpark,
            old_datum: candidate.ballpark && (self.from.old || self.to.old),
            epoch,
        }
    }
}

fn candidates(from: &End, to: &End, ways: Ways) -> Vec<Candidate> {
    from.object
        .operations_to(&to.object, ways)
        .into_iter()
        .map(Candidate::new)
        .collect()
}

/// The best candidate at the first place where there is one at all; without places, the best of all.
fn best<'a>(candidates: &'a [Candidate], anchors: &[(f64, f64)]) -> Option<&'a Candidate> {
    let best_of = |at: Option<(f64, f64)>| {
        let here = candidates
            .iter()
            .filter(|candidate| at.is_none_or(|place| candidate.holds(place)));
        here.min_by(|a, b| {
            a.rank()
                .partial_cmp(&b.rank())
                .unwrap_or(std::cmp::Ordering::Equal)
        })
    };
    if anchors.is_empty() {
        best_of(None)
    } else {
        anchors.iter().find_map(|&place| best_of(Some(place)))
    }
}

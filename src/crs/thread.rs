//! What a thread keeps of PROJ: one context, and the systems and pairs that it has met.

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;
use std::sync::Arc;

use super::ffi::{Context, Object, Shape};
use super::pair::{Pair, Place};
use super::{Crs, CrsError, System, system};
use crate::record::model::Operation;

/// Systems and pairs kept a thread. More than any job has; a batch over all zones of a country starts anew now and
/// then. Our choice: a pair takes some 100 kB.
const KEPT: usize = 64;

/// Looked up only, never walked through: the order of the maps reaches no result.
struct Cache {
    context: Rc<Context>,
    systems: HashMap<String, (Crs, Rc<Object>)>,
    pairs: HashMap<(Place, Place), Rc<Pair>>,
}

thread_local! {
    static CACHE: RefCell<Option<Cache>> = const { RefCell::new(None) };
}

/// Runs `f` with this thread's cache. PROJ never calls back into it.
fn with<T>(f: impl FnOnce(&mut Cache) -> Result<T, CrsError>) -> Result<T, CrsError> {
    CACHE
        .try_with(|cell| {
            let mut cache = cell
                .try_borrow_mut()
                .map_err(|_| CrsError::Library("it is in use"))?;
            if cache.is_none() {
                if std::env::var_os("PROJ_AUX_DB").is_some_and(|paths| !paths.is_empty()) {
                    return Err(CrsError::AuxiliaryDatabase);
                }
                let context = Context::new().ok_or(CrsError::Library("it gives no context"))?;
                *cache = Some(Cache {
                    context,
                    systems: HashMap::new(),
                    pairs: HashMap::new(),
                });
            }
            cache
                .as_mut()
                .map_or(Err(CrsError::Library("it gives no context")), f)
        })
        .unwrap_or(Err(CrsError::Library("its thread is ending")))
}

impl Cache {
    fn system(&mut self, code: &str) -> Result<(Crs, Rc<Object>), CrsError> {
        if let Some(known) = self.systems.get(code) {
            return Ok(known.clone());
        }
        if !system::is_code(code) {
            return Err(CrsError::Form {
                code: code.to_owned(),
            });
        }
        let object = self.context.object(code).ok_or_else(|| CrsError::Unknown {
            code: code.to_owned(),
        })?;
        let object = system::projected(code, object)?;
        let crs = Crs::of(Arc::new(System::read(code, &object)?));
        if self.systems.len() >= KEPT {
            self.systems.clear();
        }
        let known = (crs, Rc::new(object));
        self.systems.insert(code.to_owned(), known.clone());
        Ok(known)
    }

    fn pair(&mut self, from: &Place, to: &Place) -> Result<Rc<Pair>, CrsError> {
        let key = (from.clone(), to.clone());
        if let Some(known) = self.pairs.get(&key) {
            return Ok(Rc::clone(known));
        }
        let pair = Rc::new(Pair::new(&self.context, from, to)?);
        if self.pairs.len() >= KEPT {
            self.pairs.clear();
        }
        self.pairs.insert(key, Rc::clone(&pair));
        Ok(pair)
    }

    /// Longitudes and latitudes of the points, near enough to tell areas of use apart.
    fn anchors(
        &mut self,
        from: &Place,
        points: &[(f64, f64)],
    ) -> Result<Vec<(f64, f64)>, CrsError> {
        let Place::Projected(code) = from else {
            return Ok(points.to_vec());
        };
        let pair = self.pair(from, &Place::BaseOf(code.clone()))?;
        Ok(pair.convert(&[], None, points)?.0)
    }
}

/// The coordinate system for a code.
pub(super) fn crs(code: &str) -> Result<Crs, CrsError> {
    with(|cache| Ok(cache.system(code)?.0))
}

/// Points from one system to another; where a place is given that they lie about, it alone decides on the operation.
pub(super) fn convert(
    from: &Place,
    to: &Place,
    (about, epoch): (Option<(f64, f64)>, Option<f64>),
    points: &[(f64, f64)],
) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
    with(|cache| {
        let pair = cache.pair(from, to)?;
        if !pair.needs_anchors() {
            return pair.convert(&[], epoch, points);
        }
        if let Some(about) = about {
            return pair.convert(&cache.anchors(from, &[about])?, epoch, points);
        }
        // The first point nearly always decides; only where it lies in no operation's area are the others asked.
        let first = cache.anchors(from, points.get(..1).unwrap_or(&[]))?;
        let anchors = if pair.holds(&first) {
            first
        } else {
            cache.anchors(from, points)?
        };
        pair.convert(&anchors, epoch, points)
    })
}

/// How the grid lies at longitude, latitude in radians; `None` where PROJ can't say.
pub(super) fn factors(
    code: &str,
    longitude: f64,
    latitude: f64,
) -> Result<Option<Shape>, CrsError> {
    with(|cache| Ok(cache.system(code)?.1.factors(longitude, latitude)))
}

/// Codes of projected systems that may be used within bounds in degrees.
pub(super) fn projected_codes(bounds: [f64; 4]) -> Result<Vec<String>, CrsError> {
    with(|cache| Ok(cache.context.projected_codes(bounds)))
}

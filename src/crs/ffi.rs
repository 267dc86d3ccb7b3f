//! The boundary to PROJ: the one module with `unsafe`, kept small so that it can be read whole.
//!
//! Two types own what PROJ hands out: [`Context`] and [`Object`]. An object holds its context, so that the context
//! outlives it; neither can leave its thread (`Rc`). Every pointer that PROJ returns is checked for null and every
//! text is copied at once, because PROJ keeps it only until the next call.
//!
//! PROJ reads no file here. Its file interface is replaced by one in which nothing exists, so that it falls back on
//! the `proj.db` inside this program: neither `PROJ_DATA`, nor a `proj.db` in the current directory, nor grids that
//! happen to be installed can change a result. The network is off. What is left is `PROJ_AUX_DB`, which can't be shut out
//! and is refused ([`super::CrsError::AuxiliaryDatabase`]).
#![allow(
    unsafe_code,
    reason = "PROJ is a C library; this module is its only audited caller"
)]

use std::ffi::{CStr, CString, c_char, c_int, c_void};
use std::ptr::{NonNull, null, null_mut};
use std::rc::Rc;

use proj_sys as sys;

use super::no_files::NO_FILES;

/// What kind of thing PROJ made of a definition, as far as it matters here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Projected CRS.
    Projected,
    /// Compound CRS: horizontal and vertical part.
    Compound,
    /// Geographic CRS with latitude and longitude.
    Geographic2D,
    /// Geographic CRS with latitude, longitude and ellipsoidal height.
    Geographic3D,
    /// Earth-centred CRS.
    Geocentric,
    /// Height alone.
    Vertical,
    /// An operation without loss: a map projection or a change of axes or units.
    Conversion,
    /// Anything else.
    Other,
}

/// One axis of a coordinate system.
#[derive(Clone, Debug)]
pub(super) struct Axis {
    /// `east`, `north`, …
    pub direction: String,
    /// Metres or radians in one unit.
    pub factor: f64,
    /// Name of the unit.
    pub unit: String,
    /// Authority and code of the unit, such as `EPSG:9003`.
    pub unit_code: String,
}

/// Where something may be used, in degrees as PROJ gives them: west, south, east, north; and its name.
pub(super) type AreaDegrees = ([f64; 4], String);

/// How a grid lies at a place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shape {
    /// Grid area over ellipsoid area.
    pub areal_scale: f64,
    /// Radians; true azimuth = grid azimuth + convergence.
    pub convergence: f64,
    /// Scale in the direction that the grid stretches most.
    pub longest: f64,
    /// And least.
    pub shortest: f64,
}

/// A PROJ context. One a thread.
pub(super) struct Context(NonNull<sys::PJ_CONTEXT>);

impl Context {
    /// A context that is silent, offline, and reads no file.
    pub(super) fn new() -> Option<Rc<Self>> {
        // SAFETY: takes no argument; the result is checked for null.
        let context = Self(NonNull::new(unsafe { sys::proj_context_create() })?);
        let raw = context.0.as_ptr();
        // SAFETY: `raw` is a live context, and PROJ copies the function pointers out of `NO_FILES`.
        let closed = unsafe {
            // The level alone won't do: PROJ passes it by for some errors.
            sys::proj_log_level(raw, sys::PJ_LOG_LEVEL_PJ_LOG_NONE);
            sys::proj_log_func(raw, null_mut(), Some(silent));
            let closed = sys::proj_context_set_fileapi(raw, &raw const NO_FILES, null_mut());
            sys::proj_context_set_enable_network(raw, 0);
            closed
        };
        (closed != 0).then(|| Rc::new(context))
    }

    fn own(self: &Rc<Self>, raw: *mut sys::PJ) -> Option<Object> {
        NonNull::new(raw).map(|raw| Object {
            raw,
            context: Rc::clone(self),
        })
    }

    /// Takes over a list and its members.
    fn own_list(self: &Rc<Self>, list: *mut sys::PJ_OBJ_LIST) -> Vec<Object> {
        if list.is_null() {
            return Vec::new();
        }
        // SAFETY: `list` is a live list of this context; it is not used after it is destroyed, and its members are
        // objects of their own.
        unsafe {
            let count = sys::proj_list_get_count(list);
            let members = (0..count)
                .filter_map(|i| self.own(sys::proj_list_get(self.0.as_ptr(), list, i)))
                .collect();
            sys::proj_list_destroy(list);
            members
        }
    }

    /// The object for `EPSG:2264` and the like.
    pub(super) fn object(self: &Rc<Self>, code: &str) -> Option<Object> {
        let code = CString::new(code).ok()?;
        // SAFETY: live context, text ended by NUL.
        self.own(unsafe { sys::proj_create(self.0.as_ptr(), code.as_ptr()) })
    }

    /// Geographic CRSs by name; `near` also finds names that are only like it.
    pub(super) fn geographic_named(self: &Rc<Self>, name: &str, near: bool) -> Vec<Object> {
        let Ok(name) = CString::new(name) else {
            return Vec::new();
        };
        let kinds = [sys::PJ_TYPE_PJ_TYPE_GEOGRAPHIC_2D_CRS];
        // SAFETY: live context; `kinds` has the length stated; null stands for any authority and no options.
        self.own_list(unsafe {
            sys::proj_create_from_name(
                self.0.as_ptr(),
                null(),
                name.as_ptr(),
                kinds.as_ptr(),
                kinds.len(),
                c_int::from(near),
                20,
                null(),
            )
        })
    }

    /// Codes of the EPSG registry's projected systems, not withdrawn, whose area of use meets the bounds (west, south,
    /// east, north; degrees), in the registry's order.
    pub(super) fn projected_codes(&self, bounds: [f64; 4]) -> Vec<String> {
        // SAFETY: live context; the parameters are made and destroyed here, and live through the call; the list has the
        // length that PROJ writes, its members are not null, their texts are copied before it is destroyed once.
        unsafe {
            let parameters = sys::proj_get_crs_list_parameters_create();
            let Some(wanted) = parameters.as_mut() else {
                return Vec::new();
            };
            let types = [sys::PJ_TYPE_PJ_TYPE_PROJECTED_CRS];
            wanted.types = types.as_ptr();
            wanted.typesCount = types.len();
            wanted.bbox_valid = 1;
            wanted.crs_area_of_use_contains_bbox = 0;
            [
                wanted.west_lon_degree,
                wanted.south_lat_degree,
                wanted.east_lon_degree,
                wanted.north_lat_degree,
            ] = bounds;
            let mut count = 0;
            let list = sys::proj_get_crs_info_list_from_database(
                self.0.as_ptr(),
                c"EPSG".as_ptr(),
                parameters,
                &raw mut count,
            );
            sys::proj_get_crs_list_parameters_destroy(parameters);
            if list.is_null() {
                return Vec::new();
            }
            let codes = (0..usize::try_from(count).unwrap_or(0))
                .filter_map(|index| (*list.add(index)).as_ref())
                .map(|info| format!("EPSG:{}", text(info.code)))
                .collect();
            sys::proj_crs_info_list_destroy(list);
            codes
        }
    }
}

impl Drop for Context {
    fn drop(&mut self) {
        // SAFETY: made by `proj_context_create`, destroyed once, after every object (each holds an `Rc` of it).
        unsafe { sys::proj_context_destroy(self.0.as_ptr()) };
    }
}

/// Any PROJ object: a CRS, an operation, …
pub(super) struct Object {
    raw: NonNull<sys::PJ>,
    context: Rc<Context>,
}

impl Drop for Object {
    fn drop(&mut self) {
        // SAFETY: owned by this value alone and destroyed once.
        unsafe { sys::proj_destroy(self.raw.as_ptr()) };
    }
}

impl Object {
    fn raw(&self) -> *mut sys::PJ {
        self.raw.as_ptr()
    }

    fn ctx(&self) -> *mut sys::PJ_CONTEXT {
        self.context.0.as_ptr()
    }

    /// What it is.
    pub(super) fn kind(&self) -> Kind {
        // SAFETY: live object.
        match unsafe { sys::proj_get_type(self.raw()) } {
            sys::PJ_TYPE_PJ_TYPE_PROJECTED_CRS => Kind::Projected,
            sys::PJ_TYPE_PJ_TYPE_COMPOUND_CRS => Kind::Compound,
            sys::PJ_TYPE_PJ_TYPE_GEOGRAPHIC_2D_CRS => Kind::Geographic2D,
            sys::PJ_TYPE_PJ_TYPE_GEOGRAPHIC_3D_CRS => Kind::Geographic3D,
            sys::PJ_TYPE_PJ_TYPE_GEOCENTRIC_CRS => Kind::Geocentric,
            sys::PJ_TYPE_PJ_TYPE_VERTICAL_CRS => Kind::Vertical,
            sys::PJ_TYPE_PJ_TYPE_CONVERSION => Kind::Conversion,
            _ => Kind::Other,
        }
    }

    /// Its name.
    pub(super) fn name(&self) -> String {
        // SAFETY: live object; the text is copied before the next call.
        unsafe { text(sys::proj_get_name(self.raw())) }
    }

    /// Authority and code, such as `EPSG:2264`.
    pub(super) fn code(&self) -> Option<String> {
        // SAFETY: live object; both texts are copied.
        let (authority, code) = unsafe {
            (
                text(sys::proj_get_id_auth_name(self.raw(), 0)),
                text(sys::proj_get_id_code(self.raw(), 0)),
            )
        };
        (!authority.is_empty() && !code.is_empty()).then(|| format!("{authority}:{code}"))
    }

    /// Withdrawn by its authority.
    pub(super) fn is_deprecated(&self) -> bool {
        // SAFETY: live object.
        unsafe { sys::proj_is_deprecated(self.raw()) != 0 }
    }

    /// The horizontal part of a compound CRS.
    pub(super) fn horizontal(&self) -> Option<Self> {
        // SAFETY: live object and context; null is checked by `own`.
        self.context
            .own(unsafe { sys::proj_crs_get_sub_crs(self.ctx(), self.raw(), 0) })
    }

    /// A geographic CRS without its height.
    pub(super) fn flat(&self) -> Option<Self> {
        // SAFETY: as above; null keeps the name.
        self.context
            .own(unsafe { sys::proj_crs_demote_to_2D(self.ctx(), null(), self.raw()) })
    }

    /// The geographic CRS under a projected one.
    pub(super) fn base(&self) -> Option<Self> {
        // SAFETY: as above.
        self.context
            .own(unsafe { sys::proj_crs_get_geodetic_crs(self.ctx(), self.raw()) })
    }

    /// The axes.
    pub(super) fn axes(&self) -> Vec<Axis> {
        // SAFETY: live object and context; null is checked by `own`.
        let system = unsafe { sys::proj_crs_get_coordinate_system(self.ctx(), self.raw()) };
        let Some(system) = self.context.own(system) else {
            return Vec::new();
        };
        // SAFETY: live objects.
        let count = unsafe { sys::proj_cs_get_axis_count(self.ctx(), system.raw()) };
        (0..count).filter_map(|index| system.axis(index)).collect()
    }

    fn axis(&self, index: c_int) -> Option<Axis> {
        let mut direction = null();
        let (mut unit, mut authority, mut code) = (null(), null(), null());
        let mut factor = 0.0;
        // SAFETY: `self` is a live coordinate system; PROJ writes to the five places and ignores nulls; the texts
        // belong to `self` and are copied before it goes.
        unsafe {
            let found = sys::proj_cs_get_axis_info(
                self.ctx(),
                self.raw(),
                index,
                null_mut(),
                null_mut(),
                &raw mut direction,
                &raw mut factor,
                &raw mut unit,
                &raw mut authority,
                &raw mut code,
            );
            (found != 0).then(|| Axis {
                direction: text(direction),
                factor,
                unit: text(unit),
                unit_code: format!("{}:{}", text(authority), text(code)),
            })
        }
    }

    /// Semi-major axis in metres and reciprocal flattening (0 for a sphere).
    pub(super) fn ellipsoid(&self) -> Option<(f64, f64)> {
        // SAFETY: live object and context; null is checked by `own`.
        let ellipsoid = self
            .context
            .own(unsafe { sys::proj_get_ellipsoid(self.ctx(), self.raw()) })?;
        let (mut semi_major, mut reciprocal) = (0.0, 0.0);
        // SAFETY: live ellipsoid; PROJ writes two numbers and ignores the nulls.
        let found = unsafe {
            sys::proj_ellipsoid_get_parameters(
                self.ctx(),
                ellipsoid.raw(),
                &raw mut semi_major,
                null_mut(),
                null_mut(),
                &raw mut reciprocal,
            )
        };
        (found != 0).then_some((semi_major, reciprocal))
    }

    /// Longitude of the prime meridian from Greenwich, radians.
    pub(super) fn prime_meridian(&self) -> Option<f64> {
        // SAFETY: live object and context; null is checked by `own`.
        let meridian = self
            .context
            .own(unsafe { sys::proj_get_prime_meridian(self.ctx(), self.raw()) })?;
        let (mut longitude, mut factor) = (0.0, 0.0);
        // SAFETY: live meridian; PROJ writes two numbers and ignores the null.
        let found = unsafe {
            sys::proj_prime_meridian_get_parameters(
                self.ctx(),
                meridian.raw(),
                &raw mut longitude,
                &raw mut factor,
                null_mut(),
            )
        };
        (found != 0).then_some(longitude * factor)
    }

    /// Area of use; `None` where PROJ knows none.
    pub(super) fn area(&self) -> Option<AreaDegrees> {
        let mut bounds = [0.0; 4];
        let [west, south, east, north] = &mut bounds;
        let mut name = null();
        // SAFETY: live object; PROJ writes four numbers and a pointer to a text that is copied at once.
        let (found, name) = unsafe {
            let found = sys::proj_get_area_of_use(
                self.ctx(),
                self.raw(),
                west,
                south,
                east,
                north,
                &raw mut name,
            );
            (found, text(name))
        };
        // PROJ writes -1000 where a bound is unknown.
        (found != 0 && bounds.iter().all(|degrees| degrees.abs() <= 360.0))
            .then_some((bounds, name))
    }

    /// PROJJSON, on one line.
    pub(super) fn projjson(&self) -> String {
        let options = [c"MULTILINE=NO".as_ptr(), null()];
        // SAFETY: live object, option list ended by null; the text is copied at once.
        unsafe {
            text(sys::proj_as_projjson(
                self.ctx(),
                self.raw(),
                options.as_ptr(),
            ))
        }
    }

    /// WKT2:2019, on one line.
    pub(super) fn wkt(&self) -> String {
        let options = [c"MULTILINE=NO".as_ptr(), null()];
        // SAFETY: as above.
        unsafe {
            text(sys::proj_as_wkt(
                self.ctx(),
                self.raw(),
                sys::PJ_WKT_TYPE_PJ_WKT2_2019,
                options.as_ptr(),
            ))
        }
    }

    /// WKT of OGC 01-009 as GDAL writes it, on one line; empty where that old form can't express the CRS.
    pub(super) fn wkt1(&self) -> String {
        let options = [c"MULTILINE=NO".as_ptr(), null()];
        // SAFETY: as above.
        unsafe {
            text(sys::proj_as_wkt(
                self.ctx(),
                self.raw(),
                sys::PJ_WKT_TYPE_PJ_WKT1_GDAL,
                options.as_ptr(),
            ))
        }
    }

    /// The operations from this CRS to another, those left out whose grids are missing.
    pub(super) fn operations_to(&self, target: &Self, ways: Ways) -> Vec<Self> {
        // SAFETY: live objects of one context; the factory context is destroyed once, after its only use.
        unsafe {
            let ctx = self.ctx();
            let factory = sys::proj_create_operation_factory_context(ctx, null());
            if factory.is_null() {
                return Vec::new();
            }
            sys::proj_operation_factory_context_set_spatial_criterion(
                ctx,
                factory,
                sys::PROJ_SPATIAL_CRITERION_PROJ_SPATIAL_CRITERION_PARTIAL_INTERSECTION,
            );
            sys::proj_operation_factory_context_set_grid_availability_use(
                ctx,
                factory,
                sys::PROJ_GRID_AVAILABILITY_USE_PROJ_GRID_AVAILABILITY_DISCARD_OPERATION_IF_MISSING_GRID,
            );
            sys::proj_operation_factory_context_set_allow_ballpark_transformations(
                ctx,
                factory,
                c_int::from(ways == Ways::Ballpark),
            );
            if ways == Ways::Through {
                sys::proj_operation_factory_context_set_allow_use_intermediate_crs(
                    ctx,
                    factory,
                    sys::PROJ_INTERMEDIATE_CRS_USE_PROJ_INTERMEDIATE_CRS_USE_ALWAYS,
                );
            }
            let list = sys::proj_create_operations(ctx, self.raw(), target.raw(), factory);
            sys::proj_operation_factory_context_destroy(factory);
            self.context.own_list(list)
        }
    }

    /// Stated accuracy of an operation in metres; `None` where none is stated.
    pub(super) fn accuracy(&self) -> Option<f64> {
        // SAFETY: live object.
        let accuracy = unsafe { sys::proj_coordoperation_get_accuracy(self.ctx(), self.raw()) };
        (accuracy >= 0.0).then_some(accuracy)
    }

    /// Whether an operation takes no notice of the datums somewhere on its way.
    pub(super) fn is_ballpark(&self) -> bool {
        // SAFETY: live object.
        unsafe { sys::proj_coordoperation_has_ballpark_transformation(self.ctx(), self.raw()) != 0 }
    }

    /// Whether an operation needs the date of the coordinates.
    pub(super) fn needs_epoch(&self) -> bool {
        // SAFETY: live object.
        unsafe {
            sys::proj_coordoperation_requires_per_coordinate_input_time(self.ctx(), self.raw()) != 0
        }
    }

    /// The same operation with easting (longitude) first on both sides.
    pub(super) fn east_first(&self) -> Option<Self> {
        // SAFETY: live object and context; null is checked by `own`.
        self.context
            .own(unsafe { sys::proj_normalize_for_visualization(self.ctx(), self.raw()) })
    }

    /// Runs an operation over points (x, y, z, t) in place. A point that can't be converted comes out infinite.
    pub(super) fn run(&self, points: &mut [[f64; 4]]) {
        // SAFETY: `PJ_COORD` is a C union of 32 bytes whose first member is `[f64; 4]`; the length is the slice's.
        unsafe {
            sys::proj_trans_array(
                self.raw(),
                sys::PJ_DIRECTION_PJ_FWD,
                points.len(),
                points.as_mut_ptr().cast::<sys::PJ_COORD>(),
            );
        }
    }

    /// How the grid of a projected CRS lies at longitude, latitude in radians, the longitude from the meridian of its
    /// base CRS.
    pub(super) fn factors(&self, longitude: f64, latitude: f64) -> Option<Shape> {
        let place = sys::PJ_COORD {
            v: [longitude, latitude, 0.0, 0.0],
        };
        // SAFETY: live object; the union is passed by value. PROJ answers with zeros where it has none.
        let factors = unsafe { sys::proj_factors(self.raw(), place) };
        (factors.areal_scale > 0.0 && factors.tissot_semiminor > 0.0).then_some(Shape {
            areal_scale: factors.areal_scale,
            convergence: factors.meridian_convergence,
            longest: factors.tissot_semimajor,
            shortest: factors.tissot_semiminor,
        })
    }
}

/// Which operations are asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ways {
    /// From the one system to the other, through a third one only where there is no direct one anywhere.
    Direct,
    /// Through third systems as well: a direct one may be of another country only.
    Through,
    /// Those too that take no notice of the datums.
    Ballpark,
}

/// Says nothing: what matters comes back as an error.
extern "C" fn silent(_: *mut c_void, _: c_int, _: *const c_char) {}

/// Copies a text of PROJ's; empty for null.
///
/// # Safety
/// `pointer` is null or points to a text ended by NUL that lives until this returns.
unsafe fn text(pointer: *const c_char) -> String {
    if pointer.is_null() {
        return String::new();
    }
    // SAFETY: the caller's promise.
    unsafe { CStr::from_ptr(pointer) }
        .to_string_lossy()
        .into_owned()
}

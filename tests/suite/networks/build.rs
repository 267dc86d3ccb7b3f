//! Networks made for tests: points, equations, a truth, and a small random generator.

use std::sync::Arc;

use aslaid::job::model::Source;
use aslaid::math::similarity::Similarity;
use aslaid::observe::kinds::{Plane, State};
use aslaid::observe::{Kind, Observation, Observations, Point, PointId, PointRole, ShiftId};

/// SplitMix64: enough for tests, the same everywhere.
pub struct Random(pub u64);

impl Random {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }
    pub fn normal(&mut self) -> f64 {
        let u = self.uniform(f64::MIN_POSITIVE, 1.0);
        (-2.0 * u.ln()).sqrt() * self.uniform(0.0, std::f64::consts::TAU).cos()
    }
    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }
}

/// A network with its truth.
pub struct Net {
    pub out: Observations,
    pub truth: Vec<Plane>,
    pub shifts: Vec<Plane>,
    pub site: Similarity,
}

impl State for Net {
    fn place(&self, point: PointId) -> Plane {
        self.truth[point.0 as usize]
    }
    fn shift(&self, shift: ShiftId) -> Plane {
        self.shifts[shift.0 as usize]
    }
    fn site(&self) -> Similarity {
        self.site
    }
}

impl Net {
    pub fn new() -> Self {
        let out = Observations {
            ground_to_grid: 1.0,
            ..Observations::default()
        };
        let site = Similarity {
            origin: (0.0, 0.0),
            parameters: [1.0, 0.0, 0.0, 0.0],
        };
        Self {
            out,
            truth: vec![],
            shifts: vec![],
            site,
        }
    }
    fn point(&mut self, place: Plane, role: PointRole, fixed: bool) -> PointId {
        let id = PointId(self.truth.len() as u32);
        self.truth.push(place);
        let name: Arc<str> = format!("N{}", id.0).into();
        self.out.points.push(Point {
            name,
            role,
            fixed: fixed.then_some(place),
            site: None,
        });
        id
    }
    pub fn fixed(&mut self, e: f64, n: f64) -> PointId {
        self.point((e, n), PointRole::Control(0), true)
    }
    pub fn free(&mut self, e: f64, n: f64) -> PointId {
        self.point((e, n), PointRole::Auxiliary, false)
    }
    /// A point with exact site coordinates that follow from its true place.
    pub fn on_site(&mut self, e: f64, n: f64) -> PointId {
        let id = self.free(e, n);
        let x = Kind::SiteX { at: id }.equation(self).computed;
        let y = Kind::SiteY { at: id }.equation(self).computed;
        self.out.points[id.0 as usize].site = Some((x, y));
        id
    }
    pub fn shift(&mut self, sigma: f64, truth: Plane) -> ShiftId {
        self.out.shifts.push(sigma);
        self.out.shift_names.push("datum".into());
        self.shifts.push(truth);
        ShiftId((self.shifts.len() - 1) as u16)
    }
    /// Measures with an error of `error` metres or radians.
    pub fn measure(&mut self, kind: Kind, sigma: f64, error: f64) -> usize {
        let value = kind.equation(self).computed + error;
        let row = self.out.plane.len() as u32 + 2;
        let source = Source {
            file: "marks.csv".into(),
            row,
        };
        self.out.plane.push(Observation {
            kind,
            value,
            sigma,
            measured: value,
            source,
            column: "value",
        });
        self.out.plane.len() - 1
    }
    pub fn noisy(&mut self, kind: Kind, sigma: f64, random: &mut Random) -> usize {
        let error = sigma * random.normal();
        self.measure(kind, sigma, error)
    }
}

/// The equation as plain data, for other programs.
pub fn as_json(net: &Net) -> serde_json::Value {
    let p = |id: PointId| id.0;
    let observations: Vec<_> = net
        .out
        .plane
        .iter()
        .map(|o| {
            let (kind, points, shift) = match o.kind {
                Kind::Distance { from, to } => ("distance", vec![p(from), p(to)], None),
                Kind::Station { from, to, at } => ("station", vec![p(from), p(to), p(at)], None),
                Kind::Offset { from, to, at } => ("offset", vec![p(from), p(to), p(at)], None),
                Kind::Angle { at, from, to } => ("angle", vec![p(at), p(from), p(to)], None),
                Kind::Azimuth { from, to } => ("azimuth", vec![p(from), p(to)], None),
                Kind::East { at, shift } => ("east", vec![p(at)], shift.map(|s| s.0)),
                Kind::North { at, shift } => ("north", vec![p(at)], shift.map(|s| s.0)),
                Kind::SiteX { at } => ("x", vec![p(at)], None),
                Kind::SiteY { at } => ("y", vec![p(at)], None),
            };
            serde_json::json!({"kind": kind, "points": points, "shift": shift, "value": o.value, "sigma": o.sigma})
        })
        .collect();
    let points: Vec<_> = net
        .out
        .points
        .iter()
        .zip(&net.truth)
        .map(|(point, start)| serde_json::json!({"fixed": point.fixed, "site": point.site, "start": start}))
        .collect();
    let site: Vec<f64> = net.site.parameters.to_vec();
    serde_json::json!({
        "points": points, "observations": observations, "shifts": net.out.shifts,
        "site": site, "origin": net.site.origin,
    })
}

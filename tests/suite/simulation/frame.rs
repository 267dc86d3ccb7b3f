//! Where a simulated site lies: ground metres about a point of its own, and how they become grid, longitude and latitude.

use super::projection::{Kind, Projection, US_SURVEY_FOOT};
use super::rng::Rng;

/// A place on the ground: metres east and north of the site's point.
pub type Ground = [f64; 2];

/// A coordinate system that simulated jobs are in.
pub struct Crs {
    /// Its code.
    pub code: &'static str,
    /// Metres in its unit.
    pub unit: f64,
    /// Code of its own datum's geographic system.
    pub geographic: &'static str,
    /// Longitude and latitude that the invented sites lie about, degrees.
    pub about: [f64; 2],
    /// Ellipsoidal height less height in the vertical datum there: a round figure of the right sign, ours.
    pub separation: f64,
    projection: Option<Projection>,
}

const GRS80: (f64, f64) = (6_378_137.0, 298.257_222_101);
const UTM: f64 = 0.9996;

const fn utm(lon0: f64) -> Projection {
    Projection {
        a: GRS80.0,
        inverse_flattening: GRS80.1,
        kind: Kind::TransverseMercator {
            lat0: 0.0,
            lon0,
            k0: UTM,
        },
        false_origin: [500_000.0, 0.0],
    }
}

/// ETRS89 / UTM zone 32N, metres.
pub static UTM_32: Crs = Crs {
    code: "EPSG:25832",
    unit: 1.0,
    geographic: "EPSG:4258",
    about: [9.6, 52.1],
    separation: 44.0,
    projection: Some(utm(9.0)),
};

/// NAD83 / UTM zone 10N, metres.
pub static UTM_10: Crs = Crs {
    code: "EPSG:26910",
    unit: 1.0,
    geographic: "EPSG:4269",
    about: [-122.3, 44.6],
    separation: -22.0,
    projection: Some(utm(-123.0)),
};

/// OSGB36 / British National Grid, metres.
pub static BRITISH: Crs = Crs {
    code: "EPSG:27700",
    unit: 1.0,
    geographic: "EPSG:4277",
    about: [-1.3, 52.4],
    separation: 0.0,
    projection: Some(Projection {
        a: 6_377_563.396,
        inverse_flattening: 299.324_964_6,
        kind: Kind::TransverseMercator {
            lat0: 49.0,
            lon0: -2.0,
            k0: 0.999_601_271_7,
        },
        false_origin: [400_000.0, -100_000.0],
    }),
};

/// NAD83 / Texas South Central, US survey feet.
pub static TEXAS: Crs = Crs {
    code: "EPSG:2278",
    unit: US_SURVEY_FOOT,
    geographic: "EPSG:4269",
    about: [-97.1, 29.4],
    separation: -27.0,
    projection: Some(Projection {
        a: GRS80.0,
        inverse_flattening: GRS80.1,
        kind: Kind::Lambert {
            lat0: 27.0 + 50.0 / 60.0,
            lon0: -99.0,
            parallels: [28.0 + 23.0 / 60.0, 30.0 + 17.0 / 60.0],
        },
        // As the register has it, rounded in feet.
        false_origin: [
            1_968_500.0 * US_SURVEY_FOOT,
            13_123_333.333 * US_SURVEY_FOOT,
        ],
    }),
};

/// NAD83(HARN) / Utah North, international feet.
pub static UTAH: Crs = Crs {
    code: "EPSG:2921",
    unit: 0.3048,
    geographic: "EPSG:4152",
    about: [-112.0, 41.3],
    separation: -17.0,
    projection: Some(Projection {
        a: GRS80.0,
        inverse_flattening: GRS80.1,
        kind: Kind::Lambert {
            lat0: 40.0 + 20.0 / 60.0,
            lon0: -111.5,
            parallels: [40.0 + 43.0 / 60.0, 41.0 + 47.0 / 60.0],
        },
        false_origin: [500_000.0, 1_000_000.0],
    }),
};

/// An assumed grid, whose distances are ground distances.
pub static LOCAL: Crs = Crs {
    code: "local",
    unit: 1.0,
    geographic: "",
    about: [0.0, 0.0],
    separation: 0.0,
    projection: None,
};

/// An assumed grid of a job in feet: its coordinates are in the job's unit.
pub static LOCAL_FEET: Crs = Crs {
    code: "local",
    unit: 0.3048,
    geographic: "",
    about: [0.0, 0.0],
    separation: 0.0,
    projection: None,
};

impl Crs {
    /// Easting and northing of longitude and latitude in its own datum; none for an assumed grid.
    pub fn forward(&self, place: [f64; 2]) -> Option<[f64; 2]> {
        self.projection
            .as_ref()
            .map(|projection| projection.forward(place))
    }

    /// Convergence at a place on the grid; 0 for an assumed grid.
    pub fn convergence_at(&self, grid: [f64; 2]) -> f64 {
        self.projection.as_ref().map_or(0.0, |projection| {
            let place = projection.inverse(grid, self.about.map(f64::to_radians));
            projection.scale_and_convergence(place)[1]
        })
    }
}

/// A site on its grid.
pub struct Frame {
    /// Coordinate system.
    pub crs: &'static Crs,
    /// Mean ground height of the site in the vertical datum.
    pub height: f64,
    /// Grid distance over ground distance.
    pub scale: f64,
    /// What a grid azimuth wants added to become a true one.
    pub convergence: f64,
    origin: [f64; 2],
    about: [f64; 2],
}

impl Frame {
    /// A site somewhere about the system's point.
    pub fn new(crs: &'static Crs, rng: &mut Rng) -> Self {
        let height = rng.between((20.0, 400.0)).round();
        let about = crs
            .about
            .map(|degrees| (degrees + rng.between((-0.1, 0.1))).to_radians());
        let Some(projection) = &crs.projection else {
            return Self {
                crs,
                height,
                scale: 1.0,
                convergence: 0.0,
                origin: [1000.0, 5000.0],
                about,
            };
        };
        let [point_scale, convergence] = projection.scale_and_convergence(about);
        let radius = projection.mean_radius(about[1]);
        let scale = point_scale * radius / (radius + height + crs.separation);
        Self {
            crs,
            height,
            scale,
            convergence,
            origin: projection.forward(about),
            about,
        }
    }

    /// Easting and northing in metres.
    pub fn grid(&self, [x, y]: Ground) -> [f64; 2] {
        [
            self.origin[0] + self.scale * x,
            self.origin[1] + self.scale * y,
        ]
    }

    /// Longitude and latitude in the system's own datum, radians.
    pub fn geographic(&self, place: Ground) -> [f64; 2] {
        match &self.crs.projection {
            Some(projection) => projection.inverse(self.grid(place), self.about),
            None => panic!("a local grid has no longitudes"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{BRITISH, Crs, TEXAS, UTAH, UTM_10, UTM_32};

    /// Code, longitude, latitude, easting and northing in the system's unit, tolerance. The two of Utah are IOGP GIGS
    /// test data 2.1.0; the others were made with PROJ 9.5.1.
    #[test]
    fn systems_are_those_of_their_codes() {
        let published: [(&Crs, [f64; 2], [f64; 2], f64); 5] = [
            (
                &UTM_32,
                [9.99, 53.55],
                [565_590.940_69, 5_933_912.165_42],
                1e-4,
            ),
            (
                &UTM_10,
                [-122.4005, 37.7236],
                [552_831.679_89, 4_175_317.704_30],
                1e-4,
            ),
            (
                &BRITISH,
                [-0.1276, 51.5074],
                [529_929.703_27, 180_434.348_94],
                1e-4,
            ),
            (
                &TEXAS,
                [-96.0, 28.5],
                [2_931_985.267_78, 13_378_102.358_13],
                1e-4,
            ),
            (&UTAH, [-110.0, 49.0], [2_003_937.274, 6_452_491.702], 1e-3),
        ];
        for (crs, place, [e, n], tolerance) in published {
            let projection = crs.projection.as_ref().expect("projected");
            let [found_e, found_n] = projection
                .forward(place.map(f64::to_radians))
                .map(|metres| metres / crs.unit);
            assert!(
                (found_e - e).abs() < tolerance && (found_n - n).abs() < tolerance,
                "{}: {found_e} {found_n}",
                crs.code
            );
        }
    }
}

//! Map projections by closed formulas, apart from the library that the crate uses.

use std::f64::consts::FRAC_PI_4;

/// US survey foot: 1200/3937 m.
pub const US_SURVEY_FOOT: f64 = 1200.0 / 3937.0;

/// How the ellipsoid is laid on the plane; angles in degrees.
pub enum Kind {
    /// Krüger's series in the third flattening, to its fourth power (Karney 2011, equations 7 to 12 and 35).
    TransverseMercator { lat0: f64, lon0: f64, k0: f64 },
    /// Two standard parallels (Snyder, USGS Professional Paper 1395, equations 15-1 to 15-10).
    Lambert {
        lat0: f64,
        lon0: f64,
        parallels: [f64; 2],
    },
}

/// A projection; metres.
pub struct Projection {
    /// Semi-major axis.
    pub a: f64,
    /// Inverse flattening.
    pub inverse_flattening: f64,
    /// Method and its parameters.
    pub kind: Kind,
    /// False easting and northing.
    pub false_origin: [f64; 2],
}

impl Projection {
    /// Easting and northing of longitude and latitude in radians.
    pub fn forward(&self, [lon, lat]: [f64; 2]) -> [f64; 2] {
        let [e, n] = match self.kind {
            Kind::TransverseMercator { lat0, lon0, k0 } => {
                let [x, y] = self.mercator(lon - lon0.to_radians(), lat);
                let [_, y0] = self.mercator(0.0, lat0.to_radians());
                [k0 * x, k0 * (y - y0)]
            }
            Kind::Lambert {
                lat0,
                lon0,
                parallels,
            } => self.lambert(lon - lon0.to_radians(), lat, lat0, parallels),
        };
        [e + self.false_origin[0], n + self.false_origin[1]]
    }

    /// Longitude and latitude, by Newton's method on [`Self::forward`] from a place nearby.
    pub fn inverse(&self, [e, n]: [f64; 2], near: [f64; 2]) -> [f64; 2] {
        let [mut lon, mut lat] = near;
        for _ in 0..8 {
            let [e0, n0] = self.forward([lon, lat]);
            let [[de_lon, dn_lon], [de_lat, dn_lat]] = self.partials([lon, lat]);
            let determinant = de_lon * dn_lat - de_lat * dn_lon;
            lon += ((e - e0) * dn_lat - (n - n0) * de_lat) / determinant;
            lat += ((n - n0) * de_lon - (e - e0) * dn_lon) / determinant;
        }
        [lon, lat]
    }

    /// Point scale, and convergence: what a grid azimuth wants added to become a true one, radians.
    pub fn scale_and_convergence(&self, [lon, lat]: [f64; 2]) -> [f64; 2] {
        let [_, [e, n]] = self.partials([lon, lat]);
        let [meridian, _] = self.radii(lat);
        [e.hypot(n) / meridian, -e.atan2(n)]
    }

    /// Gaussian mean radius at a latitude.
    pub fn mean_radius(&self, lat: f64) -> f64 {
        let [meridian, vertical] = self.radii(lat);
        (meridian * vertical).sqrt()
    }

    fn eccentricity_squared(&self) -> f64 {
        let f = 1.0 / self.inverse_flattening;
        f * (2.0 - f)
    }

    /// Radii of curvature in the meridian and across it.
    fn radii(&self, lat: f64) -> [f64; 2] {
        let e2 = self.eccentricity_squared();
        let w = 1.0 - e2 * lat.sin().powi(2);
        [self.a * (1.0 - e2) / (w * w.sqrt()), self.a / w.sqrt()]
    }

    /// Change of easting and northing with longitude and with latitude, by central differences.
    fn partials(&self, [lon, lat]: [f64; 2]) -> [[f64; 2]; 2] {
        let step = 1e-5;
        let slope =
            |a: [f64; 2], b: [f64; 2]| [(b[0] - a[0]) / (2.0 * step), (b[1] - a[1]) / (2.0 * step)];
        [
            slope(
                self.forward([lon - step, lat]),
                self.forward([lon + step, lat]),
            ),
            slope(
                self.forward([lon, lat - step]),
                self.forward([lon, lat + step]),
            ),
        ]
    }

    fn mercator(&self, lon: f64, lat: f64) -> [f64; 2] {
        let f = 1.0 / self.inverse_flattening;
        let n = f / (2.0 - f);
        let (n2, n3, n4) = (n * n, n.powi(3), n.powi(4));
        let series = [
            n / 2.0 - 2.0 * n2 / 3.0 + 5.0 * n3 / 16.0 + 41.0 * n4 / 180.0,
            13.0 * n2 / 48.0 - 3.0 * n3 / 5.0 + 557.0 * n4 / 1440.0,
            61.0 * n3 / 240.0 - 103.0 * n4 / 140.0,
            49561.0 * n4 / 161_280.0,
        ];
        let eccentricity = self.eccentricity_squared().sqrt();
        let conformal =
            (lat.sin().atanh() - eccentricity * (eccentricity * lat.sin()).atanh()).sinh();
        let xi = conformal.atan2(lon.cos());
        let eta = (lon.sin() / conformal.hypot(1.0)).atanh();
        let (mut x, mut y) = (eta, xi);
        for (j, term) in (1_u8..).zip(series) {
            let j2 = 2.0 * f64::from(j);
            x += term * (j2 * xi).cos() * (j2 * eta).sinh();
            y += term * (j2 * xi).sin() * (j2 * eta).cosh();
        }
        let radius = self.a / (1.0 + n) * (1.0 + n2 / 4.0 + n4 / 64.0);
        [radius * x, radius * y]
    }

    fn lambert(&self, lon: f64, lat: f64, lat0: f64, parallels: [f64; 2]) -> [f64; 2] {
        let e2 = self.eccentricity_squared();
        let e = e2.sqrt();
        let m = |lat: f64| lat.cos() / (1.0 - e2 * lat.sin().powi(2)).sqrt();
        let t = |lat: f64| {
            let s = e * lat.sin();
            (FRAC_PI_4 - lat / 2.0).tan() / ((1.0 - s) / (1.0 + s)).powf(e / 2.0)
        };
        let [first, second] = parallels.map(f64::to_radians);
        let n = (m(first) / m(second)).ln() / (t(first) / t(second)).ln();
        let radius = |lat: f64| self.a * m(first) / n * (t(lat) / t(first)).powf(n);
        [
            radius(lat) * (n * lon).sin(),
            radius(lat0.to_radians()) - radius(lat) * (n * lon).cos(),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::{Kind, Projection, US_SURVEY_FOOT};

    fn dms(d: f64, m: f64, s: f64) -> f64 {
        (d.abs() + m / 60.0 + s / 3600.0).copysign(d).to_radians()
    }

    /// The worked example of A Guide to Coordinate Systems in Great Britain, V3.6: the Airy ellipsoid by its axes.
    #[test]
    fn transverse_mercator_gives_the_national_grid_example() {
        let airy = Projection {
            a: 6_377_563.396,
            inverse_flattening: 299.324_964_6,
            kind: Kind::TransverseMercator {
                lat0: 49.0,
                lon0: -2.0,
                k0: 0.999_601_271_7,
            },
            false_origin: [400_000.0, -100_000.0],
        };
        let place = [dms(1.0, 43.0, 4.5177), dms(52.0, 39.0, 27.2531)];
        let [e, n] = airy.forward(place);
        assert!(
            (e - 651_409.903).abs() < 0.001 && (n - 313_177.270).abs() < 0.001,
            "{e} {n}"
        );
        let back = airy.inverse([e, n], [0.02, 0.91]);
        assert!((back[0] - place[0]).abs() < 1e-13 && (back[1] - place[1]).abs() < 1e-13);
    }

    /// GDA2020 Technical Manual V1.6, Flinders Peak: its convergence has the opposite sign, as its text says.
    #[test]
    fn transverse_mercator_gives_scale_and_convergence_of_flinders_peak() {
        let mga55 = Projection {
            a: 6_378_137.0,
            inverse_flattening: 298.257_222_101,
            kind: Kind::TransverseMercator {
                lat0: 0.0,
                lon0: 147.0,
                k0: 0.9996,
            },
            false_origin: [500_000.0, 10_000_000.0],
        };
        let place = [dms(144.0, 25.0, 29.5244), dms(-37.0, 57.0, 3.7203)];
        let [e, n] = mga55.forward(place);
        assert!(
            (e - 273_741.297).abs() < 0.001 && (n - 5_796_489.777).abs() < 0.001,
            "{e} {n}"
        );
        let [scale, convergence] = mga55.scale_and_convergence(place);
        assert!((scale - 1.000_230_558_6).abs() < 1e-9, "{scale}");
        assert!(
            (convergence - dms(1.0, 35.0, 3.647)).abs() < 1e-8,
            "{}",
            convergence.to_degrees()
        );
    }

    /// IOGP Guidance Note 7-2, method 9802: NAD27 / Texas South Central.
    #[test]
    fn lambert_gives_the_texas_example() {
        let texas = Projection {
            a: 6_378_206.4,
            inverse_flattening: 294.978_698_2,
            kind: Kind::Lambert {
                lat0: 27.0 + 50.0 / 60.0,
                lon0: -99.0,
                parallels: [28.0 + 23.0 / 60.0, 30.0 + 17.0 / 60.0],
            },
            false_origin: [2_000_000.0 * US_SURVEY_FOOT, 0.0],
        };
        let place = [dms(-96.0, 0.0, 0.0), dms(28.0, 30.0, 0.0)];
        let [e, n] = texas.forward(place).map(|metres| metres / US_SURVEY_FOOT);
        assert!(
            (e - 2_963_503.91).abs() < 0.01 && (n - 254_759.80).abs() < 0.01,
            "{e} {n}"
        );
    }
}

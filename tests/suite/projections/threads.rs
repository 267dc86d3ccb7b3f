//! The same results on every thread.

use aslaid::crs::{Crs, Datum};

use crate::projections::support::{Numbers, crs};

const CODES: [&str; 8] = [
    "EPSG:2264",
    "EPSG:26915",
    "EPSG:27572",
    "EPSG:27700",
    "EPSG:28992",
    "EPSG:7855",
    "EPSG:2227",
    "EPSG:25832",
];

/// Every bit of what a thread gets.
fn work(systems: &[Crs]) -> Vec<u64> {
    let mut bits = Vec::new();
    for crs in systems {
        let area = crs.area().unwrap();
        let mut numbers = Numbers(7);
        let places: Vec<(f64, f64)> = (0..100)
            .map(|_| {
                (
                    numbers.between(area.west, area.east),
                    numbers.between(area.south, area.north),
                )
            })
            .collect();
        for datum in [Datum::OfCrs, Datum::Wgs84] {
            let (en, operation) = crs.to_grid(&datum, &places).unwrap();
            let (back, _) = crs.to_wgs84(&en).unwrap();
            let factors = crs.factors(en[0].0, en[0].1).unwrap();
            let figures = en.iter().chain(&back).flat_map(|&(x, y)| [x, y]);
            bits.extend(
                figures
                    .chain([factors.scale, factors.convergence, factors.radius])
                    .map(f64::to_bits),
            );
            bits.extend(operation.name.bytes().map(u64::from));
        }
    }
    bits
}

#[test]
fn eight_threads_get_the_same_bits() {
    let systems: Vec<Crs> = CODES.iter().map(|code| crs(code)).collect();
    let alone = work(&systems);
    assert!(alone.len() > 8 * 2 * 400);
    std::thread::scope(|scope| {
        // Half of them share systems made here, half make their own, all at once.
        let threads: Vec<_> = (0..8)
            .map(|i| {
                let systems = &systems;
                scope.spawn(move || {
                    if i % 2 == 0 {
                        work(systems)
                    } else {
                        work(&CODES.map(crs))
                    }
                })
            })
            .collect();
        for thread in threads {
            assert!(thread.join().unwrap() == alone);
        }
    });
}

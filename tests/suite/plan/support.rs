//! Records, plans and random figures for the tests.

use std::path::{Path, PathBuf};

use aslaid::plan::layers::Layers;
use aslaid::plan::tie::Tie;
use aslaid::plan::{self, Plan, Request, Site};
use aslaid::record::AsBuilt;
use aslaid::record::model::{Ellipse, Evidence, Joint, Run, Vertex, VertexKind};
use serde_json::json;

/// Metres in a US survey foot.
pub const US_FOOT: f64 = 1200.0 / 3937.0;

/// A small generator (splitmix64), so that every run of the tests sees the same figures.
pub struct Random(pub u64);

impl Random {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform.
    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A whole number below `end`.
    pub fn below(&mut self, end: usize) -> usize {
        (self.bits() % end as u64) as usize
    }

    /// Standard normal (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let (a, b) = (
            self.within(1e-12, 1.0),
            self.within(0.0, std::f64::consts::TAU),
        );
        (-2.0 * a.ln()).sqrt() * b.cos()
    }
}

/// A record without runs.
pub fn record(crs: &str, crs_unit_metres: f64, unit: &str) -> AsBuilt {
    let value = json!({
        "schema": "aslaid record 1", "generator": "test",
        "job": {"id": "T-1", "supplier": "S"},
        "frame": {"crs": crs, "crs_name": crs, "local": crs == "local", "crs_unit": "", "crs_unit_metres": crs_unit_metres,
            "unit": unit, "operations": []},
        "equipment": {"lens_to_transmitter": 0.0},
        "accuracy": {"basis": "modelled", "statement": "", "compared": 0, "inside": 0},
        "sigmas": [], "limits": [],
        "adjustment": {"equations": 0, "unknowns": 0, "redundancy": 0, "components": 0},
        "runs": [], "marks": [], "camera": [], "references": [], "ties": [], "measurements": [], "checks": [],
        "advice": [], "findings": [], "notes": [], "left_out": [], "inputs": [],
        "cells": {"used": 0, "kept": 0, "named": 0}, "cautions": []
    });
    serde_json::from_value(value).expect("a record")
}

/// A vertex of a made-up run: place in metres on the grid, the rest in metres too.
#[derive(Clone, Debug, Default)]
pub struct Corner {
    pub at: (f64, f64),
    pub ellipse: Option<Ellipse>,
    pub depth: Option<(f64, f64)>,
    pub cover: Option<f64>,
    pub invert: Option<(f64, f64)>,
    pub joint: Option<Joint>,
}

/// A run through corners given in metres, with stations from its first one; figures go into the record's units.
pub fn run(record: &AsBuilt, id: &str, corners: &[Corner]) -> Run {
    let (grid, unit) = (record.frame.crs_unit_metres, record.frame.unit.metres());
    let mut station = 0.0;
    let mut before: Option<(f64, f64)> = None;
    let mut vertices = Vec::new();
    for (number, corner) in corners.iter().enumerate() {
        if let Some((x, y)) = before {
            station += (corner.at.0 - x).hypot(corner.at.1 - y);
        }
        before = Some(corner.at);
        let scaled = |ellipse: Ellipse| Ellipse {
            semi_major_95: ellipse.semi_major_95 / unit,
            semi_minor_95: ellipse.semi_minor_95 / unit,
            azimuth_95: ellipse.azimuth_95,
        };
        let joint = |joint: Joint| Joint {
            place: joint
                .place
                .map(|place| place.map(|row| row.map(|cell| cell / unit / unit))),
            depth: joint.depth.map(|cell| cell / unit / unit),
            invert: joint.invert.map(|cell| cell / unit / unit),
            bulge: joint.bulge.map(|bulge| bulge / unit),
        };
        vertices.push(Vertex {
            kind: VertexKind::Mark,
            mark: Some(format!("{id}{number}")),
            station: station / unit,
            along_pipe: None,
            easting: corner.at.0 / grid,
            northing: corner.at.1 / grid,
            geographic: None,
            ellipse: corner.ellipse.map(scaled),
            ground: None,
            transmitter_depth: corner.depth.map(|(depth, _)| depth / unit),
            cover: corner.cover.map(|cover| cover / unit),
            invert: corner.invert.map(|(invert, _)| invert / unit),
            invert_95: corner
                .invert
                .map(|(_, sigma)| 1.959_963_984_540_054 * sigma / unit),
            grade: None,
            grade_95: None,
            depth_95: corner
                .depth
                .map(|(_, sigma)| 1.959_963_984_540_054 * sigma / unit),
            joint: corner.joint.map(joint),
            evidence: Evidence::Located,
        });
    }
    let mut run: Run = serde_json::from_value(json!({
        "id": format!("S/T-1/{id}"), "run": id, "pushed": "downstream", "station_from": "upstream", "marks": corners.len(),
        "evidence": "located", "vertices": []
    }))
    .expect("a run");
    run.vertices = vertices;
    run
}

/// A folder for this test alone.
pub fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

/// Reads plans as the command does.
pub fn read(
    record: &AsBuilt,
    files: &[PathBuf],
    layers: &str,
    tie: Option<&Tie>,
) -> Result<(Plan, Site), String> {
    let layers =
        Layers::parse(layers, "layers.toml", record.frame.unit).map_err(|why| why.to_string())?;
    let site = Site::of(record).map_err(|why| why.to_string())?;
    let request = Request {
        files,
        layers: &layers,
        tie,
    };
    let plan = plan::read(&request, &site).map_err(|why| why.to_string())?;
    Ok((plan, site))
}

/// One GeoJSON file of lines, `crs` an EPSG number; layer, then coordinates.
pub fn lines(path: &Path, crs: Option<u32>, lines: &[(&str, Vec<(f64, f64)>)]) {
    let features: Vec<_> = lines
        .iter()
        .map(|(layer, points)| {
            let points: Vec<_> = points.iter().map(|(x, y)| [*x, *y]).collect();
            json!({"type": "Feature", "properties": {"layer": layer}, "geometry": {"type": "LineString", "coordinates": points}})
        })
        .collect();
    let mut all = json!({"type": "FeatureCollection", "features": features});
    if let Some(crs) = crs {
        all["crs"] =
            json!({"type": "name", "properties": {"name": format!("urn:ogc:def:crs:EPSG::{crs}")}});
    }
    std::fs::write(path, all.to_string()).expect("a plan written");
}

/// Runs a script with the outside checkers' Python; fails where it is missing.
pub fn python(script: &str, arguments: &[&Path]) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let output = std::process::Command::new(root.join("target/venv/bin/python"))
        .arg(root.join("tests/suite/plan").join(script))
        .args(arguments)
        .output()
        .expect("target/venv/bin/python: run scripts/setup test");
    assert!(
        output.status.success(),
        "{script}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).expect("text")
}

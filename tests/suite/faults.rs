//! What is promised under faults: killed at any moment, a full disk, a folder taken away, hostile files, spoilt jobs.

pub mod full;
mod hostile;
mod killed;
mod spoilt;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::cli::site::Site;

/// The text formats: what most batches write, and quick to make.
const TEXT: &str = "record,geojson,kml,csv,dxf";

/// Numbers that look random and are the same every time.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, limit: u64) -> u64 {
        self.next() % limit
    }
}

/// Says which revision a job is, so that its results can be told apart.
fn revise(site: &Site, job: &str, revision: u64) {
    let path = site.at(job).join("job.toml");
    let text = fs::read_to_string(&path).unwrap();
    let kept: Vec<&str> = text
        .lines()
        .filter(|line| !line.starts_with("revision"))
        .collect();
    let (head, rest) = kept.split_first().unwrap();
    fs::write(
        &path,
        format!("{head}\nrevision = {revision}\n{}\n", rest.join("\n")),
    )
    .unwrap();
}

/// The revision that every file of a results folder states; panics where they don't agree, or one is not whole.
fn whole(folder: &Path) -> u64 {
    let bytes = fs::read(folder.join("record.json")).unwrap();
    let record: Value = serde_json::from_slice(&bytes).unwrap();
    let stated = record["hash"].as_str().unwrap();
    assert_eq!(
        aslaid::record::file_hash(&bytes),
        stated,
        "{}",
        folder.display()
    );
    let revision = record["job"]["revision"].as_u64().unwrap();
    let map: Value =
        serde_json::from_slice(&fs::read(folder.join("asbuilt.geojson")).unwrap()).unwrap();
    for feature in map["features"].as_array().unwrap() {
        assert_eq!(feature["properties"]["revision"].as_u64(), Some(revision));
    }
    let job = record["job"]["id"].as_str().unwrap();
    let marks = record["marks"].as_array().unwrap().len();
    let points = fs::read_to_string(folder.join("points.csv")).unwrap();
    assert!(points.ends_with("\r\n"));
    assert_eq!(
        points.matches(&format!(",{job},{revision},")).count(),
        marks,
        "{points}"
    );
    for (name, end) in [
        ("asbuilt.kml", "</kml>\n"),
        ("profile.csv", "\r\n"),
        ("ties.csv", "\r\n"),
        ("findings.json", "]\n"),
    ] {
        let text = fs::read_to_string(folder.join(name)).unwrap();
        assert!(text.ends_with(end), "{}", folder.join(name).display());
    }
    let drawing = fs::read_to_string(folder.join("asbuilt.dxf")).unwrap();
    assert!(drawing.trim_end().ends_with("EOF"));
    revision
}

/// Every file below a folder with its bytes.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut left = vec![folder.to_owned()];
    while let Some(next) = left.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                left.push(path);
            } else {
                all.insert(
                    path.to_string_lossy().into_owned(),
                    fs::read(&path).unwrap(),
                );
            }
        }
    }
    all
}

/// Names in a folder that begin with a point: what a run works with, and must not leave behind.
fn hidden(folder: &Path) -> Vec<String> {
    fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| name.starts_with('.'))
        .collect()
}

//! A folder to work in, and jobs in it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use tempfile::TempDir;

/// A folder that goes when the test ends.
pub struct Site(TempDir);

impl Site {
    pub fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Runs the command in the folder.
    pub fn aslaid(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_aslaid"))
            .args(arguments)
            .current_dir(self.0.path())
            .output()
            .unwrap()
    }

    /// Runs the command, which must end with this status; its standard output.
    pub fn ends(&self, status: i32, arguments: &[&str]) -> String {
        let output = self.aslaid(arguments);
        let (said, wrong) = (super::out(&output), super::err(&output));
        assert_eq!(
            output.status.code(),
            Some(status),
            "{arguments:?}\n{said}\n{wrong}"
        );
        said
    }

    /// A small job of three taped marks with this id, and a note in place of the third depth if it is given.
    pub fn job(&self, folder: &str, id: &str, depth: &str) {
        fs::create_dir_all(self.at(folder)).unwrap();
        let toml = format!(
            "[job]\nid = \"{id}\"\nsupplier = \"Example Survey\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"EPSG:26910\"\nunit = \"ft\"\nheight = \"95 m\"\n\
             [equipment]\naxis_above_invert = \"2 in\"\n[[run]]\nid = \"A\"\ndiameter = \"4 in\"\nwall = \"0.24 in\"\nmaterial = \"PVC\"\n"
        );
        let control =
            "point,easting,northing\nP1,567900,5250000\nP2,567910,5250000\nP3,567905,5250012\n";
        let marks = format!(
            "run,mark,counter,ground,depth_1,depth_2,tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3,fitting\n\
             A,A1,3.00,312.5,4.10,4.15,P1,17.37 ft,P2,29.27 ft,P3,\"27' 7\"\"\",cleanout\n\
             A,A2,8.00,312.4,4.20,4.25,P1,20.50,P2,24.98,P3,24.78,\n\
             A,A3,13.00,312.3,{depth},4.35,P1,24.40,P2,21.30,P3,22.90,\n"
        );
        for (name, text) in [
            ("job.toml", toml.as_str()),
            ("control.csv", control),
            ("marks.csv", &marks),
        ] {
            fs::write(self.at(folder).join(name), text).unwrap();
        }
    }

    /// Puts a text of a job's file in place of another, which must be there.
    pub fn swap(&self, file: &str, from: &str, to: &str) {
        let text = fs::read_to_string(self.at(file)).unwrap();
        assert!(text.contains(from), "{from} in {text}");
        fs::write(self.at(file), text.replacen(from, to, 1)).unwrap();
    }

    /// Every file below a folder, with its bytes.
    pub fn files(&self, folder: &str) -> BTreeMap<String, Vec<u8>> {
        let mut all = BTreeMap::new();
        collect(&self.at(folder), &self.at(folder), &mut all);
        all
    }

    /// Names of the files below a folder.
    pub fn names(&self, folder: &str) -> Vec<String> {
        self.files(folder).into_keys().collect()
    }

    /// Runs one of the scripts beside these tests; what it prints.
    pub fn python(&self, script: &str, arguments: &[&str]) -> String {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let output = Command::new(root.join("target/venv/bin/python"))
            .arg(root.join("tests/suite/cli").join(script))
            .args(arguments)
            .current_dir(self.0.path())
            .output()
            .expect("target/venv/bin/python, which scripts/setup makes");
        assert!(output.status.success(), "{}", super::err(&output));
        super::out(&output)
    }
}

fn collect(root: &Path, folder: &Path, all: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(root, &path, all);
        } else {
            let name = path.strip_prefix(root).unwrap().to_string_lossy();
            all.insert(name.into_owned(), fs::read(path).unwrap());
        }
    }
}

/// A job among the fixtures.
pub fn fixture(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(name);
    assert!(path.exists(), "{}", path.display());
    path.to_string_lossy().into_owned()
}

//! A full disk: a small file system in memory, mounted here, which needs root.

use std::fs;
use std::path::Path;
use std::process::Command;

use super::{TEXT, files, hidden, revise, whole};
use crate::cli::site::Site;

/// A small disk, as long as it is held.
pub struct Disk<'a>(&'a Path);

impl<'a> Disk<'a> {
    pub fn of(place: &'a Path, size: &str) -> Self {
        fs::create_dir_all(place).unwrap();
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={size}"), "aslaid-test"])
            .arg(place)
            .output()
            .expect("the program mount");
        assert!(
            mounted.status.success(),
            "a small disk can't be mounted (run the tests as root): {}",
            String::from_utf8_lossy(&mounted.stderr)
        );
        Self(place)
    }
}

impl Drop for Disk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.0).status();
    }
}

#[test]
fn a_full_disk_is_said_and_the_earlier_results_stand() {
    let site = Site::new();
    let place = site.at("disk");
    let disk = Disk::of(&place, "3m");
    for job in ["J0", "J1", "J2"] {
        site.job(&format!("jobs/{job}"), job, "4.30");
        revise(&site, &format!("jobs/{job}"), 1);
    }
    let build = [
        "build",
        "jobs",
        "--out",
        "disk/out",
        "--formats",
        TEXT,
        "--quiet",
        "--jobs",
        "1",
    ];
    site.ends(0, &build);
    let earlier = files(&site.at("disk/out"));
    for job in ["J0", "J1", "J2"] {
        revise(&site, &format!("jobs/{job}"), 2);
    }
    // From no room at all to room for a file or two, then for a job.
    for room in [0, 1, 4, 16, 48, 64] {
        let filler = site.at("disk/filler");
        let _ = fs::remove_file(&filler);
        fill(&filler, room * 1024);
        let output = site.aslaid(&build);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "room for {room} KiB: {said}");
        assert!(
            said.contains("the disk is full"),
            "room for {room} KiB: {said}"
        );
        assert!(!said.contains("panicked"), "{said}");
        assert_eq!(files(&site.at("disk/out")), earlier, "room for {room} KiB");
        assert_eq!(hidden(&site.at("disk/out")), [""; 0], "room for {room} KiB");
        fs::remove_file(&filler).unwrap();
    }
    site.ends(0, &build);
    for job in ["J0", "J1", "J2"] {
        assert_eq!(whole(&site.at("disk/out").join(job)), 2);
    }
    drop(disk);
}

/// Fills the disk up to so many bytes.
fn fill(filler: &Path, room: usize) {
    use std::io::Write as _;
    let mut file = fs::File::create(filler).unwrap();
    let block = vec![b'x'; 4096];
    let mut size = 0;
    while file.write_all(&block).is_ok() {
        size += block.len() as u64;
    }
    file.set_len(size.saturating_sub(room as u64)).unwrap();
}

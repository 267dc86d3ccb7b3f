//! A lock on one job's results, held while they are written.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::Path;

use super::place::failed;
use crate::error::Error;

/// Makes the hidden folder and locks it, so that a second run can't take it for a killed run's leftovers.
pub fn lock(work: &Path) -> Result<File, Error> {
    // The owner removes the folder when it is done: a lock on a folder that is gone is no lock, so look again.
    for _ in 0..100 {
        match fs::create_dir(work) {
            Err(e) if e.kind() != io::ErrorKind::AlreadyExists => return Err(failed(work, &e)),
            _ => {}
        }
        let file = match File::open(work) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
            other => other.map_err(|e| failed(work, &e))?,
        };
        match file.try_lock() {
            Err(TryLockError::WouldBlock) => {
                let why =
                    "another run is writing this job's results; wait for it, then run this again"
                        .to_owned();
                return Err(Error::Write {
                    path: work.to_owned(),
                    why,
                });
            }
            // Some network file systems have no locks; there only one run at a time is safe.
            Err(TryLockError::Error(_)) | Ok(()) => {}
        }
        if same_folder(&file, work) {
            return Ok(file);
        }
    }
    let why = "other runs keep coming and going there; run this again".to_owned();
    Err(Error::Write {
        path: work.to_owned(),
        why,
    })
}

#[cfg(unix)]
fn same_folder(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (file.metadata(), fs::symlink_metadata(path)) {
        (Ok(a), Ok(b)) => a.ino() == b.ino() && a.dev() == b.dev(),
        _ => false,
    }
}

#[cfg(not(unix))]
fn same_folder(_: &File, path: &Path) -> bool {
    path.exists()
}

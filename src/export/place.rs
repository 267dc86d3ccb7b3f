//! Putting a job's results in place: whole or not at all.
//!
//! Results of job `ID` stand in `DIR/ID`. They are first written completely into `DIR/.ID.aslaid/new`, file by file
//! flushed to the disk, and then change places with what stood in `DIR/ID`.
//!
//! **Guaranteed**, whenever the run is killed or fails:
//! - `DIR/ID` holds the earlier results whole or the new ones whole, never a mixture and never half a file. On a file
//!   system that can't exchange two names in one step (Linux's `renameat2`), there is one moment at which `DIR/ID` is
//!   missing; the next run puts the earlier results back before it does anything else.
//! - For a job with errors, the earlier results stand whole in `DIR/ID` or in `DIR/ID.superseded`; between the two
//!   renames `DIR/ID` is missing.
//! - What an earlier run left behind is cleared by the next run of the same job into the same folder.
//! - Files in `DIR/ID` that aren't ours are kept: they move into the new folder, or with the old one.
//! - Two runs never write the same job's results at once: the second is refused.
//!
//! The whole set is replaced, whatever formats were asked for: a format that was not written this time would be out of
//! date beside the others.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use super::flush::{Flushes, Pending};
use super::lock::lock;
use super::{is_deliverable, is_ours};
use crate::error::Error;
use crate::watch;

/// What becomes of earlier results.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Earlier {
    /// The new ones take their place.
    Replace,
    /// The job has errors: earlier deliverables are moved whole to `DIR/ID.superseded`.
    Supersede,
}

/// Writes a job's results by `fill`, which gets an empty folder, and puts them into `root/id`.
///
/// # Errors
/// [`Error::Write`] where anything can't be written; the earlier results then stand as they were.
pub fn place(
    root: &Path,
    id: &str,
    earlier: Earlier,
    fill: &dyn Fn(&Path) -> Result<(), Error>,
) -> Result<PathBuf, Error> {
    place_later(root, id, earlier, &|folder, _| fill(folder))?.wait(root)
}

/// As [`place`], but what [`file()`] wrote is flushed and put in place while the caller goes on.
///
/// # Errors
/// As [`place`], until `fill` has ended; what fails afterwards is told to whoever waits for it.
pub fn place_later(
    root: &Path,
    id: &str,
    earlier: Earlier,
    fill: &dyn Fn(&Path, &Flushes) -> Result<(), Error>,
) -> Result<Pending<PathBuf>, Error> {
    check_id(root, id)?;
    fs::create_dir_all(root).map_err(|e| failed(root, &e))?;
    let site = Site::open(root, id)?;
    let flushes = Flushes::new();
    let filled = site.fresh().and_then(|fresh| fill(&fresh, &flushes));
    if let Err(why) = filled {
        // What went wrong first is what is told, whether or not it can be cleared.
        let _ = site.clear();
        return Err(why);
    }
    Ok(flushes.then(move |flushed| {
        watch::begin();
        let placed = flushed.and_then(|()| site.put(earlier));
        let cleared = site.clear();
        watch::end("putting in place");
        placed.and(cleared).map(|()| site.target)
    }))
}

/// Writes one file into a folder that [`place_later`] hands out, and begins to flush it to the disk.
///
/// # Errors
/// [`Error::Write`], in plain words.
pub fn file(
    folder: &Path,
    name: &str,
    flushes: &Flushes,
    write: &dyn Fn(&mut dyn Write) -> io::Result<()>,
) -> Result<(), Error> {
    let path = folder.join(name);
    let written = File::create(&path).and_then(|file| {
        let mut out = BufWriter::with_capacity(1 << 16, file);
        write(&mut out)?;
        out.into_inner().map_err(io::IntoInnerError::into_error)
    });
    let file = written.map_err(|e| failed(&path, &e))?;
    flushes.add(file, path);
    Ok(())
}

/// Plain words for a failure of writing.
#[must_use]
pub fn failed(path: &Path, error: &io::Error) -> Error {
    let why = match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "the disk is full; make room and run it again (earlier results are untouched)".to_owned()
        }
        io::ErrorKind::PermissionDenied => {
            "no permission to write there; choose another folder with --out, or change its permissions".to_owned()
        }
        io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only; choose another folder with --out".to_owned(),
        io::ErrorKind::NotADirectory | io::ErrorKind::AlreadyExists => {
            "a file stands where a folder is needed; choose another folder with --out".to_owned()
        }
        _ => format!("{error}"),
    };
    Error::Write {
        path: path.to_owned(),
        why,
    }
}

/// Ids become folder names: nothing that leaves `root`, hides, or collides with a superseded set.
fn check_id(root: &Path, id: &str) -> Result<(), Error> {
    let plain = id
        .chars()
        .all(|c| c.is_ascii_alphanumeric() || "._-".contains(c));
    if id.is_empty() || !plain || id.starts_with('.') || id.ends_with(SUPERSEDED) {
        let why = format!(
            "the job id \"{id}\" can't name a folder; use letters, digits, . _ -, not a dot first and not \"{SUPERSEDED}\" last"
        );
        return Err(Error::Write {
            path: root.to_owned(),
            why,
        });
    }
    Ok(())
}

pub(super) const SUPERSEDED: &str = ".superseded";

/// The places of one job's results, held under a lock.
struct Site {
    root: PathBuf,
    /// Where results stand.
    target: PathBuf,
    /// Where results of a job that now has errors go.
    superseded: PathBuf,
    /// Hidden folder beside: `new` (being written; after the exchange, the earlier results), `old` and `older` (moved
    /// aside). On the same file system as `target`, so that renaming is one step.
    work: PathBuf,
    /// Holds the lock as long as it is open.
    _lock: File,
}

impl Site {
    fn open(root: &Path, id: &str) -> Result<Self, Error> {
        let work = root.join(format!(".{id}.aslaid"));
        let site = Self {
            root: root.to_owned(),
            target: root.join(id),
            superseded: root.join(format!("{id}{SUPERSEDED}")),
            _lock: lock(&work)?,
            work,
        };
        let ready = site.recover().and_then(|()| site.check_target());
        if ready.is_err() {
            site.clear()?;
        }
        ready.map(|()| site)
    }

    /// Undoes what a killed run left half done.
    fn recover(&self) -> Result<(), Error> {
        for (aside, place) in [("old", &self.target), ("older", &self.superseded)] {
            let aside = self.work.join(aside);
            if aside.exists() && !place.exists() {
                fs::rename(&aside, place).map_err(|e| failed(place, &e))?;
            }
        }
        self.discard()
    }

    /// Nothing of the user's may be replaced: only our own result folders are.
    fn check_target(&self) -> Result<(), Error> {
        for folder in [&self.target, &self.superseded] {
            let Ok(meta) = fs::symlink_metadata(folder) else {
                continue;
            };
            let why = if meta.is_symlink() {
                "is a link, and results are put in place by renaming, which would replace it; remove it, or choose another folder with --out"
            } else if !meta.is_dir() {
                "is a file where the results' folder must stand; choose another folder with --out"
            } else if !is_result_folder(folder) {
                "is a folder that holds something else than results; choose another folder with --out"
            } else {
                continue;
            };
            return Err(Error::Write {
                path: folder.clone(),
                why: why.to_owned(),
            });
        }
        Ok(())
    }

    fn fresh(&self) -> Result<PathBuf, Error> {
        let fresh = self.work.join("new");
        fs::create_dir(&fresh).map_err(|e| failed(&fresh, &e))?;
        Ok(fresh)
    }

    fn put(&self, earlier: Earlier) -> Result<(), Error> {
        let fresh = self.work.join("new");
        flush(&fresh)?;
        if earlier == Earlier::Supersede && holds_deliverables(&self.target) {
            self.supersede()?;
        }
        if self.target.exists() {
            if let Err(why) = exchange(&fresh, &self.target) {
                if !cannot_exchange(&why) {
                    return Err(failed(&self.target, &why));
                }
                let old = self.work.join("old");
                fs::rename(&self.target, &old).map_err(|e| failed(&self.target, &e))?;
                fs::rename(&fresh, &self.target).map_err(|e| failed(&self.target, &e))?;
            }
        } else {
            fs::rename(&fresh, &self.target).map_err(|e| failed(&self.target, &e))?;
        }
        flush(&self.root)
    }

    fn supersede(&self) -> Result<(), Error> {
        if self.superseded.exists() {
            let older = self.work.join("older");
            fs::rename(&self.superseded, &older).map_err(|e| failed(&self.superseded, &e))?;
        }
        fs::rename(&self.target, &self.superseded).map_err(|e| failed(&self.superseded, &e))?;
        flush(&self.root)
    }

    /// Removes what lies aside, after moving files that aren't ours to where they belong.
    fn discard(&self) -> Result<(), Error> {
        for (aside, place) in [
            ("new", &self.target),
            ("old", &self.target),
            ("older", &self.superseded),
        ] {
            let aside = self.work.join(aside);
            if aside.exists() {
                keep_foreign(&aside, place)?;
                fs::remove_dir_all(&aside).map_err(|e| failed(&aside, &e))?;
            }
        }
        Ok(())
    }

    fn clear(&self) -> Result<(), Error> {
        self.recover()?;
        fs::remove_dir(&self.work).map_err(|e| failed(&self.work, &e))
    }
}

#[cfg(target_os = "linux")]
fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE)?)
}

#[cfg(not(target_os = "linux"))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

fn cannot_exchange(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::Unsupported | io::ErrorKind::InvalidInput
    )
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect()
}

/// Ours always holds the findings; an empty folder is as good.
fn is_result_folder(folder: &Path) -> bool {
    let names = names(folder);
    let holds = |wanted: &str| names.iter().any(|name| name == wanted);
    names.is_empty() || (holds(super::findings::JSON) && !holds("job.toml"))
}

fn holds_deliverables(folder: &Path) -> bool {
    names(folder).iter().any(|name| is_deliverable(name))
}

fn keep_foreign(from: &Path, to: &Path) -> Result<(), Error> {
    for entry in fs::read_dir(from).map_err(|e| failed(from, &e))? {
        let name = entry.map_err(|e| failed(from, &e))?.file_name();
        let kept = to.join(&name);
        if is_ours(&name.to_string_lossy()) || kept.exists() {
            continue;
        }
        fs::create_dir_all(to).map_err(|e| failed(to, &e))?;
        fs::rename(from.join(&name), &kept).map_err(|e| failed(&kept, &e))?;
    }
    Ok(())
}

/// Flushes a folder's own entries to the disk, where the system can.
fn flush(folder: &Path) -> Result<(), Error> {
    if cfg!(unix) {
        File::open(folder)
            .and_then(|file| file.sync_all())
            .map_err(|e| failed(folder, &e))?;
    }
    Ok(())
}

//! Finds the jobs in what the user names.

use std::fs;
use std::path::{Path, PathBuf};

use super::caps;
use crate::error::{Error, unread};

/// Where a job is.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum JobPath {
    /// A folder with `job.toml`.
    Folder(PathBuf),
    /// An .xlsx workbook.
    Workbook(PathBuf),
}

impl JobPath {
    /// What a path is by its looks: a workbook by its ending, else a folder.
    #[must_use]
    pub fn of(path: &Path) -> Self {
        let ending = path.extension().unwrap_or_default();
        if ending.eq_ignore_ascii_case("xlsx") && !path.is_dir() {
            Self::Workbook(path.to_owned())
        } else {
            Self::Folder(path.to_owned())
        }
    }

    /// The folder or the workbook.
    #[must_use]
    pub fn path(&self) -> &Path {
        match self {
            Self::Folder(path) | Self::Workbook(path) => path,
        }
    }
}

/// The jobs behind the paths, in the order of the paths and sorted within each: a folder with `job.toml`, an .xlsx workbook,
/// or a folder that is searched for them. Jobs aren't searched for further jobs; results of earlier runs, hidden folders, links,
/// lock files and workbooks of corrections are passed over. An error if a path holds no job.
pub fn discover(paths: &[PathBuf]) -> Result<Vec<JobPath>, Error> {
    let mut jobs: Vec<JobPath> = Vec::new();
    for path in paths {
        let refuse = |why: &str| Error::Read {
            path: path.clone(),
            why: why.to_owned(),
        };
        let about = fs::metadata(path).map_err(|error| refuse(&unread(&error)))?;
        let found = if about.is_dir() {
            let mut found = Vec::new();
            search(path, 0, &mut found)?;
            found
        } else if is_workbook(path) {
            vec![JobPath::Workbook(path.clone())]
        } else if path.file_name().is_some_and(|name| name == "job.toml") {
            let folder = path
                .parent()
                .filter(|parent| !parent.as_os_str().is_empty())
                .unwrap_or(Path::new("."));
            vec![JobPath::Folder(folder.to_owned())]
        } else {
            return Err(refuse(
                "is no job: name a folder with job.toml, an .xlsx workbook, or a folder of jobs",
            ));
        };
        if found.is_empty() {
            return Err(refuse(
                "holds no job.toml and no .xlsx workbook; `aslaid new` makes a job to fill in",
            ));
        }
        for job in found {
            if !jobs.contains(&job) {
                jobs.push(job);
            }
        }
    }
    Ok(jobs)
}

fn search(folder: &Path, depth: usize, found: &mut Vec<JobPath>) -> Result<(), Error> {
    let refuse = |error: std::io::Error| Error::Read {
        path: folder.to_owned(),
        why: unread(&error),
    };
    let mut entries = Vec::new();
    for entry in fs::read_dir(folder).map_err(refuse)? {
        let entry = entry.map_err(refuse)?;
        entries.push((entry.path(), entry.file_type().map_err(refuse)?));
    }
    entries.sort_by(|a, b| a.0.cmp(&b.0));
    let has = |name: &str| {
        entries
            .iter()
            .any(|(path, _)| path.file_name().is_some_and(|of| of == name))
    };
    if has("job.toml") {
        found.push(JobPath::Folder(folder.to_owned()));
        return Ok(());
    }
    if depth > 0
        && (has("record.json")
            || has("findings.json")
            || folder.extension().is_some_and(|end| end == "superseded"))
    {
        return Ok(());
    }
    for (path, kind) in entries {
        let name = path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default();
        if name.starts_with('.') {
            continue;
        }
        if kind.is_dir() && depth < caps::DEPTH {
            search(&path, depth + 1, found)?;
        } else if kind.is_file()
            && is_workbook(&path)
            && !name.starts_with("~$")
            && name != "corrections.xlsx"
        {
            found.push(JobPath::Workbook(path));
        }
    }
    Ok(())
}

fn is_workbook(path: &Path) -> bool {
    path.extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("xlsx"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_jobs_and_nothing_else() {
        let root = tempfile::tempdir().unwrap();
        let at = |name: &str| root.path().join(name);
        for name in [
            "b/job.toml",
            "b/deeper/job.toml",
            "a/inner/job.toml",
            "books/x.xlsx",
            "books/~$x.xlsx",
            "books/corrections.xlsx",
            "out/J1/record.json",
            "out/J1/book.xlsx",
            "out/J2.superseded/y.xlsx",
            ".hidden/job.toml",
            "notes/readme.txt",
        ] {
            fs::create_dir_all(at(name).parent().unwrap()).unwrap();
            fs::write(at(name), "").unwrap();
        }
        let jobs = discover(&[root.path().to_owned()]).unwrap();
        assert_eq!(
            jobs,
            [
                JobPath::Folder(at("a/inner")),
                JobPath::Folder(at("b")),
                JobPath::Workbook(at("books/x.xlsx"))
            ]
        );
        assert_eq!(
            discover(&[at("b/job.toml"), at("b")]).unwrap(),
            [JobPath::Folder(at("b"))]
        );
        assert_eq!(
            discover(&[at("books/corrections.xlsx")]).unwrap(),
            [JobPath::Workbook(at("books/corrections.xlsx"))]
        );
        assert!(discover(&[at("notes")]).is_err());
        assert!(discover(&[at("notes/readme.txt")]).is_err());
        assert!(discover(&[at("nowhere")]).is_err());
    }
}

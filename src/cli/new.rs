//! `aslaid new`: a job to fill in.

use std::fs;
use std::path::{Path, PathBuf};

use super::Status;
use super::args::NewArgs;
use super::output::Output;
use crate::error::{Error, plain};
use crate::job::template;
use crate::sheet::{self, Paper};

pub fn run(args: &NewArgs, output: &mut Output) -> Result<Status, Error> {
    let mut path = args.path.clone();
    if args.workbook {
        if path
            .extension()
            .is_none_or(|extension| !extension.eq_ignore_ascii_case("xlsx"))
        {
            path.as_mut_os_string().push(".xlsx");
        }
        template::write_workbook(&path)?;
    } else {
        template::write_folder(&path)?;
    }
    let form = form_beside(&path, args.workbook);
    let paper = args.sheet.unwrap_or(Paper::Letter);
    write_form(&form, paper)?;
    let shown = path.display();
    output.line(&format!(
        "{shown} is ready: put your own rows in place of the examples, then run"
    ));
    output.line(&format!("  aslaid check {shown}"));
    output.line(&format!(
        "{} is the same for pen and clipboard",
        form.display()
    ));
    Ok(Status::Done)
}

/// The form's place: in the new folder, or beside the new workbook.
fn form_beside(path: &Path, workbook: bool) -> PathBuf {
    if workbook {
        path.with_extension("pdf")
    } else {
        path.join("field-form.pdf")
    }
}

fn write_form(path: &Path, paper: Paper) -> Result<(), Error> {
    let refuse = |why: String| Error::Write {
        path: path.to_owned(),
        why,
    };
    if path.exists() {
        return Err(refuse("it is there already; name another".to_owned()));
    }
    let bytes = sheet::form(paper).map_err(|error| refuse(error.to_string()))?;
    fs::write(path, bytes).map_err(|error| refuse(plain(&error)))
}

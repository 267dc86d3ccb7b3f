//! `aslaid new`: a job to fill in.

use super::Status;
use super::args::NewArgs;
use super::output::Output;
use crate::error::Error;
use crate::job::template;

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
    let shown = path.display();
    output.line(&format!(
        "{shown} is ready: put your own rows in place of the examples, then run"
    ));
    output.line(&format!("  aslaid check {shown}"));
    Ok(Status::Done)
}

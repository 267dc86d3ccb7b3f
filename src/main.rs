//! The command: parse, call, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    aslaid::cli::main()
}

//! The command: parse, call, exit code.

use std::process::ExitCode;

/// A large job is a hundred million small pieces of memory; the system's own allocator took a third of the time.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    aslaid::cli::main()
}

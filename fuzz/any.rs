//! Any entry, named by `ASLAID_ENTRY`, for libFuzzer, whose main program calls this.
#![no_main]
#![allow(unsafe_code, reason = "the fuzzer hands over a pointer, as C does")]

use std::path::PathBuf;
use std::sync::OnceLock;

mod entries;

use entries::{ENTRIES, Entry};

/// The entry, and the folder that it may write to: in memory, if `TMPDIR` says so.
fn chosen() -> &'static (Entry, PathBuf) {
    static CHOSEN: OnceLock<(Entry, PathBuf)> = OnceLock::new();
    CHOSEN.get_or_init(|| {
        // A panic on any thread is a finding: the fuzzer keeps the input when the program aborts.
        let told = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            told(panic);
            std::process::abort();
        }));
        let name = std::env::var("ASLAID_ENTRY").unwrap_or_default();
        let Some((_, entry)) = ENTRIES.iter().find(|(of, _)| *of == name) else {
            let known: Vec<&str> = ENTRIES.iter().map(|(name, _)| *name).collect();
            panic!("ASLAID_ENTRY names one of {}", known.join(", "));
        };
        let folder = std::env::temp_dir().join(format!("aslaid-fuzz-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder to write to");
        (*entry, folder)
    })
}

/// # Safety
/// `bytes` points at `length` bytes, as libFuzzer says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn LLVMFuzzerTestOneInput(bytes: *const u8, length: usize) -> i32 {
    let (entry, folder) = chosen();
    let bytes = match length {
        0 => &[],
        // SAFETY: the caller's promise.
        _ => unsafe { std::slice::from_raw_parts(bytes, length) },
    };
    entry(folder, bytes);
    0
}

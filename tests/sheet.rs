//! The sheet, judged from outside: what other programs read in it and what its ink shows.
#![allow(clippy::unwrap_used, reason = "a test that can't go on has failed")]

#[path = "documents/sample.rs"]
#[allow(dead_code, reason = "shared with the tests of the page")]
mod sample;

#[test]
fn look() {
    let dir = std::path::PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/documents");
    std::fs::create_dir_all(&dir).unwrap();
    use aslaid::sheet::*;
    for (name, record) in [
        ("short", sample::short()),
        ("long", sample::long()),
        ("dense", sample::dense()),
        ("local", sample::local()),
        ("troubled", sample::troubled()),
        ("many", sample::many()),
        ("hostile", sample::hostile()),
        ("bare", sample::bare()),
    ] {
        if std::env::var("ONLY").is_ok_and(|o| o != name) { continue; }
        for size in [Paper::A4, Paper::Tabloid, Paper::AnsiD] {
            let options = SheetOptions { size: Some(size), dig: Dig::Marked };
            let start = std::time::Instant::now();
            let bytes = aslaid::sheet::pdf(&record, &options).unwrap();
            println!("{name} {} {} bytes {:?}", size.word(), bytes.len(), start.elapsed());
            std::fs::write(dir.join(format!("{name}-{}.pdf", size.word())), bytes).unwrap();
        }
    }
}

//! Sheet and page, judged from outside: what other programs read in them.

pub mod sample;

use std::path::PathBuf;

fn out(name: &str) -> PathBuf {
    let dir = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/documents");
    std::fs::create_dir_all(&dir).unwrap();
    dir.join(name)
}

#[test]
fn pages() {
    for (name, record) in [
        ("short", sample::short()),
        ("long", sample::long()),
        ("dense", sample::dense()),
        ("local", sample::local()),
        ("troubled", sample::troubled()),
        ("many", sample::many()),
        ("hostile", sample::hostile()),
        ("bare", sample::bare()),
        ("high", sample::high()),
    ] {
        let page = aslaid::sheet::html(&record).unwrap();
        assert_eq!(
            page,
            aslaid::sheet::html(&record).unwrap(),
            "{name}: the same record gives the same bytes"
        );
        std::fs::write(out(&format!("{name}.html")), page).unwrap();
    }
}

//! What the rendered page shows: the scale bar's length, and ink around letters.

use std::path::Path;

use aslaid::units::LengthUnit;

use crate::outside::{demo, out, python, run, written};
use crate::sample::{self, Lcg, Spec};
use aslaid::sheet::Paper;

/// The first page as grey pixels at a resolution, and its words with their places as `pdftotext` sees them.
fn rendered(path: &Path, name: &str, resolution: u32) -> (String, String) {
    let base = out(&format!("ink-{name}"));
    let dpi = resolution.to_string();
    let (path, text) = (path.to_str().unwrap(), base.to_str().unwrap());
    run(
        "pdftoppm",
        &[
            "-r",
            &dpi,
            "-gray",
            "-f",
            "1",
            "-l",
            "1",
            "-singlefile",
            path,
            text,
        ],
    );
    let words = format!("{text}.html");
    run("pdftotext", &["-bbox", "-f", "1", "-l", "1", path, &words]);
    (format!("{text}.pgm"), words)
}

#[test]
fn the_scale_bar_is_as_long_as_it_says() {
    for (name, record) in [
        ("short", sample::short()),
        ("local", sample::local()),
        ("demo", demo()),
    ] {
        for size in [Paper::A4, Paper::Letter, Paper::A3] {
            let path = written(name, &record, size);
            let (image, words) = rendered(&path, &format!("bar-{name}"), 600);
            println!(
                "{name} {}: {}",
                size.word(),
                python("bar.py", &[&image, &words]).trim()
            );
        }
    }
}

/// Fifty layouts: bends, branches, marks near one another, feet and metres.
#[test]
fn no_ink_touches_a_letter_on_fifty_layouts() {
    let mut arguments = Vec::new();
    for seed in 0..50 {
        let mut random = Lcg(seed * 7919 + 1);
        let spec = layout(seed, &mut random);
        let path = written(&format!("layout-{seed}"), &sample::record(&spec), Paper::A3);
        let (image, words) = rendered(&path, &format!("layout-{seed}"), 200);
        arguments.extend([image, words]);
    }
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    println!("{}", python("ink.py", &arguments));
}

fn layout(seed: u64, random: &mut Lcg) -> Spec {
    let mut run = |from: (f64, f64), legs: usize| {
        let mut heading = random.between(0.0, std::f64::consts::TAU);
        let mut corners = vec![from];
        for _ in 0..legs {
            let leg = random.between(3.0, 14.0);
            let last = corners[corners.len() - 1];
            corners.push((last.0 + leg * heading.cos(), last.1 + leg * heading.sin()));
            heading += random.between(-1.1, 1.1);
        }
        corners
    };
    let main = run((0.0, 0.0), 1 + (seed % 4) as usize);
    let mut runs = vec![main];
    if seed % 3 == 0 {
        let mut branch = run(runs[0][1], 1);
        branch.reverse();
        runs.push(branch);
    }
    let unit = if seed % 2 == 0 {
        LengthUnit::Metre
    } else {
        LengthUnit::UsSurveyFoot
    };
    let spacing = [0.4, 1.2, 2.5, 4.0][(seed % 4) as usize];
    Spec {
        id: "SIM",
        title: "Simulated layout",
        unit,
        local: seed % 5 == 0,
        runs,
        spacing,
        grade: 0.02,
        seed,
    }
}

//! Killed, ended or interrupted at random moments of a batch: every results folder is whole, old or new.

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::{Random, TEXT, hidden, revise, whole};
use crate::cli::site::Site;

const JOBS: usize = 8;

fn batch(site: &Site) -> Child {
    // Tests run in the background by a shell without job control ignore interrupts, and so would what they start.
    Command::new("env")
        .args([
            "--default-signal",
            env!("CARGO_BIN_EXE_aslaid"),
            "build",
            "jobs",
            "--out",
            "out",
            "--formats",
            TEXT,
            "--quiet",
        ])
        .current_dir(site.at("."))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

fn end(child: &mut Child, signal: &str) {
    let sent = Command::new("kill")
        .args([signal, &child.id().to_string()])
        .status()
        .unwrap();
    // It may have ended by itself.
    let _ = sent;
    child.wait().unwrap();
}

/// What one ended batch left: how many folders are old, how many new.
fn look(out: &Path, before: u64, now: u64) -> (usize, usize) {
    let (mut old, mut new) = (0, 0);
    for job in 0..JOBS {
        let revision = whole(&out.join(format!("J{job}")));
        assert!(
            (before..=now).contains(&revision),
            "J{job} is of revision {revision}, neither {before} nor later up to {now}"
        );
        if revision == now { new += 1 } else { old += 1 }
    }
    (old, new)
}

fn ended_by(signal: &str, rounds: u64) {
    let site = Site::new();
    for job in 0..JOBS {
        site.job(&format!("jobs/J{job}"), &format!("J{job}"), "4.30");
        revise(&site, &format!("jobs/J{job}"), 1);
    }
    let begun = Instant::now();
    assert!(batch(&site).wait().unwrap().success());
    let whole_batch = begun.elapsed();
    let mut random = Random(20_261_125);
    let (mut olds, mut news, mut halves) = (0, 0, 0);
    for revision in 2..=rounds + 1 {
        for job in 0..JOBS {
            revise(&site, &format!("jobs/J{job}"), revision);
        }
        let mut child = batch(&site);
        std::thread::sleep(whole_batch.mul_f64(random.below(1200) as f64 / 1000.0));
        end(&mut child, signal);
        let (old, new) = look(&site.at("out"), 1, revision);
        olds += old;
        news += new;
        halves += usize::from(old > 0 && new > 0);
    }
    println!(
        "{signal}: {rounds} ends within 1.2 × {whole_batch:?}: {olds} folders old, {news} new; {halves} batches cut in two"
    );
    assert!(
        halves as u64 * 20 > rounds,
        "too few ends hit a batch at work: {halves} of {rounds}"
    );
    for job in 0..JOBS {
        revise(&site, &format!("jobs/J{job}"), 9999);
    }
    assert!(batch(&site).wait().unwrap().success());
    assert_eq!(look(&site.at("out"), 9999, 9999), (0, JOBS));
    assert_eq!(hidden(&site.at("out")), [""; 0], "left behind");
}

#[test]
fn killed_at_200_moments() {
    ended_by("-KILL", 200);
}

#[test]
fn ended_and_interrupted_at_100_moments() {
    ended_by("-TERM", 50);
    ended_by("-INT", 50);
}

/// The folder is taken away while results are written: an error or whole results, never half of them, and no panic.
#[test]
fn a_results_folder_that_vanishes_is_an_error() {
    let site = Site::new();
    for job in 0..JOBS {
        site.job(&format!("jobs/J{job}"), &format!("J{job}"), "4.30");
    }
    let begun = Instant::now();
    assert!(batch(&site).wait().unwrap().success());
    let whole_batch = begun.elapsed();
    let mut random = Random(42);
    let mut failed = 0;
    for _ in 0..40 {
        let child = Command::new(env!("CARGO_BIN_EXE_aslaid"))
            .args([
                "build",
                "jobs",
                "--out",
                "out",
                "--formats",
                TEXT,
                "--quiet",
            ])
            .current_dir(site.at("."))
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let end = Instant::now() + whole_batch.mul_f64(random.below(1000) as f64 / 1000.0);
        while Instant::now() < end {
            std::thread::sleep(Duration::from_millis(1));
        }
        let _ = fs::rename(site.at("out"), site.at("gone"));
        let _ = fs::remove_dir_all(site.at("gone"));
        let output = child.wait_with_output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(!said.contains("panicked"), "{said}");
        match output.status.code() {
            Some(0) => {}
            Some(2) => {
                failed += 1;
                assert!(said.contains("can't be written"), "{said}");
            }
            other => panic!("{other:?}: {said}"),
        }
        for folder in fs::read_dir(site.at("out")).into_iter().flatten() {
            let folder = folder.unwrap().path();
            if folder.join("record.json").exists() && !folder.to_string_lossy().contains("/.") {
                whole(&folder);
            }
        }
    }
    println!("{failed} of 40 batches failed with an error, the others wrote anew");
    assert!(failed > 0, "no batch was hit at work");
}

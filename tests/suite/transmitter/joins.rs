//! Branches meet the run that they join where their lowest mark lies.

use super::bends::{Pipe, traced};
use super::build::{Site, run};
use super::record::record;
use aslaid::job::model::Stream;
use aslaid::record::model::{Evidence, VertexKind as Kind};
use aslaid::run::{Meets, Traced, VertexKind};
use aslaid::units::LengthUnit;
use std::sync::Arc;

/// Run A north from the origin, as [`Pipe::bent`]; run B comes in from the west and ends at a place.
fn site(pushed: Stream, end: (f64, f64)) -> Site {
    let mut site = Site::new(vec![run("A", pushed), run("B", pushed)]);
    site.job.runs[1].joins = Some(Arc::from("A"));
    Pipe {
        pushed,
        ..Pipe::bent(0.0)
    }
    .add_marks(&mut site, 0);
    let corners = vec![(end.0 - 6.0, end.1 - 2.0), end];
    let length = 40.0_f64.sqrt();
    let marks = vec![0.0, 3.0, length];
    Pipe {
        corners,
        marks,
        pushed,
        ..Pipe::bent(0.0)
    }
    .add_marks(&mut site, 1);
    site
}

fn junctions(traced: &Traced) -> Vec<(usize, f64, f64, f64)> {
    let vertices = traced.vertices.iter();
    vertices
        .filter_map(|vertex| match vertex.kind {
            VertexKind::Junction(branch) => Some((branch, vertex.e, vertex.n, vertex.station)),
            _ => None,
        })
        .collect()
}

#[test]
fn at_the_lowest_mark_whichever_way_it_was_pushed() {
    for pushed in [Stream::Down, Stream::Up] {
        let traced = traced(&site(pushed, (0.02, 6.5)));
        let found = junctions(&traced[0]);
        let [(1, e, n, station)] = found.as_slice() else {
            panic!("{found:?}");
        };
        assert!(
            e.abs() < 0.03 && (n - 6.5).abs() < 0.06 && (station - 6.5).abs() < 0.08,
            "{found:?}"
        );
        let stations: Vec<f64> = traced[0]
            .vertices
            .iter()
            .map(|vertex| vertex.station)
            .collect();
        assert!(stations.is_sorted(), "{stations:?}");
        assert!(matches!(traced[1].join.unwrap().meets, Meets::At { off, .. } if off < 0.05));
        assert!(junctions(&traced[1]).is_empty());
    }
}

#[test]
fn in_the_record_with_the_runs_own_invert_and_length() {
    let record_of = |site: &Site| record(site, LengthUnit::Metre, Vec::new(), Vec::new());
    let with = record_of(&site(Stream::Down, (0.0, 6.5)));
    let mut alone = site(Stream::Down, (0.0, 6.5));
    alone.job.runs[1].joins = None;
    let without = record_of(&alone);
    let run = &with.runs[0];
    let at = run
        .vertices
        .iter()
        .find(|vertex| vertex.kind == Kind::Junction)
        .unwrap();
    assert_eq!(
        (at.mark.as_deref(), at.evidence),
        (Some("B2"), Evidence::Located)
    );
    assert!((at.invert.unwrap() - (100.0 - 1.54)).abs() < 0.01);
    assert!(
        without.runs[0]
            .vertices
            .iter()
            .all(|vertex| vertex.kind == Kind::Mark)
    );
    assert!((run.length_plan.unwrap() - without.runs[0].length_plan.unwrap()).abs() < 1e-9);
    assert!((run.length_95.unwrap() - without.runs[0].length_95.unwrap()).abs() < 1e-9);
}

#[test]
fn a_branch_that_misses_is_spoken_of() {
    let note = |end| {
        let record = record(
            &site(Stream::Down, end),
            LengthUnit::Metre,
            Vec::new(),
            Vec::new(),
        );
        let vertices = &record.runs[0].vertices;
        let drawn = vertices.iter().any(|vertex| vertex.kind == Kind::Junction);
        let notes: Vec<String> = record.notes.iter().map(|note| note.text.clone()).collect();
        let said = notes
            .into_iter()
            .find(|note| note.contains("Run B joins A"));
        (drawn, said)
    };
    assert_eq!(note((0.0, 6.5)), (true, None));
    // Off the line: `off-line` says so.
    assert_eq!(note((-2.0, 6.5)), (false, None));
    // Far beyond the last mark; beyond it by what may be chance.
    let (drawn, said) = note((0.0, 19.0));
    assert!(!drawn && said.unwrap().contains("beyond the last mark"));
    assert_eq!(note((0.0, 16.1)), (true, None));
}

#[test]
fn a_run_of_one_mark_can_be_joined_by_none() {
    let mut site = Site::new(vec![run("A", Stream::Down), run("B", Stream::Down)]);
    site.job.runs[1].joins = Some(Arc::from("A"));
    Pipe {
        marks: vec![4.0],
        ..Pipe::bent(0.0)
    }
    .add_marks(&mut site, 0);
    Pipe {
        marks: vec![1.0, 4.0],
        ..Pipe::bent(0.0)
    }
    .add_marks(&mut site, 1);
    let traced = traced(&site);
    assert_eq!(traced[1].join.unwrap().meets, Meets::Unplaced);
    assert!(junctions(&traced[0]).is_empty());
}

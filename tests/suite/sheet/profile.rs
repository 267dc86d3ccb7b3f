//! The profile: nothing of it is off the drawing, and it says no less and no more than is known.

use aslaid::record::AsBuilt;
use aslaid::sheet::Paper;
use aslaid::sheet::draw::profile::{Look, draw};
use aslaid::sheet::draw::{Drawing, Node, Pen, Pt, Shape};
use aslaid::sheet::font::Fonts;

use crate::sheet::outside::{pages, squeezed, written};
use crate::sheet::sample;

/// Room above the rows of figures in a panel of this size.
const SIZE: (f64, f64) = (260.0, 120.0);
const GRAPH: f64 = 63.5;

fn profile(record: &AsBuilt) -> Drawing {
    let fonts = Fonts::new().unwrap();
    let look = Look {
        size: SIZE,
        paper: true,
    };
    draw(record, &record.runs[0], &look, &fonts)
        .unwrap()
        .drawing
}

/// Every point of the lines, bands and symbols that show ground and pipe.
fn shown(nodes: &[Node]) -> Vec<(Pen, Pt)> {
    let mut all = Vec::new();
    for node in nodes {
        match node {
            Node::Item(item, _) => {
                if let Shape::Path { points, .. } = &item.shape {
                    all.extend(points.iter().map(|p| (item.pen, *p)));
                }
            }
            Node::Anchored { at, items, .. } => {
                all.extend(items.first().map(|item| (item.pen, *at)));
            }
            Node::Clip(_, inside) => all.extend(shown(inside)),
        }
    }
    all.retain(|(pen, _)| {
        !matches!(
            pen,
            Pen::Rule | Pen::Hair | Pen::Halo | Pen::Ink | Pen::Muted | Pen::Drop | Pen::Leader
        )
    });
    all
}

/// The same record with the pipe so much deeper, and falling steeper, result unit.
fn moved(mut record: AsBuilt, deeper: f64, slope: f64) -> AsBuilt {
    for v in record.runs.iter_mut().flat_map(|run| &mut run.vertices) {
        let fall = slope * v.station;
        for depth in [&mut v.transmitter_depth, &mut v.cover] {
            *depth = depth.map(|d| d + deeper);
        }
        v.ground = v.ground.map(|z| z - fall);
        v.invert = v.invert.map(|z| z - deeper - fall);
    }
    for m in &mut record.marks {
        let down = deeper + slope * m.station.unwrap();
        for depth in [&mut m.transmitter_depth, &mut m.cover, &mut m.invert_depth] {
            *depth = depth.map(|d| d + deeper);
        }
        m.invert = m.invert.map(|z| z - down);
    }
    record.camera.clear();
    record
}

#[test]
fn nothing_of_a_short_deep_or_steep_run_is_off_the_drawing() {
    for (deeper, slope) in [(12.0, 0.0), (0.0, 0.7), (40.0, 0.0), (3000.0, 0.0)] {
        let record = moved(sample::short(), deeper, slope);
        let all = shown(&profile(&record).nodes);
        assert!(all.len() > 12, "{deeper} {slope}: {}", all.len());
        for (pen, p) in all {
            assert!(
                (3.8..=GRAPH + 0.01).contains(&p.y) && (19.0..=SIZE.0).contains(&p.x),
                "{deeper} deeper, falling {slope}: {pen:?} at {p:?}"
            );
        }
        let flat = squeezed(&pages(&written("deep", &record, Paper::A4)).concat());
        assert!(flat.contains("heights not enlarged"), "{flat}");
    }
}

fn without_ground(record: &mut AsBuilt, keep: &[&str]) {
    let kept = |name: Option<&str>| name.is_some_and(|name| keep.contains(&name));
    for v in record.runs.iter_mut().flat_map(|run| &mut run.vertices) {
        if !kept(v.mark.as_deref()) {
            (v.ground, v.invert, v.invert_95, v.grade, v.grade_95) = (None, None, None, None, None);
        }
    }
    for m in record.marks.iter_mut().filter(|m| !kept(Some(&m.mark))) {
        (m.ground, m.invert, m.invert_95) = (None, None, None);
    }
    record.camera.clear();
}

#[test]
fn depths_count_downwards_where_no_height_is_known() {
    let record = sample::bare();
    let text = squeezed(&pages(&written("bare", &record, Paper::A4)).concat());
    for m in &record.marks {
        let depth = m.invert_depth.unwrap();
        assert!(text.contains(&format!("{depth:.2}")), "{depth:.2}");
        assert!(!text.contains(&format!("-{depth:.2}")), "-{depth:.2}");
    }
    assert!(text.contains("Invert depth") && !text.contains("Invert level"));
    assert!(text.contains("no ground height is known"), "{text}");
    // The axis, too: nothing but coordinates and grades may be less than nothing.
    let page = pages(&written("bare", &record, Paper::A4))
        .into_iter()
        .find(|page| page.contains("Profile of run A"))
        .unwrap();
    let below = page.split_whitespace();
    let below: Vec<&str> = below
        .filter(|word| word.starts_with(['-', '−']) && word.len() > 1)
        .collect();
    assert!(below.is_empty(), "{below:?}");
}

#[test]
fn one_ground_height_does_not_blank_the_depths_of_the_others() {
    let mut record = sample::short();
    without_ground(&mut record, &["A2"]);
    let marks = record.marks.len();
    let symbols = |record: &AsBuilt| {
        let all = shown(&profile(record).nodes);
        all.iter().filter(|(pen, _)| *pen == Pen::Open).count()
    };
    assert!(marks > 3 && symbols(&record) >= marks, "{marks}");
    let text = squeezed(&pages(&written("one-ground", &record, Paper::A4)).concat());
    let said = format!("ground heights are known at 1 of {marks} marks only");
    assert!(text.contains(&said), "{text}");
    let ground = record.marks.iter().find_map(|m| m.ground).unwrap();
    assert!(text.contains(&format!("{ground:.2}")));
}

#[test]
fn a_single_mark_and_the_ground_alone_are_drawn() {
    let mut one = sample::short();
    one.runs[0].vertices.truncate(1);
    one.marks.truncate(1);
    one.camera.clear();
    let mut ground = sample::short();
    for v in &mut ground.runs[0].vertices {
        (v.transmitter_depth, v.cover, v.invert, v.invert_95) = (None, None, None, None);
    }
    for m in &mut ground.marks {
        (m.transmitter_depth, m.cover, m.cover_least) = (None, None, None);
        (m.invert, m.invert_depth, m.invert_95) = (None, None, None);
    }
    ground.camera.clear();
    for (name, record, lines) in [
        ("one-mark", &one, vec![Pen::Ground, Pen::Crown, Pen::Invert]),
        ("ground-alone", &ground, vec![Pen::Ground]),
    ] {
        let all = shown(&profile(record).nodes);
        for pen in lines {
            assert!(all.iter().any(|(p, _)| *p == pen), "{name}: {pen:?}");
        }
        let text = squeezed(&pages(&written(name, record, Paper::A4)).concat());
        let page = String::from_utf8(aslaid::sheet::html(record).unwrap()).unwrap();
        for text in [&text, &page] {
            assert!(!text.contains("o depth and no height is known"), "{name}");
        }
        let only = "only the ground is drawn";
        let ought = name == "ground-alone";
        assert_eq!((text.contains(only), page.contains(only)), (ought, ought));
    }
}

#[test]
fn what_nothing_is_known_of_is_said_to_be_unknown() {
    let mut record = sample::bare();
    for v in &mut record.runs[0].vertices {
        (v.transmitter_depth, v.cover) = (None, None);
    }
    for m in &mut record.marks {
        (m.transmitter_depth, m.cover, m.cover_least, m.invert_depth) = (None, None, None, None);
    }
    let all = pages(&written("nothing", &record, Paper::A4));
    let with = sample::bare();
    let before = pages(&written("nothing-not", &with, Paper::A4));
    assert_eq!(all.len() + 1, before.len(), "a profile's sheet is left");
    let text = squeezed(&all.concat());
    assert!(!text.contains("Profile of run"), "{text}");
    let run = &record.runs[0].run;
    let said = format!("No depth and no height is known along run {run}, so it has no profile.");
    assert!(text.contains(&said), "{text}");
    assert!(!squeezed(&before.concat()).contains("so it has no profile"));
}

/// Every line of text with its size.
fn letters(nodes: &[Node]) -> Vec<(f64, String)> {
    let mut all = Vec::new();
    for node in nodes {
        let items = match node {
            Node::Item(item, _) => std::slice::from_ref(item),
            Node::Anchored { items, .. } => items,
            Node::Clip(_, inside) => {
                all.extend(letters(inside));
                continue;
            }
        };
        all.extend(items.iter().filter_map(|item| match &item.shape {
            Shape::Text { size, text, .. } => Some((*size, text.clone())),
            _ => None,
        }));
    }
    all
}

/// The same record with other names of its first run's marks.
fn renamed(mut record: AsBuilt, name: impl Fn(usize) -> String) -> AsBuilt {
    let first = record.runs[0].run.clone();
    let marks = record.marks.iter_mut().filter(|m| m.run == first);
    for (i, m) in marks.enumerate() {
        for v in &mut record.runs[0].vertices {
            if v.mark.as_ref() == Some(&m.mark) {
                v.mark = Some(name(i));
            }
        }
        m.mark = name(i);
    }
    record
}

#[test]
fn long_names_and_figures_are_as_large_as_all_others_and_told_apart() {
    use aslaid::sheet::draw::lettering::LABEL;
    let middle = |i: usize| format!("Inspection chamber {} of the west wing, north", i + 1);
    let scattered = |i: usize| {
        let [a, b, c] = [i % 2, i / 2 % 2, i / 4 % 2].map(|n| n + 1);
        format!("House {a} corner {b} gutter {c} of the yard")
    };
    let far = |mut record: AsBuilt| {
        for v in &mut record.runs[0].vertices {
            v.ground = v.ground.map(|z| z + 123_456.0);
            v.invert = v.invert.map(|z| z + 123_456.0);
        }
        record
    };
    for record in [
        renamed(sample::long(), middle),
        renamed(sample::short(), scattered),
        far(sample::short()),
    ] {
        let all = letters(&profile(&record).nodes);
        assert!(all.len() > 20);
        for (size, text) in all {
            assert!(size >= LABEL, "{text} is set {size} mm high");
        }
    }
    let names = letters(&profile(&renamed(sample::long(), middle)).nodes);
    for i in 1..=4 {
        let name = format!("…{i}…");
        assert!(names.iter().any(|(_, text)| *text == name), "{name}");
    }
    let record = renamed(sample::short(), scattered);
    let text = squeezed(&pages(&written("numbered", &record, Paper::A4)).concat());
    let said = "A mark with a number (no.) is the one in that row of the table of marks.";
    assert!(text.contains(said) && text.contains("no. 1"), "{text}");
    assert!(
        !squeezed(&pages(&written("short", &sample::short(), Paper::A4)).concat()).contains(said)
    );
}

#[test]
fn grades_with_too_wide_a_bound_are_counted_and_said_to_be_left_off() {
    let mut record = sample::short();
    record.camera.clear();
    let vertices = &mut record.runs[0].vertices;
    let legs = vertices.iter_mut().filter(|v| v.grade.is_some());
    for v in legs.skip(1).take(2) {
        v.grade_95 = Some(10.1);
    }
    let said =
        "2 grades have a bound wider than 10 % and aren't lettered: they are in profile.csv.";
    let text = squeezed(&pages(&written("vague", &record, Paper::A4)).concat());
    let page = String::from_utf8(aslaid::sheet::html(&record).unwrap()).unwrap();
    let escaped = said.replace('\'', "&#39;");
    assert!(text.contains(said), "{text}");
    assert!(page.contains(&escaped));
}

#[test]
fn marks_on_one_spot_alone_keep_their_lines_and_band() {
    let mut record = sample::short();
    record.camera.clear();
    record.runs[0].vertices.truncate(2);
    let (first, second) = (
        record.runs[0].vertices[0].clone(),
        &mut record.runs[0].vertices[1],
    );
    second.station = first.station;
    (second.easting, second.northing) = (first.easting, first.northing);
    let all = shown(&profile(&record).nodes);
    for pen in [Pen::Ground, Pen::Crown, Pen::Invert, Pen::Band] {
        let across = all.iter().filter(|(p, _)| *p == pen).map(|(_, at)| at.x);
        let (from, to) = across.fold((f64::MAX, f64::MIN), |(a, b), x| (a.min(x), b.max(x)));
        assert!(to - from >= 2.0, "{pen:?} from {from} to {to}");
    }
}

/// Boxes of white under letters, and the figures of grades.
#[test]
fn grades_stand_on_white_and_those_without_room_are_counted() {
    let record = sample::long();
    let fonts = Fonts::new().unwrap();
    let look = |width| Look {
        size: (width, 120.0),
        paper: true,
    };
    let run = &record.runs[0];
    let wide = draw(&record, run, &look(700.0), &fonts).unwrap();
    let (mut white, mut grades) = (Vec::new(), Vec::new());
    let clips = wide.drawing.nodes.iter().filter_map(|node| match node {
        Node::Clip(_, inside) => Some(inside),
        _ => None,
    });
    for node in clips.flatten() {
        match node {
            Node::Item(item, _) if item.pen == Pen::Halo => {
                if let Shape::Path { points, .. } = &item.shape {
                    white.push((points[0], points[2]));
                }
            }
            Node::Anchored { at, items, .. } => {
                let grade = items.iter().any(
                    |item| matches!(&item.shape, Shape::Text { text, .. } if text.contains(" %")),
                );
                grades.extend(grade.then_some(*at));
            }
            _ => {}
        }
    }
    assert!(grades.len() > 8, "{}", grades.len());
    for at in grades {
        let under = |(a, b): &(Pt, Pt)| {
            a.x.min(b.x) <= at.x && at.x <= a.x.max(b.x) && (a.y.min(b.y) - at.y).abs() < 0.01
        };
        assert!(white.iter().any(under), "{at:?}");
    }
    assert_eq!(wide.grades_left_out, 0);
    let narrow = draw(&record, run, &look(60.0), &fonts).unwrap();
    assert!(narrow.grades_left_out > 0);
}

#[test]
fn a_leg_that_a_branch_joins_has_one_grade() {
    let mut record = sample::long();
    let fonts = Fonts::new().unwrap();
    let look = Look {
        size: (700.0, 120.0),
        paper: true,
    };
    let count = |record: &AsBuilt| {
        let profile = draw(record, &record.runs[0], &look, &fonts).unwrap();
        let grades = |item: &aslaid::sheet::draw::Item| matches!(&item.shape, Shape::Text { text, .. } if text.contains(" %"));
        let inside = profile.drawing.nodes.iter().filter_map(|node| match node {
            Node::Clip(_, inside) => Some(inside),
            _ => None,
        });
        let lettered = inside.flatten().filter(
            |node| matches!(node, Node::Anchored { items, .. } if items.iter().any(grades)),
        );
        (lettered.count(), profile.grades_left_out)
    };
    let before = count(&record);
    // A hand's breadth below a mark, on the same leg.
    let vertices = &mut record.runs[0].vertices;
    let mut joint = vertices[2].clone();
    joint.kind = aslaid::record::model::VertexKind::Junction;
    joint.station += 0.1;
    vertices.insert(3, joint);
    assert_eq!(count(&record), before);
}

#[test]
fn the_last_station_on_the_page_is_whole() {
    let mut record = sample::long();
    let fonts = Fonts::new().unwrap();
    let width = 250.0;
    let look = Look {
        size: (width, 78.0),
        paper: false,
    };
    let mut looked_at = 0;
    for end in 0..120 {
        // Somewhere a round station comes to lie at the very end.
        record.runs[0].vertices.last_mut().unwrap().station = 130.0 + f64::from(end) * 0.5;
        let drawing = draw(&record, &record.runs[0], &look, &fonts)
            .unwrap()
            .drawing;
        for node in &drawing.nodes {
            let Node::Anchored { at, items, .. } = node else {
                continue;
            };
            for item in items {
                let Shape::Text {
                    at: on,
                    size,
                    anchor,
                    text,
                    ..
                } = &item.shape
                else {
                    continue;
                };
                let wide = fonts.width(text, *size, false);
                let right = at.x
                    + on.x
                    + match anchor {
                        aslaid::sheet::draw::Anchor::Start => wide,
                        aslaid::sheet::draw::Anchor::Middle => wide / 2.0,
                        aslaid::sheet::draw::Anchor::End => 0.0,
                    };
                assert!(right <= width, "{text} ends at {right} of {width}");
                looked_at += 1;
            }
        }
    }
    assert!(looked_at > 120, "{looked_at}");
}

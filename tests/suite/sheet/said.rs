//! What sheet and page say in words: no more than is known, nothing twice, nothing lost.

use aslaid::findings::{Code, Level};
use aslaid::record::AsBuilt;
use aslaid::sheet::Paper;
use aslaid::sheet::content::depths;

use crate::sheet::outside::{pages, squeezed, written};
use crate::sheet::sample;

fn page(record: &AsBuilt) -> String {
    String::from_utf8(aslaid::sheet::html(record).unwrap()).unwrap()
}

fn sheet(name: &str, record: &AsBuilt) -> Vec<String> {
    let pages = pages(&written(name, record, Paper::A4));
    pages.iter().map(|page| squeezed(page)).collect()
}

/// The page from one heading to the next.
fn section<'a>(page: &'a str, id: &str) -> &'a str {
    let from = page.find(&format!("id=\"{id}\"")).unwrap();
    let rest = &page[from..];
    &rest[..rest.find("</section>").unwrap()]
}

#[test]
fn the_shallowest_place_has_the_limits_of_what_is_known() {
    let mut record = sample::long();
    let hidden = ["A1", "A2", "A3", "A4"];
    for m in &mut record.marks {
        if hidden.contains(&m.mark.as_str()) || m.run == "B" {
            (m.cover, m.cover_least, m.transmitter_depth) = (None, None, None);
            m.invert_depth = None;
        }
    }
    record.camera.retain(|c| c.run == "A");
    record
        .camera
        .iter_mut()
        .for_each(|c| c.cover_least = c.cover_least.map(|c| c + 9.0));
    let fifth = record.marks.iter().find(|m| m.mark == "A5").unwrap();
    let until = aslaid::sheet::content::figures::station(fifth.station, record.frame.unit);
    let said = depths::sentences(&record);
    assert!(
        said[0].starts_with("Shallowest where depths are known: the top of the pipe could be met"),
        "{said:?}"
    );
    let none = format!(
        "No depth is known along run A from 0+000.00 to {until}, the whole of run B: there the pipe could be met at any depth."
    );
    assert_eq!(said[1], none);
    assert!(
        said[2].starts_with("Deepest where depths are known: the invert may lie"),
        "{said:?}"
    );
    assert!(section(&page(&record), "key-h").contains(&none));
    for text in sheet("limits", &record) {
        assert!(text.contains("Shallowest where depths are known:"));
        assert!(text.contains("known along 2 parts of the runs"), "{text}");
    }
    // Where all is known, nothing is taken back.
    let whole = depths::sentences(&sample::long());
    assert!(whole[0].starts_with("Shallowest: the top"), "{whole:?}");
    assert_eq!(whole.len(), 2);
}

#[test]
fn without_a_diameter_the_axis_is_told() {
    let mut record = sample::short();
    record.runs[0].diameter = None;
    for m in &mut record.marks {
        (m.cover, m.cover_least) = (None, None);
    }
    record.camera.clear();
    let least = record
        .marks
        .iter()
        .map(|m| m.transmitter_depth.unwrap() - m.depth_95.unwrap())
        .fold(f64::INFINITY, f64::min);
    let least = aslaid::sheet::content::figures::least(Some(least));
    let said = depths::sentences(&record).join(" ");
    for text in [
        "Shallowest: no depth of the top of the pipe is known.",
        "Only the axis of the pipe is known along the whole of run A because no diameter is given",
        &format!("it could lie {least} us-ft below ground"),
        "the top lies above it",
    ] {
        assert!(said.contains(text), "{text}: {said}");
    }
    assert!(!said.contains("any depth"), "{said}");
    for text in sheet("axis", &record) {
        assert!(
            text.contains("only the axis of the pipe is known"),
            "{text}"
        );
    }
}

#[test]
fn notes_and_photos_of_marks_are_on_the_sheet() {
    let mut record = sample::short();
    record.marks[1].note = Some("gas main 0.3 m east of paint".to_owned());
    record.marks[2].photo = Some("spot-7.jpg".to_owned());
    let all = sheet("noted", &record).concat();
    for text in [
        "Noted at marks",
        "gas main 0.3 m east of paint",
        "spot-7.jpg",
    ] {
        assert!(all.contains(text), "{text}");
        assert!(
            section(&page(&record), "t-noted-h").contains(text),
            "{text}"
        );
    }
    assert!(
        !sheet("noted-not", &sample::short())
            .concat()
            .contains("Noted at")
    );
}

#[test]
fn letters_that_the_typeface_lacks_stay_on_the_page_and_are_owned_up_to_on_the_sheet() {
    let mut record = sample::short();
    let (old, new) = ("A2", "漢字2");
    new.clone_into(&mut record.marks[1].mark);
    for v in &mut record.runs[0].vertices {
        v.mark = v
            .mark
            .take()
            .map(|m| if m == old { new.to_owned() } else { m });
    }
    let html = page(&record);
    let drawing = section(&html, "drawing-h");
    let drawn = drawing.matches(">漢字2</text>").count();
    assert!(drawn >= 2, "{drawn} in plan and profile");
    assert!(!drawing.contains("??"));
    let said = "Letters that the typeface of this drawing lacks are printed as";
    let sheets = sheet("letters", &record);
    assert_eq!(sheets.iter().filter(|text| text.contains(said)).count(), 1);
    assert!(
        !sheet("letters-all", &sample::short())
            .concat()
            .contains(said)
    );
}

#[test]
fn a_long_title_stands_somewhere_in_full() {
    let mut record = sample::short();
    let title = format!(
        "Sewer lateral {}as far as the elderberry",
        "along the lane ".repeat(9)
    );
    record.job.title = Some(title);
    assert!(sheet("titled", &record).concat().contains("elderberry"));
}

#[test]
fn runs_far_apart_are_in_the_key() {
    let mut record = sample::long();
    for run in record.runs.iter_mut().filter(|run| run.run == "B") {
        run.vertices.iter_mut().for_each(|v| v.northing += 3600.0);
    }
    for m in record.marks.iter_mut().filter(|m| m.run == "B") {
        m.northing += 3600.0;
    }
    record.camera.clear();
    let first = &sheet("far", &record)[0];
    assert!(first.contains("Key, 1:50000"), "{first}");
}

#[test]
fn cautions_come_first_and_what_is_said_of_many_marks_is_said_once() {
    let mut record = sample::long();
    for i in 1..=15 {
        let mark = format!("A{i}");
        let same = format!("Nothing checks {mark}'s position: tape it again.");
        let mut note = sample::finding(Code::Unchecked, Level::Note, Some(&mark), &same);
        note.source = Some(format!("marks.csv:{i}"));
        record.findings.push(note);
        let figures = format!("The depth of {mark} reads {}.5 m, beyond 9.0 m.", i + 9);
        let mut warning = sample::finding(Code::Implausible, Level::Warning, Some(&mark), &figures);
        warning.value = Some(f64::from(i) + 9.5);
        record.findings.push(warning);
    }
    record.findings.sort_by_key(|f| std::cmp::Reverse(f.level));
    let html = page(&record);
    let at = |text: &str| html.find(text).unwrap();
    assert!(at(">Before anyone digs<") < at(">Findings:"));
    let findings = section(&html, "findings");
    assert_eq!(findings.matches("Nothing checks").count(), 1);
    for text in [
        "The same of A2, A3, A4, A5, A6, A7, A8, A9, A10, A11, A12, A13 and 2 more</summary>",
        "A14, A15</p>",
        "The same with other figures of A2, ",
        "The depth of A15 reads 24.5 m",
    ] {
        assert!(findings.contains(text), "{text}");
    }
    let outside: String = findings
        .split("<details")
        .map(|part| part.split("</details>").last().unwrap())
        .collect();
    assert_eq!(outside.matches("class=\"where\"").count(), 2);
    let all = sheet("grouped", &record).concat();
    assert_eq!(all.matches("Nothing checks").count(), 1);
    assert_eq!(all.matches("beyond 9.0").count(), 15);
    assert!(all.contains("A14, A15."));
}

#[test]
fn grid_north_that_is_true_north_is_said_to_be() {
    let mut record = sample::short();
    record.frame.convergence = Some(0.0);
    let (all, html) = (sheet("north", &record).concat(), page(&record));
    assert!(all.contains("Grid north up; it is true north."));
    for text in [all, html] {
        assert!(!text.contains("0° 00′ 00″"), "{text}");
    }
}

#[test]
fn the_deepest_place_may_be_one_that_the_camera_saw_and_is_rounded_up() {
    let mut record = sample::long();
    record.camera.truncate(2);
    let said = |record: &AsBuilt| depths::sentences(record).pop().unwrap();
    let seen = &mut record.camera[1];
    (seen.invert_depth, seen.depth_95) = (Some(7.0), Some(0.301));
    let place = format!("at c2, run {}", record.camera[1].run);
    let deep = said(&record);
    assert!(
        deep.starts_with("Deepest: the invert may lie 7.31 m below ground, "),
        "{deep}"
    );
    assert!(deep.contains(&place), "{deep}");
    // Of an axis alone, and of a mark as before.
    let seen = &mut record.camera[1];
    (seen.invert_depth, seen.transmitter_depth) = (None, Some(7.0));
    assert!(
        said(&record).contains("the axis may lie 7.31 m"),
        "{}",
        said(&record)
    );
    record.marks[0].transmitter_depth = Some(7.95);
    record.marks[0].invert_depth = Some(8.0);
    record.marks[0].depth_95 = Some(0.09);
    assert!(
        said(&record).contains("the invert may lie 8.09 m below ground, at A1"),
        "{}",
        said(&record)
    );
}

#[test]
fn a_pipe_whose_bound_reaches_the_surface_is_not_met_below_it() {
    let mut record = sample::short();
    let all = |record: &AsBuilt, name: &str| {
        let text = [
            depths::sentences(record).join(" "),
            sheet(name, record).concat(),
        ]
        .concat();
        assert!(!text.contains("met -"), "{text}");
        text
    };
    record.camera[0].dig = true;
    record.camera[0].cover_least = Some(-0.071);
    let text = all(&record, "above");
    assert!(text.contains(
        "could be met at or above the surface of the ground (its bound is 0.08 us-ft above it), at c1"
    ));
    // Headline, every sheet's strip, dig page; what stands beside it interrupts its lines.
    let said = "at or above the surface of the ground (its";
    assert!(text.matches(said).count() >= 3, "{text}");
    let [_, brief] = depths::strip(&record);
    let said = "Shallowest: the top of the pipe could be met at or above the surface, at c1, ";
    assert!(brief.starts_with(said), "{brief}");
    record.camera[0].cover_least = Some(0.001);
    assert!(all(&record, "at").contains("could be met at the surface of the ground, at c1"));
    record.camera[0].cover_least = Some(0.011);
    assert!(all(&record, "below").contains("could be met 0.01 us-ft below ground, at c1"));
}

#[test]
fn without_a_wall_depths_are_of_the_bore() {
    let mut record = sample::long();
    let bore = "The wall of run A is not given: the pipe's outside lies above the top of the bore";
    let whole = sheet("walled", &record).concat();
    assert!(!whole.contains("bore"), "{whole}");
    record.runs[0].wall = None;
    record.marks[0].cover_least = Some(0.02);
    record.camera.iter_mut().for_each(|c| c.dig = c.run == "A");
    let sheets = sheet("unwalled", &record);
    assert!(sheets[0].contains(bore), "{}", sheets[0]);
    for text in &sheets {
        assert!(text.contains("the top of the bore (its wall is not given) could be met 0.02 m below ground, at A1"), "{text}");
        assert!(!text.contains("the pipe could be met: "), "{text}");
    }
    let dug = sheets.iter().filter(|text| text.contains("Dig page:"));
    let said = "Earliest depth at which the top of the bore could be met: ";
    assert!(dug.clone().count() > 0 && dug.clone().all(|text| text.contains(said)));
    // Where the shallowest place is of a run with a wall, that is the pipe's own.
    record.marks[0].cover_least = Some(9.0);
    let other = record.marks.iter_mut().find(|m| m.run == "B").unwrap();
    other.cover_least = Some(0.01);
    let said = depths::sentences(&record).join(" ");
    assert!(
        said.contains("the top of the pipe could be met 0.01") && said.contains(bore),
        "{said}"
    );
}

#[test]
fn the_table_of_runs_says_that_its_depths_are_no_bounds() {
    let text = sheet("runs", &sample::short()).concat();
    for words in ["most likely", "no bound is taken off or added"] {
        assert!(text.contains(words), "{text}");
    }
    assert!(!page(&sample::short()).contains(">Deepest</th>"));
}

#[test]
fn names_that_begin_alike_are_told_apart() {
    let mut record = sample::short();
    let corners = [
        "House corner north-east",
        "House corner north-west",
        "House corner south-east",
    ];
    for (r, name) in record.references.iter_mut().zip(corners) {
        name.clone_into(&mut r.point);
    }
    for (i, m) in record.marks.iter_mut().enumerate() {
        let name = format!("MH-200{i}");
        for v in record.runs.iter_mut().flat_map(|run| &mut run.vertices) {
            if v.mark.as_ref() == Some(&m.mark) {
                v.mark = Some(name.clone());
            }
        }
        m.mark = name;
    }
    let text = sheet("alike", &record).concat();
    assert!(
        !text.contains("House corner no…") && !text.contains("MH-2…"),
        "{text}"
    );
    for end in ["th-east", "th-west", "uth-east"] {
        assert!(text.contains('…') && text.contains(end), "{end}: {text}");
    }
    // In the row beneath the profile, cut or whole.
    let cut = (0..record.marks.len())
        .all(|i| text.contains(&format!("…00{i}")) || text.contains(&format!("…0{i}")));
    assert!(cut, "{text}");
}

#[test]
fn a_draft_that_leaves_nothing_out_says_so() {
    let words = |left_out| aslaid::record::model::Draft { left_out }.words();
    assert_eq!(words(0), "DRAFT, no row left out");
    assert_eq!(words(2), "DRAFT, 2 rows left out");
}

#[test]
fn the_page_explains_every_symbol_and_its_plan_is_seen() {
    let html = page(&sample::short());
    let legend = &html[html.find("class=\"legend\"").unwrap()..];
    let legend = &legend[..legend.find("</ul>").unwrap()];
    for text in [
        "junction",
        "reference point, its place given",
        "reference point, its place computed",
    ] {
        assert!(legend.contains(text), "{text}");
    }
    // Lines of a site plan against the paper, light and dark: 3 to 1 at least.
    let style = &html[..html.find("</style>").unwrap()];
    let colours = |name: &str| -> Vec<String> {
        let name = format!("--{name}: #");
        let parts = style.split(&name).skip(1);
        parts
            .map(|part| part.split(';').next().unwrap().to_owned())
            .collect()
    };
    let luminance = |hex: &str| {
        let step = hex.len() / 3;
        let part = |i: usize| {
            let digits = hex[i * step..(i + 1) * step].repeat(3 - step);
            let c = f64::from(u8::from_str_radix(&digits, 16).unwrap()) / 255.0;
            if c <= 0.040_45 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * part(0) + 0.7152 * part(1) + 0.0722 * part(2) + 0.05
    };
    let (papers, plans) = (colours("paper"), colours("plan"));
    assert_eq!((papers.len(), plans.len()), (3, 3));
    for (paper, plan) in papers.iter().zip(&plans) {
        let (a, b) = (luminance(paper), luminance(plan));
        assert!(a.max(b) / a.min(b) >= 3.0, "#{plan} on #{paper}");
    }
    assert!(style.contains(".pl { stroke: var(--plan);"));
}

#[test]
fn columns_in_which_nothing_is_said_take_no_room() {
    use aslaid::sheet::content::{Table, tables};
    let heads = ["Quality level, by", "Fitting", "± invert"];
    let shown = |record: &AsBuilt| {
        let html = page(record);
        let marks = section(&html, "t-marks-h");
        let tables = tables::all(record).into_iter();
        let paper = tables.map(Table::for_paper).find(|t| t.key == "marks");
        let paper = paper.unwrap().columns;
        heads.map(|head| {
            let on_page = marks.contains(&format!(">{head}</th>"));
            let on_paper = paper.iter().any(|column| column.head.starts_with(head));
            assert_eq!(on_page, on_paper, "{head}");
            on_page
        })
    };
    let mut record = sample::short();
    record.marks[1].quality_level = Some("QL-B".to_owned());
    record.marks[1].fitting = Some("cleanout".to_owned());
    assert_eq!(shown(&record), [true; 3]);
    for m in &mut record.marks {
        (m.quality_level, m.fitting, m.invert_95) = (None, None, None);
    }
    assert_eq!(shown(&record), [false; 3]);
}

#[test]
fn a_printed_table_breaks_no_figure_and_no_code() {
    let mut record = sample::short();
    record.marks[0].findings = Some("unchecked".to_owned());
    record.marks[1].fitting = Some("w".repeat(60));
    record.runs[0]
        .texts
        .insert("permit".to_owned(), "SW-2026-0388".to_owned());
    let html = page(&record);
    let marks = section(&html, "t-marks-h");
    let source = &record.marks[0].source;
    for cell in ["unchecked", source] {
        assert!(
            marks.contains(&format!("<td class=\"w\">{cell}</td>")),
            "{cell}"
        );
    }
    assert!(marks.contains(&format!("<td class=\"long\">{}</td>", "w".repeat(60))));
    let runs = section(&html, "t-runs-h");
    assert!(
        runs.contains("permit <span class=\"w\">SW-2026-0388</span>"),
        "{runs}"
    );
    // Any letter is a place to break in the very long words alone.
    let print = html.split("@media print").nth(1).unwrap();
    let print = &print[..print.find("@page").unwrap()];
    let anywhere = print.lines().filter(|line| line.contains("anywhere"));
    assert!(anywhere.clone().count() > 0);
    for line in anywhere {
        assert!(line.contains(".long"), "{line}");
    }
}

#[test]
fn a_run_that_was_pushed_both_ways_is_said_to_be() {
    use aslaid::record::model::Push;
    let push = |push: &str, pushed: &str| Push {
        push: push.to_owned(),
        run: "A".to_owned(),
        pushed: pushed.to_owned(),
        counter_at_start: 0.0,
        start: None,
        source: "pushes.csv:2".to_owned(),
    };
    let mut record = sample::short();
    for (pushes, said) in [
        (vec![], "pushed downstream"),
        (vec![push("up", "upstream")], "pushed upstream"),
        (
            vec![push("dn", "downstream"), push("up", "upstream")],
            "pushed both ways",
        ),
    ] {
        record.pushes = pushes;
        let html = page(&record);
        let runs = section(&html, "t-runs-h");
        assert!(runs.contains(said), "{said}: {runs}");
        // In a narrow column on paper.
        let text = sheet("pushed", &record).concat();
        let last = said.rsplit(' ').next().unwrap();
        assert!(
            text.contains("pushed") && text.contains(last),
            "{said}: {text}"
        );
    }
}

#[test]
fn the_method_claims_no_locating_where_every_mark_was_exposed_only() {
    use aslaid::record::model::Evidence;
    let mut record = sample::short();
    let surface = "located from the surface. Every";
    let method = |record: &AsBuilt| aslaid::sheet::content::head::method(record);
    assert!(method(&record).starts_with("A transmitter on the camera's rod was located"));
    for m in &mut record.marks {
        (m.evidence, m.predicted) = (Evidence::Exposed, None);
    }
    let said = method(&record);
    assert!(
        said.starts_with("The pipe was exposed and measured at its marks; nothing was located"),
        "{said}"
    );
    for word in ["transmitter", "tilt", "readings"] {
        assert!(!said.contains(word), "{word}: {said}");
    }
    // Each was located first.
    let mark = &mut record.marks[0];
    mark.predicted = Some(aslaid::record::model::Predicted {
        easting: mark.easting,
        northing: mark.northing,
        ellipse: None,
        invert_depth: None,
        depth_95: None,
    });
    assert!(method(&record).contains(surface));
}

#[test]
fn a_dig_page_says_how_well_its_ties_set_the_place_out() {
    let mut record = sample::short();
    record.camera.iter_mut().for_each(|c| c.dig = false);
    let seen = &mut record.camera[0];
    seen.dig = true;
    let (id, ellipse) = (seen.id.clone(), seen.ellipse.unwrap());
    let tie = record.ties.iter_mut().find(|tie| tie.id == id).unwrap();
    tie.semi_major_95 = Some(0.31);
    let dig = |record: &AsBuilt| {
        let all = sheet("good-to", record);
        let digs = all.into_iter().filter(|text| text.contains("Dig page:"));
        digs.collect::<Vec<_>>().concat()
    };
    // What stands beside it interrupts its lines.
    let text = dig(&record);
    for words in [
        "± 0.31 us-ft (95 %)".to_owned(),
        format!("± {:.2} us-ft, comes on top", ellipse.semi_major_95),
    ] {
        for word in words.split_whitespace() {
            assert!(text.contains(word), "{word}: {text}");
        }
    }
    assert!(text.contains("These tapes set the place out to"), "{text}");
}

#[test]
fn the_page_s_plan_is_not_shrunk_by_a_far_reference() {
    let record = sample::short();
    let box_of = |record: &AsBuilt| {
        let html = page(record);
        let figure = &html[html.find("<figure class=\"plan\"").unwrap()..];
        let figure = &figure[..figure.find("</figure>").unwrap()];
        let view = figure.split("viewBox=\"0 0 ").nth(1).unwrap();
        let size = view[..view.find('"').unwrap()].to_owned();
        let size: Vec<f64> = size.split(' ').map(|n| n.parse().unwrap()).collect();
        let spots = figure.split("translate(").skip(1).filter_map(|part| {
            let (at, rest) = part.split_once(')')?;
            let tag = &rest[..rest.find('>')?];
            let at = at.split_once(' ')?;
            let marked = tag.contains("class=\"sy\"") && tag.contains("data-f=\"m");
            marked.then(|| (at.0.parse::<f64>().unwrap(), at.1.parse::<f64>().unwrap()))
        });
        let spots: Vec<(f64, f64)> = spots.collect();
        let mean = |values: Vec<f64>| {
            let (lo, hi) = values
                .iter()
                .fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
            (f64::midpoint(lo, hi), hi - lo)
        };
        let x = mean(spots.iter().map(|s| s.0).collect());
        let y = mean(spots.iter().map(|s| s.1).collect());
        (size, x, y)
    };
    let mut far = record.clone();
    far.references.truncate(0);
    let (_, x, y) = box_of(&far);
    let mut reference = record.references[0].clone();
    let span = |value: fn(&aslaid::record::model::Mark) -> f64| {
        let all = record.marks.iter().map(value);
        let (lo, hi) = all.fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(v), b.max(v)));
        (lo, hi)
    };
    let (e, n) = (span(|m| m.easting), span(|m| m.northing));
    // With it the window would hold more than twice as much ground in either direction.
    let tall = (n.1 - n.0).max((e.1 - e.0) * 130.0 / 210.0);
    (reference.easting, reference.northing) = (e.0, n.0 + 2.3 * tall);
    far.references.push(reference);
    let (size, x2, y2) = box_of(&far);
    assert!(
        (x2.1 - x.1).abs() < 0.1 && (y2.1 - y.1).abs() < 0.1,
        "{x:?} {x2:?} {y:?} {y2:?}"
    );
    let off = (y2.0 - size[1] / 2.0).abs();
    assert!(off < size[1] / 4.0, "{off} of {size:?}");
}

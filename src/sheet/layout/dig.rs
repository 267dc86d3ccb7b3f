//! A dig page: one camera observation, how to find it from the ground, and how early the pipe could be met.

use super::GAP;
use super::flow::{self, Piece, fact, paragraph};
use super::plans;
use crate::record::AsBuilt;
use crate::record::model::{Camera, Reference, Tie};
use crate::sheet::content::{depths as deep, figures as f, near};
use crate::sheet::draw::plan::{Extent, short_name};
use crate::sheet::draw::scale::largest;
use crate::sheet::draw::{Drawing, pt};
use crate::sheet::font::Fonts;

/// The nearest so many references of its ties are in the picture, if they lie within [`REACH`] metres; arrows at the border
/// point to the others (our choice: the picture is for finding the spot, and larger without far ones).
const SHOWN: usize = 2;
const REACH: f64 = 30.0;
/// So many things near by are listed, and every line that digging could hit (our choice: what leaves the page one page).
const LISTED: usize = 10;

/// The bodies of the pages for `camera[index]`: picture and words, and what words find no room beside it.
pub fn pages(record: &AsBuilt, index: usize, room: (f64, f64), fonts: &Fonts) -> Vec<Drawing> {
    let mut first = Drawing::new(room.0, room.1);
    let Some(seen) = record.camera.get(index) else {
        return vec![first];
    };
    let left = room.0 * 0.56;
    let width = room.0 - left - GAP;
    if let (Some(e), Some(n)) = (seen.easting, seen.northing) {
        let picture = picture(record, (e, n), index, seen, (left, room.1), fonts);
        first.place(pt(0.0, 0.0), picture);
    }
    let name = short_name(&seen.id);
    let title = format!("Dig page: {name}, run {}, continued", seen.run);
    let head = Piece::heading(&title, room.0, fonts);
    let words = words(record, seen, width, fonts);
    let tall: f64 = words.iter().map(|piece| piece.height).sum();
    // Room for the heading of the further pages is left on the first as well, where there are any.
    let lower = if tall > room.1 { head.height } else { 0.0 };
    let mut columns = flow::pages(words, (width, room.1 - lower), 1, width).into_iter();
    if let Some(column) = columns.next() {
        first.place(pt(left + GAP, 0.0), column);
    }
    let mut pages = vec![first];
    let rest: Vec<Drawing> = columns.collect();
    let abreast = (room.0 / (width + GAP)).floor().max(1.0) as usize;
    for columns in rest.chunks(abreast) {
        let mut page = Drawing::new(room.0, room.1);
        flow::put(&mut page, pt(0.0, 0.0), &head);
        for (i, column) in columns.iter().enumerate() {
            page.place(pt(i as f64 * (width + GAP), lower), column.clone());
        }
        pages.push(page);
    }
    pages
}

fn picture(
    record: &AsBuilt,
    (e, n): (f64, f64),
    index: usize,
    seen: &Camera,
    room: (f64, f64),
    fonts: &Fonts,
) -> Drawing {
    let k = record.frame.crs_unit_metres;
    let ties = record.ties.iter().filter(|tie| tie.id == seen.id);
    let tied: Vec<&str> = ties
        .flat_map(|tie| &tie.distances)
        .map(|d| d.reference.as_str())
        .collect();
    let away = |r: &Reference| (r.easting - e).hypot(r.northing - n) * k;
    let references = record.references.iter();
    let mut near: Vec<&Reference> = references
        .filter(|r| tied.contains(&r.point.as_str()) && away(r) <= REACH)
        .collect();
    near.sort_by(|a, b| away(a).total_cmp(&away(b)));
    let shown = near.iter().take(SHOWN).map(|r| (r.easting, r.northing));
    let reach = seen
        .ellipse
        .map_or(1.0, |x| x.semi_major_95 * record.frame.unit.metres())
        .max(1.0)
        / k;
    let places = shown.chain([(e - reach, n - reach), (e + reach, n + reach)]);
    let size = (room.0, room.1 - 10.5);
    let extent = Extent::of(places).unwrap_or(Extent {
        west: e,
        south: n,
        east: e,
        north: n,
    });
    let (w, h) = extent.metres(record);
    let scale = largest(record.frame.unit, w, h, (size.0 - 26.0, size.1 - 26.0));
    let mut view = plans::view(record, extent.centre(), size, scale);
    view.exaggeration = 1.0;
    view.ties_of = Some(index);
    plans::figure(record, &view, fonts).drawing
}

fn words(record: &AsBuilt, seen: &Camera, width: f64, fonts: &Fonts) -> Vec<Piece> {
    let unit = record.frame.unit;
    let name = short_name(&seen.id);
    let mut pieces = vec![Piece::heading(
        &format!("Dig page: {name}, run {}", seen.run),
        width,
        fonts,
    )];
    let mut say = |name: &str, value: &str| pieces.extend(fact(name, value, width, fonts));
    say("Seen by the camera", &seen.what);
    if let Some(clock) = &seen.clock {
        say("On the pipe's wall at", &format!("{clock} o'clock"));
    }
    say(
        "Counter, station",
        &format!(
            "{}, {}",
            f::fixed(seen.counter, 2),
            f::station(seen.station, unit)
        ),
    );
    if let Some(until) = &seen.until {
        let place = until.easting.zip(until.northing);
        let place = place.map(|(e, n)| format!(", {}, {}", f::fixed(e, 2), f::fixed(n, 2)));
        say(
            "As far as counter, station, easting, northing",
            &format!(
                "{}, {}{}",
                f::fixed(until.counter, 2),
                f::station(until.station, unit),
                place.unwrap_or_default()
            ),
        );
    }
    for (name, text) in [("Note", &seen.note), ("Photo", &seen.photo)] {
        if let Some(text) = text {
            say(name, text);
        }
    }
    let (Some(e), Some(n)) = (seen.easting, seen.northing) else {
        let none = "It has no place: it lies too far from any mark. Locate the camera's transmitter there before digging.";
        pieces.extend(paragraph(none, width, true, fonts));
        return pieces;
    };
    say(
        "Easting, northing",
        &format!("{}, {}", f::fixed(e, 2), f::fixed(n, 2)),
    );
    pieces.extend(depths(record, seen, width, fonts));
    pieces.extend(setting_out(record, seen, width, fonts));
    pieces.extend(near(record, seen, width, fonts));
    let grants = "This page allows no machine any depth. Expose the pipe by hand or by vacuum over the whole ellipse and the whole \
                  tolerance zone that local law sets, with the site marked by the one-call centre.";
    pieces.push(Piece::space(1.5));
    pieces.extend(paragraph(grants, width, true, fonts));
    pieces
}

fn depths(record: &AsBuilt, seen: &Camera, width: f64, fonts: &Fonts) -> Vec<Piece> {
    let unit = record.frame.unit.symbol();
    let mut pieces = vec![Piece::heading("Depth and bounds", width, fonts)];
    pieces.extend(paragraph(&deep::earliest(record, seen), width, true, fonts));
    let mut say = |name: &str, value: String| pieces.extend(fact(name, &value, width, fonts));
    if let Some(depth) = seen.invert_depth {
        let bound = f::bound(seen.depth_95);
        say(
            "Invert below ground",
            format!("{} {unit} {bound}", f::length(Some(depth))),
        );
    }
    if let Some(invert) = seen.invert {
        say(
            "Invert's height",
            format!(
                "{} {unit} {}",
                f::length(Some(invert)),
                f::bound(seen.invert_95)
            ),
        );
    }
    say(
        "Ground that holds it with 95 %",
        match seen.ellipse {
            Some(x) => format!(
                "ellipse, {} {unit} to either side along grid azimuth {}°, {} {unit} across it",
                f::fixed(x.semi_major_95, 2),
                f::fixed(x.azimuth_95, 0),
                f::fixed(x.semi_minor_95, 2)
            ),
            None => "not known".to_owned(),
        },
    );
    if seen.extrapolated {
        pieces.extend(paragraph(
            "It lies outside the marks: its place is extrapolated.",
            width,
            true,
            fonts,
        ));
    }
    pieces
}

fn setting_out(record: &AsBuilt, seen: &Camera, width: f64, fonts: &Fonts) -> Vec<Piece> {
    let mut pieces = vec![Piece::heading("To find it again", width, fonts)];
    let Some(tie) = record
        .ties
        .iter()
        .find(|tie| tie.id == seen.id && !tie.distances.is_empty())
    else {
        let none = "No permanent reference is near enough: set it out by its coordinates.";
        pieces.extend(paragraph(none, width, false, fonts));
        return pieces;
    };
    for d in &tie.distances {
        let about = record
            .references
            .iter()
            .find(|r| r.point == d.reference)
            .and_then(|r| r.description.clone());
        let about = about.map(|text| format!(", {text}")).unwrap_or_default();
        pieces.extend(fact(
            &d.text,
            &format!("from {}{about}", d.reference),
            width,
            fonts,
        ));
    }
    if let Some(side) = crate::sheet::content::tables::side(record, tie) {
        let [first, second] =
            [0, 1].map(|i| tie.distances.get(i).map_or("", |d| d.reference.as_str()));
        let text = format!("Level ground distances; {side} of the line from {first} to {second}.");
        pieces.extend(paragraph(&text, width, false, fonts));
    }
    pieces.extend(paragraph(&good_to(record, seen, tie), width, false, fonts));
    pieces
}

/// How well the ties set the place out: they are printed finer than they are taped, and finer than the pipe is known.
fn good_to(record: &AsBuilt, seen: &Camera, tie: &Tie) -> String {
    let unit = record.frame.unit;
    let tapes = match tie.semi_major_95 {
        Some(axis) => format!(
            "These tapes set the place out to ± {} {unit} (95 %)",
            f::fixed(axis, 2)
        ),
        None => "How well these tapes set the place out is not known".to_owned(),
    };
    match seen.ellipse {
        Some(x) => format!(
            "{tapes}. The pipe's own ellipse, ± {} {unit}, comes on top.",
            f::fixed(x.semi_major_95, 2)
        ),
        None => format!("{tapes}. How far the pipe may lie from there is not known."),
    }
}

/// What lies close by: utilities and runs every one, of the rest the nearest.
fn near(record: &AsBuilt, seen: &Camera, width: f64, fonts: &Fonts) -> Vec<Piece> {
    let unit = record.frame.unit;
    let within = f::plain(near::within(record));
    let mut pieces = vec![Piece::heading(
        &format!("Near it, within {within} {unit}"),
        width,
        fonts,
    )];
    let found = near::near(record, seen);
    if found.is_empty() {
        pieces.extend(paragraph(
            "Nothing in this record. Other lines are not in it.",
            width,
            false,
            fonts,
        ));
    }
    let lines = found.iter().filter(|near| near.line).count();
    let listed = LISTED.max(lines);
    for near in found.iter().take(listed) {
        let away = format!("{} {unit}", f::least(Some(unit.of(near.metres))));
        pieces.extend(fact(&away, &near.what, width, fonts));
    }
    let more = found.len().saturating_sub(listed);
    if more > 0 {
        let text = format!(
            "And {more} more that are neither a utility nor a run: marks, observations, references, other lines of the site plan."
        );
        pieces.extend(paragraph(&text, width, false, fonts));
    }
    pieces
}

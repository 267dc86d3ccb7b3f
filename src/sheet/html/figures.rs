//! Plan and profiles on the page, with the controls that the script brings to life.

use super::svg;
use super::write::Html;
use crate::record::AsBuilt;
use crate::sheet::draw::plan::{self, Extent, View};
use crate::sheet::draw::profile::{self, Look};
use crate::sheet::draw::scale::Scale;
use crate::sheet::font::Fonts;

/// Width of a figure in drawing units; the page shows about four pixels for one on a desk screen (our choice).
const WIDTH: f64 = 250.0;

/// The section of drawings and the place for the numbers behind a mark.
pub fn drawings(page: &mut Html, record: &AsBuilt, fonts: &Fonts) {
    page.raw("<section class=\"drawing\" aria-labelledby=\"drawing-h\">");
    page.raw("<h2 id=\"drawing-h\">Plan and profile</h2>");
    page.raw(concat!(
        "<div class=\"bar\" hidden><button type=\"button\" id=\"prev\">Previous mark</button>",
        "<label for=\"pick\">Mark</label><select id=\"pick\"></select>",
        "<button type=\"button\" id=\"next\">Next mark</button></div>",
        "<p class=\"how\" id=\"how\">Point at a mark, or choose it above, to see it in plan, profile and tables with every number ",
        "behind it. In a drawing that has the focus: left and right arrow for the marks, plus and minus to zoom, 0 for the whole, ",
        "Shift with the arrows to move. Drag to move; the wheel zooms once a drawing is clicked.</p>",
    ));
    page.raw("<div class=\"split\"><div class=\"figures\">");
    plan_figure(page, record, fonts);
    for run in &record.runs {
        let title = format!("Profile of run {}, flow from {}", run.run, ends(run));
        let height = 78.0;
        match profile::draw(
            record,
            run,
            &Look {
                size: (WIDTH, height),
                paper: false,
            },
            fonts,
        ) {
            Some(profile) => {
                let caption = format!("{title}. {}", profile.words);
                figure(page, "profile", &caption, &profile.drawing);
            }
            None => {
                page.element(
                    "p",
                    &[("class", "none")],
                    &format!("{title}: no depth and no height is known along it."),
                );
            }
        }
    }
    legend(page, record);
    page.raw(concat!(
        "</div><section class=\"behind\" aria-labelledby=\"behind-h\"><h3 id=\"behind-h\">Every number behind a mark</h3>",
        "<p class=\"sr\" role=\"status\" id=\"said\"></p><div id=\"behind\"><p>Choose a mark to see its measurements, residuals, ",
        "readings and corrections.</p></div></section></div></section>",
    ));
}

fn ends(run: &crate::record::model::Run) -> String {
    let text = |key: &str, other: &str| {
        run.texts
            .get(key)
            .cloned()
            .unwrap_or_else(|| other.to_owned())
    };
    format!(
        "{} to {}",
        text("from", "the upstream end"),
        text("to", "the downstream end")
    )
}

fn plan_figure(page: &mut Html, record: &AsBuilt, fonts: &Fonts) {
    let Some(view) = view(record) else {
        page.raw("<p class=\"none\">No place was computed, so there is no plan.</p>");
        return;
    };
    let plan = plan::draw(record, &view, fonts);
    let ends = if record.frame.local {
        "site north"
    } else {
        "grid north"
    };
    let caption = format!(
        "Plan, {ends} up. Ellipses hold 95 %, drawn to scale. Pipe drawn dashed where nothing located it."
    );
    figure(page, "plan", &caption, &plan.drawing);
}

/// References are in the window where that costs no more than this in scale (our choice): far ones would shrink the runs, and press
/// them to its edge.
const WORTH: f64 = 2.0;

/// Everything along the runs, and the references that are near enough, in the middle.
fn view(record: &AsBuilt) -> Option<View> {
    let runs = Extent::of(plan::places(record))?;
    let metres = record.frame.crs_unit_metres;
    // Room for labels around; neither a strip nor a tower.
    let room = WIDTH - 40.0;
    let (lowest, tallest) = (60.0, 130.0);
    let size = |extent: Extent| {
        let (width, height) = extent.metres(record);
        (width.max(1.0), height.max(1.0))
    };
    let ratio = |extent: Extent| {
        let (width, height) = size(extent);
        (width / room).max(height / tallest) * 1000.0
    };
    // A short run alone would have a scale that no reference is worth.
    let most = WORTH * ratio(runs).max(2000.0 / tallest);
    let away = |(e, n): (f64, f64)| {
        let beyond = |at: f64, from: f64, to: f64| (from - at).max(at - to).max(0.0) * metres;
        beyond(e, runs.west, runs.east).hypot(beyond(n, runs.south, runs.north))
    };
    let references = record.references.iter().map(|r| (r.easting, r.northing));
    let mut references: Vec<(f64, f64)> = references.collect();
    references.sort_by(|a, b| away(*a).total_cmp(&away(*b)));
    let all = references.into_iter().fold(runs, |all, place| {
        let larger = all.with(place);
        if ratio(larger) <= most { larger } else { all }
    });
    let (width, height) = size(all);
    let tall = (room * height / width).clamp(lowest, tallest);
    Some(View {
        centre: all.centre(),
        size: (WIDTH, tall + 30.0),
        scale: Scale::free((width / room).max(height / tall) * 1000.0),
        exaggeration: 1.0,
        paper: false,
        ties_of: None,
    })
}

fn figure(
    page: &mut Html,
    class: &'static str,
    caption: &str,
    drawing: &crate::sheet::draw::Drawing,
) {
    page.open("figure", &[("class", class)])
        .raw("<div class=\"head\">");
    page.element("figcaption", &[], caption);
    page.raw(concat!(
        "<div class=\"zoom\" hidden><button type=\"button\" data-z=\"in\" aria-label=\"Zoom in\">+</button>",
        "<button type=\"button\" data-z=\"out\" aria-label=\"Zoom out\">−</button>",
        "<button type=\"button\" data-z=\"fit\">Whole</button></div></div>",
    ));
    page.open("div", &[("class", "vp"), ("data-label", caption)])
        .raw("<div class=\"layer\">");
    svg::write(page, drawing);
    page.raw("</div></div>").close("figure");
}

fn legend(page: &mut Html, record: &AsBuilt) {
    use crate::record::model::{Evidence, Meeting, VertexKind};
    use crate::sheet::draw::{Drawing, Item, Node, Pen, Role, Shape, pt, symbols};
    let ellipse = Item {
        pen: Pen::Bound,
        shape: Shape::Ellipse {
            centre: pt(0.0, 0.0),
            a: 2.2,
            b: 1.2,
            turn: -30.0,
        },
    };
    let line = |pen| vec![Item::path(pen, vec![pt(-3.0, 0.0), pt(3.0, 0.0)])];
    let mut entries: Vec<(Vec<Item>, &str)> = vec![
        (
            symbols::mark(Evidence::Located, false),
            "mark, located from the surface",
        ),
        (
            symbols::mark(Evidence::Exposed, false),
            "mark, pipe exposed and measured",
        ),
        (symbols::mark(Evidence::Located, true), "mark at a fitting"),
        (symbols::vertex(VertexKind::Bend), "bend, inferred"),
        (symbols::vertex(VertexKind::Junction), "junction"),
        (
            symbols::reference(false),
            "reference point, its place given",
        ),
        (
            symbols::reference(true),
            "reference point, its place computed",
        ),
        (symbols::camera(), "seen by the camera"),
        (vec![ellipse], "95 % ellipse"),
        (line(Pen::Ground), "ground"),
        (line(Pen::Crown), "top of pipe"),
        (line(Pen::Invert), "invert"),
    ];
    if !record.underlay.is_empty() {
        entries.push((line(Pen::Plan), "site plan"));
    }
    if !record.crossings.is_empty() {
        let across = "across or near the pipe by a site plan";
        entries.push((symbols::crossing(Meeting::Crosses), across));
    }
    page.raw("<ul class=\"legend\">");
    for (items, text) in entries {
        let mut drawing = Drawing::new(8.0, 4.0);
        drawing.nodes.push(Node::Anchored {
            at: pt(4.0, 2.0),
            role: Role::Symbol,
            feature: None,
            items,
        });
        page.raw("<li>");
        svg::write(page, &drawing);
        page.text(text).raw("</li>");
    }
    page.raw("</ul>");
}

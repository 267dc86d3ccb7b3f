//! Drawings as pages of a PDF: text stays text, both faces are embedded, nothing depends on a clock or on chance.

mod shapes;

use krilla::Document;
use krilla::geom::Transform;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::surface::Surface;
use krilla::text::Font;
use krilla::{Data, SerializeSettings};

use super::Error;
use super::draw::{Anchor, Drawing, Item, Node, Pt, Shape};
use super::font::{BOLD, Fonts, REGULAR};

/// Points in a millimetre.
const POINTS: f64 = 72.0 / 25.4;

/// What the file says of itself.
#[derive(Clone, Debug, Default)]
pub struct About {
    /// Title.
    pub title: String,
    /// Program and version.
    pub creator: String,
    /// Words by which the file is recognised again.
    pub keywords: Vec<String>,
}

/// Writes drawings as pages, each of its own size.
pub fn write(pages: &[Drawing], about: About, fonts: &Fonts) -> Result<Vec<u8>, Error> {
    let settings = SerializeSettings {
        xmp_metadata: false,
        enable_tagging: false,
        ..SerializeSettings::default()
    };
    let mut document = Document::new_with(settings);
    let face = |data: &'static [u8]| {
        Font::new(Data::from(data.to_vec()), 0).ok_or_else(|| Error::Font("not a face".to_owned()))
    };
    let ink = Ink {
        regular: face(REGULAR)?,
        bold: face(BOLD)?,
        fonts,
    };
    for drawing in pages {
        let (width, height) = (drawing.width * POINTS, drawing.height * POINTS);
        let settings = PageSettings::from_wh(width as f32, height as f32)
            .ok_or_else(|| Error::Pdf("a page without area".to_owned()))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        surface.push_transform(&Transform::from_scale(POINTS as f32, POINTS as f32));
        drawing
            .nodes
            .iter()
            .for_each(|node| ink.node(&mut surface, node));
        surface.pop();
        surface.finish();
        page.finish();
    }
    let mut metadata = Metadata::new()
        .title(about.title)
        .creator(about.creator)
        .language("en".to_owned());
    if !about.keywords.is_empty() {
        metadata = metadata.keywords(about.keywords);
    }
    document.set_metadata(metadata);
    document
        .finish()
        .map_err(|why| Error::Pdf(format!("{why:?}")))
}

struct Ink<'a> {
    regular: Font,
    bold: Font,
    fonts: &'a Fonts,
}

impl Ink<'_> {
    fn node(&self, surface: &mut Surface<'_>, node: &Node) {
        match node {
            Node::Item(item, _) => self.item(surface, item),
            Node::Anchored { at, items, .. } => {
                surface.push_transform(&Transform::from_translate(at.x as f32, at.y as f32));
                items.iter().for_each(|item| self.item(surface, item));
                surface.pop();
            }
            Node::Clip(rect, nodes) => {
                let Some(path) = shapes::lines(&rect.corners(), true) else {
                    return;
                };
                surface.push_clip_path(&path, &krilla::paint::FillRule::NonZero);
                nodes.iter().for_each(|node| self.node(surface, node));
                surface.pop();
            }
        }
    }

    fn item(&self, surface: &mut Surface<'_>, item: &Item) {
        surface.set_fill(shapes::fill(item.pen));
        surface.set_stroke(shapes::stroke(item.pen));
        match &item.shape {
            Shape::Path { points, closed } => {
                if !closed {
                    surface.set_fill(None);
                }
                if let Some(path) = shapes::lines(points, *closed) {
                    surface.draw_path(&path);
                }
            }
            Shape::Ellipse { centre, a, b, turn } => {
                if let Some(path) = shapes::ellipse(*centre, *a, *b, *turn) {
                    surface.draw_path(&path);
                }
            }
            Shape::Text {
                at,
                size,
                anchor,
                turn,
                bold,
                text,
            } => {
                self.text(surface, *at, *size, *anchor, *turn, *bold, text);
            }
        }
    }

    #[expect(clippy::too_many_arguments, reason = "the fields of one shape")]
    fn text(
        &self,
        surface: &mut Surface<'_>,
        at: Pt,
        size: f64,
        anchor: Anchor,
        turn: f64,
        bold: bool,
        text: &str,
    ) {
        let text = self.fonts.printed(text);
        if text.trim().is_empty() {
            return;
        }
        let share = match anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => 0.5,
            Anchor::End => 1.0,
        };
        let shift = self.fonts.width(&text, size, bold) * share;
        surface.set_stroke(None);
        let turned = turn != 0.0;
        if turned {
            surface.push_transform(&Transform::from_rotate_at(
                turn as f32,
                at.x as f32,
                at.y as f32,
            ));
        }
        let start = krilla::geom::Point::from_xy((at.x - shift) as f32, at.y as f32);
        let font = if bold {
            self.bold.clone()
        } else {
            self.regular.clone()
        };
        surface.draw_glyphs(
            start,
            &self.fonts.glyphs(&text, bold),
            font,
            &text,
            size as f32,
            false,
        );
        if turned {
            surface.pop();
        }
    }
}

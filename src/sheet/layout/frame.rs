//! The frame of every sheet: border, title strip, cautions, code, number. Margins after ISO 5457
//! ([`crate::sources::Source::Iso5457`]).

use super::flow::{LARGE, LEADING, SMALL};
use crate::record::AsBuilt;
use crate::sheet::content::{depths, figures, head};
use crate::sheet::draw::{Anchor, Drawing, Item, Pen, Rect, pt};
use crate::sheet::font::{Fonts, em};
use crate::sheet::options::Paper;
use crate::sheet::{Error, code};

/// Margin for filing, and the others.
const FILING: f64 = 20.0;
const MARGIN: f64 = 10.0;
/// White inside the border and between columns.
const PAD: f64 = 2.5;
/// Side of the code, quiet zone included.
const CODE: f64 = 31.0;
/// Height of the title strip.
const STRIP: f64 = 14.5;
/// The right part of the strip, of its whole.
const RIGHT: f64 = 0.6;
/// A caution's line, and the white between two cautions.
const LINE: f64 = 2.95;
const BETWEEN: f64 = 0.9;
/// Height of the line that says DRAFT.
const DRAFT: f64 = 7.0;

/// A frame, measured.
pub struct Frame<'a> {
    record: &'a AsBuilt,
    fonts: &'a Fonts,
    page: (f64, f64),
    border: Rect,
    band: Rect,
    body: Rect,
    cautions: Vec<Vec<(f64, String)>>,
    column: f64,
    /// The shallowest place, in one line or two.
    shallowest: Vec<String>,
    code: Drawing,
    draft: Option<String>,
}

impl<'a> Frame<'a> {
    /// Measures the frame of a record on a paper.
    pub fn new(record: &'a AsBuilt, paper: Paper, fonts: &'a Fonts) -> Result<Self, Error> {
        let page = paper.size();
        let border = Rect {
            x0: FILING,
            y0: MARGIN,
            x1: page.0 - MARGIN,
            y1: page.1 - MARGIN,
        };
        let room = border.width() - CODE - 2.0;
        let columns = (room / 75.0).floor().clamp(1.0, 6.0);
        let column = room / columns;
        let cautions = columns_of(
            &record.cautions,
            column - 2.0 * PAD,
            columns as usize,
            fonts,
        );
        let tall = cautions
            .iter()
            .filter_map(|c| c.last())
            .map(|(y, _)| *y)
            .fold(0.0, f64::max)
            + 2.2;
        let height = (tall + STRIP).max(CODE + 11.0);
        let band = Rect {
            y0: border.y1 - height,
            ..border
        };
        let draft = head::draft(record);
        let top = border.y0 + PAD + if draft.is_some() { DRAFT } else { 0.0 };
        let body = Rect {
            x0: border.x0 + PAD,
            y0: top,
            x1: border.x1 - PAD,
            y1: band.y0 - PAD,
        };
        Ok(Self {
            record,
            fonts,
            page,
            border,
            band,
            body,
            cautions,
            column,
            shallowest: shallowest(record, (border.width() - CODE - 2.0) * RIGHT, fonts),
            code: code::draw(record, CODE)?,
            draft,
        })
    }

    /// Width and height of what stands inside.
    pub fn room(&self) -> (f64, f64) {
        (self.body.width(), self.body.height())
    }

    /// The whole sheet with its number.
    pub fn dress(&self, body: Drawing, number: usize, total: usize) -> Drawing {
        let mut sheet = Drawing::new(self.page.0, self.page.1);
        sheet.place(pt(self.body.x0, self.body.y0), body);
        if let Some(draft) = &self.draft {
            let at = pt(self.border.centre().x, self.border.y0 + 6.4);
            let text = self
                .fonts
                .fit(draft, self.border.width() - 10.0, em(4.0), true);
            sheet.push(
                Item::text(at, em(4.0), Anchor::Middle, text)
                    .bold()
                    .with(Pen::Draft),
            );
        }
        self.cautions(&mut sheet);
        self.strip(&mut sheet);
        self.corner(&mut sheet, number, total);
        sheet.push(Item::rect(Pen::Frame, self.border));
        sheet
    }

    fn cautions(&self, sheet: &mut Drawing) {
        let band = self.band;
        sheet.push(Item::path(
            Pen::Rule,
            vec![pt(band.x0, band.y0), pt(band.x1, band.y0)],
        ));
        for (i, column) in self.cautions.iter().enumerate() {
            let x = band.x0 + PAD + i as f64 * self.column;
            for (y, line) in column {
                sheet.push(Item::text(
                    pt(x, band.y0 + y),
                    SMALL,
                    Anchor::Start,
                    line.clone(),
                ));
            }
        }
    }

    /// What it is, title, identity; system, shallowest place, hash.
    fn strip(&self, sheet: &mut Drawing) {
        let (band, record) = (self.band, self.record);
        let top = band.y1 - STRIP;
        let right = band.x1 - CODE - 2.0;
        let middle = right - (right - band.x0) * RIGHT;
        sheet.push(Item::path(
            Pen::Rule,
            vec![pt(band.x0, top), pt(right, top)],
        ));
        sheet.push(Item::path(
            Pen::Rule,
            vec![pt(middle, top), pt(middle, band.y1)],
        ));
        let mut line = |x: f64, y: f64, to: f64, text: &str, size: f64, bold: bool| {
            let item = Item::text(
                pt(x, top + y),
                size,
                Anchor::Start,
                self.fonts.fit(text, to - x - PAD, size, bold),
            );
            sheet.push(if bold { item.bold() } else { item });
        };
        let date = record
            .job
            .located_on
            .as_deref()
            .map(|d| format!(", located {d}"))
            .unwrap_or_default();
        let left = band.x0 + PAD;
        line(
            left,
            3.6,
            middle,
            &format!("{}. Not exposed unless a mark says so.", head::WHAT_IT_IS),
            SMALL,
            false,
        );
        line(left, 8.4, middle, &head::title(record), LARGE, true);
        line(
            left,
            12.4,
            middle,
            &format!("{}{date}", head::identity(record)),
            SMALL,
            false,
        );
        let frame = &record.frame;
        let datum = frame.vertical.as_deref().unwrap_or("not given");
        let system = if frame.local {
            "local site grid"
        } else {
            &frame.crs
        };
        let units = format!(
            "Height datum: {datum}. Coordinates: {system}, in {}. Lengths: {} ({}).",
            figures::units(&frame.crs_unit),
            figures::unit_word(frame.unit),
            frame.unit
        );
        let x = middle + PAD;
        line(x, 3.6, right, &units, SMALL, false);
        let (one, two) = (3.6 + LEADING * 1.4, 3.6 + LEADING * 0.95);
        match &self.shallowest[..] {
            [whole] => line(x, one, right, whole, SMALL, true),
            lines => {
                for (i, text) in lines.iter().enumerate() {
                    line(x, two + LEADING * 0.95 * i as f64, right, text, SMALL, true);
                }
            }
        }
        line(
            x,
            12.4,
            right,
            &format!("Record {}", head::hash(record)),
            SMALL,
            false,
        );
    }

    /// Code and number in the lower right corner.
    fn corner(&self, sheet: &mut Drawing, number: usize, total: usize) {
        let band = self.band;
        let x = band.x1 - CODE - 2.0;
        sheet.push(Item::path(Pen::Rule, vec![pt(x, band.y0), pt(x, band.y1)]));
        sheet.place(pt(x + 1.0, band.y0 + 0.8), self.code.clone());
        let centre = x + CODE / 2.0 + 1.0;
        let text = format!("Sheet {number} of {total}");
        sheet.push(Item::text(pt(centre, band.y1 - 6.2), LARGE, Anchor::Middle, text).bold());
        let revision = self
            .record
            .job
            .revision
            .map_or_else(|| "no revision".to_owned(), |r| format!("Revision {r}"));
        sheet.push(Item::text(
            pt(centre, band.y1 - 2.1),
            SMALL,
            Anchor::Middle,
            revision,
        ));
    }
}

/// The shallowest place and its limits in as many words as two lines of a part of the strip hold; its beginning at least.
fn shallowest(record: &AsBuilt, width: f64, fonts: &Fonts) -> Vec<String> {
    let room = width - 2.0 * PAD;
    let [full, brief] = depths::strip(record);
    let mut lines = fonts.wrap(&full, room, SMALL, true);
    if lines.len() > 2 {
        lines = fonts.wrap(&brief, room, SMALL, true);
    }
    if lines.len() > 2 {
        let rest = lines.split_off(1).join(" ");
        lines.push(fonts.fit(&rest, room, SMALL, true));
    }
    lines
}

/// Lines with their base, in columns as low as they can be.
fn columns_of(
    cautions: &[String],
    width: f64,
    columns: usize,
    fonts: &Fonts,
) -> Vec<Vec<(f64, String)>> {
    let wrapped: Vec<Vec<String>> = cautions
        .iter()
        .map(|c| fonts.wrap(c, width, SMALL, false))
        .collect();
    let total = wrapped.iter().map(Vec::len).sum::<usize>();
    let mut height = (total.div_ceil(columns)) as f64 * LINE;
    while filled(&wrapped, height, false).len() > columns {
        height += LINE / 2.0;
    }
    // Paragraphs stay whole where that costs no more than two lines.
    let whole = (0..=4)
        .map(|halves| filled(&wrapped, height + f64::from(halves) * LINE / 2.0, true))
        .find(|set| set.len() <= columns);
    whole.unwrap_or_else(|| filled(&wrapped, height, false))
}

fn filled(paragraphs: &[Vec<String>], height: f64, whole: bool) -> Vec<Vec<(f64, String)>> {
    let mut columns = vec![Vec::new()];
    let mut y = 1.0;
    for paragraph in paragraphs {
        let tall = LINE * paragraph.len() as f64 + BETWEEN;
        let apart = whole && y > 1.0 && y + tall > height + 1.0;
        for (i, line) in paragraph.iter().enumerate() {
            y += LINE + if i == 0 && y > 1.0 { BETWEEN } else { 0.0 };
            if y > height + 1.0 || (apart && i == 0) {
                columns.push(Vec::new());
                y = 1.0 + LINE;
            }
            if let Some(column) = columns.last_mut() {
                column.push((y, line.clone()));
            }
        }
    }
    columns
}

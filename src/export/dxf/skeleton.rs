//! What a drawing holds besides its entities: header, tables, blocks, dictionaries. Handles below [`FIRST`] are theirs.

use std::io;

use super::layers::Names;
use super::pairs::Pairs;
use crate::export::wkb::Bounds;
use crate::units::LengthUnit;

/// First handle of an entity.
pub const FIRST: u64 = 0x100;
/// Block record of the model space, which owns the entities.
pub const MODEL: u64 = 0x1F;
const PAPER: u64 = 0x1B;
/// Name under which extended data stand.
pub const APPLICATION: &str = "ASLAID";

/// `$INSUNITS`: what one unit of the drawing is; 0, unitless, for any other unit.
fn units(metres: f64) -> u8 {
    let is = |unit: LengthUnit| (metres / unit.metres() - 1.0).abs() < 1e-9;
    if is(LengthUnit::Metre) {
        6
    } else if is(LengthUnit::Foot) {
        2
    } else if is(LengthUnit::UsSurveyFoot) {
        21
    } else {
        0
    }
}

/// The header: version, units, extents. The handle seed lies beyond any number of entities that fit a file.
pub fn header(
    out: &mut Pairs<'_>,
    metres: f64,
    bounds: Option<Bounds>,
    text: f64,
) -> io::Result<()> {
    let units = units(metres);
    out.pairs(&[
        (0, "SECTION"),
        (2, "HEADER"),
        (9, "$ACADVER"),
        (1, "AC1021"),
    ])?;
    out.pairs(&[(9, "$DWGCODEPAGE"), (3, "ANSI_1252")])?;
    out.pairs(&[(9, "$HANDSEED"), (5, "7FFFFFFF")])?;
    if let Some(bounds) = bounds {
        let [low, high] = bounds.z.unwrap_or([0.0, 0.0]);
        out.pair(9, "$EXTMIN")?;
        out.place(10, bounds.x[0], bounds.y[0], low)?;
        out.pair(9, "$EXTMAX")?;
        out.place(10, bounds.x[1], bounds.y[1], high)?;
    }
    out.pair(9, "$INSUNITS")?;
    out.pair(70, units)?;
    out.pair(9, "$MEASUREMENT")?;
    out.pair(70, u8::from(units == 6))?;
    out.pair(9, "$TEXTSIZE")?;
    out.pair(40, text)?;
    // Points as a cross in a circle, half as large as the text: a dot of one pixel is not seen.
    out.pairs(&[(9, "$PDMODE"), (70, "34"), (9, "$PDSIZE")])?;
    out.pair(40, text / 2.0)?;
    out.pairs(&[(9, "$LUNITS"), (70, "2"), (9, "$LUPREC"), (70, "4")])?;
    out.pair(0, "ENDSEC")?;
    out.pairs(&[(0, "SECTION"), (2, "CLASSES"), (0, "ENDSEC")])
}

/// The symbol tables.
pub fn tables(out: &mut Pairs<'_>, names: &Names<'_>, bounds: Option<Bounds>) -> io::Result<()> {
    out.pairs(&[(0, "SECTION"), (2, "TABLES")])?;
    view_port(out, bounds)?;
    table(out, "LTYPE", "2", 3)?;
    for (handle, name) in [("14", "ByBlock"), ("15", "ByLayer"), ("16", "Continuous")] {
        record(out, "LTYPE", handle, "2", "AcDbLinetypeTableRecord", name)?;
        out.pairs(&[(70, "0"), (3, ""), (72, "65"), (73, "0"), (40, "0.0")])?;
    }
    out.pair(0, "ENDTAB")?;
    layers(out, names)?;
    table(out, "STYLE", "5", 1)?;
    let class = "AcDbTextStyleTableRecord";
    record(out, "STYLE", "18", "5", class, "Standard")?;
    out.pairs(&[(70, "0"), (40, "0.0"), (41, "1.0"), (50, "0.0")])?;
    out.pairs(&[(71, "0"), (42, "2.5"), (3, "arial.ttf"), (4, "")])?;
    out.pair(0, "ENDTAB")?;
    for (name, handle) in [("VIEW", "6"), ("UCS", "7")] {
        table(out, name, handle, 0)?;
        out.pair(0, "ENDTAB")?;
    }
    table(out, "APPID", "9", 2)?;
    for (handle, name) in [("19", "ACAD"), ("1A", APPLICATION)] {
        record(out, "APPID", handle, "9", "AcDbRegAppTableRecord", name)?;
        out.pair(70, 0)?;
    }
    out.pair(0, "ENDTAB")?;
    dimension_style(out)?;
    table(out, "BLOCK_RECORD", "1", 2)?;
    let records = [("1F", "*Model_Space", "22"), ("1B", "*Paper_Space", "1E")];
    for (handle, name, layout) in records {
        let class = "AcDbBlockTableRecord";
        record(out, "BLOCK_RECORD", handle, "1", class, name)?;
        out.pairs(&[(340, layout), (70, "0"), (280, "1"), (281, "0")])?;
    }
    out.pairs(&[(0, "ENDTAB"), (0, "ENDSEC")])
}

fn table(out: &mut Pairs<'_>, name: &str, handle: &str, records: usize) -> io::Result<()> {
    out.pairs(&[(0, "TABLE"), (2, name), (5, handle), (330, "0")])?;
    out.pair(100, "AcDbSymbolTable")?;
    out.pair(70, records)
}

fn record(
    out: &mut Pairs<'_>,
    kind: &str,
    handle: &str,
    owner: &str,
    class: &str,
    name: &str,
) -> io::Result<()> {
    out.pairs(&[(0, kind), (5, handle), (330, owner)])?;
    out.pairs(&[(100, "AcDbSymbolTableRecord"), (100, class), (2, name)])
}

/// The window that shows everything when the drawing is opened.
fn view_port(out: &mut Pairs<'_>, bounds: Option<Bounds>) -> io::Result<()> {
    let [x, y] = bounds.map_or([[0.0, 1.0]; 2], |bounds| [bounds.x, bounds.y]);
    let height = (y[1] - y[0]).max((x[1] - x[0]) / 1.5) * 1.2 + 1.0;
    table(out, "VPORT", "8", 1)?;
    let class = "AcDbViewportTableRecord";
    record(out, "VPORT", "13", "8", class, "*Active")?;
    out.pairs(&[(70, "0"), (10, "0.0"), (20, "0.0")])?;
    out.pairs(&[(11, "1.0"), (21, "1.0")])?;
    out.pair(12, x[0].midpoint(x[1]))?;
    out.pair(22, y[0].midpoint(y[1]))?;
    out.pairs(&[(13, "0.0"), (23, "0.0"), (14, "1.0"), (24, "1.0")])?;
    out.pairs(&[(15, "1.0"), (25, "1.0"), (16, "0.0"), (26, "0.0")])?;
    out.pairs(&[(36, "1.0"), (17, "0.0"), (27, "0.0"), (37, "0.0")])?;
    out.pair(40, height)?;
    out.pairs(&[(41, "1.5"), (42, "50.0"), (43, "0.0"), (44, "0.0")])?;
    out.pairs(&[(50, "0.0"), (51, "0.0"), (71, "0"), (72, "1000")])?;
    out.pairs(&[(73, "1"), (74, "3"), (75, "0"), (76, "0"), (77, "0")])?;
    out.pairs(&[(78, "0"), (0, "ENDTAB")])
}

fn layers(out: &mut Pairs<'_>, names: &Names<'_>) -> io::Result<()> {
    let mut all: Vec<(String, u8)> = vec![("0".to_owned(), 7)];
    all.extend(names.all(&["0".to_owned()]));
    table(out, "LAYER", "4", all.len())?;
    for (handle, (name, colour)) in (0x40_u64..).zip(&all) {
        let handle = format!("{handle:X}");
        record(out, "LAYER", &handle, "4", "AcDbLayerTableRecord", name)?;
        out.pair(70, 0)?;
        out.pair(62, colour)?;
        out.pairs(&[(6, "Continuous"), (370, "-3"), (390, "F")])?;
    }
    out.pair(0, "ENDTAB")
}

fn dimension_style(out: &mut Pairs<'_>) -> io::Result<()> {
    table(out, "DIMSTYLE", "3", 1)?;
    out.pairs(&[(100, "AcDbDimStyleTable"), (71, "0")])?;
    out.pairs(&[(0, "DIMSTYLE"), (105, "1D"), (330, "3")])?;
    out.pairs(&[(100, "AcDbSymbolTableRecord")])?;
    out.pairs(&[(100, "AcDbDimStyleTableRecord"), (2, "Standard")])?;
    out.pairs(&[(70, "0"), (0, "ENDTAB")])
}

/// The two blocks that every drawing has.
pub fn blocks(out: &mut Pairs<'_>) -> io::Result<()> {
    out.pairs(&[(0, "SECTION"), (2, "BLOCKS")])?;
    let blocks = [
        (MODEL, "*Model_Space", "20", "21"),
        (PAPER, "*Paper_Space", "1C", "23"),
    ];
    for (owner, name, begin, end) in blocks {
        let owner = format!("{owner:X}");
        out.pairs(&[(0, "BLOCK"), (5, begin), (330, &owner)])?;
        out.pairs(&[(100, "AcDbEntity"), (8, "0"), (100, "AcDbBlockBegin")])?;
        out.pairs(&[(2, name), (70, "0"), (10, "0.0"), (20, "0.0"), (30, "0.0")])?;
        out.pairs(&[(3, name), (1, "")])?;
        out.pairs(&[(0, "ENDBLK"), (5, end), (330, &owner)])?;
        out.pairs(&[(100, "AcDbEntity"), (8, "0"), (100, "AcDbBlockEnd")])?;
    }
    out.pair(0, "ENDSEC")
}

/// The dictionaries that every drawing has, and the end of the file.
pub fn objects(out: &mut Pairs<'_>) -> io::Result<()> {
    out.pairs(&[(0, "SECTION"), (2, "OBJECTS")])?;
    let root = [
        ("ACAD_GROUP", "D"),
        ("ACAD_LAYOUT", "24"),
        ("ACAD_MLINESTYLE", "17"),
        ("ACAD_PLOTSTYLENAME", "E"),
    ];
    dictionary(out, "C", "0", &root)?;
    dictionary(out, "D", "C", &[])?;
    dictionary(out, "24", "C", &[("Model", "22"), ("Layout1", "1E")])?;
    dictionary(out, "17", "C", &[("Standard", "25")])?;
    out.pairs(&[(0, "ACDBDICTIONARYWDFLT"), (5, "E"), (330, "C")])?;
    out.pairs(&[
        (100, "AcDbDictionary"),
        (281, "1"),
        (3, "Normal"),
        (350, "F"),
    ])?;
    out.pairs(&[(100, "AcDbDictionaryWithDefault"), (340, "F")])?;
    out.pairs(&[(0, "ACDBPLACEHOLDER"), (5, "F"), (330, "E")])?;
    layout(out, "22", ("Model", "0"), "1024", "1F")?;
    layout(out, "1E", ("Layout1", "1"), "0", "1B")?;
    out.pairs(&[(0, "MLINESTYLE"), (5, "25"), (330, "17")])?;
    out.pairs(&[(100, "AcDbMlineStyle"), (2, "Standard"), (70, "0"), (3, "")])?;
    out.pairs(&[(62, "256"), (51, "90.0"), (52, "90.0"), (71, "2")])?;
    out.pairs(&[(49, "0.5"), (62, "256"), (6, "BYLAYER")])?;
    out.pairs(&[(49, "-0.5"), (62, "256"), (6, "BYLAYER")])?;
    out.pairs(&[(0, "ENDSEC"), (0, "EOF")])
}

fn dictionary(
    out: &mut Pairs<'_>,
    handle: &str,
    owner: &str,
    entries: &[(&str, &str)],
) -> io::Result<()> {
    out.pairs(&[(0, "DICTIONARY"), (5, handle), (330, owner)])?;
    out.pairs(&[(100, "AcDbDictionary"), (281, "1")])?;
    entries
        .iter()
        .try_for_each(|(name, value)| out.pairs(&[(3, *name), (350, *value)]))
}

/// A layout (name and place in the row of tabs): an A3 sheet in millimetres, of which only the model's is used.
fn layout(
    out: &mut Pairs<'_>,
    handle: &str,
    (name, order): (&str, &str),
    flags: &str,
    block: &str,
) -> io::Result<()> {
    out.pairs(&[(0, "LAYOUT"), (5, handle), (330, "24")])?;
    out.pairs(&[(100, "AcDbPlotSettings"), (1, ""), (4, "A3"), (6, "")])?;
    out.pairs(&[(40, "7.5"), (41, "20.0"), (42, "7.5"), (43, "20.0")])?;
    out.pairs(&[(44, "420.0"), (45, "297.0"), (46, "0.0"), (47, "0.0")])?;
    out.pairs(&[(48, "0.0"), (49, "0.0"), (140, "0.0"), (141, "0.0")])?;
    out.pairs(&[(142, "1.0"), (143, "1.0"), (70, flags), (72, "1")])?;
    out.pairs(&[(73, "0"), (74, "5"), (7, ""), (75, "16"), (76, "0")])?;
    out.pairs(&[
        (77, "2"),
        (78, "300"),
        (147, "1.0"),
        (148, "0.0"),
        (149, "0.0"),
    ])?;
    out.pairs(&[(100, "AcDbLayout"), (1, name), (70, "1"), (71, order)])?;
    out.pairs(&[(10, "0.0"), (20, "0.0"), (11, "420.0"), (21, "297.0")])?;
    out.pairs(&[(12, "0.0"), (22, "0.0"), (32, "0.0")])?;
    out.pairs(&[(14, "1e+20"), (24, "1e+20"), (34, "1e+20")])?;
    out.pairs(&[(15, "-1e+20"), (25, "-1e+20"), (35, "-1e+20")])?;
    out.pairs(&[(146, "0.0"), (13, "0.0"), (23, "0.0"), (33, "0.0")])?;
    out.pairs(&[(16, "1.0"), (26, "0.0"), (36, "0.0")])?;
    out.pairs(&[(17, "0.0"), (27, "1.0"), (37, "0.0"), (76, "1")])?;
    out.pair(330, block)
}

#[cfg(test)]
mod tests {
    use super::units;

    #[test]
    fn the_two_feet_are_told_apart() {
        assert_eq!(units(1.0), 6);
        assert_eq!(units(0.3048), 2);
        assert_eq!(units(1200.0 / 3937.0), 21);
        assert_eq!(units(0.304_799_7), 0);
    }
}

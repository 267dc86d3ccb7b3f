"""Workbooks to begin with, as a spreadsheet program writes them: several sheets, dates, percentages, formulas, merged cells."""
import datetime, io, random, zipfile

import openpyxl
from openpyxl.styles import numbers

from texts import joined

JOB = [["question", "answer", "example", "key"], ["Number?", "J", "LAT-1", "job.id"], ["Which firm?", "S", "", "job.supplier"], ["Day?", datetime.date(2026, 5, 14), "2026-05-14", "job.located_on"],
       ["crs", "EPSG:2264", "", ""], ["Unit? (unit)", "ft", "", ""], ["grid.height", 705, "", ""], ["Minimum grade? [run.min_grade]", 0.02, "2 %", ""], ["Run?", "A", "", "run.id"],
       ["Tape?", 0.02, "", "accuracy.tape"], ["Linear?", True, "", "equipment.signal_is_linear"], ["What?", "x", "", "no.such"], ["What else?", "y", "", ""], ["diameter", "4 in", "", ""], ["Note?", None, "n", "job.note"]]
MARKS = [["Run", "Mark", "Easting", "Northing", "Depth 1 (in)", "sigma", "from_time", "gate code", "note"],
         ["A", "A1", 1450200, 541700, 66, 0.05, datetime.time(13, 2, 5), 4711, "=1+1"], ["A", "A2", 1450220, 541705, datetime.date(2026, 12, 6), 0.05, datetime.datetime(2026, 5, 14, 13, 2, 5, 250000), None, "#REF!"],
         ["# out", "A3"], [None, None, None, None, None, None, None, None, None], ["A", "A4", 1450230.5, 541707, "5' 6\"", 0.05, None, "12-6", "caf\u00e9"]]
CONTROL = [["point", "easting", "northing", "elevation"], ["P1", 1450200, 541690, 705.5], ["P2", 1450230, 541690, None]]


def saved(book):
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def book(sheets):
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets:
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(row)
    return made


def inputs():
    plain = book([("job", JOB), ("marks", MARKS), ("control", CONTROL), ("Notes of ours", [["a", 1], [None, "b"]]), ("findings", [["x"]])])
    plain["job"]["B8"].number_format = numbers.FORMAT_PERCENTAGE_00
    merged = book([("Job", JOB), ("Marks", [["Field book"], []] + MARKS)])
    merged["Marks"].merge_cells("A1:D1")
    merged["Marks"]["J4"] = "=HYPERLINK(\"x\")"
    merged["Marks"].column_dimensions["C"].hidden = True
    old = book([("job", JOB), ("marks", MARKS)])
    old.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    chart = book([("job", JOB), ("marks", MARKS)])
    chart.create_chartsheet("chart")
    empty = book([("nothing", [])])
    far = book([("job", JOB), ("marks", MARKS)])
    far["marks"]["GZZ3"] = 1
    far["marks"]["B900"] = "late"
    errors = book([("job", [["answer", "key"], ["J", "job.id"], ["local", "grid.crs"], ["m", "grid.unit"]]), ("marks", MARKS)])
    for at, value in [("C2", "#DIV/0!"), ("D2", "#N/A"), ("E2", "#VALUE!")]:
        errors["marks"][at].value = value
        errors["marks"][at].data_type = "e"
    headless = book([("job", [["a", "b"], [1, 2]]), ("marks", [["x", "y"]])])
    for made in [plain, merged, old, chart, empty, far, errors, headless]:
        data = saved(made)
        yield "workbook", data
        with zipfile.ZipFile(io.BytesIO(data)) as parts:
            keep = [n for n in parts.namelist() if "theme" not in n and "docProps" not in n]
            yield "workbook", joined([(n, parts.read(n)) for n in keep])
    for broken in [b"PK", saved(plain)[:3000], saved(plain).replace(b"PK\x01\x02", b"PK\x01\x03", 1)]:
        yield "workbook", broken
    # Dates and numbers that no program writes, cells out of order, strings that are not there.
    ns = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    cells = ['<c r="A1" s="1"><v>46156</v></c>', '<c r="A1" s="1"><v>0.5</v></c>', '<c r="A1" s="1"><v>-1</v></c>', '<c r="A1" s="1"><v>1e300</v></c>', '<c r="A1" s="1"><v>46156.543</v></c>', '<c r="A1" t="s"><v>99</v></c>', '<c r="A1" t="d"><v>2026-05-14</v></c>',
             '<c r="A1" t="b"><v>1</v></c>', '<c r="A1" t="e"><v>#REF!</v></c>', '<c r="C1"><v>1</v></c><c r="A1"><v>2</v></c>', '<c><v>1</v></c>', '<c r="A0"><v>1</v></c>', '<c r="A1" t="str"><f>1+1</f><v>2</v></c>', '<c r="ZZZZ1"><v>1</v></c>',
             '<c r="A1" s="2"><v>0.02</v></c>', '<c r="A1" s="99"><v>0.02</v></c>', '<c r="A1" t="inlineStr"><is><r><t>a</t></r><r><t>b</t></r></is></c>']
    types = '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/></Types>\n'
    rel = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    rels = lambda body: f'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{body}</Relationships>\n'
    styles = f'<styleSheet {ns}><numFmts count="1"><numFmt numFmtId="170" formatCode="0.00%"/></numFmts><cellXfs count="3"><xf numFmtId="0"/><xf numFmtId="14"/><xf numFmtId="170"/></cellXfs></styleSheet>\n'
    for cell in cells:
        yield "workbook", joined([("[Content_Types].xml", types), ("_rels/.rels", rels(f'<Relationship Id="r1" Type="{rel}/officeDocument" Target="xl/workbook.xml"/>')),
                                  ("xl/workbook.xml", f'<workbook {ns} xmlns:r="{rel}"><workbookPr date1904="0"/><sheets><sheet name="marks" sheetId="1" r:id="r1"/></sheets></workbook>\n'),
                                  ("xl/_rels/workbook.xml.rels", rels(f'<Relationship Id="r1" Type="{rel}/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="r2" Type="{rel}/styles" Target="styles.xml"/>')),
                                  ("xl/styles.xml", styles), ("xl/worksheets/sheet1.xml", f'<worksheet {ns}><sheetData><row r="1">{cell}</row></sheetData></worksheet>\n')])
    # Sheets as text, which the entry packs.
    text = lambda rows: "".join(",".join("" if c is None else '"' + str(c).replace('"', '""') + '"' for c in row) + "\n" for row in rows)
    for entry in ["workbook", "settings"]:
        yield entry, joined([("job", text(JOB)), ("marks", text(MARKS)), ("control", text(CONTROL)), ("Notes", "a,b\n"), ("w.nmea", "$GPGGA,1*00\n")])
        yield entry, joined([("job", text(JOB[:4]) + "grid.crs,local,,\ngrid.unit,m,,\nrun.diameter,4 in,,\naccuracy.tape,TRUE,,\nunit,ft,,\nrun.id,A,,\nrun_default.material,PVC,,\n"), ("marks", text(MARKS)), ("runs", "id,diameter\nA,4 in\n"), ("levels", "point,backsight\nP,1\n")])
        yield entry, joined([("job", "answer,question\nJ,job.id\n"), ("Marks", "")])
        yield entry, joined([("job", "a\nb\n"), ("marks", "run,mark\nA,A1\n")])

"""Writes inputs to begin with, made from the fixtures: seeds.py FOLDER."""
import pathlib, shutil, subprocess, sys, zipfile, hashlib

import books, plans, texts

root = pathlib.Path(__file__).resolve().parent.parent
out = pathlib.Path(sys.argv[1])
TABLES = ["marks", "control", "runs", "pushes", "measures", "camera", "levels"]


def put(entry, data):
    folder = out / entry
    folder.mkdir(parents=True, exist_ok=True)
    (folder / ("seed-" + hashlib.sha1(data).hexdigest()[:16])).write_bytes(data)


joined = texts.joined

jobs = sorted({p.parent for p in (root / "fixtures").rglob("job.toml")})
for job in jobs:
    parts = [(p.name, p.read_bytes()) for p in sorted(job.iterdir()) if p.suffix in (".toml", ".csv", ".nmea")]
    if sum(len(d) for _, d in parts) < 60000:
        put("check", joined(parts))
        if any(name.lower() == "marks.csv" for name, _ in parts):
            put("sections", joined(parts))
    for name, data in parts:
        if name == "job.toml":
            put("settings", data)
        elif name.endswith(".nmea"):
            put("nmea", data[:20000])
        elif (stem := name.lower().rsplit(".", 1)[0]) in TABLES and len(data) < 60000:
            put("cells", bytes([TABLES.index(stem)]) + data)
            for line in data.decode("latin-1").splitlines()[1:4]:
                for cell in line.split(","):
                    if cell.strip():
                        put("lengths", cell.strip().encode())
for text in texts.positions():
    put("sections", text.encode())
for text in ["12' 6 1/2\"", "12-6 1/2", "3/8 in", "1+42.6", "0+042.6", "L 4.2", "N 45\u00b030' E", "80\u00b050'35.2\" W", "8.1 W",
             "1/4 in per ft", "1:48", "2 %", "IPC 704.1", "2026-05-14T13:02:05Z", "13:02:05", "12-Jun", "1,234.5", "1 m", "150 mm"]:
    put("lengths", text.encode())
for book in root.rglob("fixtures/**/*.xlsx"):
    put("workbook", book.read_bytes())
    with zipfile.ZipFile(book) as z:
        put("workbook", joined([(n, z.read(n)) for n in z.namelist()]))
made = out.parent / "new.xlsx"
for binary in ["release/aslaid"]:
    program = out.parent.parent / binary
    if program.exists():
        made.unlink(missing_ok=True)
        folder = out.parent / "newjob"
        shutil.rmtree(folder, ignore_errors=True)
        subprocess.run([program, "new", folder], capture_output=True, check=True)
        new = {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.suffix in (".toml", ".csv")}
        for entry, data in texts.inputs(new):
            put(entry, data)
        subprocess.run([program, "new", made, "--workbook"], capture_output=True)
        if made.exists():
            with zipfile.ZipFile(made) as z:
                put("workbook", joined([(n, z.read(n)) for n in z.namelist()]))
        result = out.parent / "results"
        for job in jobs[:40]:
            subprocess.run([program, "build", job, "--out", result, "--draft", "--quiet"], capture_output=True)
        for n, name in enumerate(["record.json", "points.csv", "asbuilt.geojson", "asbuilt.gpkg"]):
            for path in sorted(result.glob("*/" + name))[:6]:
                if path.stat().st_size < 150000:
                    put("delivery", bytes([n]) + path.read_bytes())
        for path in sorted(result.glob("*/asbuilt.geojson"))[:6]:
            put("plan", b"\0" + path.read_bytes())
        for path in sorted(result.glob("*/asbuilt.gpkg"))[:3]:
            put("plan", b"\1" + path.read_bytes())
put("delivery", b"\1WORK_ORDER,LINE,X,Y,DEPTH_FT,INV_EL,ACC_V,ACC_H,DIAM_IN\nW1,A,1450200,541700,5.5,700.1,0.3,0.5,4\nW1,A,1450220,541705,5.6,699.9,0.3,0.5,4\n")
plan = """{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"layer":"water","depth":"4 ft"},"geometry":
{"type":"LineString","coordinates":[[-80.8411,35.2243],[-80.8409,35.2245]]}},{"type":"Feature","properties":{"layer":"lot"},
"geometry":{"type":"Polygon","coordinates":[[[-80.8411,35.2243],[-80.8409,35.2243],[-80.8409,35.2245],[-80.8411,35.2243]]]}}]}"""
put("plan", b"\0" + plan.encode())
put("plan", b"\0" + plan.replace("-80.8411,35.2243", "1450200,541690").replace("-80.8409,35.2245", "1450210,541710").encode())
import struct
line = struct.pack("<BII4d", 1, 2, 2, 1.0, 2.0, 3.0, 4.0)
put("plan", b"\2" + line)
put("plan", b"\2GP\0\1" + struct.pack("<i", 2264) + line)
for path in [*root.glob("fixtures/fields/*.toml"), root / "fuzz/intake.toml"]:
    put("fields", path.read_bytes())
put("fields", b'crs = "EPSG:2264"\nunit = "us-ft"\nnear = "5 ft"\nlayer_column = "layer"\n[[file]]\nname = "p.geojson"\ncrs = "EPSG:4326"\n[[layer]]\nname = "water*"\nrole = "utility"\nkind = "water"\ndepth = "4 ft"\nsize = "6 in"\n')
put("fields", b"point,x,y,easting,northing\na,0,0,1450200,541700\nb,20,5,1450220,541705\nA1,0,0,,\n")
NS = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"'


def sheet(rows):
    def cell(text, at):
        try:
            float(text)
            return f'<c r="{at}"><v>{text}</v></c>'
        except ValueError:
            return f'<c r="{at}" t="inlineStr"><is><t>{text}</t></is></c>'
    body = "".join(f'<row r="{n}">' + "".join(cell(text, chr(65 + k) + str(n)) for k, text in enumerate(row)) + "</row>" for n, row in enumerate(rows, 1))
    return f"<worksheet {NS}><sheetData>{body}</sheetData></worksheet>"


names = ["job", "marks", "control"]
rows = [[["question", "answer", "key"], ["id", "J", "job.id"], ["crs", "EPSG:2264", "grid.crs"], ["unit", "ft", "grid.unit"], ["run", "A", "run.id"]],
        [["run", "mark", "easting", "northing", "depth_1"], ["A", "A1", "1450200", "541700", "5.5"], ["A", "A2", "1450220", "541705", "46010"]],
        [["point", "easting", "northing"], ["P1", "1450200", "541690"]]]
parts = [("[Content_Types].xml", '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/></Types>'),
         ("_rels/.rels", '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>'),
         ("xl/workbook.xml", f"<workbook {NS}><sheets>" + "".join(f'<sheet name="{n}" sheetId="{i}" r:id="r{i}"/>' for i, n in enumerate(names, 1)) + "</sheets></workbook>"),
         ("xl/_rels/workbook.xml.rels", '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">' + "".join(
             f'<Relationship Id="r{i}" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet{i}.xml"/>' for i in (1, 2, 3)) + "</Relationships>"),
         *[(f"xl/worksheets/sheet{i}.xml", sheet(r)) for i, r in enumerate(rows, 1)]]
put("workbook", joined([(n, (t + "\n").encode()) for n, t in parts]))
import math
sentence = lambda body: f"${body}*{__import__('functools').reduce(lambda a, c: a ^ ord(c), body, 0):02X}\r\n"
log = "".join(sentence(f"GPGGA,13{m:02}05.00,3513.5066,N,08050.5858,W,4,12,0.8,215.{m},M,-30.7,M,1.0,0000") + sentence(f"GPGST,13{m:02}05.00,0.1,0.02,0.01,45,0.011,0.012,0.02")
              + sentence(f"GPRMC,13{m:02}05.00,A,3513.5066,N,08050.5858,W,0.0,0.0,140526,,,R") for m in range(6))
put("nmea", log.encode())
for module in (books, plans):
    for entry, data in module.inputs():
        put(entry, data)

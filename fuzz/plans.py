"""Site plans and drawings to begin with: GeoJSON of every shape, GeoPackages, DXF of three versions, Shapefiles."""
import io, json, pathlib, sqlite3, struct, tempfile

import ezdxf
from pyogrio import write_dataframe
import geopandas
from shapely.geometry import LineString, MultiLineString, Point, Polygon

import texts
from texts import joined

E, N = 1450200, 541700
# Across, along, near, about and far from the runs of the record that plans are laid under.
LINES = {"water main": [[E + 10, N - 20], [E + 10, N + 20]], "gas": [[E, N], [E + 20, N + 5], [E + 40, N + 2]], "tree": [[E + 5, N + 6], [E + 9, N + 8]], "old": [[E - 9, N], [E - 9, N + 9]], "storm drain": [[E + 19, N - 12], [E + 24, N - 18]]}
DEGREES = [[-80.8411, 35.2243], [-80.8409, 35.2245]]


def feature(kind, coordinates, layer=None, **more):
    return {"type": "Feature", "id": more.pop("id", None), "properties": {"layer": layer, "ID": "w1", "DEPTH": 4, "ELEV": "", "DIAM": "6", "BAD": "six", "n": None, "o": {"a": 1}, **more}, "geometry": {"type": kind, "coordinates": coordinates}}


def collection(features, crs=None):
    return {"type": "FeatureCollection", **({"crs": {"type": "name", "properties": {"name": crs}}} if crs else {}), "features": features}


def geojson():
    lines = [feature("LineString", line, layer) for layer, line in LINES.items()]
    ring = [[E - 50, N - 50], [E + 90, N - 50], [E + 90, N + 60], [E - 50, N - 50]]
    every = lines + [feature("Polygon", [ring], "lot", id=7), feature("Polygon", [ring, [[E + 5, N], [E + 6, N], [E + 6, N + 1], [E + 5, N]]], "building", id="b"), feature("Point", [E + 20, N + 3], "hydrant"), feature("MultiPoint", [[E, N], [E + 40, N + 2]], "manhole"),
                     feature("MultiLineString", [LINES["water main"], LINES["tree"]], "fence"), feature("MultiPolygon", [[ring]], "pond"), feature("LineString", [], "x"), feature("LineString", [[E, N]], "x"), {"type": "Feature", "properties": None, "geometry": None},
                     {"type": "Feature", "properties": {}, "geometry": {"type": "GeometryCollection", "geometries": [{"type": "Point", "coordinates": [E, N]}, {"type": "Polygon", "coordinates": [ring]}]}}]
    yield collection(every)
    yield collection(every, "urn:ogc:def:crs:EPSG::2264")
    yield collection([feature("LineString", DEGREES, "water")])
    yield collection([feature("LineString", DEGREES, "water")], "urn:ogc:def:crs:OGC:1.3:CRS84")
    yield collection([feature("LineString", [[442042.2, 165110.1], [442046.0, 165114.0]], "water")], "EPSG:32119")
    yield collection([feature("LineString", [[442042.2, 165110.1], [442046.0, 165114.0]], "water")])
    yield collection([feature("LineString", [[35.2243, -80.8411], [35.2245, -80.8409]], "water")])
    yield collection([feature("LineString", LINES["gas"], "gas")], "EPSG:1")
    yield collection([feature("LineString", LINES["gas"], "gas")], "mine")
    yield {**collection([feature("Point", [1, 2])]), "crs": {"type": "link"}}
    yield feature("LineString", LINES["gas"], "gas")
    yield {"type": "Point", "coordinates": [E, N, 3]}
    yield collection([])
    yield collection([feature("LineString", [[0, 0], [40, 0], [20, 30]], "water")])


def geopackages():
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "p.gpkg"
        frame = geopandas.GeoDataFrame({"ID": ["w1", None, "w3"], "DEPTH": [4.5, None, 3.0], "N": [1, 2, 3]}, geometry=[LineString(LINES["water main"]), Polygon([(E, N - 40), (E + 60, N - 40), (E + 60, N + 40)]), None], crs="EPSG:2264")
        for more in [{}, {"SPATIAL_INDEX": "NO"}]:
            path.unlink(missing_ok=True)
            write_dataframe(frame, path, layer="water", layer_options=more)
            write_dataframe(frame.to_crs("EPSG:4326"), path, layer="gas", append=True, layer_options=more)
            base = sqlite3.connect(path)
            # Small, so that the fuzzer gets far with it: what a reader does not need is dropped.
            for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                base.execute(f'DROP TRIGGER "{name}"')
            base.commit()
            base.execute("PRAGMA page_size = 512")
            base.execute("VACUUM")
            yield path.read_bytes()
            base.execute("CREATE TABLE notes (id INTEGER PRIMARY KEY, t TEXT, b BLOB)")
            base.execute("INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES ('notes', 'attributes', 'notes')")
            base.execute("UPDATE water SET geom = x'00' WHERE fid = 1")
            base.execute("UPDATE gpkg_contents SET srs_id = 99 WHERE table_name = 'gas'")
            base.execute("UPDATE gpkg_geometry_columns SET srs_id = -1 WHERE table_name = 'gas'")
            base.commit()
            base.close()
            yield path.read_bytes()


def shapes():
    """Well-known binary of every kind."""
    le = lambda code, body: struct.pack("<BI", 1, code) + body
    two = struct.pack("<4d", 1, 2, 3, 4)
    line, point = le(2, struct.pack("<I", 2) + two), le(1, two[:16])
    polygon = le(3, struct.pack("<II", 1, 4) + struct.pack("<8d", 0, 0, 1, 0, 1, 1, 0, 0))
    empty = le(1, struct.pack("<2d", float("nan"), float("nan")))
    many = lambda code, parts: le(code, struct.pack("<I", len(parts)) + b"".join(parts))
    bodies = [point, line, polygon, empty, many(4, [point, point]), many(5, [line]), many(6, [polygon]), many(7, [point, line, many(7, [polygon])]), many(4, [line]), le(1001, two[:24]), le(2003, struct.pack("<I", 0)), le(3001, two), le(0x80000001, two[:24]), le(0xC0000001, two),
              le(0x20000001, struct.pack("<I", 2264) + two[:16]), struct.pack(">BI2d", 0, 1, 5, 6), struct.pack(">BII4d", 0, 2, 2, 1, 2, 3, 4), le(8, b"\0" * 9), le(15, b"\0" * 9), le(9001, two), le(2, struct.pack("<I", 2**32 - 1)), le(3, struct.pack("<I", 0))]
    for body in bodies:
        yield body
    for flags, extra in [(1, 0), (3, 32), (5, 48), (7, 48), (9, 64), (11, 0), (0x11, 0)]:
        yield b"GP\0" + bytes([flags]) + struct.pack("<i", 2264) + b"\0" * extra + line


def drawings():
    for version, unit in [("R12", 2), ("R2000", 21), ("R2013", 6), ("R2000", 0), ("R2000", 4)]:
        made = ezdxf.new(version)
        made.header["$INSUNITS"] = unit
        space = made.modelspace()
        for layer, line in LINES.items():
            made.layers.add(layer.replace(" ", "-"))
            space.add_line(line[0], line[1], dxfattribs={"layer": layer.replace(" ", "-")})
        space.add_circle((E, N), 3)
        space.add_arc((E, N), 5, 0, 90)
        space.add_point((E, N, 700))
        space.add_text("pipe").set_placement((E, N))
        space.add_polyline3d([(E, N, 1), (E + 5, N + 5, 2)])
        if version != "R12":
            space.add_lwpolyline([(E, N), (E + 9, N), (E + 9, N + 9)], close=True, dxfattribs={"layer": "lot"})
            space.add_mtext("note", dxfattribs={"insert": (E, N)})
            space.add_spline([(E, N), (E + 3, N + 1), (E + 6, N)])
            made.layout("Layout1").add_line((0, 0), (1, 1))
        block = made.blocks.new("MH")
        block.add_circle((0, 0), 1)
        space.add_blockref("MH", (E + 20, N))
        out = io.StringIO()
        made.write(out)
        yield out.getvalue().encode("cp1252", "replace")
    yield b"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n9\n$INSUNITS\n70\n21\n9\n$HANDSEED\n5\nFF\n0\nENDSEC\n0\nSECTION\n2\nTABLES\n0\nTABLE\n2\nLAYER\n5\n2\n70\n1\n0\nLAYER\n5\n10\n2\nWATER\n70\n0\n62\n7\n6\nCONTINUOUS\n390\nF\n0\nENDTAB\n0\nTABLE\n2\nBLOCK_RECORD\n0\nBLOCK_RECORD\n5\n1F\n2\n*Model_Space\n0\nENDTAB\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n0\nLINE\n5\n2A\n8\nWATER\n10\n1450210\n20\n541680\n11\n1450210\n21\n541720\n0\nTEXT\n8\nT\n10\n1450210\n20\n541680\n40\n1\n1\nhello\n0\nENDSEC\n0\nEOF\n"
    yield b"0\r\nSECTION\r\n2\r\nENTITIES\r\n0\r\nPOINT\r\n8\r\nA\r\n10\r\n1450210\r\n20\r\n541700\r\n0\r\nENDSEC\r\n0\r\nEOF\r\n"
    yield b"0\nSECTION\n2\nENTITIES\n0\nLINE\n8\n"
    yield b"hello\n1\n"
    yield b"AutoCAD Binary DXF\r\n\x1a\0"


def shapefiles():
    with tempfile.TemporaryDirectory() as folder:
        frame = geopandas.GeoDataFrame({"ID": ["w1"], "DEPTH": [4.5]}, geometry=[LineString(LINES["water main"])], crs="EPSG:2264")
        for crs in ["EPSG:2264", None]:
            path = pathlib.Path(folder) / "p.shp"
            write_dataframe(frame.set_crs(crs, allow_override=True) if crs else frame.set_crs(None, allow_override=True), path)
            parts = [(p.name, p.read_bytes()) for p in sorted(path.parent.glob("p.*"))]
            yield parts
            yield [part for part in parts if part[0].endswith(".shp")]
            yield [(name, data[:-7] if name.endswith(".dbf") else data) for name, data in parts]
            yield parts + [("layers.toml", 'layer_column = "ID"\ncrs = "EPSG:2264"\n')]
            for _, p in enumerate(path.parent.glob("p.*")):
                p.unlink()


def inputs():
    maps = [json.dumps(plan).encode() for plan in geojson()]
    for data in maps:
        yield "plan", b"\0" + data
        yield "plan", b"\4" + data
    for data in [b"\xff", b"{}", b'\xef\xbb\xbf{"type":"Point","coordinates":[1,2]}', b'{"type":"Feature"}']:
        yield "plan", b"\0" + data
    packages = list(geopackages())
    for data in packages:
        yield "plan", b"\1" + data
    for data in shapes():
        yield "plan", b"\2" + data
    layers, ties = list(texts.layers()), list(texts.ties())
    for said in layers:
        yield "plan", b"\3" + joined([("layers.toml", said), ("p.geojson", maps[0])])
    for data in maps[1:]:
        yield "plan", b"\3" + joined([("layers.toml", layers[1].replace('"*"\n', '"*"\nrole = "other"\n')), ("p.geojson", data)])
    for which in [b"\3", b"\7"]:
        for tie in ties[:6]:
            yield "plan", which + joined([("tie.csv", tie), ("layers.toml", '[[layer]]\nname = "w*"\nnear = "500 ft"\nelevation = "700 ft"\nsize = 1\n'), ("p.geojson", maps[-1])])
        for crs in ['crs = "job"\n', 'unit = "m"\n', 'crs = "EPSG:4326"\n', 'crs = "EPSG:32119"\n', 'crs = "EPSG:4979"\n']:
            yield "plan", which + joined([("layers.toml", crs + '[[layer]]\nname = "*"\nnear = 10000\nelevation = 700\nsize = "1 ft"\nrequired = { horizontal = 10, vertical = 2 }\n'), ("p.geojson", maps[0])])
    yield "plan", b"\3" + joined([("layers.toml", 'near = 100\n'), ("p.gpkg", packages[0])])
    for data in drawings():
        yield "plan", b"\2" + data[:60000]
        yield "drawing", data[:60000]
        yield "drawing", joined([("layers.toml", 'crs = "job"\nunit = "ft"\nnear = 50\n'), ("p.dxf", data[:60000])])
    for parts in shapefiles():
        yield "drawing", joined(parts)
    yield "drawing", joined([("p.kml", '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>w</name><LineString><coordinates>-80.8411,35.2243 -80.8409,35.2245</coordinates></LineString></Placemark></Document></kml>\n')])

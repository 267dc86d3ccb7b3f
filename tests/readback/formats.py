"""Reads GeoPackage, GeoParquet and DXF of one folder with other people's programs and compares them with record.json.

Usage: formats.py [--only=FORMAT] RESULT…. Works on any record of ours. The names of properties are written here a second time on
purpose. Prints how many cells and coordinates were compared; ends with an error at the first that differs.
"""

import json
import math
import sqlite3
import sys
from pathlib import Path

ALL = "id feature supplier job revision unit crs vertical located_on".split()
NAMES = {
    "run": """run length length_plan fall grade grade_95 min_cover max_depth diameter material system pushed from to joins
        asset main_asset status parcel address permit marks evidence""".split(),
    "mark": """run mark station counter along_pipe easting northing semi_major_95 semi_minor_95 azimuth_95 horizontal_95
        ground transmitter_depth depth_basis cover cover_least invert invert_depth invert_95 depth_95 tilt axis_azimuth
        evidence accuracy_basis redundancy largest_residual fitting note findings source""".split(),
    "camera": """run counter station what clock easting northing semi_major_95 semi_minor_95 azimuth_95 transmitter_depth
        invert invert_depth note""".split(),
    "reference": """point easting northing semi_major_95 semi_minor_95 azimuth_95 elevation description solved""".split(),
    "crossing": """run meeting role layer kind name station easting northing semi_major_95 semi_minor_95 azimuth_95 along_95
        distance clearance clearance_95 transmitter_depth depth_95 cover cover_least invert invert_95 passes
        vertical_clearance vertical_clearance_95 direction required required_by separation source""".split(),
}
KEYS = {"run": "runs", "mark": "marks", "camera": "camera", "reference": "references", "crossing": "crossings"}
STEP = 0.5e-4 + 1e-9  # half of the last decimal written
UNIT = {"m": 1.0, "ft": 0.3048, "us-ft": 1200 / 3937}

compared = 0


def same(found, wanted, where, step=STEP):
    global compared
    compared += 1
    if isinstance(wanted, (int, float)) and not isinstance(wanted, bool):
        assert isinstance(found, (int, float)) and abs(found - wanted) <= step, f"{where}: {found!r} is not {wanted}"
    else:
        assert found == wanted, f"{where}: {found!r:.300} is not {wanted!r:.300}"


def missing(value):
    return value is None or value != value or type(value).__name__ in ("NAType", "NaTType")


class Record:
    def __init__(self, folder):
        self.json = json.loads((folder / "record.json").read_text(encoding="utf-8"))
        frame = self.json["frame"]
        self.local = frame["local"]
        # Elevations are in the result unit, the third coordinate in the unit of the grid.
        self.factor = UNIT[frame["unit"]] / frame["crs_unit_metres"]
        self.features = [feature for feature in KEYS if feature != "crossing" or self.json.get("plans")]
        self.published = [name.strip().lower().replace(" ", "_") for name in self.json.get("published", [])]

    def items(self, feature):
        job, frame = self.json["job"], self.json["frame"]
        for item in self.json[KEYS[feature]]:
            values = dict(item)
            values |= {"feature": feature, "job": job["id"], "crs": frame["crs"], "unit": frame["unit"]}
            values |= {name: job.get(name) for name in ("supplier", "revision", "located_on")}
            values["vertical"] = frame.get("vertical")
            if feature == "reference":
                values["solved"] = "yes" if item["solved"] else "no"
            if feature == "mark":
                for name, text in item.get("attributes", {}).items():
                    plain = name.strip().lower().replace(" ", "_")
                    if plain in self.published:
                        values[plain] = text
            yield values

    def names(self, feature):
        draft = ["draft"] if self.json.get("draft") else []
        return ALL + NAMES[feature] + (self.published if feature == "mark" else []) + draft

    def places(self, feature, item):
        """Coordinates in the unit of the grid; a third one only where every vertex has an elevation."""
        heights = "elevation" if feature == "reference" else "invert"
        vertices = item["vertices"] if feature == "run" else [item]
        if feature == "run" and len(vertices) < 2:
            return []
        if vertices[0].get("easting") is None:
            return []
        flat = any(vertex.get(heights) is None for vertex in vertices)
        return [
            (v["easting"], v["northing"]) + (() if flat else (v[heights] * self.factor,))
            for v in vertices
        ]

    def draft(self):
        count = self.json["draft"]["left_out"]
        return f"DRAFT, {count} row{'' if count == 1 else 's'} left out"


def check_row(record, feature, item, cells, geometry, where):
    for name in record.names(feature):
        wanted = record.draft() if name == "draft" else item.get(name)
        found = cells[name]
        if wanted is None:
            assert missing(found), f"{where} {name}: {found!r} where nothing is known"
        else:
            assert not missing(found), f"{where} {name}: nothing where {wanted!r} is known"
            same(found, wanted, f"{where} {name}")
    places = record.places(feature, item)
    if not places:
        assert geometry is None or geometry.is_empty, f"{where}: a geometry where there is no place"
        return
    assert geometry is not None and len(geometry.coords) == len(places), where
    for found, wanted in zip(geometry.coords, places):
        assert len(found) == len(wanted), f"{where}: {found} for {wanted}"
        for one, other in zip(found, wanted):
            same(one, other, where)


def check_gpkg(folder, record):
    import geopandas
    import pyogrio

    path = folder / "asbuilt.gpkg"
    layers = {name for name, _ in pyogrio.list_layers(path)}
    assert layers == set(record.features), layers
    for feature in record.features:
        frame = geopandas.read_file(path, layer=feature, engine="pyogrio")
        names = list(frame.columns.drop("geometry"))
        assert names == record.names(feature), f"{feature}: {names}"
        items = list(record.items(feature))
        assert len(frame) == len(items), feature
        if not record.local:
            code = record.json["frame"]["crs"]
            assert frame.crs is not None and f"EPSG:{frame.crs.to_epsg()}" == code, frame.crs
        for row, item in zip(frame.to_dict("records"), items):
            row = {k: v.item() if hasattr(v, "item") else v for k, v in row.items()}
            check_row(record, feature, item, row, row["geometry"], f"asbuilt.gpkg {item['id']}")
    with sqlite3.connect(path) as database:
        described = database.execute("SELECT table_name, column_name FROM gpkg_data_columns WHERE description <> ''").fetchall()
        assert sorted(described) == sorted((f, n) for f in record.features for n in record.names(f))
        for feature in record.features:
            rows = database.execute(f'SELECT count(*) FROM "rtree_{feature}_geom"').fetchone()[0]
            placed = sum(bool(record.places(feature, item)) for item in record.items(feature))
            assert rows == placed, f"spatial index of {feature}: {rows} for {placed}"
            text = database.execute("SELECT description FROM gpkg_contents WHERE table_name = ?", [feature]).fetchone()[0]
            assert all(caution in text for caution in record.json["cautions"]), text
            assert not record.json.get("draft") or text.startswith(record.draft()), text


def check_parquet(folder, record):
    import pyarrow.parquet
    import shapely

    path = folder / "asbuilt.parquet"
    file = pyarrow.parquet.ParquetFile(path)
    geo = json.loads(file.schema_arrow.metadata[b"geo"])
    assert geo["version"] == "1.1.0" and geo["primary_column"] == "geometry"
    table = file.read().to_pylist()
    items = [(feature, item) for feature in ("run", "mark") for item in record.items(feature)]
    assert len(table) == len(items)
    both = set(record.names("run")) | set(record.names("mark")) | {"geometry", "bbox"}
    assert set(file.schema_arrow.names) == both, set(file.schema_arrow.names) ^ both
    for row, (feature, item) in zip(table, items):
        where = f"asbuilt.parquet {item['id']}"
        geometry = shapely.from_wkb(row["geometry"]) if row["geometry"] else None
        check_row(record, feature, item, row, geometry, where)
        for other in both - set(record.names(feature)) - {"geometry", "bbox"}:
            assert row[other] is None, f"{where} {other}"
        if geometry is None:
            assert row["bbox"] is None
        else:
            box = [row["bbox"][name] for name in ("xmin", "ymin", "xmax", "ymax")]
            assert box == list(geometry.bounds), f"{where}: {box}"
    if record.local:
        assert geo["columns"]["geometry"]["crs"] is None
    else:
        import geopandas

        frame = geopandas.read_parquet(path)
        assert f"EPSG:{frame.crs.to_epsg()}" == record.json["frame"]["crs"]
        assert frame.crs.axis_info[0].direction in ("east", "north")
        if len(frame):
            box = frame[frame["feature"] == "mark"].total_bounds
            near = geopandas.read_parquet(path, bbox=tuple(box))
            assert len(near) >= (frame["feature"] == "mark").sum()


def attributes(entity):
    """The attributes of an entity, by the documented rule."""
    from ezdxf.tools.text import caret_decode

    values, stack = {}, []
    for tag in entity.get_xdata("ASLAID"):
        if tag.code == 1002 and tag.value == "{":
            stack = []
        elif tag.code == 1002:
            name = stack[0][1]
            rest = stack[1:]
            if rest[0][0] == 1000:
                values[name] = caret_decode("".join(value for _, value in rest))
            else:
                assert len(rest) == 1
                values[name] = rest[0][1]
        elif tag.code != 1001:
            stack.append((tag.code, tag.value))
    return values


def check_dxf(folder, record):
    import ezdxf
    from ezdxf.tools.text import caret_decode, plain_text

    path = folder / "asbuilt.dxf"
    document = ezdxf.readfile(path)
    auditor = document.audit()
    assert not auditor.errors and not auditor.fixes, [e.message for e in [*auditor.errors, *auditor.fixes]]
    metres = record.json["frame"]["crs_unit_metres"]
    units = {1.0: 6, 0.3048: 2, 1200 / 3937: 21}
    assert document.header["$INSUNITS"] == units[metres], document.header["$INSUNITS"]
    space = document.modelspace()
    wanted = {item["id"]: (f, item) for f in record.features for item in record.items(f) if record.places(f, item)}
    for entity in space.query("POINT POLYLINE LWPOLYLINE"):
        values = attributes(entity)
        feature, item = wanted.pop(values["id"])
        where = f"asbuilt.dxf {item['id']}"
        names = record.names(feature)
        assert list(values) == [n for n in names if n == "draft" or item.get(n) is not None], where
        for name, value in values.items():
            same(value, record.draft() if name == "draft" else item[name], f"{where} {name}")
        places = record.places(feature, item)
        if entity.dxftype() == "POINT":
            found = [tuple(entity.dxf.location)]
        elif entity.dxftype() == "POLYLINE":
            assert entity.is_3d_polyline
            found = [tuple(vertex.dxf.location) for vertex in entity.vertices]
        else:
            found = [(x, y, 0.0) for x, y in entity.get_points("xy")]
        assert len(found) == len(places), where
        flat = len(places[0]) == 2
        assert entity.dxf.layer.endswith("NOEL") == flat, f"{where} on {entity.dxf.layer}"
        for one, other in zip(found, places):
            for a, b in zip(one, other if not flat else other + (0.0,)):
                same(a, b, where)
    assert not wanted, f"asbuilt.dxf lacks {list(wanted)}"
    used = {entity.dxf.layer for entity in space}
    assert used <= {layer.dxf.name for layer in document.layers}
    labels = [plain_text(caret_decode(entity.dxf.text)) for entity in space.query("TEXT")]
    for item in record.items("mark"):
        assert plain_text(caret_decode(item["mark"])) in labels or item["mark"] in labels, item["mark"]
    if record.json.get("draft"):
        assert record.draft() in labels
    height = {entity.dxf.height for entity in space.query("TEXT")}
    assert len(height) <= 1 and all(0 < h < math.inf for h in height)


def check_geojson(folder, record):
    """The map's longitudes and latitudes come back to the grid's coordinates: X, Y and Z to 1 mm."""
    import pyproj

    frame = record.json["frame"]
    if record.local:
        assert not (folder / "asbuilt.geojson").exists()
        return
    metres = frame["crs_unit_metres"]
    to_grid = pyproj.Transformer.from_crs("OGC:CRS84", frame["crs"], always_xy=True)
    separation = frame.get("geoid_separation")
    wanted = {item["id"]: record.places(f, item) for f in record.features for item in record.items(f)}
    for feature in json.loads((folder / "asbuilt.geojson").read_text(encoding="utf-8"))["features"]:
        places, geometry = wanted[feature["id"]], feature["geometry"]
        if geometry is None:
            continue  # A place that isn't known in longitude and latitude; the record's own are compared elsewhere.
        coordinates = geometry["coordinates"] if geometry["type"] == "LineString" else [geometry["coordinates"]]
        for found, place in zip(coordinates, places, strict=True):
            east, north = to_grid.transform(found[0], found[1])
            same(east * metres, place[0] * metres, f"geojson {feature['id']} X", 1e-3)
            same(north * metres, place[1] * metres, f"geojson {feature['id']} Y", 1e-3)
            if len(found) == 3 and separation is not None and len(place) == 3:
                height = found[2] - separation * UNIT[frame["unit"]]
                same(height, place[2] * metres, f"geojson {feature['id']} Z", 1e-3)


CHECKS = {"gpkg": check_gpkg, "parquet": check_parquet, "dxf": check_dxf, "geojson": check_geojson}

if __name__ == "__main__":
    only = [argument.removeprefix("--only=") for argument in sys.argv[1:] if argument.startswith("--only=")]
    for result in [Path(argument) for argument in sys.argv[1:] if not argument.startswith("--only=")]:
        for name in only or CHECKS:
            before = compared
            CHECKS[name](result, Record(result))
            print(f"{result.name} {name}: {compared - before} values equal")

"""Reads every deliverable of one folder with other people's programs and compares it with record.json.

Usage: readback.py RESULT. The names below are the agreed ones, written here a second time on purpose.
Prints how many cells were compared; ends with an error at the first that differs.
"""

import csv
import json
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import geopandas

ALL = "id feature supplier job revision unit crs vertical located_on".split()
NAMES = {
    "mark": """run mark station counter along_pipe easting northing semi_major_95 semi_minor_95 azimuth_95 horizontal_95
        ground transmitter_depth depth_basis cover cover_least invert invert_depth invert_95 depth_95 tilt axis_azimuth
        evidence accuracy_basis redundancy largest_residual fitting note findings source""".split(),
    "run": """run length length_plan fall grade grade_95 min_cover max_depth diameter material system pushed from to joins
        asset main_asset status parcel address permit marks evidence""".split(),
    "camera": """run counter station what clock easting northing semi_major_95 semi_minor_95 azimuth_95 transmitter_depth
        invert invert_depth note""".split(),
    "reference": """point easting northing semi_major_95 semi_minor_95 azimuth_95 elevation description solved""".split(),
}
PROFILE = """run kind mark station easting northing semi_major_95 semi_minor_95 azimuth_95 ground transmitter_depth cover
    invert invert_95 grade grade_95""".split()
FINDINGS = "code level job run mark source value limit message".split()
STEP = 0.5e-4 + 1e-9  # half of the last decimal written
DEGREE = 0.5e-9 + 1e-13

folder = Path(sys.argv[1])
record = json.loads((folder / "record.json").read_text(encoding="utf-8"))
compared = 0


def expected(feature, item):
    """What the record says, under the names of the properties."""
    job, frame = record["job"], record["frame"]
    values = dict(item)
    values |= {"feature": feature, "job": job["id"], "crs": frame["crs"], "unit": frame["unit"]}
    for name in ("supplier", "revision", "located_on"):
        values[name] = job.get(name)
    values["vertical"] = frame.get("vertical")
    if feature == "reference":
        values["solved"] = "yes" if item["solved"] else "no"
    if feature == "mark":
        values["inspector"] = item.get("attributes", {}).get("Inspector")
    return values


def same(found, wanted, where, step=STEP):
    global compared
    compared += 1
    if isinstance(wanted, (int, float)) and not isinstance(wanted, bool):
        assert abs(float(found) - wanted) <= step, f"{where}: {found} is not {wanted}"
    else:
        assert found == wanted, f"{where}: {found!r} is not {wanted!r}"


def unguard(cell):
    """The documented rule, the other way round."""
    return cell[1:] if cell.startswith("'") else cell


def check_csv(file, names, items, more=()):
    with open(folder / file, newline="", encoding="utf-8-sig") as handle:
        rows = list(csv.reader(handle))
    assert rows[0][: len(names)] == names, f"{file}: {rows[0]}"
    assert rows[0][len(names):] == list(more), f"{file}: {rows[0][len(names):]}"
    assert len(rows) == len(items) + 1, f"{file}: {len(rows) - 1} rows for {len(items)}"
    for row, item in zip(rows[1:], items):
        for name, cell in zip(rows[0], row):
            wanted = item.get(name)
            where = f"{file} {item.get('id')} {name}"
            if wanted is None:
                assert cell == "", f"{where}: {cell!r} where nothing is known"
            elif isinstance(wanted, str):
                assert not cell[:1] in tuple("=+-@\t\r\n"), f"{where} would be executed: {cell!r}"
                same(unguard(cell), wanted, where)
            else:
                same(cell, wanted, where, 0.5e-6 + 1e-12 if file == "findings.csv" else STEP)


FEATURES = {"run": "runs", "mark": "marks", "camera": "camera", "reference": "references"}
items = {f: [expected(f, item) for item in record[key]] for f, key in FEATURES.items()}

check_csv("points.csv", ALL + NAMES["mark"], items["mark"], ["inspector"])
check_csv("camera.csv", ALL + NAMES["camera"], items["camera"])
vertices = []
for run in record["runs"]:
    for vertex in run["vertices"]:
        frame = record["frame"]
        vertices.append(vertex | {"run": run["run"], "unit": frame["unit"], "crs": frame["crs"], "vertical": frame["vertical"]})
check_csv("profile.csv", PROFILE, vertices, ["unit", "crs", "vertical"])
check_csv("findings.csv", FINDINGS, record["findings"])
assert json.loads((folder / "findings.json").read_text(encoding="utf-8")) == record["findings"]


def check_geojson():
    features = json.loads((folder / "asbuilt.geojson").read_text(encoding="utf-8"))["features"]
    wanted = {item["id"]: item for group in items.values() for item in group}
    assert len(features) == len(wanted)
    for feature in features:
        item, properties = wanted[feature["id"]], feature["properties"]
        names = ALL + NAMES[item["feature"]] + (["inspector"] if item["feature"] == "mark" else [])
        assert set(properties) == {n for n in names if item.get(n) is not None}, feature["id"]
        assert [n for n in names if n in properties] == list(properties), "order"
        for name, value in properties.items():
            same(value, item[name], f"asbuilt.geojson {item['id']} {name}")


def places(item):
    """Longitude, latitude and height of an item, as the record has them."""
    return [v.get("geographic") for v in item.get("vertices", [item])]


def check_geometry():
    frame = geopandas.read_file(folder / "asbuilt.geojson", engine="pyogrio")
    assert frame.crs.to_epsg() in (4326, 4979)
    wanted = {item["id"]: item for group in items.values() for item in group}
    for identity, geometry in zip(frame["id"], frame.geometry):
        known = places(wanted[identity])
        if any(place is None for place in known):
            assert geometry is None or geometry.is_empty, identity
            continue
        for found, place in zip(geometry.coords, known, strict=True):
            same(found[0], place["longitude"], identity, DEGREE)
            same(found[1], place["latitude"], identity, DEGREE)
            if len(found) == 3:
                same(found[2], place["ellipsoidal_height"], identity)


def check_kml():
    space = "{http://www.opengis.net/kml/2.2}"
    root = ElementTree.parse(folder / "asbuilt.kml").getroot()
    wanted = {item["id"]: item for group in items.values() for item in group}
    for placemark in root.iter(f"{space}Placemark"):
        data = {d.get("name"): d.find(f"{space}value").text for d in placemark.iter(f"{space}Data")}
        item = wanted.pop(data["id"])
        for name, text in data.items():
            same(text, item[name], f"asbuilt.kml {item['id']} {name}")
        coordinates = placemark.find(f".//{space}coordinates")
        known = places(item)
        assert (coordinates is None) == any(place is None for place in known)
        if coordinates is not None:
            for found, place in zip(coordinates.text.split(), known, strict=True):
                longitude, latitude = map(float, found.split(","))
                same(longitude, place["longitude"], item["id"], DEGREE)
                same(latitude, place["latitude"], item["id"], DEGREE)
    assert not wanted, f"asbuilt.kml lacks {list(wanted)}"


check_geojson()
check_geometry()
check_kml()
print(f"{compared} cells equal")

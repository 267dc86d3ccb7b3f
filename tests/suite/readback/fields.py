"""Reads every table-shaped format written with the field file of the invented city, and compares it with record.json.

Usage: fields.py RESULT. Names, units and codes of the field file are written here a second time on purpose.
"""

import csv
import json
import sqlite3
import sys
from pathlib import Path

import ezdxf
import geopandas
import pyarrow.parquet
from formats import Record, attributes, missing

FOOT = 1200 / 3937
folder = Path(sys.argv[1])
record = Record(folder)
unit = {"m": 1.0, "ft": 0.3048, "us-ft": FOOT}[record.json["frame"]["unit"]]
compared = 0


def feet(value, decimals):
    return None if value is None else round(value * unit / FOOT, decimals)


def run(item):
    return {
        "FACILITYID": item["id"], "CONTRACTOR": item["supplier"], "WORKORDER": item["job"], "REV": item.get("revision"),
        "KIND": "run",
        "MATERIAL": None if item.get("material") is None else {"PVC": 3, "VCP": 7, "cast iron": 1}.get(item["material"], 99),
        "DIAM_FT": feet(item.get("diameter"), 3), "LENGTH_FT": feet(item.get("length"), 2),
        "SLOPE_PCT": None if item.get("grade") is None else round(item["grade"], 2),
        "WATERTYPE": {"sanitary": "SS", "storm": "SD", "combined": "CB"}.get(item.get("system")),
        "OWNER": "Private", "VERTUNIT": "us-ft",
    }


def mark(item):
    return {
        "FACILITYID": item["id"], "CONTRACTOR": item["supplier"], "WORKORDER": item["job"], "REV": item.get("revision"),
        "KIND": "mark", "POINTNO": item["mark"], "INV_ELEV": feet(item.get("invert"), 2),
        "INV_95": feet(item.get("invert_95"), 2), "HORIZ_95": feet(item.get("horizontal_95"), 2),
        "METHOD": {"exposed": 1, "located": 2, "inferred": 3, "records": 4}[item["evidence"]],
        "CHECKS": None if item.get("redundancy") is None else round(item["redundancy"]), "REMARKS": item.get("note"),
    }


WANTED = {"run": [run(i) for i in record.items("run")], "mark": [mark(i) for i in record.items("mark")]}


def check(found, wanted, where, names=None):
    global compared
    names = list(wanted) if names is None else names
    assert names == list(wanted), f"{where}: {names}"
    for name, value in wanted.items():
        compared += 1
        if value is None:
            assert missing(found.get(name)) or found.get(name) == "", f"{where} {name}: {found.get(name)!r}"
        elif isinstance(value, float):
            assert abs(float(found[name]) - value) < 1.1e-9 * max(1, abs(value)), f"{where} {name}: {found[name]} {value}"
        else:
            assert found[name] == value or str(found[name]) == str(value), f"{where} {name}: {found[name]!r} {value!r}"


for feature, rows in WANTED.items():
    layer = geopandas.read_file(folder / "asbuilt.gpkg", layer=feature, engine="pyogrio")
    for found, wanted in zip(layer.to_dict("records"), rows, strict=True):
        check(found, wanted, f"gpkg {feature}", list(layer.columns.drop("geometry")))
with sqlite3.connect(folder / "asbuilt.gpkg") as database:
    types = {row[1]: row[2] for row in database.execute("PRAGMA table_info(mark)")}
    assert types["CHECKS"] == "INTEGER" and types["INV_ELEV"] == "DOUBLE" and types["POINTNO"] == "TEXT", types

table = pyarrow.parquet.read_table(folder / "asbuilt.parquet").to_pylist()
for found, wanted in zip(table, WANTED["run"] + WANTED["mark"], strict=True):
    check(found, wanted, "parquet")
    assert set(found) == set(WANTED["run"][0]) | set(WANTED["mark"][0]) | {"geometry", "bbox"}

with open(folder / "points.csv", newline="", encoding="utf-8-sig") as handle:
    reader = csv.DictReader(handle)
    for found, wanted in zip(reader, WANTED["mark"], strict=True):
        cells = {k: v[1:] if v[:1] == "'" else v for k, v in found.items()}
        check(cells, wanted, "points.csv", reader.fieldnames)

features = json.loads((folder / "asbuilt.geojson").read_text(encoding="utf-8"))["features"]
wanted = {row["FACILITYID"]: row for rows in WANTED.values() for row in rows}
for found in features:
    if found["id"] in wanted:
        check(found["properties"], wanted[found["id"]], "geojson")
assert sum(found["id"] in wanted for found in features) == len(wanted)

space = ezdxf.readfile(folder / "asbuilt.dxf").modelspace()
seen = 0
for entity in space.query("POINT POLYLINE LWPOLYLINE"):
    values = attributes(entity)
    if values.get("FACILITYID") in wanted:
        check(values, wanted[values["FACILITYID"]], "dxf")
        seen += 1
assert seen == len(wanted), seen
print(f"{compared} cells equal")

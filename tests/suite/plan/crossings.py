"""Crossings by shapely: reads a folder of plan-<n>.geojson with run-<n>.json, prints one JSON list a plan.

Each entry: feature number (from 1), meeting, station, distance, all in metres of the run's grid.
"""

import json
import sys
from pathlib import Path

from pyproj import Transformer
from shapely.geometry import LineString, Point, shape
from shapely.ops import nearest_points, transform


def points_of(geometry):
    if geometry.is_empty:
        return []
    if geometry.geom_type == "Point":
        return [geometry]
    if hasattr(geometry, "geoms"):
        return [point for part in geometry.geoms for point in points_of(part)]
    raise SystemExit(f"runs along: {geometry}")


def edge(geometry):
    """What a run can cross: the lines and points themselves, the edges of areas."""
    if geometry.geom_type in ("Polygon", "MultiPolygon"):
        return geometry.boundary
    return geometry


def compare(folder, number):
    run = json.loads((folder / f"run-{number}.json").read_text())
    plan = json.loads((folder / f"plan-{number}.geojson").read_text())
    corners, metres, near = run["corners"], run["grid_metres"], run["near"]
    code = int(plan["crs"]["properties"]["name"].rsplit(":", 1)[1])
    if code == run["crs"]:
        mapped = lambda x, y: (x, y)
    else:
        mapped = Transformer.from_crs(code, run["crs"], always_xy=True).transform
    to_metres = lambda x, y: tuple(value * metres for value in mapped(x, y))
    line = LineString(corners)
    legs = [LineString(pair) for pair in zip(corners, corners[1:])]
    found = []
    for index, feature in enumerate(plan["features"], 1):
        geometry = transform(lambda x, y: to_metres(x, y), shape(feature["geometry"]))
        stations, before = [], 0.0
        for leg in legs:
            stations += [before + leg.project(point) for point in points_of(leg.intersection(edge(geometry)))]
            before += leg.length
        stations.sort()
        apart = [s for i, s in enumerate(stations) if i == 0 or s - stations[i - 1] > 1e-6]
        if apart and geometry.geom_type not in ("Point", "MultiPoint"):
            found += [(index, "crosses", station, 0.0) for station in apart]
        elif geometry.geom_type in ("Polygon", "MultiPolygon") and geometry.contains(Point(corners[0])):
            found.append((index, "within", 0.0, 0.0))
        elif line.distance(geometry) <= near:
            at, _ = nearest_points(line, geometry)
            found.append((index, "near", line.project(at), line.distance(geometry)))
    return found


folder = Path(sys.argv[1])
count = len(list(folder.glob("run-*.json")))
print(json.dumps([compare(folder, number) for number in range(count)]))

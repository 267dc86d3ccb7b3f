"""Largest difference of tap stations, distances and heights from shapely's: taps.json, mains.geojson (drawn upstream)."""

import json
import sys

from shapely.geometry import LineString, Point, shape

METRES = 1200 / 3937
taps = json.load(open(sys.argv[1]))
mains = {}
for feature in json.load(open(sys.argv[2]))["features"]:
    line = LineString([(x * METRES, y * METRES) for x, y in shape(feature["geometry"]).coords])
    mains[feature["properties"]["MAIN_ID"]] = (line, feature["properties"])
worst = 0.0
for tap in taps:
    point = Point(tap["end"])
    nearest = min(mains, key=lambda name: mains[name][0].distance(point))
    assert nearest == tap["main"], (nearest, tap)
    line, about = mains[nearest]
    # Drawn from the downstream manhole up: the projection is the station.
    station = line.project(point)
    invert = float(about["DS_INV"]) + (float(about["US_INV"]) - float(about["DS_INV"])) * station / line.length
    worst = max(worst, abs(station - tap["station"]), abs(line.distance(point) - tap["distance"]))
    worst = max(worst, abs(tap["end_invert"] - invert - tap["above"]) if "end_invert" in tap else 0.0)
print(worst)

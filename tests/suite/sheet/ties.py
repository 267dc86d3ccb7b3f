"""Sets every mark out again from the text of a sheet alone, and compares with where it is.

ties.py SHEET.txt EXPECTED.json: the text as `pdftotext -layout` gives it; the expected places are looked at only at the end.
"""
import json
import math
import re
import sys

import numpy
from scipy.optimize import least_squares

text = open(sys.argv[1], encoding="utf-8").read()
pages = text.split("\f")[:-1]
expected = json.load(open(sys.argv[2], encoding="utf-8"))

METRES = {"m": 1.0, "ft": 0.3048, "us-ft": 1200 / 3937, "metres": 1.0, "feet": 0.3048, "US survey feet": 1200 / 3937}
unit = METRES[re.search(r"Lengths: [^()]*\((m|ft|us-ft)\)", text).group(1)]
crs_unit = METRES[re.search(r"Coordinates: [^,;]*[,;] (?:in )?(metres|feet|US survey feet)\.", text).group(1)]
factor = re.search(r"Grid / ground distance: ([\d.]+)", text)
factor = float(factor.group(1)) if factor else 1.0


def length(words):
    """A distance as printed, in the sheet's unit, and half its last step."""
    feet = re.fullmatch(r"""(?:(\d+)'-)?(\d+)?(?: ?(\d+)/(\d+))?\"""", words)
    if feet:
        f, i, a, b = (int(g) if g else 0 for g in feet.groups())
        return f + (i + (a / b if b else 0)) / 12, 1 / 96
    number = re.fullmatch(r"([\d.]+) (?:m|ft|us-ft)", words)
    return float(number.group(1)), 0.005


DISTANCE = r"""(?:(?:\d+'-)?\d*(?: ?\d+/\d+)?\"|[\d.]+ (?:us-ft|ft|m)\b)"""
TIE = re.compile(rf"^\s*(\S+)\s+(\S+)((?:\s+\S+\s+{DISTANCE})+)\s+(left|right)\s+([\d.]+)\s*$")
REFERENCE = re.compile(r"^\s*(\S+)\s+(.*?)\s+(-?\d+\.\d\d)\s+(-?\d+\.\d\d)\s.*(?:given coordinates|this job's measurements)")

ties, references, section = {}, {}, ""
for line in text.replace("\f", "\n").split("\n"):
    head = re.match(r"^\s*(Ties|Reference points|Marks|Camera observations|Runs|Findings)(?:, |\s*$)", line)
    if head:
        section = head.group(1)
    if section == "Ties" and (row := TIE.match(line)):
        pairs = re.findall(rf"(\S+)\s+({DISTANCE})", row.group(3))
        ties[row.group(1)] = [(r, *length(d)) for r, d in pairs], row.group(4), float(row.group(5))
    if section == "Reference points" and (row := REFERENCE.match(line)):
        references[row.group(1)] = (float(row.group(3)), float(row.group(4)))


def set_out(distances, side):
    """The place on the stated side whose distances fit best."""
    k = unit * factor / crs_unit
    known = [(numpy.array(references[r]), d * k) for r, d, _ in distances]
    (p, dp), (q, dq) = known[:2]
    base = q - p
    across = numpy.array([-base[1], base[0]]) / numpy.linalg.norm(base)
    along = (dp**2 - dq**2 + base @ base) / (2 * base @ base)
    off = math.sqrt(max(dp**2 - along**2 * (base @ base), 1e-9))
    start = p + along * base + (off if side == "left" else -off) * across
    return least_squares(lambda x: [numpy.linalg.norm(x - r) - d for r, d in known], start).x


worst = 0.0
for mark in expected["marks"]:
    distances, side, bound = ties[mark["name"]]
    place = set_out(distances, side)
    miss = math.dist(place, (mark["e"], mark["n"])) * crs_unit / unit
    # The printed bound is of the place that these tapes give; a thousandth for the coordinates' own rounding.
    allowed = bound + 0.01 * crs_unit / unit
    if miss > allowed:
        sys.exit(f"{mark['name']}: set out {miss:.3f} off, its ties allow {allowed:.3f}")
    worst = max(worst, miss)

shallowest = [re.search(r"Shallowest: the top of the pipe could be met ([\d.]+) ", page) for page in pages]
datums = [re.search(r"Height datum: (\S+)\.", page) for page in pages]
for page, found, datum in zip(pages, shallowest, datums):
    # Rounded down to a hundredth, never up.
    if not found or not 0 <= expected["shallowest"] - float(found.group(1)) < 0.01 + 1e-6:
        sys.exit(f"shallowest: {found and found.group(1)} for {expected['shallowest']}")
    if not datum or datum.group(1) != expected["datum"]:
        sys.exit(f"height datum: {datum and datum.group(1)}")
    words = page.split()
    for caution in expected["cautions"]:
        missing = [word for word in caution.split() if word not in words]
        if missing:
            sys.exit(f"a caution's words are missing: {missing}")
print(f"{len(expected['marks'])} marks of {len(ties)} ties set out again, the worst {worst:.3f} off; {len(pages)} pages")

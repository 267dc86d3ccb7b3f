"""A workbook as a stranger would make it, written by openpyxl: numbers, dates, times, percentages and booleans as a
spreadsheet stores them, a title over merged cells, a sheet that is none of the job's, totals, a private column.
Prints the number of filled cells. Invented site.

usage: stranger_workbook.py FILE
"""

import datetime
import sys

import openpyxl

book = openpyxl.Workbook()
job = book.active
job.title = "Job"
for row in [
    ("Question", "Answer", "Example"),
    ("What is the job's number or short name?", "LAT-7", None),
    ("Which coordinate system? (grid.crs)", "EPSG:2264", "EPSG:2264"),
    ("grid.unit", "ft", None),
    ("located_on", datetime.date(2026, 5, 14), None),
    ("run_default.diameter", "4 in", None),
    ("equipment.signal_is_linear", True, None),
    ("accuracy.tape_fraction", 0.0005, None),
    ("revision", 2, None),
    ("depth_fraction", 0.04, None),
    ("Which colour was the gate?", "green", None),
]:
    job.append(row)
job["B10"].number_format = "0.00%"

runs = book.create_sheet("Runs")
runs.append(["ID", "Diameter (in)", "Min Grade", "Material"])
runs.append(["A", 4, 0.02, "PVC"])
runs["C2"].number_format = "0%"

control = book.create_sheet("CONTROL")
control.append(["Point", "Easting", "Northing", "Elevation"])
control.append([1, 1448210.55, 562310.2, 705.32])
control.append([2, 1448240.55, 562310.2, None])

marks = book.create_sheet("marks ")
marks.append(["Sewer lateral, Alder Row", None, None, None, None, None])
marks.merge_cells("A1:F1")
marks.append([])
marks.append(["Run", "Mark", "Counter", "Depth 1", "Depth 2", "From Time", "To Time", "Tie 1 Ref", "Tie 1", "Tie 2 Ref", "Tie 2", "Side", "Gate Code"])
start, end = datetime.datetime(2026, 5, 14, 13, 2, 5), datetime.time(13, 3, 0)
marks.append(["A", "A1", 9.5, 4.1, "4' 2 1/2\"", start, end, 1, 25.25, 2, 12, "left", 4711])
marks.append(["A", "A2", 14.25, datetime.date(2026, 12, 6), 4.2, None, None, 1, 28, 2, 10.5, "left", 4711])
marks.append(["Total", None, 23.75, None, None, None, None, None, None, None, None, None, None])

visits = book.create_sheet("Visits")
visits.append(["2026-05-14", "rain"])

book.save(sys.argv[1])
print(sum(1 for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row if cell is not None))

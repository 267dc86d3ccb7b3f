"""Fills in the workbook that `aslaid new --workbook` wrote with a job that is a folder, as a person would by hand.

    fill_in_workbook.py FOLDER BOOK   overwrites BOOK

Answers go beside their key on the sheet `job`, tables below their headings; figures as numbers, the rest as text.
"""

import csv
import pathlib
import sys
import tomllib

import openpyxl

folder, path = pathlib.Path(sys.argv[1]), sys.argv[2]
settings = tomllib.loads((folder / "job.toml").read_text("utf-8"))
book = openpyxl.load_workbook(path)

for row in book["job"].iter_rows(min_row=2):
    section, key = row[3].value.split(".")
    values = settings.get(section, {})
    row[1].value = values[key] if section != "run" and key in values else None


def value(text):
    try:
        return float(text)
    except ValueError:
        return text or None


def fill(sheet, rows):
    sheet.delete_rows(1, sheet.max_row)
    for row in rows:
        sheet.append(row)


for name in ["runs", "pushes", "control", "marks", "measures", "camera", "levels"]:
    file = folder / f"{name}.csv"
    rows = []
    if file.exists():
        with file.open(newline="", encoding="utf-8-sig") as lines:
            table = list(csv.reader(lines))
        rows = [table[0]] + [[value(cell) for cell in row] for row in table[1:]]
    elif name == "runs":
        keys = list(dict.fromkeys(key for run in settings["run"] for key in run))
        rows = [keys] + [[run.get(key) for key in keys] for run in settings["run"]]
    fill(book[name], rows)

book.save(path)

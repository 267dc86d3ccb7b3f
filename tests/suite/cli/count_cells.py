"""Counts the filled cells of jobs without the project's own reader: csv and openpyxl, blank means nothing but white space.

    count_cells.py JOB…   prints one line a job: the count, a tab, the path

The separator is the one that stands in the file most often; encodings as the README lists them.
"""

import csv
import io
import pathlib
import sys

import openpyxl

TABLES = ["runs", "pushes", "control", "marks", "measures", "camera", "levels"]
OWN_SHEETS = ["findings", "how to fill in"]


def text_of(data):
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16")
    if b"\0" in data:
        return ""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252")


def filled(rows):
    return sum(1 for row in rows for cell in row if str(cell if cell is not None else "").strip())


def of_file(path):
    text = text_of(path.read_bytes())
    if text.startswith("sep="):
        separator, text = text[4], text.split("\n", 1)[1]
        return filled(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    counts = []
    for separator in ",;\t|":
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
        counts.append((sum(max(len(row) - 1, 0) for row in rows), filled(rows)))
    return max(counts, key=lambda count: count[0])[1]


def of_job(job):
    job = pathlib.Path(job)
    if job.suffix == ".xlsx":
        book = openpyxl.load_workbook(job)
        return sum(filled(s.iter_rows(values_only=True)) for s in book if s.title not in OWN_SHEETS)
    return sum(of_file(p) for p in job.iterdir() if p.suffix == ".csv" and p.stem in TABLES)


for name in sys.argv[1:]:
    print(of_job(name), name, sep="\t")

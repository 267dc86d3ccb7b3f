"""Mends a workbook of corrections as a person would: the cell that bears an error's comment gets another value.

    mend_workbook.py CORRECTIONS MENDED VALUE
"""

import sys

import openpyxl

book = openpyxl.load_workbook(sys.argv[1])
marked = [
    cell
    for name in ("job", "control", "marks")
    for row in book[name].iter_rows()
    for cell in row
    if cell.comment and cell.comment.text.startswith("unreadable")
]
assert len(marked) == 1, marked
marked[0].value = sys.argv[3]
book.save(sys.argv[2])

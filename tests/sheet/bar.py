"""Measures the scale bar in the raster and compares with what is printed under it: bar.py PAGE.pgm WORDS.html"""
import sys

import numpy
from page import image, words

pixels = image(sys.argv[1])
(width, height), found = words(sys.argv[2])
scale = pixels.shape[1] / width  # pixels in a point
at = next(i for i, w in enumerate(found) if w[0] == "bar" and found[i + 2][0] == "mm" and found[i + 3][0] == "long")
stated = float(found[at + 1][0])
left, top = found[at][1], found[at][2]
# The bar stands just above its words: the longest dark stretch in the 3 mm above them.
rows = pixels[int((top - 3 * 72 / 25.4) * scale) : int((top + 1) * scale), int((left - 3) * scale) :] < 128


def stretch(row):
    edges = numpy.flatnonzero(numpy.diff(numpy.concatenate(([0], row.astype(int), [0]))))
    runs = [(b - a, a) for a, b in zip(edges[::2], edges[1::2])]
    # The first stretch at the left end, not the plan's border further up.
    return max((r for r in runs if abs(r[1] - 3 * scale) < 4), default=(0, 0))[0]


measured = max(stretch(row) for row in rows) / scale * 25.4 / 72
if abs(measured - stated) > 0.2:
    sys.exit(f"the bar is {measured:.2f} mm long, {stated} mm are printed")
print(f"{measured:.2f} mm measured, {stated} mm printed")

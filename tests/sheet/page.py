"""A rendered page (PGM) and its words (pdftotext -bbox), for the checks of ink."""
import re

import numpy


def image(path):
    with open(path, "rb") as file:
        magic, size, depth, data = file.read().split(b"\n", 3)
    width, height = map(int, size.split())
    return numpy.frombuffer(data, dtype=numpy.uint8)[: width * height].reshape(height, width)


def words(path):
    """Page size and (text, x0, y0, x1, y1), all in points."""
    text = open(path, encoding="utf-8").read()
    page = re.search(r'<page width="([\d.]+)" height="([\d.]+)">', text)
    found = re.findall(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)</word>', text)
    return tuple(map(float, page.groups())), [(w, *map(float, box)) for *box, w in found]

"""Looks for ink that touches letters on rendered pages: ink.py PAGE.pgm WORDS.html [PAGE.pgm WORDS.html …]

Around each word, left, right and above the height of its capitals, there must be white. A label that another label or a
line runs into has ink there. The same search with the places of the words moved must find ink: it is not blind.
"""
import sys

from page import image, words

# Noto Sans, of the em: ascent and descent (pdftotext's box), height of capitals.
ASCENT, DESCENT, CAPITAL = 1.069, 0.293, 0.714
MM = 72 / 25.4


def dark(pixels, scale, x0, y0, x1, y1):
    box = pixels[round(y0 * scale) : max(round(y1 * scale), round(y0 * scale) + 1), round(x0 * scale) : max(round(x1 * scale), round(x0 * scale) + 1)]
    return float((box < 110).mean()) if box.size else 0.0


def touched(pixels, scale, word, shift=(0.0, 0.0)):
    _, x0, y0, x1, y1 = word
    x0, x1, y0, y1 = x0 + shift[0], x1 + shift[0], y0 + shift[1], y1 + shift[1]
    em = (y1 - y0) / (ASCENT + DESCENT)
    base = y0 + ASCENT * em
    top = base - CAPITAL * em
    near, far = 0.1 * MM, 0.26 * MM
    # Ascenders (d, l) rise 0.05 em above capitals.
    strips = [(x0 - far, top, x0 - near, base), (x1 + near, top, x1 + far, base), (x0, top - 0.36 * MM, x1, top - 0.2 * MM)]
    return max(dark(pixels, scale, *strip) for strip in strips)


looked = hits = blind = overlaps = 0
bad = []
for page, places in zip(sys.argv[1::2], sys.argv[2::2]):
    pixels = image(page)
    (width, _), found = words(places)
    scale = pixels.shape[1] / width
    # Lettering of labels (capitals of 1.8 mm), level: an upright word's box is that wide, not that high.
    high = 1.8 * MM / CAPITAL * (ASCENT + DESCENT)
    level = [w for w in found if abs(w[4] - w[2] - high) < 0.06 and abs(w[3] - w[1] - high) > 0.06]
    boxes = []
    for word in level:
        looked += 1
        share = touched(pixels, scale, word)
        if share > 0.12:
            hits += 1
            bad.append(f"{page}: {word[0]} at {word[1] / MM:.1f}, {word[2] / MM:.1f} mm, {share:.2f} of a strip is ink")
        blind += touched(pixels, scale, word, (2.0, 4.0)) <= 0.12
        em = (word[4] - word[2]) / (ASCENT + DESCENT)
        base = word[2] + ASCENT * em
        boxes.append((word[0], word[1], base - CAPITAL * em, word[3], base))
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            if a[1] < b[3] and b[1] < a[3] and a[2] < b[4] and b[2] < a[4]:
                overlaps += 1
                bad.append(f"{page}: {a[0]} and {b[0]} overlap")
if bad:
    print("\n".join(bad[:40]))
    sys.exit(f"{hits} of {looked} words are touched, {overlaps} pairs overlap")
if blind > 0.3 * looked:
    sys.exit(f"moved by 2 and 4 points, {blind} of {looked} words still look free: the search is blind")
print(f"{looked} words on {len(sys.argv) // 2} pages stand free; moved by 2 and 4 points, {looked - blind} would not")

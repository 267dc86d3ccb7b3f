"""Counts the pixels of the plan's grey (0.6 of white) on the first page of each PDF, drawn by pdftoppm."""
import pathlib
import subprocess
import sys
import tempfile

from PIL import Image

for sheet in sys.argv[1:]:
    with tempfile.TemporaryDirectory() as folder:
        page = pathlib.Path(folder) / "page"
        subprocess.run(["pdftoppm", "-r", "600", "-gray", "-singlefile", "-f", "1", "-l", "1", "-png", sheet, str(page)], check=True)
        Image.MAX_IMAGE_PIXELS = None
        counts = Image.open(f"{page}.png").convert("L").histogram()
        print(sum(counts[148:159]), end=" ")

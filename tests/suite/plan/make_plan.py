"""Draws a site plan: make_plan.py VERSION lines.json OUT.dxf. lines.json: {"unit": number, "lines": [[layer, [[x, y], ...]], ...]}."""
import json
import sys

import ezdxf

version, source, out = sys.argv[1:]
with open(source, encoding="utf-8") as file:
    plan = json.load(file)
drawing = ezdxf.new(version, setup=True)
drawing.header["$INSUNITS"] = plan["unit"]
space = drawing.modelspace()
for layer, points in plan["lines"]:
    if layer not in drawing.layers:
        drawing.layers.add(layer, color=3)
    space.add_polyline2d(points, dxfattribs={"layer": layer})
x, y = plan["lines"][0][1][0]
drawing.layers.add("Bäume", color=1)
block = drawing.blocks.new("TREE")
block.add_circle((0, 0), 2)
block.add_attdef("SPECIES", (0, 0), height=1)
tree = space.add_blockref("TREE", (x + 200, y + 200), dxfattribs={"layer": "Bäume"})
tree.add_auto_attribs({"SPECIES": "Bergahorn, 40 cm"})
space.add_arc((x, y), 5, 10, 120, dxfattribs={"layer": "0"})
space.add_text("Höhe 12′", dxfattribs={"layer": "0", "height": 2}).set_placement((x, y))
space.add_point((x, y, 3.25))
space.add_linear_dim(base=(x, y + 20), p1=(x, y), p2=(x + 30, y)).render()
if version != "R12":
    space.add_mtext("zwei\nZeilen").set_location((x, y))
    hatch = space.add_hatch(color=4)
    hatch.paths.add_polyline_path([(x, y), (x + 5, y), (x + 5, y + 5)], is_closed=True)
    space.add_lwpolyline([(x, y, 0, 0, 0.5), (x + 3, y + 1)], dxfattribs={"layer": "0"})
    drawing.layout("Layout1").add_line((0, 0), (10, 10))
drawing.saveas(out)

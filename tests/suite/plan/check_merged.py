"""Holds a merged drawing against the plan that it was made from: check_merged.py PLAN.dxf MERGED.dxf expected.json.

expected.json: {"run": [[x, y], ...], "layer": name}. Prints the largest distance of the run's vertices from where they are due."""
import json
import math
import sys

import ezdxf
from ezdxf import recover

plan_path, merged_path, expected = sys.argv[1:]
with open(expected, encoding="utf-8") as file:
    expected = json.load(file)

# Line by line: the plan's own lines are all there, in their order; what is not among them is new or one of the rewritten counts.
plan_bytes = open(plan_path, "rb").read().split(b"\n")
merged_bytes = open(merged_path, "rb").read().split(b"\n")
rewritten, at, other = [], 0, 0
while at < len(plan_bytes):
    if plan_bytes[at] == merged_bytes[other]:
        at, other = at + 1, other + 1
    elif plan_bytes[at + 1 : at + 6] == merged_bytes[other + 1 : other + 6]:
        rewritten.append(plan_bytes[at - 1].strip())
        at, other = at + 1, other + 1
    else:
        # Something was put in: the plan goes on behind it, word for word.
        ahead = plan_bytes[at : at + 40]
        other = next(i for i in range(other, len(merged_bytes)) if merged_bytes[i : i + len(ahead)] == ahead)
assert other == len(merged_bytes)
# How many layers and applications there are (70), and the handle that is free next (5).
assert sorted(rewritten) in ([b"5", b"70", b"70"], [b"70", b"70"]), rewritten

plan, merged = ezdxf.readfile(plan_path), ezdxf.readfile(merged_path)
_, auditor = recover.readfile(merged_path)
_, before = recover.readfile(plan_path)
assert len(auditor.errors) <= len(before.errors), [error.message for error in auditor.errors]
assert not auditor.has_errors, [error.message for error in auditor.errors]


def about(entity):
    """Everything that an entity says, with what is below it."""
    attributes = {key: str(value) for key, value in entity.dxfattribs().items()}
    if plan.dxfversion == "AC1009":
        # Drawings of this version state no owners: the library makes them up as it reads.
        attributes.pop("owner", None)
    below = []
    for name in ("vertices", "attribs"):
        part = getattr(entity, name, None)
        if part is not None and not callable(part):
            below += [about(one) if hasattr(one, "dxfattribs") else str(one) for one in part]
    xdata = sorted((app, str(list(tags))) for app, tags in (entity.xdata.data.items() if entity.xdata else []))
    return entity.dxftype(), attributes, below, xdata


def everything(drawing):
    found = {}
    for space in [*drawing.blocks]:
        for entity in space:
            found[(space.name, entity.dxf.handle)] = about(entity)
    return found


before, after = everything(plan), everything(merged)
for key, entity in before.items():
    assert after.get(key) == entity, (key, entity, after.get(key))
new = {key: entity for key, entity in after.items() if key not in before}
assert len(new) > 10 and all(name.lower() in ("*model_space", "$model_space") for name, _ in new), list(new)[:3]
for layer in plan.layers:
    mine, other = (dict(one.dxfattribs()) for one in (layer, merged.layers.get(layer.dxf.name)))
    if plan.dxfversion == "AC1009":
        for made_up in ("owner", "handle", "plotstyle_handle", "material_handle"):
            mine.pop(made_up, None), other.pop(made_up, None)
    assert mine == other, (mine, other)
missing = {entity[1].get("layer", "0") for entity in new.values()} - {layer.dxf.name for layer in merged.layers}
assert not missing, missing
handles = [entity.dxf.handle for entity in merged.entitydb.values()]
assert len(handles) == len(set(handles))
assert merged.header.get("$INSUNITS") == plan.header.get("$INSUNITS")

runs = [entity for entity in merged.modelspace() if entity.dxf.layer.startswith(expected["layer"]) and "LINE" in entity.dxftype()]
assert runs, expected["layer"]


def places(entity):
    if entity.dxftype() == "LWPOLYLINE":
        return [(x, y) for x, y, *_ in entity.get_points()]
    return [(vertex.dxf.location.x, vertex.dxf.location.y) for vertex in entity.vertices]


worst = min(
    max(math.dist(a, b) for a, b in zip(places(run), expected["run"]))
    for run in runs
    if len(places(run)) == len(expected["run"])
)
print(len(before), len(new), worst)

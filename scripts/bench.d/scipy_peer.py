"""Gauss-Newton on distances with scipy's sparse LU, and every point's covariance: scipy_peer.py JOB OUT.

The scale of the grid stands in factor.txt, as our record has it, so that both solve one problem.
"""
import csv, json, pathlib, sys
import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

job, out = pathlib.Path(sys.argv[1]), sys.argv[2]
k = float(pathlib.Path("factor.txt").read_text())
fixed, names = {}, []
for row in csv.DictReader(open(job / "control.csv")):
    if row["easting"]:
        fixed[row["point"]] = (float(row["easting"]), float(row["northing"]))
    else:
        names.append(row["point"])
index = {name: i for i, name in enumerate(names)}
start = {row["point"]: (float(row["easting"]), float(row["northing"])) for row in csv.DictReader(open(job.parent / "start.csv"))}
rows = list(csv.DictReader(open(job / "measures.csv")))
count = len(names)
everyone = names + list(fixed)
at = {name: i for i, name in enumerate(everyone)}
xy = np.array([start[n] for n in names] + [fixed[n] for n in fixed])
a, b = np.array([at[r["from"]] for r in rows]), np.array([at[r["to"]] for r in rows])
value = k * np.array([float(r["value"]) for r in rows])
sigma = k * np.array([float(r["sigma"]) for r in rows])
m = len(rows)
for step in range(50):
    delta = xy[b] - xy[a]
    length = np.hypot(*delta.T)
    unit = delta / length[:, None]
    line = np.repeat(np.arange(m), 4)
    column = np.stack([2 * a, 2 * a + 1, 2 * b, 2 * b + 1], axis=1).ravel()
    entry = np.hstack([-unit, unit]).ravel() / np.repeat(sigma, 4)
    keep = column < 2 * count
    design = coo_matrix((entry[keep], (line[keep], column[keep])), shape=(m, 2 * count)).tocsc()
    normal = (design.T @ design).tocsc()
    factor = splu(normal, permc_spec="MMD_AT_PLUS_A", options=dict(SymmetricMode=True))
    move = factor.solve(design.T @ ((value - length) / sigma))
    xy[:count] += move.reshape(-1, 2)
    if np.abs(move).max() < 1e-6:
        break
blocks = np.empty((count, 2, 2))
for first in range(0, count, 250):
    last = min(first + 250, count)
    right = np.zeros((2 * count, 2 * (last - first)))
    right[np.arange(2 * first, 2 * last), np.arange(2 * (last - first))] = 1.0
    solved = factor.solve(right)
    for i in range(first, last):
        blocks[i] = solved[2 * i:2 * i + 2, 2 * (i - first):2 * (i - first) + 2]
json.dump({"names": names, "places": xy[:count].tolist(), "blocks": blocks.tolist(), "steps": step + 1}, open(out, "w"))

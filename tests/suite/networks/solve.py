"""Independent weighted least squares of plane networks: equations written again from their definitions, solved by
scipy from disturbed starts with numeric derivatives. Reads networks as JSON, writes places, one-sigmas and the sum of
squares as JSON."""
import json
import sys

import numpy as np
from scipy.optimize import least_squares


def azimuth(a, b):
    return np.arctan2(b[0] - a[0], b[1] - a[1])


def solve(net, random):
    points, observations = net["points"], net["observations"]
    centre = np.mean([p["start"] for p in points], axis=0)
    free = [i for i, p in enumerate(points) if p["fixed"] is None and p["site"] is None]
    shifts = len(net["shifts"])
    has_site = any(p["site"] for p in points) or any(o["kind"] in "xy" for o in observations)
    origin = np.array(net["origin"])

    def unpack(v):
        place = [None] * len(points)
        for k, i in enumerate(free):
            place[i] = v[2 * k:2 * k + 2]
        shift = v[2 * len(free):2 * len(free) + 2 * shifts].reshape(-1, 2)
        grid = v[2 * len(free) + 2 * shifts:]
        for i, p in enumerate(points):
            if p["fixed"] is not None:
                place[i] = np.array(p["fixed"]) - centre
            elif p["site"] is not None:
                x, y = np.array(p["site"]) - origin
                a, b, e, n = grid
                place[i] = np.array([e + a * x + b * y, n - b * x + a * y])
        return place, shift, grid

    def residuals(v):
        place, shift, grid = unpack(v)
        out = []
        for o in observations:
            p = [place[i] for i in o["points"]]
            value, kind = o["value"], o["kind"]
            moved = shift[o["shift"]] if o["shift"] is not None else (0.0, 0.0)
            if kind == "distance":
                r = np.linalg.norm(p[1] - p[0]) - value
            elif kind in ("station", "offset"):
                t = azimuth(p[0], p[1])
                along, right = np.array([np.sin(t), np.cos(t)]), np.array([np.cos(t), -np.sin(t)])
                r = (p[2] - p[0]) @ (along if kind == "station" else right) - value
            elif kind == "angle":
                r = azimuth(p[0], p[2]) - azimuth(p[0], p[1]) - value
            elif kind == "azimuth":
                r = azimuth(p[0], p[1]) - value
            elif kind == "east":
                r = p[0][0] + moved[0] - (value - centre[0])
            elif kind == "north":
                r = p[0][1] + moved[1] - (value - centre[1])
            else:
                a, b, e, n = grid
                x = np.linalg.solve(np.array([[a, b], [-b, a]]), p[0] - np.array([e, n])) + origin
                r = x[0 if kind == "x" else 1] - value
            if kind in ("angle", "azimuth"):
                r = (r + np.pi) % (2 * np.pi) - np.pi
            out.append(r / o["sigma"])
        for s, sigma in zip(shift, net["shifts"]):
            out.extend(s / sigma)
        return np.array(out)

    start = [points[i]["start"] - centre + random.normal(0, 0.2, 2) for i in free]
    grid = np.array(net["site"]) - [0, 0, *centre] if has_site else []
    v = np.concatenate([np.ravel(start), np.zeros(2 * shifts), grid])
    fit = least_squares(residuals, v, jac="3-point", method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=20000)
    covariance = np.linalg.inv(fit.jac.T @ fit.jac)
    place, _, _ = unpack(fit.x)
    sigma = []
    for i, p in enumerate(points):
        if p["fixed"] is not None:
            sigma.append([0.0, 0.0])
        elif p["site"] is not None:
            x, y = np.array(p["site"]) - origin
            j = np.array([[x, y, 1, 0], [y, -x, 0, 1]])
            block = covariance[-4:, -4:]
            sigma.append(list(np.sqrt(np.diag(j @ block @ j.T))))
        else:
            k = free.index(i)
            sigma.append(list(np.sqrt(np.diag(covariance)[2 * k:2 * k + 2])))
    return {
        "places": [list(np.asarray(p) + centre) for p in place],
        "sigmas": sigma,
        "squares": float(2 * fit.cost),
    }


random = np.random.default_rng(1)
json.dump([solve(net, random) for net in json.load(sys.stdin)], sys.stdout)

"""Made-up jobs for the benchmarks, the same every time."""
import math, pathlib, random, sys

HEAD = '[job]\nid = "{id}"\nsupplier = "Example Survey"\nlocated_on = 2026-05-14\n[grid]\ncrs = "EPSG:26910"\nunit = "m"\nvertical = "NAVD88"\nheight = "95 m"\ngeoid_separation = "-20.1 m"\n[equipment]\naxis_above_invert = "50 mm"\n'
RUN = 'diameter = "100 mm"\nwall = "6 mm"\nmaterial = "PVC"\npushed = "downstream"\nsystem = "sanitary"\n'


def write(folder, files):
    folder = pathlib.Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text)


def gnss(folder, marks):
    """Runs of ten marks each, placed by GNSS, with depths and heights."""
    chance = random.Random(1)
    lines = ["run,mark,counter,latitude,longitude,height,fix,depth_1,depth_2"]
    for run in range(marks // 10):
        # A city of 40 km by 40 km.
        lat, lon = 47.30 + 0.36 * (run % 317) / 317, -122.30 + 0.53 * (run // 317) / 317
        way = chance.random() * 2 * math.pi
        for k in range(10):
            step = 3.0 * k
            north = (step * math.cos(way) + chance.gauss(0, 0.02)) / 111_200
            east = (step * math.sin(way) + chance.gauss(0, 0.02)) / (111_200 * math.cos(math.radians(lat)))
            depth = 1.5 + 0.02 * step
            lines.append(f"R{run},M{run}-{k},{1.0 + step:.2f},{lat + north:.9f},{lon + east:.9f},{74.0 + chance.gauss(0, 0.02):.3f},rtk,"
                         f"{depth + chance.gauss(0, 0.03):.2f},{depth + chance.gauss(0, 0.03):.2f}")
    write(folder, {"job.toml": HEAD.format(id="CITY") + "[run_default]\n" + RUN, "marks.csv": "\n".join(lines) + "\n"})


def taped(chance, marks, id):
    """One run on a straight line, every mark taped from three of five references."""
    points = [(0.0, 8.0), (12.0, -9.0), (25.0, 9.0), (38.0, -8.0), (50.0, 8.0)]
    control = "point,easting,northing\n" + "".join(f"P{i},{567900 + e:.3f},{5250000 + n:.3f}\n" for i, (e, n) in enumerate(points))
    lines = ["run,mark,counter,ground,depth_1,depth_2,tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3,fitting"]
    for k in range(marks):
        e, n = 50.0 * k / max(marks - 1, 1), 0.0
        near = sorted(range(5), key=lambda i: math.hypot(points[i][0] - e, points[i][1] - n))[:3]
        # The grid's scale here is 0.99965: tapes lie on the ground.
        ties = ",".join(f"P{i},{math.hypot(points[i][0] - e, points[i][1] - n) / 0.99964 + chance.gauss(0, 0.015):.3f}" for i in near)
        depth = 1.2 + 0.02 * e
        lines.append(f"A,A{k},{1.3 + e:.2f},{100.0 + chance.gauss(0, 0.01):.3f},{depth + chance.gauss(0, 0.03):.2f},{depth + chance.gauss(0, 0.03):.2f},{ties},"
                     + ("cleanout" if k == 0 else ""))
    return {"job.toml": HEAD.format(id=id) + '[[run]]\nid = "A"\nmin_grade = "1 %"\nfrom = "cleanout at rear wall"\nto = "main"\n' + RUN, "control.csv": control,
            "marks.csv": "\n".join(lines) + "\n"}


def jobs(folder, count):
    chance = random.Random(2)
    for job in range(count):
        write(pathlib.Path(folder) / f"{job // 100:03}" / f"J{job:05}", taped(chance, 12, f"J{job:05}"))


def everyday(folder):
    files = taped(random.Random(3), 20, "EVERYDAY")
    files["camera.csv"] = "run,counter,what\n" + "".join(f"A,{3 + 7 * i},joint displaced\n" for i in range(6))
    write(folder, files)


def network(folder, side=45, tapes=10_000):
    """Free points on a grid of 20 m, moved at random, tapes between near ones; how many points."""
    chance = random.Random(7)
    count = 2000 if side == 45 else side * side
    tapes = tapes if side == 45 else 5 * count
    span = 20.0 * (side - 1)
    place = [(20.0 * (i % side) + chance.uniform(-5, 5), 20.0 * (i // side) + chance.uniform(-5, 5)) for i in range(count)]
    # Three references at each corner, so that a place can be found from them before anything is adjusted.
    corners = [(e + a, n + b) for e, n, x, y in ((0.0, 0.0, -1, -1), (span, 0.0, 1, -1), (0.0, span, -1, 1), (span, span, 1, 1))
               for a, b in ((10 * x, 10 * y), (14 * x, -3 * y), (-3 * x, 14 * y))]
    E, N, K = 567000.0, 5250000.0, 0.99964
    control = ["point,easting,northing"] + [f"C{k},{E + e:.4f},{N + n:.4f}" for k, (e, n) in enumerate(corners)] + [f"X{i},," for i in range(count)]
    rows = ["kind,from,to,value,sigma"]
    pairs = []

    def tape(a, b, p, q):
        length = math.hypot(p[0] - q[0], p[1] - q[1]) / K + chance.gauss(0, 0.015)
        rows.append(f"distance,{a},{b},{length:.5f},0.015")
        pairs.append((a, b))

    for i in range(count):
        for step in (1, side, side + 1, side - 1):
            if i + step < count and abs((i + step) % side - i % side) <= 1:
                tape(f"X{i}", f"X{i + step}", place[i], place[i + step])
    for k, corner in enumerate(corners):
        for i in sorted(range(count), key=lambda i: math.hypot(place[i][0] - corner[0], place[i][1] - corner[1]))[:6]:
            tape(f"C{k}", f"X{i}", corner, place[i])
    while len(pairs) < tapes:
        i = chance.randrange(count)
        j = i + chance.choice((2, 2 * side, 2 * side + 1, side + 2))
        if j < count and abs(j % side - i % side) <= 2:
            tape(f"X{i}", f"X{j}", place[i], place[j])
    marks = f"run,mark,easting,northing,sigma\nA,A1,{E:.3f},{N:.3f},0.02\nA,A2,{E + 5:.3f},{N:.3f},0.02\n"
    start = "point,easting,northing\n" + "".join(f"X{i},{E + e + chance.uniform(-2, 2):.3f},{N + n + chance.uniform(-2, 2):.3f}\n" for i, (e, n) in enumerate(place))
    write(folder, {"job.toml": HEAD.format(id="NETWORK").replace('height = "95 m"\n', "").replace('geoid_separation = "-20.1 m"\n', "") + '[[run]]\nid = "A"\n' + RUN,
                   "control.csv": "\n".join(control) + "\n", "measures.csv": "\n".join(rows) + "\n", "marks.csv": marks})
    # Beside the job, for the peer: where to begin (ours finds that out by itself).
    write(pathlib.Path(folder).parent, {"start.csv": start})
    return count


# In a process of its own, so that its memory is not counted with what is measured: data.py KIND FOLDER [NUMBER].
if __name__ == "__main__":
    made = {"gnss": gnss, "jobs": jobs, "everyday": everyday, "network": network}[sys.argv[1]](sys.argv[2], *map(int, sys.argv[3:]))
    print(made or "")

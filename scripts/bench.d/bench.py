"""Times aslaid beside general tools; see scripts/bench."""
import argparse, json, math, os, pathlib, shutil, statistics, subprocess, sys, tempfile, time

import data

HERE = pathlib.Path(__file__).resolve().parent
parser = argparse.ArgumentParser()
parser.add_argument("program")
parser.add_argument("parts", nargs="*", default=[])
parser.add_argument("--rounds", type=int, default=3)
parser.add_argument("--marks", type=int, default=1_000_000)
parser.add_argument("--jobs", type=int, default=10_000)
parser.add_argument("--keep", help="work in this folder and leave it")
options = parser.parse_args()
PROGRAM = str(pathlib.Path(options.program).resolve())
parts = options.parts or list("abcdef")


def run(command, cwd, quiet=True, env=None):
    """Runs a command; wall, CPU seconds, peak megabytes."""
    null = os.open(os.devnull, os.O_WRONLY)
    begun = time.perf_counter()
    child = os.posix_spawn(shutil.which(command[0]) or command[0], [str(c) for c in command], {**os.environ, **(env or {})},
                           file_actions=[(os.POSIX_SPAWN_DUP2, null, 1)] if quiet else [])
    _, status, usage = os.wait4(child, 0)
    wall = time.perf_counter() - begun
    os.close(null)
    if status != 0:
        sys.exit(f"{' '.join(map(str, command))}: ended with {os.waitstatus_to_exitcode(status)}")
    return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def side_by_side(title, rows, rounds, cwd):
    """Each command `rounds` times in turn; medians, and ratios to the first."""
    print(f"\n{title}\n  {'':34} {'wall s':>8} {'CPU s':>8} {'peak MB':>8} {'wall / ours':>12}", flush=True)
    taken = {name: [] for name, _, _ in rows}
    os.chdir(cwd)
    for _ in range(rounds):
        for name, command, before in rows:
            if before:
                before()
            taken[name].append(run(command, cwd))
    first = None
    for name, _, _ in rows:
        wall, cpu, peak = (statistics.median(c) for c in zip(*taken[name]))
        first = first or wall
        print(f"  {name:34} {wall:8.2f} {cpu:8.2f} {peak:8.0f} {wall / first:12.2f}", flush=True)
    return {name: statistics.median(t[0] for t in taken[name]) for name in taken}


def clear(*names):
    def act():
        for name in names:
            shutil.rmtree(name, ignore_errors=True)
            pathlib.Path(name).unlink(missing_ok=True) if not pathlib.Path(name).is_dir() else None
    return act


def million(work):
    job = work / "a"
    data.gnss(job, options.marks)
    size = sum(p.stat().st_size for p in job.iterdir())
    ours = ["build", "a", "--out", "out", "--formats", "geojson,csv", "--quiet"]
    walls = side_by_side(
        f"(a) {options.marks:,} GNSS marks in {options.marks // 10:,} runs ({size / 1e6:.0f} MB of CSV)", [
            ("aslaid: adjusted, checked, traced", [PROGRAM, *ours], clear("out")),
            ("ogr2ogr: reprojected, nothing else", ["ogr2ogr", "-f", "GeoJSON", "ogr.geojson", "a/marks.csv", "-oo", "X_POSSIBLE_NAMES=longitude",
                                        "-oo", "Y_POSSIBLE_NAMES=latitude", "-s_srs", "EPSG:4326", "-t_srs", "EPSG:26910"], clear("ogr.geojson")),
            ("geopandas: reprojected, nothing else", [sys.executable, HERE / "geopandas_peer.py", "a/marks.csv", "geopandas.geojson"], clear("geopandas.geojson")),
        ], options.rounds, work)
    written = sum(p.stat().st_size for p in (work / "out").rglob("*") if p.is_file())
    limit = statistics.median(run(["dd", "if=/dev/zero", f"of={work}/dd.bin", "bs=1M", f"count={written >> 20}", "conv=fsync", "status=none"], work)[0]
                              for _ in range(options.rounds))
    mine = walls["aslaid: adjusted, checked, traced"]
    print(f"  dd conv=fsync of the same {written / 1e6:.0f} MB: {limit:.2f} s; ours takes {mine / limit:.1f} times that")
    for name in ("out", "dd.bin", "ogr.geojson", "geopandas.geojson"):
        clear(name)()


def batch(work):
    data.jobs(work / "b", options.jobs)
    command = [PROGRAM, "build", "b", "--out", "out", "--formats", "record,geojson,kml,csv,dxf", "--quiet"]
    walls = side_by_side(f"(b) {options.jobs:,} jobs of 12 taped marks, every text format", [
        ("aslaid build", command, clear("out")),
        ("aslaid check", [PROGRAM, "check", "b", "--quiet"], None)], max(1, options.rounds - 1), work)
    for name, wall in walls.items():
        print(f"  {name}: {options.jobs / wall:.0f} jobs a second")
    clear("out")()


def network(work):
    truth = data.network(work / "c")

    def factor():
        record = json.loads(next((work / "out").glob("*/record.json")).read_text())
        (work / "factor.txt").write_text(repr(record["frame"]["combined_factor"]))

    side_by_side(f"(c) {truth} free points, 10,000 tapes, every covariance", [
        ("aslaid build, record.json only", [PROGRAM, "build", "c", "--out", "out", "--formats", "record", "--quiet"], clear("out")),
        ("scipy, sparse LU", [sys.executable, HERE / "scipy_peer.py", "c", "scipy.json"], factor)], options.rounds, work)
    subprocess.run([sys.executable, HERE / "compare.py", next((work / "out").iterdir()) / "record.json", "scipy.json"], cwd=work, check=True)


def everyday(work):
    data.everyday(work / "d")
    text = "record,geojson,kml,csv,gpkg,dxf,parquet"
    side_by_side("(d) an everyday job of 20 marks, to the finished folder", [
        ("every format", [PROGRAM, "build", "d", "--out", "out", "--quiet"], clear("out")),
        ("without PDF and HTML", [PROGRAM, "build", "d", "--out", "out", "--formats", text, "--quiet"], clear("out")),
        ("check alone", [PROGRAM, "check", "d", "--quiet"], None)], max(5, options.rounds), work)


def growth(work):
    print("\n(e) growth with the number of marks")
    points = []
    os.chdir(work)
    for marks in (10_000, 31_600, 100_000, 316_000, 1_000_000):
        if marks > options.marks:
            break
        data.gnss(work / "e", marks)
        times = []
        for _ in range(options.rounds if marks < 200_000 else 1):
            clear("out")()
            times.append(run([PROGRAM, "build", "e", "--out", "out", "--formats", "geojson,csv", "--quiet"], work))
        wall, cpu, peak = (statistics.median(c) for c in zip(*times))
        points.append((math.log(marks), math.log(wall)))
        print(f"  {marks:9,} marks {wall:8.2f} s wall {cpu:8.2f} s CPU {peak:7.0f} MB", flush=True)
    x, y = zip(*points)
    mx, my = statistics.mean(x), statistics.mean(y)
    slope = sum((a - mx) * (b - my) for a, b in points) / sum((a - mx) ** 2 for a in x)
    print(f"  fitted exponent {slope:.2f}")
    clear("out", "e")()


def instructions(work):
    if not shutil.which("valgrind"):
        print("\n(f) left out: valgrind is not installed")
        return
    print("\n(f) instructions (callgrind), by the job's size; the same on any machine, however loaded")
    os.chdir(work)
    data.everyday(work / "d")
    data.gnss(work / "g", 2_000)
    data.network(work / "n", side=15)
    for name, folder, formats in (("everyday job, text formats", "d", "record,geojson,kml,csv,dxf"), ("2,000 GNSS marks", "g", "geojson,csv"),
                                  ("network of 225 points", "n", "record")):
        clear("out")()
        out = work / "callgrind.out"
        subprocess.run(["valgrind", "--tool=callgrind", f"--callgrind-out-file={out}", PROGRAM, "build", folder, "--out", "out", "--formats", formats,
                        "--quiet", "--jobs", "1"], check=True, capture_output=True)
        total = next(line for line in out.read_text().splitlines() if line.startswith(("summary:", "totals:")))
        print(f"  {name:30} {int(total.split()[1]) / 1e6:10.1f} million", flush=True)


def main():
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} at the start; medians of {options.rounds} rounds in turn")
    with tempfile.TemporaryDirectory() as scratch:
        work = pathlib.Path(options.keep or scratch).resolve()
        work.mkdir(parents=True, exist_ok=True)
        for part in parts:
            {"a": million, "b": batch, "c": network, "d": everyday, "e": growth, "f": instructions}[part](work)


main()

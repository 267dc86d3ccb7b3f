"""Times aslaid beside general tools; see scripts/bench."""
import argparse, math, os, pathlib, json, shutil, statistics, subprocess, sys, tempfile, time

HERE = pathlib.Path(__file__).resolve().parent
MEMORY = pathlib.Path("/dev/shm")
TEXT = "record,geojson,kml,csv,dxf"
OGR = ["ogr2ogr", "-f", "GeoJSON", "ogr.geojson", "a/marks.csv", "-oo", "X_POSSIBLE_NAMES=longitude", "-oo", "Y_POSSIBLE_NAMES=latitude",
       "-s_srs", "EPSG:4326", "-t_srs", "EPSG:26910"]
parser = argparse.ArgumentParser()
parser.add_argument("program")
parser.add_argument("hot", help="the program of benches/hot")
parser.add_argument("parts", nargs="*", default=[])
parser.add_argument("--rounds", type=int, default=3)
parser.add_argument("--marks", type=int, default=1_000_000)
parser.add_argument("--jobs", type=int, default=10_000)
parser.add_argument("--keep", help="work in this folder and leave it")
options = parser.parse_args()
PROGRAM = str(pathlib.Path(options.program).resolve())
HOT = str(pathlib.Path(options.hot).resolve())


def run(command, cwd, **env):
    """Runs a command; wall seconds, CPU seconds, peak megabytes."""
    with open(os.devnull, "w") as null:
        begun = time.perf_counter()
        child = subprocess.Popen([str(c) for c in command], cwd=cwd, stdout=null, env={**os.environ, **env})
        _, status, usage = os.wait4(child.pid, 0)
        wall = time.perf_counter() - begun
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        sys.exit(f"{' '.join(map(str, command))}: ended with {child.returncode}")
    return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def made(kind, folder, *number):
    """Makes data in a process of its own: what this one needs for it would be counted as its children's peak."""
    out = subprocess.run([sys.executable, HERE / "data.py", kind, folder, *map(str, number)], check=True, capture_output=True, text=True)
    return out.stdout.strip()


def clear(cwd, *names):
    for name in names:
        path = pathlib.Path(cwd) / name
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)


def size(folder):
    return sum(p.stat().st_size for p in pathlib.Path(folder).rglob("*") if p.is_file())


def side_by_side(title, rows, rounds, cwd):
    """Each command `rounds` times in turn, after clearing what it writes; medians, and ratios to the first. A command can be a
    function that says it, where it depends on what those before it have written."""
    print(f"\n{title}; load {os.getloadavg()[0]:.1f}\n  {'':38} {'wall s':>8} {'CPU s':>8} {'peak MB':>8} {'wall / ours':>12}", flush=True)
    taken = {name: [] for name, _, _ in rows}
    for _ in range(rounds):
        for name, command, writes in rows:
            clear(cwd, *writes)
            taken[name].append(run(command() if callable(command) else command, cwd))
    medians = {name: [statistics.median(c) for c in zip(*taken[name])] for name in taken}
    first = next(iter(medians.values()))[0]
    for name, (wall, cpu, peak) in medians.items():
        print(f"  {name:38} {wall:8.2f} {cpu:8.2f} {peak:8.0f} {wall / first:12.2f}", flush=True)
    return {name: wall for name, (wall, _, _) in medians.items()}


def build(job, formats=None):
    return [PROGRAM, "build", job, "--out", "out", "--quiet", *(["--formats", formats] if formats else [])]


def million(work):
    made("gnss", work / "a", options.marks)
    written = {}

    def same_bytes():
        written["bytes"] = size(work / "out")
        return ["dd", "if=/dev/zero", "of=dd.bin", "bs=1M", f"count={max(1, written['bytes'] >> 20)}", "conv=fsync", "status=none"]

    walls = side_by_side(
        f"(a) {options.marks:,} GNSS marks in {options.marks // 10:,} runs ({size(work / 'a') / 1e6:.0f} MB of CSV), to GeoJSON and CSV", [
            ("aslaid: adjusted, checked, traced", build("a", "geojson,csv"), ["out"]),
            ("dd conv=fsync of the same bytes", same_bytes, ["dd.bin"]),
            ("ogr2ogr: reprojected, nothing else", OGR, ["ogr.geojson"]),
            # What aslaid writes is RFC 7946, with numbers as numbers.
            ("ogr2ogr: the same, as RFC 7946, typed", [*OGR, "-lco", "RFC7946=YES", "-oo", "AUTODETECT_TYPE=YES"], ["ogr.geojson"]),
            ("geopandas: reprojected, nothing else", [sys.executable, HERE / "geopandas_peer.py", "a/marks.csv", "geopandas.geojson"], ["geopandas.geojson"]),
        ], options.rounds, work)
    ours, limit = list(walls.values())[:2]
    print(f"  {written['bytes'] / 1e6:.0f} MB written: {ours / limit:.1f} times as long as dd takes, which is the limit")
    clear(work, "a", "out", "dd.bin", "ogr.geojson", "geopandas.geojson")


def stages(job, cwd):
    """What each stage takes, on one thread so that every time is its own."""
    clear(cwd, "out")
    told = subprocess.run([*build(job, TEXT), "--jobs", "1"], cwd=cwd, env={**os.environ, "ASLAID_TIMES": "1"}, check=True, capture_output=True, text=True)
    for line in told.stderr.splitlines():
        print(f"    {line}")
    clear(cwd, "out")


def batch(work):
    def rates(where, cwd):
        walls = side_by_side(f"(b) {options.jobs:,} jobs of 12 taped marks, every text format, {where}",
                             [("aslaid build", build("b", TEXT), ["out"]), ("aslaid check", [PROGRAM, "check", "b", "--quiet"], [])], options.rounds, cwd)
        for name, wall in walls.items():
            print(f"  {name}: {options.jobs / wall:.0f} jobs a second")
        clear(cwd, "out")

    made("jobs", work / "b", options.jobs)
    rates("on the disk", work)
    few = min(1_000, options.jobs)
    if MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > options.jobs * 300_000:
        with tempfile.TemporaryDirectory(dir=MEMORY) as scratch:
            memory = pathlib.Path(scratch)
            shutil.copytree(work / "b", memory / "b")
            rates("in memory", memory)
            made("jobs", memory / "few", few)
            print(f"  shares of the stages, {few:,} jobs in memory, one thread")
            stages("few", memory)
    made("jobs", work / "few", few)
    print(f"  shares of the stages, {few:,} jobs on the disk, one thread (flushes are waited for by others)")
    stages("few", work)
    clear(work, "b", "few")


def network(work):
    points = made("network", work / "c")

    def peer():
        record = json.loads(next((work / "out").glob("*/record.json")).read_text())
        (work / "factor.txt").write_text(repr(record["frame"]["combined_factor"]))
        return [sys.executable, HERE / "scipy_peer.py", "c", "scipy.json"]

    side_by_side(f"(c) {points} free points, 10,000 tapes, every covariance", [
        ("aslaid build, record.json only", build("c", "record"), ["out"]),
        ("scipy, sparse LU", peer, ["scipy.json"])], options.rounds, work)
    subprocess.run([sys.executable, HERE / "compare.py", next((work / "out").iterdir()) / "record.json", "scipy.json"], cwd=work, check=True)
    clear(work, "c", "out", "scipy.json", "factor.txt", "start.csv")


def everyday(work):
    made("everyday", work / "d")
    side_by_side("(d) an everyday job of 20 marks, to the finished folder", [
        ("every format", build("d"), ["out"]),
        ("without PDF and HTML", build("d", TEXT + ",gpkg,parquet"), ["out"]),
        ("check alone", [PROGRAM, "check", "d", "--quiet"], [])], max(9, options.rounds), work)
    clear(work, "d", "out")


def growth(work):
    print(f"\n(e) growth with the number of marks; load {os.getloadavg()[0]:.1f}")
    points = []
    for marks in (10_000, 31_600, 100_000, 316_000, 1_000_000):
        if marks > options.marks:
            break
        made("gnss", work / "e", marks)
        times = []
        for _ in range(options.rounds):
            clear(work, "out")
            times.append(run(build("e", "geojson,csv"), work))
        wall, cpu, peak = (statistics.median(c) for c in zip(*times))
        points.append((math.log(marks), math.log(wall), math.log(cpu)))
        print(f"  {marks:9,} marks {wall:8.2f} s wall {cpu:8.2f} s CPU {peak:7.0f} MB", flush=True)
    clear(work, "out", "e")
    if len(points) > 1:
        x, walls, cpus = zip(*points)
        mx = statistics.mean(x)
        slope = lambda y: sum((a - mx) * b for a, b in zip(x, y)) / sum((a - mx) ** 2 for a in x)
        print(f"  fitted exponent {slope(walls):.2f} of the wall time, {slope(cpus):.2f} of the CPU time")


def counted(command, cwd, *how, **env):
    """Instructions that callgrind counts."""
    out = cwd / "callgrind.out"
    subprocess.run(["valgrind", "--tool=callgrind", f"--callgrind-out-file={out}", *how, *command], cwd=cwd, env={**os.environ, **env}, check=True, capture_output=True)
    total = next(line for line in out.read_text().splitlines() if line.startswith(("summary:", "totals:")))
    clear(cwd, "callgrind.out", "out")
    return int(total.split()[1])


def instructions(work):
    if not shutil.which("valgrind"):
        print("\n(f) left out: it needs valgrind (Debian: apt-get install valgrind)")
        return
    print("\n(f) instructions, counted by callgrind: the same however loaded the machine is\n"
          f"  {'hot part, alone':34} {'millions':>10} {'a piece':>12}")
    parts = subprocess.run([HOT], env={**os.environ, "ASLAID_ONCE": "?"}, check=True, capture_output=True, text=True).stdout.split()
    for name, pieces in zip(parts[::2], map(int, parts[1::2])):
        count = counted([HOT], work, "--toggle-collect=*measured*", ASLAID_ONCE=name)
        print(f"  {f'{name} ({pieces:,})':34} {count / 1e6:10.2f} {count / pieces:12,.0f}", flush=True)
    made("everyday", work / "d")
    made("gnss", work / "g", 2_000)
    made("network", work / "n", 15)
    for name, folder, formats in (("whole: everyday job, text formats", "d", TEXT), ("whole: 2,000 GNSS marks", "g", "geojson,csv"),
                                  ("whole: network of 225 points", "n", "record")):
        print(f"  {name:34} {counted([*build(folder, formats), '--jobs', '1'], work) / 1e6:10.1f}", flush=True)
    clear(work, "d", "g", "n", "start.csv")


def main():
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} at the start; medians of {options.rounds} rounds in turn")
    with tempfile.TemporaryDirectory() as scratch:
        work = pathlib.Path(options.keep or scratch).resolve()
        work.mkdir(parents=True, exist_ok=True)
        for part in options.parts or "abcdef":
            {"a": million, "b": batch, "c": network, "d": everyday, "e": growth, "f": instructions}[part](work)


main()

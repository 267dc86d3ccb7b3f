"""Spoils valid jobs and runs `aslaid check --json` on each: spoil.py PROGRAM FIXTURES COUNT SEED.

A case fails if it ends by a signal, with another status than 0, 1 or 2, prints a panic, takes more than 5 s of CPU or
500 MB, prints anything but one JSON array, or has an error that names no place.
"""
import json, os, pathlib, random, shutil, sys, tempfile, time

program, fixtures, count, seed = sys.argv[1], pathlib.Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
SECONDS, KILOBYTES = 5.0, 500_000
chance = random.Random(seed)
jobs = sorted({p.parent for p in fixtures.rglob("job.toml") if "broken" not in p.parts})
WORDS = ["", "0", "-1", "1e308", "-1e308", "1e-320", "nan", "inf", "NaN", "\u221e", "9" * 400, "..", "../../etc/passwd", "/dev/zero", "A1", "P1", "P1>P1", "P1>P2",
         "yes", "no", "check", "exposed", "end_ahead", "rtk", "single", "12-6 1/2", "12' 6\"", "3/8", "2026-05-14", "12-Jun", "#", "\"", "\"\"", "a\nb", "\u202e", "\ud7ff",
         "EPSG:4326", "EPSG:99999", "local", "ft", "us-ft", "km", "=1+1", "-", ">", "100%", "1:0", "0+00", "x" * 5000, "1,5", "N 95 E", "90", "180", "-180.1"]


def cells(line, at, new):
    parts = line.split(",")
    parts[at % len(parts)] = new
    return ",".join(parts)


def spoil_text(text, toml):
    lines = text.split("\n")
    kind = chance.randrange(12)
    at = chance.randrange(len(lines))
    if kind == 0:
        del lines[at]
    elif kind == 1:
        lines.insert(at, lines[chance.randrange(len(lines))])
    elif kind == 2:
        chance.shuffle(lines)
    elif kind == 3 and toml and "=" in lines[at]:
        key = lines[at].split("=")[0]
        lines[at] = key + "= " + chance.choice(['"%s"' % chance.choice(WORDS).replace('"', "").replace("\n", ""), "1e308", "-1", "[]", "{}", "nan", "true", "[[1]]"])
    elif kind in (3, 4, 5) and not toml:
        lines[at] = cells(lines[at], chance.randrange(20), chance.choice(WORDS))
    elif kind == 6 and not toml and len(lines) > 2:
        other = lines[chance.randrange(len(lines))].split(",")
        lines[at] = cells(lines[at], chance.randrange(20), other[chance.randrange(len(other))])
    elif kind == 7 and not toml:
        column = chance.randrange(12)
        lines = [cells(line, column, chance.choice(["7", "A1", "", "0.001"])) if line and n else line for n, line in enumerate(lines)]
    elif kind == 8:
        lines = lines[:at]
    elif kind == 9:
        lines = lines * chance.randrange(2, 40)
    elif kind == 10:
        lines[at] = lines[at].replace(",", ";").replace(".", ",")
    else:
        place = chance.randrange(len(text) + 1)
        return text[:place] + chance.choice(WORDS) + text[place + chance.randrange(4):]
    return "\n".join(lines)


def spoil(job):
    for _ in range(chance.choice([1, 1, 1, 2, 3, 6])):
        names = sorted(p for p in job.iterdir() if p.suffix in (".toml", ".csv", ".nmea"))
        path = chance.choice(names) if names else None
        kind = chance.randrange(20)
        if path is None:
            return
        if kind == 0 and path.name != "job.toml":
            path.unlink()
        elif kind == 1:
            data = bytearray(path.read_bytes())
            for _ in range(chance.randrange(1, 30)):
                if data:
                    data[chance.randrange(len(data))] = chance.randrange(256)
            path.write_bytes(data)
        elif kind == 2:
            path.write_bytes(chance.choice([b"\xff\xfe", b"\xef\xbb\xbf", b"sep=;\n", b"\0"]) + path.read_bytes())
        elif kind == 3:
            other = job / chance.choice(["control.csv", "levels.csv", "runs.csv", "pushes.csv", "measures.csv", "camera.csv", "x.nmea"])
            other.write_bytes(path.read_bytes())
        else:
            path.write_text(spoil_text(path.read_text("latin-1"), path.name == "job.toml"), "utf-8", errors="surrogatepass")


def run(job, out):
    read, write = os.pipe()
    begun = time.monotonic()
    with open(out, "wb") as said:
        child = os.posix_spawn(program, [program, "check", str(job), "--json"], dict(os.environ),
                               file_actions=[(os.POSIX_SPAWN_DUP2, said.fileno(), 1), (os.POSIX_SPAWN_DUP2, write, 2)])
    os.close(write)
    wrong = b""
    while chunk := os.read(read, 65536):
        wrong += chunk
    os.close(read)
    _, status, usage = os.wait4(child, 0)
    return status, usage, wrong.decode("utf-8", "replace"), time.monotonic() - begun


failures, statuses, slowest, largest = [], {0: 0, 1: 0, 2: 0}, 0.0, 0
with tempfile.TemporaryDirectory() as scratch:
    scratch = pathlib.Path(scratch)
    for case in range(count):
        job = scratch / "job"
        shutil.rmtree(job, ignore_errors=True)
        shutil.copytree(chance.choice(jobs), job, ignore=shutil.ignore_patterns("expected", "*.json", "*.md"))
        spoil(job)
        status, usage, wrong, wall = run(job, scratch / "said")
        code = os.WEXITSTATUS(status) if os.WIFEXITED(status) else -os.WTERMSIG(status)
        cpu = usage.ru_utime + usage.ru_stime
        slowest, largest = max(slowest, cpu), max(largest, usage.ru_maxrss)
        why = []
        if code not in statuses:
            why.append(f"ended with {code}")
        else:
            statuses[code] += 1
        if "panicked" in wrong:
            why.append("panicked: " + wrong[:600])
        if cpu > SECONDS:
            why.append(f"{cpu:.1f} s of CPU, {wall:.1f} s in all")
        if usage.ru_maxrss > KILOBYTES:
            why.append(f"{usage.ru_maxrss} kB")
        try:
            text = (scratch / "said").read_text("utf-8")
            findings = json.loads(text) if text.strip() else []
            if code != 2 and not isinstance(findings, list):
                why.append("no array")
            for finding in findings:
                placed = finding.get("source") or finding.get("mark") or finding.get("run")
                if finding["level"] == "error" and not placed and finding["code"] != "no-datum":
                    why.append("an error that names no place: " + finding["message"])
                if not finding["message"]:
                    why.append("an empty message")
        except ValueError as error:
            why.append(f"no JSON: {error}")
        if code == 2 and not wrong.strip():
            why.append("stopped and did not say why")
        if why:
            kept = pathlib.Path(tempfile.mkdtemp(prefix=f"spoilt-{case}-"))
            shutil.copytree(job, kept / "job")
            failures.append(f"case {case} ({kept}): " + "; ".join(why)[:1500])
print(f"{count} spoilt jobs: {statuses[0]} end with 0, {statuses[1]} with 1, {statuses[2]} with 2; "
      f"slowest {slowest:.2f} s of CPU, largest {largest / 1000:.0f} MB; {len(failures)} broken")
for failure in failures[:20]:
    print(failure)
sys.exit(1 if failures else 0)

"""Settings, field files, layers files and tie files to begin with: every key at least once, and each way to get one wrong."""
import re

MARKS = b"run,mark,easting,northing,sigma,inspector\nA,A1,1450200,541700,0.05,x\nA,A2,1450220,541705,0.05,y\n"


def joined(parts):
    return b"".join(b"%% " + name.encode() + b"\n" + (data if isinstance(data, bytes) else data.encode()) for name, data in parts)


def settings(new):
    """`new`: the files of a folder made by `aslaid new`."""
    template = new["job.toml"].decode()
    said = {"client": "C", "site": "S", "parcel": "12-3", "permit": "P 7", "note": "n", "checked_by": "K", "licence": "L 1", "supersedes": "ab" * 32,
            "geoid": "GEOID18", "geoid_separation": "-104.2 ft", "declination": "8.1 W", "receiver": "R", "serial": "1", "frequency": "512 Hz",
            "last_checked": "2026-01-02", "min_cover": "2 ft", "asset": "a", "main_asset": "m", "address": "a", "axis_above_invert": "2 in",
            "joins": "B", "use": "yes"}
    whole = []
    for line in template.splitlines():
        line = re.sub(r"^# (\[{1,2}\w+\]{1,2})$", r"\1", line)
        if (found := re.match(r'^# (\w+) = (.*?)  # ', line)):
            key, value = found.groups()
            if value == '""':
                value = f'"{said.get(key, "x")}"'
            line = f"{key} = {value}"
        whole.append(line)
    every = "\n".join(whole)
    yield every.encode()
    yield joined([("job.toml", every), ("marks.csv", MARKS), ("topo.txt", "P7,541710,1450210,705.2,nail\n"), ("notes.csv", "a,b\n1,2\n"), ("controls.csv", "point\nP\n")])
    for name in ["runs.csv", "pushes.csv"]:
        yield joined([("job.toml", template), ("marks.csv", new["marks.csv"])] + [(n, d) for n, d in new.items() if n.endswith(".csv") and n != name and n != "marks.csv"])
    head = '[job]\nid = "J"\nsupplier = "S"\nlocated_on = 2026-05-14\n[grid]\ncrs = "EPSG:2264"\nunit = "ft"\n'
    run = '[[run]]\nid = "A"\n'
    for columns, name, text in [
        ("point, northing, easting, elevation, description", "t.txt", "P7,541710,1450210,705.2,nail\nP8 541710 1450210\n"),
        ("mark, easting, northing, run", "t.csv", "A1;1450200;541700;A\nA9;1450200;541700;A\n"),
        ("point = PT, description = D", "t.geojson", '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"PT":"P9","D":"x"},"geometry":{"type":"Point","coordinates":[-80.8411,35.2243]}}]}'),
        ("easting", "t.txt", "1\n"), ("point, x, x", "none.txt", ""), ("point, mark", "t.txt", "1,2\n"),
    ]:
        yield joined([("job.toml", f'{head}[points]\nfiles = ["{name}"]\ncolumns = "{columns}"\n{run}'), ("marks.csv", MARKS), (name, text)])
    # Each way to write a value, and to get it wrong.
    for values in ['crs = "local"', 'crs = 2264', 'crs = "EPSG:1"', 'unit = "yd"', 'height = 0x10', 'height = 1e3', 'height = inf', 'taped = "slope"\ndistances = "grid"',
                   'taped = true', 'height = [1]', 'height = { a = 1 }', 'declination = -8.1', 'heigth = 1', 'crs = "a"\ncrs = "b"', 'height = ', 'height = 1,5',
                   'height = 3 ft', 'height = "3 "ft"', 'nonsense', 'vertical = 2026-05-14T10:00:00Z', 'unit = ["m"]', "vertical = '''a\nb'''"]:
        yield f'[job]\nid = "J"\n[grid]\ncrs = "EPSG:2264"\nunit = "ft"\n{values}\n{run}'.encode()
        yield f'[job]\nid = "J"\n[grid]\n{values}\n{run}'.encode()
    for rest in ['[accuracy]\ntape = 0\nsquare = 0\nmark = -1\ntape_fraction = "0.05 %"\nrtk = "2 cm"\n', '[equipment]\nlens_to_transmitter = 40\naxis_above_invert = "1 m"\nsignal_is_linear = "ja"\n',
                 '[publish]\ncolumns = ["inspector", "absent"]\n', '[publish]\ncolumns = "inspector; absent"\n', '[grdi]\nx = 1\n', 'run = 1\n', 'run = [1, 2]\n', 'grid = 1\n', '[runs]\nid = "B"\n',
                 '[run_default]\ndiameter = "4 in"\nmin_grade = "IPC 704.1"\n', '[[run]]\nid = "A"\n[[run]]\njoins = "Z"\nid = "C"\n[[run]]\nid = "D"\njoins = "D"\n', '[[run]]\nid = "B"\nuse = "no"\nmin_grade = "1:48"\n',
                 '[job.deep]\na = 1\n', '[layers]\nrun = "L"\n', '[limits]\nmax_depth = "30 ft"\nalarm = 0\nlog_epochs = 2.5\n']:
        yield (head + run + rest).encode()
    yield b"\xff\xfe[\0j\0o\0b\0]\0"
    yield (head + run).encode().replace(b'"S"', b'"M\xfcller"')
    yield b"\xef\xbb\xbf" + (head + run).replace("\n", "\r\n").encode()
    yield joined([("job.toml", head + run), ("MARKS.CSV", MARKS), ("a.nmea", b"$GPGGA,1*00\r\n"), ("mark.csv", b"x\n"), ("levels.csv", b"\0\1")])
    # Tables as people's spreadsheets save them.
    for table in [b"Run;Mark;Easting;Northing;Depth 1 [in]\nA;A1;1450200;541700;5,5\nA;\"A \"\"2\"\"\";1450200;541700,5;66\n", b"run\tmark\teasting\tnorthing\nA\tA1\t1450200\t541700\n",
                  b"sep=;\nrun;mark;easting;northing\nA;A1;1;2\n", b"# c\n\nrun,mark,easting,northing,use\n# x\nA,A1,1450200,541700,no\nA,A2,1450200,541700,check\nA,A3,1450200,541700,maybe\n",
                  b"run,mark,eastng,northing,tie_1_ref,tie_1,tie_2,tie_4_ref,note,note\nA,A1,1,2,P,3,4,Q,\"a\nb\",c\n", b"run,mark\n\"A,A1\n", b"run,mark,depth_1 (furlong),gate_code\nA,A1,1,99\n", b"a,b\n1,2\n", b"", b"\n\n\n",
                  b"run,mark,station,offset,baseline,angle,setup,backsight,bearing,distance\nA,A1,1+42.6,L 4.2,P>Q,,,,,\nA,A2,,,,123\xb045'06\",P,Q,,12'6\"\nA,A3,,,,,P,,N 45\xb030' E,12-Jun\nA,A4,,,,1/2,P,Q,,3/8\n"]:
        yield joined([("job.toml", head + run), ("marks.csv", table)])
        yield joined([("job.toml", head + run), ("marks.csv", MARKS), ("control.csv", table)])


def fields():
    tables = ["run", "mark", "camera", "reference", "crossing", "profile", "ties"]
    yield "".join(f'[{table}]\nothers = "keep"\n' for table in tables)
    column = lambda table, **said: f"[[{table}.column]]\n" + "".join(f"{key} = {value}\n" for key, value in said.items())
    q = lambda text: f'"{text}"'
    good = ("[run]\n" + column("run", **{"from": q("id")}) + column("run", **{"from": q("material"), "name": q("MAT"), "values": '{ PVC = 3, clay = 7.5 }', "otherwise": "99"})
            + column("run", **{"from": q("length"), "name": q("LEN"), "unit": q("us-ft"), "decimals": "2"}) + column("run", name=q("OWNER"), value=q("City"))
            + column("run", **{"from": q("length"), "name": q("LI"), "type": q("integer")}) + column("run", **{"from": q("length"), "name": q("LT"), "type": q("text")})
            + column("run", **{"from": q("revision"), "name": q("RN"), "type": q("number")}) + column("run", name=q("ONE"), value="1") + column("run", name=q("HALF"), value="0.5", type=q("text"))
            + "[mark]\n" + column("mark", **{"from": q("mark"), "name": q("PT")}) + column("mark", **{"from": q("easting"), "name": q("X"), "unit": q("m"), "decimals": "3"})
            + column("mark", **{"from": q("evidence"), "name": q("EV"), "values": '{ located = "L", inferred = 2 }', "otherwise": q("?"), "type": q("text")})
            + "[profile]\nothers = \"keep\"\n" + column("profile", **{"from": q("grade"), "name": q("SLOPE"), "decimals": "1"})
            + "[camera]\n" + column("camera", **{"from": q("what")}) + "[reference]\n" + column("reference", **{"from": q("point")}) + "[ties]\n" + column("ties", **{"from": q("mark")}))
    yield good
    bad = [("run", {"from": q("nothing")}), ("mark", {"from": q("nothing")}), ("run", {}), ("run", {"value": "1"}), ("run", {"from": q("id"), "value": "1"}), ("run", {"from": q("id"), "name": q("")}),
           ("run", {"from": q("length"), "decimals": "10"}), ("run", {"name": q("a"), "value": "1", "unit": q("m")}), ("run", {"from": q("id"), "otherwise": "1"}),
           ("run", {"from": q("length"), "values": "{ a = 1 }", "unit": q("m")}), ("run", {"from": q("id"), "type": q("integer"), "values": "{ a = 1.5 }"}), ("run", {"from": q("material"), "values": "{ clay = 1 }"}),
           ("run", {"from": q("material"), "type": q("integer")}), ("run", {"from": q("material"), "type": q("number")}), ("run", {"from": q("material"), "unit": q("m")}), ("run", {"from": q("id"), "value": "inf"}),
           ("run", {"from": q("id"), "colour": "1"}), ("run", {"name": q("a"), "value": "[1]"}), ("run", {"from": q("material"), "values": '{ PVC = 1, clay = "x" }'}), ("mark", {"from": q("id"), "name": q("RUN")}),
           ("mark", {"from": q("mark"), "name": q("length")}), ("run", {"from": q("job"), "type": q("number")}), ("run", {"from": q("id"), "name": q("a\\u0001")})]
    for table, said in bad:
        yield f"[{table}]\n" + column(table, **said)
        yield f'[{table}]\nothers = "keep"\n' + column(table, **said)
    yield "[run]\n" + column("run", **{"from": q("unit")}) + column("run", **{"from": q("length"), "unit": q("m")})
    yield "[run]\n" + column("run", **{"from": q("id")}) + column("run", **{"from": q("job"), "name": q("ID")})
    yield "[run]\n" + column("run", **{"from": q("id"), "name": q("Same")}) + "[mark]\n" + column("mark", **{"from": q("easting"), "name": q("same")})
    yield '[run]\nothers = "keep"\n' + column("run", **{"from": q("id"), "name": q("material")})
    yield "[run]\n"
    yield "run = 1\n"
    # An intake's.
    names = dict(supplier="SUP", job="WORK_ORDER", run="LINE", mark="PT", order="N", easting="X", northing="Y", ground="GR", depth="DEPTH_FT", cover="COV", invert="INV_EL", horizontal_95="ACC_H",
                 depth_95="ACC_D", invert_95="ACC_V", diameter="DIAM_IN", wall="W", material="PIPE_MAT", system="SYS", located_on="D", fitting="F", revision="R")
    delivery = '[delivery]\ncrs = "EPSG:2264"\nunit = "ft"\nvertical = "NAVD88"\nsupplier = "S"\n'
    mains = '[mains]\ncrs = "EPSG:2264"\nid = "MAIN_ID"\nupstream_manhole = "U"\ndownstream_manhole = "D"\nupstream_invert = "UI"\ndownstream_invert = "DI"\ndiameter = "DI_IN"\ndiameter_unit = "in"\nunit = "us-ft"\ndrawn = "upstream"\nvertical = "NAVD88"\nsigma = "0.3 ft"\ninvert_sigma = "2 cm"\nreach = "6 ft"\n'
    every = delivery + "[fields]\n" + "".join(f'{ours} = "{theirs}"\n' for ours, theirs in names.items()) + '[units]\ndiameter = "in"\nwall = "mm"\n[require]\nfields = ["diameter", "material"]\nhorizontal_95 = "3 ft"\ninvert_95 = "1 ft"\nmax_depth = "30 ft"\n' + mains
    yield every
    short = delivery + '[fields]\njob = "WORK_ORDER"\nrun = "LINE"\neasting = "X"\nnorthing = "Y"\ndepth = "DEPTH_FT"\ninvert = "INV_EL"\n'
    yield short
    yield short + 'diameter = "BAD"\n'
    for old, new in [('"ft"', '"yd"'), ("depth = ", "deep = "), ('"6 ft"', '"far"'), ('"in"', '"inch worm"'), ('"EPSG:2264"', '"EPSG:0"'), ('"upstream"', '"up"'), ('"0.3 ft"', '"-0.3 ft"'), ('"30 ft"', '"deep"'),
                     ('"2 cm"', '"x"'), ('"3 ft"', '"-3 ft"'), ('unit = "us-ft"', 'unit = "x"'), ('unit = "ft"', 'unit = "us-ft"'), ('unit = "ft"\n', ""), ("[mains]", "[main]")]:
        yield every.replace(old, new)


def layers():
    whole = ('crs = "EPSG:2264"\nunit = "us-ft"\nnear = "5 ft"\nlayer_column = "layer"\n[[file]]\nname = "p.geojson"\ncrs = "job"\nunit = "ft"\n[[file]]\nname = "q"\ncrs = "EPSG:4326"\n'
             '[[layer]]\nname = "water*"\nrole = "utility"\nkind = "water"\nname_column = "ID"\ndepth = { column = "DEPTH", unit = "ft", to = "axis", sigma = "0.5 ft" }\nelevation = { column = "ELEV", to = "bottom" }\n'
             'size = { column = "DIAM", unit = "in" }\nrequired = { horizontal = "10 ft", vertical = "18 in", source = "s" }\nsigma = "0.3 ft"\nnear = 30\n'
             '[[layer]]\nname = "gas*ma*n"\nrole = "utility"\ndepth = "4 ft"\nsize = { value = 8, unit = "in" }\nrequired = { vertical = 1 }\n[[layer]]\nname = "old"\nuse = false\n')
    roles = ["building", "boundary", "utility", "tree", "pavement", "excavation", "structure", "water", "other"]
    yield whole
    yield "".join(f'[[layer]]\nname = "{role}"\nrole = "{role}"\n' for role in roles) + '[[layer]]\nname = "*"\nnear = "100 ft"\n'
    for old, new in [('"us-ft"', '"yd"'), ('"5 ft"', '"near"'), ('"5 ft"', "inf"), ('"10 ft"', '"-1 ft"'), ('column = "DIAM", ', ""), ('column = "DIAM", ', 'value = 1, column = "DIAM", '), ('"DIAM"', '"BAD"'), ('"DEPTH"', '"BAD"'),
                     ('unit = "in"', 'unit = "x"'), ('"0.5 ft"', "-1"), ('"axis"', '"middle"'), ('"utility"', '"fish"'), ('"4 ft"', '"deep"'), ('"4 ft"', "4.5"), ('{ value = 8, unit = "in" }', "-2"), ("[[layer]]", "[[lair]]"), ("near = 30", "near = -30"),
                     ('"water*"', '"*"'), ('column = "DEPTH"', 'column = "NONE"'), ('"job"', '"EPSG:26917"')]:
        yield whole.replace(old, new)


def ties():
    plan = [(0, 0), (40, 0), (20, 30), (40, 30)]
    names = ["P1", "P2", "P3", "Q"]
    grid = [(1450200, 541690), (1450240, 541690), (1450220, 541720), (1450240, 541720)]
    row = lambda k, more="": f"{names[k]},{plan[k][0]},{plan[k][1]},{grid[k][0]},{grid[k][1]}{more}\n"
    head = "point,plan_x,plan_y,easting,northing"
    yield head + "\n" + "".join(row(k) for k in range(4))
    yield head + ",sigma\n" + "".join(row(k, ",0.1 ft") for k in range(4))
    yield "\ufeffPoint,Plan X,plan_y\nP1,0,0\nP2,40,0\nP3,20,30\n# c,1,2\n\nA1,0,10\n"
    yield head + "\n" + "".join(row(k) for k in range(3)) + "Q,41,33,1450240,541720\nR,20,0,1450220,541690\nT,0,30,1450200,541720\n"
    yield head + "\n" + "".join(row(k) for k in range(2)) + "P3,20,31,1450220,541720\n"
    yield head + "\n" + row(0) + row(1) + "P3,20,31,1450220,541720\nQ,45,30,1450240,541720\n"
    for bad in ["P1,0,0,1450200,\n", "P1,0,,1450200,541690\n", "P1,x,0,1450200,541690\n", "Z,0,0,,\n", ",0,0,1450200,541690\n", "P1,0,0,1450200,541690,9,9\n"]:
        yield head + "\n" + bad + "".join(row(k) for k in range(3))
    yield head + ",sigma\n" + row(0, ",0") + row(1, ",-1") + row(2, ",x")
    yield head + "\n" + row(0) * 3
    yield head + "\n" + row(0)
    yield "point,x,y\n1,2,3\n"


def positions():
    """Tables whose marks are placed by positions of their own."""
    head = "run,mark,counter,latitude,longitude,height,fix,depth_1,depth_2"
    of = lambda fix: [f"R{k // 3},M{k},{1 + 3 * k},{47.6 + 0.00003 * k:.9f},{-122.3 + 0.00002 * (k % 5):.9f},{74 + 0.01 * (k % 4):.3f},{fix},1.{5 + k % 2},1.55"
                      for k in range(12)]
    rows = of("rtk")
    yield "\n".join([head, *rows]) + "\n"
    yield "\r\n".join(["\ufeff" + head, *rows[:7]])
    yield "\n".join([head, *rows[:3], *of("single")[3:6], *of("float")[6:9], *of("")[9:]])
    yield "\n".join([head, *rows]).replace(",", ";").replace(".", ",")
    yield "\n".join([head + ",easting,northing,sigma,note", *(row + ",,,,n" for row in rows), "R9,M90,4,,,,,1.5,1.6,552000.5,5271900.25,0.05,", "R9,M91,7,,,,,,,552003.5,5271900.25,0.05,"])
    yield "\n".join(["mark,run,easting,northing,sigma,depth_1,ground", *(f"M{k},R{k // 4},{552000 + 3 * k}.5,{5271900 + k}.25,0.03,1.{4 + k % 3},74.{k}" for k in range(9))])
    yield "\n".join([head, *rows[:4], "", "# a comment", rows[4], *rows[5:9], rows[0]])
    yield "\n".join([head + ",tie_1_ref,tie_1,use", *(row + ",,,yes" for row in rows[:6]), rows[6] + ",M0,3.1,no"])


def inputs(new):
    for text in settings(new):
        yield "settings", text
    for text in [*fields(), *layers(), *ties()]:
        yield "fields", text.encode()

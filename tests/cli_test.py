#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Whole-program runs of the command line: exit statuses, messages, files, help and its examples.

usage: cli_test.py PROVEOUT DEMO_JOBS SHOP [NAME_PART | -NAME_PART]   (-: all but those)
Exit statuses are those of the program's contract (README): 0 clear, 1 ask, 2 stop, 3 no job, 4 usage, 5 own failure."""
import gzip
import atexit
import json
import os
import pty
import re
import shlex
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time
import traceback

PROVEOUT, DEMO_JOBS, SHOP = [os.path.abspath(p) for p in sys.argv[1:4]]
FEW = "--few" in sys.argv  # under sanitizers, where a start takes a tenth of a second: fewer verbs, no examples (the verbs' own tests do as much)
PART = ([a for a in sys.argv[4:] if a != "--few"] or [""])[0]
tests = []


def test(function):
    tests.append(function)
    return function


def run(*args, cwd=None, stdin=b"", env=None, timeout=60):
    clean = {k: v for k, v in os.environ.items() if k not in ("PROVEOUT_SHOP", "PROVEOUT_LEDGER", "PROVEOUT_BY", "PROVEOUT_CLOCK", "SOURCE_DATE_EPOCH", "NO_COLOR", "TZ")}
    clean.update(env or {})
    done = subprocess.run([PROVEOUT, *args], cwd=cwd, input=stdin, env=clean, capture_output=True, timeout=timeout)
    done.out, done.err = done.stdout.decode(), done.stderr.decode()
    return done


def expect(done, status, *pieces):
    said = done.out + done.err
    assert done.returncode == status, "status %d, wanted %d: %s" % (done.returncode, status, said[:600])
    for piece in pieces:
        assert piece in said, "%r is not said in: %s" % (piece, said[:600])
    if status >= 3:
        assert done.err, "an error that says nothing on standard error"
    assert len(done.err.splitlines()) < 30 and "Options" not in done.err, "an error that dumps the help"


def umask():
    mask = os.umask(0)
    os.umask(mask)
    return mask


def bracket():
    """A binary STL of a box of 60 x 40 x 30 mm."""
    p = [(60 * (i & 1), 40 * (i >> 1 & 1), 30 * (i >> 2)) for i in range(8)]
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    triangles = [t for a, b, c, d in faces for t in ((a, b, c), (a, c, d))]
    return b"bracket".ljust(80) + struct.pack("<I", 12) + b"".join(
        struct.pack("<12fH", 0, 0, 0, *p[a], *p[b], *p[c], 0) for a, b, c in triangles)


class Room:
    """A folder with the shop file and the demo's jobs, bracket.gcode among them."""

    jobs = None

    def __init__(self):
        self.path = tempfile.mkdtemp(prefix="cli-test-")
        shutil.copy(SHOP, os.path.join(self.path, "shop.yaml"))
        os.symlink(os.path.join(os.path.dirname(os.path.abspath(SHOP)), "training"), os.path.join(self.path, "training"))
        if not Room.jobs: # written once, linked into every room
            Room.jobs = tempfile.mkdtemp(prefix="cli-jobs-")
            atexit.register(shutil.rmtree, Room.jobs, True)
            subprocess.run([DEMO_JOBS, Room.jobs], check=True, capture_output=True)
        for name in os.listdir(Room.jobs):
            os.link(os.path.join(Room.jobs, name), os.path.join(self.path, name))
        shutil.copy(self.of("01-bracket.gcode"), self.of("bracket.gcode"))
        self.write("bracket.stl", bracket())

    def of(self, name):
        return os.path.join(self.path, name)

    def write(self, name, data):
        with open(self.of(name), "wb") as f:
            f.write(data if isinstance(data, bytes) else data.encode())
        return self.of(name)

    def names(self):
        return set(os.listdir(self.path))


room = None
COLD = "G28\nG90\nM82\nG1 X60 Y60 Z0.2 F3000\nG1 X90 Y60 E2 F1200\nG1 X90 Y90 E4\nG1 X60 Y90 E6\n"  # pushed cold: a stop


@test
def overview_and_version():
    done = run()
    assert done.returncode == 4 and "proveout check" in done.err and not done.out
    expect(run("--help"), 0, "proveout check", "shop show", "Exit status")
    expect(run("-h"), 0, "proveout check")
    done = run("--version")
    assert done.returncode == 0 and re.fullmatch(r"proveout \d+\.\d+\.\d+\n", done.out), done.out


def verbs():
    """All of them; of a family ("spool") the overview has one line, and its help has each."""
    names = []
    for line in run("help").out.splitlines():
        if line.startswith("  proveout ") and "--version" not in line:
            first = line.split()[1]
            names += re.findall(r"(?:^|\n\n)proveout ([a-z-]+(?: [a-z-]+)?)(?=\n| [A-Z\[])", run("help", first).out)
    return list(dict.fromkeys(names))


def of_the_desk(name):
    return "--ledger FILE" in run("help", *name.split()).out and name.split()[0] not in ("check", "tram", "tune")  # those need no book


@test
def every_verb_explains_itself():
    names = verbs()
    assert "check" in names and "shop check" in names and len(names) >= 5, names
    for name in names[::4] if FEW else names:
        done = run(*name.split(), "--help")
        expect(done, 0, "proveout " + name, "Examples")
        assert run("help", *name.split()).out == done.out
        assert max(map(len, done.out.splitlines())) <= 90
        # every option that is refused or known is known to the parser too
        for option in re.findall(r"^  --([a-z0-9-]+)", done.out, re.M):
            said = run(*name.split(), "--" + option).err
            assert "has no option" not in said, (name, option, said)
    expect(run("help", "shop"), 0, "shop check", "shop show")
    expect(run("shop", "--help"), 0, "shop check", "shop show")
    expect(run("help", "chek"), 4, '"check"')


def examples(name):
    return [shlex.split(line)[1:] for line in run(*name.split(), "--help").out.splitlines()
            if line.startswith("  proveout ")]


def seeded(book):
    """A book that the examples of the desk's verbs find their people and things in."""
    for words in ["ledger new", "member enrol 10041 --name Quay", "permit grant 10041 starter", "stick add A1 Alder",
                  "stick add C9 Cedar", "spool add S12 --material petg --tare 230 --gross 1090", "machine fit Alder --spool S12",
                  "course open lamps-1 --title Lamps", "group open quay-cats --title Cats",
                  "fund open outreach --title Days"]:
        done = run(*words.split(), "--ledger", book, "--by", "keeper", cwd=room.path)
        assert done.returncode == 0, (words, done.err)


@test
def examples_of_the_help_run():
    book = room.of("desk.db")
    seeded(book)
    for name, slope in (("bed.txt", 0.001), ("again.txt", 0.0001)):
        room.write(name, "".join("%d %d %.4f\n" % (x, y, slope * x) for x in (-50, 50, 150) for y in (-50, 50, 150)))
    for name in verbs():
        for words in [] if of_the_desk(name) else examples(name):
            done = run(*words, cwd=room.path)
            assert done.returncode <= 2, (words, done.returncode, done.err)
            assert done.out or "--svg" in words or "--html" in words, words


@test
def examples_of_the_desk_run():
    """Each is understood (never wrong usage), and most can be done: a few name runs that this book does not have."""
    shutil.copy(room.of("01-bracket.gcode"), room.of("bracket.gcode"))
    room.write("belt.jpg", COLD)
    room.write("members.csv", "member,name,permissions\n10077,Kay,starter\n")
    room.write("results.csv", "member,study,passed,date\n10041,two-materials,yes,2026-11-20\n")
    os.makedirs(room.of("media/a1"))
    os.makedirs(room.of("media/usb"))
    with open(SHOP, encoding="utf-8") as f:
        room.write("shop.yaml", f.read().replace("/media/", room.path + "/media/") +
                   "\noutbox: {command: /bin/true, on: true}\n")
    os.makedirs(room.of("media/safe"), exist_ok=True)
    book, n, refused = room.of("book.db"), 0, []
    seeded(book)
    expect(run("backup", "desk-2026-11-30.db", "--ledger", book, cwd=room.path), 0)
    reserved = 0
    while reserved < 13:  # examples name runs 12 and 13
        done = run("run", "reserve", "10041", "3", "--machine", "Alder", "--ledger", book, "--json", cwd=room.path)
        assert done.returncode == 0 and json.loads(done.out)["run"] > reserved, done
        reserved = json.loads(done.out)["run"]
    for name in verbs():
        if name.split()[0] == "desk":  # a server that runs until it is told to stop, and a password to type: desk_server_test.py
            continue
        named = re.findall(r"^  --([a-z-]+)", run("help", *name.split()).out, re.M)
        assert len(named) == len(set(named)), (name, named)  # one option, one meaning
        takes_by = "--by WHO" in run("help", *name.split()).out
        for words in examples(name) if of_the_desk(name) else []:
            words = [room.path + w if w.startswith("/media") else w for w in words]
            words += [] if "--ledger" in words else ["--ledger", book]
            words += ["--by", "keeper"] if takes_by and "--by" not in words else []
            done = run(*words, cwd=room.path)
            no_stick = words[:2] == ["stick", "clear"]  # A1 was assigned to Birch: its files are not touched where Alder's shows
            assert done.returncode <= 2 or no_stick, (words, done.returncode, done.err)
            n += 1
            refused += [" ".join(words)] if done.returncode == 2 else []
    assert n > 60 and len(refused) < n / 3, (n, refused)
    expect(run("ledger", "verify", "--ledger", book), 0)


@test
def wrong_usage():
    for args, pieces in [
        (["chek", "x"], ['"chek"', '"check"']),
        (["shop"], ["shop check"]),
        (["shop", "shwo"], ["shop show"]),
        (["check"], ["FILE"]),
        (["check", "--matrial", "pla", "x"], ["--matrial", "--material"]),
        (["check", "-m", "x"], ["-m", "two dashes"]),
        (["check", "x", "--machine"], ["--machine needs NAME"]),
        (["check", "--json=yes", "x"], ["takes no value"]),
        (["check", "--json", "--json", "x"], ["given twice"]),
        (["check", "--json", "--text", "x"], ["exclude"]),
        (["check", "--machine", "Adler", "bracket.gcode"], ['"Adler"', '"Alder"']),
        (["check", "--material", "pteg", "bracket.gcode"], ['"pteg"', '"petg"']),
        (["check", "--material", "petg,", "bracket.gcode"], ["material"]),
        (["check", "--machine", "Alder", "--material", "petg,pla", "bracket.gcode"], ["1 nozzle", "2 materials"]),
        (["check", "--recipe", "evryday", "bracket.gcode"], ['"everyday"']),
        (["check", "--permission", "startr", "bracket.gcode"], ['"starter"']),
        (["check", "--spool-g", "-3", "bracket.gcode"], ["--spool-g -3"]),
        (["check", "--spool-g", "nan", "bracket.gcode"], ["--spool-g nan"]),
        (["check", "--threads", "0", "bracket.gcode"], ["1 to 64"]),
        (["check", "--threads", "2.5", "bracket.gcode"], ["1 to 64"]),
        (["check", "--start", "25:00", "bracket.gcode"], ["15:10"]),
        (["check", "--start", "2026-02-29T10:00", "bracket.gcode"], ["exist"]),
        (["check", "--picture", "x.gif", "bracket.gcode"], [".svg or .png"]),
        (["check", "--html", "a.html", "bracket.gcode", "bracket.gcode"], ["one file"]),
        (["check", "--json", "--html", "-", "bracket.gcode"], ["one kind"]),
        (["check", "-", "-"], ["once"]),
        (["check", "--member", "7", "bracket.gcode"], ["no book", "--ledger"]),
        (["check", "--spool", "7", "bracket.gcode"], ["no book", "--ledger"]),
        (["check", "--ledger", "x", "bracket.gcode"], ["no book at x", "ledger new"]),
        (["check", "--against", "x.stl", "bracket.gcode"], ["x.stl"]),
        (["check", "not-there.gcode"], ["not-there.gcode"]),
        (["check", "."], ["folder"]),
        (["explain", "sleep-overhang"], ['"steep-overhang"']),
        (["explain", "--svg", "x.svg"], ["name of a finding"]),
        (["shop", "check", "a", "b"], ["no more than [FILE]; 2 were given"]),
        (["shop", "show", "x"], ["takes options only, such as --"]),
    ]:
        before = room.names()
        try:
            expect(run(*args, cwd=room.path), 4, *pieces)
        except AssertionError as e:
            raise AssertionError("%s: %s" % (args, e))
        assert room.names() == before, "a failed call left a file"


@test
def which_shop_file():
    with tempfile.TemporaryDirectory() as empty:
        job = room.of("bracket.gcode")
        expect(run("check", job, cwd=empty), 4, "--shop FILE", "PROVEOUT_SHOP", "shop.yaml")
        expect(run("check", job, "--shop", "none.yaml", cwd=empty), 4, "none.yaml")
        expect(run("check", job, cwd=empty, env={"PROVEOUT_SHOP": "none.yaml"}), 4, "none.yaml", "PROVEOUT_SHOP")
        assert run("shop", "show", cwd=empty, env={"PROVEOUT_SHOP": SHOP}).returncode == 0
        assert run("shop", "show", cwd=room.path).returncode == 0
        other = open(SHOP).read().replace("name: Quayside Workshop", "name: Another")
        open(os.path.join(empty, "shop.yaml"), "w").write(other)
        expect(run("shop", "show", cwd=empty), 0, "Another")
        expect(run("shop", "show", cwd=empty, env={"PROVEOUT_SHOP": SHOP}), 0, "Quayside Workshop")
        expect(run("shop", "show", "--shop=shop.yaml", cwd=empty, env={"PROVEOUT_SHOP": SHOP}), 0, "Another")


@test
def faulty_shop_file():
    text = open(SHOP).read()
    broken = text.replace("height: 230", "hight: 230").replace("density_g_cm3: 1.27", "density_g_cm3: 127")
    broken = broken.replace("  grades: {}", "  grades: {steep-overhangs: off}")
    lines = broken.splitlines()

    def place(piece):
        line = next(i for i, l in enumerate(lines) if piece in l)
        return line + 1, lines[line].index(piece) + 1

    path = room.write("broken.yaml", broken)
    done = run("shop", "check", path)
    assert done.returncode == 4
    line, column = place("hight")
    assert "%s:%d:%d: machines[0].hight: " % (path, line, column) in done.out and "height" in done.out
    line, column = place("127,")
    assert "%s:%d:%d: materials.petg.density_g_cm3: " % (path, line, column) in done.out
    done = run("check", room.of("bracket.gcode"), "--shop", path)
    expect(done, 4, "machines[0].hight", "materials.petg.density_g_cm3")
    answer = json.loads(run("shop", "check", "--json", path).stdout)
    assert answer["format"] == "proveout/shop-check/1" and len(answer["faults"]) == 3, answer
    assert all(set(f) == {"line", "column", "key", "found", "expected"} for f in answer["faults"])
    # names of findings are the program's to check
    path = room.write("grades.yaml", text.replace("  grades: {}", "  grades: {steep-overhangs: off}"))
    lines = open(path).read().splitlines()
    line, column = place("steep-overhangs")
    done = run("shop", "check", path)
    assert done.returncode == 4 and "%s:%d:%d: rules.grades.steep-overhangs: " % (path, line, column) in done.out, done.out
    assert "steep-overhang\n" in done.out
    expect(run("shop", "check", SHOP), 0, "no faults", "5 machines")
    assert json.loads(run("shop", "check", "--json", SHOP).stdout)["faults"] == []
    for name, data in [("empty.yaml", b""), ("bytes.yaml", bytes(range(256))), ("list.yaml", b"- 1\n")]:
        assert run("shop", "check", room.write(name, data)).returncode == 4


@test
def shop_as_json():
    shop = json.loads(run("shop", "show", "--json", "--shop", SHOP).stdout)
    assert shop["format"] == "proveout/shop/1"
    assert [m["name"] for m in shop["machines"]] == ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]
    assert shop["machines"][4]["reach"]["x"] == [-135, 135] and shop["machines"][4]["head"] is None
    assert shop["materials"][0]["density_g_cm3"] == 1.27 and shop["hours"]["sunday"] == []
    assert shop["machines"][0]["motion"]["corner"] == {"rule": "step", "x": 9, "y": 9, "z": 0.4, "e": 4}


@test
def what_the_desk_lives_by():
    """The book, the outbox, causes, limits, sticks, panels and lapsing permissions, as given and by default."""
    text = """
shop: {name: Shed, ledger: book/shed.db, beyond: charge}
hours: {}
rules: {counts_when_failed: [unknown, file], rerun_first: [], gap_check_days: 90, shelf_places: 1, spool_low_g: 7.5}
outbox: {command: send-note --to desk, on: true, texts: {done: 'Run {run}: {metres} m', hands: "two\\nlines"}}
permissions: {starter: {lapses: term}, more: {lapses: {months: 6}, implies: [starter]}, plain: {}}
materials: {pla: {density_g_cm3: 1.24, nozzle_c: [190, 220], bed_c: [45, 60], glass_c: 60}}
machines:
  - &one
    name: Alder
    bed: {shape: circle, diameter: 100}
    height: 90
    nozzles: [{diameter: 0.4, hottest_c: 260, melt_mm3_s: 11}]
    bed_hottest_c: 90
    materials: [pla]
    motion: {feed_mm_s: &four {x: 100, y: 100, z: 10, e: 50}, accel_mm_s2: *four, print_mm_s2: 1000,
             corner: {rule: deviation, mm: 0.05}}
  - {<<: *one, name: Birch, stick: {label: B1, mount: /media/b1}, panel: {columns: 16, ascii: false}}
  - {<<: *one, name: Cedar, stick: {mount: /media/c}}
"""
    path = room.write("desk.yaml", text)
    shop = json.loads(run("shop", "show", "--json", "--shop", path).stdout)
    assert (shop["shop"]["ledger"], shop["shop"]["beyond"]) == ("book/shed.db", "charge")
    rules = shop["rules"]
    assert (rules["counts_when_failed"], rules["rerun_first"]) == (["file", "unknown"], [])
    assert [rules[k] for k in ("gap_check_days", "shelf_places", "spool_low_g")] == [90, 1, 7.5]
    assert [rules[k] for k in ("spool_reserve_g", "shelf_days", "ticket_claim_minutes", "no_shows_most",
                               "no_show_days", "old_job_days", "photo_most_mb", "attachments_most_gb")] == \
        [5, 7, 15, 2, 30, 30, 10, 20]
    assert (shop["outbox"]["command"], shop["outbox"]["on"]) == ("send-note --to desk", True)
    assert list(shop["outbox"]["texts"]) == ["failed", "done", "collect", "hands", "ticket"]
    assert shop["outbox"]["texts"]["done"] == "Run {run}: {metres} m"
    assert [p["lapses"] for p in shop["permissions"]] == ["term", {"months": 6}, "never"]
    assert [m["stick"]["label"] for m in shop["machines"]] == [None, "B1", None]
    assert shop["machines"][1]["stick"]["mount"] == "/media/b1"
    assert [m["panel"] for m in shop["machines"][:2]] == [{"columns": 20, "ascii": True},
                                                         {"columns": 16, "ascii": False}]
    expect(run("shop", "show", "--shop", path), 0, "book: book/shed.db", "the member pays", "outbox: on",
           "command: send-note --to desk", "hands    two\n           lines\n", "stick B1 at /media/b1; its panel shows 16",
           "lapses with the term", "lapses after 6 months; implies starter", "a gap check holds 90 days",
           "counts after: file, unknown; its rerun goes first after: no cause", "1 place on the shelf",
           "below 7.5 g")
    plain = room.write("plain.yaml", re.sub("(?m)^(rules|outbox): .*$", "", text))
    expect(run("shop", "show", "--shop", plain), 0, "a gap check holds until something changes", "never lapses",
           "outbox: off; command: none", "no stick named", "stick without a label at /media/c")
    text = text.replace("{metres} m", "{meters} m").replace("label: B1", "label: [B1]").replace("gap_check", "gapcheck")
    done = run("shop", "check", room.write("faulty.yaml", text))
    for piece in ("outbox.texts.done: found the unknown word {meters}, expected a known word in braces; the nearest is "
                  "{metres}\n", "machines[1].stick.label: found a list of 1, expected a name of 1 to 60 characters\n",
                  "rules.gapcheck_days: found the unknown key", "3 faults\n"):
        assert done.returncode == 4 and piece in done.out, done.out


@test
def explanations():
    done = run("explain", "--json")
    names = [f["name"] for f in json.loads(done.stdout)["findings"]]
    assert len(names) > 40 and len(set(names)) == len(names)
    listed = run("explain").out
    for name in names:
        assert "  %s\n" % name in listed
        text, answer = run("explain", name), json.loads(run("explain", name, "--json").stdout)
        expect(text, 0, name, "What helps")
        assert answer["format"] == "proveout/finding/1" and answer["name"] == name and answer["grade"] in text.out
        assert len(answer["remedy"]) >= 8 and len(answer["cause"]) > 10
    drawn = 0
    for name in names:
        done = run("explain", name, "--svg", "-")
        assert done.returncode in (0, 4)
        if done.returncode == 0:
            drawn += 1
            assert done.out.lstrip().startswith(("<?xml", "<svg")) and "</svg>" in done.out
        else:
            assert "no drawing" in done.err
    assert drawn > 0


@test
def verdicts_and_statuses():
    cold = room.write("cold.gcode", COLD)
    good = room.of("bracket.gcode")
    one = lambda *a: run("check", "--shop", SHOP, *a)
    done = one("--machine", "Alder", good)
    assert done.returncode in (0, 1) and "Alder" in done.out, done.out + done.err
    clear = done.returncode
    expect(one("--machine", "alder", cold), 2, "pushes-cold")
    assert one("--machine", "Alder", good, cold).returncode == 2, "several files: the worst"
    assert one("--machine", "Alder", cold, good).returncode == 2
    text = room.write("letter.txt", "Dear desk,\nplease print the attached.\n")
    expect(one("--machine", "Alder", text), 3, "letter.txt")
    expect(one(room.write("nothing.gcode", "")), 3, "nothing.gcode")
    expect(one(room.write("comments.gcode", "; only words\n")), 3)
    assert one("--machine", "Alder", cold, text).returncode == 3
    assert one("--machine", "Alder", text, "no-such-file").returncode == 4
    # every machine: a row each, the status is that of the best
    done = one(good)
    rows = [json.loads(one("--json", "--machine", m, good).stdout)["verdict"] for m in ("Alder", "Birch", "Cedar", "Dogwood", "Elm")]
    assert done.returncode == min(["clear", "ask", "stop"].index(v) for v in rows), (done.returncode, rows)
    for name in ("Alder", "Birch", "Cedar", "Dogwood", "Elm"):
        assert name in done.out
    assert done.returncode <= clear
    # the wrong material is proved all the same
    done = one("--machine", "Alder", "--material", "tpu", good)
    expect(done, 2, "wrong-material")
    # what a member lacks
    expect(one("--machine", "Dogwood", "--permission", "starter", good), 2, "not-permitted")
    assert "not-permitted" not in one("--machine", "Alder", "--permission", "two-material", good).out
    expect(one("--machine", "Alder", "--permission", "", good), 2, "not-permitted")
    assert "spool-short" in one("--machine", "Alder", "--spool-g", "1", good).out
    assert "spool-short" not in one("--machine", "Alder", "--spool-g", "999", good).out


@test
def json_of_jobs():
    good, cold = room.of("bracket.gcode"), room.write("cold.gcode", COLD)
    done = run("check", "--json", "--shop", SHOP, "--machine", "Alder", good, cold)
    lines = done.out.splitlines()
    assert len(lines) == 2
    first = json.loads(lines[0])
    assert first["format"] == "proveout/job-proof/1" and first["machine"] == "Alder" and first["materials"] == ["petg"]
    assert first["file"] == good and first["bytes"] == os.path.getsize(good)
    every = json.loads(run("check", "--json", "--shop", SHOP, good).stdout)
    assert [m["machine"] for m in every["machines"]] == ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]
    assert every["machines"][0]["facts"] == first["facts"], "one machine or all: the same facts"
    assert every["machines"][3]["materials"] == ["petg", "petg"]
    done = run("check", "--json", "--shop", SHOP, room.write("letter.txt", "hello\n"))
    answer = json.loads(done.stdout)
    assert done.returncode == 3 and answer["format"] == "proveout/no-proof/1" and answer["exit"] == 3


@test
def same_answer_with_any_number_of_threads():
    answers = {run("check", "--json", "--shop", SHOP, "--threads", str(n), room.of("02-box-with-lid.gcode")).stdout for n in (1, 2, 7)}
    assert len(answers) == 1


@test
def standard_input_and_packed_files():
    good = room.of("bracket.gcode")
    data = open(good, "rb").read()
    args = ["check", "--json", "--shop", SHOP, "--machine", "Alder"]
    plain = json.loads(run(*args, good).stdout)
    assert len(data) > 65536, "the job should be longer than what is looked at"
    for stdin in (data, data[:2000]):
        piped = json.loads(run(*args, "-", stdin=stdin).stdout)
        assert piped["file"] == "-" and piped["bytes"] == len(stdin)
    piped = json.loads(run(*args, "-", stdin=data).stdout)
    assert piped["facts"] == plain["facts"] and piped["sha256"] == plain["sha256"]
    with open(good, "rb") as f:
        done = subprocess.run([PROVEOUT, *args, "-"], stdin=f, capture_output=True)
    assert json.loads(done.stdout)["facts"] == plain["facts"]
    packed = json.loads(run(*args, room.write("packed.gcode", gzip.compress(data))).stdout)
    assert packed["facts"] == plain["facts"]
    expect(run(*args, room.write("short.gcode.gz", gzip.compress(data)[:-3000])), 3)


def stl(n, noise=b""):
    return noise.ljust(80, b" ") + struct.pack("<I", n) + b"".join(
        struct.pack("<12fH", 0, 0, 1, 0, i, 0, 9, i, 0, 0, i + 1, 0, 0) for i in range(n))


@test
def parts_are_told_from_their_bytes():
    cases = {
        "binary.gcode": stl(12), "solid.stl": stl(12, b"solid"), "long.stl": stl(3000),
        "text.stl": b"solid x\n facet normal 0 0 1\n  outer loop\n   vertex 0 0 0\n   vertex 1 0 0\n   vertex 0 1 0\n"
                    b"  endloop\n endfacet\nendsolid x\n",
    }
    for name, data in cases.items():
        for done in (run("check", "--shop", SHOP, "--json", room.write(name, data)),
                     run("check", "--shop", SHOP, "--json", "-", stdin=data)):
            assert json.loads(done.out)["format"] == "proveout/part-proof/1", (name, done.out[:300], done.err)
    import io
    import zipfile
    for entry, word in (("3D/3dmodel.model", "3MF"), ("letter.txt", "zip archive")):
        box = io.BytesIO()
        with zipfile.ZipFile(box, "w") as z:
            z.writestr(entry, "<model/>")
        expect(run("check", "--shop", SHOP, room.write("box.gcode", box.getvalue())), 3, word)
        expect(run("check", "--shop", SHOP, "-", stdin=box.getvalue()), 3, word)
    # a job whose name says otherwise is a job
    shutil.copy(room.of("bracket.gcode"), room.of("job.stl"))
    assert run("check", "--shop", SHOP, room.of("job.stl")).returncode <= 2


@test
def files_are_written_whole():
    good = room.of("bracket.gcode")
    args = ["check", "--shop", SHOP, "--machine", "Alder", good]
    plain = run(*args).returncode
    before = room.names()
    done = run(*args, "--html", "slip.html", "--pdf", "slip.pdf", "--picture", "slip.svg", cwd=room.path)
    assert done.returncode == plain and not done.out, done.err
    assert run(*args, "--picture", "slip.png", cwd=room.path).returncode == plain
    made = {"slip.html", "slip.pdf", "slip.svg", "slip.png"}
    assert room.names() == before | made, room.names() - before
    read = lambda n: open(room.of(n), "rb").read()
    assert read("slip.pdf").startswith(b"%PDF-") and read("slip.png").startswith(b"\x89PNG\r\n\x1a\n")
    assert b"</html>" in read("slip.html") and b"</svg>" in read("slip.svg")
    assert os.stat(room.of("slip.html")).st_mode & 0o777 == 0o666 & ~umask()
    # a file that can't be written is said, and what stood there stays
    expect(run(*args, "--html", "no/such/folder/slip.html", cwd=room.path), 5, "no/such/folder/slip.html")
    old = room.write("old.html", "old")
    os.symlink("old.html", room.of("link.html"))
    assert run(*args, "--html", "link.html", cwd=room.path).returncode == plain
    assert os.path.islink(room.of("link.html")) and b"</html>" in open(old, "rb").read()
    assert not [n for n in room.names() if n.startswith("slip.html.") or n.startswith("old.html.")]
    assert b"</svg>" in run("explain", "steep-overhang", "--svg", "-").stdout
    full = subprocess.run([PROVEOUT, *args], stdout=open("/dev/full", "w"), stderr=subprocess.PIPE)
    assert full.returncode == 5 and b"can" in full.stderr or b"could not be written" in full.stderr


@test
def start_times():
    good = room.of("bracket.gcode")
    args = ["check", "--shop", SHOP, "--machine", "Alder", good]
    epoch = {"SOURCE_DATE_EPOCH": "1795705800"}  # 2026-11-26 15:10 UTC, winter: London's clock shows the same
    said = run(*args, "--start", "2026-11-26T15:10").out
    assert run(*args, "--start", "now", env=epoch).out == said
    assert run(*args, "--start", "15:10", env=epoch).out == said
    assert run(*args, "--start", "now", env={**epoch, "TZ": "Asia/Tokyo"}).out == said, "the shop's clock, not the caller's"
    assert said != run(*args).out
    shop = room.write("zone.yaml", open(SHOP).read().replace("Europe/London", "Nowhere/Town"))
    expect(run("check", "--shop", shop, "--start", "now", good), 4, "Nowhere/Town")


def on_terminal(args, env=None):
    """What the program writes when both its outputs are a terminal."""
    pid, master = pty.fork()
    if pid == 0:
        os.environ.update({"TERM": "xterm", **(env or {})})
        os.execv(PROVEOUT, [PROVEOUT, *args])
    data = b""
    while True:
        try:
            block = os.read(master, 65536)
        except OSError:
            break
        if not block:
            break
        data += block
    os.waitpid(pid, 0)
    os.close(master)
    return data


@test
def colour_only_on_a_terminal():
    args = ["check", "--shop", SHOP, "--machine", "Alder", room.of("bracket.gcode")]
    os.environ.pop("NO_COLOR", None)
    assert b"\x1b[" in on_terminal(args)
    assert b"\x1b[" not in on_terminal(args, {"NO_COLOR": "1"})
    assert b"\x1b[" not in on_terminal(args, {"TERM": "dumb"})
    assert b"\x1b[" not in run(*args).stdout


@test
def names_do_not_steer_the_terminal():
    done = run("check", "--shop", SHOP, "--machine", "A\x1b[2Jder", room.of("bracket.gcode"))
    assert done.returncode == 4 and "\x1b" not in done.err
    done = run("check", "--shop", SHOP, "no\x1b[2Jfile")
    assert done.returncode == 4 and "\x1b" not in done.err
    shutil.copy(room.of("bracket.gcode"), room.of("b\x1b[2J.gcode"))
    done = run("check", "--shop", SHOP, room.of("b\x1b[2J.gcode"))
    assert done.returncode <= 2 and "\x1b" not in done.out + done.err


@test
def interrupt_ends_cleanly():
    before = room.names()
    program = subprocess.Popen([PROVEOUT, "check", "--shop", SHOP, "--machine", "Alder", "--html", "late.html", "-"],
                               cwd=room.path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    head = open(room.of("bracket.gcode"), "rb").read()
    stop = time.monotonic() + 2
    sent = False
    try:
        while time.monotonic() < stop + 20:
            program.stdin.write(head)
            if not sent and time.monotonic() > stop - 1:
                program.send_signal(signal.SIGINT)
                sent = True
            if program.poll() is not None:
                break
    except BrokenPipeError:
        pass
    try:
        program.stdin.close()
    except BrokenPipeError:
        pass
    assert sent and program.wait(20) == -signal.SIGINT, program.returncode
    assert not program.stdout.read()
    assert room.names() == before, "half a file was left"
    # also while it waits for more of its input
    program = subprocess.Popen([PROVEOUT, "check", "--shop", SHOP, "-"], cwd=room.path, stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    program.stdin.write(head[:100])
    program.stdin.flush()
    time.sleep(0.5)
    program.send_signal(signal.SIGINT)
    assert program.wait(5) == -signal.SIGINT


@test
def small_jobs_are_quick():
    """A job of about 1 MB checks faster than a bare Python starts, with some room for a busy machine."""
    job = open(room.of("bracket.gcode"), "rb").read()
    path = room.write("mb.gcode", job[:1000000])
    best = min(timed([PROVEOUT, "check", "--shop", SHOP, "--machine", "Alder", path]) for _ in range(5))
    bare = min(timed([sys.executable, "-c", "pass"]) for _ in range(5))
    print("  %.0f kB checked in %.1f ms; a bare python starts in %.1f ms" % (os.path.getsize(path) / 1000, best * 1e3, bare * 1e3))
    start = min(timed([PROVEOUT, "--version"]) for _ in range(5))
    assert start < max(0.02, bare), "starting alone takes %.1f ms" % (start * 1e3)


def timed(args):
    begin = time.perf_counter()
    subprocess.run(args, capture_output=True)
    return time.perf_counter() - begin


def main():
    global room
    failed = 0
    chosen = [t for t in tests if not (FEW and t.__name__.startswith("examples_")) and (PART[1:] not in t.__name__ if PART.startswith("-") else PART in t.__name__)]
    for t in chosen:
        room = Room()
        try:
            t()
        except Exception as e:  # noqa: BLE001 - each test is told, then the next one runs
            failed += 1
            line = [f.lineno for f in traceback.extract_tb(e.__traceback__) if f.name == t.__name__][-1:]
            print("FAILED %s, line %s: %s: %s" % (t.__name__, line, type(e).__name__, str(e)[:1500]))
        finally:
            shutil.rmtree(room.path, ignore_errors=True)
    print("%d tests passed, %d failed" % (len(chosen) - failed, failed))
    return 1 if failed or not chosen else 0


if __name__ == "__main__":
    sys.exit(main())

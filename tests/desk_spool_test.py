#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""proveout spool and ledger attach, files, file, detach, tidy through the binary: text, JSON, exit statuses, files on disk.

usage: desk_spool_test.py PROVEOUT SHOP
Invented spools and files. Lengths are worked out here from m = L pi/4 d^2 density; hashes with Python's hashlib."""
import hashlib
import json
import math
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import time

PROVEOUT, SHOP = [os.path.abspath(p) for p in sys.argv[1:3]]
where = os.path.realpath(tempfile.mkdtemp(prefix="desk-spool-"))
book = os.path.join(where, "book.db")
with open(SHOP) as f:
    text = f.read()
assert "\nrules:\n" in text
with open(os.path.join(where, "shop.yaml"), "w") as f:
    f.write(text.replace("\nrules:\n", "\nrules:\n  photo_most_mb: 0.01\n  attachments_most_gb: 0.001\n  spool_low_g: 150\n"))
ENV = {"PATH": os.environ["PATH"], "PROVEOUT_SHOP": os.path.join(where, "shop.yaml"), "PROVEOUT_LEDGER": book,
       "PROVEOUT_CLOCK": "2026-11-26T15:10"}
for name in ("ASAN_OPTIONS", "UBSAN_OPTIONS", "LSAN_OPTIONS", "TMPDIR"):
    if name in os.environ:
        ENV[name] = os.environ[name]
passed, failed = 0, 0


def run(*args, status=0, clock=None):
    env = dict(ENV, PROVEOUT_CLOCK=clock) if clock else ENV
    done = subprocess.run([PROVEOUT, *args], capture_output=True, cwd=where, timeout=60, env=env)
    assert done.returncode == status, (args, done.returncode, done.stdout.decode(), done.stderr.decode())
    return done.stdout.decode() + done.stderr.decode()


def asked(*args, status=0, clock=None):
    return json.loads(run(*args, "--json", status=status, clock=clock).splitlines()[0])


def words(text):
    return " ".join(text.split())


def spool(name):
    return asked("spool", "show", name)["spool"]


def put(name, data):
    with open(os.path.join(where, name), "wb") as f:
        f.write(data)
    return hashlib.sha256(data).hexdigest()


def kept(sha):
    return os.path.join(book + ".files", sha[:2], sha)


def make_old(path):
    os.utime(path, (time.time() - 3700,) * 2)


def added():
    out = words(run("spool", "add", "S1", "--material", "PETG", "--colour", "dark blue", "--lot", "L7", "--tare", "230",
                    "--gross", "1228.5", "--net", "1000", "--price", "19.50"))
    assert "Spool S1 of petg is in the book and holds 998.5 g. Booked as event" in out, out
    s = spool("S1")
    assert (s["left_mg"], s["drift_mg"], s["tare_mg"], s["price_minor_kg"]) == (998500, -1500, 230000, 1950), s
    assert (s["diameter_um"], s["density_mg_cm3"], s["lot"], s["state"]) == (1750, 1270, "L7", "sealed"), s
    assert abs(s["left_um"] / 1e6 - 998.5 / (math.pi / 4 * 1.75**2 * 1.27)) < 1e-6, s
    out = run("spool", "add", "S2", "--material", "pla", "--diameter", "1.72", "--density", "1.31")
    assert "holds" not in out, out
    s = spool("S2")
    assert (s["diameter_um"], s["density_mg_cm3"], s["left_mg"], s["low"]) == (1720, 1310, None, None), s
    assert "What is left on it is not known." in run("spool", "show", "S2")
    assert "never weighed" in run("spool", "show", "S2")
    run("spool", "add", "S3", "--material", "tpu", "--net", "149.999")
    assert "there is a spool S1 already" in run("spool", "add", "S1", "--material", "pla", status=2)
    assert "100 g with filament is less than the 230 g of the empty spool" in run(
        "spool", "add", "S9", "--material", "pla", "--tare", "230", "--gross", "100", status=4)
    assert "--material NAME is missing" in run("spool", "add", "S9", status=4)
    assert "the nearest is petg" in run("spool", "add", "S9", "--material", "petgg", status=4)
    assert "expected grams" in run("spool", "add", "S9", "--material", "pla", "--net", "1kg", status=4)
    assert "there is no spool S9" in run("spool", "show", "S9", status=2)


def listed():
    out = run("spool", "list").splitlines()
    assert out[0].split()[:5] == ["Spool", "Material", "Colour", "State", "Left"], out
    assert re.search(r"^S3\s+tpu\s+sealed\s+150 g\s+[\d.]+ m\s+low", out[3]), out
    assert [s["spool"] for s in asked("spool", "list", "--low")["spools"]] == ["S3"]
    assert [s["spool"] for s in asked("spool", "list", "--material", "petg")["spools"]] == ["S1"]
    page = asked("spool", "list", "--limit", "2")
    assert page["more"] and [s["spool"] for s in page["spools"]] == ["S1", "S2"], page
    assert "There are more: --after S2 goes on." in run("spool", "list", "--limit", "2")
    assert [s["spool"] for s in asked("spool", "list", "--limit", "2", "--after", "S2")["spools"]] == ["S3"]
    assert "no such spool" in run("spool", "list", "--state", "empty")
    assert run("spool", "list", "--state", "gone", status=4)


def weighed():
    out = run("spool", "weigh", "S2", "742", status=2)
    assert "what S2 weighs when it is empty; give its tare" in out, out
    refusal = asked("spool", "weigh", "S2", "742", status=2)
    assert refusal["format"] == "proveout/refusal/1" and refusal["field"] == "tare_mg", refusal
    assert "Spool S2 holds 512 g. Booked" in words(run("spool", "weigh", "S2", "742", "--tare", "230"))
    out = words(run("spool", "weigh", "S2", "700.5", clock="2026-11-27T10:00"))
    assert "Spool S2 holds 470.5 g. The book said 512 g: drift -41.5 g." in out, out
    shown = run("spool", "show", "S2", clock="2026-11-27T10:05")
    assert re.search(r"^10:00 +700\.5 g +230 g +470\.5 g +512 g +-41\.5 g +desk$", shown, re.M), shown
    assert re.search(r"^Thu 26 Nov 15:10 +742 g +230 g +512 g +desk$", shown, re.M), shown
    whole = asked("spool", "show", "S2", "--limit", "1")
    assert whole["more"] and [w["drift_mg"] for w in whole["weighings"]] == [-41500], whole
    event = asked("spool", "weigh", "S2", "600", clock="2026-11-27T11:00")["event"]
    run("ledger", "undo", str(event), clock="2026-11-27T11:01")
    assert spool("S2")["left_mg"] == 470500


def on_machines_and_dried():
    late = "2026-11-27T12:00"
    run("machine", "fit", "Alder", "--spool", "S2", clock=late)
    assert spool("S2")["machine"] == "Alder" and spool("S2")["state"] == "open"
    assert re.search(r"^S2 .*Alder$", run("spool", "list", clock=late), re.M)
    run("machine", "fit", "Birch", "--spool", "S2", clock=late)  # it leaves Alder by that
    assert spool("S2")["machine"] == "Birch"
    assert "S2 is loaded on Birch; unload it there first" in run("spool", "dry", "S2", "45", "4h", status=2, clock=late)
    run("machine", "fit", "Birch", "--unload", clock=late)
    out = words(run("spool", "dry", "S2", "45", "4h", clock=late))
    assert "S2 is in the dryer at 45 degrees C until 16:00." in out and "Careful: a dryer is hot" in out, out
    assert "softens" not in out, out
    assert "dryer until 16:00" in run("spool", "list", clock=late)
    assert "out of the dryer after 4:30 h" in run("spool", "dried", "S2", clock="2026-11-27T16:30")
    # the invented shop's PLA softens at 60 degrees: from there on it is said, and booked all the same
    out = words(run("spool", "dry", "S2", "60", "45m", clock="2026-11-27T16:31"))
    assert "60 degrees C is not below the 60 at which pla softens by the shop file" in out, out
    assert asked("spool", "dried", "S2", "--time", "0:30", clock="2026-11-27T18:00")["answer"]["minutes"] == 30
    assert "Spool S1 is open." in run("spool", "open", "S1", clock="2026-11-27T18:00")
    assert "opened already" in run("spool", "open", "S1", status=2, clock="2026-11-27T18:00")
    assert "expected a length of time" in run("spool", "dry", "S1", "60", "long", status=4)


def used_up():
    late = "2026-11-27T19:00"
    run("machine", "fit", "Cedar", "--spool", "S3", clock=late)
    out = words(run("spool", "empty", "S3", "--left", "14.2", clock=late))
    assert "S3 is used up and off Cedar; its last 14.2 g are waste. By the book 150 g were left." in out, out
    assert "S3 is used up" in run("spool", "dry", "S3", "45", "4h", status=2, clock=late)
    back = asked("spool", "weigh", "S3", "300", "--tare", "200", clock=late)  # it was not: what the scale says holds
    assert spool("S3")["state"] == "open" and spool("S3")["left_mg"] == 100000
    run("ledger", "undo", str(back["event"]), clock=late)
    assert [s["spool"] for s in asked("spool", "list", "--state", "empty")["spools"]] == ["S3"]
    assert "S3" not in run("spool", "list")
    out = run("spool", "waste", "petg", "412", "--kind", "failed", clock="2026-11-28T09:00")
    assert "412 g of petg are waste (failed)." in out, out
    sums = asked("spool", "waste")
    assert sums["materials_mg"] == {"petg": 412000, "tpu": 14200} and sums["mg"] == 426200, sums
    assert asked("spool", "waste", "--until", "2026-11-27")["materials_mg"] == {"tpu": 14200}
    assert asked("spool", "waste", "--from", "2026-11-28")["mg"] == 412000
    assert re.search(r"^tpu +spool-end +1 +14.2 g$", run("spool", "waste"), re.M)
    for faulty in (["petg"], ["petg", "412"], ["--kind", "failed"], ["petg", "412", "--kind", "gone"],
                   ["petg", "412", "--kind", "failed", "--from", "2026-11-28"]):
        run("spool", "waste", *faulty, status=4)


def attached():
    job = put("bracket v2.gcode", b"G1 X1\n" * 1000)
    photo = put("belt.jpg", b"\xff\xd8\xff\xe0" + bytes(8000))
    large = put("large.png", b"\x89PNG\r\n\x1a\n" + bytes(10000))
    out = words(run("ledger", "attach", "belt.jpg", "--machine", "elm"))
    assert re.search(r"Kept as file \d+ \(photo, 8004 bytes\) for Elm\.", out), out
    assert open(kept(photo), "rb").read() == open(os.path.join(where, "belt.jpg"), "rb").read()
    first = asked("ledger", "files")["files"][0]
    assert (first["sha256"], first["kind"], first["machine"], first["name"]) == (photo, "photo", "Elm", "belt.jpg"), first
    assert "attached there already, as file %d" % first["file"] in run("ledger", "attach", "belt.jpg", "--machine", "Elm", status=2)
    second = asked("ledger", "attach", "bracket v2.gcode", "--machine", "Alder", "--name", "bracket")["answer"]["file"]
    assert asked("ledger", "files", "--machine", "Alder")["files"][0]["kind"] == "other"
    assert [f["file"] for f in asked("ledger", "files", "--sha256", "bracket v2.gcode")["files"]] == [second]
    # limits of the shop file: 0.01 MB for a photo, 0.001 GB for all
    assert "has 10008 bytes, and at most 10000" in run("ledger", "attach", "large.png", "--machine", "Elm", status=2)
    assert not os.path.exists(kept(large))
    put("most", b"x" * 990000)
    assert "more than its limit of 1000000" in run("ledger", "attach", "most", "--machine", "Elm", status=2)
    assert sorted(n for n in os.listdir(book + ".files") if n.startswith("part-")) == []
    for faulty, says in ((["belt.jpg"], "say what it is for"), (["belt.jpg", "--run", "1", "--machine", "Elm"], "say what"),
                         (["belt.jpg", "--machine", "Elm", "--kind", "film"], "expected photo"),
                         (["nosuch", "--machine", "Elm"], "can't be opened"), ([".", "--machine", "Elm"], "not a plain file")):
        assert says in run("ledger", "attach", *faulty, status=4), faulty
    assert "there is no run 9999" in run("ledger", "attach", "belt.jpg", "--run", "9999", status=2)
    return first["file"], second, photo, job


def read_and_tidied():
    first, second, photo, job = numbers
    out = run("ledger", "file", str(first), "--out", "copy.jpg")
    assert "copy.jpg: 8004 bytes, whole." in out, out
    assert hashlib.sha256(open(os.path.join(where, "copy.jpg"), "rb").read()).hexdigest() == photo
    assert "name another" in run("ledger", "file", str(first), "--out", "copy.jpg", status=2)
    assert "--out PATH is missing" in run("ledger", "file", str(first), status=4)
    assert "there is no file 9999" in run("ledger", "file", "9999", "--out", "x", status=2)
    with open(kept(photo), "r+b") as f:
        f.seek(100)
        f.write(b"!")
    assert "is damaged" in run("ledger", "file", str(first), "--out", "other.jpg", status=2)
    assert not [n for n in os.listdir(where) if n.startswith("other")]
    # nothing that is attached goes, whatever its age
    make_old(kept(job))
    make_old(kept(photo))
    assert "0 files that nothing refers to were removed" in run("ledger", "tidy")
    assert "Kept: 2 files" in run("ledger", "tidy")
    assert "is kept no more" in run("ledger", "detach", str(second))
    assert "detached already" in run("ledger", "detach", str(second), status=2)
    assert "can not be taken back" in run("ledger", "undo", str(asked("ledger", "attach", "bracket v2.gcode", "--machine",
                                                                      "Cedar")["event"] - 1), status=2)
    third = asked("ledger", "files", "--machine", "Cedar")["files"][0]["file"]
    make_old(kept(job))
    run("ledger", "tidy")
    assert os.path.exists(kept(job))  # attached to Cedar
    run("ledger", "detach", str(third))
    assert "1 file that nothing refers to would be removed: 6000 bytes" in run("ledger", "tidy", "--look")
    assert os.path.exists(kept(job))
    tidied = asked("ledger", "tidy")
    assert (tidied["files"], tidied["bytes"], tidied["kept"], tidied["strange"]) == (1, 6000, 1, 0), tidied
    assert not os.path.exists(kept(job))
    assert "detached already" in run("ledger", "file", str(second), "--out", "x", status=2)


def many_at_once():
    put("same", b"the same for all")
    machines = ["Alder", "Birch", "Cedar", "Dogwood"]
    going = [subprocess.Popen([PROVEOUT, "ledger", "attach", "same", "--machine", m], cwd=where, env=ENV,
                              stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) for m in machines]
    going.append(subprocess.Popen([PROVEOUT, "ledger", "tidy"], cwd=where, env=ENV, stdout=subprocess.DEVNULL,
                                  stderr=subprocess.PIPE))
    said = [p.communicate(timeout=60)[1] for p in going]
    assert [p.returncode for p in going] == [0] * 5, said
    files = asked("ledger", "files", "--sha256", hashlib.sha256(b"the same for all").hexdigest())["files"]
    assert sorted(f["machine"] for f in files) == machines, files


def helped():
    """Every example of --help works, on a book where its spool and its file are."""
    fresh = dict(ENV, PROVEOUT_LEDGER=os.path.join(where, "help.db"))
    put("bracket.gcode", b"G1 X1\n" * 7)
    put("belt.jpg", b"\xff\xd8\xff\xe0" + bytes(80))
    known = {"file": None}  # numbers in the examples are those of another book

    def go(command):
        args = shlex.split(command)
        done = subprocess.run([PROVEOUT, *args[1:]], capture_output=True, cwd=where, timeout=60, env=fresh)
        assert args[0] == "proveout" and done.returncode == 0, (command, done.stdout.decode(), done.stderr.decode())
        return done.stdout.decode()

    examples = {}
    for verb, example in re.findall(r"^  (proveout (?:spool|ledger) \w+)(.*)$", run("spool", "--help") + run("ledger", "--help"), re.M):
        if "OPTIONS" not in example and re.search(r" spool | (attach|files?|detach|tidy)$", verb):
            examples.setdefault(verb.split(maxsplit=1)[1], []).append(verb + example)
    order = ["spool " + v for v in "add list open show weigh dry dried empty waste".split()]
    order += ["ledger " + v for v in "attach files file detach tidy".split()]
    assert sorted(examples) == sorted(order) and sum(map(len, examples.values())) == 19, examples
    go("proveout ledger new")
    for verb in order:
        for example in examples[verb]:
            if verb == "ledger file":
                os.remove(os.path.join(where, "bracket.gcode"))  # where the example's copy goes
            go(example.replace("--run 214", "--machine Birch").replace(" 217", " %s" % known["file"]))
            if "attach bracket" in example:
                known["file"] = json.loads(go("proveout ledger files --json"))["files"][0]["file"]


numbers = None
run("ledger", "new")
for check in (added, listed, weighed, on_machines_and_dried, used_up, attached, read_and_tidied, many_at_once, helped):
    try:
        result = check()
        numbers = result or numbers
        passed += 1
    except Exception as why:  # each check says what it saw
        failed += 1
        print("FAILED", check.__name__, type(why).__name__, why)
shutil.rmtree(where)
print(f"{passed} passed, {failed} failed")
sys.exit(failed > 0)

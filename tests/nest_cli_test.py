#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""proveout nest through the binary: text, JSON, the 3MF it writes, pictures, exit statuses, Ctrl-C.

usage: nest_cli_test.py PROVEOUT SHOP
Known answers are worked out by hand from the shop file: Alder's bed is 245 x 205 mm with a keep-out at its far right
corner, Elm's is 270 mm across about its middle. Layouts are tested here once more, by the corners of boxes."""
import itertools
import json
import math
import os
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as tree
import zipfile

PROVEOUT, SHOP = [os.path.abspath(p) for p in sys.argv[1:3]]
CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
where = tempfile.mkdtemp(prefix="nest-cli-")


def box(x, y, z):
    p = [(x * (i & 1), y * (i >> 1 & 1), z * (i >> 2)) for i in range(8)]
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    return [t for a, b, c, d in faces for t in ((p[a], p[b], p[c]), (p[a], p[c], p[d]))]


def stl(name, triangles):
    path = os.path.join(where, name)
    with open(path, "wb") as f:
        f.write(b"part".ljust(80) + struct.pack("<I", len(triangles)))
        for t in triangles:
            f.write(struct.pack("<12fH", 0, 0, 0, *t[0], *t[1], *t[2], 0))
    return path


def run(*args, status=0):
    done = subprocess.run([PROVEOUT, "nest", "--shop", SHOP, *args], capture_output=True, cwd=where, timeout=120)
    assert done.returncode == status, (args, done.returncode, done.stdout.decode()[-600:], done.stderr.decode())
    return done


def nest(*args, status=0):
    out = json.loads(run("--json", *args, status=status).stdout)
    assert out["format"] == "proveout/nest/1", out
    return out


def corners(nested, place):
    w, d, _ = nested["parts"][place["part"] - 1]["size_mm"]
    a = math.radians(place["turn_deg"])
    return [(place["x"] + x * math.cos(a) - y * math.sin(a), place["y"] + x * math.sin(a) + y * math.cos(a))
            for x, y in ((-w / 2, -d / 2), (w / 2, -d / 2), (w / 2, d / 2), (-w / 2, d / 2))]


def gap(p, q):
    """Least distance of two convex outlines that do not overlap, from corners to edges; 0 where they overlap."""
    best = math.inf
    for a, b in ((p, q), (q, p)):
        for i in range(len(a)):
            (x0, y0), (x1, y1) = a[i], a[(i + 1) % len(a)]
            if all((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) < 0 for x, y in b):
                break
        else:
            continue
        break
    else:
        return 0
    for a, b in ((p, q), (q, p)):
        for i in range(len(a)):
            (x0, y0), (x1, y1) = a[i], a[(i + 1) % len(a)]
            for x, y in b:
                t = max(0, min(1, ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / ((x1 - x0) ** 2 + (y1 - y0) ** 2)))
                best = min(best, math.hypot(x0 + t * (x1 - x0) - x, y0 + t * (y1 - y0) - y))
    return best


def sound(nested, clearance=6.0):
    for bed in nested["bedfuls"]:
        laid = [corners(nested, p) for p in bed["places"]]
        for i, a in enumerate(laid):
            for x, y in a:
                if nested["machine"] == "Alder":
                    assert 2 - 1e-5 <= x <= 243 + 1e-5 and 2 - 1e-5 <= y <= 203 + 1e-5, (x, y)
                    assert x < 225 or y < 191, (x, y)  # the scraper's corner and the margin
                else:
                    assert math.hypot(x, y) <= 133 + 1e-5, (x, y)
            for b in laid[:i]:
                assert gap(a, b) >= clearance - 1e-5, gap(a, b)


def few_bedfuls():
    bracket = stl("bracket.stl", box(60, 40, 30))
    small = stl("small.stl", box(12, 9, 5))
    found = nest("--machine", "Alder", bracket + ",copies=20,member=M0012,due=2026-12-04", small + ",copies=20,member=M0031", status=1)
    sound(found)
    assert len(found["bedfuls"]) == found["at_least"] == 2, found
    assert sum(len(b["places"]) for b in found["bedfuls"]) == 40
    assert found["worst"] == "over-allowance" and found["verdict"] == "ask"
    for bed in found["bedfuls"]:
        assert abs(sum(s["filament_mm"] for s in bed["shares"]) - bed["filament_mm"]) < 1e-3, bed
    text = run("--machine", "Alder", bracket + ",copies=2", status=0).stdout.decode()
    assert "2 parts on 1 bedful (no layout takes fewer)" in text and "Verdict: clear" in text, text
    # the same moves, the same layout, whatever the threads; another seed, another layout
    same = [run("--machine", "Elm", "--json", "--steps", "3000", "--threads", n, "--seed", s, bracket + ",copies=12", small + ",copies=9",
                status=1).stdout for n, s in (("1", "1"), ("2", "1"), ("1", "2"))]
    assert same[0] == same[1] and same[0] != same[2]
    sound(json.loads(same[0]))


def materials_stay_apart():
    bracket = os.path.join(where, "bracket.stl")
    found = nest("--machine", "Alder", bracket, bracket + ",material=pla", bracket + ",recipe=quick,turns=fixed")
    assert sorted((b["material"], b["recipe"]) for b in found["bedfuls"]) == [("petg", "everyday"), ("petg", "quick"), ("pla", "everyday")]
    late, soon = bracket + ",due=2026-12-09,copies=15", bracket + ",due=2026-12-02,material=pla"
    parts = (bracket + ",due=2026-12-04,material=pla,recipe=quick", late, soon, bracket + ",due=2026-12-01,copies=15")
    beds = nest("--machine", "Alder", *parts, status=1)["bedfuls"]
    assert [b["due"] for b in beds] == sorted(b["due"] for b in beds), beds
    beds = nest("--machine", "Alder", "--order", "material", *parts, status=1)["bedfuls"]
    kinds = [(b["material"], b["recipe"]) for b in beds]
    assert len({k for k, _ in itertools.groupby(kinds)}) == len([k for k, _ in itertools.groupby(kinds)]) == 3, kinds
    assert [b["due"] for b in beds if b["material"] == "petg"] == sorted(b["due"] for b in beds if b["material"] == "petg")


def what_does_not_fit():
    big = stl("big.stl", box(300, 100, 20))
    high = stl("high.stl", box(20, 20, 231))
    found = nest("--machine", "Alder", big, high, os.path.join(where, "bracket.stl"), status=2)
    assert [(o["part"], o["copies"]) for o in found["left_out"]] == [(1, 1), (2, 1)] and found["verdict"] == "stop"
    assert "231.0 mm high; Alder holds 230.0 mm" in found["left_out"][1]["why"], found["left_out"]
    assert len(found["bedfuls"]) == 1
    # longer than the bed: at 40 degrees 280 cos + 20 sin = 227.4 and 280 sin + 20 cos = 195.3 mm of the 241 x 201; at 30 or 45 too much
    across = stl("across.stl", box(280, 20, 20))
    sound(nest("--machine", "Alder", across + ",turns=5"))
    sound(nest("--machine", "Alder", across))
    assert "free turns" in nest("--machine", "Alder", across + ",turns=15", status=2)["left_out"][0]["why"]
    nest("--machine", "Alder", across + ",turns=fixed", status=2)
    nest("--machine", "Alder", "--find-pose", high)  # lying down it fits


def files_and_pictures():
    bracket, here = os.path.join(where, "bracket.stl"), lambda n: os.path.join(where, n)
    found = nest("--machine", "Alder", "--out", here("beds.3mf"), "--picture", here("beds.svg"), bracket + ",copies=17", status=1)
    beds = found["bedfuls"]
    assert len(beds) == 2 and not os.path.exists(here("beds.3mf"))
    for n, bed in enumerate(beds):
        with zipfile.ZipFile(here("beds-%d.3mf" % (n + 1))) as z:
            model = [m for m in z.namelist() if m.endswith(".model")]
            root = tree.fromstring(z.read(model[0]))
        objects = {o.get("id"): [tuple(float(v.get(k)) for k in "xyz") for v in o.iter(CORE + "vertex")] for o in root.iter(CORE + "object")}
        items = list(root.iter(CORE + "item"))
        assert len(items) == len(bed["places"])
        for item, place in zip(items, bed["places"]):
            m = [float(v) for v in (item.get("transform") or "1 0 0 0 1 0 0 0 1 0 0 0").split()]
            placed = {tuple(round(p[0] * m[k] + p[1] * m[3 + k] + p[2] * m[6 + k] + m[9 + k], 3) for k in range(3)) for p in objects[item.get("objectid")]}
            wanted = {(round(x, 3), round(y, 3), z) for x, y in corners(found, place) for z in (0.0, 30.0)}
            assert all(min(math.dist(a, b) for b in placed) < 0.002 for a in wanted), (placed, wanted)
    picture = tree.parse(here("beds.svg")).getroot()
    shapes = [e for e in picture.iter() if e.tag.endswith("polygon") or e.tag.endswith("path")]
    assert len(shapes) >= 17, len(shapes)
    run("--machine", "Elm", "--picture", here("one.png"), bracket)
    with open(here("one.png"), "rb") as f:
        assert f.read(8) == b"\x89PNG\r\n\x1a\n"
    run("--machine", "Elm", "--picture", here("one.pdf"), bracket)
    with open(here("one.pdf"), "rb") as f:
        assert f.read(5) == b"%PDF-"


def one_after_another():
    tall = stl("tall.stl", box(15, 15, 60))
    found = nest("--machine", "Alder", "--finish-each", tall + ",copies=4", os.path.join(where, "small.stl"))
    places = found["bedfuls"][0]["places"]
    assert len(found["bedfuls"]) == 1 and [p["part"] for p in places] == [2, 1, 1, 1, 1]  # the low one first
    assert [p["order"] for p in places] == [1, 2, 3, 4, 5]
    head = {"ahead": 42, "behind": 31, "left": 38, "right": 45}
    for i, later in enumerate(places[1:]):
        for earlier in places[1:i + 1]:  # squares: the head over the later one keeps off the earlier one
            dx, dy = earlier["x"] - later["x"], earlier["y"] - later["y"]
            assert dx > 15 + head["right"] or dx < -15 - head["left"] or dy > 15 + head["ahead"] or dy < -15 - head["behind"], places
    run("--machine", "Elm", "--finish-each", tall, status=4)  # no head in the shop file
    run("--machine", "Alder", "--finish-each", "--reach-over", tall, status=4)


def bad_input():
    bracket = os.path.join(where, "bracket.stl")
    for words, says in [((bracket,), "--machine"), (("--machine", "Oak", bracket), "no machine"), (("--machine", "Alder", bracket + ",copies=0"), "copies=0"),
                        (("--machine", "Alder", bracket + ",copies=10000", bracket), "more than 10000"), (("--machine", "Alder", bracket + ",due=2026-13-04"), "due="),
                        (("--machine", "Alder", bracket + ",turns=7"), "turns=7"), (("--machine", "Alder", bracket + ",material=wood"), "material=wood"),
                        (("--machine", "Alder", "--clearance", "-1", bracket), "--clearance"), (("--machine", "Alder", "--out", "x.txt", bracket), ".3mf"),
                        (("--machine", "Alder", "--seconds", "0", bracket), "--seconds"), (("--machine", "Alder", "--order", "size", bracket), "--order"), (("--machine", "Alder", "nothing.stl"), "nothing.stl")]:
        said = run(*words, status=4).stderr.decode()
        assert says in said and len(said.splitlines()) == 1, said
    with open(os.path.join(where, "no.stl"), "w", encoding="ascii") as f:
        f.write("G1 X1\n")
    run("--machine", "Alder", "no.stl", status=3)
    twisted = box(30, 20, 10)  # a surface that crosses itself still has an outline: what its triangles cover
    twisted += [tuple((x + 10, y + 5, z) for x, y, z in t) for t in twisted]
    stl("twisted.stl", twisted)
    run("--machine", "Alder", "twisted.stl,copies=3", status=0)


def interrupted():
    bracket = os.path.join(where, "bracket.stl")
    p = subprocess.Popen([PROVEOUT, "nest", "--shop", SHOP, "--machine", "Alder", "--json", "--seconds", "60", bracket + ",copies=16"],
                         stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=where)
    time.sleep(0.7)
    p.send_signal(signal.SIGINT)
    begun = time.monotonic()
    out, _ = p.communicate(timeout=30)
    assert time.monotonic() - begun < 20, "Ctrl-C is not heard"
    found = json.loads(out)
    sound(found)
    assert any(f["name"] == "ended-early" for f in found["findings"]) and sum(len(b["places"]) for b in found["bedfuls"]) == 16


def main():
    failed = 0
    tests = [few_bedfuls, materials_stay_apart, what_does_not_fit, files_and_pictures, one_after_another, bad_input, interrupted]
    for test in tests:
        try:
            test()
        except Exception as e:  # pylint: disable=broad-except
            failed += 1
            print("%s: line %d: %r" % (test.__name__, e.__traceback__.tb_next.tb_lineno if e.__traceback__.tb_next else 0, e))
    shutil.rmtree(where)
    print("%d passed, %d failed" % (len(tests) - failed, failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

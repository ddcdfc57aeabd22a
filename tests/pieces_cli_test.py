#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""proveout pieces through the binary: text, JSON, the 3MF it writes, the picture, exit statuses, Ctrl-C.

usage: pieces_cli_test.py PROVEOUT SHOP
Known answers: volumes of boxes; a bar of 600 mm needs three pieces on Alder (245 x 205 x 230 mm: 600 / 245 > 2). The
3MF is read back here by the published format (3MF core specification), with the volume summed triangle by triangle."""
import json
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
where = tempfile.mkdtemp(prefix="pieces-cli-")


def box(x, y, z, leave=()):
    p = [(x * (i & 1), y * (i >> 1 & 1), z * (i >> 2)) for i in range(8)]
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    quads = [q for n, q in enumerate(faces) if n not in leave]
    return [t for a, b, c, d in quads for t in ((p[a], p[b], p[c]), (p[a], p[c], p[d]))]


def stl(name, triangles):
    path = os.path.join(where, name)
    with open(path, "wb") as f:
        f.write(b"part".ljust(80) + struct.pack("<I", len(triangles)))
        for t in triangles:
            f.write(struct.pack("<12fH", 0, 0, 0, *t[0], *t[1], *t[2], 0))
    return path


def run(*args, status=0):
    done = subprocess.run([PROVEOUT, "pieces", "--shop", SHOP, *args], capture_output=True, cwd=where, timeout=120)
    assert done.returncode == status, (args, done.returncode, done.stderr.decode())
    return done


def read_3mf(path):
    """(name, volume, bounds as placed) of each build item; every edge is run once each way."""
    with zipfile.ZipFile(path) as z:
        model = [n for n in z.namelist() if n.endswith(".model")]
        root = tree.fromstring(z.read(model[0]))
    objects, out = {}, []
    for o in root.iter(CORE + "object"):
        points = [tuple(float(v.get(k)) for k in "xyz") for v in o.iter(CORE + "vertex")]
        triangles = [tuple(int(t.get(k)) for k in ("v1", "v2", "v3")) for t in o.iter(CORE + "triangle")]
        edges = set()
        for t in triangles:
            for i in range(3):
                e = (t[i], t[(i + 1) % 3])
                assert e not in edges
                edges.add(e)
        assert all((b, a) in edges for a, b in edges)
        objects[o.get("id")] = (o.get("name"), points, triangles)
    for item in root.iter(CORE + "item"):
        name, points, triangles = objects[item.get("objectid")]
        m = [float(v) for v in (item.get("transform") or "1 0 0 0 1 0 0 0 1 0 0 0").split()]
        placed = [tuple(p[0] * m[k] + p[1] * m[3 + k] + p[2] * m[6 + k] + m[9 + k] for k in range(3)) for p in points]
        volume = 0
        for a, b, c in triangles:
            p, q, r = placed[a], placed[b], placed[c]
            volume += (p[0] * (q[1] * r[2] - q[2] * r[1]) + p[1] * (q[2] * r[0] - q[0] * r[2]) +
                       p[2] * (q[0] * r[1] - q[1] * r[0])) / 6
        out.append((name, volume, [(min(p[k] for p in placed), max(p[k] for p in placed)) for k in range(3)]))
    return out


def a_bar_in_three():
    bar = stl("bar.stl", box(600, 100, 100))
    text = run("--machine", "Alder", bar).stdout.decode()
    for piece in ("3 pieces by 2 cuts", "10000", "x = ", "data", "fumes", "petg"):
        assert piece in text, (piece, text)
    j = json.loads(run("--machine", "Alder", "--json", bar).stdout)
    assert j["format"] == "proveout/pieces/1" and j["machine"] == "Alder" and not j["fits"]
    assert len(j["pieces"]) == 3 and len(j["cuts"]) == 2 and not j["pins"]
    assert abs(sum(p["volume_mm3"] for p in j["pieces"]) - 6e6) < 6e6 * 1e-9 and j["volume_error"] <= 1e-9
    for cut in j["cuts"]:
        assert abs(cut["area_mm2"] - 10000) < 1e-6 and 98 < cut["thinnest_mm"] <= 100.1
    for piece in j["pieces"]:
        assert sorted(piece["size_mm"])[2] <= 245
        assert abs(piece["solid_g"] - piece["volume_mm3"] * 1.27e-3) < 1e-6 # the house's petg


def what_is_written():
    bar = stl("bar.stl", box(600, 100, 100))
    run("--machine", "Alder", "--pins", "--pin", "8", "--out", "out.3mf", "--picture", "out.svg", bar)
    items = read_3mf(os.path.join(where, "out.3mf"))
    assert [i[0] for i in items[:3]] == ["piece 1", "piece 2", "piece 3"], items
    assert len(items) == 3 + 4
    for name, volume, bounds in items:
        assert volume > 0 and abs(bounds[2][0]) < 1e-6, (name, volume, bounds)
    for a, b in zip(items, items[1:]): # side by side, with a gap
        assert b[2][0][0] - a[2][0][1] >= 1
    for name, volume, bounds in items[3:]:
        assert abs(bounds[0][1] - bounds[0][0] - 8) < 1e-6
    with open(os.path.join(where, "out.svg"), encoding="utf-8") as f:
        picture = f.read()
    tree.fromstring(picture)
    for word in ("cut 1", "cut 2", "3 pieces for Alder", ">1<", ">3<"):
        assert word in picture, word
    again = run("--machine", "Alder", "--pins", "--pin", "8", "--out", "-", "--threads", "2", bar).stdout
    with open(os.path.join(where, "out.3mf"), "rb") as f:
        assert f.read() == again # whatever the threads


def what_fits_is_left():
    small = stl("small.stl", box(60, 40, 30))
    assert b"fits Alder as it lies" in run("--machine", "Alder", small).stdout
    j = json.loads(run("--machine", "Elm", "--json", small).stdout)
    assert j["fits"] and j["fits_as_is"] and len(j["pieces"]) == 1 and not j["cuts"]
    tall = stl("tall.stl", box(40, 40, 240)) # lies down
    # what fits as it lies is written so, though another way up costs less: a table on its legs, a round part
    table = stl("table.stl", box(60, 60, 5) + [tuple((x + 25, y + 25, z - 40) for x, y, z in t)
                                               for t in box(10, 10, 40)])
    text = run("--machine", "Alder", "--out", "table.3mf", table).stdout.decode()
    assert "fits Alder as it lies" in text and "Written: as it lies in the part" in text, text
    (name, volume, bounds), = read_3mf(os.path.join(where, "table.3mf"))
    assert abs(bounds[2][0]) < 1e-6 and abs(bounds[2][1] - 45) < 1e-6 and volume > 0
    long = stl("long.stl", box(280, 20, 20)) # across the bed
    text = run("--machine", "Alder", "--out", "long.3mf", long).stdout.decode()
    assert "turned by" in text and "Written: upright, turned by" in text, text
    assert b"tipped over" in run("--machine", "Alder", tall).stdout


def refusals():
    bar, hole = stl("bar.stl", box(600, 100, 100)), stl("open.stl", box(600, 100, 100, leave=(1,)))
    sheet = stl("sheet.stl", box(600, 500, 0.8))
    for args, status, piece in [
        ((bar,), 4, "--machine"), (("--machine", "Adler", bar), 4, '"Alder"'),
        (("--machine", "Alder", "--pin", "4", bar), 4, "--pins"), (("--machine", "Alder", "--most", "1", bar), 4, "--most 1"),
        (("--machine", "Alder", "--item", "7", bar), 4, "item 7"), (("--machine", "Alder", "--most", "2", bar), 2, "2 pieces"),
        (("--machine", "Alder", "--picture", "x.png", bar), 4, ".svg"), (("--machine", "Alder", hole), 2, "mend"),
        (("--machine", "Alder", sheet), 2, "thick"), (("--machine", "Alder", SHOP), 3, "no part"),
        (("--machine", "Alder", "--json", "--out", "-", bar), 4, "one kind"), (("--machine", "Alder", "none.stl"), 4, "none.stl"),
    ]:
        said = run(*args, status=status).stderr.decode()
        assert piece in said, (args, said)


def ctrl_c_leaves_nothing():
    path = stl("block.stl", box(1400, 1100, 900)) # 140 pieces and more: slow enough to be stopped on its way
    stopped = 0
    for wait in (0.02, 0.1, 0.3):
        done = subprocess.Popen([PROVEOUT, "pieces", "--shop", SHOP, "--machine", "Alder", "--most", "400", "--out",
                                 os.path.join(where, "stopped.3mf"), path], stdout=subprocess.DEVNULL,
                                stderr=subprocess.DEVNULL)
        time.sleep(wait)
        done.send_signal(signal.SIGINT)
        done.wait(60)
        left = [n for n in os.listdir(where) if n.startswith("stopped.3mf")]
        if done.returncode == -signal.SIGINT:
            stopped += 1
            assert left in ([], ["stopped.3mf"]), left
        for name in left: # written whole before the signal came
            read_3mf(os.path.join(where, name))
            os.remove(os.path.join(where, name))
    assert stopped, "it was never on its way"


tests = [a_bar_in_three, what_is_written, what_fits_is_left, refusals, ctrl_c_leaves_nothing]
try:
    for function in tests:
        function()
    print("%d tests, 0 failed" % len(tests))
finally:
    shutil.rmtree(where)

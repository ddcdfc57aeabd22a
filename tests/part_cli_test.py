#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Parts through the binary: exit statuses, findings, facts, the slip, --mend.

usage: part_cli_test.py PROVEOUT SHOP [NAME_PART]
Parts are written here, by the published formats: STL (Marshall Burns, Automated Fabrication, section 6.5), 3MF (3MF core
specification). Known answers: volumes of boxes, sizes of the shop's machines (Alder 245 x 205 x 230 mm), its rules."""
import io
import json
import math
import os
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import traceback
import zipfile

PROVEOUT, SHOP = [os.path.abspath(p) for p in sys.argv[1:3]]
PART = sys.argv[3] if len(sys.argv) > 3 else ""
SHARED = os.environ.get("PO_SHARED", "")
tests = []
where = None


def test(function):
    tests.append(function)
    return function


# ---- shapes: lists of triangles, corners counter-clockwise from outside ----

def box(x, y, z, at=(0, 0, 0), leave=()):
    p = [(at[0] + x * (i & 1), at[1] + y * (i >> 1 & 1), at[2] + z * (i >> 2)) for i in range(8)]
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    out = []
    for n, (a, b, c, d) in enumerate(faces):
        if n not in leave:
            out += [(p[a], p[b], p[c]), (p[a], p[c], p[d])]
    return out


def inverted(triangles):
    return [(a, c, b) for a, b, c in triangles]


def scaled(triangles, s):
    return [tuple(tuple(v * s for v in p) for p in t) for t in triangles]


def prism(outline, depth):
    """A convex-by-pieces outline in x and z, drawn through y; outline: list of convex polygons that share whole edges."""
    out, edges = [], {}
    for polygon in outline:
        n = len(polygon)
        for i in range(1, n - 1):
            a, b, c = polygon[0], polygon[i], polygon[i + 1]
            out.append(((a[0], 0, a[1]), (b[0], 0, b[1]), (c[0], 0, c[1])))
            out.append(((a[0], depth, a[1]), (c[0], depth, c[1]), (b[0], depth, b[1])))
        for i in range(n):
            e = (polygon[i], polygon[(i + 1) % n])
            if (e[1], e[0]) in edges:
                del edges[(e[1], e[0])]
            else:
                edges[e] = True
    for a, b in edges:
        p, q = (a[0], 0, a[1]), (b[0], 0, b[1])
        r, s = (b[0], depth, b[1]), (a[0], depth, a[1])
        out += [(p, s, r), (p, r, q)]
    return out


def tee(h):
    """A column of 10 x 10 x h mm with a beam of 50 x 10 x 10 mm across its top."""
    column = [(20, 0), (30, 0), (30, h), (20, h)]
    beam = [[(0, h), (20, h), (20, h + 10), (0, h + 10)], [(20, h), (30, h), (30, h + 10), (20, h + 10)],
            [(30, h), (50, h), (50, h + 10), (30, h + 10)]]
    return prism([column] + beam, 10)


def stl(triangles, header=b"part", count=None):
    return header.ljust(80, b" ") + struct.pack("<I", len(triangles) if count is None else count) + b"".join(
        struct.pack("<12fH", 0, 0, 0, *t[0], *t[1], *t[2], 0) for t in triangles)


def stl_text(triangles, name="part"):
    lines = ["solid " + name]
    for t in triangles:
        lines += ["facet normal 0 0 0", " outer loop"] + ["  vertex %r %r %r" % tuple(map(float, p)) for p in t]
        lines += [" endloop", "endfacet"]
    return ("\n".join(lines + ["endsolid " + name]) + "\n").encode()


def threemf(objects, items, unit="millimeter", change=lambda xml: xml):
    """objects: (id, name, type, triangles); items: (objectid, transform or None)"""
    xml = ['<?xml version="1.0" encoding="UTF-8"?>', '<model unit="%s" xml:lang="en-US" '
           'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>' % unit]
    for number, name, kind, triangles in objects:
        points, index = [], {}
        corners = []
        for t in triangles:
            for p in t:
                if p not in index:
                    index[p] = len(points)
                    points.append(p)
                corners.append(index[p])
        xml.append('<object id="%d" type="%s"%s><mesh><vertices>' % (number, kind, ' name="%s"' % name if name else ""))
        xml += ['<vertex x="%r" y="%r" z="%r"/>' % p for p in points]
        xml.append("</vertices><triangles>")
        xml += ['<triangle v1="%d" v2="%d" v3="%d"/>' % tuple(corners[i:i + 3]) for i in range(0, len(corners), 3)]
        xml.append("</triangles></mesh></object>")
    xml.append("</resources><build>")
    xml += ['<item objectid="%d"%s/>' % (o, ' transform="%s"' % m if m else "") for o, m in items]
    xml.append("</build></model>")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as z:
        z.writestr("[Content_Types].xml", '<?xml version="1.0" encoding="UTF-8"?><Types xmlns="http://schemas.openxml'
                   'formats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.open'
                   'xmlformats-package.relationships+xml"/><Default Extension="model" ContentType="application/vnd.ms-'
                   'package.3dmanufacturing-3dmodel+xml"/></Types>')
        z.writestr("_rels/.rels", '<?xml version="1.0" encoding="UTF-8"?><Relationships xmlns="http://schemas.openxml'
                   'formats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="r0" Type="http:'
                   '//schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>')
        z.writestr("3D/3dmodel.model", change("\n".join(xml)))
    return out.getvalue()


# ---- running ----

def write(name, data):
    path = os.path.join(where, name)
    with open(path, "wb") as f:
        f.write(data)
    return path


def run(*args, stdin=b"", env=None):
    clean = {k: v for k, v in os.environ.items() if k not in ("PROVEOUT_SHOP", "SOURCE_DATE_EPOCH", "NO_COLOR", "TZ")}
    clean.update(env or {})
    for tried in range(5):  # the leak checker's own tracer can fall over threads of the ray library that are ending: asked again,
        if tried == 4:      # and at last without it: all else that is checked stays
            clean["ASAN_OPTIONS"] = clean.get("ASAN_OPTIONS", "") + ":detect_leaks=0"
        done = subprocess.run([PROVEOUT, *args], input=stdin, env=clean, cwd=where, capture_output=True, timeout=120)
        done.out, done.err = done.stdout.decode(), done.stderr.decode()
        if "LeakSanitizer has encountered a fatal error" not in done.err:
            break
    return done


def check(name, data, *args, status=None, machine="Alder"):
    """The proof of a part on one machine, as JSON."""
    done = run("check", "--shop", SHOP, "--machine", machine, "--json", *args, write(name, data))
    assert done.out.count("\n") == 1, done.out[:300] + done.err[:300]
    j = json.loads(done.out)
    assert j["format"] == "proveout/part-proof/1", j
    wanted = {"clear": 0, "ask": 1, "stop": 2}[j["verdict"]]
    assert done.returncode == wanted, (done.returncode, j["verdict"], done.err)
    assert status is None or done.returncode == status, (done.returncode, [(f["name"], f["says"]) for f in j["findings"]])
    return j


def names(j):
    return {f["name"]: f for f in j["findings"]}


def close(a, b, error=1e-6):
    assert abs(a - b) <= error * max(abs(a), abs(b), 1), (a, b)


FACTS = ("triangles vertices shells open_edges crowded_edges flipped_triangles flat_triangles doubled_triangles "
         "seams_closed_at_mm self_cuts watertight volume_mm3 area_mm2 bounds_mm centre_of_mass_mm euler genus units "
         "thinnest_wall_mm thin_wall_mm2 slim_wall_mm2 overhang_mm2 support_mm3 foothold_mm2 stands fits estimates").split()


@test
def an_ordinary_box_is_clear():
    j = check("box.stl", stl(box(40, 30, 20)), status=0)
    assert not j["findings"], j["findings"]
    f = j["facts"]
    for key in FACTS:
        assert key in f, key
    assert (f["triangles"], f["vertices"], f["shells"], f["euler"], f["genus"]) == (12, 8, 1, 2, 0)
    assert f["watertight"] and f["stands"] and f["self_cuts"] == 0 and f["units"] is None
    close(f["volume_mm3"], 24000)
    close(f["area_mm2"], 5200)
    close(f["foothold_mm2"], 1200)
    assert f["overhang_mm2"] == 0 and f["support_mm3"] == 0 and f["seams_closed_at_mm"] is None
    assert f["bounds_mm"] == {"min": [0, 0, 0], "max": [40, 30, 20]} and f["centre_of_mass_mm"] == [20, 15, 10]
    close(f["thinnest_wall_mm"], 20, 1e-3)
    assert [x["machine"] for x in f["fits"]] == ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]
    assert all(x["as_is"] and x["turned"] for x in f["fits"])
    assert [e["recipe"] for e in f["estimates"]] == ["quick", "everyday", "careful"]
    for e in f["estimates"]:
        low, high = e["range"]["filament_mm"]
        assert 0 < low <= e["filament_mm"] <= high and e["layers"] > 50 and e["seconds"] > 0
        close(e["filament_g"], e["filament_mm"] * math.pi / 4 * 1.75 ** 2 * 1.27e-3, 1e-6) # V = L pi/4 d2; petg 1.27
    assert f["not_known"] == [], f["not_known"]
    assert len(j["items"]) == 1 and j["items"][0]["poses"], "no way up was looked for"
    assert j["machine"] == "Alder" and j["materials"] == ["petg"] and len(j["sha256"]) == 64 and j["aloud"]


@test
def text_and_binary_and_a_pipe_agree():
    shape = box(40, 30, 20)
    one = check("a.stl", stl(shape))
    two = check("b.gcode", stl_text(shape)) # told from its bytes
    three = check("c.stl", stl_text(shape).replace(b"\n", b"\r\n"))
    four = check("d.stl", stl(shape, header=b"solid of a binary file"))
    for other in (two, three, four):
        assert other["facts"] == one["facts"]
    done = run("check", "--shop", SHOP, "--machine", "Alder", "--json", "-", stdin=stl(shape))
    assert done.returncode == 0 and json.loads(done.out)["facts"] == one["facts"], done.err
    extra = check("e.stl", stl(shape) + b"some bytes more")
    assert extra["facts"]["triangles"] == 12 and extra["facts"]["reading"], extra["facts"]["reading"]
    short = run("check", "--shop", SHOP, write("f.stl", stl(box(40, 30, 20))[:-60]))
    assert short.returncode in (1, 2, 3), short.returncode


@test
def an_open_box():
    j = check("open.stl", stl(box(40, 30, 20, leave=(1,))), status=1)
    f = names(j)["open-edges"]
    assert f["grade"] == "ask" and f["count"] == 4 and f["where"]["z"] == 20, f
    assert not j["facts"]["watertight"] and j["facts"]["open_edges"] == 4
    assert j["facts"]["estimates"][0]["filament_mm"] is None and j["facts"]["estimates"][0]["recipe"] == "quick"
    assert j["facts"]["not_known"]


@test
def an_inverted_box():
    j = check("inverted.stl", stl(inverted(box(40, 30, 20))), status=1)
    assert list(names(j)) == ["inside-out"], j["findings"]
    close(j["facts"]["volume_mm3"], -24000)
    assert j["facts"]["estimates"][0]["filament_mm"] > 0
    flipped = box(40, 30, 20)
    flipped[3] = (flipped[3][0], flipped[3][2], flipped[3][1])
    j = check("flipped.stl", stl(flipped), status=1)
    assert names(j)["inside-out"]["count"] == 1 and j["facts"]["flipped_triangles"] == 1


@test
def sizes_in_other_units():
    j = check("metres.stl", stl(scaled(box(40, 30, 20), 1e-3)), status=1)
    assert list(names(j)) == ["unit-suspect"], [x["says"] for x in j["findings"]]
    assert j["facts"]["unit_factor"] == 1000 and j["facts"]["unit_guess"] == "metre"
    assert "1000" in names(j)["unit-suspect"]["do"]
    j = check("inch.stl", stl(scaled(box(40, 30, 20), 1 / 25.4)), status=1)
    assert j["facts"]["unit_factor"] == 25.4 and "40.0 mm" in names(j)["unit-suspect"]["says"]
    j = check("small.stl", stl(box(6, 6, 6)), status=0) # small things are ordinary
    assert not j["findings"]
    j = check("inch.3mf", threemf([(1, "", "model", box(2, 1, 1))], [(1, None)], unit="inch"), status=0)
    assert j["facts"]["units"] == "inch"
    close(j["facts"]["volume_mm3"], 2 * 25.4 ** 3)


@test
def too_big_turned_tipped():
    j = check("big.stl", stl(box(300, 300, 300)), status=2)
    f = names(j)["too-big"]
    assert f["grade"] == "stop" and "Dogwood" not in f["do"].split(",")[0], f # 330 x 290 bed: 300 is too deep
    j = check("plate.stl", stl(box(10, 240, 10))) # Alder: 245 x 205
    f = names(j)
    assert "too-big" not in f and f["fits-turned"]["grade"] == "note"
    fit = next(x for x in j["facts"]["fits"] if x["machine"] == "Alder")
    assert not fit["as_is"] and fit["turned"] and 30 < abs(fit["turn_deg"]) < 90, fit
    j = check("mast.stl", stl(box(20, 20, 240))) # taller than 230, but it can lie
    f = names(j)
    assert f["too-big"]["grade"] == "ask" and "tipped" in f["too-big"]["says"], f
    fit = next(x for x in j["facts"]["fits"] if x["machine"] == "Alder")
    assert fit["pose"] is not None and not fit["turned"]
    done = run("check", "--shop", SHOP, write("mast.stl", stl(box(20, 20, 240)))) # all machines: the best counts
    assert done.returncode == 1 and "Dogwood" in done.out, done.out


@test
def thin_walls():
    frame = box(40, 0.3, 20)
    j = check("fin.stl", stl(frame), status=1)
    f = names(j)["thin-walls"]
    assert f["grade"] == "ask" and "0.30 mm" in f["says"], f
    close(j["facts"]["thinnest_wall_mm"], 0.3, 1e-3)
    assert j["facts"]["thin_wall_mm2"] > 0.9 * 2 * 40 * 20
    j = check("slim.stl", stl(box(40, 0.7, 20)))
    assert "thin-walls" not in names(j) and names(j)["slim-walls"]["grade"] == "note"
    j = check("sturdy.stl", stl(box(40, 1.2, 20)))
    assert "thin-walls" not in names(j) and "slim-walls" not in names(j)
    wedge = prism([[(0, 0), (40, 0), (0, 20)]], 20) # sharp edges are no walls
    assert not {"thin-walls", "slim-walls"} & set(names(check("wedge.stl", stl(wedge))))


@test
def overhangs_and_feet():
    j = check("tee.stl", stl(tee(30)), status=1)
    f = names(j)["needs-support"] # more than half of its own filament again, and upside down it needs none
    assert f["grade"] == "ask" and "leaves 0 mm2 hanging" in f["do"], f
    close(j["facts"]["overhang_mm2"], 2 * 20 * 10, 1e-6) # the beam's underside beside the column
    close(j["facts"]["support_mm3"], 2 * 20 * 10 * 30, 0.05)
    assert not j["facts"]["fits"][0]["pose"] is None
    j = check("low.stl", stl(tee(6)), status=0)
    assert names(j)["needs-support"]["grade"] == "note"
    j = check("rod.stl", stl(box(8, 8, 100)), status=1)
    f = names(j)
    assert "4.6 degrees" in f["tips-over"]["says"] and "small-foothold" in f # handbook section 5; 64 mm2 under 100 mm
    assert "Turn it" in f["tips-over"]["do"]
    j = check("lying.stl", stl(box(100, 8, 8)), status=0)
    assert not j["findings"], j["findings"]


@test
def the_other_findings():
    arch = prism([[(0, 0), (10, 0), (10, 15), (0, 15)], [(0, 15), (10, 15), (10, 20), (0, 20)], [(10, 15), (60, 15), (60, 20), (10, 20)],
                  [(60, 15), (70, 15), (70, 20), (60, 20)], [(60, 0), (70, 0), (70, 15), (60, 15)]], 10)
    f = names(check("arch.stl", stl(arch)))["long-bridge"] # 50 mm between two posts; the shop's limit is 12
    assert f["grade"] == "note" and "50.0 mm" in f["says"], f
    f = names(check("crossing.stl", stl(box(20, 20, 20) + box(20, 20, 20, at=(10, 10, 0)))))["cuts-itself"]
    assert f["grade"] == "note", f # two bodies that run into each other
    j = check("flat-one.stl", stl(box(20, 20, 20) + [((0, 0, 0), (0, 0, 0), (20, 0, 0))]))
    assert names(j)["flat-triangles"]["grade"] == "note" and j["facts"]["flat_triangles"] == 1
    j = check("two.stl", stl(box(20, 20, 20) + box(20, 20, 20, at=(30, 0, 0))), status=0)
    assert names(j)["loose-shells"]["grade"] == "note" and j["facts"]["shells"] == 2
    j = check("slot.stl", stl(box(20, 20, 20) + box(20, 20, 20, at=(20.2, 0, 0))), status=0)
    assert names(j)["narrow-gaps"]["grade"] == "note" and "0.20 mm" in names(j)["narrow-gaps"]["says"], names(j)["narrow-gaps"]
    assert "narrow-gaps" not in names(check("apart.stl", stl(box(20, 20, 20) + box(20, 20, 20, at=(21, 0, 0)))))

    def coloured(xml): # materials of 3MF core 5.1: half of the triangles want the second
        base = '<basematerials id="9"><base name="red" displaycolor="#FF0000"/><base name="blue" displaycolor="#0000FF"/></basematerials>'
        xml = xml.replace("<resources>", "<resources>" + base, 1)
        parts = xml.split("<triangle ")
        return parts[0] + "".join('<triangle pid="9" p1="%d" ' % (i % 2) + t for i, t in enumerate(parts[1:]))
    j = check("colours.3mf", threemf([(1, "", "model", box(20, 20, 20))], [(1, None)], change=coloured), status=0)
    assert names(j)["many-materials"]["grade"] == "note" and "2 materials" in names(j)["many-materials"]["says"], j["findings"]
    with open(SHOP) as shop:
        short = write("short.yaml", shop.read().replace("longest_run_hours: 60", "longest_run_hours: 1").encode())
    done = run("check", "--shop", short, "--machine", "Alder", "--json", write("long.stl", stl(box(60, 60, 40))))
    assert "too-long" in names(json.loads(done.out)), done.out[:300] + done.err


@test
def every_finding_of_parts_has_a_part():
    with open(os.path.abspath(__file__)) as f:
        here = f.read()
    listed = run("explain").out
    for name in re.findall(r"^  ([a-z]+(?:-[a-z]+)+)$", listed, re.M):
        if re.search(r"^  of (parts|jobs and parts);", run("explain", name).out, re.M):
            assert '"%s"' % name in here, name


@test
def components_are_printed_as_one():
    def assembled(xml): # 3MF core 4.2: an object put together from others; it alone is built, twice
        both = ('<object id="3" type="model"><components><component objectid="1"/>'
                '<component objectid="2" transform="1 0 0 0 1 0 0 0 1 0 0 19"/></components></object></resources>')
        return xml.replace("</resources>", both, 1)
    data = threemf([(1, "foot", "model", box(20, 20, 20)), (2, "cap", "model", box(22, 22, 5))],
                   [(3, None), (3, "1 0 0 0 1 0 0 0 1 40 0 0")], change=assembled)
    j = check("assembly.3mf", data, status=0)
    assert [i["times"] for i in j["items"]] == [2], j["items"] # copies that lie elsewhere are one solid
    assert j["facts"]["bounds_mm"] == {"min": [0, 0, 0], "max": [62, 22, 24]}, j["facts"]["bounds_mm"]
    close(j["facts"]["foothold_mm2"], 800) # of the feet; the caps do not float
    long = threemf([(1, "", "model", box(200, 20, 20)), (2, "", "model", box(210, 20, 20))], [(3, None)],
                   change=lambda xml: assembled(xml).replace("1 0 0 0 1 0 0 0 1 0 0 19", "1 0 0 0 1 0 0 0 1 195 0 0"))
    assert names(check("long.3mf", long, status=2))["too-big"]["grade"] == "stop" # 405 mm together
    done = run("check", "--shop", SHOP, "--mend", os.path.join(where, "whole.3mf"), os.path.join(where, "assembly.3mf"))
    assert done.returncode == 0, done.err
    done = run("check", "--shop", SHOP, "--machine", "Alder", "--json", os.path.join(where, "whole.3mf"))
    close(json.loads(done.out)["facts"]["foothold_mm2"], 800)


@test
def several_items():
    lid = box(30, 30, 5)
    hole = box(20, 20, 20, leave=(1,))
    data = threemf([(1, "lid", "model", lid), (2, "cup", "model", hole), (3, "", "support", box(3, 3, 3))],
                   [(1, None), (2, "1 0 0 0 1 0 0 0 1 50 0 0"), (1, "1 0 0 0 1 0 0 0 1 0 50 0"),
                    (3, "1 0 0 0 1 0 0 0 1 90 0 0")])
    j = check("two.3mf", data, status=1)
    f = names(j)["open-edges"]
    assert f["item"] == "Item 2 (cup)" and f["says"].startswith("Item 2 (cup): "), f
    assert [(i["name"], i["times"]) for i in j["items"]] == [("lid", 2), ("cup", 1)]
    assert j["facts"]["left_out"] == 1 and j["facts"]["units"] == "millimeter"
    done = run("check", "--shop", SHOP, "--machine", "Alder", os.path.join(where, "two.3mf"))
    assert done.returncode == 1 and "Item 2 (cup)" in done.out and "left out" in done.out
    assert max(map(len, done.out.splitlines())) <= 80
    # mirrored: the specification keeps its volume's sign (3MF core 3.3)
    j = check("mirror.3mf", threemf([(1, "", "model", lid)], [(1, "-1 0 0 0 1 0 0 0 1 0 0 0")]), status=0)
    close(j["facts"]["volume_mm3"], 4500)


@test
def packed_parts_are_refused_by_name():
    """Jobs may be packed, parts may not: the slip says what to do instead of calling them bad jobs."""
    import gzip
    part = stl(box(20, 20, 20))
    for name, data, what in (("cube.stl.gz", gzip.compress(part), "STL"),
                             ("text.stl.gz", gzip.compress(stl_text(box(20, 20, 20))), "STL"),
                             ("cube.3mf.gz", gzip.compress(threemf([(1, None, "model", box(20, 20, 20))], [(1, None)])), "3MF")):
        path = write(name, data)
        for arguments, stdin in (([path], b""), (["-"], data)):
            p = run("check", "--shop", SHOP, "--machine", "Alder", *arguments, stdin=stdin)
            assert p.returncode == 3, p
            assert "is a part (%s) packed by gzip: unpack it first (gzip -d)" % what in p.err, p.err


@test
def faults_within_an_archive_name_the_file():
    path = write("broken.3mf", threemf([(1, None, "model", box(20, 20, 20))], [(1, None)], change=lambda xml: xml.replace("</mesh>", "", 1)))
    p = run("check", "--shop", SHOP, "--machine", "Alder", path)
    assert p.returncode == 3 and p.err.startswith("proveout: " + path + ":/3D/"), p.err


@test
def a_large_simple_part_takes_no_time():
    """A box of half a metre that fits nowhere was once looked at for ten seconds."""
    import resource
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    j = check("large.stl", stl(box(500, 420, 450)), status=2)
    taken = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before
    assert "too-big" in names(j), names(j)
    assert taken < 8, taken # about 1.5 s; sanitizers are slower


@test
def no_solid():
    j = check("flat.stl", stl(box(40, 30, 0)), status=2)
    assert "not-a-solid" in names(j)
    j = check("sheet.stl", stl(box(40, 30, 20, leave=(0, 2, 3, 4, 5))), status=2)
    assert list(names(j))[0] == "not-a-solid"
    for name, data in (("empty.stl", b""), ("text.stl", b"hello\n"), ("none.stl", b"solid x\nendsolid x\n"),
                       ("zero.stl", stl([])), ("bad.3mf", threemf([], [])), ("cut.3mf", threemf(
                           [(1, "", "model", box(9, 9, 9))], [(1, None)])[:400])):
        done = run("check", "--shop", SHOP, "--json", write(name, data))
        assert done.returncode == 3 and done.err, (name, done.returncode, done.err)
        assert json.loads(done.out)["format"] == "proveout/no-proof/1"
    box_of_letters = io.BytesIO()
    with zipfile.ZipFile(box_of_letters, "w") as z:
        z.writestr("letter.txt", "dear desk")
    done = run("check", "--shop", SHOP, write("letters.3mf", box_of_letters.getvalue()))
    assert done.returncode == 3 and "zip archive" in done.err


@test
def allowance_permission_material():
    block = stl(box(120, 100, 60))
    j = check("block.stl", block, status=1)
    f = names(j)["over-allowance"]
    assert "% of its size" in f["do"] and "Without fill" in f["do"], f
    assert 0.3 < j["facts"]["allowance_scale"] < 1
    small = stl(box(40, 30, 20))
    j = check("s.stl", small, "--permission", "", status=2)
    assert "not-permitted" in names(j)
    check("s.stl", small, "--permission", "starter", status=0)
    j = check("s.stl", small, "--material", "asa", status=2)
    assert "wrong-material" in names(j)
    j = check("s.stl", small, "--spool-g", "3", status=1)
    assert "spool-short" in names(j)
    j = check("s.stl", small, "--recipe", "careful", status=0)
    assert j["recipe"] == "careful" and "careful" in j["aloud"]


@test
def all_machines_and_several_files():
    part = write("box.stl", stl(box(40, 30, 20)))
    done = run("check", "--shop", SHOP, part)
    assert done.returncode == 0 and max(map(len, done.out.splitlines())) <= 80
    assert re.findall(r"^(\w+) +yes +yes ", done.out, re.M) == ["Alder", "Birch", "Cedar", "Dogwood", "Elm"], done.out
    done = run("check", "--shop", SHOP, "--json", part)
    j = json.loads(done.out)
    assert j["format"] == "proveout/part-proof/1" and [m["machine"] for m in j["machines"]][4] == "Elm"
    assert j["machines"][0]["facts"]["estimates"] == j["machines"][1]["facts"]["estimates"] # Birch is as Alder
    assert j["machines"][0]["facts"]["estimates"] != j["machines"][3]["facts"]["estimates"]
    job = write("job.gcode", b"G28\nG90\nM82\nG1 X60 Y60 Z0.2 F3000\nG1 X90 Y60 E2 F1200\n")
    done = run("check", "--shop", SHOP, "--machine", "Alder", "--json", part, job, part)
    lines = [json.loads(line) for line in done.out.splitlines()]
    assert [x["format"].split("/")[1] for x in lines] == ["part-proof", "job-proof", "part-proof"]
    assert done.returncode == 2 # pushed cold: the worst of them
    one = run("check", "--shop", SHOP, "--machine", "Alder", "--json", "--threads", "1", part).out
    assert one == run("check", "--shop", SHOP, "--machine", "Alder", "--json", "--threads", "5", part).out


@test
def mending():
    hole = box(40, 30, 20, leave=(1,))
    part = write("hole.stl", stl(hole + [hole[0]])) # a face is missing, a triangle stands twice
    before = open(part, "rb").read()
    out = os.path.join(where, "mended.3mf")
    done = run("check", "--shop", SHOP, "--machine", "Alder", "--mend", out, part)
    assert done.returncode == 1 and "Mended" in done.out and "hole" in done.out, done.out + done.err
    assert open(part, "rb").read() == before
    j = check("again.3mf", open(out, "rb").read(), status=0)
    assert j["facts"]["watertight"] and j["facts"]["doubled_triangles"] == 0
    close(j["facts"]["volume_mm3"], 24000)
    done = run("check", "--shop", SHOP, "--machine", "Alder", "--json", "--mend", out, part)
    mend = json.loads(done.out)["mend"]
    assert mend["watertight"] and mend["objects"][0]["holes_filled"] == 1 and mend["objects"][0]["doubled_dropped"] == 1
    # items keep their places
    data = threemf([(1, "lid", "model", inverted(box(30, 30, 5)))],
                   [(1, "1 0 0 0 1 0 0 0 1 7 0 0"), (1, "1 0 0 0 1 0 0 0 1 0 50 0")])
    done = run("check", "--shop", SHOP, "--machine", "Alder", "--mend", out, write("lids.3mf", data))
    assert done.returncode == 1, done.err
    j = check("lids2.3mf", open(out, "rb").read(), status=0)
    assert j["facts"]["bounds_mm"] == {"min": [0, 0, 0], "max": [37, 80, 5]} and j["items"][0]["name"] == "lid"
    close(j["facts"]["volume_mm3"], 9000)


@test
def mending_never_touches_the_input():
    part = write("hole.stl", stl(box(40, 30, 20, leave=(1,))))
    before = open(part, "rb").read()
    os.symlink(part, os.path.join(where, "link.3mf"))
    for target in (part, os.path.join(where, "link.3mf"), "hole.stl", "-", ""):
        done = run("check", "--shop", SHOP, "--mend", target, part)
        assert done.returncode == 4 and done.err, (target, done.returncode)
        assert open(part, "rb").read() == before
    done = run("check", "--shop", SHOP, "--mend", "no/such/folder/x.3mf", part)
    assert done.returncode == 5 and "can't be written" in done.err, (done.returncode, done.err)
    job = write("job.gcode", b"G28\nG90\nM82\nG1 X60 Y60 Z0.2 F3000\nG1 X90 Y60 E2 F1200\n")
    done = run("check", "--shop", SHOP, "--mend", "x.3mf", job)
    assert done.returncode == 4 and not os.path.exists(os.path.join(where, "x.3mf"))
    assert run("check", "--shop", SHOP, "--mend", "x.3mf", part, part).returncode == 4


@test
def no_verb_writes_over_what_it_reads():
    given = stl(box(300, 20, 20))
    part = write("only copy.svg", given)
    link = os.path.join(where, "another name.svg")
    os.link(part, link)
    machine = ("--shop", SHOP, "--machine", "Alder")
    job = write("against.gcode", b"G28\nG90\nM82\nG1 X60 Y60 Z0.2 F3000\nG1 X90 Y60 E2 F1200\n")
    for target in (part, link, "only copy.svg", "./only copy.svg"):
        for words in (("orient", "--shop", SHOP, "--out", target, part), ("pieces", *machine, "--out", target, part),
                      ("pieces", *machine, "--picture", target, part), ("check", *machine, "--html", target, part),
                      ("check", *machine, "--pdf", target, part), ("check", *machine, "--picture", target, part),
                      ("check", *machine, "--against", part, "--html", target, job)):
            done = run(*words)
            assert done.returncode == 4 and "stays as it is" in done.err, (words, done.returncode, done.err)
            assert open(part, "rb").read() == given, words
    done = run("orient", "--shop", SHOP, "--out", "laid.3mf", part)
    assert done.returncode == 0 and open(os.path.join(where, "laid.3mf"), "rb").read(2) == b"PK", done.err


@test
def a_face_to_keep():
    part = write("keep.stl", stl(box(10, 20, 30)))
    orient = ("orient", "--shop", SHOP, "--keep-face", "0,1,0")
    done = run(*orient, part)
    rows = [line for line in done.out.splitlines() if line[2:4].strip().isdigit()]
    assert done.returncode == 0 and len(rows) == 2 and rows[0][0] == "*" and rows[1][0] == " ", done.out
    assert "for comparison: it does not keep the face down" in done.out
    poses = json.loads(run(*orient, "--json", part).out)["items"][0]["poses"]
    assert [p["keeps_face"] for p in poses] == [True, False] and poses[0]["up"] == [0, -1, 0], poses
    done = run(*orient, "--pose", "2", "--out", "kept.3mf", part)
    assert done.returncode == 4 and "does not keep the face" in done.err, done.err
    assert not os.path.exists(os.path.join(where, "kept.3mf"))
    assert run(*orient, "--pose", "1", "--out", "kept.3mf", part).returncode == 0


@test
def what_is_no_part():
    for name, data, says in (("head.stl", b"part".ljust(80, b"\0") + bytes(4), "a binary STL without a triangle"),
                             ("plain.stl", b"just words", "neither a job nor a part: no motion word in 1 line\n"),
                             ("cut.stl", b"solid a\n facet normal 0 0 1\n  o", "breaks off after 'o'")):
        done = run("check", "--shop", SHOP, "--machine", "Alder", write(name, data))
        assert done.returncode == 3 and says in done.err, (name, done.returncode, done.err)


@test
def every_finding_is_explained():
    found = ("not-a-solid too-big unit-suspect open-edges crowded-edges inside-out cuts-itself thin-walls fits-turned "
             "flat-triangles loose-shells slim-walls narrow-gaps needs-support many-materials").split()
    for name in found:
        done = run("explain", name)
        assert done.returncode == 0 and "What helps" in done.out, name


@test
def shared_meshes():
    if not os.path.isdir(os.path.join(SHARED, "data", "mesh")):
        print("skipped: no shared data")
        return
    wanted = { # by eye: what each of them is
        "7_8ths_cube.stl": set(), "ADIS16480.STL": {"unit-suspect"}, "angle_block.STL": {"unit-suspect", "open-edges"},
        "unit_cube.STL": {"unit-suspect"}, "torus.STL": {"unit-suspect"}, "shared.STL": {"unit-suspect", "crowded-edges"},
        "multibody.stl": {"unit-suspect", "inside-out"}, "soup.stl": {"not-a-solid", "unit-suspect"},
    }
    for name, findings in wanted.items():
        with open(os.path.join(SHARED, "data", "mesh", name), "rb") as f:
            assert set(names(check(name, f.read(), machine="Dogwood"))) == findings, name
    for name in ("box.3mf", "cylinder.3mf", "torus_proc.3mf", "multiple_cylinders.3mf"):
        with open(os.path.join(SHARED, "data", "3mf", "examples", name), "rb") as f:
            j = check(name, f.read(), status=0)
            assert not j["findings"], (name, j["findings"])


def main():
    global where
    failed = 0
    for function in tests:
        if PART not in function.__name__:
            continue
        where = tempfile.mkdtemp(prefix="part-cli-")
        try:
            function()
        except Exception: # pylint: disable=broad-except
            failed += 1
            print("FAILED", function.__name__)
            traceback.print_exc(limit=-2, file=sys.stdout)
        finally:
            shutil.rmtree(where)
    print("%d tests, %d failed" % (len(tests), failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

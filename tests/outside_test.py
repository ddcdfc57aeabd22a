#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The facts of meshes held against general-purpose libraries that read the same files: VTK, CGAL, lib3mf.

usage: outside_test.py PROVEOUT SHOP PART_FACTS MAKE_MESH
Compared, where both define the same thing:
  VTK     triangles, vertices, open and crowded edges, shells, area, bounds; the volume of closed meshes (VTK's has no
          sign); of level sections the area (as the triangles face), the length, and the count where pieces do not touch.
          Where seams were closed VTK welds within the same distance.
  CGAL    closed or not (no crowded edges: CGAL takes those apart; flipped triangles: CGAL turns them), volume, area; self
          cuts: CGAL's pairs less those that share a corner or meet in one point only, which is how the measures count.
  lib3mf  triangles, volume, area and bounds of all that is placed by a 3MF (volume, area and bounds by way of VTK), and
          that it reads what `check --mend`, `orient --out` and `pieces --out` write: closed, with the right volume.
A library that is not installed is left out with a word; exit status 77 where none is."""
import glob
import json
import math
import os
import re
import shutil
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(HERE, "outside"))
import meshes  # noqa: E402 pylint: disable=wrong-import-position

PROVEOUT, SHOP, PART_FACTS, MAKE_MESH = [os.path.abspath(p) for p in sys.argv[1:5]]
SHARED = os.environ.get("PO_SHARED", "")
SECTIONS = 10
PYTHON = "/usr/bin/python3"  # Debian's own: the one that its packages are installed for
compared, failures = {}, []


def say(what):
    print(what, flush=True)


def same(library, name, what, ours, theirs, relative=0.0, least=0.0):
    """Counts one comparison. least: what counts as no difference, in the unit of the numbers."""
    compared[library] = compared.get(library, 0) + 1
    if ours is None or theirs is None or not abs(ours - theirs) <= max(relative * max(abs(ours), abs(theirs)), least):
        failures.append("%s, %s: %s is %r, by %s %r" % (name, what, what, ours, library, theirs))


def run(args, **more):
    return subprocess.run(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=300, check=False, **more)


def ours(path, sections=SECTIONS):
    done = run([PART_FACTS, path, str(sections)])
    if done.returncode != 0:
        return None
    return json.loads(done.stdout)


# ---- the libraries ----

def vtk(questions):
    """Answers of one process to all questions; None where VTK is not installed."""
    done = run([PYTHON if os.path.exists(PYTHON) else "python3", os.path.join(HERE, "outside", "vtk_facts.py")],
               input=json.dumps(questions).encode())
    if done.returncode == 77:
        return None
    assert done.returncode == 0, done.stderr.decode(errors="replace")
    found = json.loads(done.stdout)
    return found["answers"]


def compiled(folder, name, source, header, extra):
    """A C++ program made for this run; None where its library or a compiler is not there."""
    compiler = shutil.which(os.environ.get("CXX", "c++"))
    if not compiler or not os.path.exists(header):
        return None
    path = os.path.join(folder, name)
    done = run([compiler, "-O1", "-w", "-o", path, os.path.join(HERE, source)] + extra)
    assert done.returncode == 0, done.stderr.decode(errors="replace")[-3000:]
    return path


# ---- what is compared ----

def against_vtk(name, f, v):
    for what in ("triangles", "vertices", "open_edges", "crowded_edges", "shells"):
        same("VTK", name, what, f[what], v[what])
    for i in range(6):
        same("VTK", name, "bounds", f["bounds"][i], v["bounds"][i], 1e-7 if f["text"] else 0)  # VTK reads single numbers
    # by Heron's formula in double: small angles cost digits
    same("VTK", name, "area", f["area"], v["area"], 1e-7)
    if f["watertight"]:
        same("VTK", name, "volume", abs(f["volume"]), v["volume"], 1e-9, 1e-9 * f["area"] ** 1.5)
    size = f["bounds"][5] - f["bounds"][4]
    for mine, theirs in zip(f["sections"], v["sections"]):
        z, area, length, loops, open_ends = mine
        if open_ends > 0:
            continue  # ours closed them by a straight edge
        same("VTK", name, "length of the section at %g" % z, length, theirs[1], 1e-6, 1e-7 * size)
        if f["watertight"]:
            same("VTK", name, "area of the section at %g" % z, area, theirs[0], 1e-6, 1e-7 * size * size)
            if f["self_cuts"] == 0:
                same("VTK", name, "outlines at %g" % z, loops, theirs[2])


def proof_against_vtk(name, path, v):
    """The same figures as a desk program gets them from the proof."""
    done = run([PROVEOUT, "check", "--json", "--shop", SHOP, "--machine", "Dogwood", path])
    assert done.returncode in (0, 1, 2), (name, done.returncode, done.stderr[-500:])
    facts = json.loads(done.stdout)["facts"]
    for what in ("triangles", "vertices", "open_edges", "crowded_edges", "shells"):
        same("VTK", name + " (proof)", what, facts[what], v[what])
    same("VTK", name + " (proof)", "area", facts["area_mm2"], v["area"], 1e-7)
    if facts["watertight"]:
        same("VTK", name + " (proof)", "volume", abs(facts["volume_mm3"]), v["volume"], 1e-7, 1e-9 * v["area"] ** 1.5)
    for k in range(3):
        same("VTK", name + " (proof)", "bounds", facts["bounds_mm"]["min"][k], v["bounds"][2 * k], 1e-7)
        same("VTK", name + " (proof)", "bounds", facts["bounds_mm"]["max"][k], v["bounds"][2 * k + 1], 1e-7)


def against_cgal(name, f, c):
    if f["crowded_edges"] == 0:
        same("CGAL", name, "closed", int(f["open_edges"] == 0), int(c["closed"]))
    same("CGAL", name, "area", f["area"], c["area"], 1e-7)
    if f["watertight"]:
        same("CGAL", name, "volume", f["volume"], c["volume"], 1e-9, 1e-9 * f["area"] ** 1.5)
    same("CGAL", name, "self cuts", f["self_cuts"], c["pairs_apart"])


def gather(folder):
    """(name, path of an STL, what is known)"""
    found = []
    for number, (name, (triangles, known)) in enumerate(meshes.all_of_them().items()):
        path = os.path.join(folder, "made-%d.stl" % number)
        with open(path, "wb") as f:
            f.write(meshes.stl(triangles))
        found.append((name, path, known))
    stone = meshes.all_of_them()["a stone"][0]
    with open(os.path.join(folder, "stone.stl"), "wb") as f:
        f.write(meshes.stl_text(stone))
    found.append(("a stone, as text", os.path.join(folder, "stone.stl"), {"genus": 0}))
    for kind in ("binary", "shuffled", "text"):
        path = os.path.join(folder, kind + ".stl")
        with open(path, "wb") as f:
            subprocess.run([MAKE_MESH, "20000", kind], stdout=f, check=True)
        found.append(("a wavy ring, " + kind, path, {"genus": 1, "shells": 1, "self_cuts": 0}))
    if os.path.isdir(os.path.join(SHARED, "data", "mesh")):
        for path in sorted(glob.glob(os.path.join(SHARED, "data", "mesh", "*"))):
            if path.lower().endswith(".stl"):
                found.append((os.path.basename(path), path, {}))
    else:
        say("left out: the shared meshes, which are not there")
    return found


def is_binary(path):
    with open(path, "rb") as f:
        head = f.read(84)
    return len(head) == 84 and os.path.getsize(path) == 84 + 50 * int.from_bytes(head[80:], "little")


def facts_of_meshes(folder, cgal):
    questions, all_facts = [], []
    for name, path, known in gather(folder):
        read = ours(path)
        assert read and len(read["objects"]) >= 1, name
        if len(read["objects"]) > 1:
            continue  # several solids: VTK and CGAL make one of them
        f = read["objects"][0]
        f["text"] = not is_binary(path)
        for what, value in known.items():
            # known by the making of the shape, not by a library
            if abs(f[what] - value) > 1e-6 * abs(value):
                failures.append("%s: %s is %r, should be %r" % (name, what, f[what], value))
        questions.append({"file": path, "weld": f["seams_mm"] or 0, "heights": [s[0] for s in f["sections"]]})
        all_facts.append((name, path, f))
    answers = vtk(questions)
    for number, ((name, path, f), v) in enumerate(zip(all_facts, answers or [])):
        against_vtk(name, f, v)
        if number % 3 == 0 and f["triangles"] < 1000:
            proof_against_vtk(name, path, v)
    for name, path, f in all_facts if cgal else []:
        if not is_binary(path) or f["seams_mm"] is not None:
            continue  # this yardstick reads binary files, and welds equal points only
        done = run([cgal, path, "pairs"])
        assert done.returncode == 0, (name, done.returncode, done.stderr[-500:])
        against_cgal(name, f, json.loads(done.stdout))
    return answers is not None


UNITS = {"micron": 1e-3, "millimeter": 1, "centimeter": 10, "inch": 25.4, "foot": 304.8, "meter": 1000}


def unit_of(path):
    """Of a 3MF, by unpacking its model with another program's hands."""
    import zipfile  # pylint: disable=import-outside-toplevel
    with zipfile.ZipFile(path) as z:
        for name in z.namelist():
            if name.lower().endswith(".model"):
                unit = re.search(rb"<model[^>]*\bunit\s*=\s*[\"'](\w+)", z.read(name))
                return UNITS[unit.group(1).decode()] if unit else 1
    return 1


def determinant(m):
    return (m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]))


def dump(program, path, folder):
    """Files of the build items as lib3mf reads them; None where it refuses the 3MF."""
    target = tempfile.mkdtemp(dir=folder)
    done = run([program, path, target])
    if done.returncode == 3:
        return None
    assert done.returncode == 0, (path, done.returncode, done.stderr)
    return [(n, os.path.join(target, "%d.stl" % i)) for i, n in enumerate(json.loads(done.stdout))]


def models_read(folder, program):
    if not os.path.isdir(os.path.join(SHARED, "data", "3mf")):
        say("left out: the shared 3MF files, which are not there")
        return
    files = sorted(glob.glob(os.path.join(SHARED, "data", "3mf", "examples", "*.3mf")) +
                   glob.glob(os.path.join(SHARED, "data", "3mf", "conformance", "MUSTPASS*.3mf")) +
                   [p for p in glob.glob(os.path.join(SHARED, "data", "mesh", "*")) if p.lower().endswith(".3mf")])
    questions, wanted, apart = [], [], []
    for path in files:
        name, mine, items = os.path.basename(path), ours(path, 0), dump(program, path, folder)
        if mine is None or items is None or sum(n for n, _ in items) == 0:
            apart.append("%s (%s)" % (name, "ours and lib3mf do not take it" if not mine and not items else
                                      "ours does not take it" if not mine else "lib3mf does not take it" if items is None
                                      else "no triangles"))
            continue
        per_item = {}
        for index, build_item, *_ in mine["items"]:
            per_item[build_item] = per_item.get(build_item, 0) + mine["objects"][index]["triangles"]
        counts = sorted(n for n, _ in items if n)
        same("lib3mf", name, "items", len(per_item), len(counts))
        for a, b in zip(sorted(per_item.values()), counts):
            same("lib3mf", name, "triangles of an item", a, b)
        mm = unit_of(path)
        exact = all(abs(abs(determinant(m)) - 1) < 1e-9 for _, _, *m in mine["items"])
        volume = sum(mine["objects"][i]["volume"] * abs(determinant(m)) for i, _, *m in mine["items"])
        area = sum(mine["objects"][i]["area"] for i, _, *m in mine["items"])
        closed = all(mine["objects"][i]["watertight"] for i, _, *m in mine["items"])
        for n, stl in items:
            if n:
                questions.append({"file": stl})
                wanted.append((name, mm, volume if closed else None, area if exact else None))
    answers = vtk(questions)
    totals = {}
    for (name, mm, volume, area), v in zip(wanted, answers or []):
        sums = totals.setdefault(name, [volume, area, 0, 0])
        sums[2] += v["volume"] * mm ** 3
        sums[3] += v["area"] * mm ** 2
    for name, (volume, area, their_volume, their_area) in totals.items():
        # lib3mf keeps coordinates, and an STL its own, as single numbers
        if volume is not None:
            same("lib3mf", name, "volume", abs(volume), their_volume, 1e-4)
        if area is not None:
            same("lib3mf", name, "area", area, their_area, 1e-4)
    if apart:
        say("lib3mf, not compared: " + ", ".join(apart))


def written(folder, program, name, args, shape, volume, least=1, size=None, exact=True):
    """Runs the program on a shape; what it wrote must be read by lib3mf and be closed, by VTK, with the right volume (single
    numbers); exact: and by our own reader with the very volume, to 1e-9."""
    source, target = os.path.join(folder, "source.stl"), os.path.join(folder, "written.3mf")
    with open(source, "wb") as f:
        f.write(meshes.stl(meshes.rounded(shape)))
    if os.path.exists(target):
        os.unlink(target)
    done = run([PROVEOUT] + [a.replace("OUT", target) for a in args] + ["--shop", SHOP, source])
    if done.returncode not in (0, 1) or not os.path.exists(target):
        failures.append("%s: exit status %d: %s" % (name, done.returncode, (done.stderr or done.stdout).decode()[-500:]))
        return
    items = dump(program, target, folder)
    if not items:
        failures.append("%s: lib3mf does not read what was written" % name)
        return
    mine = ours(target, 0)
    total = sum(mine["objects"][i]["volume"] * determinant(m) for i, _, *m in mine["items"])
    if exact and abs(total - volume) > 1e-9 * volume:
        failures.append("%s: the volumes add up to %.17g, not %.17g" % (name, total, volume))
    answers = vtk([{"file": path} for _, path in items])
    if answers is None:
        return
    for v in answers:
        same("lib3mf", name, "open edges", 0, v["open_edges"])
        same("lib3mf", name, "crowded edges", 0, v["crowded_edges"])
        if args[0] != "check":
            same("lib3mf", name, "lowest point", 0, v["bounds"][4], least=1e-4)
        if size:
            for k in range(3):
                if v["bounds"][2 * k + 1] - v["bounds"][2 * k] > size[k]:
                    failures.append("%s: a piece of %r does not fit %r" % (name, v["bounds"], size))
    same("lib3mf", name, "volume", volume, sum(v["volume"] for v in answers), 1e-5)
    if len(answers) < least:
        failures.append("%s: %d items, at least %d were needed" % (name, len(answers), least))


def outputs(folder, program):
    cube = meshes.box(40, 30, 20)
    stone = meshes.all_of_them()["a stone"][0]
    stone_volume = sum(determinant([v for p in t for v in p]) for t in stone) / 6
    mend = ["check", "--machine", "Alder", "--mend", "OUT"]
    written(folder, program, "mend: an open box", mend, meshes.box(40, 30, 20, leave=(1,)), 24000)
    written(folder, program, "mend: inside out", mend, meshes.inverted(cube), 24000)
    written(folder, program, "mend: a flipped triangle", mend, cube[:3] + meshes.inverted(cube[3:4]) + cube[4:], 24000)
    written(folder, program, "mend: twice there", mend, cube + cube[:2], 24000)
    # three triangles out of 2320, each in one plane with nothing: filled as it was
    written(folder, program, "mend: a stone with gaps", mend, meshes.without(stone, 100, 555, 999), stone_volume)
    bodies = meshes.box(40, 30, 6) + meshes.box(10, 10, 30, at=(60, 0, 0))
    written(folder, program, "orient: a box", ["orient", "--out", "OUT"], cube, 24000)
    written(folder, program, "orient: a turned box", ["orient", "--out", "OUT"], meshes.turned(cube, 4), 24000, exact=False)
    written(folder, program, "orient: a stone", ["orient", "--out", "OUT"], stone, stone_volume)
    written(folder, program, "orient: two bodies", ["orient", "--out", "OUT"], bodies, 7200 + 3000)
    pieces = ["pieces", "--machine", "Alder", "--out", "OUT"]
    room = (245, 205, 230)
    written(folder, program, "pieces: a long beam", pieces, meshes.box(500, 40, 30), 600000, least=2, size=room)
    written(folder, program, "pieces: a block", pieces, meshes.box(300, 300, 100), 9e6, least=3, size=room)
    written(folder, program, "pieces: a frame", pieces, meshes.frame(400, 300, 30), 30 * (160000 - 90000), least=3, size=room)
    ball = meshes.rounded(meshes.sphere(150, n=24, m=18))
    ball_volume = sum(determinant([v for p in t for v in p]) for t in ball) / 6
    written(folder, program, "pieces: a ball", pieces, ball, ball_volume, least=2, size=room)


def main():
    folder = tempfile.mkdtemp(prefix="outside-")
    try:
        cgal = compiled(folder, "cgal_mesh", "../bench/outside/cgal_mesh.cpp",
                        "/usr/include/CGAL/Polygon_mesh_processing/self_intersections.h", ["-lgmp", "-lmpfr"])
        lib3mf = compiled(folder, "threemf_dump", "outside/threemf_dump.cpp",
                          "/usr/include/lib3mf/Model/COM/NMR_DLLInterfaces.h", ["-I/usr/include/lib3mf", "-l3MF"])
        has_vtk = facts_of_meshes(folder, cgal)
        if lib3mf:
            models_read(folder, lib3mf)
            outputs(folder, lib3mf)
        there = {"VTK": has_vtk, "CGAL": cgal is not None, "lib3mf": lib3mf is not None}
    finally:
        shutil.rmtree(folder)
    for library, is_there in there.items():
        say("%s: %s" % (library, "%d comparisons" % compared.get(library, 0) if is_there else "not installed, left out"))
        if is_there and compared.get(library, 0) < 20:
            failures.append("%s is there, but next to nothing was compared" % library)
    for failure in failures[:60]:
        say("FAILED " + failure)
    say("%d comparisons, %d failures" % (sum(compared.values()), len(failures)))
    if not any(there.values()):
        say("skipped: none of the libraries is installed")
        return 77
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Jobs held against the part they were made from, or were not. usage: against_test.py PROVEOUT AGAINST_JOBS SHOP [--few]
What each job holds is known from how it was written (against_jobs.c); a good one may not alarm."""
import json
import os
import subprocess
import sys
import tempfile

PROVE, JOBS, SHOP = sys.argv[1:4]
NAMES = {"other-part", "scaled", "mirrored", "incomplete"}
failed = 0


def held(folder, job, part, machine="Alder"):
    args = [PROVE, "check", "--shop", SHOP, "--json", "--machine", machine, "--against", os.path.join(folder, part),
            os.path.join(folder, job)]
    run = subprocess.run(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    if run.returncode not in (0, 1, 2):
        sys.exit("%s: status %d: %s" % (job, run.returncode, run.stderr))
    return json.loads(run.stdout)


def want(what, good, got):
    global failed
    if not good:
        failed += 1
        print("FAIL %s: %s" % (what, got))


def turn_apart(a, b):
    return abs((a - b + 180) % 360 - 180)


def two_solids(folder):
    """A 3MF with the flag and a box: one of them is in no job."""
    import struct
    import zipfile
    with open(os.path.join(folder, "flag.stl"), "rb") as f:
        data = f.read()
    n = struct.unpack_from("<I", data, 80)[0]
    points, faces = [], []
    for t in range(n):
        corners = struct.unpack_from("<9f", data, 84 + 50 * t + 12)
        faces.append(tuple(range(len(points), len(points) + 3)))
        points += [corners[0:3], corners[3:6], corners[6:9]]
    known, index = {}, []
    for p in points:
        index.append(known.setdefault(p, len(known)))
    box = [(x, y, z) for z in (0, 9) for y in (0, 11) for x in (0, 13)]
    sides = [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4), (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5)]

    def mesh(number, name, vertices, triangles):
        return '<object id="%d" type="model" name="%s"><mesh><vertices>%s</vertices><triangles>%s</triangles></mesh></object>' % (
            number, name, "".join('<vertex x="%r" y="%r" z="%r"/>' % tuple(v) for v in vertices),
            "".join('<triangle v1="%d" v2="%d" v3="%d"/>' % t for t in triangles))
    model = ('<?xml version="1.0" encoding="UTF-8"?><model unit="millimeter" '
             'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
             + mesh(1, "flag", list(known), [tuple(index[i] for i in f) for f in faces]) + mesh(2, "lid", box, sides)
             + '</resources><build><item objectid="1"/><item objectid="2" transform="1 0 0 0 1 0 0 0 1 60 0 0"/></build></model>')
    path = os.path.join(folder, "two.3mf")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as z:
        z.writestr("[Content_Types].xml", '<?xml version="1.0" encoding="UTF-8"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>')
        z.writestr("_rels/.rels", '<?xml version="1.0" encoding="UTF-8"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="r0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>')
        z.writestr("3D/3dmodel.model", model)
    return path


def main():
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([JOBS, folder], check=True)
        two_solids(folder)
        rows = [  # job, part, findings, scale, turn, found
            ("plain.gcode", "flag.stl", set(), 1, 0, 1),
            ("turned.gcode", "flag.stl", set(), 1, 33, 1),
            ("turned.gcode", "flag-lying.stl", set(), 1, None, 1),
            ("twice.gcode", "flag.stl", set(), 1, 33, 2),
            ("mirror.gcode", "flag.stl", {"mirrored"}, 1, None, 1),
            ("small.gcode", "flag.stl", {"scaled"}, 0.9, 90, 1),
            ("little.gcode", "flag.stl", {"scaled"}, 0.97, 10, 1),
            ("wide.gcode", "flag.stl", {"other-part"}, None, None, 0),
            ("other.gcode", "flag.stl", {"other-part"}, None, None, 0),
            ("filled.gcode", "flag.stl", {"other-part"}, None, None, 0),  # the hole is not there
            ("cut.gcode", "flag.stl", {"incomplete"}, 1, 33, 1),
            ("plain.gcode", "two.3mf", {"incomplete"}, 1, 0, 1),
        ]
        if "--few" in sys.argv:
            rows = [rows[1], rows[4], rows[-2]]
        for job, part, findings, scale, turn, found in rows:
            proof = held(folder, job, part)
            what = "%s against %s" % (job, part)
            got = {f["name"] for f in proof["findings"]} & NAMES
            solid = proof["against"]["solids"][0]
            want(what, got == findings, [f for f in proof["findings"] if f["name"] in NAMES] or solid)
            want(what + " (found)", solid["found"] == found, solid)
            if scale is not None:
                want(what + " (scale)", abs(solid["scale"] - scale) < 0.01, solid)
            if turn is not None:
                want(what + " (turn)", turn_apart(solid["turn_deg"], turn) < 1, solid)
        text = subprocess.run([PROVE, "check", "--shop", SHOP, "--machine", "Alder", "--text", "--against", os.path.join(folder, "flag.stl"),
                               os.path.join(folder, "mirror.gcode")], stdout=subprocess.PIPE, text=True)
        want("text", "Held against" in text.stdout and "mirror image" in text.stdout, text.stdout)
        wrong = subprocess.run([PROVE, "check", "--shop", SHOP, "--against", os.path.join(folder, "plain.gcode"),
                                os.path.join(folder, "plain.gcode")], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        want("a job is no part", wrong.returncode == 4, (wrong.returncode, wrong.stderr))
    print("%d rows, %d wrong" % (len(rows), failed))
    return failed > 0


if __name__ == "__main__":
    sys.exit(main())

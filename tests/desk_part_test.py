#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""A part looked at over HTTP: solids, ways up, spots, mesh, pictures, 3MF; what is refused.

usage: desk_part_test.py PROVEOUT SHOP"""
import contextlib
import http.client
import io
import json
import os
import struct
import subprocess
import sys
import time
import zipfile

from desk_kit import Desk, run_tests

desk = Desk(sys.argv[1], sys.argv[2])
KEPT = {}


def stl(triangles):
    data = bytearray(80) + struct.pack("<I", len(triangles))
    for t in triangles:
        data += struct.pack("<12fH", 0, 0, 0, *[v for p in t for v in p], 0)
    return bytes(data)


def tee():
    """The outline of a T in x, z, 30 mm deep: 450 mm2 hang over at each side."""
    xz = [(15, 0), (25, 0), (25, 20), (40, 20), (40, 25), (0, 25), (0, 20), (15, 20)]
    out, eye = [], (20, 22)
    at = lambda p, y: (p[0], y, p[1])
    for a, b in zip(xz, xz[1:] + xz[:1]):
        out += [(at(eye, 0), at(a, 0), at(b, 0)), (at(eye, 30), at(b, 30), at(a, 30)), (at(a, 0), at(a, 30), at(b, 30)),
                (at(a, 0), at(b, 30), at(b, 0))]
    return stl(out)


class Server:
    def __init__(self):
        self.process = subprocess.Popen([desk.proveout, "desk", "--listen", "127.0.0.1:0"], env=desk.env, stdout=subprocess.PIPE,
                                        stderr=subprocess.DEVNULL, cwd=desk.where)
        line = self.process.stdout.readline().decode()
        self.port = int(line.rsplit(":", 1)[1].strip().strip("/"))

    def call(self, method, path, body=None, **headers):
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=100)) as c:
            c.request(method, path, body, {k.replace("_", "-"): v for k, v in headers.items()})
            r = c.getresponse()
            return r.status, r.headers, r.read()

    def get(self, path):
        for _ in range(100):
            status, headers, body = self.call("GET", path)
            if status != 202:
                return status, headers, body
            time.sleep(.1)
        raise AssertionError(f"{path} is never done")

    def post(self, path, **body):
        for _ in range(100):
            status, _, said = self.call("POST", path, json.dumps(body), Content_Type="application/json")
            if status != 202:
                return status, json.loads(said)
            time.sleep(.1)
        raise AssertionError(f"{path} is never done")


def prove(server, data):
    status, _, said = server.call("POST", "/api/1/files", data, Content_Type="application/octet-stream", X_Proveout_Name="x.stl")
    assert status == 200, said
    status, said = server.post("/api/1/proofs", file=json.loads(said)["file"], machine="Alder")
    assert status == 200, said
    for _ in range(20):
        state = json.loads(server.call("GET", f"/api/1/proofs/{said['proof']}?wait=10")[2])
        if state["state"] == "done":
            return f"/api/1/proofs/{said['proof']}/part"
    raise AssertionError(state)


def the_whole():
    server, part = KEPT["server"], KEPT["part"]
    status, headers, body = server.get(part)
    said = json.loads(body)
    assert status == 200 and said["format"] == "proveout/part-view/1", body
    assert [s["finding"] for s in said["spots"]] == ["needs-support"] * 2, said["spots"]
    assert all(abs(s["mm2"] - 450) < 1e-3 and abs(s["normal"][2] + 1) < 1e-6 for s in said["spots"]), said["spots"]
    assert [f["side"] for f in said["faces"]][0] == "top" and abs(said["faces"][0]["mm2"] - 1200) < 1e-3, said["faces"]
    assert said["poses"] and said["poses"][said["as_is"]]["down"] == "bottom", said["poses"]
    assert any(p["down"] == "top" for p in said["poses"]) and not said["mendable"]
    KEPT["whole"] = said


def the_mesh():
    status, headers, body = KEPT["server"].get(KEPT["part"] + "/mesh")
    assert status == 200 and headers["Content-Type"] == "application/octet-stream" and body[:4] == b"PVM1"
    vertices, triangles, whole, index, points = struct.unpack_from("<5I", body, 4)
    assert (vertices, triangles, whole, index) == (18, 32, 32, 2), (vertices, triangles, whole, index)
    assert len(body) == 56 + 12 * vertices + 4 * triangles + 16 * points + 3 * index * triangles + triangles
    assert sum(c & 8 != 0 for c in body[-triangles:]) == 4 and sum(c & 1 for c in body[-triangles:]) == 2, body[-triangles:]
    turned = "1,0,0,0,-1,0,0,0,-1"
    status, _, classes = KEPT["server"].get(f"{KEPT['part']}/classes?turn={turned}")
    assert status == 200 and len(classes) == whole and not any(c & 8 for c in classes)


def a_pose():
    server, part = KEPT["server"], KEPT["part"]
    status, drawn = server.post(part + "/pose")
    assert status == 200 and drawn["pose"]["down"] == "bottom" and len(drawn["spots"]) == 2, drawn
    assert drawn["estimates"][0]["support_mm"] > 0
    status, head = server.post(part + "/pose", degrees="180,0,0")
    assert status == 200 and head["pose"]["down"] == "top" and head["spots"] == [], head
    assert head["estimates"][0]["support_mm"] == 0 and abs(head["pose"]["foothold_mm2"] - 1200) < .01
    assert [f["machine"] for f in head["fits"]] == ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]
    status, face = server.post(part + "/pose", face=KEPT["whole"]["faces"][0]["triangle"])
    assert status == 200 and face["pose"]["down"] == "top", face
    status, back = server.post(part + "/pose", turn=",".join(map(repr, head["pose"]["turn"])), degrees="180,0,0")
    assert status == 200 and back["pose"]["turn"] == [1, 0, 0, 0, 1, 0, 0, 0, 1], back["pose"]
    # as the proof of the part says, and asked for again it is there at once
    begun = time.monotonic()
    assert server.post(part + "/pose")[1] == drawn and time.monotonic() - begun < 1
    proof = json.loads(server.call("GET", part.removesuffix("/part"))[2])["result"]
    for mine, its in zip(drawn["estimates"], proof["facts"]["estimates"]):
        assert mine["recipe"] == its["recipe"] and abs(mine["filament_mm"] - its["filament_mm"]) < .1, (mine, its)
        assert abs(mine["seconds"] - its["seconds"]) < 1, (mine, its)


def scales_pictures_files():
    server, part = KEPT["server"], KEPT["part"]
    status, _, body = server.get(part + "/scales")
    said = json.loads(body)
    assert status == 200 and said["machine_scale"] > 2 and said["allowance_scale"] > 1, said
    for query, least in (("", 5000), ("?from=below", 5000), ("?small=true", 800)):
        status, headers, body = server.get(f"{part}/view.svg{query}")
        assert status == 200 and headers["Content-Type"].startswith("image/svg+xml") and len(body) > least, (query, len(body))
        assert b"<svg" in body[:200]
    status, headers, body = server.get(f"{part}/part.3mf?turn=1,0,0,0,-1,0,0,0,-1&scale=0.5")
    assert status == 200 and headers["Content-Type"] == "model/3mf" and "attachment" in headers["Content-Disposition"]
    assert "3D/3dmodel.model" in zipfile.ZipFile(io.BytesIO(body)).namelist()
    again = prove(server, body)  # what was written is a part: half as large, on its head
    status, _, said = server.get(again)
    size = json.loads(said)["solids"][0]["size_mm"]
    assert all(abs(a - b) < 1e-3 for a, b in zip(size, (20, 15, 12.5))) and json.loads(said)["spots"] == [], said


def what_is_refused():
    server, part = KEPT["server"], KEPT["part"]
    for body, field in (({"turn": "1,2,3"}, "turn"), ({"turn": "1,0,0,0,1,0,0,0,-1"}, "turn"), ({"turn": "1,0,0,0,1,0,0,0,nan"}, "turn"),
                        ({"degrees": "1,2"}, "degrees"), ({"degrees": "1,2,1e99"}, "degrees"), ({"face": 32}, "face"), ({"face": -1}, "face"),
                        ({"recipe": "none"}, "recipe"), ({"solid": "0"}, "solid")):
        status, said = server.post(part + "/pose", **body)
        assert status == 422 and said["where"] == field and said["detail"], (body, status, said)
    for path, status in ((f"{part}?solid=1", 404), (f"{part}?machine=Birch", 404), (f"{part}/part.3mf?scale=0", 422),
                         (f"{part}/part.3mf?scale=1e9", 422), (f"{part}/view.svg?from=left", 422), (f"{part}?other=1", 400),
                         ("/api/1/proofs/" + "0" * 32 + "/part", 404)):
        have, _, body = server.get(path)
        assert have == status and json.loads(body)["detail"], (path, have, body)


try:
    KEPT["server"] = Server()
    KEPT["part"] = prove(KEPT["server"], tee())
    run_tests(desk, [the_whole, the_mesh, a_pose, scales_pictures_files, what_is_refused])
finally:
    KEPT["server"].process.terminate()
    KEPT["server"].process.wait(20)

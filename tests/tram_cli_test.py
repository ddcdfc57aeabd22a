#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""tram and tune on the command line. usage: tram_cli_test.py PROVEOUT SHOP
The worked bed: z = 0.0545 + 0.000875 x + 0.000375 y by the normal equations, worked by hand; M3 has 0.5 mm a turn (ISO 261)."""
import json
import os
import subprocess
import sys
import tempfile

PROVEOUT, SHOP = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
SCREWS = "30,30,M3;190,30,M3;190,190,M3;30,190,M3"
BED = "x,y,z\n30,30,0.10\n190,30,0.22\n190,190,0.30\n30,190,0.14\n110,110,0.20\n"
passed = failed = 0


def run(*words, status=0, given=None):
    done = subprocess.run([PROVEOUT, *words], input=given, capture_output=True, text=True, timeout=60, env=dict(os.environ, PROVEOUT_SHOP=SHOP))
    assert done.returncode == status, (words, done.returncode, done.stdout, done.stderr)
    return " ".join(done.stdout.split()) if status < 2 else " ".join(done.stderr.split())


def says(text, *parts):
    for part in parts:
        assert part in text, f"{part!r} is not in {text!r}"


def tram(*words, bed=BED, status=1, screws=SCREWS):
    return run("tram", "--machine", "Alder", "--screws", screws, *words, "-", given=bed, status=status)


def turns():
    says(tram(), "screw 1 at 30, 30: keep", "screw 2 at 190, 30: clockwise by 0.28 turn (17 minutes", "clockwise by 0.40 turn (24 minutes",
         "heat and motors off", "nothing was sent")
    out = json.loads(tram("--json"))
    assert out["format"] == "proveout/tram/1" and out["verdict"] == "turn", out
    assert abs(out["slope_x"] - 0.000875) < 1e-12 and abs(out["height_mm"] - 0.0545) < 1e-12
    assert [round(s["turns"], 6) for s in out["screws"]] == [0, 0.28, 0.4, 0.12]
    up = json.loads(tram("--json", "--clockwise-raises"))
    assert up["screws"][2]["way"] == "counter-clockwise"
    gaps = "".join(f"{x} {y} {0.4 - z}\n" for x, y, z in ((30, 30, .1), (190, 30, .22), (190, 190, .3), (30, 190, .14), (110, 110, .2)))
    by_gaps = json.loads(tram("--json", "--with", "feeler", bed=gaps))
    assert all(abs(a["turns"] - b["turns"]) < 1e-9 for a, b in zip(by_gaps["screws"], out["screws"]))
    level = "".join(f"{x} {y} 0.1\n" for x in (30, 110, 190) for y in (30, 190))
    says(tram(bed=level, status=0), "Level as it is")


def rounds_and_slips(folder):
    first, again = os.path.join(folder, "first.txt"), os.path.join(folder, "again.txt")
    grid = [(x, y) for x in (20, 110, 200) for y in (20, 110, 200)]
    with open(first, "w") as f:
        f.writelines(f"{x} {y} {0.002 * x:.3f}\n" for x, y in grid)
    with open(again, "w") as f:
        f.writelines(f"{x} {y} {0.004 * x:.3f}\n" for x, y in grid)
    picture = os.path.join(folder, "bed.svg")
    out = run("tram", "--machine", "Alder", "--screws", SCREWS, "--before", first, "--picture", picture, again, status=1)
    says(out, "turned the wrong way")
    with open(picture, encoding="utf-8") as f:
        says(f.read(), "<svg", "keep", "clockwise")
    slip = "".join(f"{x} {y} {0.001 * x + (0.5 if (x, y) == (110, 200) else 0):.3f}\n" for x, y in grid)
    says(tram(bed=slip), "The reading at 110, 200 (line 6) is 0.50 mm above what the others say, about 1 turn", "read it again")
    says(run("tram", "--machine", "Alder", "--screws", SCREWS, "--picture", "bed.bmp", first, status=4), "bed.bmp")


def refusals():
    says(tram(bed="30 30 0.1\n190 30 0.2\n", status=4), "2 readings are too few")
    says(tram(bed="".join(f"{x} {x} 0.1\n" for x in range(0, 200, 20)), status=4), "on one line")
    says(tram(bed="30 30 0.1\n190 30 220\n", status=4), "-:2", "write the unit")
    says(tram(bed="30 30 0.1\n190 30 0.2in\n", status=4), "-:2", "a length in mm")
    says(tram(screws="30,30,M3;190,30,M3", status=4), "three screws")
    says(tram(screws="30,30,M7;190,30,M3;0,0,M3", status=4), "screw 1", "x,y,thread")
    says(tram("--keep", "7", status=4), "from 1 to 4")
    says(tram("--with", "eye", status=4), "probe, feeler or paper")
    says(run("tram", "--machine", "Oak", "--screws", SCREWS, "-", given=BED, status=4), 'no machine "Oak"')


def tuning():
    says(run("tune", "feed", "--steps", "415", "97.0,97.2,96.8", status=1), "new steps 427.835 a mm", "Enter it by hand")
    assert abs(json.loads(run("tune", "feed", "--steps", "93", "--json", "95.5", status=1))["steps"] - 97.382199) < 1e-6
    says(run("tune", "feed", "--steps", "415", "99.8,99.9"), "Within 1 %")
    flow = json.loads(run("tune", "flow", "--width", "0.45", "--json", "0.47,0.47,0.47", status=1))
    assert abs(flow["flow"] - 0.953170) < 1e-6 and abs(flow["flow_by_width"] - 0.957447) < 1e-6, flow
    size = json.loads(run("tune", "size", "--steps", "80", "--json", "50,100", "49.85,99.70", status=1))
    assert abs(size["steps"] - 80.24072) < 1e-5 and size["scale_half"] is None, size
    skew = json.loads(run("tune", "skew", "--json", "142.0,140.8,100", status=1))
    assert abs(skew["tangent"] - 0.00848672) < 1e-8, skew
    says(run("tune", "gap", "0.26,0.27,0.25,0.26,0.26", status=1), "Nozzle 0.06 mm nearer to the bed")
    says(run("tune", "gap", "0.15,0.3,0.2", status=1), "tram the bed first")
    says(run("tune", "feed", "--steps", "93", "4.5", status=4), "what was left")
    says(run("tune", "feed", "95", status=4), "--steps is needed")
    says(run("tune", "flow", "--width", "0.45", "470", status=4), "measured in mm?")
    says(run("tune", "size", "20,20", "20,20", status=4), "alike")
    says(run("tune", "size", "20,40", "20", status=4), "in the same order")
    says(run("tune", "skew", "142,-1,100", status=4), "lengths in mm")
    says(run("tune", "gap", "wide", status=4), "no number")


def main():
    global passed, failed
    with tempfile.TemporaryDirectory() as folder:
        for name, test in (("turns", turns), ("rounds and slips", lambda: rounds_and_slips(folder)), ("refusals", refusals), ("tuning", tuning)):
            try:
                test()
                passed += 1
            except AssertionError as e:
                failed += 1
                print(f"FAIL {name}: {e}")
    print(f"{passed} passed, {failed} failed")
    return failed > 0


if __name__ == "__main__":
    sys.exit(main())

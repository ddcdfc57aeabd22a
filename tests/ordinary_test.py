#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Ordinary files must prove out with nothing above a note: a false alarm is as grave as a missed fault.

usage: ordinary_test.py PROVEOUT ORDINARY_JOBS SHOP [NAME_PART]
The files are written into a scratch folder by ORDINARY_JOBS; each is proved on the machine and material of its row."""
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor


def prove(proveout, shop, folder, row):
    name, machine, materials = row
    run = subprocess.run(
        [proveout, "check", os.path.join(folder, name), "--shop", shop, "--machine", machine, "--material", materials, "--json"],
        capture_output=True, text=True, timeout=300)
    if run.returncode > 2:
        return name, "ended with status %d: %s" % (run.returncode, run.stderr.strip())
    proof = json.loads(run.stdout)
    facts = proof["facts"]
    loud = [f for f in proof["findings"] if f["grade"] not in ("note", "off")]
    if loud:
        return name, "; ".join("%s %s (%s) at %s" % (f["grade"], f["name"], f["says"], json.dumps(f.get("where"))) for f in loud)
    if proof["verdict"] != "clear" or run.returncode != 0:
        return name, "no finding above a note, yet verdict %s and status %d" % (proof["verdict"], run.returncode)
    # What every such file holds, whatever its shape.
    if not (facts["layers"] > 5 and facts["filament_mm"] > 100 and facts["on_air_mm"] == 0):
        return name, "facts that cannot be: %s" % {k: facts[k] for k in ("layers", "filament_mm", "on_air_mm")}
    return name, None


def main():
    proveout, generator, shop = sys.argv[1:4]
    part = sys.argv[4] if len(sys.argv) > 4 else ""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([generator, folder], check=True)
        with open(os.path.join(folder, "manifest.tsv"), encoding="utf-8") as f:
            rows = [line.rstrip("\n").split("\t") for line in f]
        rows = [r for r in rows if part in r[0]]
        with ThreadPoolExecutor(2) as pool:
            results = list(pool.map(lambda r: prove(proveout, shop, folder, r), rows))
    bad = [(name, why) for name, why in results if why]
    for name, why in bad:
        print("%s: %s" % (name, why))
    print("%d passed, %d failed (ordinary files)" % (len(results) - len(bad), len(bad)))
    return 1 if bad or not results else 0


if __name__ == "__main__":
    sys.exit(main())

# SPDX-License-Identifier: Apache-2.0
"""Where the comparison finds its shop file and the demo's jobs."""

import glob
import os


def shop_file(tests):
    """The shared shop file that tests may read, else the demo's own; None where neither is there."""
    root = os.path.dirname(tests)
    shared = os.environ.get("PO_SHARED", os.path.join(root, "..", "shared"))
    for path in (os.path.join(shared, "shop", "quayside.yaml"), os.path.join(root, "demo", "shop.yaml")):
        if os.path.exists(path):
            return path
    return None


def demo_jobs(tests):
    root = os.path.dirname(tests)
    folder = os.environ.get("PROVEOUT_DEMO_JOBS")
    for at in (folder, os.path.join(root, "demo", "out"), os.path.join(root, "build", "demo")):
        found = sorted(glob.glob(os.path.join(at, "*.gcode"))) if at else []
        if found:
            return found
    return []


def machine_of(name):
    """The demo names the machine of a job that is not for Alder."""
    for machine in ("Birch", "Cedar", "Dogwood", "Elm"):
        if machine.lower() in name.lower():
            return machine
    return "Alder"

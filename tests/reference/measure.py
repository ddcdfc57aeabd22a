# SPDX-License-Identifier: Apache-2.0
"""A job file measured, slowly and literally, after measures.md. Prints one JSON object with the facts of design.md.

    python3 tests/reference/measure.py JOB --shop FILE --machine NAME [--material M[,M]] [--no-deposit]
"""

import argparse
import hashlib
import json
import math
import os
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import beads as beads_mod  # noqa: E402
import deposit as deposit_mod  # noqa: E402
import interpret  # noqa: E402
import motion  # noqa: E402
import shopfile  # noqa: E402

MOST_ROWS = 400


def bounds(moves):
    low, high = [math.inf] * 3, [-math.inf] * 3
    for m in moves:
        lo, hi = m.bounds()
        low = [min(a, b) for a, b in zip(low, lo)]
        high = [max(a, b) for a, b in zip(high, hi)]
    return {"min": low, "max": high} if moves else {"min": [None] * 3, "max": [None] * 3}


def commanded(values):
    """First, lowest, highest of what was commanded while beads were laid; null where nothing was."""
    values = [v for v in values if v is not None]
    return {"first": values[0], "lowest": min(values), "highest": max(values)} if values else {
        "first": None, "lowest": None, "highest": None}


def measure(data, machine, materials, rules, with_deposit=True):
    job = interpret.Job(data, machine)
    if not job.is_job:
        return None
    line = motion.Timeline(job.events, machine)
    of_tool = lambda t: materials[min(t, len(materials) - 1)]
    area = lambda t: math.pi / 4 * of_tool(t).diameter ** 2

    feed = interpret.net_feed(job.moves)
    laid = [m for m in job.moves if m.kind == "bead"]
    travels = [m for m in job.moves if m.kind == "travel"]
    tools = []
    for t in sorted(set(feed) | set(job.heated_tools)):
        top, end = feed.get(t, (0.0, 0.0))
        tools.append({"tool": t, "filament_mm": top, "filament_net_mm": end, "volume_mm3": top * area(t),
                      "filament_g": top * area(t) * of_tool(t).density / 1000,
                      "extruding_mm": sum(m.length for m in laid if m.tool == t),
                      "material": of_tool(t).name, "nozzle_c": commanded([m.nozzle_c for m in laid if m.tool == t])})
    facts = {
        "lines": job.lines, "moves": job.n_moves, "retractions": job.retractions,
        "filament_mm": sum(t["filament_mm"] for t in tools), "filament_net_mm": sum(t["filament_net_mm"] for t in tools),
        "filament_g": sum(t["filament_g"] for t in tools), "volume_mm3": sum(t["volume_mm3"] for t in tools),
        "tools": tools, "seconds": line.seconds, "motion_seconds": line.motion, "heat_seconds": line.heat,
        "wait_seconds": line.wait,
        "extruding_mm": sum(m.length for m in laid), "travel_mm": sum(m.length for m in travels),
        "bounds_all_mm": bounds(laid), "travel_bounds_mm": bounds(travels),
        "nozzle_c": commanded([m.nozzle_c for m in laid]), "bed_c": commanded([m.bed_c for m in laid]),
        "fan_percent": commanded([m.fan for m in laid]),
        "damaged": [{"line": n, "says": s} for n, s in job.damage],
        "bad_arcs": [{"line": n, "says": s} for n, s in job.bad_arcs],
        "no_feed": job.no_feed, "feed_mode_ratio": interpret.feed_mode_ratio(data, machine),
    }
    if with_deposit and laid:
        facts.update(of_layers(job, machine, materials, rules))
    return facts


def of_layers(job, machine, materials, rules):
    lay = beads_mod.Layout(job, machine, materials)
    real = [b for b in lay.beads if not b.priming]
    flow = {id(b.move): b.area for b in real}
    peaks = [b.area * b.move.v_top for b in real if b.move.length > 1.0]
    by_tool = [motion.sustained(job.moves, {k: v for k, v in flow.items() if k in own})
               for own in ({id(b.move) for b in real if b.move.tool == t} for t in {b.move.tool for b in real})]
    out = {
        "layers": lay.layers, "layer_height_mm": lay.layer_height, "first_layer_height_mm": lay.first_layer_height,
        "bead_width_mm": lay.bead_width, "continuous": lay.continuous, "bounds_mm": bounds([b.move for b in real]),
        "peak_flow_mm3_s": max(peaks, default=None),
        "sustained_flow_mm3_s": max((s for s in by_tool if s is not None), default=None),
        "raster_mm": lay.cell,
    }
    out.update(first_layers(lay))
    out["by_height"] = by_height(job, lay, materials)
    dep = deposit_mod.Deposit(lay, rules)
    out.update({
        "foothold_mm2": dep.foothold_mm2, "footholds": dep.footholds, "parts": dep.parts, "on_air_mm": dep.on_air,
        "across_gap_mm": dep.across_gap, "over_fill_mm": dep.over_fill, "overhang_mm": dep.overhang,
        "bridges": {"count": len(dep.bridges), "longest_mm": max(dep.bridges, default=0.0)},
        "fill_fraction": dep.fill_fraction(), "walls": dep.walls()})
    return out


def first_layers(lay):
    """Spans of the first layer: from its first bead to the end of its last before a bead at another height. Later
    returns to it are the first layers of parts that are finished one after another."""
    spans, inside = [], False
    for b in lay.beads:
        if b.group == lay.first_group:
            if b.priming:
                continue
            end = b.move.begin + b.move.seconds
            if inside:
                spans[-1][1] = end
            else:
                spans.append([b.move.begin, end])
            inside = True
        else:
            inside = inside and b.priming
    return {"first_bead_seconds": spans[0][0] if spans else None, "first_layer_seconds": spans[0][1] if spans else None,
            "later_first_layers": spans[1:]}


def by_height(job, lay, materials):
    """What was used until a height was finished: the highest net feed per tool, and the clock, at the end of its last
    bead; a run that stopped at z had used at least that."""
    last, real = {}, set(lay.real_groups)
    for b in lay.beads:
        if b.group in real:
            last[b.group] = max(last.get(b.group, -1), b.move.order)
    used, now, top = {}, {}, {}
    wanted = set(last.values())
    for m in job.moves:
        if m.tool is not None:
            now[m.tool] = now.get(m.tool, 0.0) + m.de
            top[m.tool] = max(top.get(m.tool, 0.0), now[m.tool])
        if m.order in wanted:
            grams = sum(v * math.pi / 4 * materials[min(t, len(materials) - 1)].diameter ** 2 *
                        materials[min(t, len(materials) - 1)].density / 1000 for t, v in top.items())
            used[m.order] = {"filament_mm": sum(top.values()), "g": grams, "seconds": m.begin + m.seconds}
    rows = [dict(used[last[g]], z=lay.groups[g]) for g in sorted(last)]
    for i in range(1, len(rows)):  # of heights that were finished earlier than a lower one, what the lower one used
        for k in ("filament_mm", "g", "seconds"):
            rows[i][k] = max(rows[i][k], rows[i - 1][k])
    if len(rows) > MOST_ROWS:
        rows = [rows[round(i * (len(rows) - 1) / (MOST_ROWS - 1))] for i in range(MOST_ROWS)]
    return rows


def main():
    args = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    args.add_argument("job")
    args.add_argument("--shop", required=True)
    args.add_argument("--machine", required=True)
    args.add_argument("--material")
    args.add_argument("--no-deposit", action="store_true")
    a = args.parse_args()
    shop = shopfile.read(a.shop)
    machine = shop.machine(a.machine)
    materials = shop.materials_for(machine, a.material.split(",") if a.material else None)
    with open(a.job, "rb") as f:
        data = f.read()
    facts = measure(data, machine, materials, shop.rules, not a.no_deposit)
    if facts is None:
        print("not a job: no motion word", file=sys.stderr)
        return 3
    print(json.dumps({"sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data), "lines": facts.pop("lines"),
                      "machine": machine.name, "materials": [m.name for m in materials], "facts": facts}))
    return 0


if __name__ == "__main__":
    sys.exit(main())

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Plans against a solver of integer programs (CBC, else GLPK's glpsol) on the same queues as time-indexed models.

usage: schedule_solver_test.py BENCH_SCHEDULE
The model knows starts, machines, watches and costs; it is written from the same tables, but solved by a program that shares nothing with
the search. Where neither solver is installed the test says so and is skipped (tools/setup --outside)."""
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile

SEEDS = range(1, 13)


def solve(solver, model, where):
    """The least cost by the solver."""
    if solver.endswith("cbc"):
        out = subprocess.run([solver, model, "solve", "quit"], capture_output=True, timeout=120, check=True).stdout.decode()
        assert "Optimal solution found" in out, out[-500:]
        return float(re.search(r"Objective value:\s+([\d.]+)", out)[1])
    answer = os.path.join(where, "answer")
    subprocess.run([solver, "--lp", model, "-o", answer], capture_output=True, timeout=120, check=True)
    with open(answer, encoding="utf-8") as f:
        text = f.read()
    assert "INTEGER OPTIMAL" in text, text[:500]
    return float(re.search(r"Objective:\s+cost = ([\d.e+]+)", text)[1])


def main():
    bench = os.path.abspath(sys.argv[1])
    solver = shutil.which("cbc") or shutil.which("glpsol")
    if not solver:
        print("schedule_solver_test: skipped, as neither cbc nor glpsol is there (tools/setup --outside)")
        return 77
    passed = failed = 0
    with tempfile.TemporaryDirectory(prefix="schedule-") as where:
        model = os.path.join(where, "queue.lp")
        for seed in SEEDS:
            plan = json.loads(subprocess.run([bench, "middling", str(seed), "0", model], capture_output=True, timeout=120, check=True).stdout)
            least = solve(solver, model, where)
            ok = plan["best"] and plan["cost"] == round(least)
            passed, failed = passed + ok, failed + (not ok)
            if not ok:
                print(f"seed {seed}: {plan['cost']} ({'proved' if plan['best'] else 'not proved'}), by the solver {least}")
    print(f"{passed} passed, {failed} failed (queues planned at the same cost as {os.path.basename(solver)} has it)")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""proveout run and shelf through the binary: a day of the invented Quayside Workshop, a night's failure, refusals, undo.

usage: desk_run_test.py PROVEOUT SHOP DESK_ACT
The jobs are square tubes, made here. What a run used until it broke off is worked out here from `check --json`; grams from metres by the
filament's cross-section (1.75 mm, 1.27 g/cm3). Thursday 26 November 2026 in London is UTC."""
import datetime
import json
import math
import os
import shutil
import subprocess
import sys

from desk_kit import Desk, run_tests, says, tube

MOUNT = "/media/a1"
desk = Desk(sys.argv[1], sys.argv[2], change=[
    ("\nhours:", "\noutbox: {on: true, command: \"./mail {contact}\"}\nhours:"), ("allowance_m_per_run: 30 ", "allowance_m_per_run: 2 ")])
desk.write("a1/.keep", "")
with open(desk.shop, encoding="utf-8") as f:
    text = f.read()
assert MOUNT in text
with open(desk.shop, "w", encoding="utf-8") as f:  # Alder's stick shows in a folder of this test
    f.write(text.replace(MOUNT, os.path.join(desk.where, "a1")))
ACT = os.path.abspath(sys.argv[3])
JOBS = {"tube": tube(taper=0.06), "small": tube(height=6), "other": tube(size=24, height=6), "large": tube(size=60, height=20),
        "asks": tube(height=6, nozzle=210, bed=55), "stops": tube(height=6, x=-5), "hands": tube(height=6, hands_at=3),
        "two": tube(height=6, nozzle=225, tools=(0, 1))}
JOBS = {name: desk.write(f"jobs/{name}.gcode", data)[0] for name, data in JOBS.items()}
runs = {}


def ms(clock):
    """Of the shop's clock in winter, which is UTC."""
    return int(datetime.datetime.fromisoformat(clock + "+00:00").timestamp() * 1000)


def act(name, by="desk", /, **body):
    done = subprocess.run([ACT, desk.book, str(ms(desk.clock)), name, by, json.dumps(body)], capture_output=True, timeout=60)
    assert done.returncode == 0, (name, done.stdout.decode())
    return json.loads(done.stdout)


def job(name):
    return JOBS[name]


def show(run):
    return desk.js("run", "show", run)


def machine(name):
    return [m for m in desk.js("machine", "list")["machines"] if m["machine"] == name][0]


def acts_of(answer):
    return [a["act"] for a in answer["acts"]]


def messages(run):
    return [(m["kind"], m["text"]) for m in show(run)["messages"]]


def setting_up():
    act("term-open", "keeper", term="autumn", **{"from": 0}, until=ms("2026-12-18T17:00"), allowance_um=10000000)
    for member in ("m1001", "m1002", "m1003"):
        desk.run("member", "enrol", member)
    desk.run("permit", "grant", "m1001", "two-material")  # it implies starter
    desk.run("permit", "grant", "m1003", "starter")
    desk.run("stick", "add", "A1", "Alder", by="keeper")
    desk.run("stick", "add", "B1", "Birch", by="keeper")
    desk.run("spool", "add", "P1", "--material", "petg", "--gross", "1040", "--tare", "240")
    desk.run("machine", "fit", "Alder", "--spool", "P1")
    desk.run("machine", "gap", "Alder")


def a_day():
    """Handed out, started, watched, ended, off, back, collected; the book and the words agree at each step."""
    proof = runs["proof"] = desk.js("check", "--machine", "Alder", job("tube"))
    um = round(proof["facts"]["filament_mm"] * 1000)
    out = desk.js("run", "hand-out", "m1001", job("tube"), "--machine", "alder", "--purpose", "a bracket")
    run = runs["day"] = out["run"]
    assert acts_of(out) == ["proof-keep", "run-hand-out"] and out["verdict"] == "clear" and out["stick"] == "A1", out
    row = show(run)
    assert abs(row["reserved_um"] - um) <= 1 and row["reserved_um"] == out["um"], (row["reserved_um"], um)
    assert row["sha256"] == proof["sha256"] and row["file"] == "tube.gcode" and row["recipe"] == "everyday", row
    assert (row["stick"], row["spool"], row["purpose"], row["verdict"]) == ("A1", "P1", "a bracket", "clear"), row
    assert abs(row["reserved_seconds"] - proof["facts"]["seconds"]) <= 1 and row["permission"] == "two-material", row
    grams = um / 1000 * math.pi / 4 * 1.75 ** 2 * 1.27 / 1000
    assert abs(row["takes"][0]["mg"] / 1000 - grams) < 0.01, (row["takes"], grams)
    assert machine("Alder")["state"] == "out"
    says(desk.run("run", "hand-out", "m1003", job("small"), "--machine", "Alder", status=2), f"Alder is out with run {run}",
         "run take-back --machine Alder makes it free")
    # the start check: five points, none of them taken for granted
    said = desk.run("run", "start", run, "--heated", "yes", "--bed", "yes", status=4, at="10:10")
    says(said, "--stream (the filament comes in a steady stream), --gap", "--all-good")
    says(desk.run("run", "start", run, "--heated", "yes", "--stream", "yes", "--bed", "no", "--gap", "yes", "--spool", "yes",
                  status=2, at="10:10"), "Alder: the bed is not clean: clean it as its maker says")
    assert show(run)["started_ms"] is None
    said = desk.run("run", "start", run, "--all-good", at="10:10")
    now = [r for r in desk.js("today", at="10:10")["runs"] if r["run"] == run][0]  # what comes before the first bead is done
    ends = datetime.datetime(2026, 11, 26, 10, 10, tzinfo=datetime.timezone.utc).timestamp() * 1000 + (
        row["reserved_seconds"] - now["first_bead_seconds"]) * 1000
    assert now["end_ms"] == ends and now["first_bead_seconds"] > 60, now
    says(said, f"Run {run} of member m1001 has started on Alder.", "30 min", "hot enough to burn", "maker's instructions",
         f"It ends about {datetime.datetime.fromtimestamp(ends / 1000, datetime.timezone.utc):%H:%M}.")
    says(desk.run("run", "watched", run, "perfect", status=4, at="10:41"), "good")
    says(desk.run("run", "watched", run, "good", "--seen-by", "m1001", at="10:41"), "the first layer is good.")
    assert show(run)["seen_by"] == "m1001"
    desk.at("11:20")
    says(desk.run("run", "ended", run, "--at", "11:30", status=2), "that is still to come")
    said = desk.run("run", "ended", run, "--at", "11:04", "--took", "54m")
    says(said, f"Run {run} on Alder has ended after 0:54 h.", "below 40 C by its own display", f"proveout run off {run}.")
    assert machine("Alder")["state"] == "waiting"
    assert messages(run) == [("done", f"Run {run} on Alder is done. The bed has to cool first; the desk takes the part off.")]
    said = desk.run("run", "off", run)
    says(said, "to the shelf, place 1, kept until Thu 3 Dec.", f"shelf label {run}")
    assert messages(run)[1][1] == f"The part of run {run} waits on shelf place 1. Please collect it by Thu 3 Dec."
    assert show(run)["part"]["kept_until_ms"] == ms("2026-12-04T00:00")  # to the end of the day
    desk.run("ticket", "take", "m1003")
    desk.run("ticket", "take", "m1001", "--machine", "Birch")
    said = desk.run("run", "take-back", "--machine", "Alder", "--good")
    says(said, f"Run {run}: Alder is back from member m1001 with stick A1.", "by the proof.", "Next: ticket 1 of member m1003",
         "proveout ticket call 1 --machine Alder")
    row = show(run)
    assert (row["state"], row["outcome"], row["figure"], row["counts"]) == ("back", "good", "proof", True), row
    assert row["used_um"] == out["um"] == row["charged_um"] and row["real_seconds"] == 54 * 60, row
    assert machine("Alder")["state"] == "free"
    label = desk.table("shelf", "label", run)
    assert len(label[0]) == 8 * len(str(run)) - 2 and "member      m1001" in label and "place       1" in label, label
    assert desk.js("shelf", "label", run)["place"] == 1
    says(desk.run("shelf", "put", run, 41, status=4), "the shelf has 40")
    says(desk.run("shelf", "put", run, 7), "lies on place 7")
    assert len(messages(run)) == 3 and "place 7" in messages(run)[2][1]
    assert [p["run"] for p in desk.js("shelf", "list")["parts"]] == [run] and desk.js("shelf", "list", "--overdue")["parts"] == []
    assert desk.js("shelf", "list", "--overdue", at="2026-12-04T10:00")["parts"][0]["run"] == run
    says(desk.run("shelf", "collect", run), "collected by m1001")
    says(desk.run("shelf", "collect", run, status=2), "was collected by m1001; undo that act if it is wrong")
    says(desk.run("shelf", "label", run, status=2), "it was collected")


def by_the_stick():
    """A reservation and a ticket become the run; the stick names the run, and asks when it holds another job as well."""
    reserved = desk.js("run", "reserve", "m1003", job("small"), "--machine", "Alder", "--promise", "14:00")
    run, mount = reserved["run"], os.path.join(desk.where, "a1")
    assert acts_of(reserved) == ["run-reserve", "proof-keep"] and show(run)["state"] == "reserved"
    says(desk.run("run", "hand-out", "m1001", job("small"), "--run", run, status=2), f"run {run} was reserved by member m1003")
    out = desk.js("run", "hand-out", "m1003", job("small"), "--run", run, "--ticket", 1)
    assert out["run"] == run and show(run)["stick"] == "A1" and show(run)["promised_ms"] == ms("2026-11-26T14:00")
    assert all(t["ticket"] != 1 for t in desk.js("ticket", "list")["tickets"])
    says(desk.run("run", "drop", run, status=2), "it can be taken back, not given up")
    says(desk.run("run", "take-back", "--stick", "B1", status=2), "stick B1 is not out by the book: it belongs to Birch")
    says(desk.run("run", "take-back", "--stick", "Z9", status=2), "there is no stick Z9")
    says(desk.run("run", "take-back", run, "--stick", "B1", status=2), f"run {run} on Alder went out with stick A1, not with B1")
    says(desk.run("run", "take-back", run, "--machine", "Birch", status=2), f"run {run} is on Alder, not on Birch")
    says(desk.run("run", "take-back", status=4), "--machine NAME or --stick ID")
    says(desk.run("run", "take-back", "--machine", "Birch", status=2), "Birch is not out by the book")
    says(desk.run("run", "take-back", run, "--used", "1", "--counter", "1", status=4), "one of them says what was used")
    shutil.copy(job("small"), os.path.join(mount, "small.gcode"))
    shutil.copy(job("tube"), os.path.join(mount, "tube.gcode"))
    shutil.copy(job("other"), os.path.join(mount, "other.gcode"))
    said = desk.run("run", "take-back", "--stick-mount", mount, status=2)
    says(said, "beside small.gcode there are other jobs on the stick (other.gcode, tube.gcode): say with --file")
    says(desk.run("run", "take-back", "--stick-mount", mount, "--file", "other.gcode", status=2), "no proof of it on Alder is kept")
    done = desk.js("run", "take-back", "--stick-mount", mount, "--file", "tube.gcode")  # another job, proved before
    row = show(run)
    assert row["used_um"] == show(runs["day"])["reserved_um"] != row["reserved_um"], row
    assert "tube.gcode" in row["condition"] and row["stick_there"] is True, row
    desk.run("ledger", "undo", done["acts"][0]["event"])
    done = desk.js("run", "take-back", "--stick-mount", mount, "--file", "small.gcode", "--counter", "0.97")
    row = show(run)
    assert (row["figure"], row["used_um"], row["condition"]) == ("counter", 970000, None), row
    assert done["run"] == run and "next_ticket" not in done, done  # the one who waits wants Birch
    says(desk.run("run", "off", run, "--to", "member"), "to the member")
    assert show(run)["part"]["state"] == "collected"


def the_night():
    """It broke off at 14 mm in the night; at nine all of it is booked in one go, and metres are those of the proof."""
    desk.at("2026-11-26T18:00")
    facts = runs["proof"]["facts"]
    run = runs["night"] = desk.js("run", "hand-out", "m1001", job("tube"), "--machine", "Alder")["run"]
    desk.run("run", "start", run, "--all-good", at="18:05")
    rows = [(0, 0, facts["first_bead_seconds"])] + [(r["z"], r["filament_mm"], r["seconds"]) for r in facts["by_height"]]

    def at(value, by):
        k = next(i for i, r in enumerate(rows) if r[by] >= value)
        a, b = rows[k - 1], rows[k]
        t = (value - a[by]) / (b[by] - a[by])
        return [a[i] + t * (b[i] - a[i]) for i in range(3)]

    desk.at("2026-11-27T09:00")
    total = (rows[-1][1], rows[-1][2])
    for words, (z, mm, seconds) in ((("--height", "3.1"), at(3.1, 0)), (("--height", "14"), at(14, 0)),
                                    (("--after", "0:12"), at(720, 2)), (("--percent", "30"), at(total[1] * 0.3, 2)),
                                    (("--at", "2026-11-26T18:13"), at(480 + facts["first_bead_seconds"], 2))):  # after the start check, which is before the first bead
        done = desk.js("run", "failed", run, *words)
        used = done["acts"][0]["answer"]
        assert abs(used["used_um"] / 1000 - mm) < 0.001 * total[0], (words, used, mm)
        assert abs(used["used_seconds"] - seconds) < 0.001 * total[1] + 1, (words, used, seconds)
        desk.run("ledger", "undo", done["acts"][0]["event"])
        assert show(run)["state"] == "out" and show(run)["failed_um"] is None
    says(desk.run("run", "failed", run, "--height", "21", status=4), "the job ends before that")
    says(desk.run("run", "failed", run, "--height", "14", "--percent", "3", status=4), "in one way")
    says(desk.run("run", "failed", run, "--height", "14", "--recycled-g", "5", status=4), "--to")
    bad = ("run", "failed", run, "--height", "14", "--cause", "weather")
    says(desk.run(*bad, status=4), "cause")
    assert show(run)["state"] == "out"  # all or nothing
    said = desk.run("run", "failed", run, "--height", "14", "--at", "2026-11-26T18:20", "--symptom", "part came loose", "--cause",
                    "machine", "--to", "waste", "--recycled-g", "6.5", "--back")
    says(said, f"Run {run} of member m1001 failed on Alder.", "Cause: machine. It does not count against the allowance, and its rerun "
         "goes first.", "waits in the outbox", "waste, 6.5 g for recycling", "Alder is back.")
    row = show(run)
    assert (row["state"], row["outcome"], row["cause"], row["symptom"]) == ("back", "failed", "machine", "part came loose"), row
    assert (row["counts"], row["rerun_first"], row["charged_um"]) == (False, True, 0) and row["used_um"] == row["failed_um"], row
    assert row["ended_ms"] == ms("2026-11-26T18:20") and row["part"]["state"] == "waste" and row["waste"][0]["mg"] == 6500, row
    assert messages(run)[0] == ("failed", f"Run {run} on Alder stopped before its end. Please come to the desk; a rerun can be arranged.")
    assert machine("Alder")["state"] == "free"


def quiet_and_stopped():
    desk.at("2026-11-27T11:00")
    run = desk.js("run", "hand-out", "m1003", job("small"), "--machine", "Alder", "--stick", "none")["run"]
    assert show(run)["stick"] is None
    said = desk.run("run", "failed", run, "--percent", "50", "--quiet")
    says(said, "let it cool before anybody reaches in", f"Next: proveout run off {run} --to waste.")
    assert messages(run) == []
    desk.run("run", "take-back", run, "--used-g", "1.5")
    row = show(run)
    um = 1.5 / (math.pi / 4 * 1.75 ** 2 * 1.27 / 1000) * 1000  # g to mm to um
    assert row["figure"] == "scale" and row["used_mg"] == 1500 and abs(row["used_um"] - um) <= 1, (row, um)
    says(desk.run("run", "outcome", run, "stopped", "--cause", "handling"), "came out stopped, cause handling.",
         "It counts against the allowance.")
    says(desk.run("run", "outcome", run, "good", status=2), "has an outcome already")


def refused():
    desk.at("2026-11-27T12:00")
    bracket = job("tube")
    hand_out = ("run", "hand-out")
    says(desk.run(*hand_out, "m1001", bracket, status=4), "--machine says which machine")
    says(desk.run(*hand_out, "m1001", bracket, "--machine", "Aldr", status=4), "the nearest is Alder")
    says(desk.run(*hand_out, "m9999", bracket, "--machine", "Alder", status=2), "m9999")
    says(desk.run(*hand_out, "m1001", desk.shop, "--machine", "Alder", status=3), "")
    said = desk.run(*hand_out, "m1002", bracket, "--machine", "Alder", status=2)
    says(said, "member m1002 does not hold the permission starter that Alder needs", "permit grant", "training")
    refusal = desk.js(*hand_out, "m1002", bracket, "--machine", "Alder", status=2)
    assert (refusal["format"], refusal["field"]) == ("proveout/refusal/1", "any_of"), refusal
    desk.run("member", "suspend", "m1003", "--reason", "left the bed hot")
    says(desk.run(*hand_out, "m1003", bracket, "--machine", "Alder", status=2), "m1003 is suspended (left the bed hot)", "member resume")
    desk.run("member", "resume", "m1003")
    says(desk.run(*hand_out, "m1001", bracket, "--machine", "Alder", "--stick", "B1", status=2), "stick B1 belongs to Birch, not to Alder")
    desk.run("stick", "lost", "A1", "--reason", "not on its hook")
    says(desk.run(*hand_out, "m1001", bracket, "--machine", "Alder", "--stick", "A1", status=2), "A1", "lost")
    desk.run("stick", "count", "A1")
    desk.run("machine", "tag", "Alder", "--reason", "the belt slips")
    says(desk.run(*hand_out, "m1001", bracket, "--machine", "Alder", status=2), "Alder is tagged out since", "the belt slips",
         "machine clear Alder puts it in use")
    desk.run("machine", "clear", "Alder")
    # 2.4 m: more than one run may take; a waiver makes it possible, and what is left over of it stays
    large = job("large")
    says(desk.run(*hand_out, "m1001", large, "--machine", "Alder", status=2), "one run may take 2 m: a waiver of 0.3", "more would do")
    says(desk.run(*hand_out, "m1001", large, "--machine", "Alder", "--beyond", "charge", status=2), "hands out nothing beyond")
    desk.run("waive", "give", "m1001", "1", "--reason", "a show")
    out = desk.js(*hand_out, "m1001", large, "--machine", "Alder")
    row = show(out["run"])
    assert row["waived_um"] == out["um"] - 2000000 and row["charged_um"] == 2000000, row
    desk.run("ledger", "undo", out["acts"][1]["event"])
    assert machine("Alder")["state"] == "free" and desk.js("run", "list", "--member", "m1001", "--state", "out")["runs"] == []
    says(desk.run("run", "show", out["run"], status=2), "there is no run")


def who_pays():
    """Where the shop charges what goes beyond; or a fund pays for all of it. 2.4 m of 1.75 mm petg at 19.00 GBP a kg."""
    with open(desk.shop, encoding="utf-8") as f:
        shop = f.read()
    with open(desk.shop, "w", encoding="utf-8") as f:
        f.write(shop.replace("currency: GBP", "currency: GBP\n  beyond: charge", 1))
    words = ("run", "hand-out", "m1003", job("large"), "--machine", "Alder")
    out = desk.js(*words)
    row, grams = show(out["run"]), (out["um"] - 2000000) / 1000 * math.pi / 4 * 1.75 ** 2 * 1.27 / 1000
    assert (row["beyond"], row["beyond_um"], row["charged_um"], row["currency"]) == ("charge", out["um"] - 2000000, 2000000, "GBP"), row
    assert row["beyond_minor"] == round(grams * 1.9), (row["beyond_minor"], grams)
    desk.run("ledger", "undo", out["acts"][1]["event"])
    says(desk.run(*words, "--beyond", "gift", status=2), "it takes the role keeper")
    desk.run("fund", "open", "show", "--title", "The show", "--budget", "250", by="keeper")
    out = desk.js(*words, "--fund", "show")
    row = show(out["run"])
    assert (row["fund"], row["fund_um"], row["charged_um"], row["beyond"]) == ("show", out["um"], 0, None), row
    desk.run("ledger", "undo", out["acts"][1]["event"])
    desk.run("run", "reserve", "m1003", "3", "--fund", "show")  # what was reserved for a fund is paid by it
    run = desk.js("run", "list", "--member", "m1003", "--state", "reserved")["runs"][0]["run"]
    assert show(desk.js(*words, "--run", run)["run"])["fund_um"] == out["um"]
    event = [e["event"] for e in show(run)["events"] if e["act"] == "run-hand-out"][0]
    desk.run("ledger", "undo", event)
    desk.run("run", "drop", run)
    with open(desk.shop, "w", encoding="utf-8") as f:
        f.write(shop)


def verdicts():
    """ask: a desk person decides; stop: a keeper, with leave. Nothing is booked before."""
    ask, stop = job("asks"), job("stops")
    n = len(desk.js("run", "list")["runs"])
    said = desk.run("run", "hand-out", "m1001", ask, "--machine", "Alder", status=1)
    says(said, "ask (nozzle-out-of-band): The nozzle is set to 210 C")
    refusal = desk.js("run", "hand-out", "m1001", ask, "--machine", "Alder", status=1)
    assert refusal["verdict"] == "ask" and {f["name"] for f in refusal["findings"]} >= {"nozzle-out-of-band", "bed-out-of-band"}, refusal
    says(desk.run("run", "hand-out", "m1001", stop, "--machine", "Alder", "--yes", status=2), "stop (leaves-the-bed)", "--by KEEPER --leave TEXT")
    says(desk.run("run", "hand-out", "m1001", stop, "--machine", "Alder", "--leave", "it looks fine", status=2), "it takes the role keeper")
    assert len(desk.js("run", "list")["runs"]) == n and desk.js("stick", "look", os.path.join(desk.where, "a1"))["counts"]["proved"] == 2
    out = desk.js("run", "hand-out", "m1001", ask, "--machine", "Alder", "--yes")
    assert show(out["run"])["verdict"] == "ask"
    desk.run("ledger", "undo", out["acts"][1]["event"])
    out = desk.js("run", "hand-out", "m1001", stop, "--machine", "Alder", "--leave", "bed moved for a test", by="keeper")
    row = show(out["run"])
    assert (row["verdict"], row["leave"], row["by"]) == ("stop", "bed moved for a test", "keeper"), row
    desk.run("ledger", "undo", out["acts"][1]["event"])


def when_nobody_is_there():
    """A hand-out begins now: after the desk's hours, or so late that the watch would outlast them, a person must decide."""
    words = ("run", "hand-out", "m1001", job("tube"), "--machine", "Alder")
    for clock in ["2026-11-26T19:55", "2026-11-26T21:00", "2026-11-29T12:00"]:  # late, closed, a Sunday
        says(desk.run(*words, status=1, at=clock), "watch-past-closing")
    out = desk.js(*words, at="2026-11-27T10:30")
    assert out["verdict"] == "clear", out
    desk.run("ledger", "undo", out["acts"][1]["event"], at="2026-11-27T10:31")


def hands():
    """A job that stops for a person: with the start a message says when; two colours on one nozzle ask for it."""
    tag = job("hands")
    first = desk.js("check", "--machine", "Alder", tag, status=1)
    assert any(f["name"] == "needs-hands" for f in first["findings"]), first["findings"]
    seconds = [f for f in first["findings"] if f["name"] == "needs-hands"][0]["where"]["seconds"]
    run = desk.js("run", "hand-out", "m1001", tag, "--machine", "Alder", "--yes")["run"]
    done = desk.js("run", "start", run, "--all-good", at="12:30")
    assert acts_of(done) == ["run-start", "message-put"], done
    at = (datetime.datetime(2026, 11, 27, 12, 30) + datetime.timedelta(seconds=seconds)).strftime("%H:%M")
    assert messages(run) == [("hands", f"Run {run} on Alder needs hands at about {at}. Please come to the desk first: nozzle and bed "
                              "are hot.")], (messages(run), at)
    desk.run("run", "take-back", run, at="13:30")
    desk.run("run", "off", run, "--to", "waste", "--recycled-g", "2", at="13:31")


def two_spools():
    """Dogwood has two nozzles: each takes from its own spool, and together they are the whole."""
    desk.at("2026-11-27T14:00")
    desk.run("spool", "add", "Q1", "--material", "pla", "--gross", "1000", "--tare", "240")
    desk.run("spool", "add", "Q2", "--material", "petg", "--gross", "1000", "--tare", "240")
    words = ("run", "hand-out", "m1001", job("two"), "--machine", "Dogwood", "--yes")
    says(desk.run(*words, "--spool", "Q1,Z1", status=2), "there is no spool Z1")
    run = desk.js(*words, "--spool", "Q1,Q2", "--leave", "two materials", by="keeper")["run"]
    row = show(run)
    assert [(t["tool"], t["spool"]) for t in row["takes"]] == [(0, "Q1"), (1, "Q2")], row["takes"]
    assert sum(t["um"] for t in row["takes"]) == row["reserved_um"] and all(t["um"] > 0 for t in row["takes"]), row["takes"]
    desk.run("run", "take-back", "--machine", "Dogwood", "--good")
    said = desk.run("run", "hand-out", "m1003", job("small"), "--machine", "Alder", "--spool", "Q2")
    says(said, "from spool Q2", "By the book P1 is loaded: proveout machine fit Alder --tool 0 --spool Q2.")
    desk.run("ledger", "undo", said.split()[-1].rstrip("."))


def asked():
    """Lists and sums agree with one another."""
    runs_ = desk.js("run", "list")["runs"]
    alder = desk.js("run", "list", "--machine", "Alder")["runs"]
    assert {r["run"] for r in alder} == {r["run"] for r in runs_ if r["machine"] == "Alder"} and len(alder) == 5, alder
    two = desk.js("run", "list", "--limit", "2")
    rest = desk.js("run", "list", "--before", two["runs"][-1]["run"])["runs"]
    assert two["more"] and [r["run"] for r in two["runs"] + rest] == [r["run"] for r in runs_]
    says(desk.run("run", "list", "--limit", "2"), f"There are more: --before {two['runs'][-1]['run']} goes on.")
    assert [r["run"] for r in desk.js("run", "list", "--job", job("tube"))["runs"]] == [runs["night"], runs["day"]]
    assert len(desk.js("run", "list", "--from", "2026-11-27", "--until", "2026-11-27", "--state", "back")["runs"]) == 3
    runs_ = [r for r in runs_ if r["state"] != "dropped"]
    assert {r["run"] for r in desk.js("run", "list", "--state", "back")["runs"]} == {r["run"] for r in runs_}
    used = sum(r["used_um"] for r in runs_)
    for by in ("machine", "material", "member", "cause", "outcome", "month", "recipe"):
        sums = desk.js("run", "sum", "--by", by)["sums"]
        assert sum(s["um"] for s in sums) == used and sum(s["runs"] for s in sums) == len(runs_), (by, sums)
    materials = {s["key"]: s["runs"] for s in desk.js("run", "sum", "--by", "material")["sums"]}
    assert materials == {"petg": 5, "pla": 1}, materials  # the tag of two begins with pla
    months = desk.js("run", "sum", "--by", "month", "--from", "2026-11-27")["sums"]
    assert len(months) == 1 and months[0]["runs"] == 3 and months[0]["from_ms"] == ms("2026-11-27T00:00"), months
    # a year of months, as the shop's clock has them: March and October have their own hours
    edges = [s["from_ms"] for s in desk.js("run", "sum", "--by", "month")["sums"]]
    assert edges[0] == ms("2025-12-01T00:00") and ms("2026-05-31T23:00") in edges and len(edges) == 12, edges
    table = desk.table("run", "sum", "--by", "month")
    assert table[1].startswith("Nov 2026") and len(table) == 2, table
    assert desk.table("run", "sum", "--by", "outcome")[-1].startswith("all"), desk.table("run", "sum", "--by", "outcome")
    says(desk.run("run", "show", runs["night"]), "used when it failed", "part came loose", "run-failed", "P1 petg")


def clean():
    act("verify")
    # a shelf that is full
    with open(desk.shop, encoding="utf-8") as f:
        shop = f.read()
    with open(desk.shop, "w", encoding="utf-8") as f:
        f.write(shop.replace("rules:\n", "rules:\n  shelf_places: 1\n", 1))
    for place in (1, 2):
        run = desk.js("run", "hand-out", "m1003", job("small"), "--machine", "Birch", "--yes")["run"]
        desk.run("run", "ended", run)
        if place == 1:
            desk.run("run", "off", run, "--kept-until", "2026-11-28")
            desk.run("run", "take-back", run)
    says(desk.run("run", "off", run, status=2), "all 1 places of the shelf are taken", "shelf list --overdue")
    says(desk.run("run", "off", run, "--place", "2", status=4), "there is no place 2")
    desk.run("run", "off", run, "--to", "member")
    shelved = desk.js("shelf", "list", at="2026-11-29T00:00")["parts"]
    assert len(shelved) == 1 and shelved[0]["overdue"] is True and shelved[0]["kept_until_ms"] == ms("2026-11-29T00:00"), shelved
    says(desk.run("shelf", "recycle", shelved[0]["run"]), "goes to recycling")
    says(desk.run("run", "outcome", shelved[0]["run"], "not-collected"), "It counts")
    act("verify")


run_tests(desk, [setting_up, a_day, by_the_stick, the_night, quiet_and_stopped, refused, who_pays, verdicts, when_nobody_is_there, hands, two_spools, asked, clean])

# SPDX-License-Identifier: Apache-2.0
"""What the desk's verbs say to somebody who makes slips: which word is wrong, what was expected, what to do next; and that all
of them say the same of one thing. desk_words_test.py BINARY SHOP"""
import os
import re
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from desk_kit import Desk, run_tests, says  # noqa: E402

desk = Desk(sys.argv[1], sys.argv[2], clock="2026-11-25T10:00")
AREA = 3.14159265 * 1.75 * 1.75 / 4  # mm2 of filament of 1.75 mm


def box(layers, size=20, x=100, y=100):
    """A small job: rings from outside inwards, layer by layer, 0.2 mm high."""
    lines, e = ["G21", "G90", "M82", "M140 S80", "M190 S80", "M109 S235", "G28", "M106 S100", "G92 E0"], 0
    for n in range(layers):
        lines.append(f"G1 Z{0.2 * (n + 1):.2f} F600")
        for k in range(int((size / 2 - 0.44) / 0.44)):
            a, b = k * 0.44, size - k * 0.44
            corners = [(x + a, y + a), (x + b, y + a), (x + b, y + b), (x + a, y + b), (x + a, y + a)]
            lines.append(f"G0 X{corners[0][0]:.2f} Y{corners[0][1]:.2f} F6000")
            for px, py in corners[1:]:
                e += (b - a) * 0.44 * 0.2 / AREA
                lines.append(f"G1 X{px:.2f} Y{py:.2f} E{e:.4f} F{1200 if n == 0 else 2400}")
    return "\n".join(lines + ["M104 S0", "M140 S0", "G1 Z60 F600", "G1 X0 Y190 F6000", "M84"]) + "\n"


LONG = desk.write("long.gcode", box(95, size=60))[0]
SMALL = desk.write("box für Öl.gcode", box(20))[0]


def wrong_words():
    """Option or operand, the value that was given, what was expected."""
    for said, words in [
        ("ID a b: expected a short name", ("member", "enrol", "a b")),
        ("--role king: expected one of the words member|desk|keeper", ("member", "enrol", "x", "--role", "king")),
        ("machine tag needs --reason TEXT: what is wrong with it", ("machine", "tag", "Birch")),
        ("METRES 5,5: expected metres such as 12.5", ("waive", "give", "10041", "5,5", "--reason", "x")),
        ("run watched fine: expected one of the words good|poor", ("run", "watched", "7", "fine")),
        ("RUN 2x: expected a run's number, or the name of the machine that is out with it", ("run", "watched", "2x", "good")),
        ("permit list takes options only, such as --", ("permit", "list", "10041")),
        ("spool add takes no more than SPOOL; 2 were given", ("spool", "add", "S15", "petg")),
    ]:
        said_now = desk.run(*words, status=4)
        says(said_now, said)


def who_may():
    """Who may not is told who may, and how to say so."""
    says(desk.run("term", "open", "autumn-2026", status=2), "it takes the role keeper; --by says who does it: keeper, or the number of a member")
    term = desk.js("term", "open", "autumn-2026", by="keeper")["event"]
    says(desk.run("ledger", "undo", term, status=2), "it takes the role keeper; --by says who does it")
    says(desk.run("ledger", "undo", term, by="keeper"), f"Event {term} (term-open) is taken back.")
    desk.run("term", "open", "autumn-2026", by="keeper")
    desk.run("member", "enrol", "10041", "--name", "Ada Quay")
    desk.run("permit", "grant", "10041", "starter")


def suspended():
    """Said once, however often it is looked up."""
    desk.run("member", "suspend", "10041", "--reason", "left a watch")
    said = desk.run("run", "reserve", "10041", SMALL, "--machine", "Alder", "--promise", "15:00", status=2)
    assert said.count("is suspended: left a watch") == 1, said
    says(said, "member resume ends it")
    desk.run("member", "resume", "10041")


def acts_are_verbs():
    """A refusal names the verb as it is typed."""
    desk.run("round", "begin", "opening")
    says(desk.run("round", "begin", "closing", status=2), "finish it with round done")
    says(desk.run("round", "done", status=2), "look, or say why not with --unseen")
    desk.run("round", "done", "--unseen", "all at the fair")


def by_machine():
    """A run is named by the machine that is out with it, as by its number."""
    run = desk.js("run", "hand-out", "10041", SMALL, "--machine", "Alder")["run"]
    says(desk.run("run", "start", "alder", "--all-good"), f"Run {run} of member 10041 has started on Alder.")
    says(desk.run("run", "watched", "Elm", "good", status=4), "Elm is not out with a run by the book; proveout run list --machine Elm")
    says(desk.run("run", "watched", "Alder", "good", at="10:03"), f"The watch of run {run} is done")


def ends_agree():
    """run start, machine list and show, today, and a hand-out that is refused say one end: as runs have really gone."""
    begun = desk.js("machine", "show", "Alder")["run"]
    desk.run("run", "ended", begun, "--took", "0:30", at="10:40")  # the proof said some 13 minutes
    desk.run("run", "off", begun, "--to", "member", at="10:41")
    desk.run("run", "take-back", begun, at="10:41")
    desk.run("run", "outcome", begun, "good", at="10:41")
    desk.at("11:00")
    desk.run("run", "hand-out", "10041", SMALL, "--machine", "Alder")
    said = desk.run("run", "start", "Alder", "--all-good", at="11:05")
    row = [r for r in desk.js("today", at="11:06")["runs"] if r["machine"] == "Alder"][0]
    assert row["end_from"] != "model" and row["end_ms"] > row["proof_end_ms"] + 120000, row  # it learned from the first
    shown = desk.js("machine", "show", "Alder", at="11:06")
    assert shown["ends_ms"] == row["end_ms"] and shown["proof_ends_ms"] == row["proof_end_ms"], (shown, row)
    clock = [line for line in desk.table("machine", "show", "Alder", at="11:06") if "ends about" in line][0].split()[-1]
    says(said, f"It ends about {clock}.")
    says(desk.run("run", "hand-out", "10041", SMALL, "--machine", "Alder", status=2, at="11:06"), f"until about {clock}")
    says(desk.run("machine", "list", at="11:06"), f" {clock} ")


def part_on_bed():
    """A machine that is back with a part on its bed is free, and everybody is told of the part until it is booked off or a round
    sees the bed clear."""
    run = desk.js("machine", "show", "Alder")["run"]
    desk.at("12:00")
    says(desk.run("run", "take-back", "--machine", "Alder"), "By the book its part is still on the bed")
    due = [d for d in desk.js("today")["due"] if d["do"] == f"proveout run off {run}"]
    assert len(due) == 1 and due[0]["now"] and "still on its bed" in due[0]["says"], due
    says(desk.run("machine", "list"), f"Alder: by the book the part of run {run} is still on its bed")
    off = desk.js("run", "off", run)["event"]
    assert desk.js("machine", "show", "Alder")["part_of"] is None
    desk.run("ledger", "undo", off)
    assert desk.js("machine", "show", "Alder")["part_of"] == run
    desk.run("round", "begin", "closing")
    desk.run("round", "machine", "alder", "--ok", at="12:01")
    assert desk.js("machine", "show", "Alder")["part_of"] is None
    assert all(d["do"] != f"proveout run off {run}" for d in desk.js("today")["due"])
    desk.run("round", "done", "--unseen", "only Alder was used", at="12:02")
    desk.run("ledger", "verify")


def failed_is_not_good():
    desk.at("13:00")
    run = desk.js("run", "hand-out", "10041", SMALL, "--machine", "Birch", "--yes")["run"]
    desk.run("run", "failed", "Birch", "--height", "0", "--to", "waste", "--back", at="13:05")
    desk.run("spool", "add", "S1", "--material", "petg", "--net", "800")
    says(desk.run("run", "outcome", run, "good", status=2), f"run {run} failed by the book, so it came out failed or stopped")
    desk.run("run", "outcome", run, "stopped", "--cause", "handling")


def handed_out():
    """What the book does not know is said before it is missed; ranges and figures say whence they are in plain words."""
    desk.at("13:30")
    said = desk.run("run", "hand-out", "10041", SMALL, "--machine", "Cedar", "--yes")
    says(said, "No spool is loaded by the book, so none gives what is used: proveout machine fit Cedar --spool ID.",
         "as runs have really gone")
    says(desk.run("run", "take-back", "--machine", "Cedar", "--used", "1.5", at="13:50"), "Used: 1.5 m", "as reckoned at the desk")
    desk.run("machine", "fit", "Cedar", "--spool", "S1")
    said = desk.run("run", "hand-out", "10041", SMALL, "--machine", "Cedar", "--yes", at="13:51")
    says(said, "from spool S1", "is still on the bed: look before anything starts")
    assert "No spool" not in said, said
    desk.run("run", "failed", "Cedar", "--percent", "0", at="13:52")
    says(desk.run("run", "take-back", "--machine", "Cedar", at="13:53"), "Why it failed is open: proveout run outcome", "failed --cause WORD")
    desk.run("run", "reserve", "10041", "2.5", "--machine", "Cedar", "--takes", "2:10")


def found_by_a_round():
    """What a round found wrong is told until the machine goes out again, or another round finds it well."""
    desk.at("2026-11-27T10:00")
    desk.run("round", "begin", "opening")
    desk.run("round", "machine", "elm", "--not", "nozzle,stick", "--note", "a blob")
    desk.run("round", "machine", "alder", "--ok")
    says(desk.run("today"), "Elm, by the opening round of 10:00: stick not there, nozzle not clean; a blob proveout round show")
    assert "Alder, by" not in desk.run("today")
    desk.run("round", "done", "--unseen", "the others are at the fair")
    says(desk.run("today"), "Elm, by the opening round")
    desk.run("round", "begin", "closing")
    desk.run("round", "machine", "elm", "--ok")
    assert "Elm, by" not in desk.run("today")
    desk.run("round", "done", "--unseen", "the others are at the fair")
    desk.run("ledger", "verify")


def fits():
    """No line of a table or of today is wider than 100 columns, in a shop with much to tell."""
    desk.at("2026-11-28T14:00")
    desk.run("machine", "tag", "Dogwood", "--reason", "a reason that goes on and on, as such reasons do where somebody was cross " * 2)
    desk.run("machine", "fit", "Elm", "--nozzle", "0.6")
    desk.run("run", "hand-out", "10041", LONG, "--machine", "Birch", "--yes")
    desk.run("run", "start", "Birch", "--all-good", at="14:05")
    for words in (("today",), ("machine", "list"), ("run", "list"), ("spool", "list"), ("member", "show", "10041")):
        lines = desk.table(*words, at="15:50")
        assert max(map(len, lines)) <= 100, [line for line in lines if len(line) > 100]
    said = desk.run("today", at="15:50")  # closed on Sunday
    says(said, "with nobody at the desk, which opens Mon 30 Nov 10:00")
    assert re.search(r"should end .\d\d:\d\d to Sun 29 Nov \d\d:\d\d. with nobody", said), said  # the day where it is another


if __name__ == "__main__":
    run_tests(desk, [wrong_words, who_may, suspended, acts_are_verbs, by_machine, ends_agree, part_on_bed, failed_is_not_good, handed_out, found_by_a_round, fits])

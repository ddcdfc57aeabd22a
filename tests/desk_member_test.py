#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""proveout member, permit, waive, course, group, fund and import through the binary: words, JSON, exit statuses.

usage: desk_member_test.py PROVEOUT SHOP DESK_ACT
Invented members and amounts. Sums are worked out beside the checks. Days are the shop's (Europe/London); the ends of days in
ms of UTC come from Python's zoneinfo."""
import contextlib
import csv
import datetime
import io
import json
import os
import shlex
import sqlite3
import subprocess
import sys
import zoneinfo

from desk_kit import Desk, fold, run_tests, says

ZONE = zoneinfo.ZoneInfo("Europe/London")
desk = Desk(sys.argv[1], sys.argv[2], clock="2026-10-05T12:00")


def day_end(year, month, day):
    """The first moment of the next day on the shop's wall."""
    after = datetime.date(year, month, day) + datetime.timedelta(1)
    return int(datetime.datetime(after.year, after.month, after.day, tzinfo=ZONE).timestamp() * 1000)


def refused(status, sentence, *words, **more):
    out, err = desk.raw(*words, status=status, **more)
    says(fold(err), sentence)
    return fold(out)


def members():
    says(desk.run("member", "enrol", "10041", "--name", "Ada Quay", "--contact", "ada@quayside.example"),
         "Member 10041 is enrolled", "event 1")
    refused(2, "the number 10041 belongs to a member already", "member", "enrol", "10041")
    refused(2, "only a keeper gives the role desk", "member", "enrol", "d1", "--role", "desk")
    says(desk.run("member", "enrol", "d1", "--role", "desk", "--name", "Dee Quay", by="keeper"), "with the role desk")
    refused(4, "--role king: expected one of the words member|desk|keeper", "member", "enrol", "x", "--role", "king")
    refused(4, "expected a short name", "member", "enrol", "a b")
    says(desk.run("member", "name", "10041", "--name", "Ada Key"), "is called Ada Key now")
    shown = desk.js("member", "show", "10041")
    assert shown["name"] == "Ada Key" and shown["contact"] == "ada@quayside.example" and shown["role"] == "member"
    assert shown["owed"] == [] and shown["runs_out"] == [] and shown["permissions"] == []
    with contextlib.closing(sqlite3.connect(desk.book)) as book:  # names stand in no event
        bodies = [body for body, in book.execute("SELECT body FROM events")]
        persons = book.execute("SELECT name FROM persons WHERE member = '10041'").fetchall()
    assert len(bodies) == 3 and persons == [("Ada Key",)], (bodies, persons)
    assert not any(word in body for body in bodies for word in ("Ada", "Dee", "example")), bodies
    says(desk.run("member", "suspend", "10041", "--reason", "left the watch", "--until", "2026-10-09", by="d1"),
         "suspended until Fri 9 Oct")
    refused(4, "member suspend needs --reason TEXT: ", "member", "suspend", "10041")
    assert desk.js("member", "show", "10041")["suspended_until_ms"] == day_end(2026, 10, 9)
    assert [m["member"] for m in desk.js("member", "list", "--state", "suspended")["members"]] == ["10041"]
    desk.at("2026-10-10T00:00")
    assert desk.js("member", "list", "--state", "suspended")["members"] == []
    refused(2, "not suspended", "member", "resume", "10041")
    desk.at("2026-10-10T12:00")
    assert [m["member"] for m in desk.js("member", "list", "QUAY")["members"]] == ["10041", "d1"]
    assert [m["member"] for m in desk.js("member", "list", "100")["members"]] == ["10041"]
    says(desk.run("member", "list", "nobody"), "There is no such member.")
    page = desk.run("member", "list", "--limit", "1")
    says(page, "10041", "--after 10041 goes on")
    assert "d1" in desk.run("member", "list", "--limit", "1", "--after", "10041")
    refused(2, "it takes the role keeper", "member", "role", "10041", "desk")
    refused(2, "there is no member 99", "member", "show", "99")
    assert desk.js("member", "show", "99", status=2)["format"] == "proveout/refusal/1"


def permits():
    said = desk.js("permit", "grant", "10041", "two-material", "--until", "2026-12-18")
    assert said["act"] == "permit-grant" and said["answer"]["permit"] == said["event"]
    shown = desk.js("member", "show", "10041")
    assert sorted(shown["permissions"]) == ["starter", "two-material"]  # what it brings along, by the shop file
    assert shown["permits"][0]["until_ms"] == day_end(2026, 12, 18)
    refused(4, "startr", "permit", "grant", "10041", "startr")
    refused(2, "would have lapsed already", "permit", "grant", "10041", "starter", "--until", "2026-10-09")
    says(desk.run("permit", "list", "--lapse-before", "2026-12-31"), "10041", "Ada Key", "two-material", "Fri 18 Dec")
    assert desk.js("permit", "list", "--lapse-before", "+10d")["permits"] == []
    says(desk.run("permit", "withdraw", "10041", "two-material", "--reason", "two watches left"), "does not hold two-material")
    refused(2, "does not hold two-material now", "permit", "withdraw", "10041", "two-material")
    desk.run("permit", "grant", "10041", "large-format")
    desk.run("permit", "grant", "d1", "large-format")
    refused(2, "it takes the role keeper", "permit", "lapse", "large-format", "--reason", "new hot end")
    says(desk.run("permit", "lapse", "large-format", "--reason", "new hot end", by="keeper"), "lapsed for 2 who held it")
    assert desk.js("permit", "list")["permits"] == []


def permits_that_lapse():
    """By the shop file: months to the end of that day, or the term that is on; a month after 31 August has no 31st."""
    for text, at, end in [("{lapses: {months: 6}}", "2026-08-31T12:00", (2027, 2, 28)),
                          ("{lapses: {months: 18}}", "2026-08-31T12:00", (2028, 2, 29)),
                          ("{lapses: term}", "2026-10-05T12:00", (2026, 12, 18)),
                          ("{lapses: term}", "2026-12-30T12:00", (2027, 3, 26)),
                          ("{}", "2026-10-05T12:00", None)]:
        other = Desk(sys.argv[1], sys.argv[2], change=[("  starter: {}\n", f"  starter: {text}\n")], clock=at)
        try:
            other.run("member", "enrol", "7")
            other.run("permit", "grant", "7", "starter")
            until = other.js("permit", "list")["permits"][0]["until_ms"]
            assert until == (day_end(*end) if end else None), (text, until)
        finally:
            other.close()


def waivers():
    says(desk.run("waive", "give", "10041", "5", "--reason", "course work"), "may use 5 m beyond the allowance")
    refused(2, "the desk may waive up to 10 m, and this is 10.5 m", "waive", "give", "10041", "10.5", "--reason", "r")
    for metres in ["", ".", "5.", "5.0000001", "18446744073709.6", "1e3"]:  # no number, or none of this size
        refused(4, "expected metres", "waive", "give", "10041", metres, "--reason", "r", "--by", "keeper")
    job, sha = desk.write("lamp.gcode", "G28\n")
    desk.run("waive", "give", "10041", "20.25", "--reason", "a show", "--job", job, "--until", "2026-12-18", "--asked-by", "d1",
             by="keeper")
    listed = desk.js("waive", "list", "10041", "--holding")["waivers"]
    assert [w["um"] for w in listed] == [20250000, 5000000] and listed[0]["sha256"] == sha
    assert listed[0]["asked_by"] == "d1" and listed[1]["asked_by"] == "10041" and listed[0]["until_ms"] == day_end(2026, 12, 18)
    says(desk.run("waive", "withdraw", listed[1]["waiver"], "--reason", "not needed"), "has lapsed")
    states = [w["state"] for w in desk.js("waive", "list")["waivers"]]
    assert states == ["holds", "withdrawn"], states
    says(desk.run("waive", "list"), "20.25 m", "withdrawn", "a show")
    refused(2, "was withdrawn already", "waive", "withdraw", listed[1]["waiver"], "--reason", "again")


def money():
    says(desk.run("member", "pay", "10041", "12.50", "--kind", "charge", "--reason", "a broken nozzle"),
         "A charge of 12.50 GBP", "Owes 12.50 GBP.")
    says(desk.run("member", "pay", "10041", "10", "--reason", "at the desk"), "A payment of 10.00 GBP", "Owes 2.50 GBP.")
    refused(2, "only a keeper gives", "member", "pay", "10041", "1", "--kind", "gift", "--reason", "r")
    says(desk.run("member", "pay", "10041", "2.5", "--kind", "gift", "--reason", "open day", by="keeper"), "Owes nothing.")
    says(desk.run("member", "pay", "10041", "4", "--reason", "too much"), "Has 4.00 GBP with the shop.")
    says(desk.run("member", "pay", "10041", "1", "--kind", "refund", "--reason", "back"), "Has 3.00 GBP with the shop.")
    refused(4, "12.505", "member", "pay", "10041", "12.505", "--reason", "r")
    refused(2, "there is no run 999", "member", "pay", "10041", "1", "--reason", "r", "--run", "999")
    refused(4, "--kind tip: expected one of", "member", "pay", "10041", "1", "--reason", "r", "--kind", "tip")
    shown = desk.js("member", "show", "10041")
    assert shown["owed"] == [{"currency": "GBP", "runs_minor": 0, "charges_minor": 1250, "refunds_minor": 100,
                              "payments_minor": 1400, "gifts_minor": 250, "owed_minor": 1250 + 100 - 1400 - 250}], shown["owed"]
    assert [e["minor"] for e in shown["money"]] == [100, 400, 250, 1000, 1250]


def courses_groups_funds():
    refused(2, "it takes the role keeper", "course", "open", "lamps-1", "--title", "Lamps")
    refused(4, "course open needs --title TEXT: ", "course", "open", "lamps-1", by="keeper")
    refused(2, "there is no fund outreach", "course", "open", "lamps-1", "--title", "Lamps", "--fund", "outreach", by="keeper")
    says(desk.run("fund", "open", "outreach", "--title", "Open days", "--budget", "250", by="keeper"), "pays up to 250.00 GBP")
    says(desk.run("course", "open", "lamps-1", "--title", "Lamps", "--fund", "outreach", by="keeper"), "lamps-1 is open")
    says(desk.run("course", "assignment", "lamps-1", "shade", "--title", "A shade", "--due", "2026-12-11"),
         "due by Fri 11 Dec")
    shown = desk.js("course", "show", "lamps-1")
    assert shown["format"] == "proveout/course/1" and shown["fund"] == "outreach"
    assert shown["assignments"] == [{"assignment": "shade", "title": "A shade", "due_ms": day_end(2026, 12, 11), "runs": 0,
                                     "um": 0}]
    says(desk.run("course", "show", "lamps-1"), "shade", "Fri 11 Dec", "A shade")
    says(desk.run("course", "list"), "lamps-1", "outreach", "Lamps")
    refused(2, "there is no course cups", "course", "show", "cups")
    says(desk.run("group", "list"), "No group was opened yet.")
    desk.run("group", "open", "quay-cats", "--course", "lamps-1")
    desk.run("group", "join", "quay-cats", "10041")
    desk.run("group", "join", "quay-cats", "d1")
    refused(2, "belongs to the group quay-cats already", "group", "join", "quay-cats", "d1")
    says(desk.run("group", "list", "quay-cats"), "10041, d1")
    says(desk.run("group", "leave", "quay-cats", "d1"), "does not belong")
    assert [m["member"] for m in desk.js("group", "list")["groups"][0]["members"]] == ["10041"]
    fund = desk.js("fund", "list", "outreach")["funds"][0]
    assert (fund["budget_minor"], fund["used_minor"], fund["left_minor"]) == (25000, 0, 25000)
    says(desk.run("fund", "list"), "250.00 GBP", "0.00 GBP")
    desk.run("course", "close", "lamps-1", by="keeper")
    refused(2, "the course lamps-1 is over", "course", "assignment", "lamps-1", "foot")
    desk.run("fund", "close", "outreach", by="keeper")
    refused(2, "the fund outreach is closed", "group", "open", "dogs", "--fund", "outreach")


def imports():
    text = io.StringIO()  # written by Python's own writer of such files
    rows = csv.writer(text)
    rows.writerow(["name", "member", "permissions", "until", "contact"])
    rows.writerow(['Harbour, Ben "Bo"', "10042", "starter|two-material", "2026-12-18", ""])
    rows.writerow(["Ada Key", "10041", "", "", ""])
    rows.writerow(["Cleo Änn", "10043", "starter", "", "cleo@quayside.example"])
    path, _ = desk.write("members.csv", "\ufeff" + text.getvalue())
    before = desk.js("member", "list")
    said = desk.run("import", "members", path)
    says(said, "2 10042 new member, starter until Fri 18 Dec, two-material until Fri 18 Dec", "4 10043 new member, starter",
         "New members: 2; others with another name, contact or role: 0; permissions granted: 3; lines that change nothing: 1.",
         "Nothing is booked yet")
    assert desk.js("member", "list") == before
    dry = desk.js("import", "members", path)
    assert dry["booked"] is False and dry["new"] == 2 and [line["line"] for line in dry["lines"]] == [2, 4]
    booked = desk.js("import", "members", path, "--yes")
    assert booked["booked"] and booked["last_event"] - booked["first_event"] + 1 == 2 + 3
    assert desk.js("member", "show", "10042")["name"] == 'Harbour, Ben "Bo"'
    assert desk.js("member", "show", "10043")["name"] == "Cleo Änn"
    says(desk.run("import", "members", path, "--yes"), "Nothing changes.", "change nothing: 3")
    # all faults with their places, and nothing is booked
    path, _ = desk.write("faulty.csv", "member,permissions,until\n10050,starter,\n10051,startr,\n10050,,\n10052,starter,31.12.2026\n"
                         "10053,starter\n".encode() + b"J\xfcrgen,,\n")
    said = refused(4, "5 faults; nothing is booked", "import", "members", path, "--yes")
    for piece in [":3:7: the shop has no permission startr; the nearest is starter", ":4:1: member 10050 stands in line 2 already",
                  ":5:15: 31.12.2026 is no day", ":6:7: 2 cells, and the first line has 3", ":7:2: a byte that is no UTF-8"]:
        says(said, piece)
    assert len(desk.js("import", "members", path, status=4)["faults"]) == 5
    refused(2, "there is no member 10050", "member", "show", "10050")
    says(refused(4, "1 fault; nothing is booked", "import", "members", "-", given=b"name\nx\n"), "-:1:1: ", "column member")
    says(desk.run("import", "members", "-", "--yes", given=b"member\r\n10060\r\n"), "10060 new member", "Booked as events")
    refused(2, "line 2: 10060 may not do member-enrol", "import", "members", "-", "--yes", given=b"member\n10061\n", by="10060")
    refused(4, "No such file", "import", "members", "nowhere.csv")
    refused(4, "can't be read", "import", "members", ".")


def act(name, by="desk", /, **body):
    """An act as it is, for what has no proof here."""
    ms = int(datetime.datetime.fromisoformat(desk.clock).replace(tzinfo=ZONE).timestamp() * 1000)
    done = subprocess.run([os.path.abspath(sys.argv[3]), desk.book, str(ms), name, by, json.dumps(body)], capture_output=True,
                          timeout=60)
    assert done.returncode == 0, (name, body, done.stdout, done.stderr)
    return json.loads(done.stdout)


def runs_are_used_and_owed():
    """PETG of 1.75 mm: 3.0547 g a metre (docs/measures.md, "Filament, volume, mass"), here at 19.00 GBP/kg."""
    petg = {"price_minor_kg": 1900, "diameter_um": 1750, "density_mg_cm3": 1270, "currency": "GBP", "sha256": "a" * 64}
    desk.run("fund", "open", "show", "--title", "A show", "--budget", "1", by="keeper")
    desk.run("course", "open", "lamps-2", "--title", "More lamps", by="keeper")
    desk.run("course", "assignment", "lamps-2", "foot")
    desk.run("group", "open", "quay-dogs")
    desk.run("group", "join", "quay-dogs", "10043")
    # 3.2 m where one run may take 1 m: 2.2 m beyond, 6.720 g, 12.77 of a hundredth of a pound
    act("run-hand-out", member="10043", machine="Alder", um=3200000, run_limit_um=1000000, beyond="charge", course="lamps-2",
        assignment="foot", **petg)
    # 10 m from the fund: 30.547 g, 58.04 hundredths
    act("run-hand-out", member="10043", machine="Birch", um=10000000, fund="show", group="quay-dogs", course="lamps-2", **petg)
    shown = desk.js("member", "show", "10043")
    assert [r["machine"] for r in shown["runs_out"]] == ["Alder", "Birch"]
    assert [(o["runs_minor"], o["owed_minor"]) for o in shown["owed"]] == [(13, 13)], shown["owed"]
    says(desk.run("member", "show", "10043"), "Owes 0.13 GBP.", "Alder", "Birch")
    fund = desk.js("fund", "list", "show")["funds"][0]
    assert (fund["used_minor"], fund["left_minor"], fund["runs"], fund["um"]) == (58, 42, 1, 10000000), fund
    course = desk.js("course", "show", "lamps-2")
    assert (course["runs"], course["um"]) == (2, 13200000)
    assert [(a["runs"], a["um"]) for a in course["assignments"]] == [(1, 3200000)]
    group = desk.js("group", "list", "quay-dogs")["groups"][0]
    assert (group["runs"], group["um"]) == (1, 10000000)
    refused(2, "is not back yet", "member", "forget", "10043", "--yes", by="keeper")
    act("verify")


def forgotten():
    refused(2, "it takes the role keeper", "member", "forget", "10041", "--yes")
    said = desk.run("member", "forget", "10041", status=1, by="keeper")
    says(said, "(Ada Key) would be removed for good", "The number stays", "3.00 GBP with the shop", "--yes does it")
    assert desk.js("member", "forget", "10041", status=1, by="keeper")["format"] == "proveout/needs-yes/1"
    assert desk.js("member", "show", "10041")["name"] == "Ada Key"
    says(desk.run("member", "forget", "10041", "--yes", by="keeper"), "are gone")
    refused(2, "was forgotten", "member", "show", "10041")
    assert [m["member"] for m in desk.js("member", "list", "--state", "forgotten")["members"]] == ["10041"]
    assert desk.js("member", "list", "Key")["members"] == []
    for name in os.listdir(desk.where):
        if name.startswith("book.db"):
            with open(os.path.join(desk.where, name), "rb") as f:
                assert b"Ada Key" not in f.read(), name
    refused(4, "1 fault", "import", "members", "-", given=b"member\n10041\n")


def examples_work():
    """What --help shows, run in a shop where each finds what it needs."""
    other = Desk(sys.argv[1], sys.argv[2], clock="2026-11-26T10:00")
    try:
        other.write("members.csv", "member,name\n10070,Finn Pier\n")
        order = ["member enrol", "permit grant", "member show", "member list", "member name", "member suspend", "member resume",
                 "member role", "member pay", "permit list", "permit withdraw", "permit lapse", "waive give", "waive list", "course open",
                 "course assignment", "course list", "course show", "group open", "group join", "group list", "group leave",
                 "course close", "fund open", "fund list", "fund close", "import members", "member forget"]
        for verb in order:
            shown = [line.strip() for line in other.raw(*verb.split(), "--help")[0].splitlines()
                     if line.startswith("  proveout ")]
            assert shown, verb
            for line in shown:
                assert len(line) <= 90, line
                words = shlex.split(line)[1:]
                other.raw(*words, status=1 if verb == "member forget" else 0)
    finally:
        other.close()


run_tests(desk, [members, permits, permits_that_lapse, waivers, money, courses_groups_funds, imports,
                 runs_are_used_and_owed, forgotten, examples_work])

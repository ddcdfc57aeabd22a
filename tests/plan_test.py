#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""plan when, plan feed and check --start through the binary, at the invented Quayside Workshop.

usage: plan_test.py PROVEOUT SHOP DESK_ACT
Times are worked out by hand from the shop file: Thursdays from 10:00 to 20:00, Fridays to 17:00, Wednesdays with a break from
13:00 to 14:00, Sundays closed; a watch takes 30 minutes from the first bead, or the first layer. Feeds are read by Python alone,
by RFC 5545's rules of lines."""
import datetime
import json
import os
import re
import subprocess
import sys
from zoneinfo import ZoneInfo

from desk_kit import Desk, fold, run_tests, says, tube

ACT = os.path.abspath(sys.argv[3])
LONDON = ZoneInfo("Europe/London")
desk = Desk(sys.argv[1], sys.argv[2], clock="2026-11-26T10:00")
SHORT, _ = desk.write("short.gcode", tube(30, 4))
HANDS, _ = desk.write("hands.gcode", tube(40, 20, hands_at=10).replace("F1500", "F300"))
LONG, _ = desk.write("long.gcode", tube(40, 20).replace("F1500", "F90"))  # a night


def ms(clock):
    return int(datetime.datetime.fromisoformat(clock).replace(tzinfo=LONDON).timestamp() * 1000)


def wall(at):
    return datetime.datetime.fromtimestamp(at / 1000, LONDON).strftime("%Y-%m-%dT%H:%M")


def act(name, by="desk", /, **body):
    done = subprocess.run([ACT, desk.book, str(ms(desk.clock)), name, by, json.dumps(body)], capture_output=True, timeout=60)
    assert done.returncode == 0, (name, done.stdout.decode())
    return json.loads(done.stdout)


def when(*words, status=0, **more):
    plan = desk.js("plan", "when", *words, status=status, **more)
    assert plan["format"] == "proveout/when/1" and plan["zone"] == "Europe/London", plan
    return {row["machine"]: row for row in plan["machines"]}


def findings(start, file, status, *more):
    out = desk.js("check", "--machine", "Alder", "--start", start, *more, file, status=status)
    return {f["name"]: f for f in out["findings"]}, out


def every_machine():
    rows = when(SHORT)
    assert list(rows) == ["Alder", "Birch", "Cedar", "Dogwood", "Elm"], rows
    alder = rows["Alder"]
    e = alder["earliest"]
    assert alder["may"] and alder["good"] == "sure" and e["watched"], alder
    assert wall(e["start_ms"]) == "2026-11-26T10:00" and alder["asked"] is None
    assert e["end_range_ms"][0] < e["end_ms"] < e["end_range_ms"][1] and e["end_ms"] < e["cool_ms"] <= e["off_ms"]
    assert e["full_seconds"] == (e["off_ms"] - e["end_ms"]) / 1000
    assert not rows["Elm"]["may"] and rows["Elm"]["earliest"] is None and rows["Elm"]["says"]


def the_last_safe_start():
    """To the minute: by the times it says itself the watch ends at 20:00 at the latest, and a minute later it would not."""
    e = when("--machine", "Alder", LONG)["Alder"]["earliest"]
    watch = (e["watch_until_ms"] - e["start_ms"]) // 60000 + 1  # whole minutes that are enough
    last = datetime.datetime(2026, 11, 26, 20, 0) - datetime.timedelta(minutes=watch)
    good = when("--machine", "Alder", LONG, at=last.strftime("%Y-%m-%dT%H:%M"))["Alder"]["earliest"]
    assert wall(good["start_ms"]) == last.strftime("%Y-%m-%dT%H:%M"), good
    late = (last + datetime.timedelta(minutes=1)).strftime("%Y-%m-%dT%H:%M")
    good = when("--machine", "Alder", LONG, at=late)["Alder"]["earliest"]
    assert wall(good["start_ms"]) == "2026-11-27T10:00", (late, wall(good["start_ms"]))
    # Saturday evening to Monday; Wednesday's break; the closed weeks of the shop file to their end
    for at, wanted in (("2026-11-28T15:50", "2026-11-30T10:00"), ("2026-12-02T12:50", "2026-12-02T14:00"),
                       ("2026-12-23T19:50", "2027-01-04T10:00")):
        assert wall(when("--machine", "Alder", LONG, at=at)["Alder"]["earliest"]["start_ms"]) == wanted, at


def a_night():
    row = when("--machine", "Alder", "--start", "19:00", LONG)["Alder"]
    asked = row["asked"]
    assert wall(asked["start_ms"]) == "2026-11-26T19:00" and asked["watched"] and not asked["end_staffed"]
    assert wall(asked["off_ms"]) == "2026-11-27T10:00", asked
    says(desk.run("plan", "when", "--machine", "Alder", "--start", "19:00", LONG), "Alder: start 19:00, watch until 19:3",
         "off Fri 27 Nov 10:00; stands full for")


def the_strip():
    lines = desk.table("plan", "when", "--machine", "Alder", "--start", "19:00", LONG)
    at = next(i for i, line in enumerate(lines) if line.startswith("desk "))
    hours, row, strip = lines[at - 1], lines[at], lines[at + 1]
    assert strip.startswith("Alder     w"), strip
    assert re.fullmatch(r"w+=+~+#+\^", strip[10:]), strip
    assert row[len(strip) - 1] == "+" and row[len(strip) - 2] == ".", (row, strip)  # comes off as the desk opens
    assert hours.index("20") in (row.index("."), row.index(".") - 1), (hours, row)  # closes at 20:00
    assert all(len(line) <= 110 for line in lines[at - 2:at + 2]), lines


def hands():
    rows = when("--machine", "Alder", "--start", "19:20", HANDS, status=1)
    asked = rows["Alder"]["asked"]
    assert len(asked["hands"]) == 1 and not asked["hands"][0]["staffed"], asked
    assert wall(asked["hands"][0]["served_ms"]) == "2026-11-27T10:00"
    assert asked["end_ms"] > ms("2026-11-27T10:00"), "it stands still until somebody is there"
    good = rows["Alder"]["earliest"]
    assert wall(good["start_ms"]) == "2026-11-27T10:00" and good["hands"][0]["staffed"]
    says(desk.run("plan", "when", "--machine", "Alder", "--start", "19:20", HANDS, status=1), "NOBODY is there before Fri 27 Nov 10:00",
         "earliest good start: Fri 27 Nov 10:00")


def clocks():
    """Over the nights of 2026-10-25 and 2027-03-28: an hour less and an hour more on the wall than the run takes."""
    for night, shift in (("2026-10-24", -1), ("2027-03-27", 1)):
        row = when("--machine", "Alder", "--start", f"{night}T20:00", LONG, at=f"{night}T12:00")["Alder"]["asked"]
        took = (row["end_ms"] - row["start_ms"]) / 1000
        assert took > 7 * 3600, took  # past the change
        by_wall = datetime.datetime.fromisoformat(f"{night}T20:00") + datetime.timedelta(seconds=took, hours=shift)
        assert wall(row["end_ms"]) == by_wall.strftime("%Y-%m-%dT%H:%M")
        text = desk.run("check", "--machine", "Alder", "--start", f"{night}T20:00", LONG, status=1)
        up = by_wall + datetime.timedelta(seconds=59)
        says(text, up.strftime('ends %a %-d %b %H:%M'))
    says(desk.run("plan", "when", "--start", "2027-03-28T01:30", SHORT, status=4), "expected a time that exists")
    says(desk.run("check", "--start", "2027-03-28T01:30", SHORT, status=4), "no 1:30 on that day")


def checks():
    found, _ = findings("2026-11-26T19:45", LONG, 1)
    assert found["watch-past-closing"]["grade"] == "ask" and "20:00" in found["watch-past-closing"]["says"], found
    assert "10:00 on Friday" in found["watch-past-closing"]["do"]
    found, _ = findings("2026-11-26T10:00", SHORT, 0)
    assert not {"watch-past-closing", "ends-unstaffed", "hands-when-closed", "off-late"} & set(found), found
    found, _ = findings("2026-11-26T19:00", LONG, 0)
    assert found["off-late"]["grade"] == "note" and "10:00 on Friday" in found["off-late"]["says"] and "ends-unstaffed" not in found
    found, _ = findings("2026-11-26T19:20", HANDS, 1)
    assert "stand still" in found["hands-when-closed"]["says"] and "nobody" not in found["needs-hands"]["says"], found
    strict = os.path.join(desk.where, "strict.yaml")
    text = open(desk.shop, encoding="utf-8").read()
    assert "may_end_unstaffed: true" in text
    with open(strict, "w", encoding="utf-8") as f:
        f.write(text.replace("may_end_unstaffed: true", "may_end_unstaffed: false"))
    found, _ = findings("2026-11-26T19:00", LONG, 1, "--shop", strict)
    assert found["ends-unstaffed"]["grade"] == "ask" and not {"too-long", "off-late"} & set(found), found
    found, _ = findings("2026-11-26T10:00", SHORT, 0, "--shop", strict)
    assert "ends-unstaffed" not in found


def conditions():
    """What the shop asks of runs that nobody sees: silent without the list; machine, material, hours; the earliest start keeps to it."""
    text = open(desk.shop, encoding="utf-8").read()
    assert "unattended:" not in text
    first = wall(when("--machine", "Alder", LONG, at="2026-11-26T12:00")["Alder"]["earliest"]["start_ms"])
    assert first == "2026-11-26T12:00", first
    for asked, words in (("machines: [Birch]", "lets Alder run only with"), ("materials: [tpu]", "prints petg only with"),
                         ("longest_hours: 0.5", "alone for 30 min at most")):
        own, _ = desk.write("conditions.yaml", text + "\nunattended:\n  " + asked + "\n")
        found, _ = findings("2026-11-26T19:00", LONG, 1, "--shop", own)
        assert found["runs-alone"]["grade"] == "ask" and words in found["runs-alone"]["says"], found["runs-alone"]
        assert "off-late" not in found
        found, _ = findings("2026-11-26T10:00", SHORT, 0, "--shop", own)
        assert "runs-alone" not in found, found
        says(desk.run("plan", "when", "--machine", "Alder", "--start", "19:00", "--shop", own, LONG), "with NOBODY there, which this shop's conditions")
        row = when("--machine", "Alder", "--shop", own, LONG, at="2026-11-26T19:00")["Alder"]
        start, end = row["earliest"]["start_ms"], row["earliest"]["end_ms"]
        assert wall(start) >= "2026-11-27T10:00" and end > start, row
    own, _ = desk.write("conditions.yaml", text + "\nunattended:\n  longest_hours: 100\n")
    found, _ = findings("2026-11-26T19:00", LONG, 0, "--shop", own)
    assert "runs-alone" not in found, found


def ics(*events):
    return "BEGIN:VCALENDAR\r\nVERSION:2.0\r\n" + "".join(f"BEGIN:VEVENT\r\n{e}\r\nEND:VEVENT\r\n" for e in events) + "END:VCALENDAR\r\n"


def calendars():
    house, _ = desk.write("house.ics", ics(
        "SUMMARY:Closed: boiler\r\nDTSTART;TZID=Europe/London:20261126T100000\r\nDTEND;TZID=Europe/London:20261126T120000",
        "SUMMARY:Open evening\r\nDTSTART;TZID=Europe/London:20261126T200000\r\nDURATION:PT2H\r\nRRULE:FREQ=WEEKLY"))
    holidays, _ = desk.write("holidays.ics", ics("SUMMARY:Boat race\r\nDTSTART;VALUE=DATE:20261127"))
    first = when("--machine", "Alder", "--calendar", house, SHORT)["Alder"]["earliest"]["start_ms"]
    assert wall(first) == "2026-11-26T12:00"
    late = when("--machine", "Alder", "--calendar", house, SHORT, at="2026-11-26T21:00")["Alder"]["earliest"]["start_ms"]
    assert wall(late) == "2026-11-26T21:00"
    night = when("--machine", "Alder", "--start", "19:00", "--holidays", holidays, LONG)["Alder"]["asked"]
    assert wall(night["off_ms"]) == "2026-11-28T11:00", night  # Friday closed: Saturday, 11:00
    night = when("--machine", "Alder", "--start", "19:00", "--calendar", holidays, LONG)["Alder"]["asked"]
    assert wall(night["off_ms"]) == "2026-11-27T10:00", "an event that names nothing changes nothing"
    broken, _ = desk.write("broken.ics", ics("SUMMARY:Closed\r\nDTSTART:20261340"))
    says(desk.run("plan", "when", "--calendar", broken, SHORT, status=4), "broken.ics:5", "expected a day")
    says(desk.run("plan", "when", "--calendar", "nowhere.ics", SHORT, status=4), "nowhere.ics", "can't be read")
    found, _ = findings("2026-11-26T19:45", LONG, 0, "--calendar", house)  # an evening's opening: the watch is over before 22:00
    assert "watch-past-closing" not in found, found
    found, _ = findings("2026-11-26T10:30", SHORT, 1, "--calendar", house)
    assert found["watch-past-closing"]["grade"] == "ask", found
    found, _ = findings("2026-11-26T19:00", LONG, 0, "--holidays", holidays)
    assert "11:00 on Saturday" in found["off-late"]["says"], found
    shut, _ = desk.write("shut.ics", ics("SUMMARY:Closed\r\nDTSTART;VALUE=DATE:20260101\r\nDTEND;VALUE=DATE:20300101"))
    says(desk.run("plan", "when", "--calendar", shut, SHORT, status=4), "never opens")
    assert desk.run("plan", "when", house, status=3)


def calendars_of_the_shop():
    """Files that the shop file names count in every verb; a faulty one is told with its place."""
    named = os.path.join(desk.where, "named.yaml")
    text = open(desk.shop, encoding="utf-8").read()
    with open(named, "w", encoding="utf-8") as f:
        f.write(text.replace('  closed:    [', '  calendars: [house.ics]\n  holidays: [holidays.ics]\n  closed:    [', 1))
    says(desk.run("shop", "check", named), "no faults")
    first = when("--machine", "Alder", "--shop", named, SHORT)["Alder"]["earliest"]["start_ms"]
    assert wall(first) == "2026-11-26T12:00"
    found, _ = findings("2026-11-26T19:00", LONG, 0, "--shop", named)
    assert "20:00 on Thursday" not in found["off-late"]["says"] and "11:00 on Saturday" in found["off-late"]["says"], found
    hours = json.dumps(desk.js("today", "--shop", named, at="2026-11-26T20:30"))
    assert hours != json.dumps(desk.js("today", at="2026-11-26T20:30"))
    says(desk.run("today", "--shop", named, at="2026-11-26T10:30"), "Desk 12:00-22:00")
    os.rename(os.path.join(desk.where, "holidays.ics"), os.path.join(desk.where, "away.ics"))
    for verb in (["shop", "check", named], ["today", "--shop", named]):
        says(desk.run(*verb, status=4), "holidays.ics", "can't be read")
    os.rename(os.path.join(desk.where, "away.ics"), os.path.join(desk.where, "holidays.ics"))



def with_a_book():
    act("term-open", "keeper", term="autumn", **{"from": 0}, until=ms("2026-12-18T17:00"), allowance_um=150000000)
    act("member-enrol", member="m1", name="Ada Wren")
    act("permit-grant", member="m1", permission="starter")
    took = 3 * 3600
    global run
    run = act("run-reserve", member="m1", machine="Alder", um=5000000, seconds=took, promised=ms("2026-11-26T15:00"))["run"]
    rows = when("--member", "m1", SHORT)
    assert not rows["Dogwood"]["may"] and "two-material" in rows["Dogwood"]["says"], rows["Dogwood"]
    e = rows["Alder"]["earliest"]
    assert wall(e["start_ms"]) == "2026-11-26T10:00" and not rows["Alder"]["collides"]
    row = when("--machine", "Alder", "--start", "14:50", SHORT)["Alder"]
    assert len(row["collides"]) == 1 and row["collides"][0]["promised"] and row["collides"][0]["sure"], row
    assert wall(row["earliest"]["start_ms"]) == "2026-11-26T18:00"
    says(desk.run("plan", "when", "--machine", "Alder", "--start", "14:50", SHORT), f"holds up run {run}, which is promised for 15:00",
         "earliest good start: 18:00")


def unfolded(text):
    for line in text.split("\r\n"):
        assert len(line.encode()) <= 75 and "\n" not in line, line
    assert text.endswith("END:VCALENDAR\r\n")
    return text.replace("\r\n ", "").split("\r\n")


def feed_events(text):
    events, one = [], None
    for line in unfolded(text):
        if line == "BEGIN:VEVENT":
            one = {}
        elif line == "END:VEVENT":
            events.append(one)
            one = None
        elif one is not None:
            key, value = line.split(":", 1)
            assert key not in one, line
            one[key] = value
    return {e["UID"]: e for e in events}


def the_feed():
    out = os.path.join(desk.where, "desk.ics")
    says(desk.run("plan", "feed", out), "3 events written")
    first = feed_events(open(out, encoding="utf-8", newline="").read())
    assert set(first) == {f"run-{run}-{k}@quayside-workshop.proveout" for k in ("run", "watch", "take-off")}, first
    one = first[f"run-{run}-run@quayside-workshop.proveout"]
    assert (one["DTSTART"], one["DTEND"]) == ("20261126T150000Z", "20261126T180000Z") and one["DTSTAMP"] == "20261126T100000Z", one
    assert "Alder" in one["SUMMARY"] and "m1" not in json.dumps(first) and "Ada" not in json.dumps(first), first
    assert first[f"run-{run}-watch@quayside-workshop.proveout"]["DTEND"] == "20261126T153000Z"
    assert first[f"run-{run}-take-off@quayside-workshop.proveout"]["DTSTART"] == "20261126T180000Z"
    desk.at("11:00")
    again = feed_events(desk.raw("plan", "feed", "-")[0])
    assert {k: v["DTSTART"] for k, v in again.items()} == {k: v["DTSTART"] for k, v in first.items()}, "the same things, the same UIDs"
    act("run-drop", run=run)
    assert feed_events(desk.raw("plan", "feed", "-")[0]) == {}


def wrong_usage():
    says(desk.run("plan", "when", "--machine", "Aldr", SHORT, status=4), "no machine")
    says(desk.run("plan", "when", "--start", "late", SHORT, status=4), "--start late")
    says(fold(desk.raw("plan", "when", "--help")[0]), "earliest good start")


run_tests(desk, [every_machine, the_last_safe_start, a_night, the_strip, hands, clocks, checks, conditions, calendars, calendars_of_the_shop, with_a_book, the_feed,
                 wrong_usage])

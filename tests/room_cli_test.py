#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""room air, power, cool and cards through the binary. usage: room_cli_test.py PROVEOUT SHOP
Figures: the desk handbook's worked room, 60 m2 by 3 m with 338.4 m3/h; CDC's table of times to clear a room (Guidelines for Environmental
Infection Control in Health-Care Facilities, 2003, table B.1); NEC 210.20(A)'s share of 80 %; Newton's law by hand."""
import math
import os
import re
import sys

from desk_kit import Desk, run_tests, says

desk = Desk(sys.argv[1], sys.argv[2], clock="2026-11-26T10:00")
BARE = re.sub(r"(?ms)^(room|circuits|unattended|training):.*?(?=^\S|\Z)", "", open(desk.shop, encoding="utf-8").read())
MACHINES = ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]


def shop_with(text, name="own.yaml"):
    return desk.write(name, BARE + "\n" + text)[0]


def air_of(*words, settle=0, **more):
    shop = shop_with("room: {area_m2: 60, height_m: 3, people: 8, outdoor_m3_h: 338.4, settle_per_h: %g%s}\n" % (settle, more.get("keys", "")))
    out = desk.js("room", "air", "--shop", shop, *words)
    assert out["format"] == "proveout/room-air/1", out
    return out, {k["kind"]: k for k in out["kinds"]}


def near(a, b, by):
    assert abs(a - b) <= by, (a, b)


def the_worked_room():
    out, kinds = air_of("--running", "pla=4")
    near(kinds["particles"]["typical"], 14184.4, 0.06)
    near(kinds["particles"]["minutes_to_95"], 60 * 1.5935, 0.01)
    near(kinds["particles"]["minutes_to_clear"], 60 * 1.2248, 0.01)
    near(out["room"]["comfort_least_m3_h"], 338.4, 1e-6)
    _, kinds = air_of("--running", "abs=4")
    near(kinds["particles"]["typical"], 134751.8, 0.06)
    near(kinds["styrene"]["high"], 78.01, 0.005)
    _, kinds = air_of("--running", "pla=4", settle=1)
    near(kinds["particles"]["typical"], 9259.3, 0.06)
    _, kinds = air_of("--running", "pla=4", "--outdoor", "1080", settle=1)
    near(kinds["particles"]["typical"], 3809.5, 0.06)


def time_to_clear():
    """99 % away in 138, 46 and 23 minutes at 2, 6 and 12 air changes an hour: that is twice as long as a tenth takes."""
    for changes, minutes in ((2, 138), (6, 46), (12, 23)):
        _, kinds = air_of("--running", "pla=1", "--outdoor", str(180 * changes))
        near(2 * kinds["vapours"]["minutes_to_clear"], minutes, 0.51)


def what_one_more_does():
    _, kinds = air_of("--running", "pla=4", keys=", particles_per_cm3: 20000")
    p = kinds["particles"]
    near(p["one_more_machine"], p["typical"] * 5 / 4, 1e-6 * p["typical"])
    near(p["one_more_change"], p["typical"] * 1.88 / 2.88, 1e-6 * p["typical"])
    near(p["one_cleaner"], p["typical"] * 1.88 / (1.88 + 300 / 180), 1e-6 * p["typical"])
    assert p["machines_most"] == 5 and p["changes_needed"] == 0 and p["target"] == 20000, p
    _, kinds = air_of("--running", "pla=8", keys=", particles_per_cm3: 20000")
    near(kinds["particles"]["changes_needed"], 1.88 * (2 * 14184.4 / 20000 - 1), 1e-3)
    _, kinds = air_of("--running", "pla=4")
    assert kinds["particles"]["target"] is None and kinds["particles"]["machines_most"] is None, "no target is made up"
    assert kinds["particles"]["low"] < kinds["particles"]["typical"] <= kinds["particles"]["high"]


def air_in_words():
    shop = shop_with("room: {area_m2: 60, height_m: 3, people: 8, outdoor_m3_h: 200}\n")
    text = desk.run("room", "air", "--shop", shop, "--running", "asa=2")
    says(text, "less than the 338 m3/h", "styrene:", "UL 2904", "NIOSH", "no legal limit is known", "safety office")
    says(desk.run("room", "air", "--shop", shop, "--running", "oak=1"), "no study known: the highest of all")
    assert "ASHRAE" not in desk.run("room", "air", "--shop", shop, "--outdoor", "400")


def air_refused():
    shop = shop_with("room: {area_m2: 60, height_m: 3, outdoor_m3_h: 338}\n")
    for words, why in ((["--area", "-3"], "--area -3"), (["--height", "0"], "--height 0"), (["--outdoor", "0"], "nothing takes vapours out"),
                       (["--outdoor", "-1"], "--outdoor -1"), (["--more", "100000"], "--more 100000"), (["--running", "pla=-1"], "expected materials with how many"),
                       (["--running", "pla=1e9"], "expected materials with how many"), (["--area", "60m"], "--area 60m")):
        says(desk.run("room", "air", "--shop", shop, *words, status=4), why)
    says(desk.run("room", "air", "--shop", shop_with(""), status=4), "area is not known")


def power():
    """Five machines of the shop file on one circuit: sums by its watts; half an ampere too little for all to heat at once."""
    shop = shop_with("circuits:\n  wall: {amps: 20, volts: 120, machines: [%s]}\n" % ", ".join(MACHINES))
    out = desk.js("room", "power", "--shop", shop)
    wall = out["circuits"][0]
    assert out["format"] == "proveout/room-power/1" and wall["machines"] == MACHINES and wall["lasting_a"] == 16 and wall["bears_a"] == 20, wall
    says(desk.run("room", "power", "--shop", shop), "wall (Alder, Birch", "licensed electrician")
    assert not wall["unknown"] and wall["heating_a"] > wall["running_a"] > 0, wall
    tight = shop_with("circuits:\n  wall: {amps: %.2f, volts: 120, machines: [%s]}\n" % (wall["heating_a"] - 0.5, ", ".join(MACHINES)))
    less = desk.js("room", "power", "--shop", tight)["circuits"][0]
    assert less["heat_together"] == 4, less
    assert not less["never"] and sorted(n for g in less["groups"] for n in g) == MACHINES and len(less["groups"]) == 2, less
    says(desk.run("room", "power", "--shop", shop_with(""), status=4), "names no circuits")
    twice = shop_with("circuits:\n  wall: {amps: -2, volts: 120, machines: [Alder]}\n")
    says(desk.run("room", "power", "--shop", twice, status=4), "amps")


def cool():
    curve = ",".join("%d:%.3f" % (t, 22 + 53 * math.exp(-t / 15)) for t in range(0, 45, 5))
    out = desk.js("room", "cool", curve, "--machine", "Alder")
    assert out["format"] == "proveout/room-cool/1" and out["room_fitted"], out
    near(out["tau_minutes"], 15, 0.01)
    near(out["room_c"], 22, 0.02)
    near(out["minutes_to_collect"], 15 * math.log(53 / 18), 0.02)
    touch = {t["c"]: t["minutes"] for t in out["touch"]}
    near(touch[51], 15 * math.log(53 / 29), 0.02)
    assert touch[43] > touch[48] > touch[51] > touch[55] > touch[65]
    two = desk.js("room", "cool", "0:60,10:45", "--room", "22", "--machine", "Alder")  # handbook 7.6
    near(two["tau_minutes"], 19.92, 0.005)
    assert two["tau_low"] is None and two["tau_high"] is None, "two readings say nothing of how sure they are"
    never = desk.js("room", "cool", "0:75,10:65,20:58", "--room", "45", "--machine", "Alder")
    assert never["minutes_to_collect"] is None
    says(desk.run("room", "cool", curve, "--machine", "Alder"), "time constant of 15.0 min", "ISO 13732-1", "burn", "by hand")


def cool_refused():
    for readings, why in (("0:75", "1 reading"), ("0:75,10:60,5:50", "was a clock set back"), ("0:40,5:50,10:60", "does not cool"),
                          ("0:75,5:60,10:15", "not warmer than the room"), ("x", "expected minutes:degrees"), ("0:75,1e9:30", "1e9:30"),
                          ("0:75,-5:60", "-5:60"), ("0:75F,5:60", "0:75F")):
        says(desk.run("room", "cool", readings, "--room", "22", "--machine", "Alder", status=4), why)
    says(desk.run("room", "cool", "0:75,5:60", status=4), "say how warm the room is")
    says(desk.run("room", "cool", status=4), "--machine is needed")
    says(desk.run("room", "cool", "0:75,5:60", "--machine", "Oak", status=4), 'no machine "Oak"')


def kept_in_the_book():
    says(desk.run("room", "cool", "--machine", "Birch", status=2), "the book has no cooling of Birch")
    says(desk.run("room", "cool", "0:75,5:62,10:52,15:45,20:40", "--machine", "Birch", "--room", "22", "--keep"), "Kept in the book as event")
    again = desk.js("room", "cool", "--machine", "Birch", "--room", "22")
    typed = desk.js("room", "cool", "0:75,5:62,10:52,15:45,20:40", "--room", "22", "--machine", "Birch")
    assert again == typed, (again, typed)
    says(desk.run("room", "cool", "--machine", "Cedar", status=2), "the book has no cooling of Cedar")


def the_day():
    shop = shop_with("room: {area_m2: 60, height_m: 3, outdoor_m3_h: 338.4}\n")
    day = desk.js("room", "air", "--day", "--shop", shop)["day"]
    assert len(day["hours"]) == 24 and day["peak"] == 0 and all(h["machines"] == 0 for h in day["hours"]), "an empty book: nothing ran"


def cards():
    listed = desk.run("room", "cards")
    says(listed, "fire", "burn", "mains", "waste-pla")
    out = os.path.join(desk.where, "cards.html")
    says(desk.run("room", "cards", "--out", out), "Written to")
    page = open(out, encoding="utf-8").read()
    assert page.startswith("<!doctype html>") and "<script" not in page and "http" not in page.replace("http-equiv", ""), page[:200]
    n = len([line for line in listed.splitlines() if line.startswith("  ")])
    assert page.count("<h1") + page.count("<h2") >= n, (n, page.count("<h2"))
    one = os.path.join(desk.where, "one.html")
    desk.run("room", "cards", "fire", "--out", one)
    assert 0 < os.path.getsize(one) < os.path.getsize(out)
    says(desk.run("room", "cards", "nosuch", "--out", one, status=4), 'no card "nosuch"')


run_tests(desk, [the_worked_room, time_to_clear, what_one_more_does, air_in_words, air_refused, power, cool, cool_refused, kept_in_the_book, the_day, cards])

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Times at the desk through the binary: clocks that go back and forward, leap days, month ends, a clock set back.

usage: desk_clock_test.py PROVEOUT SHOP
The shop is in Europe/London. By the IANA time zone database (2024a, file europe, rule EU: the last Sundays of March and
October, at 01:00 UTC) its clocks go back from 02:00 to 01:00 on 25 October 2026 and forward from 01:00 to 02:00 on 28 March
2027. What is expected in UTC stands here as worked out by hand from that, not by a library of zones."""
import datetime
import os
import sys

from desk_kit import Desk, run_tests, says

desk = Desk(sys.argv[1], sys.argv[2], clock="2026-10-20T10:00")


n_books = 0


def fresh(clock):
    """A new book at this time, since a book's own time does not go back."""
    global n_books
    n_books += 1
    desk.at(clock)
    desk.book = desk.env["PROVEOUT_LEDGER"] = os.path.join(desk.where, f"book-{n_books}.db")
    desk.raw("ledger", "new")
    desk.run("member", "enrol", "m1", by="keeper")


def utc(text):
    return int(datetime.datetime.fromisoformat(text + "+00:00").timestamp() * 1000)


def until(text, at=None):
    """When a permit ends that is granted until then."""
    desk.run("permit", "grant", "m1", "two-material", "--until", text, by="keeper", at=at)
    permits = {p["permission"]: p["until_ms"] for p in desk.js("member", "show", "m1", at=at)["permits"]}
    return permits["two-material"]


def a_day_ends_at_the_shops_midnight():
    fresh("2026-10-20T10:00")
    assert until("2026-10-24") == utc("2026-10-24T23:00")  # summer: midnight is 23:00 UTC
    assert until("2026-10-25") == utc("2026-10-26T00:00")  # the day of 25 hours
    assert until("2026-12-18") == utc("2026-12-19T00:00")
    assert until("2027-03-27") == utc("2027-03-28T00:00")
    assert until("2027-03-28") == utc("2027-03-28T23:00")  # the day of 23 hours
    assert until("2026-12-31") == utc("2027-01-01T00:00")


def an_hour_that_comes_twice():
    # 01:30 comes at 00:30 UTC and again at 01:30 UTC; the first is meant
    assert until("2026-10-25T00:59") == utc("2026-10-24T23:59")
    assert until("2026-10-25T01:00") == utc("2026-10-25T00:00")
    assert until("2026-10-25T01:30") == utc("2026-10-25T00:30")
    assert until("2026-10-25T01:59") == utc("2026-10-25T00:59")
    assert until("2026-10-25T02:00") == utc("2026-10-25T02:00")


def an_hour_that_does_not_exist():
    before = until("2027-03-28T00:59")
    assert before == utc("2027-03-28T00:59")
    for text in ("2027-03-28T01:00", "2027-03-28T01:30", "2027-03-28T01:59"):
        said = desk.run("permit", "grant", "m1", "two-material", "--until", text, by="keeper", status=4)
        says(said, text)
    assert until("2027-03-28T02:00") == utc("2027-03-28T01:00")


def days_and_hours_later():
    fresh("2026-10-20T10:00")
    # days: the same time on the wall; hours: so many hours
    assert until("+7d", at="2026-10-20T10:00") == utc("2026-10-27T10:00")  # from 09:00 UTC: 169 hours
    assert until("+168h", at="2026-10-20T10:00") == utc("2026-10-27T09:00")
    assert until("+1d", at="2026-10-24T01:30") == utc("2026-10-25T00:30")  # the first of two
    assert until("+90m", at="2026-10-25T00:30") == utc("2026-10-25T01:00")  # 01:00 for the second time
    assert until("+7d", at="2027-03-24T10:00") == utc("2027-03-31T09:00")  # 167 hours
    assert until("+90m", at="2027-03-28T00:30") == utc("2027-03-28T02:00")
    # a time so many days later that does not exist
    desk.run("permit", "grant", "m1", "two-material", "--until", "+1d", by="keeper", at="2027-03-27T01:30", status=4)


def leap_days_and_month_ends():
    fresh("2026-11-26T10:00")
    assert until("2028-02-29") == utc("2028-03-01T00:00")
    for text in ("2027-02-29", "2026-11-31", "2026-13-01", "2026-00-10", "2026-11-30T24:00", "2026-11-30T10:60"):
        desk.run("permit", "grant", "m1", "two-material", "--until", text, by="keeper", status=4)
    assert until("+1d", at="2026-12-31T23:59") == utc("2027-01-01T23:59")
    assert until("+1d", at="2027-01-31T10:00") == utc("2027-02-01T10:00")
    assert until("+29d", at="2027-01-31T10:00") == utc("2027-03-01T10:00")
    assert until("+1d", at="2028-02-28T10:00") == utc("2028-02-29T10:00")
    assert until("+366d", at="2028-02-28T10:00") == utc("2029-02-28T10:00")


def times():
    return [e["at_ms"] for e in desk.js("ledger", "events")["events"]]


def the_clock_goes_on():
    """Booked times are UTC: through the hour that comes twice they go on."""
    fresh("2026-10-25T00:30")
    desk.run("member", "enrol", "m2", by="keeper", at="2026-10-25T01:30")
    desk.run("member", "enrol", "m3", by="keeper", at="2026-10-25T02:30")
    assert times() == [utc("2026-10-24T23:30"), utc("2026-10-25T00:30"), utc("2026-10-25T02:30")]


def a_clock_set_back():
    fresh("2028-03-01T10:00")
    last = utc("2028-03-01T10:00")
    said = desk.raw("member", "enrol", "m2", by="keeper", at="2028-03-01T08:30")[1]
    says(said, "the clock stands 90 minutes behind the book's last entry", "set the computer's clock")
    said = desk.raw("member", "enrol", "m3", "--json", by="keeper", at="2028-03-01T09:59")[1]
    says(said, "1 minute behind")
    assert times() == [last] * 3
    assert "clock" not in desk.raw("member", "enrol", "m4", by="keeper", at="2028-03-01T10:01")[1]
    assert times()[-1] == last + 60000
    says(desk.run("ledger", "verify"), "order")


run_tests(desk, [a_day_ends_at_the_shops_midnight, an_hour_that_comes_twice, an_hour_that_does_not_exist,
                 days_and_hours_later, leap_days_and_month_ends, the_clock_goes_on, a_clock_set_back])

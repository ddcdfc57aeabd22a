#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""proveout term, ledger, backup, restore and export through the binary, on an invented term of the Quayside Workshop.

usage: desk_book_test.py PROVEOUT SHOP DESK_ACT
What goes out is read back by Python's own csv, json and sqlite3. The autumn term of the shop file begins on 21 September, summer
time in London (UTC+1), and ends with 18 December."""
import csv
import datetime
import json
import os
import re
import shlex
import sqlite3
import subprocess
import sys

from desk_kit import Desk, run_tests, says

desk = Desk(sys.argv[1], sys.argv[2], clock="2026-10-05T10:00")
ACT = os.path.abspath(sys.argv[3])
with open(desk.shop, encoding="utf-8") as f:
    text = f.read()
text, n = re.subn(r"^  starter: *\{.*?\}", "  starter: {lapses: term}", text, flags=re.M)
assert n == 1
with open(desk.shop, "w", encoding="utf-8") as f:
    f.write(text)
ODD = 'an "odd", it\'s = 1; Grüße'
runs = []


def ms(clock):
    """Of the shop's clock in winter, which is UTC."""
    return int(datetime.datetime.fromisoformat(clock + "+00:00").timestamp() * 1000)


def act(name, by="desk", /, **body):
    done = subprocess.run([ACT, desk.book, str(ms(desk.clock)), name, by, json.dumps(body)], capture_output=True, timeout=60)
    assert done.returncode == 0, (name, done.stdout.decode())
    return json.loads(done.stdout)


def path(name):
    return os.path.join(desk.where, name)


def here():
    return sorted(os.listdir(desk.where))


def opened():
    says(desk.run("term", "list"), "The book has no term yet")
    says(desk.run("term", "show", status=2), "there is no term yet; term open begins one")
    says(desk.run("term", "open", "autumn-2026", status=2), "it takes the role keeper")
    says(desk.run("term", "open", "autum-2026", status=4, by="keeper"), "the shop file has no term of this name")
    says(desk.run("term", "open", "autumn-2026", by="keeper"), "goes from Mon 21 Sep to Fri 18 Dec; every member may use 150 m.")
    term = desk.js("term", "list")["terms"][0]
    assert term["from_ms"] == ms("2026-09-20T23:00") and term["until_ms"] == ms("2026-12-19T00:00"), term
    says(desk.run("term", "open", "extra", "--from", "2026-10-01", "--until", "2026-10-02", status=2, by="keeper"), "is open at that time")
    says(desk.run("term", "open", "spring-2027", "--allowance", "80.5", by="keeper"), "may use 80.5 m")
    assert [t["state"] for t in desk.js("term", "list")["terms"]] == ["to come", "open"]
    assert desk.js("term", "show")["term"] == "autumn-2026"


def a_term():
    desk.at("2026-11-26T15:10")
    for member, name in (("1001", "Ada Quill"), ("1002", "Bo Reed")):
        desk.run("member", "enrol", member, "--name", name)
        desk.run("permit", "grant", member, "starter")
    desk.run("stick", "add", "A1", "Alder", by="keeper")
    desk.run("spool", "add", "P1", "--material", "petg", "--gross", "1040", "--tare", "240")
    desk.run("spool", "open", "P1")
    desk.run("round", "begin", "opening")
    for i, member in enumerate(("1001", "1002", "1001")):
        run = act("run-hand-out", member=member, machine="Alder", um=10000000, seconds=3600, sha256="a" * 64, stick="A1",
                  spool="P1", recipe="everyday", purpose=ODD)["run"]
        runs.append(run)
        if i == 2:
            break
        act("run-ended", run=run, seconds=4000)
        act("run-off", run=run, to="shelf" if i == 0 else "member")
        act("run-take-back", run=run, figure="counter", used_um=11000000)
        act("run-outcome", run=run, outcome="good", counts=True)
    show = desk.js("term", "show")
    assert show["sums"]["runs"] == 3 and show["sums"]["good"] == 2 and show["sums"]["um"] == 32000000, show["sums"]
    says(desk.run("term", "show"), "Members who printed 2", "Filament 32 m", "The permission starter lapses when the term is closed (held by 2).",
         f"Run {runs[2]} of member 1001 on Alder is not back (out)")


def closed():
    text = desk.run("term", "close", "autumn-2026", status=2, by="keeper")
    says(text, f"Run {runs[2]} of member 1001 on Alder is not back (out): proveout run take-back {runs[2]}.", "runs of this term are not back",
         "Stick A1 of Alder was not counted since the term began", f"The part of run {runs[0]} of member 1001 is on the shelf", "The opening round")
    says(desk.run("term", "close", "autumn-2026", "--anyway", status=2, by="keeper"), "runs of this term are not back")
    act("run-failed", run=runs[2], percent=50, by_height=[[10000, 10000000, 3600]], symptom="came loose")
    act("run-take-back", run=runs[2], figure="proof")
    text = desk.run("term", "close", "autumn-2026", "--anyway", status=2)  # the desk may not: and nothing of it is booked
    says(text, "it takes the role keeper")
    assert desk.js("term", "show")["permits"][0]["held"] == 2
    refusal = desk.js("term", "close", "autumn-2026", status=2, by="keeper")
    assert refusal["format"] == "proveout/refusal/1" and refusal["open"]["outcomes_open"][0]["run"] == runs[2], refusal
    assert not refusal["open"]["runs_open"] and refusal["open"]["parts_open"][0]["run"] == runs[0]
    act("run-outcome", run=runs[2], outcome="failed", cause="machine", counts=False)
    desk.run("stick", "count", "A1")
    desk.run("shelf", "collect", runs[0])
    says(desk.run("term", "close", "autumn-2026", status=2, by="keeper"), "The opening round", "close the term all the same with --anyway")
    text = desk.run("term", "close", "autumn-2026", "--anyway", by="keeper")
    says(text, "Term autumn-2026 is closed (event", "The permission starter has lapsed (held by 2)", "Failed because of Runs Filament machine 1 5 m",
         "Charged to allowances 22 m", "Machine Runs Good Failed Filament Mass Time Charged Waived Alder 3 2 1 27 m")
    show = desk.js("term", "show", "autumn-2026")
    assert show["closed_ms"] == ms("2026-11-26T15:10") and show["permits"][0]["held"] == 0, show
    says(desk.run("term", "close", "autumn-2026", status=2, by="keeper"), "closed already")
    assert "not back" not in desk.run("term", "show", "autumn-2026")
    left = desk.js("member", "show", "1001", at="2027-01-12T12:00")["balance"]
    assert left["term"] == "spring-2027" and left["left_um"] == 80500000, left  # the next term has its own


def the_book():
    show = desk.js("ledger", "show")
    db = sqlite3.connect(desk.book)
    events, last = db.execute("SELECT count(*), lower(hex((SELECT hash FROM events ORDER BY seq DESC LIMIT 1))) FROM events").fetchone()
    db.close()
    assert show["events"] == events and show["last_hash"] == last and show["ledger"] == desk.book, show
    says(desk.run("ledger", "show"), f"Events {events}", last)
    listed = desk.js("ledger", "events", "--act", "run-hand-out")["events"]
    assert [e["event"] for e in listed] == runs and listed[0]["body"]["purpose"] == ODD
    assert {e["by"] for e in desk.js("ledger", "events", "--of", "keeper")["events"]} == {"keeper"}
    says(desk.run("ledger", "events", "--limit", "2"), "term-open", "There are more: --after 2 goes on.")
    says(desk.run("ledger", "verify"), "is in order")
    desk.run("ledger", "rebuild")
    assert desk.js("ledger", "verify") == {"format": "proveout/verify/1", "ledger": desk.book, "clean": True, "faults": []}


def backed_up():
    says(desk.run("backup", "safe.db"), "A verified copy of the book stands at safe.db. It holds names")
    says(desk.run("ledger", "verify", "--ledger", "safe.db"), "is in order")
    before = here()
    for as_ in ("book", "sql", "csv"):
        says(desk.run("backup", "safe.db", "--as", as_, status=4), "there is", "of this name already; name another")
    says(desk.run("backup", "x", "--as", "text", status=4), "expected book, sql or csv")
    says(desk.run("backup", "x", "--names", status=4), "--names goes with --as sql or csv")
    says(desk.run("backup", "no/such/folder/x", "--as", "sql", status=4), "No such file or directory")
    assert here() == before
    says(desk.run("backup", "book.sql", "--as", "sql"), "names of persons were left out (--names)")
    with open(path("book.sql"), encoding="utf-8") as f:
        sql = f.read()
    assert "Quill" not in sql
    db = sqlite3.connect(":memory:")
    db.executescript(sql)
    assert db.execute("SELECT count(*), sum(charged_um), min(purpose) FROM runs").fetchone() == (3, 22000000, ODD)
    assert db.execute("SELECT handed_out FROM runs").fetchone() == ("2026-11-26T15:10:00.000Z",)
    says(desk.run("backup", "tables", "--as", "csv", "--names"), "names are in it")
    assert os.stat(path("tables")).st_mode & 0o77 == 0
    with open(path("tables/persons.csv"), encoding="utf-8", newline="") as f:
        assert [r["name"] for r in csv.DictReader(f)] == ["Ada Quill", "Bo Reed"]
    with open(path("tables/runs.csv"), encoding="utf-8", newline="") as f:
        rows = list(csv.DictReader(f))
    assert len(rows) == 3 and rows[2]["purpose"] == ODD and rows[2]["cause"] == "machine" and rows[0]["cause"] == "", rows
    with open(path("tables/README.md"), encoding="utf-8") as f:
        readme = f.read()
    described = re.findall(r"^## (\S+):", readme, flags=re.M)
    assert sorted(described + ["README.md"]) == sorted(os.listdir(path("tables"))), described
    assert re.findall(r"^- (\w+),", readme.split("## runs.csv")[1].split("\n##")[0], flags=re.M) == list(rows[0])


def exported():
    says(desk.run("export", "json", "book.json"), "names of persons were left out")
    with open(path("book.json"), encoding="utf-8") as f:
        text = f.read()
    book = json.loads(text)
    assert "Quill" not in text and book["format"] == "proveout/export/1" and "persons" not in book["tables"]
    assert [r["run"] for r in book["tables"]["runs"]] == runs and book["tables"]["runs"][0]["counts"] is True
    assert book["last_hash"] == desk.js("ledger", "show")["last_hash"] == book["tables"]["events"][-1]["hash"]
    few = json.loads(desk.raw("export", "json", "-", "--table", "runs,members", "--from", "2026-11-27")[0])
    assert list(few["tables"]) == ["members", "runs"] and few["tables"]["runs"] == [] and len(few["tables"]["members"]) == 2
    day = json.loads(desk.raw("export", "json", "-", "--table", "runs", "--from", "2026-11-26", "--until", "2026-11-26")[0])
    assert len(day["tables"]["runs"]) == 3
    says(desk.run("export", "json", "x.json", "--table", "prints", status=4), "there is no table prints to export")
    says(desk.run("export", "json", "x.json", "--table", "persons", status=4), "only where names are asked for")
    says(desk.run("export", "json", "x.json", "--from", "2026-11-26", "--until", "2026-11-25", status=4), "must end after it begins")
    says(desk.run("export", "csv", "-", status=4), "name a folder")
    says(desk.run("export", "json", "book.json", status=4), "name another")
    assert "x.json" not in here() and not [n for n in here() if ".part-" in n]
    assert desk.js("export", "csv", "out", "--table", "terms")["to"] == "out"
    assert sorted(os.listdir(path("out"))) == ["README.md", "terms.csv"]


def restored():
    desk.run("member", "enrol", "1003")
    assert len(desk.js("member", "list")["members"]) == 3
    with open(path("damaged.db"), "wb") as to, open(path("safe.db"), "rb") as f:
        data = f.read()
        assert data.count(b'"purpose"') > 2
        to.write(data.replace(b'"purpose"', b'"purpos3"'))  # somebody changed what was booked
    before = here()
    text = desk.run("restore", "damaged.db", status=2)
    says(text, "damaged.db: the backup is not in order: event", "it, or one before it, was changed")
    says(desk.run("restore", "book.sql", status=2), "not a ledger")
    says(desk.run("restore", "nowhere.db", status=4), "No such file")
    holder = sqlite3.connect(desk.book)
    holder.execute("SELECT count(*) FROM events").fetchone()
    says(desk.run("restore", "safe.db", status=2), "another program has the book open")
    holder.close()
    assert [n for n in here() if not n.startswith("book.db-")] == [n for n in before if not n.startswith("book.db-")], here()
    assert len(desk.js("member", "list")["members"]) == 3
    answer = desk.js("restore", "safe.db")
    assert answer["ledger"] == desk.book and answer["aside"].startswith(desk.book + ".replaced-"), answer
    assert len(desk.js("member", "list")["members"]) == 2
    assert len(desk.js("member", "list", "--ledger", answer["aside"])["members"]) == 3
    desk.run("member", "enrol", "1004")
    says(desk.run("ledger", "verify"), "is in order")


def files_go_along():
    """A photo kept beside the book is in the backup, and comes back with it."""
    photo, sha = desk.write("photo.jpg", b"\xff\xd8\xff\xe0 a picture, as far as this test goes")
    desk.run("ledger", "attach", photo, "--machine", "Alder", "--kind", "photo")
    says(desk.run("backup", "with.db"), "with 1 file beside it")
    kept = os.path.join(desk.book + ".files", sha[:2], sha)
    assert os.path.exists(kept) and os.path.exists(path(os.path.join("with.db.files", sha[:2], sha)))
    os.remove(kept)
    says(desk.run("ledger", "verify", status=2), sha[:12])
    desk.run("restore", "with.db")
    assert os.path.exists(kept)
    says(desk.run("ledger", "verify"), "is in order")


def damaged():
    """Faults are sentences, and the exit status says so."""
    db = sqlite3.connect(desk.book)
    db.execute("UPDATE members SET role = 'keeper' WHERE member = '1001'")
    db.commit()
    db.close()
    says(desk.run("ledger", "verify", status=2), "the table members, row", "role is not what follows from the events", "ledger rebuild")
    assert desk.js("ledger", "verify", status=2)["clean"] is False
    says(desk.run("backup", "bad.db", status=2), "no copy was kept, because the book is not in order")
    assert "bad.db" not in here()
    desk.run("ledger", "rebuild")
    says(desk.run("ledger", "verify"), "is in order")


def helped():
    """Each example of these verbs' help is understood: none is wrong usage for its words."""
    for verb in ("term", "ledger", "backup", "restore", "export"):
        text = desk.raw(verb, "--help")[0]
        assert "OPTIONS" in text and "Examples" in text, text
    text = desk.raw("export", "--help")[0]
    examples = re.findall(r"^ +proveout (export \w+ [^\[\n]*)$", text, flags=re.M)
    examples = [e for e in examples if "OPTIONS" not in e]
    assert len(examples) == 4, examples
    os.remove(path("book.json"))  # the name in an example
    for example in examples:
        out = desk.raw(*shlex.split(example))[0]
        assert out, example


run_tests(desk, [opened, a_term, closed, the_book, backed_up, exported, restored, files_go_along, damaged, helped])

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Training over HTTP: a newcomer learns, sits, is taught, is signed off; others see nothing; nothing can be forged. And the routes of care, searches
and the room. usage: desk_training_test.py PROVEOUT SHOP DESK_ACT"""
import json
import os
import re
import subprocess
import sys

from desk_kit import Desk, run_tests, says

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
desk = Desk(sys.argv[1], sys.argv[2], clock="2026-12-01T11:00")
STUDY = {}


def study():
    """The questions of the demo's first study as its file has them: what the server must not say."""
    if not STUDY:
        with open(os.path.join(ROOT, "demo", "training", "first-steps", "study.yaml"), encoding="utf-8") as f:
            text = f.read().split("\nquestions:\n")[1].split("\npractice:")[0]
        for line in text.splitlines():
            m = re.match(r"  ([\w-]+): \{(.*)\}$", line)
            if m:
                body = m.group(2)
                options = re.search(r"options: \[(.*?)\](?:, right|, why)", body)
                right = re.search(r"right: (\[[\d, ]+\]|\d+)", body)
                number = re.search(r"is: ([\d.]+)", body)
                areas = re.search(r"areas: \[\[(\d+), (\d+), (\d+), (\d+)\]", body)
                words = [w.strip().strip('"') for w in re.findall(r'"[^"]*"|[^,"]+', options.group(1)) if w.strip()] if options else []
                STUDY[m.group(1)] = {"options": words, "right": json.loads(right.group(1)) if right else None, "is": number and number.group(1),
                                     "areas": areas and [int(x) for x in areas.groups()], "hazard": "hazard: true" in body, "why": re.search(r'why: "(.*)"$', body).group(1)}
    return STUDY


def answer_of(q, right=True):
    s = study()[q["question"]]
    letter = {o["words"]: o["option"] for o in q.get("options", [])}
    if q["kind"] == "number":
        return s["is"] if right else "1"
    if q["kind"] == "place":
        a = s["areas"]
        return "%d,%d" % ((a[0] + a[2]) // 2, (a[1] + a[3]) // 2) if right else "2,2"
    if q["kind"] == "order":
        order = [letter[w] for w in s["options"]]
        return ",".join(order if right else reversed(order))
    want = s["right"] if isinstance(s["right"], list) else [s["right"]]
    if q["kind"] == "several":
        return ",".join(letter[s["options"][i - 1]] for i in (want if right else want[:1]))
    return letter[s["options"][want[0] - 1]] if right else next(o for w, o in letter.items() if w != s["options"][want[0] - 1])


class Server:
    def __enter__(self):
        for member, role in (("k1", "keeper"), ("d1", "desk"), ("m1", "member"), ("m2", "member")):
            desk.run("member", "enrol", member, "--role", role, by="keeper")
            subprocess.run([desk.proveout, "desk", "password", member], env=dict(desk.env, PROVEOUT_CLOCK=desk.clock), input="a word of " + member + " here\n", text=True, check=True,
                           stdout=subprocess.DEVNULL)
        self.process = subprocess.Popen([desk.proveout, "desk", "--listen", "127.0.0.1:0"], env=dict(desk.env, PROVEOUT_CLOCK=desk.clock), stdout=subprocess.PIPE,
                                        stderr=subprocess.DEVNULL, text=True)
        self.port = int(re.search(r":(\d+)/", self.process.stdout.readline()).group(1))
        return self

    def __exit__(self, *_):
        self.process.terminate()
        self.process.wait(timeout=30)


class Caller:
    def __init__(self, port, member=None):
        import http.client
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        self.headers = {}
        if member:
            status, body, headers = self.raw("POST", "/api/1/session", {"member": member, "password": "a word of " + member + " here"})
            assert status == 200, body
            self.headers = {"Cookie": headers["Set-Cookie"].split(";")[0], "X-Proveout-Token": body["token"]}

    def raw(self, method, path, body=None):
        text = None if body is None else json.dumps(body)
        self.connection.request(method, path, text, dict(self.headers, **({"Content-Type": "application/json"} if text is not None else {})))
        reply = self.connection.getresponse()
        data = reply.read()
        try:
            return reply.status, json.loads(data), reply.headers
        except ValueError:
            return reply.status, data.decode(), reply.headers

    def get(self, path, status=200):
        got, body, _ = self.raw("GET", path)
        assert got == status, (path, got, body)
        return body

    def post(self, path, body=None, status=200):
        got, answer, _ = self.raw("POST", path, body or {})
        assert got == status, (path, got, answer)
        return answer


def sit():
    with Server() as server:
        newcomer, other, desk_person, kiosk = (Caller(server.port, m) for m in ("m1", "m2", "d1", None))
        assert [s["study"] for s in kiosk.get("/api/1/studies")["studies"]] == ["first-steps", "two-materials"]
        lessons = kiosk.get("/api/1/studies/first-steps")
        assert len(lessons["lessons"]) == 8 and len(lessons["steps"]) == 5
        assert "<svg" in kiosk.get("/api/1/studies/first-steps/picture?file=machine.svg")
        for wrong in ("study.yaml", "nothing.svg"):
            kiosk.get("/api/1/studies/first-steps/picture?file=" + wrong, 404)
        kiosk.post("/api/1/papers", {"study": "first-steps"}, 401)
        newcomer.post("/api/1/papers", {"study": "no-such"}, 404)
        paper = newcomer.post("/api/1/papers", {"study": "first-steps"})
        path = "/api/1/papers/%d" % paper["paper"]
        assert paper["most"] is None and len(paper["questions"]) == 25 and paper["until_ms"] == paper["drawn_ms"] + 45 * 60000
        text = json.dumps(newcomer.get(path))
        for key in ('"right"', '"why"', '"mark"', '"hazard"', '"areas"', '"lesson"'):
            assert key not in text, key  # nothing of what is right
        for q in paper["questions"]:
            assert study()[q["question"]]["why"] not in text
        assert any([o["words"] for o in q["options"]] != study()[q["question"]]["options"] for q in paper["questions"] if "options" in q)
        # another's paper is not there; the desk may look and not answer
        other.get(path, 404)
        other.post(path + "/answer", {"question": paper["questions"][0]["question"], "answer": "a"}, 404)
        desk_person.get(path)
        desk_person.post(path + "/answer", {"question": paper["questions"][0]["question"], "answer": "a"}, 404)
        # forged: members do not mark, nor answer what is not theirs to
        newcomer.post("/api/1/acts/paper-hand-in", {"paper": paper["paper"], "passed": True}, 403)
        newcomer.post("/api/1/acts/permit-grant", {"member": "m1", "permission": "starter"}, 403)
        newcomer.get("/api/1/ask/paper?paper=%d" % paper["paper"], 403)
        first = next(q for q in paper["questions"] if q["kind"] == "one")
        for wrong in ("z", "a,b", "", "1"):
            newcomer.post(path + "/answer", {"question": first["question"], "answer": wrong}, 422)
        newcomer.post(path + "/answer", {"question": "not-drawn", "answer": "a"}, 404)
        newcomer.post("/api/1/papers", {"study": "first-steps"}, 409)
        # all answered, two hazards missed; a closed lid in the middle: another session goes on where it was
        missed = [q for q in paper["questions"] if study()[q["question"]]["hazard"]][:2]
        for q in paper["questions"][:12]:
            newcomer.post(path + "/answer", {"question": q["question"], "answer": answer_of(q, q not in missed)})
        newcomer = Caller(server.port, "m1")
        kept = newcomer.get(path)
        assert sum(q["answer"] is not None for q in kept["questions"]) == 12
        for q in paper["questions"][12:]:
            newcomer.post(path + "/answer", {"question": q["question"], "answer": "a"} if q["kind"] == "one" else {"question": q["question"], "answer": answer_of(q)})
        for q in paper["questions"][12:]:  # another tab: the later answer holds
            newcomer.post(path + "/answer", {"question": q["question"], "answer": answer_of(q, q not in missed)})
        marked = newcomer.post(path + "/hand-in")
        assert (marked["points"], marked["most"], marked["met"], marked["passed"], marked["granted"]) == (23, 25, True, False, None), marked["points"]
        left = [q for q in marked["questions"] if q["teach"]]
        assert sorted(q["question"] for q in left) == sorted(q["question"] for q in missed) and all("right" not in q and q["why"] for q in left)
        assert all(q["right"] == answer_of(q) or q["kind"] in ("place", "several", "number") for q in marked["questions"] if "right" in q)
        newcomer.post(path + "/answer", {"question": first["question"], "answer": "a"}, 409)
        newcomer.post(path + "/hand-in", {}, 409)
        assert newcomer.post(path + "/teach", {"question": left[0]["question"], "answer": answer_of(left[0], False)})["taught"]["right"] is False
        taught = newcomer.post(path + "/teach", {"question": left[0]["question"], "answer": answer_of(left[0])})
        assert taught["taught"]["right"] is True and taught["passed"] is False
        taught = newcomer.post(path + "/teach", {"question": left[1]["question"], "answer": answer_of(left[1])})
        assert taught["passed"] is True and taught["taught"]["granted"] is None  # the steps are not signed yet
        newcomer.post(path + "/teach", {"question": left[1]["question"], "answer": "a"}, 404)
        # the desk signs
        newcomer.get("/api/1/signoff", 403)
        waiting = [x for x in desk_person.get("/api/1/signoff")["waiting"] if x["member"] == "m1"]
        assert len(waiting) == 1 and waiting[0]["member"] == "m1" and len(waiting[0]["steps"]) == 5
        assert any(d["kind"] == "signoff" for d in desk_person.get("/api/1/today")["due"])
        desk_person.post("/api/1/signoff", {"member": "m1", "study": "first-steps", "step": "fly", "machine": "Alder"}, 404)
        desk_person.post("/api/1/signoff", {"member": "m1", "study": "first-steps", "step": "stop", "machine": "Oak"}, 422)
        for i, step in enumerate(waiting[0]["steps"]):
            granted = desk_person.post("/api/1/signoff", {"member": "m1", "study": "first-steps", "step": step["step"], "machine": "Alder"})["granted"]
            assert granted == ("starter" if i == 4 else None), (i, granted)
        assert [x["member"] for x in desk_person.get("/api/1/signoff")["waiting"]] == ["c1"]  # whose result came from a file
        assert desk_person.get("/api/1/ask/permits?member=m1")["permits"][0]["permission"] == "starter"
        mine = newcomer.get("/api/1/papers")
        assert len(mine["papers"]) == 1 and len(mine["practice"]) == 5 and "answer" not in json.dumps(mine["papers"])
        # who fails waits; a refresher is for those who hold the permission
        other.post("/api/1/papers", {"study": "first-steps", "refresher": True}, 409)
        failed = other.post("/api/1/papers", {"study": "first-steps"})
        gone = other.post("/api/1/papers/%d/hand-in" % failed["paper"])
        assert gone["points"] == 0 and not gone["met"]
        refused = other.post("/api/1/papers", {"study": "first-steps"}, 409)
        assert "another try is open from" in refused["detail"], refused
        refresher = newcomer.post("/api/1/papers", {"study": "first-steps", "refresher": True})
        assert len(refresher["questions"]) == 13 and refresher["until_ms"] == refresher["drawn_ms"] + 20 * 60000
        # care, searches, the room
        assert desk_person.get("/api/1/care")["tasks"], "every machine has its tasks"
        symptoms = desk_person.get("/api/1/why/symptoms")["symptoms"]
        for s in symptoms:
            assert kiosk.get("/api/1/why/symptoms/%s/drawing.svg" % s["symptom"]).startswith("<svg"), s
        trouble = desk_person.post("/api/1/acts/trouble-open", {"machine": "Alder", "symptom": "hairs"})["answer"]["trouble"]
        view = desk_person.get("/api/1/why/%d" % trouble)
        assert view["beliefs"][0]["cause"] == "wet" and view["next"] and abs(sum(b["p"] for b in view["beliefs"]) - 1) < 0.2
        desk_person.post("/api/1/acts/trouble-check", {"trouble": trouble, "check": "hiss", "answer": "yes"})
        assert desk_person.get("/api/1/why/%d" % trouble)["beliefs"][0]["p"] > view["beliefs"][0]["p"]
        desk_person.get("/api/1/why/99999", 404)
        desk_person.get("/api/1/why/x", 404)
        air = desk_person.get("/api/1/room/air?running=petg=3,asa=1&outdoor_m3_h=600")
        assert air["kinds"][0]["typical"] > 0 and air["kinds"][2]["typical"] > 0
        desk_person.get("/api/1/room/air?running=petg=many", 422)
        assert desk_person.get("/api/1/room/power")["circuits"][0]["circuit"] == "west-wall"
        cool = desk_person.get("/api/1/room/cool?machine=Alder&readings=0:60000,600:45000&room_mc=22000")
        assert abs(cool["tau_minutes"] - 19.92) < 0.01  # desk handbook 7.6
        desk_person.get("/api/1/room/cool?machine=Birch", 404)
        desk_person.get("/api/1/room/cool?machine=Alder&readings=0:60", 422)
        assert "Fire or smoke" in kiosk.get("/api/1/room/cards.html")


def by_the_command_line():
    says(desk.run("train", "check"), "2 studies, 61 questions, 0 faults")
    says(desk.run("train", "check", os.path.join(ROOT, "tests"), status=4), "study.yaml: there is no such file")
    says(desk.run("train", "show", "two-materials"), "Two nozzles at one height", "load-two")
    desk.run("member", "enrol", "c1")
    says(desk.run("paper", "draw", "c1", "two-materials"), "member c1: open, until 11:25")
    says(desk.run("paper", "time", "c1", "200"), "200 percent")
    number = desk.js("paper", "list", "--member", "c1")["papers"][0]["paper"]
    says(desk.run("paper", "hand-in", str(number)), "0 of 10, not passed", "not answered", "Because:")
    says(desk.run("paper", "void", str(number), "--reason", "a trial", by="keeper"), "is void")
    says(desk.run("paper", "draw", "c1", "two-materials"), "open, until 11:50")  # twice the time
    says(desk.run("signoff", "step", "c1", "two-materials", "load-two", "Dogwood"), "was seen to do load-two on Dogwood")
    says(desk.run("signoff", "step", "c1", "two-materials", "lode-two", "Dogwood", status=2), "the nearest is load-two")
    for text, want in (("member,study,passed,date,points,most\nc1,two-materials,yes,2026-11-30,9,10\n", "1 results are booked, 1 of them passed"),
                       ("member,study,passed\nc1,two-materials,yes\n", "must name the column date"),
                       ("member,study,passed,date\nc1,two-materials,perhaps,2026-11-30\n", ":2:18: expected yes or no, found perhaps"),
                       ("member,study,passed,date\nc1,two-materials,yes,2026-13-30\n", "expected a day such as"),
                       ("member,study,passed,date\nc1,two-materials,yes,2027-11-30\n", "still to come"),
                       ("", "the file is empty")):
        path, _ = desk.write("results.csv", text)
        done = desk.run("paper", "import", path, status=0 if "booked" in want else 4)
        says(done, want)


def searches_by_the_command_line():
    says(desk.run("why", "symptoms"), "hairs", "thin hairs between parts")
    says(desk.run("why", "ask", "hairs", "--said", "hiss=yes"), "the filament is wet", "likelier")
    says(desk.run("why", "ask", "hears", status=4), "the nearest is \"hairs\"")
    says(desk.run("why", "ask", "hairs", "--said", "hiss=maybe", status=4), "there are yes, no")
    out = desk.run("why", "open", "not-sticking", "Alder")
    number = re.search(r"Search (\d+)", out).group(1)
    says(desk.run("why", "said", number, "lines", "round"), "lines: round and apart")
    says(desk.run("why", "said", number, "lines", "square", status=4), "there are round, flat, torn")
    says(desk.run("why", "close", number, "--cause", "gap-wide", "--confirmed"), "is closed")
    says(desk.run("why", "learned"), "confirmed 1 times")
    says(desk.run("why", "reset", "--reason", "new machines", by="keeper"), "counts no more")
    says(desk.run("why", "learned"), "Nothing was confirmed yet")
    says(desk.run("care", "due"), "No care is due")
    says(desk.run("care", "done", "Alder", "oil-rods"), "booked as done")
    says(desk.run("care", "done", "Alder", "oil-rod", status=4), "the nearest is oil-rods")
    desk.at("2027-04-01T11:00")
    says(desk.run("care", "due"), "oil-rods", "134 % of its days")
    says(desk.run("today"), "Alder: care is due: wipe rods")
    desk.at("2026-12-01T11:00")
    says(desk.run("room", "air", "--running", "petg=3"), "3 x petg", "plans and certifies nothing")
    says(desk.run("room", "air", "--outdoor", "0", status=4), "nothing takes vapours out of this room")
    says(desk.run("room", "power"), "All may heat at once")
    says(desk.run("room", "cool", "0:60,10:45", "--room", "22"), "time constant of 19.9 min")
    says(desk.run("room", "cool", "0:60,10:61", "--room", "22", status=4), "it does not cool")
    says(desk.run("room", "cool", "0:60,10:45", "--machine", "Alder", "--keep"), "Kept in the book")
    says(desk.run("room", "cool", "--machine", "Alder"), "time constant of")
    says(desk.run("room", "cards"), "waste-petg")


run_tests(desk, [by_the_command_line, searches_by_the_command_line, sit])

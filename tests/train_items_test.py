#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""What train items says of a study of four questions that forty members sat, against figures counted here by hand.

usage: train_items_test.py PROVEOUT SHOP"""
import math
import os
import sys

from desk_kit import Desk, run_tests

desk = Desk(sys.argv[1], sys.argv[2], change=[("training: {studies: training}", "training: {studies: own}")])
STUDY = """title: Four questions
pass_percent: 50
topics:
  all: {title: All, questions: 4, refresher: 1}
questions:
  key: {topic: all, kind: one, ask: "Which?", options: [it, that, other], right: 2, why: "Says the file, wrongly."}
  good: {topic: all, kind: one, ask: "Good?", options: [yes, no], right: 1, why: "It is so."}
  hard: {topic: all, kind: number, ask: "How many?", is: 7, within: 1, unit: pieces, why: "Seven."}
  same: {topic: all, kind: several, ask: "Which two?", options: [a, b, c], right: [1, 3], why: "These."}
"""
N = 40  # of them the first half knows everything: they choose option 1 of key, whatever the file says


def setting_up():
    os.makedirs(os.path.join(desk.where, "own", "four"))
    with open(os.path.join(desk.where, "own", "four", "study.yaml"), "w", encoding="utf-8") as f:
        f.write(STUDY)
    assert "nobody has handed in a full paper" in desk.run("train", "items", "four", status=2)
    for i in range(N):
        member = "m%d" % i
        knows = i < N // 2
        desk.run("member", "enrol", member, by="keeper")
        desk.run("paper", "draw", member, "four")
        paper = str(desk.js("paper", "list", "--member", member)["papers"][0]["paper"])
        for q in desk.js("paper", "show", paper)["questions"]:
            letter = {o["words"]: o["option"] for o in q.get("options") or []}
            answer = {"key": letter.get("it" if knows else "that" if i % 2 else "other"), "good": letter.get("yes" if knows or i % 4 == 0 else "no"),
                      "hard": "8" if knows and i % 5 else "9", "same": ",".join(letter.get(w, "") for w in ("a", "c"))}[q["question"]]
            if (q["question"], i) != ("hard", N - 1):  # the last one leaves it blank
                desk.run("paper", "answer", paper, q["question"], answer)
        desk.run("paper", "hand-in", paper)


def counted_by_hand():
    got = desk.js("train", "items", "four")
    assert got["papers"] == N and got["lost"] == 0, got
    of = {q["question"]: q for q in got["questions"]}
    right = {"key": 10, "good": 25, "hard": 16, "same": 40}
    for name, n in right.items():
        assert (of[name]["drawn"], of[name]["right"]) == (N, n), (name, of[name])
        p, z = n / N, 1.959964
        mid, half = (p + z * z / 2 / N) / (1 + z * z / N), z * math.sqrt(p * (1 - p) / N + z * z / 4 / N / N) / (1 + z * z / N)  # Wilson 1927; e-Handbook 7.2.4.1
        assert abs(of[name]["p_low"] - (mid - half)) < 1e-4 and abs(of[name]["p_high"] - (mid + half)) < 1e-4, of[name]
    assert of["hard"]["blank"] == 1
    assert of["key"]["chose"][:4] == [0, 20, 10, 10] and of["good"]["chose"][:3] == [0, 25, 15], of["key"]
    assert "chose" not in of["hard"]


def told():
    of = {q["question"]: q["flag"] for q in desk.js("train", "items", "four")["questions"]}
    assert of["key"] in ("key", "misleads") and of["good"] == "fine" and of["hard"] == "fine", of
    said = desk.run("train", "items", "four")
    assert "* key: Look at the key" in said and "* good:" not in said and "* hard:" not in said, said
    assert "there is no study" in desk.run("train", "items", "fuor", status=4)


def a_question_taken_out_of_the_study():
    with open(os.path.join(desk.where, "own", "four", "study.yaml"), "w", encoding="utf-8") as f:
        f.write("\n".join(line for line in STUDY.replace("questions: 4", "questions: 3").splitlines() if "  hard:" not in line) + "\n")
    assert desk.js("train", "items", "four")["lost"] == N
    assert "%d answers are to questions that the study has no more" % N in desk.run("train", "items", "four")


setting_up()
run_tests(desk, [counted_by_hand, told, a_question_taken_out_of_the_study])

/* Studies read with every fault in its place; papers drawn; answers marked. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "proveout/study.h"

static const char good[] =
    "title: First steps\n"
    "grants: starter\n"
    "pass_percent: 80\n"
    "minutes: 30\n"
    "pause_hours: 24\n"
    "lessons:\n"
    "  heat: {title: Heat, text: \"The bed burns.\", picture: {file: bed.svg, shows: a bed}, see: [leaves-heat-on]}\n"
    "topics:\n"
    "  heat: {title: Heat, questions: 3, refresher: 1}\n"
    "  feed: {title: Feeding, questions: 2}\n"
    "questions:\n"
    "  h1: {topic: heat, kind: one, hazard: true, ask: A?, options: [x, y, z], right: 2, why: because, lesson: heat}\n"
    "  h2: {topic: heat, kind: several, hazard: true, ask: B?, options: [x, y, z], right: [1, 3], why: because}\n"
    "  h3: {topic: heat, kind: number, ask: C?, is: 40, within: 0.5, unit: C, why: because}\n"
    "  h4: {topic: heat, kind: one, ask: D?, options: [x, y], right: 1, why: because}\n"
    "  h5: {topic: heat, kind: one, ask: E?, options: [x, y], right: 1, why: because}\n"
    "  f1: {topic: feed, kind: order, ask: F?, options: [one, two, three, four], why: because}\n"
    "  f2: {topic: feed, kind: place, ask: G?, picture: {file: bed.svg, shows: a bed}, areas: [[100, 200, 300, 400], "
    "[900, 900, 1000, 1000]], why: because}\n"
    "  f3: {topic: feed, kind: one, ask: H?, options: [x, y], right: 2, why: because}\n"
    "practice:\n"
    "  load: {says: loads a spool, caution: hot}\n";

static const po_study *read_good(po_arena *arena)
{
    const po_study *s = NULL;
    po_shop_faults faults;
    po_err err;
    if (po_study_read(good, sizeof good - 1, "first", arena, &s, &faults, &err) != PO_OK) {
        fail_msg("%u: %s", err.line ? (unsigned)err.line : 0, err.msg);
    }
    return s;
}

static void reads(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_study *s = read_good(arena);
    assert_string_equal(s->id, "first");
    assert_string_equal(s->grants, "starter");
    assert_int_equal(s->pass_permille, 800);
    assert_int_equal(s->refresher_minutes, 30);
    assert_int_equal(s->topics[1].refresher, 1); /* half of 2 */
    assert_int_equal(s->n_questions, 8);
    assert_string_equal(s->lessons[0].see[0], "leaves-heat-on");
    assert_int_equal(s->questions[1].right, 5);
    assert_int_equal(po_study_question(s, "f2")->areas[1][3], 1000);
    assert_null(po_study_question(s, "f9"));
    assert_string_equal(s->practice[0].caution, "hot");
    assert_int_equal(strlen(s->sha256), 64);
    po_arena_free(arena);
}

/* A line of the good one replaced: the fault is told at that line with these words. */
static void faults_have_places(void **state)
{
    (void)state;
    static const struct {
        const char *line, *instead, *key, *expected;
    } cases[] = {
        {"title: First steps", "titel: First steps", "titel", "nearest is title"},
        {"pass_percent: 80", "pass_percent: 130", "pass_percent", "from 1 to 100"},
        {"minutes: 30", "minutes: soon", "minutes", "whole number from 0 to 600"},
        {"  heat: {title: Heat, text:", "  heat: {text:", "lessons.heat.title", "the key title"},
        {"file: bed.svg, shows: a bed}, see:", "file: ../bed.svg, shows: a bed}, see:", "lessons.heat.picture.file",
         "without folders"},
        {"file: bed.svg, shows: a bed}, areas", "file: bed.svg}, areas", "questions.f2.picture.shows", "the key shows"},
        {"questions: 3, refresher: 1", "questions: 9, refresher: 1", "topics.heat", "at least as many"},
        {"questions: 3, refresher: 1", "questions: 3, refresher: 0", "topics.heat", "hazard"},
        {"h1: {topic: heat", "h1: {topic: heet", "questions.h1.topic", "a topic of this study"},
        {"options: [x, y, z], right: 2", "options: [x, y, z], right: 4", "questions.h1.right", "1 to 3"},
        {"right: [1, 3]", "right: [1, 1]", "questions.h2.right", "each once"},
        {"is: 40, within: 0.5", "is: 40", "questions.h3.within", "the key within"},
        {"h4: {topic: heat, kind: one", "h4: {topic: heat, kind: two", "questions.h4.kind",
         "one, several, order, number or place"},
        {"why: because, lesson: heat", "why: because, lesson: hot", "questions.h1.lesson", "a lesson of this study"},
        {"[100, 200, 300, 400]", "[300, 200, 100, 400]", "questions.f2.areas[0]", "from less than to"},
        {"f1: {topic: feed, kind: order, ask: F?,", "f1: {topic: feed, kind: order, ask: F?, right: 1,",
         "questions.f1.right", "no right with the kind order"},
        {"load: {says: loads a spool", "\"lo ad\": {says: loads a spool", "practice.lo ad", "a name of letters"},
        {"why: because}\n  h5", "why: ''}\n  h5", "questions.h4.why", "a text of 1"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        po_arena *arena = po_arena_new(0);
        const char *at = strstr(good, cases[i].line);
        char text[4096];
        uint32_t line = 1;
        assert_non_null(at);
        for (const char *p = good; p < at; p++) {
            line += *p == '\n';
        }
        snprintf(text, sizeof text, "%.*s%s%s", (int)(at - good), good, cases[i].instead, at + strlen(cases[i].line));
        const po_study *s = NULL;
        po_shop_faults faults;
        po_err err;
        assert_int_equal(po_study_read(text, strlen(text), "x", arena, &s, &faults, &err), PO_E_SYNTAX);
        bool told = false;
        for (size_t f = 0; f < faults.n_faults; f++) {
            told = told || (strcmp(faults.faults[f].key, cases[i].key) == 0 &&
                            strstr(faults.faults[f].expected, cases[i].expected) && faults.faults[f].line == line);
        }
        if (!told) {
            fail_msg("%s: at line %u not told; the first of %zu: %u %s: found %s, expected %s", cases[i].instead, line,
                     faults.n_faults, faults.faults[0].line, faults.faults[0].key, faults.faults[0].found,
                     faults.faults[0].expected);
        }
        po_arena_free(arena);
    }
    po_arena *arena = po_arena_new(0);
    const po_study *s = NULL;
    po_shop_faults faults;
    po_err err;
    assert_int_equal(po_study_read("", 0, "x", arena, &s, &faults, &err), PO_E_SYNTAX);
    assert_int_equal(po_study_read("- a\n", 4, "x", arena, &s, &faults, &err), PO_E_SYNTAX);
    po_arena_free(arena);
}

static void draws(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_study *s = read_good(arena);
    size_t a[PO_PAPER_QUESTIONS_MOST], b[PO_PAPER_QUESTIONS_MOST];
    int asked[8] = {0}, differ = 0;
    for (uint64_t seed = 1; seed <= 400; seed++) {
        size_t n = po_paper_draw(s, false, seed, NULL, 0, a), hazards = 0, heat = 0;
        assert_int_equal(n, 5);
        for (size_t i = 0; i < n; i++) {
            hazards += s->questions[a[i]].hazard;
            heat += s->questions[a[i]].topic == 0;
            asked[a[i]]++;
            for (size_t k = 0; k < i; k++) {
                assert_int_not_equal(a[i], a[k]);
            }
        }
        assert_true(hazards >= 1 && heat == 3);
        assert_int_equal(po_paper_draw(s, false, seed, NULL, 0, b), n); /* the same seed, the same paper */
        assert_memory_equal(a, b, n * sizeof a[0]);
        po_paper_draw(s, false, seed + 1000, NULL, 0, b);
        differ += memcmp(a, b, n * sizeof a[0]) != 0;
        assert_int_equal(po_paper_draw(s, true, seed, NULL, 0, b),
                         2); /* a refresher: one of each, the hazard's always */
        assert_true(s->questions[b[0]].hazard || s->questions[b[1]].hazard);
        /* a retake brings what was not asked, as far as there is */
        const char *before[] = {"h1", "h3", "h4", "f1"};
        n = po_paper_draw(s, false, seed, before, 4, b);
        int old = 0;
        for (size_t i = 0; i < n; i++) {
            for (size_t k = 0; k < 4; k++) {
                old += strcmp(s->questions[b[i]].id, before[k]) == 0;
            }
        }
        assert_int_equal(old, 1); /* of heat 2 are new and 3 wanted; of feed 2 and 2 */
    }
    assert_true(differ > 390);
    for (size_t q = 0; q < 8; q++) { /* none is left out, none always there */
        assert_in_range(asked[q], 100, 380);
    }
    size_t order[PO_STUDY_OPTIONS_MOST];
    const po_question *f1 = po_study_question(s, "f1");
    for (uint64_t seed = 0; seed < 200; seed++) {
        po_paper_options(f1, seed, order);
        assert_false(order[0] == 0 && order[1] == 1 && order[2] == 2 &&
                     order[3] == 3); /* the answer never stands there */
    }
    po_arena_free(arena);
}

static void marks(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_study *s = read_good(arena);
    static const struct {
        const char *question, *answer;
        po_mark mark;
        bool holds;
    } cases[] = {{"h1", "2", PO_MARK_RIGHT, true},       {"h1", "1", PO_MARK_WRONG, true},
                 {"h1", "4", PO_MARK_WRONG, false},      {"h1", "1,2", PO_MARK_WRONG, false},
                 {"h1", "", PO_MARK_NONE, false},        {"h1", "2 ", PO_MARK_WRONG, false},
                 {"h2", "1,3", PO_MARK_RIGHT, true},     {"h2", "3,1", PO_MARK_RIGHT, true},
                 {"h2", "1", PO_MARK_WRONG, true},       {"h2", "1,2,3", PO_MARK_WRONG, true},
                 {"h2", "1,1", PO_MARK_WRONG, false},    {"h3", "40", PO_MARK_RIGHT, true},
                 {"h3", "40,5", PO_MARK_RIGHT, true},    {"h3", "39.5", PO_MARK_RIGHT, true},
                 {"h3", "39.49", PO_MARK_WRONG, true},   {"h3", "forty", PO_MARK_WRONG, false},
                 {"f1", "1,2,3,4", PO_MARK_RIGHT, true}, {"f1", "2,1,3,4", PO_MARK_WRONG, true},
                 {"f1", "1,2,3", PO_MARK_WRONG, false},  {"f2", "100,400", PO_MARK_RIGHT, true},
                 {"f2", "950,950", PO_MARK_RIGHT, true}, {"f2", "500,500", PO_MARK_WRONG, true},
                 {"f2", "500", PO_MARK_WRONG, false},    {"f2", "1001,3", PO_MARK_WRONG, false}};
    po_err err;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const po_question *q = po_study_question(s, cases[i].question);
        bool holds = po_answer_holds(q, cases[i].answer, &err) == PO_OK;
        if (po_answer_mark(q, cases[i].answer) != cases[i].mark || holds != cases[i].holds) {
            fail_msg("%s \"%s\": %d, holds %d", cases[i].question, cases[i].answer, po_answer_mark(q, cases[i].answer),
                     holds);
        }
    }
    for (size_t q = 0; q < s->n_questions; q++) { /* what it calls right is right */
        assert_int_equal(po_answer_mark(&s->questions[q], po_answer_right(&s->questions[q], arena)), PO_MARK_RIGHT);
    }
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(reads), cmocka_unit_test(faults_have_places),
                                       cmocka_unit_test(draws), cmocka_unit_test(marks)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Papers drawn, answered, handed in and taught, as acts of the book. SPDX-License-Identifier: Apache-2.0 */
#include "work/training.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "work/training_inside.h"

enum { PAPERS_BACK = 5, HOUR_MS = 3600000 };

json_t *work_training_act(work_acts *acts, const char *name, json_t *body)
{
    if (!body || acts->n == WORK_ACTS_MOST) {
        json_decref(body);
        return NULL;
    }
    acts->names[acts->n] = name;
    acts->bodies[acts->n++] = body;
    return body;
}

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "out of memory for a paper");
}

/* ---- drawing ---- */

/* How much time the member has; 0: no limit. */
static po_status minutes_of(work_context *w, const po_study *study, const char *member, bool refresher, int64_t *ret,
                            po_err *err)
{
    json_t *answer = NULL;
    int64_t minutes = refresher ? study->refresher_minutes : study->minutes;
    po_status s = work_ask(w, "accommodations", json_pack("{s:s}", "member", member), &answer, err);
    const json_t *row = json_array_get(json_object_get(answer, "accommodations"), 0);
    *ret = row ? minutes * work_int(row, "time_percent", 100) / 100 : minutes;
    json_decref(answer);
    return s;
}

/* Questions of the member's latest papers of the study, so that the next has others; and why none may be drawn now. */
static po_status look_back(work_context *w, const po_study *study, const char *member, const char **before, size_t most,
                           size_t *ret_n, po_err *err)
{
    json_t *papers = NULL;
    po_status s = work_ask(
        w, "papers", json_pack("{s:s, s:s, s:i}", "member", member, "study", study->id, "limit", (int)PAPERS_BACK),
        &papers, err);
    const json_t *row;
    size_t i;
    *ret_n = 0;
    json_array_foreach(json_object_get(papers, "papers"), i, row)
    {
        int64_t handed = work_int(row, "handed_ms", -1), until = handed + study->pause_hours * (int64_t)HOUR_MS;
        bool in = strcmp(work_text(row, "state"), "handed-in") == 0,
             open = strcmp(work_text(row, "state"), "open") == 0;
        if (s == PO_OK && open) {
            s = po_fail_at(err, PO_E_CONFLICT, "paper", 0, 0, "paper %lld of %s is open: hand it in first",
                           (long long)work_int(row, "paper", 0), study->title);
        }
        if (s == PO_OK && i == 0 && in && !json_is_true(json_object_get(row, "met")) && handed >= 0 &&
            w->now_ms < until && strcmp(work_text(row, "kind"), "import") != 0) {
            s = po_fail_at(err, PO_E_CONFLICT, "study", 0, 0,
                           "the last paper was not passed; another try is open from %s on", work_time_words(w, until));
        }
        if (s == PO_OK && i == 0 && in && json_is_true(json_object_get(row, "met")) &&
            json_array_size(json_object_get(row, "teach")) > 0) {
            s = po_fail_at(err, PO_E_CONFLICT, "paper", 0, 0,
                           "paper %lld reached the mark; what was missed on hazards is taught first, then it counts",
                           (long long)work_int(row, "paper", 0));
        }
        json_t *one = NULL;
        if (s == PO_OK && strcmp(work_text(row, "kind"), "import") != 0) {
            s = work_ask(w, "paper", json_pack("{s:I}", "paper", (json_int_t)work_int(row, "paper", 0)), &one, err);
        }
        size_t k;
        const json_t *q;
        json_array_foreach(json_object_get(one, "questions"), k, q)
        {
            if (*ret_n < most) {
                before[(*ret_n)++] = po_arena_text(w->arena, work_text(q, "question"));
            }
        }
        json_decref(one);
    }
    json_decref(papers);
    return s;
}

static po_status holds_permission(work_context *w, const char *member, const char *permission, bool *ret, po_err *err)
{
    json_t *permits = NULL;
    po_status s = work_ask(w, "permits", json_pack("{s:s, s:s}", "member", member, "permission", permission), &permits,
                           err);
    *ret = json_array_size(json_object_get(permits, "permits")) > 0;
    json_decref(permits);
    return s;
}

po_status work_paper_draw(work_context *w, const po_study *study, const char *member, bool refresher, uint64_t seed,
                          work_acts *ret, po_err *err)
{
    const char *before[PAPERS_BACK * PO_PAPER_QUESTIONS_MOST];
    size_t n_before = 0, drawn[PO_PAPER_QUESTIONS_MOST];
    int64_t minutes = 0;
    bool holds = true;
    *ret = (work_acts){0};
    seed &= (UINT64_C(1) << 49) - 1; /* the book's numbers are whole and below 10^15 */
    po_status s = look_back(w, study, member, before, sizeof before / sizeof before[0], &n_before, err);
    s = s == PO_OK && refresher && study->grants ? holds_permission(w, member, study->grants, &holds, err) : s;
    if (s == PO_OK && !holds) {
        return po_fail_at(err, PO_E_CONFLICT, "kind", 0, 0,
                          "a refresher is for those who hold %s; the whole paper is due", study->grants);
    }
    s = s == PO_OK ? minutes_of(w, study, member, refresher, &minutes, err) : s;
    if (s != PO_OK) {
        return s;
    }
    size_t n = po_paper_draw(study, refresher, seed, before, n_before, drawn);
    json_t *ids = json_array();
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(ids, json_string(study->questions[drawn[i]].id));
    }
    json_t *body = json_pack("{s:s, s:s, s:s, s:I, s:o, s:s, s:i}", "member", member, "study", study->id, "kind",
                             refresher ? "refresher" : "full", "seed", (json_int_t)seed, "questions", ids,
                             "study_sha256", study->sha256, "pass_permille", study->pass_permille);
    if (body && minutes > 0) {
        json_object_set_new(body, "until", json_integer(w->now_ms + minutes * 60000));
    }
    return work_training_act(ret, "paper-draw", body) ? PO_OK : no_memory(err);
}

/* ---- answers as shown, and as the book has them ---- */

bool work_answer_from_shown(work_context *w, const po_question *q, uint64_t seed, const char *shown, const char **ret)
{
    size_t order[PO_STUDY_OPTIONS_MOST];
    po_text t;
    if (q->kind == PO_ASK_NUMBER || q->kind == PO_ASK_PLACE) {
        *ret = shown;
        return true;
    }
    po_paper_options(q, seed, order);
    po_text_init(&t, w->arena);
    for (const char *p = shown; *p; p++) {
        size_t place = (size_t)(*p - 'a');
        if (*p < 'a' || place >= q->n_options || (p[1] && p[1] != ',') || (p[1] == ',' && !p[2])) {
            return false;
        }
        po_text_printf(&t, "%s%zu", t.n ? "," : "", order[place] + 1);
        p += p[1] == ',';
    }
    *ret = t.n && !t.failed ? t.data : NULL;
    return *ret != NULL;
}

const char *work_answer_as_shown(work_context *w, const po_question *q, uint64_t seed, const char *answer)
{
    size_t order[PO_STUDY_OPTIONS_MOST];
    po_text t;
    if (q->kind == PO_ASK_NUMBER || q->kind == PO_ASK_PLACE || !answer) {
        return answer;
    }
    po_paper_options(q, seed, order);
    po_text_init(&t, w->arena);
    for (const char *p = answer; *p;) {
        size_t number = strtoul(p, NULL, 10);
        for (size_t place = 0; place < q->n_options; place++) {
            if (order[place] + 1 == number) {
                po_text_printf(&t, "%s%c", t.n ? "," : "", (int)('a' + place));
            }
        }
        p += strcspn(p, ",");
        p += *p == ',';
    }
    return t.failed || !t.n ? "" : t.data;
}

/* ---- answering ---- */

static po_status open_or_not(const json_t *paper, po_err *err)
{
    const char *state = work_text(paper, "state");
    return strcmp(state, "open") == 0 ? PO_OK
                                      : po_fail_at(err, PO_E_CONFLICT, "paper", 0, 0,
                                                   strcmp(state, "void") == 0 ? "this paper was made void"
                                                                              : "this paper was handed in already");
}

static bool has_question(const json_t *list, const char *id, const char *key)
{
    size_t i;
    const json_t *q;
    json_array_foreach(list, i, q)
    {
        const char *is = key ? work_text(q, key) : json_string_value(q);
        if (is && strcmp(is, id) == 0) {
            return true;
        }
    }
    return false;
}

/* The question and its answer by the file's numbers. */
static po_status take_answer(work_context *w, const po_study *study, const json_t *paper, const char *question,
                             const char *shown, const po_question **ret_q, const char **ret, po_err *err)
{
    const po_question *q = po_study_question(study, question);
    if (!q || !has_question(json_object_get(paper, "questions"), question, "question")) {
        return po_fail_at(err, PO_E_NOTFOUND, "question", 0, 0, "this paper has no such question");
    }
    if (!work_answer_from_shown(w, q, (uint64_t)work_int(paper, "seed", 0), shown, ret)) {
        return po_fail_at(err, PO_E_RANGE, "answer", 0, 0, "expected letters of options, with commas between");
    }
    *ret_q = q;
    return po_answer_holds(q, *ret, err);
}

po_status work_paper_answer(work_context *w, const po_study *study, const json_t *paper, const char *question,
                            const char *answer, work_acts *ret, po_err *err)
{
    const po_question *q = NULL;
    const char *kept = NULL;
    int64_t until = work_int(paper, "until_ms", -1);
    *ret = (work_acts){0};
    po_status s = open_or_not(paper, err);
    if (s == PO_OK && until >= 0 && w->now_ms > until + WORK_PAPER_GRACE_MS) {
        return po_fail_at(err, PO_E_CONFLICT, "paper", 0, 0, "the time was over at %s: hand it in as it is",
                          work_time_words(w, until));
    }
    s = s == PO_OK ? take_answer(w, study, paper, question, answer, &q, &kept, err) : s;
    if (s != PO_OK) {
        return s;
    }
    return work_training_act(ret, "paper-answer",
                             json_pack("{s:I, s:s, s:s}", "paper", (json_int_t)work_int(paper, "paper", 0), "question",
                                       q->id, "answer", kept))
               ? PO_OK
               : no_memory(err);
}

po_status work_paper_hand_in(work_context *w, const po_study *study, const json_t *paper, work_acts *ret, po_err *err)
{
    json_t *right = json_array(), *wrong = json_array(), *teach = json_array();
    const json_t *list = json_object_get(paper, "questions"), *row;
    size_t i, n = json_array_size(list);
    int64_t until = work_int(paper, "until_ms", -1);
    *ret = (work_acts){0};
    po_status s = open_or_not(paper, err);
    json_array_foreach(list, i, row)
    {
        const char *id = work_text(row, "question");
        const po_question *q = po_study_question(study, id);
        po_mark mark = q ? po_answer_mark(q, json_string_value(json_object_get(row, "answer"))) : PO_MARK_NONE;
        if (mark != PO_MARK_NONE) {
            json_array_append_new(mark == PO_MARK_RIGHT ? right : wrong, json_string(id));
        }
        if (q && q->hazard && mark != PO_MARK_RIGHT) {
            json_array_append_new(teach, json_string(id));
        }
    }
    bool met = n > 0 && (int64_t)json_array_size(right) * 1000 >= work_int(paper, "pass_permille", 1000) * (int64_t)n;
    json_t *body = s == PO_OK ? json_pack("{s:I, s:b, s:b}", "paper", (json_int_t)work_int(paper, "paper", 0), "passed",
                                          (int)met, "late", until >= 0 && w->now_ms > until + WORK_PAPER_GRACE_MS)
                              : NULL;
    const struct {
        const char *key;
        json_t *of;
    } lists[] = {{"right", right}, {"wrong", wrong}, {"teach", teach}};
    for (size_t k = 0; k < 3; k++) {
        if (body && json_array_size(lists[k].of) > 0) {
            json_object_set(body, lists[k].key, lists[k].of);
        }
    }
    bool passed = met && json_array_size(teach) == 0;
    json_decref(right);
    json_decref(wrong);
    json_decref(teach);
    if (s == PO_OK && !work_training_act(ret, "paper-hand-in", body)) {
        s = no_memory(err);
    }
    return s == PO_OK && passed
               ? work_training_grant(w, study, work_text(paper, "member"), work_int(paper, "paper", 0), NULL, ret, err)
               : s;
}

po_status work_paper_teach(work_context *w, const po_study *study, const json_t *paper, const char *question,
                           const char *answer, bool *ret_right, work_acts *ret, po_err *err)
{
    const po_question *q = NULL;
    const char *kept = NULL;
    const json_t *left = json_object_get(paper, "teach");
    *ret = (work_acts){0};
    *ret_right = false;
    if (strcmp(work_text(paper, "state"), "handed-in") != 0 || !has_question(left, question, NULL)) {
        return po_fail_at(err, PO_E_NOTFOUND, "question", 0, 0, "this question is not to be taught on this paper");
    }
    po_status s = take_answer(w, study, paper, question, answer, &q, &kept, err);
    if (s != PO_OK || po_answer_mark(q, kept) != PO_MARK_RIGHT) {
        return s;
    }
    *ret_right = true;
    if (!work_training_act(
            ret, "paper-taught",
            json_pack("{s:I, s:s}", "paper", (json_int_t)work_int(paper, "paper", 0), "question", q->id))) {
        return no_memory(err);
    }
    bool last = json_array_size(left) == 1 && json_is_true(json_object_get(paper, "met"));
    return last ? work_training_grant(w, study, work_text(paper, "member"), work_int(paper, "paper", 0), NULL, ret, err)
                : PO_OK;
}

/* ---- as it is shown ---- */

static json_t *picture_of(const po_study *study, const po_study_picture *p)
{
    return p->file
               ? json_pack("{s:s, s:s, s:s}", "study", study->id, "file", p->file, "shows", p->shows ? p->shows : "")
               : json_null();
}

/* What is asked, without what is right. */
static json_t *asked(const po_study *study, const po_question *q, uint64_t seed)
{
    size_t order[PO_STUDY_OPTIONS_MOST];
    json_t *o = json_pack("{s:s, s:s, s:s, s:o}", "question", q->id, "kind", po_question_kind_name(q->kind), "ask",
                          q->ask, "picture", picture_of(study, &q->picture));
    if (q->n_options > 0) {
        json_t *options = json_array();
        po_paper_options(q, seed, order);
        for (size_t i = 0; i < q->n_options; i++) {
            char letter[2] = {(char)('a' + i), 0};
            json_array_append_new(options, json_pack("{s:s, s:s}", "option", letter, "words", q->options[order[i]]));
        }
        json_object_set_new(o, "options", options);
    }
    if (q->kind == PO_ASK_NUMBER) {
        json_object_set_new(o, "unit", json_string(q->unit));
    }
    return o;
}

po_status work_paper_show(work_context *w, const po_study *study, const json_t *paper, json_t **ret, po_err *err)
{
    const json_t *list = json_object_get(paper, "questions"), *row, *teach = json_object_get(paper, "teach");
    bool in = strcmp(work_text(paper, "state"), "handed-in") == 0;
    uint64_t seed = (uint64_t)work_int(paper, "seed", 0);
    json_t *questions = json_array();
    size_t i;
    json_array_foreach(list, i, row)
    {
        const char *id = work_text(row, "question"), *answer = json_string_value(json_object_get(row, "answer"));
        const po_question *q = po_study_question(study, id);
        json_t *o = q ? asked(study, q, seed) : json_pack("{s:s, s:b}", "question", id, "gone", 1);
        const char *shown = q && answer ? work_answer_as_shown(w, q, seed, answer) : NULL;
        json_object_set_new(o, "answer", shown ? json_string(shown) : json_null());
        if (in && q) {
            bool left = has_question(teach, id, NULL);
            const char *right = po_answer_right(q, w->arena);
            json_object_set(o, "mark", json_object_get(row, "mark"));
            json_object_set_new(o, "hazard", json_boolean(q->hazard));
            json_object_set_new(o, "teach", json_boolean(left));
            json_object_set_new(o, "why", json_string(q->why));
            json_object_set_new(o, "lesson", q->lesson ? json_string(q->lesson) : json_null());
            if (!left) { /* what is taught again is asked once more first */
                json_object_set_new(o, "right", json_string(right ? work_answer_as_shown(w, q, seed, right) : ""));
                if (q->kind == PO_ASK_NUMBER) {
                    json_object_set_new(o, "within", json_real(q->within));
                }
            }
        }
        json_array_append_new(questions, o);
    }
    *ret = json_pack("{s:s, s:O, s:O, s:s, s:s, s:O, s:O, s:O, s:O, s:O, s:O, s:O, s:O, s:O, s:I, s:o, s:b}", "format",
                     "proveout/sitting/1", "paper", json_object_get(paper, "paper"), "member",
                     json_object_get(paper, "member"), "study", study->id, "title", study->title, "kind",
                     json_object_get(paper, "kind"), "state", json_object_get(paper, "state"), "drawn_ms",
                     json_object_get(paper, "drawn_ms"), "until_ms", json_object_get(paper, "until_ms"), "handed_ms",
                     json_object_get(paper, "handed_ms"), "points", json_object_get(paper, "points"), "most",
                     json_object_get(paper, "most"), "met", json_object_get(paper, "met"), "passed",
                     json_object_get(paper, "passed"), "now_ms", (json_int_t)w->now_ms, "questions", questions,
                     "changed", strcmp(work_text(paper, "study_sha256"), study->sha256) != 0);
    return *ret ? PO_OK : no_memory(err);
}

/* Studies, papers and sign-offs over the network. SPDX-License-Identifier: Apache-2.0
 *
 * What is right leaves the server only with a paper that is handed in, marks are worked out here, and a member's acts on a paper are booked by the
 * server in the desk's name: the book lets nobody mark their own. */
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "desk/at_desk.h"
#include "work/training.h"

po_status desk_studies_open(po_desk *desk, po_err *err)
{
    po_err own;
    if (!desk->options.studies) {
        return PO_OK;
    }
    desk->studies_arena = po_arena_new(0);
    desk->studies = desk->studies_arena ? po_arena_zeros(desk->studies_arena, 1, sizeof *desk->studies) : NULL;
    if (!desk->studies) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status s = work_studies_read(desk->options.studies, desk->options.shop, NULL, 0, desk->studies_arena,
                                    desk->studies, &own);
    if (s != PO_OK) {
        desk->studies = NULL; /* the arena keeps it */
        desk_log(desk, json_pack("{s:s, s:s}", "what", "studies", "why", own.msg));
    } else if (desk->studies->n_faults > 0) {
        desk_log(desk, json_pack("{s:s, s:i, s:s}", "what", "studies", "faults", (int)desk->studies->n_faults, "first",
                                 desk->studies->faults[0]));
    }
    return s == PO_E_NOMEM ? po_fail(err, s, "memory ran out") : PO_OK;
}

/* The study of that id; NULL with the reply written. */
static const po_study *study_of(po_desk *desk, desk_request *rq, desk_reply *rp, const char *id)
{
    const po_study *study = desk->studies ? work_study(desk->studies, id) : NULL;
    if (!study) {
        desk_problem(rq, rp, 404, "study", "there is no study of that name here");
    }
    return study;
}

static json_t *picture_of(const po_study_picture *p)
{
    return p->file ? json_pack("{s:s, s:s}", "file", p->file, "shows", p->shows ? p->shows : "") : json_null();
}

static int asked_of(const po_study *s)
{
    int n = 0;
    for (size_t i = 0; i < s->n_topics; i++) {
        n += s->topics[i].questions;
    }
    return n;
}

void desk_do_studies(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    json_t *list = json_array();
    for (size_t i = 0; desk->studies && i < desk->studies->n; i++) {
        const po_study *s = desk->studies->list[i];
        json_array_append_new(list, json_pack("{s:s, s:s, s:s?, s:i, s:i, s:i, s:i, s:i, s:i}", "study", s->id, "title",
                                              s->title, "grants", s->grants, "lessons", (int)s->n_lessons, "asked",
                                              asked_of(s), "minutes", s->minutes, "pass_permille", s->pass_permille,
                                              "pause_hours", s->pause_hours, "steps", (int)s->n_practice));
    }
    desk_reply_json(rq, rp, json_pack("{s:s, s:o}", "format", "proveout/studies/1", "studies", list));
}

void desk_do_study(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const po_study *s = study_of(desk, rq, rp, rq->name);
    json_t *lessons = json_array(), *steps = json_array();
    for (size_t i = 0; s && i < s->n_lessons; i++) {
        const po_lesson *l = &s->lessons[i];
        json_t *see = json_array();
        for (size_t k = 0; k < l->n_see; k++) {
            json_array_append_new(see, json_string(l->see[k]));
        }
        json_array_append_new(lessons, json_pack("{s:s, s:s, s:s, s:o, s:o}", "lesson", l->id, "title", l->title,
                                                 "text", l->text, "picture", picture_of(&l->picture), "see", see));
    }
    for (size_t i = 0; s && i < s->n_practice; i++) {
        json_array_append_new(steps, json_pack("{s:s, s:s, s:s?}", "step", s->practice[i].id, "says",
                                               s->practice[i].says, "caution", s->practice[i].caution));
    }
    if (s) {
        desk_reply_json(rq, rp,
                        json_pack("{s:s, s:s, s:s, s:s?, s:i, s:i, s:i, s:i, s:O, s:O}", "format", "proveout/study/1",
                                  "study", s->id, "title", s->title, "grants", s->grants, "asked", asked_of(s),
                                  "minutes", s->minutes, "pass_permille", s->pass_permille, "pause_hours",
                                  s->pause_hours, "lessons", lessons, "steps", steps));
    }
    json_decref(lessons);
    json_decref(steps);
}

void desk_do_study_picture(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const po_study *s = study_of(desk, rq, rp, rq->name);
    const char *file = json_string_value(json_object_get(rq->json, "file"));
    char *bytes = NULL;
    size_t n = 0;
    po_err err;
    if (!s) {
        return;
    }
    po_status status = work_study_picture(desk->studies, s, file, &bytes, &n, &err);
    if (status != PO_OK) {
        desk_problem(rq, rp, status == PO_E_NOMEM ? 503 : 404, "file", "the study has no such picture");
        return;
    }
    rp->body = po_arena_text_n(rq->arena, bytes, n);
    free(bytes);
    rp->n = rp->body ? n : 0;
    rp->status = 200;
    rp->type = strcmp(file + strlen(file) - 4, ".svg") == 0 ? "image/svg+xml" : "image/png";
    if (!rp->body) {
        desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
    }
}

/* ---- papers ---- */

/* The paper of the path, if whoever asks may see it: their own, or any for the desk. NULL with the reply written; the caller's. */
static json_t *paper_of(po_desk *desk, desk_request *rq, desk_reply *rp, work_context *w, const po_study **ret_study,
                        bool own_only)
{
    char *end = NULL;
    long long number = strtoll(rq->name, &end, 10);
    json_t *paper = NULL;
    po_err err;
    if (number < 1 || *end) {
        desk_problem(rq, rp, 404, "paper", "there is no such paper");
        return NULL;
    }
    if (!desk_context_begin(desk, rq, rp, w)) {
        return NULL;
    }
    po_status s = work_ask(w, "paper", json_pack("{s:I}", "paper", (json_int_t)number), &paper, &err);
    bool own = s == PO_OK && strcmp(work_text(paper, "member"), rq->who.member) == 0;
    if (s == PO_E_NOTFOUND || (s == PO_OK && !own && (own_only || rq->who.role < PO_STANDS_AS_DESK))) {
        desk_problem(rq, rp, 404, "paper",
                     "there is no such paper of yours"); /* whether there is one of another is nobody's business */
        json_decref(paper);
        return NULL;
    }
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
        return NULL;
    }
    *ret_study = study_of(desk, rq, rp, work_text(paper, "study"));
    if (!*ret_study) {
        json_decref(paper);
        return NULL;
    }
    return paper;
}

static void reply_sitting(po_desk *desk, desk_request *rq, desk_reply *rp, work_context *w, const po_study *study,
                          int64_t number, const char *key, json_t *value)
{
    json_t *paper = NULL, *view = NULL;
    po_err err;
    po_status s = work_ask(w, "paper", json_pack("{s:I}", "paper", (json_int_t)number), &paper, &err);
    s = s == PO_OK ? work_paper_show(w, study, paper, &view, &err) : s;
    json_decref(paper);
    if (s != PO_OK) {
        json_decref(value);
        desk_said_no(desk, rq, rp, &err);
        return;
    }
    if (key) {
        json_object_set_new(view, key, value);
    }
    desk_reply_json(rq, rp, view);
}

void desk_do_papers_mine(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *papers = NULL, *practice = NULL;
    po_err err;
    if (!desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    po_status s = work_ask(&w, "papers", json_pack("{s:s}", "member", rq->who.member), &papers, &err);
    s = s == PO_OK ? work_ask(&w, "practice", json_pack("{s:s}", "member", rq->who.member), &practice, &err) : s;
    if (s == PO_OK) {
        json_object_set_new(papers, "format", json_string("proveout/papers-mine/1"));
        json_object_set(papers, "practice", json_object_get(practice, "practice"));
        desk_reply_json(rq, rp, json_incref(papers));
    } else {
        desk_said_no(desk, rq, rp, &err);
    }
    json_decref(papers);
    json_decref(practice);
}

void desk_do_paper_draw(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const po_study *study = study_of(desk, rq, rp, json_string_value(json_object_get(rq->json, "study")));
    work_context w;
    work_acts acts = {0};
    uint64_t seed = 0;
    json_t *papers = NULL;
    po_err err;
    if (!study || !desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    if (getrandom(&seed, sizeof seed, 0) != (ssize_t)sizeof seed) {
        desk_problem(rq, rp, 503, NULL, "this system gives no random numbers");
        return;
    }
    po_status s = work_paper_draw(&w, study, rq->who.member, json_is_true(json_object_get(rq->json, "refresher")), seed,
                                  &acts, &err);
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    } else {
        desk_book_acts_by(desk, rq, rp, "desk", &acts, NULL);
    }
    work_acts_done(&acts);
    if (s == PO_OK && rp->status == 200) {
        s = work_ask(&w, "papers",
                     json_pack("{s:s, s:s, s:s, s:i}", "member", rq->who.member, "study", study->id, "state", "open",
                               "limit", 1),
                     &papers, &err);
        int64_t number = work_int(json_array_get(json_object_get(papers, "papers"), 0), "paper", 0);
        json_decref(papers);
        if (s == PO_OK) {
            reply_sitting(desk, rq, rp, &w, study, number, NULL, NULL);
        } else {
            desk_said_no(desk, rq, rp, &err);
        }
    }
}

void desk_do_paper_show(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    const po_study *study = NULL;
    json_t *paper = paper_of(desk, rq, rp, &w, &study, false), *view = NULL;
    po_err err;
    if (!paper) {
        return;
    }
    if (work_paper_show(&w, study, paper, &view, &err) == PO_OK) {
        desk_reply_json(rq, rp, view);
    } else {
        desk_said_no(desk, rq, rp, &err);
    }
    json_decref(paper);
}

void desk_do_paper_answer(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    work_acts acts = {0};
    const po_study *study = NULL;
    json_t *paper = paper_of(desk, rq, rp, &w, &study, true);
    po_err err;
    if (!paper) {
        return;
    }
    po_status s = work_paper_answer(&w, study, paper, json_string_value(json_object_get(rq->json, "question")),
                                    json_string_value(json_object_get(rq->json, "answer")), &acts, &err);
    if (s == PO_OK) {
        desk_book_acts_by(desk, rq, rp, "desk", &acts, json_pack("{s:I}", "now_ms", (json_int_t)w.now_ms));
    } else {
        desk_said_no(desk, rq, rp, &err);
    }
    work_acts_done(&acts);
    json_decref(paper);
}

void desk_do_paper_hand_in(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    work_acts acts = {0};
    const po_study *study = NULL;
    json_t *paper = paper_of(desk, rq, rp, &w, &study, true);
    po_err err;
    if (!paper) {
        return;
    }
    po_status s = work_paper_hand_in(&w, study, paper, &acts, &err);
    bool granted = acts.n > 1;
    if (s == PO_OK) {
        desk_book_acts_by(desk, rq, rp, "desk", &acts, NULL);
    } else {
        desk_said_no(desk, rq, rp, &err);
    }
    if (s == PO_OK && rp->status == 200) {
        reply_sitting(desk, rq, rp, &w, study, work_int(paper, "paper", 0), "granted",
                      granted ? json_string(study->grants) : json_null());
    }
    work_acts_done(&acts);
    json_decref(paper);
}

void desk_do_paper_teach(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    work_acts acts = {0};
    const po_study *study = NULL;
    json_t *paper = paper_of(desk, rq, rp, &w, &study, true);
    bool right = false;
    po_err err;
    if (!paper) {
        return;
    }
    po_status s = work_paper_teach(&w, study, paper, json_string_value(json_object_get(rq->json, "question")),
                                   json_string_value(json_object_get(rq->json, "answer")), &right, &acts, &err);
    bool granted = acts.n > 1;
    rp->status = 200;
    if (s == PO_OK && right) {
        desk_book_acts_by(desk, rq, rp, "desk", &acts, NULL);
    } else if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    }
    if (s == PO_OK && rp->status == 200) {
        json_t *said = json_pack("{s:b, s:s?}", "right", (int)right, "granted", granted ? study->grants : NULL);
        reply_sitting(desk, rq, rp, &w, study, work_int(paper, "paper", 0), "taught", said);
    }
    work_acts_done(&acts);
    json_decref(paper);
}

/* ---- sign-offs ---- */

void desk_do_signoff(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *waiting = NULL, *unused = NULL;
    static const work_studies none;
    po_err err;
    if (!desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    po_status s = work_signoff_waiting(&w, desk->studies ? desk->studies : &none, &waiting, &err);
    s = s == PO_OK ? work_permits_unused(&w, &unused, &err) : s;
    if (s == PO_OK) {
        json_object_set(waiting, "unused", json_object_get(unused, "unused"));
        desk_reply_json(rq, rp, json_incref(waiting));
    } else {
        desk_said_no(desk, rq, rp, &err);
    }
    json_decref(waiting);
    json_decref(unused);
}

void desk_do_signoff_step(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const json_t *b = rq->json;
    const po_study *study = study_of(desk, rq, rp, json_string_value(json_object_get(b, "study")));
    const po_machine *machine = po_shop_machine(desk->options.shop, json_string_value(json_object_get(b, "machine")));
    work_context w;
    work_acts acts = {0};
    po_err err;
    if (!study || !desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    if (!machine) {
        desk_problem(rq, rp, 422, "machine", "the shop has no machine of that name");
        return;
    }
    po_status s = work_practice_sign(&w, study, json_string_value(json_object_get(b, "member")),
                                     json_string_value(json_object_get(b, "step")), machine->name, rq->who.member,
                                     json_string_value(json_object_get(b, "note")), &acts, &err);
    if (s == PO_OK) {
        bool granted = acts.n > 1;
        desk_book_acts(desk, rq, rp, &acts, json_pack("{s:s?}", "granted", granted ? study->grants : NULL));
    } else {
        desk_said_no(desk, rq, rp, &err);
    }
    work_acts_done(&acts);
}

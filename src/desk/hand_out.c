/* Hand-out over the network: a member's job on each machine, best first. SPDX-License-Identifier: Apache-2.0
 *
 * Figures are the server's own: the file is proved here, and judged anew for whoever takes it. */
#include <string.h>

#include "desk/at_desk.h"
#include "desk/handing.h"
#include "desk/opening.h"
#include "work/stick_look.h"

enum { WAIT_S = 25 };

bool desk_handing_begin(desk_handing *h, po_desk *desk, desk_request *rq, desk_reply *rp)
{
    po_err err;
    *h = (desk_handing){.desk = desk, .rq = rq, .rp = rp};
    po_status s = work_begin(&h->work, rq->arena, desk_shop_now(desk), NULL, desk->options.ledger, desk_now_ms_of(desk),
                             &err);
    if (s != PO_OK) {
        desk_problem_of(rq, rp, &err, -1);
        return false;
    }
    h->book = (work_book){.work = &h->work, .member = desk_text(rq->json, "member")};
    return true;
}

void desk_handing_end(desk_handing *h)
{
    if (h->made) {
        desk_proof_give(h->desk, h->made);
        h->made = NULL;
    }
}

/* ---- the proof ---- */

const char *desk_handing_name(const desk_file *file)
{
    return file->name[0] ? file->name : "job.gcode";
}

static void still_proving(desk_handing *h, const desk_standing *st)
{
    json_t *o = json_pack("{s:s, s:s}", "format", "proveout/hand-out/1", "state", desk_state_word(st->state));
    if (o && st->state == DESK_WAITING) {
        json_object_set_new(o, "position", json_integer(st->position));
    } else if (o) {
        json_object_set_new(o, "progress", json_real(st->share));
    }
    desk_reply_json(h->rq, h->rp, o);
    if (!h->rq->until_s) {
        h->rq->until_s = desk_seconds() + WAIT_S;
    }
    h->rp->later = true;
}

/* The file proved on all machines as they are fitted and loaded now; false with the reply written, or put off. */
bool desk_handing_prove(desk_handing *h)
{
    desk_standing st;
    char state[65], client[DESK_CLIENT_MOST];
    po_err err;
    bool later = false;
    desk_client_of(h->rq, client);
    json_t *settings = desk_asked_note(&h->asked);
    po_status s = settings ? desk_book_state(h->desk, "", state, &err) : po_fail(&err, PO_E_NOMEM, "memory ran out");
    s = s == PO_OK ? desk_proof_ask(h->desk, settings, state, client, &st, &err) : s;
    json_decref(settings);
    if (s != PO_OK) {
        h->rp->retry_seconds = 5;
        desk_problem(h->rq, h->rp, s == PO_E_LIMIT ? 429 : s == PO_E_IO ? 507 : 503, NULL, "%s", err.msg);
        return false;
    }
    if (st.state >= DESK_FAILED) {
        desk_problem(h->rq, h->rp, 422, "file", "this file can't be handed out: %s",
                     st.says[0] ? st.says : "proving it was broken off; choose it again");
        return false;
    }
    h->made = st.state == DESK_DONE ? desk_proof_take(h->desk, st.id, client, &later) : NULL;
    if (!h->made) {
        if (st.state == DESK_DONE && !later) {
            desk_problem(h->rq, h->rp, 404, "file", "the file is not kept here (any more); send it first");
            return false;
        }
        st.state = st.state == DESK_DONE ? DESK_COMPUTING : st.state;
        still_proving(h, &st);
        return false;
    }
    memcpy(h->proof, st.id, sizeof h->proof);
    memcpy(h->code, st.code, sizeof h->code);
    return true;
}

/* The proof that the page knows already, where it is in memory; it may hold as it is. */
void desk_handing_known(desk_handing *h, const char *id)
{
    desk_standing st;
    char client[DESK_CLIENT_MOST];
    bool later = false;
    desk_client_of(h->rq, client);
    if (!id || strlen(id) >= DESK_PROOF_ID || !desk_proof_stands(h->desk, id, client, &st) || st.state != DESK_DONE ||
        strcmp(st.sha256, h->asked.file.sha256) != 0) {
        return;
    }
    desk_made *made = desk_proof_take(h->desk, id, client, &later);
    if (made && (!made->jobs || made->n != h->work.shop->n_machines)) {
        desk_proof_give(h->desk, made);
        made = NULL;
    }
    if (made) {
        h->made = made;
        memcpy(h->proof, st.id, sizeof h->proof);
        memcpy(h->code, st.code, sizeof h->code);
    }
}

bool desk_handing_file(desk_handing *h)
{
    json_t *only = json_pack("{s:s}", "file", desk_text(h->rq->json, "file"));
    if (!only) {
        desk_problem(h->rq, h->rp, 503, NULL, "memory ran out; try again");
    }
    bool good = only && desk_asked_read(h->desk, only, &h->asked, h->rq, h->rp);
    json_decref(only);
    if (good && h->asked.file.kind != DESK_JOB) {
        desk_problem(h->rq, h->rp, 422, "file", "a machine runs jobs (G-code), and %.100s is %s",
                     desk_handing_name(&h->asked.file),
                     h->asked.file.kind == DESK_PART ? "a part" : "neither job nor part");
        good = false;
    }
    return good;
}

const po_job_report **desk_handing_reports(desk_handing *h)
{
    const po_job_report **list = po_arena_zeros(h->rq->arena, h->made->n, sizeof(*list));
    for (size_t i = 0; list && i < h->made->n; i++) {
        list[i] = h->made->jobs[i]->report;
    }
    return list;
}

/* What was wished, as the bodies of the act begin. NULL: no memory */
json_t *desk_handing_wishes(const json_t *asked)
{
    static const char *const same[] = {"member", "run", "ticket", "fund", "course", "assignment", "group", "purpose"};
    json_t *o = json_object();
    for (size_t i = 0; o && i < sizeof same / sizeof same[0]; i++) {
        json_t *v = json_object_get(asked, same[i]);
        if (v && !json_is_null(v)) {
            json_object_set(o, same[i], v);
        }
    }
    return o;
}

/* ---- offers ---- */

static json_t *spool_rows(const work_offer *o)
{
    const json_t *body = o->hand.body, *uses = json_object_get(body, "uses"),
                 *tools = json_object_get(o->hand.now, "tools");
    json_t *rows = json_array();
    const po_job_facts *f = &o->hand.proved.proof->report->facts;
    for (size_t i = 0; i < f->n_tools; i++) {
        int tool = f->tools[i].tool;
        int64_t um = (int64_t)(f->tools[i].filament_mm * 1000 + 0.5), left = -1;
        const char *spool = tool == 0 ? desk_text(body, "spool") : NULL, *material = NULL;
        for (size_t k = 0; k < json_array_size(uses); k++) {
            const json_t *use = json_array_get(uses, k);
            spool = work_int(use, "tool", -1) == tool ? desk_text(use, "spool") : spool;
        }
        for (size_t k = 0; k < json_array_size(tools); k++) {
            const json_t *row = json_array_get(tools, k);
            left = work_int(row, "tool", -1) == tool ? work_int(row, "left_mg", -1) : left;
        }
        if (tool >= 0 && tool < PO_MAX_TOOLS && o->hand.proved.materials[tool]) {
            material = o->hand.proved.materials[tool]->name;
        }
        if (um > 0) {
            json_array_append_new(rows, json_pack("{s:i, s:I, s:s?, s:s?, s:o}", "tool", tool, "um", (json_int_t)um,
                                                  "spool", spool, "material", material, "left_mg",
                                                  left < 0 ? json_null() : json_integer(left)));
        }
    }
    return rows;
}

static json_t *asks_of(const work_offer *o)
{
    json_t *asks = json_array();
    if (o->hand.worst >= PO_GRADE_ASK) {
        json_array_append_new(asks, json_string(o->hand.worst == PO_GRADE_STOP ? "leave" : "verdict"));
    }
    if (o->need_um > 0) {
        json_array_append_new(asks, json_string("allowance"));
    }
    return asks;
}

static json_t *offer_note(const work_offer *o)
{
    json_t *row = json_pack("{s:s, s:b}", "machine", o->machine->name, "may", o->may);
    if (!row || !o->may) {
        if (row) {
            json_object_set_new(row, "says", json_string(o->why.msg));
            json_object_set_new(row, "where", json_string(o->why.where));
            static const char *const more[] = {"state", "run", "ends_ms",
                                               "reason"}; /* of the machine, for a page's own words */
            for (size_t i = 0; i < sizeof more / sizeof more[0]; i++) {
                json_t *v = json_object_get(o->hand.now, more[i]);
                json_object_set(row, more[i], v ? v : json_null());
            }
            json_object_set_new(row, "permission",
                                o->machine->permission ? json_string(o->machine->permission) : json_null());
        }
        return row;
    }
    const po_proof *p = o->hand.proved.proof;
    const char *mount = o->machine->stick_mount;
    json_t *more = json_pack(
        "{s:s, s:O, s:o, s:O, s:I, s:O, s:f, s:f, s:I, s:I, s:I, s:s, s:s?, s:s?, s:b, s:o, s:I, s:b, s:b, s:f}",
        "verdict", work_verdict_word(o->hand.worst), "findings", o->hand.found, "asks", asks_of(o), "um",
        json_object_get(o->hand.body, "um"), "mg", (json_int_t)(p->report->facts.filament_g * 1000 + 0.5), "seconds",
        json_object_get(o->hand.body, "seconds"), "low_s", p->seconds.low, "high_s", p->seconds.high, "end_ms",
        (json_int_t)o->end.ms, "end_low_ms", (json_int_t)o->end.low_ms, "end_high_ms", (json_int_t)o->end.high_ms,
        "from", o->end.from, "stick", desk_text(o->hand.body, "stick"), "mount", mount, "mounted",
        mount && work_stick_mounted(mount), "spools", spool_rows(o), "need_um", (json_int_t)o->need_um, "spool_known",
        o->spool_known, "spool_enough", o->spool_enough, "first_layer_s", p->report->facts.first_layer_seconds);
    if (!more) { /* words of the file that are no UTF-8 */
        json_object_set_new(row, "may", json_false());
        json_object_set_new(row, "says", json_string("The file holds words that can't be shown; prove it anew."));
        return row;
    }
    if (work_int(o->hand.now, "part_of", 0) > 0) {
        json_object_set(more, "part_of", json_object_get(o->hand.now, "part_of"));
    }
    json_object_update(row, more);
    json_decref(more);
    return row;
}

/* Who it is, and what could pay beyond the allowance. */
static json_t *payers(desk_handing *h, po_err *err)
{
    json_t *member = NULL, *funds = NULL, *list = json_array();
    const po_shop *shop = h->work.shop;
    po_status s = work_ask(&h->work, "member",
                           json_pack("{s:s, s:s, s:I}", "member", h->book.member, "sha256", h->asked.file.sha256,
                                     "run_limit_um", (json_int_t)(shop->rules.allowance_m_per_run * 1e6 + 0.5)),
                           &member, err);
    s = s == PO_OK ? work_ask(&h->work, "funds", NULL, &funds, err) : s;
    size_t i;
    const json_t *row;
    json_array_foreach(json_object_get(funds, "funds"), i, row)
    {
        if (!work_has(row, "closed_ms")) {
            json_array_append_new(list, json_pack("{s:O*, s:O*, s:O*, s:O*}", "fund", json_object_get(row, "fund"),
                                                  "title", json_object_get(row, "title"), "left_minor",
                                                  json_object_get(row, "left_minor"), "currency",
                                                  json_object_get(row, "currency")));
        }
    }
    json_t *o = s == PO_OK
                    ? json_pack("{s:O?, s:O?, s:O?, s:O?, s:o, s:s, s:I}", "name", json_object_get(member, "name"),
                                "permits", json_object_get(member, "permits"), "balance",
                                json_object_get(member, "balance"), "runs_out", json_object_get(member, "runs_out"),
                                "funds", list, "beyond", po_beyond_name(shop->beyond), "desk_may_waive_um",
                                (json_int_t)(shop->rules.desk_may_waive_m * 1e6 + 0.5))
                    : NULL;
    if (s == PO_OK && !o) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    if (!o) {
        json_decref(list);
    }
    json_decref(member);
    json_decref(funds);
    return o;
}

static void reply_offers(desk_handing *h, const work_offer *offers, json_t *who)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < h->work.shop->n_machines; i++) {
        json_array_append_new(rows, offer_note(&offers[i]));
    }
    json_t *o = json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:o, s:o, s:I, s:f}", "format", "proveout/hand-out/1",
                          "state", "done", "member", h->book.member, "file", h->asked.file.sha256, "name",
                          desk_handing_name(&h->asked.file), "proof", h->proof, "slip", h->code, "who", who, "offers",
                          rows, "now_ms", (json_int_t)h->work.now_ms, "watch_minutes",
                          h->work.shop->rules.watch_minutes);
    desk_reply_json(h->rq, h->rp, o);
}

/* False: the proof does not hold any more. */
static bool try_offers(desk_handing *h)
{
    size_t n = h->work.shop->n_machines;
    work_offer *offers = po_arena_zeros(h->rq->arena, n, sizeof *offers);
    const po_job_report **reports = desk_handing_reports(h);
    json_t *wishes = desk_handing_wishes(h->rq->json), *who;
    bool anew = false;
    po_err err;
    po_status s = offers && reports && wishes ? PO_OK : po_fail(&err, PO_E_NOMEM, "memory ran out");
    s = s == PO_OK ? work_offers(&h->book, reports, desk_handing_name(&h->asked.file), wishes, h->rq->arena, offers,
                                 &anew, &err)
                   : s;
    json_decref(wishes);
    if (s != PO_OK) {
        desk_said_no(h->desk, h->rq, h->rp, &err);
        return true;
    }
    if (!anew && (who = payers(h, &err))) {
        reply_offers(h, offers, who);
    } else if (!anew) {
        desk_said_no(h->desk, h->rq, h->rp, &err);
    }
    for (size_t i = 0; i < n; i++) {
        work_hand_out_done(&offers[i].hand);
    }
    return !anew;
}

void desk_do_hand_out(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_handing h;
    if (!desk_handing_begin(&h, desk, rq, rp) || !desk_handing_file(&h)) {
        return;
    }
    desk_handing_known(&h, desk_text(rq->json, "proof"));
    bool done = h.made && try_offers(&h);
    desk_handing_end(&h);
    for (int tries = 0; !done && tries < 2 && desk_handing_prove(&h); tries++) {
        done = try_offers(&h);
        desk_handing_end(&h);
        if (!done && tries == 1) { /* somebody changes machines as fast as we look */
            rp->retry_seconds = 1;
            desk_problem(rq, rp, 503, NULL, "the machines are being changed just now; ask again");
        }
    }
}

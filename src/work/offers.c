/* Which machine a member's job goes to: every machine held against book and proof, best first. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "work/hand_out.h"

/* What weighs more than all that stands below it. */
enum {
    RANK_CAN_NOT = 10000,
    RANK_STOP = 1000,
    RANK_ASK = 200,
    RANK_NEED = 100, /* filament beyond the allowance: mostly the same on all machines */
    RANK_SPOOL_SHORT = 50,
    RANK_SPOOL_UNKNOWN = 10,
    RANK_NO_STICK = 5
};

bool work_report_holds(const po_job_report *report, const work_fitted *fitted, const po_shop *shop)
{
    const po_machine *was = report->machine, *is = fitted->machine;
    bool same = was->n_nozzles == is->n_nozzles && strcmp(was->name, is->name) == 0;
    for (size_t i = 0; same && i < is->n_nozzles && i < PO_MAX_TOOLS; i++) {
        same = was->nozzles[i].diameter_mm == is->nozzles[i].diameter_mm &&
               report->materials[i] == work_material(shop, fitted, i);
    }
    return same;
}

static bool has_finding(const json_t *found, const char *name)
{
    for (size_t i = 0; i < json_array_size(found); i++) {
        if (strcmp(work_text(json_array_get(found, i), "name"), name) == 0) {
            return true;
        }
    }
    return false;
}

/* What no allowance and no waiver covers, where no fund pays. */
static po_status need_of(work_offer *o, po_err *err)
{
    const work_hand_out *h = &o->hand;
    json_t *balance = NULL;
    o->need_um = 0;
    if (*work_text(h->body, "fund") || *work_text(h->reservation, "fund")) {
        return PO_OK;
    }
    po_status s = work_ask(h->book->work, "balance",
                           json_pack("{s:s, s:s, s:O}", "member", h->book->member, "sha256",
                                     work_text(h->body, "sha256"), "run_limit_um",
                                     json_object_get(h->body, "run_limit_um")),
                           &balance, err);
    if (s == PO_OK && work_has(balance, "one_run_um")) {
        int64_t need = work_int(h->body, "um", 0) - work_int(balance, "one_run_um", 0);
        o->need_um = need > 0 ? need : 0;
    }
    json_decref(balance);
    return s;
}

static bool spools_known(const json_t *body)
{
    const json_t *uses = json_object_get(body, "uses");
    bool known = json_object_get(body, "spool") || json_array_size(uses) > 0;
    for (size_t i = 0; i < json_array_size(uses); i++) {
        known = known && json_object_get(json_array_get(uses, i), "spool");
    }
    return known;
}

/* The machine can go out: the proof in the light of now. */
static po_status take(work_offer *o, const po_job_report *report, const char *file, po_arena *arena, po_err *err)
{
    work_hand_out *h = &o->hand;
    work_book *book = h->book;
    work_fitted fitted;
    po_status s = work_book_fitted(book, h->machine, &fitted, err);
    if (s != PO_OK) {
        return s;
    }
    work_proved *p = &h->proved;
    p->machine = h->machine;
    p->context = (po_proof_context){.shop = book->work->shop, .spool_g = NAN, .allowance_left_m = NAN};
    for (size_t k = 0; k < report->n_materials; k++) {
        p->materials[k] = report->materials[k];
    }
    s = work_book_context(book, &fitted, report->sha256, &p->context, err);
    s = s == PO_OK ? work_book_judge(book, report, file, &p->context, arena, &p->proof, err) : s;
    work_fitted_done(&fitted);
    s = s == PO_OK ? work_hand_out_take(h, true, arena, err) : s;
    s = s == PO_OK ? work_hand_out_stick(h, err) : s;
    s = s == PO_OK ? work_hand_out_beyond(h, err) : s;
    s = s == PO_OK ? work_hand_out_figures(h, true, err) : s;
    s = s == PO_OK ? need_of(o, err) : s;
    if (s != PO_OK) {
        return s;
    }
    int64_t seconds = work_int(h->body, "seconds", 0);
    o->spool_known = spools_known(h->body);
    o->spool_enough = !has_finding(h->found, "spool-short");
    o->stick_known = json_object_get(h->body, "stick") != NULL;
    o->rank = (h->worst == PO_GRADE_STOP  ? RANK_STOP
               : h->worst == PO_GRADE_ASK ? RANK_ASK
                                          : 0) +
              (o->need_um > 0 ? RANK_NEED : 0) + (o->spool_enough ? 0 : RANK_SPOOL_SHORT) +
              (o->spool_known ? 0 : RANK_SPOOL_UNKNOWN) + (o->stick_known ? 0 : RANK_NO_STICK);
    return work_book_end(book, h->machine->name, p->proof->recipe ? p->proof->recipe->name : NULL, seconds,
                         book->work->now_ms + 1000 * seconds, &o->end, err);
}

static int by_rank(const void *a, const void *b)
{
    const work_offer *x = a, *y = b;
    if (x->rank != y->rank) {
        return x->rank < y->rank ? -1 : 1;
    }
    if (x->may && y->may && x->end.ms != y->end.ms) {
        return x->end.ms < y->end.ms ? -1 : 1;
    }
    return (x->machine > y->machine) - (x->machine < y->machine); /* the shop's order: one array */
}

/* One machine; *ret_anew where its report does not hold any more. */
static po_status offer(work_offer *o, const po_job_report *report, const char *file, po_arena *arena, bool *ret_anew,
                       po_err *err)
{
    work_hand_out *h = &o->hand;
    po_err why;
    po_status s = work_hand_out_may(h, true, &why);
    o->may = s == PO_OK;
    o->rank = RANK_CAN_NOT;
    if (s == PO_E_CONFLICT && !h->book->work->asked) {
        o->why = why;
        return PO_OK;
    }
    if (s != PO_OK) {
        if (err) {
            *err = why;
        }
        return s;
    }
    work_fitted fitted;
    s = work_book_fitted(h->book, h->machine, &fitted, err);
    bool holds = s == PO_OK && work_report_holds(report, &fitted, h->book->work->shop);
    if (s == PO_OK) {
        work_fitted_done(&fitted);
    }
    *ret_anew = *ret_anew || (s == PO_OK && !holds);
    return s == PO_OK && holds ? take(o, report, file, arena, err) : s;
}

po_status work_offer_one(work_book *book, const po_machine *machine, const po_job_report *report, const char *file,
                         const json_t *wishes, po_arena *arena, work_offer *ret, bool *ret_anew, po_err *err)
{
    json_t *body = json_deep_copy(wishes);
    bool anew = false;
    *ret = (work_offer){.machine = machine};
    work_hand_out_begin(&ret->hand, book, body);
    ret->hand.machine = machine;
    ret->hand.file = file;
    bool memory = body && ret->hand.found && json_object_set_new(body, "machine", json_string(machine->name)) == 0;
    po_status s = memory ? offer(ret, report, file, arena, &anew, err) : po_fail(err, PO_E_NOMEM, "memory ran out");
    if (s != PO_OK) {
        work_hand_out_done(&ret->hand);
        return s;
    }
    *ret_anew = anew;
    return PO_OK;
}

po_status work_offers(work_book *book, const po_job_report *const *reports, const char *file, const json_t *wishes,
                      po_arena *arena, work_offer *ret, bool *ret_anew, po_err *err)
{
    const po_shop *shop = book->work->shop;
    po_status s = PO_OK;
    size_t n = 0;
    bool anew = false;
    while (s == PO_OK && n < shop->n_machines) {
        bool one = false;
        s = work_offer_one(book, &shop->machines[n], reports[n], file, wishes, arena, &ret[n], &one, err);
        anew = anew || one;
        n += s == PO_OK;
    }
    if (s != PO_OK) {
        for (size_t i = 0; i < n; i++) {
            work_hand_out_done(&ret[i].hand);
        }
        return s;
    }
    qsort(ret, n, sizeof *ret, by_rank);
    *ret_anew = anew;
    return PO_OK;
}

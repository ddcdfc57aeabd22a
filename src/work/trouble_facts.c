/* What proof and book know of a trouble before anybody looks: the proof's findings, the spool's history, the machine's. SPDX-License-Identifier: Apache-2.0 */
#include "work/trouble_facts.h"

#include <string.h>

enum {
    LOOKED_AT = 100, /* latest runs of the shop */
    MACHINES_OWN = 6,
    TOGETHER_MS = 10 * 60000,
    SPOOL_END_MG = 15000
};
static const int64_t day_ms = INT64_C(86400000);

typedef struct facts {
    work_context *w;
    const po_why *why;
    size_t *list, n;
} facts;

static void add(facts *f, const char *id)
{
    size_t which = po_why_fact_of(f->why, id);
    for (size_t i = 0; i < f->n; i++) {
        if (f->list[i] == which) {
            return;
        }
    }
    if (which != SIZE_MAX && f->n < WORK_FACTS_MOST) {
        f->list[f->n++] = which;
    }
}

static po_status of_proof(facts *f, const json_t *run, const char *machine, po_err *err)
{
    json_t *answer = NULL;
    if (!work_has(run, "sha256")) {
        return PO_OK;
    }
    po_status s = work_ask(
        f->w, "proofs", json_pack("{s:s, s:s}", "sha256", work_text(run, "sha256"), "machine", machine), &answer, err);
    const json_t *proof = json_array_get(json_object_get(answer, "proofs"), 0), *name;
    size_t i;
    json_array_foreach(json_object_get(proof, "findings"), i, name)
    {
        const char *id = po_arena_printf(f->w->arena, "finding:%s",
                                         json_is_string(name) ? json_string_value(name) : "");
        if (id) {
            add(f, id);
        }
    }
    if (proof && strcmp(work_text(proof, "verdict"), "clear") == 0) {
        add(f, "proof-clear");
    }
    json_decref(answer);
    return s;
}

static po_status of_spool(facts *f, const char *name, po_err *err)
{
    json_t *answer = NULL;
    po_status s = work_ask(f->w, "spools", json_pack("{s:s}", "spool", name), &answer, err);
    const json_t *spool = json_array_get(json_object_get(answer, "spools"), 0);
    int64_t opened = work_int(spool, "opened_ms", -1), dried = work_int(spool, "dried_ms", -1), now = f->w->now_ms;
    int64_t since = dried > opened ? dried : opened;
    if (since >= 0 && now - since > 30 * day_ms) {
        add(f, "spool-open-long");
    }
    if (dried >= 0 && now - dried < 3 * day_ms) {
        add(f, "spool-dried");
    }
    if (spool &&
        (strcmp(work_text(spool, "state"), "empty") == 0 || work_int(spool, "left_mg", INT64_MAX) < SPOOL_END_MG)) {
        add(f, "spool-ends");
    }
    json_decref(answer);
    return s;
}

static po_status of_machine(facts *f, const char *machine, po_err *err)
{
    json_t *answer = NULL, *last = NULL;
    int days = f->w->shop->rules.gap_check_days;
    po_status s = work_ask(f->w, "machines",
                           days > 0 ? json_pack("{s:s, s:i}", "machine", machine, "gap_days", days)
                                    : json_pack("{s:s}", "machine", machine),
                           &answer, err);
    const json_t *m = json_array_get(json_object_get(answer, "machines"), 0), *row;
    int64_t gap = work_int(m, "gap_ms", -1), fitted = work_int(m, "fitted_ms", -1);
    if (gap >= 0 && gap >= fitted && f->w->now_ms - gap < day_ms) {
        add(f, "gap-fresh");
    } else if (fitted >= 0 && gap < fitted) {
        add(f, "gap-due");
    }
    json_decref(answer);
    s = s == PO_OK ? work_ask(f->w, "care-last", json_pack("{s:s}", "machine", machine), &last, err) : s;
    size_t i;
    json_array_foreach(json_object_get(last, "replaced"), i, row)
    {
        if (strcmp(work_text(row, "part"), "nozzle") == 0 && f->w->now_ms - work_int(row, "at_ms", 0) < 7 * day_ms) {
            add(f, "nozzle-new");
        }
    }
    json_decref(last);
    return s;
}

/* Other runs: of the machine, of the same file, of the same spool, in the same minutes. */
static po_status of_runs(facts *f, const json_t *run, const char *machine, po_err *err)
{
    json_t *answer = NULL;
    const char *spool = work_text(run, "spool");
    const json_t *takes = json_object_get(run, "takes"), *r;
    int64_t ended = work_int(run, "ended_ms", -1), id = work_int(run, "run", 0);
    int own = 0, own_failed = 0;
    size_t i;
    spool = *spool ? spool : work_text(json_array_get(takes, 0), "spool");
    po_status s = work_ask(f->w, "runs", json_pack("{s:i}", "limit", (int)LOOKED_AT), &answer, err);
    json_array_foreach(json_object_get(answer, "runs"), i, r)
    {
        bool here = strcmp(work_text(r, "machine"), machine) == 0,
             failed = strcmp(work_text(r, "outcome"), "failed") == 0;
        int64_t at = work_int(r, "ended_ms", -1);
        if (work_int(r, "run", 0) == id) {
            continue;
        }
        if (here && own < MACHINES_OWN && work_has(r, "outcome")) {
            own++;
            own_failed += failed;
        }
        if (!here && *spool && failed && strcmp(work_text(r, "spool"), spool) == 0) {
            add(f, "spool-failed-elsewhere");
        }
        if (!here && ended >= 0 && at >= 0 && at - ended < TOGETHER_MS && ended - at < TOGETHER_MS &&
            strcmp(work_text(r, "state"), "failed") == 0) {
            add(f, "others-stopped");
        }
    }
    if (own_failed >= 2) {
        add(f, "machine-again");
    }
    json_decref(answer);
    answer = NULL;
    if (s == PO_OK && work_has(run, "sha256")) {
        bool good = false, bad = false;
        s = work_ask(f->w, "runs", json_pack("{s:s, s:i}", "sha256", work_text(run, "sha256"), "limit", 20), &answer,
                     err);
        json_array_foreach(json_object_get(answer, "runs"), i, r)
        {
            bool here = strcmp(work_text(r, "machine"), machine) == 0;
            good = good || (!here && strcmp(work_text(r, "outcome"), "good") == 0);
            bad = bad || (!here && strcmp(work_text(r, "outcome"), "failed") == 0);
        }
        if (good != bad) { /* both: it says nothing */
            add(f, good ? "file-good-elsewhere" : "file-failed-elsewhere");
        }
        json_decref(answer);
    }
    return s;
}

po_status work_trouble_facts(work_context *w, const po_why *why, const char **machine, int64_t run,
                             size_t list[WORK_FACTS_MOST], size_t *ret_n, po_err *err)
{
    facts f = {w, why, list, 0};
    json_t *of = NULL;
    po_status s = run ? work_ask(w, "run", json_pack("{s:I}", "run", (json_int_t)run), &of, err) : PO_OK;
    if (s == PO_OK && run && !*machine && work_has(of, "machine")) {
        *machine = po_arena_text(w->arena, work_text(of, "machine"));
    }
    if (s == PO_OK && run && *machine) {
        s = of_proof(&f, of, *machine, err);
        const json_t *take;
        size_t i;
        json_array_foreach(json_object_get(of, "takes"), i, take)
        {
            if (s == PO_OK && *work_text(take, "spool")) {
                s = of_spool(&f, work_text(take, "spool"), err);
            }
        }
        s = s == PO_OK ? of_runs(&f, of, *machine, err) : s;
    }
    s = s == PO_OK && *machine ? of_machine(&f, *machine, err) : s;
    json_decref(of);
    *ret_n = f.n;
    return s;
}

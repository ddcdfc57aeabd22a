/* One job proved on one machine or on all, in the light of book and calendar. SPDX-License-Identifier: Apache-2.0 */
#include "work/prove.h"

#include <math.h>
#include <stdio.h>

enum { CALENDAR_DAYS = 400 }; /* that a calendar is laid out for */

po_status work_judge_when(const po_job_report *report, const char *file, po_proof_context *context, po_arena *arena,
                          const po_proof **proof, po_err *err)
{
    const po_zone *zone = NULL;
    const po_calendar *calendar = NULL;
    po_err unknown;
    int64_t start, second, better = -1;
    if (!context->start_known || po_zone_load(context->shop->time_zone, arena, &zone, &unknown) != PO_OK) {
        return PO_OK;
    }
    if (po_zone_moments(zone, context->start, &start, &second) == PO_ZONE_NEVER) {
        return po_fail_at(err, PO_E_RANGE, "start", 0, 0,
                          "there is no %d:%02d on that day, as the clocks go forward over it; give another time",
                          context->start.minute / 60, context->start.minute % 60);
    }
    po_ms_span within = {start, start + INT64_C(86400000) * CALENDAR_DAYS};
    if (po_calendar_make(context->shop, zone, within, NULL, 0, arena, &calendar, &unknown) != PO_OK) {
        return unknown.code == PO_E_NOMEM ? po_fail(err, PO_E_NOMEM, "memory ran out") : PO_OK;
    }
    po_need need = po_need_of(*proof, context->shop);
    po_job_when when;
    po_calendar_job(calendar, &need, start, &when);
    po_good good = po_calendar_earliest(calendar, &need, NULL, 0, start, &better);
    po_status s = po_when_make(calendar, &when, good <= PO_GOOD_EXPECTED ? better : -1, arena, &context->when, err);
    return s == PO_OK ? po_proof_job(report, file, context, arena, proof, err) : s;
}

/* Judge one machine's report. What the proof borrows is in `ret`, which stays. */
static po_status judge(work_book *book, const work_fitted *fitted, const po_job_report *report, const char *file,
                       const work_prove_options *o, po_arena *arena, work_proved *ret, po_err *err)
{
    po_proof_context *context = &ret->context;
    *context = (po_proof_context){.shop = book->work->shop,
                                  .recipe = o->recipe,
                                  .permissions = o->permissions,
                                  .n_permissions = o->n_permissions,
                                  .spool_g = NAN,
                                  .allowance_left_m = NAN,
                                  .start_known = o->start_known,
                                  .start = o->start};
    po_status s = work_book_context(book, fitted, report->sha256, context, err);
    s = s == PO_OK ? work_book_judge(book, report, file, context, arena, &ret->proof, err) : s;
    return s == PO_OK ? work_judge_when(report, file, context, arena, &ret->proof, err) : s;
}

static po_status measure(const po_shop *shop, const work_fitted *fitted, size_t n, const po_source *source,
                         const work_prove_options *o, po_arena *arena, work_proved *made,
                         const po_job_report **ret_reports, po_err *err)
{
    po_job_setup *setups = po_arena_zeros(arena, n, sizeof *setups);
    if (!setups) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < n; i++) {
        setups[i] = (po_job_setup){.machine = fitted[i].machine, .rules = &shop->rules};
        for (size_t k = 0; k < fitted[i].machine->n_nozzles && k < PO_MAX_TOOLS; k++) {
            const po_material *material = o->materials[k] ? o->materials[k] : work_material(shop, &fitted[i], k);
            setups[i].materials[k] = made[i].materials[k] = material;
        }
    }
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.most_bytes = shop->most_file_bytes;
    options.images = o->images;
    options.prints = o->prints;
    options.threads = o->threads;
    options.progress = o->progress;
    options.user = o->user;
    return po_job_measure(source, setups, n, &options, arena, ret_reports, err);
}

po_status work_prove(work_book *book, const po_machine *const *machines, size_t n_machines, const po_source *source,
                     const char *file, const work_prove_options *options, po_arena *arena, work_proved *ret,
                     po_err *err)
{
    static const work_prove_options usual = {.recipe = NULL};
    const work_prove_options *o = options ? options : &usual;
    work_fitted *fitted = po_arena_zeros(arena, n_machines, sizeof *fitted);
    const po_job_report **reports = po_arena_zeros(arena, n_machines, sizeof *reports);
    work_proved *made = po_arena_zeros(arena, n_machines, sizeof *made);
    po_err local;
    err = err ? err : &local;
    book->work->asked = NULL;
    if (!fitted || !reports || !made) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < n_machines; i++) {
        made[i].machine = machines[i];
        s = work_book_fitted(book, machines[i], &fitted[i], err);
    }
    if (s == PO_OK) {
        s = measure(book->work->shop, fitted, n_machines, source, o, arena, made, reports, err);
        if (s != PO_OK && !err->where[0]) {
            snprintf(err->where, sizeof err->where, "%s", file);
        }
    }
    for (size_t i = 0; s == PO_OK && i < n_machines; i++) {
        s = judge(book, &fitted[i], reports[i], file, o, arena, &made[i], err);
    }
    for (size_t i = 0; i < n_machines; i++) {
        ret[i] = s == PO_OK ? made[i] : ret[i];
        work_fitted_done(&fitted[i]);
    }
    return s;
}

po_status work_prove_all(work_book *book, const po_source *source, const char *file, const work_prove_options *options,
                         po_arena *arena, work_proved *ret, po_err *err)
{
    const po_shop *shop = book->work->shop;
    const po_machine **machines = po_arena_zeros(arena, shop->n_machines + 1, sizeof *machines);
    for (size_t i = 0; machines && i < shop->n_machines; i++) {
        machines[i] = &shop->machines[i];
    }
    return machines ? work_prove(book, machines, shop->n_machines, source, file, options, arena, ret, err)
                    : po_fail(err, PO_E_NOMEM, "memory ran out");
}

size_t work_best(const work_proved *proved, size_t n)
{
    size_t best = 0;
    for (size_t i = 1; i < n; i++) {
        best = proved[i].proof->verdict < proved[best].proof->verdict ? i : best;
    }
    return best;
}

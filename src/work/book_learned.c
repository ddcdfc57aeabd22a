/* What runs have really taken, as ranges of a proof. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "work/book.h"

enum { RUNS_MOST = 1000, LATEST_MOST = 300 /* where many runs wait for a quick answer */ };

/* The shop's number of a machine or a recipe; what it no longer has gets numbers beyond, so that it still speaks for all. */
static uint32_t number_of(const po_shop *shop, const char *name, bool recipe)
{
    size_t n = recipe ? shop->n_recipes : shop->n_machines;
    for (size_t i = 0; name && i < n; i++) {
        if (!strcmp(recipe ? shop->recipes[i].name : shop->machines[i].name, name)) {
            return (uint32_t)i;
        }
    }
    return recipe ? PO_LEARN_NO_RECIPE : (uint32_t)n;
}

/* Of the columns of "ratios", the runs of which both figures are known. */
static size_t collect(const work_book *book, const json_t *columns, const char *real, const char *model,
                      po_learn_run *ret)
{
    const json_t *reals = json_object_get(columns, real), *models = json_object_get(columns, model);
    const json_t *times = json_object_get(columns, "out_ms");
    const json_t *machines = json_object_get(columns, "machine"), *recipes = json_object_get(columns, "recipe");
    size_t n = 0;
    for (size_t i = 0; i < json_array_size(reals); i++) {
        const json_t *a = json_array_get(reals, i), *b = json_array_get(models, i);
        if (!json_is_integer(a) || !json_is_integer(b) || json_integer_value(a) <= 0 || json_integer_value(b) <= 0) {
            continue;
        }
        double age = (double)(book->work->now_ms - json_integer_value(json_array_get(times, i))) / 86400e3;
        ret[n++] = (po_learn_run){
            .machine = number_of(book->work->shop, json_string_value(json_array_get(machines, i)), false),
            .recipe = number_of(book->work->shop, json_string_value(json_array_get(recipes, i)), true),
            .ratio = (double)json_integer_value(a) / (double)json_integer_value(b),
            .age_days = age > 0 ? age : 0};
    }
    return n;
}

static po_status learn(work_book *book, int n_latest, po_learned **ret_time, po_learned **ret_filament, po_err *err)
{
    json_t *answer = NULL;
    po_status s = work_ask(book->work, "ratios", json_pack("{s:i, s:b}", "limit", n_latest, "columns", 1), &answer,
                           err);
    if (s != PO_OK) {
        return s;
    }
    const json_t *runs = json_object_get(answer, "columns");
    po_arena *arena = book->work->arena;
    po_learned *time = NULL, *filament = NULL; /* both or none */
    po_learn_run *list = po_arena_zeros(arena, json_array_size(json_object_get(runs, "run")) + 1, sizeof *list);
    s = list ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    if (s == PO_OK) {
        size_t n = collect(book, runs, "real_seconds", "reserved_seconds", list);
        s = po_learn_new(list, n, NULL, arena, &time, err);
    }
    if (s == PO_OK) {
        size_t n = collect(book, runs, "used_um", "reserved_um", list);
        s = po_learn_new(list, n, NULL, arena, &filament, err);
    }
    json_decref(answer);
    if (s == PO_OK) {
        *ret_time = time;
        *ret_filament = filament;
    }
    return s;
}

/* The range of one quantity as ratios; false where only the model speaks. */
static bool range_of(po_learned *learned, uint32_t machine, uint32_t recipe, po_range model, po_range *ret,
                     const char **ret_from)
{
    po_learn_question q = {machine, recipe, 1, model.low, model.high};
    po_learn_estimate e;
    if (po_learn_ask(learned, &q, &e, NULL) != PO_OK || e.n_all == 0) {
        return false;
    }
    *ret = (po_range){e.low, e.high};
    *ret_from = strcmp(e.from, "model") != 0 ? e.from : *ret_from;
    return true;
}

po_status work_book_seconds(work_book *book, const po_machine *machine, const po_recipe *recipe, po_range *ret,
                            const char **ret_from, po_err *err)
{
    if (book->work->ledger && !book->time && !book->latest) {
        po_learned *filament = NULL;
        po_status s = learn(book, LATEST_MOST, &book->latest, &filament, err);
        if (s != PO_OK) {
            return s;
        }
    }
    po_learned *time = book->time ? book->time : book->latest;
    po_range ignored;
    *ret_from = "model";
    po_proof_model_ranges(&ignored, ret);
    if (time) {
        range_of(time, number_of(book->work->shop, machine->name, false),
                 recipe ? number_of(book->work->shop, recipe->name, true) : PO_LEARN_NO_RECIPE, *ret, ret, ret_from);
    }
    return PO_OK;
}

po_status work_book_end(work_book *book, const char *machine, const char *recipe, int64_t seconds, int64_t proof_end_ms,
                        work_run_end *ret, po_err *err)
{
    const po_machine *m = po_shop_machine(book->work->shop, machine);
    po_range r = {1, 1};
    const char *from = "model";
    po_status status = m ? work_book_seconds(book, m, recipe ? po_shop_recipe(book->work->shop, recipe) : NULL, &r,
                                             &from, err)
                         : PO_OK;
    double ms = (double)seconds * 1000;
    /* the range is even on both sides of its centre in the logarithm (docs/learned.md); the model's is its own centre */
    double centre = strcmp(from, "model") != 0 ? sqrt(r.low * r.high) : 1;
    *ret = (work_run_end){proof_end_ms + llround((centre - 1) * ms), proof_end_ms + llround((r.low - 1) * ms),
                          proof_end_ms + llround((r.high - 1) * ms), from};
    return status;
}

po_status work_book_machine_ends(work_book *book, json_t *row, po_err *err)
{
    const json_t *ends = json_object_get(row, "ends_ms");
    work_run_end end;
    if (!json_is_integer(ends)) {
        return PO_OK;
    }
    json_int_t proof_end = json_integer_value(ends);
    po_status status = work_book_end(
        book, json_string_value(json_object_get(row, "machine")), json_string_value(json_object_get(row, "recipe")),
        json_integer_value(json_object_get(row, "reserved_seconds")), proof_end, &end, err);
    json_object_set_new(row, "proof_ends_ms", json_integer(proof_end));
    json_object_set_new(row, "ends_ms", json_integer(end.ms));
    json_object_set_new(row, "ends_from", json_string(end.from));
    return status;
}

po_status work_book_learned(work_book *book, const po_machine *machine, const po_recipe *recipe,
                            po_proof_context *context, po_err *err)
{
    if (!book->work->ledger) {
        return PO_OK;
    }
    if (!book->time) {
        po_status status = learn(book, RUNS_MOST, &book->time, &book->filament, err);
        if (status != PO_OK) {
            return status;
        }
    }
    po_range filament, seconds;
    uint32_t m = number_of(book->work->shop, machine->name, false);
    uint32_t r = recipe ? number_of(book->work->shop, recipe->name, true) : PO_LEARN_NO_RECIPE;
    po_proof_model_ranges(&filament, &seconds);
    range_of(book->filament, m, r, filament, &context->learned_filament, &context->learned_from);
    range_of(book->time, m, r, seconds, &context->learned_seconds,
             &context->learned_from); /* time says whence, if both do */
    return PO_OK;
}

po_status work_book_judge(work_book *book, const po_job_report *report, const char *file, po_proof_context *context,
                          po_arena *arena, const po_proof **ret, po_err *err)
{
    po_status s = po_proof_job(report, file, context, arena, ret, err);
    if (s == PO_OK && book->work->ledger) {
        s = work_book_learned(book, report->machine, (*ret)->recipe, context, err);
    }
    if (s != PO_OK || !book->work->ledger) {
        return s;
    }
    return context->learned_from ? po_proof_job(report, file, context, arena, ret, err) : PO_OK;
}

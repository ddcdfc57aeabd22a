/* What runs have really taken, as ranges of a proof. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "book.h"

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
static size_t collect(const cli_book *book, const json_t *columns, const char *real, const char *model,
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
        double age = (double)(book->desk.now_ms - json_integer_value(json_array_get(times, i))) / 86400e3;
        ret[n++] = (po_learn_run){
            .machine = number_of(book->desk.shop, json_string_value(json_array_get(machines, i)), false),
            .recipe = number_of(book->desk.shop, json_string_value(json_array_get(recipes, i)), true),
            .ratio = (double)json_integer_value(a) / (double)json_integer_value(b),
            .age_days = age > 0 ? age : 0};
    }
    return n;
}

static int learn(cli_book *book, int n_latest, po_learned **ret_time, po_learned **ret_filament)
{
    json_t *answer = NULL;
    int status = desk_ask(&book->desk, "ratios", json_pack("{s:i, s:b}", "limit", n_latest, "columns", 1), &answer);
    if (status != EXIT_CLEAR) {
        return status;
    }
    const json_t *runs = json_object_get(answer, "columns");
    po_arena *arena = book->desk.arena;
    po_learn_run *list = po_arena_zeros(arena, json_array_size(json_object_get(runs, "run")) + 1, sizeof *list);
    po_err err;
    po_status s = list ? PO_OK : po_fail(&err, PO_E_NOMEM, "memory ran out");
    if (s == PO_OK) {
        size_t n = collect(book, runs, "real_seconds", "reserved_seconds", list);
        s = po_learn_new(list, n, NULL, arena, ret_time, &err);
    }
    if (s == PO_OK) {
        size_t n = collect(book, runs, "used_um", "reserved_um", list);
        s = po_learn_new(list, n, NULL, arena, ret_filament, &err);
    }
    json_decref(answer);
    return s == PO_OK ? EXIT_CLEAR : cli_fail_err(&err);
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

int cli_book_seconds(cli_book *book, const po_machine *machine, const po_recipe *recipe, po_range *ret,
                     const char **ret_from)
{
    if (book->desk.ledger && !book->time && !book->latest) {
        po_learned *filament = NULL;
        int failed = learn(book, LATEST_MOST, &book->latest, &filament);
        if (failed != EXIT_CLEAR) {
            return failed;
        }
    }
    po_learned *time = book->time ? book->time : book->latest;
    po_range ignored;
    *ret_from = "model";
    po_proof_model_ranges(&ignored, ret);
    if (time) {
        range_of(time, number_of(book->desk.shop, machine->name, false),
                 recipe ? number_of(book->desk.shop, recipe->name, true) : PO_LEARN_NO_RECIPE, *ret, ret, ret_from);
    }
    return EXIT_CLEAR;
}

int cli_book_end(cli_book *book, const char *machine, const char *recipe, int64_t seconds, int64_t proof_end_ms,
                 cli_run_end *ret)
{
    const po_machine *m = po_shop_machine(book->desk.shop, machine);
    po_range r = {1, 1};
    const char *from = "model";
    int status = m ? cli_book_seconds(book, m, recipe ? po_shop_recipe(book->desk.shop, recipe) : NULL, &r, &from)
                   : EXIT_CLEAR;
    double ms = (double)seconds * 1000;
    /* the range is even on both sides of its centre in the logarithm (docs/learned.md); the model's is its own centre */
    double centre = strcmp(from, "model") != 0 ? sqrt(r.low * r.high) : 1;
    *ret = (cli_run_end){proof_end_ms + llround((centre - 1) * ms), proof_end_ms + llround((r.low - 1) * ms),
                         proof_end_ms + llround((r.high - 1) * ms), from};
    return status;
}

int cli_book_machine_ends(cli_book *book, json_t *row)
{
    const json_t *ends = json_object_get(row, "ends_ms");
    cli_run_end end;
    if (!json_is_integer(ends)) {
        return EXIT_CLEAR;
    }
    json_int_t proof_end = json_integer_value(ends);
    int status = cli_book_end(book, json_string_value(json_object_get(row, "machine")),
                              json_string_value(json_object_get(row, "recipe")),
                              json_integer_value(json_object_get(row, "reserved_seconds")), proof_end, &end);
    json_object_set_new(row, "proof_ends_ms", json_integer(proof_end));
    json_object_set_new(row, "ends_ms", json_integer(end.ms));
    json_object_set_new(row, "ends_from", json_string(end.from));
    return status;
}

int cli_book_learned(cli_book *book, const po_machine *machine, const po_recipe *recipe, po_proof_context *context)
{
    if (!book->desk.ledger) {
        return EXIT_CLEAR;
    }
    if (!book->time) {
        int status = learn(book, RUNS_MOST, &book->time, &book->filament);
        if (status != EXIT_CLEAR) {
            return status;
        }
    }
    po_range filament, seconds;
    uint32_t m = number_of(book->desk.shop, machine->name, false);
    uint32_t r = recipe ? number_of(book->desk.shop, recipe->name, true) : PO_LEARN_NO_RECIPE;
    po_proof_model_ranges(&filament, &seconds);
    range_of(book->filament, m, r, filament, &context->learned_filament, &context->learned_from);
    range_of(book->time, m, r, seconds, &context->learned_seconds,
             &context->learned_from); /* time says whence, if both do */
    return EXIT_CLEAR;
}

po_status cli_book_judge(cli_book *book, const po_job_report *report, const char *path, po_proof_context *context,
                         po_arena *arena, const po_proof **ret, po_err *err)
{
    po_status s = po_proof_job(report, path, context, arena, ret, err);
    if (s != PO_OK || !book->desk.ledger ||
        cli_book_learned(book, report->machine, (*ret)->recipe, context) != EXIT_CLEAR) {
        return s;
    }
    return context->learned_from ? po_proof_job(report, path, context, arena, ret, err) : PO_OK;
}

/* A proof in the light of the book (book.h). SPDX-License-Identifier: Apache-2.0
 *
 * The book's questions answer in JSON; here it becomes the plain values that the rules take. What the book does not know
 * stays as the shop file has it. */
#include "work/book.h"

#include <math.h>
#include <string.h>

static double metres(const json_t *um)
{
    return (double)json_integer_value(um) / 1e6;
}

/* The shop's machine with other nozzles. */
static const po_machine *with_nozzles(const po_machine *machine, const json_t *tools, po_arena *arena)
{
    bool other = false;
    po_nozzle *nozzles = po_arena_zeros(arena, machine->n_nozzles, sizeof *nozzles);
    po_machine *copy = po_arena_zeros(arena, 1, sizeof *copy);
    if (!nozzles || !copy) {
        return NULL;
    }
    memcpy(nozzles, machine->nozzles, machine->n_nozzles * sizeof *nozzles);
    for (size_t i = 0; i < json_array_size(tools); i++) {
        const json_t *row = json_array_get(tools, i), *um = json_object_get(row, "nozzle_um");
        json_int_t tool = json_integer_value(json_object_get(row, "tool"));
        if (json_is_integer(um) && tool >= 0 && (size_t)tool < machine->n_nozzles) {
            double mm = (double)json_integer_value(um) / 1000;
            other = other || nozzles[tool].diameter_mm != mm;
            nozzles[tool].diameter_mm = mm;
        }
    }
    *copy = *machine;
    copy->nozzles = nozzles;
    return other ? copy : machine;
}

/* What one spool says of its tool. */
static void put_spool(const work_book *book, work_fitted *fitted, size_t tool, const json_t *row)
{
    const json_t *left = json_object_get(row, "left_mg");
    const char *material = json_string_value(json_object_get(row, "material"));
    if (tool < PO_MAX_TOOLS && material) {
        fitted->materials[tool] = po_shop_material(book->work->shop, material);
    }
    if (json_is_integer(left) && fitted->machine->n_nozzles == 1 && tool == 0) {
        fitted->spool_g = (double)json_integer_value(left) / 1000;
    }
}

static po_status put_asked_spool(work_book *book, work_fitted *fitted, size_t tool, po_err *err)
{
    json_t *answer = NULL;
    const char *spool = book->spools[tool];
    po_status s = work_ask(book->work, "spools", json_pack("{s:s}", "spool", spool), &answer, err);
    const json_t *row = json_array_get(json_object_get(answer, "spools"), 0);
    if (s == PO_OK && !row) {
        s = po_fail(err, PO_E_NOTFOUND, "there is no spool %s in the book; proveout spool list shows them", spool);
    }
    if (s == PO_OK) {
        fitted->materials[tool] = NULL;
        put_spool(book, fitted, tool, row);
        const char *material = json_string_value(json_object_get(row, "material"));
        if (!fitted->materials[tool]) {
            s = po_fail(err, PO_E_RANGE, "spool %s is of %s, which the shop file does not know", spool,
                        material ? material : "nothing");
        }
    }
    json_decref(answer);
    return s;
}

static po_status put_asked_spools(work_book *book, work_fitted *fitted, po_err *err)
{
    size_t n = fitted->machine->n_nozzles;
    if (book->n_spools > n) {
        return po_fail(err, PO_E_RANGE, "%s has %zu nozzle%s, and %zu spools were given", fitted->machine->name, n,
                       n == 1 ? "" : "s", book->n_spools);
    }
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < book->n_spools; i++) {
        s = put_asked_spool(book, fitted, i, err);
    }
    return s;
}

static po_status fit(work_book *book, const po_machine *machine, work_fitted *ret, po_err *err)
{
    work_context *w = book->work;
    json_t *answer = NULL;
    po_status s = work_ask(w, "machines",
                           json_pack("{s:s, s:i}", "machine", machine->name, "gap_days", w->shop->rules.gap_check_days),
                           &answer, err);
    if (s != PO_OK) {
        return s;
    }
    ret->now = json_incref(json_array_get(json_object_get(answer, "machines"), 0));
    json_decref(answer);
    s = work_book_machine_ends(book, ret->now, err);
    if (s != PO_OK) {
        return s;
    }
    const json_t *tools = json_object_get(ret->now, "tools");
    ret->machine = with_nozzles(machine, tools, w->arena);
    if (!ret->machine) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < json_array_size(tools); i++) {
        const json_t *row = json_array_get(tools, i);
        put_spool(book, ret, (size_t)json_integer_value(json_object_get(row, "tool")), row);
    }
    return put_asked_spools(book, ret, err);
}

po_status work_book_fitted(work_book *book, const po_machine *machine, work_fitted *ret, po_err *err)
{
    work_fitted fitted = {.machine = machine, .spool_g = NAN};
    po_status s = book->work->ledger ? fit(book, machine, &fitted, err) : PO_OK;
    if (s == PO_OK) {
        *ret = fitted;
    } else {
        work_fitted_done(&fitted);
    }
    return s;
}

void work_fitted_done(work_fitted *fitted)
{
    json_decref(fitted->now);
    fitted->now = NULL;
}

const po_material *work_material(const po_shop *shop, const work_fitted *fitted, size_t nozzle)
{
    if (nozzle < PO_MAX_TOOLS && fitted->materials[nozzle]) {
        return fitted->materials[nozzle];
    }
    const po_material *house = po_shop_house_material(shop);
    return po_machine_takes(shop, fitted->machine, house) ? house : &shop->materials[fitted->machine->materials[0]];
}

/* Who asks: permissions with what they bring along, what is left, which waivers hold. */
static po_status put_member(work_book *book, const char *sha256, po_proof_context *context, po_err *err)
{
    const po_shop *shop = book->work->shop;
    json_t *answer = NULL, *parameters = json_pack("{s:s}", "member", book->member);
    if (sha256 && *sha256) {
        json_object_set_new(parameters, "sha256", json_string(sha256));
    }
    po_status s = work_ask(book->work, "member", parameters, &answer, err);
    if (s != PO_OK) {
        return s;
    }
    const json_t *permits = json_object_get(answer, "permits"), *balance = json_object_get(answer, "balance");
    const char **held = po_arena_zeros(book->work->arena, json_array_size(permits) + 1, sizeof *held);
    for (size_t i = 0; held && i < json_array_size(permits); i++) {
        const char *name = json_string_value(json_object_get(json_array_get(permits, i), "permission"));
        const po_permission *known = name ? po_shop_permission(shop, name) : NULL;
        if (known) { /* one that the shop file has no more grants nothing */
            held[i] = known->name;
        }
    }
    size_t n = 0;
    for (size_t i = 0; held && i < json_array_size(permits); i++) {
        if (held[i]) {
            held[n++] = held[i];
        }
    }
    const char *suspended = json_string_value(json_object_get(answer, "suspended"));
    if (!held) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out");
    } else {
        context->permissions = held;
        context->n_permissions = suspended ? 0 : n;
        const json_t *left = json_object_get(balance, "left_um");
        context->allowance_left_m = left ? metres(left) : context->allowance_left_m;
        context->waived_m = metres(json_object_get(balance, "waivers_left_um"));
    }
    book->suspended = suspended ? work_clean(book->work, suspended) : NULL;
    json_decref(answer);
    return s;
}

/* Why the machine can't go out now; NULL where it can. */
static const char *not_free(const work_book *book, const work_fitted *fitted, bool *ret_out_of_use)
{
    const work_context *w = book->work;
    const json_t *now = fitted->now;
    const char *state = json_string_value(json_object_get(now, "state")), *name = fitted->machine->name;
    const char *reason = work_clean(w, work_text(now, "reason"));
    *ret_out_of_use = false;
    if (!state || !strcmp(state, "free")) {
        return NULL;
    }
    long long run = (long long)json_integer_value(json_object_get(now, "run"));
    const json_t *ends = json_object_get(now, "ends_ms");
    if (!strcmp(state, "out")) {
        return json_is_integer(ends) && json_integer_value(ends) > w->now_ms
                   ? po_arena_printf(w->arena, "%s is out with run %lld, until about %s.", name, run,
                                     work_time_words(w, json_integer_value(ends)))
                   : po_arena_printf(w->arena, "%s is out with run %lld.", name, run);
    }
    if (!strcmp(state, "waiting")) {
        return po_arena_printf(w->arena, "%s stands full: the part of run %lld is still on it.", name, run);
    }
    *ret_out_of_use = true;
    const char *since = work_has(now, "since_ms") ? work_time_words(w, work_int(now, "since_ms", 0)) : "";
    return po_arena_printf(w->arena, "%s %s since %s%s%s.", name,
                           !strcmp(state, "tagged-out") ? "is tagged out"
                           : !strcmp(state, "resting")  ? "rests for care"
                                                        : "left the shop",
                           since, *reason ? ": " : "", reason);
}

static const char *gap_due(const work_book *book, const work_fitted *fitted)
{
    const work_context *w = book->work;
    const json_t *fit = json_object_get(fitted->now, "fitted_ms"), *gap = json_object_get(fitted->now, "gap_ms");
    if (json_is_true(json_object_get(fitted->now, "gap_good")) || (!json_is_integer(fit) && !json_is_integer(gap))) {
        return NULL; /* good, or the book has never heard of a change */
    }
    if (json_is_integer(fit) && json_integer_value(fit) > json_integer_value(gap)) {
        return po_arena_printf(w->arena,
                               "The nozzle or the bed surface of %s was changed (%s), and the gap has not been "
                               "checked since.",
                               fitted->machine->name, work_time_words(w, json_integer_value(fit)));
    }
    return po_arena_printf(w->arena, "The gap of %s was last checked on %s; the shop lets a check hold for %d days.",
                           fitted->machine->name, work_day_words(w, json_integer_value(gap)),
                           w->shop->rules.gap_check_days);
}

po_status work_book_context(work_book *book, const work_fitted *fitted, const char *sha256, po_proof_context *context,
                            po_err *err)
{
    if (!book->work->ledger) {
        return PO_OK;
    }
    if (isnan(context->spool_g) && !isnan(fitted->spool_g)) {
        context->spool_g = fitted->spool_g;
        context->spool_reserve_g = book->work->shop->rules.spool_reserve_g;
    }
    context->not_free = not_free(book, fitted, &context->out_of_use);
    context->gap_due = gap_due(book, fitted);
    return book->member ? put_member(book, sha256, context, err) : PO_OK;
}

/* A proof in the light of the book (book.h). SPDX-License-Identifier: Apache-2.0
 *
 * The book's questions answer in JSON; here it becomes the plain values that the rules take. What the book does not know
 * stays as the shop file has it. */
#include "book.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static double metres(const json_t *um)
{
    return (double)json_integer_value(um) / 1e6;
}

void cli_book_of(cli_book *book, const desk *d)
{
    *book = (cli_book){.desk = *d};
}

int cli_book_open(cli_book *book, const cli_call *call, const po_shop *shop, po_arena *arena)
{
    const char *member = cli_value(call, "member"), *spool = cli_value(call, "spool"),
               *given = cli_value(call, "ledger");
    const char *variable = getenv("PROVEOUT_LEDGER");
    bool asked = member || spool || given;
    *book = (cli_book){
        .desk = {.call = call, .arena = arena, .shop = shop, .by = "desk"}, .own = true, .member = member};
    if (!asked && !(variable && *variable) && !shop->ledger) {
        return EXIT_CLEAR;
    }
    if (spool && (!cli_split(spool, arena, book->spools, &book->n_spools) || book->n_spools == 0 ||
                  book->n_spools > CLI_MOST_SPOOLS)) {
        return cli_fail(EXIT_USAGE, "--spool needs 1 to %d spools, with commas between them", CLI_MOST_SPOOLS);
    }
    const char *path = desk_ledger_path(call, shop, arena);
    if (!path) {
        return EXIT_USAGE;
    }
    if (!asked && access(path, F_OK) != 0) {
        return EXIT_CLEAR; /* the shop will have a book; a proof needs none */
    }
    book->desk.now_ms = desk_now_ms((void *)(uintptr_t)shop);
    po_ledger_options o = {.read_only = true, .now_ms = desk_now_ms, .user = (void *)(uintptr_t)shop};
    po_err err;
    po_status s = po_ledger_open(path, &o, &book->desk.ledger, &err);
    return s == PO_OK              ? EXIT_CLEAR
           : s == PO_E_NOTFOUND    ? cli_fail(EXIT_USAGE, "there is no book at %s; proveout ledger new makes one", path)
           : book->desk.now_ms < 0 ? cli_fail(EXIT_USAGE, "PROVEOUT_CLOCK is no day and time such as 2026-11-26T15:10")
                                   : cli_fail(EXIT_USAGE, "%s: %s", path, err.msg);
}

void cli_book_close(cli_book *book)
{
    if (book->own) {
        po_ledger_close(book->desk.ledger);
    }
    book->desk.ledger = NULL;
}

/* A JSON answer lives as long as the arena of the desk: it is asked of few machines. */
static int ask(cli_book *book, const char *question, json_t *parameters, json_t **ret)
{
    return desk_ask(&book->desk, question, parameters, ret);
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
static void put_spool(const cli_book *book, cli_fitted *fitted, size_t tool, const json_t *row)
{
    const json_t *left = json_object_get(row, "left_mg");
    const char *material = json_string_value(json_object_get(row, "material"));
    if (tool < PO_MAX_TOOLS && material) {
        fitted->materials[tool] = po_shop_material(book->desk.shop, material);
    }
    if (json_is_integer(left) && fitted->machine->n_nozzles == 1 && tool == 0) {
        fitted->spool_g = (double)json_integer_value(left) / 1000;
    }
}

static int put_asked_spools(cli_book *book, cli_fitted *fitted)
{
    if (book->n_spools > fitted->machine->n_nozzles) {
        return cli_fail(EXIT_USAGE, "%s has %zu nozzle%s, and %zu spools were given", fitted->machine->name,
                        fitted->machine->n_nozzles, fitted->machine->n_nozzles == 1 ? "" : "s", book->n_spools);
    }
    int status = EXIT_CLEAR;
    for (size_t i = 0; status == EXIT_CLEAR && i < book->n_spools; i++) {
        json_t *answer = NULL;
        status = ask(book, "spools", json_pack("{s:s}", "spool", book->spools[i]), &answer);
        const json_t *row = json_array_get(json_object_get(answer, "spools"), 0);
        if (status == EXIT_CLEAR && !row) {
            status = cli_fail(EXIT_STOP, "there is no spool %s in the book; proveout spool list shows them",
                              book->spools[i]);
        }
        if (status == EXIT_CLEAR) {
            fitted->materials[i] = NULL;
            put_spool(book, fitted, i, row);
            const char *material = json_string_value(json_object_get(row, "material"));
            if (!fitted->materials[i]) {
                status = cli_fail(EXIT_USAGE, "spool %s is of %s, which the shop file does not know", book->spools[i],
                                  material ? material : "nothing");
            }
        }
        json_decref(answer);
    }
    return status;
}

int cli_book_fitted(cli_book *book, const po_machine *machine, cli_fitted *ret)
{
    *ret = (cli_fitted){.machine = machine, .spool_g = NAN};
    if (!book->desk.ledger) {
        return EXIT_CLEAR;
    }
    json_t *answer = NULL;
    int status = ask(
        book, "machines",
        json_pack("{s:s, s:i}", "machine", machine->name, "gap_days", book->desk.shop->rules.gap_check_days), &answer);
    if (status != EXIT_CLEAR) {
        return status;
    }
    ret->now = json_incref(json_array_get(json_object_get(answer, "machines"), 0));
    json_decref(answer);
    status = cli_book_machine_ends(book, ret->now);
    if (status != EXIT_CLEAR) {
        return status;
    }
    const json_t *tools = json_object_get(ret->now, "tools");
    ret->machine = with_nozzles(machine, tools, book->desk.arena);
    if (!ret->machine) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    for (size_t i = 0; i < json_array_size(tools); i++) {
        const json_t *row = json_array_get(tools, i);
        put_spool(book, ret, (size_t)json_integer_value(json_object_get(row, "tool")), row);
    }
    return put_asked_spools(book, ret);
}

/* Who asks: permissions with what they bring along, what is left, which waivers hold. */
static int put_member(cli_book *book, const char *sha256, po_proof_context *context)
{
    const po_shop *shop = book->desk.shop;
    json_t *answer = NULL, *parameters = json_pack("{s:s}", "member", book->member);
    if (sha256 && *sha256) {
        json_object_set_new(parameters, "sha256", json_string(sha256));
    }
    int status = ask(book, "member", parameters, &answer);
    if (status != EXIT_CLEAR) {
        return status;
    }
    const json_t *permits = json_object_get(answer, "permits"), *balance = json_object_get(answer, "balance");
    const char **held = po_arena_zeros(book->desk.arena, json_array_size(permits) + 1, sizeof *held);
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
        status = cli_fail(EXIT_OWN, "memory ran out");
    } else {
        context->permissions = held;
        context->n_permissions = suspended ? 0 : n;
        const json_t *left = json_object_get(balance, "left_um");
        context->allowance_left_m = left ? metres(left) : context->allowance_left_m;
        context->waived_m = metres(json_object_get(balance, "waivers_left_um"));
    }
    if (suspended && status == EXIT_CLEAR && !book->told_suspended) {
        book->told_suspended = true;
        cli_fail(EXIT_CLEAR, "member %s is suspended: %s", book->member, suspended);
    }
    json_decref(answer);
    return status;
}

/* Why the machine can't go out now; NULL where it can. */
static const char *not_free(const cli_book *book, const cli_fitted *fitted, bool *ret_out_of_use)
{
    const desk *d = &book->desk;
    const json_t *now = fitted->now;
    const char *state = json_string_value(json_object_get(now, "state")), *name = fitted->machine->name;
    const char *reason = desk_words(d, json_object_get(now, "reason"), DESK_TEXT);
    *ret_out_of_use = false;
    if (!state || !strcmp(state, "free")) {
        return NULL;
    }
    long long run = (long long)json_integer_value(json_object_get(now, "run"));
    const json_t *ends = json_object_get(now, "ends_ms");
    if (!strcmp(state, "out")) {
        return json_is_integer(ends) && json_integer_value(ends) > d->now_ms
                   ? po_arena_printf(d->arena, "%s is out with run %lld, until about %s.", name, run,
                                     desk_words(d, ends, DESK_TIME))
                   : po_arena_printf(d->arena, "%s is out with run %lld.", name, run);
    }
    if (!strcmp(state, "waiting")) {
        return po_arena_printf(d->arena, "%s stands full: the part of run %lld is still on it.", name, run);
    }
    *ret_out_of_use = true;
    const char *since = desk_words(d, json_object_get(now, "since_ms"), DESK_TIME);
    return po_arena_printf(d->arena, "%s %s since %s%s%s.", name,
                           !strcmp(state, "tagged-out") ? "is tagged out"
                           : !strcmp(state, "resting")  ? "rests for care"
                                                        : "left the shop",
                           since, *reason ? ": " : "", reason);
}

static const char *gap_due(const cli_book *book, const cli_fitted *fitted)
{
    const desk *d = &book->desk;
    const json_t *fit = json_object_get(fitted->now, "fitted_ms"), *gap = json_object_get(fitted->now, "gap_ms");
    if (json_is_true(json_object_get(fitted->now, "gap_good")) || (!json_is_integer(fit) && !json_is_integer(gap))) {
        return NULL; /* good, or the book has never heard of a change */
    }
    if (json_is_integer(fit) && json_integer_value(fit) > json_integer_value(gap)) {
        return po_arena_printf(d->arena,
                               "The nozzle or the bed surface of %s was changed (%s), and the gap has not been "
                               "checked since.",
                               fitted->machine->name, desk_words(d, fit, DESK_TIME));
    }
    return po_arena_printf(d->arena, "The gap of %s was last checked on %s; the shop lets a check hold for %d days.",
                           fitted->machine->name, desk_words(d, gap, DESK_DAY), d->shop->rules.gap_check_days);
}

int cli_book_context(cli_book *book, const cli_fitted *fitted, const char *sha256, po_proof_context *context)
{
    if (!book->desk.ledger) {
        return EXIT_CLEAR;
    }
    if (isnan(context->spool_g) && !isnan(fitted->spool_g)) {
        context->spool_g = fitted->spool_g;
        context->spool_reserve_g = book->desk.shop->rules.spool_reserve_g;
    }
    context->not_free = not_free(book, fitted, &context->out_of_use);
    context->gap_due = gap_due(book, fitted);
    return book->member ? put_member(book, sha256, context) : EXIT_CLEAR;
}

/* The book beside a proof, for the verbs: opened by their options, asked through src/work. SPDX-License-Identifier: Apache-2.0 */
#include "book.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

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
    po_err err;
    *book = (cli_book){.desk = {.call = call, .arena = arena, .shop = shop, .by = "desk"}, .own = true};
    book->light.member = member;
    if (po_zone_load(shop->time_zone, arena, &book->desk.zone, &err) == PO_E_NOMEM) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    if (!asked && !(variable && *variable) && !shop->ledger) {
        return EXIT_CLEAR;
    }
    if (spool && (!cli_split(spool, arena, book->light.spools, &book->light.n_spools) || book->light.n_spools == 0 ||
                  book->light.n_spools > WORK_MOST_SPOOLS)) {
        return cli_fail(EXIT_USAGE, "--spool needs 1 to %d spools, with commas between them", WORK_MOST_SPOOLS);
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

work_book *cli_book_light(cli_book *book)
{
    book->work = desk_work(&book->desk);
    book->light.work = &book->work;
    return &book->light;
}

int cli_book_failed(const cli_book *book, const po_err *err)
{
    if (book->work.asked) {
        return desk_refused(&book->desk, book->work.asked, err);
    }
    return err->code == PO_E_NOTFOUND && !err->where[0] ? cli_fail(EXIT_STOP, "%s", err->msg) : cli_fail_err(err);
}

static int told(const cli_book *book, po_status s, const po_err *err)
{
    return s == PO_OK ? EXIT_CLEAR : cli_book_failed(book, err);
}

void cli_book_tell_suspended(cli_book *book)
{
    if (book->light.suspended && !book->told_suspended) {
        book->told_suspended = true;
        cli_fail(EXIT_CLEAR, "member %s is suspended: %s", book->light.member, book->light.suspended);
    }
}

int cli_book_fitted(cli_book *book, const po_machine *machine, work_fitted *ret)
{
    po_err err;
    return told(book, work_book_fitted(cli_book_light(book), machine, ret, &err), &err);
}

int cli_book_context(cli_book *book, const work_fitted *fitted, const char *sha256, po_proof_context *context)
{
    po_err err;
    int status = told(book, work_book_context(cli_book_light(book), fitted, sha256, context, &err), &err);
    cli_book_tell_suspended(book);
    return status;
}

int cli_book_end(cli_book *book, const char *machine, const char *recipe, int64_t seconds, int64_t proof_end_ms,
                 work_run_end *ret)
{
    po_err err;
    return told(book, work_book_end(cli_book_light(book), machine, recipe, seconds, proof_end_ms, ret, &err), &err);
}

int cli_book_machine_ends(cli_book *book, json_t *row)
{
    po_err err;
    return told(book, work_book_machine_ends(cli_book_light(book), row, &err), &err);
}

int cli_book_judge(cli_book *book, const po_job_report *report, const char *path, po_proof_context *context,
                   po_arena *arena, const po_proof **ret)
{
    po_err err;
    return told(book, work_book_judge(cli_book_light(book), report, path, context, arena, ret, &err), &err);
}

/* One act booked as it is, at a set time: for whole-program tests of what the book holds. SPDX-License-Identifier: Apache-2.0
 * usage: desk_act BOOK MS ACT BY BODY; prints the answer, or why not with exit status 2. ACT verify books nothing: the first
 * fault of the book is printed. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proveout/ledger.h"

static int64_t clock_ms(void *user)
{
    return *(int64_t *)user;
}

int main(int argc, char **argv)
{
    if (argc != 6) {
        fputs("usage: desk_act BOOK MS ACT BY BODY\n", stderr);
        return 4;
    }
    int64_t ms = strtoll(argv[2], NULL, 10);
    po_ledger_options o = {.now_ms = clock_ms, .user = &ms};
    po_ledger *ledger = NULL;
    po_arena *arena = po_arena_new(0);
    po_act act = {argv[3], argv[4], argv[5]};
    po_act_done done;
    po_err err;
    po_status s = arena ? po_ledger_open(argv[1], &o, &ledger, &err) : po_fail(&err, PO_E_NOMEM, "memory ran out");
    if (s == PO_OK && strcmp(act.name, "verify") == 0) {
        const char *const *faults = NULL;
        size_t n = 0;
        s = po_ledger_verify(ledger, arena, &faults, &n, &err);
        s = s == PO_OK && n > 0 ? po_fail(&err, PO_E_CONFLICT, "%s", faults[0]) : s;
        done.answer = "{}";
    } else if (s == PO_OK) {
        s = po_ledger_act(ledger, &act, arena, &done, &err);
    }
    puts(s == PO_OK ? done.answer : err.msg);
    po_ledger_close(ledger);
    po_arena_free(arena);
    return s == PO_OK ? 0 : 2;
}

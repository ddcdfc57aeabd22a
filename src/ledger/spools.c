/* Spools: weighed, opened, dried, emptied. SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>

#include "ledger/answers.h"

static void copy_text(char *out, size_t room, const char *text)
{
    snprintf(out, room, "%s", text ? text : "");
}

static int64_t or_unknown(po_rows *rows, int column)
{
    return po_rows_kind(rows, column) == 'i' ? po_rows_int(rows, column) : -1;
}

po_status po_spool_find(po_store *store, const char *spool, po_spool *ret, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(store, &rows, err,
                               "SELECT id, diameter_um, density_mg_cm3, left_mg, tare_mg, price_minor_kg, weighed_ms, "
                               "state, material FROM spools WHERE spool = ?1",
                               "t", spool);
    if (s != PO_OK) {
        return s;
    }
    bool found = po_rows_next(rows);
    if (found) {
        *ret = (po_spool){.id = po_rows_int(rows, 0),
                          .diameter_um = po_rows_int(rows, 1),
                          .density_mg_cm3 = po_rows_int(rows, 2),
                          .left_mg = or_unknown(rows, 3),
                          .left_known = po_rows_kind(rows, 3) == 'i',
                          .tare_mg = or_unknown(rows, 4),
                          .price_minor_kg = or_unknown(rows, 5),
                          .weighed_ms = or_unknown(rows, 6)};
        copy_text(ret->state, sizeof ret->state, po_rows_text(rows, 7));
        copy_text(ret->material, sizeof ret->material, po_rows_text(rows, 8));
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && !found) {
        s = po_fail_at(err, PO_E_NOTFOUND, "spool", 0, 0, "there is no spool %s; add it to the book first", spool);
    }
    return s;
}

/* Where the book does not know what is left, or the spool is used up, there is nothing to take from. */
po_status po_spool_take(po_book *book, int64_t spool, int64_t mg, po_err *err)
{
    int64_t left = 0;
    bool known = false;
    po_status s = po_store_number(book->store, &left, &known, err,
                                  "SELECT left_mg FROM spools WHERE id = ?1 AND state <> 'empty'", "i", spool);
    if (s != PO_OK || !known || mg == 0) {
        return s;
    }
    s = po_book_touch(book, PO_T_SPOOLS, spool, err);
    return s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE spools SET last = ?1, left_mg = ?2 WHERE id = ?3",
                                    "iii", book->event, left - mg, spool)
                      : s;
}

po_status po_apply_spool_add(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "spool-add is not made yet");
}

po_status po_apply_spool_open(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "spool-open is not made yet");
}

po_status po_apply_spool_weigh(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "spool-weigh is not made yet");
}

po_status po_apply_spool_dry(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "spool-dry is not made yet");
}

po_status po_apply_spool_dried(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "spool-dried is not made yet");
}

po_status po_apply_spool_empty(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "spool-empty is not made yet");
}

po_status po_ask_spools(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "spools is not made yet");
}

po_status po_ask_weighings(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "weighings is not made yet");
}

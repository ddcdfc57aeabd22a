/* Spools: weighed, opened, dried, emptied. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_spool_find(po_store *store, const char *spool, po_spool *ret, po_err *err)
{
    (void)store, (void)spool, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "not made yet");
}

po_status po_spool_take(po_book *book, int64_t spool, int64_t mg, po_err *err)
{
    (void)book, (void)spool, (void)mg;
    return po_fail(err, PO_E_INTERNAL, "not made yet");
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

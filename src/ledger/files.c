/* Job files and photos in the folder beside the book. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_apply_file_attach(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "file-attach is not made yet");
}

po_status po_apply_file_detach(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "file-detach is not made yet");
}

po_status po_ask_files(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "files is not made yet");
}

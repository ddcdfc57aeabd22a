/* Answers to questions: JSON objects built from rows. SPDX-License-Identifier: Apache-2.0
 *
 * Each answer is one JSON object with "format"; lists have at most `limit` rows and say with `more` that there are others. */
#ifndef PO_LEDGER_ANSWERS_H
#define PO_LEDGER_ANSWERS_H

#include "ledger/ledger_inside.h"

enum { PO_LIMIT_USUAL = 100, PO_LIMIT_MOST = 1000 };

void po_put_int(json_t *to, const char *key, int64_t v);
void po_put_text(json_t *to, const char *key, const char *v); /* NULL: null */
/* Rows as a list of objects, keys from the names of the columns; columns named is_... become true or false, those named
 * json_... are JSON themselves. Ends the rows; sets `more`. */
po_status po_put_rows(po_rows *rows, json_t *to, const char *key, int64_t limit, po_err *err) PO_MUST_USE;
/* The limit that was asked for: field `limit`, within bounds. */
int64_t po_limit_of(const json_t *parameters);

#define QUESTION(id, name, says, fields)                                                                               \
    po_status po_ask_##id(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err) PO_MUST_USE;
#include "ledger/questions.inc"
#undef QUESTION

#endif

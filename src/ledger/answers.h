/* Answers to questions: JSON objects built from rows. SPDX-License-Identifier: Apache-2.0
 *
 * Each answer is one JSON object with "format"; lists have at most `limit` rows and say with `more` that there are others. */
#ifndef PO_LEDGER_ANSWERS_H
#define PO_LEDGER_ANSWERS_H

#include "ledger/ledger_inside.h"

enum { PO_LIMIT_USUAL = 100, PO_LIMIT_MOST = 1000 };

/* Where memory ends the whole of `to` is emptied: an answer without its "format" is then no answer (po_ledger_ask), so that
 * none is given with something left out. Takes over the value; NULL counts as memory that ended. */
void po_put(json_t *to, const char *key, json_t *value);
void po_put_int(json_t *to, const char *key, int64_t v);
void po_put_text(json_t *to, const char *key, const char *v); /* NULL: null */
/* Rows as a list of objects, keys from the names of the columns; columns named is_... become true or false, those named
 * json_... are JSON themselves. Ends the rows; sets `more`. */
po_status po_put_rows(po_rows *rows, json_t *to, const char *key, int64_t limit, po_err *err) PO_MUST_USE;
/* Rows as an object of lists, one for each column, all of the same length: few large things are read faster than many small
 * ones. No is_ or json_ here. Ends the rows; sets `more`. */
po_status po_put_columns(po_rows *rows, json_t *to, const char *key, int64_t limit, po_err *err) PO_MUST_USE;
/* The limit that was asked for: field `limit`, within bounds. */
int64_t po_limit_of(const json_t *parameters);

#define QUESTION(id, name, says, fields)                                                                               \
    po_status po_ask_##id(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err) PO_MUST_USE;
#include "ledger/questions.inc"
#undef QUESTION

/* The run whose part is still on the bed of a machine that is back: the latest that was out with it, its part not booked off, nor
 * the bed seen clear by a round since. machine: the alias of the row of machines. Of the last runs alone, by an index. */
#define PO_PART_ON_BED(machine)                                                                                        \
    "(SELECT b.id FROM (SELECT id, out_ms, back_ms, off_ms, state FROM runs WHERE machine = " machine                  \
    ".machine ORDER "                                                                                                  \
    "BY id DESC LIMIT 50) b WHERE b.state = 'back' AND b.off_ms IS NULL AND NOT EXISTS (SELECT 1 FROM (SELECT id, "    \
    "out_ms FROM runs WHERE machine = " machine ".machine ORDER BY id DESC LIMIT 50) c WHERE c.out_ms > b.out_ms OR "  \
    "(c.out_ms = b.out_ms AND c.id > b.id)) AND NOT coalesce((SELECT f.bed_clear AND f.at_ms > b.back_ms FROM found "  \
    "f WHERE f.machine = " machine ".id ORDER BY f.id DESC LIMIT 1), 0) LIMIT 1) AS part_of"

/* When the run r ends by its proof p (LEFT JOIN): the start check is made before the first bead. */
#define PO_RUN_ENDS                                                                                                    \
    "iif(r.state = 'out', coalesce(r.started_ms + 1000 * (r.reserved_seconds - coalesce(min(p.first_bead_seconds, "    \
    "r.reserved_seconds), 0)), r.out_ms + 1000 * r.reserved_seconds), NULL)"

#endif

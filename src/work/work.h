/* What the desk's work stands on: shop, zone, book, clock; times on the wall, questions, values as words. SPDX-License-Identifier: Apache-2.0
 *
 * Library code for both faces, the command line and the server: it prints nothing, asks no environment, ends nothing. A context
 * is one caller's (one thread's); the book behind it may be shared as proveout/ledger.h allows, shop and zone are never changed. */
#ifndef PO_WORK_WORK_H
#define PO_WORK_WORK_H

#include <jansson.h>

#include "proveout/calendar.h"
#include "proveout/ledger.h"

struct work_studies; /* studies.h */
typedef struct work_context {
    po_arena *arena; /* of the answers' texts; a request's own */
    const po_shop *shop;
    const po_zone
        *zone; /* the shop's; NULL: not known here, then times have no words and nobody is known to be at the desk */
    po_ledger *ledger; /* NULL: no book is asked */
    int64_t now_ms;
    const struct work_studies *studies; /* the shop's; NULL: none */
    const char *asked; /* after a failure: the book's question that failed; NULL: it was none. Static text */
} work_context;

/* The zone is read from the system (po_zone_load), where `zone` is NULL; one that is not known stays NULL, see above.
 * Errors  PO_E_NOMEM */
po_status work_begin(work_context *w, po_arena *arena, const po_shop *shop, const po_zone *zone, po_ledger *ledger,
                     int64_t now_ms, po_err *err) PO_MUST_USE;

/* Ask the book; parameters are taken over (NULL: none). The answer is the caller's to json_decref.
 * Errors  po_ledger_ask's, with w->asked set; PO_E_NOMEM */
po_status work_ask(work_context *w, const char *question, json_t *parameters, json_t **ret_answer,
                   po_err *err) PO_MUST_USE;

/* ---- times ---- */

/* What the shop's clock shows; ret_second may be NULL. False where the zone is not known. */
bool work_wall(const work_context *w, int64_t ms, po_wall_time *ret, int *ret_second);
/* The first moment of a time on the wall; -1: it does not exist (the clocks go forward over it), or the zone is not known. */
int64_t work_moment(const work_context *w, po_wall_time wall);

/* ---- values as words; in the arena, never NULL: "" where memory is gone ---- */

/* A whole number of 10^-places without the zeros at its end beyond `least` places; unit "": none. */
const char *work_decimal(const work_context *w, int64_t value, int places, int least, const char *unit);
const char *work_metres(const work_context *w, int64_t um);          /* "12.5 m" */
const char *work_grams(const work_context *w, int64_t mg);           /* "812 g" */
const char *work_time_words(const work_context *w, int64_t ms);      /* "15:10"; of another day "Mon 30 Nov 15:10" */
const char *work_day_words(const work_context *w, int64_t ms);       /* "Mon 30 Nov" */
const char *work_until_words(const work_context *w, int64_t ms);     /* midnight: the day that ends then */
const char *work_span_words(const work_context *w, int64_t seconds); /* "3:10 h", "40 s" */
/* Text that others typed, control characters as "?"; NULL: "". */
const char *work_clean(const work_context *w, const char *text);

/* Digits behind the point of the shop's currency (ISO 4217). */
int work_minor_places(const po_shop *shop);

/* ---- of an answer ---- */

int64_t work_int(const json_t *object, const char *key, int64_t missing);
const char *work_text(const json_t *object, const char *key); /* "" where missing */
bool work_has(const json_t *object, const char *key);         /* there, and not null */

#endif

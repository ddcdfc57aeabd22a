/* The demo's book: what its files share. SPDX-License-Identifier: Apache-2.0 */
#ifndef DEMO_SEED_H
#define DEMO_SEED_H

#include <stdbool.h>
#include <stdint.h>

#include "proveout/ledger.h"
#include "proveout/shop.h"

#define SECOND INT64_C(1000)
#define MINUTE INT64_C(60000)
#define HOUR (60 * MINUTE)
#define DAY (24 * HOUR)

enum { JOBS = 9, MACHINES = 5 };

/* A demo job proved on a machine. */
typedef struct seed_proof {
    char sha256[65];
    const char *file, *verdict, *recipe, *body; /* body: of the act proof-keep; recipe NULL: none is near */
    int64_t um, mg, seconds, first_bead_s, watch_s, height_um;
} seed_proof;

/* Measure the jobs in the folder for every machine of the shop; the texts live in the arena. false: told on standard error. */
bool seed_measure(const po_shop *shop, const char *folder, po_arena *arena, seed_proof ret[JOBS][MACHINES]);
bool seed_goes_on(int job, int machine); /* it is measured for that machine */
bool seed_is_pla(int job);               /* printed with pla instead of the house's material */

/* Acts by time; they may be put in any order. */
typedef struct seed_acts seed_acts;
seed_acts *seed_acts_new(po_arena *arena);
/* A number that is known when the acts are booked: write it into bodies with the format "@%d@". */
int seed_handle(seed_acts *acts);
typedef struct seed_names {
    int event, message, ticket; /* handles that get the number of the event, the message, the ticket; 0: none */
} seed_names;
void seed_put(seed_acts *acts, int64_t at_ms, const char *by, const char *name, seed_names names, const char *format,
              ...) PO_PRINTF(6, 7);
/* Book all in order of time into a new book, in one transaction. false: told on standard error. */
bool seed_book(seed_acts *acts, const char *path, int64_t now_ms, po_ledger **ret);
void seed_acts_free(seed_acts *acts);

#endif

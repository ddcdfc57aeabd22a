/* Counting sightings: how often, the first and the worst place. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_JOB_SEEN_H
#define PO_JOB_SEEN_H

#include "proveout/job.h"

/* Count one; the worst is the largest `worst` (pass the negative for "the lowest is worst"). Returns whether it is now
 * the worst. */
static inline bool po_seen(po_sighting *s, po_place at, double worst, double total)
{
    at.known = true;
    s->total += total;
    if (s->count++ == 0) {
        s->first = s->worst_at = at;
        s->worst = worst;
        return true;
    }
    if (worst > s->worst) {
        s->worst = worst;
        s->worst_at = at;
        return true;
    }
    return false;
}

static inline po_place po_place_at(uint64_t line, double x, double y, double z, double seconds)
{
    return (po_place){true, line, x, y, z, seconds};
}

#endif

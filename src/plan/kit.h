/* Times by hand, for the tests of this folder. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PLAN_KIT_H
#define PO_PLAN_KIT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "plan/zone.h"

/* A moment of UTC. */
static inline int64_t utc(int year, int month, int day, int hour, int minute)
{
    return (po_day_of((po_date){year, month, day}) * 1440 + hour * 60 + minute) * 60000;
}

static inline const po_zone *zone_of(po_arena *arena, const char *name)
{
    const po_zone *zone = NULL;
    po_err err = {0};
    if (po_zone_load(name, arena, &zone, &err) != PO_OK) {
        fail_msg("%s: %s", name, err.msg);
    }
    return zone;
}

#endif

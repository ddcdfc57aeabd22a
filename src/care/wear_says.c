/* What figures of care mean, in a sentence that a person can act on. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/wear.h"

#include <math.h>

/* "31 h", "6.4 h", "0.5 h": no more digits than it is worth. */
static const char *hours(double h, po_arena *arena)
{
    return h >= 1e9 || !isfinite(h) ? "unknown hours" : po_arena_printf(arena, h < 20 ? "%.1f h" : "%.0f h", h);
}

static const char *or_none(const char *text)
{
    return text ? text : "";
}

const char *po_wear_chart_says(const char *name, const po_wear_chart *c, const po_wear_point *points,
                               const po_wear_period *periods, const char *period, po_arena *arena)
{
    if (c->worst == SIZE_MAX) {
        return po_arena_printf(arena,
                               "%s: nothing that chance would not do in %zu periods; %.1f of 100 runs fail, and no "
                               "period stands out as worse.",
                               name, c->periods, 100 * c->centre);
    }
    const po_wear_period *p = &periods[c->worst];
    if (points[c->worst].signal == PO_WEAR_ROW_HIGH) {
        return po_arena_printf(arena,
                               "%s: up to %s nine or more periods in a row were worse than the mean of %.1f of 100; "
                               "something changed before: look at what was new then.",
                               name, period ? period : "then", 100 * c->centre);
    }
    double once = 1 / points[c->worst].chance;
    return po_arena_printf(arena,
                           "%s: in %s %lld of %lld failed, where %.1f of 100 is usual; chance does that %sonce in %.0f "
                           "periods: look at what was different.",
                           name, period ? period : "one period", (long long)p->failed, (long long)p->n, 100 * c->centre,
                           once > 10000 ? "less than " : "", fmin(10000, once));
}

const char *po_wear_life_says(const char *name, const po_wear_life *l, po_arena *arena)
{
    if (l->verdict == PO_WEAR_TOO_FEW) {
        return po_arena_printf(arena, "%s: %zu failed and %zu still run%s: too few to tell (%d failures are needed).",
                               name, l->failed, l->running, l->running == 1 ? "s" : "", PO_WEAR_FEW);
    }
    const char *tenth = or_none(hours(l->tenth, arena)), *low = or_none(hours(l->tenth_low, arena));
    const char *high = or_none(hours(l->tenth_high, arena));
    if (l->verdict == PO_WEAR_WORSE) {
        return po_arena_printf(arena,
                               "%s wears out: a tenth have failed by %s (%s to %s). Replaced by then, nine of ten do "
                               "not fail at work.",
                               name, tenth, low, high);
    }
    if (l->verdict == PO_WEAR_BETTER) {
        return po_arena_printf(arena,
                               "%s fails early or not for long: look at how it is fitted, and at the parts bought; "
                               "replacing old ones makes it worse.",
                               name);
    }
    return po_arena_printf(arena,
                           "%s fails about as often old as new (mean life %s): replacing it before it fails gains "
                           "nothing; keep one in hand.",
                           name, or_none(hours(l->mean, arena)));
}

const char *po_wear_machine_says(const char *name, const po_wear_machine *m, po_arena *arena)
{
    const char *counts = or_none(po_arena_printf(arena, "%lld of %lld runs failed, %.1f expected of its jobs",
                                                 (long long)m->failed, (long long)m->n, m->expected));
    switch (m->verdict) {
    case PO_WEAR_WORSE:
        return po_arena_printf(arena,
                               "%s fails more than the others with the same jobs: %s (likely %.1f times, %.1f to "
                               "%.1f). Look at what failed there first.",
                               name, counts, m->ratio, m->ratio_low, m->ratio_high);
    case PO_WEAR_BETTER:
        return po_arena_printf(arena, "%s fails less than the others with the same jobs: %s.", name, counts);
    case PO_WEAR_TOO_FEW:
        return po_arena_printf(arena, "%s: %s; too few to tell.", name, counts);
    case PO_WEAR_STEADY:
        break;
    }
    return po_arena_printf(arena, "%s fails like the others: %s.", name, counts);
}

/* Exceptions to the weekly hours. SPDX-License-Identifier: Apache-2.0
 *
 * Those of one kind are joined where they overlap or touch on the wall's clock, so that they lie apart in rising order and one is found by
 * halving: a shop may bring along tens of thousands (files of holidays, of a whole house's bookings). */
#include "shop/excepted.h"

#include <stdlib.h>

#include "shop/values.h"

int po_wall_order(po_wall_time a, po_wall_time b)
{
    int days = po_date_order(a.date, b.date);
    return days != 0 ? days : (a.minute > b.minute) - (a.minute < b.minute);
}

static int by_wall(const void *a, const void *b)
{
    const po_wall_span *x = a, *y = b;
    int from = po_wall_order(x->from, y->from);
    return from ? from : po_wall_order(x->until, y->until);
}

po_status po_shop_lay_exceptions(po_shop *shop, po_arena *arena, po_err *err)
{
    for (int kind = 0; kind < PO_SHOP_EFFECTS; kind++) {
        size_t n = 0, kept = 0;
        po_wall_span *spans = po_arena_zeros(arena, shop->n_exceptions + 1, sizeof *spans);
        if (!spans) {
            return po_fail(err, PO_E_NOMEM, "no memory for the calendar");
        }
        for (size_t i = 0; i < shop->n_exceptions; i++) {
            const po_shop_exception *e = &shop->exceptions[i];
            if ((int)e->effect == kind && po_wall_order(e->from, e->until) < 0) {
                spans[n++] = (po_wall_span){e->from, e->until};
            }
        }
        qsort(spans, n, sizeof *spans, by_wall);
        for (size_t i = 0; i < n; i++) {
            po_wall_span *last = kept ? &spans[kept - 1] : NULL;
            if (last && po_wall_order(spans[i].from, last->until) <= 0) {
                last->until = po_wall_order(spans[i].until, last->until) > 0 ? spans[i].until : last->until;
            } else {
                spans[kept++] = spans[i];
            }
        }
        shop->excepted[kind] = spans;
        shop->n_excepted[kind] = kept;
    }
    return PO_OK;
}

/* The first of a kind that is not over at t. */
static size_t first_open(const po_shop *shop, int kind, po_wall_time t)
{
    size_t low = 0, high = shop->n_excepted[kind];
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (po_wall_order(shop->excepted[kind][middle].until, t) <= 0) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

bool po_shop_excepted(const po_shop *shop, po_wall_time t, po_shop_effect effect)
{
    size_t at = first_open(shop, (int)effect, t);
    return at < shop->n_excepted[effect] && po_wall_order(shop->excepted[effect][at].from, t) <= 0;
}

void po_shop_excepted_next(const po_shop *shop, po_wall_time t, po_wall_time *best)
{
    for (int kind = 0; kind < PO_SHOP_EFFECTS; kind++) {
        size_t at = first_open(shop, kind, t);
        if (at < shop->n_excepted[kind]) {
            const po_wall_span *s = &shop->excepted[kind][at];
            po_wall_time next = po_wall_order(s->from, t) > 0 ? s->from : s->until;
            *best = po_wall_order(next, *best) < 0 ? next : *best;
        }
    }
}

/* by_height made thin, for keeping. SPDX-License-Identifier: Apache-2.0
 *
 * A run that stops at a height is charged by the straight line between two rows, so rows on that line need not be kept. From
 * the last kept row every further row allows a cone of slopes, those of lines that pass it within the tolerance; as long as the
 * line to a row lies in all cones before it, the rows between can go. What is left out is then never off by more than that. */
#include <math.h>

#include "proveout/job.h"

enum { QUANTITIES = 2 };

typedef struct cone {
    double low[QUANTITIES], high[QUANTITIES];
} cone;

static double quantity(const po_height_row *row, int q)
{
    return q == 0 ? row->filament_mm : row->seconds;
}

/* The line from `a` to `b` lies within the cone. */
static bool within(const cone *c, const po_height_row *a, const po_height_row *b)
{
    for (int q = 0; q < QUANTITIES; q++) {
        double slope = (quantity(b, q) - quantity(a, q)) / (b->z - a->z);
        if (!(slope >= c->low[q] && slope <= c->high[q])) {
            return false;
        }
    }
    return true;
}

static void narrow(cone *c, const po_height_row *a, const po_height_row *b, const double off[QUANTITIES])
{
    for (int q = 0; q < QUANTITIES; q++) {
        double rise = quantity(b, q) - quantity(a, q), run = b->z - a->z;
        c->low[q] = fmax(c->low[q], (rise - off[q]) / run);
        c->high[q] = fmin(c->high[q], (rise + off[q]) / run);
    }
}

static size_t thin(const po_height_row *rows, size_t n, const double off[QUANTITIES], size_t *kept)
{
    size_t n_kept = 0, last = 0;
    cone c = {{-INFINITY, -INFINITY}, {INFINITY, INFINITY}};
    kept[n_kept++] = 0;
    for (size_t i = 1; i < n; i++) {
        if (!within(&c, &rows[last], &rows[i])) {
            last = i - 1;
            kept[n_kept++] = last;
            c = (cone){{-INFINITY, -INFINITY}, {INFINITY, INFINITY}};
        }
        narrow(&c, &rows[last], &rows[i], off);
    }
    if (n > 1) {
        kept[n_kept++] = n - 1;
    }
    return n_kept;
}

size_t po_height_rows_thin(const po_height_row *rows, size_t n, double share, size_t most, size_t *ret_kept)
{
    if (n == 0) {
        return 0;
    }
    most = most < 2 ? 2 : most;
    size_t n_kept = 0;
    do {
        double off[QUANTITIES];
        for (int q = 0; q < QUANTITIES; q++) {
            off[q] = share * quantity(&rows[n - 1], q);
        }
        n_kept = thin(rows, n, off, ret_kept);
        share = share > 0 ? share * 1.5 : 1e-6; /* at a share of 1 and more any two rows will do */
    } while (n_kept > most && share < 4);
    return n_kept;
}

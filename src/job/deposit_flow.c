/* The largest mean flow over any three seconds. SPDX-License-Identifier: Apache-2.0
 *
 * The volume laid until a time is piecewise linear; its largest rise over a window of fixed length has the window begin
 * or end at a break point, so both are tried as beads come in. */
#include "job/deposit_flow.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define WINDOW_S 3.0
enum { MOST_POINTS = 1 << 16 };

static bool push(flow_window *w, double t, double f)
{
    if (w->n == w->cap) {
        if (w->cap >= MOST_POINTS) { /* ten thousand beads a second: forget the oldest */
            w->first++;
            w->n--;
            w->tail -= w->tail > 0;
            w->lead -= w->lead > 0;
        } else {
            size_t cap = w->cap ? w->cap * 2 : 256;
            double *nt = malloc(cap * sizeof *nt), *nf = malloc(cap * sizeof *nf);
            if (!nt || !nf) {
                free(nt);
                free(nf);
                return false;
            }
            for (size_t i = 0; i < w->n; i++) {
                nt[i] = w->t[(w->first + i) & (w->cap - 1)];
                nf[i] = w->f[(w->first + i) & (w->cap - 1)];
            }
            free(w->t);
            free(w->f);
            w->t = nt;
            w->f = nf;
            w->first = 0;
            w->cap = cap;
        }
    }
    size_t at = (w->first + w->n++) & (w->cap - 1);
    w->t[at] = t;
    w->f[at] = f;
    return true;
}

static double t_at(const flow_window *w, size_t i)
{
    return w->t[(w->first + i) & (w->cap - 1)];
}

static double f_at(const flow_window *w, size_t i)
{
    return w->f[(w->first + i) & (w->cap - 1)];
}

static double between(const flow_window *w, size_t i, double t)
{
    double t0 = t_at(w, i), t1 = t_at(w, i + 1), f0 = f_at(w, i), f1 = f_at(w, i + 1);
    return t1 > t0 ? f0 + (f1 - f0) * (t - t0) / (t1 - t0) : f1;
}

static void try_window(flow_window *w, double volume, double end, uint64_t line, float x, float y, float z)
{
    double mean = volume / WINDOW_S;
    if (mean > w->best) {
        w->best = mean;
        w->best_at = end;
        w->best_line = line;
        w->best_xyz[0] = x;
        w->best_xyz[1] = y;
        w->best_xyz[2] = z;
    }
}

bool po_flow_add(flow_window *w, double start, double seconds, double volume, uint64_t line, float x, float y, float z)
{
    if (w->n == 0 || t_at(w, w->n - 1) < start - 1e-9) { /* nothing was laid in between */
        if (!push(w, start, w->volume)) {
            return false;
        }
    }
    w->volume += volume;
    double end = fmax(start + seconds, t_at(w, w->n - 1));
    if (!push(w, end, w->volume)) {
        return false;
    }
    /* windows that end now */
    double from = end - WINDOW_S;
    while (w->tail + 2 < w->n && t_at(w, w->tail + 1) <= from) {
        w->tail++;
    }
    double before = t_at(w, w->tail) >= from ? f_at(w, w->tail) : between(w, w->tail, from);
    try_window(w, w->volume - before, end, line, x, y, z);
    /* windows that begin at a break point and end within what was added last */
    while (w->lead + 1 < w->n && t_at(w, w->lead) + WINDOW_S <= end) {
        double until = t_at(w, w->lead) + WINDOW_S;
        size_t k = w->n - 2;
        while (k > w->lead && t_at(w, k) > until) {
            k--;
        }
        try_window(w, between(w, k, until) - f_at(w, w->lead), until, line, x, y, z);
        w->lead++;
    }
    /* points before both ends are done with */
    size_t done = w->tail < w->lead ? w->tail : w->lead;
    if (done > 0) {
        w->first = (w->first + done) & (w->cap - 1);
        w->n -= done;
        w->tail -= done;
        w->lead -= done;
    }
    return true;
}

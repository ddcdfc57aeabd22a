/* The largest scale that an allowance pays for. SPDX-License-Identifier: Apache-2.0
 *
 * Filament grows with scale, steeper than its square and flatter than its cube, in small steps where a layer or a wall
 * loop comes in. A few estimates of few layers find where it is, by secants in logarithms; then full ones bracket the
 * place and close in on it by halves. The answer is the bracket's lower end: an estimate for it is within the
 * allowance. */
#include "part/estimate.h"

#include <math.h>

enum { LOOKS = 8, ROUNDS = 24, STEPS_OF_PROGRESS = 16 };
static const double SMALLEST = 0.05, WITHIN = 1.001, POWER = 2.5, NEAR = 0.002, FEW_LAYERS = 48;

typedef struct search {
    const po_mesh *mesh;
    const po_estimate_setup *asked;
    po_estimate_setup setup;
    uint32_t times;
    uint64_t step; /* estimates so far */
    po_err *err;
} search;

static bool tell(uint64_t done, uint64_t total, void *user)
{
    const search *s = user;
    uint64_t step = s->step < STEPS_OF_PROGRESS ? s->step : STEPS_OF_PROGRESS - 1;
    return s->asked->progress(step * total + done, STEPS_OF_PROGRESS * total, s->asked->user);
}

/* Filament for all copies at a scale. */
static po_status need(search *s, double scale, bool full, double *ret_mm)
{
    po_estimate e;
    s->setup.scale = scale;
    po_status st = po_est_run(s->mesh, &s->setup, false, full ? PO_EST_LAYERS_MOST : (size_t)FEW_LAYERS, &e, s->err);
    s->step++;
    if (st == PO_OK) {
        *ret_mm = s->times * (e.filament_mm - e.once_mm) + e.once_mm;
    }
    return st;
}

/* About where it is. */
static po_status look(search *s, double most_mm, double most_scale, double *ret_scale)
{
    double x = fmin(fmax(1, SMALLEST), most_scale), before_x = 0, before_mm = 0, mm = 0, power = POWER;
    for (int i = 0; i < LOOKS; i++) {
        po_status st = need(s, x, false, &mm);
        if (st != PO_OK) {
            return st;
        }
        if (!(mm > 0) || fabs(mm / most_mm - 1) < NEAR) {
            break;
        }
        if (before_x > 0 && fabs(log(x / before_x)) > 1e-6) {
            power = fmin(fmax(log(mm / before_mm) / log(x / before_x), 1.5), 3.2);
        }
        before_x = x;
        before_mm = mm;
        x = fmin(fmax(x * pow(most_mm / mm, 1 / power), SMALLEST), most_scale);
        if (x == before_x) {
            break; /* at an end */
        }
    }
    *ret_scale = x;
    return PO_OK;
}

/* From x outwards until one scale fits and a larger one does not, or an end is reached. */
static po_status bracket(search *s, double most_mm, double most_scale, double x, double *low, double *high)
{
    double wider = 1.003, mm;
    *low = 0;
    *high = INFINITY;
    for (;;) {
        po_status st = need(s, x, true, &mm);
        if (st != PO_OK) {
            return st;
        }
        if (mm <= most_mm) {
            *low = x;
            if (isfinite(*high) || x >= most_scale) {
                return PO_OK;
            }
            x = fmin(x * wider, most_scale);
        } else {
            *high = x;
            if (*low > 0 || x <= SMALLEST) {
                return PO_OK;
            }
            x = fmax(x / wider, SMALLEST);
        }
        wider = 1 + 4 * (wider - 1);
    }
}

po_status po_part_scale_for(const po_mesh *mesh, const po_estimate_setup *setup, double most_mm, uint32_t times,
                            double most_scale, po_arena *arena, double *ret_scale, po_err *err)
{
    (void)arena;
    if (!(most_mm > 0 && isfinite(most_mm)) || times == 0 || !(most_scale >= SMALLEST && most_scale < 1e6)) {
        return po_fail(err, PO_E_RANGE, "%g mm for %u copies at a scale up to %g: nothing to solve for", most_mm, times,
                       most_scale);
    }
    search s = {.mesh = mesh, .asked = setup, .setup = *setup, .times = times, .err = err};
    s.setup.progress = setup->progress ? tell : NULL;
    s.setup.user = &s;
    double x, low, high;
    po_status st = look(&s, most_mm, most_scale, &x);
    if (st == PO_OK) {
        st = bracket(&s, most_mm, most_scale, x, &low, &high);
    }
    if (st != PO_OK) {
        return st;
    }
    for (int i = 0; i < ROUNDS && low > 0 && high > low * WITHIN && isfinite(high); i++) {
        double mm, mid = sqrt(low * high);
        st = need(&s, mid, true, &mm);
        if (st != PO_OK) {
            return st;
        }
        if (mm <= most_mm) {
            low = mid;
        } else {
            high = mid;
        }
    }
    *ret_scale = low > 0 ? low : NAN;
    return PO_OK;
}

/* The largest scale that an allowance pays for. SPDX-License-Identifier: Apache-2.0
 *
 * Filament grows with scale, steeper than its square and flatter than its cube, in small steps where a layer or a wall
 * loop comes in. A few estimates of few layers find where it is, by secants in logarithms; then full ones bracket the
 * place and close in on it by halves. The answer is the bracket's lower end: an estimate for it is within the
 * allowance. */
#include "part/estimate.h"

#include <math.h>

enum { LOOKS = 6, ROUNDS = 40, STEPS_OF_PROGRESS = 12, FEW_LAYERS = 32 };
static const double SMALLEST = 0.05, WITHIN = 1.001, POWER = 2.5, LEAST_POWER = 1.5, MOST_POWER = 3.2, NEAR = 0.001;

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
    po_status st = po_est_run(s->mesh, &s->setup, false, full ? PO_EST_LAYERS_MOST : FEW_LAYERS, &e, s->err);
    s->step++;
    if (st == PO_OK) {
        *ret_mm = s->times * (e.filament_mm - e.once_mm) + e.once_mm;
    }
    return st;
}

static double stepped(double x, double most_mm, double mm, double power)
{
    return mm > 0 ? x * pow(most_mm / mm, 1 / power) : HUGE_VAL;
}

/* About where it is, and by what power of the scale filament grows there. */
static po_status look(search *s, double most_mm, double most_scale, double *ret_scale, double *ret_power)
{
    double x = fmin(fmax(1, SMALLEST), most_scale), before_x = 0, before_mm = 0, mm = 0, power = POWER;
    for (int i = 0; i < LOOKS; i++) {
        po_status st = need(s, x, false, &mm);
        if (st != PO_OK) {
            return st;
        }
        if (before_x > 0 && fabs(log(x / before_x)) > 1e-6) {
            power = fmin(fmax(log(mm / before_mm) / log(x / before_x), LEAST_POWER), MOST_POWER);
        }
        before_x = x;
        before_mm = mm;
        x = fmin(fmax(stepped(x, most_mm, mm, power), SMALLEST), most_scale);
        if (fabs(x / before_x - 1) < NEAR) {
            break;
        }
    }
    *ret_scale = x;
    *ret_power = power;
    return PO_OK;
}

/* From x on, until one scale fits and another one, hardly larger, does not, or an end is reached: low is 0 where none
 * fits. Each step aims a little past where the allowance should be met, then farther past; every third goes half-way. */
static po_status close_in(search *s, double most_mm, double most_scale, double x, double power, double *low)
{
    double high = INFINITY, past = 1 + (WITHIN - 1) / 2.5, mm;
    *low = 0;
    for (int i = 0; i < ROUNDS; i++) {
        po_status st = need(s, x, true, &mm);
        if (st != PO_OK) {
            return st;
        }
        bool fits = mm <= most_mm;
        *(fits ? low : &high) = x;
        if (fits ? x >= most_scale : x <= SMALLEST) {
            return PO_OK;
        }
        if (high <= *low * WITHIN) {
            return PO_OK;
        }
        double aim = stepped(x, most_mm, mm, power);
        x = fits ? fmin(fmax(aim, x) * past, most_scale) : fmax(fmin(aim, x) / past, SMALLEST);
        if (*low > 0 && isfinite(high) && (x <= *low || x >= high || i % 3 == 2)) {
            x = sqrt(*low * high);
        }
        past = 1 + 3 * (past - 1);
    }
    return PO_OK;
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
    double x, power, low;
    po_status st = look(&s, most_mm, most_scale, &x, &power);
    if (st == PO_OK) {
        st = close_in(&s, most_mm, most_scale, x, power, &low);
    }
    if (st == PO_OK) {
        *ret_scale = low > 0 ? low : NAN;
    }
    return st;
}

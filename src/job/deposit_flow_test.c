/* The sliding three seconds against a search over a fine grid of windows. SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>

#include "job/deposit_flow.h"

static uint32_t seed = 3;
static double rnd(void)
{
    seed = seed * 1664525u + 1013904223u;
    return seed / 4294967296.0;
}

static double volume_until(const double *start, const double *secs, const double *vol, int n, double t)
{
    double sum = 0;
    for (int i = 0; i < n; i++) {
        double share = t <= start[i] ? 0 : t >= start[i] + secs[i] ? 1 : (t - start[i]) / secs[i];
        sum += share * vol[i];
    }
    return sum;
}

static void agrees_with_a_search(void **state)
{
    (void)state;
    for (int round = 0; round < 200; round++) {
        enum { N = 60 };
        double start[N], secs[N], vol[N], t = rnd();
        flow_window w = {0};
        for (int i = 0; i < N; i++) {
            t += i % 4 == 0 ? rnd() * (round % 3) : 0; /* travels now and then */
            start[i] = t;
            secs[i] = 0.01 + rnd() * (round % 5 ? 0.3 : 4);
            vol[i] = secs[i] * rnd() * 12;
            t += secs[i];
            assert_true(po_flow_add(&w, start[i], secs[i], vol[i], (uint64_t)i, 0, 0, 0));
        }
        double best = 0;
        for (int i = 0; i < N; i++) { /* a window begins or ends at a break point */
            double at[2] = {start[i], start[i] + secs[i]};
            for (int k = 0; k < 2; k++) {
                best = fmax(best,
                            volume_until(start, secs, vol, N, at[k] + 3) - volume_until(start, secs, vol, N, at[k]));
                best = fmax(best,
                            volume_until(start, secs, vol, N, at[k]) - volume_until(start, secs, vol, N, at[k] - 3));
            }
        }
        assert_true(fabs(w.best * 3 - best) < 1e-9 * fmax(1, best));
        free(w.t);
        free(w.f);
    }
}

static void steady_flow_is_itself(void **state)
{
    (void)state;
    /* Q = A v: 0.081415927 mm2 at 60 mm/s is 4.884956 mm3/s (handbook 2.1) */
    flow_window w = {0};
    for (int i = 0; i < 100000; i++) {
        assert_true(po_flow_add(&w, i * 0.001, 0.001, 0.081415927 * 60 * 0.001, 1, 0, 0, 0));
    }
    assert_true(fabs(w.best - 4.884956) < 1e-5);
    assert_true(w.cap <= 8192); /* bounded by three seconds, not by the job */
    free(w.t);
    free(w.f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(agrees_with_a_search), cmocka_unit_test(steady_flow_is_itself)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

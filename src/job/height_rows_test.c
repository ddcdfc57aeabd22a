/* by_height made thin: how far off, how many rows. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "proveout/job.h"

enum { MOST = 1000 };

/* The largest share of the whole by which the line between kept rows misses a row, looked at row by row. */
static double worst(const po_height_row *rows, size_t n, const size_t *kept, size_t n_kept)
{
    double off = 0;
    for (size_t k = 1; k < n_kept; k++) {
        const po_height_row *a = &rows[kept[k - 1]], *b = &rows[kept[k]];
        for (size_t i = kept[k - 1]; i <= kept[k]; i++) {
            double t = (rows[i].z - a->z) / (b->z - a->z);
            off = fmax(off, fabs(a->filament_mm + t * (b->filament_mm - a->filament_mm) - rows[i].filament_mm) /
                                rows[n - 1].filament_mm);
            off = fmax(off, fabs(a->seconds + t * (b->seconds - a->seconds) - rows[i].seconds) / rows[n - 1].seconds);
        }
    }
    return off;
}

/* A prism takes the same for each layer: two rows say it all. */
static void a_straight_line_is_two_rows(void **state)
{
    (void)state;
    po_height_row rows[MOST];
    size_t kept[MOST];
    for (size_t i = 0; i < MOST; i++) {
        double z = 0.2 * (double)(i + 1);
        rows[i] = (po_height_row){z, 30 * z, 0, 300 + 12 * z};
    }
    assert_int_equal(po_height_rows_thin(rows, MOST, 0.0005, 400, kept), 2);
    assert_int_equal(kept[0], 0);
    assert_int_equal(kept[1], MOST - 1);
}

/* A cone's layers shrink; a wide lid, then a narrow neck, makes a corner: within the share everywhere, and few. */
static void curves_keep_what_they_need(void **state)
{
    (void)state;
    po_height_row rows[MOST];
    size_t kept[MOST];
    double filament = 0, seconds = 200;
    for (size_t i = 0; i < MOST; i++) {
        double z = 0.2 * (double)(i + 1), radius = z < 60 ? 60 - z * 0.8 : z < 61 ? 80 : 6;
        filament += radius * radius * 0.01;
        seconds += 4 + radius * radius * 0.004 + (i % 2 ? 1.5 : 0); /* every other layer turns otherwise */
        rows[i] = (po_height_row){z, filament, 0, seconds};
    }
    for (double share = 0.01; share > 1e-5; share /= 3) {
        size_t n = po_height_rows_thin(rows, MOST, share, MOST, kept);
        assert_true(worst(rows, MOST, kept, n) <= share * (1 + 1e-9));
        assert_true(share < 0.0004 || n < 40);
    }
    size_t n = po_height_rows_thin(rows, MOST, 0, 20, kept); /* as good as 20 rows can be */
    assert_true(n <= 20 && n >= 10);
    assert_true(worst(rows, MOST, kept, n) < 0.01);
}

static void few_rows(void **state)
{
    (void)state;
    po_height_row rows[3] = {{0.2, 10, 0, 100}, {0.4, 10, 0, 400}, {0.6, 30, 0, 500}};
    size_t kept[3];
    assert_int_equal(po_height_rows_thin(rows, 0, 0.001, 400, kept), 0);
    assert_int_equal(po_height_rows_thin(rows, 1, 0.001, 400, kept), 1);
    assert_int_equal(po_height_rows_thin(rows, 2, 0.001, 400, kept), 2);
    assert_int_equal(po_height_rows_thin(rows, 3, 0.001, 400, kept), 3);
    assert_int_equal(po_height_rows_thin(rows, 3, 0.001, 2, kept), 2);
    assert_int_equal(kept[1], 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_straight_line_is_two_rows),
        cmocka_unit_test(curves_keep_what_they_need),
        cmocka_unit_test(few_rows),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

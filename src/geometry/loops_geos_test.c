/* Clipping and offsets against GEOS, where that is installed. SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "geometry/clip_test.h"
#include "geometry/loops_geos.h"

static shape *sa, *sb;

static int begin(void **state)
{
    (void)state;
    sa = calloc(1, sizeof *sa);
    sb = calloc(1, sizeof *sb);
    return sa && sb ? 0 : -1;
}

static int end(void **state)
{
    (void)state;
    free(sa);
    free(sb);
    return 0;
}

static void fill(int round, double size)
{
    *sa = *sb = (shape){0};
    for (int i = 0; i < 1 + round % 4; i++) {
        int n = 3 + (int)some(round % 10 == 0 ? 150 : 20);
        if (round % 3 == 0) {
            shape_tangle(sa, n, size, 0);
            shape_tangle(sb, n, size, 7);
        } else {
            shape_ring(sa, size * some_unit(), size * some_unit(), size * (some_unit() - 0.3), n, 0.3, 4, some_unit());
            shape_ring(sb, size * some_unit(), size * some_unit(), size * (some_unit() - 0.3), n, 0.2, 5, some_unit());
        }
    }
}

/* Area of what is in one only, by the way that is being tested and by GEOS. */
static double differ(const po_loops *a, const po_loops *b, po_arena *arena)
{
    double sum = 0;
    for (int i = 0; i < 4; i++) {
        po_loops r;
        po_err err;
        const po_loops *p = i % 2 ? b : a, *q = i % 2 ? a : b;
        assert_int_equal((i < 2 ? po_loops_clip : po_geos_clip)(p, q, PO_CLIP_LESS, arena, &r, &err), PO_OK);
        sum += area_of(&r);
    }
    return sum;
}

static void clips(void **state)
{
    (void)state;
    shape_seed = 9;
    for (int round = 0; round < PO_ROUNDS(40, 12); round++) {
        double size = round % 2 ? 30 : 200;
        fill(round, size);
        po_loops a = shape_loops(sa), b = shape_loops(sb), ours, theirs;
        po_arena *arena = po_arena_new(0);
        po_err err;
        for (int how = 0; how < 3; how++) {
            assert_int_equal(po_loops_clip(&a, &b, (po_clip)how, arena, &ours, &err), PO_OK);
            assert_int_equal(po_geos_clip(&a, &b, (po_clip)how, arena, &theirs, &err), PO_OK);
            /* GEOS works on a grid of 1e-7 mm here: every edge may lie by that much elsewhere */
            double near = 1e-6 * (1 + length_of(&a) + length_of(&b));
            if (fabs(area_of(&ours) - area_of(&theirs)) > near || differ(&ours, &theirs, arena) > 4 * near) {
                fail_msg("round %d, %d: %.9g, GEOS has %.9g, apart %g", round, how, area_of(&ours), area_of(&theirs),
                         differ(&ours, &theirs, arena));
            }
        }
        po_arena_free(arena);
    }
}

/* Arcs are cut otherwise, so both may lie off the true outline by the arc error. */
static void offsets(void **state)
{
    (void)state;
    shape_seed = 9;
    for (int round = 0; round < PO_ROUNDS(40, 12); round++) {
        double size = round % 2 ? 30 : 200, off = 1e-4;
        fill(round, size);
        po_loops a = shape_loops(sa), ours, theirs;
        po_arena *arena = po_arena_new(0);
        po_err err;
        double by = (some_unit() - 0.5) * 6;
        assert_int_equal(po_loops_offset(&a, by, off, arena, &ours, &err), PO_OK);
        assert_int_equal(po_geos_offset(&a, by, off, arena, &theirs, &err), PO_OK);
        double length = length_of(&ours) + length_of(&theirs) + 1;
        if (differ(&ours, &theirs, arena) > 2 * off * length) {
            fail_msg("round %d by %g: %.9g, GEOS has %.9g, apart %g of %g", round, by, area_of(&ours), area_of(&theirs),
                     differ(&ours, &theirs, arena), length);
        }
        po_arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(clips), cmocka_unit_test(offsets)};
    return cmocka_run_group_tests_name("loops against GEOS", tests, begin, end);
}

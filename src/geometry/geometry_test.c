/* Bitmaps, runs, hulls against brute force and closed forms. SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <limits.h>
#include <math.h>
#include <stdlib.h>

#include "geometry/bitmap.h"
#include "geometry/hull.h"
#include "geometry/relief.h"

static uint32_t seed = 7;
static double rnd(void) /* 0..1, Numerical Recipes' quick generator */
{
    seed = seed * 1664525u + 1013904223u;
    return seed / 4294967296.0;
}

static double distance(double px, double py, double ax, double ay, double bx, double by)
{
    double dx = bx - ax, dy = by - ay, l2 = dx * dx + dy * dy;
    double t = l2 > 0 ? ((px - ax) * dx + (py - ay) * dy) / l2 : 0;
    t = t < 0 ? 0 : t > 1 ? 1 : t;
    return hypot(px - ax - t * dx, py - ay - t * dy);
}

static void lines_agree_with_distances(void **state)
{
    (void)state;
    po_bitmap map;
    assert_true(po_bitmap_init(&map, 200, 150));
    for (int n = 0; n < 3000; n++) {
        float ax = (float)(rnd() * 240 - 20), ay = (float)(rnd() * 190 - 20), len = (float)(n % 3 ? 12 : 150);
        float bx = ax + (float)(rnd() - 0.5) * len, by = n % 5 ? ay + (float)(rnd() - 0.5) * len : ay;
        float r = (float)(0.3 + rnd() * 6);
        if (n % 7 == 0) {
            bx = ax;
        }
        po_bitmap_line(&map, ax, ay, bx, by, r);
        for (int y = 0; y < 150; y++) {
            for (int x = 0; x < 200; x++) {
                double d = distance(x + 0.5, y + 0.5, ax, ay, bx, by);
                if (fabs(d - (double)r) > 2e-3) { /* single precision decides on the rim itself */
                    assert_int_equal(po_bitmap_at(&map, x, y), d < (double)r);
                }
            }
        }
        int row = INT_MIN;
        int32_t lo[PO_SPAN_ROWS], hi[PO_SPAN_ROWS];
        long cells = 0, want = 0;
        for (int k; (k = po_line_spans(ax, ay, bx, by, r, &row, lo, hi)) > 0;) {
            for (int i = 0; i < k; i++) {
                int y = row - k + i;
                for (int x = lo[i]; x <= hi[i]; x++) {
                    cells += x >= 0 && x < 200 && y >= 0 && y < 150;
                }
            }
        }
        for (int y = 0; y < 150; y++) {
            for (int x = 0; x < 200; x++) {
                want += po_bitmap_at(&map, x, y);
            }
        }
        assert_int_equal(cells, want);
        po_bitmap_clear(&map);
        if (n < 20) {
            for (size_t i = 0; i < map.stride * 150; i++) {
                assert_true(map.bits[i] == 0);
            }
        }
    }
    po_bitmap_done(&map);
}

static void reliefs_agree_with_spans(void **state)
{
    (void)state;
    enum { W = 230, H = 170 };
    static float want_z[W * H];
    static uint16_t want_label[W * H];
    po_relief r;
    assert_true(po_relief_init(&r, W, H));
    float highest = 0;
    for (int n = 0; n < 4000; n++) {
        float reach = n % 4 ? 15 : 180, radius = (float)(0.4 + rnd() * 5), edge = radius + 2;
        float ax = edge + (float)rnd() * (W - 2 * edge), ay = edge + (float)rnd() * (H - 2 * edge);
        float bx = ax + (float)(rnd() - 0.5) * reach, by = n % 5 ? ay + (float)(rnd() - 0.5) * reach : ay;
        bx = bx < edge ? edge : bx > W - edge ? W - edge : bx;
        by = by < edge ? edge : by > H - edge ? H - edge : by;
        bool top = n % 3 != 0;
        float z = top ? highest : (float)rnd() * highest;
        highest += 0.01f;
        uint16_t label = (uint16_t)(1 + rnd() * 60000);
        int part = (int)(rnd() * 30) * 8; /* in two goes */
        po_relief_line(&r, ax, ay, bx, by, radius, 0, part, z, label, top);
        po_relief_line(&r, ax, ay, bx, by, radius, part, 240, z, label, top);
        int row = INT_MIN;
        int32_t lo[PO_SPAN_ROWS], hi[PO_SPAN_ROWS];
        for (int k; (k = po_line_spans(ax, ay, bx, by, radius, &row, lo, hi)) > 0;) {
            for (int i = 0; i < k; i++) {
                for (int x = lo[i], y = row - k + i; x <= hi[i]; x++) {
                    want_z[y * W + x] = want_z[y * W + x] > z ? want_z[y * W + x] : z;
                    want_label[y * W + x] = label;
                }
            }
        }
        if (n % 7 == 0) { /* spans of every alignment */
            int y = (int)(rnd() * H), x0 = (int)(rnd() * W), x1 = x0 + (int)(rnd() * 30);
            x1 = x1 > W ? W : x1;
            po_relief_span(&r, y, x0, x1, z, label, top);
            for (int x = x0; x < x1; x++) {
                want_z[y * W + x] = want_z[y * W + x] > z ? want_z[y * W + x] : z;
                want_label[y * W + x] = label;
            }
        }
        if (n % 7 == 0) { /* heights alone, labels alone */
            int y = (int)(rnd() * H), x0 = (int)(rnd() * (W - 20)), x1 = x0 + (int)(rnd() * 20);
            float up = (float)rnd() * highest * 1.1f;
            po_relief_raise(&r, x0, y, up);
            want_z[y * W + x0] = want_z[y * W + x0] > up ? want_z[y * W + x0] : up;
            highest = up > highest ? up : highest;
            po_relief_label_span(&r, y, x0, x1, (uint16_t)(label ^ 1));
            for (int x = x0; x < x1; x++) {
                want_label[y * W + x] = (uint16_t)(label ^ 1);
            }
        }
        if (n % 50 == 0) {
            po_bitmap map;
            assert_true(po_bitmap_init(&map, W, H));
            po_cells area = {(int)(rnd() * 100), (int)(rnd() * 100), W - (int)(rnd() * 100), H - (int)(rnd() * 60)};
            po_relief_at_least(&r, area, z, &map);
            for (int y = 0; y < H; y++) {
                for (int x = 0; x < W; x++) {
                    uint16_t found;
                    assert_true(po_relief_height(&r, x, y) == want_z[y * W + x]);
                    assert_true(po_relief_look(&r, x, y, &found) == want_z[y * W + x]);
                    assert_int_equal(found, want_label[y * W + x]);
                    for (int k = po_relief_alike(&r, x, y); k > 1 && x + k <= W; k--) {
                        assert_true(want_z[y * W + x + k - 1] == want_z[y * W + x]);
                        assert_int_equal(want_label[y * W + x + k - 1], found);
                    }
                    assert_int_equal(po_relief_label(&r, x, y), found);
                    if (x >= area.x0 && x < area.x1 && y >= area.y0 && y < area.y1) {
                        assert_int_equal(po_bitmap_at(&map, x, y), want_z[y * W + x] >= z);
                    }
                }
            }
            po_bitmap_done(&map);
        }
    }
    po_relief_done(&r);
}

static int flood(const po_bitmap *map, int *label, int x, int y, int id, bool empty, bool near)
{
    /* a plain stack flood fill as the reference */
    static int stack[200 * 150 * 12 * 2];
    int n = 0, cells = 0;
    stack[n++] = x;
    stack[n++] = y;
    while (n) {
        y = stack[--n];
        x = stack[--n];
        if (x < 0 || y < 0 || x >= map->width || y >= map->height || label[y * map->width + x] ||
            po_bitmap_at(map, x, y) == empty) {
            continue;
        }
        label[y * map->width + x] = id;
        cells++;
        for (int dy = -1; dy <= 1; dy++) {
            for (int dx = -1; dx <= 1; dx++) {
                if ((dx || dy) && (!empty || dx == 0 || dy == 0)) {
                    stack[n++] = x + dx;
                    stack[n++] = y + dy;
                }
            }
        }
        for (int k = 0; near && k < 4; k++) { /* over one empty cell, straight */
            stack[n++] = x + (k < 2 ? 4 * k - 2 : 0);
            stack[n++] = y + (k < 2 ? 0 : 4 * k - 10);
        }
    }
    return cells;
}

static void pieces_agree_with_a_flood_fill(void **state)
{
    (void)state;
    po_bitmap map;
    po_runs runs = {0};
    assert_true(po_bitmap_init(&map, 90, 70));
    for (int n = 0; n < 300; n++) {
        po_bitmap_clear(&map);
        int k = (int)(rnd() * 12);
        for (int i = 0; i < k; i++) {
            po_bitmap_line(&map, (float)(rnd() * 90), (float)(rnd() * 70), (float)(rnd() * 90), (float)(rnd() * 70),
                           (float)(0.5 + rnd() * 3));
        }
        for (int way = 0; way < 3; way++) {
            int empty = way == 1;
            static int label[90 * 70];
            for (int i = 0; i < 90 * 70; i++) {
                label[i] = 0;
            }
            int id = 0;
            for (int y = 0; y < 70; y++) {
                for (int x = 0; x < 90; x++) {
                    if (!label[y * 90 + x] && po_bitmap_at(&map, x, y) != empty) {
                        flood(&map, label, x, y, ++id, empty, way == 2);
                    }
                }
            }
            assert_true(po_runs_find(&runs, &map, (po_cells){0, 0, 90, 70}, empty));
            assert_true(way != 2 || po_runs_join_near(&runs));
            assert_int_equal(runs.n_pieces, id);
            for (int y = 0; y < 70; y++) {
                for (int x = 0; x < 90; x++) {
                    const po_run *run = po_runs_at(&runs, x, y);
                    assert_int_equal(run != NULL, po_bitmap_at(&map, x, y) != empty);
                    if (run) { /* both number pieces in the order of their first cell */
                        assert_int_equal((int)run->piece + 1, label[y * 90 + x]);
                    }
                }
            }
        }
    }
    po_runs_done(&runs);
    po_bitmap_done(&map);
}

static void erosion_agrees_with_a_search(void **state)
{
    (void)state;
    po_bitmap map, out;
    assert_true(po_bitmap_init(&map, 200, 60));
    assert_true(po_bitmap_init(&out, 200, 60));
    for (int n = 0; n < 40; n++) {
        po_bitmap_clear(&map);
        po_bitmap_clear(&out);
        for (int i = 0; i < 8; i++) {
            po_bitmap_line(&map, (float)(rnd() * 200), (float)(rnd() * 60), (float)(rnd() * 200), (float)(rnd() * 60),
                           (float)(3 + rnd() * 8));
        }
        int side = 1 + (int)(rnd() * 14), x0 = (int)(rnd() * 70), x1 = 130 + (int)(rnd() * 70);
        bool empty = n & 1;
        po_cells area = {x0, 5, x1, 55};
        po_bitmap_erode(&map, area, empty, side, &out);
        for (int y = 5; y < 55; y++) {
            for (int x = x0; x < x1; x++) {
                bool all = x + side <= x1 && y + side <= 55;
                for (int j = 0; all && j < side; j++) {
                    for (int i = 0; all && i < side; i++) {
                        all = po_bitmap_at(&map, x + i, y + j) != empty;
                    }
                }
                assert_int_equal(po_bitmap_at(&out, x, y), all);
            }
        }
    }
    po_bitmap_done(&map);
    po_bitmap_done(&out);
}

static void inscribed_circles(void **state)
{
    (void)state;
    po_bitmap map;
    po_runs runs = {0};
    assert_true(po_bitmap_init(&map, 400, 300));
    po_bitmap_line(&map, 60, 60, 61, 60, 40);     /* nearly a disc of diameter 80 */
    po_bitmap_line(&map, 150, 200, 380, 210, 12); /* a strip 24 wide */
    assert_true(po_runs_find(&runs, &map, (po_cells){0, 0, 400, 300}, false));
    assert_int_equal(runs.n_pieces, 2);
    assert_true(fabs(po_runs_inscribed(&runs, 0) - 80) < 1.5);
    assert_true(fabs(po_runs_inscribed(&runs, 1) - 24) < 1.5);
    po_runs_done(&runs);
    po_bitmap_done(&map);
}

static void hulls(void **state)
{
    (void)state;
    po_xy p[] = {{0, 0}, {4, 0}, {4, 3}, {0, 3}, {2, 1}, {2, 0}, {4, 3}}, hull[8];
    size_t n = po_hull(p, 7, hull);
    assert_int_equal(n, 4);
    assert_true(po_hull_area(hull, n) == 12);
    assert_true(po_hull_longest_edge(hull, n) == 4);
    assert_true(po_hull_least_width(hull, n) == 3);
    assert_true(po_hull_inset(hull, n, (po_xy){1, 1}) == 1);
    assert_true(po_hull_inset(hull, n, (po_xy){5, 1}) == -1);
    po_xy one[] = {{1, 2}, {1, 2}}, two[] = {{0, 0}, {1, 1}, {2, 2}};
    assert_int_equal(po_hull(one, 2, hull), 1);
    assert_int_equal(po_hull(two, 3, hull), 2);
    for (int k = 0; k < 200; k++) { /* every point lies inside, every corner is a point */
        po_xy q[50], copy[50];
        for (int i = 0; i < 50; i++) {
            q[i] = copy[i] = (po_xy){floor(rnd() * 9), floor(rnd() * 9)};
        }
        po_xy h[51];
        size_t m = po_hull(q, 50, h);
        for (int i = 0; i < 50; i++) {
            assert_true(po_hull_inset(h, m, copy[i]) >= 0);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_agree_with_distances),
        cmocka_unit_test(reliefs_agree_with_spans),
        cmocka_unit_test(pieces_agree_with_a_flood_fill),
        cmocka_unit_test(erosion_agrees_with_a_search),
        cmocka_unit_test(inscribed_circles),
        cmocka_unit_test(hulls),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

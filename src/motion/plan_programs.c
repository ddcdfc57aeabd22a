/* For tests: programs of moves, made by hand or at random from a seed. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "motion/plan_programs.h"

const po_limits limits_wide = {.feed_mm_s = {1e4, 1e4, 1e4, 1e4},
                               .accel_mm_s2 = {1e6, 1e6, 1e6, 1e6},
                               .print_mm_s2 = 1000,
                               .travel_mm_s2 = 2000,
                               .retract_mm_s2 = 500,
                               .corner = PO_CORNER_STEP,
                               .step_mm_s = {8, 8, 8, 8},
                               .deviation_mm = 0.05};

/* shop/quayside.yaml's first and second machine, from memory of the file; only realism hangs on it. */
const po_limits limits_usual[2] = {{.feed_mm_s = {180, 180, 12, 60},
                                    .accel_mm_s2 = {2000, 1600, 120, 4000},
                                    .print_mm_s2 = 1000,
                                    .travel_mm_s2 = 1500,
                                    .retract_mm_s2 = 1200,
                                    .corner = PO_CORNER_STEP,
                                    .step_mm_s = {9, 9, 0.4, 4}},
                                   {.feed_mm_s = {220, 200, 15, 70},
                                    .accel_mm_s2 = {2500, 2000, 150, 5000},
                                    .print_mm_s2 = 1200,
                                    .travel_mm_s2 = 2000,
                                    .retract_mm_s2 = 1500,
                                    .corner = PO_CORNER_DEVIATION,
                                    .deviation_mm = 0.03}};

void program_begin(program *g)
{
    g->n = g->n_arcs = 0;
}

size_t program_add(program *g, const po_limits *l, unsigned kind, double x, double y, double z, double e, double feed)
{
    const size_t i = g->n++;
    assert_true(i < SLOW_MOST);
    g->dx[i] = x;
    g->dy[i] = y;
    g->dz[i] = z;
    g->de[i] = e;
    g->length[i] = sqrt(x * x + y * y + z * z);
    g->feed[i] = feed;
    g->kind[i] = (uint8_t)kind;
    g->limits[i] = *l;
    return i;
}

void program_add_arc(program *g, const po_limits *l, unsigned kind, double radius, double from, double turn, double z,
                     double e, double feed)
{
    const double flat = radius * fabs(turn), length = sqrt(flat * flat + z * z), to = from + turn;
    const double side = turn > 0.0 ? radius : -radius;
    const size_t i = program_add(g, l, kind | PO_MOVE_ARC, side * (sin(to) - sin(from)), side * (cos(from) - cos(to)),
                                 z, e, feed);
    g->length[i] = length;
    g->arcs[g->n_arcs++] = (po_arc_ends){.radius = radius,
                                         .start = {cos(from) * flat / length, sin(from) * flat / length, z / length},
                                         .end = {cos(to) * flat / length, sin(to) * flat / length, z / length}};
}

po_move_block program_slice(const program *g, size_t first, size_t n)
{
    size_t arc = 0, arcs = 0;
    for (size_t i = 0; i < first + n; i++) {
        const int is_arc = (g->kind[i] & PO_MOVE_ARC) != 0;
        arc += i < first && is_arc;
        arcs += i >= first && is_arc;
    }
    return (po_move_block){n,
                           g->dx + first,
                           g->dy + first,
                           g->dz + first,
                           g->de + first,
                           g->length + first,
                           g->feed + first,
                           g->kind + first,
                           g->arcs + arc,
                           arcs};
}

void program_collect(result *r, const po_planned *out)
{
    assert_true(r->n + out->n <= SLOW_MOST);
    for (size_t i = 0; i < out->n; i++) {
        r->seconds[r->n] = out->seconds[i];
        r->top[r->n] = out->top_mm_s[i];
        r->total += out->seconds[i];
        r->n++;
    }
}

static uint64_t draw(uint64_t *seed) /* splitmix64, S. Vigna, public domain */
{
    uint64_t z = (*seed += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

static double uniform(uint64_t *seed, double low, double high)
{
    return low + (high - low) * ((double)(draw(seed) >> 11) * 0x1p-53);
}

void program_run_cut(const program *g, size_t most, uint64_t seed, result *r)
{
    po_planner *p = po_planner_new(&g->limits[0]);
    assert_non_null(p);
    po_planned out;
    r->n = 0;
    r->total = 0.0;
    for (size_t i = 0; i < g->n;) {
        size_t n = most ? draw(&seed) % (most + 1) : g->n;
        n = n < g->n - i ? n : g->n - i;
        for (size_t k = 1; k < n; k++) {
            if (memcmp(&g->limits[i], &g->limits[i + k], sizeof g->limits[i]) != 0) {
                n = k;
            }
        }
        const po_move_block block = program_slice(g, i, n);
        po_planner_limits(p, &g->limits[i]);
        assert_int_equal(po_planner_push(p, &block, &out, NULL), PO_OK);
        program_collect(r, &out);
        i += n;
    }
    assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
    program_collect(r, &out);
    assert_int_equal(r->n, g->n);
    po_planner_free(p);
}

void program_run(const program *g, result *r)
{
    program_run_cut(g, 0, 0, r);
}

void program_random(program *g, const po_limits *limits, size_t n, uint64_t seed)
{
    po_limits l = *limits;
    double heading = 0.0;
    program_begin(g);
    while (g->n < n) {
        const unsigned rest = draw(&seed) % 40 == 0 ? PO_MOVE_REST : 0;
        const double feed = draw(&seed) % 20 == 0 ? 0.0 : uniform(&seed, 5.0, 220.0);
        const double far = draw(&seed) % 3 ? uniform(&seed, 0.02, 2.0) : uniform(&seed, 1.0, 60.0);
        switch (draw(&seed) % 16) {
        case 0:
            heading += M_PI; /* back on itself */
            program_add(g, &l, PO_MOVE_BEAD | rest, far * cos(heading), far * sin(heading), 0, 0.03 * far, feed);
            break;
        case 1:
            program_add(g, &l, PO_MOVE_TRAVEL | rest, 0, 0, draw(&seed) % 2 ? 0.2 : -0.2, 0, feed);
            break;
        case 2:
            program_add(g, &l, PO_MOVE_FEED | rest, 0, 0, 0, draw(&seed) % 2 ? 0.8 : -0.8, feed);
            break;
        case 3:
            program_add(g, &l, PO_MOVE_TRAVEL | rest, uniform(&seed, -30, 30), uniform(&seed, -30, 30), 0, 0, feed);
            break;
        case 4:
            program_add(g, &l, PO_MOVE_TRAVEL | rest, far * cos(heading), far * sin(heading), uniform(&seed, -1, 1),
                        -0.4, feed);
            break;
        case 5:
        case 6: {
            const double turn = uniform(&seed, -6.0, 6.0), climb = draw(&seed) % 3 ? 0.0 : uniform(&seed, 0.0, 0.4);
            const double from = draw(&seed) % 2 ? heading : heading + 1.0;
            program_add_arc(g, &l, PO_MOVE_BEAD | rest, uniform(&seed, 0.3, 20.0), from, turn, climb, 0.5, feed);
            heading = from + turn;
            break;
        }
        case 7:
            if (draw(&seed) % 8 == 0) { /* M201, M204, M205 and the like */
                l.print_mm_s2 = limits->print_mm_s2 * uniform(&seed, 0.3, 1.0);
                l.step_mm_s[0] = limits->step_mm_s[0] * uniform(&seed, 0.3, 1.0);
                l.deviation_mm = limits->deviation_mm * uniform(&seed, 0.3, 1.0);
            }
            break;
        case 8:
        case 9: /* straight on */
            program_add(g, &l, PO_MOVE_BEAD | rest, far * cos(heading), far * sin(heading), 0, 0.03 * far, feed);
            break;
        default:
            heading += draw(&seed) % 4 ? uniform(&seed, -0.4, 0.4) : uniform(&seed, -3.0, 3.0);
            program_add(g, &l, PO_MOVE_BEAD | rest, far * cos(heading), far * sin(heading), 0, 0.03 * far, feed);
        }
    }
}

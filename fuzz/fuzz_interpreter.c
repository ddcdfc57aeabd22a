/* The interpreter alone: lines to moves and happenings, for two ways of reading. SPDX-License-Identifier: Apache-2.0
 * Promises: a block never overflows; every number in it is finite; moves add up to the position; counts only rise; an
 * arc has a shape. */
#include <math.h>
#include <string.h>

#include "fuzz.h"
#include "job/state.h"

static void check_block(const po_moves *m, const po_state *s)
{
    PROMISE(m->n <= PO_BLOCK_MOVES && m->n_events <= PO_BLOCK_EVENTS && m->n_arcs <= m->n);
    double x = m->x0, y = m->y0, z = m->z0;
    size_t arcs = 0;
    for (size_t i = 0; i < m->n; i++) {
        PROMISE(isfinite(m->x[i]) && isfinite(m->y[i]) && isfinite(m->z[i]) && isfinite(m->de[i]));
        PROMISE(isfinite(m->length[i]) && m->length[i] >= 0 && isfinite(m->feed[i]));
        PROMISE(fabs(x + m->dx[i] - m->x[i]) <= 1e-6 * (1 + fabs(m->x[i]) + fabs(x)));
        PROMISE(fabs(y + m->dy[i] - m->y[i]) <= 1e-6 * (1 + fabs(m->y[i]) + fabs(y)));
        PROMISE(fabs(z + m->dz[i] - m->z[i]) <= 1e-6 * (1 + fabs(m->z[i]) + fabs(z)));
        unsigned kind = m->kind[i] & (PO_MOVE_BEAD | PO_MOVE_TRAVEL | PO_MOVE_FEED);
        PROMISE(kind && (kind & (kind - 1)) == 0);
        PROMISE(!(kind & PO_MOVE_BEAD) || (m->de[i] > 0 && m->length[i] > 0));
        if (m->kind[i] & PO_MOVE_ARC) {
            PROMISE(arcs < m->n_arcs && isfinite(m->shapes[arcs].turn) && m->arcs[arcs].radius > 0);
            arcs++;
        }
        x = m->x[i];
        y = m->y[i];
        z = m->z[i];
    }
    PROMISE(arcs == m->n_arcs);
    for (size_t i = 0; i < m->n_events; i++) {
        PROMISE(m->events[i].before <= m->n && (i == 0 || m->events[i].before >= m->events[i - 1].before));
    }
    PROMISE(isfinite(s->pos[0]) && isfinite(s->pos[1]) && isfinite(s->pos[2]) && isfinite(s->e));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    char *text = malloc(n + PO_LINE_PADDING);
    po_moves *moves = calloc(1, sizeof *moves);
    po_state *state = calloc(1, sizeof *state);
    PROMISE(text && moves && state);
    if (n) {
        memcpy(text, data, n);
    }
    memset(text + n, 0, PO_LINE_PADDING);
    for (int follows = 0; follows < 2; follows++) {
        const po_reading reading = {.e_follows_g90 = follows,
                                    .home = {0, 0, follows ? 0 : 345},
                                    .retract_mm = 0.9,
                                    .retract_mm_s = 35,
                                    .home_seconds = 24,
                                    .probe_seconds = 55,
                                    .filament_mm = 1.75};
        const po_limits limits = {.feed_mm_s = {180, 180, 12, 60},
                                  .accel_mm_s2 = {2000, 1600, 120, 4000},
                                  .print_mm_s2 = 1200,
                                  .travel_mm_s2 = 1600,
                                  .retract_mm_s2 = 2500,
                                  .corner = PO_CORNER_STEP,
                                  .step_mm_s = {9, 9, 0.4, 4}};
        po_state_init(state, &reading, &limits);
        po_moves_reset(moves, state);
        uint64_t number = 0, before = 0;
        po_line line = {0};
        for (const char *p = text, *end = text + n; p && p < end;) {
            p = po_line_parse(p, end, true, &line);
            PROMISE(p);
            line.number = ++number;
            po_state_line(state, &line, moves);
            PROMISE(state->n_moves >= before);
            before = state->n_moves;
            if (po_moves_full(moves)) {
                check_block(moves, state);
                po_moves_reset(moves, state);
            }
        }
        check_block(moves, state);
    }
    free(text);
    free(moves);
    free(state);
    return 0;
}

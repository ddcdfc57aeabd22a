/* The nozzle and the head against what stands. SPDX-License-Identifier: Apache-2.0
 *
 * docs/measures.md, "Running into a part". In ordinary jobs nothing stands higher than the nozzle, which one comparison
 * tells; otherwise a map of the highest of each 16 x 16 cells keeps the search short. */
#include <math.h>
#include <stdlib.h>

#include "job/deposit_inside.h"

#define HEAD_STEP_MM 4.0f /* the head's outline is tried this often along a move */
enum { MOST_HITS = 4096 };

static void add_hit(work *w, hit h)
{
    if (w->n_hits == w->cap_hits) {
        size_t cap = w->cap_hits ? w->cap_hits * 2 : 32;
        hit *more = cap > MOST_HITS ? NULL : realloc(w->hits, cap * sizeof *more);
        if (!more) {
            return; /* thousands are as good as more */
        }
        w->hits = more;
        w->cap_hits = cap;
    }
    w->hits[w->n_hits++] = h;
}

/* Material that a nozzle must not meet: of a part, not priming. */
static bool stands(po_deposit *d, int x, int y)
{
    uint16_t label = label_at(d, x, y);
    if (!label) {
        return true;
    }
    const node *n = &d->nodes[label];
    return !n->on_bed || n->foothold || d->nodes[po_node_root(d, label)].foothold;
}

/* Highest cell above floor_z within radius (cells) of a segment; 0 when there is none. */
static float highest_near(po_deposit *d, float ax, float ay, float bx, float by, float radius, float floor_z, float *hx,
                          float *hy)
{
    float best = 0;
    float dx = bx - ax, dy = by - ay, len2 = dx * dx + dy * dy;
    int cx0 = (int)floorf((min_f(ax, bx) - radius) / 16), cx1 = (int)floorf((max_f(ax, bx) + radius) / 16);
    int cy0 = (int)floorf((min_f(ay, by) - radius) / 16), cy1 = (int)floorf((max_f(ay, by) + radius) / 16);
    cx0 = cx0 < 0 ? 0 : cx0;
    cy0 = cy0 < 0 ? 0 : cy0;
    cx1 = cx1 >= (int)d->relief.coarse_across ? (int)d->relief.coarse_across - 1 : cx1;
    cy1 = cy1 >= (int)d->relief.coarse_down ? (int)d->relief.coarse_down - 1 : cy1;
    float far = radius + 11.4f; /* half the diagonal of a coarse square */
    for (int j = cy0; j <= cy1; j++) {
        for (int i = cx0; i <= cx1; i++) {
            if (d->relief.coarse[(size_t)j * d->relief.coarse_across + (size_t)i] <= max_f(floor_z, best)) {
                continue;
            }
            float mx = (float)i * 16 + 8, my = (float)j * 16 + 8;
            float t = len2 > 0 ? ((mx - ax) * dx + (my - ay) * dy) / len2 : 0;
            t = min_f(1, max_f(0, t));
            float ox = mx - ax - t * dx, oy = my - ay - t * dy;
            if (ox * ox + oy * oy > far * far) {
                continue;
            }
            for (int y = j * 16; y < j * 16 + 16 && y < d->height; y++) {
                for (int x = i * 16; x < i * 16 + 16 && x < d->width; x++) {
                    float m = height_at(d, x, y);
                    if (m <= floor_z || m <= best) {
                        continue;
                    }
                    float qx = (float)x + 0.5f, qy = (float)y + 0.5f;
                    float u = len2 > 0 ? ((qx - ax) * dx + (qy - ay) * dy) / len2 : 0;
                    u = min_f(1, max_f(0, u));
                    float ex = qx - ax - u * dx, ey = qy - ay - u * dy;
                    if (ex * ex + ey * ey <= radius * radius && stands(d, x, y)) {
                        best = m;
                        *hx = qx;
                        *hy = qy;
                    }
                }
            }
        }
    }
    return best;
}

static void nozzle_move(po_deposit *d, work *w, float x0, float y0, float z0, float x1, float y1, float z1,
                        uint64_t line, uint32_t bead, float nozzle, float half)
{
    /* a falling or rising move is tried in pieces, so that a drop beside a part is no hit */
    int pieces = fabsf(z1 - z0) > half ? (int)ceilf(min_f(fabsf(z1 - z0) / half, 256)) : 1;
    for (int k = 0; k < pieces; k++) {
        float t0 = (float)k / (float)pieces, t1 = (float)(k + 1) / (float)pieces;
        float z = min_f(z0 + (z1 - z0) * t0, z0 + (z1 - z0) * t1) +
                  (pieces > 1 ? fabsf(z1 - z0) / (float)pieces / 2 : 0);
        if (z + half >= d->highest) {
            continue;
        }
        float hx = 0, hy = 0;
        float top = highest_near(d, cell_x(d, x0 + (x1 - x0) * t0), cell_y(d, y0 + (y1 - y0) * t0),
                                 cell_x(d, x0 + (x1 - x0) * t1), cell_y(d, y0 + (y1 - y0) * t1),
                                 1.5f * nozzle * d->inv_cell, z + half, &hx, &hy);
        if (top > 0) {
            add_hit(w, (hit){line, (float)(d->x0 + (double)(hx * d->cell)), (float)(d->y0 + (double)(hy * d->cell)), z,
                             top - z, bead, UINT16_MAX});
            return;
        }
    }
}

/* Highest cell above floor_z inside the head's outline around the nozzle; 0 when there is none. */
static float under_head(const po_deposit *d, const po_head *head, float x, float y, float floor_z)
{
    int x0 = (int)ceilf(cell_x(d, x - (float)head->left_mm)), x1 = (int)floorf(cell_x(d, x + (float)head->right_mm));
    int y0 = (int)ceilf(cell_y(d, y - (float)head->behind_mm)), y1 = (int)floorf(cell_y(d, y + (float)head->ahead_mm));
    x0 = x0 < 0 ? 0 : x0;
    y0 = y0 < 0 ? 0 : y0;
    x1 = x1 > d->width ? d->width : x1;
    y1 = y1 > d->height ? d->height : y1;
    float best = 0;
    for (int j = y0 / 16; j * 16 < y1; j++) {
        for (int i = x0 / 16; i * 16 < x1; i++) {
            if (d->relief.coarse[(size_t)j * d->relief.coarse_across + (size_t)i] <= max_f(floor_z, best)) {
                continue;
            }
            for (int v = j * 16 > y0 ? j * 16 : y0; v < j * 16 + 16 && v < y1; v++) {
                for (int u = i * 16 > x0 ? i * 16 : x0; u < i * 16 + 16 && u < x1; u++) {
                    float m = height_at(d, u, v);
                    best = m > best && m > floor_z ? m : best;
                }
            }
        }
    }
    return best;
}

/* The head's outline along a straight move; false when it meets something (noted). last: the place tried last. */
static bool head_clears(po_deposit *d, work *w, size_t machine, const float from[3], const float to[3], uint64_t line,
                        uint32_t bead, float last[2])
{
    const po_head *head = &d->machines[machine]->machine->head;
    float dx = to[0] - from[0], dy = to[1] - from[1], dz = to[2] - from[2];
    int n = (int)ceilf(min_f(sqrtf(dx * dx + dy * dy + dz * dz), 4000) / HEAD_STEP_MM);
    for (int k = 0; k <= n; k++) {
        float t = n ? (float)k / (float)n : 0, x = from[0] + dx * t, y = from[1] + dy * t, z = from[2] + dz * t;
        float clear = z + (float)head->clears_mm;
        if ((fabsf(x - last[0]) < HEAD_STEP_MM / 2 && fabsf(y - last[1]) < HEAD_STEP_MM / 2 && fabsf(dz) < 0.1f) ||
            clear >= d->highest) {
            continue;
        }
        last[0] = x;
        last[1] = y;
        float top = under_head(d, head, x, y, clear);
        if (top > 0) {
            add_hit(w, (hit){line, x, y, z, top - clear, bead, (uint16_t)machine});
            return false;
        }
    }
    return true;
}

static void head_moves(po_deposit *d, work *w)
{
    const po_batch *batch = w->batch;
    for (size_t m = 0; m < d->setup.n_machines; m++) {
        const po_head *head = &d->machines[m]->machine->head;
        if (!head->given) {
            continue;
        }
        bool clear = true;
        float last[2] = {1e9f, 1e9f};
        for (size_t i = 0; clear && i < batch->n_passings; i++) {
            const po_passing *p = &batch->passings[i];
            if (min_f(p->z0, p->z1) + (float)head->clears_mm < d->highest) {
                clear = head_clears(d, w, m, (const float[3]){p->x0, p->y0, p->z0},
                                    (const float[3]){p->x1, p->y1, p->z1}, p->line,
                                    p->before_bead ? p->before_bead - 1 : UINT32_MAX, last);
            }
        }
        if (batch->n_beads == 0 || batch->z_low + (float)head->clears_mm >= d->highest) {
            continue;
        }
        for (size_t i = 0; clear && i < batch->n_beads; i++) {
            const po_bead *b = &batch->beads[i];
            clear = head_clears(d, w, m, (const float[3]){b->x0, b->y0, bead_z(b)},
                                (const float[3]){b->x1, b->y1, bead_z(b)}, b->line, (uint32_t)i, last);
        }
    }
}

void po_deposit_hits(po_deposit *d, work *w)
{
    const po_batch *batch = w->batch;
    float h = d->usual_h > 0 ? d->usual_h : 0.2f, half = 0.5f * h;
    float nozzle = (float)d->setup.nozzle_mm[0];
    for (size_t i = 0; i < batch->n_passings; i++) {
        const po_passing *p = &batch->passings[i];
        if (min_f(p->z0, p->z1) + half < d->highest) {
            nozzle_move(d, w, p->x0, p->y0, p->z0, p->x1, p->y1, p->z1, p->line,
                        p->before_bead ? p->before_bead - 1 : UINT32_MAX, nozzle, half);
        }
    }
    for (size_t i = 0; i < batch->n_beads && batch->z_low + half < d->highest; i++) {
        const po_bead *b = &batch->beads[i];
        float z = bead_z(b);
        if (z + half < d->highest) {
            float wide = (float)d->setup.nozzle_mm[b->tool < d->setup.n_tools ? b->tool : 0];
            nozzle_move(d, w, b->x0, b->y0, z, b->x1, b->y1, z, b->line, (uint32_t)i, wide, half);
        }
    }
    head_moves(d, w);
}

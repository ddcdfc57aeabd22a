/* The path that lies next to the left of a point. SPDX-License-Identifier: Apache-2.0
 *
 * Short stretches of the paths stand in a binary tree of boxes; a search keeps the nearest edge so far and leaves out
 * boxes that end before it. All comparisons are exact: an edge's x at a height is a fraction of numbers below 2^41. */
#include "geometry/rings.h"

enum { STRETCH = 8, DEPTH = 32 };

typedef struct box {
    int64_t x0, y0, x1, y1;
} box;

typedef struct stretch {
    uint32_t first, last; /* edges by their starts */
    uint32_t path;
} stretch;

struct po_beside {
    const po_paths *paths;
    stretch *stretches;
    box *level[DEPTH];
    uint32_t n_level[DEPTH];
    int n_levels;
};

static void widen(box *b, const po_spot *p)
{
    b->x0 = p->x < b->x0 ? p->x : b->x0;
    b->x1 = p->x > b->x1 ? p->x : b->x1;
    b->y0 = p->y < b->y0 ? p->y : b->y0;
    b->y1 = p->y > b->y1 ? p->y : b->y1;
}

po_status po_beside_new(const po_paths *paths, po_scratch *scratch, po_beside **ret, po_err *err)
{
    po_beside *r = po_scratch_take(scratch, 1, sizeof *r);
    size_t room = paths->n_points / STRETCH + paths->n_paths + 1;
    stretch *stretches = po_scratch_take(scratch, room, sizeof *stretches);
    box *boxes = po_scratch_take(scratch, room, sizeof *boxes);
    if (!r || !stretches || !boxes) {
        return po_rings_memory(err);
    }
    uint32_t n = 0;
    for (uint32_t i = 0; i < paths->n_paths; i++) {
        const po_path *p = &paths->paths[i];
        for (uint32_t first = p->first; !p->dead && first < p->last; first += STRETCH) {
            uint32_t end = first + STRETCH < p->last ? first + STRETCH : p->last;
            const po_spot *at = &paths->at[first];
            box b = {at->x, at->y, at->x, at->y};
            for (uint32_t k = first + 1; k <= end; k++) {
                widen(&b, &paths->at[k]);
            }
            stretches[n] = (stretch){first, end - 1, i};
            boxes[n++] = b;
        }
    }
    *r = (po_beside){.paths = paths, .stretches = stretches, .n_levels = n > 0};
    r->level[0] = boxes;
    r->n_level[0] = n;
    for (int k = 0; r->n_level[k] > 1; k++) {
        uint32_t m = (r->n_level[k] + 1) / 2;
        box *up = po_scratch_take(scratch, m, sizeof *up);
        if (!up) {
            return po_rings_memory(err);
        }
        for (uint32_t i = 0; i < r->n_level[k]; i++) {
            const box *b = &r->level[k][i];
            if (i % 2 == 0) {
                up[i / 2] = *b;
            } else {
                widen(&up[i / 2], &(po_spot){b->x0, b->y0});
                widen(&up[i / 2], &(po_spot){b->x1, b->y1});
            }
        }
        r->level[k + 1] = up;
        r->n_level[k + 1] = m;
        r->n_levels = k + 2;
    }
    *ret = r;
    return PO_OK;
}

typedef struct nearest {
    const po_spot *low, *high; /* ends of the edge */
    uint32_t path;
    bool up, found;
    int64_t x; /* a whole number not right of where the edge is at the height */
} nearest;

/* Whether edge (a, b) is right of edge (c, d) a trifle above height y; both go up past it. */
static bool is_right_of(const po_spot *a, const po_spot *b, const po_spot *c, const po_spot *d, int64_t y)
{
    int64_t dxe = b->x - a->x, dye = b->y - a->y, dxf = d->x - c->x, dyf = d->y - c->y;
    po_wide here = ((po_wide)(a->x - c->x) * dye + (po_wide)dxe * (y - a->y)) * dyf - (po_wide)dxf * (y - c->y) * dye;
    return here != 0 ? here > 0 : (po_wide)dxe * dyf > (po_wide)dxf * dye;
}

static void try_stretch(const po_beside *r, const stretch *s, po_spot v, nearest *best)
{
    for (uint32_t e = s->first; e <= s->last; e++) {
        const po_spot *a = &r->paths->at[e], *b = a + 1;
        bool up = a->y < b->y;
        if (!up) {
            const po_spot *swap = a;
            a = b;
            b = swap;
        }
        if (!(a->y <= v.y && v.y < b->y)) {
            continue;
        }
        int64_t dx = b->x - a->x, dy = b->y - a->y;
        if (po_spot_cross(dx, dy, v.x - a->x, v.y - a->y) >= 0) {
            continue;
        }
        if (best->found && !is_right_of(a, b, best->low, best->high, v.y)) {
            continue;
        }
        po_wide along = (po_wide)dx * (v.y - a->y);
        *best = (nearest){a, b, s->path, up, true, a->x + (int64_t)(along / dy) - 1};
    }
}

bool po_beside_left_of(const po_beside *r, po_spot v, uint32_t *ret_path, bool *ret_up)
{
    struct {
        uint32_t i;
        int level;
    } stack[2 * DEPTH];
    size_t n = 0;
    nearest best = {0};
    if (r->n_levels > 0) {
        stack[n].i = 0;
        stack[n++].level = r->n_levels - 1;
    }
    while (n > 0) {
        n--;
        uint32_t i = stack[n].i;
        int level = stack[n].level;
        const box *b = &r->level[level][i];
        if (b->x0 >= v.x || b->y0 > v.y || b->y1 <= v.y || (best.found && b->x1 < best.x)) {
            continue;
        }
        if (level == 0) {
            try_stretch(r, &r->stretches[i], v, &best);
            continue;
        }
        uint32_t k = 2 * i;
        bool two = k + 1 < r->n_level[level - 1];
        bool second_nearer = two && r->level[level - 1][k + 1].x1 > r->level[level - 1][k].x1;
        for (uint32_t j = 0; j < 1u + two; j++) { /* the nearer one is on top */
            stack[n].i = second_nearer ? k + j : k + (two - j);
            stack[n++].level = level - 1;
        }
    }
    *ret_path = best.path;
    *ret_up = best.up;
    return best.found;
}

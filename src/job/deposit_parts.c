/* Laying a batch into the maps, and joining pieces to parts. SPDX-License-Identifier: Apache-2.0
 *
 * The batch is drawn into a bitmap; its connected pieces inherit the nodes of what they lie on (union-find), or begin a
 * node of their own. docs/measures.md: footholds, parts, aids. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/deposit_inside.h"

uint32_t po_node_root(po_deposit *d, uint32_t i)
{
    node *n = d->nodes;
    while (n[i].parent != i) {
        n[i].parent = n[n[i].parent].parent;
        i = n[i].parent;
    }
    return i;
}

static void join(po_deposit *d, uint32_t a, uint32_t b)
{
    a = po_node_root(d, a);
    b = po_node_root(d, b);
    if (a == b) {
        return;
    }
    /* a foothold is preferred as root, so that material above always bears the number of one; then the older */
    bool fa = d->nodes[a].foothold, fb = d->nodes[b].foothold;
    if (fa != fb ? fb : b < a) {
        uint32_t t = a;
        a = b;
        b = t;
    }
    node *to = &d->nodes[a], *from = &d->nodes[b];
    from->parent = a;
    to->thick |= from->thick;
    to->volume += from->volume;
    for (int k = 0; k < 3; k++) {
        to->moment[k] += from->moment[k];
        to->min[k] = fminf(to->min[k], from->min[k]);
        to->max[k] = fmaxf(to->max[k], from->max[k]);
    }
    to->begun_z = fminf(to->begun_z, from->begun_z);
    to->first_work = from->first_work < to->first_work ? from->first_work : to->first_work;
    to->last_work = from->last_work > to->last_work ? from->last_work : to->last_work;
}

static uint32_t new_node(po_deposit *d, const work *w, bool on_bed)
{
    if (d->n_nodes >= MOST_NODES) {
        d->nodes_full = true;
        return 0; /* so many crumbs: the rest belongs to no part */
    }
    if (d->n_nodes == d->cap_nodes) {
        size_t cap = d->cap_nodes * 2;
        node *more = realloc(d->nodes, cap * sizeof *more);
        if (!more) {
            d->failed = true;
            return 0;
        }
        d->nodes = more;
        d->cap_nodes = cap;
    }
    uint32_t i = (uint32_t)d->n_nodes++;
    node *n = &d->nodes[i];
    memset(n, 0, sizeof *n);
    n->parent = i;
    n->on_bed = on_bed;
    n->begun_z = w->batch->z_high;
    n->first_work = n->last_work = d->serial;
    for (int k = 0; k < 3; k++) {
        n->min[k] = INFINITY;
        n->max[k] = -INFINITY;
    }
    return i;
}

static void hull_of_piece(po_deposit *d, uint32_t piece, node *n)
{
    /* ends of its runs, row by row: only the outermost of each row can be corners */
    size_t rows = d->pieces.n_rows, count = 0;
    po_xy *points = malloc((rows * 4 + 1) * sizeof *points), *hull = malloc((rows * 4 + 2) * sizeof *hull);
    if (!points || !hull) {
        free(points);
        free(hull);
        d->failed = true;
        return;
    }
    for (size_t j = 0; j < rows; j++) {
        int lo = INT32_MAX, hi = INT32_MIN;
        for (uint32_t k = d->pieces.row_start[j]; k < d->pieces.row_start[j + 1]; k++) {
            const po_run *r = &d->pieces.runs[k];
            if (r->piece == piece) {
                lo = r->x0 < lo ? r->x0 : lo;
                hi = r->x1 > hi ? r->x1 : hi;
            }
        }
        if (lo < hi) {
            double y = d->y0 + (double)d->cell * ((double)d->pieces.y0 + (double)j);
            double x0 = d->x0 + (double)d->cell * lo, x1 = d->x0 + (double)d->cell * hi;
            points[count++] = (po_xy){x0, y};
            points[count++] = (po_xy){x1, y};
            points[count++] = (po_xy){x0, y + (double)d->cell};
            points[count++] = (po_xy){x1, y + (double)d->cell};
        }
    }
    n->n_hull = po_hull(points, count, hull);
    n->hull = realloc(hull, (n->n_hull + 1) * sizeof *hull);
    if (!n->hull) {
        n->hull = hull;
    }
    free(points);
}

/* Material lies directly on the piece: it is a foothold. */
static void confirm(po_deposit *d, uint32_t label)
{
    node *n = &d->nodes[label];
    if (n->on_bed && !n->foothold) {
        n->foothold = true;
        d->n_footholds++;
        uint32_t r = po_node_root(d, label);
        if (r != label && !d->nodes[r].foothold) { /* keep a foothold at the root */
            node *root = &d->nodes[r];
            uint32_t parent = r;
            n->volume = root->volume;
            memcpy(n->moment, root->moment, sizeof n->moment);
            memcpy(n->min, root->min, sizeof n->min);
            memcpy(n->max, root->max, sizeof n->max);
            n->thick |= root->thick;
            n->begun_z = fminf(n->begun_z, root->begun_z);
            n->first_work = root->first_work < n->first_work ? root->first_work : n->first_work;
            n->last_work = root->last_work > n->last_work ? root->last_work : n->last_work;
            n->parent = label;
            d->nodes[parent].parent = label;
        }
    }
}

typedef struct sibling { /* material of the same height, laid in a batch before */
    uint32_t piece;
    uint16_t label;
} sibling;

static void join_siblings(po_deposit *d, const sibling *siblings, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (d->piece_node[siblings[i].piece]) {
            join(d, d->piece_node[siblings[i].piece], siblings[i].label);
        }
    }
}

/* Nodes of the batch's pieces: from what they touch beneath; else across a gap; else a new one. same: what lies at least
 * as high as this is no support but a neighbour. */
static bool find_nodes(po_deposit *d, work *w, float floor_touch, float floor_any, float same)
{
    sibling siblings[64];
    size_t n_siblings = 0;
    const po_runs *p = &d->pieces;
    if (d->cap_piece_node < p->n_pieces + 1) {
        free(d->piece_node);
        d->cap_piece_node = (size_t)p->n_pieces * 2 + 64;
        d->piece_node = malloc(d->cap_piece_node * sizeof *d->piece_node);
        if (!d->piece_node) {
            d->cap_piece_node = 0;
            return false;
        }
    }
    memset(d->piece_node, 0, ((size_t)p->n_pieces + 1) * sizeof *d->piece_node);
    size_t without = p->n_pieces;
    uint16_t last_label = 0;
    uint32_t last_piece = UINT32_MAX;
    for (size_t i = 0; i < p->n_runs; i++) {
        const po_run *r = &p->runs[i];
        const uint16_t *labels = d->labels + (size_t)r->y * d->stride;
        const float *map = po_map_row(d, r->y);
        for (int x = r->x0; x < r->x1; x++) {
            uint16_t label = labels[x];
            if (!label || (label == last_label && r->piece == last_piece) || map[x] < floor_touch) {
                continue;
            }
            last_label = label;
            last_piece = r->piece;
            if (map[x] >= same) {
                last_label = 0;
                if (n_siblings == 0 || siblings[n_siblings - 1].piece != r->piece ||
                    siblings[n_siblings - 1].label != label) {
                    siblings[n_siblings < 64 ? n_siblings++ : 63] = (sibling){r->piece, label};
                }
                continue;
            }
            confirm(d, label);
            uint32_t *at = &d->piece_node[r->piece];
            if (!*at) {
                *at = label;
                without--;
            } else if (*at != label) {
                join(d, *at, label);
            }
        }
    }
    if (without == 0) {
        join_siblings(d, siblings, n_siblings);
        return true;
    }
    /* pieces without: do they lie across a gap, on the bed, or on nothing? */
    uint8_t *across = calloc((size_t)p->n_pieces + 1, 1);
    double *area = calloc((size_t)p->n_pieces + 1, sizeof *area);
    if (!across || !area) {
        free(across);
        free(area);
        return false;
    }
    for (size_t i = 0; i < p->n_runs; i++) {
        const po_run *r = &p->runs[i];
        if (d->piece_node[r->piece] && !across[r->piece]) {
            continue;
        }
        area[r->piece] += r->x1 - r->x0;
        const uint16_t *labels = d->labels + (size_t)r->y * d->stride;
        const float *map = po_map_row(d, r->y);
        for (int x = r->x0; x < r->x1; x += 2) {
            uint16_t label = labels[x];
            if (label && map[x] >= floor_any && map[x] < same) {
                confirm(d, label);
                if (!d->piece_node[r->piece]) {
                    d->piece_node[r->piece] = label;
                    across[r->piece] = 1;
                } else {
                    join(d, d->piece_node[r->piece], label);
                }
            }
        }
    }
    bool may_be_bed = w->any_on_bed;
    for (uint32_t k = 0; k < p->n_pieces; k++) {
        if (d->piece_node[k]) {
            continue;
        }
        uint32_t n = new_node(d, w, may_be_bed);
        d->piece_node[k] = n;
        if (n && may_be_bed) {
            d->nodes[n].area_mm2 = area[k] * (double)(d->cell * d->cell);
            hull_of_piece(d, k, &d->nodes[n]);
        }
    }
    free(across);
    free(area);
    join_siblings(d, siblings, n_siblings);
    return !d->failed;
}

/* Pieces that hold more than three beads' width somewhere are parts, not aids. */
static void find_thick(po_deposit *d, work *w)
{
    const po_runs *p = &d->pieces;
    bool all = true;
    for (uint32_t k = 0; k < p->n_pieces && all; k++) {
        all = d->piece_node[k] == 0 || d->nodes[po_node_root(d, d->piece_node[k])].thick;
    }
    if (all) {
        return;
    }
    float width = 0;
    for (size_t i = 0; i < w->batch->n_beads; i++) {
        width = fmaxf(width, fminf(w->info[i].w, 2 * (float)d->setup.nozzle_mm[0]));
    }
    int side = (int)ceilf(3 * width * d->inv_cell) + 1;
    if (!d->scratch.bits && !po_bitmap_init(&d->scratch, d->width, d->height)) {
        return;
    }
    po_bitmap_clear(&d->scratch);
    po_bitmap_erode(&d->laid, d->laid.used, false, side, &d->scratch);
    po_cells a = d->laid.used;
    size_t w0 = (size_t)a.x0 >> 6, w1 = ((size_t)a.x1 + 63) >> 6;
    for (int y = a.y0; y < a.y1; y++) {
        const uint64_t *bits = d->scratch.bits + (size_t)y * d->scratch.stride;
        for (size_t k = w0; k < w1; k++) {
            for (uint64_t word = bits[k]; word;) {
                int at = __builtin_ctzll(word);
                const po_run *r = po_runs_at(p, (int)(k << 6) + at, y);
                if (!r) {
                    word &= word - 1;
                    continue;
                }
                uint32_t n = d->piece_node[r->piece];
                if (n) {
                    d->nodes[po_node_root(d, n)].thick = true;
                }
                int past = r->x1 - (int)(k << 6);
                word = past >= 64 ? 0 : word & (~0ull << past);
            }
        }
    }
}

static void raise_coarse(po_deposit *d, int y, int x0, int x1, float z)
{
    float *coarse = d->coarse + (size_t)(y >> 4) * (size_t)d->coarse_w;
    for (int i = x0 >> 4; i <= (x1 - 1) >> 4; i++) {
        coarse[i] = z > coarse[i] ? z : coarse[i];
    }
}

/* Heights and labels into the maps. A climbing batch has a height for each bead, a flat one for all. */
static void paint(po_deposit *d, work *w)
{
    const po_runs *p = &d->pieces;
    float z = w->batch->z_high;
    bool flat = !w->batch->climbing && w->batch->z_high - w->batch->z_low < 0.03f;
    for (size_t i = 0; i < p->n_runs; i++) {
        const po_run *r = &p->runs[i];
        uint32_t n = d->piece_node[r->piece];
        uint16_t label = (uint16_t)(n ? (d->nodes[n].on_bed && !d->nodes[n].foothold ? n : po_node_root(d, n)) : 0);
        uint16_t *labels = d->labels + (size_t)r->y * d->stride;
        for (int x = r->x0; x < r->x1; x++) {
            labels[x] = label;
        }
        if (flat) {
            float *map = po_map_row(d, r->y);
            for (int x = r->x0; x < r->x1; x++) {
                map[x] = map[x] > z ? map[x] : z;
            }
        }
        raise_coarse(d, r->y, r->x0, r->x1, z);
    }
    if (!flat) {
        for (size_t i = 0; i < w->batch->n_beads; i++) {
            const po_bead *b = &w->batch->beads[i];
            if (w->info[i].bits & INFO_OUTSIDE) {
                continue;
            }
            float bz = bead_z(b);
            int at = INT32_MIN;
            int32_t lo[PO_SPAN_ROWS], hi[PO_SPAN_ROWS];
            for (int n; (n = po_line_spans(cell_x(d, b->x0), cell_y(d, b->y0), cell_x(d, b->x1), cell_y(d, b->y1),
                                           0.5f * fminf(w->info[i].w, 10) * d->inv_cell, &at, lo, hi)) > 0;) {
                for (int k = 0; k < n; k++) {
                    int y = at - n + k;
                    if (y < 0 || y >= d->height) {
                        continue;
                    }
                    float *map = po_map_row(d, y);
                    int x1 = hi[k] < d->width ? hi[k] : d->width - 1;
                    for (int x = lo[k] < 0 ? 0 : lo[k]; x <= x1; x++) {
                        map[x] = map[x] > bz ? map[x] : bz;
                    }
                }
            }
        }
    }
    d->highest = fmaxf(d->highest, z);
}

/* Volumes and bounds go to the nodes of the beads' pieces. */
static void weigh(po_deposit *d, work *w)
{
    uint16_t last = 0;
    uint32_t root = 0;
    for (size_t i = 0; i < w->batch->n_beads; i++) {
        const po_bead *b = &w->batch->beads[i];
        bead_info *info = &w->info[i];
        if (info->bits & INFO_OUTSIDE) {
            continue;
        }
        float x = bead_x(b, 0.5f), y = bead_y(b, 0.5f), z = bead_z(b) - 0.5f * info->h;
        uint16_t label = d->labels[(size_t)(int)cell_y(d, y) * d->stride + (size_t)(int)cell_x(d, x)];
        info->piece = label;
        if (!label) {
            continue;
        }
        if (label != last) {
            last = label;
            root = po_node_root(d, label);
        }
        node *n = &d->nodes[root];
        double v = (double)b->area * (double)b->length;
        n->volume += v;
        n->moment[0] += v * (double)x;
        n->moment[1] += v * (double)y;
        n->moment[2] += v * (double)z;
        float r = 0.5f * info->w;
        n->min[0] = fminf(n->min[0], fminf(b->x0, b->x1) - r);
        n->max[0] = fmaxf(n->max[0], fmaxf(b->x0, b->x1) + r);
        n->min[1] = fminf(n->min[1], fminf(b->y0, b->y1) - r);
        n->max[1] = fmaxf(n->max[1], fmaxf(b->y0, b->y1) + r);
        n->min[2] = fminf(n->min[2], fminf(b->z0, b->z1) - info->h);
        n->max[2] = fmaxf(n->max[2], fmaxf(b->z0, b->z1));
        n->last_work = d->serial;
    }
}

static void draw(po_deposit *d, work *w)
{
    const po_batch *batch = w->batch;
    float usual_area = 0.6f * (float)(d->setup.nozzle_mm[0] * d->setup.nozzle_mm[0]) * 0.25f;
    for (size_t i = 0; i < batch->n_beads; i++) {
        const po_bead *b = &batch->beads[i];
        bead_info *info = &w->info[i];
        if (info->bits & INFO_OUTSIDE) {
            continue;
        }
        float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
        if (b->area < usual_area) { /* little flow: does it pass over what this height has laid already? */
            int on = 0;
            for (int k = 0; k < 5; k++) {
                float t = 0.1f + 0.2f * (float)k;
                on += po_bitmap_at(&d->laid, (int)(ax + (bx - ax) * t), (int)(ay + (by - ay) * t));
            }
            if (on >= 4) {
                info->bits |= INFO_SECOND;
            }
        }
        po_bitmap_line(&d->laid, ax, ay, bx, by, 0.5f * fminf(info->w, 10) * d->inv_cell);
    }
}

bool po_deposit_lay(po_deposit *d, work *w)
{
    if (w->batch->n_beads == 0) {
        return true;
    }
    draw(d, w);
    if (!po_deposit_classify(d, w)) {
        return false;
    }
    float h = d->usual_h > 0 ? d->usual_h : 0.2f;
    double sum = 0, len = 0;
    for (size_t i = 0; i < w->batch->n_beads; i++) {
        if (w->info[i].bits & INFO_FOUND) {
            sum += (double)w->info[i].h * (double)w->batch->beads[i].length;
            len += (double)w->batch->beads[i].length;
        }
    }
    if (len > 0) {
        h = (float)(sum / len);
    }
    float z = w->batch->z_low;
    if (w->batch->climbing) {
        z -= 0.3f * h; /* what it lies on climbs along with it */
    }
    bool ok = po_runs_find(&d->pieces, &d->laid, d->laid.used, false) &&
              find_nodes(d, w, z - h - touch_slack(h), z - h - gap_most(d, h), z - 0.3f * h);
    if (ok) {
        find_thick(d, w);
        ok = po_deposit_shares(d, w, w->batch->n_beads > 3 && !w->batch->climbing);
        if (d->setup.images) {
            po_deposit_picture(d, w);
        }
        paint(d, w);
        weigh(d, w);
        d->serial++;
    }
    po_bitmap_clear(&d->laid);
    return ok && !d->failed;
}

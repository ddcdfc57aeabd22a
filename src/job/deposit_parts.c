/* Laying a batch into the maps, and joining pieces to parts. SPDX-License-Identifier: Apache-2.0
 *
 * The batch is drawn into a bitmap; its connected pieces inherit the nodes of what they lie on (union-find), or begin a
 * node of their own. docs/measures.md: footholds, parts, aids. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/deposit_inside.h"

/* Pieces are joined to parts at every fourth height, and at every sixteenth where heights are large: a part does not come
 * and go in between. */
enum { LABEL_EVERY = 4, LABEL_LARGE_EVERY = 16, LARGE_BEADS = 2000 };
enum { MOST_BANDS = 32, BAND_BEADS = 1024 };
enum { SHARE_EVERY = 4 };

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
        to->min[k] = min_f(to->min[k], from->min[k]);
        to->max[k] = max_f(to->max[k], from->max[k]);
    }
    to->begun_z = min_f(to->begun_z, from->begun_z);
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
            n->begun_z = min_f(n->begun_z, root->begun_z);
            n->first_work = root->first_work < n->first_work ? root->first_work : n->first_work;
            n->last_work = root->last_work > n->last_work ? root->last_work : n->last_work;
            n->parent = label;
            d->nodes[parent].parent = label;
        }
    }
}

enum { MOST_SIBLINGS = 4096 };

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

/* Room for the nodes of the batch's pieces: none so far. */
static bool no_nodes(po_deposit *d)
{
    size_t n = (size_t)d->pieces.n_pieces + 1;
    if (d->cap_piece_node < n) {
        free(d->piece_node);
        d->cap_piece_node = 2 * n + 64;
        d->piece_node = malloc(d->cap_piece_node * sizeof *d->piece_node);
        if (!d->piece_node) {
            d->cap_piece_node = 0;
            return false;
        }
    }
    memset(d->piece_node, 0, n * sizeof *d->piece_node);
    return true;
}

/* The same where only a look is taken: the first node that a piece touches will do, and nothing is joined. */
static bool glance_nodes(po_deposit *d, float floor_touch)
{
    if (!no_nodes(d)) {
        return false;
    }
    for (size_t i = 0; i < d->pieces.n_runs; i++) {
        const po_run *r = &d->pieces.runs[i];
        for (int x = r->x0; x < r->x1 && !d->piece_node[r->piece]; x += 2) {
            uint16_t label;
            if (po_relief_look(&d->relief, x, r->y, &label) >= floor_touch) {
                d->piece_node[r->piece] = label;
            }
        }
    }
    return true;
}

/* A bead is several cells wide: every other tells enough, and of those alike one. */
static inline int next_look(const po_deposit *d, int x, int y)
{
    return (po_relief_alike(&d->relief, x, y) + 1) & ~1;
}

/* Nodes of the batch's pieces: from what they touch beneath; else across a gap; else a new one. same: what lies at least
 * as high as this is no support but a neighbour. */
static bool find_nodes(po_deposit *d, work *w, float floor_touch, float floor_any, float same)
{
    sibling siblings[MOST_SIBLINGS];
    size_t n_siblings = 0;
    const po_runs *p = &d->pieces;
    if (!no_nodes(d)) {
        return false;
    }
    size_t without = p->n_pieces;
    uint16_t last_label = 0;
    uint32_t last_piece = UINT32_MAX;
    for (size_t i = 0; i < p->n_runs; i++) {
        const po_run *r = &p->runs[i];
        for (int x = r->x0; x < r->x1; x += next_look(d, x, r->y)) {
            uint16_t label;
            float beneath = po_relief_look(&d->relief, x, r->y, &label);
            if (!label || (label == last_label && r->piece == last_piece) || beneath < floor_touch) {
                continue;
            }
            last_label = label;
            last_piece = r->piece;
            if (beneath >= same) {
                last_label = 0;
                if (n_siblings == 0 || siblings[n_siblings - 1].piece != r->piece ||
                    siblings[n_siblings - 1].label != label) {
                    siblings[n_siblings < MOST_SIBLINGS ? n_siblings++ : MOST_SIBLINGS - 1] = (sibling){r->piece,
                                                                                                        label};
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
        for (int x = r->x0; x < r->x1; x += next_look(d, x, r->y)) {
            uint16_t label;
            float beneath = po_relief_look(&d->relief, x, r->y, &label);
            if (label && beneath >= floor_any && beneath < same) {
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
        width = max_f(width, min_f(w->info[i].w, 2 * (float)d->setup.nozzle_mm[0]));
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

static void paint_heights(po_deposit *d, const po_bead *b, float radius)
{
    float z = bead_z(b);
    int at = INT32_MIN;
    int32_t lo[PO_SPAN_ROWS], hi[PO_SPAN_ROWS];
    for (int n; (n = po_line_spans(cell_x(d, b->x0), cell_y(d, b->y0), cell_x(d, b->x1), cell_y(d, b->y1), radius, &at,
                                   lo, hi)) > 0;) {
        for (int k = 0; k < n; k++) {
            int y = at - n + k;
            if (y < 0 || y >= d->height) {
                continue;
            }
            int x1 = hi[k] < d->width ? hi[k] : d->width - 1;
            for (int x = lo[k] < 0 ? 0 : lo[k]; x <= x1; x++) {
                po_relief_raise(&d->relief, x, y, z);
            }
        }
    }
}

/* Heights and labels into the maps. A climbing batch has a height for each bead, a flat one for all. */
static void paint(po_deposit *d, work *w)
{
    const po_runs *p = &d->pieces;
    float z = w->batch->z_high;
    bool flat = !w->batch->climbing && w->batch->z_high - w->batch->z_low < 0.03f;
    bool top = z >= d->highest; /* nothing stands higher: no need to look */
    for (uint32_t k = 0; k < p->n_pieces; k++) {
        uint32_t n = d->piece_node[k];
        d->piece_node[k] = n && (!d->nodes[n].on_bed || d->nodes[n].foothold) ? po_node_root(d, n) : n;
    }
    for (size_t i = 0; i < p->n_runs; i++) {
        const po_run *r = &p->runs[i];
        uint16_t label = (uint16_t)d->piece_node[r->piece];
        if (flat) {
            po_relief_span(&d->relief, r->y, r->x0, r->x1, z, label, top);
        } else {
            po_relief_label_span(&d->relief, r->y, r->x0, r->x1, label);
        }
    }
    for (size_t i = 0; !flat && i < w->batch->n_beads; i++) {
        const po_bead *b = &w->batch->beads[i];
        if (!(w->info[i].bits & INFO_OUTSIDE)) {
            paint_heights(d, b, radius_of(d, &w->info[i]));
        }
    }
    d->highest = max_f(d->highest, z);
}

/* Volume and bounds of a bead go to its part. */
static inline void weigh_bead(po_deposit *d, const po_bead *b, const bead_info *info, node *n)
{
    float x = bead_x(b, 0.5f), y = bead_y(b, 0.5f), z = bead_z(b) - 0.5f * info->h, r = 0.5f * info->w;
    double v = (double)b->area * (double)b->length;
    n->volume += v;
    n->moment[0] += v * (double)x;
    n->moment[1] += v * (double)y;
    n->moment[2] += v * (double)z;
    n->min[0] = min_f(n->min[0], min_f(b->x0, b->x1) - r);
    n->max[0] = max_f(n->max[0], max_f(b->x0, b->x1) + r);
    n->min[1] = min_f(n->min[1], min_f(b->y0, b->y1) - r);
    n->max[1] = max_f(n->max[1], max_f(b->y0, b->y1) + r);
    n->min[2] = min_f(n->min[2], min_f(b->z0, b->z1) - info->h);
    n->max[2] = max_f(n->max[2], max_f(b->z0, b->z1));
    n->last_work = d->serial;
}

static inline uint16_t label_under(const po_deposit *d, const po_bead *b)
{
    float x = cell_x(d, bead_x(b, 0.5f)), y = cell_y(d, bead_y(b, 0.5f));
    return label_at(d, (int)x, (int)y);
}

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
        uint16_t label = label_under(d, b);
        info->piece = label;
        if (label && label != last) {
            last = label;
            root = po_node_root(d, label);
        }
        if (label) {
            weigh_bead(d, b, info, &d->nodes[root]);
        }
    }
}

static bool little_flow(const po_deposit *d, const po_bead *b)
{
    return b->area < 0.15f * (float)(d->setup.nozzle_mm[0] * d->setup.nozzle_mm[0]);
}

/* Bead rows [y0, y1) of a batch, painted by one thread. Bands do not share rows of tiles or what is kept of two rows. */
typedef struct band {
    int y0, y1;
    uint32_t *beads; /* that reach into it, in order */
    size_t n, cap;
    po_cells used; /* of what is drawn in it */
} band;

void po_bands_free(po_deposit *d)
{
    for (size_t i = 0; d->bands && i < MOST_BANDS; i++) {
        free(d->bands[i].beads);
    }
    free(d->bands);
    d->bands = NULL;
}

static bool add_to_band(band *b, uint32_t bead)
{
    if (b->n == b->cap) {
        size_t cap = b->cap ? b->cap * 2 : 1024;
        uint32_t *more = realloc(b->beads, cap * sizeof *more);
        if (!more) {
            return false;
        }
        b->beads = more;
        b->cap = cap;
    }
    b->beads[b->n++] = bead;
    return true;
}

typedef struct painting {
    po_deposit *d;
    work *w;
    bool top;
} painting;

static void reset_bands(po_deposit *d, int shift, int n)
{
    for (int k = 0; k < n; k++) {
        d->bands[k].n = 0;
        d->bands[k].y0 = k << shift;
        d->bands[k].y1 = (k + 1) << shift;
        d->bands[k].used = (po_cells){0, 0, 0, 0};
    }
}

/* Bands no narrower than 128 rows: 2 to this power. */
static int band_shift(const po_deposit *d, int *ret_n)
{
    int shift = 6;
    do {
        shift++;
        *ret_n = ((d->height - 1) >> shift) + 1;
    } while (*ret_n > MOST_BANDS);
    return shift;
}

static bool room_for_bands(po_deposit *d)
{
    return d->bands || (d->bands = calloc(MOST_BANDS, sizeof *d->bands));
}

/* Whether a bead lies so far inside the window that nothing of it is cut off. */
static inline bool well_inside(const po_deposit *d, float ax, float ay, float bx, float by, float r)
{
    float edge = r + 2, w = (float)d->width - edge, h = (float)d->height - edge;
    return ax > edge && ay > edge && bx > edge && by > edge && ax < w && bx < w && ay < h && by < h;
}

static inline bool add_to_bands(po_deposit *d, int shift, float ay, float by, float r, uint32_t bead)
{
    int k0 = (int)(min_f(ay, by) - r - 1) >> shift, k1 = (int)(max_f(ay, by) + r + 1) >> shift;
    for (int k = k0; k <= k1; k++) {
        if (!add_to_band(&d->bands[k], bead)) {
            return false;
        }
    }
    return true;
}

static void draw_band(size_t k, void *user)
{
    const painting *job = user;
    po_deposit *d = job->d;
    band *rows = &d->bands[k];
    for (size_t i = 0; i < rows->n; i++) {
        const po_bead *b = &job->w->batch->beads[rows->beads[i]];
        po_bitmap_line_rows(&d->laid, cell_x(d, b->x0), cell_y(d, b->y0), cell_x(d, b->x1), cell_y(d, b->y1),
                            radius_of(d, &job->w->info[rows->beads[i]]), rows->y0, rows->y1, &rows->used);
    }
}

/* Draw in bands. False where the beads must be drawn in order (or memory is short, which matters no more than that). */
static bool draw_in_bands(po_deposit *d, work *w)
{
    const po_batch *batch = w->batch;
    if (batch->n_beads < BAND_BEADS || !d->each || !room_for_bands(d)) {
        return false;
    }
    int n_bands, shift = band_shift(d, &n_bands);
    reset_bands(d, shift, n_bands);
    for (uint32_t i = 0; i < batch->n_beads; i++) {
        const po_bead *b = &batch->beads[i];
        if (w->info[i].bits & INFO_OUTSIDE) {
            continue;
        }
        float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
        float r = radius_of(d, &w->info[i]);
        if (little_flow(d, b) || !well_inside(d, ax, ay, bx, by, r) || !add_to_bands(d, shift, ay, by, r, i)) {
            return false;
        }
    }
    painting job = {d, w, false};
    share_out(d, (size_t)n_bands, draw_band, &job);
    for (int k = 0; k < n_bands; k++) {
        po_cells_join(&d->laid.used, &d->bands[k].used);
    }
    return true;
}

void po_deposit_draw(po_deposit *d, work *w)
{
    if (w->drawn) {
        return;
    }
    w->drawn = true;
    const po_batch *batch = w->batch;
    if (draw_in_bands(d, w)) {
        return;
    }
    for (size_t i = 0; i < batch->n_beads; i++) {
        const po_bead *b = &batch->beads[i];
        bead_info *info = &w->info[i];
        if (info->bits & INFO_OUTSIDE) {
            continue;
        }
        float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
        if (little_flow(d, b)) { /* does it pass over what this height has laid already? */
            int on = 0;
            for (int k = 0; k < 5; k++) {
                float t = 0.1f + 0.2f * (float)k;
                on += po_bitmap_at(&d->laid, (int)(ax + (bx - ax) * t), (int)(ay + (by - ay) * t));
            }
            if (on >= 4) {
                info->bits |= INFO_SECOND;
            }
        }
        po_bitmap_line(&d->laid, ax, ay, bx, by, radius_of(d, info));
    }
}

/* Height and label of one bead into the rows [y0, y1) of the maps. */
static inline void paint_bead(po_deposit *d, const po_bead *b, const bead_info *info, uint16_t label, int from, int to,
                              bool top)
{
    float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
    float z = bead_z(b), r = radius_of(d, info);
    if (info->bits & INFO_RIM) {
        paint_heights(d, b, r);
    } else {
        po_relief_line(&d->relief, ax, ay, bx, by, r, from, to, z, label, top);
    }
}

static void paint_band(size_t k, void *user)
{
    const painting *job = user;
    po_deposit *d = job->d;
    if (k == 0) { /* beside it */
        if (d->setup.images) {
            po_deposit_side_view(d, job->w);
        }
        return;
    }
    k--;
    const band *rows = &d->bands[k];
    const po_bead *beads = job->w->batch->beads;
    for (size_t i = 0; i < rows->n; i++) {
        if (i + FETCH_AHEAD < rows->n) {
            fetch_paint(d, &beads[rows->beads[i + FETCH_AHEAD]]);
        }
        uint32_t bead = rows->beads[i];
        paint_bead(d, &beads[bead], &job->w->info[bead], d->roots[bead], rows->y0, rows->y1, job->top);
    }
}

/* All beads in order: where what one finds there depends on those before it. */
static void paint_in_order(po_deposit *d, work *w, bool top)
{
    for (size_t i = 0; i < w->batch->n_beads; i++) {
        const po_bead *b = &w->batch->beads[i];
        bead_info *info = &w->info[i];
        if (info->bits & INFO_OUTSIDE) {
            continue;
        }
        if (little_flow(d, b)) {
            float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
            int on = 0;
            for (int k = 0; k < 5; k++) {
                float t = 0.1f + 0.2f * (float)k;
                on += height_at(d, (int)(ax + (bx - ax) * t), (int)(ay + (by - ay) * t)) >= bead_z(b) - 1e-4f;
            }
            if (on >= 4) {
                info->bits |= INFO_SECOND;
            }
        }
        paint_bead(d, b, info, d->roots[i], 0, (d->height + 15) & ~15, top);
    }
}

/* The short way for a batch about which nothing is asked: heights and labels straight into the maps. A bead bears the
 * label of what it lies on, or of the bead that it goes on from. */
static bool lay_light(po_deposit *d, work *w)
{
    const po_batch *batch = w->batch;
    uint16_t last = 0, before = 0;
    uint32_t root = 0, weigh_root = 0;
    double area = 0, without = 0, all = 0;
    bool in_order = batch->n_beads < BAND_BEADS;
    if (d->cap_roots < batch->n_beads) {
        free(d->roots);
        d->cap_roots = batch->cap_beads;
        d->roots = malloc(d->cap_roots * sizeof *d->roots);
    }
    if (!d->roots || !room_for_bands(d)) {
        d->cap_roots = d->roots ? d->cap_roots : 0;
        return false;
    }
    int n_bands, shift = band_shift(d, &n_bands);
    reset_bands(d, shift, n_bands);
    for (uint32_t i = 0; i < batch->n_beads; i++) {
        const po_bead *b = &batch->beads[i];
        bead_info *info = &w->info[i];
        area += (double)(b->area * b->length) / (double)info->h;
        if (info->bits & INFO_OUTSIDE) {
            continue;
        }
        uint16_t label = info->piece;
        if (!label && !(b->flags & PO_BEAD_CHAIN)) {
            label = before;
        }
        before = label;
        info->piece = label;
        if (label != last) {
            last = label;
            if (label) {
                confirm(d, label); /* it lies on something: that bears it */
            }
            root = label ? po_node_root(d, label) : 0;
        }
        without += root ? 0 : (double)b->length;
        all += (double)b->length;
        if (root) {
            weigh_root = root;
        }
        if (weigh_root) { /* a strand of fill that rests on nothing belongs with the walls laid before it */
            weigh_bead(d, b, info, &d->nodes[weigh_root]);
        }
        d->roots[i] = (uint16_t)root;
        float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
        float r = radius_of(d, info);
        if (!well_inside(d, ax, ay, bx, by, r)) {
            info->bits |= INFO_RIM;
            in_order = true;
        }
        in_order |= little_flow(d, b);
        if (!in_order && !add_to_bands(d, shift, ay, by, r, i)) {
            return false;
        }
    }
    bool top = batch->z_low >= d->highest;
    if (in_order) {
        paint_in_order(d, w, top);
    } else {
        painting job = {d, w, top};
        w->seen_from_side = true;
        share_out(d, (size_t)n_bands + 1, paint_band, &job);
    }
    w->area_mm2 = area;
    d->want_full = without > 0.35 * all;
    d->highest = max_f(d->highest, batch->z_high);
    return true;
}

/* How full a layer is asks for a look at all its gaps: the first layers, evenly spaced ones, and (from the runs that are
 * kept) the last ones are looked at. */
static bool share_wanted(po_deposit *d, const work *w)
{
    if (w->batch->n_beads <= 3 || po_batch_floor(w->batch) != w->batch->z_high) {
        return false;
    }
    /* evenly spaced, and thinned out as the job grows: half of SHARES to all of them count in the end */
    bool wanted = d->n_flat++ < FIRST_SHARES || d->serial % (SHARE_EVERY * d->share_step) == 0;
    if (d->n_flat >= SHARE_EVERY * d->share_step * SHARES) {
        d->share_step *= 2;
    }
    return wanted;
}

static double laid_area(const po_deposit *d)
{
    uint64_t cells = 0;
    for (size_t i = 0; i < d->pieces.n_runs; i++) {
        cells += (uint64_t)(d->pieces.runs[i].x1 - d->pieces.runs[i].x0);
    }
    return (double)cells * (double)(d->cell * d->cell);
}

/* Whether pieces, labels and images of this batch have to be worked out in full. */
static bool full_wanted(const po_deposit *d, const work *w)
{
    uint32_t every = w->batch->n_beads > LARGE_BEADS ? LABEL_LARGE_EVERY : LABEL_EVERY;
    if (w->any_on_bed || d->n_footholds == 0 || d->serial % every == 0 || w->n_hits > 0 || d->want_full) {
        return true;
    }
    for (size_t i = 0; i < w->n_stretches; i++) {
        if (w->stretches[i].class != FREE_OVER_FILL) {
            return true;
        }
    }
    return false;
}

static bool lay_full(po_deposit *d, work *w, bool shares)
{
    po_deposit_draw(d, w);
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
    float z = po_batch_floor(w->batch); /* what a steady climb lies on climbs along with it */
    if (!po_runs_find(&d->pieces, &d->laid, d->laid.used, false) || !po_runs_join_near(&d->pieces) ||
        !find_nodes(d, w, z - h - touch_slack(h), z - h - gap_most(d, h), w->batch->z_high - 0.3f * h)) {
        return false;
    }
    find_thick(d, w);
    d->want_full = false;
    w->area_mm2 = laid_area(d);
    if (shares && !po_deposit_shares(d, w, true)) {
        return false;
    }
    if (d->setup.images) {
        po_deposit_picture(d, w);
    }
    paint(d, w);
    weigh(d, w);
    return true;
}

bool po_deposit_lay(po_deposit *d, work *w)
{
    if (w->batch->n_beads == 0) {
        return true;
    }
    if (!po_deposit_classify(d, w)) {
        return false;
    }
    bool shares = share_wanted(d, w), ok = true;
    if ((shares && d->n_flat <= FIRST_SHARES) || full_wanted(d, w)) {
        ok = lay_full(d, w, shares);
    } else {
        if (shares) { /* the filling is asked for, pieces and labels are not */
            float h = d->usual_h > 0 ? d->usual_h : 0.2f;
            po_deposit_draw(d, w);
            ok = po_runs_find(&d->pieces, &d->laid, d->laid.used, false) &&
                 glance_nodes(d, w->batch->z_high - h - touch_slack(h)) && po_deposit_shares(d, w, true);
        }
        ok = ok && lay_light(d, w);
    }
    if (d->setup.images && !w->seen_from_side) {
        po_deposit_side_view(d, w);
    }
    w->serial = d->serial++;
    po_bitmap_clear(&d->laid);
    return ok && !d->failed;
}

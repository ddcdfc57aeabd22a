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
            po_deposit_raise(d, b, radius_of(d, &w->info[i]));
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

/* The short way for a batch about which nothing is asked: heights and labels straight into the maps. A bead bears the
 * label of what it lies on, or of the bead that it goes on from. */
static bool lay_light(po_deposit *d, work *w)
{
    const po_batch *batch = w->batch;
    uint16_t last = 0, before = 0;
    uint32_t root = 0, weigh_root = 0;
    double area = 0, without = 0, all = 0;
    if (d->cap_roots < batch->n_beads) {
        free(d->roots);
        d->cap_roots = batch->cap_beads;
        d->roots = malloc(d->cap_roots * sizeof *d->roots);
    }
    if (!d->roots && d->cap_roots) {
        d->cap_roots = 0;
        return false;
    }
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
    }
    po_deposit_paint(d, w);
    w->area_mm2 = area;
    d->want_full = without > 0.35 * all;
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
    if (d->setup.prints && ok) {
        ok = po_deposit_print(d, w);
    }
    w->serial = d->serial++;
    po_bitmap_clear(&d->laid);
    return ok && !d->failed;
}

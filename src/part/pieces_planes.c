/* Planes that a solid may be cut by. SPDX-License-Identifier: Apache-2.0
 *
 * Families of parallel planes across the part's axes: evenly spaced, and within the stretches where a grid of the fewest
 * parts that fit could be cut. What both sides would take is told by their boxes; the joint by the section: area,
 * compactness (4 pi area / perimeter^2, 1 for a disc), in how many regions it falls. Sturdy means that an inset of half
 * the least joint leaves every region and hole of it, and that opening (that inset and back) takes off no tenth of its
 * area: no thin wall is cut. That is asked of what the sections half a least joint above and below have in common with
 * it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/pieces_plan.h"

enum { OFFSETS_MOST = 64, EVEN = 12, IN_STRETCH = 5, FAR_TOO_MANY = 1000 };
static const double ARC_ERROR = 0.05, THIN_SHARE = 0.1;

typedef struct box {
    double low[3], high[3];
} box;

typedef struct family { /* planes across one axis */
    double axis[3];
    po_mesh turned; /* the axis along z */
    double low[3], high[3];
    unsigned count; /* slabs that the fewest parts of a grid would have */
    double at[OFFSETS_MOST];
    size_t n;
    box slabs[OFFSETS_MOST + 1];
    po_section sections[3 * OFFSETS_MOST]; /* just below, in and just above each plane */
} family;

typedef struct option {
    po_cut_plane candidate;
    const po_section *section;
    const family *of;
    double at;
    size_t number; /* for a fixed order */
} option;

static const box NOTHING = {{INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}};

static void widen(box *b, const double *p)
{
    for (int k = 0; k < 3; k++) {
        b->low[k] = fmin(b->low[k], p[k]);
        b->high[k] = fmax(b->high[k], p[k]);
    }
}

static box both(const box *a, const box *b)
{
    box sum = *a;
    widen(&sum, b->low);
    widen(&sum, b->high);
    return b->low[0] <= b->high[0] ? sum : *a;
}

static size_t slab_of(const family *f, double z)
{
    size_t i = 0;
    while (i < f->n && f->at[i] <= z) {
        i++;
    }
    return i;
}

/* Boxes of what lies between each plane and the next, by all corners and all points where edges meet planes. */
static void fill_slabs(family *f)
{
    for (size_t i = 0; i <= f->n; i++) {
        f->slabs[i] = NOTHING;
    }
    for (size_t t = 0; t < f->turned.n_triangles; t++) {
        const double *p[3];
        size_t in[3];
        for (size_t k = 0; k < 3; k++) {
            p[k] = f->turned.xyz + 3 * (size_t)f->turned.corners[3 * t + k];
            in[k] = slab_of(f, p[k][2]);
            widen(&f->slabs[in[k]], p[k]);
        }
        for (size_t k = 0; k < 3; k++) {
            const double *a = p[k], *b = p[(k + 1) % 3];
            size_t from = in[k] < in[(k + 1) % 3] ? in[k] : in[(k + 1) % 3];
            size_t to = in[k] < in[(k + 1) % 3] ? in[(k + 1) % 3] : in[k];
            for (size_t i = from; i < to; i++) {
                double s = (f->at[i] - a[2]) / (b[2] - a[2]);
                double x[3] = {a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1]), f->at[i]};
                widen(&f->slabs[i], x);
                widen(&f->slabs[i + 1], x);
            }
        }
    }
}

static int by_size(const void *a, const void *b)
{
    const double *x = a, *y = b;
    return (*x > *y) - (*x < *y);
}

static void add_offset(family *f, double at)
{
    double size = f->high[2] - f->low[2];
    if (f->n < OFFSETS_MOST && at > f->low[2] + 1e-3 * size && at < f->high[2] - 1e-3 * size) {
        f->at[f->n++] = at;
    }
}

static void choose_offsets(const po_bed_room *room, family *f)
{
    double size[3] = {f->high[0] - f->low[0], f->high[1] - f->low[1], f->high[2] - f->low[2]};
    unsigned counts[3] = {1, 1, 1};
    double longest = 0;
    if (po_box_pieces(room, size, counts)) { /* the longest slab that such a grid can have */
        double part[3] = {size[0] / counts[0], size[1] / counts[1], size[2]};
        longest = po_box_longest(room, part, 2);
    }
    f->count = counts[2];
    for (unsigned j = 1; j < counts[2] && j <= 8; j++) {
        double from = fmax(size[2] - (counts[2] - j) * longest, 0), to = fmin(j * longest, size[2]);
        for (int i = 0; from < to && i < IN_STRETCH; i++) {
            add_offset(f, f->low[2] + from + (to - from) * (i * 0.98 + 0.01 * (IN_STRETCH - 1)) / (IN_STRETCH - 1));
        }
        add_offset(f, f->low[2] + size[2] * j / counts[2]);
    }
    for (int i = 1; i < EVEN; i++) {
        add_offset(f, f->low[2] + size[2] * i / EVEN);
    }
    /* not wider than a machine holds at all, from either end */
    double whole = fmax(room->z, fmax(room->x, room->y)) * 0.999;
    add_offset(f, f->low[2] + fmin(whole, size[2]));
    add_offset(f, f->high[2] - fmin(whole, size[2]));
    qsort(f->at, f->n, sizeof f->at[0], by_size);
    size_t kept = 0;
    for (size_t i = 0; i < f->n; i++) {
        if (!kept || f->at[i] - f->at[kept - 1] > 1e-4 * size[2]) {
            f->at[kept++] = f->at[i];
        }
    }
    f->n = kept;
}

static po_status make_family(const po_planning *p, const po_shard *shard, const po_axes *axes, int axis, po_arena *own,
                             family *f, po_err *err)
{
    const po_mesh *m = shard->mesh;
    double *xyz = po_arena_zeros(own, m->n_vertices + 1, 3 * sizeof *xyz);
    if (!xyz) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    const double *u = axes->of[(axis + 1) % 3], *v = axes->of[(axis + 2) % 3], *w = axes->of[axis];
    box all = NOTHING;
    for (size_t i = 0; i < m->n_vertices; i++) {
        const double *q = m->xyz + 3 * i;
        xyz[3 * i] = q[0] * u[0] + q[1] * u[1] + q[2] * u[2];
        xyz[3 * i + 1] = q[0] * v[0] + q[1] * v[1] + q[2] * v[2];
        xyz[3 * i + 2] = q[0] * w[0] + q[1] * w[1] + q[2] * w[2];
        widen(&all, xyz + 3 * i);
    }
    memcpy(f->axis, w, sizeof f->axis);
    memcpy(f->low, all.low, sizeof f->low);
    memcpy(f->high, all.high, sizeof f->high);
    f->turned = (po_mesh){xyz, m->n_vertices, m->corners, m->n_triangles};
    choose_offsets(&p->room, f);
    fill_slabs(f);
    double z[3 * OFFSETS_MOST];
    for (size_t i = 0; i < 3 * f->n; i++) {
        z[i] = f->at[i / 3] + ((double)(i % 3) - 1) * p->least_joint / 2;
    }
    return po_mesh_sections(&f->turned, z, 3 * f->n, p->setup->threads, own, f->sections, err);
}

static unsigned pieces_of(const po_bed_room *room, const box *b)
{
    double size[3] = {b->high[0] - b->low[0], b->high[1] - b->low[1], b->high[2] - b->low[2]};
    unsigned n = po_box_pieces(room, size, NULL);
    return n ? n : FAR_TOO_MANY;
}

/* Lower is better. The weights only rank planes that leave equally many pieces. */
static double joint_cost(const po_shard *shard, const family *f, const po_section *section)
{
    const po_loops *l = &section->loops;
    double area = po_loops_area(l), length = po_loops_length(l), size = f->high[2] - f->low[2];
    double usual = shard->volume / size, middle = (section->z - f->low[2]) / size;
    size_t regions = 0;
    for (size_t i = 0; i < l->n_loops; i++) {
        po_loops one = {l->xy + 2 * (i ? (size_t)l->ends[i - 1] : 0), l->ends[i] - (i ? l->ends[i - 1] : 0), NULL, 1};
        uint32_t end = (uint32_t)one.n_points;
        one.ends = &end;
        regions += po_loops_area(&one) > 0;
    }
    double compact = 4 * 3.14159265358979323846 * area / (length * length);
    /* parts of one size are best: none then fills the machine to its last millimetre */
    double slab = middle * f->count, uneven = f->count > 1 ? fabs(slab - round(slab)) : fabs(2 * middle - 1);
    return 0.3 * ((double)regions - 1) - 0.4 * compact - 0.15 * fmin(area / usual, 2) + 0.3 * uneven;
}

static void add_options(const po_planning *p, const po_shard *shard, const family *f, double askew, option *list,
                        size_t *n)
{
    box below[OFFSETS_MOST], above[OFFSETS_MOST];
    box sum = NOTHING;
    for (size_t i = 0; i < f->n; i++) {
        sum = both(&sum, &f->slabs[i]);
        below[i] = sum;
    }
    sum = NOTHING;
    for (size_t i = f->n; i-- > 0;) {
        sum = both(&sum, &f->slabs[i + 1]);
        above[i] = sum;
    }
    for (size_t i = 0; i < f->n; i++) {
        if (below[i].low[0] > below[i].high[0] || above[i].low[0] > above[i].high[0] ||
            !f->sections[3 * i + 1].loops.n_loops) {
            continue;
        }
        option *o = &list[*n];
        *o = (option){.section = &f->sections[3 * i + 1], .of = f, .at = f->at[i], .number = *n};
        memcpy(o->candidate.plane.n, f->axis, sizeof f->axis);
        o->candidate.plane.d = f->at[i];
        o->candidate.pieces = pieces_of(&p->room, &below[i]) + pieces_of(&p->room, &above[i]);
        o->candidate.cost = joint_cost(shard, f, o->section) + askew;
        ++*n;
    }
}

static int by_worth(const void *a, const void *b)
{
    const option *x = a, *y = b;
    if (x->candidate.pieces != y->candidate.pieces) {
        return x->candidate.pieces < y->candidate.pieces ? -1 : 1;
    }
    return x->candidate.cost < y->candidate.cost   ? -1
           : x->candidate.cost > y->candidate.cost ? 1
                                                   : (x->number > y->number) - (x->number < y->number);
}

static void count_loops(const po_loops *l, size_t *ret_regions, size_t *ret_holes)
{
    *ret_regions = *ret_holes = 0;
    for (size_t i = 0; i < l->n_loops; i++) {
        size_t first = i ? l->ends[i - 1] : 0;
        uint32_t end = (uint32_t)(l->ends[i] - first);
        po_loops one = {l->xy + 2 * first, end, &end, 1};
        bool outer = po_loops_area(&one) > 0;
        *ret_regions += outer;
        *ret_holes += !outer;
    }
}

/* section: the middle one of three. What counts is what they have in common, so that a thin wall that is cut at a slant,
 * and looks thick for it, does not pass. */
static po_status is_sturdy(const po_section *section, double least, bool *ret, po_err *err)
{
    po_arena *own = po_arena_new(0);
    po_loops half, clean, inset, opened;
    po_status status = own ? po_loops_clip(&section[-1].loops, &section[0].loops, PO_CLIP_COMMON, own, &half, err)
                           : po_fail(err, PO_E_NOMEM, "memory ran out");
    *ret = false;
    if (status == PO_OK) {
        status = po_loops_clip(&half, &section[1].loops, PO_CLIP_COMMON, own, &clean, err);
    }
    if (status == PO_OK) {
        status = po_loops_offset(&clean, -least / 2, ARC_ERROR, own, &inset, err);
    }
    if (status == PO_OK && inset.n_loops) {
        size_t regions[2], holes[2];
        count_loops(&clean, &regions[0], &holes[0]);
        count_loops(&inset, &regions[1], &holes[1]);
        if (regions[0] == regions[1] && holes[0] == holes[1]) {
            status = po_loops_offset(&inset, least / 2, ARC_ERROR, own, &opened, err);
            *ret = status == PO_OK && po_loops_area(&opened) >= (1 - THIN_SHARE) * po_loops_area(&section->loops);
        }
    }
    po_arena_free(own);
    return status;
}

/* Near one that is there already: the same cut, more or less. */
static bool stands_beside(const option *o, const option *const *taken, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (taken[i]->of == o->of && fabs(taken[i]->at - o->at) < 0.03 * (o->of->high[2] - o->of->low[2]) &&
            taken[i]->candidate.pieces <= o->candidate.pieces) {
            return true;
        }
    }
    return false;
}

static po_status find(const po_planning *p, const po_shard *shard, size_t most, po_arena *own, po_cut_plane *ret,
                      size_t *ret_n, po_err *err)
{
    size_t n = 0, n_families = 3 * p->n_axes;
    family *families = po_arena_zeros(own, n_families, sizeof *families);
    option *list = po_arena_zeros(own, n_families * OFFSETS_MOST, sizeof *list);
    const option *taken[PO_CUT_PLANES_MOST];
    po_status status = families && list ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    for (size_t i = 0; status == PO_OK && i < n_families; i++) {
        status = make_family(p, shard, &p->axes[i / 3], (int)(i % 3), own, &families[i], err);
        if (status == PO_OK) {
            /* the last axes are those in which the part lies snuggest: cuts straight across it */
            add_options(p, shard, &families[i], 0.15 * (double)(p->n_axes - 1 - i / 3), list, &n);
        }
    }
    *ret_n = 0;
    if (status == PO_OK && n) {
        qsort(list, n, sizeof *list, by_worth);
    }
    for (size_t i = 0; status == PO_OK && i < n && *ret_n < most; i++) {
        bool sturdy = false;
        if (stands_beside(&list[i], taken, *ret_n)) {
            continue;
        }
        status = is_sturdy(list[i].section, p->least_joint, &sturdy, err);
        if (status == PO_OK && sturdy) {
            taken[*ret_n] = &list[i];
            ret[(*ret_n)++] = list[i].candidate;
        }
    }
    return status;
}

po_status po_planes_find(const po_planning *p, const po_shard *shard, size_t most, po_cut_plane *ret, size_t *ret_n,
                         po_err *err)
{
    po_arena *own = po_arena_new(0);
    po_status status = own ? find(p, shard, most < PO_CUT_PLANES_MOST ? most : PO_CUT_PLANES_MOST, own, ret, ret_n, err)
                           : po_fail(err, PO_E_NOMEM, "memory ran out");
    po_arena_free(own);
    return status;
}

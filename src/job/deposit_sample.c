/* Height, width and carrying of each bead; stretches that nothing carries. SPDX-License-Identifier: Apache-2.0
 *
 * Every bead is sampled along its centre line, one point a cell. What lies beneath is nearly always of one height and
 * carries the whole bead: that case costs one pass over the samples. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/deposit_inside.h"

enum { MOST_SAMPLES = 8192, SHARE_BEADS = 512 };
#define STRAND_STEPS 1.75f /* a bead this many layers high hangs between others: sparse fill in turns */

/* k-th smallest by quickselect (Hoare 1961); reorders v. */
static float select_kth(float *v, int n, int k)
{
    int lo = 0, hi = n - 1;
    while (lo < hi) {
        float pivot = v[(lo + hi) / 2];
        int i = lo, j = hi;
        while (i <= j) {
            while (v[i] < pivot) {
                i++;
            }
            while (v[j] > pivot) {
                j--;
            }
            if (i <= j) {
                float t = v[i];
                v[i++] = v[j];
                v[j--] = t;
            }
        }
        if (k <= j) {
            hi = j;
        } else if (k >= i) {
            lo = i;
        } else {
            break;
        }
    }
    return v[k];
}

/* Heights are differences of single-precision sums: snap to a ten-thousandth of a mm. */
static float snap(float h)
{
    return (float)((double)(int)((double)h * 1e4 + 0.5) / 1e4);
}

static bool room_for_segments(segments *list, size_t n)
{
    if (n > list->cap) {
        size_t cap = list->cap ? list->cap * 2 : 256;
        while (cap < n) {
            cap *= 2;
        }
        segment *more = realloc(list->at, cap * sizeof *more);
        if (!more) {
            list->failed = true;
            return false;
        }
        list->at = more;
        list->cap = cap;
    }
    return true;
}

static bool add_segment(segments *list, uint32_t bead, float t0, float t1, bool carried)
{
    if (!room_for_segments(list, list->n + 1)) {
        return false;
    }
    list->at[list->n++] = (segment){bead, t0, t1, carried};
    return true;
}

static inline float map_at(const po_deposit *d, float cx, float cy)
{
    return height_at(d, (int)cx, (int)cy);
}

/* Is the point within `reach` cells of a cell that carries? Distance to the cell's square. */
static bool near_carrier(const po_deposit *d, float cx, float cy, float reach, float floor_z)
{
    int r = (int)ceilf(reach), ix = (int)cx, iy = (int)cy;
    float fx = cx - (float)ix, fy = cy - (float)iy;
    for (int dy = -r; dy <= r; dy++) {
        float oy = dy < 0 ? fy - (float)(dy + 1) : dy > 0 ? (float)dy - fy : 0;
        for (int dx = -r; dx <= r; dx++) {
            float ox = dx < 0 ? fx - (float)(dx + 1) : dx > 0 ? (float)dx - fx : 0;
            if (ox * ox + oy * oy <= reach * reach && cell_inside(d, ix + dx, iy + dy) &&
                height_at(d, ix + dx, iy + dy) >= floor_z) {
                return true;
            }
        }
    }
    return false;
}

/* Carried, where g says how far beyond (or, negative, inside of) material the centre line may lie, in cells. */
static bool carried_at(const po_deposit *d, float cx, float cy, float nx, float ny, float g, float floor_z)
{
    bool on = map_at(d, cx, cy) >= floor_z;
    if (g >= 0) {
        return on || near_carrier(d, cx, cy, g, floor_z);
    }
    float ox = -g * nx, oy = -g * ny; /* inside by that much to both sides */
    return on && map_at(d, cx + ox, cy + oy) >= floor_z && map_at(d, cx - ox, cy - oy) >= floor_z;
}

static void width_of(const po_deposit *d, const po_bead *b, bead_info *info)
{
    float h = info->h, a = b->area;
    const float round_share = (float)(M_PI / 4);
    if (a < round_share * h * h) {
        info->bits |= INFO_ROUND;
        /* on the raster a strand that hangs keeps the width of its layer: otherwise it would no longer touch the
         * neighbour that carries it */
        float u = d->usual_h;
        info->w = u > 0 && u < h && a >= round_share * u * u ? a / u + u * (1 - round_share) : sqrtf(a / round_share);
    } else {
        if (h < 0.5f * d->usual_h) { /* a ramp that starts on a floor, or on the end of the bead before it */
            h = d->usual_h;
        }
        info->w = a >= round_share * h * h ? a / h + h * (1 - round_share) : sqrtf(a / round_share);
    }
    if (!(info->w > 0)) {
        info->w = 0.01f;
    }
}

/* A bead that is much higher than usual, though what was fed would make an ordinary one at the usual height, and would be
 * thin here: it lies across a small gap (the first layer on a raft, or on a support). It says nothing of layers. */
static bool lies_across(const po_deposit *d, float h, float area, float nozzle)
{
    const float lost = (float)(1 - M_PI / 4);
    float u = d->usual_h;
    return u > 0 && h > 1.25f * u && area / u + u * lost >= 0.95f * nozzle && area / h + h * lost < 0.9f * nozzle;
}

static void count_height(po_deposit *d, float h, float length)
{
    int bin = (int)(h * 1000 + 0.5f);
    if (bin >= 0 && bin < H_BINS) {
        d->h_share[bin] += (double)length;
        d->h_moment[bin] += (double)length * (double)h;
        d->h_total += (double)length;
    }
}

/* The usual layer height so far: the length-weighted median of the heights found. Worked out anew when a tenth more
 * has been laid. */
static void refresh_usual(po_deposit *d)
{
    if (d->h_total <= 0 || d->h_total < d->h_counted * 1.1) {
        return;
    }
    double sum = 0;
    for (int i = 0; i < H_BINS; i++) {
        sum += d->h_share[i];
        if (sum >= d->h_total / 2) {
            d->usual_h = (float)(d->h_moment[i] / d->h_share[i]);
            break;
        }
    }
    d->h_counted = d->h_total;
}

/* Least step from a height met lately in the same place up to z; a bead whose h is much more spans a gap. */
static float pitch_below(const po_deposit *d, float z, const po_cells *used)
{
    float pitch = INFINITY;
    size_t n = d->n_ring < HEIGHT_RING ? d->n_ring : HEIGHT_RING;
    for (size_t i = 0; i < n; i++) {
        const po_cells *c = &d->ring[i].used;
        float step = z - d->ring[i].z;
        if (step > 0.03f && step < pitch && c->x0 < used->x1 && used->x0 < c->x1 && c->y0 < used->y1 &&
            used->y0 < c->y1) {
            pitch = step;
        }
    }
    return pitch;
}

/* Height by which a bead may lean out: a ramp belongs to the height it ends at, so that its thin beginning is not asked
 * to stand on less than a whole layer could. */
static inline float lean_height(const po_deposit *d, const po_bead *b, const bead_info *info)
{
    return b->flags & PO_BEAD_RAMP || info->h < 0.5f * d->usual_h ? max_f(info->h, d->usual_h) : info->h;
}

static bool sample_bead(const po_deposit *d, work *w, uint32_t i, float pitch, segments *list, float *v)
{
    const po_bead *b = &w->batch->beads[i];
    bead_info *info = &w->info[i];
    int tool = b->tool < d->setup.n_tools ? b->tool : 0;
    float nozzle = (float)d->setup.nozzle_mm[tool];
    float z = bead_z(b), ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), bx = cell_x(d, b->x1), by = cell_y(d, b->y1);
    float dx = bx - ax, dy = by - ay, flat = sqrtf(dx * dx + dy * dy);
    info->bits = 0;
    info->across = 0;
    info->piece = 0;
    info->beneath = 0;
    float usual = d->usual_h > 0 ? d->usual_h : 0.5f * nozzle;
    const float margin = 4;
    float wmax = (float)d->width - margin, hmax = (float)d->height - margin;
    if (!(ax > margin && ay > margin && bx > margin && by > margin && ax < wmax && bx < wmax && ay < hmax &&
          by < hmax)) {
        info->bits = INFO_OUTSIDE | (z > 0 && z < 1.5f * nozzle ? INFO_FOUND | INFO_ON_BED : 0);
        info->h = z > 0 && z < 1.5f * nozzle ? z : usual;
        width_of(d, b, info);
        return true;
    }
    int n = (int)ceilf(flat);
    n = n < 1 ? 1 : n > MOST_SAMPLES ? MOST_SAMPLES : n;
    float step = 1 / (float)n, sx = dx * step, sy = dy * step, px = ax + 0.5f * sx, py = ay + 0.5f * sy;
    float low = INFINITY, high = -INFINITY;
    if (n > 4) { /* a quick look at every third cell: nearly always all of it is one height, which then carries */
        float m = map_at(d, px, py), hq = z - m;
        int k = 3;
        for (float t = 3; k < n && map_at(d, px + sx * t, py + sy * t) == m; k += 3, t += 3) {
        }
        if (k >= n && hq > 1e-4f && hq < 1.5f * nozzle &&
            map_at(d, px + sx * (float)(n - 1), py + sy * (float)(n - 1)) == m) {
            low = m;
            info->beneath = low;
            info->h = snap(hq);
            info->bits = (uint16_t)(INFO_FOUND |
                                    (low == 0                                                           ? INFO_ON_BED
                                     : hq > STRAND_STEPS * pitch || lies_across(d, hq, b->area, nozzle) ? INFO_STRAND
                                                                                                        : 0));
            width_of(d, b, info);
            if (lean_height(d, b, info) * d->tan_limit - 0.5f * info->w + 0.5f * d->cell >= 0) {
                return true;
            }
            info->bits = 0;
            low = INFINITY;
        }
    }
    for (int k = 0; k < n; k++) {
        float m = map_at(d, px + sx * (float)k, py + sy * (float)k);
        v[k] = m;
        low = m < low ? m : low;
        high = m > high ? m : high;
    }
    float median = low;
    if (high - low > 1e-4f) {
        float copy[256];
        if (n <= 256) {
            memcpy(copy, v, (size_t)n * sizeof *v);
            median = select_kth(copy, n, n / 2);
        } else { /* long beads: every so many samples are as good */
            int skip = (n + 255) / 256, m = 0;
            for (int k = skip / 2; k < n; k += skip) {
                copy[m++] = v[k];
            }
            median = select_kth(copy, m, m / 2);
        }
    }
    info->beneath = median;
    float h = z - median;
    bool on_bed = median == 0;
    if (h > 1e-4f && h < 1.5f * nozzle) {
        info->h = snap(h);
        info->bits |= INFO_FOUND;
        if (on_bed) {
            info->bits |= INFO_ON_BED;
        } else if (h > STRAND_STEPS * pitch || lies_across(d, h, b->area, nozzle)) {
            info->bits |= INFO_STRAND;
        }
    } else {
        info->h = usual;
    }
    width_of(d, b, info);
    h = info->h;
    float floor_any = z - h - gap_most(d, h), floor_touch = z - h - touch_slack(h);
    /* half a cell is the raster's own doubt: a wall at the very limit is carried */
    float g = (lean_height(d, b, info) * d->tan_limit - 0.5f * info->w) * d->inv_cell + 0.5f;
    if (g >= 0 && low >= floor_touch) {
        return true;
    }
    if (g < -20) {
        g = -20; /* an absurd width: two millimetres inside is inside */
    }
    float nx = 0, ny = 0;
    if (flat > 0) {
        nx = -dy / flat;
        ny = dx / flat;
    }
    if (g < 0 && !(ax > 24 && ay > 24 && bx > 24 && by > 24 && ax < wmax - 20 && bx < wmax - 20 && ay < hmax - 20 &&
                   by < hmax - 20)) {
        g = 0; /* at the window's rim there is no room to look to the side */
    }
    int across = 0, free_samples = 0;
    bool state = true;
    size_t first = list->n;
    int begun = 0;
    for (int k = 0; k < n; k++) {
        bool c = (g >= 0 && v[k] >= floor_any) ||
                 carried_at(d, px + sx * (float)k, py + sy * (float)k, nx, ny, g, floor_any);
        if (c && v[k] < floor_touch && v[k] >= floor_any) { /* across a gap, unless something within reach touches */
            across += !(g > 0 && near_carrier(d, px + sx * (float)k, py + sy * (float)k, g, floor_touch));
        }
        free_samples += !c;
        if (k == 0) {
            state = c;
        } else if (c != state) {
            if (!add_segment(list, i, (float)begun * step, (float)k * step, state)) {
                return false;
            }
            state = c;
            begun = k;
        }
    }
    info->across = b->length * (float)across * step;
    if (free_samples == 0) {
        list->n = first;
        return true;
    }
    info->bits |= INFO_PART_FREE;
    return add_segment(list, i, (float)begun * step, 1, state);
}

static bool add_stretch(work *w, const stretch *s)
{
    if (w->n_stretches == w->cap_stretches) {
        size_t cap = w->cap_stretches ? w->cap_stretches * 2 : 64;
        stretch *more = realloc(w->stretches, cap * sizeof *more);
        if (!more) {
            return false;
        }
        w->stretches = more;
        w->cap_stretches = cap;
    }
    w->stretches[w->n_stretches++] = *s;
    return true;
}

typedef struct run {
    bool carried;
    uint32_t bead0, bead1;
    float t0, t1, length;
} run;

typedef struct run_list {
    run *at;
    size_t n, cap;
} run_list;

static bool add_run(run_list *list, bool carried, uint32_t bead, float t0, float t1, float length)
{
    if (list->n && list->at[list->n - 1].carried == carried) {
        run *last = &list->at[list->n - 1];
        last->bead1 = bead;
        last->t1 = t1;
        last->length += length;
        return true;
    }
    if (list->n == list->cap) {
        size_t cap = list->cap ? list->cap * 2 : 256;
        run *more = realloc(list->at, cap * sizeof *more);
        if (!more) {
            return false;
        }
        list->at = more;
        list->cap = cap;
    }
    list->at[list->n++] = (run){carried, bead, bead, t0, t1, length};
    return true;
}

static void middle_of(const work *w, stretch *s)
{
    float want = s->length / 2, sum = 0;
    for (uint32_t i = s->bead0; i <= s->bead1; i++) {
        const po_bead *b = &w->batch->beads[i];
        float t0 = i == s->bead0 ? s->t0 : 0, t1 = i == s->bead1 ? s->t1 : 1, len = (t1 - t0) * b->length;
        if (sum + len >= want || i == s->bead1) {
            float t = len > 0 ? t0 + (t1 - t0) * min_f(1, max_f(0, (want - sum) / len)) : t0;
            s->x = bead_x(b, t);
            s->y = bead_y(b, t);
            s->z = bead_z(b);
            return;
        }
        sum += len;
    }
}

/* One chain of beads that go on from each other, [from, to): runs of carried and free material, short ones joined to
 * their neighbours, the rest kept as stretches. */
static bool chain(po_deposit *d, work *w, uint32_t from, uint32_t to, size_t seg, run_list *list, bool begins_carried)
{
    const po_bead *beads = w->batch->beads;
    list->n = 0;
    for (uint32_t i = from; i < to; i++) {
        const po_bead *b = &beads[i];
        if (!(w->info[i].bits & INFO_PART_FREE)) {
            if (!add_run(list, true, i, 0, 1, b->length)) {
                return false;
            }
            continue;
        }
        while (seg < d->n_segments && d->segments[seg].bead < i) {
            seg++;
        }
        for (; seg < d->n_segments && d->segments[seg].bead == i; seg++) {
            const segment *s = &d->segments[seg];
            if (!add_run(list, s->carried, i, s->t0, s->t1, b->length * (s->t1 - s->t0))) {
                return false;
            }
        }
    }
    bool any = begins_carried;
    for (size_t k = 0; k < list->n; k++) {
        any |= list->at[k].carried;
    }
    const po_bead *first = &beads[from], *last = &beads[to - 1];
    float close = max_f(w->info[from].w, 0.1f);
    bool loop = to - from > 2 && hypotf(last->x1 - first->x0, last->y1 - first->y0) <= close;
    bool ring = loop && list->n > 1 && !list->at[0].carried && !list->at[list->n - 1].carried;
    for (size_t k = 0; k < list->n; k++) {
        run *r = &list->at[k];
        if (r->carried) {
            continue;
        }
        bool at_start = k == 0, at_end = k == list->n - 1;
        float length = r->length + (ring && at_start ? list->at[list->n - 1].length : 0) +
                       (ring && at_end ? list->at[0].length : 0);
        if (length < 2 * w->info[r->bead0].h && any) {
            continue;
        }
        stretch s = {.bead0 = r->bead0,
                     .bead1 = r->bead1,
                     .t0 = r->t0,
                     .t1 = r->t1,
                     .length = r->length,
                     .free_mm = length,
                     .chain_carried = any};
        s.left_carried = !at_start || (loop && list->n > 1) || begins_carried;
        s.right_carried = !at_end || (loop && list->n > 1);
        middle_of(w, &s);
        if (!add_stretch(w, &s)) {
            return false;
        }
    }
    return true;
}

static bool chains(po_deposit *d, work *w)
{
    const po_batch *batch = w->batch;
    run_list list = {0};
    bool ok = true;
    size_t seg = 0;
    bool going_on = batch->continues && batch->n_beads && d->last_chain_carried;
    for (uint32_t i = 0; ok && i < batch->n_beads;) {
        uint32_t end = i + 1;
        bool free_part = w->info[i].bits & INFO_PART_FREE;
        while (end < batch->n_beads && !(batch->beads[end].flags & PO_BEAD_CHAIN)) {
            free_part |= w->info[end].bits & INFO_PART_FREE;
            end++;
        }
        bool begins = i == 0 && going_on;
        size_t before = w->n_stretches;
        if (free_part) {
            while (seg < d->n_segments && d->segments[seg].bead < i) {
                seg++;
            }
            ok = chain(d, w, i, end, seg, &list, begins);
        }
        d->last_chain_carried = !free_part || w->n_stretches == before ||
                                w->stretches[w->n_stretches - 1].chain_carried;
        i = end;
    }
    free(list.at);
    return ok;
}

/* The label of what a bead rests on, at its middle, near its ends, in between, or under its round ends (a strand of fill
 * that hangs between two walls). What lies across a gap is not asked: it may be a support. */
static uint16_t label_touched(const po_deposit *d, const po_bead *b, const bead_info *info)
{
    static const float at[] = {0.5f, 0.02f, 0.98f, 0.25f, 0.75f};
    float ax = cell_x(d, b->x0), ay = cell_y(d, b->y0), dx = cell_x(d, b->x1) - ax, dy = cell_y(d, b->y1) - ay;
    float floor_touch = bead_z(b) - info->h - touch_slack(info->h);
    uint16_t label;
    for (size_t k = 0; k < sizeof at / sizeof *at; k++) {
        if (po_relief_look(&d->relief, (int)(ax + dx * at[k]), (int)(ay + dy * at[k]), &label) >= floor_touch &&
            label) {
            return label;
        }
    }
    float flat = sqrtf(dx * dx + dy * dy), out = flat > 0 ? 0.8f * radius_of(d, info) / flat : 0;
    for (int k = 0; k < 2; k++) {
        float t = k ? 1 + out : -out;
        int x = (int)floorf(ax + dx * t), y = (int)floorf(ay + dy * t);
        if (cell_inside(d, x, y) && po_relief_look(&d->relief, x, y, &label) >= floor_touch && label) {
            return label;
        }
    }
    return 0;
}

typedef struct sampling {
    po_deposit *d;
    work *w;
    float pitch;
    bool probed;
} sampling;

/* A share of the batch's beads: nothing is written but their infos and the share's own segments. */
static void sample_share(size_t k, void *user)
{
    const sampling *job = user;
    const po_deposit *d = job->d;
    const po_batch *batch = job->w->batch;
    segments *list = &d->shares[k];
    float v[MOST_SAMPLES];
    list->n = 0;
    list->failed = false;
    size_t end = (k + 1) * SHARE_BEADS < batch->n_beads ? (k + 1) * SHARE_BEADS : batch->n_beads;
    for (size_t i = k * SHARE_BEADS; i < end; i++) {
        if (i + FETCH_AHEAD < batch->n_beads) {
            fetch_bead(d, &batch->beads[i + FETCH_AHEAD]);
        }
        if (!sample_bead(d, job->w, (uint32_t)i, job->pitch, list, v)) {
            return;
        }
        bead_info *info = &job->w->info[i];
        if (!(info->bits & INFO_OUTSIDE)) {
            info->piece = label_touched(d, &batch->beads[i], info);
        }
    }
}

/* What goes on at once before anything of this batch is laid: none of it looks at what another writes. */
static void first_look(size_t k, void *user)
{
    sampling *job = user;
    if (k == 0) {
        po_deposit_close_due(job->d);
    } else if (k == 1) {
        job->probed = po_deposit_probe(job->d, job->w);
    } else {
        sample_share(k - 2, job);
    }
}

static bool room_for_shares(po_deposit *d, size_t n)
{
    if (n > d->n_shares) {
        segments *more = realloc(d->shares, n * sizeof *more);
        if (!more) {
            return false;
        }
        memset(more + d->n_shares, 0, (n - d->n_shares) * sizeof *more);
        d->shares = more;
        d->n_shares = n;
    }
    return true;
}

/* Segments of a share behind those of the shares before it. */
static bool take_segments(po_deposit *d, const segments *from)
{
    if (from->n == 0) {
        return true;
    }
    segments all = {d->segments, d->n_segments, d->cap_segments, false};
    bool ok = room_for_segments(&all, all.n + from->n);
    if (ok) {
        memcpy(all.at + all.n, from->at, from->n * sizeof *all.at);
        all.n += from->n;
    }
    d->segments = all.at;
    d->n_segments = all.n;
    d->cap_segments = all.cap;
    return ok;
}

/* Heights found go into the job's histogram; beads that follow each other are mostly of one height. */
static void count_heights(po_deposit *d, const work *w)
{
    for (size_t i = 0; i < w->batch->n_beads; i++) {
        if ((w->info[i].bits & (INFO_FOUND | INFO_STRAND | INFO_OUTSIDE)) == INFO_FOUND) {
            count_height(d, w->info[i].h, w->batch->beads[i].length);
        }
    }
}

/* Where most of a height rests on material, beads beside or between it do not lie on the bed: they hang over it. */
static void hang_over_bed(po_deposit *d, work *w, float pitch)
{
    const po_batch *batch = w->batch;
    double on_bed = 0, above = 0;
    for (uint32_t i = 0; i < batch->n_beads; i++) {
        if (w->info[i].bits & INFO_ON_BED) {
            on_bed += (double)batch->beads[i].length;
        } else if (w->info[i].bits & INFO_FOUND) {
            above += (double)batch->beads[i].length;
        }
    }
    if (on_bed >= above) {
        return;
    }
    w->any_on_bed = false;
    for (uint32_t i = 0; i < batch->n_beads; i++) {
        bead_info *info = &w->info[i];
        if ((info->bits & INFO_ON_BED) && info->h > STRAND_STEPS * pitch) {
            info->bits = (uint16_t)((info->bits & ~INFO_ON_BED) | INFO_STRAND);
            count_height(d, info->h, -batch->beads[i].length);
        }
        w->any_on_bed |= info->bits & INFO_ON_BED;
    }
}

bool po_deposit_sample(po_deposit *d, work *w)
{
    const po_batch *batch = w->batch;
    d->n_segments = 0;
    if (batch->n_beads == 0) {
        return true;
    }
    po_cells around = {d->width, d->height, 0, 0};
    for (size_t i = 0; i < batch->n_beads; i++) {
        const po_bead *b = &batch->beads[i];
        float x0 = cell_x(d, min_f(b->x0, b->x1)), x1 = cell_x(d, max_f(b->x0, b->x1));
        float y0 = cell_y(d, min_f(b->y0, b->y1)), y1 = cell_y(d, max_f(b->y0, b->y1));
        around.x0 = x0 < (float)around.x0 ? (int)max_f(x0, 0) : around.x0;
        around.y0 = y0 < (float)around.y0 ? (int)max_f(y0, 0) : around.y0;
        around.x1 = x1 > (float)around.x1 ? (int)min_f(x1, (float)d->width) + 1 : around.x1;
        around.y1 = y1 > (float)around.y1 ? (int)min_f(y1, (float)d->height) + 1 : around.y1;
    }
    w->used = around;
    float pitch = pitch_below(d, po_batch_floor(batch), &around);
    if (batch->climbing && !batch->settled) {
        pitch = INFINITY; /* a climb has no steps */
    }
    refresh_usual(d);
    size_t n_shares = (batch->n_beads + SHARE_BEADS - 1) / SHARE_BEADS;
    if (!room_for_shares(d, n_shares)) {
        return false;
    }
    sampling job = {d, w, pitch, false};
    if (n_shares > 2) {
        share_out(d, n_shares + 2, first_look, &job);
    } else {
        for (size_t k = 0; k < n_shares + 2; k++) {
            first_look(k, &job);
        }
    }
    if (!job.probed) {
        return false;
    }
    for (size_t k = 0; k < n_shares; k++) {
        if (d->shares[k].failed || !take_segments(d, &d->shares[k])) {
            return false;
        }
    }
    count_heights(d, w);
    for (uint32_t i = 0; i < batch->n_beads; i++) {
        w->any_on_bed |= w->info[i].bits & INFO_ON_BED;
        w->any_above |= !(w->info[i].bits & INFO_ON_BED) && w->info[i].beneath > 0;
    }
    if (w->any_on_bed && w->any_above) {
        hang_over_bed(d, w, pitch);
    }
    if (!batch->continues || !batch->climbing || batch->settled) {
        size_t slot = d->n_ring++ % HEIGHT_RING;
        d->ring[slot].z = batch->z_high;
        d->ring[slot].used = around;
    }
    return chains(d, w);
}

/* A batch whose priming is known goes into the sums. SPDX-License-Identifier: Apache-2.0
 *
 * docs/measures.md, "Layers and beads": priming counts as filament and nowhere here; the first layer is the lowest
 * height that holds a foothold. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/batcher.h"
#include "job/deposit_inside.h"

#define EDGE_SLACK_MM 0.01   /* a bead this little over the edge of the bed is rounding */
#define IN_TURN_MM 2.0f      /* a part that stood higher than this before the next was begun: finished in turn */
#define HEAD_MATTERS_MM 5.0f /* lower than this no head is known to touch */
#define THIN_NOZZLES 0.6f
#define WIDE_NOZZLES 2.5f
#define THICK_NOZZLES 0.8f /* handbook 2.2 */
enum { MOST_ROWS = 1 << 18 };

/* Which beads count: not what is priming. */
static bool counts(po_deposit *d, const bead_info *info, bool all_counts)
{
    if (info->piece) {
        const node *n = &d->nodes[info->piece];
        if (n->foothold || d->nodes[po_node_root(d, info->piece)].foothold) {
            d->seen_foothold = true;
            return true;
        }
        if (n->on_bed) {
            return false;
        }
    }
    return d->seen_foothold || (all_counts && !(info->bits & INFO_ON_BED));
}

static double when(const work *w, size_t lane, uint32_t bead)
{
    return bead < w->batch->n_beads ? w->batch->times[lane].start[bead] : NAN;
}

/* Single precision is good to a hundredth of a micrometre here; the rest is noise that nobody should read. */
static double tidy(float mm)
{
    return nearbyint((double)mm * 1e4) / 1e4;
}

static void see(po_deposit *d, const work *w, po_sight sight, uint32_t bead, uint64_t line, float x, float y, float z,
                double worst, double total)
{
    for (size_t m = 0; m < d->setup.n_machines; m++) {
        po_seen(&d->sums[m].sights[sight], po_place_at(line, tidy(x), tidy(y), tidy(z), when(w, d->lane_of[m], bead)),
                worst, total);
    }
}

/* mm by which a disc of radius r around (x, y) reaches beyond the bed; <= 0: on it. */
static double beyond(const po_machine *m, double x, double y, double r)
{
    double low_x = m->origin_centre ? -m->bed_mm[0] / 2 : 0, low_y = m->origin_centre ? -m->bed_mm[1] / 2 : 0;
    if (m->round_bed) {
        double cx = low_x + m->bed_mm[0] / 2, cy = low_y + m->bed_mm[1] / 2;
        return hypot(x - cx, y - cy) + r - m->bed_mm[0] / 2;
    }
    return fmax(fmax(low_x - (x - r), x + r - (low_x + m->bed_mm[0])),
                fmax(low_y - (y - r), y + r - (low_y + m->bed_mm[1])));
}

static void off_bed(po_deposit *d, const work *w, const uint8_t *counted)
{
    float x0 = INFINITY, x1 = -INFINITY, y0 = INFINITY, y1 = -INFINITY;
    for (size_t i = 0; i < w->batch->n_beads; i++) {
        const po_bead *b = &w->batch->beads[i];
        float r = 0.5f * w->info[i].w;
        x0 = min_f(x0, min_f(b->x0, b->x1) - r);
        x1 = max_f(x1, max_f(b->x0, b->x1) + r);
        y0 = min_f(y0, min_f(b->y0, b->y1) - r);
        y1 = max_f(y1, max_f(b->y0, b->y1) + r);
    }
    for (size_t m = 0; m < d->setup.n_machines; m++) {
        const po_machine *machine = d->machines[m]->machine;
        if (beyond(machine, (double)x0, (double)y0, 0) <= EDGE_SLACK_MM &&
            beyond(machine, (double)x1, (double)y1, 0) <= EDGE_SLACK_MM &&
            beyond(machine, (double)x0, (double)y1, 0) <= EDGE_SLACK_MM &&
            beyond(machine, (double)x1, (double)y0, 0) <= EDGE_SLACK_MM) {
            continue;
        }
        for (uint32_t i = 0; i < w->batch->n_beads; i++) {
            const po_bead *b = &w->batch->beads[i];
            double r = 0.5 * (double)w->info[i].w;
            double a = beyond(machine, (double)b->x0, (double)b->y0, r),
                   e = beyond(machine, (double)b->x1, (double)b->y1, r);
            if (counted[i] && fmax(a, e) > EDGE_SLACK_MM) {
                bool first = a > e;
                po_seen(&d->sums[m].sights[PO_SIGHT_OFF_BED],
                        po_place_at(b->line, (double)(first ? b->x0 : b->x1), (double)(first ? b->y0 : b->y1),
                                    (double)bead_z(b), when(w, d->lane_of[m], i)),
                        fmax(a, e), (double)b->length);
            }
        }
    }
}

static void put_share(double *share, double *moment, double at, double unit, double length)
{
    int bin = (int)fmin(fmax(at / unit, 0), PO_WIDTH_BINS - 1);
    share[bin] += length;
    if (moment) {
        moment[bin] += length * at;
    }
}

static void widths(po_deposit *d, work *w, uint32_t i, bool first_layer)
{
    const po_bead *b = &w->batch->beads[i];
    const bead_info *info = &w->info[i];
    int tool = b->tool < PO_MAX_TOOLS ? b->tool : PO_MAX_TOOLS - 1;
    if (info->bits & (INFO_BRIDGE | INFO_SECOND)) {
        return;
    }
    tool_sums *sums = d->tools[tool];
    if (!sums) {
        sums = d->tools[tool] = calloc(1, sizeof *sums);
        if (!sums) {
            d->failed = true;
            return;
        }
    }
    double len = (double)b->length;
    put_share(sums->area_share, sums->area_moment, (double)b->area, 0.005, len);
    bool thin_start = info->h < 0.5f * d->usual_h; /* of a ramp: it belongs to the height it ends at */
    if (first_layer || !(info->bits & INFO_FOUND) || (info->bits & INFO_STRAND) || thin_start) {
        return;
    }
    float nozzle = (float)d->setup.nozzle_mm[b->tool < d->setup.n_tools ? b->tool : 0];
    float wide = info->bits & INFO_ROUND ? sqrtf(b->area * (float)(4 / M_PI)) : info->w;
    /* a hundredth of a mm a bin, its middle on the round value, so that 0.44 is 0.44 */
    put_share(sums->width_share, sums->width_moment, (double)wide, 0.01, len);
    put_share(sums->height_share, sums->height_moment, (double)info->h, 0.01, len);
    if (!(info->bits & INFO_ROUND)) {
        int bin = (int)min_f(info->w * 100, PO_WIDTH_BINS - 1);
        d->width_share[bin] += len;
        d->width_moment[bin] += len * (double)info->w;
    }
    if (wide < THIN_NOZZLES * nozzle) {
        see(d, w, PO_SIGHT_THIN_BEAD, i, b->line, b->x0, b->y0, bead_z(b), -(double)wide, len);
    } else if (wide > WIDE_NOZZLES * nozzle) {
        see(d, w, PO_SIGHT_WIDE_BEAD, i, b->line, b->x0, b->y0, bead_z(b), (double)wide, len);
    }
    if (info->h > THICK_NOZZLES * nozzle + 1e-4f) {
        see(d, w, PO_SIGHT_THICK_LAYER, i, b->line, b->x0, b->y0, bead_z(b), (double)info->h, len);
    }
}

static bool halve_rows(po_deposit *d)
{
    size_t n = 0;
    for (size_t i = 0; i + 1 < d->n_rows; i += 2, n++) {
        height_row a = d->rows[i], b = d->rows[i + 1];
        a.z = max_f(a.z, b.z);
        a.extruding_mm += b.extruding_mm;
        a.volume += b.volume;
        a.filament_until = fmax(a.filament_until, b.filament_until);
        a.bridge_mm = max_f(a.bridge_mm, b.bridge_mm);
        a.overhang_mm += b.overhang_mm;
        a.on_air_mm += b.on_air_mm;
        a.on_bed |= b.on_bed;
        d->rows[n] = a;
        for (size_t l = 0; l < d->setup.n_lanes; l++) {
            lane_row *r = d->lanes[l].rows;
            r[n] = (lane_row){r[i].start, r[i].seconds + r[i + 1].seconds, r[i].speed_moment + r[i + 1].speed_moment,
                              r[i + 1].end};
        }
    }
    d->n_rows = n;
    d->rows_halved = true;
    return true;
}

static height_row *row_for(po_deposit *d, const work *w, uint64_t line, bool *fresh)
{
    const po_batch *b = w->batch;
    *fresh = false;
    if (d->n_rows) {
        height_row *last = &d->rows[d->n_rows - 1];
        float most = b->climbing && d->usual_h > 0 ? 0.99f * d->usual_h : (float)PO_HEIGHT_NEAR_UM / 1000;
        if (b->continues && b->z_high - d->row_z0 < most && b->z_high - d->row_z0 > -0.02f) {
            return last;
        }
    }
    if (d->n_rows == MOST_ROWS && !halve_rows(d)) {
        return NULL;
    }
    if (d->n_rows == d->cap_rows) {
        size_t cap = d->cap_rows ? d->cap_rows * 2 : 256;
        height_row *rows = realloc(d->rows, cap * sizeof *rows);
        if (!rows) {
            return NULL;
        }
        d->rows = rows;
        for (size_t l = 0; l < d->setup.n_lanes; l++) {
            lane_row *r = realloc(d->lanes[l].rows, cap * sizeof *r);
            if (!r) {
                return NULL;
            }
            d->lanes[l].rows = r;
        }
        d->cap_rows = cap;
    }
    height_row *r = &d->rows[d->n_rows];
    memset(r, 0, sizeof *r);
    r->line = line;
    r->solid_share = r->fill_share = r->walls = NAN;
    d->row_z0 = b->climbing ? b->z_low : b->z_high;
    for (size_t l = 0; l < d->setup.n_lanes; l++) {
        d->lanes[l].rows[d->n_rows] = (lane_row){NAN, 0, 0, NAN};
    }
    d->n_rows++;
    *fresh = true;
    return r;
}

static void stretches(po_deposit *d, work *w, const uint8_t *counted, height_row *row)
{
    /* material on air: by connected piece */
    for (size_t i = 0; i < w->n_stretches; i++) {
        stretch *s = &w->stretches[i];
        if (!counted[s->bead0]) {
            continue;
        }
        uint64_t line = w->batch->beads[s->bead0].line;
        double len = (double)s->length;
        switch (s->class) {
        case FREE_ON_AIR: {
            d->on_air += len;
            row->on_air_mm += s->length;
            if (s->free_mm < 0) {
                break; /* counted with its piece already */
            }
            double whole = 0;
            for (size_t k = i; k < w->n_stretches; k++) {
                stretch *o = &w->stretches[k];
                if (o->class == FREE_ON_AIR && o->air_piece == s->air_piece && counted[o->bead0]) {
                    whole += (double)o->length;
                    o->free_mm = -1;
                }
            }
            if (!w->missing) {
                see(d, w, PO_SIGHT_ON_AIR, s->bead0, line, s->x, s->y, s->z, whole, whole);
            }
            break;
        }
        case FREE_OVER_FILL:
            d->over_fill += len;
            break;
        case FREE_BRIDGE:
            d->bridges++;
            d->longest_bridge = fmax(d->longest_bridge, (double)s->free_mm);
            row->bridge_mm = max_f(row->bridge_mm, s->free_mm);
            see(d, w, PO_SIGHT_BRIDGE, s->bead0, line, s->x, s->y, s->z, (double)s->free_mm, len);
            break;
        case FREE_OVERHANG:
            d->overhang += len;
            row->overhang_mm += s->length;
            see(d, w, PO_SIGHT_OVERHANG, s->bead0, line, s->x, s->y, s->z, len, len);
            break;
        }
    }
}

static bool push_later(lane_sums *l, double start, double end)
{
    if (l->n_later + 2 > l->cap_later) {
        size_t cap = l->cap_later ? l->cap_later * 2 : 16;
        double *more = realloc(l->later, cap * sizeof *more);
        if (!more) {
            return false;
        }
        l->later = more;
        l->cap_later = cap;
    }
    l->later[l->n_later++] = start;
    l->later[l->n_later++] = end;
    return true;
}

static bool note_times(po_deposit *d, work *w, const uint8_t *counted, int64_t row, bool first_layer, bool later)
{
    const po_batch *batch = w->batch;
    for (size_t lane = 0; lane < d->setup.n_lanes; lane++) {
        lane_sums *l = &d->lanes[lane];
        const po_bead_times *t = &batch->times[lane];
        double begin = NAN, end = NAN, moment = 0;
        for (uint32_t i = 0; i < batch->n_beads; i++) {
            if (!counted[i]) {
                continue;
            }
            const po_bead *b = &batch->beads[i];
            const bead_info *info = &w->info[i];
            double start = t->start[i], secs = (double)t->seconds[i], top = (double)t->top_mm_s[i];
            int tool = b->tool < PO_MAX_TOOLS ? b->tool : PO_MAX_TOOLS - 1;
            begin = isnan(begin) ? start : begin;
            end = start + secs;
            moment += top * (double)b->length;
            if (b->flags & PO_BEAD_LONG) {
                l->peak[tool] = fmax(l->peak[tool], (double)b->area * top);
            }
            if (!po_flow_add(&l->flow[tool], start, secs, (double)b->area * (double)b->length, b->line, b->x0, b->y0,
                             bead_z(b))) {
                return false;
            }
            if (first_layer) {
                put_share(l->first_speed_share, NULL, top, 1, (double)b->length);
            } else {
                put_share(l->speed_share, NULL, top, 1, (double)b->length);
                if (d->layers_begun >= 4 && !(info->bits & INFO_BRIDGE)) {
                    l->fan_share[b->fan_percent < PO_FAN_BINS ? b->fan_percent : PO_FAN_BINS - 1] += secs;
                }
            }
        }
        if (isnan(begin)) {
            continue;
        }
        if (row >= 0) {
            lane_row *r = &l->rows[row];
            r->start = isnan(r->start) ? begin : r->start;
            r->end = end;
            r->seconds = end - r->start;
            r->speed_moment += moment;
        }
        if (first_layer) {
            l->first_bead = isnan(l->first_bead) ? begin : l->first_bead;
            l->first_layer_end = end;
        }
        if (later) {
            if (batch->continues && l->n_later) {
                l->later[l->n_later - 1] = end;
            } else if (!push_later(l, begin, end)) {
                return false;
            }
        }
        if (d->n_work_times < d->cap_work_times) {
            d->work_times[(d->n_work_times * d->setup.n_lanes + lane) * 2] = begin;
            d->work_times[(d->n_work_times * d->setup.n_lanes + lane) * 2 + 1] = end;
        }
    }
    return true;
}

static bool room_for_times(po_deposit *d)
{
    enum { MOST = 1 << 20 };
    if (d->n_work_times < d->cap_work_times || d->cap_work_times >= MOST) {
        return true;
    }
    size_t cap = d->cap_work_times ? d->cap_work_times * 2 : 512;
    double *more = realloc(d->work_times, cap * d->setup.n_lanes * 2 * sizeof *more);
    if (!more) {
        return false;
    }
    for (size_t i = d->cap_work_times * d->setup.n_lanes * 2; i < cap * d->setup.n_lanes * 2; i++) {
        more[i] = NAN;
    }
    d->work_times = more;
    d->cap_work_times = cap;
    return true;
}

static void hits(po_deposit *d, const work *w, const uint8_t *counted)
{
    for (size_t i = 0; i < w->n_hits; i++) {
        const hit *h = &w->hits[i];
        if (h->machine == UINT16_MAX) {
            see(d, w, PO_SIGHT_RUNS_INTO_PART, h->bead, h->line, h->x, h->y, h->z, (double)h->higher, 0);
        } else if (h->bead >= w->batch->n_beads || counted[h->bead]) {
            po_seen(&d->sums[h->machine].sights[PO_SIGHT_HEAD_HITS_PART],
                    po_place_at(h->line, (double)h->x, (double)h->y, (double)h->z,
                                when(w, d->lane_of[h->machine], h->bead)),
                    (double)h->higher, 0);
        }
    }
}

static void keep_image(po_deposit *d, work *w, const height_row *row)
{
    if (!w->image) {
        return;
    }
    double score = 20 * (double)row->on_air_mm + (double)row->overhang_mm + 200.0 * (double)(w->n_hits > 0) +
                   (row->bridge_mm > 5 ? (double)row->bridge_mm : 0);
    if (score <= 0.5) {
        return;
    }
    size_t at = d->n_images;
    for (size_t i = 0; i < d->n_images; i++) { /* neighbours in height tell the same story: the worse one stays */
        if (fabs(d->images[i]->z - w->image->z) < 1.5) {
            if (score <= d->image_score[i]) {
                return;
            }
            at = i;
        }
    }
    if (at == d->n_images && d->n_images == MOST_IMAGES) {
        at = 0;
        for (size_t i = 1; i < d->n_images; i++) {
            at = d->image_score[i] < d->image_score[at] ? i : at;
        }
        if (d->image_score[at] >= score) {
            return;
        }
    }
    if (at < d->n_images) {
        po_image_free(d->images[at]);
    } else {
        d->n_images++;
    }
    d->images[at] = w->image;
    d->image_score[at] = score;
    w->image = NULL;
}

bool po_deposit_close(po_deposit *d, work *w, bool all_counts)
{
    const po_batch *batch = w->batch;
    if (!room_for_times(d)) {
        return false;
    }
    if (d->cap_flags < batch->n_beads + 1) {
        free(d->flags);
        d->cap_flags = batch->n_beads * 2 + 64;
        d->flags = malloc(d->cap_flags);
        if (!d->flags) {
            d->cap_flags = 0;
            return false;
        }
    }
    uint8_t *counted = d->flags;
    size_t n = 0;
    uint32_t first = UINT32_MAX;
    bool bed = false;
    for (uint32_t i = 0; i < batch->n_beads; i++) {
        counted[i] = counts(d, &w->info[i], all_counts);
        n += counted[i];
        first = counted[i] && first == UINT32_MAX ? i : first;
        bed |= counted[i] && (w->info[i].bits & INFO_ON_BED);
    }
    hits(d, w, counted);
    if (n == 0) {
        d->n_work_times += batch->n_beads && d->n_work_times < d->cap_work_times;
        return true;
    }
    bool first_layer = false, later = false;
    if (bed) {
        if (isnan(d->first_layer_z)) {
            d->first_layer_z = batch->z_high;
            d->first_layer_open = true;
        }
        first_layer = d->first_layer_open && fabsf(batch->z_high - d->first_layer_z) < 0.021f;
        later = !first_layer;
        if (first_layer && d->setup.images) {
            po_deposit_first_picture(d, w);
        }
    }
    if (!first_layer) {
        d->first_layer_open = false;
    }
    if (later && d->row_top > IN_TURN_MM) {
        d->in_turn = true;
        for (size_t m = 0; m < d->setup.n_machines; m++) {
            if (!d->machines[m]->machine->head.given && d->row_top > HEAD_MATTERS_MM) {
                const po_bead *b = &batch->beads[first];
                po_seen(&d->sums[m].sights[PO_SIGHT_HEAD_UNKNOWN],
                        po_place_at(b->line, (double)b->x0, (double)b->y0, (double)bead_z(b),
                                    when(w, d->lane_of[m], first)),
                        (double)d->row_top, 0);
            }
        }
    }
    const po_bead *begin = &batch->beads[first];
    if (!d->any_counted) {
        d->any_counted = true;
        float nozzle = (float)d->setup.nozzle_mm[begin->tool < d->setup.n_tools ? begin->tool : 0];
        float air = bead_z(begin) - w->info[first].beneath;
        if (!(w->info[first].bits & INFO_FOUND) && w->info[first].beneath == 0 && air >= 1.5f * nozzle) {
            see(d, w, PO_SIGHT_STARTS_IN_AIR, first, begin->line, begin->x0, begin->y0, bead_z(begin), (double)air, 0);
            d->began_in_air = true;
        }
    }
    bool fresh;
    height_row *row = row_for(d, w, begin->line, &fresh);
    if (!row) {
        return false;
    }
    row->z = max_f(row->z, batch->z_high);
    row->on_bed |= bed;
    row->serial = w->serial;
    row->filament_until = batch->filament_mm;
    row->area_mm2 += w->area_mm2;
    if (fresh || isnan(row->solid_share)) {
        row->solid_share = (float)w->solid_share;
        row->fill_share = (float)w->fill_share;
        row->walls = (float)w->walls;
    }
    if (fresh) {
        d->layers_begun++;
        d->row_top = max_f(d->row_top, batch->z_high);
    }
    const bool steady = batch->climbing && !batch->settled;
    for (uint32_t i = 0; i < batch->n_beads; i++) {
        if (!counted[i]) {
            continue;
        }
        const po_bead *b = &batch->beads[i];
        double len = (double)b->length;
        row->extruding_mm += len;
        row->volume += (double)b->area * len;
        d->extruding += len;
        d->climbing += steady ? len : 0;
        d->across += (double)w->info[i].across;
        d->min[0] = min_f(d->min[0], min_f(b->x0, b->x1));
        d->max[0] = max_f(d->max[0], max_f(b->x0, b->x1));
        d->min[1] = min_f(d->min[1], min_f(b->y0, b->y1));
        d->max[1] = max_f(d->max[1], max_f(b->y0, b->y1));
        d->min[2] = min_f(d->min[2], min_f(b->z0, b->z1));
        d->max[2] = max_f(d->max[2], max_f(b->z0, b->z1));
        widths(d, w, i, first_layer);
    }
    if (w->missing) {
        see(d, w, PO_SIGHT_MISSING_LAYERS, first, begin->line, begin->x0, begin->y0, bead_z(begin),
            (double)w->missing_mm, 0);
    }
    stretches(d, w, counted, row);
    off_bed(d, w, counted);
    if (!note_times(d, w, counted, row - d->rows, first_layer, later)) {
        return false;
    }
    d->n_work_times += batch->n_beads && d->n_work_times < d->cap_work_times;
    keep_image(d, w, row);
    return !d->failed;
}

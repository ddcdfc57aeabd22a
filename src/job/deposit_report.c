/* What the deposit knows, as facts and sightings of one machine. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/deposit_inside.h"

#define GRAVITY_MM_S2 9806.65
#define FILL_SHARE_MOST 0.95 /* docs/measures.md: floors and roofs lie above this */
#define QUICK_S 8.0          /* common practice, no published source: small layers need 5 to 15 s */
#define SLOWED 0.6           /* of the usual speed: a job that slows down for small layers has done its part */
enum { FILL_LAYERS = 64, HEIGHT_ROWS = 400 };

/* Length-weighted median of a histogram: mean of the bin that holds the middle. NAN when it is empty. */
static double median_of(const double *share, const double *moment, size_t n)
{
    double total = 0, sum = 0;
    for (size_t i = 0; i < n; i++) {
        total += share[i];
    }
    for (size_t i = 0; i < n && total > 0; i++) {
        sum += share[i];
        if (sum >= total / 2) {
            return moment[i] / share[i];
        }
    }
    return NAN;
}

/* Single precision is good to a hundredth of a micrometre here; the rest is noise that nobody should read. */
static double tidy(double mm)
{
    return nearbyint(mm * 1e4) / 1e4;
}

static double median_bin(const double *share, size_t n, double unit)
{
    double total = 0, sum = 0;
    for (size_t i = 0; i < n; i++) {
        total += share[i];
    }
    for (size_t i = 0; i < n && total > 0; i++) {
        if (sum + share[i] >= total / 2) {
            return ((double)i + (total / 2 - sum) / share[i]) * unit;
        }
        sum += share[i];
    }
    return NAN;
}

static const float *shares(po_arena *arena, const double *share, size_t n)
{
    double total = 0;
    for (size_t i = 0; i < n; i++) {
        total += share[i];
    }
    float *out = total > 0 ? po_arena_zeros(arena, n, sizeof *out) : NULL;
    for (size_t i = 0; out && i < n; i++) {
        out[i] = (float)(share[i] / total);
    }
    return out;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

static double median_values(double *v, size_t n)
{
    if (n == 0) {
        return NAN;
    }
    qsort(v, n, sizeof *v, ascending);
    return n & 1 ? v[n / 2] : 0.5 * (v[n / 2 - 1] + v[n / 2]);
}

static bool layer_facts(po_deposit *d, po_job_facts *f)
{
    double h = median_of(d->h_share, d->h_moment, H_BINS);
    f->layer_height_mm = nearbyint(h * 1e7) / 1e7; /* single precision's noise taken off */
    f->continuous = d->extruding > 0 && d->climbing > d->extruding / 2;
    f->first_layer_height_mm = tidy((double)d->first_layer_z);
    double *z = malloc((d->n_rows + 1) * sizeof *z);
    if (!z) {
        return false;
    }
    for (size_t i = 0; i < d->n_rows; i++) {
        z[i] = (double)d->rows[i].z;
    }
    qsort(z, d->n_rows, sizeof *z, ascending);
    int layers = 0;
    double lowest = -INFINITY;
    for (size_t i = 0; i < d->n_rows; i++) {
        if (z[i] - lowest >= 0.02 - 1e-5) {
            layers++;
            lowest = z[i];
        }
    }
    free(z);
    if (f->continuous && h > 0) {
        layers = (int)nearbyint((double)d->max[2] / h);
    }
    f->layers = layers;
    /* fill and walls: over at most 64 evenly spaced layers that are neither floor nor roof */
    double fill[FILL_LAYERS], walls[FILL_LAYERS * 4];
    size_t n_eligible = 0, n_walls = 0, n_fill = 0;
    for (size_t i = 0; i < d->n_rows; i++) {
        n_eligible += (double)d->rows[i].fill_share < FILL_SHARE_MOST;
    }
    for (size_t i = 0, k = 0; i < d->n_rows && n_eligible; i++) {
        if (!((double)d->rows[i].fill_share < FILL_SHARE_MOST)) {
            continue;
        }
        size_t slot = n_eligible <= FILL_LAYERS ? k : k * FILL_LAYERS / n_eligible;
        if (slot >= n_fill && slot < FILL_LAYERS) {
            fill[n_fill++] = (double)d->rows[i].fill_share;
        }
        k++;
    }
    f->fill_fraction = median_values(fill, n_fill);
    size_t looked = 0;
    for (size_t i = 0; i < d->n_rows; i++) {
        bool measured = !isnan(d->rows[i].solid_share);
        looked += measured;
        if (measured && !isnan(d->rows[i].walls) && n_walls < FILL_LAYERS * 4) {
            walls[n_walls++] = (double)d->rows[i].walls;
        }
    }
    f->walls = f->continuous                      ? 1 /* each turn is one loop */
               : 2 * n_walls >= looked && n_walls ? floor(median_values(walls, n_walls))
                                                  : NAN;
    double floors, roofs;
    if (!po_deposit_probed(d, &floors, &roofs)) {
        return false;
    }
    f->floors = f->continuous ? NAN : floors;
    f->roofs = f->continuous ? NAN : roofs;
    return true;
}

static bool tables(po_deposit *d, size_t lane, const double *grams_per_mm3, po_arena *arena, po_job_facts *f)
{
    const lane_row *times = d->lanes[lane].rows;
    po_layer_row *rows = po_arena_zeros(arena, d->n_rows + 1, sizeof *rows);
    size_t n = d->n_rows < HEIGHT_ROWS ? d->n_rows : HEIGHT_ROWS;
    po_height_row *heights = po_arena_zeros(arena, n + 1, sizeof *heights);
    double *by = malloc((d->n_rows + 1) * 3 * sizeof *by);
    if (!rows || !heights || !by) {
        free(by);
        return false;
    }
    double before = 0;
    for (size_t i = 0; i < d->n_rows; i++) {
        const height_row *r = &d->rows[i];
        rows[i] = (po_layer_row){.z = tidy((double)r->z),
                                 .seconds = times[i].seconds,
                                 .start_seconds = times[i].start,
                                 .extruding_mm = r->extruding_mm,
                                 .filament_mm = r->filament_until - before,
                                 .area_mm2 = r->area_mm2,
                                 .mean_mm_s = r->extruding_mm > 0 ? times[i].speed_moment / r->extruding_mm : NAN,
                                 .solid_share = (double)r->solid_share,
                                 .bridge_mm = r->bridge_mm,
                                 .overhang_mm = r->overhang_mm,
                                 .on_air_mm = r->on_air_mm,
                                 .line = r->line};
        before = r->filament_until;
        by[3 * i] = tidy((double)r->z);
        by[3 * i + 1] = r->filament_until;
        by[3 * i + 2] = times[i].end;
    }
    f->layer_rows = rows;
    f->n_layer_rows = d->n_rows;
    /* used until z is finished: the last time that anything was laid at z or lower */
    bool rising = true;
    for (size_t i = 1; i < d->n_rows && rising; i++) {
        rising = by[3 * i] > by[3 * (i - 1)];
    }
    size_t m = 0;
    if (rising) {
        for (size_t k = 0; k < n; k++) {
            size_t i = n == d->n_rows ? k : (k + 1) * d->n_rows / n - 1;
            heights[m++] = (po_height_row){by[3 * i], by[3 * i + 1], by[3 * i + 1] * grams_per_mm3[0], by[3 * i + 2]};
        }
    } else {
        /* parts finished in turn and the like: sort by height, then the running maximum */
        double *sorted = malloc((d->n_rows + 1) * 3 * sizeof *sorted);
        if (!sorted) {
            free(by);
            return false;
        }
        memcpy(sorted, by, d->n_rows * 3 * sizeof *sorted);
        qsort(sorted, d->n_rows, 3 * sizeof *sorted, ascending);
        for (size_t i = 1; i < d->n_rows; i++) {
            sorted[3 * i + 1] = fmax(sorted[3 * i + 1], sorted[3 * i - 2]);
            sorted[3 * i + 2] = fmax(sorted[3 * i + 2], sorted[3 * i - 1]);
        }
        for (size_t k = 0; k < n; k++) {
            size_t i = (k + 1) * d->n_rows / n - 1;
            while (i + 1 < d->n_rows && sorted[3 * (i + 1)] - sorted[3 * i] < 1e-4) {
                i++;
            }
            if (m && heights[m - 1].z >= sorted[3 * i] - 1e-4) {
                continue;
            }
            heights[m++] = (po_height_row){sorted[3 * i], sorted[3 * i + 1], sorted[3 * i + 1] * grams_per_mm3[0],
                                           sorted[3 * i + 2]};
        }
        free(sorted);
    }
    f->by_height = heights;
    f->n_by_height = m;
    free(by);
    return true;
}

static int by_work(const void *a, const void *b)
{
    const po_job_part *p = a, *q = b;
    return p->begun_seconds < q->begun_seconds ? -1 : p->begun_seconds > q->begun_seconds;
}

static double work_time(const po_deposit *d, size_t lane, uint32_t serial, int end)
{
    return serial < d->n_work_times ? d->work_times[((size_t)serial * d->setup.n_lanes + lane) * 2 + (size_t)end] : NAN;
}

static bool parts(po_deposit *d, size_t lane, double density, po_arena *arena, po_job_facts *f)
{
    uint32_t *part_of = calloc(d->n_nodes + 1, sizeof *part_of); /* root -> part + 1 */
    if (!part_of) {
        return false;
    }
    size_t n = 0, footholds = 0, points = 0;
    double area = 0;
    for (uint32_t i = 1; i < d->n_nodes; i++) {
        if (d->nodes[i].foothold) {
            uint32_t r = po_node_root(d, i);
            part_of[r] = part_of[r] ? part_of[r] : (uint32_t)++n;
            footholds++;
            area += d->nodes[i].area_mm2;
            points += d->nodes[i].n_hull;
        }
    }
    f->footholds = (int)footholds;
    f->foothold_mm2 = area;
    po_job_part *list = po_arena_zeros(arena, n + 1, sizeof *list);
    po_xy *all = malloc((points + 1) * sizeof *all), *hull = malloc((points + 2) * sizeof *hull);
    if (!list || !all || !hull) {
        free(part_of);
        free(all);
        free(hull);
        return false;
    }
    bool any_part = false;
    double heaviest = 0;
    size_t heavy = 0;
    for (uint32_t r = 1; r < d->n_nodes; r++) {
        if (!part_of[r] || d->nodes[r].parent != r) {
            continue;
        }
        const node *root = &d->nodes[r];
        po_job_part *p = &list[part_of[r] - 1];
        size_t m = 0;
        for (uint32_t i = 1; i < d->n_nodes; i++) {
            const node *foot = &d->nodes[i];
            if (foot->foothold && po_node_root(d, i) == r) {
                p->foothold_mm2 += foot->area_mm2;
                p->footholds++;
                for (size_t k = 0; k < foot->n_hull; k++) {
                    all[m++] = foot->hull[k];
                }
            }
        }
        size_t corners = po_hull(all, m, hull);
        p->aid = !root->thick;
        any_part |= root->thick;
        for (int k = 0; k < 3; k++) {
            p->bounds_mm.min[k] = tidy((double)root->min[k]);
            p->bounds_mm.max[k] = tidy((double)root->max[k]);
            p->centre_of_mass_mm[k] = root->volume > 0 ? root->moment[k] / root->volume : NAN;
        }
        p->x = 0.5 * (p->bounds_mm.min[0] + p->bounds_mm.max[0]);
        p->y = 0.5 * (p->bounds_mm.min[1] + p->bounds_mm.max[1]);
        p->grams = root->volume / 1000 * density;
        p->hull_area_mm2 = po_hull_area(hull, corners);
        p->longest_edge_mm = po_hull_longest_edge(hull, corners);
        p->least_base_mm = po_hull_least_width(hull, corners);
        double inset = po_hull_inset(hull, corners, (po_xy){p->centre_of_mass_mm[0], p->centre_of_mass_mm[1]});
        double height = p->centre_of_mass_mm[2];
        p->tip_deg = height > 0 ? atan2(inset, height) * 180 / M_PI : 90;
        p->tip_accel_mm_s2 = height > 0 ? GRAVITY_MM_S2 * inset / height : INFINITY;
        p->begun_seconds = work_time(d, lane, root->first_work, 0);
        p->done_seconds = work_time(d, lane, root->last_work, 1);
        if (root->volume > heaviest) {
            heaviest = root->volume;
            heavy = part_of[r] - 1;
        }
    }
    if (n && !any_part) {
        list[heavy].aid = false; /* thin throughout, but it is all there is */
    }
    qsort(list, n, sizeof *list, by_work);
    for (size_t i = 0; i < n; i++) {
        list[i].number = (int)i + 1;
    }
    f->parts = list;
    f->n_parts = n;
    free(part_of);
    free(all);
    free(hull);
    return true;
}

static void quick_layers(const po_job_facts *f, double usual_mm_s, po_sighting *s)
{
    for (size_t i = 1; i < f->n_layer_rows; i++) { /* the first layer is slow anyway */
        const po_layer_row *r = &f->layer_rows[i];
        bool whole = f->n_layer_rows < 3 || r->extruding_mm > 2;
        if (r->seconds < QUICK_S && whole && r->mean_mm_s > SLOWED * usual_mm_s && r->solid_share > 0) {
            po_seen(s, po_place_at(r->line, NAN, NAN, r->z, r->start_seconds), -r->seconds, 1);
        }
    }
    if (s->count) {
        s->worst = -s->worst;
    }
}

static po_layer_image *copy_image(po_arena *arena, const po_layer_image *from)
{
    po_layer_image *to = po_arena_zeros(arena, 1, sizeof *to);
    size_t n = (size_t)from->width * (size_t)from->height;
    uint8_t *px = po_arena_zeros(arena, n, 1);
    po_flag *flags = po_arena_zeros(arena, from->n_flags + 1, sizeof *flags);
    if (!to || !px || !flags) {
        return NULL;
    }
    *to = *from;
    memcpy(px, from->px, n);
    memcpy(flags, from->flags, from->n_flags * sizeof *flags);
    to->px = px;
    to->flags = flags;
    return to;
}

static bool images(po_deposit *d, po_arena *arena, po_job_images *out)
{
    memset(out, 0, sizeof *out);
    if (d->first_image && !(out->first_layer = copy_image(arena, d->first_image))) {
        return false;
    }
    po_layer_image *worst = po_arena_zeros(arena, d->n_images + 1, sizeof *worst);
    if (!worst) {
        return false;
    }
    bool taken[MOST_IMAGES] = {false};
    for (size_t k = 0; k < d->n_images; k++) {
        size_t best = d->n_images;
        for (size_t i = 0; i < d->n_images; i++) {
            if (!taken[i] && (best == d->n_images || d->image_score[i] > d->image_score[best])) {
                best = i;
            }
        }
        taken[best] = true;
        const po_layer_image *copy = copy_image(arena, d->images[best]);
        if (!copy) {
            return false;
        }
        worst[k] = *copy;
    }
    out->worst = worst;
    out->n_worst = d->n_images;
    if (d->side && d->side_top > 0) {
        int x0 = d->side_w, x1 = 0;
        unsigned most = 1;
        for (int y = 0; y < d->side_top; y++) {
            for (int x = 0; x < d->side_w; x++) {
                uint8_t v = d->side[(size_t)y * (size_t)d->side_w + (size_t)x];
                if (v) {
                    x0 = x < x0 ? x : x0;
                    x1 = x > x1 ? x : x1;
                    most = v > most ? v : most;
                }
            }
        }
        po_side_image *side = po_arena_zeros(arena, 1, sizeof *side);
        int w = x1 - x0 + 1;
        uint8_t *px = side && w > 0 ? po_arena_zeros(arena, (size_t)w * (size_t)d->side_top, 1) : NULL;
        if (!px) {
            return w <= 0;
        }
        for (int y = 0; y < d->side_top; y++) {
            for (int x = 0; x < w; x++) {
                unsigned v = d->side[(size_t)y * (size_t)d->side_w + (size_t)(x0 + x)];
                px[y * w + x] = v ? (uint8_t)(90 + 165 * v / most) : 0;
            }
        }
        side->px_x_mm = (double)d->cell * d->width / d->side_w;
        side->px_z_mm = 0.4;
        side->x0 = d->x0 + x0 * side->px_x_mm;
        side->z0 = 0;
        side->width = w;
        side->height = d->side_top;
        side->px = px;
        out->side = side;
    }
    return true;
}

static void flip(po_sighting *s)
{
    s->worst = s->count ? -s->worst : s->worst; /* counted by the lowest */
}

bool po_deposit_report(po_deposit *d, size_t machine, const double *densities, po_arena *arena, po_job_facts *f,
                       po_sighting *sights, po_job_images *pictures)
{
    size_t lane = d->lane_of[machine];
    const lane_sums *l = &d->lanes[lane];
    f->deposit_done = true;
    f->raster_mm = d->setup.raster_mm;
    for (int a = 0; a < 3; a++) {
        f->bounds_mm.min[a] = d->n_rows ? tidy((double)d->min[a]) : NAN;
        f->bounds_mm.max[a] = d->n_rows ? tidy((double)d->max[a]) : NAN;
    }
    f->first_bead_seconds = l->first_bead;
    f->first_layer_seconds = l->first_layer_end;
    double *later = po_arena_zeros(arena, l->n_later + 1, sizeof *later);
    if (!later || !layer_facts(d, f)) {
        return false;
    }
    if (l->n_later) {
        memcpy(later, l->later, l->n_later * sizeof *later);
    }
    f->later_first_layers = later;
    f->n_later_first_layers = l->n_later / 2;
    f->in_turn = d->in_turn;
    f->bead_width_mm = nearbyint(median_of(d->width_share, d->width_moment, PO_WIDTH_BINS) * 1e7) / 1e7;
    f->fan_share = shares(arena, l->fan_share, PO_FAN_BINS);
    f->first_layer_mm_s = median_bin(l->first_speed_share, PO_WIDTH_BINS, 1);
    f->usual_bead_mm_s = median_bin(l->speed_share, PO_WIDTH_BINS, 1);
    f->on_air_mm = d->on_air;
    f->across_gap_mm = d->across;
    f->over_fill_mm = d->over_fill;
    f->bridge_count = d->bridges;
    f->longest_bridge_mm = d->longest_bridge;
    f->overhang_mm = d->overhang;
    f->peak_flow_mm3_s = 0;
    f->sustained_flow_mm3_s = 0;
    po_sighting melt = {0};
    for (size_t i = 0; i < f->n_tools; i++) {
        po_tool_facts *tool = (po_tool_facts *)&f->tools[i];
        if (tool->tool < 0 || tool->tool >= PO_MAX_TOOLS) {
            continue;
        }
        const flow_window *w = &l->flow[tool->tool];
        tool->peak_flow_mm3_s = l->peak[tool->tool];
        tool->sustained_flow_mm3_s = w->best;
        f->peak_flow_mm3_s = fmax(f->peak_flow_mm3_s, tool->peak_flow_mm3_s);
        if (w->best > f->sustained_flow_mm3_s) {
            f->sustained_flow_mm3_s = w->best;
        }
        if (w->best > 0) {
            po_seen(&melt,
                    po_place_at(w->best_line, (double)w->best_xyz[0], (double)w->best_xyz[1], (double)w->best_xyz[2],
                                w->best_at),
                    w->best, 0);
            if (melt.worst == w->best) {
                melt.text = po_arena_printf(arena, "T%d", tool->tool);
            }
        }
        const tool_sums *sums = d->tools[tool->tool];
        if (sums) {
            tool->bead_width_mm = tidy(median_of(sums->width_share, sums->width_moment, PO_WIDTH_BINS));
            tool->layer_height_mm = tidy(median_of(sums->height_share, sums->height_moment, PO_WIDTH_BINS));
            tool->bead_area_mm2 = median_of(sums->area_share, sums->area_moment, PO_WIDTH_BINS);
            tool->width_share = shares(arena, sums->width_share, PO_WIDTH_BINS);
            tool->height_share = shares(arena, sums->height_share, PO_WIDTH_BINS);
        }
    }
    double grams[1] = {f->filament_mm > 0 ? f->filament_g / f->filament_mm : 0};
    if (!tables(d, lane, grams, arena, f) || !parts(d, lane, densities[0], arena, f)) {
        return false;
    }
    for (int s = 0; s < PO_SIGHT_COUNT; s++) {
        if (d->sums[machine].sights[s].count) {
            sights[s] = d->sums[machine].sights[s];
        }
    }
    flip(&sights[PO_SIGHT_THIN_BEAD]);
    sights[PO_SIGHT_MELT] = melt;
    quick_layers(f, f->usual_bead_mm_s, &sights[PO_SIGHT_QUICK_LAYER]);
    return !pictures || images(d, arena, pictures);
}

/* Images of heights: what lies there, with flags at what deserves a look. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/deposit_inside.h"

enum { MOST_PX = 760, MARGIN_CELLS = 24, SIDE_H = 1200 };
#define SIDE_PX_X_MM 0.5
#define SIDE_PX_Z_MM 0.4

void po_image_free(po_layer_image *image)
{
    if (image) {
        free((void *)image->px);
        free((void *)image->flags);
        free(image);
    }
}

po_layer_image *po_image_over(const po_deposit *d, po_cells area, float z, int s)
{
    po_layer_image *image = calloc(1, sizeof *image);
    if (!image) {
        return NULL;
    }
    image->z = nearbyint((double)z * 1e4) / 1e4;
    image->px_mm = (double)d->cell * s;
    image->x0 = d->x0 + (double)d->cell * area.x0;
    image->y0 = d->y0 + (double)d->cell * area.y0;
    image->width = (area.x1 - area.x0 + s - 1) / s;
    image->height = (area.y1 - area.y0 + s - 1) / s;
    image->px = calloc((size_t)image->width * (size_t)image->height, 1);
    if (!image->px) {
        po_image_free(image);
        return NULL;
    }
    return image;
}

/* An empty image with room for flags, small enough to be drawn. */
static po_layer_image *new_image(const po_deposit *d, po_cells area, float z, int *scale)
{
    int w = area.x1 - area.x0, h = area.y1 - area.y0, most = w > h ? w : h;
    int s = (most + MOST_PX - 1) / MOST_PX;
    s = s < 1 ? 1 : s;
    po_layer_image *image = po_image_over(d, area, z, s);
    if (image && !(image->flags = calloc(MOST_FLAGS, sizeof(po_flag)))) {
        po_image_free(image);
        return NULL;
    }
    *scale = s;
    return image;
}

static po_cells around(const po_deposit *d, po_cells c)
{
    c.x0 = c.x0 - MARGIN_CELLS < 0 ? 0 : c.x0 - MARGIN_CELLS;
    c.y0 = c.y0 - MARGIN_CELLS < 0 ? 0 : c.y0 - MARGIN_CELLS;
    c.x1 = c.x1 + MARGIN_CELLS > d->width ? d->width : c.x1 + MARGIN_CELLS;
    c.y1 = c.y1 + MARGIN_CELLS > d->height ? d->height : c.y1 + MARGIN_CELLS;
    return c;
}

static void fill(const po_deposit *d, po_layer_image *image, po_cells area, int s, float floor_z)
{
    uint8_t *px = (uint8_t *)image->px;
    for (int j = 0; j < image->height; j++) {
        for (int i = 0; i < image->width; i++) {
            int x = area.x0 + i * s + s / 2, y = area.y0 + j * s + s / 2;
            if (!cell_inside(d, x, y)) {
                continue;
            }
            if (po_bitmap_at(&d->laid, x, y)) {
                px[j * image->width + i] = PO_PX_LAID;
            } else if (height_at(d, x, y) >= floor_z && floor_z > 0) {
                px[j * image->width + i] = PO_PX_BENEATH;
            }
        }
    }
}

static void paint_stretch(const po_deposit *d, const work *w, po_layer_image *image, const stretch *s, uint8_t with)
{
    uint8_t *px = (uint8_t *)image->px;
    for (uint32_t i = s->bead0; i <= s->bead1; i++) {
        const po_bead *b = &w->batch->beads[i];
        float t0 = i == s->bead0 ? s->t0 : 0, t1 = i == s->bead1 ? s->t1 : 1;
        float scale = (float)(1 / image->px_mm), r = 0.5f * min_f(w->info[i].w, WIDEST_MM) * scale;
        float ax = (float)(bead_x(b, t0) - image->x0) * scale, ay = (float)(bead_y(b, t0) - image->y0) * scale;
        float bx = (float)(bead_x(b, t1) - image->x0) * scale, by = (float)(bead_y(b, t1) - image->y0) * scale;
        int row = INT32_MIN;
        int32_t lo[PO_SPAN_ROWS], hi[PO_SPAN_ROWS];
        for (int n; (n = po_line_spans(ax, ay, bx, by, max_f(r, 0.7f), &row, lo, hi)) > 0;) {
            for (int k = 0; k < n; k++) {
                int y = row - n + k;
                for (int x = lo[k] < 0 ? 0 : lo[k]; y >= 0 && y < image->height && x <= hi[k] && x < image->width;
                     x++) {
                    px[y * image->width + x] = with;
                }
            }
        }
    }
    (void)d;
}

static void add_flag(po_layer_image *image, po_sight sight, double x, double y, double z, double value, uint64_t line)
{
    po_flag *flags = (po_flag *)image->flags;
    size_t at = image->n_flags;
    for (size_t i = 0; i < image->n_flags; i++) { /* close to one that is there: the larger value stays */
        if (flags[i].sight == sight && hypot(flags[i].x - x, flags[i].y - y) < 4) {
            if (flags[i].value >= value) {
                return;
            }
            at = i;
        }
    }
    if (at == MOST_FLAGS) {
        size_t least = 0;
        for (size_t i = 1; i < MOST_FLAGS; i++) {
            least = flags[i].value < flags[least].value ? i : least;
        }
        if (flags[least].value >= value) {
            return;
        }
        at = least;
    }
    flags[at] = (po_flag){sight, x, y, z, value, line};
    image->n_flags += at == image->n_flags;
}

void po_deposit_side_view(po_deposit *d, const work *w)
{
    if (!d->side) {
        d->side_w = (int)((double)d->width * (double)d->cell / SIDE_PX_X_MM) + 1;
        d->side_h = SIDE_H;
        d->side = calloc((size_t)d->side_w * SIDE_H, 1);
        if (!d->side) {
            return;
        }
    }
    float per_cell = (float)d->side_w / (float)d->width;
    for (size_t i = 0; i < w->batch->n_beads; i++) {
        const po_bead *b = &w->batch->beads[i];
        const bead_info *info = &w->info[i];
        if (info->bits & INFO_OUTSIDE) {
            continue;
        }
        /* Below the bed, or above the picture: a file may say anything. */
        double top = (double)bead_z(b) / SIDE_PX_Z_MM, foot = (double)(bead_z(b) - info->h) / SIDE_PX_Z_MM + 0.5;
        if (!(top >= 0 && foot < d->side_h)) {
            continue;
        }
        int row1 = (int)fmin(top, d->side_h - 1), row0 = (int)fmax(fmin(foot, row1), 0);
        float r = 0.5f * min_f(info->w, WIDEST_MM) * d->inv_cell;
        int x0 = (int)((cell_x(d, min_f(b->x0, b->x1)) - r) * per_cell);
        int x1 = (int)((cell_x(d, max_f(b->x0, b->x1)) + r) * per_cell);
        x0 = x0 < 0 ? 0 : x0;
        x1 = x1 >= d->side_w ? d->side_w - 1 : x1;
        for (int y = row0; y <= row1; y++) {
            uint8_t *px = d->side + (size_t)y * (size_t)d->side_w;
            d->side_top = y + 1 > d->side_top ? y + 1 : d->side_top;
            for (int x = x0; x <= x1; x++) {
                px[x] = px[x] < 255 ? (uint8_t)(px[x] + 1) : 255;
            }
        }
    }
}

void po_deposit_picture(po_deposit *d, work *w)
{
    bool worth = w->n_hits > 0 || (w->any_on_bed && isnan(d->first_layer_z));
    double score = 0;
    for (size_t i = 0; i < w->n_stretches; i++) {
        const stretch *s = &w->stretches[i];
        score += s->class == FREE_ON_AIR || s->class == FREE_OVERHANG ? (double)s->length
                 : s->class == FREE_BRIDGE && s->free_mm > 5          ? (double)s->free_mm
                                                                      : 0;
    }
    worth |= score > 0.5;
    if (!worth) {
        return;
    }
    if (d->n_images == MOST_IMAGES && !w->any_on_bed && w->n_hits == 0) {
        double least = INFINITY;
        for (size_t i = 0; i < d->n_images; i++) {
            least = fmin(least, d->image_score[i]);
        }
        if (20 * score < least) {
            return; /* cannot be kept whatever its classes */
        }
    }
    po_cells area = around(d, d->laid.used);
    int s;
    float h = d->usual_h > 0 ? d->usual_h : 0.2f;
    po_layer_image *image = new_image(d, area, w->batch->z_high, &s);
    if (!image) {
        return;
    }
    fill(d, image, area, s, w->any_on_bed ? 0 : w->batch->z_low - h - gap_most(d, h));
    for (size_t i = 0; i < w->n_stretches; i++) {
        const stretch *f = &w->stretches[i];
        static const uint8_t px_of[] = {[FREE_ON_AIR] = PO_PX_ON_AIR,
                                        [FREE_OVER_FILL] = PO_PX_OVER_FILL,
                                        [FREE_BRIDGE] = PO_PX_BRIDGE,
                                        [FREE_OVERHANG] = PO_PX_OVERHANG};
        paint_stretch(d, w, image, f, px_of[f->class]);
        uint64_t line = w->batch->beads[f->bead0].line;
        double x = (double)f->x, y = (double)f->y, z = (double)f->z;
        if (f->class == FREE_ON_AIR) {
            add_flag(image, PO_SIGHT_ON_AIR, x, y, z, (double)f->length, line);
        } else if (f->class == FREE_BRIDGE && f->free_mm > 5) {
            add_flag(image, PO_SIGHT_BRIDGE, x, y, z, (double)f->free_mm, line);
        } else if (f->class == FREE_OVERHANG && f->length > 2) {
            add_flag(image, PO_SIGHT_OVERHANG, x, y, z, (double)f->length, line);
        }
    }
    for (size_t i = 0; i < w->n_hits; i++) {
        const hit *f = &w->hits[i];
        add_flag(image, f->machine == UINT16_MAX ? PO_SIGHT_RUNS_INTO_PART : PO_SIGHT_HEAD_HITS_PART, (double)f->x,
                 (double)f->y, (double)f->z, 100 + (double)f->higher, f->line);
    }
    w->image = image;
}

void po_deposit_first_picture(po_deposit *d, work *w)
{
    if (!w->image || d->first_image) {
        return;
    }
    /* labels of the bed's cells now tell footholds from priming; what is on it meanwhile belongs to its part */
    po_layer_image *image = w->image;
    uint8_t *px = (uint8_t *)image->px;
    for (int j = 0; j < image->height; j++) {
        for (int i = 0; i < image->width; i++) {
            uint8_t *p = &px[j * image->width + i];
            int x = (int)floor((image->x0 + (i + 0.5) * image->px_mm - d->x0) * (double)d->inv_cell);
            int y = (int)floor((image->y0 + (j + 0.5) * image->px_mm - d->y0) * (double)d->inv_cell);
            if (*p != PO_PX_LAID || !cell_inside(d, x, y)) {
                continue;
            }
            uint16_t label = label_at(d, x, y);
            bool foothold = label && (d->nodes[label].foothold || d->nodes[po_node_root(d, label)].foothold);
            *p = foothold ? PO_PX_FOOTHOLD : PO_PX_PRIMING;
        }
    }
    d->first_image = image;
    w->image = NULL;
}

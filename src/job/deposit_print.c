/* Heights kept as they were laid, for comparing a job with a part. SPDX-License-Identifier: Apache-2.0
 *
 * How many heights a job has is known at its end only. So every height is kept at first; whenever twice as many as were
 * asked for have come together, every second one is dropped and from there on only every second one is kept. What is kept
 * is evenly spread at any length, and memory stays bounded. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "job/batcher.h"
#include "job/deposit_inside.h"

enum { MOST_PRINTS = 400, MOST_PRINT_PX = 250000, PARTS_OF_A_HEIGHT = 4 };
#define PRINT_PX_MM 0.2
#define SAME_HEIGHT_MM 0.02f

static size_t most_of(const po_deposit *d)
{
    size_t most = d->setup.prints < MOST_PRINTS ? d->setup.prints : MOST_PRINTS;
    return 2 * most;
}

/* A pixel is material where any of its cells is. */
static po_layer_image *shrink(const po_deposit *d, float z)
{
    po_cells area = d->laid.used;
    int w = area.x1 - area.x0, h = area.y1 - area.y0, s = (int)ceil(PRINT_PX_MM / (double)d->cell - 1e-6);
    s = s < 1 ? 1 : s;
    while ((int64_t)(w / s + 1) * (h / s + 1) > MOST_PRINT_PX) {
        s++;
    }
    po_layer_image *image = po_image_over(d, area, z, s);
    if (!image) {
        return NULL;
    }
    uint8_t *px = (uint8_t *)image->px;
    for (int y = area.y0; y < area.y1; y++) {
        const uint64_t *row = d->laid.bits + (size_t)y * d->laid.stride;
        uint8_t *to = px + (size_t)((y - area.y0) / s) * (size_t)image->width;
        for (int word = area.x0 >> 6; word <= (area.x1 - 1) >> 6; word++) {
            for (uint64_t bits = row[word]; bits; bits &= bits - 1) {
                int x = word * 64 + __builtin_ctzll(bits);
                if (x >= area.x0 && x < area.x1) {
                    to[(x - area.x0) / s] = PO_PX_LAID;
                }
            }
        }
    }
    return image;
}

/* Every second height goes. */
static void thin_out(po_deposit *d)
{
    size_t n = 0;
    d->print_step *= 2;
    for (size_t i = 0; i < d->n_prints; i++) {
        if (d->prints[i].number % d->print_step == 0) {
            d->prints[n++] = d->prints[i];
        } else {
            po_image_free(d->prints[i].image);
        }
    }
    d->n_prints = n;
}

bool po_deposit_print(po_deposit *d, work *w)
{
    float z = w->batch->z_high;
    d->print_step = d->print_step ? d->print_step : 1;
    if (d->n_heights == 0 || fabsf(z - d->print_z) > SAME_HEIGHT_MM) {
        d->n_heights++;
        d->print_z = z;
    }
    size_t number = d->n_heights - 1;
    if (number % d->print_step != 0) {
        return true;
    }
    if (d->n_prints >= most_of(d)) {
        thin_out(d);
        if (number % d->print_step != 0 || d->n_prints >= PARTS_OF_A_HEIGHT * most_of(d)) {
            return true; /* a height in very many batches is kept in part */
        }
    }
    po_deposit_draw(d, w);
    if (d->laid.used.x0 >= d->laid.used.x1 || d->laid.used.y0 >= d->laid.used.y1) {
        return true;
    }
    if (d->n_prints == d->cap_prints) {
        size_t cap = d->cap_prints ? 2 * d->cap_prints : 64;
        kept_print *more = realloc(d->prints, cap * sizeof *more);
        if (!more) {
            return false;
        }
        d->prints = more;
        d->cap_prints = cap;
    }
    po_layer_image *image = shrink(d, z);
    if (!image) {
        return false;
    }
    d->prints[d->n_prints++] = (kept_print){image, number};
    return true;
}

bool po_deposit_prints(const po_deposit *d, po_arena *arena, const po_layer_image **ret, size_t *ret_n)
{
    po_layer_image *prints = po_arena_zeros(arena, d->n_prints + 1, sizeof *prints);
    if (!prints) {
        return false;
    }
    for (size_t i = 0; i < d->n_prints; i++) {
        const po_layer_image *from = d->prints[i].image;
        size_t n = (size_t)from->width * (size_t)from->height;
        uint8_t *px = po_arena_zeros(arena, n, 1);
        if (!px) {
            return false;
        }
        memcpy(px, from->px, n);
        prints[i] = *from;
        prints[i].px = px;
    }
    *ret = prints;
    *ret_n = d->n_prints;
    return true;
}

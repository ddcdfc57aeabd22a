/* Layers and side views as dots of few greys with hatching. SPDX-License-Identifier: Apache-2.0
 *
 * Each dot of paper covers a box of the layer's pixels (or lies within one). What calls for attention wins over what is
 * ordinary, so that a short bridge is not lost when a large layer is drawn small; among ordinary kinds the most
 * frequent wins. Hatching is laid out in dots of paper, not in pixels of the layer, so it looks alike at every scale
 * and survives a grey printer: kinds are told apart by texture, never by colour. */
#include <math.h>
#include <string.h>

#include "slip/pictures.h"

enum { CLEAR, INK, BODY, FOOT, SPECK, PALE, WHITE, SIDE1, SIDE2, SIDE3, N_COLOURS };
static const uint32_t RGBA[N_COLOURS] = {
    [CLEAR] = 0x00000000, [INK] = 0x1C2530FF,   [BODY] = 0xD3D8DBFF,  [FOOT] = 0x8C97A1FF,  [SPECK] = 0xA9B1B8FF,
    [PALE] = 0xEEF0F0FF,  [WHITE] = 0xFFFFFFFF, [SIDE1] = 0xE4E7E8FF, [SIDE2] = 0xC6CCD1FF, [SIDE3] = 0xA3ACB4FF,
};
enum { MOST_DOTS_A_SIDE = 4096 };

static uint8_t texture(uint8_t kind, int x, int y)
{
    switch (kind) {
    case PO_PX_BENEATH:
        return x % 5 == 0 && y % 5 == 0 ? SPECK : PALE;
    case PO_PX_LAID:
        return BODY;
    case PO_PX_FOOTHOLD:
        return FOOT;
    case PO_PX_PRIMING:
        return (x + y) % 4 < 2 ? SPECK : WHITE;
    case PO_PX_BRIDGE:
        return (x + y) % 7 < 2 ? INK : WHITE;
    case PO_PX_OVERHANG:
        return (x - y + 70000) % 4 == 0 || (x + y) % 4 == 0 ? INK : WHITE;
    case PO_PX_ON_AIR:
        return (x % 6 == 2 || x % 6 == 3) && (y % 6 == 2 || y % 6 == 3) ? WHITE : INK;
    case PO_PX_OVER_FILL:
        return y % 5 == 0 ? SPECK : BODY;
    default:
        return CLEAR;
    }
}

const char *po_area_name(uint8_t kind)
{
    static const char *const NAMES[PO_PX_COUNT] = {
        [PO_PX_BENEATH] = "layer beneath", [PO_PX_LAID] = "laid here",
        [PO_PX_FOOTHOLD] = "foothold",     [PO_PX_PRIMING] = "priming",
        [PO_PX_BRIDGE] = "bridge",         [PO_PX_OVERHANG] = "overhang",
        [PO_PX_ON_AIR] = "on air",         [PO_PX_OVER_FILL] = "over open fill",
    };
    return kind < PO_PX_COUNT && NAMES[kind] ? NAMES[kind] : "";
}

/* Pixels from..to (exclusive, at least one) that a dot covers, cut to 0..n; false when it lies outside. */
static bool covered(double low, double high, int n, int *ret_from, int *ret_to)
{
    double from = floor(low + 1e-9), to = ceil(high - 1e-9);
    if (to < from + 1) {
        to = from + 1;
    }
    if (to <= 0 || from >= n) {
        return false;
    }
    *ret_from = (int)fmax(from, 0);
    *ret_to = (int)fmin(to, n);
    return true;
}

static uint8_t kind_of(const po_layer_image *layer, int x0, int x1, int y0, int y1)
{
    if (x1 - x0 == 1 && y1 - y0 == 1) {
        return layer->px[(size_t)y0 * (size_t)layer->width + (size_t)x0];
    }
    unsigned n[PO_PX_COUNT] = {0};
    for (int y = y0; y < y1; y++) {
        const uint8_t *row = layer->px + (size_t)y * (size_t)layer->width;
        for (int x = x0; x < x1; x++) {
            n[row[x] < PO_PX_COUNT ? row[x] : PO_PX_NONE]++;
        }
    }
    static const uint8_t ATTENTION[] = {PO_PX_ON_AIR, PO_PX_BRIDGE, PO_PX_OVERHANG};
    for (size_t i = 0; i < sizeof ATTENTION; i++) {
        if (n[ATTENTION[i]]) {
            return ATTENTION[i];
        }
    }
    uint8_t best = n[PO_PX_BENEATH] ? PO_PX_BENEATH : PO_PX_NONE;
    unsigned most = 0;
    static const uint8_t ORDINARY[] = {PO_PX_FOOTHOLD, PO_PX_LAID, PO_PX_OVER_FILL, PO_PX_PRIMING};
    for (size_t i = 0; i < sizeof ORDINARY; i++) {
        if (n[ORDINARY[i]] > most) {
            most = n[ORDINARY[i]];
            best = ORDINARY[i];
        }
    }
    return best;
}

static bool material(uint8_t kind)
{
    return kind != PO_PX_NONE && kind != PO_PX_BENEATH && kind != PO_PX_PRIMING;
}

const po_palette_image *po_layer_dots(po_arena *arena, const po_layer_image *layer, po_window w, int width, int height)
{
    uint8_t *px;
    po_palette_image *image = po_palette_blank(arena, width, height, MOST_DOTS_A_SIDE, RGBA, N_COLOURS, &px);
    uint8_t *kinds = image ? po_arena_zeros(arena, (size_t)width * (size_t)height, 1) : NULL;
    if (!kinds || !(layer->px_mm > 0)) {
        return NULL;
    }
    double sx = (w.x1 - w.x0) / width / layer->px_mm, sy = (w.y1 - w.y0) / height / layer->px_mm;
    double ox = (w.x0 - layer->x0) / layer->px_mm, oy = (w.y0 - layer->y0) / layer->px_mm;
    for (int v = 0; v < height; v++) {
        int y0, y1, up = height - 1 - v; /* paper runs down, the bed runs back */
        if (!covered(oy + up * sy, oy + (up + 1) * sy, layer->height, &y0, &y1)) {
            continue;
        }
        for (int u = 0; u < width; u++) {
            int x0, x1;
            if (covered(ox + u * sx, ox + (u + 1) * sx, layer->width, &x0, &x1)) {
                kinds[(size_t)v * (size_t)width + (size_t)u] = kind_of(layer, x0, x1, y0, y1);
            }
        }
    }
    for (int v = 0; v < height; v++) {
        for (int u = 0; u < width; u++) {
            size_t i = (size_t)v * (size_t)width + (size_t)u;
            bool edge = material(kinds[i]) &&
                        ((u > 0 && !material(kinds[i - 1])) || (u + 1 < width && !material(kinds[i + 1])) ||
                         (v > 0 && !material(kinds[i - (size_t)width])) ||
                         (v + 1 < height && !material(kinds[i + (size_t)width])));
            px[i] = edge ? INK : texture(kinds[i], u, v);
        }
    }
    return image;
}

const po_palette_image *po_side_dots(po_arena *arena, const po_side_image *side, po_window w, int width, int height)
{
    uint8_t *px;
    po_palette_image *image = po_palette_blank(arena, width, height, MOST_DOTS_A_SIDE, RGBA, N_COLOURS, &px);
    if (!image || !(side->px_x_mm > 0 && side->px_z_mm > 0)) {
        return NULL;
    }
    double sx = (w.x1 - w.x0) / width / side->px_x_mm, sy = (w.y1 - w.y0) / height / side->px_z_mm;
    double ox = (w.x0 - side->x0) / side->px_x_mm, oy = (w.y0 - side->z0) / side->px_z_mm;
    for (int v = 0; v < height; v++) {
        int y0, y1, up = height - 1 - v;
        if (!covered(oy + up * sy, oy + (up + 1) * sy, side->height, &y0, &y1)) {
            continue;
        }
        for (int u = 0; u < width; u++) {
            int x0, x1;
            if (!covered(ox + u * sx, ox + (u + 1) * sx, side->width, &x0, &x1)) {
                continue;
            }
            unsigned long sum = 0, n = 0;
            for (int y = y0; y < y1; y++) {
                for (int x = x0; x < x1; x++) {
                    sum += side->px[(size_t)y * (size_t)side->width + (size_t)x];
                    n++;
                }
            }
            double share = (double)sum / (double)n / 255;
            px[(size_t)v * (size_t)width + (size_t)u] = sum == 0      ? CLEAR
                                                        : share < 0.2 ? SIDE1
                                                        : share < 0.5 ? SIDE2
                                                                      : SIDE3;
        }
    }
    /* The outline, in place: an inked dot is not a clear one, so the order does not matter. */
    for (int v = 0; v < height; v++) {
        for (int u = 0; u < width; u++) {
            size_t i = (size_t)v * (size_t)width + (size_t)u;
            if (px[i] == CLEAR || px[i] == INK) {
                continue;
            }
            bool edge = u == 0 || px[i - 1] == CLEAR || u + 1 == width || px[i + 1] == CLEAR || v == 0 ||
                        px[i - (size_t)width] == CLEAR || v + 1 == height || px[i + (size_t)width] == CLEAR;
            px[i] = edge ? INK : px[i];
        }
    }
    return image;
}

const po_palette_image *po_patch_dots(po_arena *arena, uint8_t kind, int width, int height)
{
    uint8_t *px;
    po_palette_image *image = po_palette_blank(arena, width, height, MOST_DOTS_A_SIDE, RGBA, N_COLOURS, &px);
    for (int v = 0; image && v < height; v++) {
        for (int u = 0; u < width; u++) {
            bool edge = u == 0 || v == 0 || u + 1 == width || v + 1 == height;
            px[(size_t)v * (size_t)width + (size_t)u] = edge ? INK : texture(kind, u, v);
        }
    }
    return image;
}

bool po_layer_extent(const po_layer_image *layer, bool with_beneath, po_window *ret)
{
    int x0 = layer->width, x1 = -1, y0 = layer->height, y1 = -1;
    for (int y = 0; y < layer->height; y++) {
        const uint8_t *row = layer->px + (size_t)y * (size_t)layer->width;
        for (int x = 0; x < layer->width; x++) {
            if (row[x] != PO_PX_NONE && row[x] != PO_PX_PRIMING && (with_beneath || row[x] != PO_PX_BENEATH)) {
                x0 = x < x0 ? x : x0;
                x1 = x > x1 ? x : x1;
                y0 = y < y0 ? y : y0;
                y1 = y > y1 ? y : y1;
            }
        }
    }
    if (x1 < 0) {
        return false;
    }
    *ret = (po_window){layer->x0 + x0 * layer->px_mm, layer->y0 + y0 * layer->px_mm,
                       layer->x0 + (x1 + 1) * layer->px_mm, layer->y0 + (y1 + 1) * layer->px_mm};
    return true;
}

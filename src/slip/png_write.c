/* Palette images as PNG, and base64. SPDX-License-Identifier: Apache-2.0
 *
 * Method: RFC 2083 (PNG 1.0): signature, IHDR, PLTE, tRNS, IDAT, IEND, filter 0 on every row: layers are flat areas, so
 * deflate alone packs them well. CRC and deflate by zlib. Base64 by RFC 4648. */
#include <string.h>
#include <zlib.h>

#include "slip/render.h"

enum { MOST_SIDE = 16384 };

static void put32(uint8_t *p, uint32_t v)
{
    p[0] = (uint8_t)(v >> 24);
    p[1] = (uint8_t)(v >> 16);
    p[2] = (uint8_t)(v >> 8);
    p[3] = (uint8_t)v;
}

static void chunk(po_text *out, const char *type, const uint8_t *data, size_t n)
{
    uint8_t word[4];
    put32(word, (uint32_t)n);
    po_text_add_n(out, word, 4);
    po_text_add_n(out, type, 4);
    if (n) {
        po_text_add_n(out, data, n);
    }
    uLong crc = crc32(0, (const Bytef *)type, 4);
    if (n) {
        crc = crc32(crc, data, (uInt)n);
    }
    put32(word, (uint32_t)crc);
    po_text_add_n(out, word, 4);
}

po_status po_png_palette(const po_palette_image *image, po_arena *arena, po_document *ret, po_err *err)
{
    if (image->width < 1 || image->height < 1 || image->width > MOST_SIDE || image->height > MOST_SIDE) {
        return po_fail(err, PO_E_LIMIT, "a picture of %d by %d dots; 1 to %d a side can be written", image->width,
                       image->height, MOST_SIDE);
    }
    size_t w = (size_t)image->width, h = (size_t)image->height, raw_n = (w + 1) * h;
    uLong bound = compressBound((uLong)raw_n);
    uint8_t *raw = po_arena_zeros(arena, raw_n, 1), *packed = po_arena_zeros(arena, bound, 1);
    if (!raw || !packed) {
        return po_fail(err, PO_E_NOMEM, "no memory for a picture of %zu by %zu dots", w, h);
    }
    for (size_t y = 0; y < h; y++) {
        memcpy(raw + y * (w + 1) + 1, image->px + y * w, w);
    }
    uLongf packed_n = bound;
    if (compress2(packed, &packed_n, raw, (uLong)raw_n, 6) != Z_OK) {
        return po_fail(err, PO_E_NOMEM, "no memory to pack a picture");
    }
    po_text out;
    po_text_init(&out, arena);
    po_text_add_n(&out, "\x89PNG\r\n\x1a\n", 8);
    uint8_t head[13] = {0};
    put32(head, (uint32_t)w);
    put32(head + 4, (uint32_t)h);
    head[8] = 8; /* bits an index */
    head[9] = 3; /* palette */
    chunk(&out, "IHDR", head, sizeof head);
    uint8_t colours[16 * 3], alphas[16];
    size_t n = image->n_colours < 16 ? (size_t)image->n_colours : 16;
    for (size_t i = 0; i < n; i++) {
        colours[3 * i] = (uint8_t)(image->rgba[i] >> 24);
        colours[3 * i + 1] = (uint8_t)(image->rgba[i] >> 16);
        colours[3 * i + 2] = (uint8_t)(image->rgba[i] >> 8);
        alphas[i] = (uint8_t)image->rgba[i];
    }
    chunk(&out, "PLTE", colours, 3 * n);
    chunk(&out, "tRNS", alphas, n);
    chunk(&out, "IDAT", packed, packed_n);
    chunk(&out, "IEND", NULL, 0);
    if (out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for a picture");
    }
    *ret = (po_document){.data = out.data, .n_bytes = out.n};
    return PO_OK;
}

void po_text_base64(po_text *out, const void *data, size_t n)
{
    static const char DIGITS[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    const uint8_t *p = data;
    char block[1024];
    size_t used = 0;
    for (size_t i = 0; i < n; i += 3) {
        size_t k = n - i < 3 ? n - i : 3;
        uint32_t v = (uint32_t)p[i] << 16 | (k > 1 ? (uint32_t)p[i + 1] << 8 : 0) | (k > 2 ? p[i + 2] : 0);
        block[used++] = DIGITS[v >> 18];
        block[used++] = DIGITS[v >> 12 & 63];
        block[used++] = k > 1 ? DIGITS[v >> 6 & 63] : '=';
        block[used++] = k > 2 ? DIGITS[v & 63] : '=';
        if (used == sizeof block) {
            po_text_add_n(out, block, used);
            used = 0;
        }
    }
    po_text_add_n(out, block, used);
}

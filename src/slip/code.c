/* The squares of a code through libqrencode. SPDX-License-Identifier: Apache-2.0
 *
 * Opened by name when a page with a code is asked for, as render_cairo.c explains. Error correction M of ISO/IEC 18004:
 * a slip is folded and carried in pockets. */
#include <dlfcn.h>
#include <qrencode.h>
#include <string.h>

#include "slip/pictures.h"
#include "slip/render.h"

po_status po_code_squares(const char *text, po_arena *arena, int *ret_size, const uint8_t **ret_dark, po_err *err)
{
    void *library = dlopen("libqrencode.so.4", RTLD_NOW | RTLD_LOCAL | RTLD_NODELETE);
    void *encode_symbol = library ? dlsym(library, "QRcode_encodeString") : NULL;
    void *free_symbol = library ? dlsym(library, "QRcode_free") : NULL;
    if (!encode_symbol || !free_symbol) {
        if (library) {
            dlclose(library);
        }
        return po_fail(err, PO_E_UNSUPPORTED,
                       "the code on a PDF slip needs the library libqrencode.so.4 (Debian "
                       "package libqrencode4), which is not there");
    }
    __typeof__(QRcode_encodeString) *encode;
    __typeof__(QRcode_free) *release;
    memcpy(&encode, &encode_symbol, sizeof encode_symbol);
    memcpy(&release, &free_symbol, sizeof free_symbol);
    po_status status = PO_OK;
    QRcode *code = encode(text, 0, QR_ECLEVEL_M, QR_MODE_8, 1);
    size_t n = code ? (size_t)code->width * (size_t)code->width : 0;
    uint8_t *dark = n ? po_arena_zeros(arena, n, 1) : NULL;
    if (!dark) {
        status = po_fail(err, PO_E_NOMEM, "no memory for the code");
    } else {
        for (size_t i = 0; i < n; i++) {
            dark[i] = code->data[i] & 1; /* bit 0: dark (qrencode.h) */
        }
        *ret_size = code->width;
        *ret_dark = dark;
    }
    if (code) {
        release(code);
    }
    dlclose(library);
    return status;
}

po_status po_draw_squares(po_drawing *d, po_box2 box, const char *text, const char *title, po_err *err)
{
    int n;
    const uint8_t *dark;
    po_status status = po_code_squares(text, d->arena, &n, &dark, err);
    if (status) {
        return status;
    }
    double s = box.w / n;
    po_draw_begin(d, title);
    for (int row = 0; row < n; row++) {
        for (int from = 0; from < n;) { /* one rectangle for each run of dark squares */
            int to = from;
            while (to < n && dark[row * n + to]) {
                to++;
            }
            if (to > from) {
                po_draw_rect(d, (po_box2){box.x + from * s, box.y + row * s, (to - from) * s, s}, PO_INK_LINE,
                             PO_INK_NONE, 0);
            }
            from = to + 1;
        }
    }
    po_draw_end(d);
    return PO_OK;
}

po_status po_draw_code(po_drawing *d, po_arena *arena, const char *code, po_err *err)
{
    enum { SIZE = 30, QUIET = 4 }; /* ISO/IEC 18004 wants four squares of quiet around it */
    po_draw_init(d, arena, SIZE, SIZE, po_arena_printf(arena, "Code of the slip: %s", code), NULL);
    po_draw_rect(d, (po_box2){0, 0, SIZE, SIZE}, PO_INK_PAPER, PO_INK_NONE, 0);
    return po_draw_squares(d, (po_box2){QUIET, QUIET, SIZE - 2 * QUIET, SIZE - 2 * QUIET}, code, "Code of the slip",
                           err);
}

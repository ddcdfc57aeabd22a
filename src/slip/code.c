/* The squares of a code through libqrencode. SPDX-License-Identifier: Apache-2.0
 *
 * Opened by name when a page with a code is asked for, as render_cairo.c explains. Error correction M of ISO/IEC 18004:
 * a slip is folded and carried in pockets. */
#include <dlfcn.h>
#include <qrencode.h>
#include <string.h>

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

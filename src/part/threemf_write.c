/* 3MF out. SPDX-License-Identifier: Apache-2.0
 *
 * The package of the 3MF core specification 1.4.0 (ISO/IEC 25422), sections 2 to 4: content types, the package's one
 * relationship to /3D/3dmodel.model, and in that model an object (4) and a build item (3.4.3) for each mesh, in mm.
 * Triangles that name a vertex twice are left out, as 4.1.4.1 wants; everything else stands as it is in the mesh, in its
 * order, so that reading gives the same numbers. Names lose what XML 1.0 (section 2.2) can't hold. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "part/opc.h"
#include "part/threemf_values.h"
#include "part/zip_write.h"
#include "proveout/pieces.h"

#define CORE_SPACE "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
#define HEAD "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"

enum {
    VERTEX_BYTES = 40 + 3 * PO_NUMBER_ROOM, /* most that one element takes */
    TRIANGLE_BYTES = 80,
    LEAST_TRIANGLES = 4 /* of an object of type model: core 4.1 */
};
#define MOST_INDEX (UINT32_C(1) << 31)       /* core B.1.1, ST_ResourceIndex: below */
#define MOST_BYTES ((size_t)UINT32_MAX - 64) /* of one member */

typedef struct sheet { /* XML that grows */
    char *data;
    size_t n, cap;
    bool no_memory, too_long;
} sheet;

/* Room for so many bytes more, or NULL. What is written there is added to n by the caller. */
static char *room(sheet *x, size_t more)
{
    if (x->no_memory || x->too_long) {
        return NULL;
    }
    if (more > MOST_BYTES - x->n) {
        x->too_long = true;
        return NULL;
    }
    if (x->n + more > x->cap) {
        size_t cap = x->n + more + x->cap / 2 + 4096;
        char *data = realloc(x->data, cap);
        if (!data) {
            x->no_memory = true;
            return NULL;
        }
        x->data = data;
        x->cap = cap;
    }
    return x->data + x->n;
}

static void add(sheet *x, const char *text)
{
    size_t n = strlen(text);
    char *to = room(x, n);
    if (to) {
        memcpy(to, text, n);
        x->n += n;
    }
}

static char *put_text(char *to, const char *text)
{
    size_t n = strlen(text);
    memcpy(to, text, n);
    return to + n;
}

static char *put_index(char *to, uint32_t value)
{
    char digits[10];
    int n = 0;
    do {
        digits[n++] = (char)('0' + value % 10);
        value /= 10;
    } while (value);
    while (n > 0) {
        *to++ = digits[--n];
    }
    return to;
}

/* Bytes of the character that begins at p, and its number; a byte that begins none counts as one of its own, U+FFFD
 * (RFC 3629: no overlong forms, no surrogates, nothing beyond 10FFFF). The text ends in a zero byte. */
static size_t character(const unsigned char *p, uint32_t *ret)
{
    static const uint32_t least[4] = {0, 0x80, 0x800, 0x10000};
    size_t more = p[0] < 0x80 ? 0 : p[0] >= 0xc2 && p[0] < 0xe0 ? 1 : p[0] >= 0xe0 && p[0] < 0xf0 ? 2 : 3;
    uint32_t c = more == 0 ? p[0] : p[0] & (0x3fu >> more);
    *ret = 0xfffd;
    if (p[0] >= 0x80 && (p[0] < 0xc2 || p[0] > 0xf4)) {
        return 1;
    }
    for (size_t i = 1; i <= more; i++) {
        if ((p[i] & 0xc0) != 0x80) {
            return 1;
        }
        c = c << 6 | (p[i] & 0x3f);
    }
    if (c < least[more] || c > 0x10ffff || (c >= 0xd800 && c < 0xe000)) {
        return 1;
    }
    *ret = c;
    return more + 1;
}

/* As text or as the value of an attribute. */
static void add_escaped(sheet *x, const char *text)
{
    const unsigned char *p = (const unsigned char *)text;
    while (*p) {
        uint32_t c;
        size_t n = character(p, &c);
        char *to = room(x, 8);
        if (!to) {
            return;
        }
        char *begin = to;
        if (c == '&') {
            to = put_text(to, "&amp;");
        } else if (c == '<') {
            to = put_text(to, "&lt;");
        } else if (c == '>') {
            to = put_text(to, "&gt;");
        } else if (c == '"') {
            to = put_text(to, "&quot;");
        } else if (c < 0x20) { /* tabs and line ends would come back as blanks, the others may not stand in XML */
            *to++ = ' ';
        } else if (c == 0xfffd || c == 0xfffe || c == 0xffff) {
            to = put_text(to, "\xef\xbf\xbd");
        } else {
            memcpy(to, p, n);
            to += n;
        }
        x->n += (size_t)(to - begin);
        p += n;
    }
}

static bool twice(const uint32_t *c)
{
    return c[0] == c[1] || c[1] == c[2] || c[2] == c[0];
}

static po_status check(const po_3mf_item *item, size_t number, po_err *err)
{
    const po_mesh *mesh = item->mesh;
    size_t n = 0;
    if (mesh->n_vertices >= MOST_INDEX || mesh->n_triangles >= MOST_INDEX) {
        return po_fail(err, PO_E_LIMIT, "item %zu has 2^31 vertices or triangles or more", number);
    }
    for (size_t i = 0; i < 3 * mesh->n_vertices; i++) {
        if (!isfinite(mesh->xyz[i])) {
            return po_fail(err, PO_E_RANGE, "item %zu: vertex %zu has a coordinate that is no number", number,
                           i / 3 + 1);
        }
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        if (c[0] >= mesh->n_vertices || c[1] >= mesh->n_vertices || c[2] >= mesh->n_vertices) {
            return po_fail(err, PO_E_RANGE, "item %zu: triangle %zu has a corner that is no vertex", number, t + 1);
        }
        n += !twice(c);
    }
    if (n < LEAST_TRIANGLES) {
        return po_fail(err, PO_E_RANGE, "item %zu has %zu triangles; a solid in a 3MF has at least %d", number, n,
                       LEAST_TRIANGLES);
    }
    if (item->matrix && !po_3mf_keeps_volume(item->matrix)) {
        return po_fail(err, PO_E_RANGE, "item %zu: its matrix flattens it or holds a value that is no number", number);
    }
    return PO_OK;
}

static void add_mesh(sheet *x, const po_mesh *mesh)
{
    add(x, "<mesh>\n<vertices>\n");
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        char *to = room(x, VERTEX_BYTES);
        if (!to) {
            return;
        }
        to = put_text(to, "<vertex x=\"");
        to += po_number_write(to, mesh->xyz[3 * v]);
        to = put_text(to, "\" y=\"");
        to += po_number_write(to, mesh->xyz[3 * v + 1]);
        to = put_text(to, "\" z=\"");
        to += po_number_write(to, mesh->xyz[3 * v + 2]);
        to = put_text(to, "\"/>\n");
        x->n = (size_t)(to - x->data);
    }
    add(x, "</vertices>\n<triangles>\n");
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        if (twice(c)) {
            continue;
        }
        char *to = room(x, TRIANGLE_BYTES);
        if (!to) {
            return;
        }
        to = put_index(put_text(to, "<triangle v1=\""), c[0]);
        to = put_index(put_text(to, "\" v2=\""), c[1]);
        to = put_index(put_text(to, "\" v3=\""), c[2]);
        to = put_text(to, "\"/>\n");
        x->n = (size_t)(to - x->data);
    }
    add(x, "</triangles>\n</mesh>\n");
}

static void add_index(sheet *x, size_t value)
{
    char *to = room(x, 10);
    if (to) {
        x->n = (size_t)(put_index(to, (uint32_t)value) - x->data);
    }
}

static void add_model(sheet *x, const po_3mf_item *items, size_t n_items, const char *title)
{
    static const double same[12] = {1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0};
    add(x, HEAD "<model unit=\"millimeter\" xml:lang=\"en-US\" xmlns=\"" CORE_SPACE "\">\n");
    if (title) {
        add(x, "<metadata name=\"Title\">");
        add_escaped(x, title);
        add(x, "</metadata>\n");
    }
    add(x, "<metadata name=\"Application\">Proveout</metadata>\n<resources>\n");
    for (size_t i = 0; i < n_items; i++) {
        add(x, "<object id=\"");
        add_index(x, i + 1);
        add(x, "\" type=\"model\"");
        if (items[i].name) {
            add(x, " name=\"");
            add_escaped(x, items[i].name);
            add(x, "\"");
        }
        add(x, ">\n");
        add_mesh(x, items[i].mesh);
        add(x, "</object>\n");
    }
    add(x, "</resources>\n<build>\n");
    for (size_t i = 0; i < n_items; i++) {
        const double *m = items[i].matrix;
        add(x, "<item objectid=\"");
        add_index(x, i + 1);
        add(x, "\"");
        if (m && memcmp(m, same, sizeof same) != 0) {
            add(x, " transform=\"");
            for (int k = 0; k < 12; k++) {
                char *to = room(x, PO_NUMBER_ROOM + 1);
                if (to) {
                    to += po_number_write(to, m[k]);
                    *to++ = k < 11 ? ' ' : '"';
                    x->n = (size_t)(to - x->data);
                }
            }
        }
        add(x, "/>\n");
    }
    add(x, "</build>\n</model>\n");
}

po_status po_3mf_write(const po_3mf_item *items, size_t n_items, const char *title, po_arena *arena,
                       const unsigned char **ret_bytes, size_t *ret_n, po_err *err)
{
    static const char types[] = HEAD
        "<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\">"
        "<Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/>"
        "<Default Extension=\"model\" ContentType=\"" PO_OPC_MODEL_TYPE "\"/></Types>\n";
    static const char rels[] = HEAD
        "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">"
        "<Relationship Target=\"/3D/3dmodel.model\" Id=\"rel0\" Type=\"" PO_OPC_MODEL_REL "\"/></Relationships>\n";
    if (n_items == 0 || n_items >= MOST_INDEX) {
        return po_fail(err, PO_E_RANGE, "a 3MF of %zu items", n_items);
    }
    for (size_t i = 0; i < n_items; i++) {
        po_status s = check(&items[i], i + 1, err);
        if (s != PO_OK) {
            return s;
        }
    }
    sheet x = {0};
    po_status s;
    add_model(&x, items, n_items, title);
    if (x.no_memory) {
        s = po_fail(err, PO_E_NOMEM, "no memory to write a 3MF");
    } else if (x.too_long) {
        s = po_fail(err, PO_E_LIMIT, "a model of more than 4 GB, which a plain 3MF can't hold");
    } else {
        po_zip_piece pieces[] = {{"[Content_Types].xml", types, sizeof types - 1},
                                 {"_rels/.rels", rels, sizeof rels - 1},
                                 {"3D/3dmodel.model", x.data, x.n}};
        s = po_zip_write(pieces, 3, arena, ret_bytes, ret_n, err);
    }
    free(x.data);
    return s;
}

/* The demo's parts as files: binary STL, and 3MF in an archive that packs nothing. SPDX-License-Identifier: Apache-2.0
 *
 * 3MF core specification (ISO/IEC 25422): three members, [Content_Types].xml, _rels/.rels and 3D/3dmodel.model. The
 * archive: local headers, a directory, an end record (PKWARE's application note, sections 4.3.7, 4.3.12, 4.3.16), method
 * 0 (stored); CRC-32 as in ISO 3309. The same parts give the same bytes everywhere. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "solidmesh.h"

typedef struct bytes {
    unsigned char *p;
    size_t n, room;
} bytes;

static void put(bytes *b, const void *p, size_t n)
{
    while (b->room - b->n < n) {
        b->room = b->room ? 2 * b->room : 4096;
        b->p = demo_more(b->p, b->room, 1);
    }
    memcpy(b->p + b->n, p, n);
    b->n += n;
}

static void put_text(bytes *b, const char *text)
{
    put(b, text, strlen(text));
}

static void put_number(bytes *b, uint64_t value, int size) /* little-endian */
{
    unsigned char at[8];
    for (int i = 0; i < size; i++) {
        at[i] = (unsigned char)(value >> 8 * i);
    }
    put(b, at, (size_t)size);
}

static bool save(bytes *b, const char *path)
{
    FILE *f = fopen(path, "wb");
    bool ok = f && fwrite(b->p, 1, b->n, f) == b->n;
    ok = f && fclose(f) == 0 && ok;
    if (!ok) {
        perror(path);
    }
    free(b->p);
    return ok;
}

bool solidmesh_save_stl(const solidmesh *m, const char *path)
{
    bytes b = {0};
    unsigned char head[80] = {0};
    put(&b, head, sizeof head);
    put_number(&b, m->n, 4);
    for (size_t t = 0; t < m->n; t++) {
        put(&b, head, 12); /* no normal: the order of the corners says it */
        for (int i = 0; i < 9; i++) {
            float v = (float)(m->xyz[9 * t + i] / m->unit);
            uint32_t bits;
            memcpy(&bits, &v, sizeof bits);
            put_number(&b, bits, 4);
        }
        put_number(&b, 0, 2);
    }
    return save(&b, path);
}

/* ---- 3MF ---- */

static uint32_t crc(const unsigned char *p, size_t n)
{
    uint32_t c = 0xffffffffu;
    for (size_t i = 0; i < n; i++) {
        c ^= p[i];
        for (int k = 0; k < 8; k++) {
            c = (c >> 1) ^ (c & 1 ? 0xedb88320u : 0);
        }
    }
    return ~c;
}

typedef struct member {
    const char *name;
    bytes content;
    uint32_t crc;
    size_t at;
} member;

enum { DOS_DATE = (2026 - 1980) << 9 | 9 << 5 | 21 }; /* first day of the workshop's term: no clock, the same bytes */

static void put_common(bytes *b, const member *m) /* what local header and directory share */
{
    put_number(b, 20, 2); /* version needed */
    put_number(b, 0, 2);  /* flags */
    put_number(b, 0, 2);  /* stored */
    put_number(b, 0, 2);
    put_number(b, DOS_DATE, 2);
    put_number(b, m->crc, 4);
    put_number(b, m->content.n, 4);
    put_number(b, m->content.n, 4);
    put_number(b, strlen(m->name), 2);
    put_number(b, 0, 2);
}

static bool save_archive(member *members, size_t n, const char *path)
{
    bytes b = {0};
    for (size_t i = 0; i < n; i++) {
        member *m = &members[i];
        m->at = b.n;
        m->crc = crc(m->content.p, m->content.n);
        put_number(&b, 0x04034b50, 4);
        put_common(&b, m);
        put_text(&b, m->name);
        put(&b, m->content.p, m->content.n);
    }
    size_t directory = b.n;
    for (size_t i = 0; i < n; i++) {
        put_number(&b, 0x02014b50, 4);
        put_number(&b, 20, 2);
        put_common(&b, &members[i]);
        put_number(&b, 0, 2); /* comment */
        put_number(&b, 0, 2); /* disk */
        put_number(&b, 0, 2);
        put_number(&b, 0, 4);
        put_number(&b, members[i].at, 4);
        put_text(&b, members[i].name);
        free(members[i].content.p);
    }
    size_t end = b.n;
    put_number(&b, 0x06054b50, 4);
    put_number(&b, 0, 4);
    put_number(&b, n, 2);
    put_number(&b, n, 2);
    put_number(&b, end - directory, 4);
    put_number(&b, directory, 4);
    put_number(&b, 0, 2);
    return save(&b, path);
}

static int by_place(const void *a, const void *b)
{
    const double *p = a, *q = b;
    for (int k = 0; k < 3; k++) {
        if (p[k] != q[k]) {
            return p[k] < q[k] ? -1 : 1;
        }
    }
    return 0;
}

static void put_object(bytes *b, const solidmesh *m, size_t id, const char *name)
{
    char line[200];
    double *points = demo_alloc(3 * m->n, 3 * sizeof *points);
    memcpy(points, m->xyz, 9 * m->n * sizeof *points);
    qsort(points, 3 * m->n, 3 * sizeof *points, by_place);
    size_t n = 0;
    for (size_t i = 0; i < 3 * m->n; i++) {
        if (n == 0 || by_place(points + 3 * (n - 1), points + 3 * i) != 0) {
            memmove(points + 3 * n++, points + 3 * i, 3 * sizeof *points);
        }
    }
    snprintf(line, sizeof line, "<object id=\"%zu\" type=\"model\" name=\"%s\"><mesh><vertices>\n", id, name);
    put_text(b, line);
    for (size_t i = 0; i < n; i++) {
        const double *p = points + 3 * i;
        snprintf(line, sizeof line, "<vertex x=\"%.3f\" y=\"%.3f\" z=\"%.3f\"/>\n", p[0], p[1], p[2]);
        put_text(b, line);
    }
    put_text(b, "</vertices><triangles>\n");
    for (size_t t = 0; t < m->n; t++) {
        size_t at[3];
        for (int k = 0; k < 3; k++) {
            const double *p = bsearch(m->xyz + 9 * t + 3 * k, points, n, 3 * sizeof *points, by_place);
            at[k] = (size_t)(p - points) / 3;
        }
        snprintf(line, sizeof line, "<triangle v1=\"%zu\" v2=\"%zu\" v3=\"%zu\"/>\n", at[0], at[1], at[2]);
        put_text(b, line);
    }
    put_text(b, "</triangles></mesh></object>\n");
    free(points);
}

bool solidmesh_save_3mf(const mesh_item *items, size_t n, const char *path)
{
    member members[] = {{.name = "[Content_Types].xml"}, {.name = "_rels/.rels"}, {.name = "3D/3dmodel.model"}};
    char line[200];
    put_text(&members[0].content,
             "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
             "<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\">"
             "<Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/>"
             "<Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/>"
             "</Types>\n");
    put_text(&members[1].content,
             "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
             "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">"
             "<Relationship Id=\"model\" Target=\"/3D/3dmodel.model\" "
             "Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>\n");
    bytes *model = &members[2].content;
    put_text(model, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"millimeter\" xml:lang=\"en-GB\" "
                    "xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\">\n<resources>\n");
    for (size_t i = 0; i < n; i++) {
        put_object(model, items[i].mesh, i + 1, items[i].name);
    }
    put_text(model, "</resources>\n<build>\n");
    for (size_t i = 0; i < n; i++) {
        snprintf(line, sizeof line, "<item objectid=\"%zu\" transform=\"1 0 0 0 1 0 0 0 1 %.3f %.3f 0\"/>\n", i + 1,
                 items[i].x, items[i].y);
        put_text(model, line);
    }
    put_text(model, "</build>\n</model>\n");
    return save_archive(members, sizeof members / sizeof *members, path);
}

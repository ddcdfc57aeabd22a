/* For tests and fuzz targets: packages written by hand. SPDX-License-Identifier: Apache-2.0
 * A tiny ZIP writer (APPNOTE 4.3) that can also lie: each header's field can be set apart from the directory's. */
#ifndef PO_PART_THREEMF_KIT_H
#define PO_PART_THREEMF_KIT_H

#include <libdeflate.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

typedef struct kit_zip {
    unsigned char *data; /* freed by kit_done */
    size_t n, cap;
    unsigned char directory[65536];
    size_t n_directory;
    unsigned n_members;
    size_t last_entry; /* offset of the last member's entry in directory */
    size_t last_local; /* offset of its local header in data */
} kit_zip;

static inline void kit_put(kit_zip *z, const void *bytes, size_t n)
{
    if (z->n + n > z->cap) {
        z->cap = 2 * (z->n + n);
        z->data = realloc(z->data, z->cap);
        if (!z->data) {
            __builtin_trap();
        }
    }
    if (n) {
        memcpy(z->data + z->n, bytes, n);
    }
    z->n += n;
}

static inline void kit_set(unsigned char *at, uint64_t value, int n)
{
    for (int i = 0; i < n; i++) {
        at[i] = (unsigned char)(value >> 8 * i);
    }
}

enum { KIT_STORED = 0, KIT_DEFLATED = 1, KIT_STREAMED = 2, KIT_ZIP64 = 4 };

/* Add a member. how: KIT_... together. */
static inline void kit_add(kit_zip *z, const char *name, const void *bytes, size_t n, int how)
{
    unsigned char *packed = NULL;
    size_t n_packed = n;
    if (how & KIT_DEFLATED) {
        struct libdeflate_compressor *c = libdeflate_alloc_compressor(6);
        size_t room = libdeflate_deflate_compress_bound(c, n);
        packed = malloc(room);
        n_packed = libdeflate_deflate_compress(c, bytes, n, packed, room);
        libdeflate_free_compressor(c);
    }
    uint32_t crc = libdeflate_crc32(0, bytes, n);
    size_t n_name = strlen(name), local = z->n;
    bool wide = how & KIT_ZIP64, later = how & KIT_STREAMED;
    unsigned char h[46] = {0}, extra[28];
    kit_set(h, 0x04034b50, 4);
    kit_set(h + 4, wide ? 45 : 20, 2);
    kit_set(h + 6, later ? 8 : 0, 2);
    kit_set(h + 8, how & KIT_DEFLATED ? 8 : 0, 2);
    kit_set(h + 14, later ? 0 : crc, 4);
    kit_set(h + 18, wide ? 0xffffffff : later ? 0 : n_packed, 4);
    kit_set(h + 22, wide ? 0xffffffff : later ? 0 : n, 4);
    kit_set(h + 26, n_name, 2);
    kit_set(h + 28, wide ? 20 : 0, 2);
    z->last_local = local;
    kit_put(z, h, 30);
    kit_put(z, name, n_name);
    kit_set(extra, 1, 2);
    kit_set(extra + 2, 16, 2);
    kit_set(extra + 4, later ? 0 : n, 8);
    kit_set(extra + 12, later ? 0 : n_packed, 8);
    kit_put(z, extra, wide ? 20 : 0);
    kit_put(z, packed ? packed : bytes, n_packed);
    if (later) {
        unsigned char d[24];
        kit_set(d, 0x08074b50, 4);
        kit_set(d + 4, crc, 4);
        kit_set(d + 8, n_packed, wide ? 8 : 4);
        kit_set(d + (wide ? 16 : 12), n, wide ? 8 : 4);
        kit_put(z, d, wide ? 24 : 16);
    }
    free(packed);
    memset(h, 0, sizeof h);
    kit_set(h, 0x02014b50, 4);
    kit_set(h + 4, 20, 2);
    kit_set(h + 6, wide ? 45 : 20, 2);
    kit_set(h + 8, later ? 8 : 0, 2);
    kit_set(h + 10, how & KIT_DEFLATED ? 8 : 0, 2);
    kit_set(h + 16, crc, 4);
    kit_set(h + 20, wide ? 0xffffffff : n_packed, 4);
    kit_set(h + 24, wide ? 0xffffffff : n, 4);
    kit_set(h + 28, n_name, 2);
    kit_set(h + 30, wide ? 28 : 0, 2);
    kit_set(h + 42, wide ? 0xffffffff : local, 4);
    kit_set(extra + 2, 24, 2);
    kit_set(extra + 4, n, 8);
    kit_set(extra + 12, n_packed, 8);
    kit_set(extra + 20, local, 8);
    if (z->n_directory + 46 + n_name + 28 > sizeof z->directory) {
        __builtin_trap();
    }
    z->last_entry = z->n_directory;
    memcpy(z->directory + z->n_directory, h, 46);
    memcpy(z->directory + z->n_directory + 46, name, n_name);
    memcpy(z->directory + z->n_directory + 46 + n_name, extra, wide ? 28 : 0);
    z->n_directory += 46 + n_name + (wide ? 28 : 0);
    z->n_members++;
}

/* Write the directory and the end records. */
static inline void kit_end(kit_zip *z, bool zip64)
{
    size_t at = z->n;
    unsigned char e[56 + 20 + 22] = {0};
    kit_put(z, z->directory, z->n_directory);
    if (zip64) {
        size_t at64 = z->n;
        kit_set(e, 0x06064b50, 4);
        kit_set(e + 4, 44, 8);
        kit_set(e + 12, 45, 2);
        kit_set(e + 14, 45, 2);
        kit_set(e + 24, z->n_members, 8);
        kit_set(e + 32, z->n_members, 8);
        kit_set(e + 40, z->n_directory, 8);
        kit_set(e + 48, at, 8);
        kit_set(e + 56, 0x07064b50, 4);
        kit_set(e + 64, at64, 8);
        kit_set(e + 72, 1, 4);
        kit_put(z, e, 76);
    }
    memset(e, 0, sizeof e);
    kit_set(e, 0x06054b50, 4);
    kit_set(e + 8, zip64 ? 0xffff : z->n_members, 2);
    kit_set(e + 10, zip64 ? 0xffff : z->n_members, 2);
    kit_set(e + 12, zip64 ? 0xffffffff : z->n_directory, 4);
    kit_set(e + 16, zip64 ? 0xffffffff : at, 4);
    kit_put(z, e, 22);
}

static inline void kit_done(kit_zip *z)
{
    free(z->data);
    memset(z, 0, sizeof *z);
}

#define KIT_TYPES                                                                                                      \
    "<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\">"                                   \
    "<Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/>"           \
    "<Default Extension=\"png\" ContentType=\"image/png\"/><Default Extension=\"jpg\" ContentType=\"image/jpeg\"/>"    \
    "<Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/></Types>"
#define KIT_RELS_BEGIN "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">"
#define KIT_REL(id, type, target) "<Relationship Id=\"" id "\" Type=\"" type "\" Target=\"" target "\"/>"
#define KIT_MODEL_REL "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
#define KIT_RELS KIT_RELS_BEGIN KIT_REL("r0", KIT_MODEL_REL, "/3D/a.model") "</Relationships>"
#define KIT_CORE "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
#define KIT_MATERIAL "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
#define KIT_PRODUCTION "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"

/* A second model part, of one tetrahedron in inches, and the relationship to it. */
#define KIT_B                                                                                                          \
    "<model unit=\"inch\" xmlns=\"" KIT_CORE "\"><resources><object id=\"1\"><mesh><vertices>"                         \
    "<vertex x=\"0\" y=\"0\" z=\"0\"/><vertex x=\"1\" y=\"0\" z=\"0\"/><vertex x=\"0\" y=\"1\" z=\"0\"/>"              \
    "<vertex x=\"0\" y=\"0\" z=\"1\"/></vertices><triangles><triangle v1=\"0\" v2=\"2\" v3=\"1\"/>"                    \
    "<triangle v1=\"0\" v2=\"1\" v3=\"3\"/><triangle v1=\"1\" v2=\"2\" v3=\"3\"/><triangle v1=\"0\" v2=\"3\" "         \
    "v3=\"2\"/>"                                                                                                       \
    "</triangles></mesh></object></resources><build/></model>"
#define KIT_B_REL KIT_RELS_BEGIN KIT_REL("r0", KIT_MODEL_REL, "b.model") "</Relationships>"

/* A package around one model, and up to one more part. */
static inline void kit_package(kit_zip *z, const char *model, size_t n_model, const char *other_name, const char *other,
                               const char *model_rels, int how)
{
    kit_add(z, "[Content_Types].xml", KIT_TYPES, strlen(KIT_TYPES), how);
    kit_add(z, "_rels/.rels", KIT_RELS, strlen(KIT_RELS), how);
    kit_add(z, "3D/a.model", model, n_model, how);
    if (other_name) {
        kit_add(z, other_name, other, strlen(other), how);
    }
    if (model_rels) {
        kit_add(z, "3D/_rels/a.model.rels", model_rels, strlen(model_rels), how);
    }
    kit_end(z, false);
}

#endif

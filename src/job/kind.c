/* What a file is, told from its first bytes. SPDX-License-Identifier: Apache-2.0 */
#include "job/kind.h"

#include <stdbool.h>
#include <string.h>
#include <strings.h>

#include "base/input.h"

static bool holds(const unsigned char *head, size_t n, const char *what)
{
    return memmem(head, n, what, strlen(what)) != NULL;
}

/* Control characters among the first bytes: a job has none, a binary STL has them in its count and in nearly every
 * triangle. */
static bool binary(const unsigned char *head, size_t n)
{
    for (size_t i = 0; i < n && i < 1024; i++) {
        if (head[i] < '\t' || (head[i] > '\r' && head[i] < 0x20)) {
            return true;
        }
    }
    return false;
}

/* Whether the first triangles of what may be a binary STL have corners within 10 km: text read as floats does not. */
static bool triangles(const unsigned char *head, size_t n, unsigned long long count)
{
    size_t shown = (n - 84) / 50;
    for (size_t i = 0; i < shown && i < 100 && i < count; i++) {
        for (size_t j = 3; j < 12; j++) { /* normals may hold anything */
            float value;
            memcpy(&value, head + 84 + i * 50 + j * 4, sizeof value);
            if (!(value > -1e7f && value < 1e7f)) {
                return false;
            }
        }
    }
    return shown > 0;
}

po_file_is po_file_kind(const unsigned char *head, size_t n, unsigned long long size)
{
    if (n >= 4 && !memcmp(head, "PK\3\4", 4)) { /* APPNOTE.TXT 4.3.7, local file header */
        bool package = holds(head, n, "[Content_Types].xml") || holds(head, n, "_rels/.rels") || holds(head, n, "3D/");
        return package ? PO_FILE_3MF : PO_FILE_ZIP;
    }
    if (n >= 84) { /* binary STL: 80 bytes, a count, 50 bytes for each triangle (Marshall Burns 1993, section 6.5) */
        unsigned long long count = (unsigned long long)head[80] | (unsigned long long)head[81] << 8 |
                                   (unsigned long long)head[82] << 16 | (unsigned long long)head[83] << 24;
        /* the size says it; else (cut short, something behind it, a pipe) the first triangles do */
        if (!count && size == 84 && binary(head, n)) { /* a head and nothing behind it: an STL without a triangle */
            return PO_FILE_STL;
        }
        if (count && (size == 84 + count * 50 || (binary(head, n) && triangles(head, n, count)))) {
            return PO_FILE_STL;
        }
    }
    size_t blank = 0;
    while (blank < n && (head[blank] == ' ' || head[blank] == '\t' || head[blank] == '\n' || head[blank] == '\r')) {
        blank++;
    }
    /* text STL: "solid", a name, then facets; a job may not begin so, for "solid" is no word of a job */
    bool solid = n - blank >= 5 && !strncasecmp((const char *)head + blank, "solid", 5);
    bool facets = holds(head, n, "facet") || holds(head, n, "FACET") || holds(head, n, "endsolid") ||
                  holds(head, n, "ENDSOLID");
    return solid && facets ? PO_FILE_STL : PO_FILE_JOB;
}

po_file_is po_file_kind_within(const unsigned char *head, size_t n, const char **ret_packer)
{
    bool gzip = n > 2 && !memcmp(head, "\x1f\x8b", 2), zstd = n > 4 && !memcmp(head, "\x28\xb5\x2f\xfd", 4);
    *ret_packer = gzip ? "gzip" : "zstd";
    po_source source = {.data = head, .n_bytes = n};
    po_input *input = NULL;
    po_err err; /* the packed bytes break off here: what comes before that is handed over */
    po_file_is kind = PO_FILE_JOB;
    if ((gzip || zstd) && po_input_open(&source, 0, false, &input, &err) == PO_OK) {
        unsigned char bytes[4096];
        size_t got = 0;
        if (po_input_read(input, bytes, sizeof bytes, &got, &err) == PO_OK && got > 0) {
            kind = po_file_kind(bytes, got, 0);
        }
    }
    po_input_close(input);
    return kind;
}

/* The two elements that make up nearly all of a 3MF, scanned directly. SPDX-License-Identifier: Apache-2.0
 *
 * Only the plain form is understood: attributes without prefixes, no character references, no blanks around '='. In
 * front of anything else the scan stops and expat reads that element (xml.c), so that whatever is odd or wrong is judged
 * and reported in one place. What is accepted here is accepted there with the same values; threemf_test.c compares. */
#include <string.h>

#include "part/threemf_model.h"
#include "part/threemf_values.h"

static inline bool is_blank(char c)
{
    return c == ' ' || c == '\n' || c == '\t' || c == '\r';
}

static inline const char *skip_blanks(const char *p)
{
    while (is_blank(*p)) {
        p++;
    }
    return p;
}

/* Behind "<name", or NULL. Stops at the zero byte at the latest. */
static inline const char *tag_name(const char *p, const char *name)
{
    if (*p++ != '<') {
        return NULL;
    }
    while (*name) {
        if (*p++ != *name++) {
            return NULL;
        }
    }
    return p;
}

/* Behind "/>" or "></name>", or NULL. */
static inline const char *tag_end(const char *p, const char *name)
{
    if (p[0] == '/' && p[1] == '>') {
        return p + 2;
    }
    if (p[0] != '>' || p[1] != '<' || p[2] != '/') {
        return NULL;
    }
    p += 3;
    while (*name) {
        if (*p++ != *name++) {
            return NULL;
        }
    }
    p = skip_blanks(p);
    return *p == '>' ? p + 1 : NULL;
}

/* A number as po_3mf_number reads it; the common ones are done here. */
static inline const char *number(const char *p, const char *end, double *ret)
{
    static const double tens[20] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,
                                    1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19};
    const char *begin = p;
    bool negative = *p == '-';
    p += negative;
    const char *first = p;
    uint64_t mantissa = 0;
    unsigned char digit;
    while ((digit = (unsigned char)(*p - '0')) <= 9) {
        mantissa = mantissa * 10 + digit;
        p++;
    }
    size_t n = (size_t)(p - first), behind = 0;
    if (*p == '.') {
        const char *from = ++p;
        while ((digit = (unsigned char)(*p - '0')) <= 9) {
            mantissa = mantissa * 10 + digit;
            p++;
        }
        behind = (size_t)(p - from);
        n += behind;
        if (behind == 0) {
            return NULL;
        }
    }
    if (n == 0 || n > 19 || mantissa > UINT64_C(1) << 53 || (*p | 32) == 'e') {
        return po_3mf_number(begin, end, ret);
    }
    double value = (double)mantissa / tens[behind];
    *ret = negative ? -value : value;
    return p;
}

static inline const char *index_value(const char *p, uint32_t *ret)
{
    uint64_t value = 0;
    const char *first = p;
    unsigned char digit;
    while ((digit = (unsigned char)(*p - '0')) <= 9) {
        value = value * 10 + digit;
        p++;
    }
    if (p == first || p - first > 10 || value >= UINT64_C(1) << 31) {
        return NULL;
    }
    *ret = (uint32_t)value;
    return p;
}

/* Bytes that must still follow for the quick way below: longer than any text that it compares at once. */
enum { QUICK_NEEDS = 16 };

/* Whether the text goes on with this; a compare of a few machine words. */
#define GOES_ON(p, end, with) ((end) - (p) >= QUICK_NEEDS && memcmp(p, with, sizeof(with) - 1) == 0)

/* Behind " />" or "/>", or NULL. */
static inline const char *quick_end(const char *p)
{
    p += *p == ' ';
    return p[0] == '/' && p[1] == '>' ? p + 2 : NULL;
}

/* The element as nearly all programs write it, attributes in order, one blank between them. NULL: look closer. */
static inline const char *quick_vertex(const char *p, const char *end, double v[3])
{
    if (!GOES_ON(p, end, "<vertex x=\"") || !(p = number(p + 11, end, &v[0])) || !GOES_ON(p, end, "\" y=\"") ||
        !(p = number(p + 5, end, &v[1])) || !GOES_ON(p, end, "\" z=\"") || !(p = number(p + 5, end, &v[2])) ||
        *p != '"') {
        return NULL;
    }
    return quick_end(p + 1);
}

static inline const char *quick_triangle(const char *p, const char *end, uint32_t v[3])
{
    if (!GOES_ON(p, end, "<triangle v1=\"") || !(p = index_value(p + 14, &v[0])) || !GOES_ON(p, end, "\" v2=\"") ||
        !(p = index_value(p + 6, &v[1])) || !GOES_ON(p, end, "\" v3=\"") || !(p = index_value(p + 6, &v[2])) ||
        *p != '"') {
        return NULL;
    }
    return quick_end(p + 1);
}

size_t po_3mf_scan_vertices(const char *text, size_t n, size_t pos, const char *name, po_3mf_mesh_fill *fill)
{
    const char *end = text + n, *p = skip_blanks(text + pos), *done = p;
    double *to = fill->xyz ? fill->xyz + 3 * fill->n_vertices : NULL, unit = fill->unit_mm;
    size_t left = fill->cap_vertices - fill->n_vertices, all = left;
    bool quick = strcmp(name, "vertex") == 0;
    while (left > 0) {
        double v[3];
        const char *behind = quick ? quick_vertex(p, end, v) : NULL;
        if (behind) {
            to[0] = v[0] * unit;
            to[1] = v[1] * unit;
            to[2] = v[2] * unit;
            to += 3;
            left--;
            p = done = skip_blanks(behind);
            continue;
        }
        p = tag_name(p, name);
        if (!p || !is_blank(*p)) {
            break;
        }
        unsigned have = 0;
        while (is_blank(*p)) {
            p = skip_blanks(p);
            unsigned axis = (unsigned char)*p - (unsigned)'x';
            if (axis > 2) {
                break;
            }
            char quote = p[1] == '=' ? p[2] : 0;
            if (have >> axis & 1 || (quote != '"' && quote != '\'')) {
                have = 0;
                break;
            }
            p = number(p + 3, end, &v[axis]);
            if (!p || *p != quote) {
                have = 0;
                p = "";
                break;
            }
            p++;
            have |= 1u << axis;
        }
        p = have == 7 ? tag_end(p, name) : NULL;
        if (!p) {
            break;
        }
        to[0] = v[0] * unit;
        to[1] = v[1] * unit;
        to[2] = v[2] * unit;
        to += 3;
        left--;
        p = skip_blanks(p);
        done = p;
    }
    fill->n_vertices += all - left;
    return (size_t)(done - text);
}

size_t po_3mf_scan_triangles(const char *text, size_t n, size_t pos, const char *name, po_3mf_mesh_fill *fill)
{
    const char *end = text + n, *p = skip_blanks(text + pos), *done = p;
    bool quick = strcmp(name, "triangle") == 0;
    size_t left = fill->cap_triangles - fill->n_triangles, all = left;
    uint32_t *to = fill->corners ? fill->corners + 3 * fill->n_triangles : NULL;
    size_t n_vertices = fill->n_vertices, n_plain = 0;
    while (left > 0) {
        uint32_t v[3] = {0}, prop[3] = {0}, pid = 0;
        const char *behind = quick ? quick_triangle(p, end, v) : NULL;
        if (behind && v[0] < n_vertices && v[1] < n_vertices && v[2] < n_vertices && v[0] != v[1] && v[1] != v[2] &&
            v[0] != v[2]) {
            to[0] = v[0];
            to[1] = v[1];
            to[2] = v[2];
            to += 3;
            left--;
            n_plain++;
            p = done = skip_blanks(behind);
            continue;
        }
        p = tag_name(p, name);
        if (!p || !is_blank(*p)) {
            break;
        }
        enum { V = 0, P = 4, PID = 8 };
        unsigned have = 0; /* bits 0-2: v1 to v3, 4-6: p1 to p3, 8: pid */
        while (is_blank(*p)) {
            p = skip_blanks(p);
            unsigned bit;
            uint32_t *value;
            unsigned which = *p ? (unsigned char)p[1] - (unsigned)'1' : 9;
            if (*p == 'v' && which < 3) {
                bit = V + which;
                value = &v[which];
                p += 2;
            } else if (*p == 'p' && which < 3) {
                bit = P + which;
                value = &prop[which];
                p += 2;
            } else if (*p == 'p' && p[1] == 'i' && p[2] == 'd') {
                bit = PID;
                value = &pid;
                p += 3;
            } else {
                break;
            }
            char quote = *p == '=' ? p[1] : 0;
            if (have >> bit & 1 || (quote != '"' && quote != '\'')) {
                have = 0;
                break;
            }
            p = index_value(p + 2, value);
            if (!p || *p != quote) {
                have = 0;
                p = "";
                break;
            }
            p++;
            have |= 1u << bit;
        }
        p = (have & 7) == 7 ? tag_end(p, name) : NULL;
        if (!p || v[0] >= n_vertices || v[1] >= n_vertices || v[2] >= n_vertices || v[0] == v[1] || v[1] == v[2] ||
            v[0] == v[2]) {
            break;
        }
        if (have == 7) {
            n_plain++;
        } else if (((have >> PID & 1) && pid == 0) ||
                   !fill->property(fill->user, (have >> P & 7) | (have >> PID & 1 ? PO_3MF_HAVE_PID : 0), pid, prop)) {
            break;
        }
        to[0] = v[0];
        to[1] = v[1];
        to[2] = v[2];
        to += 3;
        left--;
        p = skip_blanks(p);
        done = p;
    }
    fill->n_triangles += all - left;
    fill->n_plain += n_plain;
    return (size_t)(done - text);
}

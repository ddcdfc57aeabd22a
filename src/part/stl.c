/* Binary STL. SPDX-License-Identifier: Apache-2.0
 *
 *     80 bytes of anything | count u32 | count times: normal 3 f32, corners 9 f32, attribute u16       (little endian)
 *
 * 3D Systems, "StereoLithography Interface Specification", October 1989; restated in M. Burns, "Automated Fabrication",
 * 1993, section 6.5. What the file's size says goes before what the count says, and both before the word "solid" at the
 * start: programs write that into binary files, too. Stored normals are not used: the corners' order says the same. */
#include "part/stl.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "part/weld.h"

enum { HEAD = 84, RECORD = 50, LOOK = 512 };

void po_note(po_notes *notes, const char *format, ...)
{
    char text[256];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    if (notes->n < PO_NOTES_MOST) {
        const char *kept = po_arena_text(notes->arena, text);
        if (kept) {
            notes->list[notes->n++] = kept;
        }
    }
}

static uint32_t u32_at(const unsigned char *p)
{
    return (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
}

static float f32_at(const unsigned char *p)
{
    uint32_t bits = u32_at(p);
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

/* Nine coordinates; false when one is not finite. */
static bool corners_at(const unsigned char *record, double nine[9])
{
    bool good = true;
    for (int i = 0; i < 9; i++) {
        const unsigned char *p = record + 12 + 4 * i;
        good &= (u32_at(p) & 0x7f800000u) != 0x7f800000u;
        nine[i] = f32_at(p);
    }
    return good;
}

static bool normal_is_finite(const unsigned char *record)
{
    bool good = true;
    for (int i = 0; i < 3; i++) {
        good &= (u32_at(record + 4 * i) & 0x7f800000u) != 0x7f800000u;
    }
    return good;
}

/* Bytes that a person could read: no control characters but blanks. */
static bool is_text(const unsigned char *p, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if ((p[i] < ' ' && (p[i] < '\t' || p[i] > '\r')) || p[i] == 127) {
            return false;
        }
    }
    return true;
}

static bool begins_with_solid(const unsigned char *p, size_t n)
{
    size_t at = n >= 3 && memcmp(p, "\xef\xbb\xbf", 3) == 0 ? 3 : 0;
    while (at < n && (p[at] == ' ' || (p[at] >= '\t' && p[at] <= '\r'))) {
        at++;
    }
    for (size_t i = 0; i < 5; i++, at++) {
        if (at >= n || (p[at] | 0x20) != "solid"[i]) {
            return false;
        }
    }
    return at == n || p[at] <= ' ';
}

/* Do the first triangles look like a part's? Lengths between an atom's and the sun's distance; pictures, sound and
 * packed data fail within one or two records. */
static bool looks_like_records(const unsigned char *p, size_t n)
{
    for (size_t r = 0; r < 20 && (r + 1) * RECORD <= n; r++) {
        double nine[9];
        if (!corners_at(p + r * RECORD, nine)) {
            continue; /* damage, which is told with its place later on; a whole file of it is no STL */
        }
        for (int i = 0; i < 9; i++) {
            double size = nine[i] < 0 ? -nine[i] : nine[i];
            if (size != 0 && (size < 1e-20 || size > 1e16)) {
                return false;
            }
        }
    }
    return n >= RECORD;
}

po_stl_kind po_stl_sniff(const po_window *window)
{
    const unsigned char *p = window->bytes + window->at;
    size_t n = window->n - window->at;
    uint64_t total = po_input_raw_total(window->input); /* of a packed file: another number, which fits by no chance */
    if (n >= HEAD) {
        uint64_t whole = HEAD + (uint64_t)RECORD * u32_at(p + 80);
        if ((window->ended && n == whole) || (!window->ended && total == whole)) {
            return PO_STL_BINARY;
        }
    }
    bool text = is_text(p, n < LOOK ? n : LOOK), solid = begins_with_solid(p, n);
    if (solid && text) {
        return PO_STL_TEXT;
    }
    if (!text && n >= HEAD + RECORD && looks_like_records(p + HEAD, n - HEAD)) {
        return PO_STL_BINARY;
    }
    return solid ? PO_STL_TEXT : PO_STL_NEITHER;
}

po_status po_stl_place(po_part *out, po_part_object *objects, size_t n, po_arena *arena, po_err *err)
{
    po_part_item *items = po_arena_zeros(arena, n, sizeof *items);
    if (!items) {
        return po_fail(err, PO_E_NOMEM, "no memory for a part of %zu solids", n);
    }
    for (size_t i = 0; i < n; i++) {
        items[i].object = (uint32_t)i;
        items[i].build_item = (uint32_t)(i + 1);
        items[i].matrix[0] = items[i].matrix[4] = items[i].matrix[8] = 1;
    }
    out->objects = objects;
    out->n_objects = n;
    out->items = items;
    out->n_items = n;
    out->unit_mm = 1;
    return PO_OK;
}

typedef struct reading {
    po_window *window;
    const po_part_limits *limits;
    po_weld weld;
    uint64_t said; /* the count of the header */
    uint64_t bad_normals;
    bool surplus;              /* beyond the count */
    bool surplus_is_something; /* not all zeros */
    size_t n_vertices_said;    /* where the counted triangles end */
} reading;

static po_status fail_memory(po_err *err, size_t n)
{
    return po_fail(err, PO_E_NOMEM, "no memory for a part of more than %zu triangles", n);
}

/* All records from the window's position that are wanted (up to the count, or, in the surplus, while they can be
 * triangles). *ret_stop: something is wrong with the next record of the surplus. */
static po_status take_records(reading *r, bool *ret_stop, po_err *err)
{
    po_window *w = r->window;
    *ret_stop = false;
    while (!*ret_stop && w->n - w->at >= RECORD && (r->surplus || r->weld.n_triangles < r->said)) {
        double nine[9 * PO_WELD_BATCH];
        size_t n = 0, most = (w->n - w->at) / RECORD;
        most = most > PO_WELD_BATCH ? PO_WELD_BATCH : most;
        if (!r->surplus && most > r->said - r->weld.n_triangles) {
            most = (size_t)(r->said - r->weld.n_triangles);
        }
        for (; n < most; n++) {
            const unsigned char *record = w->bytes + w->at + n * RECORD;
            if (!corners_at(record, nine + 9 * n)) {
                if (!r->surplus) {
                    po_status s = po_fail(err, PO_E_SYNTAX,
                                          "triangle %zu has a coordinate that is infinite or not a number",
                                          r->weld.n_triangles + n + 1);
                    if (err) {
                        err->byte = w->start + w->at + n * RECORD;
                    }
                    return s;
                }
                *ret_stop = true;
                break;
            }
            r->bad_normals += !normal_is_finite(record);
        }
        if (r->weld.n_triangles + n > r->limits->most_triangles) {
            if (r->surplus) {
                *ret_stop = true;
                return PO_OK;
            }
            return po_fail(err, PO_E_LIMIT, "more than %llu triangles", (unsigned long long)r->limits->most_triangles);
        }
        for (size_t i = 0; r->surplus && i < n * RECORD && !r->surplus_is_something; i++) {
            r->surplus_is_something = w->bytes[w->at + i] != 0;
        }
        if (!po_weld_add(&r->weld, nine, n)) {
            return fail_memory(err, r->weld.n_triangles);
        }
        w->at += n * RECORD;
    }
    return PO_OK;
}

/* Records, window by window. After it either said triangles were read, or stop is set, or the file has ended. */
static po_status take_all(reading *r, bool *ret_stop, po_err *err)
{
    po_status s;
    do {
        s = take_records(r, ret_stop, err);
        if (s != PO_OK || *ret_stop || (!r->surplus && r->weld.n_triangles == r->said)) {
            return s;
        }
        if (r->window->ended) {
            return PO_OK;
        }
        s = po_window_fill(r->window, err);
    } while (s == PO_OK);
    return s;
}

static po_status skip_rest(po_window *window, po_err *err)
{
    po_status s = PO_OK;
    while (s == PO_OK && !(window->ended && window->at == window->n)) {
        window->at = window->n;
        s = po_window_fill(window, err);
    }
    return s;
}

/* What follows the counted triangles: nothing, further triangles (then the count was wrong), or something else. */
static po_status take_surplus(reading *r, po_notes *notes, po_err *err)
{
    po_window *w = r->window;
    po_status s = PO_OK;
    if (w->at == w->n && !w->ended) {
        s = po_window_fill(w, err);
    }
    if (s != PO_OK || (w->at == w->n && w->ended)) {
        return s;
    }
    uint64_t begins = w->start + w->at;
    bool stop;
    r->surplus = true;
    r->n_vertices_said = r->weld.n_vertices;
    s = take_all(r, &stop, err);
    if (s != PO_OK) {
        return s;
    }
    if (!stop && w->at == w->n && r->surplus_is_something) {
        po_note(notes, "the count says %llu triangles and %zu are there: all are read", (unsigned long long)r->said,
                r->weld.n_triangles);
        return PO_OK;
    }
    r->weld.n_triangles = (size_t)r->said;
    r->weld.n_vertices = r->n_vertices_said;
    s = skip_rest(w, err);
    if (s == PO_OK && r->said) {
        po_note(notes, "%llu bytes follow the last triangle and are not read",
                (unsigned long long)(w->start + w->n - begins));
    }
    return s;
}

static po_status fail_short(const reading *r, po_err *err)
{
    const po_window *w = r->window;
    po_status s = po_fail(err, PO_E_SYNTAX, "the file breaks off within triangle %zu of %llu", r->weld.n_triangles + 1,
                          (unsigned long long)r->said);
    if (err) {
        err->byte = w->start + w->n;
    }
    return s;
}

static po_status read_binary(reading *r, po_arena *arena, po_notes *notes, po_part *out, po_err *err)
{
    po_window *w = r->window;
    bool stop;
    po_status s = take_all(r, &stop, err);
    if (s != PO_OK) {
        return s;
    }
    if (r->weld.n_triangles == r->said) {
        s = take_surplus(r, notes, err);
    } else if (w->at < w->n) {
        return fail_short(r, err);
    } else if (r->weld.n_triangles) {
        po_note(notes, "the count says %llu triangles and %zu are there: miscounted, or cut short",
                (unsigned long long)r->said, r->weld.n_triangles);
    }
    if (s != PO_OK) {
        return s;
    }
    if (r->weld.n_triangles == 0) {
        return po_fail(err, PO_E_EMPTY, "a binary STL without a triangle");
    }
    if (r->bad_normals) {
        po_note(notes, "%llu stored normals are infinite or not numbers; normals are taken from the corners",
                (unsigned long long)r->bad_normals);
    }
    po_weld_trim(&r->weld);
    po_part_object *object = po_arena_zeros(arena, 1, sizeof *object);
    if (!object) {
        return fail_memory(err, r->weld.n_triangles);
    }
    object->mesh = (po_mesh){.xyz = r->weld.xyz,
                             .n_vertices = r->weld.n_vertices,
                             .corners = r->weld.corners,
                             .n_triangles = r->weld.n_triangles};
    object->id = 1;
    out->format = PO_PART_STL_BINARY;
    return po_stl_place(out, object, 1, arena, err);
}

po_status po_stl_read_binary(po_window *window, const po_part_limits *limits, po_arena *arena, po_notes *notes,
                             po_part *out, po_err *err)
{
    if (window->n - window->at < HEAD) {
        return po_fail(err, PO_E_EMPTY, "neither STL nor 3MF: too short for either");
    }
    reading r = {.window = window, .limits = limits, .said = u32_at(window->bytes + window->at + 80)};
    window->at += HEAD;
    /* The count is only believed as far as the file has bytes for it. */
    uint64_t held = window->ended ? (window->n - window->at) / RECORD : po_input_raw_total(window->input) / RECORD;
    uint64_t hint = r.said && r.said < held ? r.said : held;
    if (hint > limits->most_triangles) {
        hint = limits->most_triangles;
    }
    po_status s = PO_OK;
    if (!po_weld_init(&r.weld, arena, (size_t)hint)) {
        s = fail_memory(err, 0);
    } else {
        s = read_binary(&r, arena, notes, out, err);
    }
    po_weld_done(&r.weld);
    return s;
}

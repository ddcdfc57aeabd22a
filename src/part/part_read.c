/* Bytes to a part: which kind it is, and who reads it. SPDX-License-Identifier: Apache-2.0
 *
 * STL is read as it comes by, through a window; an archive has its directory at the end and is taken into memory whole.
 * Nothing is mapped: a file that another program cuts short while it is mapped would end this one. */
#include <stdlib.h>
#include <string.h>

#include "base/input.h"
#include "part/stl.h"
#include "part/threemf.h"

enum { WINDOW = 256 * 1024 };

/* The rest of the input, *ret_n bytes; the window's come first. Caller frees. */
static po_status read_whole(po_window *window, unsigned char **ret_data, size_t *ret_n, po_err *err)
{
    uint64_t total = po_input_raw_total(window->input);
    size_t n = window->n, cap = window->ended ? n : total > n && total < SIZE_MAX / 2 ? (size_t)total : 2 * n;
    unsigned char *data = malloc(cap + 1);
    if (!data) {
        return po_fail(err, PO_E_NOMEM, "no memory for an archive of %zu bytes", cap);
    }
    memcpy(data, window->bytes, n);
    size_t got = window->ended ? 0 : 1;
    while (got) {
        if (n == cap) {
            unsigned char *more = realloc(data, cap + cap / 2 + 1); /* the input's own cap ends this */
            if (!more) {
                free(data);
                return po_fail(err, PO_E_NOMEM, "no memory for an archive of more than %zu bytes", cap);
            }
            data = more;
            cap += cap / 2;
        }
        po_status s = po_input_read(window->input, data + n, cap - n, &got, err);
        if (s != PO_OK) {
            free(data);
            return s;
        }
        n += got;
    }
    *ret_data = data;
    *ret_n = n;
    return PO_OK;
}

static po_status read_archive(po_window *window, const po_part_limits *limits, po_arena *arena, po_part *part,
                              po_err *err)
{
    unsigned char *data = NULL;
    size_t n = 0;
    po_status s = read_whole(window, &data, &n, err);
    if (s == PO_OK) {
        s = po_threemf_read(data, n, limits, arena, part, err);
        part->format = PO_PART_3MF;
    }
    free(data);
    return s;
}

static po_status read_kind(po_window *window, const po_part_limits *limits, po_arena *arena, po_part *part, po_err *err)
{
    const unsigned char *p = window->bytes;
    po_notes notes = {.arena = arena};
    po_status s;
    if (window->n >= 4 && memcmp(p, "PK\3\4", 4) == 0) {
        return read_archive(window, limits, arena, part, err);
    }
    if (window->n >= 4 && memcmp(p, "PK\5\6", 4) == 0) {
        return po_fail(err, PO_E_EMPTY, "an archive with nothing in it");
    }
    if (window->n >= 4 && memcmp(p, "PK\7\10", 4) == 0) {
        return po_fail(err, PO_E_UNSUPPORTED, "an archive in several pieces; one whole file was wanted");
    }
    switch (po_stl_sniff(window)) {
    case PO_STL_BINARY:
        s = po_stl_read_binary(window, limits, arena, &notes, part, err);
        break;
    case PO_STL_TEXT:
        s = po_stl_read_text(window, limits, arena, &notes, part, err);
        break;
    default:
        return po_fail(err, PO_E_EMPTY, window->n ? "neither STL nor 3MF" : "an empty file");
    }
    if (s == PO_OK && notes.n) {
        const char **list = po_arena_zeros(arena, notes.n, sizeof *list);
        if (!list) {
            return po_fail(err, PO_E_NOMEM, "no memory for the notes of a part");
        }
        memcpy(list, notes.list, notes.n * sizeof *list);
        part->notes = list;
        part->n_notes = notes.n;
    }
    return s;
}

po_status po_part_read(const po_source *source, const po_part_limits *limits, po_arena *arena, const po_part **ret_part,
                       po_err *err)
{
    const po_part_limits usual = PO_PART_LIMITS_INIT;
    limits = limits ? limits : &usual;
    po_input *input = NULL;
    po_window window = {0};
    po_part *part = po_arena_zeros(arena, 1, sizeof *part);
    if (!part) {
        return po_fail(err, PO_E_NOMEM, "no memory to read a part");
    }
    po_status s = po_input_open(source, limits->most_bytes, true, &input, err);
    if (s != PO_OK) {
        return s;
    }
    s = po_window_init(&window, input, WINDOW, err);
    if (s == PO_OK) {
        s = po_window_fill(&window, err);
    }
    if (s == PO_OK) {
        s = read_kind(&window, limits, arena, part, err);
    }
    if (s == PO_OK) {
        s = po_input_sha256(input, part->sha256, err);
    }
    if (s == PO_OK) {
        part->bytes = po_input_raw_done(input);
        *ret_part = part;
    } else if (err && !err->where[0] && source->path) {
        const char *name = strcmp(source->path, "-") == 0 ? "standard input" : source->path;
        size_t n = strlen(name) < sizeof err->where - 1 ? strlen(name) : sizeof err->where - 1;
        memcpy(err->where, name, n);
        err->where[n] = 0;
    }
    po_window_done(&window);
    po_input_close(input);
    return s;
}

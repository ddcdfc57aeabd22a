/* STL as text. SPDX-License-Identifier: Apache-2.0
 *
 *     solid NAME
 *       facet normal I J K
 *         outer loop
 *           vertex X Y Z   (three times)
 *         endloop
 *       endfacet           (any number of facets)
 *     endsolid NAME        (any number of solids)
 *
 * Sources as for stl.c. Blanks between words are free, case does not matter, line ends are any. Normals are passed
 * over. A window of the file moves along; a facet that is not whole in it is read again once more of the
 * file is there. */
#include <math.h>
#include <string.h>

#include "base/number.h"
#include "part/patches.h"
#include "part/stl.h"
#include "part/weld.h"

enum { NAME_MOST = 200, LEAST_LOOK = 4096 };

typedef enum outcome { GOOD, MORE, BAD } outcome; /* MORE: the window ends before it is clear */

typedef struct place {
    const unsigned char *end;
    bool ended;               /* nothing follows the end */
    const unsigned char *bad; /* where it went wrong */
    const char *wanted;
} place;

typedef struct solid {
    const char *name;
    size_t first_triangle, first_vertex;
} solid;

typedef struct reading {
    po_window *window;
    const po_part_limits *limits;
    po_arena *arena;
    po_notes *notes;
    po_weld weld;
    double nine[9 * PO_WELD_BATCH];
    size_t n_waiting; /* triangles in nine */
    solid *solids;    /* the last one is being read when inside */
    size_t n_solids, cap_solids;
    bool inside;
    uint64_t n_empty; /* solids without a triangle */
} reading;

static inline bool is_blank(unsigned char c)
{
    return c == ' ' || (c >= '\t' && c <= '\r');
}

/* A zero byte stands behind the end. */
static inline const unsigned char *skip_blanks(const unsigned char *p)
{
    while (is_blank(*p)) {
        p++;
    }
    return p;
}

static const unsigned char *word_end(const unsigned char *p, const unsigned char *end)
{
    while (p < end && !is_blank(*p)) {
        p++;
    }
    return p;
}

static outcome missed(place *at, const unsigned char *p, const char *wanted)
{
    if (!at->ended && word_end(p, at->end) == at->end) {
        return MORE;
    }
    at->bad = p;
    at->wanted = wanted;
    return BAD;
}

static inline bool is_word(const unsigned char *p, const char *word, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if ((p[i] | 0x20) != (unsigned char)word[i]) {
            return false; /* no letter has a zero byte's image: never looks past the end */
        }
    }
    return true;
}

/* Steps over blanks and this word. */
static inline outcome take_word(place *at, const unsigned char **p, const char *word, size_t n)
{
    const unsigned char *q = skip_blanks(*p);
    if (!is_word(q, word, n) || (q + n < at->end && !is_blank(q[n])) || (q + n == at->end && !at->ended)) {
        return missed(at, q, word);
    }
    *p = q + n;
    return GOOD;
}
#define TAKE(word) take_word(at, &p, word, sizeof(word) - 1)

static inline outcome take_number(place *at, const unsigned char **p, double *ret)
{
    const unsigned char *q = skip_blanks(*p);
    const unsigned char *after = (const unsigned char *)po_number_read_e((const char *)q, (const char *)at->end, ret);
    if (!after || (after < at->end && !is_blank(*after)) || (after == at->end && !at->ended) || isinf(*ret)) {
        return missed(at, q, "a finite number");
    }
    *p = after;
    return GOOD;
}

/* A facet behind its first word. *ret_after: behind "endfacet". */
static outcome take_facet(place *at, const unsigned char *p, double nine[9], const unsigned char **ret_after)
{
    outcome o = TAKE("normal");
    for (int i = 0; i < 3 && o == GOOD; i++) { /* the normal: three words, whatever they are */
        const unsigned char *q = skip_blanks(p);
        if (is_word(q, "outer", 5)) {
            break;
        }
        p = word_end(q, at->end);
        o = p == q || (p == at->end && !at->ended) ? missed(at, q, "a normal") : GOOD;
    }
    if (o != GOOD || (o = TAKE("outer")) != GOOD || (o = TAKE("loop")) != GOOD) {
        return o;
    }
    for (int i = 0; i < 9; i++) {
        if (i % 3 == 0 && (o = TAKE("vertex")) != GOOD) {
            return o;
        }
        o = take_number(at, &p, nine + i);
        if (o != GOOD) {
            return o;
        }
    }
    if ((o = TAKE("endloop")) != GOOD || (o = TAKE("endfacet")) != GOOD) {
        return o;
    }
    *ret_after = p;
    return GOOD;
}

static po_status fail_memory(const reading *r, po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "no memory for a part of more than %zu triangles", r->weld.n_triangles);
}

/* Whether the last word of a file is the beginning of what was wanted: "o" of outer, "1.5e" of a number. */
static bool breaks_off(const unsigned char *p, size_t n, const char *wanted)
{
    static const char *const either[] = {"facet", "endsolid"};
    if (n == 0 || !strcmp(wanted, "a normal")) {
        return true;
    }
    if (!strcmp(wanted, "a finite number")) {
        size_t i = 0;
        while (i < n && memchr("0123456789.+-eE", p[i], 15)) {
            i++;
        }
        return i == n && (p[n - 1] < '0' || p[n - 1] > '9'); /* a whole number of another kind does not break off */
    }
    bool begins = n < strlen(wanted) && is_word(p, wanted, n);
    for (size_t i = 0; i < 2 && !strcmp(wanted, "facet or endsolid"); i++) {
        begins = begins || (n < strlen(either[i]) && is_word(p, either[i], n));
    }
    return begins;
}

static po_status fail_here(const reading *r, const unsigned char *p, const char *wanted, po_err *err)
{
    const unsigned char *end = r->window->bytes + r->window->n, *stop = word_end(p, end);
    char found[32];
    size_t n = 0;
    while (p + n < stop && n < sizeof found - 1) {
        found[n] = p[n] < ' ' || p[n] > '~' ? '?' : (char)p[n];
        n++;
    }
    found[n] = 0;
    uint32_t line, column;
    po_window_place(r->window, p, &line, &column);
    bool ends = stop == end && r->window->ended && breaks_off(p, n, wanted);
    po_status s = ends ? po_fail_at(err, PO_E_SYNTAX, NULL, line, column,
                                    n ? "the file breaks off after '%s', where %s was wanted"
                                      : "the file breaks off%s where %s was wanted",
                                    found, wanted)
                       : po_fail_at(err, PO_E_SYNTAX, NULL, line, column, "found '%s' where %s was wanted", found,
                                    wanted);
    if (err) {
        err->byte = r->window->start + (uint64_t)(p - r->window->bytes);
    }
    return s;
}

static po_status flush(reading *r, po_err *err)
{
    size_t n = r->n_waiting;
    r->n_waiting = 0;
    if (n > r->limits->most_triangles - r->weld.n_triangles) {
        return po_fail(err, PO_E_LIMIT, "more than %llu triangles", (unsigned long long)r->limits->most_triangles);
    }
    return po_weld_add(&r->weld, r->nine, n) ? PO_OK : fail_memory(r, err);
}

static po_status end_solid(reading *r, po_err *err)
{
    po_status s = flush(r, err);
    r->inside = false;
    if (s == PO_OK && r->solids[r->n_solids - 1].first_triangle == r->weld.n_triangles) {
        r->n_solids--;
        r->n_empty++;
    }
    po_weld_next_solid(&r->weld);
    return s;
}

static po_status begin_solid(reading *r, const unsigned char *name, size_t n, po_err *err)
{
    if (r->n_solids == r->cap_solids) {
        size_t cap = r->cap_solids ? r->cap_solids * 2 : 8;
        solid *solids = po_arena_resize(r->arena, r->solids, r->cap_solids * sizeof *solids, cap * sizeof *solids);
        if (!solids) {
            return fail_memory(r, err);
        }
        r->solids = solids;
        r->cap_solids = cap;
    }
    const char *kept = n ? po_arena_text_n(r->arena, (const char *)name, n) : NULL;
    if (n && !kept) {
        return fail_memory(r, err);
    }
    r->solids[r->n_solids++] = (solid){kept, r->weld.n_triangles, r->weld.n_vertices};
    r->inside = true;
    return PO_OK;
}

/* The rest of a line that names a solid: where the name stands, and where reading goes on. Everything may stand on one
 * line: then the name ends at "facet normal". */
static outcome take_name(place *at, const unsigned char *p, const unsigned char **ret_name, size_t *ret_n,
                         const unsigned char **ret_after)
{
    while (p < at->end && (*p == ' ' || *p == '\t')) {
        p++;
    }
    const unsigned char *name = p;
    while (p < at->end && *p != '\n' && *p != '\r') {
        if ((*p | 0x20) == 'f' && is_blank(p[-1]) && is_word(p, "facet", 5) &&
            is_word(skip_blanks(p + 5), "normal", 6)) {
            break;
        }
        p++;
    }
    if (p == at->end && !at->ended) {
        at->bad = name;
        at->wanted = "a shorter line";
        return MORE;
    }
    *ret_after = p;
    while (p > name && is_blank(p[-1])) {
        p--;
    }
    *ret_name = name;
    *ret_n = p - name > NAME_MOST ? NAME_MOST : (size_t)(p - name);
    return GOOD;
}

/* One solid's or facet's worth from the window's position. *ret_over: nothing that could be STL follows. */
static outcome take_one(reading *r, place *at, bool *ret_over, po_status *ret_status, po_err *err)
{
    po_window *w = r->window;
    const unsigned char *p = skip_blanks(w->bytes + w->at), *name;
    size_t n;
    outcome o;
    *ret_status = PO_OK;
    if (p == at->end) {
        w->at = w->n;
        *ret_over = at->ended;
        return at->ended ? GOOD : MORE;
    }
    w->at = (size_t)(p - w->bytes);
    const unsigned char *word = p;
    if (r->inside && TAKE("facet") == GOOD) {
        o = take_facet(at, p, r->nine + 9 * r->n_waiting, &p);
        if (o == GOOD) {
            w->at = (size_t)(p - w->bytes);
            if (++r->n_waiting == PO_WELD_BATCH) {
                *ret_status = flush(r, err);
            }
        }
        return o;
    }
    p = word;
    if (TAKE("solid") == GOOD) {
        o = take_name(at, p, &name, &n, &p);
        if (o == GOOD) {
            if (r->inside) {
                po_note(r->notes, "solid %zu begins before the one before it has ended", r->n_solids + 1);
                *ret_status = end_solid(r, err);
            }
            if (*ret_status == PO_OK) {
                *ret_status = begin_solid(r, name, n, err);
            }
            w->at = (size_t)(p - w->bytes);
        }
        return o;
    }
    p = word;
    if (r->inside && TAKE("endsolid") == GOOD) {
        o = take_name(at, p, &name, &n, &p);
        if (o == GOOD) {
            *ret_status = end_solid(r, err);
            w->at = (size_t)(p - w->bytes);
        }
        return o;
    }
    o = missed(at, word, r->inside ? "facet or endsolid" : "solid");
    if (o == BAD && !r->inside && r->n_solids && !is_word(word, "facet", 5)) {
        *ret_over = true; /* behind a whole solid: something else, which does not hinder */
        return GOOD;
    }
    return o;
}

static po_status read_solids(reading *r, po_err *err)
{
    po_window *w = r->window;
    bool over = false;
    po_status s = PO_OK;
    while (!over && s == PO_OK) {
        if (w->n - w->at < LEAST_LOOK && !w->ended) {
            s = po_window_fill(w, err);
            if (s != PO_OK) {
                return s;
            }
        }
        place at = {.end = w->bytes + w->n, .ended = w->ended};
        outcome o = take_one(r, &at, &over, &s, err);
        if (o == BAD) {
            return fail_here(r, at.bad, at.wanted, err);
        }
        if (o == MORE) {
            if (w->at == 0 && w->n == w->cap) {
                return fail_here(r, w->bytes, "a facet or name of ordinary length", err);
            }
            s = po_window_fill(w, err);
        }
    }
    uint64_t begins = w->start + w->at;
    while (s == PO_OK && !(w->ended && w->at == w->n)) {
        w->at = w->n;
        s = po_window_fill(w, err);
    }
    uint64_t further = w->start + w->n - begins;
    if (s == PO_OK && further) {
        po_note(r->notes, "%llu bytes follow the last solid and are not read", (unsigned long long)further);
    }
    if (s == PO_OK && r->inside) {
        po_note(r->notes, "the last solid has no end: perhaps the file is cut short");
        s = end_solid(r, err);
    }
    return s;
}

static po_status make_objects(reading *r, po_part *out, po_err *err)
{
    if (r->n_empty && r->n_solids) {
        po_note(r->notes, "%llu solids without a triangle", (unsigned long long)r->n_empty);
    }
    if (r->n_solids == 0) {
        return po_fail(err, PO_E_EMPTY, "an STL without a triangle");
    }
    po_weld_trim(&r->weld);
    po_part_object *objects = po_arena_zeros(r->arena, r->n_solids, sizeof *objects);
    if (!objects) {
        return fail_memory(r, err);
    }
    for (size_t i = 0; i < r->n_solids; i++) {
        const solid *s = &r->solids[i];
        bool last = i + 1 == r->n_solids;
        size_t end = last ? r->weld.n_triangles : s[1].first_triangle;
        uint32_t *corners = r->weld.corners + 3 * s->first_triangle;
        objects[i].name = s->name;
        objects[i].id = (uint32_t)(i + 1);
        objects[i].mesh = (po_mesh){.xyz = r->weld.xyz + 3 * s->first_vertex,
                                    .n_vertices = (last ? r->weld.n_vertices : s[1].first_vertex) - s->first_vertex,
                                    .corners = corners,
                                    .n_triangles = end - s->first_triangle};
        for (size_t k = 0; s->first_vertex && k < 3 * objects[i].mesh.n_triangles; k++) {
            corners[k] -= (uint32_t)s->first_vertex;
        }
    }
    size_t n = r->n_solids;
    po_status joined = po_patches_join(objects, &n, r->arena, r->notes, err);
    out->format = PO_PART_STL_ASCII;
    return joined == PO_OK ? po_stl_place(out, objects, n, r->arena, err) : joined;
}

po_status po_stl_read_text(po_window *window, const po_part_limits *limits, po_arena *arena, po_notes *notes,
                           po_part *out, po_err *err)
{
    reading r = {.window = window, .limits = limits, .arena = arena, .notes = notes};
    if (window->n - window->at >= 3 && memcmp(window->bytes + window->at, "\xef\xbb\xbf", 3) == 0) {
        window->at += 3;
    }
    window->count_lines = true;
    uint64_t total = window->ended ? window->n : po_input_raw_total(window->input);
    uint64_t hint = total / 200; /* bytes of an ordinary facet */
    hint = hint > limits->most_triangles ? limits->most_triangles : hint;
    if (!po_weld_init(&r.weld, arena, (size_t)hint)) {
        return fail_memory(&r, err);
    }
    po_status s = read_solids(&r, err);
    if (s == PO_OK) {
        s = make_objects(&r, out, err);
    }
    po_weld_done(&r.weld);
    return s;
}

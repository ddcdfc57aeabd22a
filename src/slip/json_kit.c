/* Pieces of our JSON. SPDX-License-Identifier: Apache-2.0
 *
 * Written by hand and not through a tree of a JSON library: the order of the keys is the contract's, every number has
 * one form whatever the locale (at most 9 significant digits: measures are agreed upon to 1e-6, and the same bytes come
 * out on every machine), nothing is allocated but the text, and a check that only prints a line does not load a
 * library. The tests read it back with jansson. Strings by RFC 8259 section 7; foreign bytes are made valid UTF-8. */
#include "slip/json_kit.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/say.h"

void po_json_string(po_text *out, const char *text)
{
    if (!text) {
        po_text_add(out, "null");
        return;
    }
    const char *clean = po_say_clean(out->arena, text);
    po_text_add(out, "\"");
    for (const char *p = clean; *p;) {
        size_t n = strcspn(p, "\"\\");
        po_text_add_n(out, p, n);
        p += n;
        if (*p) {
            po_text_add(out, *p == '"' ? "\\\"" : "\\\\");
            p++;
        }
    }
    po_text_add(out, "\"");
}

void po_json_number(po_text *out, double v)
{
    if (!isfinite(v)) {
        po_text_add(out, "null");
        return;
    }
    char buf[64], *to = buf;
    snprintf(buf, sizeof buf, "%.9g", v == 0 ? 0 : v);
    bool mark = false;
    for (const char *p = buf; *p; p++) { /* whatever a locale puts for the decimal mark, one byte or several: '.' */
        bool ordinary = (*p >= '0' && *p <= '9') || *p == '-' || *p == '+' || *p == 'e';
        if (ordinary) {
            *to++ = *p;
        } else if (!mark) {
            *to++ = '.';
            mark = true;
        }
    }
    po_text_add_n(out, buf, (size_t)(to - buf));
}

void po_json_key(po_text *out, const char *name)
{
    if (out->n && out->data[out->n - 1] != '{' && out->data[out->n - 1] != '[') {
        po_text_add(out, ", ");
    }
    po_text_printf(out, "\"%s\": ", name);
}

void po_json_key_number(po_text *out, const char *name, double v)
{
    po_json_key(out, name);
    po_json_number(out, v);
}

void po_json_key_count(po_text *out, const char *name, uint64_t v)
{
    po_json_key(out, name);
    po_text_printf(out, "%llu", (unsigned long long)v);
}

void po_json_key_string(po_text *out, const char *name, const char *v)
{
    po_json_key(out, name);
    po_json_string(out, v);
}

void po_json_key_bool(po_text *out, const char *name, bool v)
{
    po_json_key(out, name);
    po_text_add(out, v ? "true" : "false");
}

void po_json_key_point(po_text *out, const char *name, const double xyz[3])
{
    po_json_key(out, name);
    po_text_add(out, "[");
    for (int i = 0; i < 3; i++) {
        po_text_add(out, i ? ", " : "");
        po_json_number(out, xyz[i]);
    }
    po_text_add(out, "]");
}

void po_json_key_bounds(po_text *out, const char *name, const po_span3 *b)
{
    po_json_key(out, name);
    po_text_add(out, "{"); /* objects keep their shape: a value that is missing is null, never the object around it */
    po_json_key_point(out, "min", b->min);
    po_json_key_point(out, "max", b->max);
    po_text_add(out, "}");
}

void po_json_key_place(po_text *out, const char *name, const po_place *place)
{
    po_json_key(out, name);
    if (!place->known) {
        po_text_add(out, "null");
        return;
    }
    po_text_add(out, "{");
    po_json_key(out, "line");
    if (place->line) {
        po_text_printf(out, "%llu", (unsigned long long)place->line);
    } else {
        po_text_add(out, "null");
    }
    po_json_key_number(out, "z", place->z);
    po_json_key_number(out, "x", place->x);
    po_json_key_number(out, "y", place->y);
    po_json_key_number(out, "seconds", place->seconds);
    po_text_add(out, "}");
}

void po_json_key_range(po_text *out, const char *name, po_range r)
{
    po_json_key(out, name);
    po_text_add(out, "[");
    po_json_number(out, r.low);
    po_text_add(out, ", ");
    po_json_number(out, r.high);
    po_text_add(out, "]");
}

void po_json_finding(po_text *out, const po_finding *f)
{
    po_text_add(out, "{");
    po_json_key_string(out, "name", f->name);
    po_json_key_string(out, "grade", po_grade_name(f->grade));
    if (f->grade != f->default_grade) {
        po_json_key_string(out, "default_grade", po_grade_name(f->default_grade));
    }
    po_json_key_string(out, "says", f->says ? f->says : "");
    po_json_key_string(out, "do", f->todo ? f->todo : "");
    po_json_key_count(out, "count", f->count);
    po_json_key_place(out, "where", &f->where);
    po_json_key_place(out, "worst", &f->worst);
    if (f->item != NULL) {
        po_json_key_string(out, "item", f->item);
        po_json_key_count(out, "solid", f->solid);
    }
    po_text_add(out, "}");
}

po_status po_json_document(const po_json_proofs *of, po_arena *arena, po_document *ret, po_err *err)
{
    po_text out;
    po_text_init(&out, arena);
    if (!of->n) {
        return po_fail(err, PO_E_RANGE, "no proof to write");
    }
    if (!of->several && of->n == 1) {
        of->one(&out, of->proofs, 0);
    } else {
        po_verdict best = of->verdict(of->proofs, 0);
        for (size_t i = 1; i < of->n; i++) {
            po_verdict next = of->verdict(of->proofs, i);
            best = next < best ? next : best;
        }
        po_text_add(&out, "{");
        of->identity(&out, of->proofs);
        po_json_key_string(&out, "verdict", po_verdict_name(best));
        po_json_key(&out, "machines");
        po_text_add(&out, "[");
        for (size_t i = 0; i < of->n; i++) {
            po_text_add(&out, i ? ", " : "");
            of->one(&out, of->proofs, i);
        }
        po_text_add(&out, "]}");
    }
    po_text_add(&out, "\n");
    if (out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the proof's JSON");
    }
    *ret = (po_document){.data = out.data, .n_bytes = out.n};
    return PO_OK;
}

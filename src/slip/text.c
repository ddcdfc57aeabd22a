/* The slip as plain text: the verdict first and large, then findings, facts, changed rules, cautions.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Plain ASCII of our own, foreign text as it is but made safe; never wider than asked for (a column is one character).
 * Colour (ECMA-48 SGR) only where asked for, and never the only sign: the words say the same. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/say.h"

enum { DEFAULT_COLUMNS = 80, NARROWEST = 40, WIDEST = 400 };

typedef struct page {
    po_text out;
    size_t columns;
    bool colour;
} page;

static const char *sgr(const page *p, po_verdict verdict)
{
    if (!p->colour) {
        return "";
    }
    return verdict == PO_CLEAR ? "\033[1;32m" : verdict == PO_ASK ? "\033[1;33m" : "\033[1;31m";
}

static const char *plain(const page *p)
{
    return p->colour ? "\033[0m" : "";
}

/* Bytes of the first n characters. */
static size_t bytes_of(const char *text, size_t n)
{
    size_t i = 0;
    while (text[i]) {
        if (((unsigned char)text[i] & 0xC0) != 0x80 && n-- == 0) {
            break;
        }
        i++;
    }
    return i;
}

/* Text broken at blanks: `first` stands before the first line, then so many blanks before the others. */
static void paragraph(page *p, const char *first, size_t indent, const char *text)
{
    const char *clean = po_say_clean(p->out.arena, text);
    size_t room = p->columns > indent + 10 ? p->columns - indent : 10;
    bool begun = false;
    while (*clean == ' ') {
        clean++;
    }
    do {
        size_t n = bytes_of(clean, room), end = n;
        if (clean[n]) {
            while (end && clean[end] != ' ') {
                end--;
            }
            end = end ? end : n;
        }
        if (!begun) {
            po_text_printf(&p->out, "%-*s", (int)indent, first);
        } else {
            po_text_printf(&p->out, "%*s", (int)indent, "");
        }
        po_text_add_n(&p->out, clean, end);
        po_text_add(&p->out, "\n");
        begun = true;
        clean += end;
        while (*clean == ' ') {
            clean++;
        }
    } while (*clean);
}

static void rule(page *p, char c)
{
    for (size_t i = 0; i < p->columns; i++) {
        po_text_add_n(&p->out, &c, 1);
    }
    po_text_add(&p->out, "\n");
}

/* Letters of the large verdict, five rows each. */
static const char *letter(char c, int row)
{
    static const struct {
        char c;
        const char *rows[5];
    } LETTERS[] = {
        {'Y', {"#   #", " # # ", "  #  ", "  #  ", "  #  "}}, {'E', {"#####", "#    ", "#### ", "#    ", "#####"}},
        {'S', {" ####", "#    ", " ### ", "    #", "#### "}}, {'A', {" ### ", "#   #", "#####", "#   #", "#   #"}},
        {'K', {"#   #", "#  # ", "###  ", "#  # ", "#   #"}}, {'N', {"#   #", "##  #", "# # #", "#  ##", "#   #"}},
        {'O', {" ### ", "#   #", "#   #", "#   #", " ### "}},
    };
    for (size_t i = 0; i < sizeof LETTERS / sizeof *LETTERS; i++) {
        if (LETTERS[i].c == c) {
            return LETTERS[i].rows[row];
        }
    }
    return "     ";
}

static const char *last_part(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash && slash[1] ? slash + 1 : path;
}

static void head(page *p, const po_proof *proof)
{
    po_arena *a = p->out.arena;
    const po_job_report *r = proof->report;
    const char *word = proof->verdict == PO_CLEAR ? "YES" : proof->verdict == PO_ASK ? "ASK" : "NO";
    const char *lines[5] = {
        po_arena_printf(a, "%s: %s", po_say_clean(a, r->machine->name), po_say_answer(proof->verdict)),
        last_part(po_say_clean(a, proof->file)),
        po_arena_printf(a, "%s of %s, %s", po_say_metres(a, r->facts.filament_mm), po_say_materials(a, r),
                        po_say_grams(a, r->facts.filament_g)),
        po_say_time(a, r->facts.seconds),
        "",
    };
    if (proof->start_known) {
        lines[4] = po_arena_printf(a, "starts %s, ends %s", po_say_clock(a, proof->start, NULL),
                                   po_say_clock(a, proof->end, &proof->start));
    } else {
        lines[4] = isfinite(proof->cool_seconds)
                       ? po_arena_printf(a, "cool enough %s after the end", po_say_time(a, proof->cool_seconds))
                       : "";
    }
    rule(p, '=');
    for (int row = 0; row < 5; row++) {
        size_t used = 2;
        po_text_printf(&p->out, "  %s", sgr(p, proof->verdict));
        for (const char *c = word; *c; c++) {
            po_text_printf(&p->out, "%s ", letter(*c, row));
            used += 6;
        }
        po_text_add(&p->out, plain(p));
        po_text_printf(&p->out, "%*s", (int)(22 - used), "");
        const char *line = lines[row] ? lines[row] : "";
        size_t room = p->columns - 22;
        if (po_columns(line) > room) {
            po_text_add_n(&p->out, line, bytes_of(line, room - 3));
            po_text_add(&p->out, "...");
        } else {
            po_text_add(&p->out, line);
        }
        po_text_add(&p->out, "\n");
    }
    rule(p, '=');
}

static void findings(page *p, const po_proof *proof)
{
    po_arena *a = p->out.arena;
    if (!proof->n_findings) {
        po_text_add(&p->out, "Nothing to say against it.\n");
        return;
    }
    for (size_t i = 0; i < proof->n_findings; i++) {
        const po_finding *f = &proof->findings[i];
        const char *grade = f->grade == PO_GRADE_STOP ? "STOP" : f->grade == PO_GRADE_ASK ? "ASK" : "note";
        char number[32];
        snprintf(number, sizeof number, "%2zu", i + 1);
        po_verdict like = f->grade == PO_GRADE_STOP ? PO_STOP : f->grade == PO_GRADE_ASK ? PO_ASK : PO_CLEAR;
        po_text_printf(&p->out, "%s  %s%-4s%s  %s", number, f->grade >= PO_GRADE_ASK ? sgr(p, like) : "", grade,
                       f->grade >= PO_GRADE_ASK ? plain(p) : "", f->name);
        if (f->count > 1) {
            po_text_printf(&p->out, " (%llu times)", (unsigned long long)f->count);
        }
        if (f->grade != f->default_grade) {
            po_text_printf(&p->out, " [usually %s]", po_grade_name(f->default_grade));
        }
        po_text_add(&p->out, "\n");
        paragraph(p, "", 10, f->says ? f->says : "");
        if (f->todo && *f->todo) {
            paragraph(p, "    do:", 10, f->todo);
        }
        const char *where = po_say_place(a, &f->where), *worst = po_say_place(a, &f->worst);
        if (where) {
            paragraph(p, f->count > 1 ? "    first:" : "    at:", f->count > 1 ? 11 : 10, where);
        }
        if (worst && f->count > 1 && (!where || strcmp(where, worst))) {
            paragraph(p, "    worst:", 11, worst);
        }
    }
}

po_status po_slip_text(const po_proof *proof, const po_shop *shop, const po_slip_options *options, po_arena *arena,
                       po_document *ret, po_err *err)
{
    page p = {.columns = DEFAULT_COLUMNS};
    po_text_init(&p.out, arena);
    if (options && options->columns > 0) {
        int columns = options->columns < NARROWEST ? NARROWEST : options->columns > WIDEST ? WIDEST : options->columns;
        p.columns = (size_t)columns;
    }
    p.colour = options && options->colour;
    head(&p, proof);
    if (proof->aloud && *proof->aloud) {
        paragraph(&p, "Say:", 5, proof->aloud);
    }
    po_text_add(&p.out, "\n");
    findings(&p, proof);

    po_text_add(&p.out, "\nFacts\n");
    po_fact_line lines[PO_MOST_FACT_LINES];
    size_t n = po_fact_lines(proof, arena, lines);
    for (size_t i = 0; i < n; i++) {
        char label[64];
        snprintf(label, sizeof label, "  %.40s", lines[i].label ? lines[i].label : "");
        paragraph(&p, label, 21, lines[i].value);
    }
    if (proof->start_known) {
        po_text_printf(&p.out, "  %-19s%s\n", "Watch until", po_say_clock(arena, proof->watch_until, &proof->start));
        if (isfinite(proof->cool_seconds)) {
            po_text_printf(&p.out, "  %-19s%s\n", "Take off from", po_say_clock(arena, proof->cool, &proof->start));
        }
    }
    if (proof->n_changed_rules) {
        po_text_add(&p.out, "\nThis shop's own rules\n");
        for (size_t i = 0; i < proof->n_changed_rules; i++) {
            paragraph(&p, "  -", 4, proof->changed_rules[i]);
        }
    }
    const char *cautions[PO_MOST_CAUTIONS];
    size_t n_cautions = po_cautions(proof, shop, cautions);
    if (n_cautions) {
        po_text_add(&p.out, "\nCare\n");
        for (size_t i = 0; i < n_cautions; i++) {
            paragraph(&p, "  !", 4, cautions[i]);
        }
    }
    po_text_add(&p.out, "\n");
    paragraph(&p, "File", 8, po_say_clean(arena, proof->file));
    paragraph(&p, "SHA-256", 8, proof->report->sha256);
    if (shop && shop->name) {
        paragraph(&p, "Shop", 8, shop->name);
    }
    if (options && options->today) {
        paragraph(&p, "Made", 8, options->today);
    }
    rule(&p, '=');
    if (p.out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the slip");
    }
    *ret = (po_document){.data = p.out.data, .n_bytes = p.out.n};
    return PO_OK;
}

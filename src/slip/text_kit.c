/* Pieces of slips as plain text: large verdict, paragraphs, findings, lists. SPDX-License-Identifier: Apache-2.0
 *
 * Plain ASCII of our own, foreign text as it is but made safe; never wider than asked for (a column is one character).
 * Colour (ECMA-48 SGR) only where asked for, and never the only sign: the words say the same. */
#include "slip/text_kit.h"

#include <stdio.h>
#include <string.h>

enum { DEFAULT_COLUMNS = 80, NARROWEST = 40, WIDEST = 400 };

void po_page_init(po_page *p, const po_slip_options *options, po_arena *arena)
{
    *p = (po_page){.columns = DEFAULT_COLUMNS};
    po_text_init(&p->out, arena);
    if (options && options->columns > 0) {
        int columns = options->columns < NARROWEST ? NARROWEST : options->columns > WIDEST ? WIDEST : options->columns;
        p->columns = (size_t)columns;
    }
    p->colour = options && options->colour;
}

static const char *sgr(const po_page *p, po_verdict verdict)
{
    if (!p->colour) {
        return "";
    }
    return verdict == PO_CLEAR ? "\033[1;32m" : verdict == PO_ASK ? "\033[1;33m" : "\033[1;31m";
}

static const char *plain(const po_page *p)
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
void po_page_paragraph(po_page *p, const char *first, size_t indent, const char *text)
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

void po_page_rule(po_page *p, char c)
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

const char *po_last_part(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash && slash[1] ? slash + 1 : path;
}

void po_page_banner(po_page *p, po_verdict verdict, const char *const lines[5])
{
    const char *word = verdict == PO_CLEAR ? "YES" : verdict == PO_ASK ? "ASK" : "NO";
    po_page_rule(p, '=');
    for (int row = 0; row < 5; row++) {
        size_t used = 2;
        po_text_printf(&p->out, "  %s", sgr(p, verdict));
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
    po_page_rule(p, '=');
}

void po_page_findings(po_page *p, const po_finding *findings, size_t n, bool of_part)
{
    po_arena *a = p->out.arena;
    if (n == 0) {
        po_text_add(&p->out, "Nothing to say against it.\n");
        return;
    }
    for (size_t i = 0; i < n; i++) {
        const po_finding *f = &findings[i];
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
        po_page_paragraph(p, "", 10, f->says ? f->says : "");
        if (f->todo && *f->todo) {
            po_page_paragraph(p, "    do:", 10, f->todo);
        }
        const char *where = of_part ? po_say_point(a, &f->where) : po_say_place(a, &f->where);
        const char *worst = of_part ? where : po_say_place(a, &f->worst);
        if (where) {
            po_page_paragraph(p, f->count > 1 ? "    first:" : "    at:", f->count > 1 ? 11 : 10, where);
        }
        if (worst && f->count > 1 && (!where || strcmp(where, worst))) {
            po_page_paragraph(p, "    worst:", 11, worst);
        }
    }
}

void po_page_facts(po_page *p, const po_fact_line *lines, size_t n)
{
    po_text_add(&p->out, "\nFacts\n");
    for (size_t i = 0; i < n; i++) {
        char label[64];
        snprintf(label, sizeof label, "  %.40s", lines[i].label ? lines[i].label : "");
        po_page_paragraph(p, label, 21, lines[i].value);
    }
}

void po_page_list(po_page *p, const char *heading, const char *mark, const char *const *texts, size_t n)
{
    if (n > 0) {
        po_text_printf(&p->out, "\n%s\n", heading);
    }
    for (size_t i = 0; i < n; i++) {
        po_page_paragraph(p, mark, 4, texts[i]);
    }
}

void po_page_end(po_page *p, const char *file, const char *sha256, const po_shop *shop, const po_slip_options *options)
{
    po_text_add(&p->out, "\n");
    po_page_paragraph(p, "File", 8, po_say_clean(p->out.arena, file));
    po_page_paragraph(p, "SHA-256", 8, sha256);
    if (shop && shop->name) {
        po_page_paragraph(p, "Shop", 8, shop->name);
    }
    if (options && options->today) {
        po_page_paragraph(p, "Made", 8, options->today);
    }
    if (options && options->code) {
        po_page_paragraph(p, "Slip", 8, options->code);
    }
    po_page_rule(p, '=');
}

/* Pieces of tables over machines. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "slip/text_kit.h"

enum { DEFAULT_COLUMNS = 80, NARROWEST = 60, WIDEST = 400 };

void po_table_cell(po_text *out, const char *text, size_t n, bool right)
{
    size_t have = po_columns(text), i = 0, k = n;
    if (have > n) {
        while (text[i] && (((unsigned char)text[i] & 0xC0) == 0x80 || k--)) {
            i++;
        }
        po_text_add_n(out, text, i);
        return;
    }
    po_text_printf(out, "%*s%s%*s", right ? (int)(n - have) : 0, "", text, right ? 0 : (int)(n - have), "");
}

void po_table_wrapped(po_text *out, const char *text, size_t n)
{
    size_t at = 0;
    while (*text) {
        size_t word = strcspn(text, " "), columns = 0;
        for (size_t i = 0; i < word; i++) {
            columns += ((unsigned char)text[i] & 0xC0) != 0x80;
        }
        if (at && at + 1 + columns > n) {
            po_text_add(out, "\n");
            at = 0;
        }
        if (at) {
            po_text_add(out, " ");
            at++;
        }
        while (columns > n) { /* a word longer than a line */
            size_t i = 0, k = n;
            while (text[i] && (((unsigned char)text[i] & 0xC0) == 0x80 || k--)) {
                i++;
            }
            po_text_add_n(out, text, i);
            po_text_add(out, "\n");
            text += i;
            word -= i;
            columns -= n;
        }
        po_text_add_n(out, text, word);
        at += columns;
        text += word + strspn(text + word, " ");
    }
    po_text_add(out, "\n");
}

size_t po_table_columns(const po_slip_options *options)
{
    if (!options || options->columns <= 0) {
        return DEFAULT_COLUMNS;
    }
    return (size_t)(options->columns < NARROWEST ? NARROWEST : options->columns > WIDEST ? WIDEST : options->columns);
}

void po_table_path(po_text *out, const char *path, size_t n)
{
    const char *file = po_say_clean(out->arena, path);
    size_t have = po_columns(file);
    if (have > n) {
        size_t drop = have - n + 3;
        while (drop) {
            file++;
            drop -= ((unsigned char)*file & 0xC0) != 0x80;
        }
        po_text_add(out, "...");
    }
    po_text_printf(out, "%s\n", file);
}

void po_table_answer(po_text *out, po_verdict verdict, bool colour)
{
    if (colour) {
        po_text_add(out, verdict == PO_CLEAR ? "\033[1;32m" : verdict == PO_ASK ? "\033[1;33m" : "\033[1;31m");
    }
    po_table_cell(out, po_say_answer(verdict), 3, false);
    po_text_add(out, colour ? "\033[0m" : "");
}

void po_table_why(po_text *out, const po_finding *findings, size_t n_findings, size_t n)
{
    const char *why = "";
    if (n_findings && findings[0].grade >= PO_GRADE_ASK) {
        size_t graver = 0;
        for (size_t k = 0; k < n_findings; k++) {
            graver += findings[k].grade >= PO_GRADE_ASK;
        }
        why = graver > 1 ? po_arena_printf(out->arena, "%s +%zu", findings[0].name, graver - 1) : findings[0].name;
    }
    why = why ? why : "";
    if (po_columns(why) > n) {
        po_table_cell(out, why, n, false);
    } else {
        po_text_add(out, why);
    }
    while (out->n && out->data[out->n - 1] == ' ') {
        out->data[--out->n] = 0;
    }
    po_text_add(out, "\n");
}

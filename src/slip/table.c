/* One line for each machine, then the sentence to read aloud. SPDX-License-Identifier: Apache-2.0
 *
 * The first obstacle is the gravest finding: findings come by gravity. Never wider than asked for. */
#include <stdio.h>
#include <string.h>

#include "slip/say.h"

enum { DEFAULT_COLUMNS = 80, NARROWEST = 60, WIDEST = 400 };

/* A cell of exactly n columns. */
static void cell(po_text *out, const char *text, size_t n, bool right)
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

static size_t min(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* A sentence over several lines of at most n columns. */
static void wrapped(po_text *out, const char *text, size_t n)
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

po_status po_slip_table(const po_proof *const *proofs, size_t n_proofs, const po_shop *shop,
                        const po_slip_options *options, po_arena *arena, po_document *ret, po_err *err)
{
    (void)shop;
    size_t columns = DEFAULT_COLUMNS;
    if (options && options->columns > 0) {
        columns = (size_t)(options->columns < NARROWEST ? NARROWEST
                           : options->columns > WIDEST  ? WIDEST
                                                        : options->columns);
    }
    bool colour = options && options->colour, clocks = false;
    size_t name_w = 7, end_w = 4;
    for (size_t i = 0; i < n_proofs; i++) {
        name_w = min(18, name_w > po_columns(po_say_clean(arena, proofs[i]->report->machine->name))
                             ? name_w
                             : po_columns(po_say_clean(arena, proofs[i]->report->machine->name)));
        if (proofs[i]->start_known) {
            size_t w = po_columns(po_say_clock(arena, proofs[i]->end, &proofs[i]->start));
            end_w = w > end_w ? w : end_w;
            clocks = true;
        }
    }
    po_text out;
    po_text_init(&out, arena);
    if (n_proofs) {
        const char *file = po_say_clean(arena, proofs[0]->file);
        size_t have = po_columns(file);
        if (have > columns) { /* the end of a path says more than its beginning */
            size_t drop = have - columns + 3;
            while (drop) {
                file++;
                drop -= ((unsigned char)*file & 0xC0) != 0x80;
            }
            po_text_add(&out, "...");
        }
        po_text_printf(&out, "%s\n", file);
    }
    cell(&out, "machine", name_w, false);
    po_text_add(&out, "  ");
    cell(&out, "", 3, false);
    po_text_add(&out, "  ");
    cell(&out, "metres", 7, true);
    po_text_add(&out, "  ");
    cell(&out, "h:mm", 6, true);
    po_text_add(&out, "  ");
    if (clocks) {
        cell(&out, "ends", end_w, false);
        po_text_add(&out, "  ");
    }
    po_text_add(&out, "why\n");
    size_t used = name_w + 2 + 3 + 2 + 7 + 2 + 6 + 2 + (clocks ? end_w + 2 : 0),
           left = columns - min(columns - 8, used);
    for (size_t i = 0; i < n_proofs; i++) {
        const po_proof *proof = proofs[i];
        const po_job_facts *f = &proof->report->facts;
        cell(&out, po_say_clean(arena, proof->report->machine->name), name_w, false);
        po_text_add(&out, "  ");
        if (colour) {
            po_text_add(&out, proof->verdict == PO_CLEAR ? "\033[1;32m"
                              : proof->verdict == PO_ASK ? "\033[1;33m"
                                                         : "\033[1;31m");
        }
        cell(&out, po_say_answer(proof->verdict), 3, false);
        po_text_add(&out, colour ? "\033[0m  " : "  ");
        cell(&out, po_say_metres(arena, f->filament_mm), 7, true);
        po_text_add(&out, "  ");
        cell(&out, po_say_hmm(arena, f->seconds), 6, true);
        po_text_add(&out, "  ");
        if (clocks) {
            cell(&out, proof->start_known ? po_say_clock(arena, proof->end, &proof->start) : "-", end_w, false);
            po_text_add(&out, "  ");
        }
        const char *why = "";
        if (proof->n_findings && proof->findings[0].grade >= PO_GRADE_ASK) {
            size_t graver = 0;
            for (size_t k = 0; k < proof->n_findings; k++) {
                graver += proof->findings[k].grade >= PO_GRADE_ASK;
            }
            why = graver > 1 ? po_arena_printf(arena, "%s +%zu", proof->findings[0].name, graver - 1)
                             : proof->findings[0].name;
        }
        why = why ? why : "";
        if (po_columns(why) > left) {
            cell(&out, why, left, false);
        } else {
            po_text_add(&out, why);
        }
        while (out.n && out.data[out.n - 1] == ' ') {
            out.data[--out.n] = 0;
        }
        po_text_add(&out, "\n");
    }
    /* The best machine's sentence: that is the one the member will hear. */
    const po_proof *best = NULL;
    for (size_t i = 0; i < n_proofs; i++) {
        best = !best || proofs[i]->verdict < best->verdict ? proofs[i] : best;
    }
    if (best && best->aloud && *best->aloud) {
        po_text_add(&out, "\n");
        wrapped(&out, po_say_clean(arena, best->aloud), columns);
    }
    if (out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the table");
    }
    *ret = (po_document){.data = out.data ? out.data : "", .n_bytes = out.n};
    return PO_OK;
}

/* Lines of G-code. SPDX-License-Identifier: Apache-2.0
 * Promises: every line is consumed; what a line says is within its bounds; nothing behind the end is looked at; a line
 * that is not whole is asked for again; the reader, which gets the bytes in blocks, gives the same lines. */
#include <math.h>
#include <string.h>

#include "fuzz.h"
#include "job/words.h"

static void check_line(const po_line *line, const char *p, const char *next)
{
    PROMISE(line->n_codes <= PO_LINE_CODES);
    for (int i = 0; i < line->n_codes; i++) {
        PROMISE(line->codes[i].letter == 'G' || line->codes[i].letter == 'M' || line->codes[i].letter == 'T');
        PROMISE(line->codes[i].tenth <= 9);
    }
    PROMISE((line->bare & ~line->has) == 0);
    PROMISE((line->has & (PO_LETTER('G') | PO_LETTER('M') | PO_LETTER('N'))) == 0 && line->has >> 26 == 0);
    for (int c = 0; c < 26; c++) {
        PROMISE(!(line->has & ~line->bare & (1u << c)) || isfinite(line->value[c]));
    }
    PROMISE((unsigned)line->damage <= PO_DAMAGE_LONG);
    PROMISE(line->damage == PO_DAMAGE_NONE || line->damage_column >= 1);
    PROMISE(line->n_word >= -1);
    if (line->text && p) {
        PROMISE(line->text >= p && line->n_text <= (size_t)(next - line->text) && line->text <= next);
        PROMISE(!memchr(line->text, '\n', line->n_text) && !memchr(line->text, '\r', line->n_text));
    }
}

static void same_line(const po_line *a, const po_line *b)
{
    PROMISE(a->has == b->has && a->bare == b->bare && a->n_codes == b->n_codes && a->damage == b->damage);
    PROMISE(a->n_word == b->n_word && a->damage_column == b->damage_column && a->unended == b->unended);
    for (int i = 0; i < a->n_codes; i++) {
        PROMISE(a->codes[i].letter == b->codes[i].letter && a->codes[i].number == b->codes[i].number &&
                a->codes[i].tenth == b->codes[i].tenth);
    }
    for (int c = 0; c < 26; c++) {
        PROMISE(!(a->has & ~a->bare & (1u << c)) || memcmp(&a->value[c], &b->value[c], sizeof(double)) == 0);
    }
    PROMISE(!a->text == !b->text && (!a->text || a->n_text == b->n_text));
    PROMISE(!a->text || memcmp(a->text, b->text, a->n_text) == 0);
}

/* The bytes in a block with other bytes behind them: what those are must not matter. */
static char *padded(const uint8_t *data, size_t n, int with)
{
    char *p = malloc(n + PO_LINE_PADDING);
    PROMISE(p);
    if (n) {
        memcpy(p, data, n);
    }
    memset(p + n, with, PO_LINE_PADDING);
    return p;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    char *blocks[2] = {padded(data, n, '7'), padded(data, n, '\n')};
    size_t skip = n >= 3 && memcmp(data, "\xef\xbb\xbf", 3) == 0 ? 3 : 0;
    po_source source = {.data = data, .n_bytes = n};
    po_input *input;
    po_line_reader *reader;
    const po_line *read;
    /* A job that looks packed is fuzz_input's business. */
    int packed = n >= 2 && (memcmp(data, "\x1f\x8b", 2) == 0 || (n >= 4 && memcmp(data + 1, "\xb5\x2f\xfd", 3) == 0) ||
                            (n >= 4 && memcmp(data + 1, "\x2a\x4d\x18", 3) == 0));
    PROMISE(po_input_open(&source, 0, false, &input, NULL) == PO_OK);
    PROMISE(po_line_reader_new(input, &reader, NULL) == PO_OK);
    size_t at = skip;
    uint64_t number = 0;
    po_line lines[2] = {{.number = 0}, {.number = 0}}, part = {.number = 0};
    const char *next;
    while ((next = po_line_parse(blocks[0] + at, blocks[0] + n, true, &lines[0])) != NULL) {
        size_t after = (size_t)(next - blocks[0]);
        PROMISE(after > at && after <= n);
        check_line(&lines[0], blocks[0] + at, next);
        const char *again = po_line_parse(blocks[1] + at, blocks[1] + n, true, &lines[1]);
        PROMISE(again && (size_t)(again - blocks[1]) == after);
        same_line(&lines[0], &lines[1]);
        /* With the end not yet known: the same line, or more is asked for. */
        const char *early = po_line_parse(blocks[1] + at, blocks[1] + n, false, &part);
        PROMISE(!early || (size_t)(early - blocks[1]) == after);
        if (early) {
            same_line(&lines[0], &part);
        }
        number++;
        if (!packed) {
            PROMISE(po_line_reader_next(reader, &read, NULL) == PO_OK && read);
            PROMISE(read->number == number);
            check_line(read, NULL, NULL);
            same_line(&lines[0], read);
        }
        at = after;
    }
    PROMISE(at >= n);
    if (!packed) {
        PROMISE(po_line_reader_next(reader, &read, NULL) == PO_OK && !read);
    }
    po_line_reader_free(reader);
    po_input_close(input);
    free(blocks[0]);
    free(blocks[1]);
    return 0;
}

/* Lines of an input. SPDX-License-Identifier: Apache-2.0
 *
 * One buffer, read block by block behind the part of a line that is left over:
 *
 *     |left|......... block .........|padding|        nearly always
 *     |one line, too long ... |.. block ..|padding|   then the line is squeezed until its end turns up
 *
 * Squeezing takes out what can't matter: the tail of a ";" comment, the inside of "( )" comments, everything beyond
 * PO_LINE_MOST. So a line of any length passes in bounded memory. */
#include <stdlib.h>
#include <string.h>

#include "job/words.h"
#include "job/words_plain.h"

/* Block: large against the cost of a read, small against a second-level cache. What is left of a line is at most
 * SQUEEZE_FROM + 3 bytes before a block is read behind it: see squeeze; one more for a CR. */
enum { BLOCK = 256 << 10, SQUEEZE_FROM = 2 * PO_LINE_MOST, ROOM = SQUEEZE_FROM + 64 + BLOCK };

struct po_line_reader {
    po_input *input;
    char *p, *end; /* not yet parsed */
    uint64_t number;
    bool begun, eof;
    po_line line;
    char buffer[ROOM + PO_LINE_PADDING];
};

po_status po_line_reader_new(po_input *input, po_line_reader **ret, po_err *err)
{
    po_line_reader *reader = malloc(sizeof *reader);
    if (!reader) {
        return po_fail(err, PO_E_NOMEM, "no memory for a line buffer");
    }
    memset(reader, 0, offsetof(po_line_reader, buffer));
    reader->input = input;
    reader->p = reader->end = reader->buffer;
    *ret = reader;
    return PO_OK;
}

void po_line_reader_free(po_line_reader *reader)
{
    free(reader);
}

/* Put two bytes in the place of a comment's inside, so that the XOR over the line stays: its sum may be checked. */
static char *stand_in(char *to, const char *from, const char *end)
{
    uint8_t x = 0;
    for (; from < end; from++) {
        x ^= (uint8_t)*from;
    }
    /* Neither byte may end the comment or the line; of these two pairs at most one holds such a byte. */
    uint8_t first = 0x80, second = x ^ 0x80;
    if (second == ')' || second == '\n' || second == '\r') {
        first = 0xc0;
        second = x ^ 0xc0;
    }
    *to++ = (char)first;
    *to++ = (char)second;
    return to;
}

/* Shorten a partial line [p, end) that holds no line end; returns its new end, which is at most 2 * PO_LINE_MOST + 2
 * bytes from p: no more than PO_LINE_MOST + 1 outside comments (their parentheses count), and two in each comment.
 * *ret_rest_matters: false when nothing that follows on the line can change what it means. */
static char *squeeze(char *p, char *end, bool *ret_rest_matters)
{
    po_line line;
    memset(end, 0, PO_LINE_PADDING);
    *ret_rest_matters = false;
    if (po_line_parse_any(p, end, true, &line) && line.text) {
        /* Text knows no comments; one byte beyond the limit is enough to be found too long. */
        char *last = p + (line.text - p) + PO_LINE_MOST + 1;
        *ret_rest_matters = last > end;
        return last < end ? last : end;
    }
    char *to = p;
    size_t outside = 0;
    while (p < end) {
        const char c = *to++ = *p++;
        if (c == ';' || ++outside > PO_LINE_MOST) {
            return to;
        }
        if (c == '(') {
            char *close = memchr(p, ')', (size_t)(end - p)), *stop = close ? close : end;
            if (stop - p > 2) {
                to = stand_in(to, p, stop);
            } else {
                memmove(to, p, (size_t)(stop - p));
                to += stop - p;
            }
            p = stop;
        }
    }
    *ret_rest_matters = true;
    return to;
}

/* One block more behind end; sets eof when there is none. */
static po_status read_block(po_line_reader *reader, po_err *err)
{
    size_t n = 0;
    po_status status = po_input_read(reader->input, reader->end, BLOCK, &n, err);
    if (status != PO_OK) {
        return status;
    }
    if (!reader->begun) {
        reader->begun = true;
        if (n >= 3 && memcmp(reader->end, "\xef\xbb\xbf", 3) == 0) { /* byte order mark */
            reader->p += 3;
        }
    }
    reader->eof = n == 0;
    reader->end += n;
    memset(reader->end, 0, PO_LINE_PADDING);
    return PO_OK;
}

/* Whether a line's end that needs no further byte stands in [from, end). */
static bool has_line_end(const char *from, const char *end)
{
    const char *stop = po_line_stop(from, end);
    return stop < end && (*stop == '\n' || stop + 1 < end);
}

static po_status fill(po_line_reader *reader, po_err *err)
{
    size_t left = (size_t)(reader->end - reader->p);
    if (has_line_end(reader->p, reader->end)) {
        return PO_OK;
    }
    memmove(reader->buffer, reader->p, left);
    reader->p = reader->buffer;
    reader->end = reader->buffer + left;
    memset(reader->end, 0, PO_LINE_PADDING);
    bool rest_matters = true;
    while (!reader->eof) {
        bool cr = reader->end > reader->p && reader->end[-1] == '\r';
        char *block = reader->end - cr;
        po_status status = read_block(reader, err);
        if (status != PO_OK) {
            return status;
        }
        if (!rest_matters) {
            const char *stop = po_line_stop(block, reader->end);
            memmove(block, stop, (size_t)(reader->end - stop));
            reader->end -= stop - block;
            memset(reader->end, 0, PO_LINE_PADDING);
        }
        if (has_line_end(block, reader->end)) {
            return PO_OK;
        }
        if (reader->end - reader->p > SQUEEZE_FROM) {
            cr = reader->end[-1] == '\r';
            reader->end = squeeze(reader->p, reader->end - cr, &rest_matters);
            if (cr) {
                *reader->end++ = '\r';
            }
            memset(reader->end, 0, PO_LINE_PADDING);
        }
    }
    return PO_OK;
}

po_status po_line_reader_fill(po_line_reader *reader, const char *p, const char **ret_p, const char **ret_end,
                              bool *ret_eof, po_err *err)
{
    reader->p = p ? reader->buffer + (p - reader->buffer) : reader->end;
    po_status status = fill(reader, err);
    if (status == PO_OK) {
        *ret_p = reader->p;
        *ret_end = reader->end;
        *ret_eof = reader->eof;
    }
    return status;
}

po_status po_line_reader_next(po_line_reader *reader, const po_line **ret_line, po_err *err)
{
    const char *next;
    while (!(next = po_line_parse(reader->p, reader->end, reader->eof, &reader->line))) {
        if (reader->eof) {
            *ret_line = NULL;
            return PO_OK;
        }
        po_status status = fill(reader, err);
        if (status != PO_OK) {
            return status;
        }
    }
    reader->p += next - reader->p;
    reader->line.number = ++reader->number;
    *ret_line = &reader->line;
    return PO_OK;
}

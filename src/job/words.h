/* Bytes to words: one line of a G-code file at a time. SPDX-License-Identifier: Apache-2.0
 *
 * Grammar: docs/measures.md, "Interpreter" (RS274/NGC, NISTIR 6556 section 3.3, as filament printers use it). Nothing
 * is taken from comments. */
#ifndef PO_JOB_WORDS_H
#define PO_JOB_WORDS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/input.h"

enum { PO_LINE_CODES = 8 };      /* G, M and T words on one line; more is damage */
enum { PO_LINE_PADDING = 64 };   /* readable bytes that must follow the end of a buffer */
enum { PO_LINE_MOST = 1 << 20 }; /* a longer line (comments apart) is damage */

#define PO_LETTER(c) (1u << ((c) - 'A'))

typedef struct po_code {
    char letter;    /* 'G', 'M' or 'T' */
    uint8_t tenth;  /* G92.1 -> 1 */
    int32_t number; /* T-1 -> -1; T alone: INT32_MIN */
} po_code;

typedef enum po_damage {
    PO_DAMAGE_NONE = 0,
    PO_DAMAGE_NUMBER,   /* a number that is none: "X1.2.3", "X--1", "Ynan", "X1e5" (the letter E then stands twice) */
    PO_DAMAGE_TWICE,    /* a letter other than G and M twice in one line */
    PO_DAMAGE_NUL,      /* a NUL byte outside comments */
    PO_DAMAGE_CHECKSUM, /* "*" sum that does not agree, or is no number 0..255 */
    PO_DAMAGE_BYTE,     /* a byte that can start no word */
    PO_DAMAGE_COMMENT,  /* "(" that does not close on its line */
    PO_DAMAGE_CODE,     /* a G, M or T number that is none, or more codes than a line may hold */
    PO_DAMAGE_LONG,     /* longer than PO_LINE_MOST */
} po_damage;

/* One line. All but number and value are set for each line: value[c] is valid where has says so and bare does not. */
typedef struct po_line {
    uint64_t number;              /* 1-based line of the file */
    uint32_t has;                 /* PO_LETTER bits of the letters that stand on it; G, M, T and N are not among them */
    uint32_t bare;                /* those of them without a number: flags, as in "G28 X" */
    double value[26];             /* nearest double to the decimal number as written, as by strtod */
    po_code codes[PO_LINE_CODES]; /* G, M and T words in the order written; a "T" with argument of M104 and the like
                                   * (any line with a G or M word before it) is in has/value instead */
    uint8_t n_codes;
    bool unended; /* the last line of the file, without an end */
    po_damage damage;
    uint32_t damage_column; /* 1-based */
    int64_t n_word;         /* value of N, -1 = none */
    const char *text;       /* rest of the line of a text word (M117, M118, M0/M1 with text, M16, M20..M34, M36, M37,
                               * M98, M928 ...), without comment handling; NULL = none; borrowed until the next line */
    size_t n_text;
} po_line;

/* Parse one line that starts at p. Damage: the first of the line counts and the words before it are kept; column: the
 * letter of a word that is wrong, the byte that can't stand there, the "*", the "(" or the first byte too many. end:
 * end of the buffer, with PO_LINE_PADDING readable bytes behind it; at_eof: no more bytes follow. Ends at LF, CR LF or
 * CR. A byte order mark at the start of the file is the caller's to skip. Returns where the next line starts, or NULL
 * when the line's end is not in the buffer (then call again with more; at the end of the file: p == end, no line is
 * left). Nothing depends on the bytes behind end. Numbers that a double can't hold (beyond 1.8e308) are damage, so
 * every value is finite. line->number is left alone. */
const char *po_line_parse(const char *p, const char *end, bool at_eof, po_line *line);

/* The same for a run of lines, faster by a third: lines[0], [1] ... up to `most` (32 stay in the first-level cache);
 * their number goes to *ret_n, fewer than `most` only when the next line's end is not in the buffer. Returns where the
 * next line starts. Texts are borrowed until the buffer changes. */
const char *po_line_parse_run(const char *p, const char *end, bool at_eof, po_line *lines, size_t most, size_t *ret_n);

/* Lines of an input, with its own buffer. */
typedef struct po_line_reader po_line_reader;
po_status po_line_reader_new(po_input *input, po_line_reader **ret, po_err *err) PO_MUST_USE; /* input is borrowed */
void po_line_reader_free(po_line_reader *reader);
/* *ret_line NULL at the end of the file; else borrowed until the next call. A byte order mark is dropped; a last line
 * of no bytes is no line. Errors are the input's. */
po_status po_line_reader_next(po_line_reader *reader, const po_line **ret_line, po_err *err) PO_MUST_USE;

/* The same block by block, for a caller that runs po_line_parse or po_line_parse_run itself and counts the lines; not
 * to be mixed with po_line_reader_next. p: the first byte not yet parsed (NULL at the first call): it and what follows
 * move to the front, more is read behind them. [*ret_p, *ret_end) then holds at least one whole line, with
 * PO_LINE_PADDING readable bytes behind, or *ret_eof is true and nothing follows. Of lines longer than PO_LINE_MOST
 * only so much is handed out that po_line_parse sees the same words and damage (columns behind a comment that was cut
 * are too small). Errors are the input's. Use:
 *     do {
 *         if ((status = po_line_reader_fill(reader, p, &p, &end, &eof, err)) != PO_OK) ...
 *         do {
 *             p = po_line_parse_run(p, end, eof, lines, 32, &n);
 *             for (size_t i = 0; i < n; i++) ... lines[i] ...
 *         } while (n == 32);
 *     } while (!eof); */
po_status po_line_reader_fill(po_line_reader *reader, const char *p, const char **ret_p, const char **ret_end,
                              bool *ret_eof, po_err *err) PO_MUST_USE;

#endif

/* Bytes to words: the careful way through one line. SPDX-License-Identifier: Apache-2.0
 *
 * Grammar: docs/measures.md, "Interpreter". It rests on RS274/NGC (T. Kramer, F. Proctor, E. Messina, "The NIST
 * RS274NGC Interpreter - Version 3", NISTIR 6556, 2000, section 3.3) as filament printers use it:
 *
 *     line     = [blanks] ["/"] { word | comment | blanks } ["*" sum] [";" anything]
 *     comment  = "(" anything but ")" ")"
 *     word     = letter [number]        case does not matter; a letter that is followed by no number is a flag
 *     number   = ["+" | "-"] digits ["." [digits]] | ["+" | "-"] "." digits          no blanks inside, no exponent
 *
 * Kept from NISTIR 6556: case (3.3), "/" and "%" lines (3.1, 3.3), comments do not nest and close on their line
 * (3.3.4), whole numbers within 0.0001 (3.3.2), one word a letter but for G and M (3.3.5). Not kept: blanks inside
 * numbers, 256 characters a line, expressions and parameters. Common practice, no published source: the rest of the
 * line of some M words is text; ";" comments; sums.
 *
 * The parser walks the line once, left to right, and stops at the first damage: the words before it are kept. */
#include "job/words.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "job/words_plain.h"

#if defined(__SSE2__)
#include <emmintrin.h>
#endif

typedef struct scan {
    const char *start, *end; /* the line without its end */
    po_line *line;
    uint32_t seen;    /* letters so far, but G and M */
    bool any;         /* something stands before: "/" and "%" are no more allowed */
    bool code;        /* a G or M word stands before: T is an argument now */
    bool may_be_text; /* M0 and the like: what does not read as a word is text */
} scan;

static inline bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static inline bool is_letter(char c)
{
    return (uint8_t)((c & ~0x20) - 'A') < 26;
}

static inline bool begins_number(char c)
{
    return (uint8_t)(c - '0') < 10 || c == '-' || c == '+' || c == '.';
}

static const char *skip_blanks(const char *p, const char *end)
{
    while (p < end && is_blank(*p)) {
        p++;
    }
    return p;
}

/* Marks the damage and ends the scan. */
static const char *damaged(const scan *s, po_damage damage, const char *at)
{
    s->line->damage = damage;
    s->line->damage_column = (uint32_t)(at - s->start) + 1;
    return NULL;
}

/* The rest of the line of these is text. Common practice, no published source: the words around files on a card and
 * messages to whoever stands by. */
static bool takes_text(int32_t m)
{
    return m == 16 || (m >= 20 && m <= 34) || m == 36 || m == 37 || m == 98 || m == 117 || m == 118 || m == 928;
}

/* These take words, text or both: pauses with a message, names of objects, questions. Same source. */
static bool may_take_text(int32_t m)
{
    return m <= 1 || m == 291 || m == 486;
}

/* XOR of all bytes before the "*". The handbook (4.3) counts from the N on, measures.md from the line's first byte:
 * that differs only where blanks stand before the N, and then either sum will do. */
static bool sum_agrees(const scan *s, const char *star, unsigned sum)
{
    uint8_t x = 0, blanks = 0;
    for (const char *p = s->start; p < star; p++) {
        x ^= (uint8_t)*p;
    }
    for (const char *p = s->start; p < star && is_blank(*p); p++) {
        blanks ^= (uint8_t)*p;
    }
    return x == sum || (x ^ blanks) == sum;
}

/* Digits at p as a number of at most 255; -1 when it is none. */
static int read_sum(const char *p, const char *end, const char **ret_p)
{
    int sum = 0;
    const char *first = p;
    for (; p < end && (uint8_t)(*p - '0') < 10; p++) {
        sum = sum * 10 + (*p - '0');
        if (sum > 255) {
            return -1;
        }
    }
    *ret_p = p;
    return p > first ? sum : -1;
}

static const char *take_sum(scan *s, const char *star)
{
    const char *p = skip_blanks(star + 1, s->end);
    int sum = read_sum(p, s->end, &p);
    if (sum < 0) {
        return damaged(s, PO_DAMAGE_CHECKSUM, star);
    }
    p = skip_blanks(p, s->end);
    if ((p < s->end && *p != ';') || !sum_agrees(s, star, (unsigned)sum)) {
        return damaged(s, PO_DAMAGE_CHECKSUM, star);
    }
    return s->end;
}

/* The rest of the line, from p on, is text. */
static const char *take_text(scan *s, const char *p)
{
    const char *end = s->end;
    p = skip_blanks(p, end);
    const char *nul = memchr(p, 0, (size_t)(end - p));
    if (nul) {
        return damaged(s, PO_DAMAGE_NUL, nul);
    }
    if (end - p > PO_LINE_MOST) {
        s->line->text = p;
        s->line->n_text = PO_LINE_MOST;
        return damaged(s, PO_DAMAGE_LONG, p + PO_LINE_MOST);
    }
    while (end > p && is_blank(end[-1])) {
        end--;
    }
    /* A "*" and digits at the end: a sum on a numbered line; else it may as well belong to the text. */
    const char *star = end;
    while (star > p && (uint8_t)(star[-1] - '0') < 10) {
        star--;
    }
    if (star > p && star < end && *--star == '*') {
        const char *behind;
        int sum = read_sum(star + 1, end, &behind);
        bool agrees = sum >= 0 && sum_agrees(s, star, (unsigned)sum);
        if (!agrees && s->line->n_word >= 0) {
            return damaged(s, PO_DAMAGE_CHECKSUM, star);
        }
        if (agrees) {
            end = star;
            while (end > p && is_blank(end[-1])) {
                end--;
            }
        }
    }
    if (end > p) {
        s->line->text = p;
        s->line->n_text = (size_t)(end - p);
    }
    return s->end;
}

/* A whole number, or, for tenths 10, one decimal: v * tenths within 0.0001 of what it is meant to be (NISTIR 6556,
 * 3.3.2). ret: the value times tenths. */
static bool whole(double v, int tenths, double *ret)
{
    *ret = nearbyint(v * tenths);
    return fabs(v * tenths - *ret) <= 1e-4 * tenths && fabs(*ret) < (double)INT32_MAX;
}

static const char *take_code(scan *s, char letter, const char *at, double value, const char *p)
{
    po_line *line = s->line;
    double n = 0;
    int tenths = letter == 'T' ? 1 : 10;
    if (!p) { /* no number */
        if (letter != 'T') {
            return damaged(s, PO_DAMAGE_CODE, at);
        }
    } else if (!whole(value, tenths, &n) || (letter != 'T' && n < 0)) {
        return damaged(s, PO_DAMAGE_CODE, at);
    }
    if (line->n_codes == PO_LINE_CODES) {
        return damaged(s, PO_DAMAGE_CODE, at);
    }
    po_code *code = &line->codes[line->n_codes++];
    *code = (po_code){.letter = letter};
    if (letter == 'T') {
        code->number = p ? (int32_t)n : INT32_MIN;
        return p ? p : at + 1;
    }
    s->code = true;
    code->number = (int32_t)n / 10;
    code->tenth = (uint8_t)((int32_t)n % 10);
    if (letter == 'M' && code->tenth == 0) {
        if (takes_text(code->number)) {
            /* A file word with nothing but a comment has no text; of a message everything is text. */
            const char *rest = skip_blanks(p, s->end);
            bool comment = rest < s->end && *rest == ';' && code->number != 117 && code->number != 118;
            return comment ? s->end : take_text(s, p);
        }
        s->may_be_text |= may_take_text(code->number);
    }
    return p;
}

/* Whether a letter and a number stand at p that end as a word ends: "Pull 2 bars" is none. */
static bool reads_as_word(const char *p, const char *end)
{
    double value;
    if (p == end || !is_letter(*p)) {
        return false;
    }
    p = po_number_read(p + 1, end, &value);
    return p && (p == end || is_blank(*p) || is_letter(*p) || *p == ';' || *p == '(' || *p == '*');
}

static const char *take_word(scan *s, const char *at)
{
    po_line *line = s->line;
    const char letter = (char)(*at & ~0x20);
    const uint32_t bit = PO_LETTER(letter);
    const char *p = NULL;
    double value = 0;
    const bool is_code = letter == 'G' || letter == 'M' || (letter == 'T' && !s->code);
    if (letter != 'G' && letter != 'M') {
        if (s->seen & bit) {
            return damaged(s, PO_DAMAGE_TWICE, at);
        }
        s->seen |= bit;
    }
    /* "S 200" stands in endings written by hand: a blank after an argument's letter is let pass (3.3) */
    const char *digits = is_code || letter == 'N' ? at + 1 : skip_blanks(at + 1, s->end);
    if (digits < s->end && begins_number(*digits)) {
        p = po_number_read(digits, s->end, &value);
        if (!p || !isfinite(value) || (p < s->end && (*p == '.' || *p == '-' || *p == '+' || *p == ','))) {
            return damaged(s, is_code ? PO_DAMAGE_CODE : PO_DAMAGE_NUMBER, at);
        }
    }
    if (is_code) {
        return take_code(s, letter, at, value, p);
    }
    if (letter == 'N') {
        /* 3.3.1: a whole number without sign; more digits than five are common in long files. 2^53: beyond it a double
         * no longer tells neighbours apart. */
        if (!p || value < 0 || value > 0x1p53 || fabs(value - nearbyint(value)) > 1e-4) {
            return damaged(s, PO_DAMAGE_NUMBER, at);
        }
        line->n_word = (int64_t)nearbyint(value);
        return p;
    }
    line->has |= bit;
    if (!p) {
        line->bare |= bit;
        return at + 1;
    }
    line->value[letter - 'A'] = value;
    return p;
}

/* "%" alone on a line marks begin and end of a program (3.1) and says nothing else. */
static const char *take_percent(scan *s, const char *at)
{
    const char *p = skip_blanks(at + 1, s->end);
    if (s->any || (p < s->end && *p != ';')) {
        return damaged(s, PO_DAMAGE_BYTE, at);
    }
    return s->end;
}

static void scan_words(scan *s)
{
    const char *p = s->start;
    while (p && p < s->end) {
        const char c = *p;
        if (is_blank(c)) {
            p++;
            continue;
        }
        if (c == ';') {
            return;
        }
        if (c == '(') {
            const char *close = memchr(p, ')', (size_t)(s->end - p));
            p = close ? close + 1 : damaged(s, PO_DAMAGE_COMMENT, p);
            continue;
        }
        if (c == '*') {
            /* In a message without line number a "*" is more likely ornament than sum. */
            p = s->may_be_text && s->line->n_word < 0 ? take_text(s, p) : take_sum(s, p);
            continue;
        }
        if (s->may_be_text && c != 0 && !reads_as_word(p, s->end)) {
            p = take_text(s, p);
        } else if (is_letter(c)) {
            p = take_word(s, p);
        } else if (c == '%') {
            p = take_percent(s, p);
        } else if (c == '/' && !s->any) {
            p++; /* optional line: the machines here have no switch to leave it out */
        } else {
            p = damaged(s, c == 0 ? PO_DAMAGE_NUL : PO_DAMAGE_BYTE, p);
        }
        s->any = true;
    }
}

/* The first byte beyond PO_LINE_MOST, not counting what stands inside comments; end when there is none. */
static const char *too_far(const char *p, const char *end)
{
    size_t left = PO_LINE_MOST;
    for (; p < end && *p != ';'; p++) {
        if (left-- == 0) {
            return p;
        }
        if (*p == '(') {
            const char *close = memchr(p, ')', (size_t)(end - p));
            if (!close) {
                return end;
            }
            p = close - 1;
        }
    }
    return end;
}

const char *po_line_stop(const char *p, const char *end)
{
#if defined(__SSE2__)
    const __m128i lf = _mm_set1_epi8('\n'), cr = _mm_set1_epi8('\r');
    while (p < end) {
        __m128i a = _mm_loadu_si128((const __m128i *)p), b = _mm_loadu_si128((const __m128i *)(p + 16));
        unsigned low = (unsigned)_mm_movemask_epi8(_mm_or_si128(_mm_cmpeq_epi8(a, lf), _mm_cmpeq_epi8(a, cr)));
        unsigned high = (unsigned)_mm_movemask_epi8(_mm_or_si128(_mm_cmpeq_epi8(b, lf), _mm_cmpeq_epi8(b, cr)));
        unsigned both = low | high << 16;
        if (both) {
            p += __builtin_ctz(both);
            return p < end ? p : end;
        }
        p += 32;
    }
    return end;
#else
    while (p < end && *p != '\n' && *p != '\r') {
        p++;
    }
    return p;
#endif
}

const char *po_line_parse_any(const char *p, const char *end, bool at_eof, po_line *line)
{
    const char *stop = po_line_stop(p, end), *next;
    bool unended = false;
    if (stop == end) {
        if (!at_eof || p == end) {
            return NULL;
        }
        unended = true;
        next = end;
    } else if (*stop == '\n') {
        next = stop + 1;
    } else if (stop + 1 < end) {
        next = stop + (stop[1] == '\n' ? 2 : 1);
    } else if (at_eof) {
        next = end;
    } else {
        return NULL; /* a CR: whether a LF belongs to it is not known yet */
    }
    line->has = line->bare = 0;
    line->n_codes = 0;
    line->unended = unended;
    line->damage = PO_DAMAGE_NONE;
    line->damage_column = 0;
    line->n_word = -1;
    line->text = NULL;
    line->n_text = 0;
    const char *far = stop - p > PO_LINE_MOST ? too_far(p, stop) : stop;
    scan s = {.start = p, .end = far, .line = line};
    scan_words(&s);
    if (far < stop && !line->damage) {
        damaged(&s, PO_DAMAGE_LONG, far);
        line->text = NULL;
        line->n_text = 0;
    }
    return next;
}

const char *po_line_parse(const char *p, const char *end, bool at_eof, po_line *line)
{
    if (*p == 'G' && po_line_plain_works()) {
        size_t n;
        const char *next = po_line_parse_plain(p, end, line, 1, &n);
        if (n) {
            return next;
        }
    }
    return po_line_parse_any(p, end, at_eof, line);
}

const char *po_line_parse_run(const char *p, const char *end, bool at_eof, po_line *lines, size_t most, size_t *ret_n)
{
    size_t n = 0, n_plain;
    const bool plain_works = po_line_plain_works();
    while (n < most) {
        if (plain_works) {
            p = po_line_parse_plain(p, end, lines + n, most - n, &n_plain);
            n += n_plain;
            if (n == most) {
                break;
            }
        }
        const char *next = po_line_parse_any(p, end, at_eof, lines + n);
        if (!next) {
            break;
        }
        n++;
        p = next;
    }
    *ret_n = n;
    return p;
}

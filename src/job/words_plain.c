/* The quick way through plain lines. SPDX-License-Identifier: Apache-2.0
 *
 * One look at 64 bytes yields a bit mask of the bytes that can end a word and one of the dots; words are walked along
 * the bits, and each number is converted without a branch on its length or sign. What is no digit after all shows in a
 * running maximum over the digits of the line. Methods: bit masks from vector compares as in G. Langdale, D. Lemire,
 * "Parsing gigabytes of JSON per second", VLDB Journal 28, 2019, section 3; digits to integers by pairwise
 * multiply-add as in W. Mula, "SIMD-ized conversion of strings to integers", 2014. The quotient mantissa / 10^k is
 * correctly rounded: see base/number.c.
 *
 *     G 1   X 1 2 . 5   Y - 3 \n G
 *     . . 1 . . . . . 1 . . . 1  .     ends: blanks, controls, ";", bytes above 0x7f
 *     . . 1 . . . 1 . 1 . . . 1  .     the same and the dots */
#include "job/words_plain.h"

#if defined(__x86_64__)

#include <immintrin.h>
#include <string.h>

bool po_line_plain_works(void)
{
    return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi") && __builtin_cpu_supports("bmi2");
}

/* How to move the digits of a number of n bytes, its dot at `dot` (dot == n: none), to the right end of 16 bytes,
 * leaving the dot out; 0x80 writes a zero. A dot without digits stays, and is found out. */
#define FIRST(n, dot) (16 - ((n) - ((dot) < (n) && (n) > 1)))
#define AT(n, dot, j) ((j) < FIRST(n, dot) ? 0x80 : (j)-FIRST(n, dot) + ((n) > 1 && (j)-FIRST(n, dot) >= (dot)))
#define ROW(n, d)                                                                                                      \
    {                                                                                                                  \
        AT(n, d, 0), AT(n, d, 1), AT(n, d, 2), AT(n, d, 3), AT(n, d, 4), AT(n, d, 5), AT(n, d, 6), AT(n, d, 7),        \
            AT(n, d, 8), AT(n, d, 9), AT(n, d, 10), AT(n, d, 11), AT(n, d, 12), AT(n, d, 13), AT(n, d, 14),            \
            AT(n, d, 15)                                                                                               \
    }
#define ROWS(n)                                                                                                        \
    {                                                                                                                  \
        ROW(n, 0), ROW(n, 1), ROW(n, 2), ROW(n, 3), ROW(n, 4), ROW(n, 5), ROW(n, 6), ROW(n, 7), ROW(n, 8), ROW(n, 9),  \
            ROW(n, 10), ROW(n, 11), ROW(n, 12), ROW(n, 13), ROW(n, 14), ROW(n, 15)                                     \
    }
enum { MOST_BYTES = 15 }; /* of a number; so at most 15 digits: below 2^53 */
static const uint8_t digits_right[MOST_BYTES + 1][16][16]
    __attribute__((aligned(64))) = {ROWS(0), ROWS(1), ROWS(2),  ROWS(3),  ROWS(4),  ROWS(5),  ROWS(6),  ROWS(7),
                                    ROWS(8), ROWS(9), ROWS(10), ROWS(11), ROWS(12), ROWS(13), ROWS(14), ROWS(15)};

/* Divisor by the number of bytes from the dot on: none, ".", ".1", ".12" ... */
static const double divisors[MOST_BYTES + 1] = {1e0, 1e0, 1e1, 1e2,  1e3,  1e4,  1e5,  1e6,
                                                1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14};

/* Letters by the lower six bits of their byte, A = 1: a one where no argument's letter can stand. Of the bytes that
 * share bits with A to Z all others end words, so that the number before them is too short. */
#define LETTER_BIT(c) (UINT64_C(1) << ((c)&63))
static const uint64_t no_letter = ~UINT64_C(0x07fffffe) | LETTER_BIT('G') | LETTER_BIT('M') | LETTER_BIT('N');

#define QUICK __attribute__((target("avx2,bmi,bmi2")))

QUICK static inline uint64_t bits(__m256i low, __m256i high)
{
    return (uint32_t)_mm256_movemask_epi8(low) | (uint64_t)(uint32_t)_mm256_movemask_epi8(high) << 32;
}

/* First LF or CR in [p, end), or end. */
QUICK static const char *line_stop(const char *p, const char *end)
{
    for (; p < end; p += 32) {
        const __m256i v = _mm256_loadu_si256((const __m256i *)p);
        const uint32_t stops = (uint32_t)_mm256_movemask_epi8(_mm256_or_si256(
            _mm256_cmpeq_epi8(v, _mm256_set1_epi8('\n')), _mm256_cmpeq_epi8(v, _mm256_set1_epi8('\r'))));
        if (stops) {
            p += _tzcnt_u32(stops);
            return p < end ? p : end;
        }
    }
    return end;
}

/* What a compiler can make from nothing it likes to make anew for each line, at three instructions a piece: a value
 * that it cannot see through stays in its register. */
#define KEPT(v) __asm__("" : "+x"(v))

typedef struct constants {
    __m256i behind_blank, semicolon, dot;
    __m128i less_zero, tens, hundreds, ten_thousands;
    __m128d halves;
} constants;

QUICK static inline __m256i ends_word(__m256i v, const constants *c)
{
    /* Signed, so that bytes above 0x7f are ends as well. */
    return _mm256_or_si256(_mm256_cmpgt_epi8(c->behind_blank, v), _mm256_cmpeq_epi8(v, c->semicolon));
}

/* n bytes of digits and at most one dot at p (dot == n: none); reads 16 bytes. Bytes above 9 in *top tell afterwards
 * whether all were digits. */
QUICK static inline double number(const char *p, uint64_t n, uint64_t dot, __m128i *top, const constants *c)
{
    __m128i v = _mm_add_epi8(_mm_loadu_si128((const __m128i *)p), c->less_zero);
    v = _mm_shuffle_epi8(v, _mm_load_si128((const __m128i *)digits_right[n][dot]));
    *top = _mm_max_epu8(*top, v);
    v = _mm_maddubs_epi16(v, c->tens);
    v = _mm_madd_epi16(v, c->hundreds);
    v = _mm_packus_epi32(v, v);
    v = _mm_madd_epi16(v, c->ten_thousands); /* now two halves of up to eight digits */
    __m128d halves = _mm_mul_pd(_mm_cvtepi32_pd(v), c->halves);
    __m128d mantissa = _mm_add_sd(halves, _mm_unpackhi_pd(halves, halves)); /* exact: below 10^15 */
    return _mm_cvtsd_f64(mantissa) / divisors[n - dot];
}

QUICK const char *po_line_parse_plain(const char *p, const char *end, po_line *lines, size_t most, size_t *ret_n)
{
    static const double signs[2][2] = {{0.0, 0.0}, {-0.0, 0.0}};
    constants c = {
        .behind_blank = _mm256_set1_epi8(' ' + 1),
        .semicolon = _mm256_set1_epi8(';'),
        .dot = _mm256_set1_epi8('.'),
        .less_zero = _mm_set1_epi8(-'0'),
        .tens = _mm_set1_epi16(0x010a), /* by bytes: 10, 1 */
        .hundreds = _mm_set1_epi32(100 | 1 << 16),
        .ten_thousands = _mm_set1_epi32(10000 | 1 << 16),
        .halves = _mm_set_pd(1, 1e8),
    };
    KEPT(c.behind_blank);
    KEPT(c.semicolon);
    KEPT(c.dot);
    KEPT(c.less_zero);
    po_line *line = lines;
    const po_line *const last = lines + most;
    for (; line < last && p < end; line++) {
        uint32_t begin;
        memcpy(&begin, p, sizeof begin);
        begin = (begin & 0xffffff) - ('G' | '0' << 8 | ' ' << 16);
        if (begin & ~UINT32_C(0x300)) { /* not "G0 " to "G3 " */
            break;
        }
        const __m256i low = _mm256_loadu_si256((const __m256i *)p);
        const __m256i high = _mm256_loadu_si256((const __m256i *)(p + 32));
        uint64_t ends = bits(ends_word(low, &c), ends_word(high, &c));
        const uint64_t ends_and_dots = ends | bits(_mm256_cmpeq_epi8(low, c.dot), _mm256_cmpeq_epi8(high, c.dot)) |
                                       UINT64_C(1) << 63; /* keeps n_whole below 16 where a word runs out of sight */
        ends = _blsr_u64(ends);
        uint64_t at = 2; /* the blank before the word */
        uint64_t seen = no_letter;
        __m128i top = _mm_setzero_si128();
        do {
            const uint64_t stop = _tzcnt_u64(ends); /* 64: out of sight */
            ends = _blsr_u64(ends);
            const uint64_t letter = (uint8_t)p[at + 1];
            const uint64_t minus = p[at + 2] == '-';
            const uint64_t from = at + 2 + minus;
            const uint64_t n = stop - from;
            const uint64_t n_whole = _tzcnt_u64(ends_and_dots >> (from & 63));
            if (n - 1 >= MOST_BYTES || (seen >> (letter & 63) & 1)) {
                if (stop == at + 1) { /* one blank before the end, as in "G1 X1 ; ..." */
                    at = stop;
                    break;
                }
                goto other;
            }
            seen |= UINT64_C(1) << (letter & 63);
            const double value = number(p + from, n, n_whole, &top, &c);
            const __m128d sign = _mm_loadu_pd(signs[minus]);
            _mm_store_sd(&line->value[letter - 'A'], _mm_xor_pd(_mm_set_sd(value), sign));
            at = stop;
        } while (p[at] == ' ');
        const char *next = p + at;
        if (next >= end || at > 63 || !_mm_testz_si128(_mm_subs_epu8(top, _mm_set1_epi8(9)), _mm_set1_epi8(-1))) {
            break;
        }
        if (*next == '\n') {
            next++;
        } else {
            if (*next == ';') {
                next = line_stop(next, end);
                if (next == end) {
                    break;
                }
            }
            if (*next == '\n') {
                next++;
            } else if (*next == '\r' && next + 1 < end) {
                next += next[1] == '\n' ? 2 : 1;
            } else {
                break;
            }
        }
        line->has = (uint32_t)((seen & ~no_letter) >> 1);
        line->bare = 0;
        line->codes[0] = (po_code){.letter = 'G', .number = (int32_t)(begin >> 8)};
        line->n_codes = 1;
        line->unended = false;
        line->damage = PO_DAMAGE_NONE;
        line->damage_column = 0;
        line->n_word = -1;
        line->text = NULL;
        line->n_text = 0;
        p = next;
    }
other:
    *ret_n = (size_t)(line - lines);
    return p;
}

#else

bool po_line_plain_works(void)
{
    return false;
}

const char *po_line_parse_plain(const char *p, const char *end, po_line *lines, size_t most, size_t *ret_n)
{
    (void)end, (void)lines, (void)most;
    *ret_n = 0;
    return p;
}

#endif

/* The quick way through plain lines. SPDX-License-Identifier: Apache-2.0
 *
 * One look at 64 bytes yields a bit mask for each class of byte; a few operations on the masks tell whether the line has
 * the plain form, and where its words stand; each number is then converted without a branch on its length. Methods: bit
 * masks from vector compares as in G. Langdale, D. Lemire, "Parsing gigabytes of JSON per second", VLDB Journal 28, 2019,
 * section 3; digits to integers by pairwise multiply-add as in W. Mula, "SIMD-ized conversion of strings to integers",
 * 2014. The quotient mantissa / 10^k is correctly rounded: see base/number.c.
 *
 *     G 1   X 1 2 . 5   Y - 3 \n
 *     . . 1 . . . . . 1 . . . |     blanks: word i runs from behind blank i to the next blank or the end
 *     1 . . 1 . . . . . 1 . . |     letters must be just there
 *     . . . . . . . . . . 1 . |     minus: only behind letters
 *     . . . . . . 1 . . . . . |     dot: at most one a word */
#include "job/words_plain.h"

#if defined(__x86_64__)

#include <immintrin.h>

bool po_line_plain_works(void)
{
    return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi") && __builtin_cpu_supports("bmi2");
}

/* How to move the digits of a number of `n` bytes, its dot at `dot` (dot == n: none), to the right end of 16 bytes,
 * leaving the dot out; 0x80 writes a zero. */
#define FIRST(n, dot) (16 - ((n) - ((dot) < (n))))
#define AT(n, dot, j) ((j) < FIRST(n, dot) ? 0x80 : (j)-FIRST(n, dot) + ((j)-FIRST(n, dot) >= (dot)))
#define ROW(n, d)                                                                                              \
    {                                                                                                          \
        AT(n, d, 0), AT(n, d, 1), AT(n, d, 2), AT(n, d, 3), AT(n, d, 4), AT(n, d, 5), AT(n, d, 6), AT(n, d, 7), \
            AT(n, d, 8), AT(n, d, 9), AT(n, d, 10), AT(n, d, 11), AT(n, d, 12), AT(n, d, 13), AT(n, d, 14),    \
            AT(n, d, 15)                                                                                       \
    }
#define ROWS(n)                                                                                               \
    {                                                                                                         \
        ROW(n, 0), ROW(n, 1), ROW(n, 2), ROW(n, 3), ROW(n, 4), ROW(n, 5), ROW(n, 6), ROW(n, 7), ROW(n, 8),    \
            ROW(n, 9), ROW(n, 10), ROW(n, 11), ROW(n, 12), ROW(n, 13), ROW(n, 14), ROW(n, 15), ROW(n, 16)     \
    }
static const uint8_t digits_right[17][17][16] __attribute__((aligned(16))) = {
    ROWS(0), ROWS(1), ROWS(2),  ROWS(3),  ROWS(4),  ROWS(5),  ROWS(6),  ROWS(7), ROWS(8),
    ROWS(9), ROWS(10), ROWS(11), ROWS(12), ROWS(13), ROWS(14), ROWS(15), ROWS(16)};

/* Divisor by the number of bytes from the dot on: none, ".", ".1", ".12" ... */
static const double divisors[17] = {1e0, 1e0, 1e1, 1e2, 1e3,  1e4,  1e5,  1e6, 1e7,
                                    1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};

#define QUICK __attribute__((target("avx2,bmi,bmi2")))

QUICK static inline uint64_t bits(__m256i low, __m256i high)
{
    return (uint32_t)_mm256_movemask_epi8(low) | (uint64_t)(uint32_t)_mm256_movemask_epi8(high) << 32;
}

QUICK static inline uint64_t bits_equal(__m256i low, __m256i high, char c)
{
    const __m256i wanted = _mm256_set1_epi8(c);
    return bits(_mm256_cmpeq_epi8(low, wanted), _mm256_cmpeq_epi8(high, wanted));
}

QUICK static inline __m256i is_stop(__m256i v)
{
    /* Signed, so that bytes above 0x7f are stops as well; what kind of stop it is, is looked at later. */
    return _mm256_or_si256(_mm256_cmpgt_epi8(_mm256_set1_epi8(' '), v), _mm256_cmpeq_epi8(v, _mm256_set1_epi8(';')));
}

QUICK static inline __m256i is_digit(__m256i v)
{
    const __m256i d = _mm256_sub_epi8(v, _mm256_set1_epi8('0'));
    return _mm256_cmpeq_epi8(_mm256_min_epu8(d, _mm256_set1_epi8(9)), d);
}

/* n bytes of digits and at most one dot at p (dot == n: none); reads 16 bytes. */
QUICK static inline double number(const char *p, unsigned n, unsigned dot)
{
    __m128i v = _mm_sub_epi8(_mm_loadu_si128((const __m128i *)p), _mm_set1_epi8('0'));
    v = _mm_shuffle_epi8(v, _mm_load_si128((const __m128i *)digits_right[n][dot]));
    v = _mm_maddubs_epi16(v, _mm_set1_epi16(0x010a));           /* 10 a + b */
    v = _mm_madd_epi16(v, _mm_set1_epi32(0x00010064));          /* 100 */
    v = _mm_packus_epi32(v, v);
    v = _mm_madd_epi16(v, _mm_set1_epi32(0x00012710));          /* 10000 */
    const uint64_t eights = (uint64_t)_mm_cvtsi128_si64(v);     /* low half: the upper eight digits */
    const uint64_t mantissa = (eights & UINT32_MAX) * 100000000 + (eights >> 32);
    return (double)(int64_t)mantissa / divisors[n - dot];
}

QUICK const char *po_line_parse_plain(const char *p, const char *end, po_line *line)
{
    const __m256i low = _mm256_loadu_si256((const __m256i *)p);
    const __m256i high = _mm256_loadu_si256((const __m256i *)(p + 32));
    const uint64_t stops = bits(is_stop(low), is_stop(high));
    if (stops == 0) {
        return NULL;
    }
    unsigned n = (unsigned)_tzcnt_u64(stops);
    const char *next = p + n;
    if (next >= end) {
        return NULL;
    }
    if (*next == '\n') {
        next++;
    } else {
        if (*next == ';') {
            next = po_line_stop(next, end);
            if (next == end) {
                return NULL;
            }
        }
        if (*next == '\n') {
            next++;
        } else if (*next == '\r' && next + 1 < end) {
            next += next[1] == '\n' ? 2 : 1;
        } else {
            return NULL;
        }
    }

    uint64_t line_bits = _bzhi_u64(~UINT64_C(0), n);
    uint64_t blanks = bits_equal(low, high, ' ') & line_bits;
    if (p[0] != 'G' || (uint8_t)(p[1] - '0') > 3 || !(blanks & 4)) {
        return NULL;
    }
    const unsigned trailing = (unsigned)(blanks >> (n - 1)); /* one blank before the end, as in "G1 X1 ; ..." */
    n -= trailing;
    line_bits = _bzhi_u64(line_bits, n);
    blanks &= line_bits;
    const uint64_t dots = bits_equal(low, high, '.') & line_bits;
    const uint64_t minuses = bits_equal(low, high, '-') & line_bits;
    const uint64_t digits = bits(is_digit(low), is_digit(high)) & line_bits;
    const uint64_t letters = blanks << 1 | 1;
    if ((blanks | dots | minuses | digits | letters) != line_bits || (minuses & ~(letters << 1))) {
        return NULL;
    }

    uint32_t has = 0;
    const uint32_t not_here = PO_LETTER('G') | PO_LETTER('M') | PO_LETTER('N') | PO_LETTER('T');
    while (blanks) {
        const unsigned blank = (unsigned)_tzcnt_u64(blanks);
        blanks = _blsr_u64(blanks);
        const unsigned stop = (unsigned)_tzcnt_u64(blanks | UINT64_C(1) << n);
        const unsigned letter = (uint8_t)(p[blank + 1] - 'A');
        const uint32_t letter_bit = UINT32_C(1) << (letter & 31);
        const unsigned minus = minuses >> (blank + 2) & 1;
        const unsigned from = blank + 2 + minus;
        const unsigned n_bytes = stop - from;
        const uint64_t dot_bits = _bzhi_u64(dots >> from, n_bytes);
        const unsigned n_digits = n_bytes - (dot_bits != 0);
        if (letter > 25 || ((has | not_here) & letter_bit) || n_digits - 1 > 14 || _blsr_u64(dot_bits)) {
            return NULL;
        }
        const unsigned dot = (unsigned)_tzcnt_u64(dot_bits | UINT64_C(1) << n_bytes);
        const double value = number(p + from, n_bytes, dot);
        line->value[letter] = minus ? -value : value;
        has |= letter_bit;
    }

    line->has = has;
    line->bare = 0;
    line->codes[0] = (po_code){.letter = 'G', .number = p[1] - '0'};
    line->n_codes = 1;
    line->unended = false;
    line->damage = PO_DAMAGE_NONE;
    line->damage_column = 0;
    line->n_word = -1;
    line->text = NULL;
    line->n_text = 0;
    return next;
}

#else

bool po_line_plain_works(void)
{
    return false;
}

const char *po_line_parse_plain(const char *p, const char *end, po_line *line)
{
    (void)p, (void)end, (void)line;
    return NULL;
}

#endif

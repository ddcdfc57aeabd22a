/* Tests of words.c, words_plain.c and words_reader.c. SPDX-License-Identifier: Apache-2.0
 *
 * Sources: NISTIR 6556 (sections named beside the cases), the handbook of the shop (4.3: sums and line forms),
 * docs/measures.md "Interpreter". Cases without a name beside them are common practice, no published source. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "job/words.h"
#include "job/words_plain.h"

/* The line as text (values to 15 digits; bit for bit in numbers_are_strtod): codes, arguments in the order of the
 * alphabet, N, text, damage and its column. */
static const char *show(const po_line *line, char *to)
{
    char *p = to;
    *p = 0;
    for (int i = 0; i < line->n_codes; i++) {
        const po_code *c = &line->codes[i];
        p += c->number == INT32_MIN ? sprintf(p, "%c ", c->letter) : sprintf(p, "%c%d", c->letter, c->number);
        if (c->number != INT32_MIN) {
            p += c->tenth ? sprintf(p, ".%d ", c->tenth) : sprintf(p, " ");
        }
    }
    for (int i = 0; i < 26; i++) {
        if (line->bare >> i & 1) {
            p += sprintf(p, "%c ", 'A' + i);
        } else if (line->has >> i & 1) {
            p += sprintf(p, "%c=%.15g ", 'A' + i, line->value[i]);
        }
    }
    if (line->n_word >= 0) {
        p += sprintf(p, "N=%lld ", (long long)line->n_word);
    }
    if (line->text) {
        bool short_text = line->n_text < 100;
        p += sprintf(p, "[%.*s%s] ", short_text ? (int)line->n_text : 4, line->text, short_text ? "" : "~");
    }
    static const char *const names[] = {"", "number", "twice", "nul", "checksum", "byte", "comment", "code", "long"};
    if (line->damage) {
        p += sprintf(p, "%s@%u ", names[line->damage], line->damage_column);
    }
    if (p > to) {
        p[-1] = 0;
    }
    return to;
}

/* A copy in a heap block of exactly that size and the padding, filled with what would be read as digits if anyone
 * looked at it. */
static char *exact(const char *bytes, size_t n)
{
    char *block = malloc(n + PO_LINE_PADDING);
    assert_non_null(block);
    memcpy(block, bytes, n);
    memset(block + n, '7', PO_LINE_PADDING);
    return block;
}

typedef struct line_case {
    const char *bytes, *wanted;
} line_case;

static void check_line(const char *bytes, size_t n, const char *wanted)
{
    static const char *const ends[] = {"", "\n", "\r\n", "\r", "\nG1", "\rG1"};
    for (size_t e = 0; e < sizeof ends / sizeof *ends; e++) {
        size_t n_end = strlen(ends[e]);
        if (n + n_end == 0) {
            continue;
        }
        char whole[512], got[1024];
        memcpy(whole, bytes, n);
        memcpy(whole + n, ends[e], n_end);
        char *block = exact(whole, n + n_end);
        po_line line;
        memset(&line, 0xa5, sizeof line);
        const char *next = po_line_parse(block, block + n + n_end, true, &line);
        assert_non_null(next);
        assert_int_equal(next - block, n + n_end - (n_end > 2 ? 2 : n_end == 2 && ends[e][1] == 'G' ? 1 : 0));
        assert_int_equal(line.unended, n_end == 0);
        if (strcmp(show(&line, got), wanted) != 0) {
            fail_msg("\"%s\": got \"%s\", wanted \"%s\"", bytes, got, wanted);
        }
        free(block);
    }
}

static void lines_mean(void **unused)
{
    (void)unused;
    static const line_case cases[] = {
        {"", ""},
        {"   \t ", ""},
        {"G1 X123.456 Y98.7 E0.03331", "G1 E=0.03331 X=123.456 Y=98.7"},
        {"G1 X12.3 Y45.6 E123.45678 F1800", "G1 E=123.45678 F=1800 X=12.3 Y=45.6"},
        {"G1 X-1.5 Y-.5 Z.2", "G1 X=-1.5 Y=-0.5 Z=0.2"},
        {"G0 X5. Y-0", "G0 X=5 Y=-0"}, /* handbook 4.3: `.5`, `5.`, `-0` all occur */
        {"G1 X+5", "G1 X=5"},
        {"g1x10y5e.1", "G1 E=0.1 X=10 Y=5"}, /* NISTIR 6556, 3.3: case, blanks between words */
        {"G1X10Y5", "G1 X=10 Y=5"},
        {"G01 X10", "G1 X=10"},
        {"  G1\tX10  Y5  ", "G1 X=10 Y=5"},
        {"G28 X Y", "G28 X Y"},
        {"G28XY", "G28 X Y"},
        {"M84 X", "M84 X"},
        {"G92.1", "G92.1"},
        {"G59.3", "G59.3"},
        {"G1.00005 X1", "G1 X=1"}, /* 3.3.2: whole within 0.0001 */
        {"G0.99995 X1", "G1 X=1"},
        {"G90.0", "G90"},
        {"G91 G1 X1", "G91 G1 X=1"},
        {"G21 G90 G94 M3 M8 M48 G17 T1", "G21 G90 G94 M3 M8 M48 G17 T=1"},
        {"T0", "T0"},
        {"T-1", "T-1"},
        {"T", "T"},
        {"N7 T1", "T1 N=7"},
        {"T1 M6", "T1 M6"},
        {"M109 S210 T1", "M109 S=210 T=1"},
        {"M109 T1 S210", "M109 S=210 T=1"},
        {"G10 P1 R140 S205", "G10 P=1 R=140 S=205"},
        {"X1e5", "E=5 X=1"}, /* handbook 4.3: no exponent form */
        {"G1 X1E5", "G1 E=5 X=1"},
        /* comments: 3.3.4 and handbook 4.3 */
        {"; G1 X1", ""},
        {";", ""},
        {"G1 X1 ; Y2 (", "G1 X=1"},
        {"G1 X1;Y2", "G1 X=1"},
        {"G1 (X5) X1", "G1 X=1"},
        {"G1 (a;b) X1", "G1 X=1"},
        {"G1(a)X1(b)", "G1 X=1"},
        {"G1 X1(a)Y2", "G1 X=1 Y=2"},
        {"( nothing else )", ""},
        {"G1 X1 ; \xc3\xa4\xff", "G1 X=1"},
        {"(\xff) G1", "G1"},
        {"G1 (a", "G1 comment@4"},
        {"G1 ((a) X1", "G1 X=1"}, /* the first ")" closes: comments do not nest */
        {"G1 (a (b) c) X1", "G1 C byte@12"},
        {"G1 ) X1", "G1 byte@4"},
        /* percent and block delete: 3.1, 3.3 */
        {"%", ""},
        {" % ", ""},
        {"% ; begin", ""},
        {"G1 %", "G1 byte@4"},
        {"% G1", "byte@1"},
        {"/G1 X1", "G1 X=1"},
        {" / N5 G1 X1", "G1 X=1 N=5"},
        {"G1 / X1", "G1 byte@4"},
        {"//G1", "byte@2"},
        /* damage */
        {"G1 X1.2.3", "G1 number@4"},
        {"G1 X--1", "G1 number@4"},
        {"G1 X+-1", "G1 number@4"},
        {"G1 X1-2", "G1 number@4"},
        {"G1 X1,5 Y2", "G1 number@4"},
        {"G1 X.", "G1 number@4"},
        {"G1 X-", "G1 number@4"},
        {"G1 X- Y1", "G1 number@4"},
        {"G1 Y5 X-.", "G1 Y=5 number@7"},
        {"G1 Ynan", "G1 Y number@5"}, /* N with no number */
        {"G1 Xinf", "G1 I X number@6"},
        {"G1 X1e5 E2", "G1 E=5 X=1 twice@9"},
        {"G1 E1e5", "G1 E=1 twice@6"},
        {"G1 X1 Y2 X3", "G1 X=1 Y=2 twice@10"}, /* 3.3.5 */
        {"G1 X1 x3", "G1 X=1 twice@7"},
        {"T0 T1", "T0 twice@4"},
        {"G1 X 5", "G1 X=5"}, /* 3.3: between a letter and its number */
        {"M104 S 200", "M104 S=200"},
        {"G28 X Y", "G28 X Y"},
        {"G1 X1 5", "G1 X=1 byte@7"}, /* handbook 4.3: blanks inside numbers are not tolerated */
        {"G1 X1. 5", "G1 X=1 byte@8"},
        {"G 1 X5", "code@1"},
        {"5", "byte@1"},
        {"G1 X1 #5", "G1 X=1 byte@7"},
        {"G1 X[5]", "G1 X byte@5"},
        {"G1 \xe4", "G1 byte@4"},
        {"G1 X1\xc2\xa0Y2", "G1 X=1 byte@6"},
        {"G", "code@1"},
        {"M", "code@1"},
        {"G-1", "code@1"},
        {"G1.25", "code@1"},
        {"G1..2", "code@1"},
        {"G99999999999", "code@1"},
        {"T1.5", "code@1"},
        {"G1 G1 G1 G1 G1 G1 G1 G1", "G1 G1 G1 G1 G1 G1 G1 G1"},
        {"G1 G1 G1 G1 G1 G1 G1 G1 M2", "G1 G1 G1 G1 G1 G1 G1 G1 code@25"},
        /* line numbers: 3.3.1 */
        {"N10 G1 X1", "G1 X=1 N=10"},
        {"N0", "N=0"},
        {"N1234567 G1", "G1 N=1234567"},
        {"N-1 G1", "number@1"},
        {"N1.5 G1", "number@1"},
        {"N G1", "number@1"},
        {"N1 N2", "N=1 twice@4"},
        {"M110 N5", "M110 N=5"},
        /* sums: handbook 4.3 */
        {"N3 T0*57", "T0 N=3"},
        {"N1 G28*18", "G28 N=1"},
        {"N4 G92 E0*67", "G92 E=0 N=4"},
        {"N5 G28*22", "G28 N=5"},
        {"N0 M110*35", "M110 N=0"},
        {"N10 M104 S200*86", "M104 S=200 N=10"},
        {"N6 G1 F1500.0*82", "G1 F=1500 N=6"},
        {"N123 G1 X10 Y5 F3000*120", "G1 F=3000 X=10 Y=5 N=123"},
        {"N1 G1 X10 Y10 E1.5*103", "G1 E=1.5 X=10 Y=10 N=1"},
        {"G1 X10*15", "G1 X=10"},
        {"G1 X10*15 ; comment", "G1 X=10"},
        {"G1 X10* 15", "G1 X=10"},
        {"G1 X10 *47", "G1 X=10"}, /* "blanks count in the sum": 15 ^ 0x20 = 47 */
        {"G1 X10 *15", "G1 X=10 checksum@8"},
        {" N3 T0*57", "T0 N=3"}, /* from the N on */
        {" N3 T0*25", "T0 N=3"}, /* from the first byte on: 57 ^ 0x20 */
        {"N3 T0*56", "T0 N=3 checksum@6"},
        {"N3 T0*", "T0 N=3 checksum@6"},
        {"N3 T0*313", "T0 N=3 checksum@6"}, /* 57 + 256 */
        {"N3 T0*57.0", "T0 N=3 checksum@6"},
        {"N3 T0*-57", "T0 N=3 checksum@6"},
        {"N3 T0*57 X1", "T0 N=3 checksum@6"},
        {"N3 T0*5 7", "T0 N=3 checksum@6"},
        {"*0", ""},
        /* text: measures.md; handbook 4.3 */
        {"M117 Printing; layer (1", "M117 [Printing; layer (1]"},
        {"M117", "M117"},
        {"M117   ", "M117"},
        {"M117 \xe2\x82\xac 5 X1 X2  ", "M117 [\xe2\x82\xac 5 X1 X2]"},
        {"m117hello", "M117 [hello]"},
        {"M118 E1 done", "M118 [E1 done]"},
        {"M23 part-1.g", "M23 [part-1.g]"},
        {"M30 part.g", "M30 [part.g]"},
        {"M30 ; end", "M30"},
        {"M25;pause", "M25"},
        {"M117 ;)", "M117 [;)]"},
        {"N5 M117 Hi*32", "M117 N=5 [Hi]"}, /* sum by hand, below: sums_are_xor */
        {"N5 M117 Hi*33", "M117 N=5 checksum@11"},
        {"M117 Hi*7", "M117 [Hi*7]"},
        {"M117 5*", "M117 [5*]"},
        {"M0", "M0"},
        {"M0 ; take it out", "M0"},
        {"M0 S30", "M0 S=30"},
        {"M0 Click to go on", "M0 [Click to go on]"},
        {"M0 S30 Click", "M0 S=30 [Click]"},
        {"M1 5 minutes", "M1 [5 minutes]"},
        {"M1 (say) *stop*", "M1 [*stop*]"},
        {"M0 G4 P5", "M0 G4 P=5"},
        {"M0 X1X1", "M0 X=1 twice@6"},
        {"M486 T3", "M486 T=3"},
        {"M486 Acube-1", "M486 [Acube-1]"},
        {"M600 E-2 Z5", "M600 E=-2 Z=5"},
        {"G0 X0 ; M117 x", "G0 X=0"},
        {"G28 ; home all axes", "G28"},
        {"M104 S0 ; off", "M104 S=0"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        check_line(cases[i].bytes, strlen(cases[i].bytes), cases[i].wanted);
    }
    /* NUL: outside comments only (measures.md) */
    check_line("G1 X1\0", 6, "G1 X=1 nul@6");
    check_line("G1 X1 ;\0", 8, "G1 X=1");
    check_line("G1 (\0) X1", 9, "G1 X=1");
    check_line("\0", 1, "nul@1");
    check_line("M117 a\0b", 8, "M117 nul@7");
    check_line("M0 \0", 4, "M0 nul@4");
    check_line("G1 X1 ; \0\0\0 x", 13, "G1 X=1");
}

static void nist_examples(void **unused)
{
    (void)unused;
    /* 3.3: blanks do not change meaning; "g0x +0. 12 34y 7" does inside numbers, which is not kept (handbook 4.3). */
    check_line("g0x+0.1234y7", 12, "G0 X=0.1234 Y=7");
    check_line("g0 x+0.1234 y7", 14, "G0 X=0.1234 Y=7");
    check_line("g0x +0. 12 34y 7", 16, "G0 X=0 byte@9");
    /* 3.3.4: (MSG, ...) is a comment too */
    check_line("G80 G1 (MSG, hello) X5", 22, "G80 G1 X=5");
}

static void sums_are_xor(void **unused)
{
    (void)unused;
    /* Every sum but one is wrong. The sum of the handbook's table stands in lines_mean. */
    const char *const heads[] = {"N42 G1 X1.25 E.5", "N5 M117 Hi", "G0 X5(a;b)"};
    for (size_t h = 0; h < sizeof heads / sizeof *heads; h++) {
        uint8_t x = 0;
        for (const char *p = heads[h]; *p; p++) {
            x ^= (uint8_t)*p;
        }
        for (int sum = 0; sum < 256; sum++) {
            char text[64];
            int n = snprintf(text, sizeof text, "%s*%d\n", heads[h], sum);
            char *block = exact(text, (size_t)n);
            po_line line;
            assert_non_null(po_line_parse(block, block + n, true, &line));
            assert_int_equal(line.damage, sum == x ? PO_DAMAGE_NONE : PO_DAMAGE_CHECKSUM);
            free(block);
        }
    }
}

static void ends_of_lines(void **unused)
{
    (void)unused;
    po_line line;
    char *block = exact("G1\r", 3);
    assert_null(po_line_parse(block, block + 3, false, &line)); /* a LF may follow */
    assert_ptr_equal(po_line_parse(block, block + 3, true, &line), block + 3);
    assert_false(line.unended);
    assert_null(po_line_parse(block, block + 2, false, &line));
    assert_ptr_equal(po_line_parse(block, block + 2, true, &line), block + 2);
    assert_true(line.unended);
    assert_null(po_line_parse(block, block, true, &line));
    assert_null(po_line_parse(block, block, false, &line));
    free(block);
    block = exact("G1 X1 Y2\r", 9);
    assert_null(po_line_parse(block, block + 9, false, &line));
    assert_null(po_line_parse(block, block + 8, false, &line));
    free(block);
    block = exact("\n\r\n\r\rG1", 7);
    const char *p = block;
    const int ends[] = {1, 3, 4, 5, 7};
    for (int i = 0; i < 5; i++) {
        p = po_line_parse(p, block + 7, true, &line);
        assert_int_equal(p - block, ends[i]);
    }
    free(block);
}

static bool same(const po_line *a, const po_line *b)
{
    if (a->has != b->has || a->bare != b->bare || a->n_codes != b->n_codes || a->damage != b->damage ||
        a->damage_column != b->damage_column || a->n_word != b->n_word || a->unended != b->unended ||
        a->n_text != b->n_text || (a->text == NULL) != (b->text == NULL)) {
        return false;
    }
    for (int i = 0; i < a->n_codes; i++) {
        if (a->codes[i].letter != b->codes[i].letter || a->codes[i].number != b->codes[i].number ||
            a->codes[i].tenth != b->codes[i].tenth) {
            return false;
        }
    }
    for (int i = 0; i < 26; i++) {
        if ((a->has & ~a->bare) >> i & 1 && memcmp(&a->value[i], &b->value[i], sizeof(double)) != 0) {
            return false;
        }
    }
    return true;
}

static uint64_t state;
static uint32_t dice(uint32_t n)
{
    state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (uint32_t)((state >> 33) % n);
}

static size_t random_number(char *to, int most_digits)
{
    size_t n = 0;
    int whole = (int)dice((uint32_t)most_digits + 1), behind = (int)dice((uint32_t)most_digits + 1);
    if (dice(3) == 0) {
        to[n++] = "-+"[dice(50) == 0];
    }
    for (int i = 0; i < whole; i++) {
        to[n++] = (char)('0' + dice(10));
    }
    if (behind || whole == 0 || dice(3) == 0) {
        to[n++] = '.';
    }
    for (int i = 0; i < behind || (whole == 0 && i == 0); i++) {
        to[n++] = (char)('0' + dice(10));
    }
    return n;
}

/* The quick way agrees with the careful way wherever it takes a line, on good lines and on spoilt ones. */
static void quick_is_careful(void **unused)
{
    (void)unused;
    if (!po_line_plain_works()) {
        skip();
    }
    state = 1;
    uint64_t quick = 0, spoilt_quick = 0;
    for (int i = 0; i < 1500000; i++) {
        char text[256 + PO_LINE_PADDING];
        size_t n = (size_t)sprintf(text, "G%u", dice(4 + (dice(20) == 0)));
        for (uint32_t words = dice(6), w = 0; w < words; w++) {
            text[n++] = ' ';
            text[n++] = dice(12) ? "XYZEFI"[w] : (char)('A' + dice(26));
            n += random_number(text + n, dice(6) ? 5 : 9);
        }
        n += (size_t)sprintf(text + n, "%s", ((const char *[]){"", "", "", " ", " ; abc", ";x", "  ;"})[dice(7)]);
        n += (size_t)sprintf(text + n, "%s", ((const char *[]){"\n", "\n", "\r\n", "\r", ""})[dice(5)]);
        bool spoil = i & 1;
        for (uint32_t times = spoil ? 1 + dice(3) : 0; times; times--) {
            size_t at = dice((uint32_t)n);
            switch (dice(4)) {
            case 0:
                text[at] = (char)dice(256);
                break;
            case 1:
                text[at] = " .-+;(*\n\rXE1G/%"[dice(15)];
                break;
            case 2:
                memmove(text + at + 1, text + at, n - at);
                text[at] = ".- X\r0"[dice(6)];
                n++;
                break;
            default:
                memmove(text + at, text + at + 1, n - at);
                n -= n > 1;
                break;
            }
        }
        memset(text + n, "7 \n;."[dice(5)], PO_LINE_PADDING);
        po_line a, b;
        size_t n_read;
        const char *next = po_line_parse_plain(text, text + n, &a, 1, &n_read);
        if (n_read == 0) {
            continue;
        }
        quick++;
        spoilt_quick += spoil;
        const char *careful = po_line_parse_any(text, text + n, false, &b);
        if (next != careful || !same(&a, &b) || (a.text != b.text)) {
            fail_msg("the two ways differ on \"%.*s\"", (int)n, text);
        }
    }
    /* The comparison must have happened, and the quick way must take what it is for. */
    assert_true(quick > 300000);
    assert_true(spoilt_quick > 60000);
    po_line line;
    const char *const plain[] = {"G1 X123.456 Y98.7 E0.03331\n",
                                 "G1 X12.3 Y45.6 E123.45678 F1800\r\n",
                                 "G0 X-.5 ;a\n",
                                 "G2 X1 Y1 I-5. J12345678.012345\n",
                                 "G3 X1\rG1",
                                 "G1\tX1\n",
                                 "G1 X1  Y2\n"};
    for (size_t i = 0; i < sizeof plain / sizeof *plain; i++) {
        char *block = exact(plain[i], strlen(plain[i]));
        size_t n_read;
        po_line_parse_plain(block, block + strlen(plain[i]), &line, 1, &n_read);
        assert_int_equal(n_read, i < 5);
        free(block);
    }
}

/* Lines that end, or run on, just where the quick way's sight ends (64 bytes), whatever byte stands there. */
static void edge_of_sight(void **unused)
{
    (void)unused;
    static const char edges[] = " \n\r;5.-X";
    for (int shift = 0; shift < 24; shift++) {
        for (int length = 40; length < 90; length++) {
            for (size_t e = 0; e < sizeof edges - 1; e++) {
                char text[160 + PO_LINE_PADDING];
                memset(text, '3', sizeof text);
                memcpy(text, "G1 ", 3);
                int at = 3;
                for (int w = 0; at < length; w++) { /* words of 14 bytes, the first shorter */
                    text[at] = (char)('A' + w + (w > 5));
                    at += w ? 14 : 3 + shift % 12;
                    text[at - 1] = ' ';
                    text[at - 5] = shift < 12 ? '.' : '3';
                }
                text[length] = edges[e];
                text[length + 1] = '\n';
                size_t n = (size_t)length + 2;
                po_line a, b;
                const char *next = po_line_parse(text, text + n, false, &a);
                const char *careful = po_line_parse_any(text, text + n, false, &b);
                assert_ptr_equal(next, careful);
                assert_true(same(&a, &b));
            }
        }
    }
}

/* A run of lines is the lines one by one, wherever the buffer is cut and however few are asked for. */
static void runs_are_lines(void **unused)
{
    (void)unused;
    state = 4;
    enum { ROOM = 60000, MOST = 40 };
    char *bytes = malloc(ROOM + PO_LINE_PADDING);
    assert_non_null(bytes);
    size_t n = 0;
    while (n + 200 < ROOM) {
        n += (size_t)sprintf(bytes + n,
                             dice(4)   ? "G1 X%u.%u Y-.%u E%u"
                             : dice(2) ? "M106 S%u"
                                       : "; %u",
                             dice(1000), dice(1000), dice(1000), dice(1000));
        n += (size_t)sprintf(bytes + n, "%s", ((const char *[]){"\n", "\r\n", "\r", " ;c\n"})[dice(4)]);
    }
    memset(bytes + n, '\n', PO_LINE_PADDING);
    static po_line lines[MOST];
    for (int round = 0; round < 3000; round++) {
        const char *p = bytes + dice((uint32_t)n), *end = p + dice((uint32_t)(bytes + n - p) + 1), *q = p;
        bool at_eof = dice(2);
        size_t most = dice(MOST + 1), n_run;
        end = end > p + 2000 ? p + 2000 : end;
        p = po_line_parse_run(p, end, at_eof, lines, most, &n_run);
        for (size_t i = 0; i < n_run; i++) {
            po_line one;
            q = po_line_parse_any(q, end, at_eof, &one);
            assert_non_null(q);
            assert_true(same(&lines[i], &one));
        }
        assert_ptr_equal(p, q);
        po_line one;
        assert_true(n_run == most || !po_line_parse_any(p, end, at_eof, &one));
    }
    free(bytes);
}

/* Values are those of strtod in the C locale (which tests run in). */
static void numbers_are_strtod(void **unused)
{
    (void)unused;
    state = 2;
    for (int i = 0; i < 2000000; i++) {
        char text[1024];
        int most = i % 1000 == 0 ? 400 : i % 10 == 0 ? 25 : 8;
        size_t n = (size_t)sprintf(text, "G1 X"), from = n;
        n += random_number(text + n, most);
        text[n] = 0;
        double wanted = strtod(text + from, NULL);
        n += (size_t)sprintf(text + n, "\n");
        memset(text + n, 'x', PO_LINE_PADDING);
        po_line a, b;
        assert_non_null(po_line_parse(text, text + n, true, &a));
        assert_non_null(po_line_parse_any(text, text + n, true, &b));
        double x = a.value[23];
        if (wanted - wanted != 0) { /* infinite */
            assert_int_equal(a.damage, PO_DAMAGE_NUMBER);
        } else if (a.damage || memcmp(&x, &wanted, sizeof x) != 0 || !same(&a, &b)) {
            fail_msg("%.*s read as %.17g, strtod says %.17g", (int)n, text, x, wanted);
        }
    }
}

static void hard_numbers(void **unused)
{
    (void)unused;
    /* Middles between doubles and their neighbours: the published hard cases for decimal conversion are of this kind
     * (V. Paxson, "A program for testing IEEE decimal-binary conversion", 1991); 2^53 + 1 is the smallest whole one. */
    static const char *const numbers[] = {"9007199254740992",
                                          "9007199254740993",
                                          "9007199254740993.0",
                                          "9007199254740993.00000000000000000000000001",
                                          "9007199254740994",
                                          "9007199254740995",
                                          "9007199254740991.5",
                                          "0.000000000000000000000000000001",
                                          "123456789012345",
                                          "1234567890123456",
                                          "12345678901234567",
                                          "1234567890123456789",
                                          "18446744073709551616",
                                          "0.1000000000000000055511151231257827021181583404541015625",
                                          "0.124900090270330610871315002441406250",
                                          "0.124900090270330610871315002441406250000000000000000000000000000000000001",
                                          "00000000000000000000000000000000005.5",
                                          "5.50000000000000000000000000000000000000000",
                                          "99999999999999999999999.9999999999999999999999"};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        char text[256];
        int n = sprintf(text, "X%s", numbers[i]);
        char *block = exact(text, (size_t)n);
        po_line line;
        assert_non_null(po_line_parse(block, block + n, true, &line));
        double wanted = strtod(numbers[i], NULL);
        assert_memory_equal(&line.value[23], &wanted, sizeof wanted);
        free(block);
    }
    /* The longest that matters: 2^-1075 (the middle between 0 and the least double) and a hair more, a digit beyond any
     * buffer. Down to 0, up to 2^-1074. */
    size_t n = 0, room = 4000;
    char *text = malloc(room);
    assert_non_null(text);
    n = (size_t)snprintf(text, room, "X%.1076f", 0x1p-1074);
    /* halve the decimal: 2^-1074 / 2, digit by digit */
    int carry = 0;
    for (size_t i = 1; i < n; i++) {
        if (text[i] != '.') {
            int d = carry * 10 + (text[i] - '0');
            text[i] = (char)('0' + d / 2);
            carry = d % 2;
        }
    }
    memset(text + n, '0', 800);
    n += 800;
    for (int more = 0; more < 2; more++) {
        char *block = exact(text, n + (size_t)more);
        block[n + (size_t)more - 1] = more ? '1' : '0';
        po_line line;
        assert_non_null(po_line_parse(block, block + n + more, true, &line));
        assert_int_equal(line.damage, PO_DAMAGE_NONE);
        assert_true(line.value[23] == (more ? 0x1p-1074 : 0.0));
        free(block);
    }
    free(text);
}

static po_input *open_bytes(const char *bytes, size_t n)
{
    po_input *input = NULL;
    po_err err;
    assert_int_equal(po_input_open(&(po_source){.data = bytes, .n_bytes = n}, 0, false, &input, &err), PO_OK);
    return input;
}

static const char sample[] =
    "; begin\nG28 X Y\r\nG1 X1.5 Y2 E.1\rG1X2Y3E.2;c\n\n(a)\nN3 T0*57\nM117 text ; here\n%\nG1 X7";

/* Every prefix of a small file, in a block of exactly that size: each line is that of the whole file, but for the
 * last. */
static void every_prefix(void **unused)
{
    (void)unused;
    for (size_t n = 0; n < sizeof sample; n++) {
        char *block = exact(sample, n);
        const char *whole = sample;
        po_line a, b;
        uint64_t lines = 0;
        for (const char *p = block, *next; (next = po_line_parse(p, block + n, true, &a)); p = next) {
            lines++;
            assert_true(next > p && next <= block + n);
            char copy[sizeof sample + PO_LINE_PADDING] = {0};
            memcpy(copy, sample, sizeof sample);
            const char *q = po_line_parse_any(copy + (whole - sample), copy + sizeof sample - 1, true, &b);
            if (next < block + n) {
                assert_int_equal(next - block, q - copy);
                assert_true(same(&a, &b));
            }
            whole = sample + (q - copy);
        }
        /* The reader counts the same lines, and its parser with more to come never reads beyond. */
        po_input *input = open_bytes(block, n);
        po_line_reader *reader = NULL;
        assert_int_equal(po_line_reader_new(input, &reader, NULL), PO_OK);
        const po_line *line;
        uint64_t number = 0;
        for (;;) {
            assert_int_equal(po_line_reader_next(reader, &line, NULL), PO_OK);
            if (!line) {
                break;
            }
            assert_int_equal(line->number, ++number);
        }
        assert_int_equal(number, lines);
        po_line_reader_free(reader);
        po_input_close(input);
        free(block);
    }
}

/* A growing file of lines of all lengths through the reader: the same as in memory, across block borders. */
static void reader_is_memory(void **unused)
{
    (void)unused;
    state = 3;
    size_t room = 3 << 20, n = 0;
    char *bytes = malloc(room + PO_LINE_PADDING);
    assert_non_null(bytes);
    n = (size_t)sprintf(bytes, "\xef\xbb\xbf");
    while (n + 400000 < room) {
        n += (size_t)sprintf(bytes + n, "G1 X%u.%03u Y%u", dice(300), dice(1000), dice(300));
        if (dice(50) == 0) {
            uint32_t length = dice(dice(300) ? 300 : 300000);
            bytes[n++] = ';';
            memset(bytes + n, 'c', length);
            n += length;
        }
        n += (size_t)sprintf(bytes + n, "%s", ((const char *[]){"\n", "\r\n", "\r"})[dice(3)]);
    }
    memset(bytes + n, 0, PO_LINE_PADDING);
    for (int blockwise = 0; blockwise < 2; blockwise++) {
        po_input *input = open_bytes(bytes, n);
        po_line_reader *reader = NULL;
        po_err err;
        assert_int_equal(po_line_reader_new(input, &reader, &err), PO_OK);
        const char *p = NULL, *end = NULL, *memory = bytes + 3;
        bool eof = false;
        uint64_t number = 0;
        po_line in_block, in_memory;
        for (;;) {
            const po_line *line = NULL;
            if (blockwise) {
                const char *next;
                while (!(next = p ? po_line_parse(p, end, eof, &in_block) : NULL) && !eof) {
                    assert_int_equal(po_line_reader_fill(reader, p, &p, &end, &eof, &err), PO_OK);
                }
                p = next ? next : p;
                line = next ? &in_block : NULL;
            } else {
                assert_int_equal(po_line_reader_next(reader, &line, &err), PO_OK);
            }
            memory = po_line_parse_any(memory, bytes + n, true, &in_memory);
            assert_int_equal(line != NULL, memory != NULL);
            if (!line) {
                break;
            }
            number++;
            assert_true(same(line, &in_memory));
            assert_true(blockwise || line->number == number);
        }
        assert_true(number > 50000);
        po_line_reader_free(reader);
        po_input_close(input);
    }
    free(bytes);
}

typedef struct piece {
    const char *text;
    size_t times;
} piece;

/* Lines beyond all bounds, in memory and through the reader, and the ordinary line behind them. */
static void long_lines(void **unused)
{
    (void)unused;
    enum { K = 1024, M = 1024 * 1024 };
    static const struct {
        piece pieces[6];
        const char *wanted; /* up to "...": the rest does not count */
    } cases[] = {
        {{{";", 5 * M}}, ""},
        {{{"G1 X1 ;", 1}, {"G9 ", 3 * M}}, "G1 X=1"},
        {{{"G1 (", 1}, {"abc", 2 * M}, {") X1", 1}}, "G1 X=1"},
        {{{"G1 (", 1}, {"abc", 2 * M}, {") X1 (", 1}, {";", 3 * M}, {") Y2", 1}}, "G1 X=1 Y=2"},
        /* 15 (handbook 4.3) ^ 0x20 for the blank ^ '(' ^ ')'; the comment's inside cancels out. Columns behind a
         * comment that the reader cut are too small. */
        {{{"G1 X10 (", 1}, {"abab", M}, {")*46", 1}}, "G1 X=10"},
        {{{"G1 X10 (", 1}, {"abab", M}, {")*47", 1}}, "G1 X=10 checksum@..."},
        {{{"G1 X1 (", 1}, {"abc", 2 * M}}, "G1 X=1 comment@7"},
        {{{"G1 X1 ", 1}, {" ", M}, {"Y2", 1}}, "G1 X=1 long@1048577"},
        {{{"G1 X1 ", 1}, {" ", M - 6}}, "G1 X=1"},
        {{{"G1 X1 ", 1}, {" ", M - 5}}, "G1 X=1 long@1048577"},
        {{{"G1 X1 ", 1}, {" ", 5 * M}, {"; c", 1}}, "G1 X=1 long@1048577"},
        {{{"G1 X1 ", 1}, {"X1 ", M}}, "G1 X=1 twice@7"},
        {{{"G1 X", 1}, {"1", 3 * M}}, "G1 number@4"},
        {{{"G1 X0.", 1}, {"0", 3 * M}, {"1", 1}}, "G1 X=0 long@1048577"},
        {{{"()", M}, {"X1", 1}}, "long@1048577"},
        {{{"()", 300 * K}, {"X1", 1}}, "X=1"},
        {{{"(abcdefgh)", 400 * K}, {"X1", 1}}, "X=1"},
        {{{"M117 ", 1}, {";x", 100}}, "M117 [;x;x~]"},
        {{{"M117 ", 1}, {";x", 2 * M}}, "M117 [;x;x~] long@1048582"},
        {{{"(", 1}, {"abc", M}, {") M117 a;b", 1}}, "M117 [a;b]"},
    };
    static const char behind[] = "\r\nG0 X5\n";
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        size_t n = 0;
        for (const piece *p = cases[i].pieces; p->text; p++) {
            n += strlen(p->text) * p->times;
        }
        char *bytes = malloc(n + sizeof behind - 1 + PO_LINE_PADDING), *to = bytes;
        assert_non_null(bytes);
        for (const piece *p = cases[i].pieces; p->text; p++) {
            for (size_t t = 0; t < p->times; t++) {
                to = mempcpy(to, p->text, strlen(p->text));
            }
        }
        memcpy(to, behind, sizeof behind - 1);
        n += sizeof behind - 1;
        memset(bytes + n, 0, PO_LINE_PADDING);
        char got[1024];
        po_line line;
        const char *next = po_line_parse(bytes, bytes + n, true, &line);
        assert_ptr_equal(next, to + 2);
        const char *wanted = cases[i].wanted;
        const char *dots = strstr(wanted, "...");
        size_t n_wanted = dots ? (size_t)(dots - wanted) : sizeof got;
        if (strncmp(show(&line, got), wanted, n_wanted) != 0) {
            fail_msg("case %zu in memory: got \"%s\", wanted \"%s\"", i, got, wanted);
        }
        po_input *input = open_bytes(bytes, n);
        po_line_reader *reader = NULL;
        assert_int_equal(po_line_reader_new(input, &reader, NULL), PO_OK);
        const po_line *read;
        assert_int_equal(po_line_reader_next(reader, &read, NULL), PO_OK);
        assert_non_null(read);
        if (strncmp(show(read, got), wanted, n_wanted) != 0) {
            fail_msg("case %zu through the reader: got \"%s\", wanted \"%s\"", i, got, wanted);
        }
        assert_int_equal(po_line_reader_next(reader, &read, NULL), PO_OK);
        assert_non_null(read);
        assert_string_equal(show(read, got), "G0 X=5");
        assert_int_equal(read->number, 2);
        assert_int_equal(po_line_reader_next(reader, &read, NULL), PO_OK);
        assert_null(read);
        assert_int_equal(po_line_reader_next(reader, &read, NULL), PO_OK); /* and again */
        assert_null(read);
        po_line_reader_free(reader);
        po_input_close(input);
        free(bytes);
    }
}

/* A CR as the last byte of a block, whatever a block is, and no other line end for long behind it. */
static void cr_ends_block(void **unused)
{
    (void)unused;
    for (size_t block = 1 << 12; block <= 1 << 21; block *= 2) {
        const size_t n_long = 5 << 20, n = block + n_long + 7;
        char *bytes = malloc(n);
        assert_non_null(bytes);
        memset(bytes, ';', n);
        memcpy(bytes, "G1 X1 ", 6);
        bytes[block - 1] = '\r';
        memcpy(bytes + block, "G1 X2 ", 6);
        memcpy(bytes + block + n_long, "\nG1 X3\n", 7);
        po_input *input = open_bytes(bytes, n);
        po_line_reader *reader = NULL;
        assert_int_equal(po_line_reader_new(input, &reader, NULL), PO_OK);
        const po_line *line;
        for (int i = 1; i <= 3; i++) {
            assert_int_equal(po_line_reader_next(reader, &line, NULL), PO_OK);
            assert_non_null(line);
            assert_int_equal(line->damage, 0);
            assert_true(line->value['X' - 'A'] == i);
        }
        assert_int_equal(po_line_reader_next(reader, &line, NULL), PO_OK);
        assert_null(line);
        po_line_reader_free(reader);
        po_input_close(input);
        free(bytes);
    }
}

static void marks_and_empty_files(void **unused)
{
    (void)unused;
    static const struct {
        const char *bytes;
        int lines;
        const char *last;
    } cases[] = {{"", 0, NULL},
                 {"\xef\xbb\xbf", 0, NULL},
                 {"\xef\xbb\xbfG1 X1", 1, "G1 X=1"},
                 {"\n", 1, ""},
                 {"\r\n", 1, ""},
                 {"\r", 1, ""},
                 {"G1\r\rG2", 3, "G2"},
                 {"G1\n\xef\xbb\xbfG2", 2, "byte@1"},
                 {"\xef\xbb", 1, "byte@1"},
                 {"G1 X1\rG1 X2\r", 2, "G1 X=2"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        po_input *input = open_bytes(cases[i].bytes, strlen(cases[i].bytes));
        po_line_reader *reader = NULL;
        assert_int_equal(po_line_reader_new(input, &reader, NULL), PO_OK);
        const po_line *line;
        int lines = 0;
        char got[1024] = "";
        while (po_line_reader_next(reader, &line, NULL) == PO_OK && line) {
            lines++;
            show(line, got);
        }
        assert_int_equal(lines, cases[i].lines);
        assert_string_equal(got, cases[i].last ? cases[i].last : "");
        po_line_reader_free(reader);
        po_input_close(input);
    }
    po_line_reader_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_mean),     cmocka_unit_test(nist_examples),         cmocka_unit_test(sums_are_xor),
        cmocka_unit_test(ends_of_lines),  cmocka_unit_test(quick_is_careful),      cmocka_unit_test(edge_of_sight),
        cmocka_unit_test(runs_are_lines), cmocka_unit_test(numbers_are_strtod),    cmocka_unit_test(hard_numbers),
        cmocka_unit_test(every_prefix),   cmocka_unit_test(reader_is_memory),      cmocka_unit_test(long_lines),
        cmocka_unit_test(cr_ends_block),  cmocka_unit_test(marks_and_empty_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

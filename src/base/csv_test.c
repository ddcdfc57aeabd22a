/* Checks of csv.c. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/csv.h"

/* All records in one text: cells between "|", each record ended by "/"; a fault as "!line:column". The bytes lie in a block of
 * exactly n + 1, so that a sanitizer sees what is looked at beyond. */
static void read_all(const char *data, size_t n, char out[1000])
{
    char *block = malloc(n + 1);
    assert_non_null(block);
    memcpy(block, data, n);
    block[n] = 'x';
    po_csv csv;
    po_csv_begin(&csv, block, n);
    size_t at = 0;
    out[0] = 0;
    for (bool more = true; more;) {
        po_err err = {0};
        po_status s = po_csv_next(&csv, &more, &err);
        if (s != PO_OK) {
            assert_true(more && err.line > 0 && err.column > 0);
            at += (size_t)snprintf(out + at, 1000 - at, "!%u:%u/", err.line, err.column);
            continue;
        }
        for (size_t i = 0; more && i < csv.n_cells; i++) {
            assert_int_equal(strlen(csv.cells[i].text), csv.cells[i].n);
            at += (size_t)snprintf(out + at, 1000 - at, "%s%s", i ? "|" : "", csv.cells[i].text);
        }
        at += more ? (size_t)snprintf(out + at, 1000 - at, "/") : 0;
    }
    free(block);
}

static void records(void **state)
{
    (void)state;
    static const struct {
        const char *in, *out;
    } cases[] = {
        /* the examples of RFC 4180 section 2, points 1, 2, 5, 6 and 7 */
        {"aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", "aaa|bbb|ccc/zzz|yyy|xxx/"},
        {"aaa,bbb,ccc\r\nzzz,yyy,xxx", "aaa|bbb|ccc/zzz|yyy|xxx/"},
        {"\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", "aaa|bbb|ccc/zzz|yyy|xxx/"},
        {"\"aaa\",\"b \r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", "aaa|b \r\nbb|ccc/zzz|yyy|xxx/"},
        {"\"aaa\",\"b\"\"bb\",\"ccc\"", "aaa|b\"bb|ccc/"},
        {"", ""},
        {"\n", "/"},
        {"a", "a/"},
        {",", "|/"},
        {"a,\nb", "a|/b/"},
        {"\n\na\n", "//a/"},
        {"\"\"", "/"},
        {"\"\"\"\"", "\"/"},
        {"\"a,b\",c\n", "a,b|c/"},
        {" a , b ", " a | b /"}, /* point 4: blanks are part of a cell */
        {"\xef\xbb\xbfm,n\n", "m|n/"},
        {"\xc3\x84\xc3\xb6,\xf0\x9f\x90\x88\n", "\xc3\x84\xc3\xb6|\xf0\x9f\x90\x88/"},
        {"a\tb", "a\tb/"},
        /* faults: the record is refused, the next is read; columns count characters */
        {"a,b\"c\nd", "!1:4/d/"},
        {"\"a\"b,c\nd", "!1:4/d/"},
        {"\xc3\x84,\xc3\xb6\xff\nd", "!1:4/d/"},
        {"\xc3\n", "!1:1/"},
        {"a\rb\nc", "!1:2/c/"},
        {"a\r", "!1:2/"},
        {"x\n\"open\nand on", "x/!2:1/"},
        {"\"two\nlines\xe4\"\nz", "!2:6/z/"},
        {"\"two\nlines\" x\nz", "!2:7/z/"},
        {"a\x01\nb", "!1:2/b/"},
        {"\"", "!1:1/"},
        {"\"\"\"", "!1:1/"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char out[1000];
        read_all(cases[i].in, strlen(cases[i].in), out);
        if (strcmp(out, cases[i].out) != 0) {
            fail_msg("case %zu: \"%s\", wanted \"%s\"", i, out, cases[i].out);
        }
    }
    char out[1000];
    read_all("a\0b\nc", 5, out);
    assert_string_equal(out, "!1:2/c/");
}

static void places_and_limits(void **state)
{
    (void)state;
    char block[400] = "one,\"t\nw\",\xc3\xa4,last\nnext";
    po_csv csv;
    bool more;
    po_err err;
    po_csv_begin(&csv, block, strlen(block));
    assert_int_equal(po_csv_next(&csv, &more, &err), PO_OK);
    assert_int_equal(csv.n_cells, 4);
    assert_int_equal(csv.cells[1].line, 1);
    assert_int_equal(csv.cells[1].column, 5);
    assert_int_equal(csv.cells[2].line, 2);
    assert_int_equal(csv.cells[2].column, 4);
    assert_int_equal(csv.cells[3].column, 6);
    assert_int_equal(po_csv_next(&csv, &more, &err), PO_OK);
    assert_int_equal(csv.cells[0].line, 3);
    assert_int_equal(csv.cells[0].column, 1);
    assert_int_equal(po_csv_next(&csv, &more, &err), PO_OK);
    assert_false(more);
    memset(block, ',', PO_CSV_CELLS - 1);
    memcpy(block + PO_CSV_CELLS - 1, "\n", 2);
    po_csv_begin(&csv, block, strlen(block));
    assert_int_equal(po_csv_next(&csv, &more, &err), PO_OK);
    assert_int_equal(csv.n_cells, PO_CSV_CELLS);
    memset(block, ',', PO_CSV_CELLS);
    memcpy(block + PO_CSV_CELLS, "\nx\n", 4);
    po_csv_begin(&csv, block, strlen(block));
    assert_int_equal(po_csv_next(&csv, &more, &err), PO_E_LIMIT);
    assert_int_equal(err.column, PO_CSV_CELLS + 1);
    assert_int_equal(po_csv_next(&csv, &more, &err), PO_OK);
    assert_string_equal(csv.cells[0].text, "x");
}

/* What is written by the rules is read as it was: random cells of awkward bytes. */
static void written_and_read(void **state)
{
    (void)state;
    static const char *const pieces[] = {",", "\"", "\n", "\r\n", "a", "\xc3\xa4", " "};
    unsigned seed = 11;
    for (int round = 0; round < 500; round++) {
        char cells[6][64], data[2000];
        size_t n = 0, n_cells = 1 + round % 6;
        for (size_t i = 0; i < n_cells; i++) {
            size_t m = 0;
            data[n++] = '"';
            for (unsigned k = (seed = seed * 1664525u + 1013904223u) >> 28; k > 0; k--) {
                seed = seed * 1664525u + 1013904223u;
                const char *p = pieces[(seed >> 16) % 7];
                m += (size_t)snprintf(cells[i] + m, sizeof cells[i] - m, "%s", p);
                n += (size_t)snprintf(data + n, sizeof data - n, "%s%s", p, *p == '"' ? p : "");
            }
            cells[i][m] = 0;
            data[n++] = '"';
            data[n++] = i + 1 < n_cells ? ',' : '\n';
        }
        po_csv csv;
        bool more;
        po_err err;
        po_csv_begin(&csv, data, n);
        assert_int_equal(po_csv_next(&csv, &more, &err), PO_OK);
        assert_true(more && csv.n_cells == n_cells);
        for (size_t i = 0; i < n_cells; i++) {
            assert_string_equal(csv.cells[i].text, cells[i]);
        }
        assert_int_equal(po_csv_next(&csv, &more, &err), PO_OK);
        assert_false(more);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(records),
        cmocka_unit_test(places_and_limits),
        cmocka_unit_test(written_and_read),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

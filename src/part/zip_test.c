/* Archives: what is read, and every lie that must be seen. SPDX-License-Identifier: Apache-2.0
 * Source: PKWARE APPNOTE 6.3.x, sections 4.3 to 4.5 (from memory, and as restated beside the checks). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "part/threemf_kit.h"
#include "part/zip.h"

static const po_part_limits usual = PO_PART_LIMITS_INIT;

/* Open a copy in a block of exactly its size. */
static po_status open_exact(const unsigned char *data, size_t n, const po_part_limits *limits, po_err *err)
{
    unsigned char *exact = malloc(n ? n : 1);
    assert_non_null(exact);
    if (n) {
        memcpy(exact, data, n);
    }
    po_arena *arena = po_arena_new(0);
    po_zip zip;
    po_status s = po_zip_open(exact, n, limits, arena, &zip, err);
    for (size_t i = 0; s == PO_OK && i < zip.n_members; i++) {
        const po_zip_member *m = &zip.members[i];
        unsigned char *out = malloc(m->unpacked ? (size_t)m->unpacked : 1);
        assert_non_null(out);
        s = m->folder ? PO_OK : po_zip_unpack(&zip, m, out, err);
        free(out);
    }
    if (s != PO_OK) {
        assert_int_equal(err->code, s);
        assert_true(err->msg[0]);
        assert_true(err->byte == PO_NO_BYTE || err->byte <= n);
    }
    po_arena_free(arena);
    free(exact);
    return s;
}

static void two_members(kit_zip *z, int how, bool zip64)
{
    kit_add(z, "a.txt", "hello hello hello hello", 23, how);
    kit_add(z, "b/c.txt", "", 0, how);
    kit_add(z, "b/", "", 0, KIT_STORED);
    kit_end(z, zip64);
}

static void reads_all_forms(void **state)
{
    (void)state;
    for (int how = 0; how < 8; how++) {
        for (int zip64 = 0; zip64 < 2; zip64++) {
            kit_zip z = {0};
            two_members(&z, how, zip64);
            po_arena *arena = po_arena_new(0);
            po_zip zip;
            po_err err;
            assert_int_equal(po_zip_open(z.data, z.n, &usual, arena, &zip, &err), PO_OK);
            assert_int_equal(zip.n_members, 3);
            const po_zip_member *m = po_zip_find(&zip, "A.TXT", 5);
            assert_non_null(m);
            char out[23];
            assert_int_equal(m->unpacked, 23);
            assert_int_equal(po_zip_unpack(&zip, m, out, &err), PO_OK);
            assert_memory_equal(out, "hello hello hello hello", 23);
            m = po_zip_find(&zip, "b/c.txt", 7);
            assert_non_null(m);
            assert_int_equal(po_zip_unpack(&zip, m, out, &err), PO_OK);
            assert_null(po_zip_find(&zip, "b/", 2));
            assert_null(po_zip_find(&zip, "b", 1));
            assert_null(po_zip_find(&zip, "nothing", 7));
            po_arena_free(arena);
            kit_done(&z);
        }
    }
}

static void every_prefix_fails(void **state)
{
    (void)state;
    for (int how = 0; how < 8; how += 3) {
        kit_zip z = {0};
        two_members(&z, how, how == 6);
        for (size_t n = 0; n < z.n; n++) {
            po_err err;
            assert_int_not_equal(open_exact(z.data, n, &usual, &err), PO_OK);
        }
        unsigned char extra = 0;
        kit_put(&z, &extra, 1);
        po_err err;
        assert_int_equal(open_exact(z.data, z.n, &usual, &err), PO_E_SYNTAX);
        kit_done(&z);
    }
}

/* Each byte of an archive changed in eight ways: an error or the same contents, never anything else. */
static void every_byte_changed(void **state)
{
    (void)state;
    for (int how = 0; how < 8; how++) {
        kit_zip z = {0};
        two_members(&z, how, how & 1);
        for (size_t i = 0; i < z.n; i++) {
            for (int bit = 0; bit < 8; bit++) {
                z.data[i] ^= (unsigned char)(1 << bit);
                po_err err;
                (void)open_exact(z.data, z.n, &usual, &err);
                z.data[i] ^= (unsigned char)(1 << bit);
            }
        }
        kit_done(&z);
    }
}

typedef struct lie {
    const char *what;
    int how;
    bool local; /* in the local header, otherwise in the directory */
    int at, n;
    uint64_t value;
    po_status want;
} lie;

static void lies_are_seen(void **state)
{
    (void)state;
    static const lie lies[] = {
        {"encrypted", 0, false, 8, 2, 1, PO_E_UNSUPPORTED},
        {"strongly encrypted", 0, false, 8, 2, 0x40, PO_E_UNSUPPORTED},
        {"masked", 0, false, 8, 2, 0x2000, PO_E_UNSUPPORTED},
        {"patch", 0, false, 8, 2, 0x20, PO_E_UNSUPPORTED},
        {"encrypted in its own header only", 0, true, 6, 2, 1, PO_E_SYNTAX},
        {"LZMA", 0, false, 10, 2, 14, PO_E_UNSUPPORTED},
        {"method in its own header only", 0, true, 8, 2, 8, PO_E_SYNTAX},
        {"sum in its own header", 0, true, 14, 4, 1, PO_E_SYNTAX},
        {"sum in the directory", 0, false, 16, 4, 1, PO_E_SYNTAX},
        {"packed size in its own header", 0, true, 18, 4, 5, PO_E_SYNTAX},
        {"unpacked size in its own header", KIT_DEFLATED, true, 22, 4, 5, PO_E_SYNTAX},
        {"packed size in the directory", KIT_DEFLATED, false, 20, 4, 5, PO_E_SYNTAX},
        {"unpacked size in the directory", KIT_DEFLATED, false, 24, 4, 500, PO_E_SYNTAX},
        {"stored with two sizes", 0, false, 24, 4, 22, PO_E_SYNTAX},
        {"name in its own header", 0, true, 30, 1, 'x', PO_E_SYNTAX},
        {"header past the directory", 0, false, 42, 4, 100000, PO_E_SYNTAX},
        {"header where none is", 0, false, 42, 4, 3, PO_E_SYNTAX},
        {"another disk", 0, false, 34, 2, 1, PO_E_UNSUPPORTED},
        {"a bomb", KIT_DEFLATED, false, 24, 4, 3u << 30, PO_E_LIMIT},
        {"descriptor promised in the directory only", 0, false, 8, 2, 8, PO_E_SYNTAX},
        {"extra field past its end", KIT_ZIP64, true, 37, 2, 200, PO_E_SYNTAX},
        {"NUL in the name", 0, false, 46, 1, 0, PO_E_SYNTAX},
        {"backslash in the name", 0, false, 46, 1, '\\', PO_E_SYNTAX},
        {"absolute name", 0, false, 46, 1, '/', PO_E_SYNTAX},
    };
    for (size_t i = 0; i < sizeof lies / sizeof *lies; i++) {
        kit_zip z = {0};
        kit_add(&z, "first", "111111111", 9, KIT_STORED);
        kit_add(&z, "a.txt", "hello hello hello hello", 23, lies[i].how);
        unsigned char *at = lies[i].local ? z.data + z.last_local : z.directory + z.last_entry;
        kit_set(at + lies[i].at, lies[i].value, lies[i].n);
        kit_end(&z, false);
        po_err err = {0};
        po_status s = open_exact(z.data, z.n, &usual, &err);
        if (s != lies[i].want) {
            print_error("%s: %d instead of %d (%s)\n", lies[i].what, s, lies[i].want, err.msg);
        }
        assert_int_equal(s, lies[i].want);
        kit_done(&z);
    }
}

static void bad_names_are_refused(void **state)
{
    (void)state;
    static const char *const names[] = {"",
                                        "/etc/passwd",
                                        "../x",
                                        "a/../../x",
                                        "a/..",
                                        "..",
                                        "./a",
                                        "a/./b",
                                        "c:/x",
                                        "C:x",
                                        "a\\b",
                                        "a//b",
                                        ("a\x01"
                                         "b"), /* apart: \x01b would be one character */
                                        "a\x7f",
                                        "a/../b"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        kit_zip z = {0};
        kit_add(&z, names[i], "x", 1, KIT_STORED);
        kit_end(&z, false);
        po_err err;
        assert_int_equal(open_exact(z.data, z.n, &usual, &err), PO_E_SYNTAX);
        kit_done(&z);
    }
    static const char *const good[] = {"..a", "a..", "...", "3D/.hidden", "\xc3\xa4.txt", "a b"};
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        kit_zip z = {0};
        kit_add(&z, good[i], "x", 1, KIT_STORED);
        kit_end(&z, false);
        po_err err;
        assert_int_equal(open_exact(z.data, z.n, &usual, &err), PO_OK);
        kit_done(&z);
    }
}

static void twice_is_refused(void **state)
{
    (void)state;
    static const char *const pairs[][2] = {{"a", "a"}, {"3D/A.model", "3d/a.MODEL"}, {"b/", "b"}};
    for (size_t i = 0; i < 3; i++) {
        kit_zip z = {0};
        kit_add(&z, pairs[i][0], "", 0, KIT_STORED);
        kit_add(&z, "between", "x", 1, KIT_STORED);
        kit_add(&z, pairs[i][1], "", 0, KIT_STORED);
        kit_end(&z, false);
        po_err err;
        assert_int_equal(open_exact(z.data, z.n, &usual, &err), PO_E_SYNTAX);
        kit_done(&z);
    }
}

/* Two entries that share bytes, as the densest bombs do (D. Fifield, "A better zip bomb", WOOT 2019). */
static void overlap_is_refused(void **state)
{
    (void)state;
    kit_zip z = {0};
    kit_add(&z, "same", "hello", 5, KIT_STORED);
    memcpy(z.directory + z.n_directory, z.directory, z.n_directory); /* the same header again */
    z.n_directory *= 2;
    z.n_members = 2;
    kit_end(&z, false);
    po_err err;
    assert_int_equal(open_exact(z.data, z.n, &usual, &err), PO_E_SYNTAX);
    assert_non_null(strstr(err.msg, "overlaps"));
    kit_done(&z);
    /* a member whose bytes hold another member whole */
    kit_zip inner = {0}, outer = {0};
    kit_add(&inner, "in", "12345", 5, KIT_STORED);
    kit_add(&outer, "out", inner.data, inner.n, KIT_STORED);
    memcpy(outer.directory + outer.n_directory, inner.directory, inner.n_directory);
    kit_set(outer.directory + outer.n_directory + 42, 33, 4);
    outer.n_directory += inner.n_directory;
    outer.n_members = 2;
    kit_end(&outer, false);
    assert_int_equal(open_exact(outer.data, outer.n, &usual, &err), PO_E_SYNTAX);
    assert_non_null(strstr(err.msg, "overlaps"));
    kit_done(&inner);
    kit_done(&outer);
}

static void limits_hold(void **state)
{
    (void)state;
    size_t n = 8u << 20;
    char *zeros = calloc(1, n);
    assert_non_null(zeros);
    kit_zip z = {0};
    kit_add(&z, "bomb", zeros, n, KIT_DEFLATED); /* about 1000 to 1 */
    kit_end(&z, false);
    po_err err;
    assert_int_equal(open_exact(z.data, z.n, &usual, &err), PO_E_LIMIT);
    po_part_limits l = usual;
    l.most_ratio = 2000;
    assert_int_equal(open_exact(z.data, z.n, &l, &err), PO_OK);
    l.most_unpacked = n - 1;
    assert_int_equal(open_exact(z.data, z.n, &l, &err), PO_E_LIMIT);
    l.most_unpacked = n;
    assert_int_equal(open_exact(z.data, z.n, &l, &err), PO_OK);
    l.most_members = 0;
    assert_int_equal(open_exact(z.data, z.n, &l, &err), PO_E_LIMIT);
    l.most_members = 1;
    l.most_bytes = z.n - 1;
    assert_int_equal(open_exact(z.data, z.n, &l, &err), PO_E_LIMIT);
    kit_done(&z);
    free(zeros);
}

static void directory_lies_are_seen(void **state)
{
    (void)state;
    static const struct {
        int at, n;
        uint64_t value;
    } lies[] = {{4, 2, 1},   {6, 2, 1},           {8, 2, 1},  {10, 2, 3},          {10, 2, 0xffff},
                {12, 4, 10}, {12, 4, 0xffffffff}, {16, 4, 1}, {16, 4, 0xffffffff}, {20, 2, 1}};
    for (size_t i = 0; i < sizeof lies / sizeof *lies; i++) {
        kit_zip z = {0};
        kit_add(&z, "a", "1", 1, KIT_STORED);
        kit_add(&z, "b", "2", 1, KIT_STORED);
        kit_end(&z, false);
        kit_set(z.data + z.n - 22 + lies[i].at, lies[i].value, lies[i].n);
        po_err err;
        assert_int_not_equal(open_exact(z.data, z.n, &usual, &err), PO_OK);
        kit_done(&z);
    }
    /* ZIP64: two end records that differ */
    kit_zip z = {0};
    kit_add(&z, "a", "1", 1, KIT_STORED);
    kit_end(&z, true);
    kit_set(z.data + z.n - 22 + 10, 7, 2);
    po_err err;
    assert_int_equal(open_exact(z.data, z.n, &usual, &err), PO_E_SYNTAX);
    kit_done(&z);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_all_forms),         cmocka_unit_test(every_prefix_fails),
        cmocka_unit_test(every_byte_changed),      cmocka_unit_test(lies_are_seen),
        cmocka_unit_test(bad_names_are_refused),   cmocka_unit_test(twice_is_refused),
        cmocka_unit_test(overlap_is_refused),      cmocka_unit_test(limits_hold),
        cmocka_unit_test(directory_lies_are_seen),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

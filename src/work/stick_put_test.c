/* A job written to a stick: whole, or as it was. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "work/stick_put.h"

/* FIPS 180-4, example for "abc" (NIST, SHA256.pdf) */
#define ABC "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

static void holds(const char *path, const char *wanted)
{
    char bytes[16] = "";
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    size_t n = fread(bytes, 1, sizeof bytes - 1, f);
    fclose(f);
    assert_int_equal(n, strlen(wanted));
    assert_string_equal(bytes, wanted);
}

static void whole_or_as_it_was(void **state)
{
    (void)state;
    char mount[] = "/tmp/stick-XXXXXX", path[64], beside[64];
    po_err err;
    assert_non_null(mkdtemp(mount));
    snprintf(path, sizeof path, "%s/A.GCO", mount);
    snprintf(beside, sizeof beside, "%s/.proveout-new", mount);
    assert_int_equal(work_stick_put(mount, "A.GCO", "abc", 3, ABC, &err), PO_OK);
    holds(path, "abc");
    assert_int_equal(work_stick_put(mount, "A.GCO", "abd", 3, ABC, &err), PO_E_CONFLICT);
    holds(path, "abc");
    static const char *const bad[] = {"", ".hidden", "a/b", "../a", "a\nb"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_int_equal(work_stick_put(mount, bad[i], "abc", 3, ABC, &err), PO_E_RANGE);
    }
    assert_int_not_equal(access(beside, F_OK), 0);
    /* a folder in the way: it can't be renamed over, and nothing is left beside it */
    unlink(path);
    assert_int_equal(mkdir(path, 0700), 0);
    assert_int_equal(work_stick_put(mount, "A.GCO", "abc", 3, ABC, &err), PO_E_IO);
    assert_int_not_equal(access(beside, F_OK), 0);
    rmdir(path);
    assert_int_equal(rmdir(mount), 0); /* nothing else was left */
    assert_int_equal(work_stick_put(mount, "A.GCO", "abc", 3, ABC, &err), PO_E_NOTFOUND);
}

static void named(po_arena *arena, const char *mount, const char *wished, const char *wanted)
{
    const char *name = work_stick_name(mount, wished, ABC, arena);
    po_err err;
    assert_non_null(name);
    assert_string_equal(name, wanted);
    assert_int_equal(work_stick_put(mount, name, "abc", 3, ABC, &err), PO_OK);
}

static void names_that_sticks_take(void **state)
{
    (void)state;
    char mount[] = "/tmp/stick-XXXXXX", path[300], wished[256], wanted[256];
    po_arena *arena = po_arena_new(0);
    static const char *const names[][2] = {{"lamp \"v2\": a?.gcode", "lamp _v2__ a_.gcode"},
                                           {".gcode", "_gcode"},
                                           {"a\\b<c>|*.g", "a_b_c___.g"},
                                           {"foot. ", "foot__"},
                                           {"Fu\xc3\x9f.gcode", "Fu\xc3\x9f.gcode"}};
    assert_non_null(mkdtemp(mount));
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        named(arena, mount, names[i][0], names[i][1]);
        snprintf(path, sizeof path, "%s/%s", mount, names[i][1]);
        assert_int_equal(unlink(path), 0);
    }
    /* 240 bytes of two-byte characters after one of one: cut to a whole one, with the ending */
    wished[0] = wanted[0] = 'x';
    for (int i = 0; i < 120; i++) {
        memcpy(wished + 1 + 2 * i, "\xc3\xa4", 2);
        memcpy(wanted + 1 + 2 * i, "\xc3\xa4", 2);
    }
    memcpy(wished + 241, ".gcode", 7);
    memcpy(wanted + 113, ".gcode", 7);
    named(arena, mount, wished, wanted);
    snprintf(path, sizeof path, "%s/%s", mount, wanted);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(rmdir(mount), 0);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(whole_or_as_it_was), cmocka_unit_test(names_that_sticks_take)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

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

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(whole_or_as_it_was)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

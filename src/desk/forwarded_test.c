/* Tests of the Forwarded field. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "desk/forwarded.h"

static void tells(const char *field, const char *wanted)
{
    char got[DESK_ADDRESS_MOST] = "untouched";
    assert_int_equal(desk_forwarded(field, got), wanted != NULL);
    assert_string_equal(got, wanted ? wanted : "untouched");
}

static void test_of_the_standard(void **state)
{
    (void)state; /* RFC 7239, sections 4, 6 and 7.1; its last element is what the nearest proxy saw */
    tells("for=192.0.2.60;proto=http;by=203.0.113.43", "192.0.2.60");
    tells("For=\"[2001:db8:cafe::17]:4711\"", "2001:db8:cafe::");
    tells("for=192.0.2.43, for=198.51.100.17", "198.51.100.17");
    tells("for=192.0.2.43, for=\"[2001:db8:cafe::17]\"", "2001:db8:cafe::");
    tells("for=192.0.2.43,for=\"[2001:db8:cafe::17]\",for=unknown", NULL);
    tells("for=_hidden, for=_SEVKISEK", NULL);
    tells("for=\"_gazonk\"", NULL);
    tells("for=_secret, for=192.0.2.1", "192.0.2.1");
    tells("for=\"192.0.2.43:47011\"", "192.0.2.43");
}

static void test_made_up(void **state)
{
    (void)state;
    static const char *const bad[] = {"",
                                      " ",
                                      "for",
                                      "for=",
                                      "for=\"",
                                      "for=\"1.2.3.4",
                                      "for=1.2.3.4 x",
                                      "for=1.2.3.4,",
                                      "for=1.2.3.4;",
                                      "for=1.2.3.4;for=5.6.7.8",
                                      "for=1.2.3.4, for=5.6.7.8;for=9.9.9.9",
                                      "for=[2001:db8::1]",
                                      "for=\"[192.0.2.1]\"",
                                      "for=\"2001:db8::1\"",
                                      "for=\"1.2.3.4:\"",
                                      "for=\"1.2.3.4:123456\"",
                                      "for=\"1.2.3.4:80x\"",
                                      "for=1.2.3",
                                      "for=1.2.3.4, by=5.6.7.8",
                                      "for=\"1.2.3.4\\",
                                      "for=\"1.2.3.4\"\"",
                                      "for =1.2.3.4",
                                      ",for=1.2.3.4"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        tells(bad[i], NULL);
    }
    tells("for=6.6.6.6, by=1.1.1.1;FOR=192.0.2.7", "192.0.2.7");
    tells("for=\"192.0.2\\.7\"", "192.0.2.7");
    tells("for=\"[::ffff:192.0.2.7]\"", "192.0.2.7");
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_of_the_standard), cmocka_unit_test(test_made_up)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

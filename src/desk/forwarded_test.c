/* Tests of the Forwarded field. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "desk/forwarded.h"

/* wanted: "" hidden or none is told, NULL malformed */
static void tells_of(const desk_proxies *proxies, const char *field, const char *wanted, bool https)
{
    desk_told got = {.address = "untouched"};
    assert_int_equal(desk_forwarded(field, proxies, &got), wanted != NULL);
    assert_string_equal(got.address, wanted ? wanted : "untouched");
    assert_int_equal(got.https, https);
}

static void tells(const char *field, const char *wanted)
{
    tells_of(&(desk_proxies){0}, field, wanted, false);
}

static void test_of_the_standard(void **state)
{
    (void)state; /* RFC 7239, sections 4, 6 and 7.1; its last element is what the nearest proxy saw */
    tells("for=192.0.2.60;proto=http;by=203.0.113.43", "192.0.2.60");
    tells("For=\"[2001:db8:cafe::17]:4711\"", "2001:db8:cafe::");
    tells("for=192.0.2.43, for=198.51.100.17", "198.51.100.17");
    tells("for=192.0.2.43, for=\"[2001:db8:cafe::17]\"", "2001:db8:cafe::");
    tells("for=192.0.2.43,for=\"[2001:db8:cafe::17]\",for=unknown", "");
    tells("for=_hidden, for=_SEVKISEK", "");
    tells("for=\"_gazonk\"", "");
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
                                      "for=\"1.2.3.4\\",
                                      "for=\"1.2.3.4\"\"",
                                      "for =1.2.3.4",
                                      "proto=https;proto=http;for=1.2.3.4",
                                      ",for=1.2.3.4"};
    static const char *const none[] = {"for=\"[192.0.2.1]\"",     "for=\"2001:db8::1\"", "for=\"1.2.3.4:\"",
                                       "for=\"1.2.3.4:123456\"",  "for=\"1.2.3.4:80x\"", "for=1.2.3",
                                       "for=1.2.3.4, by=5.6.7.8", "for=\"[::1\"",        "for=\"[::1]x\""};
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
        tells(none[i], "");
    }
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        tells(bad[i], NULL);
    }
    tells("for=6.6.6.6, by=1.1.1.1;FOR=192.0.2.7", "192.0.2.7");
    tells("for=\"192.0.2\\.7\"", "192.0.2.7");
    tells("for=\"[::ffff:192.0.2.7]\"", "192.0.2.7");
}

static void test_proto(void **state)
{
    (void)state;
    const desk_proxies none = {0};
    tells_of(&none, "for=192.0.2.60;proto=https;by=203.0.113.43", "192.0.2.60", true);
    tells_of(&none, "Proto=\"HTTPS\"", "", true);
    tells_of(&none, "for=192.0.2.60;proto=https, for=198.51.100.7", "198.51.100.7", false); /* the first was made up */
    tells_of(&none, "for=192.0.2.60;proto=http", "192.0.2.60", false);
    tells_of(&none, "for=192.0.2.60;proto=httpsx", "192.0.2.60", false);
}

static void test_one_proxy_after_another(void **state)
{
    (void)state;
    desk_proxies two;
    assert_true(desk_proxies_read("198.51.100.7,2001:db8::7", &two));
    tells_of(&two, "for=6.6.6.6, for=192.0.2.1;proto=https, for=198.51.100.7;proto=http", "192.0.2.1", true);
    tells_of(&two, "for=192.0.2.1, for=198.51.100.7, for=\"[2001:db8::7]:99\"", "192.0.2.1", false);
    tells_of(&two, "for=192.0.2.1, for=\"[2001:db8::8]\"", "2001:db8::", false); /* a neighbour is no proxy */
    tells_of(&two, "for=198.51.100.7, for=203.0.113.5", "203.0.113.5", false);
    tells_of(&two, "for=198.51.100.7", "198.51.100.7", false); /* somebody who sits there */
    tells_of(&two, "for=192.0.2.1, for=unknown, for=198.51.100.7", "", false);
}

static void test_proxies_named(void **state)
{
    (void)state;
    desk_proxies p = {.n = -1};
    static const char *const bad[] = {"",
                                      ",",
                                      "127.0.0.1,",
                                      ",::1",
                                      "quay",
                                      "127.0.0.1, ::1",
                                      "10.0.0.0/8",
                                      "127.1",
                                      "::1%lo",
                                      "1.1.1.1,1.1.1.1,1.1.1.1,1.1.1.1,1.1.1.1,1.1.1.1,1.1.1.1,1.1.1.1,1.1.1.1",
                                      "0000:0000:0000:0000:0000:0000:0000:0000:0000:0000:0000:0001"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_false(desk_proxies_read(bad[i], &p));
        assert_int_equal(p.n, -1);
    }
    assert_true(desk_proxies_read("192.0.2.7,2001:db8::7", &p));
    assert_int_equal(p.n, 2);
    assert_true(desk_is_proxy(&p, "192.0.2.7"));
    assert_true(desk_is_proxy(&p, "::ffff:192.0.2.7")); /* as a socket for both kinds shows it */
    assert_true(desk_is_proxy(&p, "2001:db8:0::7"));
    assert_false(desk_is_proxy(&p, "2001:db8::8"));
    assert_false(desk_is_proxy(&p, "2001:db8::"));
    assert_false(desk_is_proxy(&p, "192.0.2.8"));
    assert_false(desk_is_proxy(&p, "?"));
    assert_false(desk_is_proxy(&(desk_proxies){0}, "::"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_of_the_standard), cmocka_unit_test(test_made_up),
                                       cmocka_unit_test(test_proto), cmocka_unit_test(test_one_proxy_after_another),
                                       cmocka_unit_test(test_proxies_named)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

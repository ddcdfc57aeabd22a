/* What the shop's own proxies tell of whom they send: the Forwarded field, RFC 7239. SPDX-License-Identifier: Apache-2.0
 *
 * The grammar is that of RFC 7239, section 4: elements with commas between them, each of pairs with semicolons between them; a
 * value is a token or a quoted string, and an IPv6 address stands in brackets and quotes. */
#include "desk/forwarded.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <string.h>
#include <strings.h>

enum { VALUE_MOST = 128 };

bool desk_address(const char *text, char ret[DESK_ADDRESS_MOST])
{
    struct in_addr four;
    struct in6_addr six;
    if (inet_pton(AF_INET, text, &four) == 1) {
        return inet_ntop(AF_INET, &four, ret, DESK_ADDRESS_MOST) != NULL;
    }
    if (inet_pton(AF_INET6, text, &six) != 1) {
        return false;
    }
    if (IN6_IS_ADDR_V4MAPPED(&six)) {
        memcpy(&four, six.s6_addr + 12, 4);
        return inet_ntop(AF_INET, &four, ret, DESK_ADDRESS_MOST) != NULL;
    }
    memset(six.s6_addr + 8, 0, 8); /* one person has a whole /64 */
    return inet_ntop(AF_INET6, &six, ret, DESK_ADDRESS_MOST) != NULL;
}

/* All 16 bytes, IPv4 as IPv6 maps it (RFC 4291, section 2.5.5.2). */
static bool whole_address(const char *text, unsigned char ret[16])
{
    static const unsigned char mapped[12] = {[10] = 0xff, [11] = 0xff};
    unsigned char four[4];
    if (inet_pton(AF_INET, text, four) == 1) {
        memcpy(ret, mapped, sizeof mapped);
        memcpy(ret + sizeof mapped, four, sizeof four);
        return true;
    }
    return inet_pton(AF_INET6, text, ret) == 1;
}

bool desk_proxies_read(const char *text, desk_proxies *ret)
{
    desk_proxies all = {0};
    for (const char *at = text;; at++) {
        char one[DESK_ADDRESS_MOST];
        size_t n = strcspn(at, ",");
        if (n >= sizeof one || all.n == DESK_PROXIES_MOST) {
            return false;
        }
        memcpy(one, at, n);
        one[n] = 0;
        if (!whole_address(one, all.at[all.n])) {
            return false;
        }
        all.n++;
        at += n;
        if (!*at) {
            break;
        }
    }
    *ret = all;
    return true;
}

bool desk_is_proxy(const desk_proxies *proxies, const char *address)
{
    unsigned char bytes[16];
    bool is = false;
    if (proxies->n > 0 && whole_address(address, bytes)) {
        for (int i = 0; i < proxies->n; i++) {
            is = is || memcmp(proxies->at[i], bytes, sizeof bytes) == 0;
        }
    }
    return is;
}

/* token of RFC 9110, section 5.6.2 */
static bool is_token(char c)
{
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') ||
           (c && strchr("!#$%&'*+-.^_`|~", c));
}

static const char *blanks(const char *at)
{
    return at + strspn(at, " \t");
}

/* One value, a token or a quoted string; NULL: malformed or too long. */
static const char *value_of(const char *at, char ret[VALUE_MOST])
{
    size_t n = 0;
    bool quoted = *at == '"';
    for (at += quoted; quoted ? *at != '"' : is_token(*at); at++) {
        at += quoted && *at == '\\';
        if (!*at || n + 1 >= VALUE_MOST) {
            return NULL;
        }
        ret[n++] = *at;
    }
    ret[n] = 0;
    return quoted ? at + 1 : n ? at : NULL;
}

static bool port_well(const char *text)
{
    size_t n = strspn(text + 1, "0123456789");
    return !*text || (*text == ':' && n >= 1 && n <= 5 && !text[1 + n]);
}

/* node of section 6, cut down in place to its address; NULL: none, which is so of "unknown" and "_hidden" too. */
static const char *node_address(char *node)
{
    char *end = *node == '[' ? strchr(node, ']') : strchr(node, ':');
    bool six = *node == '[';
    if ((six && !end) || (end && !port_well(end + six))) {
        return NULL;
    }
    if (end) {
        *end = 0;
    }
    unsigned char bytes[16];
    node += six;
    return six == (strchr(node, ':') != NULL) && whole_address(node, bytes) ? node : NULL;
}

typedef struct element {
    bool has_for, has_proto, twice, near; /* twice: malformed; near: "for" names one of the proxies */
    desk_told told;
} element;

/* A pair of an element; the value is cut. */
static void take_pair(element *e, const char *name, size_t n, char *value, const desk_proxies *proxies)
{
    if (n == 3 && strncasecmp(name, "for", n) == 0) {
        const char *address = node_address(value);
        e->twice = e->twice || e->has_for;
        e->has_for = true;
        e->near = address && desk_is_proxy(proxies, address);
        if (!address || !desk_address(address, e->told.address)) {
            e->told.address[0] = 0;
        }
    } else if (n == 5 && strncasecmp(name, "proto", n) == 0) {
        e->twice = e->twice || e->has_proto;
        e->has_proto = true;
        e->told.https = strcasecmp(value, "https") == 0;
    }
}

bool desk_forwarded(const char *field, const desk_proxies *proxies, desk_told *ret)
{
    char value[VALUE_MOST];
    element e = {0};
    desk_told all = {0};
    bool first = true;
    for (const char *at = blanks(field);; at = blanks(at + 1)) {
        size_t n = 0;
        while (is_token(at[n])) {
            n++;
        }
        const char *name = at;
        at = n > 0 && at[n] == '=' ? value_of(at + n + 1, value) : NULL;
        if (!at) {
            return false;
        }
        take_pair(&e, name, n, value, proxies);
        at = blanks(at);
        if (e.twice || (*at && *at != ',' && *at != ';')) {
            return false;
        }
        if (*at != ';') { /* the element ends; where it was sent by a proxy of ours, what that one told before stands */
            all = e.near && !first ? all : e.told;
            first = false;
            e = (element){0};
        }
        if (!*at) {
            break;
        }
    }
    *ret = all;
    return true;
}

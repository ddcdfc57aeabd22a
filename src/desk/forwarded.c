/* Whose address a trusted proxy tells: the Forwarded field, RFC 7239. SPDX-License-Identifier: Apache-2.0
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

/* node of section 6: an address with or without a port. */
static bool node_address(char node[VALUE_MOST], char ret[DESK_ADDRESS_MOST])
{
    char *end = *node == '[' ? strchr(node, ']') : strchr(node, ':');
    if (*node == '[') {
        if (!end || !port_well(end + 1)) {
            return false;
        }
        *end = 0;
        return strchr(node + 1, ':') && desk_address(node + 1, ret);
    }
    if (end) {
        if (!port_well(end)) {
            return false;
        }
        *end = 0;
    }
    return !strchr(node, ':') && desk_address(node, ret);
}

bool desk_forwarded(const char *field, char ret[DESK_ADDRESS_MOST])
{
    char last[DESK_ADDRESS_MOST] = "", value[VALUE_MOST];
    bool told = false, twice = false;
    for (const char *at = blanks(field);; at = blanks(at + 1)) {
        size_t n = 0;
        while (is_token(at[n])) {
            n++;
        }
        if (n == 0 || at[n] != '=') {
            return false;
        }
        bool is_for = n == 3 && strncasecmp(at, "for", 3) == 0;
        at = value_of(at + n + 1, value);
        if (!at) {
            return false;
        }
        if (is_for) {
            twice = twice || told;
            told = true;
            if (!node_address(value, last)) {
                last[0] = 0;
            }
        }
        at = blanks(at);
        if (!*at) {
            break;
        }
        if (twice || (*at != ',' && *at != ';')) {
            return false;
        }
        if (*at == ',') { /* the next element is nearer */
            told = false;
            last[0] = 0;
        }
    }
    if (twice || !last[0]) {
        return false;
    }
    memcpy(ret, last, sizeof last);
    return true;
}

/* What the shop's own proxies tell of whom they send. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_DESK_FORWARDED_H
#define PO_DESK_FORWARDED_H

#include <stdbool.h>

enum { DESK_ADDRESS_MOST = 48, DESK_PROXIES_MOST = 8 };

/* Whole addresses, IPv4 as IPv6 maps it: a neighbour in a proxy's /64 is not the proxy. */
typedef struct desk_proxies {
    int n;
    unsigned char at[DESK_PROXIES_MOST][16];
} desk_proxies;

/* "ADDRESS[,ADDRESS]"; false: none, more than DESK_PROXIES_MOST, or something that is no address; then ret is untouched. */
bool desk_proxies_read(const char *text, desk_proxies *ret);
/* Whether this address in numbers is one of them. */
bool desk_is_proxy(const desk_proxies *proxies, const char *address);

typedef struct desk_told {
    char address
        [DESK_ADDRESS_MOST]; /* IPv6 cut to its /64, as for addresses of connections; "": hidden, or none is told */
    bool https;              /* they came to the proxy by TLS */
} desk_told;

/* What a Forwarded field (RFC 7239) that came from one of the proxies tells. Its last element is what the nearest one has seen; where that
 * names another of the proxies, the element before is that one's, and so on. All else comes from farther away and could be made up.
 * Ports are dropped. false: malformed; then ret is untouched. */
bool desk_forwarded(const char *field, const desk_proxies *proxies, desk_told *ret);

/* An address as it stands on a socket and in the log: IPv4, or IPv6 cut to its /64. false: none. */
bool desk_address(const char *text, char ret[DESK_ADDRESS_MOST]);

#endif

/* Whose address a trusted proxy tells. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_DESK_FORWARDED_H
#define PO_DESK_FORWARDED_H

#include <stdbool.h>

enum { DESK_ADDRESS_MOST = 48 };

/* The address in the last element of a Forwarded field (RFC 7239), which is what the nearest proxy has seen; what stands before
 * comes from farther away and could be made up. IPv6 is cut to its /64, as for addresses of connections; ports are dropped.
 * false: malformed, no "for", or a name that hides the address ("unknown", "_hidden"): then ret is untouched. */
bool desk_forwarded(const char *field, char ret[DESK_ADDRESS_MOST]);

/* An address as it stands on a socket and in the log: IPv4, or IPv6 cut to its /64. false: none. */
bool desk_address(const char *text, char ret[DESK_ADDRESS_MOST]);

#endif

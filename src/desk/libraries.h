/* libmicrohttpd and libsodium, opened by name. SPDX-License-Identifier: Apache-2.0
 *
 * The server's library brings nine others along (GnuTLS and what it needs). Nothing links to them: a check of a job must not
 * wait for what only the desk's server needs. The tables are typed by the libraries' own headers. */
#ifndef PO_DESK_LIBRARIES_H
#define PO_DESK_LIBRARIES_H

#include <microhttpd.h>
#include <sodium.h>

#include "proveout/status.h"

#define DESK_HTTP_FUNCTIONS(F)                                                                                         \
    F(start_daemon)                                                                                                    \
    F(stop_daemon)                                                                                                     \
    F(quiesce_daemon)                                                                                                  \
    F(create_response_from_buffer)                                                                                     \
    F(create_response_from_fd)                                                                                         \
    F(create_response_from_callback)                                                                                   \
    F(add_response_header)                                                                                             \
    F(queue_response)                                                                                                  \
    F(destroy_response)                                                                                                \
    F(lookup_connection_value)                                                                                         \
    F(get_connection_values)                                                                                           \
    F(get_connection_info)                                                                                             \
    F(suspend_connection)                                                                                              \
    F(resume_connection)                                                                                               \
    F(is_feature_supported)

typedef struct desk_http {
    void *library;
#define F(name) __typeof__(&MHD_##name) name;
    DESK_HTTP_FUNCTIONS(F)
#undef F
} desk_http;

#define DESK_CRYPT_FUNCTIONS(F)                                                                                        \
    F(sodium_init)                                                                                                     \
    F(sodium_memzero)                                                                                                  \
    F(sodium_memcmp)                                                                                                   \
    F(randombytes_buf)                                                                                                 \
    F(crypto_generichash)                                                                                              \
    F(crypto_pwhash_str_alg)                                                                                           \
    F(crypto_pwhash_str_verify)

typedef struct desk_crypt {
    void *library;
#define F(name) __typeof__(&name) name;
    DESK_CRYPT_FUNCTIONS(F)
#undef F
} desk_crypt;

/* PO_E_UNSUPPORTED where the library, or a function in it, is not there; the sentence names the package. They stay open. */
po_status desk_http_open(desk_http *ret, po_err *err) PO_MUST_USE;
po_status desk_crypt_open(desk_crypt *ret, po_err *err) PO_MUST_USE;

#endif

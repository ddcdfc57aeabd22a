/* The two libraries, opened and looked through. SPDX-License-Identifier: Apache-2.0 */
#include "desk/libraries.h"

#include <dlfcn.h>
#include <string.h>

/* POSIX says that a function's address fits the pointer that dlsym gives; copying bytes keeps ISO C content. */
#define LOOK_UP(target, symbol_name)                                                                                   \
    {                                                                                                                  \
        void *symbol = dlsym(api.library, symbol_name);                                                                \
        if (!symbol) {                                                                                                 \
            dlclose(api.library);                                                                                      \
            return po_fail(err, PO_E_UNSUPPORTED, "the installed library lacks " symbol_name);                         \
        }                                                                                                              \
        memcpy(&(target), &symbol, sizeof symbol);                                                                     \
    }

po_status desk_http_open(desk_http *ret, po_err *err)
{
    desk_http api = {.library = dlopen("libmicrohttpd.so.12", RTLD_NOW | RTLD_LOCAL | RTLD_NODELETE)};
    if (!api.library) {
        return po_fail(
            err, PO_E_UNSUPPORTED,
            "the desk's server needs libmicrohttpd.so.12 (Debian package libmicrohttpd12), which is not there");
    }
#define F(name) LOOK_UP(api.name, "MHD_" #name)
    DESK_HTTP_FUNCTIONS(F)
#undef F
    *ret = api;
    return PO_OK;
}

po_status desk_crypt_open(desk_crypt *ret, po_err *err)
{
    desk_crypt api = {.library = dlopen("libsodium.so.23", RTLD_NOW | RTLD_LOCAL | RTLD_NODELETE)};
    if (!api.library) {
        return po_fail(err, PO_E_UNSUPPORTED,
                       "passwords need libsodium.so.23 (Debian package libsodium23), which is not there");
    }
#define F(name) LOOK_UP(api.name, #name)
    DESK_CRYPT_FUNCTIONS(F)
#undef F
    if (api.sodium_init() < 0) {
        return po_fail(err, PO_E_IO, "libsodium found no source of random numbers");
    }
    *ret = api;
    return PO_OK;
}

/* libical, opened by name. SPDX-License-Identifier: Apache-2.0 */
#include "plan/ical_library.h"

#include <dlfcn.h>
#include <string.h>

po_status po_ical_library_open(po_ical_library *ret, po_err *err)
{
    void *library = dlopen("libical.so.3", RTLD_NOW | RTLD_LOCAL | RTLD_NODELETE);
    if (!library) {
        return po_fail(err, PO_E_UNSUPPORTED,
                       "a calendar with recurrences or zones of its own needs the library libical.so.3 (Debian package "
                       "libical3), which "
                       "is not there");
    }
    /* POSIX says that a function's address fits the pointer that dlsym gives; copying bytes keeps ISO C content. */
#define F(name)                                                                                                        \
    {                                                                                                                  \
        void *symbol = dlsym(library, #name);                                                                          \
        if (!symbol) {                                                                                                 \
            dlclose(library);                                                                                          \
            return po_fail(err, PO_E_UNSUPPORTED, "the installed libical.so.3 lacks " #name);                          \
        }                                                                                                              \
        memcpy(&ret->name, &symbol, sizeof symbol);                                                                    \
    }
    PO_ICAL_FUNCTIONS(F)
#undef F
    dlclose(library); /* it stays: RTLD_NODELETE */
    return PO_OK;
}

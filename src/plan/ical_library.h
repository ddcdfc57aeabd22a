/* libical, opened by name. SPDX-License-Identifier: Apache-2.0
 *
 * Why it is not linked: it brings ICU and the C++ library along, which adds some 3 ms to every start of the program, a third of what a
 * whole check of a small job takes; only a calendar with recurrences or zones of its own needs it. The functions used stand in one
 * table, filled from the real prototypes, so the compiler still checks every call (as with cairo: slip/render_cairo.c). libical.so.3 is the
 * name of the stable interface since 2017. Once opened it stays loaded. */
#ifndef PO_PLAN_ICAL_LIBRARY_H
#define PO_PLAN_ICAL_LIBRARY_H

#include <libical/ical.h>

#include "proveout/status.h"

/* clang-format off */
#define PO_ICAL_FUNCTIONS(F) \
    F(icalcomponent_free) F(icalcomponent_get_first_component) F(icalcomponent_isa) F(icalerrno_return) F(icalerror_clear_errno) \
    F(icalerror_strerror) F(icalparser_parse_string) F(icalrecur_iterator_free) F(icalrecur_iterator_new) F(icalrecur_iterator_next) \
    F(icalrecurrencetype_from_string) F(icaltime_is_null_time) F(icaltimezone_free) F(icaltimezone_get_utc_offset) \
    F(icaltimezone_get_utc_offset_of_utc_time) F(icaltimezone_new) F(icaltimezone_set_component)
/* clang-format on */

typedef struct po_ical_library {
#define F(name) __typeof__(name) *name;
    PO_ICAL_FUNCTIONS(F)
#undef F
} po_ical_library;

/* Errors: PO_E_UNSUPPORTED: it is not installed, or lacks a function. */
po_status po_ical_library_open(po_ical_library *ret, po_err *err) PO_MUST_USE;

#endif

/* Numbers, days and times as a shop file writes them. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SHOP_VALUES_H
#define PO_SHOP_VALUES_H

#include <stdbool.h>
#include <stddef.h>

#include "proveout/shop.h"

/* A decimal number that is the whole text: sign, digits, point (base/number.h). Not: nan, inf, hex, exponents,
 * underscores, a leading zero before another digit. What is too large for a double comes out infinite, for the caller's
 * bounds to refuse. */
bool po_value_number(const char *text, size_t n, double *ret);

/* 2026-09-21, a day that exists (ISO 8601, Gregorian), in the years 2000 to 2199. */
bool po_value_date(const char *text, size_t n, po_date *ret);
/* -1, 0, 1 */
int po_date_order(po_date a, po_date b);
/* One day, or first/last day. False also when it ends before it begins; *ret_backwards then says so. */
bool po_value_dates(const char *text, size_t n, bool one_day_allowed, po_date *ret_from, po_date *ret_to,
                    bool *ret_backwards);
/* 10:00-20:00; the end may be 24:00 and must be later than the beginning (else *ret_backwards). */
bool po_value_span(const char *text, size_t n, po_span_minutes *ret, bool *ret_backwards);

#endif

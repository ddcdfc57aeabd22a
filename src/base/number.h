/* Numbers from text, exact and without regard to the locale. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_BASE_NUMBER_H
#define PO_BASE_NUMBER_H

#include <stddef.h>

/* Read [+-]digits[.digits] (".5", "5." and "-0" too; no exponent, no blanks) that starts at p, looking at no byte from
 * end on. Returns where the number ends and writes the nearest double to *ret (ties to even, as strtod in the C locale
 * does; infinite when beyond the largest double), or NULL, *ret untouched, when no number stands there. */
const char *po_number_read(const char *p, const char *end, double *ret);

/* The same with an exponent behind it where one stands (e or E, a sign or none, digits). "1e" is the number 1 that ends
 * before the e. Infinite when beyond the largest double. */
const char *po_number_read_e(const char *p, const char *end, double *ret);

enum { PO_NUMBER_ROOM = 32 };

/* Write the shortest decimal that reads back to the same double (of several, the closest), with an exponent where that
 * is shorter ("1e-7"); not ended by a zero byte. -0 is "-0". value must be finite. Returns the number of bytes. */
size_t po_number_write(char out[PO_NUMBER_ROOM], double value);

#endif

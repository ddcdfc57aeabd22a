/* Numbers from text, exact and without regard to the locale. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_BASE_NUMBER_H
#define PO_BASE_NUMBER_H

/* Read [+-]digits[.digits] (".5", "5." and "-0" too; no exponent, no blanks) that starts at p, looking at no byte from
 * end on. Returns where the number ends and writes the nearest double to *ret (ties to even, as strtod in the C locale
 * does; infinite when beyond the largest double), or NULL, *ret untouched, when no number stands there. */
const char *po_number_read(const char *p, const char *end, double *ret);

/* The same with an exponent behind it where one stands (e or E, a sign or none, digits). "1e" is the number 1 that ends
 * before the e. Infinite when beyond the largest double. */
const char *po_number_read_e(const char *p, const char *end, double *ret);

#endif

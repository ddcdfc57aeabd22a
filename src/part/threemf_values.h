/* Values of attributes as the schemas of 3MF allow them. SPDX-License-Identifier: Apache-2.0
 * Each returns whether the whole text is such a value (blanks around it are allowed where the schema collapses them). */
#ifndef PO_PART_THREEMF_VALUES_H
#define PO_PART_THREEMF_VALUES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ST_Number (core B.1.1): digits, a point only between or before digits, an exponent; no NaN, no infinity, no hex. Reads
 * from p, looks at no byte from end on; returns where it ends, NULL when none stands there or it is beyond a double. */
const char *po_3mf_number(const char *p, const char *end, double *ret);
/* ST_ResourceIndex: 0 to 2^31 - 1. The same ends. */
const char *po_3mf_index(const char *p, const char *end, uint32_t *ret);

bool po_3mf_is_id(const char *text, uint32_t *ret); /* ST_ResourceID: 1 to 2^31 - 1 */
bool po_3mf_is_index(const char *text, uint32_t *ret);
bool po_3mf_is_number(const char *text, double *ret);
bool po_3mf_is_matrix(const char *text, double ret[12]);
bool po_3mf_is_colour(const char *text, uint32_t *ret); /* 0xRRGGBBAA; alpha ff when left out */
bool po_3mf_is_uuid(const char *text);
bool po_3mf_is_boolean(const char *text);

/* The next of a list of values separated by blanks; NULL at its end. Moves *p. */
const char *po_3mf_word(const char **p, size_t *ret_n);

/* Determinant of the upper 3 x 3. */
double po_3mf_determinant(const double m[12]);
/* first, then second: row vectors, so the product first * second. ret may not be either. */
void po_3mf_multiply(const double first[12], const double second[12], double ret[12]);
/* Whether a transform keeps three dimensions: |det| above 1e-12 of the product of its rows' lengths, all finite. */
bool po_3mf_keeps_volume(const double m[12]);

#endif

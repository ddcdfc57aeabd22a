/* Pieces of our JSON: one line, keys in the contract's order. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_JSON_KIT_H
#define PO_SLIP_JSON_KIT_H

#include "base/text.h"
#include "proveout/slip.h"

/* NULL: null. Foreign bytes are made valid UTF-8. */
void po_json_string(po_text *out, const char *text);
/* At most 9 significant digits; not finite: null. */
void po_json_number(po_text *out, double v);
/* The name of a member, with the comma before it where one is needed. */
void po_json_key(po_text *out, const char *name);
void po_json_key_number(po_text *out, const char *name, double v);
void po_json_key_count(po_text *out, const char *name, uint64_t v);
void po_json_key_string(po_text *out, const char *name, const char *v);
void po_json_key_bool(po_text *out, const char *name, bool v);
void po_json_key_point(po_text *out, const char *name, const double xyz[3]);
/* Objects keep their shape: a value that is missing is null, never the object around it. */
void po_json_key_bounds(po_text *out, const char *name, const po_span3 *b);
/* null where the place is not known */
void po_json_key_place(po_text *out, const char *name, const po_place *place);
void po_json_key_range(po_text *out, const char *name, po_range r);
/* A whole finding; "item" and "solid" where it is about one of several. */
void po_json_finding(po_text *out, const po_finding *f);

/* A whole document: the one proof, or what they have in common and "machines". How one and the common part are written, and
 * how proof i was judged, the caller knows. */
typedef struct po_json_proofs {
    const void *proofs; /* handed to the functions */
    size_t n;
    bool several;
    void (*identity)(po_text *out, const void *proofs);
    void (*one)(po_text *out, const void *proofs, size_t i);
    po_verdict (*verdict)(const void *proofs, size_t i);
} po_json_proofs;
po_status po_json_document(const po_json_proofs *of, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;

#endif

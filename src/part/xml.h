/* XML with brakes: expat, without what can hurt or mislead. SPDX-License-Identifier: Apache-2.0
 *
 * UTF-8 only, no document type (so no entities but the five), elements nested to a bound, tags and comments to a size.
 * Prefixes are resolved here rather than by expat, because a prefix that was never declared must not end the reading
 * of a file in parts that a reader is to ignore anyway. */
#ifndef PO_PART_XML_H
#define PO_PART_XML_H

#include <stddef.h>

#include "proveout/arena.h"

enum {
    PO_XML_NO_SPACE = -1, /* an attribute without a prefix; an element outside any namespace */
    PO_XML_OTHER = -2,    /* a namespace that is not in the job's list */
    PO_XML_UNDECLARED = -3,
    PO_XML_XML = -4, /* the prefix "xml" */
};

typedef struct po_xml po_xml;

typedef struct po_xml_attr {
    int space; /* index into the job's spaces, or PO_XML_... */
    const char *name, *value;
} po_xml_attr;

typedef struct po_xml_tag { /* valid during the call */
    int space;
    const char *name, *qualified; /* without and with its prefix */
    const po_xml_attr *attrs;     /* declarations of namespaces left out */
    size_t n_attrs;
    unsigned depth; /* 1 = the root */
} po_xml_tag;

typedef struct po_xml_job {
    const char *text; /* borrowed */
    size_t n;
    const char *where; /* name of the part, for errors */
    const char *const *spaces;
    int n_spaces;
    unsigned most_depth;
    void *user;
    po_status (*open)(void *user, po_xml *xml, const po_xml_tag *tag, po_err *err);
    po_status (*close)(void *user, po_xml *xml, unsigned depth, po_err *err); /* NULL = none */
    /* For elements with very many simple children. When open calls po_xml_jump, jump is called with the place behind the
     * tag (and again after each child that it left to expat) and may move *pos over whole children and blanks; expat
     * never sees them. Words: the names of such elements; other elements can't jump. */
    const char *const *jump_words;
    int n_jump_words;
    po_status (*jump)(void *user, po_xml *xml, size_t *pos, po_err *err);
} po_xml_job;

/* Errors: what the handlers return; PO_E_SYNTAX, PO_E_LIMIT, PO_E_UNSUPPORTED (encoding), PO_E_NOMEM; with line and
 * column of the text and err->where = job->where. */
po_status po_xml_read(const po_xml_job *job, po_err *err) PO_MUST_USE;

/* From open: leave out this element and all in it (open and close are not called for them). */
void po_xml_skip(po_xml *xml);
/* From open: let jump run over this element's children. */
void po_xml_jump(po_xml *xml);
/* The namespace that a prefix stands for here; NULL = not declared. */
const char *po_xml_space_of(const po_xml *xml, const char *prefix, size_t n_prefix);
/* Fill err with the place of the current tag. */
po_status po_xml_fail(const po_xml *xml, po_err *err, po_status code, const char *format, ...) PO_PRINTF(4, 5);
/* The same with a place given as an offset into the text. */
po_status po_xml_fail_at(const po_xml *xml, po_err *err, po_status code, size_t at, const char *format, ...)
    PO_PRINTF(5, 6);
/* 1-based line of the current tag. */
unsigned po_xml_line(const po_xml *xml);

#endif

/* Status codes and the error record that every fallible call fills. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_STATUS_H
#define PROVEOUT_STATUS_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#define PO_API __attribute__((visibility("default")))
#define PO_MUST_USE __attribute__((warn_unused_result))
#define PO_PRINTF(fmt, args) __attribute__((format(printf, fmt, args)))
#else
#define PO_API
#define PO_MUST_USE
#define PO_PRINTF(fmt, args)
#endif

typedef enum po_status {
    PO_OK = 0,
    PO_E_NOMEM,       /* memory or an arena's limit ran out */
    PO_E_IO,          /* the system refused a read or write */
    PO_E_SYNTAX,      /* bytes that are not what the format allows */
    PO_E_LIMIT,       /* larger than a stated cap */
    PO_E_RANGE,       /* a value outside its bounds */
    PO_E_UNSUPPORTED, /* well formed, but not something this program reads */
    PO_E_NOTFOUND,    /* a name or file that is not there */
    PO_E_CONFLICT,    /* two settings that exclude each other */
    PO_E_EMPTY,       /* not a job or part at all: no motion word, no triangle */
    PO_E_CANCELLED,   /* the caller asked to stop */
    PO_E_INTERNAL,    /* the program's own failure */
} po_status;

#define PO_NO_BYTE UINT64_MAX

/* Filled on failure only; holds its own text, so that it works when memory is gone. */
typedef struct po_err {
    po_status code;
    uint32_t line, column; /* 1-based; 0 = not a text position */
    uint64_t byte;         /* 0-based offset; PO_NO_BYTE = unknown */
    char where[128];       /* file, archive member or table */
    char msg[256];         /* one sentence: what was found, what was wanted */
} po_err;

/* Fill err (NULL is allowed) and hand the code back, so that a failing function can end with
 * `return po_fail(err, PO_E_RANGE, "...")`. Position fields are reset to "unknown". */
PO_API po_status po_fail(po_err *err, po_status code, const char *format, ...) PO_PRINTF(3, 4);

/* The same with a text position. where may be NULL; lines and columns count from 1, 0 means unknown. */
PO_API po_status po_fail_at(po_err *err, po_status code, const char *where, uint32_t line, uint32_t column,
                            const char *format, ...) PO_PRINTF(6, 7);

/* One line for a person: "where:line:column: sentence". Writes at most n bytes, always ended; returns buf. */
PO_API const char *po_err_text(const po_err *err, char *buf, unsigned long n);

#ifdef __cplusplus
}
#endif
#endif

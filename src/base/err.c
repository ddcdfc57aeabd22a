/* The error record: one place that writes it. SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "proveout/status.h"

PO_PRINTF(6, 0)
static void fill(po_err *err, po_status code, const char *where, uint32_t line, uint32_t column, const char *format,
                 va_list args)
{
    err->code = code;
    err->line = line;
    err->column = column;
    err->byte = PO_NO_BYTE;
    snprintf(err->where, sizeof err->where, "%s", where ? where : "");
    vsnprintf(err->msg, sizeof err->msg, format, args);
}

po_status po_fail(po_err *err, po_status code, const char *format, ...)
{
    if (err) {
        va_list args;
        va_start(args, format);
        fill(err, code, NULL, 0, 0, format, args);
        va_end(args);
    }
    return code;
}

po_status po_fail_at(po_err *err, po_status code, const char *where, uint32_t line, uint32_t column, const char *format,
                     ...)
{
    if (err) {
        va_list args;
        va_start(args, format);
        fill(err, code, where, line, column, format, args);
        va_end(args);
    }
    return code;
}

const char *po_err_text(const po_err *err, char *buf, unsigned long n)
{
    if (n == 0) {
        return buf;
    }
    if (err->where[0] && err->line && err->column) {
        snprintf(buf, n, "%s:%u:%u: %s", err->where, err->line, err->column, err->msg);
    } else if (err->where[0] && err->line) {
        snprintf(buf, n, "%s:%u: %s", err->where, err->line, err->msg);
    } else if (err->where[0]) {
        snprintf(buf, n, "%s: %s", err->where, err->msg);
    } else {
        snprintf(buf, n, "%s", err->msg);
    }
    return buf;
}

/* STL, binary and text. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_STL_H
#define PO_PART_STL_H

#include "part/window.h"
#include "proveout/part.h"

/* Notes of a part: oddities that did not hinder reading. At most PO_NOTES_MOST are kept. */
enum { PO_NOTES_MOST = 50 };
typedef struct po_notes {
    po_arena *arena;
    const char *list[PO_NOTES_MOST];
    size_t n;
} po_notes;
void po_note(po_notes *notes, const char *format, ...) PO_PRINTF(2, 3);

/* What the beginning of a file says; the window holds as much of it as it can. */
typedef enum po_stl_kind { PO_STL_NEITHER, PO_STL_BINARY, PO_STL_TEXT } po_stl_kind;
po_stl_kind po_stl_sniff(const po_window *window);

/* Read it from the window's position to the end of the file. Objects, items and format of *out are set.
 * Errors: PO_E_EMPTY (no triangle), PO_E_SYNTAX (err->byte; line and column for text), PO_E_LIMIT, PO_E_IO,
 * PO_E_NOMEM. */
po_status po_stl_read_binary(po_window *window, const po_part_limits *limits, po_arena *arena, po_notes *notes,
                             po_part *out, po_err *err) PO_MUST_USE;
po_status po_stl_read_text(po_window *window, const po_part_limits *limits, po_arena *arena, po_notes *notes,
                           po_part *out, po_err *err) PO_MUST_USE;

/* One item for each object, where it is. */
po_status po_stl_place(po_part *out, po_part_object *objects, size_t n, po_arena *arena, po_err *err) PO_MUST_USE;

#endif

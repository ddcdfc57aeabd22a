/* 3MF to meshes and placed items. SPDX-License-Identifier: Apache-2.0
 *
 * Core specification 1.4.0 (ISO/IEC 25422) in full, production extension (parts split over model files), materials
 * extension as facts (how many materials the build wants). docs/3mf-notes.md says where files and specification differ
 * and what is done then; docs/part-limits.md lists all bounds. */
#ifndef PO_PART_THREEMF_H
#define PO_PART_THREEMF_H

#include <stddef.h>

#include "proveout/part.h"

/* Read a 3MF that lies in memory (borrowed for the call).
 * limits  NULL = PO_PART_LIMITS_INIT
 * out     filled on success only; everything in it lives in the arena. sha256 is left empty. Coordinates and matrices are
 *         in mm. Objects that the build does not place are left out (a note says so).
 * Errors: PO_E_EMPTY (an archive but no 3MF; nothing in the build), PO_E_SYNTAX and PO_E_RANGE (err->where = the part of
 * the package, with line and column, or the place in the archive), PO_E_UNSUPPORTED (a required extension, encryption,
 * another encoding: by name), PO_E_NOTFOUND (a part that is pointed to and missing), PO_E_LIMIT, PO_E_NOMEM. */
po_status po_threemf_read(const unsigned char *data, size_t n, const po_part_limits *limits, po_arena *arena,
                          po_part *out, po_err *err) PO_MUST_USE;

#endif

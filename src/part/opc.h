/* The package around a 3MF: parts, content types, relationships. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_OPC_H
#define PO_PART_OPC_H

#include "part/zip.h"

#define PO_OPC_MODEL_REL "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
#define PO_OPC_TEXTURE_REL "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dtexture"
#define PO_OPC_TICKET_REL "http://schemas.microsoft.com/3dmanufacturing/2013/01/printticket"
#define PO_OPC_THUMBNAIL_REL "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
#define PO_OPC_MODEL_TYPE "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"

typedef struct po_opc_rel {
    const char *id, *type;
    const char *target; /* an absolute part name */
} po_opc_rel;

typedef struct po_opc_rels { /* by type and target once checked */
    po_opc_rel *list;
    size_t n;
} po_opc_rels;

typedef struct po_opc_kind { /* a content type by a name's ending, or by a whole name */
    const char *key, *type;
} po_opc_kind;

typedef struct po_opc { /* lives in the arena; the archive's bytes are borrowed */
    po_zip zip;
    const po_part_limits *limits;
    po_arena *arena;
    po_opc_kind *endings, *names;
    size_t n_endings, n_names;
    po_opc_rels rels;       /* of the package */
    const char *start_part; /* the one 3D model that the package points to */
} po_opc;

/* Open the archive and check the package: content types, its relationships, the start part, thumbnails.
 * Errors: those of po_zip_open and po_xml_read; PO_E_EMPTY: an archive, but not a 3MF. */
po_status po_opc_open(const unsigned char *data, size_t n, const po_part_limits *limits, po_arena *arena, po_opc *ret,
                      po_err *err) PO_MUST_USE;

/* The relationships of a model part, checked: at most one print ticket, what must exist exists. None is no error. */
po_status po_opc_rels_of(const po_opc *opc, const char *part, po_opc_rels *ret, po_err *err) PO_MUST_USE;

/* The relationship of that type to that part, in a list that po_opc_rels_of made; NULL = none. */
const po_opc_rel *po_opc_find_rel(const po_opc_rels *rels, const char *type, const char *target);

/* The part's member; NULL = not in the package. */
const po_zip_member *po_opc_find(const po_opc *opc, const char *part);

/* Content type of a part; NULL = none is said. */
const char *po_opc_type_of(const po_opc *opc, const char *part);

/* Unpack a part into memory of its own, which the caller frees with free.
 * Errors: PO_E_NOTFOUND, those of po_zip_unpack, PO_E_NOMEM. */
po_status po_opc_load(const po_opc *opc, const char *part, char **ret_bytes, size_t *ret_n, po_err *err) PO_MUST_USE;

#endif

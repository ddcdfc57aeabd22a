/* The folder of studies: each subfolder with a study.yaml and its pictures. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_STUDIES_H
#define PO_WORK_STUDIES_H

#include "proveout/study.h"
#include "work/work.h"

enum { WORK_STUDIES_MOST = 64, WORK_PICTURE_MOST = 2 * 1024 * 1024 };

struct work_studies {
    const char *folder;
    const po_study *list[WORK_STUDIES_MOST]; /* by id */
    size_t n;
    const char *const *faults; /* "file:line:column: key: found ..., expected ..." */
    size_t n_faults;
};
typedef struct work_studies work_studies;

/* The folder as the shop file writes it, from the shop file's own place; NULL: the shop has none. In the arena. */
const char *work_studies_folder(const po_shop *shop, const char *shop_path, po_arena *arena);
/* Read all. Faulty studies are left out of the list and told; pictures that are missing, too large or none are told, and what the shop file
 * does not know: a permission that is granted, a finding that a lesson names (findings: n_findings names; NULL: not looked at). arena owns all.
 * Errors  PO_E_NOTFOUND, PO_E_IO (the folder), PO_E_LIMIT (more than 64), PO_E_NOMEM. */
po_status work_studies_read(const char *folder, const po_shop *shop, const char *const *findings, size_t n_findings,
                            po_arena *arena, work_studies *ret, po_err *err) PO_MUST_USE;
const po_study *work_study(const work_studies *studies, const char *id); /* NULL: none */
/* The bytes of a picture of a study, which its file must name (no other file is read). The caller frees *ret.
 * Errors  PO_E_NOTFOUND, PO_E_LIMIT, PO_E_IO, PO_E_NOMEM. */
po_status work_study_picture(const work_studies *studies, const po_study *study, const char *file, char **ret,
                             size_t *ret_n, po_err *err) PO_MUST_USE;

#endif

/* Slips: proofs for people and programs. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_SLIP_H
#define PROVEOUT_SLIP_H

#include "proveout/pieces.h"
#include "proveout/proof.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Bytes of a finished document; data lives in the arena. Text documents end with a newline. */
typedef struct po_document {
    const char *data;
    size_t n_bytes;
} po_document;

typedef enum po_picture_kind { PO_PICTURE_SVG, PO_PICTURE_PNG, PO_PICTURE_PDF } po_picture_kind;

typedef struct po_slip_options {
    bool colour;       /* text: ANSI colour */
    int columns;       /* text: width; 0 = 80 */
    const char *today; /* date and time to print, as text; NULL = none */
    const char *code;  /* by which the desk finds this proof again, large and to be scanned; NULL = none */
} po_slip_options;
#define PO_SLIP_OPTIONS_INIT                                                                                           \
    {                                                                                                                  \
        .colour = false, .columns = 0, .today = 0, .code = 0                                                           \
    }

/* One slip in full for one machine, 80 columns. */
PO_API po_status po_slip_text(const po_proof *proof, const po_shop *shop, const po_slip_options *options,
                              po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;
/* One line for each machine (yes, no or why, metres, when it would end), then the sentence to read aloud. */
PO_API po_status po_slip_table(const po_proof *const *proofs, size_t n_proofs, const po_shop *shop,
                               const po_slip_options *options, po_arena *arena, po_document *ret,
                               po_err *err) PO_MUST_USE;
/* "proveout/job-proof/1", one line. several: an object with "machines": [...]. */
PO_API po_status po_slip_json(const po_proof *const *proofs, size_t n_proofs, bool several, po_arena *arena,
                              po_document *ret, po_err *err) PO_MUST_USE;
/* One self-contained file with pictures, for one or more machines. */
PO_API po_status po_slip_html(const po_proof *const *proofs, size_t n_proofs, const po_shop *shop,
                              const po_slip_options *options, po_arena *arena, po_document *ret,
                              po_err *err) PO_MUST_USE;
/* One A4 page for one machine, with a code of the file's SHA-256 prefix. */
PO_API po_status po_slip_pdf(const po_proof *proof, const po_shop *shop, const po_slip_options *options,
                             po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;
/* The slip's pictures on one sheet. */
PO_API po_status po_slip_svg(const po_proof *proof, const po_shop *shop, po_arena *arena, po_document *ret,
                             po_err *err) PO_MUST_USE;
PO_API po_status po_slip_png(const po_proof *proof, const po_shop *shop, po_arena *arena, po_document *ret,
                             po_err *err) PO_MUST_USE;

/* The pictures of a job one by one, as the slip has them. */
typedef struct po_slip_picture {
    const char *name;                /* "time", "bed", "first-layer", "front", "height-1" (the worst) ..., "key" */
    const char *title, *description; /* what it shows, for whoever does not see it; never NULL */
    double width_mm, height_mm;      /* of the paper that it is drawn for */
    double z_mm;                     /* of a height; else NAN */
    const uint32_t *flags;           /* numbers of the findings (from 1) whose flags it carries, rising */
    size_t n_flags;
} po_slip_picture;
/* Which there are, in the order of the slip; in the arena. */
PO_API po_status po_slip_pictures(const po_proof *proof, po_arena *arena, const po_slip_picture **ret, size_t *ret_n,
                                  po_err *err) PO_MUST_USE;
/* One of them, by name. PO_E_NOTFOUND: there is none of that name. */
PO_API po_status po_slip_picture_draw(const po_proof *proof, const po_shop *shop, const char *name, bool png,
                                      po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;
/* A slip's code to be scanned, as SVG (ISO/IEC 18004). PO_E_UNSUPPORTED: the library for it is not there. */
PO_API po_status po_slip_code_svg(const char *code, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;

/* The same for parts. */
PO_API po_status po_part_slip_text(const po_part_proof *proof, const po_slip_options *options, po_arena *arena,
                                   po_document *ret, po_err *err) PO_MUST_USE;
PO_API po_status po_part_slip_table(const po_part_proof *const *proofs, size_t n_proofs, const po_slip_options *options,
                                    po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;
/* "proveout/part-proof/1" */
PO_API po_status po_part_slip_json(const po_part_proof *const *proofs, size_t n_proofs, bool several, po_arena *arena,
                                   po_document *ret, po_err *err) PO_MUST_USE;
PO_API po_status po_part_slip_html(const po_part_proof *const *proofs, size_t n_proofs, const po_slip_options *options,
                                   po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;
PO_API po_status po_part_slip_pdf(const po_part_proof *proof, const po_slip_options *options, po_arena *arena,
                                  po_document *ret, po_err *err) PO_MUST_USE;
/* Pictures on one sheet: as it lies with overhangs and thin walls, sections, ways up, beds. */
PO_API po_status po_part_slip_svg(const po_part_proof *proof, po_arena *arena, po_document *ret,
                                  po_err *err) PO_MUST_USE;
PO_API po_status po_part_slip_png(const po_part_proof *proof, po_arena *arena, po_document *ret,
                                  po_err *err) PO_MUST_USE;
/* A part in pieces: the whole with its cuts, the pieces apart and numbered, the joints. title: the file's name. */
PO_API po_status po_pieces_svg(const po_pieces *pieces, const char *title, const char *machine, po_arena *arena,
                               po_document *ret, po_err *err) PO_MUST_USE;
/* The drawing of `proveout explain NAME` (SVG), or PO_E_NOTFOUND when there is none for that finding. */
PO_API po_status po_slip_explain_svg(const char *finding, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif

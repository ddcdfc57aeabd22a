/* 3MF: whole packages, and bare model parts that are put into one. SPDX-License-Identifier: Apache-2.0
 * Input that begins as an archive is one; anything else is the model part of a small package, so that a search need not
 * find its way through sums and packed bytes. Promises: status and error agree; the place lies in the text; what is read
 * holds together: indices below counts, finite numbers, limits kept; the same answer twice. */
#include <math.h>
#include <string.h>

#include "fuzz.h"
#include "part/threemf.h"
#include "part/threemf_kit.h"
#include "part/zip.h"

enum { MOST_MEMORY = 64 << 20, MOST_TRIANGLES = 100000 };

static void check_part(const po_part *part)
{
    uint64_t triangles = 0;
    PROMISE(part->n_items > 0 && part->n_objects > 0 && part->n_objects <= part->n_items);
    PROMISE(part->unit && part->unit_mm > 0);
    for (size_t i = 0; i < part->n_objects; i++) {
        const po_mesh *m = &part->objects[i].mesh;
        PROMISE(m->n_vertices >= 3 && m->n_triangles >= 1 && part->objects[i].n_materials <= 1000000);
        for (size_t c = 0; c < 3 * m->n_triangles; c++) {
            PROMISE(m->corners[c] < m->n_vertices);
        }
        for (size_t c = 0; c < 3 * m->n_vertices; c++) {
            PROMISE(!isnan(m->xyz[c]));
        }
    }
    uint32_t item = 1;
    for (size_t i = 0; i < part->n_items; i++) {
        const po_part_item *it = &part->items[i];
        PROMISE(it->object < part->n_objects && it->build_item >= item);
        item = it->build_item;
        triangles += part->objects[it->object].mesh.n_triangles;
        for (int k = 0; k < 12; k++) {
            PROMISE(isfinite(it->matrix[k]));
        }
    }
    PROMISE(triangles <= MOST_TRIANGLES);
    for (size_t i = 0; i < part->n_notes; i++) {
        PROMISE(part->notes[i] && part->notes[i][0]);
    }
}

static po_status read_once(const uint8_t *data, size_t n, po_err *err)
{
    po_part_limits limits = PO_PART_LIMITS_INIT;
    limits.most_unpacked = 16 << 20;
    limits.most_triangles = MOST_TRIANGLES;
    po_arena *arena = po_arena_new(MOST_MEMORY);
    PROMISE(arena);
    po_part part;
    *err = (po_err){.code = PO_OK};
    po_status s = po_threemf_read(data, n, &limits, arena, &part, err);
    PROMISE(s == err->code);
    PROMISE(s != PO_E_IO && s != PO_E_INTERNAL && s != PO_E_CONFLICT && s != PO_E_CANCELLED);
    if (s == PO_OK) {
        check_part(&part);
    } else {
        PROMISE(err->msg[0]);
        PROMISE(err->byte == PO_NO_BYTE || err->byte <= n);
    }
    po_arena_free(arena);
    return s;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    kit_zip z = {0};
    bool archive = po_zip_looks_like(data, n);
    if (!archive) {
        kit_package(&z, (const char *)data, n, "3D/b.model", KIT_B, KIT_B_REL, KIT_STORED);
        data = z.data;
        n = z.n;
    }
    po_err err[2];
    po_status s = read_once(data, n, &err[0]), again = read_once(data, n, &err[1]);
    PROMISE(s == again && err[0].line == err[1].line && err[0].column == err[1].column);
    PROMISE(s == PO_OK || strcmp(err[0].msg, err[1].msg) == 0);
    kit_done(&z);
    return 0;
}

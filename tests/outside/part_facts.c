/* What the library says of a part, in full figures, for outside_test.py. SPDX-License-Identifier: Apache-2.0
 * usage: part_facts FILE [SECTIONS]
 * One line of JSON. objects: of each object of the file its facts as measured, self cuts, and SECTIONS level sections at
 * the middles of equal slabs between the bounds (height, area, length, loops, walks that did not close). items: what is
 * placed: index of the object, number of the build item, the matrix. */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

#include "proveout/solid.h"

static int fail(const po_err *err)
{
    char text[500];
    fprintf(stderr, "part_facts: %s\n", po_err_text(err, text, sizeof text));
    return 3;
}

static void number(const char *name, double value)
{
    if (isfinite(value)) {
        printf(", \"%s\": %.17g", name, value);
    } else {
        printf(", \"%s\": null", name);
    }
}

static po_status sections(const po_mesh_facts *f, size_t n, po_arena *arena, po_err *err)
{
    double *z = calloc(n + 1, sizeof *z), low = f->bounds_mm[0][2], high = f->bounds_mm[1][2];
    po_section *cut = calloc(n + 1, sizeof *cut);
    po_status status = z && cut ? PO_OK : PO_E_NOMEM;
    for (size_t i = 0; status == PO_OK && i < n; i++) {
        z[i] = low + (high - low) * ((double)i + 0.5) / (double)n;
    }
    if (status == PO_OK) {
        status = po_mesh_sections(f->judged, z, n, 0, arena, cut, err);
    }
    printf(", \"sections\": [");
    for (size_t i = 0; status == PO_OK && i < n; i++) {
        printf("%s[%.17g, %.17g, %.17g, %zu, %u]", i ? ", " : "", cut[i].z, po_loops_area(&cut[i].loops),
               po_loops_length(&cut[i].loops), cut[i].loops.n_loops, cut[i].open_ends);
    }
    printf("]");
    free(z);
    free(cut);
    return status;
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        fprintf(stderr, "usage: part_facts FILE [SECTIONS]\n");
        return 2;
    }
    size_t n_sections = argc > 2 ? (size_t)atol(argv[2]) : 0;
    po_arena *arena = po_arena_new(0);
    po_source source = {.path = argv[1]};
    const po_part *part;
    po_err err;
    if (po_part_read(&source, NULL, arena, &part, &err) != PO_OK) {
        return fail(&err);
    }
    printf("{\"objects\": [");
    for (size_t i = 0; i < part->n_objects; i++) {
        po_mesh_facts f;
        po_mesh_self_cuts cuts;
        if (po_mesh_measure(&part->objects[i].mesh, 0, arena, &f, &err) != PO_OK ||
            po_mesh_find_self_cuts(f.judged, 0, arena, &cuts, &err) != PO_OK) {
            return fail(&err);
        }
        printf("%s{\"triangles\": %llu, \"vertices\": %llu, \"shells\": %llu, \"open_edges\": %llu, \"crowded_edges\": "
               "%llu, "
               "\"flipped\": %llu, \"flat\": %llu, \"doubled\": %llu, \"watertight\": %s, \"euler\": %lld, "
               "\"self_cuts\": %llu, "
               "\"bounds\": [%.17g, %.17g, %.17g, %.17g, %.17g, %.17g]",
               i ? ", " : "", (unsigned long long)f.triangles, (unsigned long long)f.vertices,
               (unsigned long long)f.shells, (unsigned long long)f.open_edges, (unsigned long long)f.crowded_edges,
               (unsigned long long)f.flipped_triangles, (unsigned long long)f.flat_triangles,
               (unsigned long long)f.doubled_triangles, f.watertight ? "true" : "false", (long long)f.euler,
               (unsigned long long)cuts.pairs, f.bounds_mm[0][0], f.bounds_mm[1][0], f.bounds_mm[0][1],
               f.bounds_mm[1][1], f.bounds_mm[0][2], f.bounds_mm[1][2]);
        number("seams_mm", f.seams_closed_at_mm);
        number("genus", f.genus);
        number("volume", f.volume_mm3);
        number("area", f.area_mm2);
        printf(", \"centre\": [%.17g, %.17g, %.17g]", f.volume_mm3 != 0 ? f.centre_of_mass_mm[0] : 0,
               f.volume_mm3 != 0 ? f.centre_of_mass_mm[1] : 0, f.volume_mm3 != 0 ? f.centre_of_mass_mm[2] : 0);
        if (n_sections > 0 && sections(&f, n_sections, arena, &err) != PO_OK) {
            return fail(&err);
        }
        printf("}");
    }
    printf("], \"items\": [");
    for (size_t i = 0; i < part->n_items; i++) {
        printf("%s[%u, %u", i ? ", " : "", part->items[i].object, part->items[i].build_item);
        for (int k = 0; k < 12; k++) {
            printf(", %.17g", part->items[i].matrix[k]);
        }
        printf("]");
    }
    printf("]}\n");
    po_arena_free(arena);
    return 0;
}

/* Readings of a bed. SPDX-License-Identifier: Apache-2.0
 * Promises: it comes to an end; what is read are numbers of a bed with the line they stand in; a fault has a line within the file; a plane is made
 * of them or refused with a sentence, and its turns are numbers. */
#include <math.h>

#include "fuzz.h"
#include "proveout/tram.h"

static void level(const po_tram_reading *r, size_t n, po_arena *arena)
{
    static const po_tram_screw screws[] = {
        {30, 30, 0.5, false}, {190, 30, 0.5, false}, {190, 190, 0.7, true}, {30, 190, 0.5, false}};
    po_tram_setup s = PO_TRAM_SETUP_INIT;
    s.screws = screws;
    s.n_screws = 4;
    s.bed_x[1] = s.bed_y[1] = 220;
    const po_tram *t = NULL;
    po_err err = {0};
    if (po_tram_make(r, n, &s, arena, &t, &err) == PO_OK) {
        PROMISE(t->n == n && t->n_used >= 3 && t->n_used + t->n_blunders <= n && t->after_mm >= 0);
        for (size_t i = 0; i < 4; i++) {
            PROMISE(isfinite(t->turns[i].turns) && t->turns[i].turns >= 0);
        }
    } else {
        PROMISE(err.msg[0]);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    po_arena *arena = po_arena_new(0);
    PROMISE(arena);
    uint32_t lines = 1;
    for (size_t i = 0; i < n; i++) {
        lines += data[i] == '\n';
    }
    for (int kind = PO_TRAM_PROBE; kind <= (int)PO_TRAM_PAPER; kind++) {
        const po_tram_reading *r = NULL;
        size_t n_readings = 0;
        po_err err = {0};
        po_status s = po_tram_read((const char *)data, n, "bed", (po_tram_kind)kind, arena, &r, &n_readings, &err);
        PROMISE(s == PO_OK ? n_readings > 0 && n_readings <= PO_TRAM_READINGS_MOST : err.msg[0] && err.line <= lines);
        for (size_t i = 0; s == PO_OK && i < n_readings; i++) {
            PROMISE(fabs(r[i].x_mm) <= 5000 && fabs(r[i].y_mm) <= 5000 && fabs(r[i].z_mm) <= 5 && r[i].line >= 1 &&
                    r[i].line <= lines);
        }
        if (s == PO_OK && n_readings <= 40) {
            level(r, n_readings, arena);
        }
    }
    po_arena_free(arena);
    return 0;
}

/* An ordinary report built by hand, for the tests of the rules. SPDX-License-Identifier: Apache-2.0
 * A bracket of 60 x 40 x 30 mm in petg by the recipe everyday, in the middle of Alder's bed; facts agree with each other. */
#ifndef PO_PROOF_BENCH_REPORT_H
#define PO_PROOF_BENCH_REPORT_H

#include "proveout/proof.h"

enum { BENCH_ROWS = 136 };

typedef struct bench {
    po_arena *arena;
    po_shop shop;         /* a copy of demo/shop.yaml; rules may be changed */
    po_machine machine;   /* a copy of Alder */
    po_material material; /* a copy of petg; the shop's own stays */
    po_job_report report;
    po_tool_facts tools[2];
    float width[2][PO_WIDTH_BINS], height[2][PO_WIDTH_BINS], nozzle[2][PO_C_BINS], bed[PO_C_BINS], fan[PO_FAN_BINS];
    po_job_part parts[2];
    po_layer_row rows[BENCH_ROWS];
    po_hands hands[2];
    po_grade_change grades[8];
    po_proof_context context;
    const po_proof *proof;
} bench;

/* An ordinary job; the caller ends with bench_done. */
bench *bench_new(void);
void bench_done(bench *b);
/* Put it on another machine of the shop, with one of its materials for every nozzle. */
void bench_machine(bench *b, const char *machine, const char *material);
/* Seen once, at line 100, x 120, y 100, z 5, 600 s. */
po_sighting *bench_see(bench *b, po_sight sight, double worst);
/* All of a histogram in one bin, or a share of it moved to another one. */
void bench_all(float *shares, size_t n, int bin);
void bench_move(float *shares, int from, int to, double share);
/* Judge; fails the test when the proof fails. */
const po_proof *bench_judge(bench *b);
/* The finding of that name, or NULL. */
const po_finding *bench_finding(const bench *b, const char *name);

#endif

/* What every rule gets and how it speaks. SPDX-License-Identifier: Apache-2.0
 * A rule is one function: it reads the report, and says at most one finding (merged by cause: a count, the first and the
 * worst place). It never measures; comparisons are written so that NAN (not measured) never trips them. */
#ifndef PO_PROOF_JUDGE_H
#define PO_PROOF_JUDGE_H

#include "proof/limits.h"
#include "proveout/proof.h"

typedef struct po_judging {
    const po_job_report *report; /* of a job; NULL for a part */
    const po_job_facts *facts;   /* the report's */
    const po_part_report *part;  /* of a part; NULL for a job */
    const po_machine *machine;
    const po_proof_context *context;
    const po_shop *shop;
    const po_rules *rules;    /* the shop's */
    const po_recipe *nearest; /* nearest recipe; NULL = none near, or none in the shop */
    po_arena *arena;
    const po_rule_info *rule; /* being asked now */
    po_finding *findings;     /* room for one from each rule */
    size_t n_findings;
    bool failed; /* memory ran out: everything said since is lost */
} po_judging;

typedef void po_judge_fn(po_judging *j);

/* Add the finding of the rule being asked. todo is kept (static text or in the arena). NULL when memory is gone. */
po_finding *po_say(po_judging *j, po_grade grade, const char *todo, const char *format, ...) PO_PRINTF(4, 5);
/* The same with count, places and sight of a sighting. */
po_finding *po_say_seen(po_judging *j, po_grade grade, po_sight sight, const char *todo, const char *format, ...)
    PO_PRINTF(5, 6);
/* Copy count, places and sight of a sighting into a finding. f may be NULL. */
void po_say_places(const po_judging *j, po_finding *f, po_sight sight);

/* The sighting, or NULL when it was not seen. */
const po_sighting *po_seen(const po_judging *j, po_sight sight);
/* The same, but NULL too when its worst value is known and not above `above`. */
const po_sighting *po_seen_above(const po_judging *j, po_sight sight, double above);

/* Texts of numbers, in the arena; never NULL (an empty text when memory is gone). NAN gives "an unknown length" and so on. */
const char *po_mm_text(po_judging *j, double mm);
const char *po_time_text(po_judging *j, double seconds);      /* "45 s", "12 min", "3 h 20 min" */
const char *po_metres_text(po_judging *j, double mm);         /* "12.4 m" */
const char *po_place_text(po_judging *j, const po_place *at); /* " (at x 101, y 88, 5.2 mm up)"; "" when unknown */
const char *po_short_text(po_judging *j, const char *text);   /* at most 60 bytes, no full stop; NULL: "?" */
/* " (about 14:20)" when the start is known, else "". */
const char *po_clock_text(po_judging *j, double seconds_into_job);
/* Wall time of a moment of the job; false when the start or the moment is unknown. Rounded up to the minute. */
bool po_clock_at(const po_proof_context *context, double seconds_into_job, po_wall_time *ret_t);

/* Shares of a histogram (bin i holds values from i to i + 1 bin sizes) that lie wholly below low, or start above high,
 * over the sum of all bins. 0 when it is NULL or empty. */
double po_share_below(const float *shares, size_t n_bins, double bin_size, double low);
double po_share_above(const float *shares, size_t n_bins, double bin_size, double high);

/* Tools that laid beads. */
bool po_tool_used(const po_tool_facts *tool);
/* The tool with the most filament; NULL when none laid a bead. */
const po_tool_facts *po_main_tool(const po_judging *j);
/* The nozzle and material of a tool; NULL when the machine lacks it. */
const po_nozzle *po_tool_nozzle(const po_judging *j, const po_tool_facts *tool);
const po_material *po_tool_material(const po_judging *j, const po_tool_facts *tool);
/* " of tool 1" where the machine has several nozzles, else "". */
const char *po_tool_text(po_judging *j, const po_tool_facts *tool);

/* Recipes (recipe.c): the nearest of the shop's, or the one asked for when it is near; NULL when none is near. */
const po_recipe *po_recipe_nearest(const po_judging *j);

/* The long text of docs/findings.md, in the arena; NULL when memory is gone. */
const char *po_proof_doc(po_arena *arena);

/* ---- parts (part_say.c) ---- */

/* How badly a solid offends a rule: above 0 it does, and the largest number is the worst. */
typedef double po_part_ill_fn(const po_judging *j, const po_solid *solid);
/* The worst of the solids, and how many items offend (copies counted); NULL when none does. */
const po_solid *po_worst_solid(const po_judging *j, po_part_ill_fn *ill, uint64_t *ret_items);
/* Which item a solid is, to begin a sentence with ("Item 2 (lid): "); "" where the part is one solid. */
const char *po_solid_text(po_judging *j, const po_solid *solid);
/* A finding about a solid. at: NULL, or a place in part coordinates (NAN: none). The sentence begins with the item where
 * there are several, and ends with how many other items it holds for as well. */
po_finding *po_say_solid(po_judging *j, po_grade grade, const po_solid *solid, uint64_t items, uint64_t count,
                         const double *at, const char *todo, const char *format, ...) PO_PRINTF(8, 9);
/* The estimate that is judged; NULL where there is none with a number. */
const po_estimate *po_judged_estimate(const po_judging *j);

/* ---- all rules ---- */

#define RULE(id, name, grade, compares, limit, source, cause, remedy, caution) po_judge_fn po_judge_##id;
#define RULE_PART(id, name, grade, compares, limit, source, cause, remedy, caution) po_judge_fn po_judge_part_##id;
#define RULE_BOTH(id, name, grade, compares, limit, source, cause, remedy, caution)                                    \
    po_judge_fn po_judge_##id, po_judge_part_##id;
#include "proof/rules.inc"
#undef RULE
#undef RULE_PART
#undef RULE_BOTH

/* The table's functions, in the order of po_rules_table. kind: PO_RULE_JOB or PO_RULE_PART; NULL where the rule is not
 * about such a thing. */
po_judge_fn *po_rule_function(size_t index, po_rule_kind kind);

/* A finding that another one explains and that would be mended with it: it is dropped where its cause was said and is at
 * least as grave. */
typedef struct po_cause {
    const char *cause, *effect;
} po_cause;

/* Ask every rule of the judging's kind, grade by the shop, merge by cause, order by gravity. Returns the sentences about
 * the shop's own grades (NULL, and j->failed, when memory is gone). */
const char *const *po_judge_all(po_judging *j, const po_cause *causes, size_t n_causes, size_t *ret_n_changed);
/* The verdict of ordered findings. */
po_verdict po_verdict_of(const po_judging *j);

#endif

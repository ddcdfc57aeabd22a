/* Rules over facts: findings and the verdict. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_PROOF_H
#define PROVEOUT_PROOF_H

#include "proveout/job.h"
#include "proveout/match.h"
#include "proveout/solid.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef enum po_verdict { PO_CLEAR = 0, PO_ASK = 1, PO_STOP = 2 } po_verdict;

typedef struct po_finding {
    const char *name; /* as in docs/findings.md */
    po_grade grade;
    po_grade default_grade; /* differs where the shop file says so; the slip says it too */
    const char *says;       /* one sentence with numbers and units, made for a member's first week */
    const char *todo;       /* what a person does next */
    uint64_t count;
    po_place where, worst; /* known = false: not tied to a place */
    po_sight sight;        /* PO_SIGHT_COUNT = not from a sighting; flags on images carry the same */
    const char *item;      /* of a part with several solids: which one it is about; NULL = all, or the only one */
    uint32_t solid;        /* its index in po_part_report.solids; UINT32_MAX = none */
} po_finding;

/* A job held against a part (`check --against`): what of the part was found on the bed. */
typedef struct po_against_solid {
    const char *name;       /* NULL = none */
    uint32_t wanted, found; /* copies in the part's file; objects on the bed that are it */
    po_match best;          /* of the best object; tried says whether there was any */
    bool tried;
} po_against_solid;

typedef struct po_against {
    const char *part; /* its file, as given */
    const po_against_solid *solids;
    size_t n_solids;
    size_t objects, others; /* what stands apart on the bed; those that are none of the solids (supports count) */
} po_against;

/* Of a job that starts at a given time: what the calendar (proveout/calendar.h) says, as the clock on the wall shows it. */
enum { PO_WHEN_SHIFTS = 4 };
typedef struct po_wall_shift {
    double after_seconds; /* of the job, from its start */
    int minutes;          /* that the clocks go forward then; negative: back */
} po_wall_shift;

typedef struct po_when {
    bool open_at_start, watched; /* somebody is there at the start; from then until the watch is over */
    po_wall_time watch_until,
        leaves;       /* leaves: when the desk closes or breaks next; of use where it is open at the start */
    po_wall_time end; /* as expected, waits for hands included */
    bool end_staffed;
    double alone_seconds; /* longest stretch of the run without anybody; 0 where the shop's conditions limit none */
    size_t n_hands;       /* how often it needs hands when nobody is there */
    po_wall_time hands;   /* the first of these times */
    double hands_wait_seconds; /* it stands still then for so long; 0 = nobody knows */
    bool off_known;
    po_wall_time cool, off;    /* off: somebody can take the part off */
    double full_seconds;       /* from the end until then */
    double after_cool_seconds; /* from when it is cool until then */
    bool better_known;
    po_wall_time better;                  /* the earliest good start from then on */
    po_wall_shift shifts[PO_WHEN_SHIFTS]; /* changes of the clocks on the way, by time */
    size_t n_shifts;
} po_when;

/* What is known of the member, the spool and the clock. Zeroed = nothing known. */
typedef struct po_proof_context {
    const po_shop *shop;
    const po_recipe *recipe;        /* recipe asked for; NULL = any of the shop's */
    const char *const *permissions; /* NULL = not asked; otherwise what the member holds */
    size_t n_permissions;
    double spool_g;          /* NAN = unknown */
    double spool_reserve_g;  /* of it can't be used: the end of a spool */
    double allowance_left_m; /* of the term; NAN = unknown: the run's allowance alone counts */
    double waived_m;         /* leave to exceed either, by waivers that hold for this job */
    const char *not_free;    /* why the machine can't go out now, one sentence; NULL = it can, or was not asked */
    bool out_of_use;         /* that is so until somebody clears it: tagged out, resting, retired */
    const char *gap_due;     /* why a gap check is due, one sentence; NULL = none, or was not asked */
    po_range learned_filament, learned_seconds; /* real / modelled of runs to come; low 0 = nothing learned */
    const char *learned_from;                   /* "this machine's runs", "all machines' runs" */
    bool start_known;
    po_wall_time start;        /* of the run, when known */
    const po_when *when;       /* of that start, borrowed; NULL = no calendar was asked */
    const po_against *against; /* NULL = not held against a part */
} po_proof_context;

typedef struct po_proof {
    const po_job_report *report;
    const char *file;        /* as given */
    const po_recipe *recipe; /* nearest recipe, or NULL when none is near */
    po_verdict verdict;
    const po_finding *findings; /* by gravity: stops first */
    size_t n_findings;
    const char *const *changed_rules; /* sentences: rules that the shop switched off or graded otherwise */
    size_t n_changed_rules;
    const char *aloud;             /* one sentence to read aloud to the member */
    const po_against *against;     /* the context's */
    po_range filament_mm, seconds; /* ranges */
    const char *ranges_from;       /* "model", "this machine's runs", "all machines' runs" */
    bool start_known;
    po_wall_time start, watch_until, end, cool; /* known when start is */
    double watch_seconds,
        cool_seconds; /* watch from the first bead; from the end until the bed is cool (NAN: never hot) */
} po_proof;

/* The model's own ranges, as ratios: what po_proof_job says where nothing was learned. */
PO_API void po_proof_model_ranges(po_range *ret_filament, po_range *ret_seconds);

/* From when the bed is switched off at bed_c until it is cool enough to take a part off by the shop's rules, by the machine's figures for
 * heat: Newton's law of cooling, the room's temperature standing still. 0: cool already, or the shop file has no figure. NAN: bed_c is. */
PO_API double po_proof_cool_seconds(const po_machine *machine, const po_rules *rules, double bed_c);

/* Judge one report. Everything lives in the arena; report and context are borrowed as long as the proof is used. */
PO_API po_status po_proof_job(const po_job_report *report, const char *file, const po_proof_context *context,
                              po_arena *arena, const po_proof **ret_proof, po_err *err) PO_MUST_USE;

/* A part judged on one machine. */
typedef struct po_part_proof {
    const po_part_report *report;
    const char *file; /* as given */
    po_verdict verdict;
    const po_finding *findings; /* by gravity; places in part coordinates */
    size_t n_findings;
    const char *const *changed_rules;
    size_t n_changed_rules;
    const char *aloud; /* one sentence to read aloud to the member */
} po_part_proof;

/* The same as po_proof_job for a part. */
PO_API po_status po_proof_part(const po_part_report *report, const char *file, const po_proof_context *context,
                               po_arena *arena, const po_part_proof **ret_proof, po_err *err) PO_MUST_USE;

/* The table of rules, for docs/findings.md and `proveout explain`. Static data. */
typedef enum po_rule_kind { PO_RULE_JOB = 1, PO_RULE_PART = 2, PO_RULE_BOTH = 3 } po_rule_kind; /* what it is about */

typedef struct po_rule_info {
    const char *name;
    po_rule_kind kind;
    po_grade grade;       /* default; some rules say a graver one by degree: see limit */
    const char *compares; /* what is compared with what */
    const char *limit;    /* the threshold, with unit */
    const char *source;   /* handbook section, standard, or "common practice, no published source" */
    const char *cause;    /* long form: how it comes about */
    const char *remedy;   /* what helps */
    const char *caution;  /* NULL = none */
} po_rule_info;
PO_API const po_rule_info *po_rules_table(size_t *ret_n);
PO_API const po_rule_info *po_rule_find(const char *name); /* NULL = no such finding */
/* The nearest known name, for "did you mean"; never NULL. */
PO_API const char *po_rule_nearest(const char *name);

PO_API const char *po_grade_name(po_grade grade);       /* "stop", "ask", "note", "off" */
PO_API const char *po_verdict_name(po_verdict verdict); /* "clear", "ask", "stop" */

#ifdef __cplusplus
}
#endif
#endif

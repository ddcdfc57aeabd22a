/* The shop file: machines, materials, recipes, rules, hours. SPDX-License-Identifier: Apache-2.0
 * Everything here is plain data that lives in the shop's own arena. Lengths in mm, speeds in mm/s, temperatures
 * in degrees Celsius, masses in g, times as said in the name. docs/shop-file.md describes every key. */
#ifndef PROVEOUT_SHOP_H
#define PROVEOUT_SHOP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { PO_X = 0, PO_Y = 1, PO_Z = 2, PO_E = 3 };
enum { PO_MAX_TOOLS = 8 }; /* nozzles of one machine; a job that names a higher tool needs a tool the machine lacks */

typedef struct po_range {
    double low, high;
} po_range;

typedef enum po_grade { PO_GRADE_OFF = 0, PO_GRADE_NOTE, PO_GRADE_ASK, PO_GRADE_STOP } po_grade;

typedef struct po_material {
    const char *name;
    double density_g_cm3;
    double diameter_mm; /* of the filament */
    po_range nozzle_c;
    double cold_below_c; /* filament may not be pushed with the nozzle commanded below this */
    po_range bed_c;
    po_range fan_percent;
    double glass_c;
    double price_per_kg;   /* in the shop's currency; 0 = not given */
    double shrink_percent; /* linear, for may-lift; 0 = not given */
    double wear;           /* of nozzles, for each metre, beside a plain material */
    bool house;            /* the material that the shop gives */
} po_material;

typedef struct po_keep_out {
    po_range x, y;
    double below_z_mm; /* the nozzle may pass above this height */
} po_keep_out;

typedef struct po_nozzle {
    double diameter_mm;
    double hottest_c;
    double melt_mm3_s; /* sustained flow it can melt */
} po_nozzle;

typedef struct po_head { /* outline of what moves beside the nozzle, seen from above, from the nozzle outwards */
    bool given;
    double ahead_mm /* +y */, behind_mm /* -y */, left_mm /* -x */, right_mm /* +x */;
    double clears_mm; /* the outline passes over anything that stands less than this above the nozzle's tip */
} po_head;

typedef enum po_corner_rule { PO_CORNER_STEP, PO_CORNER_DEVIATION } po_corner_rule;

typedef struct po_limits { /* what motion the machine allows; order X Y Z E */
    double feed_mm_s[4];
    double accel_mm_s2[4];
    double print_mm_s2, travel_mm_s2, retract_mm_s2;
    po_corner_rule corner;
    double step_mm_s[4]; /* rule step: what an axis may jump at a corner */
    double deviation_mm; /* rule deviation */
} po_limits;

typedef struct po_heat {
    double nozzle_c_per_s, bed_c_per_s, room_c, bed_tau_minutes;
    double home_seconds, probe_seconds;
} po_heat;

typedef enum po_enclosure {
    PO_ENCLOSURE_NONE = 0,
    PO_ENCLOSURE_PARTIAL,
    PO_ENCLOSURE_CLOSED,
    PO_ENCLOSURE_FILTERED
} po_enclosure;

typedef struct po_machine {
    const char *name;
    const char *permission; /* NULL = none needed */
    bool round_bed;
    bool origin_centre; /* else the front left corner of the bed (of its bounding square when round) */
    double bed_mm[2];   /* x, y; both the diameter when round */
    double height_mm;
    po_range reach[3]; /* where the nozzle can go; default: bed and height */
    double home_mm[3];
    const po_keep_out *keep_outs;
    size_t n_keep_outs;
    const po_nozzle *nozzles;
    size_t n_nozzles; /* at least 1 */
    double bed_hottest_c;
    const size_t *materials; /* indices into po_shop.materials, in the file's order */
    size_t n_materials;
    bool e_follows_g90;
    bool switches_itself_off; /* at the end of a job */
    double retract_mm, retract_mm_s, retract_extra_mm;
    double retract_most_mm; /* the longest retraction that the hot end bears */
    po_head head;
    po_limits limits;
    po_heat heat;
    double heating_w, running_w;
    const char *stick_label; /* of the stick that belongs to it, such as "A1"; NULL = none */
    const char *stick_mount; /* where the desk's computer shows that stick, absolute; NULL = not known */
    po_enclosure enclosure;
    int panel_columns; /* characters of a file name that its small display can show */
    bool panel_ascii;  /* and no letters beyond ASCII */
} po_machine;

typedef struct po_recipe {
    const char *name;
    double layer_mm, bead_width_mm;
    int walls, floors, roofs;
    double fill_percent, wall_mm_s, fill_mm_s;
    double first_layer_mm, first_layer_mm_s;
} po_recipe;

typedef struct po_permission {
    const char *name;
    const char *const *implies;
    size_t n_implies;
    bool lapses_with_term; /* with the term in which it was given */
    int lapses_months;     /* after so many months; 0 = not by months. Neither: never */
    int disuse_months;     /* also when unused for so long; 0 = not */
} po_permission;

typedef struct po_grade_change { /* rules.grades: the shop grades a finding otherwise than the default */
    const char *finding;
    po_grade grade;
} po_grade_change;

/* Why a run failed; the words are file, machine, material, power, handling, unknown. */
typedef enum po_run_cause {
    PO_CAUSE_FILE = 0,
    PO_CAUSE_MACHINE,
    PO_CAUSE_MATERIAL,
    PO_CAUSE_POWER,
    PO_CAUSE_HANDLING,
    PO_CAUSE_UNKNOWN,
    PO_CAUSE_COUNT
} po_run_cause;

/* Filament beyond allowance and waivers. */
typedef enum po_beyond { PO_BEYOND_REFUSE = 0, PO_BEYOND_CHARGE, PO_BEYOND_GIFT } po_beyond;

/* What members hear; the words are failed, done, collect, hands, ticket. */
typedef enum po_text_kind {
    PO_TEXT_FAILED = 0,
    PO_TEXT_DONE,
    PO_TEXT_COLLECT, /* where a part waits, and until when */
    PO_TEXT_HANDS,   /* the run needs hands, and when */
    PO_TEXT_TICKET,  /* a waiting ticket's turn has come */
    PO_TEXT_COUNT
} po_text_kind;

typedef struct po_outbox {
    const char *command; /* words parted by blanks, run without a shell; NULL = none, and then `on` is false */
    bool on;
    const char *texts[PO_TEXT_COUNT]; /* never NULL; braces hold only the words of docs/shop-file.md, such as {run} */
} po_outbox;

typedef struct po_rules {
    double watch_minutes;
    bool watch_first_layer;
    double collect_below_bed_c;
    double allowance_m_per_run, allowance_m_per_term, desk_may_waive_m;
    double longest_run_hours;
    bool may_end_unstaffed;
    double overhang_limit_deg; /* from the vertical */
    double bridge_limit_mm, support_gap_mm, smallest_foothold_mm2, clearance_mm;
    /* what a way up costs; in the shop's currency */
    double machine_cost_h, hand_cost_min, clean_min_cm2, smooth_min_cm2, layer_change_s, weak_layers_cost;
    double support_fill_percent;
    const char *const *harmless_words; /* words that this shop knows to be harmless, such as "M900" */
    size_t n_harmless_words;
    bool counts_when_failed[PO_CAUSE_COUNT]; /* a run that failed for this cause counts against the allowance */
    bool rerun_first[PO_CAUSE_COUNT];        /* and its rerun goes before what waits */
    int gap_check_days;                      /* a gap check holds so long; 0 = until something changes on the machine */
    double spool_reserve_g, spool_low_g;     /* should stay on a spool; below the second it counts as running out */
    int shelf_days, shelf_places;
    int ticket_claim_minutes;
    int no_shows_most, no_show_days; /* so many tickets may lapse unclaimed within so many days */
    int keep_files_days;             /* a file sent to be proved, with its slip's code */
    double plan_late_points_h, plan_wait_points_h, plan_full_points_h, plan_change_points, plan_moved_points_h;
    double plan_slack_percent; /* of runs that are off by the time at which the plan lets the next begin */
    int spool_change_minutes, nozzle_change_minutes;
    int old_job_days;           /* a proof older than this is called old on a stick */
    double photo_most_mb;       /* MB of 10^6 bytes */
    double attachments_most_gb; /* GB of 10^9 bytes, all together */
    const po_grade_change *grades;
    size_t n_grades;
} po_rules;

typedef struct po_span_minutes { /* minutes after midnight, local time; from < to <= 1440 */
    int from, to;
} po_span_minutes;

typedef struct po_day_hours {
    const po_span_minutes *spans; /* rising, not overlapping */
    size_t n_spans;
} po_day_hours;

typedef struct po_date {
    int year, month, day;
} po_date;

typedef struct po_dates {
    const char *name; /* a term's name; NULL for closures */
    po_date from, to; /* both included */
} po_dates;

typedef enum po_shop_effect {                        /* of an exception to the weekly hours */
                              PO_SHOP_CLOSED_ALWAYS, /* a holiday: an opening of the house goes before it */
                              PO_SHOP_OPEN,          /* before weekly hours and `closed` */
                              PO_SHOP_CLOSED,        /* before everything */
} po_shop_effect;
enum { PO_SHOP_EFFECTS = PO_SHOP_CLOSED + 1 };

typedef struct po_wall_time { /* of the shop's clock */
    po_date date;
    int minute; /* after midnight, 0 to 1439 */
} po_wall_time;

typedef struct po_shop_exception {
    int64_t from_ms, until_ms; /* UTC */
    po_wall_time from, until;  /* the same on the shop's wall; until is outside */
    po_shop_effect effect;
} po_shop_exception;

typedef struct po_wall_span { /* until is outside */
    po_wall_time from, until;
} po_wall_span;

/* A list of machines or materials of the shop by their indices; n 0: all of them. */
typedef struct po_indices {
    const size_t *of;
    size_t n;
} po_indices;

/* A task of care: due when one of its intervals is over, whichever comes first. */
typedef struct po_task {
    const char *name, *says;
    double hours, metres;        /* of running; of filament, abrasive ones counted more; 0 = not by it */
    int starts, days;            /* 0 = not by it */
    int minutes;                 /* that it takes; 0 = not said */
    bool stands;                 /* the machine stands meanwhile */
    const char *parts, *caution; /* NULL = none */
    po_indices machines;
} po_task;

typedef struct po_house_room {
    double area_m2, height_m; /* 0: the room is not known */
    int people;
    double outdoor_m3_h;                                    /* NAN: not given */
    double cleaner_m3_h;                                    /* clean air that a cleaner in the room gives; 0 = none */
    bool cleaner_vapours;                                   /* it has a filter for vapours too */
    double settle_h;                                        /* share of particles per hour that settle by themselves */
    double particles_per_cm3, vapours_ug_m3, styrene_ug_m3; /* the shop's own targets; 0 = none */
} po_house_room;

typedef struct po_circuit {
    const char *name;
    double amps, volts, share_percent; /* share that a load of hours may take */
    po_indices machines;
} po_circuit;

typedef struct po_unattended { /* what must hold for a run that nobody is there to see */
    double longest_hours;      /* that nobody is there; 0 = any */
    po_indices materials;      /* that may run so; n 0 = all */
    po_indices machines;
} po_unattended;

typedef struct po_shop {
    const char *name, *time_zone, *currency;
    const char *ledger; /* path of the book as written: relative to the shop file's folder; NULL = none */
    po_beyond beyond;
    po_outbox outbox;
    int people_at_desk;
    po_day_hours hours[7]; /* Monday first */
    const po_dates *closed;
    size_t n_closed;
    const char *const *calendars; /* paths of iCalendar files as written: relative to the shop file's folder */
    size_t n_calendars;
    const char *const *holidays; /* the same, of files whose events close the desk */
    size_t n_holidays;
    const po_shop_exception
        *exceptions; /* what those files say; po_shop_read leaves it empty, see po_shop_with_events */
    size_t n_exceptions;
    const po_wall_span
        *excepted[PO_SHOP_EFFECTS]; /* the same, of each effect: apart, in rising order; made from them */
    size_t n_excepted[PO_SHOP_EFFECTS];
    const po_dates *terms;
    size_t n_terms;
    po_rules rules;
    const po_permission *permissions;
    size_t n_permissions;
    const po_material *materials;
    size_t n_materials;
    const po_machine *machines;
    size_t n_machines;
    const po_recipe *recipes;
    size_t n_recipes;
    const po_task *tasks;
    size_t n_tasks;
    po_house_room room;
    const po_circuit *circuits;
    size_t n_circuits;
    po_unattended unattended;
    const char *studies; /* path of the folder of studies as written: relative to the shop file's folder; NULL = none */
    uint64_t most_file_bytes;                     /* rules.most_file_gb; cap on a job file */
    uint64_t most_upload_bytes, keep_files_bytes; /* of files sent to the desk's page: of one, of all that are kept */
} po_shop;

/* One fault of a shop file. Texts live in the arena. */
typedef struct po_shop_fault {
    uint32_t line, column;
    const char *key; /* path such as machines[1].bed.x */
    const char *found, *expected;
} po_shop_fault;

typedef struct po_shop_faults {
    const po_shop_fault *faults; /* in the order of the file */
    size_t n_faults;
} po_shop_faults;

/* Read and check a shop file. Every fault is reported, all of them in one go.
 * text, n_bytes  the file's bytes; borrowed for the call
 * name           for messages; borrowed
 * arena          owns the shop and the faults
 * ret_shop       written on success only
 * ret_faults     always written (n_faults 0 on success); may not be NULL
 * Errors         PO_E_SYNTAX with the first fault's position when there is any fault; PO_E_NOMEM; PO_E_LIMIT */
PO_API po_status po_shop_read(const char *text, size_t n_bytes, const char *name, po_arena *arena,
                              const po_shop **ret_shop, po_shop_faults *ret_faults, po_err *err) PO_MUST_USE;

/* The same from a path. PO_E_IO / PO_E_NOTFOUND when it cannot be read. */
PO_API po_status po_shop_read_file(const char *path, po_arena *arena, const po_shop **ret_shop,
                                   po_shop_faults *ret_faults, po_err *err) PO_MUST_USE;

/* The same, for a caller who knows what findings there are: a name in rules.grades that is none of them is a fault.
 * findings  n_findings names; borrowed for the call */
PO_API po_status po_shop_read_file_knowing(const char *path, const char *const *findings, size_t n_findings,
                                           po_arena *arena, const po_shop **ret_shop, po_shop_faults *ret_faults,
                                           po_err *err) PO_MUST_USE;

/* Look-ups by name, case-insensitive (ASCII); NULL when there is none. Borrowed from the shop. */
PO_API const po_machine *po_shop_machine(const po_shop *shop, const char *name);
PO_API const po_material *po_shop_material(const po_shop *shop, const char *name);
PO_API const po_recipe *po_shop_recipe(const po_shop *shop, const char *name);
PO_API const po_task *po_shop_task(const po_shop *shop, const char *name);
/* Whether a list of machines (or materials) names the one with that index. */
PO_API bool po_indices_hold(const po_indices *list, size_t index);
PO_API const po_permission *po_shop_permission(const po_shop *shop, const char *name);
/* The shop's house material, else its first; never NULL. */
PO_API const po_material *po_shop_house_material(const po_shop *shop);
PO_API bool po_machine_takes(const po_shop *shop, const po_machine *machine, const po_material *material);
/* Whether holding `held` grants `wanted`, directly or by what it implies (through any depth, cycles tolerated). */
PO_API bool po_shop_grants(const po_shop *shop, const char *held, const char *wanted);
/* For how many seconds at a stretch nobody need be there while this machine prints this material (NULL: whatever it is), by the shop's
 * conditions (unattended): 0 = somebody must be there all along, INFINITY = nothing is asked. */
PO_API double po_shop_alone_s(const po_shop *shop, const po_machine *machine, const po_material *material);
/* Extent of the bed in machine coordinates. */
PO_API void po_machine_bed_extent(const po_machine *machine, po_range *ret_x, po_range *ret_y);

/* The words of the shop file and the book: "file", "refuse", "failed". */
PO_API const char *po_cause_name(po_run_cause cause);
PO_API const char *po_beyond_name(po_beyond beyond);
PO_API const char *po_text_kind_name(po_text_kind kind);
/* The cause with that word, exactly as written; false (and *ret untouched) when there is none. */
PO_API bool po_cause_from_name(const char *name, po_run_cause *ret);

/* The one of n names that is nearest to name (fewest edits, capitals ignored), for "did you mean"; NULL when n is 0. */
PO_API const char *po_nearest_name(const char *name, const char *const *names, size_t n);

/* Monday 0 ... Sunday 6, proleptic Gregorian. */
PO_API int po_weekday(po_date date);
/* minutes later (may be negative); plain calendar arithmetic, no daylight saving change. */
PO_API po_wall_time po_wall_add(po_wall_time t, long minutes);
/* Whether somebody is at the desk at that time. */
PO_API bool po_shop_staffed(const po_shop *shop, po_wall_time t);
/* The next minute at or after t when somebody is at the desk; false when there is none within 400 days. */
PO_API bool po_shop_next_staffed(const po_shop *shop, po_wall_time t, po_wall_time *ret_t);
/* The first minute from t on when nobody is there any more; eight days on where somebody always is. */
PO_API po_wall_time po_shop_staffed_until(const po_shop *shop, po_wall_time t);

#ifdef __cplusplus
}
#endif
#endif

/* A job file measured: facts, sightings and images of layers. No rule is known here. SPDX-License-Identifier: Apache-2.0
 * Quantities are defined in docs/measures.md. Lengths in mm, times in s, temperatures in degrees Celsius, areas in mm2,
 * flow in mm3/s, speeds in mm/s; positions in machine coordinates. NAN = no value (null in JSON). */
#ifndef PROVEOUT_JOB_H
#define PROVEOUT_JOB_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/shop.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef struct po_place {
    bool known;
    uint64_t line;  /* 1-based */
    double x, y, z; /* NAN = not a place in the machine */
    double seconds; /* from the start of the job; NAN = unknown */
} po_place;

/* What was seen, how often and where. The rules decide what it means. `worst` is the value meant below. */
typedef enum po_sight {
    /* the machine's room */
    PO_SIGHT_OFF_BED,  /* bead (with half its width) beyond the bed; worst: mm beyond; total: mm of bead */
    PO_SIGHT_KEEP_OUT, /* nozzle in a keep-out, not on the first move out of home; worst: mm inside */
    PO_SIGHT_REACH, /* move ends or passes outside reach in X, Y or Z before the last bead is done; worst: mm beyond */
    PO_SIGHT_REACH_PARKING,  /* the same after the last bead */
    PO_SIGHT_TOO_TALL,       /* bead above the machine's height; worst: mm above */
    PO_SIGHT_BELOW_BED,      /* nozzle below 0 over the bed (by more than 0.005 mm); worst: mm below */
    PO_SIGHT_RUNS_INTO_PART, /* nozzle's disc over material higher than it by more than half a layer; worst: mm higher */
    PO_SIGHT_HEAD_HITS_PART, /* parts finished in turn: the head's outline over what stands higher than it clears; worst: mm */
    PO_SIGHT_HEAD_UNKNOWN,    /* parts finished in turn on a machine without an outline in the shop file */
    PO_SIGHT_HOMES_INTO_PART, /* Z homed or bed probed with material standing under it */
    PO_SIGHT_NOT_HOMED,       /* X or Y moved, or Z lowered, before that axis was homed */
    PO_SIGHT_PARKS_ON_PART,   /* at the end the nozzle stays within a layer over or in material; worst: mm above it */
    /* heat */
    PO_SIGHT_PUSHES_COLD,    /* filament pushed with the nozzle commanded below the material's limit; worst: lowest C */
    PO_SIGHT_NEVER_HEATED,   /* filament pushed and no nozzle temperature was ever commanded for that tool before */
    PO_SIGHT_NOZZLE_TOO_HOT, /* commanded above the nozzle's rating; worst: C */
    PO_SIGHT_BED_TOO_HOT,    /* worst: C */
    PO_SIGHT_NO_NOZZLE_WAIT, /* first bead laid although the model says the nozzle is still below its command; worst: C short */
    PO_SIGHT_NO_BED_WAIT,      /* the same for the bed */
    PO_SIGHT_LEAVES_NOZZLE_ON, /* at the end; worst: C commanded */
    PO_SIGHT_LEAVES_BED_ON,
    PO_SIGHT_SITS_HOT, /* hot nozzle (170 C or more) at rest, by waits, dwells or slow idling; worst: s of one stay */
    /* the file */
    PO_SIGHT_DAMAGED,         /* text: what is wrong with the first place */
    PO_SIGHT_CUT_SHORT,       /* the last words lay a bead and no shutdown follows, or the last line breaks off */
    PO_SIGHT_STORES_SETTINGS, /* words that store or reset settings, write or delete files ...; text: the words */
    PO_SIGHT_NEEDS_TOOL,      /* beads with a tool that the machine lacks; text: the tool; worst: its number */
    PO_SIGHT_HEATS_TOOL,      /* a tool that the machine lacks is only heated or selected */
    PO_SIGHT_NEEDS_HANDS,     /* M600, M0 ...; text: the words; hands[] lists them */
    PO_SIGHT_LOOSENS_LIMITS,  /* motion limits above the machine's; text: the words; worst: factor above */
    PO_SIGHT_SHIFTS_ORIGIN,   /* G92 offset of X, Y or Z still in force at the end of the job; worst: mm */
    PO_SIGHT_TUNES,        /* tuning of pressure, flow or feed (M220, M221, M900 ...) left in force; text: the words */
    PO_SIGHT_UNKNOWN_WORD, /* text: the words, most frequent first; harmless words of the shop are left out */
    PO_SIGHT_BAD_ARC,      /* radii disagree, no centre, or an arc in another plane (text); worst: mm */
    PO_SIGHT_FEED_MODE,    /* readings of G90/G91 for E differ by more than 5 times; worst: the ratio;
                                * total: 0 where this machine's reading gives likely beads, else 1 */
    PO_SIGHT_TWO_JOBS,     /* laid a bead near the bed again after a shutdown (heat off) */
    PO_SIGHT_NO_FEED,      /* moves with no feed rate known */
    PO_SIGHT_SKIPS_PROBE,  /* beads laid with no bed probing (G29) although the machine has a probe time */
    /* beads, layers */
    PO_SIGHT_MELT,           /* sustained flow; worst: the largest mean over 3 s; text: the tool */
    PO_SIGHT_THIN_BEAD,      /* beads narrower than 0.6 nozzles; worst: width; total: mm of bead */
    PO_SIGHT_WIDE_BEAD,      /* wider than 2.5 nozzles */
    PO_SIGHT_THICK_LAYER,    /* layer above 0.8 nozzles; worst: mm; total: mm of bead */
    PO_SIGHT_QUICK_LAYER,    /* layer laid in less than 8 s with no slow-down; worst: s; total: layers */
    PO_SIGHT_GRINDS,         /* the same stretch of filament passes the drive; worst: times */
    PO_SIGHT_RETRACTS_FAR,   /* worst: mm of one retraction before the last bead */
    PO_SIGHT_MISSING_LAYERS, /* a gap in height that nothing spans; worst: mm of air */
    PO_SIGHT_STARTS_IN_AIR,  /* first bead far above the bed (1.5 nozzles or more); worst: mm */
    PO_SIGHT_ON_AIR,         /* worst: mm of the longest connected piece; total: mm */
    PO_SIGHT_BRIDGE,         /* worst: longest free length; total: mm; count: bridges */
    PO_SIGHT_OVERHANG,       /* worst: longest stretch; total: mm */
    PO_SIGHT_COUNT
} po_sight;

typedef struct po_sighting {
    uint64_t count; /* 0 = not seen; then nothing else counts */
    po_place first, worst_at;
    double worst, total;
    const char *text; /* NULL = none; lives in the report's arena */
} po_sighting;

typedef struct po_span3 { /* bounds; NAN when there was nothing */
    double min[3], max[3];
} po_span3;

typedef struct po_heat_facts {
    double first, lowest, highest; /* commanded while beads are laid */
} po_heat_facts;

typedef struct po_tool_facts {
    int tool;
    double filament_mm, filament_net_mm, filament_g, volume_mm3, extruding_mm, seconds;
    po_heat_facts nozzle_c;
    double peak_flow_mm3_s, sustained_flow_mm3_s;
    double bead_width_mm;
    double layer_height_mm;
    const char *material;
    /* Shares of the length of stadium beads above the first layer, priming, bridges and second passes left out:
     * how much lies outside a band is asked with po_shares_outside. */
    const float *width_share;  /* [PO_WIDTH_BINS], bin i: widths from i to i + 1 hundredths of a mm */
    const float *height_share; /* [PO_WIDTH_BINS], layer heights, the same bins */
    const float *nozzle_share; /* [PO_C_BINS], share of bead-laying time at i degrees commanded (0 = none commanded) */
    /* Length-weighted median cross-section of beads, round strands too; priming and bridges left out. 0 or NAN: not
     * measured (the rules then divide the tool's net feed by its bead length). */
    double bead_area_mm2;
} po_tool_facts;
enum { PO_WIDTH_BINS = 400, PO_C_BINS = 512, PO_FAN_BINS = 101 };

/* A part as it stands on the bed: footholds that merge higher up are one part. */
typedef struct po_job_part {
    int number; /* 1-based, in the order in which they were begun */
    bool aid;   /* never holds more than three beads' width: support, draft wall */
    double foothold_mm2;
    int footholds;
    double x, y; /* middle of its bounds */
    po_span3 bounds_mm;
    double grams;
    double centre_of_mass_mm[3];
    double hull_area_mm2;   /* of its footholds */
    double tip_deg;         /* tilt that tips it over its foothold's hull; 90 = can't tip */
    double tip_accel_mm_s2; /* sideways acceleration that does */
    double longest_edge_mm; /* longest straight edge of its footholds' hull */
    double begun_seconds, done_seconds;
    double least_base_mm; /* least width of its footholds' hull; 0 or NAN = not measured (the rules then estimate it) */
} po_job_part;

typedef struct po_height_row {
    double z, filament_mm, g, seconds;
} po_height_row;

typedef struct po_layer_row { /* one layer, in the order laid (a part finished in turn brings its own) */
    double z, seconds /* spent laying it */, start_seconds, extruding_mm, filament_mm, area_mm2, mean_mm_s;
    double solid_share; /* filled cells of filled and enclosed cells; NAN = not measured */
    float bridge_mm, overhang_mm, on_air_mm;
    uint64_t line;
} po_layer_row;

typedef struct po_hands { /* a word that needs a person */
    const char *word;
    uint64_t line;
    double z, seconds;
} po_hands;

typedef struct po_word_count {
    const char *word; /* "G29", "M117" */
    uint64_t count, first_line;
} po_word_count;

typedef struct po_job_facts {
    uint64_t bytes, lines, moves, retractions;
    double filament_mm, filament_net_mm, filament_g, volume_mm3;
    const po_tool_facts *tools; /* tools that were pushed or heated, rising */
    size_t n_tools;
    double seconds, motion_seconds, heat_seconds, wait_seconds;
    double first_bead_seconds, first_layer_seconds;
    const double *later_first_layers; /* start, end of the first layers of later parts, in pairs (2 * n values) */
    size_t n_later_first_layers;
    int layers;
    double layer_height_mm, first_layer_height_mm, first_layer_mm_s, bead_width_mm;
    bool continuous;
    po_span3 bounds_mm, bounds_all_mm, travel_bounds_mm;
    po_heat_facts nozzle_c, bed_c, fan_percent;
    const float *bed_share; /* [PO_C_BINS] share of bead-laying time */
    const float *fan_share; /* [PO_FAN_BINS] from the fourth layer on, bridges left out */
    double peak_flow_mm3_s, sustained_flow_mm3_s;
    double extruding_mm, travel_mm;
    double foothold_mm2;
    int footholds;
    const po_job_part *parts;
    size_t n_parts;
    double on_air_mm, across_gap_mm, over_fill_mm;
    int bridge_count;
    double longest_bridge_mm, overhang_mm;
    double fill_fraction;
    double walls;         /* NAN = not clear */
    double roofs, floors; /* whole layers that close it above and below; NAN = not clear */
    const po_height_row *by_height;
    size_t n_by_height;
    const po_layer_row *layer_rows;
    size_t n_layer_rows;
    double raster_mm;
    bool deposit_done; /* false: measured without deposit; its facts are NAN, 0 or empty */
    double last_bed_c; /* commanded before it was switched off: what the bed cools from; NAN = never */
    double shutdown_bed_c, shutdown_nozzle_c; /* commanded at the end of the file */
    double end_xyz_mm[3];
    const po_hands *hands; /* at most 64 */
    size_t n_hands;
    const po_word_count *unknown_words; /* at most 64 */
    size_t n_unknown_words;
    bool in_turn;                              /* parts finished one after another */
    bool sets_units, sets_mode, homes, probes; /* said before the first bead: G20/21, G90/91, G28, G29 */
    bool job_ends;                             /* a shutdown (heat off) stands at the end */
    /* Length-weighted median of the commanded speed of beads above the first layer, priming left out, for off-recipe;
     * 0 or NAN = not measured. */
    double usual_bead_mm_s;
} po_job_facts;

/* What one pixel of a layer image shows. */
enum {
    PO_PX_NONE = 0,
    PO_PX_BENEATH,
    PO_PX_LAID,
    PO_PX_FOOTHOLD,
    PO_PX_PRIMING,
    PO_PX_BRIDGE,
    PO_PX_OVERHANG,
    PO_PX_ON_AIR,
    PO_PX_OVER_FILL,
    PO_PX_COUNT
};

typedef struct po_flag { /* a place worth a numbered flag on a picture */
    po_sight sight;
    double x, y, z, value;
    uint64_t line;
} po_flag;

typedef struct po_layer_image {
    double z;
    double x0, y0; /* machine position of the lower left corner of pixel (0, 0) */
    double px_mm;
    int width, height; /* rows from the front of the bed to the back */
    const uint8_t *px; /* PO_PX_..., row after row */
    const po_flag *flags;
    size_t n_flags;
} po_layer_image;

typedef struct po_side_image { /* what stands, seen from the front (x, z) */
    double x0, z0, px_x_mm, px_z_mm;
    int width, height; /* rows from the bed upwards */
    const uint8_t *px; /* 0 none, 255 full: share of the depth that holds material */
} po_side_image;

typedef struct po_job_images {
    const po_layer_image *first_layer; /* NULL = none was laid */
    const po_layer_image *worst;       /* worst heights first */
    size_t n_worst;
    const po_side_image *side; /* NULL = none */
} po_job_images;

/* Everything measured of one job on one machine. Lives in the arena given to po_job_measure. */
typedef struct po_job_report {
    const po_machine *machine;
    const po_material *materials[PO_MAX_TOOLS]; /* one for each nozzle */
    size_t n_materials;
    char sha256[65];
    po_job_facts facts;
    po_sighting sights[PO_SIGHT_COUNT];
    po_job_images images;
    const po_layer_image *prints; /* heights evenly chosen, in the order laid, priming and aids included; no flags */
    size_t n_prints;              /* up to twice as many as asked for; 0 unless asked for */
} po_job_report;

/* One machine to measure for. All pointers borrowed until the call returns, and by the report. */
typedef struct po_job_setup {
    const po_machine *machine;
    const po_material *materials[PO_MAX_TOOLS]; /* one for each nozzle, NULL never within n_nozzles */
    const po_rules *rules;
} po_job_setup;

typedef struct po_job_options {
    bool deposit;        /* measure where material lies (footholds, overhangs, parts) */
    bool images;         /* keep images; needs deposit */
    int threads;         /* 1..64; 0 = as many as the machine has cores. The answer is the same */
    uint64_t most_bytes; /* cap on the unpacked job; 0 = 10 GB */
    /* Called now and then from the calling thread; returning false cancels (PO_E_CANCELLED). NULL = none.
     * total 0 = unknown */
    bool (*progress)(uint64_t bytes_done, uint64_t bytes_total, void *user);
    void *user;
    size_t
        prints; /* keep about so many heights as they were laid (at most 400), for comparing with a part; needs deposit */
    bool hash; /* false leaves sha256 empty: for timing the facts alone */
} po_job_options;
#define PO_JOB_OPTIONS_INIT                                                                                            \
    {                                                                                                                  \
        .deposit = true, .images = false, .threads = 0, .most_bytes = 0, .progress = 0, .user = 0, .prints = 0,        \
        .hash = true                                                                                                   \
    }

/* A source of bytes: path, standard input or memory; gzip and zstd are unpacked by content. */
typedef struct po_source {
    const char *path; /* "-" = standard input; NULL: memory */
    const void *data; /* used when path is NULL */
    size_t n_bytes;
} po_source;

/* Measure one job for several machines in one pass over the bytes (a second pass only where machines read the
 * file differently; what cannot be read twice is kept aside in a temporary file).
 * setups, n_setups  at least 1
 * arena             owns the reports
 * ret_reports       room for n_setups pointers; written on success only
 * Errors            PO_E_EMPTY (not a job at all: no motion word), PO_E_IO, PO_E_NOTFOUND, PO_E_LIMIT, PO_E_SYNTAX (a
 *                   packed file that does not unpack), PO_E_NOMEM, PO_E_CANCELLED. A damaged job is no error: it is
 *                   seen as PO_SIGHT_DAMAGED. */
PO_API po_status po_job_measure(const po_source *source, const po_job_setup *setups, size_t n_setups,
                                const po_job_options *options, po_arena *arena, const po_job_report **ret_reports,
                                po_err *err) PO_MUST_USE;

/* by_height made thin, for keeping: rows left out lie on the straight line between their kept neighbours, to within `share` of the
 * last row's filament and seconds; where more than `most` rows are needed, to within as little as `most` rows allow.
 * rows      n rows; z rises, filament and seconds do not fall
 * share     0.0005 for 0.05 %
 * most      at least 2
 * ret_kept  room for n indices, rising; first and last row are always kept. Hands back how many
 * Method    one pass: a line from the last kept row is drawn on as long as it stays within a cone of slopes for each quantity. */
PO_API size_t po_height_rows_thin(const po_height_row *rows, size_t n, double share, size_t most, size_t *ret_kept);

/* Share (0..1) of a histogram with bins of 0.01 mm or 1 C that lies outside [low, high] (bin_size in the same unit). */
PO_API double po_share_outside(const float *shares, size_t n_bins, double bin_size, double low, double high);

#ifdef __cplusplus
}
#endif
#endif

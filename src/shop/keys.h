/* The tables of keys that a shop file may hold. SPDX-License-Identifier: Apache-2.0
 *
 * One row a key: the reader (check.c) fills the structs from it, docs/shop-file.md is written from it (tools/shop-file-doc.c). */
#ifndef PO_SHOP_KEYS_H
#define PO_SHOP_KEYS_H

#include <stdbool.h>
#include <stddef.h>

#include "proveout/shop.h"

typedef enum po_key_kind {
    PO_KEY_NUMBER, /* double */
    PO_KEY_COUNT,  /* int, a whole number */
    PO_KEY_BOOL,
    PO_KEY_TEXT,   /* const char * */
    PO_KEY_RANGE,  /* po_range, [low, high] */
    PO_KEY_MAP,    /* a mapping with its own table, `inside`, relative to offset */
    PO_KEY_CHOICE, /* int, the index of one of `choices` */
    PO_KEY_OWN,    /* read by hand in lists.c and desk_keys.c, see po_key_own */
} po_key_kind;

typedef enum po_key_own {
    PO_OWN_NONE = 0,
    PO_OWN_SPANS, /* hours of one day */
    PO_OWN_CLOSED,
    PO_OWN_PATHS, /* hours.calendars, hours.holidays */
    PO_OWN_TERMS,
    PO_OWN_ZONE,
    PO_OWN_CURRENCY,
    PO_OWN_WORDS, /* rules.harmless_words */
    PO_OWN_GRADES,
    PO_OWN_PERMISSIONS, /* named mappings from here ... */
    PO_OWN_MATERIALS,
    PO_OWN_MACHINES,
    PO_OWN_RECIPES, /* ... to here */
    PO_OWN_IMPLIES,
    PO_OWN_KEEP_OUTS,
    PO_OWN_NOZZLES,
    PO_OWN_MATERIAL_NAMES,
    PO_OWN_PERMISSION_NAME,
    PO_OWN_LEDGER, /* read in desk_keys.c, from here ... */
    PO_OWN_COMMAND,
    PO_OWN_MESSAGE, /* outbox.texts */
    PO_OWN_CAUSES,
    PO_OWN_LAPSES,
    PO_OWN_STICK_LABEL,
    PO_OWN_STICK_MOUNT, /* ... to here */
    PO_OWN_TASKS,       /* read in house.c, from here ... */
    PO_OWN_CIRCUITS,
    PO_OWN_MACHINE_NAMES,
    PO_OWN_MATERIALS_OF,
    PO_OWN_FOLDER, /* ... to here */
} po_key_own;

typedef struct po_key {
    const char *name;
    po_key_kind kind;
    bool required;
    size_t offset;
    const char *unit;           /* NULL = none */
    double low, high;           /* bounds of numbers, counts, each end of a range, characters of a text */
    double preset, preset_high; /* when the key is missing; of a choice: its index; of a range: both ends */
    const char *preset_says;    /* in the manual; NULL = the preset itself; of messages and causes: the preset itself */
    const struct po_key_table *inside;
    const char *const *choices; /* NULL-ended */
    po_key_own own;
    const char *expects; /* own: for faults and the manual */
    const char *says;    /* for the manual */
} po_key;

typedef struct po_key_table {
    const char *path; /* for the manual: "machines[].bed" */
    const po_key *keys;
    size_t n;
} po_key_table;

/* What check.c fills for a machine before it becomes a po_machine. */
typedef struct po_machine_draft {
    po_machine machine;
    int shape, origin, corner, enclosure; /* choices */
    double bed_x, bed_y, bed_diameter;    /* NAN = not given */
} po_machine_draft;

/* What check.c fills for the whole file. */
typedef struct po_shop_draft {
    po_shop shop;
    double most_file_gb, most_upload_gb, keep_files_gb;
    int beyond; /* choice */
} po_shop_draft;

extern const po_key_table po_keys_file, po_keys_shop, po_keys_hours, po_keys_rules, po_keys_permission, po_keys_lapses,
    po_keys_material, po_keys_machine, po_keys_bed, po_keys_keep_out, po_keys_nozzle, po_keys_recipe, po_keys_task,
    po_keys_room, po_keys_circuit, po_keys_unattended, po_keys_training;
extern const char *const po_enclosures[];

/* All tables in the order of the manual; *ret_n of them. */
const po_key_table *const *po_key_tables(size_t *ret_n);

enum {
    PO_SHOP_MOST_NAMED = 500, /* machines, materials, recipes, permissions, terms, closures, grades, words */
    PO_SHOP_MOST_SPANS = 24,  /* of one day */
    PO_SHOP_MOST_KEEP_OUTS = 64,
    PO_SHOP_MOST_NAME = 60,     /* characters of a name */
    PO_SHOP_MOST_LINE = 1000,   /* characters of a path or a command */
    PO_SHOP_MOST_MESSAGE = 1000 /* characters of a message */
};

#endif

/* The command line: verbs as a table, and what they share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_H
#define PO_CLI_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "proveout/proof.h"
#include "proveout/slip.h"

/* Exit status; several files: the worst, several machines: the best. */
enum {
    EXIT_CLEAR = 0,
    EXIT_ASK = 1,
    EXIT_STOP = 2,
    EXIT_NO_JOB = 3, /* no job or part at all */
    EXIT_USAGE = 4,  /* wrong usage, or a faulty shop file */
    EXIT_OWN = 5     /* the program's own failure */
};

typedef struct cli_option {
    const char *name;  /* without the dashes */
    const char *value; /* what it takes, for help; NULL = nothing */
    const char *says;
    const char *refusal; /* not NULL: known, but refused with this sentence */
    const char *field;   /* desk.h: the field of the act that it fills, by its unit */
    int unit;
} cli_option;

typedef struct cli_example {
    const char *command, *says;
} cli_example;

typedef struct cli_verb cli_verb;

enum { CLI_MOST_OPTIONS = 40, CLI_MOST_LIST = 64, CLI_MOST_FILLS = 4 };

typedef struct cli_fill { /* an operand of an act's verb: the field that it fills, and its unit (desk.h) */
    const char *field;
    int unit;
} cli_fill;

typedef struct cli_call {
    const cli_verb *verb;
    const char *values[CLI_MOST_OPTIONS]; /* by row of the verb's options; "" for one that takes nothing */
    const char *const *args;
    int n_args;
} cli_call;

struct cli_verb {
    const char *name;     /* "check"; two words for a verb of a family: "shop check" */
    const char *operands; /* for help: "FILE..." */
    int least, most;      /* operands; most -1: any number */
    const cli_option *options;
    size_t n_options;
    const char *line; /* one-line help */
    const char *help; /* paragraphs */
    const cli_example *examples;
    size_t n_examples;
    int (*run)(const cli_call *call);
    /* of verbs that are acts (desk.h): run is desk_run_act */
    const char *act;
    cli_fill fills[CLI_MOST_FILLS];
    const char *done; /* the sentence for people when it is booked */
};

/* Verbs of one subject, one after another; the name NULL ends them. Of a family ("spool add", "spool weigh") the overview
 * shows one line. */
typedef struct cli_family {
    const cli_verb *verbs;
    const char *line; /* NULL: each verb has its own line in the overview */
} cli_family;
const cli_family *cli_families(size_t *ret_n);
/* All verbs, family by family; NULL beyond the last. */
const cli_verb *cli_verb_at(size_t i);
/* The verb, among all or within a family (its first word), whose name is nearest; "" where there is none. */
const char *cli_nearest_verb(const char *name, const char *family);

/* ---- options.c ---- */

/* Options and operands of a verb from the words after its name. EXIT_CLEAR, or EXIT_USAGE with a message printed.
 * Operands keep their order and are borrowed from argv, which is rearranged. --help sets *ret_help. */
int cli_parse(const cli_verb *verb, int argc, char **argv, cli_call *ret, bool *ret_help);
/* The value of an option, NULL when it was not given; name must be one of the verb's. */
const char *cli_value(const cli_call *call, const char *name);
/* A decimal number without sign or exponent within bounds. */
bool cli_number(const char *text, double low, double high, double *ret);
/* Pieces between commas, in place of a copy in the arena; false when there are more than CLI_MOST_LIST or memory is gone.
 * An empty text has no pieces. */
bool cli_split(const char *text, po_arena *arena, const char **ret_pieces, size_t *ret_n);

/* ---- tell.c: standard error and help ---- */

/* "proveout: sentence" on standard error, control characters shown as ?; hands the exit status back. */
int cli_fail(int exit_status, const char *format, ...) PO_PRINTF(2, 3);
/* The same for a status and its error record, by one table from status to exit status. */
int cli_fail_err(const po_err *err);
/* The same for a part's file, which is named beside the place within it. What its bytes are to blame for is no part. */
int cli_fail_part(const char *path, po_err *err);
/* Lines of at most 79 columns, indented. */
void cli_wrap(FILE *out, int indent, const char *text);
/* The same behind a word of the first line: "Caution." */
void cli_wrap_after(FILE *out, int indent, const char *lead, const char *text);
void cli_print_help(FILE *out, const cli_verb *verb);
/* All verbs of a family ("spool"): a line for each, then what each does and takes, then the options that all have; false: there are
 * none. */
bool cli_print_family(FILE *out, const char *family);
void cli_print_overview(FILE *out);
/* EXIT_OWN with a message when standard output could not be written, else exit_status. */
int cli_end(int exit_status);

/* ---- shopfile.c ---- */

/* The path of the shop file: --shop, else PROVEOUT_SHOP, else ./shop.yaml, else NULL with a message printed. */
const char *cli_shop_path(const char *given);
/* Read it, names of findings included. EXIT_CLEAR, or a message printed and EXIT_USAGE or EXIT_OWN. */
int cli_shop_read(const char *given, po_arena *arena, const po_shop **ret_shop);
/* A machine by name. EXIT_CLEAR, or EXIT_USAGE with a message that names the nearest. */
int cli_shop_machine(const po_shop *shop, const char *name, po_arena *arena, const po_machine **ret);
/* Read it for a verb that lists all faults itself; names of findings are looked at as well. */
po_status cli_shop_faults(const char *path, po_arena *arena, const po_shop **ret_shop, po_shop_faults *ret_faults,
                          po_err *err);

/* ---- clock.c ---- */

/* "15:10", "2026-11-26T15:10" or "now", in the shop's time zone. EXIT_CLEAR or EXIT_USAGE with a message printed. */
int cli_start_time(const char *text, const po_shop *shop, po_wall_time *ret);
/* Let the C library tell times in this zone. False where it does not know it: it would take it for UTC without a word. */
bool cli_enter_zone(const char *zone);
/* "9:05" or "15:10" as minutes after midnight; "2026-11-26T15:10" (or a blank for the T) where such a day exists. */
bool cli_clock_time(const char *text, int *ret_minute);
bool cli_wall_time(const char *text, po_wall_time *ret);
/* The time now in the shop's zone, from SOURCE_DATE_EPOCH where that is set; false when the zone is unknown here. */
bool cli_now(const po_shop *shop, po_wall_time *ret);

/* ---- files.c ---- */

/* Write all bytes or nothing: beside the path, then renamed over it; "-" is standard output. */
int cli_write_file(const char *path, const po_document *document);
/* What --picture asks for, by the name's end. EXIT_CLEAR, or EXIT_USAGE with a message printed. */
int cli_picture_kind(const char *path, po_picture_kind *ret);
/* Nothing that was given to be read is written over, whatever name or link leads to it. out NULL or "-": nothing to
 * refuse. EXIT_CLEAR, or EXIT_USAGE with a message printed that names the option. */
int cli_spare_input(const char *option, const char *out, const char *input);
/* The SHA-256 of a file's bytes as they are, in hex; false where it can't be read. */
bool cli_sha256(const char *path, char ret_hex[65]);
/* The bytes of a file ("-": standard input), with room for one more, at most so many; the caller frees. NULL with a message printed. */
char *cli_read_whole(const char *path, size_t most, size_t *ret_n);
typedef enum cli_kind { CLI_KIND_JOB, CLI_KIND_STL, CLI_KIND_3MF, CLI_KIND_ZIP } cli_kind;
/* What a file is, from its first bytes and its size; anything that is no part counts as a job. size 0 = unknown. */
cli_kind cli_kind_of(const unsigned char *head, size_t n, unsigned long long size);
/* Ready to be measured: *ret_kind told, standard input kept readable from its first byte. arena: for small inputs.
 * EXIT_CLEAR, or a message printed. */
int cli_open_source(const char *path, po_arena *arena, po_source *ret_source, cli_kind *ret_kind);

/* ---- progress.c ---- */

typedef struct cli_progress {
    const char *file;
    double begun; /* s */
    bool shown;
} cli_progress;
/* For po_job_options: a line on standard error after a second, if that is a terminal. Always true. */
bool cli_progress_step(uint64_t done, uint64_t total, void *user);
void cli_progress_begin(cli_progress *progress, const char *file);
void cli_progress_end(cli_progress *progress);

/* ---- json.c ---- */

typedef struct cli_json { /* one line of JSON (RFC 8259) on a stream */
    FILE *out;
    bool comma; /* the next member needs one before it */
} cli_json;
void cli_json_open(cli_json *j, const char *key, char bracket); /* '{' or '['; key NULL inside lists and at the top */
void cli_json_close(cli_json *j, char bracket);                 /* '}' or ']' */
void cli_json_text(cli_json *j, const char *key, const char *value); /* NULL: null */
void cli_json_number(cli_json *j, const char *key, double value);    /* not finite: null */
void cli_json_bool(cli_json *j, const char *key, bool value);
void cli_json_range(cli_json *j, const char *key, double low, double high);

#endif

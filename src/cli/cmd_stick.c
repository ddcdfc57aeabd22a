/* proveout stick ...: whose they are, where they are, what is on them. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "stick_look.h"
#include "verbs.h"

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Stick", "stick", DESK_TEXT, 0, false},
        {"Machine", "machine", DESK_TEXT, 0, false},
        {"State", "state", DESK_TEXT, 0, false},
        {"Member", "member", DESK_TEXT, 0, false},
        {"Run", "run", DESK_COUNT, 0, true},
        {"Out since", "out_ms", DESK_TIME, 0, false},
        {"Counted", "counted_ms", DESK_TIME, 0, false},
        {"Cleared", "cleared_ms", DESK_TIME, 0, false},
        {"Why", "reason", DESK_TEXT, 40, false},
    };
    desk d;
    json_t *p = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &p) : status;
    status = status == EXIT_CLEAR ? desk_ask(&d, "sticks", p, &answer) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        json_t *list = json_object_get(answer, "sticks");
        for (size_t i = 0; i < json_array_size(list); i++) {
            json_t *row = json_array_get(list, i);
            if (json_is_integer(json_object_get(row, "run")) &&
                !strcmp(json_string_value(json_object_get(row, "state")), "there")) {
                json_object_set_new(row, "state", json_string("out"));
            }
        }
        desk_table(&d, list, columns, sizeof columns / sizeof columns[0],
                   "The book knows no such stick; proveout stick add puts one there.");
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

/* ---- what is on one ---- */

typedef struct look {
    desk d;
    const po_machine *machine;
    const char *mount;
    json_t *stick, *rows; /* stick NULL: not known to the book */
    stick_files files;
} look;

/* The row of a stick, or the only one of a machine; NULL where there is none. */
static int ask_stick(desk *d, const char *key, const char *value, json_t **ret)
{
    json_t *answer = NULL;
    int status = desk_ask(d, "sticks", json_pack("{s:s}", key, value), &answer);
    const json_t *list = json_object_get(answer, "sticks");
    *ret = NULL;
    for (size_t i = 0; i < json_array_size(list); i++) { /* of several, the one that is out */
        json_t *row = json_array_get(list, i);
        if (json_array_size(list) == 1 || json_is_integer(json_object_get(row, "run"))) {
            *ret = json_incref(row);
            break;
        }
    }
    json_decref(answer);
    return status;
}

/* The machine for whose proofs is asked: by the stick, by name, or by where its stick shows. */
static int find_machine(look *l, const char *stick, const char *name)
{
    int status = EXIT_CLEAR;
    if (stick) {
        status = ask_stick(&l->d, "stick", stick, &l->stick);
        if (status == EXIT_CLEAR && !l->stick) {
            return cli_fail(EXIT_STOP, "there is no stick %s in the book; proveout stick add puts it there", stick);
        }
        name = json_string_value(json_object_get(l->stick, "machine"));
    }
    if (status != EXIT_CLEAR) {
        return status;
    }
    l->machine = name ? po_shop_machine(l->d.shop, name) : work_stick_machine_at(l->d.shop, l->mount);
    if (!l->machine && name) {
        return cli_fail(EXIT_USAGE, "%s: the shop has no machine of this name", name);
    }
    if (!l->machine) {
        return cli_fail(
            EXIT_USAGE,
            "%s: no machine's stick shows there by the shop file; say whose it is with --machine or --stick", l->mount);
    }
    return stick ? EXIT_CLEAR : ask_stick(&l->d, "machine", l->machine->name, &l->stick);
}

static int look_at(look *l, const cli_call *call, const char *mount, const char *stick, const char *machine)
{
    int status = desk_open(&l->d, call);
    l->mount = mount;
    status = status == EXIT_CLEAR ? find_machine(l, stick, machine) : status;
    status = status == EXIT_CLEAR ? stick_files_read(mount, l->d.shop->most_file_bytes, l->d.arena, &l->files) : status;
    return status == EXIT_CLEAR ? stick_judge(&l->d, l->machine, l->stick, &l->files, &l->rows) : status;
}

static void look_done(look *l)
{
    json_decref(l->stick);
    json_decref(l->rows);
    desk_close(&l->d);
}

static void tell_bounds(const look *l)
{
    if (l->files.n_links > 0) {
        printf("%zu link%s on it %s not followed.\n", l->files.n_links, l->files.n_links == 1 ? "" : "s",
               l->files.n_links == 1 ? "was" : "were");
    }
    if (l->files.n_unread > 0) {
        printf("%zu folder%s could not be read.\n", l->files.n_unread, l->files.n_unread == 1 ? "" : "s");
    }
    if (l->files.more) {
        printf("There is more on it than is looked at in one go (%d files, %d folders, %d deep): this is not all.\n",
               STICK_MOST_FILES, STICK_MOST_FOLDERS, STICK_MOST_DEPTH);
    }
}

static int run_look(const cli_call *call)
{
    look l = {0};
    int status = cli_value(call, "machine") && cli_value(call, "stick")
                     ? cli_fail(EXIT_USAGE, "--machine and --stick: one of them says whose it is")
                     : look_at(&l, call, call->args[0], cli_value(call, "stick"), cli_value(call, "machine"));
    json_t *counts = status == EXIT_CLEAR ? work_stick_counts(l.rows) : NULL;
    if (status == EXIT_CLEAR && l.d.json) {
        status = desk_print_json(json_pack("{s:s, s:s, s:s, s:O?, s:O, s:O, s:I, s:I, s:b}", "format",
                                           "proveout/stick-look/1", "mount", l.mount, "machine", l.machine->name,
                                           "stick", json_object_get(l.stick, "stick"), "counts", counts, "files",
                                           l.rows, "links", (json_int_t)l.files.n_links, "unread_folders",
                                           (json_int_t)l.files.n_unread, "more", l.files.more));
    } else if (status == EXIT_CLEAR) {
        const char *stick = json_string_value(json_object_get(l.stick, "stick"));
        stick_table(&l.d, l.rows, "There is no file on it.");
        printf("%s%s%s%s: %s.\n", stick ? "Stick " : "", stick ? stick : "", stick ? " of " : "", l.machine->name,
               stick_count_words(&l.d, counts));
        tell_bounds(&l);
    }
    json_decref(counts);
    look_done(&l);
    return status;
}

/* ---- clearing ---- */

static bool is_one(const json_t *row, const char *only)
{
    const char *state = json_string_value(json_object_get(row, "state"));
    bool old = !strcmp(state, "old"), unproved = !strcmp(state, "unproved") || !strcmp(state, "changed");
    return !strcmp(only, "old")        ? old
           : !strcmp(only, "unproved") ? unproved
                                       : old || unproved || !strcmp(state, "proved") || !strcmp(state, "part");
}

typedef struct clearing {
    json_t *rows;   /* what goes, as stick_judge says it */
    size_t *which;  /* of look.files */
    size_t n, gone; /* n of rows */
    json_t *kept;   /* what could not be removed: path, why */
    unsigned long long event;
} clearing;

static json_t *clear_body(const look *l, const cli_call *call, size_t n)
{
    return json_pack("{s:O, s:I, s:s}", "stick", json_object_get(l->stick, "stick"), "files", (json_int_t)n, "leave",
                     cli_value(call, "leave"));
}

/* First into the book, which says whether it may be; then from the stick. Where the stick did not let all of them go, the
 * booking is taken back and made anew with what went. */
static int clear_them(look *l, const cli_call *call, clearing *c)
{
    po_act_done done[2] = {0};
    int status = desk_act(&l->d, "stick-clear", clear_body(l, call, c->n), &done[0], NULL);
    for (size_t i = 0; status == EXIT_CLEAR && i < c->n; i++) {
        const stick_file *f = &l->files.files[c->which[i]];
        const char *why = work_stick_remove(l->mount, f);
        c->gone += !why;
        if (why) {
            json_array_append_new(c->kept, json_pack("{s:s, s:s}", "path", f->shown, "why", why));
        }
    }
    c->event = done[0].event;
    if (status == EXIT_CLEAR && c->gone < c->n) {
        static const char *const acts[] = {"undo", "stick-clear"};
        json_t *bodies[2] = {json_pack("{s:I, s:s}", "event", (json_int_t)done[0].event, "reason",
                                       "the stick did not let all of them go"),
                             c->gone > 0 ? clear_body(l, call, c->gone) : NULL};
        status = desk_acts(&l->d, acts, bodies, c->gone > 0 ? 2 : 1, done, NULL);
        c->event = done[c->gone > 0 ? 1 : 0].event;
    }
    return status;
}

static int tell_cleared(look *l, const cli_call *call, const clearing *c, bool removed)
{
    size_t n_kept = json_array_size(c->kept);
    int status = EXIT_CLEAR;
    if (l->d.json) {
        status = desk_print_json(json_pack("{s:s, s:O, s:s, s:s, s:b, s:I, s:O, s:O}", "format",
                                           "proveout/stick-clear/1", "stick", json_object_get(l->stick, "stick"),
                                           "mount", l->mount, "leave", cli_value(call, "leave"), "removed", removed,
                                           "event", (json_int_t)c->event, "files", c->rows, "kept", c->kept));
    } else if (!removed) {
        stick_table(&l->d, c->rows, "There is nothing of that kind on it; nothing was removed.");
        tell_bounds(l);
        if (c->n > 0) {
            printf("Nothing was removed yet; --yes removes %s.\n", c->n == 1 ? "this one" : "them");
        }
    } else {
        printf("%zu file%s removed from stick %s, by leave of %s. Booked as event %llu.\n", c->gone,
               c->gone == 1 ? " was" : "s were", json_string_value(json_object_get(l->stick, "stick")),
               cli_value(call, "leave"), c->event);
        for (size_t i = 0; i < n_kept; i++) {
            const json_t *k = json_array_get(c->kept, i);
            printf("Still there: %s: %s\n", json_string_value(json_object_get(k, "path")),
                   json_string_value(json_object_get(k, "why")));
        }
    }
    return status != EXIT_CLEAR ? status : n_kept > 0 || (!removed && c->n > 0) ? EXIT_ASK : EXIT_CLEAR;
}

static int run_clear(const cli_call *call)
{
    const char *only = cli_value(call, "only") ? cli_value(call, "only") : "old";
    look l = {0};
    clearing c = {.rows = json_array(), .kept = json_array()};
    int status = EXIT_CLEAR;
    if (!cli_value(call, "leave")) {
        status = cli_fail(EXIT_USAGE, "--leave WHO is missing: files are removed only with leave; say who gave it");
    } else if (strcmp(only, "old") && strcmp(only, "unproved") && strcmp(only, "all")) {
        status = cli_fail(EXIT_USAGE, "--only %s: expected old, unproved or all", only);
    } else {
        status = look_at(&l, call, call->args[1], call->args[0], NULL);
    }
    if (status == EXIT_CLEAR) { /* the shop file's mount is that of the stick with this label */
        const char *label = l.machine->stick_label, *stick = json_string_value(json_object_get(l.stick, "stick"));
        status = stick_may_clear(l.mount, !label || !strcmp(label, stick) ? l.machine->stick_mount : NULL);
        c.which = po_arena_zeros(l.d.arena, l.files.n + 1, sizeof *c.which);
        status = status == EXIT_CLEAR && !c.which ? cli_fail(EXIT_OWN, "memory ran out") : status;
    }
    for (size_t i = 0; status == EXIT_CLEAR && i < l.files.n; i++) {
        json_t *row = json_array_get(l.rows, i);
        if (is_one(row, only)) {
            json_array_append(c.rows, row);
            c.which[c.n++] = i;
        }
    }
    bool go = c.n > 0 && cli_value(call, "yes");
    status = status == EXIT_CLEAR && go ? clear_them(&l, call, &c) : status;
    status = status == EXIT_CLEAR ? tell_cleared(&l, call, &c, go) : status;
    json_decref(c.rows);
    json_decref(c.kept);
    look_done(&l);
    return status;
}

/* ---- the verbs ---- */

#define OPTIONS(name, ...) static const cli_option options_##name[] = {DESK_OPTIONS, __VA_ARGS__}
static const cli_option options_plain[] = {DESK_OPTIONS};
OPTIONS(list, {.name = "machine",
               .value = "NAME",
               .says = "only those of one machine",
               .field = "machine",
               .unit = DESK_MACHINE});
OPTIONS(reason, {.name = "reason", .value = "TEXT", .says = "what is known of it", .field = "reason"});
OPTIONS(look, {.name = "machine", .value = "NAME", .says = "whose stick it is"},
        {.name = "stick", .value = "ID", .says = "which stick it is; its machine stands in the book"});
OPTIONS(
    clear, {.name = "leave", .value = "WHO", .says = "who allowed it; goes into the book"},
    {.name = "only",
     .value = "WHAT",
     .says =
         "old: jobs with an old proof (so without --only); unproved: jobs without a proof for the machine, or changed "
         "since; all: all jobs and parts"},
    {.name = "yes", .says = "remove them; else they are only listed"});

#define EXAMPLES(name, ...) static const cli_example examples_##name[] = {__VA_ARGS__}
EXAMPLES(list, {"proveout stick list --machine Alder", "the sticks of Alder and where they are"});
EXAMPLES(add, {"proveout stick add A1 Alder --by keeper", "the stick with A1 on it belongs to Alder"});
EXAMPLES(assign, {"proveout stick assign A1 Birch --by keeper", "from now on it belongs to Birch"});
EXAMPLES(lost, {"proveout stick lost A1 --reason \"not on its hook\"", "it can't be found"});
EXAMPLES(count, {"proveout stick count A1", "it was seen and is there"});
EXAMPLES(retire, {"proveout stick retire C9 --reason \"bent plug\" --by keeper", "it is used no more"});
EXAMPLES(look, {"proveout stick look /media/a1", "what is on the stick that shows there"},
         {"proveout stick look /media/usb --stick A1 --json", "the same for a program"});
EXAMPLES(clear, {"proveout stick clear A1 /media/a1 --leave keeper", "which jobs with an old proof would be removed"},
         {"proveout stick clear A1 /media/a1 --leave keeper --only unproved --yes",
          "those without a proof are removed"});

#define LIST(name) .options = options_##name, .n_options = sizeof options_##name / sizeof options_##name[0]
#define SHOWN(name) .examples = examples_##name, .n_examples = sizeof examples_##name / sizeof examples_##name[0]

const cli_verb cli_stick_verbs[] = {
    {
        .name = "stick list",
        .operands = "",
        LIST(list),
        SHOWN(list),
        .line = "whose sticks they are and where",
        .help = "Each stick with its machine: there, out with a member, lost, or used no more.",
        .run = run_list,
    },
    {
        .name = "stick add",
        .operands = "STICK MACHINE",
        .least = 2,
        .most = 2,
        LIST(plain),
        SHOWN(add),
        .line = "a new stick, and its machine",
        .help = "For a keeper. A stick belongs to one machine and goes out with that one only: what is on it was "
                "proved for "
                "that machine.",
        .run = desk_run_act,
        .act = "stick-add",
        .fills = {{"stick", DESK_ID}, {"machine", DESK_MACHINE}},
        .done = "Stick {stick} belongs to {machine}.",
    },
    {
        .name = "stick assign",
        .operands = "STICK MACHINE",
        .least = 2,
        .most = 2,
        LIST(plain),
        SHOWN(assign),
        .line = "a stick goes over to another machine",
        .help =
            "For a keeper. The jobs on it were proved for the machine that it leaves: clear it, or prove them anew.",
        .run = desk_run_act,
        .act = "stick-assign",
        .fills = {{"stick", DESK_ID}, {"machine", DESK_MACHINE}},
        .done = "Stick {stick} belongs to {machine} now, not to {was_of}. What is on it was proved for {was_of}: "
                "proveout stick look shows it.",
    },
    {
        .name = "stick lost",
        .operands = "STICK",
        .least = 1,
        .most = 1,
        LIST(reason),
        SHOWN(lost),
        .line = "a stick can't be found",
        .help = "A lost stick is not handed out. proveout stick count books that it was found.",
        .run = desk_run_act,
        .act = "stick-lost",
        .fills = {{"stick", DESK_ID}},
        .done = "Stick {stick} of {machine} is lost[: {reason}]. proveout stick count {stick} books that it was found.",
    },
    {
        .name = "stick count",
        .operands = "STICK",
        .least = 1,
        .most = 1,
        LIST(plain),
        SHOWN(count),
        .line = "a stick was seen and is there",
        .help = "Counting sticks: each one that is seen is booked, a lost one is found by it.",
        .run = desk_run_act,
        .act = "stick-count",
        .fills = {{"stick", DESK_ID}},
        .done = "Stick {stick} of {machine} is there.",
    },
    {
        .name = "stick retire",
        .operands = "STICK",
        .least = 1,
        .most = 1,
        LIST(reason),
        SHOWN(retire),
        .line = "a stick is used no more",
        .help = "For a keeper. The name stays taken, so that the book's past can be read.",
        .run = desk_run_act,
        .act = "stick-retire",
        .fills = {{"stick", DESK_ID}},
        .done = "Stick {stick} of {machine} is used no more: {reason}.",
    },
    {
        .name = "stick look",
        .operands = "MOUNT",
        .least = 1,
        .most = 1,
        LIST(look),
        SHOWN(look),
        .line = "what is on a stick, and what of it was proved",
        .help =
            "Every file on the mounted stick, told by what is in it: proved for this machine (when, and the verdict), "
            "changed since a proof of that name, not proved, with a proof that is older than the shop's days for it, a "
            "part, or no job. Names that the machine's small panel can't show or tell apart are warned of, and the job "
            "of "
            "the run that is out is marked. Links are not followed; nothing is changed.",
        .run = run_look,
    },
    {
        .name = "stick clear",
        .operands = "STICK MOUNT",
        .least = 2,
        .most = 2,
        LIST(clear),
        SHOWN(clear),
        .line = "remove files from a stick, with leave",
        .help =
            "Lists what would be removed; with --yes removes it and books how many, by whose leave. Only jobs and "
            "parts "
            "go: what is neither may be the machine's own. Nothing is removed from a stick that is out, nor from a "
            "folder that is no stick's, nor a file that changed since it was looked at. Exit status 1: something is "
            "there to be removed, or could not be.",
        .run = run_clear,
    },
    {.name = NULL},
};

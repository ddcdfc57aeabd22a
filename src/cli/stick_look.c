/* The files of a stick held against the proofs of the book. SPDX-License-Identifier: Apache-2.0
 *
 * A job is known by its bytes: the same bytes with a proof for this machine are proved, whatever the name. The name is looked
 * at only to tell a job that was changed since from one that was never seen. */
#include <string.h>

#include "stick_look.h"

static const char *const states[] = {"proved", "old",    "changed",   "unproved",
                                     "part",   "no-job", "too-large", "unreadable"};
enum { PROVED, OLD, CHANGED, UNPROVED, PART, NO_JOB, TOO_LARGE, UNREADABLE, N_STATES };

static const char *last_part(const char *path)
{
    const char *slash = path ? strrchr(path, '/') : NULL;
    return slash ? slash + 1 : path;
}

static const char *text_of(const json_t *o, const char *key)
{
    return json_string_value(json_object_get(o, key));
}

/* The latest proof of this machine for a job of that name; NULL: none. */
static int proof_by_name(desk *d, const po_machine *machine, const stick_file *f, json_t **ret)
{
    json_t *answer = NULL;
    int status = desk_ask(d, "proofs",
                          json_pack("{s:s, s:s, s:i}", "machine", machine->name, "file", f->shown_name, "limit", 1),
                          &answer);
    json_t *proof = json_array_get(json_object_get(answer, "proofs"), 0);
    *ret = proof ? json_incref(proof) : NULL;
    json_decref(answer);
    return status;
}

static int judge_job(desk *d, const po_machine *machine, const stick_file *f, json_t *row)
{
    json_t *answer = NULL, *others = json_array(), *shown = NULL;
    int status = desk_ask(d, "proofs", json_pack("{s:s}", "sha256", f->sha256), &answer), state = UNPROVED;
    const json_t *proofs = json_object_get(answer, "proofs");
    for (size_t i = 0; i < json_array_size(proofs); i++) {
        json_t *proof = json_array_get(proofs, i);
        if (!strcmp(text_of(proof, "machine"), machine->name)) {
            int64_t days = (d->now_ms - json_integer_value(json_object_get(proof, "proved_ms"))) / 86400000;
            state = days >= d->shop->rules.old_job_days ? OLD : PROVED;
            shown = json_incref(proof);
        } else {
            json_array_append(others, json_object_get(proof, "machine"));
        }
    }
    if (!shown && f->kind == STICK_PART) {
        state = PART;
    } else if (!shown && f->kind != STICK_JOB) { /* no job by its bytes, and none by the book */
        state = NO_JOB;
    } else if (!shown && status == EXIT_CLEAR) {
        status = proof_by_name(d, machine, f, &shown);
        state = shown ? CHANGED : UNPROVED;
    }
    json_object_set_new(row, "state", json_string(states[state]));
    if (shown) {
        json_object_set_new(row, "verdict",
                            state == CHANGED ? json_null() : json_incref(json_object_get(shown, "verdict")));
        json_object_set(row, "proved_ms", json_object_get(shown, "proved_ms"));
    }
    json_object_set_new(row, "proved_on", others);
    json_decref(shown);
    json_decref(answer);
    return status;
}

/* Two jobs of a folder whose names begin alike for as long as the panel shows. */
static bool begin_alike(const json_t *a, const json_t *b, int columns)
{
    const char *p = text_of(a, "path"), *q = text_of(b, "path");
    if (!p || !q || last_part(p) - p != last_part(q) - q || memcmp(p, q, (size_t)(last_part(p) - p)) != 0) {
        return false;
    }
    int n = 0;
    for (p = last_part(p), q = last_part(q); *p && *p == *q; p++, q++) {
        n += ((unsigned char)*p & 0xc0) != 0x80;
        if (n > columns) {
            return true;
        }
    }
    return n == columns && ((unsigned char)*p & 0xc0) != 0x80;
}

static bool is_job(const json_t *row)
{
    const char *state = text_of(row, "state");
    for (int i = PROVED; i <= UNPROVED; i++) {
        if (state && !strcmp(state, states[i])) {
            return true;
        }
    }
    return false;
}

static void judge_names(const desk *d, const po_machine *machine, json_t *rows)
{
    json_t *before = NULL; /* rows are in the order of their paths: names that begin alike are neighbours */
    for (size_t i = 0; i < json_array_size(rows); i++) {
        json_t *row = json_array_get(rows, i);
        if (!is_job(row)) {
            continue;
        }
        bool ascii;
        const char *says = NULL;
        size_t n = stick_characters(text_of(row, "name"), &ascii);
        if (!ascii && machine->panel_ascii) {
            says = po_arena_printf(d->arena, "has letters that the panel of %s can't show", machine->name);
        } else if (machine->panel_columns > 0 && n > (size_t)machine->panel_columns) {
            says = po_arena_printf(d->arena, "longer than the %d characters that the panel of %s shows",
                                   machine->panel_columns, machine->name);
        }
        json_object_set_new(row, "name_says", says ? json_string(says) : json_null());
        if (before && machine->panel_columns > 0 && begin_alike(before, row, machine->panel_columns)) {
            says = po_arena_printf(d->arena, "begins like another one: the panel of %s can't tell them apart",
                                   machine->name);
            json_object_set_new(row, "name_says", json_string(says ? says : ""));
            json_object_set(before, "name_says", json_object_get(row, "name_says"));
        }
        before = row;
    }
}

int stick_judge(desk *d, const po_machine *machine, const json_t *stick, const stick_files *files, json_t **ret)
{
    json_t *rows = json_array();
    int status = EXIT_CLEAR;
    const char *out = text_of(stick, "sha256");
    for (size_t i = 0; status == EXIT_CLEAR && i < files->n; i++) {
        const stick_file *f = &files->files[i];
        json_t *row = json_pack("{s:s, s:s, s:I, s:s*}", "path", f->shown, "name", f->shown_name, "bytes",
                                (json_int_t)f->bytes, "sha256", f->sha256[0] ? f->sha256 : NULL);
        if (f->kind == STICK_TOO_LARGE || f->kind == STICK_UNREADABLE) {
            json_object_set_new(row, "state", json_string(states[f->kind == STICK_TOO_LARGE ? TOO_LARGE : UNREADABLE]));
            json_object_set_new(row, "why", f->why ? json_string(f->why) : json_null());
        } else {
            status = judge_job(d, machine, f, row);
        }
        if (out && !strcmp(out, f->sha256) && json_is_integer(json_object_get(stick, "run"))) {
            json_object_set(row, "run", json_object_get(stick, "run"));
        }
        json_array_append_new(rows, row);
    }
    if (status == EXIT_CLEAR) {
        judge_names(d, machine, rows);
        *ret = json_incref(rows);
    }
    json_decref(rows);
    return status;
}

json_t *stick_counts(const json_t *rows)
{
    json_int_t n[N_STATES] = {0};
    json_t *counts = json_object();
    for (size_t i = 0; i < json_array_size(rows); i++) {
        for (int s = 0; s < N_STATES; s++) {
            n[s] += !strcmp(text_of(json_array_get(rows, i), "state"), states[s]);
        }
    }
    for (int s = 0; s < N_STATES; s++) {
        json_object_set_new(counts, states[s], json_integer(n[s]));
    }
    return counts;
}

const char *stick_count_words(const desk *d, const json_t *counts)
{
    static const char *const words[N_STATES] = {"proved", "with an old proof", "changed since", "not proved", "parts",
                                                "no job", "too large",         "unreadable"};
    const char *text = "";
    for (int s = 0; s < N_STATES && text; s++) {
        json_int_t n = json_integer_value(json_object_get(counts, states[s]));
        text = n ? po_arena_printf(d->arena, "%s%s%s %lld", text, *text ? ", " : "", words[s], (long long)n) : text;
    }
    return text && *text ? text : "no file";
}

void stick_table(const desk *d, json_t *rows, const char *none)
{
    static const char *const words[N_STATES] = {
        "proved",         "proof is old", "changed since",          "not proved",
        "a part, no job", "no job",       "too large to look into", "can't be read"};
    static const desk_column columns[] = {
        {"File", "path", DESK_TEXT, 40, false},      {"What", "what", DESK_TEXT, 0, false},
        {"Verdict", "verdict", DESK_TEXT, 0, false}, {"Proved", "proved_ms", DESK_TIME, 0, false},
        {"Run", "run", DESK_COUNT, 0, true},         {"Size", "size", DESK_TEXT, 0, true},
        {"Mind", "mind", DESK_TEXT, 90, false},
    };
    for (size_t i = 0; i < json_array_size(rows); i++) {
        json_t *row = json_array_get(rows, i);
        for (int s = 0; s < N_STATES; s++) {
            if (!strcmp(text_of(row, "state"), states[s])) {
                json_object_set_new(row, "what", json_string(words[s]));
            }
        }
        uint64_t bytes = (uint64_t)json_integer_value(json_object_get(row, "bytes"));
        const char *size = bytes < 100000
                               ? po_arena_printf(d->arena, "%llu kB", (unsigned long long)((bytes + 999) / 1000))
                               : po_arena_printf(d->arena, "%llu.%llu MB", (unsigned long long)(bytes / 1000000),
                                                 (unsigned long long)(bytes / 100000 % 10));
        const char *other = desk_words(d, json_object_get(row, "proved_on"), DESK_TEXT),
                   *name = text_of(row, "name_says");
        const char *why = text_of(row, "why"), *mind = name ? name : why ? why : "";
        if (!name && *other && is_job(row) && !json_is_string(json_object_get(row, "verdict"))) {
            mind = po_arena_printf(d->arena, "proved for %s", other);
        }
        json_object_set_new(row, "size", json_string(size ? size : ""));
        json_object_set_new(row, "mind", json_string(mind ? mind : ""));
    }
    desk_table(d, rows, columns, sizeof columns / sizeof columns[0], none);
}

const po_machine *stick_machine_at(const po_shop *shop, const char *mount)
{
    struct stat here, there;
    for (size_t i = 0; i < shop->n_machines && stat(mount, &here) == 0; i++) {
        const char *known = shop->machines[i].stick_mount;
        if (known && stat(known, &there) == 0 && here.st_dev == there.st_dev && here.st_ino == there.st_ino) {
            return &shop->machines[i];
        }
    }
    return NULL;
}

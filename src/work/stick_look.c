/* The files of a stick held against the proofs of the book. SPDX-License-Identifier: Apache-2.0
 *
 * A job is known by its bytes: the same bytes with a proof for this machine are proved, whatever the name. The name is looked
 * at only to tell a job that was changed since from one that was never seen. */
#include "work/stick_look.h"

#include <string.h>

const char *const work_stick_states[STICK_STATES] = {"proved", "old",    "changed",   "unproved",
                                                     "part",   "no-job", "too-large", "unreadable"};
enum { PROVED, OLD, CHANGED, UNPROVED, PART, NO_JOB, TOO_LARGE, UNREADABLE };

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
static po_status proof_by_name(work_context *w, const po_machine *machine, const stick_file *f, json_t **ret,
                               po_err *err)
{
    json_t *answer = NULL;
    po_status s = work_ask(w, "proofs",
                           json_pack("{s:s, s:s, s:i}", "machine", machine->name, "file", f->shown_name, "limit", 1),
                           &answer, err);
    json_t *proof = json_array_get(json_object_get(answer, "proofs"), 0);
    *ret = proof ? json_incref(proof) : NULL;
    json_decref(answer);
    return s;
}

static po_status judge_job(work_context *w, const po_machine *machine, const stick_file *f, json_t *row, po_err *err)
{
    json_t *answer = NULL, *others = json_array(), *shown = NULL;
    po_status s = work_ask(w, "proofs", json_pack("{s:s}", "sha256", f->sha256), &answer, err);
    int state = UNPROVED;
    const json_t *proofs = json_object_get(answer, "proofs");
    for (size_t i = 0; i < json_array_size(proofs); i++) {
        json_t *proof = json_array_get(proofs, i);
        if (!strcmp(text_of(proof, "machine"), machine->name)) {
            int64_t days = (w->now_ms - json_integer_value(json_object_get(proof, "proved_ms"))) / 86400000;
            state = days >= w->shop->rules.old_job_days ? OLD : PROVED;
            shown = json_incref(proof);
        } else {
            json_array_append(others, json_object_get(proof, "machine"));
        }
    }
    if (!shown && f->kind == STICK_PART) {
        state = PART;
    } else if (!shown && f->kind != STICK_JOB) { /* no job by its bytes, and none by the book */
        state = NO_JOB;
    } else if (!shown && s == PO_OK) {
        s = proof_by_name(w, machine, f, &shown, err);
        state = shown ? CHANGED : UNPROVED;
    }
    json_object_set_new(row, "state", json_string(work_stick_states[state]));
    if (shown) {
        json_object_set_new(row, "verdict",
                            state == CHANGED ? json_null() : json_incref(json_object_get(shown, "verdict")));
        json_object_set(row, "proved_ms", json_object_get(shown, "proved_ms"));
    }
    json_object_set_new(row, "proved_on", others);
    json_decref(shown);
    json_decref(answer);
    return s;
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

bool work_stick_is_job(const json_t *row)
{
    const char *state = text_of(row, "state");
    for (int i = PROVED; i <= UNPROVED; i++) {
        if (state && !strcmp(state, work_stick_states[i])) {
            return true;
        }
    }
    return false;
}

static void judge_names(const work_context *w, const po_machine *machine, json_t *rows)
{
    json_t *before = NULL; /* rows are in the order of their paths: names that begin alike are neighbours */
    for (size_t i = 0; i < json_array_size(rows); i++) {
        json_t *row = json_array_get(rows, i);
        if (!work_stick_is_job(row)) {
            continue;
        }
        bool ascii;
        const char *says = NULL;
        size_t n = work_stick_characters(text_of(row, "name"), &ascii);
        if (!ascii && machine->panel_ascii) {
            says = po_arena_printf(w->arena, "has letters that the panel of %s can't show", machine->name);
        } else if (machine->panel_columns > 0 && n > (size_t)machine->panel_columns) {
            says = po_arena_printf(w->arena, "longer than the %d characters that the panel of %s shows",
                                   machine->panel_columns, machine->name);
        }
        json_object_set_new(row, "name_says", says ? json_string(says) : json_null());
        if (before && machine->panel_columns > 0 && begin_alike(before, row, machine->panel_columns)) {
            says = po_arena_printf(w->arena, "begins like another one: the panel of %s can't tell them apart",
                                   machine->name);
            json_object_set_new(row, "name_says", json_string(says ? says : ""));
            json_object_set(before, "name_says", json_object_get(row, "name_says"));
        }
        before = row;
    }
}

po_status work_stick_judge(work_context *w, const po_machine *machine, const json_t *stick, const stick_files *files,
                           json_t **ret, po_err *err)
{
    json_t *rows = json_array();
    po_status s = PO_OK;
    const char *out = text_of(stick, "sha256");
    for (size_t i = 0; s == PO_OK && i < files->n; i++) {
        const stick_file *f = &files->files[i];
        json_t *row = json_pack("{s:s, s:s, s:I, s:s*}", "path", f->shown, "name", f->shown_name, "bytes",
                                (json_int_t)f->bytes, "sha256", f->sha256[0] ? f->sha256 : NULL);
        if (f->kind == STICK_TOO_LARGE || f->kind == STICK_UNREADABLE) {
            json_object_set_new(row, "state",
                                json_string(work_stick_states[f->kind == STICK_TOO_LARGE ? TOO_LARGE : UNREADABLE]));
            json_object_set_new(row, "why", f->why ? json_string(f->why) : json_null());
        } else {
            s = judge_job(w, machine, f, row, err);
        }
        if (out && !strcmp(out, f->sha256) && json_is_integer(json_object_get(stick, "run"))) {
            json_object_set(row, "run", json_object_get(stick, "run"));
        }
        json_array_append_new(rows, row);
    }
    if (s == PO_OK) {
        judge_names(w, machine, rows);
        *ret = json_incref(rows);
    }
    json_decref(rows);
    return s;
}

json_t *work_stick_counts(const json_t *rows)
{
    json_int_t n[STICK_STATES] = {0};
    json_t *counts = json_object();
    for (size_t i = 0; i < json_array_size(rows); i++) {
        for (int s = 0; s < STICK_STATES; s++) {
            n[s] += !strcmp(text_of(json_array_get(rows, i), "state"), work_stick_states[s]);
        }
    }
    for (int s = 0; s < STICK_STATES; s++) {
        json_object_set_new(counts, work_stick_states[s], json_integer(n[s]));
    }
    return counts;
}

const po_machine *work_stick_machine_at(const po_shop *shop, const char *mount)
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

/* proveout ledger attach, files, file, detach, tidy: what is kept beside the book. SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <math.h>
#include <string.h>

#include "listing.h"
#include "proveout/keepsakes.h"
#include "verbs.h"

/* What went wrong in the folder, as an exit status. */
static int folder_failed(const char *path, const po_err *err)
{
    bool theirs = err->code == PO_E_NOTFOUND || err->code == PO_E_RANGE || err->code == PO_E_EMPTY;
    bool refused = err->code == PO_E_LIMIT || err->code == PO_E_CONFLICT || err->code == PO_E_SYNTAX;
    return cli_fail(theirs ? EXIT_USAGE : refused ? EXIT_STOP : EXIT_OWN, "%s: %s", path, err->msg);
}

/* ---- attach ---- */

/* Pictures by their first bytes: JPEG (ITU-T T.81, B.1.1.3: SOI and a marker), PNG (ISO/IEC 15948, 5.2), WebP (RFC 9649, 2.3). */
static bool is_picture(const char *path)
{
    unsigned char head[12] = {0};
    FILE *f = fopen(path, "rbe");
    size_t n = f ? fread(head, 1, sizeof head, f) : 0;
    if (f) {
        fclose(f);
    }
    return n == sizeof head && (!memcmp(head, "\xff\xd8\xff", 3) || !memcmp(head, "\x89PNG\r\n\x1a\n", 8) ||
                                (!memcmp(head, "RIFF", 4) && !memcmp(head + 8, "WEBP", 4)));
}

/* The job of the run, a picture, or something else. */
static int kind_of(desk *d, const char *path, const json_t *body, const char **ret)
{
    char sha256[65];
    json_t *answer = NULL;
    const json_t *run = json_object_get(body, "run");
    int status = run ? desk_ask(d, "runs", json_pack("{s:O}", "run", run), &answer) : EXIT_CLEAR;
    const char *job = json_string_value(json_object_get(json_array_get(json_object_get(answer, "runs"), 0), "sha256"));
    *ret = job && cli_sha256(path, sha256) && !strcmp(job, sha256) ? "job" : is_picture(path) ? "photo" : "other";
    json_decref(answer);
    return status;
}

static int64_t times(double value, double unit)
{
    double bytes = value * unit;
    return bytes < 9e18 ? llround(bytes) : INT64_MAX;
}

/* The name as text of the book. NULL: it is not UTF-8, and goes without. */
static json_t *name_of(const desk *d, const char *path)
{
    const char *slash = strrchr(path, '/');
    char *name = po_arena_text(d->arena, slash ? slash + 1 : path);
    for (char *p = name; p && *p; p++) {
        *p = (unsigned char)*p < 0x20 || *p == 0x7f ? '?' : *p;
    }
    return name && *name ? json_string(name) : NULL;
}

static int run_attach(const cli_call *call)
{
    const char *path = call->args[0], *kind = cli_value(call, "kind");
    desk d;
    json_t *body = NULL;
    po_keepsake kept = {0};
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && !json_object_get(body, "run") == !json_object_get(body, "machine")) {
        status = cli_fail(EXIT_USAGE, "say what it is for: --run N or --machine NAME");
    }
    status = status == EXIT_CLEAR && !kind ? kind_of(&d, path, body, &kind) : status;
    if (status == EXIT_CLEAR && strcmp(kind, "photo") && strcmp(kind, "job") && strcmp(kind, "other")) {
        status = cli_fail(EXIT_USAGE, "--kind %s: expected photo, job or other", kind);
    }
    if (status == EXIT_CLEAR) {
        const po_rules *rules = &d.shop->rules;
        po_keepsake_limits limits = {strcmp(kind, "photo") ? (int64_t)d.shop->most_file_bytes
                                                           : times(rules->photo_most_mb, 1e6),
                                     times(rules->attachments_most_gb, 1e9)};
        status = po_keepsake_put(d.ledger, path, &limits, &kept, &err) == PO_OK ? EXIT_CLEAR
                                                                                : folder_failed(path, &err);
    }
    if (status == EXIT_CLEAR) {
        json_t *name = json_object_get(body, "name") ? NULL : name_of(&d, path);
        if (name) {
            json_object_set_new(body, "name", name);
        }
        json_object_set_new(body, "kind", json_string(kind));
        json_object_set_new(body, "sha256", json_string(kept.sha256));
        json_object_set_new(body, "bytes", json_integer(kept.bytes));
        status = desk_book_and_tell(&d, body);
        body = NULL;
    }
    json_decref(body);
    desk_close(&d);
    return status;
}

/* ---- what is kept ---- */

static int run_files(const cli_call *call)
{
    static const desk_column columns[] = {
        {"File", "file", DESK_COUNT, 0, true},      {"Kind", "kind", DESK_TEXT, 0, false},
        {"Run", "run", DESK_COUNT, 0, true},        {"Machine", "machine", DESK_TEXT, 0, false},
        {"Attached", "at_ms", DESK_TIME, 0, false}, {"Bytes", "bytes", DESK_COUNT, 0, true},
        {"Name", "name", DESK_TEXT, 40, false},
    };
    static const listing what = {.question = "files",
                                 .list = "files",
                                 LISTING_COLUMNS(columns),
                                 .none = "Nothing of that kind is attached.",
                                 .next = "after",
                                 .next_key = "file"};
    return listing_run(call, &what);
}

static int run_file(const cli_call *call)
{
    const char *out = cli_value(call, "out");
    desk d;
    json_t *body = NULL, *answer = NULL;
    po_err err;
    int status = !out ? cli_fail(EXIT_USAGE, "--out PATH is missing: say where the copy goes") : EXIT_CLEAR;
    if (status != EXIT_CLEAR) {
        return status;
    }
    status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? desk_ask(&d, "files", body, &answer) : status;
    const json_t *file = json_array_get(json_object_get(answer, "files"), 0);
    const char *sha256 = json_string_value(json_object_get(file, "sha256"));
    if (status == EXIT_CLEAR) {
        status = po_keepsake_copy_out(d.ledger, sha256, out, &err) == PO_OK ? EXIT_CLEAR : folder_failed(out, &err);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_pack("{s:s, s:O, s:s}", "format", "proveout/file/1", "file", file, "out", out));
    } else if (status == EXIT_CLEAR) {
        printf("%s: %lld bytes, whole.\n", out, (long long)json_integer_value(json_object_get(file, "bytes")));
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

static const char *size_words(const desk *d, int64_t bytes)
{
    const char *words = bytes < 100000 ? po_arena_printf(d->arena, "%lld bytes", (long long)bytes)
                                       : po_arena_printf(d->arena, "%.1f MB", (double)bytes / 1e6);
    return words ? words : "";
}

static int run_tidy(const cli_call *call)
{
    desk d;
    po_err err;
    po_keepsakes_tidied t = {0};
    bool look = cli_value(call, "look") != NULL;
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR && po_keepsakes_tidy(d.ledger, look, &t, &err) != PO_OK) {
        status = folder_failed(d.ledger_path, &err);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_pack(
            "{s:s, s:b, s:I, s:I, s:I, s:I, s:I, s:I}", "format", "proveout/tidy/1", "removed", !look, "files",
            (json_int_t)t.n_removed, "bytes", (json_int_t)t.bytes_removed, "kept", (json_int_t)t.n_kept, "kept_bytes",
            (json_int_t)t.bytes_kept, "young", (json_int_t)t.n_young, "strange", (json_int_t)t.n_strange));
    } else if (status == EXIT_CLEAR) {
        printf("%lld file%s that nothing refers to %s: %s of room.\n", (long long)t.n_removed,
               t.n_removed == 1 ? "" : "s",
               look               ? "would be removed"
               : t.n_removed == 1 ? "was removed"
                                  : "were removed",
               size_words(&d, t.bytes_removed));
        printf("Kept: %lld file%s, %s.\n", (long long)t.n_kept, t.n_kept == 1 ? "" : "s", size_words(&d, t.bytes_kept));
        if (t.n_young > 0) {
            printf("Younger than an hour, so left for now: %lld.\n", (long long)t.n_young);
        }
        if (t.n_strange > 0) {
            printf("Not of this program, left alone: %lld.\n", (long long)t.n_strange);
        }
    }
    desk_close(&d);
    return status;
}

/* ---- the verbs ---- */

#define OPTIONS(name, ...) static const cli_option options_##name[] = {DESK_OPTIONS, __VA_ARGS__}
static const cli_option options_plain[] = {DESK_OPTIONS};
#define FOR                                                                                                            \
    {.name = "run", .value = "N", .says = "of this run", .field = "run", .unit = DESK_COUNT},                          \
    {                                                                                                                  \
        .name = "machine", .value = "NAME", .says = "of this machine", .field = "machine", .unit = DESK_MACHINE        \
    }
OPTIONS(
    attach, FOR,
    {.name = "kind",
     .value = "KIND",
     .says = "photo, job or other; else told from the file: the run's job by its hash, a picture by its first bytes"},
    {.name = "name", .value = "TEXT", .says = "what it is called in the book; else the file's name", .field = "name"});
OPTIONS(files, FOR,
        {.name = "sha256",
         .value = "HASH",
         .says = "only this content: 64 hex digits, or a file with it",
         .field = "sha256",
         .unit = DESK_SHA},
        {.name = "after", .value = "FILE", .says = "go on behind this one", .field = "after", .unit = DESK_COUNT},
        {.name = "limit", .value = "N", .says = "at most so many; else 100", .field = "limit", .unit = DESK_COUNT});
OPTIONS(file, {.name = "out", .value = "PATH", .says = "where the copy goes; nothing is written over"});
OPTIONS(tidy, {.name = "look", .says = "say what would go, and remove nothing"});

#define EXAMPLES(name, ...) static const cli_example examples_##name[] = {__VA_ARGS__}
EXAMPLES(attach, {"proveout ledger attach bracket.gcode --run 214", "the job of run 214 is kept"},
         {"proveout ledger attach belt.jpg --machine Elm --kind photo", "a photo of a machine"});
EXAMPLES(files, {"proveout ledger files --run 214", "what is kept for run 214"});
EXAMPLES(file, {"proveout ledger file 217 --out bracket.gcode", "a copy of file 217, held against its hash"});
EXAMPLES(detach, {"proveout ledger detach 217", "file 217 need not be kept any more"});
EXAMPLES(tidy, {"proveout ledger tidy --look", "how much room could be had"}, {"proveout ledger tidy", "and have it"});

#define LIST(name) .options = options_##name, .n_options = sizeof options_##name / sizeof options_##name[0]
#define SHOWN(name) .examples = examples_##name, .n_examples = sizeof examples_##name / sizeof examples_##name[0]
#define ONE .least = 1, .most = 1

const cli_verb cli_file_verbs[] = {
    {
        .name = "ledger attach",
        .operands = "FILE",
        ONE,
        LIST(attach),
        SHOWN(attach),
        .line = "keep a job file or a photo for a run or a machine",
        .help = "Copies the file into the folder beside the book, under the hash of its content, and books what it is "
                "for. The same content is kept once. The shop file limits a photo (photo_most_mb), a job "
                "(most_file_gb) and all together (attachments_most_gb). Photos that show people need their leave.",
        .run = run_attach,
        .act = "file-attach",
        .done = "Kept as file {file} ({kind}, {bytes} bytes)[ for run {run}][ for {machine}].",
    },
    {
        .name = "ledger files",
        .operands = "",
        LIST(files),
        SHOWN(files),
        .line = "what is attached",
        .help = "Every file that is kept, oldest first, with what it is for.",
        .run = run_files,
    },
    {
        .name = "ledger file",
        .operands = "FILE",
        ONE,
        LIST(file),
        SHOWN(file),
        .line = "a copy of a kept file",
        .help =
            "FILE is its number, as ledger files shows it. The copy gets its name only when its bytes have the right "
            "hash. A file that is damaged or gone is told so; a backup has it.",
        .run = run_file,
        .fills = {{"file", DESK_COUNT}},
    },
    {
        .name = "ledger detach",
        .operands = "FILE",
        ONE,
        LIST(plain),
        SHOWN(detach),
        .line = "a file need not be kept any more",
        .help =
            "FILE is its number, as ledger files shows it. Its bytes stay until ledger tidy, and as long as they are "
            "attached to something else. It can't be taken back, but the file can be attached anew.",
        .run = desk_run_act,
        .act = "file-detach",
        .fills = {{"file", DESK_COUNT}},
        .done = "File {file} is kept no more; proveout ledger tidy makes the room free.",
    },
    {
        .name = "ledger tidy",
        .operands = "",
        LIST(tidy),
        SHOWN(tidy),
        .line = "remove files that nothing refers to",
        .help = "Removes from the folder beside the book what nothing in the book refers to and is older than an hour, "
                "and says how much room that made. What is attached, or shown by a machine that is tagged out, always "
                "stays. It may run while others work.",
        .run = run_tidy,
    },
    {.name = NULL},
};

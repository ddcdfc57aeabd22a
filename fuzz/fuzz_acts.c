/* Acts and questions of the ledger. SPDX-License-Identifier: Apache-2.0
 *
 * An input is a little history upon a book that always begins the same. Its first byte says which of two forms it has:
 *   even, such as a blank   lines: an act's name, who does it and a JSON body, or ? and a question's name and parameters, with
 *                           blanks between. A name that there is not stands for one by its bytes.
 *   odd                     decisions: bytes choose act, who, fields and values out of the description of the act, so that most
 *                           bodies are of the right form and the book has to say what it thinks of them
 * Promises: an act that is carried out is the next event, one that is refused says why and leaves the events as they were, and
 * nothing is an error of the program's own; answers are JSON; the last act carried out can be taken back or says why not; and at
 * the end `verify` finds nothing (which is asked of a third of the inputs). */
#include <jansson.h>
#include <stdbool.h>
#include <string.h>
#include <unistd.h>

#include "fuzz.h"
#include "proveout/ledger.h"

enum { ACTS_MOST = 24, BODY = 1 << 16, NAME = 96 };

#define NOON INT64_C(1791201600000) /* 2026-10-05T12:00:00Z */
#define DAY INT64_C(86400000)
#define SHA_A "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
#define SHA_B "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb"

static char folder[64], path[80];
static uint8_t *first_bytes; /* of the book as it always begins */
static size_t n_first;
static po_ledger *ledger;
static int64_t clock_ms;
static bool changed;

static int64_t now_ms(void *user)
{
    (void)user;
    return clock_ms;
}

static void open_book(void)
{
    po_err err;
    po_ledger_options o = {.create = true, .now_ms = now_ms};
    PROMISE(po_ledger_open(path, &o, &ledger, &err) == PO_OK);
}

/* One of each thing, and something to go on with: runs out, failed, back and reserved, a ticket, a message, an open round. */
static const char *const history[][3] = {
    {"term-open", "keeper",
     "{\"term\":\"t1\",\"from\":1790000000000,\"until\":1799000000000,\"allowance_um\":150000000}"},
    {"member-enrol", "desk", "{\"member\":\"m1\",\"name\":\"Ada\",\"contact\":\"ada@quayside.example\"}"},
    {"member-enrol", "desk", "{\"member\":\"m2\"}"},
    {"member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"},
    {"permit-grant", "desk", "{\"member\":\"m1\",\"permission\":\"starter\",\"until\":1795000000000}"},
    {"course-open", "keeper", "{\"course\":\"c1\",\"title\":\"Making\"}"},
    {"assignment-set", "desk", "{\"course\":\"c1\",\"assignment\":\"a1\"}"},
    {"fund-open", "keeper", "{\"fund\":\"f1\",\"title\":\"Robots\",\"currency\":\"EUR\",\"budget_minor\":1000}"},
    {"group-open", "desk", "{\"group\":\"g1\",\"course\":\"c1\",\"fund\":\"f1\"}"},
    {"group-join", "desk", "{\"group\":\"g1\",\"member\":\"m1\"}"},
    {"stick-add", "keeper", "{\"stick\":\"A1\",\"machine\":\"Alder\"}"},
    {"stick-add", "keeper", "{\"stick\":\"B1\",\"machine\":\"Birch\"}"},
    {"spool-add", "desk",
     "{\"spool\":\"P1\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,\"tare_mg\":200000,\"net_"
     "mg\":1000000,"
     "\"price_minor_kg\":2000}"},
    {"spool-add", "desk", "{\"spool\":\"P2\",\"material\":\"petg\",\"diameter_um\":1750,\"density_mg_cm3\":1270}"},
    {"spool-open", "desk", "{\"spool\":\"P1\"}"},
    {"machine-fit", "desk", "{\"machine\":\"Alder\",\"nozzle_um\":400,\"spool\":\"P1\",\"surface\":\"smooth\"}"},
    {"proof-keep", "desk",
     "{\"sha256\":\"" SHA_A "\",\"machine\":\"Alder\",\"verdict\":\"clear\",\"um\":4000000,\"seconds\":3600,"
     "\"by_height\":[[250,100000,200],[10000,2000000,1800],[20000,4000000,3600]]}"},
    {"waiver-give", "keeper",
     "{\"member\":\"m1\",\"um\":9000000,\"reason\":\"r\",\"asked_by\":\"x\",\"desk_limit_um\":0,\"until\":"
     "1795000000000}"},
    {"run-hand-out", "desk",
     "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":4000000,\"seconds\":3600,\"sha256\":\"" SHA_A
     "\",\"stick\":\"A1\",\"spool\":\"P1\",\"run_limit_um\":1000000}"},
    {"run-failed", "desk", "{\"run\":19,\"z_um\":10000,\"message\":\"failed\"}"},
    {"run-off", "desk", "{\"run\":19,\"to\":\"shelf\",\"place\":1}"},
    {"run-take-back", "desk", "{\"run\":19,\"figure\":\"proof\"}"},
    {"run-hand-out", "desk",
     "{\"member\":\"m2\",\"machine\":\"Birch\",\"um\":1000000,\"seconds\":600,\"sha256\":\"" SHA_B "\",\"fund\":\"f1\","
     "\"price_minor_kg\":2000,\"diameter_um\":1750,\"density_mg_cm3\":1240}"},
    {"run-reserve", "desk", "{\"member\":\"m1\",\"um\":500000,\"machine\":\"Alder\"}"},
    {"ticket-take", "desk", "{\"member\":\"m2\"}"},
    {"message-put", "desk", "{\"member\":\"m1\",\"kind\":\"other\",\"text\":\"hello\"}"},
    {"money-book", "desk",
     "{\"member\":\"m1\",\"kind\":\"charge\",\"minor\":250,\"currency\":\"EUR\",\"reason\":\"r\"}"},
    {"round-begin", "desk", "{\"kind\":\"opening\"}"},
    {"file-attach", "desk", "{\"sha256\":\"" SHA_A "\",\"bytes\":100,\"kind\":\"job\",\"run\":19}"},
};
enum { N_HISTORY = sizeof history / sizeof history[0] };

static void clean_up(void)
{
    po_ledger_close(ledger);
    char name[100];
    static const char *const ends[] = {"", "-wal", "-shm"};
    for (int i = 0; i < 3; i++) {
        snprintf(name, sizeof name, "%s%s", path, ends[i]);
        unlink(name);
    }
    rmdir(folder);
    free(first_bytes);
}

static void begin(void)
{
    snprintf(folder, sizeof folder, "%s/fuzz-acts-XXXXXX", access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
    PROMISE(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/book.db", folder);
    atexit(clean_up);
    clock_ms = NOON;
    open_book();
    for (int i = 0; i < N_HISTORY; i++) {
        po_err err = {.msg = ""};
        po_act_done done;
        po_arena *arena = po_arena_new(0);
        po_act act = {history[i][0], history[i][1], history[i][2]};
        clock_ms += 60000;
        if (po_ledger_act(ledger, &act, arena, &done, &err) != PO_OK) {
            fprintf(stderr, "%s: %s\n", act.body, err.msg);
            abort();
        }
        po_arena_free(arena);
    }
    po_ledger_close(ledger);
    ledger = NULL;
    FILE *f = fopen(path, "rb");
    PROMISE(f && fseek(f, 0, SEEK_END) == 0);
    n_first = (size_t)ftell(f);
    rewind(f);
    first_bytes = malloc(n_first);
    PROMISE(first_bytes && fread(first_bytes, 1, n_first, f) == n_first);
    fclose(f);
    open_book();
}

/* The book as it always begins. */
static void reset(void)
{
    if (!first_bytes) {
        begin();
    }
    if (changed) {
        po_ledger_close(ledger); /* its log is then in the file, and gone */
        FILE *f = fopen(path, "r+b");
        PROMISE(f && fwrite(first_bytes, 1, n_first, f) == n_first && fflush(f) == 0 &&
                ftruncate(fileno(f), (off_t)n_first) == 0);
        fclose(f);
        open_book();
    }
    changed = false;
    clock_ms = NOON + N_HISTORY * INT64_C(60000);
}

static int64_t last_event(po_arena *arena)
{
    const char *json = NULL;
    po_err err;
    PROMISE(po_ledger_ask(ledger, "events", "{\"after\":29,\"limit\":1000}", arena, &json, &err) == PO_OK);
    json_t *root = json_loads(json, 0, NULL);
    int64_t n = N_HISTORY + (int64_t)json_array_size(json_object_get(root, "events"));
    json_decref(root);
    return n;
}

static void check_refusal(po_status s, const po_err *err)
{
    PROMISE(s == err->code && err->msg[0] && memchr(err->msg, 0, sizeof err->msg));
    if (s == PO_E_INTERNAL || s == PO_E_IO || s == PO_E_NOMEM) {
        fprintf(stderr, "status %d: %s\n", s, err->msg);
        abort();
    }
}

/* Returns the number of its event, or 0. */
static int64_t do_act(const char *name, const char *by, const char *body, po_arena *arena)
{
    po_err err = {.code = PO_OK};
    po_act_done done = {0};
    po_act act = {name, by, body};
    int64_t before = last_event(arena);
    clock_ms += 60000;
    po_status s = po_ledger_act(ledger, &act, arena, &done, &err);
    if (s != PO_OK) {
        check_refusal(s, &err);
        PROMISE(last_event(arena) == before);
        return 0;
    }
    changed = true;
    PROMISE((int64_t)done.event == before + 1 && last_event(arena) == before + 1 && strlen(done.hash) == 64);
    json_t *answer = json_loads(done.answer, 0, NULL);
    PROMISE(json_is_object(answer));
    json_decref(answer);
    return (int64_t)done.event;
}

static void do_ask(const char *name, const char *body, po_arena *arena)
{
    po_err err = {.code = PO_OK};
    const char *json = NULL;
    po_status s = po_ledger_ask(ledger, name, body, arena, &json, &err);
    if (s != PO_OK) {
        check_refusal(s, &err);
        return;
    }
    json_t *answer = json_loads(json, JSON_REJECT_DUPLICATES, NULL);
    PROMISE(json_is_object(answer) && json_is_string(json_object_get(answer, "format")));
    json_decref(answer);
}

/* The one of that name, else one by its bytes. */
static const po_ledger_verb *find(const po_ledger_verb *verbs, size_t n, const char *name)
{
    size_t sum = 0;
    for (const char *p = name; *p; p++) {
        sum = sum * 31 + (unsigned char)*p;
    }
    for (size_t i = 0; i < n; i++) {
        if (strcmp(verbs[i].name, name) == 0) {
            return &verbs[i];
        }
    }
    return &verbs[sum % n];
}

/* ---- lines ---- */

static int64_t do_line(char *line, po_arena *arena)
{
    size_t n_acts, n_questions;
    const po_ledger_verb *acts = po_ledger_acts(&n_acts), *questions = po_ledger_questions(&n_questions);
    char *rest = line, *name = strsep(&rest, " ");
    if (name[0] == '?') {
        do_ask(find(questions, n_questions, name + 1)->name, rest ? rest : "{}", arena);
        return 0;
    }
    char *by = rest ? strsep(&rest, " ") : NULL;
    return do_act(find(acts, n_acts, name)->name, by && *by ? by : "keeper", rest ? rest : "{}", arena);
}

/* ---- decisions ---- */

typedef struct decisions {
    const uint8_t *at, *end;
} decisions;

static unsigned decide(decisions *d, unsigned n)
{
    return d->at < d->end ? *d->at++ % n : 0;
}

#define PICK(list) list[decide(d, sizeof list / sizeof list[0])]

static json_t *some_id(decisions *d, const char *field)
{
    static const struct {
        const char *field, *ids[4];
    } pools[] = {
        {"member", {"m1", "m2", "d1", "m9"}},       {"machine", {"Alder", "Birch", "Cedar", "Dogwood"}},
        {"stick", {"A1", "B1", "C1", "A2"}},        {"spool", {"P1", "P2", "P3", "P4"}},
        {"term", {"t1", "t2", "t3", "t1"}},         {"course", {"c1", "c2", "c1", "c1"}},
        {"group", {"g1", "g2", "g1", "g1"}},        {"fund", {"f1", "f2", "f1", "f1"}},
        {"currency", {"EUR", "GBP", "eur", "EUR"}}, {"material", {"pla", "petg", "tpu", "pla"}},
        {"assignment", {"a1", "a2", "a1", "a1"}},
    };
    static const char *const others[] = {"starter", "two-material", "smooth", "m1"};
    for (size_t i = 0; i < sizeof pools / sizeof pools[0]; i++) {
        if (strcmp(pools[i].field, field) == 0) {
            return json_string(PICK(pools[i].ids));
        }
    }
    return json_string(PICK(others));
}

static int64_t some_count(decisions *d)
{
    static const int64_t counts[] = {0,
                                     1,
                                     2,
                                     100,
                                     400,
                                     999,
                                     1000,
                                     1240,
                                     1750,
                                     60000,
                                     1000000,
                                     2000000,
                                     4000000,
                                     30000000,
                                     150000000,
                                     INT64_C(100000000000),
                                     INT64_C(1000000000000000),
                                     50,
                                     3600,
                                     10000};
    return PICK(counts);
}

static json_t *some_uses(decisions *d)
{
    json_t *uses = json_array();
    unsigned n = 1 + decide(d, 3);
    for (unsigned i = 0; i < n; i++) {
        json_t *use = json_pack("{s:i, s:I}", "tool", (int)(i * (1 + decide(d, 2))), "um", (json_int_t)some_count(d));
        json_object_set_new(use, "spool", decide(d, 4) ? some_id(d, "spool") : json_null());
        json_array_append_new(uses, use);
    }
    return uses;
}

static json_t *some_list(decisions *d, const char *kind)
{
    json_t *list = json_array();
    int64_t rise[3] = {0};
    for (unsigned i = 0, n = 1 + decide(d, 3); i < n; i++) {
        for (int k = 0; k < 3; k++) {
            rise[k] += 1 + some_count(d);
        }
        json_array_append_new(list, strcmp(kind, "ids") == 0     ? some_id(d, decide(d, 2) ? "permission" : "machine")
                                    : strcmp(kind, "table") == 0 ? json_pack("[I,I,I]", (json_int_t)rise[0],
                                                                             (json_int_t)rise[1], (json_int_t)rise[2])
                                                                 : json_integer(rise[0]));
    }
    return list;
}

static json_t *some_value(decisions *d, const char *field, const char *kind)
{
    static const int64_t offsets[] = {0, -60000, 60000, 3600000, -DAY, DAY, 30 * DAY, 400 * DAY, -NOON, 10000 * DAY};
    static const char *const texts[] = {"r", "because", "\xc3\xa9t\xc3\xa9", "%s {contact}"};
    static const int64_t numbers[] = {
        1, 2, 18, 19, 19, 23, 23, 24, 28, 29, N_HISTORY + 1, N_HISTORY + 2}; /* of history */
    static const char *const shas[] = {SHA_A, SHA_B,
                                       "cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc"};
    if (strchr(kind, '|')) {
        unsigned n = 1;
        for (const char *p = kind; *p; p++) {
            n += *p == '|';
        }
        for (unsigned k = decide(d, n); k > 0; k--) {
            kind = strchr(kind, '|') + 1;
        }
        return json_stringn(kind, strcspn(kind, "|"));
    }
    return strcmp(kind, "id") == 0       ? some_id(d, field)
           : strcmp(kind, "count") == 0  ? json_integer(some_count(d))
           : strcmp(kind, "number") == 0 ? json_integer(decide(d, 4) ? PICK(numbers) : 1 + decide(d, 64))
           : strcmp(kind, "time") == 0   ? json_integer(clock_ms + PICK(offsets))
           : strcmp(kind, "sha256") == 0 ? json_string(PICK(shas))
           : strcmp(kind, "flag") == 0   ? json_boolean(decide(d, 2))
           : strcmp(kind, "uses") == 0   ? some_uses(d)
           : strcmp(kind, "map") == 0    ? json_pack("{s:[s]}", "two-material", "starter")
           : strcmp(kind, "text") == 0 || strcmp(kind, "private") == 0 ? json_string(PICK(texts))
                                                                       : some_list(d, kind);
}

/* "name?: kind; ..." (docs/ledger.md) into a body. */
static json_t *some_body(decisions *d, const char *fields)
{
    json_t *body = json_object();
    while (*fields) {
        char name[NAME], kind[NAME];
        size_t n = strcspn(fields, "?:");
        bool may_miss = fields[n] == '?';
        snprintf(name, sizeof name, "%.*s", (int)n, fields);
        fields += n + may_miss + 2;
        n = strcspn(fields, ";");
        snprintf(kind, sizeof kind, "%.*s", (int)n, fields);
        fields += n + (fields[n] ? 2 : 0);
        if (!may_miss || decide(d, 3) == 0) {
            json_object_set_new(body, name, some_value(d, name, kind));
        }
    }
    return body;
}

static int64_t do_decided(decisions *d, po_arena *arena)
{
    static const char *const who[] = {"keeper", "keeper", "desk", "desk", "keeper", "d1", "m1"};
    size_t n_acts, n_questions;
    const po_ledger_verb *acts = po_ledger_acts(&n_acts), *questions = po_ledger_questions(&n_questions);
    unsigned what = decide(d, 256), by = decide(d, 8);
    const po_ledger_verb *verb = by == 7 ? &questions[what % n_questions] : &acts[what % n_acts];
    json_t *body = some_body(d, verb->fields);
    char *text = json_dumps(body, JSON_COMPACT);
    int64_t event = 0;
    PROMISE(text);
    if (by == 7) {
        do_ask(verb->name, text, arena);
    } else {
        event = do_act(verb->name, who[by], text, arena);
    }
    free(text);
    json_decref(body);
    return event;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    if (n < 2 || n > BODY) {
        return 0;
    }
    reset();
    po_arena *arena = po_arena_new(0);
    char *text = malloc(n + 1);
    PROMISE(arena && text);
    memcpy(text, data, n);
    text[n] = 0;
    char *rest = text + 1;
    decisions d = {data + 1, data + n};
    int64_t last = 0;
    for (int i = 0; i < ACTS_MOST && (data[0] % 2 ? d.at < d.end : rest != NULL); i++) {
        int64_t event = data[0] % 2 ? do_decided(&d, arena) : do_line(strsep(&rest, "\n"), arena);
        last = event ? event : last;
    }
    unsigned sum = 0;
    for (size_t i = 0; i < n; i++) {
        sum += data[i];
    }
    if (changed && sum % 3 == 0) { /* a third of the histories, always the same ones: it takes as long as all else */
        const char *const *faults = NULL;
        size_t n_faults = 0;
        po_err err;
        char body[40];
        snprintf(body, sizeof body, "{\"event\":%lld}", (long long)last);
        do_act("undo", "keeper", body, arena);
        PROMISE(po_ledger_verify(ledger, arena, &faults, &n_faults, &err) == PO_OK);
        if (n_faults > 0) {
            fprintf(stderr, "%s\n", faults[0]);
        }
        PROMISE(n_faults == 0);
    }
    free(text);
    po_arena_free(arena);
    return 0;
}

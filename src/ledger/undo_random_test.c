/* Acts of every kind at random, taken back at once or later: every row is as it was, and the book stays sound. SPDX-License-Identifier: Apache-2.0
 *
 * Nothing is foreseen of what an act does. What must hold of each: it is done or refused with a sentence of the book's own; taken
 * back at once it leaves every derived row as it was; taken back later, where the book allows it, the book's own sums hold; and a
 * rebuild comes to the same rows. */
#include "ledger/run_kit.h"

enum { ACTS = 300, VERIFY_EACH = 60 };

typedef struct walk {
    kit *k;
    po_store *look;
    uint64_t dice;
} walk;

static int roll(walk *w, int n)
{
    w->dice = w->dice * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (int)((w->dice >> 33) % (uint64_t)n);
}

static const char *pick(walk *w, const char *const *words, int n)
{
    return words[roll(w, n)];
}
#define PICK(w, ...)                                                                                                   \
    pick(w, (const char *const[]){__VA_ARGS__}, sizeof(const char *const[]){__VA_ARGS__} / sizeof(char *))

/* A row of the latest eight that the question finds (its first column), else any small number. */
static long long any(walk *w, const char *sql)
{
    long long ids[8];
    int n = 0;
    po_rows *rows = NULL;
    kit *k = w->k;
    OK(po_store_ask(w->look, &rows, &k->err, sql, ""));
    while (n < 8 && po_rows_next(rows)) {
        ids[n++] = (long long)po_rows_int(rows, 0);
    }
    OK(po_rows_end(rows, &k->err));
    return n > 0 && roll(w, 20) ? ids[roll(w, n)] : 1 + roll(w, 30);
}

#define RUN_IN(states) any(w, "SELECT id FROM runs WHERE state IN (" states ") ORDER BY id DESC")

static const char *const machines[] = {"Alder", "Birch", "Cedar"};
static const char *const spools[] = {"P1", "P2", "P3"};
static const char *const yes_no[] = {"true", "false"};

static po_status runs(walk *w)
{
    kit *k = w->k;
    const char *machine = pick(w, machines, 3), *spool = pick(w, spools, 3);
    int member = 1 + roll(w, 3);
    char more[400] = "";
    switch (roll(w, 11)) {
    case 0:
        return kit_act(k, "run-reserve", "desk", "{\"member\":\"m%d\",\"um\":%d,\"machine\":\"%s\"%s}", member,
                       roll(w, 40000000), machine,
                       PICK(w, "", ",\"course\":\"make-1\"", ",\"fund\":\"robots\"", ",\"group\":\"g1\""));
    case 1:
        return kit_act(k, "run-drop", "desk", "{\"run\":%lld}", RUN_IN("'reserved'"));
    case 2:
    case 3:
    case 4: {
        int um = roll(w, 40000000);
        switch (roll(w, 6)) {
        case 0:
            snprintf(more, sizeof more, ",\"run\":%lld", RUN_IN("'reserved'"));
            break;
        case 1:
            snprintf(more, sizeof more,
                     ",\"spool\":\"%s\",\"beyond\":\"charge\",\"price_minor_kg\":900,\"currency\":\"EUR\"", spool);
            break;
        case 2:
            snprintf(more, sizeof more,
                     ",\"uses\":[{\"tool\":0,\"spool\":\"%s\",\"um\":%d},{\"tool\":1,\"spool\":\"%s\",\"um\":%d}]",
                     spool, um / 3, pick(w, spools, 3), um - um / 3);
            break;
        case 3:
            snprintf(more, sizeof more, ",\"fund\":\"robots\",\"price_minor_kg\":900,\"spool\":\"%s\"", spool);
            break;
        case 4:
            snprintf(more, sizeof more, ",\"ticket\":%lld",
                     any(w, "SELECT number FROM tickets WHERE state IN ('waiting', 'called') ORDER BY id DESC"));
            break;
        default:
            snprintf(more, sizeof more, ",\"spool\":\"%s\",\"stick\":\"A%d\"", spool, 1 + roll(w, 2));
        }
        return kit_act(k, "run-hand-out", "desk",
                       "{\"member\":\"m%d\",\"machine\":\"%s\",\"um\":%d,\"sha256\":\"" KIT_SHA "\"%s%s}", member,
                       machine, um, roll(w, 2) ? ",\"run_limit_um\":20000000" : "", more);
    }
    case 5:
        return kit_act(k, "run-start", "desk",
                       "{\"run\":%lld,\"heated\":true,\"stream_steady\":true,\"bed_clean\":true,\"gap_good\":true,"
                       "\"spool_right\":true}",
                       RUN_IN("'out'"));
    case 6:
        return kit_act(k, "run-watched", "desk", "{\"run\":%lld,\"first_layer\":\"good\"}", RUN_IN("'out'"));
    case 7:
        return kit_act(k, "run-ended", "desk", "{\"run\":%lld%s}", RUN_IN("'out'"), PICK(w, "", ",\"message\":\"t\""));
    case 8:
        return kit_act(k, "run-failed", "desk",
                       "{\"run\":%lld,\"percent\":%d,\"by_height\":[[1000,9000000,50],[2000,20000000,100]]}",
                       RUN_IN("'out', 'ended'"), roll(w, 101));
    case 9: {
        int um = roll(w, 50000000), kind = roll(w, 4);
        snprintf(more, sizeof more,
                 kind == 0   ? ",\"figure\":\"proof\""
                 : kind == 1 ? ",\"figure\":\"counter\",\"used_um\":%d"
                 : kind == 2 ? ",\"figure\":\"scale\",\"used_mg\":%d,\"diameter_um\":1750,\"density_mg_cm3\":1240"
                             : ",\"figure\":\"counter\",\"used_um\":%d",
                 kind == 2 ? um / 400 : um);
        if (kind == 3) {
            size_t n = strlen(more);
            snprintf(more + n, sizeof more - n,
                     ",\"uses\":[{\"tool\":0,\"spool\":\"%s\",\"um\":%d},{\"tool\":2,\"um\":%d}]", spool, um / 2,
                     um - um / 2);
        }
        return kit_act(k, "run-take-back", "desk", "{\"run\":%lld%s}", RUN_IN("'out', 'ended', 'failed'"), more);
    }
    default:
        return kit_act(k, "run-outcome", "desk", "{\"run\":%lld,\"outcome\":\"failed\",\"counts\":%s}",
                       RUN_IN("'ended', 'failed', 'back'"), pick(w, yes_no, 2));
    }
}

static po_status things(walk *w)
{
    kit *k = w->k;
    const char *spool = pick(w, spools, 3);
    long long part = any(w, "SELECT id FROM parts WHERE state = 'shelf' ORDER BY id DESC");
    switch (roll(w, 24)) {
    case 0:
        return kit_act(
            k, "run-off", "desk", "{\"run\":%lld,\"to\":\"%s\"}",
            any(w,
                "SELECT id FROM runs WHERE off_ms IS NULL AND state IN ('ended', 'failed', 'back') ORDER BY id DESC"),
            PICK(w, "member", "waste", "shelf"));
    case 1:
    case 2:
        return kit_act(
            k, "run-off", "desk", "{\"run\":%lld,\"to\":\"%s\",\"place\":%d}",
            any(w,
                "SELECT id FROM runs WHERE off_ms IS NULL AND state IN ('ended', 'failed', 'back') ORDER BY id DESC"),
            "shelf", 1 + roll(w, 3));
    case 3:
        return kit_act(k, "shelf-put", "desk", "{\"run\":%lld,\"place\":%d}", part, 1 + roll(w, 3));
    case 4:
        return kit_act(k, "shelf-collect", "desk", "{\"run\":%lld}", part);
    case 5:
        return kit_act(k, "shelf-recycle", "desk", "{\"run\":%lld,\"mg\":70}", part);
    case 6:
        return kit_act(k, "machine-tag", "desk", "{\"machine\":\"%s\",\"reason\":\"r\"}",
                       PICK(w, "Cedar", "Dogwood", "Elm"));
    case 7:
        return kit_act(k, "machine-rest", "desk", "{\"machine\":\"%s\",\"reason\":\"r\"}",
                       PICK(w, "Cedar", "Dogwood", "Elm"));
    case 8:
    case 9:
        return kit_act(k, "machine-clear", "desk", "{\"machine\":\"%s\"}", PICK(w, "Cedar", "Dogwood", "Elm"));
    case 10:
        return kit_act(k, "machine-retire", "keeper", "{\"machine\":\"%s\",\"reason\":\"r\"}",
                       PICK(w, "Dogwood", "Elm"));
    case 11:
    case 12:
    case 13:
        return kit_act(k, "machine-fit", "desk", "{\"machine\":\"%s\"%s}", PICK(w, "Alder", "Birch", "Dogwood", "Elm"),
                       PICK(w, ",\"spool\":\"P1\"", ",\"spool\":\"P2\",\"tool\":1",
                            ",\"spool\":\"P3\",\"nozzle_um\":400", ",\"unload\":true", ",\"surface\":\"glass\""));
    case 14:
        return kit_act(k, "machine-gap", "desk", "{\"machine\":\"%s\"}", PICK(w, "Alder", "Birch", "Dogwood", "Elm"));
    case 15:
        return kit_act(k, "stick-add", "keeper", "{\"stick\":\"A%d\",\"machine\":\"%s\"}", 1 + roll(w, 4),
                       PICK(w, "Alder", "Birch", "Dogwood"));
    case 16:
        return kit_act(k, "stick-assign", "keeper", "{\"stick\":\"A%d\",\"machine\":\"%s\"}", 1 + roll(w, 4),
                       PICK(w, "Alder", "Birch", "Dogwood", "Elm"));
    case 17:
        return kit_act(k, PICK(w, "stick-lost", "stick-count"), "desk", "{\"stick\":\"A%d\"}", 1 + roll(w, 4));
    case 18:
        return kit_act(k, "spool-open", "desk", "{\"spool\":\"%s\"}", spool);
    case 19:
    case 20:
        return kit_act(k, "spool-weigh", "desk", "{\"spool\":\"%s\",\"gross_mg\":%d,\"tare_mg\":200000}", spool,
                       200000 + roll(w, 900000));
    case 21:
        return kit_act(k, "spool-dry", "desk", "{\"spool\":\"%s\",\"c\":50,\"minutes\":60}", spool);
    case 22:
        return kit_act(k, "spool-dried", "desk", "{\"spool\":\"%s\"}", spool);
    default:
        return kit_act(k, "spool-empty", "desk", "{\"spool\":\"%s\",\"left_mg\":%d}", spool, roll(w, 3) * 100);
    }
}

static po_status people(walk *w)
{
    kit *k = w->k;
    int member = 1 + roll(w, 3);
    long long ticket = any(w, "SELECT number FROM tickets WHERE state IN ('waiting', 'called') ORDER BY id DESC");
    switch (roll(w, 24)) {
    case 0:
        return kit_act(k, "member-enrol", "keeper", "{\"member\":\"n%d\",\"name\":\"N\",\"role\":\"%s\"}", roll(w, 9),
                       PICK(w, "member", "desk"));
    case 1:
        return kit_act(k, "member-role", "keeper", "{\"member\":\"n%d\",\"role\":\"%s\"}", roll(w, 9),
                       PICK(w, "member", "keeper"));
    case 2:
        return kit_act(k, "member-suspend", "keeper", "{\"member\":\"m%d\",\"reason\":\"r\",\"until\":%lld}", member,
                       (long long)(k->now + 3600000));
    case 3:
    case 4:
        return kit_act(k, "member-resume", "keeper", "{\"member\":\"m%d\"}", member);
    case 5:
        return kit_act(k, "member-forget", "keeper", "{\"member\":\"n%d\"}", roll(w, 9));
    case 6:
        return kit_act(k, "permit-grant", "desk", "{\"member\":\"m%d\",\"permission\":\"%s\",\"until\":%lld}", member,
                       PICK(w, "starter", "two"), (long long)(k->now + KIT_DAY * (1 + roll(w, 3))));
    case 7:
        return kit_act(k, "permit-withdraw", "desk", "{\"member\":\"m%d\",\"permission\":\"%s\",\"reason\":\"r\"}",
                       member, PICK(w, "starter", "two"));
    case 8:
        return kit_act(k, "permits-lapse", "keeper", "{\"permission\":\"two\",\"reason\":\"r\"}");
    case 9:
    case 10:
        return kit_act(
            k, "waiver-give", "desk",
            "{\"member\":\"m%d\",\"um\":%d,\"reason\":\"r\",\"asked_by\":\"m1\",\"desk_limit_um\":99000000%s}", member,
            1 + roll(w, 30000000), PICK(w, "", ",\"sha256\":\"" KIT_SHA "\""));
    case 11:
        return kit_act(k, "waiver-withdraw", "desk", "{\"waiver\":%lld,\"reason\":\"r\"}",
                       any(w, "SELECT id FROM waivers WHERE withdrawn_ms IS NULL ORDER BY id DESC"));
    case 12:
        return kit_act(k, "group-join", "desk", "{\"group\":\"g1\",\"member\":\"m%d\"}", member);
    case 13:
        return kit_act(k, "group-leave", "desk", "{\"group\":\"g1\",\"member\":\"m%d\"}", member);
    case 14:
        return kit_act(k, "money-book", "keeper",
                       "{\"member\":\"m%d\",\"kind\":\"%s\",\"minor\":%d,\"currency\":\"EUR\",\"reason\":\"r\"}",
                       member, PICK(w, "payment", "gift", "charge", "refund"), 1 + roll(w, 500));
    case 15:
    case 16:
        return kit_act(k, "ticket-take", "desk", "{\"member\":\"%s%d\"}", PICK(w, "m", "m", "n"), member);
    case 17:
        return kit_act(k, "ticket-call", "desk",
                       "{\"ticket\":%lld,\"until\":%lld,\"machine\":\"%s\",\"message\":\"t\"}", ticket,
                       (long long)(k->now + 600000), pick(w, machines, 3));
    case 18:
        return kit_act(k, "ticket-pass", "desk", "{\"ticket\":%lld,\"no_show\":%s}", ticket, pick(w, yes_no, 2));
    case 19:
        return kit_act(k, "ticket-leave", "desk", "{\"ticket\":%lld}", ticket);
    case 20:
        return kit_act(k, PICK(w, "message-sent", "message-drop"), "desk", "{\"message\":%lld}",
                       any(w, "SELECT id FROM messages WHERE state = 'waiting' ORDER BY id DESC"));
    case 21:
        return kit_act(k, "message-put", "desk", "{\"member\":\"m%d\",\"kind\":\"other\",\"text\":\"t\",\"run\":%lld}",
                       member, any(w, "SELECT id FROM runs ORDER BY id DESC"));
    case 22:
        return kit_act(k, "file-attach", "desk", "{\"sha256\":\"%s\",\"bytes\":5,\"kind\":\"photo\",\"run\":%lld}",
                       PICK(w, KIT_SHA, KIT_SHA2), any(w, "SELECT id FROM runs ORDER BY id DESC"));
    default:
        return kit_act(k, "file-detach", "desk", "{\"file\":%lld}",
                       any(w, "SELECT id FROM files WHERE removed_ms IS NULL ORDER BY id DESC"));
    }
}

static po_status shop(walk *w)
{
    kit *k = w->k;
    long long round = any(w, "SELECT id FROM rounds WHERE done_ms IS NULL ORDER BY id DESC");
    switch (roll(w, 14)) {
    case 0:
        return kit_act(k, "term-close", "keeper", "{\"term\":\"t%d\"}", 1 + roll(w, 9));
    case 1:
        return kit_act(k, "term-open", "keeper",
                       "{\"term\":\"t%d\",\"from\":%lld,\"until\":%lld,\"allowance_um\":90000000}", 2 + roll(w, 9),
                       (long long)(k->now - KIT_DAY), (long long)(k->now + 30 * KIT_DAY));
    case 2:
        return kit_act(k, PICK(w, "course-close", "course-open"), "keeper", "{\"course\":\"%s\"%s}",
                       PICK(w, "make-1", "make-2"), ",\"title\":\"T\"");
    case 3:
        return kit_act(k, "course-close", "keeper", "{\"course\":\"make-%d\"}", 1 + roll(w, 2));
    case 4:
        return kit_act(k, "assignment-set", "desk", "{\"course\":\"make-1\",\"assignment\":\"a%d\",\"title\":\"T%d\"}",
                       roll(w, 3), roll(w, 9));
    case 5:
        return kit_act(k, "group-open", "desk", "{\"group\":\"g%d\",\"course\":\"make-1\",\"fund\":\"robots\"}",
                       1 + roll(w, 4));
    case 6:
        return kit_act(k, "fund-open", "keeper", "{\"fund\":\"f%d\",\"title\":\"F\",\"currency\":\"EUR\"}", roll(w, 4));
    case 7:
        return kit_act(k, "fund-close", "keeper", "{\"fund\":\"f%d\"}", roll(w, 4));
    case 8:
        return kit_act(k, "proof-keep", "desk",
                       "{\"sha256\":\"%s\",\"machine\":\"%s\",\"verdict\":\"clear\",\"um\":%d,\"seconds\":50}",
                       PICK(w, KIT_SHA, KIT_SHA2), pick(w, machines, 3), roll(w, 90000));
    case 9:
        return kit_act(k, "round-begin", "desk", "{\"kind\":\"opening\"}");
    case 10:
        return kit_act(k, "round-machine", "desk",
                       "{\"round\":%lld,\"machine\":\"%s\",\"found\":\"free\",\"bed_clear\":true,\"stick_there\":true,"
                       "\"nozzle_clean\":true,\"spool_on\":true,\"heaters_off\":true}",
                       round, PICK(w, "Alder", "Birch", "Dogwood", "Elm"));
    case 11:
        return kit_act(k, "round-done", "desk", "{\"round\":%lld,\"note\":\"n\",\"unseen\":\"u\"}", round);
    case 12:
        return kit_act(k, "waste-weigh", "desk", "{\"material\":\"pla\",\"mg\":%d,\"kind\":\"purge\"}",
                       1 + roll(w, 999));
    default:
        return kit_act(k, "note-leave", "desk", "{\"text\":\"x\"}");
    }
}

static po_status any_act(walk *w)
{
    int which = roll(w, 10);
    return which < 5 ? runs(w) : which < 7 ? things(w) : which < 9 ? people(w) : shop(w);
}

/* The book's own sentence, not one of the engine below it. */
static void own_words(walk *w, uint64_t seed, po_status s)
{
    const char *msg = w->k->err.msg;
    if ((s != PO_E_CONFLICT && s != PO_E_NOTFOUND && s != PO_E_RANGE) || strlen(msg) < 10 ||
        strstr(msg, "constraint") || strstr(msg, "SQL")) {
        fail_msg("seed %llu: %d [%s] %s", (unsigned long long)seed, s, w->k->err.where, msg);
    }
}

static void one_walk(uint64_t seed, int acts)
{
    kit one, *k = &one;
    walk w = {.k = k, .dice = seed};
    int done = 0, back = 0, later = 0;
    run_shop(k);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m3\"}"));
    OK(kit_act(k, "group-open", "desk", "{\"group\":\"g1\"}"));
    OK(kit_act(k, "spool-add", "desk",
               "{\"spool\":\"P3\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240}"));
    po_store_options o = {.read_only = true, .wait_ms = 1000, .schema = &po_ledger_schema};
    OK(po_store_open(k->path, &o, &w.look, &k->err));
    for (int i = 0; i < acts; i++) {
        k->now += roll(&w, 3) ? roll(&w, 900000) : -roll(&w, 1000); /* now and then the clock is set back a little */
        char *was = run_rows(k);
        po_status s = any_act(&w);
        uint64_t event = k->done.event;
        if (s != PO_OK) {
            own_words(&w, seed, s);
        }
        done += s == PO_OK;
        bool undo = s == PO_OK && roll(&w, 2);
        if (undo) {
            s = UNDO(event);
            if (s != PO_OK && !strstr(k->err.msg, "can not be taken back")) {
                fail_msg("seed %llu, event %llu: [%s] %s", (unsigned long long)seed, (unsigned long long)event,
                         k->err.where, k->err.msg);
            }
            back += s == PO_OK;
        }
        if (s != PO_OK || undo) {
            char *now = run_rows(k);
            if (s == PO_OK || !undo) {
                assert_string_equal(was, now);
            }
            free(now);
        } else if (roll(&w, 2) == 0) {
            s = UNDO(event - (uint64_t)roll(&w, 16));
            later += s == PO_OK;
            if (s != PO_OK) {
                own_words(&w, seed, s);
            }
        }
        free(was);
        if (i % VERIFY_EACH == 0) {
            kit_clean(k);
        }
    }
    print_message("seed %llu: %d done, %d of them taken back at once, %d later\n", (unsigned long long)seed, done, back,
                  later);
    assert_true(done > acts / 4 && back > acts / 12 && later > 3);
    run_sound(k);
    po_store_close(w.look);
    kit_end(k);
}

static void random_walks(void **state)
{
    (void)state;
    const char *more = getenv("PO_WALKS"); /* "from-until acts": a longer search by hand */
    unsigned long long from = 1, until = 1;
    int acts = ACTS;
    if (more && sscanf(more, "%llu-%llu %d", &from, &until, &acts) < 2) {
        fail_msg("PO_WALKS is not from-until");
    }
    for (uint64_t seed = from; seed <= until; seed++) {
        one_walk(seed, acts);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(random_walks)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

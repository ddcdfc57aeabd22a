/* Writes the book of a busy invented shop, ten years if wanted. SPDX-License-Identifier: Apache-2.0
 *
 * usage: make_book [--runs N] [--seed N] BOOK
 * What it is for: `make bench` and tests that need a large book. Twenty machines, three terms a year, about 55 runs a day,
 * each with all its acts: a proof, sometimes a reservation or a ticket, hand-out, start, watch, end or failure, part off, take
 * back, outcome, what the member hears, the shelf; between them rounds, spools that are opened, weighed and used up, waivers,
 * courses, waste, notes, and acts that are taken back. About 15 events a run: 200,000 runs (the usual number) are 3,000,000
 * events of 20,000 members. The same number and seed give the same events, but for a later version of the acts.
 *
 * Method: a simulation in the shop's own time. Every machine has a next thing to happen at a time; the earliest happens. It
 * knows beforehand which number each event will have, so acts are booked in groups of thousands (po_ledger_act_all). All
 * names and numbers are invented; lengths and times are in the range of a school's workshop. */
#include <inttypes.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proveout/ledger.h"

#define MINUTE INT64_C(60000)
#define DAY INT64_C(86400000)
#define FIRST_DAY INT64_C(1474848000000) /* 2016-09-26T00:00:00Z, a Monday */
#define ALLOWANCE_UM INT64_C(150000000)

enum {
    MACHINES = 20,
    PLACES = 240,
    POOL = 2000, /* members who come this year */
    GROUP = 4000,
    BODIES = 4 << 20,
    RUNS_A_DAY = 55
};

static const char *const machines[MACHINES] = {"Alder", "Birch",  "Cedar",   "Dogwood", "Elm",      "Fir",    "Gorse",
                                               "Hazel", "Ivy",    "Juniper", "Larch",   "Maple",    "Nettle", "Oak",
                                               "Pine",  "Quince", "Rowan",   "Spruce",  "Tamarisk", "Willow"};
static const char *const materials[] = {"pla", "petg", "tpu"};
static const int densities[] = {1240, 1270, 1210};

/* What happens next at a machine. */
typedef enum stage { TICKET, CALL, OUT, START, WATCH, END, BACK } stage;

typedef struct machine {
    stage next;
    int64_t at_ms, run, um, seconds, spool, spool_left_mg, ticket;
    int member, material;
    bool fails;
} machine;

typedef struct shop {
    po_ledger *ledger;
    uint64_t dice;
    int64_t now, day, events, runs, runs_wanted, messages, spools, ticket, term, shas;
    int64_t times[GROUP]; /* the clock, act by act */
    size_t n_told;
    po_act acts[GROUP];
    size_t n, used;
    char *bodies;
    machine at[MACHINES];
    int n_members;
    int64_t charged[POOL];
    struct {
        int64_t run, until;
    } place[PLACES];
    char job[MACHINES][65]; /* the last one proved there */
} shop;

static int64_t roll(shop *s, int64_t n)
{
    s->dice += UINT64_C(0x9e3779b97f4a7c15); /* splitmix64 (Steele, Lea & Flood 2014) */
    uint64_t z = s->dice;
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return (int64_t)((z ^ (z >> 31)) % (uint64_t)n);
}

/* Of a hundred. */
static bool chance(shop *s, int percent)
{
    return roll(s, 100) < percent;
}

static int64_t clock_of(void *user)
{
    shop *s = user;
    return s->n_told < s->n ? s->times[s->n_told++] : s->now;
}

static void book(shop *s)
{
    static po_act_done done[GROUP];
    po_err err = {0};
    size_t failed = 0;
    po_arena *arena = po_arena_new(0);
    s->n_told = 0;
    if (s->n > 0 && po_ledger_act_all(s->ledger, s->acts, s->n, arena, done, &failed, &err) != PO_OK) {
        fprintf(stderr, "make_book: event %lld, %s %s: %s\n",
                (long long)(s->events - (int64_t)s->n + (int64_t)failed + 1), s->acts[failed].name,
                s->acts[failed].body, err.msg);
        exit(1);
    }
    po_arena_free(arena);
    s->n = s->used = 0;
}

static int64_t act(shop *s, const char *by, const char *name, const char *format, ...) PO_PRINTF(4, 5);
/* Put an act into the group. Returns the number that its event will have. */
static int64_t act(shop *s, const char *by, const char *name, const char *format, ...)
{
    if (s->n == GROUP || s->used + 2000 > BODIES) {
        book(s);
    }
    char *body = s->bodies + s->used;
    va_list values;
    va_start(values, format);
    s->used += (size_t)vsnprintf(body, 2000, format, values) + 1;
    va_end(values);
    s->times[s->n] = s->now;
    s->acts[s->n++] = (po_act){name, by, body};
    s->now += 1000 + roll(s, 4000);
    return ++s->events;
}

/* A number like a SHA-256, for the n-th job. */
static void sha_of(char out[65], int64_t n)
{
    shop mix = {.dice = (uint64_t)n * UINT64_C(0x2545f4914f6cdd1d)};
    for (int i = 0; i < 8; i++) {
        snprintf(out + (size_t)i * 8, 9, "%08llx", (unsigned long long)roll(&mix, INT64_C(1) << 32));
    }
}

static int64_t mg_of(const machine *m, int64_t um)
{
    return po_ledger_mg(um, 1750, densities[m->material]);
}

static void message_out(shop *s)
{
    act(s, "desk", "message-sent", "{\"message\":%lld}", (long long)++s->messages);
}

static void new_member(shop *s)
{
    int n = s->n_members++;
    act(s, "desk", "member-enrol",
        "{\"member\":\"m%05d\",\"name\":\"Person %d\",\"contact\":\"m%05d@quayside.example\"}", n, n, n);
    act(s, "desk", "permit-grant", "{\"member\":\"m%05d\",\"permission\":\"starter\",\"until\":%lld}", n,
        (long long)(s->now + 600 * DAY));
    if (n % 4 == 0) {
        act(s, "desk", "permit-grant", "{\"member\":\"m%05d\",\"permission\":\"two-material\"}", n);
    }
    if (n % 5 == 0) {
        act(s, "desk", "group-join", "{\"group\":\"team-%d\",\"member\":\"m%05d\"}", n / 5 % 40, n);
    }
    if (n >= POOL && n % 3 == 0) { /* who left long ago */
        act(s, "keeper", "member-forget", "{\"member\":\"m%05d\"}", n - POOL);
    }
    s->charged[n % POOL] = 0;
}

/* Some come often. */
static int some_member(shop *s)
{
    int most = s->n_members < POOL - 600 ? s->n_members : POOL - 600;
    int64_t a = roll(s, most), b = roll(s, most);
    return s->n_members - 1 - (int)(a < b ? a : b);
}

static void new_spool(shop *s, int i)
{
    machine *m = &s->at[i];
    if (m->spool) {
        act(s, "desk", "spool-empty", "{\"spool\":\"S%lld\",\"left_mg\":%lld}", (long long)m->spool,
            (long long)(5000 + roll(s, 20000)));
    }
    m->material = (int)(roll(s, 10) / 4);
    m->spool = ++s->spools;
    m->spool_left_mg = 1000000;
    act(s, "desk", "spool-add",
        "{\"spool\":\"S%lld\",\"material\":\"%s\",\"diameter_um\":1750,\"density_mg_cm3\":%d,\"tare_mg\":250000,"
        "\"net_mg\":1000000,\"colour\":\"colour %lld\",\"lot\":\"L%lld\",\"price_minor_kg\":2400}",
        (long long)m->spool, materials[m->material], densities[m->material], (long long)(s->spools % 9),
        (long long)(s->spools / 20));
    act(s, "desk", "spool-open", "{\"spool\":\"S%lld\"}", (long long)m->spool);
    act(s, "desk", "machine-fit", "{\"machine\":\"%s\",\"spool\":\"S%lld\"}", machines[i], (long long)m->spool);
}

static void term_turns(shop *s)
{
    int64_t term = s->day / 122;
    if (term >= s->term) { /* the next is open before it begins */
        for (; s->term <= term + 1; s->term++) {
            act(s, "keeper", "term-open", "{\"term\":\"term-%lld\",\"from\":%lld,\"until\":%lld,\"allowance_um\":%lld}",
                (long long)s->term, (long long)(FIRST_DAY + s->term * 122 * DAY),
                (long long)(FIRST_DAY + (s->term + 1) * 122 * DAY), (long long)ALLOWANCE_UM);
        }
    }
    if (s->day % 122 == 0) {
        memset(s->charged, 0, sizeof s->charged);
    }
    if (s->day % 122 == 14 && term > 0) {
        act(s, "keeper", "term-close", "{\"term\":\"term-%lld\"}", (long long)term - 1);
        for (int i = 0; i < MACHINES; i++) {
            act(s, "desk", "stick-count", "{\"stick\":\"%c1\"}", machines[i][0]);
        }
    }
}

static void round_of(shop *s, const char *kind)
{
    int64_t id = act(s, "desk", "round-begin", "{\"kind\":\"%s\"}", kind);
    for (int i = 0; i < MACHINES; i++) {
        bool busy = s->at[i].next > OUT;
        act(s, "desk", "round-machine",
            "{\"round\":%lld,\"machine\":\"%s\",\"found\":\"%s\",\"bed_clear\":%s,\"stick_there\":true,\"nozzle_"
            "clean\":"
            "true,\"spool_on\":true,\"heaters_off\":%s}",
            (long long)id, machines[i], busy ? "running" : "free", busy ? "false" : "true", busy ? "false" : "true");
    }
    act(s, "desk", "round-done", "{\"round\":%lld,\"note\":\"all as it should be, day %lld\"}", (long long)id,
        (long long)s->day);
}

/* What every day has: who begins, parts that nobody fetched, spools on the scale. */
static void morning(shop *s)
{
    s->day++;
    int64_t opens = FIRST_DAY + s->day * DAY + 9 * 60 * MINUTE;
    s->now = s->now > opens ? s->now : opens;
    term_turns(s);
    round_of(s, "opening");
    for (int64_t n = s->runs * 196 / 2000 + POOL / 5; s->n_members < n;) {
        new_member(s);
    }
    for (int i = 0; i < PLACES; i++) {
        if (s->place[i].run && s->place[i].until < s->now - 10 * DAY) {
            act(s, "desk", "shelf-recycle", "{\"run\":%lld,\"mg\":%lld}", (long long)s->place[i].run,
                (long long)(5000 + roll(s, 40000)));
            s->place[i].run = 0;
        }
    }
    for (int i = (int)(s->day % 4); i < MACHINES; i += 4) {
        machine *m = &s->at[i];
        m->spool_left_mg += roll(s, 4000) - 2500;
        act(s, "desk", "spool-weigh", "{\"spool\":\"S%lld\",\"gross_mg\":%lld}", (long long)m->spool,
            (long long)(m->spool_left_mg > 0 ? m->spool_left_mg : 0) + 250000);
        act(s, "desk", "machine-gap", "{\"machine\":\"%s\"}", machines[i]);
    }
    if (s->day % 7 == 0) {
        act(s, "desk", "waste-weigh", "{\"material\":\"%s\",\"mg\":%lld,\"kind\":\"mixed\"}", materials[s->day % 3],
            (long long)(100000 + roll(s, 400000)));
        act(s, "desk", "note-leave", "{\"text\":\"week %lld: the dryer is in use until Friday\"}",
            (long long)(s->day / 7));
        int i = (int)roll(s, MACHINES);
        if (s->at[i].next <= OUT) {
            act(s, "desk", "machine-rest", "{\"machine\":\"%s\",\"reason\":\"care\"}", machines[i]);
            act(s, "desk", "machine-clear", "{\"machine\":\"%s\"}", machines[i]);
        }
    }
}

static void hand_out(shop *s, int i)
{
    machine *m = &s->at[i];
    char more[400] = "";
    size_t at = 0;
    bool fresh = !s->job[i][0] || chance(s, 75);
    if (m->next == OUT && !m->ticket) {
        m->member = some_member(s);
    }
    m->um = 1000000 + roll(s, 4500000) + roll(s, 4500000) + (chance(s, 5) ? 20000000 : 0);
    m->seconds = m->um / 1000 + 600 + roll(s, 1200);
    m->fails = chance(s, 9);
    if (m->spool_left_mg < mg_of(m, m->um)) {
        new_spool(s, i);
    }
    if (fresh) {
        int64_t um = m->um, t = m->seconds, print = t - 240;
        sha_of(s->job[i], ++s->shas);
        act(s, "desk", "proof-keep",
            "{\"sha256\":\"%s\",\"machine\":\"%s\",\"verdict\":\"%s\",\"um\":%lld,\"mg\":%lld,\"seconds\":%lld,"
            "\"file\":"
            "\"part-%lld.gcode\",\"recipe\":\"recipe-%lld\",\"materials\":[\"%s\"],\"first_bead_seconds\":240,"
            "\"first_layer_seconds\":%lld,\"height_um\":40000,\"by_height\":[[250,%lld,%lld],[5000,%lld,%lld],[10000,"
            "%lld,%lld],[20000,%lld,%lld],[30000,%lld,%lld],[40000,%lld,%lld]],\"findings\":[\"thin-walls\"]}",
            s->job[i], machines[i], chance(s, 80) ? "clear" : "ask", (long long)um, (long long)mg_of(m, um),
            (long long)t, (long long)s->shas, (long long)(s->shas % 12), materials[m->material],
            (long long)(240 + print / 20), (long long)(um / 30), (long long)(240 + print / 20), (long long)(um / 8),
            (long long)(240 + print / 7), (long long)(um / 4), (long long)(240 + print / 4), (long long)(um / 2),
            (long long)(240 + print / 2), (long long)(um - um / 4), (long long)(t - print / 4), (long long)um,
            (long long)t);
    }
    if (s->charged[m->member % POOL] + m->um > ALLOWANCE_UM) {
        act(s, "keeper", "waiver-give",
            "{\"member\":\"m%05d\",\"um\":%lld,\"reason\":\"a project\",\"asked_by\":\"teacher\",\"desk_limit_um\":"
            "20000000}",
            m->member, (long long)m->um);
    }
    s->charged[m->member % POOL] += m->um;
    int64_t reserved = 0;
    if (!m->ticket && chance(s, 15)) {
        reserved = act(s, "desk", "run-reserve",
                       "{\"member\":\"m%05d\",\"um\":%lld,\"machine\":\"%s\",\"sha256\":\"%s\"}", m->member,
                       (long long)m->um, machines[i], s->job[i]);
        at += (size_t)snprintf(more + at, sizeof more - at, ",\"run\":%lld", (long long)reserved);
    }
    if (m->ticket) {
        at += (size_t)snprintf(more + at, sizeof more - at, ",\"ticket\":%lld", (long long)m->ticket);
    }
    if (chance(s, 20)) {
        snprintf(more + at, sizeof more - at, ",\"course\":\"course-%d\",\"assignment\":\"task-%d\"", m->member % 30,
                 m->member % 4);
    }
    int64_t event = act(
        s, "desk", "run-hand-out",
        "{\"member\":\"m%05d\",\"machine\":\"%s\",\"um\":%lld,\"seconds\":%lld,\"sha256\":\"%s\",\"stick\":\"%c1\","
        "\"spool\":\"S%lld\",\"any_of\":[\"starter\"],\"run_limit_um\":60000000,\"verdict\":\"clear\",\"recipe\":"
        "\"recipe-%lld\",\"file\":\"part.gcode\"%s}",
        m->member, machines[i], (long long)m->um, (long long)m->seconds, s->job[i], machines[i][0], (long long)m->spool,
        (long long)(s->shas % 12), more);
    m->run = reserved ? reserved : event;
    if (chance(s, 60)) {
        act(s, "desk", "machine-gap", "{\"machine\":\"%s\"}", machines[i]);
    }
    m->ticket = 0;
    s->runs++;
    if (fresh && chance(s, 60)) {
        act(s, "desk", "file-attach",
            "{\"sha256\":\"%s\",\"bytes\":%lld,\"kind\":\"job\",\"run\":%lld,\"name\":\"part.gcode\"}", s->job[i],
            (long long)(m->um / 3), (long long)m->run);
    }
}

static void end_run(shop *s, machine *m)
{
    if (m->fails) {
        m->um = m->um / 2; /* the middle row of the proof */
        act(s, "desk", "run-failed",
            "{\"run\":%lld,\"z_um\":20000,\"symptom\":\"came off the bed\",\"message\":\"Your run failed\"}",
            (long long)m->run);
    } else {
        act(s, "desk", "run-ended", "{\"run\":%lld,\"seconds\":%lld,\"message\":\"Your run is done\"}",
            (long long)m->run, (long long)(m->seconds + m->seconds * (roll(s, 80) - 20) / 1000));
    }
    message_out(s);
}

static void take_back(shop *s, machine *m)
{
    int place = (int)roll(s, PLACES);
    bool shelf = !m->fails && chance(s, 80) && !s->place[place].run;
    if (shelf) {
        act(s, "desk", "run-off",
            "{\"run\":%lld,\"to\":\"shelf\",\"place\":%d,\"kept_until\":%lld,\"message\":\"Collect it from place %d\"}",
            (long long)m->run, place + 1, (long long)(s->now + 14 * DAY), place + 1);
        s->place[place].run = m->run;
        s->place[place].until = s->now + (chance(s, 95) ? roll(s, 5 * DAY) : 14 * DAY);
        message_out(s);
    } else {
        act(s, "desk", "run-off", "{\"run\":%lld,\"to\":\"%s\"}", (long long)m->run, m->fails ? "waste" : "member");
    }
    int64_t used = m->um - (m->fails ? 0 : roll(s, m->um / 20));
    act(s, "desk", "run-take-back", "{\"run\":%lld,\"figure\":\"%s\",\"used_um\":%lld,\"stick_there\":true}",
        (long long)m->run, m->fails ? "proof" : "counter", (long long)used);
    m->spool_left_mg -= mg_of(m, used);
    int64_t outcome = act(s, "desk", "run-outcome", "{\"run\":%lld,\"outcome\":\"%s\",\"cause\":\"%s\",\"counts\":%s}",
                          (long long)m->run, m->fails ? "failed" : "good", m->fails ? "handling" : "unknown",
                          m->fails && chance(s, 40) ? "false" : "true");
    if (chance(s, 3)) {
        act(s, "desk", "undo", "{\"event\":%lld,\"reason\":\"the wrong run\"}", (long long)outcome);
        act(s, "desk", "run-outcome", "{\"run\":%lld,\"outcome\":\"%s\",\"counts\":true}", (long long)m->run,
            m->fails ? "failed" : "good");
    }
    if (chance(s, 40)) {
        act(s, "desk", "stick-count", "{\"stick\":\"%c1\"}", machines[m - s->at][0]);
    }
    if (chance(s, 70)) {
        act(s, "desk", "message-put",
            "{\"member\":\"m%05d\",\"kind\":\"other\",\"text\":\"How did it go?\",\"run\":%lld}", m->member,
            (long long)m->run);
        message_out(s);
    }
}

/* Whoever waited long enough comes for a part. */
static void collect(shop *s)
{
    for (int i = 0; i < PLACES; i++) {
        if (s->place[i].run && s->place[i].until <= s->now && s->now < s->place[i].until + 10 * DAY) {
            act(s, "desk", "shelf-collect", "{\"run\":%lld}", (long long)s->place[i].run);
            s->place[i].run = 0;
        }
    }
}

static void step(shop *s, int i)
{
    machine *m = &s->at[i];
    int64_t then = MINUTE;
    switch (m->next) {
    case TICKET:
        m->member = some_member(s);
        for (int k = 0; k < MACHINES; k++) { /* one ticket each */
            if (k != i && s->at[k].ticket && s->at[k].member == m->member) {
                m->at_ms += MINUTE;
                return;
            }
        }
        m->ticket = s->ticket = s->ticket % 999 + 1;
        act(s, "desk", "ticket-take", "{\"member\":\"m%05d\",\"machine\":\"%s\"}", m->member, machines[i]);
        then = 10 * MINUTE;
        break;
    case CALL:
        act(s, "desk", "ticket-call",
            "{\"ticket\":%lld,\"until\":%lld,\"machine\":\"%s\",\"message\":\"It is your turn\"}", (long long)m->ticket,
            (long long)(s->now + 2 * DAY), machines[i]);
        message_out(s);
        then = 5 * MINUTE;
        break;
    case OUT:
        hand_out(s, i);
        then = 4 * MINUTE + roll(s, 6 * MINUTE);
        break;
    case START:
        act(s, "desk", "run-start",
            "{\"run\":%lld,\"heated\":true,\"stream_steady\":true,\"bed_clean\":true,\"gap_good\":true,\"spool_right\":"
            "true}",
            (long long)m->run);
        then = 30 * MINUTE;
        break;
    case WATCH:
        act(s, "desk", "run-watched", "{\"run\":%lld,\"first_layer\":\"%s\"}", (long long)m->run,
            m->fails ? "poor" : "good");
        then = m->seconds * 1000 / (m->fails ? 2 : 1);
        break;
    case END:
        end_run(s, m);
        then = roll(s, 90 * MINUTE);
        break;
    case BACK:
        take_back(s, m);
        collect(s);
        then = roll(s, 100 * MINUTE);
        break;
    }
    m->at_ms = s->now + then;
    m->next = m->next == BACK ? (chance(s, 30) ? TICKET : OUT) : (stage)(m->next + 1);
}

static void open_shop(shop *s)
{
    s->now = FIRST_DAY + 8 * 60 * MINUTE;
    s->day = -1;
    for (int i = 0; i < 30; i++) {
        act(s, "keeper", "course-open", "{\"course\":\"course-%d\",\"title\":\"Making %d\"}", i, i);
        for (int k = 0; k < 4; k++) {
            act(s, "desk", "assignment-set", "{\"course\":\"course-%d\",\"assignment\":\"task-%d\"}", i, k);
        }
    }
    for (int i = 0; i < 40; i++) {
        act(s, "desk", "group-open", "{\"group\":\"team-%d\",\"title\":\"Team %d\"}", i, i);
    }
    act(s, "keeper", "fund-open",
        "{\"fund\":\"robots\",\"title\":\"The robots\",\"currency\":\"EUR\",\"budget_minor\":500000}");
    for (int i = 0; i < POOL / 5; i++) {
        new_member(s);
    }
    for (int i = 0; i < MACHINES; i++) {
        act(s, "keeper", "stick-add", "{\"stick\":\"%c1\",\"machine\":\"%s\"}", machines[i][0], machines[i]);
        act(s, "desk", "machine-fit", "{\"machine\":\"%s\",\"nozzle_um\":400,\"surface\":\"smooth\"}", machines[i]);
        new_spool(s, i);
        s->at[i].next = OUT;
        s->at[i].at_ms = s->now + 90 * MINUTE + roll(s, 60 * MINUTE);
    }
}

static void live(shop *s)
{
    int64_t closes = 0;
    while (s->runs < s->runs_wanted) {
        int first = 0;
        for (int i = 1; i < MACHINES; i++) {
            first = s->at[i].at_ms < s->at[first].at_ms ? i : first;
        }
        if (s->at[first].at_ms >= closes) { /* whatever waits, waits for the morning; runs may end at night */
            if (closes) {
                s->now = s->now > closes ? s->now : closes;
                round_of(s, "closing");
            }
            morning(s);
            closes = FIRST_DAY + s->day * DAY + 20 * 60 * MINUTE;
            for (int i = 0; i < MACHINES; i++) {
                s->at[i].at_ms = s->at[i].at_ms < s->now ? s->now + roll(s, 60 * MINUTE) : s->at[i].at_ms;
            }
            continue;
        }
        s->now = s->at[first].at_ms > s->now ? s->at[first].at_ms : s->now;
        step(s, first);
    }
}

int main(int argc, char **argv)
{
    static shop s = {.dice = 1, .runs_wanted = 200000};
    const char *path = NULL;
    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "--runs") == 0 && i + 1 < argc) {
            s.runs_wanted = strtoll(argv[++i], NULL, 10);
        } else if (strcmp(argv[i], "--seed") == 0 && i + 1 < argc) {
            s.dice = strtoull(argv[++i], NULL, 10);
        } else {
            path = argv[i];
        }
    }
    if (!path || s.runs_wanted < 1) {
        fprintf(stderr, "usage: make_book [--runs N] [--seed N] BOOK\n");
        return 4;
    }
    po_err err = {0};
    po_ledger_options o = {.create = true, .now_ms = clock_of, .user = &s};
    s.bodies = malloc(BODIES);
    if (!s.bodies || po_ledger_open(path, &o, &s.ledger, &err) != PO_OK) {
        fprintf(stderr, "make_book: %s\n", s.bodies ? err.msg : "out of memory");
        return 1;
    }
    open_shop(&s);
    live(&s);
    book(&s);
    po_ledger_close(s.ledger);
    free(s.bodies);
    printf("{\"runs\": %lld, \"members\": %d, \"events\": %lld, \"end_ms\": %lld, \"days\": %lld}\n", (long long)s.runs,
           s.n_members, (long long)s.events, (long long)s.now, (long long)s.day);
    return 0;
}

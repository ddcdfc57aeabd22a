/* Writes the demo shop's book: three weeks that end now, and a day with something to do. SPDX-License-Identifier: Apache-2.0
 *
 * usage: seed [--now YYYY-MM-DDTHH:MM] [--seed N] [--jobs FOLDER] [--shop FILE] BOOK
 * The same time and seed give the same events. All persons are invented. Shares of failures and causes are invented, too, in
 * the range of a school's workshop; metres and times are those of the demo's own jobs, measured as `check` does. */
#include "seed.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "proveout/desk.h"

enum { MEMBERS = 60, DAYS = 21, PLACES_MOST = 40, STAYS_MOST = 1000, RUNS_MOST = 1000, WAIT = 4 };

typedef struct spool {
    char id[16];
    int64_t left_mg;
    bool pla;
} spool;

typedef struct shop {
    const po_shop *rules;
    seed_acts *acts;
    seed_proof (*proofs)[MACHINES];
    uint64_t dice;
    int64_t now;
    int spools, places;
    int64_t enrolled[MEMBERS];
    struct {
        int64_t from, until;
    } waits[MEMBERS][16]; /* a member has one ticket at a time */
    int n_waits[MEMBERS];
    spool at[MACHINES];
    struct {
        int machine;
        int64_t out, end, back;
    } runs[RUNS_MOST];
    int n_runs;
    struct {
        int place;
        int64_t from, until;
    } stays[STAYS_MOST];
    int n_stays;
    int owed; /* parts that nobody fetched: so many are still to be left lying */
} shop;

static const char *const machines[MACHINES] = {"Alder", "Birch", "Cedar", "Dogwood", "Elm"};
static const char *const needs[MACHINES] = {
    "\"starter\",\"two-material\",\"large-format\"", "\"starter\",\"two-material\",\"large-format\"",
    "\"starter\",\"two-material\",\"large-format\"", "\"two-material\"", "\"large-format\""};
static const char *const desks[] = {"2002", "2003"};

static int64_t roll(shop *s, int64_t n)
{
    s->dice += UINT64_C(0x9e3779b97f4a7c15); /* splitmix64 (Steele, Lea & Flood 2014) */
    uint64_t z = s->dice;
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return (int64_t)((z ^ (z >> 31)) % (uint64_t)n);
}

static bool chance(shop *s, int percent)
{
    return roll(s, 100) < percent;
}

static const char *desk_of(int64_t at)
{
    return desks[at / (4 * HOUR) % 2];
}

#define PUT(at, by, name, ...) seed_put(s->acts, at, by, name, (seed_names){0}, __VA_ARGS__)
#define PUT_AS(at, by, name, event, message, ticket, ...)                                                              \
    seed_put(s->acts, at, by, name, (seed_names){event, message, ticket}, __VA_ARGS__)

/* ---- the shop's hours; the zone is the process's ---- */

static bool staffed(const shop *s, int64_t ms)
{
    time_t t = (time_t)(ms / 1000);
    struct tm w;
    localtime_r(&t, &w);
    po_wall_time wall = {{w.tm_year + 1900, w.tm_mon + 1, w.tm_mday}, w.tm_hour * 60 + w.tm_min};
    return po_shop_staffed(s->rules, wall);
}

/* The first time from ms on at which somebody is there, in steps of five minutes. */
static int64_t next_staffed(const shop *s, int64_t ms)
{
    for (int64_t t = ms; t < ms + 20 * DAY; t += 5 * MINUTE) {
        if (staffed(s, t)) {
            return t;
        }
    }
    return ms;
}

/* ---- members ---- */

static const char *member_id(int i)
{
    static char ids[MEMBERS][16];
    snprintf(ids[i], sizeof ids[i], "%d", 10041 + i * 7);
    return ids[i];
}

static bool holds(int member, int machine)
{
    return machine < 3 || (machine == 3 ? member % 3 == 0 : member % 4 == 1);
}

/* Some come often; those of today's present are left out, so that nobody stands in two places. */
static int some_member(shop *s, int machine, int64_t at)
{
    for (int tries = 0; tries < 1000; tries++) {
        int64_t a = roll(s, MEMBERS), b = roll(s, MEMBERS);
        int m = (int)(a < b ? a : b);
        if (holds(m, machine) && s->enrolled[m] < at) {
            return m;
        }
    }
    return machine == 4 ? 1 : 0;
}

static void enrol(shop *s)
{
    static const char *const first[] = {"Ada",   "Bako",  "Chidi",  "Dunya",  "Eilidh", "Farid",   "Gwen",  "Hiro",
                                        "Ines",  "Jomo",  "Katya",  "Lin",    "Mirela", "Nadim",   "Oona",  "Pilar",
                                        "Quang", "Rosa",  "Sanjay", "Tove",   "Umar",   "Violeta", "Wanja", "Xiu",
                                        "Yusuf", "Zofia", "Anahi",  "Baraka", "Ceri",   "Leilani"};
    static const char *const last[] = {"Quay",      "Tidewell", "Bollard", "Lantern",   "Saltmarsh", "Windlass",
                                       "Harbourne", "Mooring",  "Capstan", "Driftwood", "Fairlead",  "Sextant",
                                       "Gangway",   "Halyard",  "Keelson", "Longshore", "Oakum",     "Pontoon"};
    int64_t begin = s->now - (DAYS + 7) * DAY;
    static const char *const own[] = {"2001", "2002", "2003"}, *const names[] = {"Morwenna Slipway", "Tariq Ebbtide",
                                                                                 "Solveig Mizzen"};
    for (int i = 0; i < 3; i++) {
        PUT(begin + i * MINUTE, "keeper", "member-enrol",
            "{\"member\":\"%s\",\"name\":\"%s\",\"contact\":\"%s@quayside.example\",\"role\":\"%s\"}", own[i], names[i],
            own[i], i ? "desk" : "keeper");
        PUT(begin + i * MINUTE + 10 * SECOND, "keeper", "permit-grant",
            "{\"member\":\"%s\",\"permission\":\"two-material\"}", own[i]);
        PUT(begin + i * MINUTE + 20 * SECOND, "keeper", "permit-grant",
            "{\"member\":\"%s\",\"permission\":\"large-format\"}", own[i]);
    }
    for (int i = 0; i < MEMBERS; i++) {
        bool new = i >= MEMBERS - 10;
        int64_t at = new ? next_staffed(s, s->now - roll(s, 18 * 24) * HOUR - 26 * HOUR) : begin + HOUR + i *MINUTE;
        int64_t until = i == 7 ? s->now + 4 * DAY : i == 23 ? s->now + 9 * DAY : s->now + 200 * DAY;
        s->enrolled[i] = at;
        PUT(at, new ? desk_of(at) : "keeper", "member-enrol",
            "{\"member\":\"%s\",\"name\":\"%s %s\",\"contact\":\"m%s@quayside.example\"}", member_id(i), first[i % 30],
            last[(i + i / 30 * 5) % 18], member_id(i));
        PUT(at + 10 * SECOND, new ? desk_of(at) : "keeper", "permit-grant",
            "{\"member\":\"%s\",\"permission\":\"starter\",\"until\":%" PRId64 "}", member_id(i), until);
        for (int m = 3; m < MACHINES; m++) {
            if (holds(i, m)) {
                PUT(at + m * 10 * SECOND, new ? desk_of(at) : "keeper", "permit-grant",
                    "{\"member\":\"%s\",\"permission\":\"%s\"}", member_id(i),
                    m == 3 ? "two-material" : "large-format");
            }
        }
    }
    int64_t t = s->now - 6 * DAY;
    PUT(t, "2002", "member-suspend",
        "{\"member\":\"%s\",\"reason\":\"left a machine hot and unwatched, twice\",\"until\":%" PRId64 "}",
        member_id(41), s->now + 8 * DAY);
    s->enrolled[41] = INT64_MAX; /* takes nothing */
}

/* ---- spools ---- */

/* A new one on a machine; the old one is used up or, when it is of the other material, laid by. */
static void new_spool(shop *s, int m, bool pla, int64_t at)
{
    static const char *const colours[] = {"teal", "slate", "signal orange", "natural", "bottle green", "black"};
    spool *p = &s->at[m];
    if (p->id[0] && p->pla == pla) {
        PUT(at, desk_of(at), "spool-empty", "{\"spool\":\"%s\",\"left_mg\":%" PRId64 "}", p->id,
            INT64_C(4000) + roll(s, 9000));
    }
    int n = ++s->spools;
    int64_t net = n <= 5 ? 350000 + roll(s, 500000) : 1000000;
    *p = (spool){.left_mg = net, .pla = pla};
    snprintf(p->id, sizeof p->id, "S%d", 10 + n);
    PUT(at + SECOND, desk_of(at), "spool-add",
        "{\"spool\":\"%s\",\"material\":\"%s\",\"diameter_um\":1750,\"density_mg_cm3\":%d,\"tare_mg\":230000,\"gross_"
        "mg\":%" PRId64 ",\"colour\":\"%s\",\"lot\":\"L%d\",\"price_minor_kg\":%d}",
        p->id, pla ? "pla" : "petg", pla ? 1240 : 1270, net + 230000, colours[n % 6], 400 + n / 3, pla ? 1800 : 1900);
    PUT(at + 2 * SECOND, desk_of(at), "spool-open", "{\"spool\":\"%s\"}", p->id);
    PUT(at + 3 * SECOND, desk_of(at), "machine-fit", "{\"machine\":\"%s\",\"spool\":\"%s\"}", machines[m], p->id);
    PUT(at + 4 * SECOND, desk_of(at), "machine-gap", "{\"machine\":\"%s\"}", machines[m]);
}

static void open_shop(shop *s)
{
    int64_t t = s->now - (DAYS + 6) * DAY;
    time_t seconds = (time_t)(s->now / 1000);
    struct tm w;
    localtime_r(&seconds, &w);
    PUT(t, "keeper", "term-open",
        "{\"term\":\"term-of-%d\",\"from\":%" PRId64 ",\"until\":%" PRId64 ",\"allowance_um\":%" PRId64 "}",
        w.tm_year + 1900, s->now - 50 * DAY, s->now + 24 * DAY, (int64_t)(s->rules->rules.allowance_m_per_term * 1e6));
    PUT(t + 1, "keeper", "fund-open",
        "{\"fund\":\"regatta\",\"title\":\"Model boat regatta\",\"currency\":\"GBP\",\"budget_minor\":12000}");
    PUT(t + 2, "keeper", "fund-open",
        "{\"fund\":\"repair-cafe\",\"title\":\"Repair cafe\",\"currency\":\"GBP\",\"budget_minor\":5000}");
    PUT(t + 3, "keeper", "course-open", "{\"course\":\"making-1\",\"title\":\"Making things hold\"}");
    PUT(t + 4, "keeper", "course-open",
        "{\"course\":\"hulls\",\"title\":\"Hulls and how they float\",\"fund\":\"regatta\"}");
    PUT(t + 5, "keeper", "assignment-set",
        "{\"course\":\"making-1\",\"assignment\":\"bracket\",\"title\":\"A bracket for 5 kg\",\"due\":%" PRId64 "}",
        s->now + 6 * DAY);
    PUT(t + 6, "keeper", "assignment-set", "{\"course\":\"hulls\",\"assignment\":\"rudder\",\"title\":\"A rudder\"}");
    for (int m = 0; m < MACHINES; m++) {
        PUT(t + 100 + m, "keeper", "stick-add", "{\"stick\":\"%c1\",\"machine\":\"%s\"}", machines[m][0], machines[m]);
        PUT(t + 200 + m, "keeper", "machine-fit", "{\"machine\":\"%s\",\"nozzle_um\":%d,\"surface\":\"smooth\"}",
            machines[m], m == 3 ? 600 : 400);
        new_spool(s, m, false, t + HOUR + m * 10 * SECOND);
    }
}

/* ---- one run ---- */

/* The lowest place that is free for that time; 0: none. */
static int place_for(shop *s, int64_t from, int64_t until)
{
    for (int p = 1; p <= s->places; p++) {
        bool free_one = true;
        for (int i = 0; i < s->n_stays && free_one; i++) {
            free_one = s->stays[i].place != p || s->stays[i].until < from || s->stays[i].from > until;
        }
        if (free_one && s->n_stays < STAYS_MOST) {
            s->stays[s->n_stays].place = p;
            s->stays[s->n_stays].from = from;
            s->stays[s->n_stays++].until = until;
            return p;
        }
    }
    return 0;
}

/* Whether the member can wait under a ticket in that time; then it is noted. */
static bool may_wait(shop *s, int member, int64_t from, int64_t until)
{
    int n = s->n_waits[member];
    for (int i = 0; i < n; i++) {
        if (s->waits[member][i].from <= until && from <= s->waits[member][i].until) {
            return false;
        }
    }
    if (n == 16) {
        return false;
    }
    s->waits[member][n].from = from;
    s->waits[member][n].until = until;
    s->n_waits[member]++;
    return true;
}

static int some_job(shop *s, int machine)
{
    static const int small[] = {0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4, 6, 8, 8}, dogwood[] = {7, 7, 7, 4, 1, 6, 0};
    return machine == 4 ? 5 : machine == 3 ? dogwood[roll(s, 7)] : small[roll(s, 15)];
}

static const seed_proof *ready(shop *s, int m, int j, int64_t at)
{
    const seed_proof *p = &s->proofs[j][m];
    if (s->at[m].pla != seed_is_pla(j) || s->at[m].left_mg < p->mg + 20000) {
        new_spool(s, m, seed_is_pla(j), at - 5 * MINUTE);
    }
    return p;
}

/* A machine goes out. Returns the run's handle. */
static int hand_out(shop *s, int m, int j, int member, int64_t at, int ticket, const char *more)
{
    const seed_proof *p = ready(s, m, j, at);
    int run = seed_handle(s->acts);
    char extra[200] = "", recipe[64] = "";
    if (ticket) {
        snprintf(extra, sizeof extra, ",\"ticket\":@%d@", ticket);
    }
    if (p->recipe) {
        snprintf(recipe, sizeof recipe, ",\"recipe\":\"%s\"", p->recipe);
    }
    PUT(at - 50 * SECOND, desk_of(at), "proof-keep", "%s", p->body);
    int64_t most = (int64_t)(s->rules->rules.allowance_m_per_run * 1e6);
    if (p->um > most && !strstr(more, "\"fund\"")) {
        static const char *const why[] = {"for the open day", "second try of a course piece",
                                          "part of the lending library"};
        PUT(at - 40 * SECOND, desk_of(at), "waiver-give",
            "{\"member\":\"%s\",\"um\":%" PRId64 ",\"reason\":\"%s\",\"asked_by\":\"%s\",\"desk_limit_um\":%" PRId64
            "}",
            member_id(member), p->um - most, why[roll(s, 3)], member_id(member),
            (int64_t)(s->rules->rules.desk_may_waive_m * 1e6));
    }
    PUT_AS(at, desk_of(at), "run-hand-out", run, 0, 0,
           "{\"member\":\"%s\",\"machine\":\"%s\",\"um\":%" PRId64 ",\"seconds\":%" PRId64
           ",\"sha256\":\"%s\",\"stick\":\"%c1\",\"spool\":\"%s\",\"any_of\":[%s],\"run_limit_um\":%" PRId64
           ",\"verdict\":\"%s\",\"file\":\"%s\"%s%s%s}",
           member_id(member), machines[m], p->um, p->seconds, p->sha256, machines[m][0], s->at[m].id, needs[m], most,
           p->verdict, p->file, recipe, extra, more);
    return run;
}

static void start(shop *s, int run, int64_t at)
{
    PUT(at, desk_of(at), "run-start",
        "{\"run\":@%d@,\"heated\":true,\"stream_steady\":true,\"bed_clean\":true,\"gap_good\":true,\"spool_right\":"
        "true}",
        run);
}

static void send(shop *s, int message, int64_t at)
{
    if (at < s->now - 2 * HOUR) {
        PUT(at, "desk", "message-sent", "{\"message\":@%d@}", message);
    }
}

static const struct fault {
    const char *symptom, *cause;
    int share;
} all_faults[] = {{"the part came loose", "handling", 26},
                  {"corners lift off the bed", "material", 14},
                  {"loose strands instead of a part", "file", 16},
                  {"a leg fell over", "file", 12},
                  {"the stream thins out and stops", "machine", 10},
                  {"layers lie shifted sideways", "machine", 8},
                  {"the filament was tangled on its spool", "handling", 6},
                  {"strings and bubbles, damp filament", "material", 4},
                  {"the power was out", "power", 2},
                  {"stopped without a trace", "unknown", 2}};

static const struct fault *some_fault(shop *s)
{
    int64_t r = roll(s, 100);
    for (size_t i = 0; i + 1 < sizeof all_faults / sizeof all_faults[0]; i++) {
        if ((r -= all_faults[i].share) < 0) {
            return &all_faults[i];
        }
    }
    return &all_faults[9];
}

static int64_t share_of(int64_t whole, int64_t permille)
{
    return whole * permille / 1000;
}

/* A whole run, from hand-out to shelf; returns when the machine is free again. failed: a rerun is wanted. */
static int64_t whole_run(shop *s, int m, int j, int member, int64_t out, int ticket, const char *more, bool *failed)
{
    const seed_proof *p = &s->proofs[j][m];
    int64_t begun = out + 5 * MINUTE + roll(s, 5 * MINUTE);
    int64_t real = share_of((p->seconds - p->first_bead_s) * 1000, 985 + roll(s, 70));
    const struct fault *f = chance(s, j == 6 ? 25 : 11) ? some_fault(s) : NULL;
    int64_t height = f ? share_of(p->height_um, 60 + roll(s, 850)) : 0;
    int64_t end = begun + (f ? share_of(real, 1000 * height / p->height_um) : real);
    int64_t seen = next_staffed(s, end + MINUTE + roll(s, 8 * MINUTE));
    int64_t off = next_staffed(s, seen + 14 * MINUTE + roll(s, 25 * MINUTE));
    int64_t back = off + 2 * MINUTE + roll(s, 3 * MINUTE);
    if (failed) {
        *failed = f != NULL;
    }
    if (back > s->now - WAIT * HOUR || s->n_runs == RUNS_MOST) {
        return 0;
    }
    int run = hand_out(s, m, j, member, out, ticket, more), message = seed_handle(s->acts);
    start(s, run, begun);
    if (begun + p->watch_s * 1000 < end) {
        int64_t watched = begun + p->watch_s * 1000 + roll(s, 3 * MINUTE);
        PUT(watched < end ? watched : end - 1, desk_of(begun), "run-watched", "{\"run\":@%d@,\"first_layer\":\"%s\"}",
            run, f && strcmp(f->cause, "handling") == 0 && chance(s, 60) ? "poor" : "good");
    }
    int64_t used = p->um;
    if (f) {
        PUT_AS(seen, desk_of(seen), "run-failed", 0, message, 0,
               "{\"run\":@%d@,\"z_um\":%" PRId64 ",\"at\":%" PRId64
               ",\"symptom\":\"%s\",\"message\":\"Your run on %s stopped: %s. Ask at the desk.\"}",
               run, height, end, f->symptom, machines[m], f->symptom);
        PUT(off, desk_of(off), "run-off", "{\"run\":@%d@,\"to\":\"waste\",\"recycled_mg\":%" PRId64 "}", run,
            share_of(p->mg, 1000 * height / p->height_um) + 500);
        PUT(back, desk_of(back), "run-take-back", "{\"run\":@%d@,\"figure\":\"proof\",\"stick_there\":true}", run);
        used = share_of(p->um, 1000 * height / p->height_um);
    } else {
        used = share_of(p->um, 990 + roll(s, 25));
        PUT_AS(seen, desk_of(seen), "run-ended", 0, message, 0,
               "{\"run\":@%d@,\"at\":%" PRId64 ",\"seconds\":%" PRId64 ",\"message\":\"Your run on %s has ended.\"}",
               run, end, real / 1000 + p->first_bead_s, machines[m]);
        bool left = s->owed > 0 && off < s->now - 9 * DAY && off > s->now - 14 * DAY && chance(s, 30);
        int64_t kept = off + s->rules->rules.shelf_days * DAY, fetched = next_staffed(s, off + HOUR + roll(s, 4 * DAY));
        kept = left ? s->now - (20 + roll(s, 60)) * HOUR : kept;
        int place = chance(s, 80) || left ? place_for(s, off, left ? s->now + DAY : fetched) : 0;
        if (place > 0) {
            PUT(off, desk_of(off), "run-off", "{\"run\":@%d@,\"to\":\"shelf\",\"place\":%d,\"kept_until\":%" PRId64 "}",
                run, place, kept);
            s->owed -= left;
            if (!left && fetched < s->now) {
                PUT(fetched, desk_of(fetched), "shelf-collect", "{\"run\":@%d@}", run);
            }
        } else {
            PUT(off, desk_of(off), "run-off", "{\"run\":@%d@,\"to\":\"member\"}", run);
        }
        PUT(back, desk_of(back), "run-take-back",
            "{\"run\":@%d@,\"figure\":\"counter\",\"used_um\":%" PRId64 ",\"stick_there\":true}", run, used);
    }
    send(s, message, seen + MINUTE);
    po_run_cause cause = 0;
    bool counts = !f || (po_cause_from_name(f->cause, &cause) && s->rules->rules.counts_when_failed[cause]);
    PUT(back + MINUTE, desk_of(back), "run-outcome", "{\"run\":@%d@,\"outcome\":\"%s\",\"counts\":%s%s%s%s%s}", run,
        f ? "failed" : "good", counts ? "true" : "false", f ? ",\"cause\":\"" : "", f ? f->cause : "", f ? "\"" : "",
        f && s->rules->rules.rerun_first[cause] ? ",\"rerun_first\":true" : "");
    s->at[m].left_mg -= share_of(p->mg, 1000 * used / p->um);
    s->runs[s->n_runs].machine = m;
    s->runs[s->n_runs].out = out;
    s->runs[s->n_runs].end = seen;
    s->runs[s->n_runs++].back = back;
    return back + MINUTE;
}

/* ---- three weeks ---- */

static void weeks_of(shop *s, int m)
{
    static const char *const fors[] = {",\"course\":\"making-1\",\"assignment\":\"bracket\"",
                                       ",\"course\":\"hulls\",\"assignment\":\"rudder\",\"fund\":\"regatta\"",
                                       ",\"fund\":\"repair-cafe\",\"purpose\":\"a hinge for somebody's radio\""};
    int64_t t = next_staffed(s, s->now - DAYS * DAY) + 20 * MINUTE + roll(s, HOUR);
    for (int again = -1, member = 0, job = 0; t < s->now - WAIT * HOUR;) {
        int64_t out = next_staffed(s, t);
        if (out > s->now - WAIT * HOUR) {
            return;
        }
        if (!staffed(s, out + 45 * MINUTE)) { /* the watch would outlast the desk */
            t = next_staffed(s, out + 3 * HOUR) + 10 * MINUTE + roll(s, HOUR);
            continue;
        }
        bool failed = false;
        if (again < 0) {
            member = some_member(s, m, out);
            job = some_job(s, m);
        }
        const char *more = chance(s, 22) ? fors[roll(s, 3)] : "";
        int ticket = 0;
        if (again < 0 && chance(s, 9) &&
            may_wait(s, member, out - 40 * MINUTE, out + 15 * MINUTE)) { /* waited for it */
            int number = seed_handle(s->acts);
            ticket = number;
            PUT_AS(out - 35 * MINUTE, desk_of(out), "ticket-take", 0, 0, number,
                   "{\"member\":\"%s\",\"machine\":\"%s\"}", member_id(member), machines[m]);
            PUT(out - 10 * MINUTE, desk_of(out), "ticket-call",
                "{\"ticket\":@%d@,\"until\":%" PRId64 ",\"machine\":\"%s\"}", number, out + 10 * MINUTE, machines[m]);
        }
        int64_t back = whole_run(s, m, job, member, out, ticket, more, &failed);
        if (back == 0) { /* too close to the present */
            if (ticket) {
                PUT(out + 12 * MINUTE, desk_of(out), "ticket-pass", "{\"ticket\":@%d@,\"no_show\":true}", ticket);
            }
            return;
        }
        again = failed && again < 0 && chance(s, 70) ? 1 : -1;
        t = back + (again > 0 ? 10 * MINUTE : 25 * MINUTE + roll(s, 150 * MINUTE));
    }
}

static void round_of(shop *s, int64_t at, const char *kind, const char *note)
{
    int round = seed_handle(s->acts);
    PUT_AS(at, desk_of(at), "round-begin", round, 0, 0, "{\"kind\":\"%s\"}", kind);
    for (int m = 0; m < MACHINES; m++) {
        const char *found = "free";
        for (int i = 0; i < s->n_runs; i++) {
            if (s->runs[i].machine == m && s->runs[i].out <= at && at < s->runs[i].back) {
                found = at < s->runs[i].end ? "running" : "finished";
            }
        }
        bool is_free = strcmp(found, "free") == 0;
        PUT(at + (m + 1) * 2 * SECOND, desk_of(at), "round-machine",
            "{\"round\":@%d@,\"machine\":\"%s\",\"found\":\"%s\",\"bed_clear\":%s,\"stick_there\":true,\"nozzle_"
            "clean\":true,\"spool_on\":true,\"heaters_off\":%s}",
            round, machines[m], found, is_free ? "true" : "false", is_free ? "true" : "false");
    }
    PUT(at + 14 * SECOND, desk_of(at), "round-done", "{\"round\":@%d@,\"note\":\"%s\"}", round, note);
}

/* Rounds, weighings, waste, no-shows: every day that the desk is open. */
static void days_of(shop *s)
{
    static const char *const notes[] = {
        "All as it should be", "The dryer is taken until tomorrow", "New scraper at Cedar, the old one is worn",
        "Two visitors asked about the starter course", "The roll of tape is in the drawer"};
    int64_t opened = 0;
    for (int64_t t = s->now - DAYS * DAY; t < s->now - WAIT * HOUR; t += 5 * MINUTE) {
        bool here = staffed(s, t), before = staffed(s, t - 5 * MINUTE), after = staffed(s, t + 5 * MINUTE);
        if (here && !before && t - opened > 6 * HOUR) {
            opened = t;
            round_of(s, t + MINUTE, "opening", notes[roll(s, 5)]);
            if (chance(s, 20)) {
                PUT(t + 30 * MINUTE, desk_of(t), "waste-weigh",
                    "{\"material\":\"petg\",\"mg\":%" PRId64 ",\"kind\":\"mixed\"}", INT64_C(40000) + roll(s, 200000));
            }
            if (chance(s, 25)) {
                int number = seed_handle(s->acts);
                int64_t taken = t + 2 * HOUR;
                PUT_AS(taken, desk_of(taken), "ticket-take", 0, 0, number, "{\"member\":\"%s\"}", desks[roll(s, 2)]);
                PUT(taken + 20 * MINUTE, desk_of(taken), "ticket-leave", "{\"ticket\":@%d@}", number);
            }
        } else if (here && !after && t - opened > 4 * HOUR && t + 20 * MINUTE < s->now) {
            round_of(s, t + 4 * MINUTE, "closing", notes[roll(s, 5)]);
        }
    }
}

/* Two that did not come when they were called. */
static void no_shows(shop *s)
{
    static const int who[] = {44, 47};
    for (int i = 0; i < 2; i++) {
        int number = seed_handle(s->acts);
        int64_t t = next_staffed(s, s->now - (9 - 4 * i) * DAY) + 37 * MINUTE;
        may_wait(s, who[i], t, t + HOUR);
        PUT_AS(t, desk_of(t), "ticket-take", 0, 0, number, "{\"member\":\"%s\"}", member_id(who[i]));
        PUT(t + 20 * MINUTE, desk_of(t), "ticket-call", "{\"ticket\":@%d@,\"until\":%" PRId64 "}", number,
            t + 40 * MINUTE);
        PUT(t + 41 * MINUTE, desk_of(t), "ticket-pass", "{\"ticket\":@%d@,\"no_show\":true}", number);
    }
}

/* ---- now ---- */

static void present(shop *s)
{
    int64_t now = s->now;
    const seed_proof *p = &s->proofs[4][0];
    /* Alder: its watch ends in six minutes. */
    int64_t begun = now + 6 * MINUTE - p->watch_s * 1000;
    start(s, hand_out(s, 0, 4, 0, begun - 6 * MINUTE, 0, ",\"course\":\"making-1\""), begun);
    /* Birch: the long one, on a spool that will be nearly used up. */
    p = &s->proofs[6][1];
    int64_t out = now - 58 * MINUTE;
    ready(s, 1, 6, out - 10 * MINUTE);
    PUT(out - 8 * MINUTE, desk_of(out), "spool-weigh", "{\"spool\":\"%s\",\"gross_mg\":%" PRId64 "}", s->at[1].id,
        p->mg + 264000);
    s->at[1].left_mg = p->mg + 34000;
    int run = hand_out(s, 1, 6, 2, out, 0, "");
    start(s, run, out + 6 * MINUTE);
    PUT(out + 6 * MINUTE + p->watch_s * 1000 + MINUTE, desk_of(out), "run-watched",
        "{\"run\":@%d@,\"first_layer\":\"good\"}", run);
    /* Cedar: free, and its surface is new; a spool that waits is low. */
    PUT(now - 80 * MINUTE, desk_of(now), "machine-fit", "{\"machine\":\"Cedar\",\"surface\":\"rough\"}");
    PUT(now - 79 * MINUTE, desk_of(now), "spool-weigh", "{\"spool\":\"%s\",\"gross_mg\":291000}", s->at[2].id);
    /* Dogwood: ended four minutes ago, the bed cools. */
    p = &s->proofs[4][3];
    begun = now - 4 * MINUTE - (p->seconds - p->first_bead_s) * 1000;
    run = hand_out(s, 3, 4, 3, begun - 6 * MINUTE, 0, ",\"fund\":\"regatta\"");
    start(s, run, begun);
    PUT(begun + p->watch_s * 1000 + MINUTE, desk_of(begun), "run-watched", "{\"run\":@%d@,\"first_layer\":\"good\"}",
        run);
    PUT(now - 3 * MINUTE, desk_of(now), "run-ended",
        "{\"run\":@%d@,\"at\":%" PRId64
        ",\"message\":\"Your run on Dogwood has ended. It comes off when the bed is cool.\"}",
        run, now - 4 * MINUTE);
    /* Elm: nobody may use it. */
    PUT(now - 3 * HOUR, desk_of(now), "machine-tag",
        "{\"machine\":\"Elm\",\"reason\":\"The nozzle leaks above its thread; the new one is ordered\"}");
    static const int who[] = {9, 14, 20};
    for (int i = 0; i < 3; i++) {
        PUT(now - (33 - 11 * i) * MINUTE, desk_of(now), "ticket-take", "{\"member\":\"%s\",\"seconds\":%d%s}",
            member_id(who[i]), 3000 + 600 * i, i == 1 ? ",\"machine\":\"Dogwood\"" : "");
    }
    PUT(now - 70 * MINUTE, desk_of(now), "message-put",
        "{\"member\":\"%s\",\"kind\":\"other\",\"text\":\"Your permission starter lapses in four days; the refresher "
        "is on Thursday.\"}",
        member_id(7));
    PUT(now - 65 * MINUTE, desk_of(now), "message-put",
        "{\"member\":\"%s\",\"kind\":\"collect\",\"text\":\"A part of yours still lies on the shelf.\"}",
        member_id(12));
    PUT(now - 75 * MINUTE, desk_of(now), "note-leave",
        "{\"text\":\"Elm is out, see its tag. Cedar has a new surface and wants a gap check. Somebody calls at four "
        "about the open day.\"}");
    /* Promised for tomorrow. */
    int64_t tomorrow = next_staffed(s, now + 16 * HOUR) + 30 * MINUTE;
    PUT(now - 50 * MINUTE, desk_of(now), "run-reserve",
        "{\"member\":\"%s\",\"um\":%" PRId64 ",\"machine\":\"Alder\",\"seconds\":%" PRId64
        ",\"sha256\":\"%s\",\"file\":\"%s\",\"promised\":%" PRId64 "}",
        member_id(21), s->proofs[1][0].um, s->proofs[1][0].seconds, s->proofs[1][0].sha256, s->proofs[1][0].file,
        tomorrow);
}

static bool passwords(po_ledger *ledger)
{
    static const char *const who[][2] = {{"2001", "keeper of the demo"},
                                         {"2002", "desk of the demo"},
                                         {"2003", "second desk of the demo"},
                                         {"10041", "member of the demo"}};
    po_err err;
    for (size_t i = 0; i < sizeof who / sizeof who[0]; i++) {
        if (po_desk_password_set(ledger, who[i][0], who[i][1], &err) != PO_OK) {
            fprintf(stderr, "seed: %s\n", err.msg);
            return false;
        }
    }
    return true;
}

static bool time_of(const char *text, int64_t *ret)
{
    struct tm w = {.tm_isdst = -1};
    const char *end = strptime(text, "%Y-%m-%dT%H:%M", &w);
    time_t t = end && !*end ? mktime(&w) : -1;
    *ret = (int64_t)t * 1000;
    return t > 0;
}

int main(int argc, char **argv)
{
    const char *book = NULL, *now = NULL, *folder = "demo/out", *file = "demo/shop.yaml";
    static seed_proof proofs[JOBS][MACHINES];
    static shop the_shop;
    shop *s = &the_shop;
    s->dice = 1;
    for (int i = 1; i < argc; i++) {
        bool more = i + 1 < argc;
        if (strcmp(argv[i], "--now") == 0 && more) {
            now = argv[++i];
        } else if (strcmp(argv[i], "--seed") == 0 && more) {
            s->dice = strtoull(argv[++i], NULL, 10);
        } else if (strcmp(argv[i], "--jobs") == 0 && more) {
            folder = argv[++i];
        } else if (strcmp(argv[i], "--shop") == 0 && more) {
            file = argv[++i];
        } else {
            book = argv[i][0] == '-' || book ? "" : argv[i];
        }
    }
    po_arena *arena = po_arena_new(2000000000);
    po_err err = {0};
    po_shop_faults faults = {0};
    po_ledger *ledger = NULL;
    if (!book || !*book || !arena || po_shop_read_file(file, arena, &s->rules, &faults, &err) != PO_OK ||
        s->rules->n_machines != MACHINES) {
        fprintf(stderr, "usage: seed [--now YYYY-MM-DDTHH:MM] [--seed N] [--jobs FOLDER] [--shop FILE] BOOK\n%s%s",
                err.msg, err.msg[0] ? "\n" : "");
        return 4;
    }
    setenv("TZ", s->rules->time_zone, 1);
    tzset();
    s->now = (int64_t)time(NULL) * 1000;
    if (now && !time_of(now, &s->now)) {
        fprintf(stderr, "seed: --now %s: a time such as 2026-12-01T14:20 is wanted\n", now);
        return 4;
    }
    s->acts = seed_acts_new(arena);
    s->proofs = proofs;
    s->owed = 3;
    s->places = s->rules->rules.shelf_places > 0 && s->rules->rules.shelf_places < PLACES_MOST
                    ? s->rules->rules.shelf_places
                    : PLACES_MOST;
    bool well = s->acts && seed_measure(s->rules, folder, arena, proofs);
    if (well) {
        enrol(s);
        open_shop(s);
        no_shows(s);
        for (int m = 0; m < MACHINES; m++) {
            weeks_of(s, m);
        }
        days_of(s);
        present(s);
        well = seed_book(s->acts, book, s->now, &ledger) && passwords(ledger);
    }
    po_ledger_close(ledger);
    seed_acts_free(s->acts);
    po_arena_free(arena);
    return well ? 0 : 1;
}

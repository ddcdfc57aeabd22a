/* Random acts against a plain model in memory: balances equal, verify clean, rebuild equal. SPDX-License-Identifier: Apache-2.0
 *
 * The model knows arrays and sums and nothing of the book's tables; it is written from the rules in docs/ledger.md. */
#include "ledger/ledger_kit.h"

enum { MEMBERS = 6, MACHINES = 4, SPOOLS = 3, PLACES = 3, ACTS = 1500, RUNS_MOST = ACTS, WAIVERS_MOST = ACTS };
enum {
    PRICE = 2000,
    SPOOL_MG = 100000000,
    BUDGET = 100000
}; /* minor units of a kg; room for all runs of a walk; minor units */

typedef enum model_state { RESERVED, OUT, ENDED, FAILED, BACK, DROPPED } model_state;
typedef enum model_part { ON_BED, ON_SHELF, GONE } model_part;

typedef struct model_take {
    int64_t promised, um, booked_mg;
    int spool; /* -1: of none that the book knows */
} model_take;

typedef struct model_run {
    int64_t event, um, charge, beyond, fund;
    int member, machine, n_draws, draw_of[32], n_takes, place; /* place 0: none */
    int64_t draw_um[32];
    model_take takes[2];
    model_state state;
    model_part part;
    bool outcome, counts, with_limit, may_beyond, by_fund;
} model_run;

typedef struct model_waiver {
    int64_t um, drawn, until;
    int member;
    bool for_job, withdrawn;
    int64_t event;
} model_waiver;

typedef struct model {
    model_run runs[RUNS_MOST];
    model_waiver waivers[WAIVERS_MOST];
    int n_runs, n_waivers;
    int n_done[12]; /* what was really done, so that a walk that tests nothing shows */
    uint64_t dice;
} model;

static const int64_t allowance = 150000000, run_limit = 30000000;

static int64_t roll(model *m, int64_t n)
{
    m->dice = m->dice * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (int64_t)((m->dice >> 33) % (uint64_t)n);
}

static bool is_out(const model_run *r)
{
    return r->state == OUT || r->state == ENDED || r->state == FAILED;
}

static int64_t charged(const model *m, int member, const model_run *but)
{
    int64_t sum = 0;
    for (int i = 0; i < m->n_runs; i++) {
        if (m->runs[i].member == member && &m->runs[i] != but) {
            sum += m->runs[i].charge;
        }
    }
    return sum;
}

static bool holds(const model_waiver *w, int64_t now)
{
    return !w->withdrawn && w->until > now;
}

static int64_t waived(const model *m, int member, int64_t now, bool job)
{
    int64_t sum = 0;
    for (int i = 0; i < m->n_waivers; i++) {
        const model_waiver *w = &m->waivers[i];
        if (w->member == member && holds(w, now) && (job || !w->for_job)) {
            sum += w->um - w->drawn;
        }
    }
    return sum;
}

/* Minor units, rounded half up. */
static int64_t cost(int64_t um)
{
    return (po_ledger_mg(um, 1750, 1240) * PRICE + 500000) / 1000000;
}

static int64_t fund_spent(const model *m)
{
    int64_t sum = 0;
    for (int i = 0; i < m->n_runs; i++) {
        sum += cost(m->runs[i].fund);
    }
    return sum;
}

static int64_t need_of(const model *m, const model_run *r, int64_t um)
{
    int64_t left = allowance - charged(m, r->member, r), need = um - (left > 0 ? left : 0);
    need = need < 0 ? 0 : need;
    return r->with_limit && um - run_limit > need ? um - run_limit : need;
}

static void draw(model *m, model_run *r, int64_t need, int64_t now)
{
    while (need > 0) { /* its own job's first, then the first to lapse, then the first given */
        int best = -1;
        for (int i = 0; i < m->n_waivers; i++) {
            const model_waiver *w = &m->waivers[i], *b = best >= 0 ? &m->waivers[best] : NULL;
            if (w->member == r->member && holds(w, now) && w->um > w->drawn &&
                (!b || w->for_job > b->for_job || (w->for_job == b->for_job && w->until < b->until))) {
                best = i;
            }
        }
        assert_true(best >= 0 && r->n_draws < 32);
        model_waiver *w = &m->waivers[best];
        int64_t take = w->um - w->drawn < need ? w->um - w->drawn : need;
        w->drawn += take;
        need -= take;
        r->draw_of[r->n_draws] = best;
        r->draw_um[r->n_draws++] = take;
    }
}

static void settle(model *m, model_run *r)
{
    int64_t um = r->counts ? r->um : 0, need = r->by_fund ? 0 : need_of(m, r, um), drawn = 0;
    for (int i = 0; i < r->n_draws; i++) {
        drawn += r->draw_um[i];
    }
    for (int i = r->n_draws - 1; i >= 0 && drawn > need; i--) {
        int64_t back = drawn - need < r->draw_um[i] ? drawn - need : r->draw_um[i];
        r->draw_um[i] -= back;
        m->waivers[r->draw_of[i]].drawn -= back;
        drawn -= back;
    }
    r->fund = r->by_fund ? um : 0;
    r->beyond = r->may_beyond ? need - drawn : 0;
    r->charge = um - drawn - r->beyond - r->fund;
}

/* What was used, tool by tool: in proportion to what was promised, the rest on the last; spools give it. */
static void use(model_run *r)
{
    int64_t promised = 0, left = r->um;
    for (int i = 0; i < r->n_takes; i++) {
        promised += r->takes[i].promised;
    }
    for (int i = 0; i < r->n_takes; i++) {
        model_take *t = &r->takes[i];
        t->um = i == r->n_takes - 1 ? left : promised ? r->um * t->promised / promised : 0;
        left -= t->um;
        t->booked_mg = t->spool >= 0 ? po_ledger_mg(t->um, 1750, 1240) : 0;
    }
}

static int64_t spool_left(const model *m, int spool)
{
    int64_t left = SPOOL_MG;
    for (int i = 0; i < m->n_runs; i++) {
        for (int t = 0; t < m->runs[i].n_takes; t++) {
            left -= m->runs[i].takes[t].spool == spool ? m->runs[i].takes[t].booked_mg : 0;
        }
    }
    return left;
}

static const model_run *on_place(const model *m, int place)
{
    for (int i = 0; place && i < m->n_runs; i++) {
        if (m->runs[i].part == ON_SHELF && m->runs[i].place == place) {
            return &m->runs[i];
        }
    }
    return NULL;
}

static void compare(kit *k, const model *m)
{
    for (int i = 0; i < MEMBERS; i++) {
        const char *b = kit_ask(k, "balance", "{\"member\":\"m%d\",\"sha256\":\"" KIT_SHA "\"}", i);
        assert_int_equal(kit_number(b, "charged_um"), charged(m, i, NULL));
        assert_int_equal(kit_number(b, "waivers_left_um"), waived(m, i, k->now, true));
        b = kit_ask(k, "balance", "{\"member\":\"m%d\"}", i);
        assert_int_equal(kit_number(b, "waivers_left_um"), waived(m, i, k->now, false));
        int64_t owed = 0, owes = kit_number(kit_ask(k, "money", "{\"member\":\"m%d\"}", i), "owed/0/owed_minor");
        for (int n = 0; n < m->n_runs; n++) {
            owed += m->runs[n].member == i ? cost(m->runs[n].beyond) : 0;
        }
        assert_int_equal(owes < 0 ? 0 : owes, owed);
    }
    for (int i = 0; i < SPOOLS; i++) {
        assert_int_equal(kit_number(kit_ask(k, "spools", "{\"spool\":\"s%d\"}", i), "spools/0/left_mg"),
                         spool_left(m, i));
    }
    assert_int_equal(kit_number(kit_ask(k, "funds", "{\"fund\":\"f\"}"), "funds/0/used_minor"), fund_spent(m));
    const char *shelf = kit_ask(k, "shelf", "{\"limit\":1000}");
    int n = 0, next = 1;
    for (int place = 1; place <= PLACES; place++) { /* in the order of places */
        const model_run *r = on_place(m, place);
        char path[48];
        snprintf(path, sizeof path, "parts/%d/run", n);
        n += r != NULL;
        assert_true(!r || kit_number(shelf, path) == r->event);
        next += r && place == next;
    }
    assert_int_equal(kit_number(shelf, "next_place"), next);
}

static model_run *on_machine(model *m, int machine)
{
    for (int i = m->n_runs - 1; i >= 0; i--) {
        if (m->runs[i].machine == machine && is_out(&m->runs[i])) {
            return &m->runs[i];
        }
    }
    return NULL;
}

/* A run of the wanted state, a random one if there are several; NULL: none. */
static model_run *any(model *m, bool (*wanted)(const model_run *))
{
    int from = m->n_runs ? (int)roll(m, m->n_runs) : 0;
    for (int i = 0; i < m->n_runs; i++) {
        model_run *r = &m->runs[(from + i) % m->n_runs];
        if (wanted(r)) {
            return r;
        }
    }
    return NULL;
}

static bool is_reserved(const model_run *r)
{
    return r->state == RESERVED;
}

static bool waits_on_bed(const model_run *r)
{
    return r->part == ON_BED && (r->state == ENDED || r->state == FAILED || r->state == BACK);
}

static bool is_shelved(const model_run *r)
{
    return r->part == ON_SHELF;
}

static void expect(kit *k, po_status s, bool possible, const char *what)
{
    if ((s == PO_OK) != possible || (s != PO_OK && s != PO_E_CONFLICT)) {
        fail_msg("%s: %d, expected %d (%s)", what, s, possible, s == PO_OK ? "" : k->err.msg);
    }
}

/* Everything as it was, but the dice. */
static void take_back_last(kit *k, model *m, const model *before)
{
    uint64_t dice = m->dice;
    OK(kit_act(k, "undo", "keeper", "{\"event\":%llu}", (unsigned long long)k->done.event));
    *m = *before;
    m->dice = dice;
    m->n_done[11]++;
}

static void roll_takes(model *m, model_run *r, char *text, size_t room)
{
    int64_t kind = roll(m, 4);
    int a = (int)roll(m, SPOOLS), b = (int)roll(m, SPOOLS);
    text[0] = 0;
    if (kind == 1) {
        r->n_takes = 1;
        r->takes[0] = (model_take){.promised = r->um, .spool = a};
        snprintf(text, room, ",\"spool\":\"s%d\"", a);
    } else if (kind == 2) {
        int64_t first = roll(m, r->um + 1);
        bool known = roll(m, 4) != 0;
        r->n_takes = 2;
        r->takes[0] = (model_take){.promised = first, .spool = a};
        r->takes[1] = (model_take){.promised = r->um - first, .spool = known ? b : -1};
        char second[32] = "null";
        if (known) {
            snprintf(second, sizeof second, "\"s%d\"", b);
        }
        snprintf(text, room,
                 ",\"uses\":[{\"tool\":0,\"spool\":\"s%d\",\"um\":%lld},{\"tool\":2,\"spool\":%s,\"um\":%lld}]", a,
                 (long long)first, second, (long long)(r->um - first));
    }
}

static void try_hand_out(kit *k, model *m, int member, int machine, bool undo, const model *before)
{
    model_run *waits = roll(m, 3) == 0 ? any(m, is_reserved) : NULL;
    model_run r = {.member = waits ? waits->member : member,
                   .machine = machine,
                   .um = roll(m, 45000000),
                   .counts = true,
                   .with_limit = roll(m, 2),
                   .state = OUT};
    char takes[200], pays[200] = "", run[40] = "";
    roll_takes(m, &r, takes, sizeof takes);
    int64_t how = roll(m, 10);
    r.by_fund = how == 0;
    r.may_beyond = how == 1;
    if (how < 2) {
        snprintf(pays, sizeof pays,
                 ",%s,\"price_minor_kg\":%d,\"diameter_um\":1750,\"density_mg_cm3\":1240,\"currency\":\"EUR\"",
                 r.by_fund ? "\"fund\":\"f\"" : "\"beyond\":\"charge\"", PRICE);
    }
    if (waits) {
        snprintf(run, sizeof run, ",\"run\":%lld", (long long)waits->event);
    }
    int64_t need = r.by_fund ? 0 : need_of(m, &r, r.um), can = waived(m, r.member, k->now, true);
    bool paid = r.by_fund ? fund_spent(m) + cost(r.um) <= BUDGET || cost(r.um) == 0 : r.may_beyond || can >= need;
    po_status s = kit_act(k, "run-hand-out", "desk",
                          "{\"member\":\"m%d\",\"machine\":\"M%d\",\"um\":%lld,\"sha256\":\"" KIT_SHA "\"%s%s%s%s}",
                          r.member, machine, (long long)r.um, r.with_limit ? ",\"run_limit_um\":30000000" : "", takes,
                          pays, run);
    expect(k, s, paid && !on_machine(m, machine), "hand-out");
    if (s != PO_OK) {
        return;
    }
    model_run *kept = waits ? waits : &m->runs[m->n_runs++];
    r.event = waits ? waits->event : (int64_t)k->done.event;
    *kept = r;
    for (int i = 0; i < kept->n_takes; i++) {
        kept->takes[i].um = kept->takes[i].promised;
    }
    draw(m, kept, can < need ? can : need, k->now);
    settle(m, kept);
    assert_int_equal(kit_number(k->done.answer, "charged_um"), kept->charge);
    assert_int_equal(kit_number(k->done.answer, "run"), kept->event);
    m->n_done[r.by_fund ? 0 : r.may_beyond ? 1 : waits ? 2 : 3]++;
    if (undo) {
        take_back_last(k, m, before);
    }
}

static void reserve_or_drop(kit *k, model *m, int member, bool undo, const model *before)
{
    model_run *r = roll(m, 4) == 0 ? any(m, is_reserved) : NULL;
    if (r) {
        OK(kit_act(k, "run-drop", "desk", "{\"run\":%lld}", (long long)r->event));
        r->state = DROPPED;
    } else {
        int64_t um = roll(m, 45000000);
        OK(kit_act(k, "run-reserve", "desk", "{\"member\":\"m%d\",\"um\":%lld,\"machine\":\"M0\"}", member,
                   (long long)um));
        m->runs[m->n_runs++] = (model_run){.event = (int64_t)k->done.event,
                                           .member = member,
                                           .machine = -1,
                                           .um = um,
                                           .counts = true,
                                           .state = RESERVED};
    }
    m->n_done[4]++;
    if (undo) {
        take_back_last(k, m, before);
    }
}

static void after(kit *k, model *m, model_run *r, int64_t what, bool undo, const model *before)
{
    static const char *const figures[] = {"proof", "counter"};
    int64_t um = r->um;
    if (what == 0 && (r->state == OUT || r->state == ENDED)) {
        int64_t at = roll(m, 101);
        OK(kit_act(k, "run-failed", "desk",
                   "{\"run\":%lld,\"percent\":%lld,\"by_height\":[[1000,%lld,50],[2000,%lld,100]]}",
                   (long long)r->event, (long long)at, (long long)(um / 2), (long long)um));
        int64_t half = um / 2, later = at - 50; /* straight between nothing, the half and the whole, rounded half up */
        r->um = at <= 50 ? (2 * half * at + 50) / 100 : half + (2 * (um - half) * later + 50) / 100;
        r->state = FAILED;
        use(r);
    } else if (what == 1 && r->state != OUT && !r->outcome) {
        r->counts = roll(m, 2);
        r->outcome = true;
        OK(kit_act(k, "run-outcome", "desk", "{\"run\":%lld,\"outcome\":\"failed\",\"counts\":%s}", (long long)r->event,
                   r->counts ? "true" : "false"));
    } else if (what == 2 && r->state == OUT) {
        OK(kit_act(k, "run-ended", "desk", "{\"run\":%lld,\"message\":\"done\"}", (long long)r->event));
        r->state = ENDED;
    } else {
        r->um = roll(m, 3) ? um : um / 2 + roll(m, um + 1);
        r->state = BACK;
        use(r);
        OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"%s\",\"used_um\":%lld}", (long long)r->event,
                   figures[roll(m, 2)], (long long)r->um));
    }
    settle(m, r);
    m->n_done[5]++;
    if (undo) {
        take_back_last(k, m, before);
    }
}

static void parts(kit *k, model *m, bool undo, const model *before)
{
    int64_t what = roll(m, 5);
    model_run *r = any(m, what < 2 ? waits_on_bed : is_shelved);
    int place = (int)roll(m, PLACES + 1);
    if (!r) {
        return;
    }
    const model_run *there = on_place(m, place);
    bool possible = !there || there == r;
    po_status s = PO_OK;
    if (what == 0) {
        s = kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"%s\"}", (long long)r->event,
                    place % 2 ? "member" : "waste");
        r->part = GONE;
        possible = true;
    } else if (what == 1 && place) {
        s = kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"shelf\",\"place\":%d}", (long long)r->event, place);
        expect(k, s, possible, "run-off");
        r->part = s == PO_OK ? ON_SHELF : r->part;
        r->place = s == PO_OK ? place : 0;
    } else if (what == 1) {
        s = kit_act(k, "run-off", "desk", "{\"run\":%lld,\"to\":\"shelf\"}", (long long)r->event);
        r->part = ON_SHELF;
    } else if (what == 2 && place) {
        s = kit_act(k, "shelf-put", "desk", "{\"run\":%lld,\"place\":%d}", (long long)r->event, place);
        expect(k, s, possible, "shelf-put");
        r->place = s == PO_OK ? place : r->place;
    } else {
        s = kit_act(k, what == 3 ? "shelf-recycle" : "shelf-collect", "desk", "{\"run\":%lld}", (long long)r->event);
        r->part = GONE;
        possible = true;
    }
    expect(k, s, possible, "a part");
    m->n_done[6 + what]++;
    if (s == PO_OK && undo) {
        take_back_last(k, m, before);
    }
}

static void try_waiver(kit *k, model *m, int member, bool undo, const model *before)
{
    model_waiver w = {.member = member,
                      .um = 1 + roll(m, 20000000),
                      .for_job = roll(m, 2),
                      .until = k->now + 1 + roll(m, 20 * KIT_DAY)};
    OK(kit_act(
        k, "waiver-give", "keeper",
        "{\"member\":\"m%d\",\"um\":%lld,\"reason\":\"r\",\"asked_by\":\"m0\",\"desk_limit_um\":0,\"until\":%lld%s}",
        member, (long long)w.um, (long long)w.until, w.for_job ? ",\"sha256\":\"" KIT_SHA "\"" : ""));
    w.event = (int64_t)k->done.event;
    m->waivers[m->n_waivers++] = w;
    if (undo) {
        take_back_last(k, m, before);
    }
}

static void withdraw(kit *k, model *m)
{
    if (m->n_waivers) {
        model_waiver *w = &m->waivers[roll(m, m->n_waivers)];
        po_status s = kit_act(k, "waiver-withdraw", "desk", "{\"waiver\":%lld,\"reason\":\"r\"}", (long long)w->event);
        assert_int_equal(s, w->withdrawn ? PO_E_CONFLICT : PO_OK);
        w->withdrawn = true;
    }
}

static void open_shop(kit *k)
{
    kit_in_memory();
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper", "{\"term\":\"t\",\"from\":0,\"until\":%lld,\"allowance_um\":%lld}",
               (long long)(k->now + 4000 * KIT_DAY), (long long)allowance));
    OK(kit_act(k, "fund-open", "keeper", "{\"fund\":\"f\",\"title\":\"F\",\"currency\":\"EUR\",\"budget_minor\":%d}",
               BUDGET));
    for (int i = 0; i < MEMBERS; i++) {
        OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m%d\",\"name\":\"N %d\"}", i, i));
    }
    for (int i = 0; i < SPOOLS; i++) {
        OK(kit_act(
            k, "spool-add", "desk",
            "{\"spool\":\"s%d\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,\"net_mg\":%d}", i,
            SPOOL_MG));
    }
}

static void one_walk(uint64_t seed, int n_done[12])
{
    kit one, *k = &one;
    model *m = calloc(1, sizeof *m), *before = calloc(1, sizeof *m);
    assert_true(m && before);
    m->dice = seed;
    open_shop(k);
    for (int n = 0; n < ACTS; n++) {
        int member = (int)roll(m, MEMBERS), machine = (int)roll(m, MACHINES);
        bool undo = roll(m, 5) == 0;
        k->now += roll(m, KIT_DAY / 4);
        int64_t which = roll(m, 14);
        model_run *r = on_machine(m, machine);
        if (undo) {
            *before = *m;
        }
        if (which < 4) {
            try_hand_out(k, m, member, machine, undo, before);
        } else if (which < 8 && r) {
            after(k, m, r, roll(m, 5), undo, before);
        } else if (which == 8) {
            try_waiver(k, m, member, undo, before);
        } else if (which == 9) {
            withdraw(k, m);
        } else if (which == 10) {
            reserve_or_drop(k, m, member, undo, before);
        } else {
            parts(k, m, undo, before);
        }
        if (n % 50 == 0) {
            compare(k, m);
        }
    }
    compare(k, m);
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    compare(k, m);
    po_ledger_close(k->ledger);
    k->ledger = NULL;
    kit_open(k);
    compare(k, m);
    kit_end(k);
    for (int i = 0; i < 12; i++) {
        n_done[i] += m->n_done[i];
    }
    free(m);
    free(before);
}

static void random_walks(void **state)
{
    (void)state;
    int n_done[12] = {0};
    for (uint64_t seed = 1; seed <= 3; seed++) {
        one_walk(seed, n_done);
    }
    for (int i = 0; i < 12; i++) { /* every kind of act was really done now and then */
        if (n_done[i] < 5) {
            fail_msg("of kind %d only %d were done", i, n_done[i]);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(random_walks)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

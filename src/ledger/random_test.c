/* Random acts against a plain model in memory: balances equal, verify clean, rebuild equal. SPDX-License-Identifier: Apache-2.0
 *
 * The model knows arrays and sums and nothing of the book's tables; it is written from the rules in docs/ledger.md. */
#include "ledger/ledger_kit.h"

enum { MEMBERS = 6, MACHINES = 4, RUNS_MOST = 4000, WAIVERS_MOST = 4000, ACTS = 1500 };

typedef struct model_run {
    int64_t event, um, charge;
    int member, machine, n_draws, draw_of[32];
    int64_t draw_um[32];
    bool back, ended, outcome, counts, with_limit, gone;
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
    uint64_t dice;
} model;

static const int64_t allowance = 150000000, run_limit = 30000000;

static int64_t roll(model *m, int64_t n)
{
    m->dice = m->dice * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (int64_t)((m->dice >> 33) % (uint64_t)n);
}

static int64_t charged(const model *m, int member, const model_run *but)
{
    int64_t sum = 0;
    for (int i = 0; i < m->n_runs; i++) {
        if (m->runs[i].member == member && !m->runs[i].gone && &m->runs[i] != but) {
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
    int64_t um = r->counts ? r->um : 0, need = need_of(m, r, um), drawn = 0;
    for (int i = 0; i < r->n_draws; i++) {
        drawn += r->draw_um[i];
    }
    for (int i = r->n_draws - 1; i >= 0 && drawn > need; i--) {
        int64_t back = drawn - need < r->draw_um[i] ? drawn - need : r->draw_um[i];
        r->draw_um[i] -= back;
        m->waivers[r->draw_of[i]].drawn -= back;
        drawn -= back;
    }
    r->charge = um - drawn;
}

static void compare(kit *k, const model *m)
{
    for (int i = 0; i < MEMBERS; i++) {
        const char *b = kit_ask(k, "balance", "{\"member\":\"m%d\",\"sha256\":\"" KIT_SHA "\"}", i);
        assert_int_equal(kit_number(b, "charged_um"), charged(m, i, NULL));
        assert_int_equal(kit_number(b, "waivers_left_um"), waived(m, i, k->now, true));
        b = kit_ask(k, "balance", "{\"member\":\"m%d\"}", i);
        assert_int_equal(kit_number(b, "waivers_left_um"), waived(m, i, k->now, false));
    }
}

static model_run *on_machine(model *m, int machine)
{
    for (int i = m->n_runs - 1; i >= 0; i--) {
        if (m->runs[i].machine == machine && !m->runs[i].back && !m->runs[i].gone) {
            return &m->runs[i];
        }
    }
    return NULL;
}

static void try_hand_out(kit *k, model *m, int member, int machine, bool undo)
{
    model_run r = {
        .member = member, .machine = machine, .um = roll(m, 45000000), .counts = true, .with_limit = roll(m, 2)};
    int64_t need = need_of(m, &r, r.um);
    bool possible = !on_machine(m, machine) && waived(m, member, k->now, true) >= need;
    po_status s = kit_act(k, "run-hand-out", "desk",
                          "{\"member\":\"m%d\",\"machine\":\"M%d\",\"um\":%lld,\"sha256\":\"" KIT_SHA "\"%s}", member,
                          machine, (long long)r.um, r.with_limit ? ",\"run_limit_um\":30000000" : "");
    if ((s == PO_OK) != possible || (s != PO_OK && s != PO_E_CONFLICT)) {
        fail_msg("hand-out: %d, expected %d (%s)", s, possible, k->err.msg);
    }
    if (s == PO_OK && undo) { /* at once: nothing rests on it, and the model never knows */
        OK(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)k->done.event));
    } else if (s == PO_OK) {
        model_run *kept = &m->runs[m->n_runs++];
        *kept = r;
        kept->event = (int64_t)k->done.event;
        draw(m, kept, need, k->now);
        kept->charge = r.um - need;
        assert_int_equal(kit_number(k->done.answer, "waived_um"), need);
    }
}

static void after(kit *k, model *m, model_run *r, int64_t what, bool undo)
{
    static const char *const figures[] = {"proof", "counter"};
    model before = *m; /* what an undo must lead back to */
    int64_t um = r->um;
    if (what == 0 && !r->ended) {
        int64_t at = roll(m, 101);
        OK(kit_act(k, "run-failed", "desk",
                   "{\"run\":%lld,\"percent\":%lld,\"by_height\":[[1000,%lld,50],[2000,%lld,100]]}",
                   (long long)r->event, (long long)at, (long long)(um / 2), (long long)um));
        int64_t half = um / 2, later = at - 50; /* straight between nothing, the half and the whole, rounded half up */
        r->um = at <= 50 ? (2 * half * at + 50) / 100 : half + (2 * (um - half) * later + 50) / 100;
        r->ended = true;
    } else if (what == 1 && r->ended && !r->outcome) {
        r->counts = roll(m, 2);
        r->outcome = true;
        OK(kit_act(k, "run-outcome", "desk", "{\"run\":%lld,\"outcome\":\"failed\",\"counts\":%s}", (long long)r->event,
                   r->counts ? "true" : "false"));
    } else {
        r->um = roll(m, 3) ? um : um / 2 + roll(m, um + 1);
        r->back = true;
        OK(kit_act(k, "run-take-back", "desk", "{\"run\":%lld,\"figure\":\"%s\",\"used_um\":%lld}", (long long)r->event,
                   figures[roll(m, 2)], (long long)r->um));
    }
    settle(m, r);
    if (undo) {
        uint64_t dice = m->dice;
        OK(kit_act(k, "undo", "desk", "{\"event\":%llu}", (unsigned long long)k->done.event));
        *m = before;
        m->dice = dice;
    }
}

static void try_waiver(kit *k, model *m, int member, bool undo)
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
    if (undo) {
        OK(kit_act(k, "undo", "keeper", "{\"event\":%lld}", (long long)w.event));
    } else {
        m->waivers[m->n_waivers++] = w;
    }
}

static void one_walk(uint64_t seed)
{
    kit one, *k = &one;
    model *m = calloc(1, sizeof *m);
    assert_non_null(m);
    m->dice = seed;
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper", "{\"term\":\"t\",\"from\":0,\"until\":%lld,\"allowance_um\":%lld}",
               (long long)(k->now + 4000 * KIT_DAY), (long long)allowance));
    for (int i = 0; i < MEMBERS; i++) {
        OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m%d\",\"name\":\"N %d\"}", i, i));
    }
    for (int n = 0; n < ACTS; n++) {
        int member = (int)roll(m, MEMBERS), machine = (int)roll(m, MACHINES);
        bool undo = roll(m, 5) == 0;
        k->now += roll(m, KIT_DAY / 4);
        int64_t which = roll(m, 10);
        model_run *r = on_machine(m, machine);
        if (which < 4) {
            try_hand_out(k, m, member, machine, undo);
        } else if (which < 8 && r) {
            after(k, m, r, roll(m, 4), undo);
        } else if (which == 8) {
            try_waiver(k, m, member, undo);
        } else if (m->n_waivers) {
            model_waiver *w = &m->waivers[roll(m, m->n_waivers)];
            po_status s = kit_act(k, "waiver-withdraw", "desk", "{\"waiver\":%lld,\"reason\":\"r\"}",
                                  (long long)w->event);
            assert_int_equal(s, w->withdrawn ? PO_E_CONFLICT : PO_OK);
            w->withdrawn = true;
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
    free(m);
}

static void random_walks(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 3; seed++) {
        one_walk(seed);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(random_walks)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

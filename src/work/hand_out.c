/* A machine goes out to a member for one job: what book and proof say to it, and the acts. SPDX-License-Identifier: Apache-2.0
 *
 * What the book itself decides (permission, allowance, whether the machine is free) is left to it; what remains of the verdict is
 * about the job: ask takes a desk person's yes, stop a keeper's leave. The proof is kept with the hand-out, both or neither. */
#include "work/hand_out.h"

#include <math.h>
#include <string.h>

enum { HEIGHTS_MOST = 400, HANDS_KEPT = 64 };
#define HEIGHTS_SHARE 0.0005 /* of the whole: by a height and by a time it stays below 0.1 % */

/* What the book decides by itself, with a sentence of its own. */
static bool of_the_book(const char *finding)
{
    return !strcmp(finding, "not-permitted") || !strcmp(finding, "over-allowance") || !strcmp(finding, "machine-taken");
}

/* What is true of this day only, not of the job on the machine. */
static bool of_the_day(const char *finding)
{
    return of_the_book(finding) || !strcmp(finding, "gap-unverified") || !strcmp(finding, "spool-short");
}

const char *work_verdict_word(po_grade worst)
{
    return worst == PO_GRADE_STOP ? "stop" : worst == PO_GRADE_ASK ? "ask" : "clear";
}

static int64_t whole(double value)
{
    return value > 0 && value < 1e15 ? (int64_t)(value + 0.5) : 0;
}

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "memory ran out");
}

void work_hand_out_begin(work_hand_out *h, work_book *book, json_t *body)
{
    *h = (work_hand_out){.book = book, .body = body, .found = json_array(), .worst = PO_GRADE_NOTE};
}

void work_hand_out_done(work_hand_out *h)
{
    json_decref(h->body);
    json_decref(h->now);
    json_decref(h->reservation);
    json_decref(h->found);
    *h = (work_hand_out){.book = h->book};
}

/* ---- before the proof ---- */

static po_status not_suspended(const work_hand_out *h, po_err *err)
{
    json_t *who = NULL;
    work_context *w = h->book->work;
    po_status s = work_ask(w, "member", json_pack("{s:s}", "member", h->book->member), &who, err);
    const char *reason = s == PO_OK ? json_string_value(json_object_get(who, "suspended")) : NULL;
    if (reason) {
        s = po_fail_at(err, PO_E_CONFLICT, "member", 0, 0, "member %s is suspended (%s): member resume ends it",
                       h->book->member, reason);
    }
    json_decref(who);
    return s;
}

/* The member may take this machine at all. The book holds it again. */
static po_status permitted(const work_hand_out *h, const po_proof_context *context, po_err *err)
{
    const char *needed = h->machine->permission;
    bool may = !needed;
    for (size_t i = 0; !may && i < context->n_permissions; i++) {
        may = po_shop_grants(h->book->work->shop, context->permissions[i], needed);
    }
    return may ? PO_OK
               : po_fail_at(err, PO_E_CONFLICT, "any_of", 0, 0,
                            "member %s does not hold the permission %s that %s needs: permit grant gives it, after "
                            "training",
                            h->book->member, needed, h->machine->name);
}

static po_status machine_free(const work_hand_out *h, const char *not_free, po_err *err)
{
    const char *state = work_text(h->now, "state"), *name = h->machine->name;
    po_arena *arena = h->book->work->arena;
    const char *next = !strcmp(state, "waiting")
                           ? po_arena_printf(arena, "run off and run take-back --machine %s make it free", name)
                       : !strcmp(state, "out")
                           ? po_arena_printf(arena, "run take-back --machine %s makes it free", name)
                       : !strcmp(state, "retired") ? "name another machine"
                                                   : po_arena_printf(arena, "machine clear %s puts it in use", name);
    return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0, "%.*s: %s", (int)strcspn(not_free, "\n") - 1, not_free,
                      next ? next : "name another machine");
}

po_status work_hand_out_may(work_hand_out *h, bool needed, po_err *err)
{
    work_fitted fitted;
    po_proof_context context = {.shop = h->book->work->shop, .spool_g = NAN, .allowance_left_m = NAN};
    h->book->work->asked = NULL;
    po_status s = needed ? not_suspended(h, err) : PO_OK;
    s = s == PO_OK ? work_book_fitted(h->book, h->machine, &fitted, err) : s;
    if (s == PO_OK) {
        s = work_book_context(h->book, &fitted, NULL, &context, err);
        json_decref(h->now);
        h->now = fitted.now; /* ours now */
    }
    if (s != PO_OK) {
        return s;
    }
    h->book->work->asked = NULL; /* what follows is no question's failure */
    s = needed ? permitted(h, &context, err) : PO_OK;
    return s == PO_OK && needed && context.not_free ? machine_free(h, context.not_free, err) : s;
}

po_status work_hand_out_stick(work_hand_out *h, po_err *err)
{
    json_t *answer = NULL;
    if (json_object_get(h->body, "stick")) {
        return PO_OK;
    }
    po_status s = work_ask(h->book->work, "sticks", json_pack("{s:s}", "machine", h->machine->name), &answer, err);
    const char *only = NULL;
    size_t n = 0;
    for (size_t i = 0; s == PO_OK && i < json_array_size(json_object_get(answer, "sticks")); i++) {
        const json_t *row = json_array_get(json_object_get(answer, "sticks"), i);
        if (!strcmp(work_text(row, "state"), "there") && !json_is_integer(json_object_get(row, "run"))) {
            only = work_text(row, "stick");
            n++;
        }
    }
    if (n == 1) {
        json_object_set_new(h->body, "stick", json_string(only));
    }
    json_decref(answer);
    return s;
}

po_status work_hand_out_beyond(work_hand_out *h, po_err *err)
{
    const po_shop *shop = h->book->work->shop;
    const char *asked = work_text(h->body, "beyond");
    bool fund = *work_text(h->body, "fund") || *work_text(h->reservation, "fund");
    h->book->work->asked = NULL;
    if (*asked && shop->beyond == PO_BEYOND_REFUSE) {
        return po_fail_at(err, PO_E_CONFLICT, "beyond", 0, 0,
                          "this shop hands out nothing beyond allowance and waivers (shop.beyond: refuse): waive give "
                          "grants more metres, or a fund pays");
    }
    if (!*asked && !fund && shop->beyond == PO_BEYOND_CHARGE) {
        json_object_set_new(h->body, "beyond", json_string("charge"));
    }
    return PO_OK;
}

/* ---- the proof ---- */

static void sort_findings(work_hand_out *h, const po_proof *proof)
{
    h->worst = PO_GRADE_NOTE;
    json_array_clear(h->found);
    for (size_t i = 0; i < proof->n_findings; i++) {
        const po_finding *f = &proof->findings[i];
        if (of_the_book(f->name)) {
            continue;
        }
        h->worst = f->grade > h->worst ? f->grade : h->worst;
        json_t *row = json_pack("{s:s, s:s, s:s, s:s}", "name", f->name, "grade", po_grade_name(f->grade), "says",
                                f->says, "do", f->todo ? f->todo : "");
        if (!row) { /* words of the file that are no UTF-8 */
            row = json_pack("{s:s, s:s, s:s, s:s}", "name", f->name, "grade", po_grade_name(f->grade), "says",
                            "The file holds words that can't be shown.", "do", "proveout check shows the whole slip.");
        }
        json_array_append_new(h->found, row);
    }
}

/* A run that begins now is held against the desk's hours as well; what is kept of the job is not. */
static po_status from_now(work_hand_out *h, po_arena *arena, const po_proof **ret, po_err *err)
{
    po_proof_context *context = po_arena_zeros(arena, 1, sizeof *context); /* the proof may point into it */
    if (!context) {
        return no_memory(err);
    }
    *context = h->proved.context;
    context->start_known = work_wall(h->book->work, h->book->work->now_ms, &context->start, NULL);
    return work_judge_when(h->proved.proof->report, h->file, context, arena, ret, err);
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

po_status work_hand_out_take(work_hand_out *h, bool begins_now, po_arena *arena, po_err *err)
{
    const po_proof *proof = h->proved.proof, *kept = proof;
    po_status s = begins_now ? from_now(h, arena, &proof, err) : PO_OK;
    if (s != PO_OK) {
        return s;
    }
    sort_findings(h, proof);
    json_object_set_new(h->body, "sha256", json_string(kept->report->sha256));
    json_object_set_new(h->body, "seconds", json_integer(whole(kept->report->facts.seconds)));
    if (kept->recipe) {
        json_object_set_new(h->body, "recipe", json_string(kept->recipe->name));
    }
    json_t *file = json_string(base_name(h->file)); /* NULL: no UTF-8; then it is left out */
    const char *clean = file ? work_clean(h->book->work, json_string_value(file)) : "";
    if (*clean) {
        json_object_set_new(h->body, "file", json_string(clean));
    }
    json_decref(file);
    return PO_OK;
}

/* ---- figures ---- */

/* The spool that a tool takes from: the one that was wished, else the loaded one. */
static const char *spool_of(work_hand_out *h, int tool)
{
    const work_book *book = h->book;
    const char *spool = tool >= 0 && (size_t)tool < book->n_spools ? book->spools[tool] : NULL;
    const json_t *loaded = json_object_get(h->now, "tools");
    for (size_t k = 0; k < json_array_size(loaded); k++) {
        const json_t *row = json_array_get(loaded, k);
        const char *there = json_string_value(json_object_get(row, "spool"));
        if (work_int(row, "tool", -1) != tool) {
            continue;
        }
        if (spool && (!there || strcmp(there, spool) != 0)) {
            h->other = spool;
            h->loaded = there;
            h->other_tool = tool;
        } else if (!book->n_spools) {
            spool = there;
        }
    }
    return spool;
}

/* um in all, and what each tool takes from which spool; spools false: not of the act (a reservation). */
static void put_takes(work_hand_out *h, bool spools)
{
    const po_job_facts *f = &h->proved.proof->report->facts;
    json_t *uses = json_array();
    int64_t sum = 0;
    bool known = false;
    for (size_t i = 0; i < f->n_tools; i++) {
        int tool = f->tools[i].tool;
        int64_t um = whole(f->tools[i].filament_mm * 1000);
        const char *spool = spool_of(h, tool);
        if (um > 0 && tool >= 0 && tool < WORK_MOST_SPOOLS) {
            sum += um;
            known = known || spool;
            json_t *use = json_pack("{s:i, s:I}", "tool", tool, "um", (json_int_t)um);
            if (spool) {
                json_object_set_new(use, "spool", json_string(spool));
            }
            json_array_append_new(uses, use);
        }
    }
    json_object_set_new(h->body, "um", json_integer(sum));
    if (spools && known && json_array_size(uses) == 1 && work_int(json_array_get(uses, 0), "tool", 0) == 0) {
        json_object_set(h->body, "spool", json_object_get(json_array_get(uses, 0), "spool"));
    } else if (spools && known) {
        json_object_set(h->body, "uses", uses);
    }
    json_decref(uses);
}

/* What a metre costs: of the material of the first tool that prints. */
static void put_price(work_hand_out *h)
{
    const po_shop *shop = h->book->work->shop;
    const po_job_facts *f = &h->proved.proof->report->facts;
    const po_material *m = NULL;
    for (size_t i = 0; !m && i < f->n_tools; i++) {
        int tool = f->tools[i].tool;
        m = f->tools[i].filament_mm > 0 && tool >= 0 && tool < PO_MAX_TOOLS ? h->proved.materials[tool] : NULL;
    }
    if (!m) {
        return;
    }
    json_object_set_new(h->body, "diameter_um", json_integer(whole(m->diameter_mm * 1000)));
    json_object_set_new(h->body, "density_mg_cm3", json_integer(whole(m->density_g_cm3 * 1000)));
    double minor = m->price_per_kg;
    for (int i = 0; i < work_minor_places(shop); i++) {
        minor *= 10;
    }
    if (minor > 0 && shop->currency) {
        json_object_set_new(h->body, "price_minor_kg", json_integer(whole(minor)));
    }
    if (shop->currency && (minor > 0 || *work_text(h->body, "beyond"))) {
        json_object_set_new(h->body, "currency", json_string(shop->currency));
    }
}

static void put_permissions(work_hand_out *h)
{
    const po_shop *shop = h->book->work->shop;
    const char *needed = h->machine->permission;
    if (!needed) {
        return;
    }
    json_t *any = json_array();
    json_array_append_new(any, json_string(needed)); /* first: the one that a refusal names */
    for (size_t i = 0; i < shop->n_permissions; i++) {
        const char *name = shop->permissions[i].name;
        if (strcmp(name, needed) != 0 && po_shop_grants(shop, name, needed)) {
            json_array_append_new(any, json_string(name));
        }
    }
    json_object_set_new(h->body, "any_of", any);
}

po_status work_hand_out_figures(work_hand_out *h, bool out, po_err *err)
{
    put_takes(h, out);
    if (out) {
        put_price(h);
        put_permissions(h);
        json_object_set_new(h->body, "run_limit_um",
                            json_integer(whole(h->book->work->shop->rules.allowance_m_per_run * 1e6)));
        json_object_set_new(h->body, "verdict", json_string(work_verdict_word(h->worst)));
    }
    return json_object_get(h->body, "um") ? PO_OK : no_memory(err);
}

static json_t *heights(const work_hand_out *h, po_arena *arena)
{
    const po_job_facts *f = &h->proved.proof->report->facts;
    size_t n = f->n_by_height, *kept = po_arena_zeros(arena, n + 1, sizeof *kept);
    json_t *table = json_array();
    size_t n_kept = kept ? po_height_rows_thin(f->by_height, n, HEIGHTS_SHARE, HEIGHTS_MOST - 1, kept) : 0;
    int64_t last[3] = {-1, 0, 0};
    if (n_kept && f->first_bead_seconds > 0 && f->first_bead_seconds < f->by_height[0].seconds) {
        last[0] = 0; /* until the first bead nothing is used */
        last[2] = whole(f->first_bead_seconds);
        json_array_append_new(table, json_pack("[i, i, I]", 0, 0, (json_int_t)last[2]));
    }
    for (size_t k = 0; k < n_kept; k++) {
        const po_height_row *row = &f->by_height[kept[k]];
        int64_t z = whole(row->z * 1000), um = whole(row->filament_mm * 1000), s = whole(row->seconds);
        if (z > last[0]) {
            last[0] = z;
            last[1] = um > last[1] ? um : last[1];
            last[2] = s > last[2] ? s : last[2];
            json_array_append_new(
                table, json_pack("[I, I, I]", (json_int_t)last[0], (json_int_t)last[1], (json_int_t)last[2]));
        }
    }
    return table;
}

static void put_list(json_t *body, const char *key, json_t *list)
{
    if (json_array_size(list) > 0) {
        json_object_set(body, key, list);
    }
    json_decref(list);
}

json_t *work_hand_out_proof(const work_hand_out *h, po_arena *arena)
{
    const po_proof *proof = h->proved.proof;
    const po_job_facts *f = &proof->report->facts;
    json_t *body = json_object(), *materials = json_array(), *hands = json_array(), *findings = json_array();
    po_grade worst = PO_GRADE_NOTE;
    static const char *const same[] = {"sha256", "machine", "um", "seconds", "file", "recipe"};
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        json_t *v = json_object_get(h->body, same[i]);
        if (v) {
            json_object_set(body, same[i], v);
        }
    }
    for (size_t i = 0; i < proof->n_findings; i++) {
        const po_finding *one = &proof->findings[i];
        if (!of_the_day(one->name)) {
            worst = one->grade > worst ? one->grade : worst;
            json_array_append_new(findings, json_string(one->name));
        }
    }
    for (size_t i = 0; i < proof->report->n_materials && h->proved.materials[i]; i++) {
        json_array_append_new(materials, json_string(h->proved.materials[i]->name));
    }
    for (size_t i = 0, last = 0; i < f->n_hands && i < HANDS_KEPT; i++) {
        size_t s = (size_t)whole(f->hands[i].seconds);
        last = s > last ? s : last;
        json_array_append_new(hands, json_integer((json_int_t)last));
    }
    json_object_set_new(body, "verdict", json_string(work_verdict_word(worst)));
    json_object_set_new(body, "mg", json_integer(whole(f->filament_g * 1000)));
    json_object_set_new(body, "first_bead_seconds", json_integer(whole(f->first_bead_seconds)));
    json_object_set_new(body, "first_layer_seconds", json_integer(whole(f->first_layer_seconds)));
    if (f->n_by_height > 0) {
        json_object_set_new(body, "height_um", json_integer(whole(f->by_height[f->n_by_height - 1].z * 1000)));
    }
    put_list(body, "materials", materials);
    put_list(body, "hands", hands);
    put_list(body, "findings", findings);
    put_list(body, "by_height", heights(h, arena));
    return body;
}

/* proveout run reserve, hand-out: a job proved for a machine and a member, and booked. SPDX-License-Identifier: Apache-2.0
 *
 * The job is measured and judged here and now, by what is fitted and loaded. What the book itself decides (permission,
 * allowance, whether the machine is free) is left to it; what remains of the verdict is about the job: ask takes a desk person's
 * yes, stop a keeper's leave. The proof is kept with the hand-out, both or neither. */
#include <inttypes.h>
#include <math.h>
#include <string.h>

#include "due.h"
#include "prove.h"
#include "when.h"
#include "run_verbs.h"

enum { ARENA_MOST = 2000000000, HEIGHTS_MOST = 400, HANDS_KEPT = 64 };
#define HEIGHTS_SHARE 0.0005 /* of the whole: by a height and by a time it stays below 0.1 % */

typedef struct handing {
    desk d;
    cli_book book;
    po_arena *arena; /* of the proof */
    const po_machine *machine;
    work_proved p;
    const char *path;
    json_t *body, *now, *reservation; /* the act's; the machine's row of the book; of --run */
    json_t *found;                    /* findings that remain, as objects */
    po_grade worst;                   /* of them */
    const char *loaded, *other;       /* the spool that is loaded by the book, where another was named for its tool */
    int other_tool;
} handing;

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

static const char *verdict_of(po_grade worst)
{
    return worst == PO_GRADE_STOP ? "stop" : worst == PO_GRADE_ASK ? "ask" : "clear";
}

static int64_t whole(double value)
{
    return value > 0 && value < 1e15 ? (int64_t)(value + 0.5) : 0;
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

/* ---- the job proved ---- */

static int open_handing(handing *h, const cli_call *call)
{
    *h = (handing){.worst = PO_GRADE_NOTE, .arena = po_arena_new(ARENA_MOST), .found = json_array()};
    int status = desk_open(&h->d, call);
    if (status == EXIT_CLEAR && (!h->arena || !h->found)) {
        status = cli_fail(EXIT_OWN, "memory ran out");
    }
    return status == EXIT_CLEAR ? desk_body(&h->d, &h->body) : status;
}

static void close_handing(handing *h)
{
    cli_book_close(&h->book);
    json_decref(h->body);
    json_decref(h->now);
    json_decref(h->reservation);
    json_decref(h->found);
    po_arena_free(h->arena);
    desk_close(&h->d);
}

static void sort_findings(handing *h, const po_proof *proof)
{
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

/* The machine that the options or the reservation name, and which spools. */
static int choose(handing *h)
{
    const char *name = work_text(h->body, "machine"), *spools = cli_value(h->d.call, "spool");
    name = *name ? name : work_text(h->reservation, "machine");
    h->machine = *name ? po_shop_machine(h->d.shop, name) : NULL;
    if (!h->machine) {
        return *name ? cli_fail(EXIT_USAGE, "the shop file has no machine %s any more; --machine names another", name)
                     : cli_fail(EXIT_USAGE,
                                "--machine says which machine it is for; proveout check %s shows which may "
                                "print it",
                                h->path);
    }
    json_object_set_new(h->body, "machine", json_string(h->machine->name));
    cli_book_of(&h->book, &h->d);
    h->book.light.member = work_text(h->body, "member");
    if (spools && (!cli_split(spools, h->d.arena, h->book.light.spools, &h->book.light.n_spools) ||
                   h->book.light.n_spools == 0 || h->book.light.n_spools > WORK_MOST_SPOOLS)) {
        return cli_fail(EXIT_USAGE, "--spool needs 1 to %d spools, with commas between them", WORK_MOST_SPOOLS);
    }
    return EXIT_CLEAR;
}

/* The member may take this machine at all: said before a long job is measured. The book holds it again. */
static int may_use(handing *h, const po_proof_context *context)
{
    const char *needed = h->machine->permission;
    bool may = !needed;
    for (size_t i = 0; !may && i < context->n_permissions; i++) {
        may = po_shop_grants(h->d.shop, context->permissions[i], needed);
    }
    return may ? EXIT_CLEAR
               : run_refuse(&h->d, "run-hand-out", "any_of",
                            "member %s does not hold the permission %s that %s needs: permit grant gives it, after "
                            "training",
                            h->book.light.member, needed, h->machine->name);
}

static int not_suspended(handing *h)
{
    json_t *who = NULL;
    int status = desk_ask(&h->d, "member", json_pack("{s:s}", "member", h->book.light.member), &who);
    const char *reason = status == EXIT_CLEAR ? json_string_value(json_object_get(who, "suspended")) : NULL;
    if (reason) {
        status = run_refuse(&h->d, "run-hand-out", "member", "member %s is suspended (%s): member resume ends it",
                            h->book.light.member, reason);
    }
    json_decref(who);
    return status;
}

/* A machine that can't go out is refused before a long job is measured for it. */
static int free_now(handing *h, bool needed)
{
    work_fitted fitted;
    po_proof_context context = {.shop = h->d.shop, .spool_g = NAN, .allowance_left_m = NAN};
    int status = needed ? not_suspended(h) : EXIT_CLEAR;
    status = status == EXIT_CLEAR ? cli_book_fitted(&h->book, h->machine, &fitted) : status;
    status = status == EXIT_CLEAR ? cli_book_context(&h->book, &fitted, NULL, &context) : status;
    h->now = status == EXIT_CLEAR ? fitted.now : NULL;
    status = status == EXIT_CLEAR && needed ? may_use(h, &context) : status;
    if (status == EXIT_CLEAR && needed && context.not_free) {
        const char *state = work_text(h->now, "state"), *name = h->machine->name;
        const char *next = !strcmp(state, "waiting")
                               ? po_arena_printf(h->d.arena, "run off and run take-back --machine %s make it free",
                                                 name)
                           : !strcmp(state, "out")
                               ? po_arena_printf(h->d.arena, "run take-back --machine %s makes it free", name)
                           : !strcmp(state, "retired")
                               ? "name another machine"
                               : po_arena_printf(h->d.arena, "machine clear %s puts it in use", name);
        status = run_refuse(&h->d, "run-hand-out", "machine", "%.*s: %s", (int)strcspn(context.not_free, "\n") - 1,
                            context.not_free, next ? next : "name another machine");
    }
    return status;
}

/* A run that begins now is held against the desk's hours as well; what is kept of the job is not. */
static int prove_from_now(handing *h, const po_proof **ret)
{
    po_proof_context *context = po_arena_zeros(h->arena, 1, sizeof *context); /* the proof may point into it */
    if (!context) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    *context = h->p.context;
    context->start_known = desk_wall(h->d.shop, h->d.now_ms, &context->start, NULL);
    return when_judge(h->p.proof->report, h->path, context, h->arena, ret);
}

static int prove(handing *h, bool begins_now)
{
    const char *recipe = work_text(h->body, "recipe");
    int status = cli_prove_one(&h->book, h->machine, *recipe ? po_shop_recipe(h->d.shop, recipe) : NULL, h->path,
                               h->arena, &h->p);
    const po_proof *proof = h->p.proof;
    status = status == EXIT_CLEAR && begins_now ? prove_from_now(h, &proof) : status;
    if (status != EXIT_CLEAR) {
        return status;
    }
    sort_findings(h, proof);
    json_object_set_new(h->body, "sha256", json_string(h->p.proof->report->sha256));
    json_object_set_new(h->body, "seconds", json_integer(whole(h->p.proof->report->facts.seconds)));
    if (h->p.proof->recipe) {
        json_object_set_new(h->body, "recipe", json_string(h->p.proof->recipe->name));
    }
    json_t *file = json_string(base_name(h->path));
    const char *clean = desk_words(&h->d, file, DESK_TEXT); /* a name that is no UTF-8 is left out */
    if (*clean) {
        json_object_set_new(h->body, "file", json_string(clean));
    }
    json_decref(file);
    return EXIT_CLEAR;
}

/* ---- the bodies of the acts ---- */

/* um in all, and what each tool takes from which spool; spools NULL: not of the act (a reservation). */
static void put_takes(handing *h, bool spools)
{
    const po_job_facts *f = &h->p.proof->report->facts;
    json_t *uses = json_array();
    int64_t sum = 0;
    bool known = false;
    for (size_t i = 0; i < f->n_tools; i++) {
        int tool = f->tools[i].tool;
        int64_t um = whole(f->tools[i].filament_mm * 1000);
        const char *spool = tool >= 0 && (size_t)tool < h->book.light.n_spools ? h->book.light.spools[tool] : NULL;
        const json_t *loaded = json_object_get(h->now, "tools");
        for (size_t k = 0; k < json_array_size(loaded); k++) {
            const json_t *row = json_array_get(loaded, k);
            const char *there = json_string_value(json_object_get(row, "spool"));
            if (work_int(row, "tool", -1) == tool && spool && (!there || strcmp(there, spool) != 0)) {
                h->other = spool;
                h->loaded = there;
                h->other_tool = tool;
            } else if (work_int(row, "tool", -1) == tool && !h->book.light.n_spools) {
                spool = there;
            }
        }
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
static void put_price(handing *h)
{
    const po_job_facts *f = &h->p.proof->report->facts;
    const po_material *m = NULL;
    for (size_t i = 0; !m && i < f->n_tools; i++) {
        int tool = f->tools[i].tool;
        m = f->tools[i].filament_mm > 0 && tool >= 0 && tool < PO_MAX_TOOLS ? h->p.materials[tool] : NULL;
    }
    if (!m) {
        return;
    }
    json_object_set_new(h->body, "diameter_um", json_integer(whole(m->diameter_mm * 1000)));
    json_object_set_new(h->body, "density_mg_cm3", json_integer(whole(m->density_g_cm3 * 1000)));
    double minor = m->price_per_kg;
    for (int i = 0; i < desk_minor_places(&h->d); i++) {
        minor *= 10;
    }
    if (minor > 0 && h->d.shop->currency) {
        json_object_set_new(h->body, "price_minor_kg", json_integer(whole(minor)));
    }
    if (h->d.shop->currency && (minor > 0 || *work_text(h->body, "beyond"))) {
        json_object_set_new(h->body, "currency", json_string(h->d.shop->currency));
    }
}

/* What the shop does with filament beyond allowance and waivers, where no fund pays. */
static int put_beyond(handing *h)
{
    const char *asked = work_text(h->body, "beyond");
    bool fund = *work_text(h->body, "fund") || *work_text(h->reservation, "fund");
    if (*asked && h->d.shop->beyond == PO_BEYOND_REFUSE) {
        return run_refuse(&h->d, "run-hand-out", "beyond",
                          "this shop hands out nothing beyond allowance and waivers (shop.beyond: refuse): waive give "
                          "grants more metres, or a fund pays");
    }
    if (!*asked && !fund && h->d.shop->beyond == PO_BEYOND_CHARGE) {
        json_object_set_new(h->body, "beyond", json_string("charge"));
    }
    return EXIT_CLEAR;
}

/* The one stick of the machine that is there, unless another is named; none with --stick none. */
static int put_stick(handing *h)
{
    const char *given = cli_value(h->d.call, "stick");
    json_t *answer = NULL;
    if (given && strcmp(given, "none") != 0) {
        json_object_set_new(h->body, "stick", json_string(given));
    }
    if (given) {
        return EXIT_CLEAR;
    }
    int status = desk_ask(&h->d, "sticks", json_pack("{s:s}", "machine", h->machine->name), &answer);
    const char *only = NULL;
    size_t n = 0;
    for (size_t i = 0; i < json_array_size(json_object_get(answer, "sticks")); i++) {
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
    return status;
}

static void put_permissions(handing *h)
{
    const char *needed = h->machine->permission;
    if (!needed) {
        return;
    }
    json_t *any = json_array();
    json_array_append_new(any, json_string(needed)); /* first: the one that a refusal names */
    for (size_t i = 0; i < h->d.shop->n_permissions; i++) {
        const char *name = h->d.shop->permissions[i].name;
        if (strcmp(name, needed) != 0 && po_shop_grants(h->d.shop, name, needed)) {
            json_array_append_new(any, json_string(name));
        }
    }
    json_object_set_new(h->body, "any_of", any);
}

static json_t *heights(const handing *h)
{
    const po_job_facts *f = &h->p.proof->report->facts;
    size_t n = f->n_by_height, *kept = po_arena_zeros(h->arena, n + 1, sizeof *kept);
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

/* The act proof-keep: what is true of the job on the machine whoever brings it. */
static json_t *proof_body(const handing *h)
{
    const po_job_facts *f = &h->p.proof->report->facts;
    json_t *body = json_object(), *materials = json_array(), *hands = json_array(), *findings = json_array();
    po_grade worst = PO_GRADE_NOTE;
    static const char *const same[] = {"sha256", "machine", "um", "seconds", "file", "recipe"};
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        json_t *v = json_object_get(h->body, same[i]);
        if (v) {
            json_object_set(body, same[i], v);
        }
    }
    for (size_t i = 0; i < h->p.proof->n_findings; i++) {
        const po_finding *one = &h->p.proof->findings[i];
        if (!of_the_day(one->name)) {
            worst = one->grade > worst ? one->grade : worst;
            json_array_append_new(findings, json_string(one->name));
        }
    }
    for (size_t i = 0; i < h->p.proof->report->n_materials && h->p.materials[i]; i++) {
        json_array_append_new(materials, json_string(h->p.materials[i]->name));
    }
    for (size_t i = 0, last = 0; i < f->n_hands && i < HANDS_KEPT; i++) {
        size_t s = (size_t)whole(f->hands[i].seconds);
        last = s > last ? s : last;
        json_array_append_new(hands, json_integer((json_int_t)last));
    }
    json_object_set_new(body, "verdict", json_string(verdict_of(worst)));
    json_object_set_new(body, "mg", json_integer(whole(f->filament_g * 1000)));
    json_object_set_new(body, "first_bead_seconds", json_integer(whole(f->first_bead_seconds)));
    json_object_set_new(body, "first_layer_seconds", json_integer(whole(f->first_layer_seconds)));
    if (f->n_by_height > 0) {
        json_object_set_new(body, "height_um", json_integer(whole(f->by_height[f->n_by_height - 1].z * 1000)));
    }
    put_list(body, "materials", materials);
    put_list(body, "hands", hands);
    put_list(body, "findings", findings);
    put_list(body, "by_height", heights(h));
    return body;
}

/* ---- the verdict ---- */

static void tell_findings(const handing *h, bool notes)
{
    for (size_t i = 0; i < json_array_size(h->found); i++) {
        const json_t *f = json_array_get(h->found, i);
        if (notes || strcmp(work_text(f, "grade"), "note") != 0) {
            char text[1200];
            snprintf(text, sizeof text, "%s (%s): %s %s", work_text(f, "grade"), work_text(f, "name"),
                     work_text(f, "says"), work_text(f, "do"));
            cli_wrap(stdout, 2, text);
        }
    }
}

/* Ask and stop hold the job back until somebody decides; nothing is booked then. */
static int decide(handing *h)
{
    bool leave = *work_text(h->body, "leave") != 0, yes = cli_value(h->d.call, "yes") != NULL;
    if (h->worst == PO_GRADE_STOP ? leave : h->worst != PO_GRADE_ASK || yes || leave) {
        return EXIT_CLEAR;
    }
    const char *says =
        h->worst == PO_GRADE_STOP
            ? "the verdict on this job is stop and it is not handed out: mend the job, or a keeper hands it "
              "out with --by KEEPER --leave TEXT"
            : "the verdict on this job is ask and it is not handed out yet: a desk person decides, and "
              "books it with --yes";
    int status = h->worst == PO_GRADE_STOP ? EXIT_STOP : EXIT_ASK;
    if (h->d.json) {
        int printed = desk_print_json(json_pack("{s:s, s:s, s:s, s:s, s:s, s:O}", "format", "proveout/refusal/1",
                                                "what", "run-hand-out", "says", says, "field", "verdict", "verdict",
                                                verdict_of(h->worst), "findings", h->found));
        status = printed == EXIT_CLEAR ? status : printed;
    } else {
        printf("%s on %s:\n", base_name(h->path), h->machine->name);
        tell_findings(h, false);
    }
    return cli_fail(status, "%s", says);
}

/* ---- hand-out ---- */

/* "model", "machine" and so on (docs/learned.md) for whoever reads it at the desk. */
static const char *whence(const char *from)
{
    return !from || !strcmp(from, "model") ? "by the proof alone" : "as runs have really gone";
}

/* What the book would know better if somebody told it first: no spool for a tool that prints, a part on the bed. */
static void tell_unknown(const handing *h)
{
    const json_t *uses = json_object_get(h->body, "uses");
    if (!json_object_get(h->body, "spool") && !uses) {
        printf("No spool is loaded by the book, so none gives what is used: proveout machine fit %s --spool ID.\n",
               h->machine->name);
    }
    long long part = (long long)work_int(h->now, "part_of", 0);
    if (part > 0) {
        char text[200];
        snprintf(text, sizeof text,
                 "By the book the part of run %lld is still on the bed: look before anything starts (it may be hot); "
                 "once it is off: proveout run off %lld.",
                 part, part);
        cli_wrap(stdout, 0, text);
    }
}

static void tell_hand_out(handing *h, const json_t *answer)
{
    desk *d = &h->d;
    const po_proof *p = h->p.proof;
    json_t *more = json_object(), *balance = NULL;
    json_object_set_new(more, "low", json_integer(whole(p->seconds.low)));
    json_object_set_new(more, "high", json_integer(whole(p->seconds.high)));
    json_object_set_new(more, "from", json_string(whence(p->ranges_from)));
    json_object_set_new(more, "mg", json_integer(whole(p->report->facts.filament_g * 1000)));
    json_object_set_new(more, "verdict", json_string(verdict_of(h->worst)));
    json_object_set_new(more, "watch", json_integer((json_int_t)(d->shop->rules.watch_minutes + 0.5)));
    json_object_set(more, "run", json_object_get(answer, "run"));
    json_object_update_missing(more, h->body);
    desk_tell(d, "Run {run}: {machine} goes out to member {member}[ with stick {stick}], for {file}.", more, NULL);
    desk_tell(d, "It takes {um:m} ({mg:g})[ from spool {spool}] and {low:span} to {high:span}, {from}.", more, NULL);
    printf("The verdict is %s%s\n", verdict_of(h->worst), json_array_size(h->found) ? ":" : ".");
    tell_findings(h, true);
    bool asked = desk_ask(d, "balance", json_pack("{s:s}", "member", work_text(h->body, "member")), &balance) ==
                 EXIT_CLEAR;
    if (asked && json_is_integer(json_object_get(balance, "left_um"))) {
        desk_tell(d, "Of the term {left_um:m} are left.", balance, NULL);
    }
    if (work_int(answer, "waived_um", 0) > 0) {
        desk_tell(d, "{waived_um:m} are drawn from waivers.", answer, NULL);
    }
    if (work_int(answer, "beyond_um", 0) > 0) {
        desk_tell(d, "{beyond_um:m} go beyond the allowance: {beyond} of {beyond_minor:money}.", answer, NULL);
    }
    if (json_is_string(json_object_get(answer, "fund"))) {
        desk_tell(d, "The fund {fund} pays {fund_minor:money}.", answer, NULL);
    }
    const char *was = work_text(h->reservation, "sha256");
    if (*was && strcmp(was, work_text(h->body, "sha256")) != 0) {
        printf("The job is another one than was reserved.\n");
    }
    if (h->other) {
        printf("By the book %s is loaded: proveout machine fit %s --tool %d --spool %s.\n",
               h->loaded ? h->loaded : "no spool", h->machine->name, h->other_tool, h->other);
    }
    tell_unknown(h);
    desk_tell(d, "Next, at the machine: proveout run start {run}; then {watch} min of watch.", more, NULL);
    json_decref(balance);
    json_decref(more);
}

static int book_hand_out(handing *h)
{
    const char *acts[] = {"proof-keep", "run-hand-out"};
    json_t *bodies[2] = {proof_body(h), json_deep_copy(h->body)}, *answers[2] = {NULL};
    po_act_done done[2];
    int status = desk_acts(&h->d, acts, bodies, 2, done, answers);
    if (status == EXIT_CLEAR && h->d.json) {
        json_t *extra = json_pack("{s:s, s:O, s:O, s:O, s:O}", "verdict", verdict_of(h->worst), "findings", h->found,
                                  "um", json_object_get(h->body, "um"), "seconds", json_object_get(h->body, "seconds"),
                                  "run", json_object_get(answers[1], "run"));
        if (extra && json_object_get(h->body, "stick")) {
            json_object_set(extra, "stick", json_object_get(h->body, "stick"));
        }
        status = run_print_acts(acts, done, answers, 2, extra);
        json_decref(extra);
    } else if (status == EXIT_CLEAR) {
        tell_hand_out(h, answers[1]);
        run_tell_events(done, 2);
    }
    json_decref(answers[0]);
    json_decref(answers[1]);
    return status;
}

int run_hand_out(const cli_call *call)
{
    handing h;
    int status = open_handing(&h, call);
    h.path = call->args[1];
    int64_t run = status == EXIT_CLEAR ? work_int(h.body, "run", 0) : 0;
    status = run ? run_ask(&h.d, run, &h.reservation) : status;
    status = status == EXIT_CLEAR ? choose(&h) : status;
    status = status == EXIT_CLEAR ? free_now(&h, true) : status;
    status = status == EXIT_CLEAR ? put_stick(&h) : status;
    status = status == EXIT_CLEAR ? put_beyond(&h) : status;
    status = status == EXIT_CLEAR ? prove(&h, true) : status;
    status = status == EXIT_CLEAR ? decide(&h) : status;
    if (status == EXIT_CLEAR) {
        put_takes(&h, true);
        put_price(&h);
        put_permissions(&h);
        json_object_set_new(h.body, "run_limit_um", json_integer(whole(h.d.shop->rules.allowance_m_per_run * 1e6)));
        json_object_set_new(h.body, "verdict", json_string(verdict_of(h.worst)));
        status = book_hand_out(&h);
    }
    close_handing(&h);
    return status;
}

/* ---- reserve ---- */

static int reserve_metres(handing *h, json_t **ret)
{
    json_t *um = desk_value(&h->d, "METRES", h->path, DESK_M);
    if (!um) {
        return EXIT_USAGE;
    }
    json_object_set_new(h->body, "um", um);
    *ret = json_deep_copy(h->body);
    return EXIT_CLEAR;
}

/* Of a file: proved for its machine, and the proof is kept. */
static int reserve_file(handing *h, json_t **ret)
{
    int status = choose(h);
    status = status == EXIT_CLEAR ? free_now(h, false) : status;
    status = status == EXIT_CLEAR ? prove(h, false) : status;
    if (status == EXIT_CLEAR) {
        put_takes(h, false);
        *ret = json_deep_copy(h->body);
    }
    return status;
}

int run_reserve(const cli_call *call)
{
    handing h;
    double ignored;
    json_t *body = NULL, *answers[2] = {NULL};
    po_act_done done[2];
    int status = open_handing(&h, call);
    h.path = call->args[1];
    bool metres = cli_number(h.path, 0, 1e6, &ignored);
    status = status == EXIT_CLEAR ? (metres ? reserve_metres(&h, &body) : reserve_file(&h, &body)) : status;
    if (status == EXIT_CLEAR) {
        const char *acts[] = {"run-reserve", "proof-keep"};
        json_t *bodies[] = {body, metres ? NULL : proof_body(&h)};
        size_t n = metres ? 1 : 2;
        status = desk_acts(&h.d, acts, bodies, n, done, answers);
        if (status == EXIT_CLEAR && h.d.json) {
            json_t *extra = json_pack("{s:O, s:O, s:s?, s:O}", "run", json_object_get(answers[0], "run"), "um",
                                      json_object_get(h.body, "um"), "verdict", metres ? NULL : verdict_of(h.worst),
                                      "findings", h.found);
            status = run_print_acts(acts, done, answers, n, extra);
            json_decref(extra);
        } else if (status == EXIT_CLEAR) {
            desk_tell(
                &h.d,
                "Run {run} is reserved for member {member}[ on {machine}]: {um:m}[, start promised {promised:time}].",
                answers[0], h.body);
            if (!metres && h.worst != PO_GRADE_NOTE) {
                printf("It can't go out just so, the verdict is %s:\n", verdict_of(h.worst));
                tell_findings(&h, false);
            }
            run_tell_events(done, n);
        }
        json_decref(answers[0]);
        json_decref(answers[1]);
    }
    close_handing(&h);
    return status;
}

/* The search for a cause: read from the book, seen through the net, as one object for command line and page. SPDX-License-Identifier: Apache-2.0 */
#include "work/trouble.h"

#include <string.h>

#include "base/text.h"
#include "work/trouble_facts.h"

enum { BELIEFS_SHOWN = 8, NEXT_SHOWN = 6 };

po_status work_why_net(work_context *w, const po_why **ret, po_err *err)
{
    json_t *learned = NULL;
    po_status s = w->ledger ? work_ask(w, "trouble-learned", NULL, &learned, err) : PO_OK;
    const json_t *causes = json_object_get(learned, "causes"), *answers = json_object_get(learned, "answers"), *row;
    size_t n = 0, i, all = json_array_size(causes) + json_array_size(answers);
    po_why_count *counts = s == PO_OK ? po_arena_zeros(w->arena, all + 1, sizeof *counts) : NULL;
    if (s == PO_OK && !counts) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for what was learned");
    }
    if (s == PO_OK) {
        json_array_foreach(causes, i, row)
        {
            counts[n++] = (po_why_count){work_text(row, "symptom"), work_text(row, "cause"), NULL, NULL,
                                         work_int(row, "n", 0)};
        }
        json_array_foreach(answers, i, row)
        {
            counts[n++] = (po_why_count){work_text(row, "symptom"), work_text(row, "cause"), work_text(row, "check"),
                                         work_text(row, "answer"), work_int(row, "n", 0)};
        }
        s = po_why_new(counts, n, w->arena, ret, err);
    }
    json_decref(learned);
    return s;
}

const char *work_why_nearest_symptom(const po_why *why, const char *word)
{
    const char *names[64];
    size_t n;
    const po_why_symptom *symptoms = po_why_symptoms(why, &n);
    n = n > 64 ? 64 : n;
    for (size_t i = 0; i < n; i++) {
        names[i] = symptoms[i].id;
    }
    const char *near = po_nearest_name(word, names, n);
    return near ? near : names[0];
}

po_status work_trouble_new(work_context *w, const char *symptom, const char *machine, int64_t run, work_trouble *ret,
                           po_err *err)
{
    memset(ret, 0, sizeof *ret);
    po_status s = work_why_net(w, &ret->why, err);
    size_t which = s == PO_OK ? po_why_symptom_of(ret->why, symptom) : 0;
    if (s == PO_OK && which == SIZE_MAX) {
        return po_fail_at(err, PO_E_NOTFOUND, "symptom", 0, 0, "there is no symptom \"%.60s\"; the nearest is \"%s\"",
                          symptom ? symptom : "", work_why_nearest_symptom(ret->why, symptom ? symptom : ""));
    }
    ret->machine = machine ? po_arena_text(w->arena, machine) : NULL;
    ret->run = run;
    size_t n_facts = 0;
    s = s == PO_OK && w->ledger ? work_trouble_facts(w, ret->why, &ret->machine, run, ret->facts, &n_facts, err) : s;
    ret->search = (po_why_case){which, ret->facts, n_facts, ret->said, 0};
    return s;
}

po_status work_trouble_read(work_context *w, int64_t trouble, work_trouble *ret, po_err *err)
{
    json_t *answer = NULL;
    memset(ret, 0, sizeof *ret);
    po_status s = work_ask(w, "troubles", json_pack("{s:I}", "trouble", (json_int_t)trouble), &answer, err);
    const json_t *row = json_array_get(json_object_get(answer, "troubles"), 0), *check;
    if (s == PO_OK) {
        s = work_trouble_new(w, work_text(row, "symptom"), work_text(row, "machine"), work_int(row, "run", 0), ret,
                             err);
    }
    ret->trouble = trouble;
    ret->answer = answer;
    ret->row = row;
    size_t i;
    json_array_foreach(json_object_get(row, "checks"), i, check)
    {
        size_t k = s == PO_OK ? po_why_check_of(ret->why, work_text(check, "check")) : SIZE_MAX;
        size_t a = k == SIZE_MAX ? k : po_why_answer_of(ret->why, k, work_text(check, "answer"));
        if (a != SIZE_MAX && ret->search.n_said < WORK_SAID_MOST) {
            ret->said[ret->search.n_said++] = (po_why_said){k, a};
        }
    }
    return s;
}

void work_trouble_end(work_trouble *t)
{
    json_decref(t->answer);
    t->answer = NULL;
    t->row = NULL;
}

po_status work_trouble_say(work_context *w, work_trouble *t, const char *check, const char *answer, po_err *err)
{
    size_t n, k = po_why_check_of(t->why, check), a = k == SIZE_MAX ? k : po_why_answer_of(t->why, k, answer);
    const po_why_check *checks = po_why_checks(t->why, &n);
    if (k == SIZE_MAX) {
        return po_fail_at(err, PO_E_NOTFOUND, "check", 0, 0,
                          "there is no check \"%.60s\"; proveout why show lists them", check);
    }
    if (a == SIZE_MAX) {
        po_text list;
        po_text_init(&list, w->arena);
        for (size_t i = 0; i < checks[k].n_answers; i++) {
            po_text_printf(&list, "%s%s", i ? ", " : "", checks[k].answers[i].id);
        }
        return po_fail_at(err, PO_E_NOTFOUND, "answer", 0, 0, "%s has no answer \"%.60s\"; there are %s", check, answer,
                          list.failed ? "others" : list.data);
    }
    for (size_t i = 0; i < t->search.n_said; i++) {
        if (t->said[i].check == k) {
            return po_fail_at(err, PO_E_CONFLICT, "check", 0, 0, "%s is answered already", check);
        }
    }
    if (t->search.n_said == WORK_SAID_MOST) {
        return po_fail_at(err, PO_E_LIMIT, "check", 0, 0, "more than %d checks were answered", WORK_SAID_MOST);
    }
    t->said[t->search.n_said++] = (po_why_said){k, a};
    return PO_OK;
}

const char *work_why_caution(const work_context *w, const char *letters)
{
    static const struct {
        char letter;
        const char *says;
    } each[] = {
        {'h', "Nozzle and bed burn: let them cool, or keep hands away."},
        {'m', "It can move at any time: stop it, and keep fingers out."},
        {'f', "Fumes: see to the air, and do not breathe them."},
        {'e', "Mains: unplug it, open nothing; inside only a licensed person works."},
        {'t', "For trained persons only."},
    };
    po_text text;
    po_text_init(&text, w->arena);
    for (const char *p = letters; p && *p; p++) {
        for (size_t i = 0; i < sizeof each / sizeof each[0]; i++) {
            if (each[i].letter == *p) {
                po_text_add(&text, each[i].says);
                po_text_add(&text, " ");
            }
        }
    }
    if (letters && *letters) {
        po_text_add(&text, "Local codes and the maker's instructions go before anything said here.");
    }
    return text.failed || !text.data ? "" : text.data;
}

static json_t *check_of(const work_context *w, const po_why_check *c, double bits)
{
    json_t *answers = json_array();
    for (size_t a = 0; a < c->n_answers; a++) {
        json_array_append_new(answers,
                              json_pack("{s:s, s:s}", "answer", c->answers[a].id, "words", c->answers[a].words));
    }
    return json_pack("{s:s, s:s, s:s, s:i, s:s, s:f, s:o}", "check", c->id, "asks", c->asks, "how", c->how, "minutes",
                     c->minutes, "caution", work_why_caution(w, c->cautions), "bits", bits, "answers", answers);
}

static json_t *cause_of(const work_context *w, const po_why *why, size_t cause)
{
    size_t n;
    const po_why_cause *c = &po_why_causes(why, &n)[cause];
    return json_pack("{s:s, s:s, s:s, s:s, s:s, s:s}", "cause", c->id, "words", c->words, "kind", c->kind, "remedy",
                     c->remedy_id, "remedy_words", c->remedy, "caution", work_why_caution(w, c->cautions));
}

static json_t *reasons_of(const work_trouble *t, const po_why_view *v)
{
    size_t n;
    const po_why_check *checks = po_why_checks(t->why, &n);
    const po_why_fact *facts = po_why_facts(t->why, &n);
    json_t *list = json_array();
    for (size_t i = 0; i < v->n_reasons; i++) {
        const po_why_reason *r = &v->reasons[i];
        if (r->factor > 0.9 && r->factor < 1.1) {
            continue; /* says nothing of it */
        }
        const po_why_said *said = r->is_fact ? NULL : &t->said[r->which];
        json_array_append_new(
            list, json_pack("{s:s?, s:s, s:f}", "check", said ? checks[said->check].id : NULL, "words",
                            said ? checks[said->check].answers[said->answer].words : facts[t->facts[r->which]].words,
                            "factor", r->factor));
    }
    return list;
}

po_status work_trouble_view(work_context *w, const work_trouble *t, json_t **ret, po_err *err)
{
    po_why_view v;
    size_t n;
    po_status s = po_why_look(t->why, &t->search, w->arena, &v, err);
    if (s != PO_OK) {
        return s;
    }
    const po_why_symptom *symptom = &po_why_symptoms(t->why, &n)[t->search.symptom];
    const po_why_check *checks = po_why_checks(t->why, &n);
    const po_why_fact *facts = po_why_facts(t->why, &n);
    json_t *beliefs = json_array(), *next = json_array(), *said = json_array(), *known = json_array();
    for (size_t i = 0; i < v.n_beliefs && i < BELIEFS_SHOWN; i++) {
        const po_why_belief *b = &v.beliefs[i];
        json_t *o = b->cause == SIZE_MAX ? json_pack("{s:n, s:s}", "cause", "words", "something else")
                                         : cause_of(w, t->why, b->cause);
        json_object_set_new(o, "p", json_real(b->p));
        json_object_set_new(o, "at_first", json_real(b->at_first));
        json_array_append_new(beliefs, o);
    }
    for (size_t i = 0; i < v.n_next && i < NEXT_SHOWN; i++) {
        json_array_append_new(next, check_of(w, &checks[v.next[i].check], v.next[i].bits));
    }
    for (size_t i = 0; i < t->search.n_said; i++) {
        const po_why_check *c = &checks[t->said[i].check];
        json_array_append_new(said, json_pack("{s:s, s:s, s:s, s:s}", "check", c->id, "asks", c->asks, "answer",
                                              c->answers[t->said[i].answer].id, "words",
                                              c->answers[t->said[i].answer].words));
    }
    for (size_t i = 0; i < t->search.n_facts; i++) {
        json_array_append_new(
            known, json_pack("{s:s, s:s}", "fact", facts[t->facts[i]].id, "words", facts[t->facts[i]].words));
    }
    *ret = json_pack("{s:s, s:o, s:s?, s:o, s:{s:s, s:s, s:s}, s:o, s:o, s:o, s:o, s:o, s:b, s:f}", "format",
                     "proveout/why/1", "trouble", t->trouble ? json_integer(t->trouble) : json_null(), "machine",
                     t->machine, "run", t->run ? json_integer(t->run) : json_null(), "symptom", "symptom", symptom->id,
                     "words", symptom->words, "look", symptom->look, "facts", known, "said", said, "beliefs", beliefs,
                     "next", next, "reasons", reasons_of(t, &v), "enough", (int)v.enough, "bits", v.bits);
    if (!*ret) {
        return po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    }
    for (const char *const *key = (const char *const[]){"closed_ms", "closed_by", "confirmed", "remedy", "closing",
                                                        "note", "by", "opened_ms", NULL};
         t->row && *key; key++) {
        json_object_set(*ret, *key, json_object_get(t->row, *key));
    }
    if (t->row) {
        json_object_set(*ret, "cause", json_object_get(t->row, "cause"));
    }
    return PO_OK;
}

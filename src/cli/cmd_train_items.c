/* proveout train items: how good the questions of a study are. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "training.h"
#include "work/training_items.h"

static const char *const flags[] = {"fine", "few", "key", "misleads", "easy", "dull"};

static json_t *real(double v)
{
    return isnan(v) ? json_null() : json_real(v);
}

static json_t *counts(const size_t *of)
{
    json_t *list = json_array();
    for (size_t i = 0; i <= PO_ITEMS_OPTIONS; i++) {
        json_array_append_new(list, json_integer((json_int_t)of[i]));
    }
    return list;
}

static int print_json(const po_study *study, const work_items *of)
{
    json_t *list = json_array();
    for (size_t q = 0; q < study->n_questions; q++) {
        const po_item *i = &of->all.item[q];
        const po_item_model *m = &of->model[q];
        json_t *one = json_pack("{s:s, s:i, s:i, s:i, s:s, s:i, s:s?}", "question", study->questions[q].id, "drawn",
                                (int)i->drawn, "right", (int)i->right, "blank", (int)i->blank, "flag", flags[i->flag],
                                "option", (int)i->option, "says", i->says);
        const struct {
            const char *key;
            double v;
        } figures[] = {{"p", i->p},
                       {"p_low", i->p_low},
                       {"p_high", i->p_high},
                       {"d", i->d},
                       {"d_low", i->d_low},
                       {"d_high", i->d_high},
                       {"r", i->r},
                       {"r_rest", i->r_rest},
                       {"r_rest_low", i->r_rest_low},
                       {"r_rest_high", i->r_rest_high}};
        for (size_t k = 0; k < sizeof figures / sizeof *figures; k++) {
            json_object_set_new(one, figures[k].key, i->drawn ? real(figures[k].v) : json_null());
        }
        if (study->questions[q].kind == PO_ASK_ONE) { /* 0: no answer */
            json_object_set_new(one, "chose", counts(i->chose));
            json_object_set_new(one, "chose_upper", counts(i->chose_upper));
            json_object_set_new(one, "chose_lower", counts(i->chose_lower));
        }
        if (of->fitted && m->fitted) {
            json_object_set_new(one, "model",
                                json_pack("{s:f, s:f, s:o, s:o}", "a", m->a, "b", m->b, "a_error", real(m->a_error),
                                          "b_error", real(m->b_error)));
        }
        json_array_append_new(list, one);
    }
    return desk_print_json(json_pack("{s:s, s:s, s:i, s:i, s:o, s:o, s:o, s:o, s:o, s:s?, s:o}", "format",
                                     "proveout/items/1", "study", study->id, "papers", (int)of->all.papers, "lost",
                                     (int)of->lost, "kr20", real(of->all.kr20), "kr20_low", real(of->all.kr20_low),
                                     "kr20_high", real(of->all.kr20_high), "spread", real(of->all.spread), "error",
                                     real(of->all.error), "says", of->all.says, "questions", list));
}

static void cell(double v)
{
    if (isnan(v)) {
        printf("   -  ");
    } else {
        printf(" %5.2f", v);
    }
}

static void print_text(const po_study *study, const work_items *of)
{
    size_t told = 0;
    printf("%s\nPapers: %zu\n\n%-20s %6s  right           tells  upper-lower%s\n", study->title, of->all.papers,
           "question", "asked", of->fitted ? "  place" : "");
    for (size_t q = 0; q < study->n_questions; q++) {
        const po_item *i = &of->all.item[q];
        printf("%-20s %6zu ", study->questions[q].id, i->drawn);
        if (i->flag == PO_ITEM_FEW) {
            puts(" too few to say");
            continue;
        }
        printf("%5.0f %% (%2.0f to %3.0f)", 100 * i->p, 100 * i->p_low, 100 * i->p_high);
        cell(i->r_rest);
        printf("  ");
        cell(i->d);
        if (of->fitted) {
            printf("     ");
            cell(of->model[q].fitted ? of->model[q].b : NAN);
        }
        puts(i->flag == PO_ITEM_FINE ? "" : "  *");
    }
    puts("");
    for (size_t q = 0; q < study->n_questions; q++) {
        const po_item *i = &of->all.item[q];
        if (i->flag != PO_ITEM_FINE && i->flag != PO_ITEM_FEW && i->says) {
            printf("* %s: ", study->questions[q].id);
            puts(i->says);
            told++;
        }
    }
    if (told > 0) {
        puts("");
    }
    if (of->all.says) {
        cli_wrap(stdout, 0, of->all.says);
    }
    if (of->lost > 0) {
        printf("%zu answers are to questions that the study has no more; they are left out.\n", of->lost);
    }
}

int train_items(const cli_call *call)
{
    desk d;
    work_studies studies;
    const po_study *study = NULL;
    work_items of;
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? training_studies(&d, &studies) : status;
    status = status == EXIT_CLEAR ? training_study(&studies, call->args[0], &study) : status;
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        status = training_said(&d, "statistics", work_training_items(&w, study, d.arena, &of, &err), &err);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = print_json(study, &of);
    } else if (status == EXIT_CLEAR) {
        print_text(study, &of);
    }
    desk_close(&d);
    return status;
}

/* The questions of a study. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "shop/values.h"
#include "people/study_inside.h"

static const char *const kinds[] = {"one", "several", "order", "number", "place"};
enum { N_KINDS = sizeof kinds / sizeof kinds[0] };

const char *po_question_kind_name(po_question_kind kind)
{
    return kinds[kind];
}

/* Whole numbers between commas, or a list of them; false: not so many, or out of bounds. */
static bool read_numbers(const po_node *node, int low, int high, int *ret, size_t most, size_t *ret_n)
{
    *ret_n = 0;
    const size_t n = node->kind == PO_NODE_LIST ? node->n : 1;
    for (size_t i = 0; i < n; i++) {
        const po_node *item = node->kind == PO_NODE_LIST ? node->items[i] : node;
        double v = 0;
        if (item->kind != PO_NODE_TEXT || *ret_n == most || !po_value_number(item->text, item->n_text, &v) || v < low ||
            v > high || v != floor(v)) {
            return false;
        }
        ret[(*ret_n)++] = (int)v;
    }
    return *ret_n > 0;
}

/* right: 2, or [1, 3], in the order of the options from 1. */
static void read_right(study_reader *r, const po_node *map, const po_key_path *path, po_question *q)
{
    int list[PO_STUDY_OPTIONS_MOST];
    size_t n = 0;
    po_node *node = po_tree_get(map, "right");
    po_key_path at = {path, "right", 0};
    bool fits = node && q->n_options > 0 && read_numbers(node, 1, (int)q->n_options, list, PO_STUDY_OPTIONS_MOST, &n) &&
                (q->kind == PO_ASK_SEVERAL || n == 1);
    for (size_t i = 0; fits && i < n; i++) {
        fits = !(q->right & (1u << (list[i] - 1)));
        q->right |= 1u << (list[i] - 1);
    }
    if (!fits && q->n_options > 0) {
        po_study_fault(r, node ? node : map, &at,
                       po_arena_printf(r->arena,
                                       q->kind == PO_ASK_ONE
                                           ? "the number of the right option, 1 to %zu"
                                           : "a list of the right options' numbers, each once, 1 to %zu",
                                       q->n_options));
    }
}

/* areas: a list of [from x, from y, to x, to y] in thousandths of the picture. */
static void read_areas(study_reader *r, const po_node *map, const po_key_path *path, po_question *q)
{
    po_node *node = po_tree_get(map, "areas");
    po_key_path at = {path, "areas", 0};
    if (!node || node->kind != PO_NODE_LIST || node->n < 1 || node->n > PO_STUDY_AREAS_MOST) {
        po_study_fault(r, node ? node : map, &at,
                       "a list of 1 to 8 areas [from x, from y, to x, to y] in thousandths of the picture");
        return;
    }
    for (size_t i = 0; i < node->n; i++) {
        size_t n = 0;
        po_key_path one = {&at, NULL, i};
        int *a = q->areas[i];
        if (node->items[i]->kind != PO_NODE_LIST || !read_numbers(node->items[i], 0, 1000, a, 4, &n) || n != 4 ||
            a[0] >= a[2] || a[1] >= a[3]) {
            po_study_fault(r, node->items[i], &one,
                           "[from x, from y, to x, to y], whole numbers from 0 to 1000, from less than to");
        }
    }
    q->n_areas = node->n;
    if (!q->picture.file) {
        po_key_path picture = {path, "picture", 0};
        po_study_fault(r, map, &picture, "a picture to point at");
    }
}

static void read_kind(study_reader *r, const po_node *map, const po_key_path *path, po_question *q)
{
    static const char *const foreign[N_KINDS][6] = {{"is", "within", "unit", "areas", NULL},
                                                    {"is", "within", "unit", "areas", NULL},
                                                    {"is", "within", "unit", "areas", "right", NULL},
                                                    {"options", "right", "areas", NULL},
                                                    {"options", "right", "is", "within", "unit", NULL}};
    for (const char *const *key = foreign[q->kind]; *key; key++) {
        po_node *node = po_tree_get(map, *key);
        po_key_path at = {path, *key, 0};
        if (node) {
            po_study_fault(r, node, &at, po_arena_printf(r->arena, "no %s with the kind %s", *key, kinds[q->kind]));
        }
    }
    switch (q->kind) {
    case PO_ASK_ONE:
    case PO_ASK_SEVERAL:
        q->options = po_study_texts(r, map, path, "options", 2, PO_STUDY_OPTIONS_MOST, &q->n_options);
        read_right(r, map, path, q);
        return;
    case PO_ASK_ORDER:
        q->options = po_study_texts(r, map, path, "options", 3, PO_STUDY_OPTIONS_MOST, &q->n_options);
        return;
    case PO_ASK_NUMBER:
        q->is = po_study_number(r, map, path, "is", -1e9, 1e9, NAN, false);
        q->within = po_study_number(r, map, path, "within", 0, 1e9, NAN, false);
        q->unit = po_study_text(r, map, path, "unit", false, 40);
        q->unit = q->unit ? q->unit : "";
        return;
    case PO_ASK_PLACE:
    default:
        read_areas(r, map, path, q);
    }
}

static size_t topic_of(const po_study *study, const char *id)
{
    for (size_t i = 0; id && i < study->n_topics; i++) {
        if (strcmp(study->topics[i].id, id) == 0) {
            return i;
        }
    }
    return SIZE_MAX;
}

static void read_question(study_reader *r, const po_node *m, const po_key_path *path, const po_study *study,
                          po_question *q)
{
    static const char *const known[] = {"topic", "kind",   "hazard", "ask",   "picture", "options", "right",
                                        "is",    "within", "unit",   "areas", "why",     "lesson",  NULL};
    po_study_keys(r, m, path, known);
    q->ask = po_study_text(r, m, path, "ask", true, 2000);
    q->why = po_study_text(r, m, path, "why", true, 4000);
    q->hazard = po_study_flag(r, m, path, "hazard");
    q->picture = po_study_picture_of(r, m, path);
    const char *topic = po_study_text(r, m, path, "topic", true, 60),
               *kind = po_study_text(r, m, path, "kind", true, 20);
    q->lesson = po_study_text(r, m, path, "lesson", false, 60);
    q->topic = topic_of(study, topic);
    if (topic && q->topic == SIZE_MAX) {
        po_key_path at = {path, "topic", 0};
        po_study_fault(r, po_tree_get(m, "topic"), &at, "a topic of this study");
    }
    if (q->lesson && !po_study_lesson(study, q->lesson)) {
        po_key_path at = {path, "lesson", 0};
        po_study_fault(r, po_tree_get(m, "lesson"), &at, "a lesson of this study");
    }
    size_t k = 0;
    while (kind && k < N_KINDS && strcmp(kinds[k], kind) != 0) {
        k++;
    }
    if (kind && k == N_KINDS) {
        po_key_path at = {path, "kind", 0};
        po_study_fault(r, po_tree_get(m, "kind"), &at, "one, several, order, number or place");
    } else if (kind) {
        q->kind = (po_question_kind)k;
        read_kind(r, m, path, q);
    }
}

void po_study_questions(study_reader *r, const po_node *root, po_study *study)
{
    po_question *questions;
    po_node *node = po_study_named(r, root, "questions", true, PO_STUDY_QUESTIONS_MOST, sizeof *questions,
                                   (void **)&questions);
    po_key_path up = {NULL, "questions", 0};
    for (size_t i = 0; node && i < node->n; i++) {
        po_key_path at = {&up, node->keys[i]->text, 0};
        questions[i].id = node->keys[i]->text;
        questions[i].topic = SIZE_MAX;
        if (node->items[i]->kind == PO_NODE_MAP) {
            read_question(r, node->items[i], &at, study, &questions[i]);
        }
    }
    study->questions = questions;
    study->n_questions = node ? node->n : 0;
}

const po_question *po_study_question(const po_study *study, const char *id)
{
    for (size_t i = 0; id && i < study->n_questions; i++) {
        if (strcmp(study->questions[i].id, id) == 0) {
            return &study->questions[i];
        }
    }
    return NULL;
}

const po_lesson *po_study_lesson(const po_study *study, const char *id)
{
    for (size_t i = 0; id && i < study->n_lessons; i++) {
        if (study->lessons[i].id && strcmp(study->lessons[i].id, id) == 0) {
            return &study->lessons[i];
        }
    }
    return NULL;
}

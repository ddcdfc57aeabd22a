/* A study's text to its lessons, topics, questions and steps, with every fault in its place. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>

#include "shop/values.h"
#include "base/text.h"
#include "people/study_inside.h"

enum { LINE_MOST = 1000, TEXT_MOST = 20000, AREA_SIDES = 4 };

/* ---- values ---- */

void po_study_fault(study_reader *r, const po_node *at, const po_key_path *path, const char *expected)
{
    po_fault_add(r->faults, at->line, at->column, path, po_tree_found(at, r->arena), expected);
}

static void missing(study_reader *r, const po_node *map, const po_key_path *path, const char *expected)
{
    po_fault_add(r->faults, map->line, map->column, path, "nothing", expected);
}

void po_study_keys(study_reader *r, const po_node *map, const po_key_path *path, const char *const *known)
{
    for (size_t i = 0; i < map->n; i++) {
        size_t n = 0;
        bool there = false;
        for (; known[n]; n++) {
            there = there || strcmp(known[n], map->keys[i]->text) == 0;
        }
        if (!there) {
            po_key_path at = {path, map->keys[i]->text, 0};
            const char *nearest = po_nearest_name(map->keys[i]->text, known, n);
            po_fault_add(r->faults, map->keys[i]->line, map->keys[i]->column, &at,
                         po_arena_printf(r->arena, "the unknown key \"%.48s\"", map->keys[i]->text),
                         po_arena_printf(r->arena, "a known key; the nearest is %s", nearest ? nearest : known[0]));
        }
    }
}

const char *po_study_text(study_reader *r, const po_node *map, const po_key_path *path, const char *key, bool needed,
                          size_t most)
{
    po_node *node = po_tree_get(map, key);
    po_key_path at = {path, key, 0};
    if (!node || po_tree_is_nothing(node)) {
        if (needed) {
            missing(r, map, &at, po_arena_printf(r->arena, "the key %s with a text", key));
        }
        return NULL;
    }
    if (node->kind != PO_NODE_TEXT || node->n_text == 0 || node->n_text > most || strlen(node->text) != node->n_text) {
        po_study_fault(r, node, &at, po_arena_printf(r->arena, "a text of 1 to %zu bytes", most));
        return NULL;
    }
    return node->text;
}

double po_study_number(study_reader *r, const po_node *map, const po_key_path *path, const char *key, double low,
                       double high, double preset, bool whole)
{
    po_node *node = po_tree_get(map, key);
    po_key_path at = {path, key, 0};
    double v = 0;
    if (!node || po_tree_is_nothing(node)) {
        if (isnan(preset)) {
            missing(r, map, &at, po_arena_printf(r->arena, "the key %s with a number", key));
            return low; /* a number in any case: it goes into whole ones below */
        }
        return preset;
    }
    if (node->kind != PO_NODE_TEXT || node->quoted || !po_value_number(node->text, node->n_text, &v) || v < low ||
        v > high || (whole && v != floor(v))) {
        po_study_fault(r, node, &at,
                       po_arena_printf(r->arena, "a %snumber from %g to %g", whole ? "whole " : "", low, high));
        return isnan(preset) ? low : preset;
    }
    return v;
}

bool po_study_flag(study_reader *r, const po_node *map, const po_key_path *path, const char *key)
{
    po_node *node = po_tree_get(map, key);
    po_key_path at = {path, key, 0};
    bool yes = node && node->kind == PO_NODE_TEXT && strcmp(node->text, "true") == 0;
    if (node && !yes && !(node->kind == PO_NODE_TEXT && strcmp(node->text, "false") == 0)) {
        po_study_fault(r, node, &at, "true or false");
    }
    return yes;
}

/* A name of the book's kind: letters, digits, . _ - */
static bool is_id(const char *s)
{
    size_t n = strlen(s);
    return n >= 1 && n <= 60 && s[0] != '.' && s[0] != '-' &&
           strspn(s, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-") == n;
}

po_node *po_study_named(study_reader *r, const po_node *map, const char *key, bool needed, size_t most, size_t size,
                        void **ret)
{
    po_node *node = po_tree_get(map, key);
    po_key_path at = {NULL, key, 0};
    *ret = NULL;
    if (!node || po_tree_is_nothing(node)) {
        if (needed) {
            missing(r, map, &at, po_arena_printf(r->arena, "the key %s with a mapping of names", key));
        }
        return NULL;
    }
    if (node->kind != PO_NODE_MAP || node->n == 0 || node->n > most) {
        po_study_fault(r, node, &at, po_arena_printf(r->arena, "a mapping of 1 to %zu names", most));
        return NULL;
    }
    for (size_t i = 0; i < node->n; i++) {
        po_key_path one = {&at, node->keys[i]->text, 0};
        if (!is_id(node->keys[i]->text)) {
            po_study_fault(r, node->keys[i], &one, "a name of letters, digits, . _ - (at most 60)");
        }
        if (node->items[i]->kind != PO_NODE_MAP) {
            po_study_fault(r, node->items[i], &one, "a mapping");
        }
    }
    *ret = po_arena_zeros(r->arena, node->n, size);
    r->faults->failed |= !*ret;
    return *ret ? node : NULL;
}

/* ---- parts ---- */

po_study_picture po_study_picture_of(study_reader *r, const po_node *map, const po_key_path *path)
{
    static const char *const known[] = {"file", "shows", NULL};
    po_node *node = po_tree_get(map, "picture");
    po_key_path at = {path, "picture", 0};
    po_study_picture p = {NULL, NULL};
    if (!node || po_tree_is_nothing(node)) {
        return p;
    }
    if (node->kind != PO_NODE_MAP) {
        po_study_fault(r, node, &at, "a mapping with file and shows (for who can't see it)");
        return p;
    }
    po_study_keys(r, node, &at, known);
    p.file = po_study_text(r, node, &at, "file", true, 100);
    p.shows = po_study_text(r, node, &at, "shows", true, LINE_MOST);
    size_t n = p.file ? strlen(p.file) : 0;
    bool kind = n > 4 && (strcmp(p.file + n - 4, ".svg") == 0 || strcmp(p.file + n - 4, ".png") == 0);
    if (p.file && (!is_id(p.file) || !kind)) { /* no folders: it lies beside the study */
        po_key_path file = {&at, "file", 0};
        po_study_fault(r, po_tree_get(node, "file"), &file,
                       "the name of an .svg or .png file beside the study, without folders");
        p.file = NULL;
    }
    return p;
}

const char *const *po_study_texts(study_reader *r, const po_node *map, const po_key_path *path, const char *key,
                                  size_t least, size_t most, size_t *ret_n)
{
    po_node *node = po_tree_get(map, key);
    po_key_path at = {path, key, 0};
    *ret_n = 0;
    if (!node && least == 0) {
        return NULL;
    }
    if (!node || node->kind != PO_NODE_LIST || node->n < least || node->n > most) {
        const char *expected = po_arena_printf(r->arena, "a list of %zu to %zu texts", least, most);
        if (node) {
            po_study_fault(r, node, &at, expected);
        } else {
            missing(r, map, &at, expected);
        }
        return NULL;
    }
    const char **list = po_arena_zeros(r->arena, node->n + 1, sizeof *list);
    r->faults->failed |= !list;
    for (size_t i = 0; list && i < node->n; i++) {
        po_key_path one = {&at, NULL, i};
        const po_node *item = node->items[i];
        if (item->kind != PO_NODE_TEXT || item->n_text == 0 || item->n_text > LINE_MOST ||
            strlen(item->text) != item->n_text) {
            po_study_fault(r, item, &one, "a text of 1 to 1000 bytes");
            continue;
        }
        list[(*ret_n)++] = item->text;
    }
    return list;
}

static void read_lessons(study_reader *r, const po_node *root, po_study *study)
{
    static const char *const known[] = {"title", "text", "picture", "see", NULL};
    po_lesson *lessons;
    po_node *node = po_study_named(r, root, "lessons", false, PO_STUDY_LISTED_MOST, sizeof *lessons, (void **)&lessons);
    po_key_path up = {NULL, "lessons", 0};
    for (size_t i = 0; node && i < node->n; i++) {
        const po_node *m = node->items[i];
        po_key_path at = {&up, node->keys[i]->text, 0};
        if (m->kind != PO_NODE_MAP) {
            continue;
        }
        po_study_keys(r, m, &at, known);
        lessons[i] = (po_lesson){.id = node->keys[i]->text,
                                 .title = po_study_text(r, m, &at, "title", true, LINE_MOST),
                                 .text = po_study_text(r, m, &at, "text", true, TEXT_MOST),
                                 .picture = po_study_picture_of(r, m, &at)};
        lessons[i].see = po_study_texts(r, m, &at, "see", 0, 20, &lessons[i].n_see);
    }
    study->lessons = lessons;
    study->n_lessons = node ? node->n : 0;
}

static void read_topics(study_reader *r, const po_node *root, po_study *study)
{
    static const char *const known[] = {"title", "questions", "refresher", NULL};
    po_topic *topics;
    po_node *node = po_study_named(r, root, "topics", true, PO_STUDY_LISTED_MOST, sizeof *topics, (void **)&topics);
    po_key_path up = {NULL, "topics", 0};
    for (size_t i = 0; node && i < node->n; i++) {
        const po_node *m = node->items[i];
        po_key_path at = {&up, node->keys[i]->text, 0};
        topics[i].id = node->keys[i]->text;
        if (m->kind != PO_NODE_MAP) {
            continue;
        }
        po_study_keys(r, m, &at, known);
        topics[i].title = po_study_text(r, m, &at, "title", true, LINE_MOST);
        topics[i].questions = (int)po_study_number(r, m, &at, "questions", 0, PO_PAPER_QUESTIONS_MOST, NAN, true);
        topics[i].refresher = (int)po_study_number(r, m, &at, "refresher", 0, PO_PAPER_QUESTIONS_MOST,
                                                   (topics[i].questions + 1) / 2, true);
    }
    study->topics = topics;
    study->n_topics = node ? node->n : 0;
}

static void read_practice(study_reader *r, const po_node *root, po_study *study)
{
    static const char *const known[] = {"says", "caution", NULL};
    po_practice_step *steps;
    po_node *node = po_study_named(r, root, "practice", false, PO_STUDY_LISTED_MOST, sizeof *steps, (void **)&steps);
    po_key_path up = {NULL, "practice", 0};
    for (size_t i = 0; node && i < node->n; i++) {
        const po_node *m = node->items[i];
        po_key_path at = {&up, node->keys[i]->text, 0};
        if (m->kind != PO_NODE_MAP) {
            continue;
        }
        po_study_keys(r, m, &at, known);
        steps[i] = (po_practice_step){node->keys[i]->text, po_study_text(r, m, &at, "says", true, LINE_MOST),
                                      po_study_text(r, m, &at, "caution", false, LINE_MOST)};
    }
    study->practice = steps;
    study->n_practice = node ? node->n : 0;
}

/* Is there enough of each topic, and does no paper grow too long? */
static void hold_blueprint(study_reader *r, const po_node *root, const po_study *study)
{
    const po_node *topics = po_tree_get(root, "topics");
    po_key_path up = {NULL, "topics", 0};
    int all = 0;
    for (size_t t = 0; t < study->n_topics; t++) {
        int there = 0, hazards = 0,
            most = study->topics[t].questions > study->topics[t].refresher ? study->topics[t].questions
                                                                           : study->topics[t].refresher;
        for (size_t q = 0; q < study->n_questions; q++) {
            there += study->questions[q].topic == t;
            hazards += study->questions[q].topic == t && study->questions[q].hazard;
        }
        po_key_path at = {&up, study->topics[t].id, 0};
        all += most;
        if (there < most) {
            po_fault_add(r->faults, topics->items[t]->line, topics->items[t]->column, &at,
                         po_arena_printf(r->arena, "%d questions asked for and %d there", most, there),
                         "at least as many questions of the topic as a paper asks");
        }
        if (hazards > 0 && (study->topics[t].questions == 0 || study->topics[t].refresher == 0)) {
            po_fault_add(r->faults, topics->items[t]->line, topics->items[t]->column, &at,
                         "no question in one of the papers", "one at least: it has questions on a hazard");
        }
    }
    if (all > PO_PAPER_QUESTIONS_MOST || (study->n_topics && all == 0)) {
        po_key_path at = {NULL, "topics", 0};
        po_study_fault(
            r, topics, &at,
            po_arena_printf(r->arena, "1 to %d questions in a paper, all topics together", PO_PAPER_QUESTIONS_MOST));
    }
}

static void read_study(study_reader *r, const po_node *root, po_study *study)
{
    static const char *const known[] = {"title",       "grants",  "pass_percent", "minutes",   "refresher_minutes",
                                        "pause_hours", "lessons", "topics",       "questions", "practice",
                                        NULL};
    po_study_keys(r, root, NULL, known);
    study->title = po_study_text(r, root, NULL, "title", true, LINE_MOST);
    study->grants = po_study_text(r, root, NULL, "grants", false, 60);
    study->pass_permille = (int)(10 * po_study_number(r, root, NULL, "pass_percent", 1, 100, NAN, false));
    study->minutes = (int)po_study_number(r, root, NULL, "minutes", 0, 600, 0, true);
    study->refresher_minutes = (int)po_study_number(r, root, NULL, "refresher_minutes", 0, 600, study->minutes, true);
    study->pause_hours = (int)po_study_number(r, root, NULL, "pause_hours", 0, 10000, 0, true);
    read_lessons(r, root, study);
    read_topics(r, root, study);
    po_study_questions(r, root, study);
    read_practice(r, root, study);
    hold_blueprint(r, root, study);
}

po_status po_study_read(const char *text, size_t n_bytes, const char *id, po_arena *arena, const po_study **ret,
                        po_shop_faults *ret_faults, po_err *err)
{
    po_fault_list faults = {.arena = arena};
    study_reader r = {arena, &faults};
    po_node *root = NULL;
    po_study *study = po_arena_zeros(arena, 1, sizeof *study);
    *ret_faults = (po_shop_faults){0};
    if (!study || !(study->id = po_arena_text(arena, id))) {
        return po_fail(err, PO_E_NOMEM, "memory ran out while reading a study");
    }
    po_tree_read(text ? text : "", text ? n_bytes : 0, arena, &faults, &root);
    if (root && root->kind == PO_NODE_MAP) {
        read_study(&r, root, study);
    } else if (root) {
        po_study_fault(&r, root, NULL, "a mapping with title, topics, questions ...");
    } else if (!faults.n && !faults.failed) {
        po_fault_add(&faults, 1, 1, NULL, "an empty file", "a mapping with title, topics, questions ...");
    }
    if (faults.failed) {
        return po_fail_at(err, PO_E_NOMEM, id, 0, 0, "memory ran out while reading a study");
    }
    po_fault_sort(&faults);
    *ret_faults = (po_shop_faults){faults.faults, faults.n};
    if (faults.n) {
        const po_shop_fault *f = &faults.faults[0];
        return po_fail_at(err, faults.limit ? PO_E_LIMIT : PO_E_SYNTAX, id, f->line, f->column,
                          "%s%sfound %.80s, expected %.110s", f->key, *f->key ? ": " : "", f->found, f->expected);
    }
    struct sha256_ctx sha;
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_init(&sha);
    sha256_update(&sha, n_bytes, (const uint8_t *)text);
    sha256_digest(&sha, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        static const char digits[] = "0123456789abcdef";
        study->sha256[2 * i] = digits[digest[i] >> 4];
        study->sha256[2 * i + 1] = digits[digest[i] & 15];
    }
    *ret = study;
    return PO_OK;
}

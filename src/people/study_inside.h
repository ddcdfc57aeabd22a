/* What the readers of a study share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PEOPLE_STUDY_INSIDE_H
#define PO_PEOPLE_STUDY_INSIDE_H

#include "proveout/study.h"
#include "shop/tree.h"

typedef struct study_reader {
    po_arena *arena;
    po_fault_list *faults;
} study_reader;

void po_study_fault(study_reader *r, const po_node *at, const po_key_path *path, const char *expected);
/* Each key of the mapping must be one of these (NULL-ended). */
void po_study_keys(study_reader *r, const po_node *map, const po_key_path *path, const char *const *known);
/* NULL where missing or faulty. */
const char *po_study_text(study_reader *r, const po_node *map, const po_key_path *path, const char *key, bool needed,
                          size_t most);
/* preset NAN: needed. */
double po_study_number(study_reader *r, const po_node *map, const po_key_path *path, const char *key, double low,
                       double high, double preset, bool whole);
bool po_study_flag(study_reader *r, const po_node *map, const po_key_path *path, const char *key);
const char *const *po_study_texts(study_reader *r, const po_node *map, const po_key_path *path, const char *key,
                                  size_t least, size_t most, size_t *ret_n);
/* A mapping of names of the file, with room for what they become; NULL: none, or faulty. */
po_node *po_study_named(study_reader *r, const po_node *map, const char *key, bool needed, size_t most, size_t size,
                        void **ret);
po_study_picture po_study_picture_of(study_reader *r, const po_node *map, const po_key_path *path);
/* The key questions (study_questions.c); topics and lessons are read. */
void po_study_questions(study_reader *r, const po_node *root, po_study *study);

#endif

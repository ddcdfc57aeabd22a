/* Verbs that list. SPDX-License-Identifier: Apache-2.0 */
#include "listing.h"

void listing_print(const desk *d, const json_t *answer, const listing *what)
{
    const json_t *rows = json_object_get(answer, what->list);
    desk_table(d, rows, what->columns, what->n_columns, what->none);
    if (json_is_true(json_object_get(answer, "more")) && json_array_size(rows) > 0) {
        const json_t *last = json_array_get(rows, json_array_size(rows) - 1);
        printf("There are more");
        if (what->next) {
            printf(": --%s %s goes on", what->next, desk_words(d, json_object_get(last, what->next_key), DESK_TEXT));
        }
        printf(".\n");
    }
}

int listing_run(const cli_call *call, const listing *what)
{
    desk d;
    json_t *parameters = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &parameters) : status;
    status = status == EXIT_CLEAR ? desk_ask(&d, what->question, parameters, &answer) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        listing_print(&d, answer, what);
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

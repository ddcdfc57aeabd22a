/* The table of verbs, in the order of the overview. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "verbs.h"

static const cli_family families[] = {
    {cli_check_verb, NULL},
    {cli_orient_verb, NULL},
    {cli_pieces_verb, NULL},
    {cli_nest_verb, NULL},
    {cli_tram_verb, NULL},
    {cli_tune_verbs, "settings from test pieces: feed, flow, size, skew, the first layer's gap"},
    {cli_explain_verb, NULL},
    {cli_shop_check_verb, NULL},
    {cli_shop_show_verb, NULL},
    {cli_today_verb, NULL},
    {cli_member_verbs, "members: enrolled, shown, named, suspended, forgotten, what they owe"},
    {cli_permit_verbs, "permissions: granted, withdrawn, who holds what"},
    {cli_train_verbs, "studies: checked, listed, shown; permissions that lie unused"},
    {cli_paper_verbs, "papers: drawn, answered, handed in, taught; results from elsewhere"},
    {cli_signoff_verbs, "practical steps: who waits, and who was seen to do them"},
    {cli_waive_verbs, "leave to exceed the allowance"},
    {cli_course_verbs, "courses and their assignments"},
    {cli_group_verbs, "groups whose members print together"},
    {cli_fund_verbs, "funds that pay for runs"},
    {cli_run_verbs, "runs: handed out, started, watched, ended or failed, back, how they came out"},
    {cli_shelf_verbs, "parts on the shelf: where they lie, collected, recycled, labels"},
    {cli_plan_verbs, "when a job can start, end and come off; the desk's calendar for other programs"},
    {cli_machine_verbs, "machines: how they stand, tags, rests, what is fitted, gap checks, history"},
    {cli_care_verbs, "care that is due and done; failures in figures: how often, who differs, what gets worse"},
    {cli_why_verbs, "why a print goes wrong: from what is seen to the cause, check by check"},
    {cli_room_verbs, "the room: its air, its circuits, when a bed is cool, cards for the wall"},
    {cli_stick_verbs, "sticks: whose they are, where they are, what is on them"},
    {cli_ticket_verbs, "tickets of those who wait for a machine"},
    {cli_round_verbs, "rounds of the machines at opening and closing, hand-over notes"},
    {cli_outbox_verbs, "what members should hear, and sending it"},
    {cli_spool_verbs, "spools: added, weighed, dried, used up; waste"},
    {cli_import_verbs, "members from a file"},
    {cli_term_verbs, "terms: opened, closed, in one report"},
    {cli_ledger_verbs, "the book itself: made, shown, verified, acts taken back, files kept beside it"},
    {cli_file_verbs, "job files and photos that are kept beside the book"},
    {cli_backup_verb, NULL},
    {cli_restore_verb, NULL},
    {cli_export_verbs, "the book for other programs"},
    {cli_desk_verbs, "the desk's server, and passwords"},
    {cli_help_verb, NULL},
};

const cli_family *cli_families(size_t *ret_n)
{
    *ret_n = sizeof families / sizeof families[0];
    return families;
}

const cli_verb *cli_verb_at(size_t i)
{
    for (size_t f = 0; f < sizeof families / sizeof families[0]; f++) {
        for (const cli_verb *v = families[f].verbs; v->name; v++) {
            if (i-- == 0) {
                return v;
            }
        }
    }
    return NULL;
}

const char *cli_nearest_verb(const char *name, const char *family)
{
    enum { MOST = 200, LONGEST = 24 };
    const char *names[MOST], *whole[MOST];
    char words[MOST][LONGEST];
    size_t n = 0, length = family ? strlen(family) : 0;
    const cli_verb *v;
    for (size_t i = 0; n < MOST && (v = cli_verb_at(i)); i++) {
        if (family && !(!strncmp(v->name, family, length) && v->name[length] == ' ')) {
            continue;
        }
        snprintf(words[n], LONGEST, "%.*s", (int)(family ? strlen(v->name) : strcspn(v->name, " ")), v->name);
        names[n] = words[n];
        whole[n++] = v->name;
    }
    const char *near = po_nearest_name(name, names, n);
    for (size_t i = 0; near && i < n; i++) {
        if (near == names[i]) {
            return whole[i];
        }
    }
    return "";
}

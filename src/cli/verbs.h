/* The verbs by subject: each file has its own, ended by the name NULL. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_VERBS_H
#define PO_CLI_VERBS_H

#include "cli.h"

extern const cli_verb cli_check_verb[], cli_orient_verb[], cli_pieces_verb[], cli_explain_verb[], cli_shop_check_verb[],
    cli_shop_show_verb[], cli_help_verb[];
extern const cli_verb cli_ledger_verbs[], cli_term_verbs[], cli_export_verbs[], cli_backup_verb[], cli_restore_verb[];
extern const cli_verb cli_member_verbs[], cli_permit_verbs[], cli_waive_verbs[], cli_course_verbs[], cli_group_verbs[],
    cli_fund_verbs[], cli_import_verbs[];
extern const cli_verb cli_plan_verbs[], cli_nest_verb[];
extern const cli_verb cli_tram_verb[], cli_tune_verbs[], cli_care_verbs[], cli_why_verbs[], cli_room_verbs[],
    cli_train_verbs[], cli_paper_verbs[], cli_signoff_verbs[];
extern const cli_verb cli_run_verbs[], cli_shelf_verbs[];
extern const cli_verb cli_machine_verbs[], cli_stick_verbs[];
extern const cli_verb cli_today_verb[], cli_ticket_verbs[], cli_round_verbs[], cli_outbox_verbs[];
extern const cli_verb cli_spool_verbs[], cli_file_verbs[];
extern const cli_verb cli_desk_verbs[];

#endif

/* The table of verbs, in the order of the overview. SPDX-License-Identifier: Apache-2.0 */
#include "cli.h"

const cli_verb *const *cli_verbs(size_t *ret_n)
{
    static const cli_verb *const verbs[] = {
        &cli_check_verb,      &cli_orient_verb,    &cli_pieces_verb, &cli_explain_verb,
        &cli_shop_check_verb, &cli_shop_show_verb, &cli_help_verb,
    };
    *ret_n = sizeof verbs / sizeof verbs[0];
    return verbs;
}

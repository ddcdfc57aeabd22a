/* proveout plan feed (plan_feed.c). SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_PLAN_FEED_H
#define PO_CLI_PLAN_FEED_H

#include "cli.h"

int plan_feed(const cli_call *call);

#endif

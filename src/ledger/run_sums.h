/* Sums over runs that have something in common: pieces of SQL. SPDX-License-Identifier: Apache-2.0
 *
 * "SELECT " PO_RUN_SUMS PO_RUN_SUMS_OF(key, which): runs r of members m in terms t, each with the key; GROUP BY key. */
#ifndef PO_LEDGER_RUN_SUMS_H
#define PO_LEDGER_RUN_SUMS_H

/* clang-format off */
/* Of runs that were handed out. um: used, else until it failed, else by the proof (still out). Money of several currencies is
 * not added up. */
#define PO_RUN_SUMS \
    "count(*) AS runs, sum(outcome IS 'good') AS good, sum(outcome IS 'failed') AS failed, sum(outcome IS 'stopped') AS " \
    "stopped, sum(outcome IS 'not-collected') AS not_collected, sum(outcome IS NULL) AS without_outcome, coalesce(sum(um), 0) AS " \
    "um, coalesce(sum(mg), 0) AS mg, sum(mg IS NULL) AS runs_without_mg, coalesce(sum(seconds), 0) AS seconds, sum(seconds IS " \
    "NULL) AS runs_without_seconds, coalesce(sum(charge_um), 0) AS charged_um, coalesce(sum(waived_um), 0) AS waived_um, " \
    "coalesce(sum(beyond_um), 0) AS beyond_um, coalesce(sum(fund_um), 0) AS fund_um, iif(min(currency) IS max(currency), " \
    "sum(beyond_minor), NULL) AS beyond_minor, iif(min(currency) IS max(currency), sum(fund_minor), NULL) AS fund_minor, " \
    "iif(min(currency) IS max(currency), min(currency), NULL) AS currency "
#define PO_RUN_SUMS_OF(key, which) \
    "FROM (SELECT " key " AS key, r.outcome AS outcome, coalesce(r.used_um, r.failed_um, r.reserved_um) AS um, coalesce(r.used_mg, " \
    "(SELECT iif(min(mg > 0 OR um = 0), sum(mg), NULL) FROM takes WHERE run = r.id)) AS mg, coalesce(r.real_seconds, " \
    "r.failed_seconds, r.reserved_seconds) AS seconds, r.charge_um AS charge_um, (SELECT sum(um) FROM draws WHERE run = r.id) AS " \
    "waived_um, r.beyond_um AS beyond_um, r.fund_um AS fund_um, r.beyond_minor AS beyond_minor, r.fund_minor AS fund_minor, " \
    "r.currency AS currency FROM runs r JOIN members m ON m.id = r.member LEFT JOIN terms t ON t.id = r.term WHERE r.state NOT IN " \
    "('reserved', 'dropped') AND " which ") "
/* clang-format on */

#endif

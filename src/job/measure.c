/* A job measured: the public call. SPDX-License-Identifier: Apache-2.0
 *
 *     bytes -> lines, 32 at a time -> each lane -> (pump) each group's deposit
 *
 * Machines that read, move and heat alike and carry the same nozzles share a lane; lanes whose beads may be the same share
 * a deposit (group). Lanes that turn out to lay other beads than their group's first get another pass over the bytes. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/input.h"
#include "base/pool.h"
#include "job/group.h"
#include "job/jobfacts.h"

enum { RUN_LINES = 32, PROGRESS_RUNS = 64 }; /* asked every so many runs of lines: a few ms, so that it stops soon */

typedef struct setups {
    const po_job_setup **at; /* all that this pass measures */
    size_t *number;          /* their places in the caller's list */
    size_t *lane, *group;
    size_t n;
} setups;

/* What one pass works with. Arrays hold one entry for each setup at most. */
typedef struct pass {
    setups s;
    po_lane *lanes;
    const po_job_setup **lane_machines; /* by lane, one lane after another */
    size_t *lane_first, *lane_count;
    size_t n_lanes;
    po_group *groups;
    po_lane **group_lanes; /* by group */
    const po_job_setup **group_machines;
    size_t *machine_lane, *machine_setup; /* of group_machines: lane within its group; index in s */
    size_t *group_first, *group_count;    /* in group_machines */
    size_t n_groups;
    po_workers *workers;
    po_file_facts file;
} pass;

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "no memory to measure a job");
}

static void pass_done(pass *p)
{
    po_workers_free(p->workers);
    for (size_t i = 0; i < p->n_groups; i++) {
        po_group_done(&p->groups[i]);
    }
    for (size_t i = 0; i < p->n_lanes; i++) {
        po_lane_done(&p->lanes[i]);
    }
    free(p->s.at);
    free(p->s.number);
    free(p->s.lane);
    free(p->s.group);
    free(p->lanes);
    free(p->lane_machines);
    free(p->lane_first);
    free(p->lane_count);
    free(p->groups);
    free(p->group_lanes);
    free(p->group_machines);
    free(p->machine_lane);
    free(p->machine_setup);
    free(p->group_first);
    free(p->group_count);
    memset(p, 0, sizeof *p);
}

/* Room for n setups. */
static bool pass_new(pass *p, size_t n)
{
    memset(p, 0, sizeof *p);
    p->s.at = calloc(n, sizeof *p->s.at);
    p->s.number = calloc(n, sizeof *p->s.number);
    p->s.lane = calloc(n, sizeof *p->s.lane);
    p->s.group = calloc(n, sizeof *p->s.group);
    p->lanes = calloc(n, sizeof *p->lanes);
    p->lane_machines = calloc(n, sizeof *p->lane_machines);
    p->lane_first = calloc(n, sizeof *p->lane_first);
    p->lane_count = calloc(n, sizeof *p->lane_count);
    p->groups = calloc(n, sizeof *p->groups);
    p->group_lanes = calloc(n, sizeof *p->group_lanes);
    p->group_machines = calloc(n, sizeof *p->group_machines);
    p->machine_lane = calloc(n, sizeof *p->machine_lane);
    p->machine_setup = calloc(n, sizeof *p->machine_setup);
    p->group_first = calloc(n, sizeof *p->group_first);
    p->group_count = calloc(n, sizeof *p->group_count);
    return p->s.at && p->s.number && p->s.lane && p->s.group && p->lanes && p->lane_machines && p->lane_first &&
           p->lane_count && p->groups && p->group_lanes && p->group_machines && p->machine_lane && p->machine_setup &&
           p->group_first && p->group_count;
}

/* Which setups share a lane, and which a group. */
static void sort_out(pass *p)
{
    setups *s = &p->s;
    p->n_groups = p->n_lanes = 0;
    size_t n_groups = 0, n_lanes = 0;
    for (size_t i = 0; i < s->n; i++) {
        size_t k = 0;
        while (k < i && !po_group_alike(s->at[k], s->at[i])) {
            k++;
        }
        s->group[i] = k < i ? s->group[k] : n_groups++;
        k = 0;
        while (k < i && !(s->group[k] == s->group[i] && po_lane_alike(s->at[k], s->at[i]))) {
            k++;
        }
        s->lane[i] = k < i ? s->lane[k] : n_lanes++;
    }
    size_t at = 0;
    for (size_t lane = 0; lane < n_lanes; lane++) {
        p->lane_first[lane] = at;
        for (size_t i = 0; i < s->n; i++) {
            if (s->lane[i] == lane) {
                p->lane_machines[at++] = s->at[i];
            }
        }
        p->lane_count[lane] = at - p->lane_first[lane];
    }
}

static po_status make_lanes(pass *p, po_err *err)
{
    size_t n = 0;
    for (size_t i = 0; i < p->s.n; i++) {
        n = p->s.lane[i] + 1 > n ? p->s.lane[i] + 1 : n;
    }
    while (p->n_lanes < n) {
        size_t k = p->n_lanes;
        po_status status = po_lane_init(&p->lanes[k], p->lane_machines + p->lane_first[k], p->lane_count[k], err);
        if (status != PO_OK) {
            return status;
        }
        p->n_lanes++;
    }
    return PO_OK;
}

static po_status make_groups(pass *p, const po_job_options *options, size_t threads, po_err *err)
{
    size_t n = 0;
    for (size_t i = 0; i < p->s.n; i++) {
        n = p->s.group[i] + 1 > n ? p->s.group[i] + 1 : n;
    }
    size_t n_workers = threads - 1 < n ? threads - 1 : n;
    if (n_workers) {
        p->workers = po_workers_new(n_workers);
        if (!p->workers) {
            n_workers = 0; /* no threads to be had: the work is done here */
        }
    }
    size_t lanes_at = 0, machines_at = 0;
    while (p->n_groups < n) {
        size_t k = p->n_groups, n_lanes = 0, first = machines_at;
        po_lane **lanes = p->group_lanes + lanes_at;
        for (size_t i = 0; i < p->s.n; i++) {
            if (p->s.group[i] != k) {
                continue;
            }
            po_lane *lane = &p->lanes[p->s.lane[i]];
            size_t l = 0;
            while (l < n_lanes && lanes[l] != lane) {
                l++;
            }
            if (l == n_lanes) {
                lanes[n_lanes++] = lane;
            }
            p->group_machines[machines_at] = p->s.at[i];
            p->machine_lane[machines_at] = l;
            p->machine_setup[machines_at++] = i;
        }
        p->group_first[k] = first;
        p->group_count[k] = machines_at - first;
        lanes_at += n_lanes;
        po_status status = po_group_init(&p->groups[k], lanes, n_lanes, p->group_machines + first,
                                         p->machine_lane + first, machines_at - first, options->images, options->prints,
                                         p->workers, n_workers ? k % n_workers : 0, err);
        if (status != PO_OK) {
            return status;
        }
        p->n_groups++;
    }
    return PO_OK;
}

/* Whether a last line without an end breaks off: damage, or a letter of a move without its number. */
static bool breaks_off(const po_line *line)
{
    if (!line->unended) {
        return false;
    }
    const uint32_t axes = PO_LETTER('X') | PO_LETTER('Y') | PO_LETTER('Z') | PO_LETTER('E') | PO_LETTER('F') |
                          PO_LETTER('I') | PO_LETTER('J') | PO_LETTER('R');
    bool moves = line->n_codes && line->codes[0].letter == 'G' && line->codes[0].number <= 3;
    return line->damage != PO_DAMAGE_NONE || (moves && (line->bare & axes));
}

static po_status read_lines(pass *p, po_input *input, const po_job_options *options, po_line_reader *reader,
                            po_err *err)
{
    const char *at = NULL, *end = NULL;
    bool eof = false;
    uint64_t number = 0, told = 0, runs = 0;
    po_line lines[RUN_LINES];
    do {
        po_status status = po_line_reader_fill(reader, at, &at, &end, &eof, err);
        if (status != PO_OK) {
            return status;
        }
        size_t n;
        do {
            at = po_line_parse_run(at, end, eof, lines, RUN_LINES, &n);
            for (size_t i = 0; i < n; i++) {
                lines[i].number = ++number;
            }
            for (size_t k = 0; k < p->n_lanes; k++) {
                status = po_lane_lines(&p->lanes[k], lines, n, err);
                if (status != PO_OK) {
                    return status;
                }
            }
            if (n && lines[n - 1].unended) {
                p->file.last_unended = true;
                p->file.last_broken = breaks_off(&lines[n - 1]);
            }
            for (size_t k = 0; k < p->n_groups; k++) {
                if (!po_group_pump(&p->groups[k])) {
                    return no_memory(err);
                }
            }
            if (options->progress &&
                ++runs % PROGRESS_RUNS == 0) { /* of packed files the bytes ahead are more than their share */
                uint64_t done = po_input_raw_done(input), ahead = (uint64_t)(end - at);
                told = done > ahead && done - ahead > told ? done - ahead : told;
                if (!options->progress(told, po_input_raw_total(input), options->user)) {
                    return po_fail(err, PO_E_CANCELLED, "stopped when asked to");
                }
            }
        } while (n == RUN_LINES);
    } while (!eof);
    p->file.lines = p->file.last_line = number;
    for (size_t k = 0; k < p->n_lanes; k++) {
        po_status status = po_lane_finish(&p->lanes[k], err);
        if (status != PO_OK) {
            return status;
        }
    }
    return PO_OK;
}

static po_status lay(pass *p, po_err *err)
{
    for (size_t k = 0; k < p->n_groups; k++) {
        if (!po_group_finish(&p->groups[k])) {
            return no_memory(err);
        }
    }
    return PO_OK;
}

/* Reports of all setups whose lane lays what its group's first lays; the others stay NULL. */
static po_status reports(pass *p, const po_job_options *options, po_arena *arena, const po_job_report **ret,
                         po_err *err)
{
    for (size_t i = 0; i < p->s.n; i++) {
        size_t lane = p->s.lane[i], machine = 0;
        if (p->lanes[lane].off) {
            continue;
        }
        for (size_t k = 0; k < i; k++) {
            machine += p->s.lane[k] == lane;
        }
        po_job_report *r = po_report_new(&p->lanes[lane], machine, &p->file, arena);
        if (!r) {
            return no_memory(err);
        }
        if (options->deposit) {
            size_t g = p->s.group[i], at = 0;
            double densities[PO_MAX_TOOLS];
            for (size_t k = 0; k < PO_MAX_TOOLS; k++) { /* tools that the machine lacks: the last material's */
                densities[k] = k == 0 || k < r->n_materials ? r->materials[k]->density_g_cm3 : densities[k - 1];
            }
            while (p->machine_setup[p->group_first[g] + at] != i) {
                at++;
            }
            if (!po_deposit_report(p->groups[g].deposit, at, densities, arena, &r->facts, r->sights,
                                   options->images ? &r->images : NULL) ||
                (options->prints && !po_deposit_prints(p->groups[g].deposit, arena, &r->prints, &r->n_prints))) {
                return no_memory(err);
            }
        }
        ret[p->s.number[i]] = r;
    }
    return PO_OK;
}

/* Not a job at all: no motion word, or hardly any in a heap of what is none (other files hold "G1" by chance). */
static bool no_job(const po_state *s)
{
    return s->n_motion_words == 0 ||
           (s->odd[PO_ODD_DAMAGED].count > 64 && s->n_motion_words < s->odd[PO_ODD_DAMAGED].count / 64);
}

po_status po_job_measure(const po_source *source, const po_job_setup *given, size_t n_setups,
                         const po_job_options *options, po_arena *arena, const po_job_report **ret_reports, po_err *err)
{
    static const po_job_options usual = PO_JOB_OPTIONS_INIT;
    options = options ? options : &usual;
    if (n_setups == 0) {
        return po_fail(err, PO_E_RANGE, "no machine to measure for");
    }
    size_t threads = 1;
    if (options->threads > 0) {
        threads = options->threads < 64 ? (size_t)options->threads : 64;
    } else {
        po_pool *pool = po_pool_new(0);
        threads = pool ? (size_t)po_pool_threads(pool) : 1;
        po_pool_free(pool);
    }
    po_input *input = NULL;
    po_line_reader *reader = NULL;
    const po_job_report **out = calloc(n_setups, sizeof *out);
    pass p = {0}, next = {0};
    po_file_facts file = {0};
    po_status status = PO_OK;
    if (!out || !pass_new(&p, n_setups)) {
        status = no_memory(err);
        goto done;
    }
    p.s.n = n_setups;
    for (size_t i = 0; i < n_setups; i++) {
        p.s.at[i] = &given[i];
        p.s.number[i] = i;
    }
    status = po_input_open(source, options->most_bytes, options->hash, &input, err);
    if (status != PO_OK) {
        goto done;
    }
    for (bool first = true;; first = false) {
        sort_out(&p);
        status = make_lanes(&p, err);
        if (status == PO_OK && options->deposit) {
            status = make_groups(&p, options, threads, err);
        }
        if (status != PO_OK) {
            goto done;
        }
        if (first && options->deposit && p.n_groups < p.n_lanes) {
            po_input_keep(input); /* lanes may turn out to differ */
        }
        status = first ? PO_OK : po_input_again(input, err);
        if (status == PO_OK) {
            status = po_line_reader_new(input, &reader, err);
        }
        if (status == PO_OK) {
            status = read_lines(&p, input, options, reader, err);
        }
        if (status != PO_OK) {
            goto done;
        }
        po_line_reader_free(reader);
        reader = NULL;
        if (first) {
            if (no_job(&p.lanes[0].state)) {
                status = p.file.lines == 0
                             ? po_fail(err, PO_E_EMPTY, "the file is empty")
                             : po_fail(err, PO_E_EMPTY, "neither a job nor a part: no motion word in %llu line%s",
                                       (unsigned long long)p.file.lines, p.file.lines == 1 ? "" : "s");
                goto done;
            }
            file = p.file;
            file.bytes = po_input_raw_done(input);
            if (options->hash) {
                status = po_input_sha256(input, file.sha256, err);
                if (status != PO_OK) {
                    goto done;
                }
            }
        }
        p.file = file;
        status = lay(&p, err);
        if (status == PO_OK) {
            status = reports(&p, options, arena, out, err);
        }
        size_t left = 0;
        for (size_t i = 0; i < p.s.n; i++) {
            left += p.lanes[p.s.lane[i]].off;
        }
        if (status != PO_OK || left == 0) {
            break;
        }
        if (!pass_new(&next, left)) {
            status = no_memory(err);
            goto done;
        }
        for (size_t i = 0; i < p.s.n; i++) {
            if (p.lanes[p.s.lane[i]].off) {
                next.s.at[next.s.n] = p.s.at[i];
                next.s.number[next.s.n++] = p.s.number[i];
            }
        }
        pass_done(&p);
        p = next;
        memset(&next, 0, sizeof next);
    }
    if (status == PO_OK) {
        memcpy(ret_reports, out, n_setups * sizeof *out);
    }
done:
    pass_done(&p);
    pass_done(&next);
    po_line_reader_free(reader);
    po_input_close(input);
    free(out);
    return status;
}

/* Facts of small programs worked by hand; one answer whatever the way; hostile input. SPDX-License-Identifier: Apache-2.0
 *
 * Outside checks: trapezoids t = d/v + v/a (handbook 3.1), quarter circle and stadium of RS274/NGC arcs (NISTIR 6556,
 * 3.5.3), 1 m of 1.75 mm filament is 2.40528 cm3 (docs/measures.md). */
#include <fcntl.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>
#include <zlib.h>

#include "base/rounds.h"
#include "job/try_job.h"

static const po_job_report *facts_of(const char *text, try_machine machine, po_arena **ret_arena)
{
    po_status status;
    const po_job_report *r = try_text(text, strlen(text), machine, false, ret_arena, &status);
    assert_int_equal(status, PO_OK);
    return r;
}

static void lengths_and_counts(void **state)
{
    (void)state;
    /* a bead of 40, a quarter arc of radius 10, a travel with retraction of 10, Z with E (a feed), G10 and G11 */
    const char *text =
        "G28\nM109 S220\nG90\nM83\nG1 X20 Y20 Z1 F6000\nG1 X60 E2 F1800\nG3 X70 Y30 J10 E0.5\nG1 X80 E-1\n"
        "G1 Z2 E-0.5 F600\nG10\nG10\nG11\nG1 E2 F1800\nG1 X80 Y30\nG0 X80\n";
    po_arena *arena;
    const po_job_facts *f = &facts_of(text, TRY_PLAIN, &arena)->facts;
    assert_int_equal(f->lines, 15);
    assert_int_equal(f->bytes, strlen(text));
    assert_int_equal(f->moves, 6); /* G1 X80 Y30 and G0 X80 change nothing */
    assert_int_equal(f->retractions, 3);
    assert_float_equal(f->extruding_mm, 40 + 10 * M_PI / 2, 1e-9);
    assert_float_equal(f->travel_mm, sqrt(20 * 20 + 20 * 20 + 1) + 10, 1e-9);
    /* net: 2, 2.5, 1.5, 1, 0 (G10), 1.1 (G11 pushes 0.1 more), 3.1 */
    assert_float_equal(f->filament_mm, 3.1, 1e-9);
    assert_float_equal(f->filament_net_mm, 3.1, 1e-9);
    assert_float_equal(f->volume_mm3, 3.1 * 2.40528, 1e-4);
    assert_float_equal(f->filament_g, f->volume_mm3 * 1.25 / 1000, 1e-12);
    assert_float_equal(f->bounds_all_mm.min[0], 20, 1e-9);
    assert_float_equal(f->bounds_all_mm.max[0], 70, 1e-9);
    assert_float_equal(f->bounds_all_mm.max[1], 30, 1e-9);
    assert_float_equal(f->travel_bounds_mm.max[0], 80, 1e-9);
    assert_float_equal(f->travel_bounds_mm.min[2], 0, 1e-9);
    assert_float_equal(f->travel_bounds_mm.max[2], 1, 1e-9);
    assert_true(isnan(f->bounds_mm.min[0]) && !f->deposit_done);
    po_arena_free(arena);
}

static void arcs_bulge(void **state)
{
    (void)state;
    /* half a circle about (50, 50), radius 10, from the right over the top to the left; then a full turn */
    const char *text = "G28\nG90\nM83\nG1 X60 Y50 Z0.2 F6000\nG3 X40 Y50 I-10 E1\nG1 X100 Y100\nG2 I-10 E2\n";
    po_arena *arena;
    const po_job_facts *f = &facts_of(text, TRY_PLAIN, &arena)->facts;
    assert_float_equal(f->extruding_mm, 30 * M_PI, 1e-9);
    assert_float_equal(f->bounds_all_mm.min[0], 40, 1e-9);
    assert_float_equal(f->bounds_all_mm.min[1], 50, 1e-9);
    assert_float_equal(f->bounds_all_mm.max[0], 100, 1e-9);
    assert_float_equal(f->bounds_all_mm.max[1], 110, 1e-9);
    po_arena_free(arena);
}

static void seconds_with_waits(void **state)
{
    (void)state;
    /* home 9; the bed and the nozzle warm from there on; probe 20; bed: 40 K at 0.5 = 80 s, 60 left; nozzle: 200 K at 2 =
     * 100 s, 80 gone, 20 left. Moves from rest to rest: 100 at 100 mm/s: 1.1 s; E alone 10 at 30: 10/30 + 30/1000. */
    const char *text = "G28\nM140 S60\nM104 S220\nG29\nM190 S60\nM109 S220\nG90\nM83\nG1 X100 F6000\nG4 P500\n"
                       "G1 E10 F1800\nM400\nG1 X0 E3 F6000\nG4 S2\nG28 X\nM109 S200\nM109 S230\n";
    po_arena *arena;
    const po_job_facts *f = &facts_of(text, TRY_PLAIN, &arena)->facts;
    assert_float_equal(f->wait_seconds, 9 + 20 + 0.5 + 2 + 3, 1e-9);
    assert_float_equal(f->heat_seconds, 60 + 20 + 5, 1e-9); /* to 200: no cooling; from 220 to 230: 5 s */
    assert_float_equal(f->motion_seconds, 1.1 + 10 / 30.0 + 0.03 + 1.1, 1e-9);
    assert_float_equal(f->seconds, f->wait_seconds + f->heat_seconds + f->motion_seconds, 1e-9);
    assert_float_equal(f->tools[0].seconds, f->seconds, 1e-9);
    assert_float_equal(f->last_bed_c, 60, 0);
    assert_float_equal(f->shutdown_nozzle_c, 230, 0);
    assert_float_equal(f->nozzle_c.first, 220, 0);
    po_arena_free(arena);
}

static void limits_change_on_the_way(void **state)
{
    (void)state;
    /* 100 mm at 100 mm/s: 1.1 s at 1000 mm/s2, 1.2 s at 500; never above the machine's */
    const char *text = "G28\nG90\nG1 X100 F6000\nM204 T500\nM400\nG1 X0\nM400\nM204 T9000\nG1 X100\n";
    po_arena *arena;
    const po_job_report *r = facts_of(text, TRY_PLAIN, &arena);
    assert_float_equal(r->facts.motion_seconds, 1.1 + 1.2 + 1.1, 1e-9);
    assert_float_equal(r->sights[PO_SIGHT_LOOSENS_LIMITS].worst, 9, 1e-9);
    po_arena_free(arena);
}

static void shares_and_tools(void **state)
{
    (void)state;
    /* two beads of 30 mm at 30 mm/s, rest to rest 1.03 s: one at 220, the other with tool 1 at 240; fan 0 and 100 % */
    const char *text =
        "G28\nM140 S60\nG90\nM83\nM109 S220\nM104 T1 S240\nG1 X30 Y30 Z0.2 F6000\nM400\nG1 X60 E1 F1800\nT1\n"
        "M109 S240\nM106\nG1 X30 E2\nM107\nM104 S0\nM104 T0 S0\nM140 S0\n";
    po_arena *arena;
    const po_job_facts *f = &facts_of(text, TRY_PAIR, &arena)->facts;
    assert_int_equal(f->n_tools, 2);
    assert_float_equal(f->tools[0].filament_mm, 1, 1e-12);
    assert_float_equal(f->tools[1].filament_mm, 2, 1e-12);
    assert_float_equal(f->tools[1].extruding_mm, 30, 1e-12);
    assert_float_equal(f->tools[0].seconds + f->tools[1].seconds, f->seconds, 1e-9);
    assert_float_equal(f->tools[1].nozzle_c.first, 240, 0);
    assert_float_equal(f->nozzle_c.lowest, 220, 0);
    assert_float_equal(f->nozzle_c.highest, 240, 0);
    assert_float_equal(f->fan_percent.lowest, 0, 0);
    assert_float_equal(f->fan_percent.highest, 100, 0);
    assert_float_equal(f->tools[0].nozzle_share[220], 1, 1e-6);
    assert_float_equal(f->tools[1].nozzle_share[240], 1, 1e-6);
    assert_float_equal(f->bed_share[60], 1, 1e-6);
    assert_true(f->job_ends && f->homes && !f->probes && f->sets_mode && !f->sets_units);
    po_arena_free(arena);
}

static void shares_outside(void **state)
{
    (void)state;
    const float share[4] = {0.1F, 0.2F, 0.3F, 0.4F};
    assert_float_equal(po_share_outside(share, 4, 1, 1, 2), 0.5, 1e-6);
    assert_float_equal(po_share_outside(share, 4, 0.01, 0, 1), 0, 1e-6);
    assert_float_equal(po_share_outside(NULL, 4, 1, 0, 1), 0, 0);
}

static void not_a_job(void **state)
{
    (void)state;
    static const char stl[] =
        "solid g\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\n"
        "endfacet\nendsolid\n";
    char noise[20000];
    uint32_t seed = 7;
    for (size_t i = 0; i < sizeof noise; i++) {
        seed = seed * 1664525 + 1013904223;
        noise[i] = (char)(seed >> 24);
    }
    const struct {
        const char *text;
        size_t n;
    } rows[] = {{"", 0}, {"\n\n", 2}, {"; nothing\nM104 S200\n", 20}, {stl, sizeof stl - 1}, {noise, sizeof noise}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        po_arena *arena;
        po_status status;
        assert_null(try_text(rows[i].text, rows[i].n, TRY_PLAIN, true, &arena, &status));
        assert_int_equal(status, PO_E_EMPTY);
        po_arena_free(arena);
    }
}

/* --- one answer --------------------------------------------------------------------------------------------------- */

static const po_job_report *measure(const po_source *source, const po_job_setup *setups, size_t n, int threads,
                                    po_arena *arena, const po_job_report **ret)
{
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.threads = threads;
    po_err err;
    po_status status = po_job_measure(source, setups, n, &options, arena, ret, &err);
    if (status != PO_OK) {
        fail_msg("%s", err.msg);
    }
    return ret[0];
}

static void assert_same(const po_job_report *a, const po_job_report *b, const char *name)
{
    const char *what;
    if (!try_same(a, b, &what)) {
        fail_msg("%s: %s differs", name, what);
    }
}

static void however_it_comes(void **state)
{
    (void)state;
    char *text = try_block(TRY_HEAD, TRY_TAIL, 12, 14);
    assert_non_null(text);
    size_t n = strlen(text);
    char path[] = "/tmp/po-measure-XXXXXX", packed[] = "/tmp/po-measure-XXXXXX";
    int fd = mkstemp(path), gz = mkstemp(packed);
    assert_true(fd >= 0 && gz >= 0);
    assert_int_equal(write(fd, text, n), (ssize_t)n);
    close(fd);
    gzFile z = gzdopen(gz, "wb");
    assert_int_equal(gzwrite(z, text, (unsigned)n), (int)n);
    gzclose(z);
    po_arena *arena = po_arena_new(0);
    po_job_setup setup = try_setup(TRY_PLAIN);
    const po_job_report *r[6];
    po_source memory = {.data = text, .n_bytes = n}, file = {.path = path}, gzip = {.path = packed},
              input = {.path = "-"};
    measure(&memory, &setup, 1, 1, arena, &r[0]);
    assert_true(r[0]->facts.layers == 12 && r[0]->facts.n_parts == 1 && r[0]->facts.first_bead_seconds > 0);
    measure(&memory, &setup, 1, 4, arena, &r[1]);
    assert_same(r[0], r[1], "four threads");
    measure(&file, &setup, 1, 2, arena, &r[2]);
    assert_same(r[0], r[2], "a file");
    measure(&gzip, &setup, 1, 1, arena, &r[3]);
    assert_string_not_equal(r[0]->sha256, r[3]->sha256); /* of the bytes as given */
    memcpy(((po_job_report *)r[3])->sha256, r[0]->sha256, sizeof r[0]->sha256);
    assert_same(r[0], r[3], "gzip");
    int before = dup(0), from = open(path, O_RDONLY);
    dup2(from, 0);
    close(from);
    measure(&input, &setup, 1, 2, arena, &r[4]);
    dup2(before, 0);
    close(before);
    assert_same(r[0], r[4], "standard input");
    unlink(path);
    unlink(packed);
    po_arena_free(arena);
    free(text);
}

/* Several machines at once, each alone: also where they read the file differently, and it comes through a pipe. */
static void several_machines(void **state)
{
    (void)state;
    static const char *const heads[] = {TRY_HEAD, "M83\nG28\nG29\nM109 S220\nG90\nG1 X20 Y20 Z0.2 F6000\n",
                                        "G28\nG91\nG1 Z5 F600\nG1 X10 E0.5\nG90\nM83\nM109 S220\n"};
    for (size_t h = 0; h < 3; h++) {
        char *text = try_block(heads[h], TRY_TAIL, 8, 12);
        assert_non_null(text);
        size_t n = strlen(text);
        const try_machine order[] = {TRY_PLAIN, TRY_PAIR, TRY_ROUND, TRY_PLAIN};
        po_job_setup setups[4];
        const po_job_report *all[4], *alone;
        for (int i = 0; i < 4; i++) {
            setups[i] = try_setup(order[i]);
        }
        po_arena *arena = po_arena_new(0);
        int ends[2];
        assert_int_equal(pipe(ends), 0);
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0) {
            close(ends[0]);
            for (size_t at = 0; at < n;) {
                ssize_t some = write(ends[1], text + at, n - at < 1000 ? n - at : 1000);
                if (some <= 0) {
                    _exit(1);
                }
                at += (size_t)some;
            }
            _exit(0);
        }
        close(ends[1]);
        int before = dup(0);
        dup2(ends[0], 0);
        close(ends[0]);
        po_source input = {.path = "-"}, memory = {.data = text, .n_bytes = n};
        measure(&input, setups, 4, h ? 3 : 1, arena, all);
        dup2(before, 0);
        close(before);
        int ended;
        waitpid(child, &ended, 0);
        for (int i = 0; i < 4; i++) {
            assert_ptr_equal(all[i]->machine, &try_machines[order[i]]);
            measure(&memory, &setups[i], 1, 1, arena, &alone);
            assert_same(alone, all[i], all[i]->machine->name);
        }
        /* M83 before G90: with E following G90 it is another job */
        assert_int_equal(h == 1, all[0]->facts.filament_mm != all[1]->facts.filament_mm);
        po_arena_free(arena);
        free(text);
    }
}

static bool stop_at_once(uint64_t done, uint64_t total, void *user)
{
    (void)done;
    (void)total;
    ++*(int *)user;
    return false;
}

static void stops_when_asked(void **state)
{
    (void)state;
    size_t n = 12 << 20;
    char *text = malloc(n + 1);
    assert_non_null(text);
    memset(text, '\n', n);
    memcpy(text, "G28\nG1 X5\n", 10);
    int calls = 0;
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.progress = stop_at_once;
    options.user = &calls;
    po_job_setup setup = try_setup(TRY_PLAIN);
    po_source source = {.data = text, .n_bytes = n};
    const po_job_report *r = NULL;
    po_arena *arena = po_arena_new(0);
    po_err err;
    assert_int_equal(po_job_measure(&source, &setup, 1, &options, arena, &r, &err), PO_E_CANCELLED);
    assert_int_equal(calls, 1);
    options.progress = NULL;
    options.most_bytes = 1000;
    assert_int_equal(po_job_measure(&source, &setup, 1, &options, arena, &r, &err), PO_E_LIMIT);
    source = (po_source){.path = "/nowhere/at all"};
    assert_int_equal(po_job_measure(&source, &setup, 1, &options, arena, &r, &err), PO_E_NOTFOUND);
    po_arena_free(arena);
    free(text);
}

/* --- hostile input ------------------------------------------------------------------------------------------------ */

static void look_at(const char *text, size_t n, bool deposit)
{
    char *own = malloc(n ? n : 1); /* exactly as long: a read beyond it is seen */
    assert_non_null(own);
    memcpy(own, text, n);
    po_arena *arena;
    po_status status;
    const po_job_report *r = try_text(own, n, TRY_PLAIN, deposit, &arena, &status);
    assert_true(status == PO_OK || status == PO_E_EMPTY || status == PO_E_NOMEM);
    assert_int_equal(status == PO_OK, r != NULL);
    if (r) {
        assert_true(r->facts.seconds >= 0 && isfinite(r->facts.seconds));
        assert_true(r->facts.filament_mm >= 0 && isfinite(r->facts.filament_mm));
        for (int s = 0; s < PO_SIGHT_COUNT; s++) {
            assert_true(!r->sights[s].count || r->sights[s].first.known);
        }
    }
    po_arena_free(arena);
    free(own);
}

static void every_prefix(void **state)
{
    (void)state;
    const char *text = TRY_HEAD TRY_BODY "G2 X30 Y30 I5 J5 E0.4\nM600\nT1\nG10\nM204 S500\n(x) G1 Z0.4 E1\n" TRY_TAIL;
    for (size_t n = 0; n <= strlen(text); n++) {
        look_at(text, n, false);
    }
    for (size_t n = 0; n <= strlen(text); n += 7) {
        look_at(text, n, true);
    }
}

static void mutations(void **state)
{
    (void)state;
    char *text = try_block(TRY_HEAD "G2 X30 Y30 I5 J5 E0.4\nM600\nG10\nM204 S500\n", TRY_TAIL, 2, 6);
    assert_non_null(text);
    size_t n = strlen(text);
    char *own = malloc(n + 1);
    assert_non_null(own);
    uint64_t seed = 1;
    static const char digits[] = "0123456789-.+\n GMXYZEFIJRST";
    for (int round = 0; round < PO_ROUNDS(1500, 360); round++) {
        memcpy(own, text, n + 1);
        for (int k = 0; k < 1 + round % 9; k++) {
            seed = seed * 6364136223846793005u + 1442695040888963407u;
            size_t at = (size_t)(seed >> 33) % n;
            own[at] = round % 3 ? digits[(seed >> 20) % (sizeof digits - 1)] : (char)(seed >> 11);
        }
        look_at(own, n, round % 8 == 0);
    }
    free(own);
    free(text);
}

static void absurd_numbers(void **state)
{
    (void)state;
    static const char *const rows[] = {
        "G28\nG1 X10000000 F600\nG1 X20000000 E100000\nG1 X0 E1e5\n",
        "G28\nM83\nG2 X10 I1000000000 E1\nG3 X20 R1000000000 E1\nG2 X1 Y1 R0.0000001\n",
        "G1 X-999999999 Y999999999 Z999999999 E999999999 F999999999\nG1 X0 Y0 Z0 E0 F0.000001\n",
        "G28\nM109 S99999999\nM190 S99999999\nG4 S999999999\nM106 S99999999\nT99999999\nG1 X1 E1 F600\n",
        "M220 S999999999\nM221 S999999999\nM200 D0.0001\nG1 X1 E999999999 F600\nM201 X0.0000001\nG1 X2\n",
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        look_at(rows[i], strlen(rows[i]), false);
        look_at(rows[i], strlen(rows[i]), true);
    }
    char digits[1000] = "G28\nG1 X";
    memset(digits + 8, '9', 400);
    memcpy(digits + 408, "\nG1 Y0.", 7);
    memset(digits + 415, '1', 400);
    memcpy(digits + 815, "\nG1 X5 E1\n", 11);
    look_at(digits, strlen(digits), true);
    /* a hundred thousand heights; events without moves; a word before every move */
    char *text = NULL;
    size_t n = 0;
    FILE *f = open_memstream(&text, &n);
    assert_non_null(f);
    fputs("G28\nM83\nM109 S220\n", f);
    for (int i = 0; i < 100000; i++) {
        fprintf(f, "G1 X%d Y10 Z%.3f E0.3 F1800\n", 10 + 10 * (i & 1), i * 0.05);
    }
    fclose(f);
    look_at(text, n, true);
    free(text);
    text = NULL;
    f = open_memstream(&text, &n);
    assert_non_null(f);
    fputs("G28\n", f);
    for (int i = 0; i < 50000; i++) {
        fprintf(f, "M104 S%d\nM106 S%d\nG4 P1\nM204 S%d\nG28 X\n%s", i % 300, i % 256, i % 2000,
                i % 3 ? "" : "G1 X9 F600 E1\n");
    }
    fclose(f);
    look_at(text, n, true);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lengths_and_counts), cmocka_unit_test(arcs_bulge),
        cmocka_unit_test(seconds_with_waits), cmocka_unit_test(limits_change_on_the_way),
        cmocka_unit_test(shares_and_tools),   cmocka_unit_test(shares_outside),
        cmocka_unit_test(not_a_job),          cmocka_unit_test(however_it_comes),
        cmocka_unit_test(several_machines),   cmocka_unit_test(stops_when_asked),
        cmocka_unit_test(every_prefix),       cmocka_unit_test(mutations),
        cmocka_unit_test(absurd_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

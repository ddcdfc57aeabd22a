/* The room against the handbook's worked figures and published tables. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/random.h"
#include "proveout/room.h"

static po_err err;

static void near(double got, double want, double within)
{
    if (!(fabs(got - want) <= within)) {
        fail_msg("%.9g, not %.9g", got, want);
    }
}

/* A room of 60 m2 and 3 m with 94 L/s: desk handbook 9.3, worked there. */
static po_air worked(double outdoor_m3_h, double settle)
{
    po_house_room room = {.area_m2 = 60, .height_m = 3, .outdoor_m3_h = outdoor_m3_h, .settle_h = settle};
    po_air air;
    assert_int_equal(po_air_of(&room, &air, &err), PO_OK);
    return air;
}

static void well_mixed(void **state)
{
    (void)state;
    po_air plain = worked(338.4, 0), settling = worked(338.4, 1), six = worked(1080, 1);
    near(plain.rate_h[PO_AIR_PARTICLES], 1.88, 1e-12);
    near(po_air_steady(&plain, PO_AIR_PARTICLES, 4 * 2.0e10), 14184.4, 0.05);
    near(po_air_steady(&settling, PO_AIR_PARTICLES, 4 * 2.0e10), 9259.3, 0.05);
    near(po_air_steady(&six, PO_AIR_PARTICLES, 4 * 2.0e10), 3809.5, 0.05);
    near(po_air_steady(&plain, PO_AIR_PARTICLES, 4 * 1.9e11), 134751.8, 0.05);
    near(po_air_steady(&settling, PO_AIR_PARTICLES, 4 * 1.9e11), 87963.0, 0.05);
    near(po_air_steady(&six, PO_AIR_PARTICLES, 4 * 1.9e11), 36190.5, 0.05);
    near(po_air_steady(&plain, PO_AIR_VAPOURS, 8 * 3552), 83.97, 0.005);
    near(po_air_steady(&plain, PO_AIR_STYRENE, 4 * 110 * 60), 78.01, 0.005);
    near(po_air_clears(&plain, PO_AIR_VAPOURS, 0.05) / 60, 1.5935, 5e-5);
    near(po_air_clears(&plain, PO_AIR_VAPOURS, 0.10) / 60, 1.2248, 5e-5);
    /* minutes to 99 and 99.9 % removed: CDC, Guidelines for Environmental Infection Control in Health-Care Facilities (2003), table B.1, from memory */
    static const struct {
        double changes, m99, m999;
    } table[] = {{2, 138, 207}, {4, 69, 104}, {6, 46, 69},  {8, 35, 52}, {10, 28, 41},
                 {12, 23, 35},  {15, 18, 28}, {20, 14, 21}, {50, 6, 8}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        po_air air = worked(180 * table[i].changes, 0);
        near(po_air_clears(&air, PO_AIR_VAPOURS, 0.01), table[i].m99, 0.51);
        near(po_air_clears(&air, PO_AIR_VAPOURS, 0.001), table[i].m999, 0.51);
    }
    /* how many machines, and how much more air */
    assert_int_equal(po_air_machines(&plain, PO_AIR_PARTICLES, 2.0e10, 14184.5), 4);
    assert_int_equal(po_air_machines(&plain, PO_AIR_PARTICLES, 2.0e10, 14184.3), 3);
    assert_int_equal(po_air_machines(&plain, PO_AIR_PARTICLES, 0, 1), 1000);
    double more = po_air_changes_for(&plain, PO_AIR_PARTICLES, 8 * 2.0e10, 14184.4);
    near(more, 1.88, 1e-4);
    near(po_air_changes_for(&plain, PO_AIR_PARTICLES, 2.0e10, 14184.4), 0, 0);
    /* an air cleaner of 300 m3/h adds 1.667 per hour to particles alone (handbook 9.3) */
    po_house_room cleaned = {.area_m2 = 60, .height_m = 3, .outdoor_m3_h = 338.4, .cleaner_m3_h = 300};
    po_air air;
    assert_int_equal(po_air_of(&cleaned, &air, &err), PO_OK);
    near(air.rate_h[PO_AIR_PARTICLES] - air.rate_h[PO_AIR_VAPOURS], 1.667, 0.0005);
}

static void refused(void **state)
{
    (void)state;
    po_air air;
    po_house_room none = {.area_m2 = 0, .height_m = 3, .outdoor_m3_h = 300},
                  still = {.area_m2 = 60, .height_m = 3, .outdoor_m3_h = NAN, .settle_h = 1};
    assert_int_equal(po_air_of(&none, &air, &err), PO_E_RANGE);
    assert_string_equal(err.where, "area_m2");
    assert_int_equal(po_air_of(&still, &air, &err), PO_E_RANGE); /* particles settle, vapours stay for ever */
    assert_string_equal(err.where, "outdoor_m3_h");
    po_air plain = worked(338.4, 0);
    double emission[] = {1, -1};
    po_air_run run;
    assert_int_equal(po_air_simulate(&plain, PO_AIR_VAPOURS, emission, 2, 0, 0, NULL, &run, &err), PO_E_RANGE);
    assert_int_equal(po_air_simulate(&plain, PO_AIR_VAPOURS, emission, 1, NAN, 0, NULL, &run, &err), PO_E_RANGE);
}

/* Minute by minute against the closed form, and against ten thousand small steps of Euler's. */
static void over_time(void **state)
{
    (void)state;
    po_air air = worked(338.4, 1);
    enum { N = 600 };
    double emission[N], c[N], slow = 0, mean = 0;
    po_air_run run;
    for (int i = 0; i < N; i++) {
        emission[i] = 8e10;
    }
    assert_int_equal(po_air_simulate(&air, PO_AIR_PARTICLES, emission, N, 100, 0, c, &run, &err), PO_OK);
    for (int i = 0; i < N; i += 37) {
        near(c[i], po_air_after(&air, PO_AIR_PARTICLES, 8e10, 100, i + 1), 1e-9 * c[i]);
    }
    near(run.end, po_air_steady(&air, PO_AIR_PARTICLES, 8e10), 1e-9 * run.end);
    uint64_t seed = 3;
    for (int i = 0; i < N; i++) {
        emission[i] = (double)(po_random_next(&seed) % 5) * 1.9e11;
    }
    assert_int_equal(po_air_simulate(&air, PO_AIR_PARTICLES, emission, N, 0, 30000, c, &run, &err), PO_OK);
    size_t above = 0;
    for (int i = 0; i < N; i++) {
        for (int k = 0; k < 1000; k++) {
            slow += (emission[i] * 60 / 1e6 / 180 - air.rate_h[PO_AIR_PARTICLES] * slow) / 60000;
            mean += slow / (1000.0 * N);
        }
        above += c[i] > 30000;
        near(c[i], slow, 1e-4 * slow + 1e-9);
    }
    near(run.mean, mean, 1e-4 * mean);
    assert_int_equal(run.above, above);
    assert_true(c[run.peak_at] == run.peak && above > 0 && above < N);
}

static void emissions(void **state)
{
    (void)state;
    size_t n;
    const po_emission *all = po_emissions(&n);
    for (size_t i = 0; i < n; i++) {
        for (int k = 0; k < PO_AIR_KINDS; k++) {
            assert_true(all[i].low[k] <= all[i].typical[k] && all[i].typical[k] <= all[i].high[k]);
        }
        assert_true(strlen(all[i].source) > 10);
    }
    assert_string_equal(po_emission_of("PLA")->material, "pla");
    assert_string_equal(po_emission_of("asa-cf")->material, "asa");
    assert_string_equal(po_emission_of("pa6")->material, "pa");
    assert_string_equal(po_emission_of("paper")->material, "other");
    assert_string_equal(po_emission_of(NULL)->material, "other");
    near(po_emission_of("pla")->typical[0], 2.0e10, 0); /* Stephens et al. 2013 */
    near(po_emission_of("abs")->typical[0], 1.9e11, 0);
    near(po_emission_of("abs")->high[PO_AIR_STYRENE], 110 * 60, 0); /* Azimi et al. 2016 */
    assert_true(po_enclosure_passes(PO_ENCLOSURE_FILTERED, PO_AIR_PARTICLES) < 0.1 &&
                po_enclosure_passes(PO_ENCLOSURE_CLOSED, PO_AIR_VAPOURS) == 1);
}

static void circuits(void **state)
{
    (void)state;
    po_machine machines[6];
    size_t of[] = {0, 1, 2, 3, 4, 5};
    int group[6];
    for (int i = 0; i < 6; i++) {
        machines[i] = (po_machine){.running_w = 350, .heating_w = 350};
    }
    /* handbook 9.5: machines of 350 W on a circuit of 20 A and 120 V; 16 A for what lasts (US NEC 210.20(A)) */
    po_circuit c = {"a", 20, 120, 80, {of, 5}};
    po_shop shop = {.machines = machines, .n_machines = 6, .circuits = &c, .n_circuits = 1};
    po_load l;
    po_loads(&shop, &l);
    near(l.running_a, 14.58, 0.005);
    near(l.lasting_a, 16, 0);
    assert_false(l.lasting_over);
    c.machines.n = 6;
    po_loads(&shop, &l);
    near(l.running_a, 17.5, 1e-12);
    assert_true(l.lasting_over);
    assert_int_equal(l.heat_together, 6); /* they take no more while they heat */
    /* 16 A at 230 V, 3680 W: 6 x 160 W running leave 2720 W; heating takes 600 W more: four at once */
    for (int i = 0; i < 6; i++) {
        machines[i] = (po_machine){.running_w = 160, .heating_w = 760};
    }
    c = (po_circuit){"b", 16, 230, 80, {of, 6}};
    po_loads(&shop, &l);
    assert_int_equal(l.heat_together, 4);
    assert_int_equal(po_load_groups(&shop, &c, group), 2);
    for (int g = 0; g < 2; g++) { /* no group is too much */
        double w = 0;
        for (int i = 0; i < 6; i++) {
            w += group[i] == g ? machines[i].heating_w : machines[i].running_w;
        }
        assert_true(w <= 16 * 230);
    }
    machines[2].heating_w = 9000;
    assert_int_equal(po_load_groups(&shop, &c, group), -1);
    machines[2].heating_w = 0;
    po_loads(&shop, &l);
    assert_true(l.unknown);
}

static void cooling(void **state)
{
    (void)state;
    /* handbook 7.6, worked there */
    near(po_cooling_minutes(15, 22, 60, 40), 11.21, 0.005);
    near(po_cooling_minutes(15, 22, 60, 30), 23.37, 0.005);
    near(po_cooling_minutes(15, 22, 100, 40), 22.00, 0.005);
    near(po_cooling_minutes(20, 22, 110, 40), 31.74, 0.005);
    assert_true(isnan(po_cooling_minutes(15, 22, 60, 20)) && po_cooling_minutes(15, 22, 30, 40) == 0);
    po_cooling_reading two[] = {{0, 60}, {10, 45}};
    po_cooling c;
    assert_int_equal(po_cooling_fit(two, 2, 22, &c, &err), PO_OK);
    near(c.tau_minutes, 19.92, 0.005);
    assert_true(isinf(c.tau_high)); /* of two nobody knows how well */
    po_cooling_reading bad[][3] = {{{0, 60}, {10, 61}, {20, 62}},
                                   {{0, 60}, {10, 50}, {5, 45}},
                                   {{0, 60}, {10, 50}, {20, 21}},
                                   {{0, 60}, {1, NAN}, {2, 50}}};
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(po_cooling_fit(bad[i], 3, 22, &c, &err), PO_E_RANGE);
    }
    assert_int_equal(po_cooling_fit(two, 1, 22, &c, &err), PO_E_RANGE);
    assert_int_equal(po_cooling_fit(two, 2, NAN, &c, &err), PO_E_RANGE);
    /* made-up beds: the interval holds the truth as often as it says */
    uint64_t seed = 9;
    int held = 0, fitted = 0, all = 400;
    for (int k = 0; k < all; k++) {
        po_cooling_reading r[12];
        double tau = 10 + (double)(po_random_next(&seed) % 200) / 10, start = 60 + (double)(po_random_next(&seed) % 50);
        for (int i = 0; i < 12; i++) {
            double noise = 0;
            for (int j = 0; j < 12; j++) {
                noise += (double)(po_random_next(&seed) >> 11) / 9007199254740992.0 - 0.5;
            }
            r[i] = (po_cooling_reading){3.0 * i, 21 + (start - 21) * exp(-3.0 * i / tau) + 0.4 * noise};
        }
        if (po_cooling_fit(r, 12, 21, &c, &err) == PO_OK) {
            fitted++;
            held += c.tau_low <= tau && tau <= c.tau_high;
        }
        if (k < 40 && po_cooling_fit(r, 12, NAN, &c, &err) == PO_OK) {
            assert_true(c.room_fitted && fabs(c.room_c - 21) < 12);
        }
    }
    assert_in_range(fitted, all - 20, all);
    assert_in_range(held * 1000 / fitted, 920, 980);
    size_t n;
    const po_touch *t = po_touches(&n);
    for (size_t i = 1; i < n; i++) {
        assert_true(t[i].c > t[i - 1].c);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(well_mixed), cmocka_unit_test(refused),
                                       cmocka_unit_test(over_time),  cmocka_unit_test(emissions),
                                       cmocka_unit_test(circuits),   cmocka_unit_test(cooling)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

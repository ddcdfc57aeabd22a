/* Metres to grams and back, against the handbook. SPDX-License-Identifier: Apache-2.0
 *
 * The numbers of handbook 1.2 and 12 marked K are worked out there from m = A L density, A = pi d^2 / 4, in double precision;
 * none of them was taken from here. */
#include "ledger/ledger_kit.h"

/* 1.2, "g per m" and "m per kg" for 1.75 and 2.85 mm: m/L = A density, L = 1000 / (A density). */
static void table(void **state)
{
    (void)state;
    static const struct {
        const char *material;
        int64_t density_mg_cm3, mg_per_10_m, cm_per_kg; /* of 1.75 mm: 2.9825 g per m, 335.28 m per kg */
        int64_t thick_mg_per_10_m, thick_cm_per_kg;     /* of 2.85 mm */
    } rows[] = {
        {"PLA", 1240, 29825, 33528, 79105, 12642}, {"PETG", 1270, 30547, 32736, 81018, 12343},
        {"ABS", 1040, 25015, 39976, 66346, 15073}, {"ASA", 1070, 25737, 38855, 68260, 14650},
        {"TPU", 1210, 29104, 34360, 77191, 12955}, {"PA6", 1140, 27420, 36469, 72725, 13750},
        {"PC", 1200, 28863, 34646, 76553, 13063},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        int64_t density = rows[i].density_mg_cm3;
        assert_int_equal(po_ledger_mg(10000000, 1750, density), rows[i].mg_per_10_m);
        assert_int_equal(po_ledger_mg(10000000, 2850, density), rows[i].thick_mg_per_10_m);
        assert_int_equal((po_ledger_um(1000000, 1750, density) + 5000) / 10000, rows[i].cm_per_kg);
        assert_int_equal((po_ledger_um(1000000, 2850, density) + 5000) / 10000, rows[i].thick_cm_per_kg);
    }
}

static void worked(void **state)
{
    (void)state;
    /* 12, row 1: A of 1.75 mm = 2.405281875 mm2 (pi d^2 / 4): 1 km at 1 g/cm3 weighs 2405.281875 g */
    assert_int_equal(po_ledger_mg(INT64_C(1000000000), 1750, 1000), 2405282);
    /* 1.2, "Area": 2.85 mm -> 6.379397 mm2 (pi d^2 / 4) */
    assert_int_equal(po_ledger_mg(INT64_C(1000000000), 2850, 1000), 6379397);
    /* 12, row 2: PLA 12.5 m = 37.28187 g (A L density) */
    assert_int_equal(po_ledger_mg(12500000, 1750, 1240), 37282);
    /* 12, row 3: 1 kg of ABS of 1.04 = 399.76 m (m / (A density)) */
    assert_int_equal((po_ledger_um(1000000, 1750, 1040) + 5000) / 10000, 39976);
    /* 1.2, "Worked": 512 g of PLA = 171.67 m */
    assert_int_equal((po_ledger_um(512000, 1750, 1240) + 5000) / 10000, 17167);
    /* 25 m of 1.75 mm, twice row 2 of 12 for PLA (74.56374 g), and 25 times 1.2's 3.0547 g per m for PETG (76.37 g) */
    assert_int_equal(po_ledger_mg(25000000, 1750, 1240), 74564);
    assert_int_equal((po_ledger_mg(25000000, 1750, 1270) + 5) / 10, 7637);
    /* 1.2, "Area error": 1.80 mm instead of 1.75 weighs 5.796 % more, 1.70 mm 5.633 % less ((d'/d)^2 - 1) */
    int64_t right = po_ledger_mg(INT64_C(1000000000), 1750, 1240);
    assert_int_equal((po_ledger_mg(INT64_C(1000000000), 1800, 1240) * 100000 + right / 2) / right, 105796);
    assert_int_equal((po_ledger_mg(INT64_C(1000000000), 1700, 1240) * 100000 + right / 2) / right, 100000 - 5633);
}

/* Rounded to the nearest, and no further: against the same formula in long double, and there and back. */
static void rounded(void **state)
{
    (void)state;
    uint64_t x = 20261130;
    for (int i = 0; i < 20000; i++) {
        x = x * UINT64_C(6364136223846793005) + 1442695040888963407u;
        int64_t um = (int64_t)((x >> 24) % 2000000000), diameter = 1000 + (int64_t)((x >> 13) % 2000),
                density = 800 + (int64_t)(x >> 50) % 1200;
        long double mg = (long double)um * diameter * diameter * density * 0.785398163397448309616L * 1e-12L;
        long double off = (long double)po_ledger_mg(um, diameter, density) - mg;
        assert_true(off <= 0.500001L && off >= -0.500001L);
        int64_t back = po_ledger_um(po_ledger_mg(um, diameter, density), diameter, density);
        int64_t coarse = 1 + po_ledger_um(1, diameter, density); /* the length of a milligram */
        assert_true(back - um <= coarse && um - back <= coarse);
    }
    assert_int_equal(po_ledger_mg(0, 1750, 1240), 0);
    assert_int_equal(po_ledger_um(0, 1750, 1240), 0);
}

static void out_of_reach(void **state)
{
    (void)state;
    assert_int_equal(po_ledger_mg(INT64_C(10000000000), 10000, 30000), INT64_C(23561944902)); /* 250 pi 10^6 * 30 mg */
    assert_int_equal(po_ledger_mg(INT64_C(10000000001), 1750, 1240), -1);
    assert_int_equal(po_ledger_mg(-1, 1750, 1240), -1);
    assert_int_equal(po_ledger_mg(1, 0, 1240), -1);
    assert_int_equal(po_ledger_mg(1, 10001, 1240), -1);
    assert_int_equal(po_ledger_mg(1, 1750, 0), -1);
    assert_int_equal(po_ledger_mg(1, 1750, 30001), -1);
    assert_int_equal(po_ledger_um(-1, 1750, 1240), -1);
    assert_int_equal(po_ledger_um(INT64_C(100000000001), 10000, 30000), -1);
    assert_int_equal(po_ledger_um(1000000000, 1000, 100), -1); /* 1 t of thin, light filament: longer than 10 km */
    assert_int_equal(po_ledger_um(1, 1750, INT64_MIN), -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(table), cmocka_unit_test(worked), cmocka_unit_test(rounded),
                                       cmocka_unit_test(out_of_reach)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

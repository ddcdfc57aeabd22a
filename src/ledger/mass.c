/* Length of filament to mass and back, in whole numbers. SPDX-License-Identifier: Apache-2.0
 *
 * m = L * pi/4 * d^2 * density (docs/measures.md, "Filament, volume, mass"). um * um^2 * mg/cm3 is 10^-12 mg; pi/4 is taken to
 * 15 digits, so that a product has room in 128 bits: 10 km of 10 mm filament at 30 g/cm3 comes to 2.4e37, below 1.7e38. */
#include "proveout/ledger.h"

__extension__ typedef unsigned __int128 wide;

#define PI_QUARTER INT64_C(785398163397448) /* of 10^15 */
static const int64_t length_most_um = INT64_C(10000000000), diameter_most_um = 10000, density_most = 30000;

static bool within(int64_t diameter_um, int64_t density_mg_cm3)
{
    return diameter_um > 0 && diameter_um <= diameter_most_um && density_mg_cm3 > 0 && density_mg_cm3 <= density_most;
}

int64_t po_ledger_mg(int64_t um, int64_t diameter_um, int64_t density_mg_cm3)
{
    if (um < 0 || um > length_most_um || !within(diameter_um, density_mg_cm3)) {
        return -1;
    }
    wide scale = (wide)UINT64_C(1000000000000000) * UINT64_C(1000000000000);
    wide product = (wide)um * (wide)(diameter_um * diameter_um) * (wide)density_mg_cm3 * (wide)PI_QUARTER;
    return (int64_t)((product + scale / 2) / scale);
}

int64_t po_ledger_um(int64_t mg, int64_t diameter_um, int64_t density_mg_cm3)
{
    if (mg < 0 || mg > INT64_C(100000000000) || !within(diameter_um, density_mg_cm3)) {
        return -1;
    }
    wide scale = (wide)UINT64_C(1000000000000000) * UINT64_C(1000000000000);
    wide one = (wide)(diameter_um * diameter_um) * (wide)density_mg_cm3 * (wide)PI_QUARTER; /* of one um */
    wide um = ((wide)mg * scale + one / 2) / one;
    return um > (wide)length_most_um ? -1 : (int64_t)um;
}

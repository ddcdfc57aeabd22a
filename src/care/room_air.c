/* A room's air: published emission rates, the well-mixed balance. SPDX-License-Identifier: Apache-2.0
 *
 * Rates differ between studies by more than ten times, because methods do: low and high carry that. "Typical" is the middle that one
 * plans with; where only one study is known its spread is taken from the others. */
#include <ctype.h>
#include <math.h>
#include <string.h>

#include "proveout/room.h"

/* Particles/min; vapours together, ug/h, at least what styrene alone is; styrene, ug/h. Of all filaments vapours are 49 to 3552 ug/h
 * (Stefaniak 2017), the geometric middle 417. */
#define ALL_LOW 49
#define ALL_MIDDLE 417
#define ALL_HIGH 3552
/* clang-format off */
static const po_emission emissions[] = {
    {"pla", {6.0e8, ALL_LOW, 0}, {2.0e10, ALL_MIDDLE, 0}, {2.0e10, ALL_HIGH, 0},
     "particles: Mendes et al. 2017 (1.0e7 per s in a chamber) to Stephens et al. 2013; vapours: Stefaniak et al. 2017"},
    {"petg", {6.0e8, ALL_LOW, 0}, {1.0e10, ALL_MIDDLE, 0}, {1.0e11, ALL_HIGH, 0},
     "particles: Azimi et al. 2016 over all filaments, the middle between; traces of styrene, without a rate: Bernatikova et al. 2021; vapours: Stefaniak et al. 2017"},
    {"abs", {2.2e10, 600, 600}, {1.9e11, 3600, 3600}, {2.4e11, 6600, 6600},
     "particles: Mendes et al. 2017, Stephens et al. 2013; styrene 10 to 110 ug/min: Azimi et al. 2016, more than Stefaniak et al. 2017 found of all vapours"},
    {"asa", {2.2e10, 600, 600}, {1.9e11, 3600, 3600}, {2.4e11, 6600, 6600}, "as abs, to which it is akin; common practice, no published source of its own"},
    {"hips", {2.2e10, 600, 600}, {1.9e11, 3600, 3600}, {2.4e11, 6600, 6600}, "styrene: Azimi et al. 2016; particles as abs"},
    {"pa", {1.0e8, 120, 0}, {1.0e10, 1100, 0}, {1.0e11, 10800, 0}, "Azimi et al. 2016: particles over all filaments, vapours by caprolactam, 2 to 180 ug/min"},
    {"pc", {1.0e8, ALL_LOW, 0}, {3.0e10, ALL_MIDDLE, 0}, {1.9e11, ALL_HIGH, 0}, "particles: Azimi et al. 2016 over all filaments, upper end as abs; vapours: Stefaniak et al. 2017"},
    {"tpu", {1.0e8, ALL_LOW, 0}, {1.0e10, ALL_MIDDLE, 0}, {1.0e11, ALL_HIGH, 0}, "particles: Azimi et al. 2016 over all filaments; vapours: Stefaniak et al. 2017"},
    {"other", {1.0e8, ALL_LOW, 0}, {1.9e11, 3600, 3600}, {2.4e11, 10800, 6600}, "no study known: the highest of all"},
};
/* clang-format on */

const po_emission *po_emissions(size_t *ret_n)
{
    *ret_n = sizeof emissions / sizeof emissions[0];
    return emissions;
}

const po_emission *po_emission_of(const char *material)
{
    const size_t n = sizeof emissions / sizeof emissions[0];
    for (size_t i = 0; material && i + 1 < n; i++) {
        size_t len = strlen(emissions[i].material), k = 0;
        while (k < len && tolower((unsigned char)material[k]) == emissions[i].material[k]) {
            k++;
        }
        if (k == len && !isalpha((unsigned char)material[k])) { /* "pa6-cf" is pa, "paper" is not */
            return &emissions[i];
        }
    }
    return &emissions[n - 1];
}

double po_enclosure_passes(po_enclosure enclosure, po_air_kind kind)
{
    switch (enclosure) {
    case PO_ENCLOSURE_PARTIAL:
        return 1 - 0.286; /* NIOSH's measurements of low-cost controls: 28.6 % of the particles were held */
    case PO_ENCLOSURE_FILTERED:
        return kind == PO_AIR_PARTICLES
                   ? 1 - 0.916
                   : 0.5; /* the lesser of the two capture heads there; carbon when it is half spent, common practice */
    case PO_ENCLOSURE_CLOSED: /* it comes out later, through gaps and when it is opened: nothing is taken off */
    case PO_ENCLOSURE_NONE:
    default:
        return 1;
    }
}

po_status po_air_of(const po_house_room *room, po_air *ret, po_err *err)
{
    po_air air = {.volume_m3 = room->area_m2 * room->height_m};
    double out = isnan(room->outdoor_m3_h) ? 0 : room->outdoor_m3_h;
    if (!(air.volume_m3 > 0)) {
        return po_fail_at(err, PO_E_RANGE, "area_m2", 0, 0,
                          "the room's area is not known: room: area_m2 in the shop file, or --area");
    }
    for (int k = 0; k < PO_AIR_KINDS; k++) {
        bool particles = k == PO_AIR_PARTICLES;
        air.rate_h[k] = out / air.volume_m3 + (particles ? room->settle_h : 0) +
                        (particles || room->cleaner_vapours ? room->cleaner_m3_h / air.volume_m3 : 0);
        if (!(air.rate_h[k] > 0)) {
            return po_fail_at(err, PO_E_RANGE, "outdoor_m3_h", 0, 0,
                              "nothing takes %s out of this room: say how much outdoor air it gets (room: "
                              "outdoor_m3_h, or --outdoor)",
                              particles ? "particles" : "vapours");
        }
    }
    *ret = air;
    return PO_OK;
}

/* Emission in the concentration's unit times m3 per hour: particles per minute become 1/cm3 m3/h. */
static double per_hour(po_air_kind kind, double emission)
{
    return kind == PO_AIR_PARTICLES ? emission * 60 / 1e6 : emission;
}

double po_air_steady(const po_air *air, po_air_kind kind, double emission)
{
    return per_hour(kind, emission) / (air->volume_m3 * air->rate_h[kind]);
}

double po_air_after(const po_air *air, po_air_kind kind, double emission, double from, double minutes)
{
    double steady = po_air_steady(air, kind, emission);
    return steady + (from - steady) * exp(-air->rate_h[kind] * minutes / 60);
}

double po_air_clears(const po_air *air, po_air_kind kind, double left)
{
    return -log(left) / air->rate_h[kind] * 60;
}

int po_air_machines(const po_air *air, po_air_kind kind, double emission, double target)
{
    double each = po_air_steady(air, kind, emission), n = each > 0 ? floor(target / each * (1 + 1e-12)) : 1000;
    return n < 1000 ? (int)n : 1000;
}

double po_air_changes_for(const po_air *air, po_air_kind kind, double emission, double target)
{
    double needed = per_hour(kind, emission) / (air->volume_m3 * target) - air->rate_h[kind];
    return needed > 0 ? needed : 0;
}

po_status po_air_simulate(const po_air *air, po_air_kind kind, const double *emission, size_t n, double from,
                          double target, double *concentration, po_air_run *ret, po_err *err)
{
    /* within a minute of constant emission the balance has its closed form: C goes on by one factor, and its integral follows from it */
    const double lambda = air->rate_h[kind] / 60, keeps = exp(-lambda),
                 gain = per_hour(kind, 1) / (air->volume_m3 * air->rate_h[kind]);
    const double mean_of = -expm1(-lambda) / lambda; /* of exp(-lambda t) over the minute */
    po_air_run r = {.peak = from, .end = from};
    double c = from, sum = 0;
    if (!(from >= 0) || !isfinite(from) || !(target >= 0)) {
        return po_fail_at(err, PO_E_RANGE, "from", 0, 0, "a concentration is 0 or more");
    }
    for (size_t i = 0; i < n; i++) {
        double steady = gain * emission[i], next = steady + (c - steady) * keeps;
        if (!(emission[i] >= 0) || !isfinite(emission[i])) {
            return po_fail_at(err, PO_E_RANGE, "emission", (uint64_t)i, 0, "an emission is 0 or more");
        }
        sum += steady + (c - steady) * mean_of;
        c = next;
        if (c > r.peak) {
            r.peak = c;
            r.peak_at = i;
        }
        r.above += target > 0 && c > target;
        if (concentration) {
            concentration[i] = c;
        }
    }
    r.end = c;
    r.mean = n > 0 ? sum / (double)n : from;
    *ret = r;
    return PO_OK;
}

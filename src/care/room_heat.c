/* How a bed cools, fitted to its own readings; what may be touched. SPDX-License-Identifier: Apache-2.0
 *
 * Newton's law: T = room + (start - room) exp(-t / tau). Gauss-Newton on tau (and the room) with the start solved in each step; intervals
 * from the linearised fit with Student's t. Radiation makes real beds cool a little faster when hot: the scatter shows it. */
#include <gsl/gsl_cdf.h>
#include <math.h>

#include "proveout/room.h"

enum { STEPS = 200, ROOM_NEEDS = 5 };

double po_cooling_minutes(double tau_minutes, double room_c, double from_c, double to_c)
{
    if (from_c <= to_c) {
        return 0;
    }
    return to_c > room_c ? tau_minutes * log((from_c - room_c) / (to_c - room_c)) : NAN;
}

static po_status readings_hold(const po_cooling_reading *r, size_t n, double room_c, po_err *err)
{
    if (n < 2) {
        return po_fail_at(err, PO_E_RANGE, "readings", 0, 0,
                          "%zu reading%s: cooling needs two at least, better five over half an hour", n,
                          n == 1 ? "" : "s");
    }
    if (isnan(room_c) && n < ROOM_NEEDS) {
        return po_fail_at(err, PO_E_RANGE, "room", 0, 0, "with fewer than %d readings say how warm the room is",
                          (int)ROOM_NEEDS);
    }
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(r[i].minutes) || !isfinite(r[i].c) || r[i].c < -50 || r[i].c > 500) {
            return po_fail_at(err, PO_E_RANGE, "readings", (uint64_t)i, 0,
                              "reading %zu is no time and temperature from -50 to 500 C", i + 1);
        }
        if (i > 0 && !(r[i].minutes > r[i - 1].minutes)) {
            return po_fail_at(err, PO_E_RANGE, "readings", (uint64_t)i, 0,
                              "reading %zu is not later than the one before: was a clock set back?", i + 1);
        }
        if (!isnan(room_c) && r[i].c <= room_c) {
            return po_fail_at(err, PO_E_RANGE, "readings", (uint64_t)i, 0,
                              "reading %zu, %.1f C, is not warmer than the room, %.1f C", i + 1, r[i].c, room_c);
        }
    }
    if (r[n - 1].c >= r[0].c) {
        return po_fail_at(err, PO_E_RANGE, "readings", (uint64_t)(n - 1), 0,
                          "it does not cool: %.1f C at first, %.1f C at last", r[0].c, r[n - 1].c);
    }
    return PO_OK;
}

typedef struct sums { /* of the linearised fit: parameters start, tau, room */
    double a[3][3], b[3], squares;
} sums;

static sums add_up(const po_cooling_reading *r, size_t n, double start, double tau, double room)
{
    sums s = {0};
    for (size_t i = 0; i < n; i++) {
        double t = r[i].minutes - r[0].minutes, e = exp(-t / tau), off = r[i].c - (room + (start - room) * e);
        double d[3] = {e, (start - room) * e * t / (tau * tau), 1 - e};
        for (int j = 0; j < 3; j++) {
            for (int k = 0; k < 3; k++) {
                s.a[j][k] += d[j] * d[k];
            }
            s.b[j] += d[j] * off;
        }
        s.squares += off * off;
    }
    return s;
}

/* Solve the first m rows in place (symmetric, positive), inverse into a; false where it is singular. */
static bool invert(double a[3][3], int m)
{
    double inverse[3][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    for (int k = 0; k < m; k++) {
        int best = k;
        for (int i = k + 1; i < m; i++) {
            best = fabs(a[i][k]) > fabs(a[best][k]) ? i : best;
        }
        if (!(fabs(a[best][k]) > 1e-14)) {
            return false;
        }
        for (int j = 0; j < m; j++) {
            double x = a[k][j], y = inverse[k][j];
            a[k][j] = a[best][j];
            a[best][j] = x;
            inverse[k][j] = inverse[best][j];
            inverse[best][j] = y;
        }
        double pivot = a[k][k];
        for (int j = 0; j < m; j++) {
            a[k][j] /= pivot;
            inverse[k][j] /= pivot;
        }
        for (int i = 0; i < m; i++) {
            double f = a[i][k];
            for (int j = 0; i != k && j < m; j++) {
                a[i][j] -= f * a[k][j];
                inverse[i][j] -= f * inverse[k][j];
            }
        }
    }
    for (int i = 0; i < m; i++) {
        for (int j = 0; j < m; j++) {
            a[i][j] = inverse[i][j];
        }
    }
    return true;
}

po_status po_cooling_fit(const po_cooling_reading *r, size_t n, double room_c, po_cooling *ret, po_err *err)
{
    po_status status = readings_hold(r, n, room_c, err);
    if (status != PO_OK) {
        return status;
    }
    const bool fit_room = isnan(room_c);
    const int m = fit_room ? 3 : 2;
    double span = r[n - 1].minutes - r[0].minutes;
    double room = fit_room ? r[n - 1].c - 0.3 * (r[0].c - r[n - 1].c) : room_c, start = r[0].c;
    double tau = fmin(fmax(span / log((start - room) / (r[n - 1].c - room)), 1e-3), 1e5);
    sums s = add_up(r, n, start, tau, room);
    for (int step = 0; step < STEPS; step++) {
        double a[3][3], move[3] = {0}, size = 1;
        for (int i = 0; i < 3; i++) {
            for (int j = 0; j < 3; j++) {
                a[i][j] = s.a[i][j] * (i == j ? 1 + 1e-9 : 1);
            }
        }
        if (!invert(a, m)) {
            break;
        }
        for (int i = 0; i < m; i++) {
            for (int j = 0; j < m; j++) {
                move[i] += a[i][j] * s.b[j];
            }
        }
        sums next = s;
        double to[3] = {start, tau, room};
        for (; size > 1e-6; size /= 2) { /* half a step where a whole one is worse */
            to[0] = start + size * move[0];
            to[1] = tau + size * move[1];
            to[2] = room + size * move[2];
            if (to[1] > 1e-3 && to[1] < 1e6 && to[2] < r[n - 1].c) {
                next = add_up(r, n, to[0], to[1], to[2]);
                if (next.squares <= s.squares) {
                    break;
                }
            }
        }
        if (size <= 1e-6) {
            break;
        }
        bool still = fabs(to[1] - tau) < 1e-10 * tau && fabs(to[0] - start) < 1e-10 * fabs(start);
        start = to[0];
        tau = to[1];
        room = to[2];
        s = next;
        if (still) {
            break;
        }
    }
    po_cooling c = {.tau_minutes = tau,
                    .tau_low = 0,
                    .tau_high = INFINITY,
                    .start_c = start,
                    .room_c = room,
                    .room_fitted = fit_room,
                    .n = n};
    double freedom = (double)n - m;
    if (freedom > 0) {
        double a[3][3];
        for (int i = 0; i < 3; i++) {
            for (int j = 0; j < 3; j++) {
                a[i][j] = s.a[i][j];
            }
        }
        c.scatter_c = sqrt(s.squares / freedom);
        if (invert(a, m)) {
            double half = gsl_cdf_tdist_Pinv(0.975, freedom) * c.scatter_c * sqrt(fmax(a[1][1], 0));
            c.tau_low = fmax(0, tau - half);
            c.tau_high = tau + half;
        }
    }
    *ret = c;
    return PO_OK;
}

static const po_touch touches[] = {
    {43, "8 hours", "ISO 13732-1, from memory"},
    {48, "10 minutes", "ISO 13732-1, from memory"},
    {51, "1 minute, any material", "ISO 13732-1 and CENELEC Guide 29, from memory"},
    {55, "10 seconds on bare metal", "ISO 13732-1, from memory"},
    {65, "half a second on bare metal", "ISO 13732-1, 4.2.1.2, as quoted by others"},
};

const po_touch *po_touches(size_t *ret_n)
{
    *ret_n = sizeof touches / sizeof touches[0];
    return touches;
}

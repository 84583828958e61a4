/* SPDX-License-Identifier: MIT
 * For tests: the counts that a plate of four three-axis corner cells at (+-a, +-b) shows under a
 * known force and free moment at a known place of its top surface. Written from statics, with
 * nothing of src/plate or src/sim: bilinear shares for the vertical, equal shares for the
 * horizontal, and a pure couple of horizontal forces for the free moment. */
#ifndef UF_TESTS_LOAD_H
#define UF_TESTS_LOAD_H

#include "plate/rig.h"

#include <math.h>

/* F (N) and tz (N m) act on the golfer at x, y (mm, plate's axes) on the top. tare_raw may be NULL.
 */
static inline void put_load(const struct uf_plate *p, double fx_n, double fy_n, double fz_n,
                            double x_mm, double y_mm, double tz_nm, const double *tare_raw,
                            int32_t *counts_raw)
{
    double h = p->surface_mm / 1000, a = fabs(p->cell[0].x_mm) / 1000;
    double b = fabs(p->cell[0].y_mm) / 1000;
    /* moments about the sensor origin, z = 0 plane of the cells */
    double mx = y_mm / 1000 * fz_n - h * fy_n, my = h * fx_n - x_mm / 1000 * fz_n;
    double mz = x_mm / 1000 * fy_n - y_mm / 1000 * fx_n + tz_nm;
    double ring = 4 * (a * a + b * b);
    for (int i = 0; i < p->cells; i++) {
        const struct uf_cell *c = &p->cell[i];
        double x = c->x_mm / 1000, y = c->y_mm / 1000;
        double f[3] = {fx_n / 4 - mz * y / ring, fy_n / 4 + mz * x / ring,
                       fz_n / 4 + mx / (4 * b) * (y > 0 ? 1 : -1) -
                           my / (4 * a) * (x > 0 ? 1 : -1)};
        for (int k = 0; k < 3; k++) {
            int ch = c->channel[k];
            double zero = tare_raw ? tare_raw[ch] : 0;
            counts_raw[ch] = (int32_t)lround(zero + f[k] / c->n_per_count[k]);
        }
    }
}

/* The rig's mirror image in x: plates swapped, every x and every turn about z the other way. */
static inline void mirror_rig(const struct uf_rig *rig, struct uf_rig *out)
{
    *out = *rig;
    for (int p = 0; p < rig->plates; p++) {
        struct uf_plate *m = &out->plate[rig->plates - 1 - p];
        enum uf_place place = m->place;
        *m = rig->plate[p];
        m->place = place;
        m->centre_x_mm = -m->centre_x_mm;
        m->rotation_deg = -m->rotation_deg;
        for (int c = 0; c < m->cells; c++) {
            m->cell[c].x_mm = -m->cell[c].x_mm;
            m->cell[c].turn_deg = -m->cell[c].turn_deg;
            m->cell[c].n_per_count[0] = -m->cell[c].n_per_count[0];
        }
    }
}

#endif

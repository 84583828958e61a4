/* SPDX-License-Identifier: MIT
 * For tests: vertical forces of two feet over time, drawn by hand. */
#ifndef UF_TESTS_SHAPE_H
#define UF_TESTS_SHAPE_H

#include <stddef.h>

/* Knots of lead and trail force (body weights) over time, joined by smooth steps. */
struct knot {
    double t_s, lead_bw, trail_bw;
};

static inline double smooth(double u)
{
    return u * u * u * (10 - 15 * u + 6 * u * u);
}

static inline void shape(const struct knot *k, size_t n, double t_s, double *lead_bw,
                         double *trail_bw)
{
    size_t i = 0;
    while (i + 1 < n && k[i + 1].t_s <= t_s)
        i++;
    double u = i + 1 < n ? smooth((t_s - k[i].t_s) / (k[i + 1].t_s - k[i].t_s)) : 0;
    size_t j = i + 1 < n ? i + 1 : i;
    *lead_bw = k[i].lead_bw + u * (k[j].lead_bw - k[i].lead_bw);
    *trail_bw = k[i].trail_bw + u * (k[j].trail_bw - k[i].trail_bw);
}

/* Stand, backswing 0.8 s, downswing 0.27 s, finish, stand on the lead foot. */
static const struct knot swing_shape[] = {{0, 0, 0},         {0.5, 0, 0},       {1.5, 0.5, 0.5},
                                          {4.0, 0.5, 0.5},   {4.8, 0.2, 0.82},  {5.05, 1.15, 0.25},
                                          {5.4, 0.85, 0.15}, {8.0, 0.85, 0.15}, {9.0, 0.5, 0.5}};

#endif

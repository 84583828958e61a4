/* SPDX-License-Identifier: MIT
 * Inside src/sim: the restlessness of a living body that stands still: sway, tremor, breath. Smooth
 * noise: cubic B-splines over knots drawn from a seed, so that its value, and the first and
 * second derivative of a position, exist in closed form at any time, in any order of asking.
 * Accelerations are derivatives of bounded noise, so momentum closes. */
#ifndef UF_SIM_SWAY_H
#define UF_SIM_SWAY_H

#include <stdint.h>

#define SWAY_LANES 10

/* One kind of noise: knots every so many seconds, several independent lanes. */
struct sway_band {
    double knot_s;
    int64_t at; /* knots k[0..3] are those at at - 1 .. at + 2 */
    double knot[SWAY_LANES][4];
};

struct sway {
    uint64_t seed;
    double amount;                      /* of this person, about 1 */
    struct sway_band quick, slow, lazy; /* 0.07, 0.55, 3.6 s */
};

/* What is added to the channels; accelerations in g, places in half lengths and widths. */
struct sway_value {
    double vertical, target, toe;
    double share, couple, spread;
    double along[2], across[2];
    double free_nm[2];
};

void uf_sim_sway_new(struct sway *s, uint64_t seed, double amount);
/* Keeps the knots of the last time asked for: cheap when times are near each other. */
void uf_sim_sway_at(struct sway *s, double t_s, struct sway_value *out);

#endif

/* SPDX-License-Identifier: MIT
 * Inside src/sim: true peaks of a swing, from the closed form of its forces. */
#ifndef UF_SIM_TRUTH_H
#define UF_SIM_TRUTH_H

#include "sim/golfer.h"

/* Forces of a planned act at any time in it; person only. */
typedef void uf_sim_forces(void *context, double t_s, struct foot_load out[FEET]);

/* All NAN but the act. */
void uf_sim_truth_clear(struct uf_sim_truth *t, enum uf_sim_act act);
/* Fills weight, shares and peaks of a swing whose event times are known. */
void uf_sim_truth_measure(struct uf_sim_truth *t, double weight_n, uf_sim_forces *forces,
                          void *context);

#endif

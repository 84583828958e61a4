/* SPDX-License-Identifier: MIT
 * Inside src/sim: a body, and the forces between its feet and the ground at any time, in closed
 * form. Mechanics that hold by construction: total force = m (g + a), with a the acceleration of
 * a smooth path of the centre of mass; each COP lies inside its foot's outline (an ellipse);
 * friction stays below 0.7 of each foot's vertical force; internal forces (couple, spread)
 * cancel. Golfer frame: target-ward, toe-ward, vertical, turn; lead foot 0, trail foot 1. */
#ifndef UF_SIM_GOLFER_H
#define UF_SIM_GOLFER_H

#include "sim/curve.h"
#include "sim/sim.h"
#include "sim/sway.h"

#define SIM_FRICTION 0.7

enum { LEAD, TRAIL, FEET };

/* What makes this golfer different from the next, drawn once from the seed. */
struct traits {
    double sway;
    double foot_length_mm, foot_width_mm;
    double toe_out_deg[FEET], sin_out[FEET], cos_out[FEET];
    double stance_mm; /* between the middles of the feet */
    double trail_share_address, trail_share_top, trail_share_low, trail_share_finish;
    double early_shift; /* part of the shift that is done by the transition */
    double tempo;       /* backswing : downswing */
    double downswing_s;
    double vertical_push; /* g, above weight */
    double vertical_at;   /* its time, parts of the downswing */
    double target_push, target_brake, couple, couple_back, toe_common, spread;
    double free_lead, free_trail;
    double along[FEET], across[FEET]; /* place of the COP in quiet standing */
    double swing_spread;              /* relative 1 SD from swing to swing */
};
void uf_sim_traits_draw(const struct uf_sim_golfer *g, struct traits *out);

struct body {
    struct uf_sim_golfer golfer;
    struct traits traits;
    double weight_n;
};
void uf_sim_body_new(struct body *b, const struct uf_sim_golfer *g);

/* One foot. */
struct foot_load {
    double target_n, toe_n, vertical_n;
    double cop_target_mm, cop_toe_mm; /* exists also at zero load: where it would begin */
    double turn_nm;                   /* free moment, towards the target positive */
};

/* From channel values (sum of base and terms) and sway. */
void uf_sim_body_at(const struct body *b, const double *value, const struct sway_value *sway,
                    struct foot_load out[FEET]);

#endif

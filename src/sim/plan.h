/* SPDX-License-Identifier: MIT
 * Inside src/sim: acts are planned before they are played: each becomes a list of terms (curve.h)
 * on top of the pose that the act before left. A planner of an act is one function in one
 * table row; it may only add terms that begin at or after the act's start, and all have ended
 * when the act ends. */
#ifndef UF_SIM_PLAN_H
#define UF_SIM_PLAN_H

#include "sim/golfer.h"

/* One planned act. */
struct planned {
    struct uf_sim_truth truth; /* times known at once; peaks when the act is over */
    size_t first, terms;       /* in the plan's array */
    double base[CHANNELS];     /* channel values at the start */
    double thing_mm[FEET][2];  /* where a thing hits the plates, target-ward and toe-ward */
    bool strikes;              /* strike bit at impact_s */
    bool has_thing;            /* some CH_THING_ term */
};

struct plan {
    const struct body *body;
    struct uf_sim_rng rng;    /* of this act: seed and place in the lesson, nothing else */
    double reach_mm[FEET][2]; /* lead, trail: half size of what lies under the foot */
    double home_mm[FEET][2];  /* middle of the plate under each foot */
    double now_s;             /* start of the act */
    double end_s;             /* of what is planned so far */
    double wanted_s;          /* duration that was asked for, 0: natural */
    bool on;                  /* somebody stands on the plates (after this act) */
    double level[CHANNELS];   /* what all steps so far lead to */
    struct planned *act;
    struct term *term;
    size_t terms, room;
    bool no_memory;
};

typedef void uf_sim_planner(struct plan *p);

uf_sim_planner uf_sim_plan_empty, uf_sim_plan_walk_on, uf_sim_plan_stand, uf_sim_plan_address,
    uf_sim_plan_ball, uf_sim_plan_no_ball, uf_sim_plan_waggle, uf_sim_plan_half, uf_sim_plan_rock,
    uf_sim_plan_sway, uf_sim_plan_tee_up, uf_sim_plan_jump, uf_sim_plan_step_drill,
    uf_sim_plan_drop_club, uf_sim_plan_kick, uf_sim_plan_fidget, uf_sim_plan_step_off;

/* Chance of this act. At most one draw in an expression or a call: C leaves their order open, and
 * every compiler shall give the same lesson. */
double uf_sim_plan_uniform(struct plan *p, double lo, double hi);
double uf_sim_plan_normal(struct plan *p, double mean, double sd); /* within 2.5 sd */
bool uf_sim_plan_chance(struct plan *p, double probability);

/* Terms. Times are absolute; amplitudes as in curve.h. Return the index of the term. */
size_t uf_sim_plan_pulse(struct plan *p, enum channel c, double peak_s, double before_s,
                         double after_s, double amp);
/* To an absolute level, from wherever the steps so far lead. */
void uf_sim_plan_step(struct plan *p, enum channel c, double from_s, double to_s, double level);
void uf_sim_plan_move(struct plan *p, enum channel c, double from_s, double to_s, double metres);
/* There and back within length_s: the acceleration peaks at amp (g), momentum is closed. */
void uf_sim_plan_bob(struct plan *p, enum channel c, double from_s, double length_s, double amp);
/* Puts the weight to another share: the COP at once, the body after it. */
void uf_sim_plan_shift(struct plan *p, double from_s, double to_s, double trail_share);
/* The act lasts at least until then. */
void uf_sim_plan_until(struct plan *p, double end_s);

/* Sets the amplitudes of two pulses, so that since the act's start the channel's area is zero and
 * the centre of mass has gone so far. */
void uf_sim_plan_close(struct plan *p, size_t pulse_a, size_t pulse_b, double metres);
/* Sets the amplitude of one pulse so that the channel's area is zero. */
void uf_sim_plan_close_area(struct plan *p, size_t pulse);

/* Feet where this golfer puts them, a little different each time. */
void uf_sim_plan_feet(struct plan *p);
/* All channels as in quiet standing, and on. */
void uf_sim_plan_pose(struct plan *p);

#endif

/* SPDX-License-Identifier: MIT
 * Inside src/sim: what a body does, as a sum of smooth terms in closed form. A term is a pulse, a
 * step, or the acceleration of a step; each is active for a short time, has two continuous
 * derivatives at least, and a known area and first moment, so that momentum can be made to
 * close exactly. Golfer frame throughout. */
#ifndef UF_SIM_CURVE_H
#define UF_SIM_CURVE_H

#include <stdbool.h>
#include <stddef.h>

/* What terms add up to. Body weights (BW) are of the whole body. */
enum channel {
    CH_VERTICAL, /* acceleration of the centre of mass, in g */
    CH_TARGET,
    CH_TOE,
    CH_LOAD,      /* part of the body that the plates carry, 0..1 */
    CH_SHARE,     /* trail foot's part of it */
    CH_COUPLE,    /* opposite toe-heel forces: trail toe-ward, lead heel-ward, BW a foot */
    CH_SPREAD,    /* opposite target-line forces: each foot pushed inwards, BW a foot */
    CH_FREE_LEAD, /* free moment, N m for 750 N of weight, towards the target positive */
    CH_FREE_TRAIL,
    CH_LEAD_ALONG,  /* place of the COP in the foot: half lengths from its middle, toes + */
    CH_LEAD_ACROSS, /* half widths, little toe + */
    CH_TRAIL_ALONG,
    CH_TRAIL_ACROSS,
    CH_LEAD_X, /* middle of the foot, mm target-ward from the middle of the rig */
    CH_LEAD_Y, /* mm toe-ward */
    CH_TRAIL_X,
    CH_TRAIL_Y,
    CH_THING_V, /* a thing on the lead foot's plate (a club that falls, a kick): N */
    CH_THING_X,
    CH_THING_Y,
    CH_THING_TRAIL_V, /* the same on the trail foot's */
    CH_THING_TRAIL_X,
    CH_THING_TRAIL_Y,
    CHANNELS
};

enum term_kind {
    TERM_PULSE, /* amp (1 - u^2)^4 with u from -1 at from_s over 0 at mid_s to 1 at to_s */
    TERM_STEP,  /* 0 before from_s, amp after to_s, smooth to the third derivative */
    TERM_MOVE   /* second derivative of a step: acceleration of a move by amp (m), as g */
};

struct term {
    double from_s, mid_s, to_s;
    double before_1_s, after_1_s; /* 1 / length of the two sides; STEP, MOVE: of the whole */
    double amp;
    enum channel channel;
    enum term_kind kind;
};

void uf_sim_term_pulse(struct term *t, enum channel c, double peak_s, double before_s,
                       double after_s, double amp);
void uf_sim_term_step(struct term *t, enum channel c, double from_s, double to_s, double amp);
void uf_sim_term_move(struct term *t, enum channel c, double from_s, double to_s, double metres,
                      double g_m_s2);

/* Adds the terms at a time to value[CHANNELS]. Terms must be in order of from_s. */
void uf_sim_terms_at(const struct term *t, size_t n, double t_s, double *value);

/* Integral over all time, and integral of (time - origin) * value. Of steps only the sums have a
 * meaning in which the steps cancel. */
double uf_sim_term_area(const struct term *t, double origin_s);
double uf_sim_term_moment(const struct term *t, double origin_s);

#endif

/* SPDX-License-Identifier: MIT
 * The quiet acts, and how people come and go. While a foot stands on the floor beside the plates,
 * the plates carry only a part of the body (CH_LOAD), so momentum does not close on them. Pure. */
#include "sim/plan.h"

#include <math.h>

static double lasting(struct plan *p, double lo, double hi)
{
    return p->wanted_s > 0 ? p->wanted_s : uf_sim_plan_uniform(p, lo, hi);
}

void uf_sim_plan_empty(struct plan *p)
{
    uf_sim_plan_until(p, p->now_s + lasting(p, 2, 4));
}

void uf_sim_plan_stand(struct plan *p)
{
    double length = lasting(p, 1.5, 4);
    /* now and then the weight is eased a little first */
    if (length > 1.4 && uf_sim_plan_chance(p, 0.5))
        uf_sim_plan_shift(p, p->now_s, p->now_s + 0.4, 0.5 + uf_sim_plan_normal(p, 0, 0.02));
    uf_sim_plan_until(p, p->now_s + length);
}

void uf_sim_plan_address(struct plan *p)
{
    const struct traits *t = &p->body->traits;
    double length = lasting(p, 1.8, 3.2), settle = fmin(0.45 * length, 1.2), at = p->now_s;
    int eases = 1 + (int)uf_sim_plan_uniform(p, 0, 2.99);
    for (int i = 0; i < eases; i++)
        uf_sim_plan_pulse(p, CH_SHARE, at + settle * (0.2 + 0.3 * i), 0.2 * settle, 0.2 * settle,
                          uf_sim_plan_normal(p, 0, 0.03));
    uf_sim_plan_pulse(p, CH_LEAD_ALONG, at + 0.5 * settle, 0.4 * settle, 0.4 * settle,
                      uf_sim_plan_normal(p, 0.1, 0.1));
    uf_sim_plan_pulse(p, CH_TRAIL_ALONG, at + 0.5 * settle, 0.4 * settle, 0.4 * settle,
                      uf_sim_plan_normal(p, 0.1, 0.1));
    uf_sim_plan_step(p, CH_SHARE, at, at + 0.9 * settle,
                     t->trail_share_address + uf_sim_plan_normal(p, 0, 0.008));
    uf_sim_plan_until(p, at + length);
}

/* A foot comes down with the plates not loaded, or loaded through the other foot only. */
static void heel_strike(struct plan *p, enum channel c, double at_s, double amp)
{
    double rise = uf_sim_plan_uniform(p, 0.012, 0.03);
    uf_sim_plan_pulse(p, c, at_s + rise, rise, uf_sim_plan_uniform(p, 0.025, 0.05), amp);
}

static void roll_from_heel(struct plan *p, int foot, double at_s)
{
    enum channel along = foot == LEAD ? CH_LEAD_ALONG : CH_TRAIL_ALONG;
    double rest = p->level[along];
    p->act->base[along] = p->level[along] = uf_sim_plan_uniform(p, -1.4, -0.4);
    uf_sim_plan_step(p, along, at_s, at_s + uf_sim_plan_uniform(p, 0.25, 0.5), rest);
}

/* Either foot first: trail foot and then lead foot is, for the plates, much like a swing. */
void uf_sim_plan_walk_on(struct plan *p)
{
    uf_sim_plan_feet(p);
    uf_sim_plan_pose(p);
    int first = uf_sim_plan_chance(p, 0.5) ? TRAIL : LEAD, second = first == TRAIL ? LEAD : TRAIL;
    double pace = uf_sim_plan_uniform(p, 0.75, 1.5); /* length of things */
    double down = p->now_s + uf_sim_plan_uniform(p, 0.2, 0.7);
    double rest_share = p->level[CH_SHARE];
    p->level[CH_LOAD] = 0;
    p->level[CH_SHARE] = first == TRAIL ? 1 : 0;
    for (int c = 0; c < CHANNELS; c++)
        p->act->base[c] = p->level[c];

    /* first foot: heel, then the body over it, braked */
    double over = down + 0.45 * pace;
    heel_strike(p, CH_LOAD, down + 0.01, uf_sim_plan_uniform(p, 0.05, 0.35));
    uf_sim_plan_step(p, CH_LOAD, down, down + 0.16 * pace, uf_sim_plan_uniform(p, 0.5, 0.85));
    uf_sim_plan_step(p, CH_LOAD, down + 0.1 * pace, over, 1);
    uf_sim_plan_pulse(p, CH_VERTICAL, down + 0.3 * pace, 0.25 * pace, 0.25 * pace,
                      uf_sim_plan_uniform(p, 0.05, 0.22) / pace);
    uf_sim_plan_pulse(p, CH_TOE, down + 0.2 * pace, 0.2 * pace, 0.3 * pace,
                      -uf_sim_plan_uniform(p, 0.08, 0.2) / pace);
    roll_from_heel(p, first, down);

    /* second foot beside it */
    double beside = over + uf_sim_plan_uniform(p, -0.1, 0.45);
    double shifted = beside + uf_sim_plan_uniform(p, 0.16, 0.6);
    double beyond = rest_share + (rest_share - p->level[CH_SHARE]) * uf_sim_plan_uniform(p, 0, 0.7);
    heel_strike(p, CH_VERTICAL, beside + 0.03, uf_sim_plan_uniform(p, 0.02, 0.25));
    uf_sim_plan_step(p, CH_SHARE, beside, shifted, beyond);
    uf_sim_plan_pulse(p, CH_TOE, beside + 0.2, 0.2, 0.3, -uf_sim_plan_uniform(p, 0.02, 0.08));
    uf_sim_plan_pulse(p, CH_TARGET, beside + 0.1, 0.3, 0.35,
                      (first == TRAIL ? 0.08 : -0.08) * uf_sim_plan_uniform(p, 0.4, 1.2));
    roll_from_heel(p, second, beside);
    double settled = shifted + uf_sim_plan_uniform(p, 0.1, 0.5);
    uf_sim_plan_shift(p, settled, settled + uf_sim_plan_uniform(p, 0.5, 1.0), rest_share);
    uf_sim_plan_until(p, p->now_s + p->wanted_s);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.2, 1.0));
}

/* Off backwards, sideways to the target (the trail foot pushes, the lead foot takes all, then it
 * leaves too) or away from it; at leisure or in one go. */
void uf_sim_plan_step_off(struct plan *p)
{
    double pace = uf_sim_plan_uniform(p, 0.6, 1.5);
    double go = p->now_s + uf_sim_plan_uniform(p, 0.05, 0.6);
    bool over_lead = uf_sim_plan_chance(p, 0.5);
    double alone = over_lead ? 0 : 1; /* share when one foot is left */
    double lifted = go + 0.4 * pace;
    uf_sim_plan_step(p, CH_SHARE, go, lifted, alone);
    uf_sim_plan_pulse(p, CH_VERTICAL, lifted - 0.1 * pace, 0.25 * pace, 0.25 * pace,
                      uf_sim_plan_uniform(p, 0.0, 0.2) / pace);
    uf_sim_plan_pulse(p, CH_TARGET, lifted - 0.05 * pace, 0.3 * pace, 0.35 * pace,
                      (over_lead ? 1 : -1) * uf_sim_plan_uniform(p, 0.02, 0.16) / pace);
    uf_sim_plan_pulse(p, CH_TOE, lifted + 0.05 * pace, 0.3 * pace, 0.35 * pace,
                      uf_sim_plan_uniform(p, -0.15, 0.1) / pace);
    double leave = lifted + uf_sim_plan_uniform(p, -0.08, 0.3) * pace;
    double away = leave + uf_sim_plan_uniform(p, 0.22, 0.45) * pace;
    enum channel along = over_lead ? CH_LEAD_ALONG : CH_TRAIL_ALONG;
    uf_sim_plan_step(p, along, leave, away, uf_sim_plan_uniform(p, 0.4, 1.4)); /* off the toes */
    uf_sim_plan_step(p, CH_LOAD, leave, away, 0);
    p->on = false;
    uf_sim_plan_until(p, p->now_s + p->wanted_s);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.3, 1.0));
}

/* SPDX-License-Identifier: MIT
 * The swing as forces: full with a ball, full without one, and the practice half turn. Amplitudes
 * in body weights and g; what comes when is told from takeaway, top and impact. Sources of sizes
 * and order: the published ranges in tests/published/test_sim_ranges.c. Pure. */
#include "sim/plan.h"

#include <math.h>

struct swing {
    double takeaway_s, top_s, impact_s;
    double back_s, down_s; /* lengths */
    double size;           /* 1 full; of the dynamic forces */
    double vary;           /* relative 1 SD of an amplitude */
};

/* An amplitude of this very swing. */
static double amp(struct plan *p, const struct swing *w, double mean)
{
    return w->size * mean * uf_sim_plan_normal(p, 1, w->vary);
}

/* Time in the downswing, in parts of its length. */
static double down(const struct swing *w, double parts)
{
    return w->top_s + parts * w->down_s;
}

static double back(const struct swing *w, double parts)
{
    return w->takeaway_s + parts * w->back_s;
}

/* Weight from foot to foot: to the trail foot by the top, across in the downswing, and where the
 * style ends. Returns the share at the finish. */
static double plan_share(struct plan *p, const struct swing *w, double top, double low,
                         double finish)
{
    const struct traits *t = &p->body->traits;
    top += uf_sim_plan_normal(p, 0, 0.25 * w->vary);
    low += uf_sim_plan_normal(p, 0, 0.2 * w->vary);
    low = fmax(low, 0.05);
    double early = top - t->early_shift * (top - low);
    uf_sim_plan_step(p, CH_SHARE, w->takeaway_s, back(w, 0.92), top);
    uf_sim_plan_step(p, CH_SHARE, back(w, 0.88), down(w, 0.34), early);
    double shift = uf_sim_plan_normal(p, -0.01, 0.02); /* begins so much after the top */
    bool reverse = p->body->golfer.style == UF_SIM_BACKFOOT;
    if (!reverse) {
        uf_sim_plan_step(p, CH_SHARE, down(w, shift), down(w, shift + 1.12), low);
        /* the lead leg straightens and throws a little weight back */
        double bounce = w->size * uf_sim_plan_uniform(p, 0.04, 0.10);
        uf_sim_plan_pulse(p, CH_SHARE, w->impact_s + 0.16, 0.16, 0.30, bounce);
        uf_sim_plan_step(p, CH_SHARE, w->impact_s + 0.10, w->impact_s + 0.75,
                         fmin(finish, low + 0.15));
    } else {
        uf_sim_plan_step(p, CH_SHARE, down(w, shift - 0.12), down(w, 0.82), low);
        double at_impact = low + w->size * uf_sim_plan_uniform(p, 0.14, 0.26);
        uf_sim_plan_step(p, CH_SHARE, down(w, 0.74), w->impact_s + 0.10, at_impact);
        uf_sim_plan_step(p, CH_SHARE, w->impact_s + 0.12, w->impact_s + 0.85, finish);
    }
    return p->level[CH_SHARE];
}

static void plan_vertical(struct plan *p, const struct swing *w)
{
    const struct traits *t = &p->body->traits;
    double push = amp(p, w, t->vertical_push);
    double at = down(w, t->vertical_at + uf_sim_plan_normal(p, 0, 0.5 * w->vary));
    uf_sim_plan_pulse(p, CH_VERTICAL, back(w, 0.22), 0.2 * w->back_s, 0.26 * w->back_s,
                      amp(p, w, 0.035));
    uf_sim_plan_pulse(p, CH_VERTICAL, back(w, 0.55), 0.24 * w->back_s, 0.26 * w->back_s,
                      amp(p, w, -0.03));
    /* down into the ground before the push */
    uf_sim_plan_pulse(p, CH_VERTICAL, down(w, 0.02), 0.32 * w->back_s, 0.55 * w->down_s,
                      -w->size * 0.04 - 0.28 * push);
    uf_sim_plan_pulse(p, CH_VERTICAL, at, 0.64 * w->down_s, 0.52 * w->down_s + 0.02, push);
    uf_sim_plan_pulse(p, CH_VERTICAL, at + 0.55 * w->down_s + 0.04, 0.55 * w->down_s,
                      0.16 + 0.3 * w->down_s, -0.55 * push);
    size_t a = uf_sim_plan_pulse(p, CH_VERTICAL, w->impact_s + 0.40, 0.26, 0.30, 0);
    size_t b = uf_sim_plan_pulse(p, CH_VERTICAL, w->impact_s + 0.74, 0.34, 0.44, 0);
    uf_sim_plan_close(p, a, b, w->size * uf_sim_plan_uniform(p, 0.0, 0.03));
}

/* metres: how far the body has gone towards the target by the finish. */
static void plan_target(struct plan *p, const struct swing *w, double metres)
{
    const struct traits *t = &p->body->traits;
    double push = amp(p, w, t->target_push), brake = amp(p, w, t->target_brake);
    uf_sim_plan_pulse(p, CH_TARGET, back(w, 0.20), 0.19 * w->back_s, 0.25 * w->back_s,
                      -0.30 * push);
    uf_sim_plan_pulse(p, CH_TARGET, back(w, 0.62), 0.26 * w->back_s, 0.30 * w->back_s, 0.30 * push);
    uf_sim_plan_pulse(p, CH_TARGET, down(w, uf_sim_plan_normal(p, 0.08, 0.04)), 0.24 * w->back_s,
                      0.66 * w->down_s, push);
    uf_sim_plan_pulse(p, CH_TARGET, down(w, 1.02), 0.52 * w->down_s, 0.14 + 0.2 * w->down_s,
                      -brake);
    size_t a = uf_sim_plan_pulse(p, CH_TARGET, w->impact_s + 0.34, 0.30, 0.34, 0);
    size_t b = uf_sim_plan_pulse(p, CH_TARGET, w->impact_s + 0.72, 0.36, 0.46, 0);
    uf_sim_plan_close(p, a, b, metres);
}

static void plan_toe(struct plan *p, const struct swing *w)
{
    const struct traits *t = &p->body->traits;
    double common = amp(p, w, t->toe_common);
    uf_sim_plan_pulse(p, CH_TOE, back(w, 0.5), 0.3 * w->back_s, 0.35 * w->back_s, 0.3 * common);
    uf_sim_plan_pulse(p, CH_TOE, down(w, 0.68), 0.62 * w->down_s, 0.6 * w->down_s, -common);
    size_t a = uf_sim_plan_pulse(p, CH_TOE, w->impact_s + 0.24, 0.22, 0.30, 0);
    size_t b = uf_sim_plan_pulse(p, CH_TOE, w->impact_s + 0.66, 0.34, 0.46, 0);
    uf_sim_plan_close(p, a, b, 0);
}

/* What turns the golfer: opposite toe-heel forces and free moments. Positive towards the target. */
static void plan_turn(struct plan *p, const struct swing *w)
{
    const struct traits *t = &p->body->traits;
    double at = uf_sim_plan_normal(p, 0.50, 0.02);
    uf_sim_plan_pulse(p, CH_COUPLE, back(w, 0.34), 0.32 * w->back_s, 0.40 * w->back_s,
                      -amp(p, w, t->couple_back));
    uf_sim_plan_pulse(p, CH_COUPLE, down(w, at), 0.60 * w->down_s + 0.02, 0.62 * w->down_s,
                      amp(p, w, t->couple));
    size_t rest = uf_sim_plan_pulse(p, CH_COUPLE, w->impact_s + 0.22, 0.26, 0.42, 0);
    uf_sim_plan_close_area(p, rest);

    double lead = amp(p, w, t->free_lead), trail = amp(p, w, t->free_trail);
    uf_sim_plan_pulse(p, CH_FREE_LEAD, back(w, 0.4), 0.34 * w->back_s, 0.4 * w->back_s,
                      -0.25 * lead);
    uf_sim_plan_pulse(p, CH_FREE_LEAD, down(w, 0.66), 0.62 * w->down_s, 0.55 * w->down_s, lead);
    uf_sim_plan_pulse(p, CH_FREE_LEAD, w->impact_s + 0.13, 0.13, 0.24, -1.35 * lead);
    uf_sim_plan_pulse(p, CH_FREE_TRAIL, back(w, 0.45), 0.4 * w->back_s, 0.4 * w->back_s,
                      -1.0 * trail);
    uf_sim_plan_pulse(p, CH_FREE_TRAIL, down(w, 0.36), 0.5 * w->down_s, 0.6 * w->down_s, trail);
}

/* Where the COP goes under each foot, in half lengths and widths: under the trail foot towards the
 * base of the fourth and fifth at the top and then to the inner front; under the lead foot back
 * to the ball of the foot at the push, then outwards. */
static void plan_cop(struct plan *p, const struct swing *w)
{
    double v = w->size;
    uf_sim_plan_pulse(p, CH_LEAD_ALONG, back(w, 0.7), 0.6 * w->back_s, 0.3 * w->back_s,
                      v * uf_sim_plan_normal(p, 0.16, 0.06));
    uf_sim_plan_pulse(p, CH_LEAD_ALONG, down(w, 0.7), 0.7 * w->down_s, 0.55 * w->down_s,
                      v * uf_sim_plan_normal(p, 0.24, 0.10));
    uf_sim_plan_pulse(p, CH_LEAD_ALONG, w->impact_s + 0.22, 0.24, 0.5,
                      v * uf_sim_plan_normal(p, -0.35, 0.10));
    uf_sim_plan_pulse(p, CH_LEAD_ACROSS, back(w, 0.75), 0.6 * w->back_s, 0.3 * w->back_s,
                      v * uf_sim_plan_normal(p, -0.30, 0.08));
    uf_sim_plan_pulse(p, CH_LEAD_ACROSS, down(w, 0.75), 0.6 * w->down_s, 0.5 * w->down_s,
                      v * uf_sim_plan_normal(p, -0.10, 0.12));
    uf_sim_plan_pulse(p, CH_LEAD_ACROSS, w->impact_s + 0.25, 0.24, 0.6,
                      v * uf_sim_plan_normal(p, 0.50, 0.12));
    uf_sim_plan_pulse(p, CH_TRAIL_ALONG, back(w, 0.9), 0.8 * w->back_s, 0.6 * w->down_s,
                      v * uf_sim_plan_normal(p, -0.12, 0.12));
    uf_sim_plan_pulse(p, CH_TRAIL_ALONG, w->impact_s, 0.8 * w->down_s, 0.9,
                      v * uf_sim_plan_normal(p, 0.80, 0.15));
    uf_sim_plan_pulse(p, CH_TRAIL_ACROSS, back(w, 0.9), 0.8 * w->back_s, 0.6 * w->down_s,
                      v * uf_sim_plan_normal(p, 0.22, 0.10));
    uf_sim_plan_pulse(p, CH_TRAIL_ACROSS, w->impact_s - 0.02, 0.8 * w->down_s, 0.9,
                      v * uf_sim_plan_normal(p, -0.50, 0.12));
}

/* Everything between takeaway and finish, then a while in the finish, then back to the address. */
static void plan_forces(struct plan *p, struct swing *w, double top, double low, double to)
{
    const struct traits *t = &p->body->traits;
    double before = p->level[CH_SHARE];
    double finish = plan_share(p, w, top, low, to);
    double metres = 0.8 * (before - finish) * t->stance_mm / 1000;
    plan_vertical(p, w);
    plan_target(p, w, metres);
    plan_toe(p, w);
    plan_turn(p, w);
    plan_cop(p, w);
    uf_sim_plan_pulse(p, CH_SPREAD, back(w, 0.85), 0.7 * w->back_s, 0.7 * w->down_s,
                      amp(p, w, 0.02));
    uf_sim_plan_pulse(p, CH_SPREAD, w->impact_s + 0.02, 0.7 * w->down_s, 0.4, amp(p, w, -0.02));
    struct uf_sim_truth *truth = &p->act->truth;
    truth->first_move_s = w->takeaway_s;
    truth->top_s = w->top_s;
    truth->lead_arm_level_s = down(w, uf_sim_plan_normal(p, 0.58, 0.015));
    truth->shaft_level_s = down(w, uf_sim_plan_normal(p, 0.83, 0.01));
    truth->impact_s = w->impact_s;
    truth->finish_s = p->end_s;
    /* hold, then back to where the address was */
    double hold = uf_sim_plan_uniform(p, 0.2, 1.4);
    double from = p->end_s + hold, to_s = from + uf_sim_plan_uniform(p, 0.8, 1.3);
    uf_sim_plan_shift(p, from, to_s, t->trail_share_address + uf_sim_plan_normal(p, 0, 0.01));
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.1, 0.5));
}

static void plan_full(struct plan *p, double effort)
{
    const struct traits *t = &p->body->traits;
    struct swing w = {.size = effort, .vary = t->swing_spread};
    w.down_s = t->downswing_s * uf_sim_plan_normal(p, 1, 0.3 * w.vary + 0.005) / sqrt(effort);
    w.back_s = w.down_s * t->tempo * uf_sim_plan_normal(p, 1, 0.4 * w.vary + 0.01);
    w.takeaway_s = p->now_s + uf_sim_plan_uniform(p, 0.15, 0.6);
    w.top_s = w.takeaway_s + w.back_s;
    w.impact_s = w.top_s + w.down_s;
    plan_forces(p, &w, t->trail_share_top, t->trail_share_low, t->trail_share_finish);
    p->act->truth.is_swing = true;
}

void uf_sim_plan_ball(struct plan *p)
{
    plan_full(p, 1);
    p->act->strikes = true;
}

void uf_sim_plan_no_ball(struct plan *p)
{
    plan_full(p, uf_sim_plan_uniform(p, 1.0, 1.08));
}

/* To about half: less weight on the trail foot, a slower and smaller rise under the lead one. */
void uf_sim_plan_half(struct plan *p)
{
    const struct traits *t = &p->body->traits;
    double part = uf_sim_plan_uniform(p, 0.2, 0.5);
    struct swing w = {.size = part, .vary = t->swing_spread};
    w.down_s = fmax(t->downswing_s, 0.26) * uf_sim_plan_uniform(p, 1.35, 2.2);
    w.back_s = w.down_s * uf_sim_plan_uniform(p, 1.4, 2.4);
    w.takeaway_s = p->now_s + uf_sim_plan_uniform(p, 0.1, 0.5);
    w.top_s = w.takeaway_s + w.back_s;
    w.impact_s = w.top_s + w.down_s;
    double now = p->level[CH_SHARE];
    double top = fmin(0.68, now + (t->trail_share_top - now) * (0.25 + part));
    double low = fmax(0.38, now + (t->trail_share_low - now) * (0.15 + part));
    plan_forces(p, &w, top, low, fmax(0.30, t->trail_share_finish));
}

/* SPDX-License-Identifier: MIT
 * What planners share: terms, levels, closing of momentum, feet. See plan.h. Pure. */
#include "sim/plan.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

double uf_sim_plan_uniform(struct plan *p, double lo, double hi)
{
    return uf_sim_rng_uniform(&p->rng, lo, hi);
}

double uf_sim_plan_normal(struct plan *p, double mean, double sd)
{
    return mean + sd * fmax(-2.5, fmin(2.5, uf_sim_rng_normal(&p->rng, 0, 1)));
}

bool uf_sim_plan_chance(struct plan *p, double probability)
{
    return uf_sim_rng_uniform(&p->rng, 0, 1) < probability;
}

static size_t add(struct plan *p, const struct term *t)
{
    assert(t->from_s >= p->now_s && t->to_s > t->from_s);
    if (p->terms == p->room) {
        size_t room = p->room ? 2 * p->room : 256;
        struct term *grown = realloc(p->term, room * sizeof *grown);
        if (!grown) {
            p->no_memory = true;
            return 0;
        }
        p->term = grown;
        p->room = room;
    }
    if (t->channel >= CH_THING_V)
        p->act->has_thing = true;
    p->term[p->terms] = *t;
    uf_sim_plan_until(p, t->to_s);
    return p->terms++;
}

size_t uf_sim_plan_pulse(struct plan *p, enum channel c, double peak_s, double before_s,
                         double after_s, double amp)
{
    struct term t;
    uf_sim_term_pulse(&t, c, peak_s, fmin(before_s, peak_s - p->now_s), after_s, amp);
    return add(p, &t);
}

void uf_sim_plan_step(struct plan *p, enum channel c, double from_s, double to_s, double level)
{
    struct term t;
    uf_sim_term_step(&t, c, from_s, to_s, level - p->level[c]);
    p->level[c] = level;
    add(p, &t);
}

void uf_sim_plan_move(struct plan *p, enum channel c, double from_s, double to_s, double metres)
{
    struct term t;
    uf_sim_term_move(&t, c, from_s, to_s, metres, p->body->golfer.g_m_s2);
    add(p, &t);
}

#define MOVE_PEAK 7.51 /* greatest second derivative of a step of one over a time of one */

void uf_sim_plan_bob(struct plan *p, enum channel c, double from_s, double length_s, double amp)
{
    double half = length_s / 2, metres = amp * p->body->golfer.g_m_s2 * half * half / MOVE_PEAK;
    uf_sim_plan_move(p, c, from_s, from_s + half, metres);
    uf_sim_plan_move(p, c, from_s + half, from_s + length_s, -metres);
}

void uf_sim_plan_shift(struct plan *p, double from_s, double to_s, double trail_share)
{
    double target_m = (p->level[CH_SHARE] - trail_share) * p->body->traits.stance_mm / 1000;
    uf_sim_plan_step(p, CH_SHARE, from_s, to_s, trail_share);
    double length = fmax(1.5 * (to_s - from_s), 0.7 + 1.2 * fabs(target_m));
    uf_sim_plan_move(p, CH_TARGET, from_s, from_s + length, 0.8 * target_m);
}

void uf_sim_plan_until(struct plan *p, double end_s)
{
    if (end_s > p->end_s)
        p->end_s = end_s;
}

void uf_sim_plan_close(struct plan *p, size_t pulse_a, size_t pulse_b, double metres)
{
    if (p->no_memory)
        return;
    struct term *a = &p->term[pulse_a], *b = &p->term[pulse_b];
    a->amp = b->amp = 0;
    double area = 0, moment = 0;
    for (size_t i = p->act->first; i < p->terms; i++)
        if (p->term[i].channel == a->channel) {
            area += uf_sim_term_area(&p->term[i], p->now_s);
            moment += uf_sim_term_moment(&p->term[i], p->now_s);
        }
    a->amp = b->amp = 1;
    double area_a = uf_sim_term_area(a, p->now_s), area_b = uf_sim_term_area(b, p->now_s);
    double moment_a = uf_sim_term_moment(a, p->now_s), moment_b = uf_sim_term_moment(b, p->now_s);
    double rest = -metres / p->body->golfer.g_m_s2 - moment; /* displacement = - moment */
    double det = area_a * moment_b - area_b * moment_a;
    a->amp = (-area * moment_b - area_b * rest) / det;
    b->amp = (area_a * rest + area * moment_a) / det;
}

void uf_sim_plan_close_area(struct plan *p, size_t pulse)
{
    if (p->no_memory)
        return;
    struct term *t = &p->term[pulse];
    t->amp = 0;
    double area = 0;
    for (size_t i = p->act->first; i < p->terms; i++)
        if (p->term[i].channel == t->channel)
            area += uf_sim_term_area(&p->term[i], p->now_s);
    t->amp = 1;
    t->amp = -area / uf_sim_term_area(t, p->now_s);
}

static double within(double x, double middle, double half)
{
    if (half < 0)
        half = 0;
    return fmax(middle - half, fmin(middle + half, x));
}

void uf_sim_plan_feet(struct plan *p)
{
    const struct traits *t = &p->body->traits;
    double aside = uf_sim_plan_normal(p, 0, 6), ahead = uf_sim_plan_normal(p, 0, 8);
    for (int foot = 0; foot < FEET; foot++) {
        double x = (foot == LEAD ? 0.5 : -0.5) * t->stance_mm + aside + uf_sim_plan_normal(p, 0, 4);
        double y = ahead + uf_sim_plan_normal(p, foot == LEAD ? -4 : 0, 4);
        /* the whole outline stays on the plate */
        double wide = t->foot_width_mm / 2 + t->foot_length_mm / 2 * t->sin_out[foot];
        p->level[CH_LEAD_X + 2 * foot] =
            within(x, p->home_mm[foot][0], p->reach_mm[foot][0] - wide);
        p->level[CH_LEAD_Y + 2 * foot] = within(p->home_mm[foot][1] + y, p->home_mm[foot][1],
                                                p->reach_mm[foot][1] - t->foot_length_mm / 2);
    }
}

void uf_sim_plan_pose(struct plan *p)
{
    const struct traits *t = &p->body->traits;
    for (int c = 0; c < CHANNELS; c++)
        if (c < CH_LEAD_X || c > CH_TRAIL_Y)
            p->level[c] = 0;
    p->level[CH_LOAD] = 1;
    p->level[CH_SHARE] = t->trail_share_address;
    p->level[CH_SPREAD] = t->spread;
    for (int foot = 0; foot < FEET; foot++) {
        p->level[CH_LEAD_ALONG + 2 * foot] = t->along[foot];
        p->level[CH_LEAD_ACROSS + 2 * foot] = t->across[foot];
    }
    p->on = true;
}

/* SPDX-License-Identifier: MIT
 * What people do on the plates beside swinging, chosen to be taken for a swing: each with a wide
 * spread. Momentum closes over each (both feet on the plates, or the body in free flight). Pure. */
#include "sim/plan.h"

#include <math.h>

/* Keeps on until the duration that was asked for, or a natural number of times. */
static bool once_more(const struct plan *p, int done, int natural, double at_s)
{
    return p->wanted_s > 0 ? at_s < p->now_s + p->wanted_s - 0.6 || done < 1 : done < natural;
}

void uf_sim_plan_waggle(struct plan *p)
{
    double rest = p->level[CH_SHARE], size = 0.012 * pow(16, uf_sim_plan_uniform(p, 0, 1));
    double period = uf_sim_plan_uniform(p, 0.5, 1.4), at = p->now_s + 0.1;
    int natural = 2 + (int)uf_sim_plan_uniform(p, 0, 8), i = 0;
    double sign = uf_sim_plan_chance(p, 0.5) ? 1 : -1;
    for (; once_more(p, i, natural, at); i++) {
        double half = period / 2 * uf_sim_plan_uniform(p, 0.85, 1.2);
        double next = rest + sign * size * uf_sim_plan_uniform(p, 0.5, 1.2);
        uf_sim_plan_step(p, CH_SHARE, at, at + half, next);
        uf_sim_plan_pulse(p, CH_COUPLE, at + half / 2, half / 2, half / 2,
                          -sign * size * uf_sim_plan_uniform(p, 0.1, 0.4));
        uf_sim_plan_bob(p, CH_VERTICAL, at, half, size * uf_sim_plan_uniform(p, -0.3, 0.3));
        sign = -sign;
        at += half;
    }
    uf_sim_plan_step(p, CH_SHARE, at, at + 0.5, rest);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.0, 0.7));
}

void uf_sim_plan_rock(struct plan *p)
{
    double half = 0.5 / uf_sim_plan_uniform(p, 0.5, 1.0), at = p->now_s + 0.2, sign = 1;
    double size = uf_sim_plan_uniform(p, 0.5, 2.2), lean = 0.035 * size / 2;
    double rest[FEET] = {p->level[CH_LEAD_ALONG], p->level[CH_TRAIL_ALONG]}, at_m = 0;
    int natural = 5 + (int)uf_sim_plan_uniform(p, 0, 6), i = 0;
    for (; once_more(p, i, natural, at); i++) {
        double to = sign * size * uf_sim_plan_uniform(p, 0.8, 1.1);
        uf_sim_plan_step(p, CH_LEAD_ALONG, at, at + half, to);
        uf_sim_plan_step(p, CH_TRAIL_ALONG, at, at + half, to * uf_sim_plan_uniform(p, 0.8, 1.2));
        uf_sim_plan_move(p, CH_TOE, at, at + half, sign * lean - at_m);
        uf_sim_plan_pulse(p, CH_SHARE, at + half / 2, half / 2, half / 2,
                          uf_sim_plan_normal(p, 0, 0.03));
        uf_sim_plan_bob(p, CH_VERTICAL, at, half, size * uf_sim_plan_uniform(p, 0.0, 0.04));
        at_m = sign * lean;
        sign = -sign;
        at += half;
    }
    uf_sim_plan_step(p, CH_LEAD_ALONG, at, at + 0.7, rest[LEAD]);
    uf_sim_plan_step(p, CH_TRAIL_ALONG, at, at + 0.7, rest[TRAIL]);
    uf_sim_plan_move(p, CH_TOE, at, at + 0.7, -at_m);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.0, 0.7));
}

/* Side to side, up to nine tenths on a foot, with a period of 1.6 s or more. The body moves less
 * than the COP does: the COP leads it. */
void uf_sim_plan_sway(struct plan *p)
{
    double rest = p->level[CH_SHARE], half = uf_sim_plan_uniform(p, 0.8, 1.5), at = p->now_s + 0.1;
    double size = uf_sim_plan_uniform(p, 0.15, 0.40), at_m = 0;
    double sign = uf_sim_plan_chance(p, 0.6) ? 1 : -1; /* mostly to the trail foot first */
    int natural = 3 + (int)uf_sim_plan_uniform(p, 0, 6), i = 0;
    for (; once_more(p, i, natural, at); i++) {
        double part = sign * size * uf_sim_plan_uniform(p, 0.85, 1.0);
        double to_m = -part * 0.3 * p->body->traits.stance_mm / 1000;
        uf_sim_plan_step(p, CH_SHARE, at, at + half, 0.5 + part);
        uf_sim_plan_move(p, CH_TARGET, at, at + half, to_m - at_m);
        uf_sim_plan_pulse(p, CH_COUPLE, at + half / 2, half / 2, half / 2,
                          uf_sim_plan_normal(p, 0, 0.02));
        uf_sim_plan_bob(p, CH_VERTICAL, at, half, uf_sim_plan_uniform(p, -0.04, 0.04));
        at_m = to_m;
        sign = -sign;
        at += half;
    }
    uf_sim_plan_step(p, CH_SHARE, at, at + 0.9, rest);
    uf_sim_plan_move(p, CH_TARGET, at, at + 0.9, -at_m);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.0, 0.7));
}

/* Down on one leg, often with the other foot in the air behind, a while down there, and up. */
void uf_sim_plan_tee_up(struct plan *p)
{
    const struct traits *t = &p->body->traits;
    double at = p->now_s + 0.1, bend = uf_sim_plan_uniform(p, 0.6, 1.3);
    double stay = uf_sim_plan_uniform(p, 0.4, 2.0), rise = uf_sim_plan_uniform(p, 0.5, 1.2);
    bool over_lead = uf_sim_plan_chance(p, 0.6);
    double one = uf_sim_plan_chance(p, 0.6) ? 0 : uf_sim_plan_uniform(p, 0.05, 0.3);
    double share = over_lead ? one : 1 - one;
    uf_sim_plan_shift(p, at, at + bend, share);
    uf_sim_plan_move(p, CH_TOE, at, at + bend + 0.3, 0.05);
    int foot = over_lead ? LEAD : TRAIL;
    enum channel along = foot == LEAD ? CH_LEAD_ALONG : CH_TRAIL_ALONG;
    uf_sim_plan_step(p, along, at, at + bend, uf_sim_plan_uniform(p, 0.3, 0.9));
    /* lighter, then heavier */
    double low_m = uf_sim_plan_uniform(p, 0.06, 0.24) * fmin(1, bend);
    uf_sim_plan_move(p, CH_VERTICAL, at, at + 1.1 * bend, -low_m);
    at += fmax(bend + 0.3, 0.8) + stay;
    /* leans on the tee, then up */
    uf_sim_plan_pulse(p, CH_LOAD, at - 0.5 * stay, 0.1, 0.15, -uf_sim_plan_uniform(p, 0.0, 0.1));
    uf_sim_plan_move(p, CH_VERTICAL, at, at + 1.2 * rise, low_m);
    uf_sim_plan_step(p, along, at, at + rise, t->along[foot]);
    uf_sim_plan_move(p, CH_TOE, at, at + rise + 0.3, -0.05);
    uf_sim_plan_shift(p, at + 0.2 * rise, at + 1.1 * rise, t->trail_share_address);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.0, 0.8));
}

/* Crouch, push, flight, landing with a spike. The push makes the speed that the flight needs; the
 * landing takes it again. */
void uf_sim_plan_jump(struct plan *p)
{
    double rest = p->level[CH_SHARE], at = p->now_s + 0.1;
    double flight = uf_sim_plan_uniform(p, 0.16, 0.45), push = uf_sim_plan_uniform(p, 0.10, 0.16);
    double land = uf_sim_plan_uniform(p, 0.035, 0.08);
    double off = at + 0.55 + push, back = off + flight;
    uf_sim_plan_pulse(p, CH_VERTICAL, at + 0.3, 0.28, 0.25, -uf_sim_plan_uniform(p, 0.3, 0.6));
    size_t a = uf_sim_plan_pulse(p, CH_VERTICAL, off - push, 2 * push, push, 0);
    /* weightless: from the last touch to the first */
    uf_sim_plan_step(p, CH_VERTICAL, off - 0.03, off, -1);
    uf_sim_plan_step(p, CH_VERTICAL, back, back + 0.02, 0);
    size_t b = uf_sim_plan_pulse(p, CH_VERTICAL, back + land, land, 3 * land, 0);
    uf_sim_plan_pulse(p, CH_VERTICAL, back + 5 * land + 0.15, 0.2, 0.25,
                      -uf_sim_plan_uniform(p, 0.1, 0.3));
    uf_sim_plan_close(p, a, b, 0);
    /* feet do not land together */
    uf_sim_plan_step(p, CH_SHARE, off, back, uf_sim_plan_uniform(p, 0.2, 0.8));
    uf_sim_plan_step(p, CH_SHARE, back, back + uf_sim_plan_uniform(p, 0.1, 0.4), rest);
    for (int foot = 0; foot < FEET; foot++) {
        enum channel along = foot == LEAD ? CH_LEAD_ALONG : CH_TRAIL_ALONG;
        double stand = p->level[along];
        uf_sim_plan_step(p, along, off - push, off, 1.2);
        uf_sim_plan_step(p, along, back + 0.01, back + 0.2, stand);
    }
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.2, 0.8));
}

/* All on the trail foot, the lead foot in the air, and set down quickly: a transfer like a swing's,
 * but for the lifted foot. */
void uf_sim_plan_step_drill(struct plan *p)
{
    const struct traits *t = &p->body->traits;
    double at = p->now_s + 0.1, lift = uf_sim_plan_uniform(p, 0.5, 1.0);
    double air = uf_sim_plan_uniform(p, 0.15, 1.2), down = uf_sim_plan_uniform(p, 0.10, 0.35);
    uf_sim_plan_shift(p, at, at + lift, 1);
    at += lift + air;
    /* falls onto it a little, and shakes */
    double fall = uf_sim_plan_uniform(p, 0.1, 0.25) + down;
    uf_sim_plan_bob(p, CH_VERTICAL, at - 0.5 * fall, 2 * fall, -uf_sim_plan_uniform(p, 0.03, 0.3));
    double shake = uf_sim_plan_uniform(p, 0.06, 0.12);
    uf_sim_plan_bob(p, CH_VERTICAL, at, shake, uf_sim_plan_uniform(p, 0.0, 0.25));
    uf_sim_plan_shift(p, at, at + down, uf_sim_plan_uniform(p, 0.15, 0.6));
    uf_sim_plan_pulse(p, CH_LEAD_ALONG, at, 0.1, 0.3, uf_sim_plan_uniform(p, -0.6, 0.6));
    uf_sim_plan_pulse(p, CH_COUPLE, at + 0.5 * down, 0.7 * down, 0.8 * down,
                      uf_sim_plan_uniform(p, -0.02, 0.06));
    at += down + 0.15;
    uf_sim_plan_shift(p, at, at + uf_sim_plan_uniform(p, 0.4, 1.0), t->trail_share_address);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.1, 0.7));
}

/* Where on the plate under that foot a thing hits it. */
static void thing_at(struct plan *p, int foot)
{
    for (int axis = 0; axis < 2; axis++)
        p->act->thing_mm[foot][axis] =
            p->home_mm[foot][axis] + 0.9 * p->reach_mm[foot][axis] * uf_sim_plan_uniform(p, -1, 1);
}

static enum channel thing(int foot, enum channel lead)
{
    return foot == LEAD ? lead : (enum channel)(lead + CH_THING_TRAIL_V - CH_THING_V);
}

/* Startled, or bending for it. */
static void react(struct plan *p, double at_s)
{
    if (!p->on || uf_sim_plan_chance(p, 0.4))
        return;
    double length = uf_sim_plan_uniform(p, 0.12, 0.4);
    at_s += 0.15;
    uf_sim_plan_pulse(p, CH_SHARE, at_s + length, length, 1.5 * length,
                      uf_sim_plan_normal(p, 0, 0.06));
    uf_sim_plan_bob(p, CH_VERTICAL, at_s, 2 * length, uf_sim_plan_normal(p, 0, 0.05));
}

/* A blow of 10-30 ms and 50-300 N, and smaller ones as it bounces. */
void uf_sim_plan_drop_club(struct plan *p)
{
    int foot = uf_sim_plan_chance(p, 0.5) ? LEAD : TRAIL;
    thing_at(p, foot);
    double at = p->now_s + uf_sim_plan_uniform(p, 0.3, 1.2);
    double peak_n = uf_sim_plan_uniform(p, 50, 300), apart = uf_sim_plan_uniform(p, 0.08, 0.25);
    react(p, at);
    while (peak_n > 8) {
        double rise = uf_sim_plan_uniform(p, 0.005, 0.012);
        double fall = uf_sim_plan_uniform(p, 0.006, 0.018);
        uf_sim_plan_pulse(p, thing(foot, CH_THING_V), at + rise, rise, fall, peak_n);
        uf_sim_plan_pulse(p, thing(foot, CH_THING_X), at + rise, rise, fall,
                          peak_n * uf_sim_plan_normal(p, 0, 0.15));
        uf_sim_plan_pulse(p, thing(foot, CH_THING_Y), at + rise, rise, fall,
                          peak_n * uf_sim_plan_normal(p, 0, 0.15));
        peak_n *= uf_sim_plan_uniform(p, 0.2, 0.6);
        at += apart;
        apart = fmax(0.04, 0.6 * apart);
    }
    uf_sim_plan_until(p, p->now_s + p->wanted_s);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.3, 1.0));
}

/* A blow to the frame's side, which then rings: horizontal and vertical, both ways. */
void uf_sim_plan_kick(struct plan *p)
{
    int foot = uf_sim_plan_chance(p, 0.5) ? LEAD : TRAIL;
    thing_at(p, foot);
    double at = p->now_s + uf_sim_plan_uniform(p, 0.3, 1.2);
    double half = 0.5 / uf_sim_plan_uniform(p, 10, 30), angle = uf_sim_plan_uniform(p, 0, 6.28);
    double aside_n = uf_sim_plan_uniform(p, 40, 260), up_n = uf_sim_plan_uniform(p, -200, 200);
    double loss = uf_sim_plan_uniform(p, 0.45, 0.8);
    react(p, at);
    while (aside_n > 6) {
        uf_sim_plan_pulse(p, thing(foot, CH_THING_X), at + half, half, half, aside_n * cos(angle));
        uf_sim_plan_pulse(p, thing(foot, CH_THING_Y), at + half, half, half, aside_n * sin(angle));
        uf_sim_plan_pulse(p, thing(foot, CH_THING_V), at + half, half, half, up_n);
        aside_n *= loss;
        up_n *= -loss;
        angle += 3.14159265358979323846;
        at += half;
    }
    uf_sim_plan_until(p, p->now_s + p->wanted_s);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.3, 1.0));
}

/* Weight here and there; now and then a foot is lifted and put down somewhere else. */
void uf_sim_plan_fidget(struct plan *p)
{
    const struct traits *t = &p->body->traits;
    double at = p->now_s + 0.1;
    int natural = 2 + (int)uf_sim_plan_uniform(p, 0, 5), i = 0;
    for (; once_more(p, i, natural, at); i++) {
        double length = uf_sim_plan_uniform(p, 0.25, 0.9), stay = uf_sim_plan_uniform(p, 0.0, 0.5);
        if (uf_sim_plan_chance(p, 0.3)) { /* one foot up, moved, down */
            int foot = uf_sim_plan_chance(p, 0.5) ? LEAD : TRAIL;
            enum channel x = foot == LEAD ? CH_LEAD_X : CH_TRAIL_X;
            uf_sim_plan_shift(p, at, at + length, foot == LEAD ? 1 : 0);
            at += length + 0.02;
            for (int axis = 0; axis < 2; axis++) {
                enum channel c = (enum channel)(x + (enum channel)axis);
                double wish = p->level[c] + uf_sim_plan_normal(p, 0, 8);
                /* no further from the plate's middle than feet are placed */
                double far = fabs(p->act->base[c] - p->home_mm[foot][axis]) + 5;
                wish = fmin(fmax(wish, p->home_mm[foot][axis] - far), p->home_mm[foot][axis] + far);
                double most = fmax(0, p->reach_mm[foot][axis] -
                                          (axis ? t->foot_length_mm / 2
                                                : t->foot_width_mm / 2 +
                                                      t->foot_length_mm / 2 * t->sin_out[foot]));
                wish =
                    fmin(fmax(wish, p->home_mm[foot][axis] - most), p->home_mm[foot][axis] + most);
                uf_sim_plan_step(p, c, at, at + 0.12, wish);
            }
            at += 0.14 + stay;
            length = uf_sim_plan_uniform(p, 0.2, 0.6);
            uf_sim_plan_shift(p, at, at + length, 0.5 + uf_sim_plan_normal(p, 0, 0.06));
        } else {
            double share = 0.5 + uf_sim_plan_normal(p, 0, 0.14);
            uf_sim_plan_step(p, CH_SHARE, at, at + length, share);
        }
        uf_sim_plan_bob(p, CH_VERTICAL, at, length, uf_sim_plan_normal(p, 0, 0.03));
        uf_sim_plan_pulse(p, CH_COUPLE, at + length / 2, length / 2, length / 2,
                          uf_sim_plan_normal(p, 0, 0.015));
        at += length + stay;
    }
    uf_sim_plan_shift(p, at, at + 0.7, t->trail_share_address);
    uf_sim_plan_until(p, p->end_s + uf_sim_plan_uniform(p, 0.1, 0.7));
}

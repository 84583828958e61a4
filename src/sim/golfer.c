/* SPDX-License-Identifier: MIT
 * Golfers and their forces: see golfer.h. The ranges that traits are drawn from are checked against
 * published ones in tests/published/test_sim_ranges.c. Pure; any thread. */
#include "sim/golfer.h"

#include <math.h>

#define PI 3.14159265358979323846

/* Of the outline's half axes: no COP comes nearer to the edge. */
#define COP_ALONG  0.92
#define COP_ACROSS 0.88

static double clamped(double x, double lo, double hi)
{
    return x < lo ? lo : x > hi ? hi : x;
}

static double drawn(struct uf_sim_rng *r, double mean, double sd)
{
    return clamped(uf_sim_rng_normal(r, mean, sd), mean - 2.5 * sd, mean + 2.5 * sd);
}

void uf_sim_golfer_random(struct uf_sim_golfer *g, uint64_t seed)
{
    struct uf_sim_rng r;
    uf_sim_rng_seed(&r, seed ^ 0x601FE5u);
    g->seed = seed;
    /* half of them from the middle of the range, half from all of it */
    double usual_kg = drawn(&r, 78, 13), any_kg = uf_sim_rng_uniform(&r, 45, 130);
    g->mass_kg = uf_sim_rng_uniform(&r, 0, 1) < 0.5 ? clamped(usual_kg, 45, 130) : any_kg;
    g->height_m = clamped(drawn(&r, 1.75 + 0.002 * (g->mass_kg - 78), 0.075), 1.45, 2.05);
    g->skill = uf_sim_rng_uniform(&r, 0, 1);
    g->speed = clamped(uf_sim_rng_uniform(&r, -0.1, 1) + 0.15 * (g->skill - 0.5), 0, 1);
    double style = uf_sim_rng_uniform(&r, 0, 1);
    g->style = style < 0.35   ? UF_SIM_TURNER
               : style < 0.62 ? UF_SIM_SLIDER
               : style < 0.87 ? UF_SIM_JUMPER
                              : UF_SIM_BACKFOOT;
    g->hand = uf_sim_rng_uniform(&r, 0, 1) < 0.35 ? UF_LEFT_HANDED : UF_RIGHT_HANDED;
    g->g_m_s2 = 9.81;
}

/* Means of a style for a golfer of middling speed. */
struct style {
    double top, low, finish, vertical, target, brake, couple;
};

static const struct style styles[UF_SIM_STYLES] = {
    [UF_SIM_TURNER] = {0.780, 0.165, 0.20, 0.38, 0.165, 0.175, 0.240},
    [UF_SIM_SLIDER] = {0.795, 0.135, 0.13, 0.33, 0.222, 0.220, 0.215},
    [UF_SIM_JUMPER] = {0.735, 0.155, 0.20, 0.60, 0.158, 0.175, 0.225},
    [UF_SIM_BACKFOOT] = {0.765, 0.225, 0.42, 0.39, 0.175, 0.185, 0.220},
};

void uf_sim_traits_draw(const struct uf_sim_golfer *g, struct traits *t)
{
    struct uf_sim_rng r;
    uf_sim_rng_seed(&r, g->seed ^ 0x7EA175u);
    const struct style *s = &styles[g->style];
    double faster = g->speed - 0.5, clumsy = 1 - g->skill;
    t->sway = drawn(&r, 0.9 + 0.3 * clumsy, 0.2);
    t->foot_length_mm = 152 * g->height_m;
    t->foot_width_mm = 0.39 * t->foot_length_mm;
    for (int foot = 0; foot < FEET; foot++) {
        double turn = foot == LEAD ? drawn(&r, 17, 3.2) : drawn(&r, 10, 2);
        t->toe_out_deg[foot] = turn;
        t->sin_out[foot] = sin(turn * PI / 180);
        t->cos_out[foot] = cos(turn * PI / 180);
        t->along[foot] = drawn(&r, -0.02, 0.06);
        t->across[foot] = drawn(&r, 0.02, 0.05);
    }
    t->stance_mm = clamped(drawn(&r, 525 + 150 * (g->height_m - 1.75), 28), 450, 600);
    t->trail_share_address = drawn(&r, 0.515, 0.025 + 0.015 * clumsy);
    t->trail_share_top = clamped(drawn(&r, s->top, 0.025 + 0.015 * clumsy), 0.60, 0.86);
    t->trail_share_low = clamped(drawn(&r, s->low, 0.025), 0.07, 0.35);
    t->trail_share_finish = clamped(drawn(&r, s->finish, 0.04), 0.05, 0.55);
    t->early_shift = clamped(drawn(&r, 0.12 + 0.14 * g->skill, 0.04), 0.03, 0.40);
    t->tempo = clamped(drawn(&r, 3.0 + 0.15 * clumsy, 0.14 + 0.2 * clumsy), 2.2, 4.0);
    t->downswing_s = clamped(drawn(&r, 0.285 - 0.12 * faster, 0.008), 0.215, 0.36);
    t->vertical_push = s->vertical * (1 + 0.55 * faster) * drawn(&r, 1, 0.12);
    t->vertical_at = drawn(&r, 0.74, 0.04) + 0.30 * (1 - g->speed) * (1 - g->speed);
    t->target_push = s->target * (1 + 0.3 * faster) * drawn(&r, 1, 0.12);
    t->target_brake = s->brake * (1 + 0.3 * faster) * drawn(&r, 1, 0.12);
    t->couple = s->couple * (1 + 0.3 * faster) * drawn(&r, 1, 0.10);
    t->couple_back = 0.055 * (1 + 0.3 * faster) * drawn(&r, 1, 0.2);
    t->toe_common = drawn(&r, 0.055, 0.012);
    t->spread = drawn(&r, 0.035, 0.010);
    t->free_lead = 18.5 * (1 + 0.2 * faster) * drawn(&r, 1, 0.12);
    t->free_trail = 6.5 * (1 + 0.2 * faster) * drawn(&r, 1, 0.15);
    t->swing_spread = 0.015 + 0.045 * clumsy;
}

void uf_sim_body_new(struct body *b, const struct uf_sim_golfer *g)
{
    b->golfer = *g;
    b->weight_n = g->mass_kg * g->g_m_s2;
    uf_sim_traits_draw(g, &b->traits);
}

static double fourth(double x)
{
    x *= x;
    return x * x;
}

/* How much of the opposite pair (of magnitude pair_n) both feet can hold by friction: a factor that
 * is nearly 1 until the foot with less to spare comes near its limit, and smooth. */
static double held_part(double spare_lead_n, double spare_trail_n, double pair_n)
{
    if (!(spare_lead_n > 0) || !(spare_trail_n > 0))
        return 0;
    double a = fourth(spare_lead_n), b = fourth(spare_trail_n);
    double limit = a * b / (a + b); /* fourth power of a smooth minimum */
    return sqrt(sqrt(limit / (limit + fourth(pair_n))));
}

static void place_cop(const struct traits *t, int foot, double along, double across,
                      double middle_x_mm, double middle_y_mm, struct foot_load *out)
{
    /* any vector is pulled inside the unit circle, small ones stay as they are */
    double pull = 1 / sqrt(1 + along * along + across * across);
    along *= pull * COP_ALONG * t->foot_length_mm / 2;
    across *= pull * COP_ACROSS * t->foot_width_mm / 2;
    double outward = across * t->cos_out[foot] + along * t->sin_out[foot];
    out->cop_target_mm = middle_x_mm + (foot == LEAD ? outward : -outward);
    out->cop_toe_mm = middle_y_mm + along * t->cos_out[foot] - across * t->sin_out[foot];
}

void uf_sim_body_at(const struct body *b, const double *v, const struct sway_value *sway,
                    struct foot_load out[FEET])
{
    const struct traits *t = &b->traits;
    double load = v[CH_LOAD] > 0 ? v[CH_LOAD] : 0;
    /* in the air, and as the feet leave the ground, there is nothing to sway against */
    double contact = clamped(load * (1 + v[CH_VERTICAL]), 0, 1);
    double share = v[CH_SHARE] < 0 ? 0 : v[CH_SHARE] > 1 ? 1 : v[CH_SHARE];
    double on_both = 4 * share * (1 - share);
    share += sway->share * on_both * contact;
    share = share < 0 ? 0 : share > 1 ? 1 : share;

    double weight = b->weight_n * load;
    double vertical = weight * (1 + v[CH_VERTICAL] + contact * sway->vertical);
    if (!(vertical > 0))
        vertical = 0;
    double target = weight * (v[CH_TARGET] + contact * sway->target);
    double toe = weight * (v[CH_TOE] + contact * sway->toe);
    double part[FEET] = {1 - share, share};
    double couple = weight * (v[CH_COUPLE] + on_both * sway->couple);
    double spread = weight * (v[CH_SPREAD] + on_both * sway->spread);
    double sideways = sqrt(target * target + toe * toe),
           pair = sqrt(couple * couple + spread * spread);
    double spare = 0.95 * SIM_FRICTION * vertical - sideways;
    double held = held_part(part[LEAD] * spare, part[TRAIL] * spare, pair);
    couple *= held;
    spread *= held;

    double free_scale = weight / 750;
    for (int foot = 0; foot < FEET; foot++) {
        double sign = foot == LEAD ? -1 : 1; /* of the pair, toe-ward and target-ward */
        struct foot_load *f = &out[foot];
        f->vertical_n = vertical * part[foot];
        f->target_n = target * part[foot] + sign * spread;
        f->toe_n = toe * part[foot] + sign * couple;
        double turn = (v[CH_FREE_LEAD + foot] + on_both * sway->free_nm[foot]) * free_scale;
        double most = 0.05 * f->vertical_n; /* N m: friction over the sole */
        f->turn_nm = most > 0 ? turn * most / sqrt(most * most + turn * turn) : 0;
        place_cop(t, foot, v[CH_LEAD_ALONG + 2 * foot] + sway->along[foot],
                  v[CH_LEAD_ACROSS + 2 * foot] + sway->across[foot], v[CH_LEAD_X + 2 * foot],
                  v[CH_LEAD_Y + 2 * foot], f);
    }
}

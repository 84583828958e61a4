/* SPDX-License-Identifier: MIT
 * Smooth noise of quiet standing: see sway.h. Sizes from common posturography: COP of both feet
 * some 3-6 mm (1 SD) from side to side, vertical force some 0.2 % of weight. Pure; any thread. */
#include "sim/sway.h"

#include <math.h>
#include <string.h>

#define G_M_S2 9.81

/* Mixes seed, lane and knot into -1..1 (splitmix64). Bounded knots bound everything. */
static double knot_value(uint64_t seed, uint64_t lane, int64_t at)
{
    uint64_t z = seed + 0x9E3779B97F4A7C15u * (uint64_t)at + 0xD1B54A32D192ED03u * (lane + 1);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    z ^= z >> 31;
    return (double)(int64_t)z * 0x1p-63;
}

static void band_new(struct sway_band *b, double knot_s)
{
    memset(b, 0, sizeof *b);
    b->knot_s = knot_s;
    b->at = INT64_MIN;
}

/* Position within the knot interval, 0..1; the knots are those of that interval after it. */
static double band_seek(struct sway_band *b, uint64_t seed, double t_s)
{
    double x = t_s / b->knot_s, whole = floor(x);
    int64_t at = (int64_t)whole;
    if (at != b->at) {
        b->at = at;
        for (int lane = 0; lane < SWAY_LANES; lane++)
            for (int k = 0; k < 4; k++)
                b->knot[lane][k] = knot_value(seed, (uint64_t)lane, at - 1 + k);
    }
    return x - whole;
}

struct weights {
    double w[4];
};

static struct weights value_weights(double u)
{
    double v = 1 - u;
    return (struct weights){{v * v * v / 6, (4 + u * u * (3 * u - 6)) / 6,
                             (4 + v * v * (3 * v - 6)) / 6, u * u * u / 6}};
}

/* Derivatives by the knot's interval, not by time. */
static struct weights first_weights(double u)
{
    double v = 1 - u;
    return (struct weights){{-v * v / 2, u * (3 * u - 4) / 2, -v * (3 * v - 4) / 2, u * u / 2}};
}

static struct weights second_weights(double u)
{
    double v = 1 - u;
    return (struct weights){{v, 3 * u - 2, 3 * v - 2, u}};
}

static double lane(const struct sway_band *b, int i, const struct weights *w)
{
    const double *k = b->knot[i];
    return k[0] * w->w[0] + k[1] * w->w[1] + k[2] * w->w[2] + k[3] * w->w[3];
}

void uf_sim_sway_new(struct sway *s, uint64_t seed, double amount)
{
    s->seed = seed;
    s->amount = amount;
    band_new(&s->quick, 0.07);
    band_new(&s->slow, 0.55);
    band_new(&s->lazy, 3.6);
}

void uf_sim_sway_at(struct sway *s, double t_s, struct sway_value *out)
{
    double a = s->amount;
    double u = band_seek(&s->quick, s->seed ^ 0x11, t_s);
    struct weights q0 = value_weights(u), q1 = first_weights(u);
    u = band_seek(&s->slow, s->seed ^ 0x22, t_s);
    struct weights s0 = value_weights(u), s2 = second_weights(u);
    u = band_seek(&s->lazy, s->seed ^ 0x33, t_s);
    struct weights z0 = value_weights(u);
    const struct sway_band *q = &s->quick, *m = &s->slow, *z = &s->lazy;

    /* velocity (m/s) of quick lanes, position (m) of slow ones; a knot's SD is 0.58 */
    double by_velocity = a / (q->knot_s * G_M_S2);
    double by_position = a / (m->knot_s * m->knot_s * G_M_S2);
    out->vertical = 0.0023 * by_velocity * lane(q, 0, &q1) + 0.0012 * by_position * lane(m, 0, &s2);
    out->target = 0.0008 * by_velocity * lane(q, 1, &q1) + 0.0017 * by_position * lane(m, 1, &s2);
    out->toe = 0.0008 * by_velocity * lane(q, 2, &q1) + 0.0017 * by_position * lane(m, 2, &s2);

    out->share = a * (0.0012 * lane(q, 3, &q0) + 0.012 * lane(m, 3, &s0) + 0.016 * lane(z, 3, &z0));
    out->couple = a * (0.0015 * lane(q, 4, &q0) + 0.003 * lane(m, 4, &s0));
    out->spread = a * (0.001 * lane(q, 5, &q0) + 0.003 * lane(m, 5, &s0));
    double along = a * (0.03 * lane(m, 6, &s0) + 0.05 * lane(z, 6, &z0));
    out->along[0] = along + a * 0.015 * lane(m, 7, &s0);
    out->along[1] = along + a * 0.015 * lane(m, 8, &s0);
    out->across[0] = a * (0.02 * lane(m, 9, &s0) + 0.02 * lane(z, 7, &z0));
    out->across[1] = a * (0.02 * lane(z, 8, &z0) + 0.008 * lane(q, 6, &q0));
    out->free_nm[0] = a * (0.25 * lane(z, 0, &z0) + 0.1 * lane(q, 7, &q0));
    out->free_nm[1] = a * (0.25 * lane(z, 1, &z0) + 0.1 * lane(q, 8, &q0));
}

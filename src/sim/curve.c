/* SPDX-License-Identifier: MIT
 * Pulses, steps and moves: see curve.h. No transcendental function, so that a sample is cheap.
 * Pure; any thread. */
#include "sim/curve.h"

/* Of (1 - u^2)^4 over one side, u = 0..1: area 128/315, first moment 1/10. */
#define SIDE_AREA   (128.0 / 315.0)
#define SIDE_MOMENT 0.1

void uf_sim_term_pulse(struct term *t, enum channel c, double peak_s, double before_s,
                       double after_s, double amp)
{
    *t = (struct term){.from_s = peak_s - before_s,
                       .mid_s = peak_s,
                       .to_s = peak_s + after_s,
                       .before_1_s = 1 / before_s,
                       .after_1_s = 1 / after_s,
                       .amp = amp,
                       .channel = c,
                       .kind = TERM_PULSE};
}

void uf_sim_term_step(struct term *t, enum channel c, double from_s, double to_s, double amp)
{
    *t = (struct term){.from_s = from_s,
                       .mid_s = (from_s + to_s) / 2,
                       .to_s = to_s,
                       .before_1_s = 1 / (to_s - from_s),
                       .after_1_s = 1 / (to_s - from_s),
                       .amp = amp,
                       .channel = c,
                       .kind = TERM_STEP};
}

void uf_sim_term_move(struct term *t, enum channel c, double from_s, double to_s, double metres,
                      double g_m_s2)
{
    uf_sim_term_step(t, c, from_s, to_s, metres / g_m_s2);
    t->kind = TERM_MOVE;
}

/* Seventh-order smooth step and its second derivative. */
static double step7(double u)
{
    double u2 = u * u;
    return u2 * u2 * (35 + u * (-84 + u * (70 - 20 * u)));
}

static double step7_second(double u)
{
    double v = 1 - u;
    return 420 * u * u * v * v * (1 - 2 * u);
}

static double inside(const struct term *t, double t_s)
{
    double u;
    switch (t->kind) {
    case TERM_PULSE:
        u = t_s - t->mid_s;
        u *= u < 0 ? t->before_1_s : t->after_1_s;
        u = 1 - u * u;
        u *= u;
        return t->amp * (u * u);
    case TERM_STEP:
        return t->amp * step7((t_s - t->from_s) * t->before_1_s);
    case TERM_MOVE:
        return t->amp * t->before_1_s * t->before_1_s *
               step7_second((t_s - t->from_s) * t->before_1_s);
    }
    return 0;
}

void uf_sim_terms_at(const struct term *t, size_t n, double t_s, double *value)
{
    for (const struct term *end = t + n; t < end && t->from_s < t_s; t++) {
        if (t_s < t->to_s)
            value[t->channel] += inside(t, t_s);
        else if (t->kind == TERM_STEP)
            value[t->channel] += t->amp;
    }
}

double uf_sim_term_area(const struct term *t, double origin_s)
{
    switch (t->kind) {
    case TERM_PULSE:
        return t->amp * SIDE_AREA * (t->to_s - t->from_s);
    case TERM_STEP:
        return -t->amp * (t->mid_s - origin_s);
    case TERM_MOVE:
        return 0;
    }
    return 0;
}

double uf_sim_term_moment(const struct term *t, double origin_s)
{
    double mid = t->mid_s - origin_s, l = t->mid_s - t->from_s, r = t->to_s - t->mid_s;
    switch (t->kind) {
    case TERM_PULSE:
        return t->amp * (SIDE_AREA * (l + r) * mid + SIDE_MOMENT * (r * r - l * l));
    case TERM_STEP: /* its derivative is a beta(4, 4) of that length: variance 1/36 */
        return -t->amp * (mid * mid + (l + r) * (l + r) / 36) / 2;
    case TERM_MOVE: /* displacement = - moment where the area is zero */
        return -t->amp;
    }
    return 0;
}

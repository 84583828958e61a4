/* SPDX-License-Identifier: MIT
 * For tests: a capture whose answers are known by construction: Gaussian pulses of known height,
 * place and area on quiet standing, as counts of the example rig. Include after cmocka.h. */
#ifndef UF_TESTS_SCRIPT_H
#define UF_TESTS_SCRIPT_H

#include "load.h"
#include "swing/analysis.h"

#define RATE_HZ  1000
#define SAMPLES  4000
#define WEIGHT_N 800.0

struct pulse {
    double height, at_s, sigma_s;
};

static inline double gauss(const struct pulse *p, double t_s)
{
    double u = (t_s - p->at_s) / p->sigma_s;
    return p->height * exp(-0.5 * u * u);
}

/* Right-handed golfer in golfer-frame pulses on quiet standing, half the weight on each foot. */
struct script {
    struct pulse lead_z, trail_z, target, brake, settle, lead_toe, trail_toe;
    double lead_x_mm, lead_y_mm, trail_x_mm, trail_y_mm; /* plate frame, of a right-handed golfer */
    double strike_s;                                     /* 0: none */
    enum uf_hand hand;
};

static const struct script usual __attribute__((unused)) = {
    .lead_z = {560, 2.0, 0.06},
    .trail_z = {-240, 2.0, 0.08},
    .target = {120, 1.9, 0.07},
    .brake = {-84, 3.1, 0.1},   /* closes the momentum .. */
    .settle = {-144, 3.1, 0.1}, /* .. also upwards */
    .lead_toe = {-160, 1.95, 0.05},
    .trail_toe = {140, 1.95, 0.05},
    .lead_x_mm = -20,
    .lead_y_mm = 35,
    .trail_x_mm = 15,
    .trail_y_mm = -40,
    .strike_s = 2.0505,
};

static inline struct uf_capture *perform(const struct script *s, const struct uf_rig *rig)
{
    struct uf_hello board = {.protocol = 1, .channels = 24, .adc_bits = 24, .rate_hz = RATE_HZ};
    struct uf_capture *c;
    assert_int_equal(uf_capture_new(&c, &board, SAMPLES, NULL), 0);
    c->hand = c->shape_hand = s->hand;
    c->start_dev_us = 5000000;
    c->trigger_dev_us = c->start_dev_us + 1960000;
    c->ended_still = true;
    c->quiet_known = true;
    c->quiet_from_dev_us = c->start_dev_us;
    c->quiet_to_dev_us = c->start_dev_us + 1000000;
    for (int ch = 0; ch < 24; ch++)
        c->tare_raw[ch] = 1000.0 * (ch % 5) - 1500;
    /* a left-handed golfer: plates swapped, x turned round */
    double m = s->hand == UF_RIGHT_HANDED ? 1 : -1;
    int lead = s->hand == UF_RIGHT_HANDED ? 0 : 1;
    uint32_t noise = 1;
    for (int i = 0; i < SAMPLES; i++) {
        double t_s = (double)i / RATE_HZ;
        int32_t *counts = c->counts_raw + (size_t)i * 24;
        double target = (gauss(&s->target, t_s) + gauss(&s->brake, t_s)) / 2;
        put_load(&rig->plate[lead], -m * target, gauss(&s->lead_toe, t_s),
                 WEIGHT_N / 2 + gauss(&s->lead_z, t_s) + gauss(&s->settle, t_s), m * s->lead_x_mm,
                 s->lead_y_mm, 0, c->tare_raw, counts);
        put_load(&rig->plate[1 - lead], -m * target, gauss(&s->trail_toe, t_s),
                 WEIGHT_N / 2 + gauss(&s->trail_z, t_s), m * s->trail_x_mm, s->trail_y_mm, 0,
                 c->tare_raw, counts);
        for (int ch = 0; ch < 24; ch++) { /* a real converter never stands still */
            noise = noise * 1664525u + 1013904223u;
            counts[ch] += (int32_t)(noise >> 30) - 1;
        }
        c->offset_us[i] = (uint32_t)(i * 1000);
        c->inputs[i] = s->strike_s > 0 && t_s >= s->strike_s && t_s < s->strike_s + 0.004
                           ? UF_INPUT_STRIKE
                           : 0;
    }
    for (int ch = 0; ch < 24; ch++)
        c->quiet_raw[ch] = c->counts_raw[ch];
    return c;
}

#endif

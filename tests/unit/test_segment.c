/* SPDX-License-Identifier: MIT
 * The segmenter on hand-made force shapes: one swing and its mirror image, and what must not be
 * taken for one. How well it does on thousands of simulated swings is the bench's table
 * (tests/bench/bench_segment.c). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "shape.h"
#include "swing/segment.h"

#include <math.h>
#include <string.h>

#define WEIGHT_N 800.0

static const struct uf_segment_settings settings = {
    .on_n = 150,
    .still_s = 0.5,
    .still_pct = 1.5,
    .lead_rise_bw = 0.45,
    .lead_rate_bw_s = 2,
    .before_s = 0.5,
    .after_s = 1.5,
    .longest_s = 6,
};

struct outcome {
    int swings, refused;
    struct uf_segment_result result;
    unsigned refusals; /* bit a refusal */
    enum uf_stance last;
    double weight_n;
    int64_t handed_out_dev_us;
};

/* Plays knots at rate_hz; gap_from..gap_to are not sent. lead is the left foot unless left_handed.
 */
static struct outcome play(const struct knot *k, size_t n, double rate_hz, bool left_handed,
                           double gap_from_s, double gap_to_s)
{
    struct uf_segment *g;
    assert_int_equal(uf_segment_new(&g, &settings, rate_hz, NULL), 0);
    struct outcome o = {0};
    bool broken = false;
    uint32_t noise = 1;
    for (int64_t i = 0; (double)i / rate_hz < k[n - 1].t_s; i++) {
        double t_s = (double)i / rate_hz, lead, trail;
        if (t_s >= gap_from_s && t_s < gap_to_s) {
            broken = gap_to_s - gap_from_s > 0.25;
            continue;
        }
        shape(k, n, t_s, &lead, &trail);
        noise = noise * 1664525u + 1013904223u;
        double jitter_n = ((double)(noise >> 16) / 65536 - 0.5) * 2;
        struct uf_segment_sample s = {
            .t_dev_us = 1000000 + (int64_t)(t_s * 1e6),
            .left_n = WEIGHT_N * (left_handed ? trail : lead) + jitter_n,
            .right_n = WEIGHT_N * (left_handed ? lead : trail) - jitter_n / 2,
            .discontinuity = broken,
        };
        broken = false;
        struct uf_segment_result r;
        switch (uf_segment_feed(g, &s, &r)) {
        case UF_SEG_SWING:
            o.swings++;
            o.result = r;
            o.handed_out_dev_us = s.t_dev_us;
            break;
        case UF_SEG_REFUSED:
            o.refused++;
            o.refusals |= 1u << uf_segment_last_refusal(g);
            break;
        case UF_SEG_STANCE:
        case UF_SEG_NOTHING:
            break;
        }
    }
    struct uf_segment_result r;
    if (uf_segment_finish(g, &r) == UF_SEG_SWING) {
        o.swings++;
        o.result = r;
    }
    o.last = uf_segment_stance(g);
    o.weight_n = uf_segment_weight_n(g);
    uf_segment_free(g);
    return o;
}

#define PLAY(knots) play(knots, sizeof(knots) / sizeof((knots)[0]), 1000, false, 0, 0)

static void finds_a_swing(void **state)
{
    (void)state;
    struct outcome o = PLAY(swing_shape);
    assert_int_equal(o.swings, 1);
    assert_true(o.result.left_is_lead);
    assert_true(o.result.ended_still);
    assert_true(fabs(o.result.weight_n - WEIGHT_N) < 2);
    double trigger_s = 1e-6 * (double)(o.result.trigger_dev_us - 1000000);
    assert_true(trigger_s > 4.85 && trigger_s < 5.0); /* steepest in the middle of 4.80..5.05 */
    double start_s = 1e-6 * (double)(o.result.start_dev_us - 1000000);
    assert_true(start_s > 3.0 && start_s < 4.0);
    assert_true(o.result.quiet_to_dev_us > o.result.quiet_from_dev_us);
    assert_true(o.result.end_dev_us <= o.handed_out_dev_us);
    assert_true(o.result.end_dev_us - o.result.trigger_dev_us <= 1510000);
}

static void finds_the_mirror_image(void **state)
{
    (void)state;
    struct outcome r = PLAY(swing_shape);
    struct outcome l =
        play(swing_shape, sizeof swing_shape / sizeof swing_shape[0], 1000, true, 0, 0);
    assert_int_equal(l.swings, 1);
    assert_false(l.result.left_is_lead);
    assert_int_equal(l.result.trigger_dev_us, r.result.trigger_dev_us);
}

static void works_at_other_rates(void **state)
{
    (void)state;
    static const double rates[] = {100, 250, 500, 2000, 4800};
    for (size_t i = 0; i < sizeof rates / sizeof rates[0]; i++) {
        struct outcome o =
            play(swing_shape, sizeof swing_shape / sizeof swing_shape[0], rates[i], false, 0, 0);
        assert_int_equal(o.swings, 1);
        double trigger_s = 1e-6 * (double)(o.result.trigger_dev_us - 1000000);
        assert_true(trigger_s > 4.85 && trigger_s < 5.0);
    }
}

static void bridges_short_gaps_and_says_when_it_cannot(void **state)
{
    (void)state;
    struct outcome o =
        play(swing_shape, sizeof swing_shape / sizeof swing_shape[0], 1000, false, 4.9, 5.0);
    assert_int_equal(o.swings, 1);
    o = play(swing_shape, sizeof swing_shape / sizeof swing_shape[0], 1000, false, 5.1, 5.6);
    assert_int_equal(o.swings, 0);
    assert_true(o.refusals & 1u << UF_REFUSE_CUT);
}

static void refuses_what_is_too_slow(void **state)
{
    (void)state;
    static const struct knot sway[] = {{0, 0.5, 0.5},   {3, 0.5, 0.5},   {3.8, 0.1, 0.9},
                                       {4.8, 0.9, 0.1}, {5.8, 0.1, 0.9}, {6.8, 0.9, 0.1},
                                       {7.8, 0.5, 0.5}, {10, 0.5, 0.5}};
    assert_int_equal(PLAY(sway).swings, 0);
}

static void refuses_a_half_turn(void **state)
{
    (void)state;
    static const struct knot half[] = {{0, 0.5, 0.5},     {3, 0.5, 0.5}, {3.7, 0.35, 0.66},
                                       {4.1, 0.65, 0.36}, {5, 0.5, 0.5}, {8, 0.5, 0.5}};
    assert_int_equal(PLAY(half).swings, 0);
}

static void refuses_a_jump(void **state)
{
    (void)state;
    static const struct knot jump[] = {{0, 0.5, 0.5},     {3, 0.5, 0.5},   {3.3, 0.25, 0.3},
                                       {3.55, 1.1, 1.15}, {3.7, 0, 0},     {4.05, 0, 0},
                                       {4.15, 1.5, 1.3},  {4.6, 0.5, 0.5}, {7, 0.5, 0.5}};
    assert_int_equal(PLAY(jump).swings, 0);
}

static void refuses_stepping_on_and_off(void **state)
{
    (void)state;
    static const struct knot on[] = {{0, 0, 0},     {2, 0, 0},        {2.2, 0, 1.05},
                                     {2.6, 0, 1.0}, {2.75, 1.0, 0.2}, {3.1, 0.5, 0.5},
                                     {6, 0.5, 0.5}};
    assert_int_equal(PLAY(on).swings, 0);
    static const struct knot off[] = {{0, 0.5, 0.5}, {3, 0.5, 0.5}, {3.4, 0.25, 0.75},
                                      {3.6, 1.0, 0}, {4.0, 0, 0},   {6, 0, 0}};
    struct outcome o = PLAY(off);
    assert_int_equal(o.swings, 0);
    assert_int_equal(o.last, UF_STANCE_EMPTY);
    assert_true(isnan(o.weight_n));
}

static void refuses_a_kick(void **state)
{
    (void)state;
    static const struct knot kick[] = {{0, 0.5, 0.5},    {3, 0.5, 0.5},   {3.01, 1.3, 0.5},
                                       {3.03, 0.5, 0.5}, {3.5, 0.5, 0.5}, {6, 0.5, 0.5}};
    assert_int_equal(PLAY(kick).swings, 0);
}

/* Nobody stood still first: the swing must not be lost. */
static void a_swing_without_quiet_standing_is_kept(void **state)
{
    (void)state;
    struct knot restless[40];
    size_t n = 0;
    for (; n < 16; n++) /* waggles, never still */
        restless[n] = (struct knot){0.3 * (double)n, n % 2 ? 0.56 : 0.44, n % 2 ? 0.44 : 0.56};
    static const struct knot then[] = {{5.4, 0.2, 0.82}, {5.65, 1.15, 0.25}, {6.0, 0.8, 0.2},
                                       {6.3, 0.7, 0.3},  {6.6, 0.8, 0.2},    {8, 0.5, 0.5}};
    memcpy(restless + n, then, sizeof then);
    n += sizeof then / sizeof then[0];
    struct outcome o = play(restless, n, 1000, false, 0, 0);
    assert_int_equal(o.swings, 1);
    assert_int_equal(o.result.quiet_from_dev_us, o.result.quiet_to_dev_us);
    assert_true(isnan(o.result.weight_n));
}

static void follows_the_stance(void **state)
{
    (void)state;
    static const struct knot come_and_stand[] = {
        {0, 0, 0}, {1, 0, 0}, {1.5, 0.5, 0.5}, {4, 0.5, 0.5}};
    struct outcome o = PLAY(come_and_stand);
    assert_int_equal(o.last, UF_STANCE_STILL);
    assert_true(fabs(o.weight_n - WEIGHT_N) < 1);
}

static void too_slow_a_board_is_refused(void **state)
{
    (void)state;
    struct uf_segment *g;
    struct uf_error err;
    assert_int_equal(uf_segment_new(&g, &settings, 10, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "too few"));
    assert_null(g);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_a_swing),
        cmocka_unit_test(finds_the_mirror_image),
        cmocka_unit_test(works_at_other_rates),
        cmocka_unit_test(bridges_short_gaps_and_says_when_it_cannot),
        cmocka_unit_test(refuses_what_is_too_slow),
        cmocka_unit_test(refuses_a_half_turn),
        cmocka_unit_test(refuses_a_jump),
        cmocka_unit_test(refuses_stepping_on_and_off),
        cmocka_unit_test(refuses_a_kick),
        cmocka_unit_test(a_swing_without_quiet_standing_is_kept),
        cmocka_unit_test(follows_the_stance),
        cmocka_unit_test(too_slow_a_board_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

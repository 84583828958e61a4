/* SPDX-License-Identifier: MIT
 * The simulated plates and board: true calibration, noise, rail, clock, strike bit, one plate for
 * both feet; lessons, their errors, and the truth as JSON. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "plate/wrench.h"
#include "sim_lesson.h"

#include <math.h>
#include <string.h>

/* Mean of the counts of an empty plate, then a person: the true calibration gives the forces, COP
 * and free moment back, to the noise; the nominal one does not. */
static void test_true_calibration(void **state)
{
    (void)state;
    struct uf_sim_settings s;
    struct uf_sim_sample x;
    golfer_settings(&s, 600);
    s.noise_n = 0.01;
    s.drift_n_per_h = 0;
    s.gain_spread = s.crosstalk = 0.02;
    s.rig.plate[0].rotation_deg = -3;
    s.rig.plate[1].cell[0].turn_deg = 45;
    struct uf_sim *sim = begin(&s, "empty:1,walk_on,address,ball");
    struct uf_calibration truth, nominal;
    double tare[UF_CHANNELS_MAX] = {0}, off_by = 0;
    uf_sim_true_calibration(sim, &truth);
    uf_calibration_nominal(&s.rig, &nominal);
    assert_int_equal(truth.plates, 2);
    for (int i = 0; i < 1000 && uf_sim_next(sim, &x); i++)
        for (int ch = 0; ch < s.rig.channels; ch++)
            tare[ch] += x.counts_raw[ch] / 1000.0;
    while (uf_sim_next(sim, &x))
        for (int p = 0; p < 2; p++) {
            struct uf_wrench w;
            struct uf_ground g;
            assert_int_equal(x.status, 0);
            uf_wrench_of(&truth.plate[p], x.counts_raw, tare, s.rig.channels, &w);
            uf_ground_of(&s.rig.plate[p], &w, 100, &g);
            assert_true(fabs(g.fx_n - x.fx_n[p]) < 0.2 && fabs(g.fy_n - x.fy_n[p]) < 0.2 &&
                        fabs(g.fz_n - x.fz_n[p]) < 0.2);
            if (!isnan(g.cop_x_mm)) {
                assert_true(fabs(g.cop_x_mm - x.cop_x_mm[p]) < 0.3);
                assert_true(fabs(g.cop_y_mm - x.cop_y_mm[p]) < 0.3);
                assert_true(fabs(g.tz_nm - x.tz_nm[p]) < 0.1);
            }
            uf_wrench_of(&nominal.plate[p], x.counts_raw, tare, s.rig.channels, &w);
            uf_ground_of(&s.rig.plate[p], &w, 100, &g);
            off_by = fmax(off_by, fabs(g.fz_n - x.fz_n[p]));
        }
    assert_true(off_by > 2);
    uf_sim_free(sim);
}

/* The noise of a cell is what was asked for, and perfect plates have none. */
static void test_noise_and_perfection(void **state)
{
    (void)state;
    for (int perfect = 0; perfect < 2; perfect++) {
        struct uf_sim_settings s;
        struct uf_sim_sample x;
        uf_sim_defaults(&s);
        s.perfect = perfect;
        s.noise_n = 0.4;
        struct uf_sim *sim = begin(&s, "empty:4");
        double sum = 0, square = 0;
        int n = 0;
        while (uf_sim_next(sim, &x)) {
            double force_n = x.counts_raw[5] * s.rig.plate[0].cell[1].n_per_count[2];
            sum += force_n;
            square += force_n * force_n;
            n++;
        }
        double sd = sqrt(fmax(0, square / n - sum / n * sum / n));
        if (perfect)
            assert_true(sum == 0 && square == 0);
        else
            assert_true(fabs(sd - 0.4) < 0.02);
        uf_sim_free(sim);
    }
}

static void test_rail(void **state)
{
    (void)state;
    struct uf_sim_settings s;
    struct uf_sim_sample x;
    uf_sim_defaults(&s);
    s.adc_bits = 16;
    s.perfect = true;
    for (int p = 0; p < 2; p++)
        for (int c = 0; c < 4; c++)
            for (int k = 0; k < 3; k++) /* full scale at 82 N */
                s.rig.plate[p].cell[c].n_per_count[k] = 0.0025;
    struct uf_sim *sim = begin(&s, "empty:0.1,walk_on,stand:1");
    int railed = 0, free_of_it = 0;
    while (uf_sim_next(sim, &x)) {
        bool at_rail = false;
        for (int ch = 0; ch < s.rig.channels; ch++) {
            assert_true(x.counts_raw[ch] <= 32767 && x.counts_raw[ch] >= -32768);
            at_rail |= x.counts_raw[ch] == 32767 || x.counts_raw[ch] == -32768;
        }
        assert_int_equal(x.status, at_rail ? UF_STATUS_RAIL : 0);
        railed += at_rail;
        free_of_it += !at_rail;
    }
    assert_true(railed > 500 && free_of_it > 50);
    uf_sim_free(sim);
}

static void test_clock(void **state)
{
    (void)state;
    struct uf_sim_settings s;
    struct uf_sim_sample x;
    uf_sim_defaults(&s);
    s.clock_ppm = 100;
    s.clock_start_us = UINT32_MAX - 500000;
    struct uf_sim *sim = begin(&s, "empty:10");
    uint32_t i = 0;
    while (uf_sim_next_forces(sim, &x)) {
        assert_true(x.t_us == s.clock_start_us + 1000 * i); /* wraps */
        assert_int_equal(x.seq, (uint16_t)i);
        assert_true(fabs(x.t_s * (1 + 1e-4) - i / 1000.0) < 1e-9); /* the board is fast */
        i++;
    }
    assert_true(i == 10001);
    uf_sim_free(sim);
}

/* With a ball the strike bit is up from impact for some milliseconds, without one never. */
static void test_strike(void **state)
{
    (void)state;
    for (int ball = 0; ball < 2; ball++) {
        struct uf_sim_settings s;
        struct uf_sim_sample x;
        uf_sim_defaults(&s);
        struct uf_sim *sim = begin(&s, ball ? "address,ball" : "address,no_ball");
        const struct uf_sim_truth *t = uf_sim_truth(sim, 1);
        double first = NAN;
        int up = 0;
        while (uf_sim_next_forces(sim, &x))
            if (x.inputs & UF_INPUT_STRIKE) {
                first = up++ ? first : x.t_s;
            }
        assert_true(t->is_swing);
        assert_int_equal(up, ball ? 4 : 0);
        if (ball)
            assert_true(first >= t->impact_s && first < t->impact_s + 0.001);
        uf_sim_free(sim);
    }
}

/* Both feet on one plate: the sums are those of two. */
static void test_single_plate(void **state)
{
    (void)state;
    struct uf_sim_settings s;
    struct uf_sim_sample x;
    golfer_settings(&s, 900);
    s.perfect = true;
    s.rig.plates = 1;
    s.rig.plate[0].place = UF_PLACE_SINGLE;
    s.rig.plate[0].centre_x_mm = 0;
    s.rig.plate[0].size_x_mm = 900;
    for (int c = 0; c < 4; c++)
        s.rig.plate[0].cell[c].x_mm *= 2.5;
    struct uf_sim *sim = begin(&s, "stand:1,address,ball");
    struct uf_calibration cal;
    double tare[UF_CHANNELS_MAX] = {0};
    uf_sim_true_calibration(sim, &cal);
    while (uf_sim_next(sim, &x)) {
        struct uf_wrench w;
        struct uf_cop cop;
        assert_true(x.fz_n[0] > 0.2 * s.golfer.mass_kg * 9.81);
        assert_true(x.fz_n[1] == 0 && isnan(x.cop_x_mm[1]));
        assert_true(fabs(x.cop_x_mm[0]) < 450);
        uf_wrench_of(&cal.plate[0], x.counts_raw, tare, s.rig.channels, &w);
        uf_cop_of(&w, s.rig.plate[0].surface_mm, 25, &cop);
        assert_true(fabs(cop.x_mm - x.cop_x_mm[0]) < 0.01);
        assert_true(fabs(cop.tz_nm - x.tz_nm[0]) < 0.01);
    }
    uf_sim_free(sim);
}

static void test_same_seed_same_lesson(void **state)
{
    (void)state;
    struct uf_sim_settings s;
    struct uf_sim_sample a, b, c;
    golfer_settings(&s, 1000);
    struct uf_sim *x = begin(&s, "empty:1,walk_on,ball"), *y = begin(&s, "empty:1,walk_on,ball");
    s.golfer.seed++;
    s.seed++;
    struct uf_sim *z = begin(&s, "empty:1,walk_on,ball");
    int differ = 0, n = 0;
    for (; uf_sim_next(x, &a); n++) {
        /* forces alone keep the same forces, and the noise goes on from where it was */
        assert_true(uf_sim_next(y, &b));
        assert_memory_equal(a.counts_raw, b.counts_raw,
                            (size_t)s.rig.channels * sizeof a.counts_raw[0]);
        if (uf_sim_next_forces(z, &c))
            differ += c.fz_n[0] != a.fz_n[0];
    }
    assert_true(differ > n / 3);
    uf_sim_free(x);
    uf_sim_free(y);
    uf_sim_free(z);
}

static void refused(const char *lesson, const char *says)
{
    struct uf_sim_settings s;
    struct uf_sim_step steps[STEPS];
    struct uf_error err = {0, ""};
    struct uf_sim *sim = NULL;
    size_t n;
    uf_sim_defaults(&s);
    int rc = uf_sim_steps_parse(lesson, steps, STEPS, &n, &err);
    if (!rc)
        rc = uf_sim_new(&sim, &s, steps, n, &err);
    assert_int_not_equal(rc, 0);
    assert_null(sim);
    assert_non_null(strstr(err.text, says));
}

static void test_bad_lessons(void **state)
{
    (void)state;
    refused("stand,dance", "act 2");
    refused("", "act 1");
    refused("stand:", "act 1");
    refused("stand:-2", "act 1");
    refused("stand:1x", "act 1");
    refused("stand*1.5", "act 1");
    refused("ball*65", "more than 64");
    refused("ball*inf", "act 1");
    refused("ball*1e300", "act 1");
    refused("stand,step_off,ball", "step 3 of the lesson, ball, needs somebody on the plates");
    refused("stand,walk_on", "step 2 of the lesson, walk_on, needs empty plates");
    struct uf_sim_settings s;
    struct uf_error err;
    struct uf_sim *sim;
    const struct uf_sim_step step = {UF_SIM_STAND, 1};
    uf_sim_defaults(&s);
    s.golfer.mass_kg = NAN;
    assert_int_equal(uf_sim_new(&sim, &s, &step, 1, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "mass"));
    uf_sim_defaults(&s);
    s.rig.plate[1].cell[0].channel[0] = 0; /* used twice */
    assert_int_equal(uf_sim_new(&sim, &s, &step, 1, &err), UF_EINVAL);
    uf_sim_defaults(&s);
    assert_int_equal(uf_sim_new(&sim, &s, &step, 0, &err), UF_EINVAL);
}

static void test_lessons(void **state)
{
    (void)state;
    static const char *const names[] = {"short", "demo", "confounders", "long"};
    static const int swings[] = {2, 7, 0, 37};
    for (size_t i = 0; i < 4; i++) {
        struct uf_sim_settings s;
        struct uf_sim_step steps[400];
        struct uf_sim *sim;
        struct uf_error err;
        size_t n = uf_sim_lesson(names[i], steps, 400);
        assert_true(n > 0);
        uf_sim_defaults(&s);
        assert_int_equal(uf_sim_new(&sim, &s, steps, n, &err), 0);
        int found = 0;
        for (size_t k = 0; k < n; k++)
            found += uf_sim_truth(sim, k)->is_swing;
        assert_int_equal(found, swings[i]);
        uf_sim_free(sim);
    }
    struct uf_sim_step one;
    assert_int_equal(uf_sim_lesson("nothing", &one, 1), 0);
    assert_int_equal(uf_sim_lesson("demo", &one, 1), 0); /* does not fit */
    for (int a = 0; a < UF_SIM_ACTS; a++)
        assert_true(strlen(uf_sim_act_name((enum uf_sim_act)a)) > 2);
}

/* Every number of the truth has its key, NAN is null. */
static void test_truth_json(void **state)
{
    (void)state;
    struct uf_sim_settings s;
    struct uf_sim_sample x;
    uf_sim_defaults(&s);
    struct uf_sim *sim = begin(&s, "address,ball");
    while (uf_sim_next_forces(sim, &x))
        ;
    json_t *stand = uf_sim_truth_json(uf_sim_truth(sim, 0));
    json_t *ball = uf_sim_truth_json(uf_sim_truth(sim, 1));
    assert_true(json_is_null(json_object_get(stand, "impact_s")));
    assert_string_equal(json_string_value(json_object_get(ball, "act")), "ball");
    assert_true(json_is_true(json_object_get(ball, "is_swing")));
    assert_true(json_real_value(json_object_get(ball, "turn_peak_nm")) ==
                uf_sim_truth(sim, 1)->turn_peak_nm);
    assert_true(json_real_value(json_object_get(ball, "trail_cop_toe_at_turn_peak_mm")) ==
                uf_sim_truth(sim, 1)->cop_toe_mm[4][1]);
    const char *key;
    json_t *value;
    json_object_foreach(ball, key, value) assert_false(json_is_null(value));
    json_decref(stand);
    json_decref(ball);
    uf_sim_free(sim);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_true_calibration),
        cmocka_unit_test(test_noise_and_perfection),
        cmocka_unit_test(test_rail),
        cmocka_unit_test(test_clock),
        cmocka_unit_test(test_strike),
        cmocka_unit_test(test_single_plate),
        cmocka_unit_test(test_same_seed_same_lesson),
        cmocka_unit_test(test_bad_lessons),
        cmocka_unit_test(test_lessons),
        cmocka_unit_test(test_truth_json),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

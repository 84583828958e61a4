/* SPDX-License-Identifier: MIT
 * The zero: when it is taken, when it must not be, and what it says about the zero before. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "load.h"
#include "plate/tare.h"

#include <math.h>
#include <string.h>

#define RATE_HZ 1000

struct scene {
    struct uf_rig rig;
    struct uf_calibration cal;
    struct uf_tare *tare;
    double zero_raw[UF_CHANNELS_MAX]; /* the plates' true zero */
    int64_t t_dev_us;
    uint32_t epoch, lost_before;
    uint8_t status;
    uint32_t noise;
    double noise_n;
    struct uf_tare_event event; /* the last one */
    int events;
};

static const struct uf_tare_settings settings = {2, 1.5, 15, 40, 30};

static void scene_start(struct scene *s, const double *initial_raw)
{
    memset(s, 0, sizeof *s);
    uf_rig_example(&s->rig);
    uf_calibration_nominal(&s->rig, &s->cal);
    for (int ch = 0; ch < s->rig.channels; ch++)
        s->zero_raw[ch] = 100000 - 9000.0 * ch;
    s->noise = 12345;
    s->noise_n = 0.4;
    struct uf_error err;
    assert_int_equal(uf_tare_new(&s->tare, &settings, &s->rig, &s->cal, initial_raw, &err), UF_OK);
}

/* Even noise of unit standard deviation. */
static double noise(struct scene *s)
{
    s->noise = s->noise * 1664525u + 1013904223u;
    return sqrt(12.0) * (s->noise / 4294967296.0 - 0.5);
}

/* One sample with these loads on the plates; returns whether a zero was taken. */
static bool one(struct scene *s, double left_n, double right_n)
{
    struct uf_frame f = {.t_dev_us = s->t_dev_us,
                         .epoch = s->epoch,
                         .lost_before = s->lost_before,
                         .status = s->status,
                         .channels = 24};
    s->lost_before = 0;
    put_load(&s->rig.plate[0], 0, 0, left_n + s->noise_n * noise(s), 0, 0, 0, s->zero_raw,
             f.counts_raw);
    put_load(&s->rig.plate[1], 0, 0, right_n + s->noise_n * noise(s), 0, 0, 0, s->zero_raw,
             f.counts_raw);
    s->t_dev_us += 1000000 / RATE_HZ;
    bool taken = uf_tare_feed(s->tare, &f, RATE_HZ, &s->event);
    s->events += taken;
    return taken;
}

static int hold(struct scene *s, double seconds, double left_n, double right_n)
{
    int before = s->events;
    for (int i = 0; i < seconds * RATE_HZ; i++)
        one(s, left_n, right_n);
    return s->events - before;
}

/* Difference of the zero in force from the true one, as fz of a plate. */
static double off_n(const struct scene *s, int plate)
{
    double n = 0;
    for (int ch = 0; ch < 24; ch++)
        n += s->cal.plate[plate].c[UF_FZ][ch] * (uf_tare_raw(s->tare)[ch] - s->zero_raw[ch]);
    return n;
}

static void drift(struct scene *s, int plate, double n)
{
    for (int i = 0; i < 4; i++)
        s->zero_raw[s->rig.plate[plate].cell[i].channel[2]] +=
            n / 4 / s->rig.plate[plate].cell[i].n_per_count[2];
}

static void test_first_zero(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    assert_false(uf_tare_ready(s.tare));
    assert_int_equal(hold(&s, 1.9, 0, 0), 0);
    assert_false(uf_tare_ready(s.tare));
    assert_int_equal(hold(&s, 0.2, 0, 0), 1);
    assert_true(uf_tare_ready(s.tare));
    assert_true(s.event.first);
    assert_false(s.event.was_loaded);
    assert_false(s.event.look);
    assert_true(isnan(s.event.drift_n[0]) && isnan(s.event.drift_n[1]));
    assert_memory_equal(s.event.tare_raw, uf_tare_raw(s.tare), sizeof s.event.tare_raw);
    for (int p = 0; p < 2; p++)
        assert_true(fabs(off_n(&s, p)) < 0.05); /* 0.4 N / sqrt(1600) = 0.01 */
    uf_tare_free(s.tare);
}

static void test_drift_is_followed(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    hold(&s, 3, 0, 0);
    drift(&s, 0, 3);
    drift(&s, 1, -2);
    assert_int_equal(hold(&s, 25, 0, 0), 0); /* too soon after the first */
    assert_int_equal(hold(&s, 10, 0, 0), 1);
    assert_false(s.event.first);
    assert_true(fabs(s.event.drift_n[0] - 3) < 0.1);
    assert_true(fabs(s.event.drift_n[1] + 2) < 0.1);
    assert_true(fabs(off_n(&s, 0)) < 0.05 && fabs(off_n(&s, 1)) < 0.05);
    /* nothing changes: nothing is taken */
    assert_int_equal(hold(&s, 100, 0, 0), 0);
    uf_tare_free(s.tare);
}

static void test_slow_drift_ends_in_a_look(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    hold(&s, 3, 0, 0);
    bool looked = false;
    double total_n = 0;
    for (int i = 0; i < 9; i++) {
        drift(&s, 1, -5);
        total_n -= 5;
        assert_int_equal(hold(&s, 33, 0, 0), 1);
        assert_true(fabs(s.event.drift_n[1] + 5) < 0.1);
        assert_true(fabs(s.event.total_drift_n[1] - total_n) < 0.1);
        looked = s.event.look;
        assert_int_equal(looked, total_n < -40.05);
    }
    assert_true(looked);
    uf_tare_free(s.tare);
}

/* 45 kg, as still as a statue, on both feet and then on one: never an empty plate. */
static void test_standing_is_not_empty(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    hold(&s, 3, 0, 0);
    s.noise_n = 0;
    assert_int_equal(hold(&s, 60, 220, 221), 0);
    assert_int_equal(hold(&s, 60, 441, 0), 0);
    assert_int_equal(hold(&s, 60, 0, 441), 0);
    assert_int_equal(hold(&s, 60, 0, 16), 0); /* a bag on one plate */
    assert_true(fabs(off_n(&s, 0)) < 0.05 && fabs(off_n(&s, 1)) < 0.05);
    uf_tare_free(s.tare);
}

static void test_zero_taken_loaded(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    hold(&s, 3, 350, 380); /* somebody stood on it when the daemon began */
    assert_int_equal(s.events, 1);
    hold(&s, 1, 500, 100);
    assert_int_equal(hold(&s, 2.5, 0, 0), 1); /* at once, not after min_between_s */
    assert_true(s.event.was_loaded);
    assert_false(s.event.first);
    assert_false(s.event.look);
    assert_true(fabs(s.event.drift_n[0] + 350) < 0.2);
    assert_true(fabs(s.event.total_drift_n[0]) < 1e-9); /* counts from the good one */
    assert_true(fabs(off_n(&s, 0)) < 0.05 && fabs(off_n(&s, 1)) < 0.05);
    uf_tare_free(s.tare);
}

/* One foot was down at the zero, and now the other is: the sum is not below zero. */
static void test_other_foot_is_not_a_loaded_zero(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    hold(&s, 3, 700, 0);
    assert_int_equal(hold(&s, 20, 0, 700), 0);
    assert_int_equal(hold(&s, 20, 0, 300), 0); /* sum below, but somebody stands on the right */
    assert_int_equal(hold(&s, 3, 0, 0), 1);
    assert_true(s.event.was_loaded);
    uf_tare_free(s.tare);
}

/* A foot comes on slowly at the end of a stretch that was still: the zero has none of it. */
static void test_movement_spoils_no_zero(void **state)
{
    (void)state;
    for (int at_ms = 1000; at_ms < 2600; at_ms += 50) {
        struct scene s;
        scene_start(&s, NULL);
        s.noise_n = 0.2;
        if (at_ms % 100) /* so that the stretch slides before it is whole */
            hold(&s, 0.5, 300, 0);
        hold(&s, at_ms / 1000.0, 0, 0);
        for (int i = 0; i < 1500; i++) /* 4 N in the first 0.4 s, then more and more */
            one(&s, 25e-6 * i * i, 0);
        if (uf_tare_ready(s.tare))
            assert_true(fabs(off_n(&s, 0)) < 0.1);
        uf_tare_free(s.tare);
    }
    struct scene s;
    scene_start(&s, NULL);
    hold(&s, 1, 0, 0);
    hold(&s, 0.02, 300, 0); /* a kick */
    assert_int_equal(hold(&s, 1.9, 0, 0), 0);
    assert_int_equal(hold(&s, 0.3, 0, 0), 1);
    assert_true(fabs(off_n(&s, 0)) < 0.05);
    uf_tare_free(s.tare);
}

static void test_shaking_is_not_still(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    s.noise_n = 1.7;
    assert_int_equal(hold(&s, 20, 0, 0), 0);
    s.noise_n = 1.3;
    assert_int_equal(hold(&s, 3, 0, 0), 1);
    uf_tare_free(s.tare);
}

static void test_breaks_restart_the_stretch(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    hold(&s, 1.5, 0, 0);
    s.epoch++; /* reboot */
    assert_int_equal(hold(&s, 1.9, 0, 0), 0);
    assert_int_equal(hold(&s, 0.2, 0, 0), 1);
    uf_tare_free(s.tare);

    scene_start(&s, NULL);
    hold(&s, 1.5, 0, 0);
    s.lost_before = 60;
    s.t_dev_us += 60000;
    assert_int_equal(hold(&s, 1.9, 0, 0), 0);
    assert_int_equal(hold(&s, 0.2, 0, 0), 1);
    uf_tare_free(s.tare);

    /* 1 % of the samples lost singly: the stretch stays whole */
    scene_start(&s, NULL);
    for (int i = 0; i < 21; i++) {
        hold(&s, 0.1, 0, 0);
        s.lost_before = 1;
        s.t_dev_us += 1000;
    }
    assert_int_equal(s.events, 1);
    uf_tare_free(s.tare);

    /* the board doubts 1 % of its samples: as if they were lost */
    scene_start(&s, NULL);
    for (int i = 0; i < 21; i++) {
        s.status = 0;
        hold(&s, 0.099, 0, 0);
        s.status = i % 2 ? UF_STATUS_EXCITATION : UF_STATUS_RAIL;
        one(&s, 500, 0); /* and what it says with it counts for nothing */
    }
    assert_int_equal(s.events, 1);
    assert_true(fabs(off_n(&s, 0)) < 0.05);
    uf_tare_free(s.tare);

    /* all of them */
    scene_start(&s, NULL);
    s.status = UF_STATUS_EXCITATION;
    assert_int_equal(hold(&s, 5, 0, 0), 0);
    s.status = UF_STATUS_RAIL;
    assert_int_equal(hold(&s, 5, 0, 0), 0);
    s.status = UF_STATUS_OVERRUN;
    assert_int_equal(hold(&s, 2.1, 0, 0), 1);
    uf_tare_free(s.tare);
}

static void test_initial_zero(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    double stored_raw[UF_CHANNELS_MAX];
    memcpy(stored_raw, s.zero_raw, sizeof stored_raw);
    uf_tare_free(s.tare);
    scene_start(&s, stored_raw);
    assert_true(uf_tare_ready(s.tare));
    drift(&s, 0, 6); /* over night */
    assert_int_equal(hold(&s, 2.1, 0, 0), 1);
    assert_false(s.event.first);
    assert_true(fabs(s.event.drift_n[0] - 6) < 0.1);
    assert_true(fabs(s.event.total_drift_n[0] - 6) < 0.1);
    uf_tare_free(s.tare);

    /* the golfer already stands there at the start: the stored zero stays */
    scene_start(&s, stored_raw);
    s.noise_n = 0.1;
    assert_int_equal(hold(&s, 60, 300, 300), 0);
    assert_memory_equal(uf_tare_raw(s.tare), stored_raw, sizeof stored_raw);
    uf_tare_free(s.tare);
}

static void test_a_wish(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    hold(&s, 5, 0, 0);
    assert_int_equal(hold(&s, 10, 50, 0), 0); /* a mat was laid on the left plate */
    uf_tare_request(s.tare);
    assert_int_equal(hold(&s, 1.9, 50, 0), 0);
    assert_int_equal(hold(&s, 0.2, 50, 0), 1);
    assert_true(s.event.look); /* 50 N from the first zero */
    assert_false(s.event.was_loaded);
    assert_true(fabs(off_n(&s, 0) - 50) < 0.1);
    assert_int_equal(hold(&s, 100, 50, 0), 0);
    uf_tare_free(s.tare);
}

/* 8 N by the old calibration is 16 N by one with twice the scale: no longer an empty plate. */
static void test_another_calibration_is_followed(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    hold(&s, 40, 0, 0);
    drift(&s, 0, 8);
    struct uf_calibration twice = s.cal;
    for (int ch = 0; ch < 24; ch++)
        twice.plate[0].c[UF_FZ][ch] *= 2;
    uf_tare_set_calibration(s.tare, &twice);
    assert_int_equal(hold(&s, 10, 0, 0), 0);
    uf_tare_set_calibration(s.tare, &s.cal);
    assert_int_equal(hold(&s, 10, 0, 0), 1);
    uf_tare_free(s.tare);
}

static void test_bad_settings_have_a_sentence(void **state)
{
    (void)state;
    struct scene s;
    scene_start(&s, NULL);
    uf_tare_free(s.tare);
    struct uf_error err;
    struct uf_tare_settings bad = settings;
    bad.still_s = 0;
    assert_int_equal(uf_tare_new(&s.tare, &bad, &s.rig, &s.cal, NULL, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "still_s 0"));
    assert_null(s.tare);
    s.cal.plate[1].known[UF_FZ] = false;
    assert_int_equal(uf_tare_new(&s.tare, &settings, &s.rig, &s.cal, NULL, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "vertical force of the right plate"));
    s.cal.plates = 1;
    assert_int_equal(uf_tare_new(&s.tare, &settings, &s.rig, &s.cal, NULL, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "is of 1 plates"));
    uf_tare_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_first_zero),
        cmocka_unit_test(test_drift_is_followed),
        cmocka_unit_test(test_slow_drift_ends_in_a_look),
        cmocka_unit_test(test_standing_is_not_empty),
        cmocka_unit_test(test_zero_taken_loaded),
        cmocka_unit_test(test_other_foot_is_not_a_loaded_zero),
        cmocka_unit_test(test_movement_spoils_no_zero),
        cmocka_unit_test(test_shaking_is_not_still),
        cmocka_unit_test(test_breaks_restart_the_stretch),
        cmocka_unit_test(test_initial_zero),
        cmocka_unit_test(test_a_wish),
        cmocka_unit_test(test_another_calibration_is_followed),
        cmocka_unit_test(test_bad_settings_have_a_sentence),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

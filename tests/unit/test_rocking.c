/* SPDX-License-Identifier: MIT
 * Rocking in the stream, drawn by hand: what is noticed and when, what is none, what comes of a
 * question; and the feet from its counts, for either hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "load.h"
#include "swing/rocking.h"

#include <math.h>
#include <string.h>

#define PI       3.14159265358979323846
#define RATE_HZ  500
#define PERIOD_S 1.6

/* What both feet do: their COP's toe-ward place is size * sin from from_s to to_s. */
struct play {
    double from_s, to_s, until_s;
    double size_mm[UF_FEET]; /* by plate; negative: the other way round */
    double then_mm;          /* goes there 0.3 s after it is over */
    double off_s;            /* stands on nothing from then on; 0: stays */
    double ask_s;            /* somebody asks then; 0: nobody */
};

struct heard {
    int stretches;
    struct uf_rocking_stretch last;
    double at_s; /* when it came */
};

static struct heard feed(const struct play *p)
{
    struct uf_rig rig;
    struct uf_rocking r;
    struct heard h = {0};
    uf_rig_example(&rig);
    uf_rocking_start(&r);
    for (int i = 0; i < (int)(p->until_s * RATE_HZ); i++) {
        double t_s = (double)i / RATE_HZ;
        struct uf_wrench w[UF_FEET];
        for (int k = 0; k < UF_FEET; k++) {
            double fz_n = p->off_s > 0 && t_s > p->off_s ? 0 : 400, y_mm = 0;
            if (t_s > p->from_s && t_s < p->to_s)
                y_mm = p->size_mm[k] * sin(2 * PI / PERIOD_S * (t_s - p->from_s));
            else if (t_s > p->to_s + 0.3)
                y_mm = p->then_mm;
            w[k] = (struct uf_wrench){0, 0, fz_n, 1e-3 * y_mm * fz_n, 0, 0};
        }
        if (p->ask_s > 0 && i == (int)(p->ask_s * RATE_HZ))
            uf_rocking_ask(&r);
        struct uf_rocking_stretch s;
        if (uf_rocking_feed(&r, &rig, w, i * INT64_C(1000000) / RATE_HZ, &s)) {
            h.stretches++;
            h.last = s;
            h.at_s = t_s;
        }
    }
    return h;
}

static const struct play usual = {.from_s = 3, .to_s = 9.4, .until_s = 20, .size_mm = {80, 80}};

static void near(double got, double want, double within)
{
    if (!(fabs(got - want) <= within))
        fail_msg("%g, wanted %g +- %g", got, want, within);
}

static void rocking_is_noticed(void **state)
{
    (void)state;
    struct heard h = feed(&usual);
    assert_int_equal(h.stretches, 1);
    assert_false(h.last.asked);
    near(1e-6 * (double)h.last.from_dev_us, 3, 0.1); /* 0.4 s before the first turn, at 3.4 s */
    near(1e-6 * (double)h.last.to_dev_us, 9.35, 0.1);
    assert_true(h.at_s < 11.3); /* not much later than it is over */
}

/* From the toes to rest, and on: rest is no turning point, and what follows ends the run. */
static void rest_is_no_turn(void **state)
{
    (void)state;
    struct play p = usual;
    p.to_s = 9.8; /* at the toes */
    p.then_mm = 40;
    struct heard h = feed(&p);
    assert_int_equal(h.stretches, 1);
    near(1e-6 * (double)h.last.to_dev_us, 9.8 + 0.35, 0.1);
    assert_true(h.at_s < 10.3);
}

static void what_is_no_rocking(void **state)
{
    (void)state;
    struct play p = usual;
    p.to_s = 5.5; /* too short */
    assert_int_equal(feed(&p).stretches, 0);
    p = usual;
    p.size_mm[1] = 0; /* one foot only */
    assert_int_equal(feed(&p).stretches, 0);
    p.size_mm[1] = -80; /* against each other */
    assert_int_equal(feed(&p).stretches, 0);
    p = usual;
    p.size_mm[0] = p.size_mm[1] = 18; /* sways */
    assert_int_equal(feed(&p).stretches, 0);
    p = usual;
    p.off_s = 8; /* steps off meanwhile */
    assert_int_equal(feed(&p).stretches, 0);
}

/* Who does not stop has an answer all the same, and each stretch fits into what is kept. */
static void long_rocking(void **state)
{
    (void)state;
    struct play p = usual;
    p.to_s = 23;
    p.until_s = 30;
    struct heard h = feed(&p);
    assert_in_range(h.stretches, 2, 3);
    assert_true(h.last.to_dev_us - h.last.from_dev_us <= (int64_t)(1e6 * UF_ROCKING_LONGEST_S));
}

static void who_asks_has_an_answer(void **state)
{
    (void)state;
    struct play p = usual;
    p.ask_s = 2;
    struct heard h = feed(&p);
    assert_int_equal(h.stretches, 1); /* the rocking itself, and no second one */
    assert_true(h.last.asked);
    assert_true(h.at_s < 11.5);
    p.size_mm[0] = p.size_mm[1] = 0;
    h = feed(&p);
    assert_int_equal(h.stretches, 1);
    assert_true(h.last.asked);
    near(h.at_s, 2 + UF_ROCKING_ASKED_S, 0.1);
}

/* Counts of both feet at places that are known, toes 20 degrees out on the left plate, 10 on the
 * right one. */
static struct uf_capture *rocked(const struct uf_rig *rig, double seconds)
{
    struct uf_hello board = {.channels = 24, .adc_bits = 24, .rate_hz = RATE_HZ};
    struct uf_capture *c;
    assert_int_equal(uf_capture_new(&c, &board, (size_t)(seconds * RATE_HZ), NULL), 0);
    for (size_t i = 0; i < c->samples; i++) {
        double along_mm = 95 * sin(2 * PI / PERIOD_S * (double)i / RATE_HZ);
        c->offset_us[i] = (uint32_t)(i * 1000000 / RATE_HZ);
        for (int p = 0; p < 2; p++) {
            double rad = (p == 0 ? 20 : 10) * PI / 180, outward = p == 0 ? -1 : 1;
            put_load(&rig->plate[p], 0, 0, 400, outward * along_mm * sin(rad),
                     10 + along_mm * cos(rad), 0, NULL, c->counts_raw + i * 24);
        }
    }
    return c;
}

static void feet_of_either_hand(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_calibration cal;
    uf_rig_example(&rig);
    uf_calibration_nominal(&rig, &cal);
    struct uf_capture *c = rocked(&rig, 6.4);
    const struct uf_foot_person who = {270, NAN, NAN};
    struct uf_feet right, left;
    assert_int_equal(uf_rocking_find(c, &rig, &cal, &who, UF_RIGHT_HANDED, &right, NULL), 0);
    assert_int_equal(uf_rocking_find(c, &rig, &cal, &who, UF_LEFT_HANDED, &left, NULL), 0);
    assert_true(uf_rocking_counts(&right));
    near(right.pose[UF_LEAD].toe_out_deg, 20, 0.1);
    near(right.pose[UF_TRAIL].toe_out_deg, 10, 0.1);
    double rad = 20 * PI / 180;
    near(right.pose[UF_LEAD].heel_forward_mm, 10 - 135 * cos(rad), 1);
    near(right.pose[UF_LEAD].heel_target_mm, -rig.plate[0].centre_x_mm - 135 * sin(rad), 1);
    /* the left-handed golfer's trail foot is the right-handed one's lead foot, mirrored */
    near(left.pose[UF_TRAIL].toe_out_deg, right.pose[UF_LEAD].toe_out_deg, 1e-9);
    near(left.pose[UF_TRAIL].heel_target_mm, -right.pose[UF_LEAD].heel_target_mm, 1e-9);
    uf_capture_free(c);
}

static void what_was_no_try(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_calibration cal;
    struct uf_error err;
    uf_rig_example(&rig);
    uf_calibration_nominal(&rig, &cal);
    struct uf_capture *c = rocked(&rig, 2);
    const struct uf_foot_person who = {270, NAN, NAN};
    struct uf_feet feet;
    assert_int_equal(uf_rocking_find(c, &rig, &cal, &who, UF_RIGHT_HANDED, &feet, NULL), 0);
    assert_int_equal(feet.state[UF_LEAD], UF_FOOT_SHORT);
    assert_false(uf_rocking_counts(&feet));
    rig.plates = 1;
    assert_int_equal(uf_rocking_find(c, &rig, &cal, &who, UF_RIGHT_HANDED, &feet, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "two plates only"));
    uf_capture_free(c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rocking_is_noticed),     cmocka_unit_test(rest_is_no_turn),
        cmocka_unit_test(what_is_no_rocking),     cmocka_unit_test(long_rocking),
        cmocka_unit_test(who_asks_has_an_answer), cmocka_unit_test(feet_of_either_hand),
        cmocka_unit_test(what_was_no_try),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * Curved channels: found where they are, with the curve that the plate was built with, and not
 * where a cell is as straight as cells are. */
#include "calib/fit.h"
#include "calib/plan.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "calib_near.h"
#include "calib_plate.h"

#define LOADS 30

struct session {
    struct uf_rig rig;
    struct uf_load_setup setup;
    struct made_plate made;
    int n;
    struct uf_reading r[LOADS];
};

static void start(struct session *s, double curve, int loads, uint64_t seed)
{
    struct uf_plan_settings plan;
    struct uf_plan_step step[LOADS];
    struct made_spread spread = made_usual();
    struct made_person person;
    memset(s, 0, sizeof *s);
    uf_rig_example(&s->rig);
    made_setup(&s->setup, 0.0005);
    uf_plan_defaults(&plan);
    plan.most = loads;
    spread.curve = curve;
    s->n = uf_plan_make(&s->rig.plate[0], 0, &s->setup, &plan, step, NULL);
    assert_int_equal(s->n, loads);
    made_build(&s->made, &s->rig.plate[0], &spread, seed);
    made_person(&person, &s->setup, &s->made.rng);
    for (int i = 0; i < s->n; i++)
        made_capture(&s->made, &person, &step[i].load, &s->r[i]);
}

static void choose(const struct session *s, int rank, struct uf_curve_choice *out)
{
    struct uf_error err = {0, ""};
    if (uf_curve_choose(&s->rig.plate[0], 0, s->r, s->n, rank, out, &err) != UF_OK)
        fail_msg("%s", err.text);
}

static void straight_cells_stay_straight(void **state)
{
    (void)state;
    struct session s;
    struct uf_curve_choice c;
    for (uint64_t seed = 1; seed <= 5; seed++) {
        start(&s, 0.001, LOADS, seed);
        choose(&s, 6, &c);
        assert_true(c.tried);
        assert_false(c.taken);
        assert_true(c.straight_pct < UF_CURVE_WORTH_PCT);
    }
    start(&s, 0.01, 12, 1); /* too few loads to tell */
    choose(&s, 6, &c);
    assert_false(c.tried);
    assert_false(c.taken);
    start(&s, 0.01, LOADS, 1); /* loads that do not push in all directions leave more over anyway */
    choose(&s, 3, &c);
    assert_false(c.tried);
}

/* The cells' own curves: n' = n + q n^2 / rated, so the way back is -q / rated a newton. Those of
 * the vertical outputs, which were loaded well, are told within their uncertainties. */
static void curves_are_those_of_the_cells(void **state)
{
    (void)state;
    int told = 0, of = 0;
    for (uint64_t seed = 1; seed <= 5; seed++) {
        struct session s;
        struct uf_curve_choice c;
        start(&s, 0.01, LOADS, seed);
        choose(&s, 6, &c);
        assert_true(c.taken);
        assert_true(c.curved_pct < 0.8 * c.straight_pct);
        for (int i = 0; i < 4; i++) {
            const struct uf_cell *cell = &s.rig.plate[0].cell[i];
            double want = -s.made.curve[i][2] / cell->rated_n[2] * cell->n_per_count[2];
            of++;
            told += fabs(c.curve[3 * i + 2] - want) < 2.5 * c.curve_sd[3 * i + 2];
            assert_true(c.curve_sd[3 * i + 2] < 0.01 / cell->rated_n[2] * cell->n_per_count[2]);
        }
    }
    if (told < of - 2)
        fail_msg("%d of %d curves are told", told, of);
}

/* The whole fit: a heavy load is read better than by straight channels, its left-over is noise
 * again, and the errors that are stated hold. */
static void a_curved_plate_is_read_better(void **state)
{
    (void)state;
    struct session s;
    struct uf_fit_settings settings;
    struct uf_error err = {0, ""};
    static const double heavy[6] = {30, -40, 1200, 60, -90, 5};
    double off[2] = {0, 0};
    for (uint64_t seed = 1; seed <= 5; seed++) {
        start(&s, 0.01, LOADS, seed);
        double raw[UF_CHANNELS_MAX] = {0};
        made_read(&s.made, heavy, raw);
        uf_fit_defaults(&settings);
        for (int straight = 0; straight < 2; straight++) {
            struct uf_fit *f;
            struct uf_wrench w, mean;
            double left_n, expected_n;
            settings.straight = straight != 0;
            if (uf_fit_best(&f, NULL, &s.rig, 0, &s.setup, s.r, s.n, &settings, &err) != UF_OK)
                fail_msg("%s", err.text);
            assert_int_equal(f->matrix.curved, !straight);
            uf_fit_wrench(f, raw, &w);
            uf_wrench_of_mean(&f->matrix, raw, UF_CHANNELS_MAX, &mean);
            assert_near(mean.fz_n, w.fz_n, 1e-9);
            off[straight] += pow(w.fz_n - heavy[2], 2);
            uf_leftover_of(&f->leftover, raw, &left_n, &expected_n);
            assert_true(straight || left_n < 6 * expected_n);
            uf_fit_free(f);
        }
    }
    assert_true(sqrt(off[0] / 5) < 0.003 * heavy[2]);
    assert_true(off[0] < off[1] / 9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(straight_cells_stay_straight),
        cmocka_unit_test(curves_are_those_of_the_cells),
        cmocka_unit_test(a_curved_plate_is_read_better),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * The plan: fewest placements first, then those that gain; only what may be put there. */
#include "calib/plan.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "calib_near.h"

static struct uf_rig rig;

static void make_setup(struct uf_load_setup *s)
{
    memset(s, 0, sizeof *s);
    s->gravity = (struct uf_gravity){9.81, 5e-4};
    s->weights = 3;
    s->weight[0] = (struct uf_weight){"A", 20, 0.01};
    s->weight[1] = (struct uf_weight){"B", 20, 0.01};
    s->weight[2] = (struct uf_weight){"C", 5, 0.002};
    s->pulley_tol_pct = 0.5;
    s->level_tol_deg = 0.2;
    s->drawing_tol_mm = 0.5;
}

static void six_placements_identify_all(void **state)
{
    (void)state;
    struct uf_load_setup setup;
    struct uf_plan_settings s;
    struct uf_plan_step step[UF_PLAN_MAX];
    make_setup(&setup);
    uf_plan_defaults(&s);
    int n = uf_plan_make(&rig.plate[0], 0, &setup, &s, step, NULL);
    assert_int_equal(n, 25);
    for (int i = 0; i < 6; i++)
        assert_int_equal(step[i].rank, i + 1);
    assert_true(isnan(step[4].horizontal_pct) || isnan(step[4].turn_nm));
    for (int i = 6; i < n; i++) {
        assert_int_equal(step[i].rank, 6);
        assert_true(step[i].condition < 100);
        assert_true(step[i].cop_mm <= step[i - 1].cop_mm + 1e-12);
        assert_true(step[i].vertical_pct <= step[i - 1].vertical_pct + 1e-12);
        assert_true(step[i].turn_nm <= step[i - 1].turn_nm + 1e-12);
        for (int j = 0; j < i; j++)
            assert_false(uf_load_same(&step[i].load, &step[j].load));
    }
    assert_true(step[n - 1].cop_mm < 2);
    assert_true(step[n - 1].vertical_pct < 0.3);
}

static void without_a_pulley(void **state)
{
    (void)state;
    struct uf_load_setup setup;
    struct uf_plan_settings s;
    struct uf_plan_step step[UF_PLAN_MAX];
    make_setup(&setup);
    uf_plan_defaults(&s);
    s.pulley = false;
    int n = uf_plan_make(&rig.plate[0], 0, &setup, &s, step, NULL);
    assert_int_equal(step[n - 1].rank, 3);
    assert_true(isnan(step[n - 1].turn_nm) && isnan(step[n - 1].horizontal_pct));
    assert_true(!isnan(step[n - 1].vertical_pct));
    s.wedge_deg = 10; /* a tilted plate does without */
    n = uf_plan_make(&rig.plate[0], 0, &setup, &s, step, NULL);
    assert_int_equal(step[5].rank, 6);
}

static void limits_hold(void **state)
{
    (void)state;
    struct uf_load_setup setup;
    struct uf_plan_settings s;
    struct uf_plan_step step[UF_PLAN_MAX];
    struct uf_error err = {0, ""};
    struct uf_plate weak = rig.plate[0];
    make_setup(&setup);
    uf_plan_defaults(&s);
    s.lie_most_kg = 30;
    s.pull_most_kg = 6;
    int n = uf_plan_make(&weak, 0, &setup, &s, step, NULL);
    for (int i = 0; i < n; i++)
        assert_true(uf_load_mass_kg(&setup, &step[i].load) <=
                    (step[i].load.kind == UF_LOAD_PULL ? 6 : 30));
    weak.rated_n = 220;
    s.lie_most_kg = 60;
    n = uf_plan_make(&weak, 0, &setup, &s, step, NULL);
    for (int i = 0; i < n; i++)
        assert_true(uf_load_mass_kg(&setup, &step[i].load) * 9.81 <= 220);
    weak.rated_n = 30;
    s.pulley = false;
    assert_int_equal(uf_plan_make(&weak, 0, &setup, &s, step, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "no weight of the list"));
    s.most = 2;
    assert_int_equal(uf_plan_make(&weak, 0, &setup, &s, step, &err), UF_EINVAL);
}

static void rating_a_list_agrees(void **state)
{
    (void)state;
    struct uf_load_setup setup;
    struct uf_plan_settings s;
    struct uf_plan_step step[UF_PLAN_MAX], again[UF_PLAN_MAX];
    struct uf_load load[UF_PLAN_MAX];
    make_setup(&setup);
    uf_plan_defaults(&s);
    s.most = 10;
    int n = uf_plan_make(&rig.plate[0], 0, &setup, &s, step, NULL);
    for (int i = 0; i < n; i++)
        load[i] = step[i].load;
    assert_int_equal(uf_plan_rate(&rig.plate[0], &setup, &s, load, n, again, NULL), UF_OK);
    assert_near(again[n - 1].cop_mm, step[n - 1].cop_mm, 1e-12);
    assert_near(again[n - 1].condition, step[n - 1].condition, 1e-9);
}

int main(void)
{
    uf_rig_example(&rig);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(six_placements_identify_all), cmocka_unit_test(without_a_pulley),
        cmocka_unit_test(limits_hold), cmocka_unit_test(rating_a_list_agrees)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * Known loads: wrench, signs, uncertainties by source, and what bad input is told. */
#include "calib/load.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "calib_near.h"

static struct uf_rig rig;

static void make_setup(struct uf_load_setup *s)
{
    memset(s, 0, sizeof *s);
    s->gravity = (struct uf_gravity){9.81, 5e-4};
    s->weights = 2;
    s->weight[0] = (struct uf_weight){"A", 20, 0.01};
    s->weight[1] = (struct uf_weight){"B", 10, 0.002};
    s->pulley_tol_pct = 1;
    s->level_tol_deg = 0.2;
    s->drawing_tol_mm = 0.5;
    s->drawing_tol_deg = 0.2;
}

static struct uf_load vertical(double x_mm, double y_mm)
{
    return (struct uf_load){
        .kind = UF_LOAD_VERTICAL, .pieces = 1, .x_mm = x_mm, .y_mm = y_mm, .place_tol_mm = 1};
}

static void wrench(const struct uf_load *l, struct uf_load_wrench *out)
{
    struct uf_load_setup s;
    make_setup(&s);
    uf_load_wrench_of(&s, &rig.plate[0], l, out);
}

static void weight_on_the_plate(void **state)
{
    (void)state;
    struct uf_load_wrench w;
    struct uf_load l = vertical(100, -200);
    wrench(&l, &w);
    double n = 20 * 9.81 * 0.99985;
    assert_near(w.w[UF_FX], 0, 1e-12);
    assert_near(w.w[UF_FY], 0, 1e-12);
    assert_near(w.w[UF_FZ], n, 1e-9);
    assert_near(w.w[UF_MX], -0.2 * n, 1e-9);
    assert_near(w.w[UF_MY], -0.1 * n, 1e-9);
    assert_near(w.w[UF_MZ], 0, 1e-12);
}

static void pull_has_the_sign_of_a_golfer_who_pushes(void **state)
{
    (void)state;
    struct uf_load_wrench w;
    /* to the right, over (0, 150), 20 mm above a top that is 60 mm above the sensors */
    struct uf_load l = {
        .kind = UF_LOAD_PULL, .pieces = 1, .piece = {1}, .y_mm = 150, .height_mm = 20};
    wrench(&l, &w);
    double n = 10 * 9.81 * 0.99985;
    assert_near(w.w[UF_FX], -n, 1e-9);
    assert_near(w.w[UF_FZ], 0, 1e-9);
    assert_near(w.w[UF_MY], -0.08 * n, 1e-9); /* z Fx */
    assert_near(w.w[UF_MZ], 0.15 * n, 1e-9);  /* -y Fx */
    l.towards_deg = 90;                       /* to the front */
    l.angle_deg = 30;                         /* the string rises: lifts the plate */
    wrench(&l, &w);
    assert_near(w.w[UF_FX], 0, 1e-9);
    assert_near(w.w[UF_FY], -n * 0.86602540378443865, 1e-9);
    assert_near(w.w[UF_FZ], -n * 0.5, 1e-9);
}

static void wedge(void **state)
{
    (void)state;
    struct uf_load_wrench w;
    struct uf_load l = {.kind = UF_LOAD_TILT,
                        .pieces = 1,
                        .x_mm = 50,
                        .height_mm = 40,
                        .towards_deg = 0,
                        .angle_deg = 30};
    wrench(&l, &w);
    double n = 20 * 9.81 * 0.99985;
    /* downhill to the right: the plate holds it back, to the left */
    assert_near(w.w[UF_FX], -n * 0.5, 1e-9);
    assert_near(w.w[UF_FZ], n * 0.86602540378443865, 1e-9);
    /* the line through the centre of gravity meets the top further downhill */
    double x_mm = 1000 * (-w.w[UF_MY] + 0.06 * w.w[UF_FX]) / w.w[UF_FZ];
    assert_near(x_mm, 50 + 40 * 0.57735026918962576, 1e-6);
}

/* 1 mm at 200 N is 0.2 N m; half-widths count as 1 / sqrt 3 */
static void own_errors(void **state)
{
    (void)state;
    struct uf_load_wrench w;
    struct uf_load l = vertical(100, -200);
    wrench(&l, &w);
    double n = 20 * 9.81 * 0.99985, mm = 0.001 / sqrt(3);
    assert_near(w.own[UF_OWN_X][UF_MY], -n * mm, 1e-9);
    assert_near(w.own[UF_OWN_Y][UF_MX], n * mm, 1e-9);
    assert_near(w.own[UF_OWN_X][UF_FZ], 0, 1e-12);
    assert_near(w.own[UF_OWN_TOWARDS][UF_FX], 0, 1e-12);
    l = (struct uf_load){.kind = UF_LOAD_PULL,
                         .pieces = 1,
                         .piece = {1},
                         .y_mm = 150,
                         .height_mm = 20,
                         .height_tol_mm = 2,
                         .towards_tol_deg = 1,
                         .angle_tol_deg = 1};
    wrench(&l, &w);
    double p = 10 * 9.81 * 0.99985, deg = 3.14159265358979323846 / 180 / sqrt(3);
    assert_near(w.own[UF_OWN_HEIGHT][UF_MY], -p * 0.002 / sqrt(3), 1e-9);
    assert_near(w.own[UF_OWN_TOWARDS][UF_FY], -p * deg, 1e-3 * p * deg);
    assert_near(w.own[UF_OWN_ANGLE][UF_FZ], -p * deg, 1e-3 * p * deg);
}

static void shared_errors(void **state)
{
    (void)state;
    struct uf_load_wrench w;
    struct uf_load l = vertical(100, -200);
    l.pieces = 2;
    l.piece[1] = 1;
    wrench(&l, &w);
    double n = 30 * 9.81 * 0.99985, deg = 3.14159265358979323846 / 180 / sqrt(3);
    assert_near(w.w[UF_FZ], n, 1e-9);
    assert_near(w.shared[UF_SHARED_GRAVITY][UF_FZ], n * 5e-4 / 9.81, 1e-9);
    assert_near(w.shared[UF_SHARED_WEIGHT][UF_FZ], 9.81 * 0.99985 * 0.01 / sqrt(3), 1e-9);
    assert_near(w.shared[UF_SHARED_WEIGHT + 1][UF_FZ], 9.81 * 0.99985 * 0.002 / sqrt(3), 1e-9);
    assert_near(w.shared[UF_SHARED_PULLEY][UF_FZ], 0, 1e-12);
    assert_near(fabs(w.shared[UF_SHARED_LEVEL_X][UF_FX]), n * 0.2 * deg, 1e-4);
    assert_near(w.shared[UF_SHARED_DRAWING_Y][UF_MX], n * 0.0005 / sqrt(3), 1e-9);
    /* a turn of the drawing moves (100, -200) by (200, 100) a radian */
    assert_near(w.shared[UF_SHARED_DRAWING_TURN][UF_MY], -n * 0.2 * 0.2 * deg, 1e-5);
    l.kind = UF_LOAD_PULL;
    wrench(&l, &w);
    assert_near(w.shared[UF_SHARED_PULLEY][UF_FX], -n * 0.01 / sqrt(3), 1e-9);
    assert_near(w.shared[UF_SHARED_LEVEL_X][UF_FX], 0, 1e-12);
}

static void told(const struct uf_load *l, const char *words)
{
    struct uf_load_setup s;
    struct uf_error err = {0, ""};
    make_setup(&s);
    if (uf_load_check(&s, &rig.plate[0], l, &err) == UF_OK)
        fail_msg("passed, and should say \"%s\"", words);
    if (!strstr(err.text, words))
        fail_msg("said: %s", err.text);
}

static void bad_loads(void **state)
{
    (void)state;
    struct uf_load_setup s;
    struct uf_error err = {0, ""};
    struct uf_load l = vertical(100, -200);
    make_setup(&s);
    assert_int_equal(uf_load_check(&s, &rig.plate[0], &l, &err), UF_OK);
    l.x_mm = 260;
    told(&l, "off the left plate");
    l = vertical(0.1, -0.2);
    told(&l, "millimetres, not metres");
    l = vertical(NAN, 0);
    told(&l, "not a number");
    l = vertical(0, 0);
    l.pieces = 0;
    told(&l, "no weight");
    l.pieces = 2;
    told(&l, "\"A\" twice");
    l = vertical(0, 0);
    l.kind = UF_LOAD_TILT;
    told(&l, "angle above 0");
    l.kind = UF_LOAD_PULL;
    l.angle_deg = 60;
    told(&l, "at most 45");
    l = vertical(0, 0);
    l.place_tol_mm = -1;
    told(&l, "tolerances of place");
    /* 450 N written as kg is 4400 N, above the rated 4000 N */
    s.weight[0].mass_kg = 450;
    l = vertical(0, 0);
    assert_int_equal(uf_load_check(&s, &rig.plate[0], &l, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "divide it by 9.81"));
}

static void bad_weights(void **state)
{
    (void)state;
    static const struct {
        struct uf_weight w;
        const char *words;
    } row[] = {{{"A", -20, 0.01}, "a mass is above 0"},
               {{"A", 0, 0}, "a mass is above 0"},
               {{"A", 20000, 1}, "not newtons or grams"},
               {{"A", 20, 5}, "tolerance of 5 kg"},
               {{"A", 20, -0.1}, "tolerance"},
               {{"", 20, 0.1}, "has no name"}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        struct uf_error err = {0, ""};
        assert_int_equal(uf_weight_check(&row[i].w, &err), UF_EINVAL);
        if (!strstr(err.text, row[i].words))
            fail_msg("said: %s", err.text);
    }
}

static void same_places(void **state)
{
    (void)state;
    struct uf_load a = vertical(100, 100), b = a;
    assert_true(uf_load_same(&a, &b));
    b.x_mm = 100.5;
    assert_true(uf_load_same_place(&a, &b));
    b.x_mm = 102;
    assert_false(uf_load_same_place(&a, &b));
    b = a;
    b.piece[0] = 1;
    assert_true(uf_load_same_place(&a, &b));
    assert_false(uf_load_same(&a, &b));
    a.kind = b.kind = UF_LOAD_PULL;
    a.towards_deg = -179.9;
    b.towards_deg = 180;
    assert_true(uf_load_same_place(&a, &b));
    b.towards_deg = 0;
    assert_false(uf_load_same_place(&a, &b));
}

int main(void)
{
    uf_rig_example(&rig);
    const struct CMUnitTest tests[] = {cmocka_unit_test(weight_on_the_plate),
                                       cmocka_unit_test(pull_has_the_sign_of_a_golfer_who_pushes),
                                       cmocka_unit_test(wedge),
                                       cmocka_unit_test(own_errors),
                                       cmocka_unit_test(shared_errors),
                                       cmocka_unit_test(bad_loads),
                                       cmocka_unit_test(bad_weights),
                                       cmocka_unit_test(same_places)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

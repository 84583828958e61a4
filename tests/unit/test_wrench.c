/* SPDX-License-Identifier: MIT
 * Wrench, centre of pressure, free moment and the sums of two plates: against r x F written out
 * anew, at the edges of what is measurable, and mirrored in x to the last bit. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "load.h"
#include "plate/wrench.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MIN_N UF_COP_MIN_N_DEFAULT

static double number(void)
{
    return 2.0 * rand() / RAND_MAX - 1;
}

static void close_to(double got, double want, double within)
{
    if (!(fabs(got - want) <= within))
        print_error("%.15g, not %.15g\n", got, want);
    assert_true(fabs(got - want) <= within);
}

/* A force and a free moment at a place, all in the rig frame. */
struct contact {
    double x_m, y_m, f_n[3], tz_nm;
};

static struct contact random_contact(double centre_x_m)
{
    return (struct contact){centre_x_m + 0.15 * number(),
                            0.25 * number(),
                            {200 * number(), 200 * number(), 500 + 400 * number()},
                            20 * number()};
}

/* The wrench that a plate feels about its sensors' origin: turned into its axes, then r x F. */
static void wrench_from(const struct uf_plate *p, const struct contact *c, struct uf_wrench *w)
{
    double a = -p->rotation_deg * acos(-1) / 180;
    double dx = c->x_m - p->centre_x_mm / 1000, dy = c->y_m - p->centre_y_mm / 1000;
    double r[3] = {cos(a) * dx - sin(a) * dy, sin(a) * dx + cos(a) * dy, p->surface_mm / 1000};
    double f[3] = {cos(a) * c->f_n[0] - sin(a) * c->f_n[1], sin(a) * c->f_n[0] + cos(a) * c->f_n[1],
                   c->f_n[2]};
    *w = (struct uf_wrench){f[0],
                            f[1],
                            f[2],
                            r[1] * f[2] - r[2] * f[1],
                            r[2] * f[0] - r[0] * f[2],
                            r[0] * f[1] - r[1] * f[0] + c->tz_nm};
}

static void test_one_plate(void **state)
{
    (void)state;
    srand(1);
    struct uf_rig rig;
    uf_rig_example(&rig);
    for (int i = 0; i < 2000; i++) {
        struct uf_plate *p = &rig.plate[i % 2];
        p->rotation_deg = i < 500 ? 0 : 180 * number();
        p->centre_y_mm = 50 * number();
        p->surface_mm = 40 + 30 * number();
        struct contact c = random_contact(p->centre_x_mm / 1000);
        struct uf_wrench w;
        struct uf_ground g;
        wrench_from(p, &c, &w);
        uf_ground_of(p, &w, MIN_N, &g);
        close_to(g.fx_n, c.f_n[0], 1e-9);
        close_to(g.fy_n, c.f_n[1], 1e-9);
        close_to(g.fz_n, c.f_n[2], 0);
        close_to(g.cop_x_mm, 1000 * c.x_m, 1e-8);
        close_to(g.cop_y_mm, 1000 * c.y_m, 1e-8);
        close_to(g.tz_nm, c.tz_nm, 1e-9);
    }
}

/* The turn moment by another road: the moment of all about the rig's origin, moved to the net COP.
 */
static void test_both_plates(void **state)
{
    (void)state;
    srand(2);
    struct uf_rig rig;
    uf_rig_example(&rig);
    for (int i = 0; i < 2000; i++) {
        struct contact c[2];
        struct uf_ground g[2];
        double f[3] = {0}, moment_nm = 0, x = 0, y = 0;
        for (int k = 0; k < 2; k++) {
            struct uf_plate *p = &rig.plate[k];
            struct uf_wrench w;
            p->rotation_deg = 20 * number();
            c[k] = random_contact(p->centre_x_mm / 1000);
            wrench_from(p, &c[k], &w);
            uf_ground_of(p, &w, MIN_N, &g[k]);
            moment_nm += c[k].x_m * c[k].f_n[1] - c[k].y_m * c[k].f_n[0] + c[k].tz_nm;
            for (int r = 0; r < 3; r++)
                f[r] += c[k].f_n[r];
            x += c[k].x_m * c[k].f_n[2];
            y += c[k].y_m * c[k].f_n[2];
        }
        x /= f[2];
        y /= f[2];
        struct uf_both b;
        uf_both_of(&g[0], &g[1], MIN_N, &b);
        close_to(b.fx_n, f[0], 1e-9);
        close_to(b.fy_n, f[1], 1e-9);
        close_to(b.fz_n, f[2], 1e-9);
        close_to(b.cop_x_mm, 1000 * x, 1e-8);
        close_to(b.cop_y_mm, 1000 * y, 1e-8);
        close_to(b.turn_nm, moment_nm - (x * f[1] - y * f[0]), 1e-9);
        assert_true(b.turn_nm == b.turn_from_fy_nm + b.turn_from_fx_nm + b.turn_from_tz_nm);
        close_to(b.turn_from_tz_nm, c[0].tz_nm + c[1].tz_nm, 1e-9);
    }
}

/* The couple of a downswing: the lead (left) foot is pushed heel-ward, the trail foot toe-ward, so
 * a right-handed golfer is turned anticlockwise, towards the target. */
static void test_sign_of_the_couple(void **state)
{
    (void)state;
    struct uf_ground left = {0, -200, 600, -225, 0, 0}, right = {0, 200, 600, 225, 0, 0};
    struct uf_both b;
    uf_both_of(&left, &right, MIN_N, &b);
    close_to(b.turn_from_fy_nm, 90, 1e-12); /* 200 N x 0.45 m */
    close_to(b.turn_from_fx_nm, 0, 0);
    /* and the front foot pushed to the left, the rear one to the right: anticlockwise too */
    left = (struct uf_ground){-100, 0, 600, -225, 50, 3};
    right = (struct uf_ground){100, 0, 600, 225, -50, 4};
    uf_both_of(&left, &right, MIN_N, &b);
    close_to(b.turn_from_fx_nm, 10, 1e-12);
    close_to(b.turn_from_tz_nm, 7, 1e-12);
    close_to(b.turn_nm, 17, 1e-12);
}

static void test_below_the_threshold(void **state)
{
    (void)state;
    struct uf_wrench w = {1, 2, 24.999, 3, 4, 5};
    struct uf_cop cop;
    uf_cop_of(&w, 60, 25, &cop);
    assert_true(isnan(cop.x_mm) && isnan(cop.y_mm) && isnan(cop.tz_nm));
    w.fz_n = 25;
    uf_cop_of(&w, 60, 25, &cop);
    close_to(cop.x_mm, 1000 * (-4 + 0.06 * 1) / 25, 1e-9);
    close_to(cop.y_mm, 1000 * (3 + 0.06 * 2) / 25, 1e-9);
    w.fz_n = -500; /* hanging on a plate is no foot */
    uf_cop_of(&w, 60, 25, &cop);
    assert_true(isnan(cop.x_mm) && isnan(cop.tz_nm));
    w.fz_n = 0; /* even with no threshold nothing is divided by nothing */
    uf_cop_of(&w, 60, 0, &cop);
    assert_true(isnan(cop.x_mm) && isnan(cop.tz_nm));

    struct uf_ground a = {10, 20, 700, -200, 30, 2}, b = {1, 2, 20, NAN, NAN, NAN};
    struct uf_both both;
    uf_both_of(&a, &b, MIN_N,
               &both); /* one foot in the air: its force counts, its place does not */
    assert_true(both.fx_n == 11 && both.fy_n == 22 && both.fz_n == 720);
    assert_true(both.cop_x_mm == -200 && both.cop_y_mm == 30);
    assert_true(both.turn_from_fy_nm == 0 && both.turn_from_fx_nm == 0);
    assert_true(both.turn_from_tz_nm == 2 && both.turn_nm == 2);
    a = b;
    a.fz_n = 4;
    uf_both_of(&a, &b, MIN_N, &both); /* nobody */
    assert_true(both.fz_n == 24);
    assert_true(isnan(both.cop_x_mm) && isnan(both.turn_nm) && isnan(both.turn_from_tz_nm));
    a.fz_n = 20;
    uf_both_of(&a, &b, MIN_N, &both); /* 40 N together, and neither has a place */
    assert_true(both.fz_n == 40 && isnan(both.cop_x_mm) && isnan(both.turn_nm));
}

static void test_unknown_components(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_plate *p = &rig.plate[0];
    for (int i = 0; i < 4; i++)
        p->cell[i].channel[0] = p->cell[i].channel[1] = -1;
    struct uf_calibration cal;
    uf_calibration_nominal(&rig, &cal);
    double tare_raw[UF_CHANNELS_MAX] = {0};
    int32_t counts_raw[UF_CHANNELS_MAX] = {0};
    for (int i = 0; i < 4; i++)
        counts_raw[p->cell[i].channel[2]] = 500000 + 100000 * i; /* 200 240 280 320 N */
    struct uf_wrench w;
    uf_wrench_of(&cal.plate[0], counts_raw, tare_raw, 24, &w);
    close_to(w.fz_n, 1040, 1e-9);
    close_to(w.mx_nm, 0.25 * (600 - 440), 1e-9);
    assert_true(isnan(w.fx_n) && isnan(w.fy_n) && isnan(w.mz_nm));
    struct uf_cop cop;
    uf_cop_of(&w, 60, MIN_N, &cop); /* the lever of an unknown force: no place */
    assert_true(isnan(cop.x_mm) && isnan(cop.y_mm) && isnan(cop.tz_nm));
    uf_cop_of(&w, 0, MIN_N, &cop); /* no lever: the place is known, the free moment is not */
    close_to(cop.y_mm, 1000 * 40.0 / 1040, 1e-9);
    assert_true(isnan(cop.tz_nm));
    struct uf_ground g, other = {0, 0, 500, 200, 0, 0};
    p->surface_mm = 0;
    uf_ground_of(p, &w, MIN_N, &g);
    assert_true(isnan(g.fx_n) && isnan(g.tz_nm) && !isnan(g.cop_x_mm));
    struct uf_both b;
    uf_both_of(&g, &other, MIN_N, &b);
    assert_true(!isnan(b.cop_x_mm) && isnan(b.turn_nm) && isnan(b.turn_from_fy_nm));

    /* one axis unknown in a plate that is not turned does not spoil the other; turned it does */
    w = (struct uf_wrench){5, NAN, 1000, 1, 2, NAN};
    uf_ground_of(p, &w, MIN_N, &g);
    assert_true(g.fx_n == 5 && isnan(g.fy_n));
    p->rotation_deg = 10;
    uf_ground_of(p, &w, MIN_N, &g);
    assert_true(isnan(g.fx_n) && isnan(g.fy_n));
}

/* The other plate's channels must not matter, be their zero unknown or their counts at the rail. */
static void test_foreign_channels(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_calibration cal;
    uf_rig_example(&rig);
    uf_calibration_nominal(&rig, &cal);
    double tare_raw[UF_CHANNELS_MAX];
    int32_t counts_raw[UF_CHANNELS_MAX] = {0};
    for (int ch = 0; ch < UF_CHANNELS_MAX; ch++)
        tare_raw[ch] = ch < 12 ? 1000.0 * ch : (double)NAN;
    put_load(&rig.plate[0], 10, 20, 800, 30, 40, 5, tare_raw, counts_raw);
    counts_raw[20] = INT32_MIN;
    struct uf_wrench w, few;
    uf_wrench_of(&cal.plate[0], counts_raw, tare_raw, 24, &w);
    uf_wrench_of(&cal.plate[0], counts_raw, tare_raw, 12, &few);
    assert_memory_equal(&w, &few, sizeof w);
    struct uf_cop cop;
    uf_cop_of(&w, 60, MIN_N, &cop);
    close_to(w.fx_n, 10, 1e-3);
    close_to(w.fy_n, 20, 1e-3);
    close_to(w.fz_n, 800, 1e-3);
    close_to(cop.x_mm, 30, 1e-3);
    close_to(cop.y_mm, 40, 1e-3);
    close_to(cop.tz_nm, 5, 1e-3);
}

/* ---- the mirror ---- */

/* What a golfer of either hand sees: the same bits. */
static void same_bits(double a, double b)
{
    if (memcmp(&a, &b, sizeof a))
        print_error("%.17g and %.17g\n", a, b);
    assert_memory_equal(&a, &b, sizeof a);
}

static void compare(const struct uf_rig *rig, const struct uf_calibration *cal,
                    const struct uf_rig *mirrored, const struct uf_calibration *mirrored_cal,
                    const int32_t *counts_raw, const int32_t *mirrored_raw, const double *tare_raw,
                    const double *mirrored_tare_raw)
{
    struct uf_wrench w;
    struct uf_ground g[2], m[2];
    for (int p = 0; p < 2; p++) {
        uf_wrench_of(&cal->plate[p], counts_raw, tare_raw, 24, &w);
        uf_ground_of(&rig->plate[p], &w, MIN_N, &g[p]);
        uf_wrench_of(&mirrored_cal->plate[p], mirrored_raw, mirrored_tare_raw, 24, &w);
        uf_ground_of(&mirrored->plate[p], &w, MIN_N, &m[p]);
    }
    for (int p = 0; p < 2; p++) {
        same_bits(m[1 - p].fx_n, -g[p].fx_n);
        same_bits(m[1 - p].fy_n, g[p].fy_n);
        same_bits(m[1 - p].fz_n, g[p].fz_n);
        assert_true(isfinite(g[p].cop_x_mm));
        same_bits(m[1 - p].cop_x_mm, -g[p].cop_x_mm);
        same_bits(m[1 - p].cop_y_mm, g[p].cop_y_mm);
        same_bits(m[1 - p].tz_nm, -g[p].tz_nm);
    }
    struct uf_both b, n;
    uf_both_of(&g[0], &g[1], MIN_N, &b);
    uf_both_of(&m[0], &m[1], MIN_N, &n);
    same_bits(n.fx_n, -b.fx_n);
    same_bits(n.fy_n, b.fy_n);
    same_bits(n.fz_n, b.fz_n);
    same_bits(n.cop_x_mm, -b.cop_x_mm);
    same_bits(n.cop_y_mm, b.cop_y_mm);
    same_bits(n.turn_nm, -b.turn_nm);
    same_bits(n.turn_from_fy_nm, -b.turn_from_fy_nm);
    same_bits(n.turn_from_fx_nm, -b.turn_from_fx_nm);
    same_bits(n.turn_from_tz_nm, -b.turn_from_tz_nm);
}

static void random_counts(int32_t *counts_raw, double *tare_raw)
{
    for (int ch = 0; ch < 24; ch++) {
        bool z = ch % 3 == 2;
        counts_raw[ch] = (int32_t)(z ? 300000 + 600000.0 * rand() / RAND_MAX : 300000 * number());
        tare_raw[ch] = 5000 * number();
    }
}

/* The same stream on a rig that is the mirror image, its x outputs and turns the other way. */
static void test_mirrored_rig(void **state)
{
    (void)state;
    srand(4);
    for (int i = 0; i < 2000; i++) {
        struct uf_rig rig, mirrored;
        struct uf_calibration cal, mirrored_cal;
        int32_t counts_raw[24];
        double tare_raw[UF_CHANNELS_MAX];
        uf_rig_example(&rig);
        for (int p = 0; p < 2 && i >= 500; p++) {
            rig.plate[p].rotation_deg = 12 * number();
            rig.plate[p].centre_y_mm = 20 * number();
            rig.plate[p].surface_mm = 50 + 20 * number();
            for (int k = 0; k < 4; k++) {
                struct uf_cell *c = &rig.plate[p].cell[k];
                c->x_mm += 9 * number();
                c->y_mm += 9 * number();
                c->z_mm = 9 * number();
                c->turn_deg = i % 2 ? 10 * number() : 90 * (rand() % 4);
                for (int r = 0; r < 3; r++)
                    c->n_per_count[r] *= 1 + 0.1 * number();
            }
        }
        mirror_rig(&rig, &mirrored);
        uf_calibration_nominal(&rig, &cal);
        uf_calibration_nominal(&mirrored, &mirrored_cal);
        random_counts(counts_raw, tare_raw);
        compare(&rig, &cal, &mirrored, &mirrored_cal, counts_raw, counts_raw, tare_raw, tare_raw);
    }
}

/* The other hand on the same rig: the plates' channels change places, x outputs change sign. */
static void test_mirrored_counts(void **state)
{
    (void)state;
    srand(6);
    struct uf_rig rig;
    struct uf_calibration cal;
    uf_rig_example(&rig);
    uf_calibration_nominal(&rig, &cal);
    for (int i = 0; i < 2000; i++) {
        int32_t counts_raw[24], mirrored_raw[24];
        double tare_raw[UF_CHANNELS_MAX], mirrored_tare_raw[UF_CHANNELS_MAX];
        random_counts(counts_raw, tare_raw);
        for (int ch = 0; ch < 24; ch++) {
            int sign = ch % 3 == 0 ? -1 : 1;
            mirrored_raw[(ch + 12) % 24] = sign * counts_raw[ch];
            mirrored_tare_raw[(ch + 12) % 24] = sign * tare_raw[ch];
        }
        compare(&rig, &cal, &rig, &cal, counts_raw, mirrored_raw, tare_raw, mirrored_tare_raw);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_one_plate),          cmocka_unit_test(test_both_plates),
        cmocka_unit_test(test_sign_of_the_couple), cmocka_unit_test(test_below_the_threshold),
        cmocka_unit_test(test_unknown_components), cmocka_unit_test(test_foreign_channels),
        cmocka_unit_test(test_mirrored_rig),       cmocka_unit_test(test_mirrored_counts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

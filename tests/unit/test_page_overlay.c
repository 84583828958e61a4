/* SPDX-License-Identifier: MIT
 * Curves of several swings on one time: aligned, averaged, and empty where too few of them are. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/page_overlay.h"

#define N    2500
#define RATE 500.0

static size_t curve(const char *name)
{
    size_t k = 0;
    while (k < UF_OVERLAY_CURVES && strcmp(uf_overlay_name(k), name) != 0)
        k++;
    assert_true(k < UF_OVERLAY_CURVES);
    return k;
}

static size_t point(double t_s)
{
    return (size_t)lround((t_s - UF_OVERLAY_FROM_S) / UF_OVERLAY_STEP_S);
}

/* scale times the time from zero_s, from the first to the last known point. */
static void add(struct uf_overlay *o, double zero_s, double scale, size_t from, size_t to)
{
    double *y = malloc(N * sizeof *y);
    for (size_t i = 0; i < N; i++)
        y[i] = i >= from && i <= to ? scale * ((double)i / RATE - zero_s) : (double)NAN;
    const struct uf_curves c = {.n = N, .rate_hz = RATE, .turn_nm = y};
    uf_overlay_add(o, &c, zero_s);
    free(y);
}

static void one_swing(void **state)
{
    (void)state;
    double mean[UF_OVERLAY_POINTS], sd[UF_OVERLAY_POINTS];
    struct uf_overlay *o = uf_overlay_new();
    add(o, 3.0013, 10, 0, N - 1); /* between two samples */
    uf_overlay_get(o, curve("turn_nm"), mean, sd);
    for (double t = -2; t < 1.19; t += 0.05) {
        assert_true(fabs(mean[point(t)] - 10 * t) < 1e-9);
        assert_true(isnan(sd[point(t)]));
    }
    uf_overlay_get(o, curve("lead_vertical_n"), mean, NULL);
    assert_true(isnan(mean[point(0)])); /* there is no such curve */
    uf_overlay_free(o);
}

static void ends(void **state)
{
    (void)state;
    double mean[UF_OVERLAY_POINTS];
    struct uf_overlay *o = uf_overlay_new();
    add(o, 1, 1, 0, N - 1); /* begins a second before its moment */
    uf_overlay_get(o, curve("turn_nm"), mean, NULL);
    assert_true(isnan(mean[point(-1.005)]));
    assert_true(fabs(mean[point(-1)] + 1) < 1e-9);
    uf_overlay_free(o);
    o = uf_overlay_new();
    add(o, (N - 1) / RATE, 1, 0, N - 1); /* its moment is its last sample */
    uf_overlay_get(o, curve("turn_nm"), mean, NULL);
    assert_true(fabs(mean[point(0)]) < 1e-9);
    assert_true(isnan(mean[point(0.005)]));
    uf_overlay_free(o);
}

/* 1, 2 and 3 times t: mean 2 t, standard deviation t. */
static void three_swings(void **state)
{
    (void)state;
    double mean[UF_OVERLAY_POINTS], sd[UF_OVERLAY_POINTS];
    struct uf_overlay *o = uf_overlay_new();
    for (int i = 1; i <= 3; i++)
        add(o, 2.5, i, i == 3 ? 1000 : 0, i == 1 ? N - 1 : 1500);
    uf_overlay_get(o, curve("turn_nm"), mean, sd);
    assert_true(fabs(mean[point(0.4)] - 0.8) < 1e-9);
    assert_true(fabs(sd[point(0.4)] - 0.4) < 1e-9);
    /* the third one's curve begins half a second before: two of three are enough, one is not */
    assert_true(fabs(mean[point(-1)] + 1.5) < 1e-9);
    assert_true(fabs(sd[point(-1)] - sqrt(0.5)) < 1e-9);
    assert_true(isnan(mean[point(0.6)]) && isnan(sd[point(0.6)]));
    uf_overlay_free(o);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_swing),
        cmocka_unit_test(ends),
        cmocka_unit_test(three_swings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

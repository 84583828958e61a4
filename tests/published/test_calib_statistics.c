/* SPDX-License-Identifier: MIT
 * Lines, deviations, repeatability, degrees of freedom against published examples. Tags: READ seen
 * in the source, CALC arithmetic on it, MEM recalled. */
#include "calib/quality.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "../unit/calib_near.h"

#define NO NAN

/* Wheeler & Ganji, Introduction to Engineering Experimentation, example 2.3: scale readings in lb,
 * 0.5 to 5 going up, 4.5 to 0 going down, cycle 1 from 2.5 on (READ in a course's repository; a
 * sixth cycle is lost there, so the book's hysteresis and mean errors do not follow from it) */
static const double cycle[5][20] = {{NO,   NO,   NO,   NO,   2.62, 3.15, 3.9,  4.59, 5.41, 6.24,
                                     5.71, 4.96, 4.22, 3.57, 2.98, 2.22, 1.57, 1.07, .52,  .02},
                                    {.2,   .7,   1.18, 1.81, 2.49, 3.18, 3.84, 4.71, 5.35, 6.27,
                                     5.74, 5.11, 4.34, 3.64, 2.86, 2.23, 1.7,  1.07, .61,  .08},
                                    {.08,  .78,  1.26, 1.93, 2.46, 3.24, 3.86, 4.61, 5.49, 6.1,
                                     5.78, 5.08, 4.21, 3.66, 2.98, 2.26, 1.69, 1.11, .61,  .08},
                                    {.17,  .64,  1.25, 1.81, 2.46, 3.28, 3.97, 4.6,  5.46, 6.24,
                                     5.87, 5.03, 4.22, 3.55, 2.98, 2.29, 1.63, 1.16, .61,  -.03},
                                    {.19,  .61,  1.24, 1.93, 2.58, 3.13, 3.96, 4.6,  5.39, 6.16,
                                     5.82, 5.03, 4.24, 3.67, 2.94, 2.26, 1.57, 1.11, .45,  .06}};

static int scale_readings(double *x, double *y, int *direction)
{
    int n = 0;
    for (int c = 0; c < 5; c++)
        for (int i = 0; i < 20; i++) {
            if (isnan(cycle[c][i]))
                continue;
            x[n] = i < 10 ? 0.5 * (i + 1) : 0.5 * (19 - i);
            y[n] = cycle[c][i];
            direction[n++] = i < 10 ? 1 : -1;
        }
    return n;
}

static void scale(void **state)
{
    (void)state;
    double x[100], y[100], most, least;
    int direction[100], n = scale_readings(x, y, direction);
    assert_int_equal(n, 96);
    const struct uf_line book = {.intercept = -0.374, .slope = 1.290};
    uf_deviation(&book, x, y, n, &most, &least);
    assert_near(most, 0.45, 0.005); /* book's accuracy, READ; 0.454 CALC */
    assert_near(least, -0.40, 0.005);
    assert_near(most, 0.454, 5e-4);
    assert_near(least, -0.396, 5e-4);
    /* book: repeatability 0.17 lb, +-1.3 % of the span of 6.45 lb: half the spread, READ */
    assert_near(uf_repeatability(x, y, direction, n), 0.17, 0.005);
    /* CALC: slope 1.2843195, intercept -0.3478988 */
    struct uf_line line;
    uf_line_fit(x, y, n, &line);
    assert_near(line.slope, 1.2843195, 5e-8);
    assert_near(line.intercept, -0.3478988, 5e-8);
}

/* GUM H.3: calibration of a thermometer (data READ; results MEM, and CALC to more digits) */
static void gum_h3(void **state)
{
    (void)state;
    static const double t[11] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                                 24.513, 25.002, 25.503, 26.010, 26.511};
    static const double b[11] = {-.171, -.169, -.166, -.159, -.164, -.165,
                                 -.156, -.157, -.159, -.161, -.160};
    double x[11];
    struct uf_line l;
    for (int i = 0; i < 11; i++)
        x[i] = t[i] - 20;
    uf_line_fit(x, b, 11, &l);
    assert_near(l.intercept, -0.1712, 5e-5);
    assert_near(l.intercept_sd, 0.0029, 5e-5);
    assert_near(l.slope, 0.00218, 5e-6);
    assert_near(l.slope_sd, 0.00067, 5e-6);
    assert_near(l.correlation, -0.930, 5e-4);
    assert_near(l.s, 0.0035, 5e-5);
    assert_near(l.intercept + 10 * l.slope, -0.1494, 5e-5);
    assert_near(uf_line_sd(&l, 10), 0.0041, 5e-5);
    assert_near(l.intercept, -0.17120379013, 1e-10);
    assert_near(l.intercept_sd, 0.00287759784, 1e-10);
    assert_near(l.slope_sd, 0.00066793878, 1e-10);
    assert_near(l.correlation, -0.9304296031, 1e-9);
    assert_near(uf_line_sd(&l, 10), 0.00413859575, 1e-10);
}

/* GUM G.4.1: relative uncertainties 0.25, 0.57, 0.82 % of n = 10, 5, 15 give 1.03 % and 19.0
 * degrees of freedom (MEM; 18.9987 CALC) */
static void gum_g4(void **state)
{
    (void)state;
    static const double u[3] = {0.25, 0.57, 0.82}, dof[3] = {9, 4, 14};
    assert_near(sqrt(u[0] * u[0] + u[1] * u[1] + u[2] * u[2]), 1.03, 0.005);
    assert_near(uf_effective_dof(u, dof, 3), 18.9987, 5e-5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(scale), cmocka_unit_test(gum_h3),
                                       cmocka_unit_test(gum_g4)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * Total least squares and circular means against numpy 1.24.2 and scipy 1.10.1: the values come
 * from numpy.linalg.svd, scipy.odr, scipy.stats.circmean and circstd on the same numbers. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "swing/feet.h"

#include <math.h>

static void near(double got, double want, double within)
{
    if (!(fabs(got - want) <= within))
        fail_msg("%.12g, wanted %.12g +- %g", got, want, within);
}

static void axis_is_the_first_singular_vector(void **state)
{
    (void)state;
    double x[40], y[40];
    for (int i = 0; i < 40; i++) {
        x[i] = 37 * sin(0.7 * i) + 3 * cos(1.9 * i + 0.3) + 12;
        y[i] = 110 * sin(0.7 * i + 0.05) + 2 * sin(2.3 * i) - 5;
    }
    struct uf_axis a;
    uf_axis_fit(x, y, 40, &a);
    near(a.angle_deg, 71.4569792143398, 1e-9);  /* numpy.linalg.svd */
    near(a.angle_deg, 71.45697919919472, 1e-6); /* scipy.odr, straight line, equal weights */
    near(a.along_sd, 83.03980258, 1e-8);        /* singular values / sqrt(n - 1) */
    near(a.across_sd, 2.37468567, 1e-8);
    near(a.mean[0], 14.387053442259594, 1e-10);
    near(a.mean[1], 2.235090222526901, 1e-10);
}

static void circular_means(void **state)
{
    (void)state;
    const double around[5] = {170, -175, 179, 160, -168.5};
    double mean, sd;
    uf_circular(around, 5, 360, &mean, &sd);
    near(mean, 177.11924168029526, 1e-9);
    near(sd, 11.122703771919547, 1e-9);
    const double lines[4] = {85, -88, 89, -86.5};
    uf_circular(lines, 4, 180, &mean, &sd);
    near(mean, 89.87802342564241, 1e-9);
    near(sd, 3.2498515335669427, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(axis_is_the_first_singular_vector),
        cmocka_unit_test(circular_means),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

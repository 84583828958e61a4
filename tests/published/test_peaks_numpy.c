/* SPDX-License-Identifier: MIT
 * The top of a crest against numpy 1.24.2: numpy.polyfit of the fourth degree over the points
 * within 3 % of the curve's range of its greatest, numpy.roots of the slope, numpy.polyval there
 * (CALC). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "swing/measure.h"

#include <math.h>

#define N 400

static void near(double got, double want, double within)
{
    if (!(fabs(got - want) <= within))
        fail_msg("%.12g, wanted %.12g +- %g", got, want, within);
}

static void top_is(double *y, double position, double value)
{
    uint8_t point[N] = {0};
    struct uf_curves c = {.n = N, .rate_hz = 1000, .total_vertical_n = y};
    struct uf_measure m = {.curves = &c, .point = point, .from = 20, .to = 380};
    const struct uf_found *f = uf_find(&m, CURVE_TOTAL_VERTICAL, MAXIMUM);
    assert_int_equal(f->reason, UF_REASON_NONE);
    near(f->position, position, 1e-6);
    near(f->value, value, 1e-7);
    for (int i = 0; i < N; i++) /* the same crest as a valley */
        y[i] = -y[i];
    uf_measure_forget(&m);
    f = uf_find(&m, CURVE_TOTAL_VERTICAL, MINIMUM);
    near(f->position, position, 1e-6);
    near(f->value, -value, 1e-7);
}

static void skewed(void **state)
{
    (void)state;
    double y[N];
    for (int i = 0; i < N; i++)
        y[i] = 800 * exp(-pow((i - 200.3) / 60, 2)) * (1 + 0.15 * tanh((i - 195) / 25.0));
    top_is(y, 208.0600473761297, 843.3205503875365);
}

static void flat(void **state)
{
    (void)state;
    double y[N];
    for (int i = 0; i < N; i++)
        y[i] = 300 - 2e-6 * pow(i - 180.7, 4) - 0.004 * pow(i - 180.7, 2);
    top_is(y, 180.7, 300.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(skewed),
        cmocka_unit_test(flat),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

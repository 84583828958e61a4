/* SPDX-License-Identifier: MIT
 * Linearity, hysteresis, repeatability, zero return, creep by their definitions, on small series
 * that can be reckoned by hand. */
#include "calib/quality.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "calib_near.h"

static void linearity(void **state)
{
    (void)state;
    const double x[3] = {0, 1, 2}, y[3] = {0, 1, 4};
    /* line: slope 2, intercept -1/3; deviations 1/3, -2/3, 1/3; span 4 */
    assert_near(uf_linearity_pct(x, y, 3), 100 * (2.0 / 3) / 4, 1e-9);
    const double straight[3] = {5, 7, 9};
    assert_near(uf_linearity_pct(x, straight, 3), 0, 1e-12);
    assert_true(isnan(uf_linearity_pct(x, y, 2)));
    const double same[3] = {1, 1, 1};
    assert_true(isnan(uf_linearity_pct(same, y, 3)));
}

static void hysteresis(void **state)
{
    (void)state;
    const double x[5] = {100, 200, 300, 200, 100}, y[5] = {99, 199, 300, 201, 102};
    const int direction[5] = {1, 1, 1, -1, -1};
    assert_near(uf_hysteresis(x, y, direction, 5), 3, 1e-12);
    /* (100 * 3 / 99 + 100 * 2 / 199) / 2 */
    assert_near(uf_reversibility_pct(x, y, direction, 5), (300.0 / 99 + 200.0 / 199) / 2, 1e-9);
    assert_true(isnan(uf_hysteresis(x, y, direction, 3)));
    assert_true(isnan(uf_reversibility_pct(x, y, direction, 3)));
}

static void repeatability(void **state)
{
    (void)state;
    const double x[5] = {100, 100, 100, 200, 100}, y[5] = {99, 101, 100, 250, 120};
    const int direction[5] = {1, 1, 1, 1, -1};
    assert_near(uf_repeatability(x, y, direction, 5), 2, 1e-12);
    assert_near(uf_repeatability(x + 2, y + 2, direction, 2), 0, 1e-12);
}

static void zero_and_creep(void **state)
{
    (void)state;
    assert_near(uf_zero_return_pct(10, 10.5, 510), 0.1, 1e-12);
    assert_near(uf_zero_return_pct(10, 9.5, 510), -0.1, 1e-12);
    const double t[4] = {0, 60, 200, 400}, y[4] = {100, 100.2, 100.4, 100.6};
    /* at 30 s 100.1, at 300 s 100.5 */
    assert_near(uf_creep_pct(t, y, 4, 30, 300), 100 * 0.4 / 100.5, 1e-9);
    assert_true(isnan(uf_creep_pct(t, y, 4, 30, 500)));
}

static void degrees_of_freedom(void **state)
{
    (void)state;
    const double u[2] = {1, 1}, dof[2] = {4, INFINITY};
    assert_near(uf_effective_dof(u, dof, 2), 16, 1e-12);
    assert_near(uf_effective_dof(u, dof, 1), 4, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(linearity), cmocka_unit_test(hysteresis), cmocka_unit_test(repeatability),
        cmocka_unit_test(zero_and_creep), cmocka_unit_test(degrees_of_freedom)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

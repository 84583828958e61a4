/* SPDX-License-Identifier: MIT
 * Spread and change at the edges: missing values, one value, none, no spread. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "swing/variability.h"

#include <math.h>

static void missing_values_are_left_out(void **state)
{
    (void)state;
    const double v[5] = {1, NAN, 3, NAN, 5};
    struct uf_spread s;
    uf_spread_of(v, 5, &s);
    assert_int_equal(s.n, 3);
    assert_true(fabs(s.mean - 3) < 1e-12);
    assert_true(fabs(s.sd - 2) < 1e-12);
    const double a[3] = {2, NAN, 5}, b[3] = {1, 4, 2};
    struct uf_repeat r;
    uf_repeat_of(a, b, 3, &r);
    assert_int_equal(r.n, 2);
    assert_true(fabs(r.bias - 2) < 1e-12);
}

static void too_few_give_no_number(void **state)
{
    (void)state;
    struct uf_spread none, one, two;
    uf_spread_of(NULL, 0, &none);
    assert_int_equal(none.n, 0);
    assert_true(isnan(none.mean));
    const double v[2] = {7, 9};
    uf_spread_of(v, 1, &one);
    assert_true(one.mean >= 7 && one.mean <= 7);
    assert_true(isnan(one.sd) && isnan(one.detectable) && isnan(one.lo));
    uf_spread_of(v, 2, &two);
    struct uf_change c;
    uf_change_of(&one, &two, &c);
    assert_true(isnan(c.difference) && isnan(c.u) && isnan(c.lo));
    struct uf_repeat r;
    uf_repeat_of(v, v, 0, &r);
    assert_true(isnan(r.bias) && isnan(r.sd));
}

static void no_spread_is_exact(void **state)
{
    (void)state;
    const double v[3] = {4, 4, 4}, w[3] = {6, 6, 6};
    struct uf_spread a, b;
    uf_spread_of(v, 3, &a);
    uf_spread_of(w, 3, &b);
    struct uf_change c;
    uf_change_of(&a, &b, &c);
    assert_true(fabs(c.difference - 2) < 1e-12 && c.u < 1e-12);
    assert_true(fabs(c.lo - 2) < 1e-12 && fabs(c.hi - 2) < 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(missing_values_are_left_out),
        cmocka_unit_test(too_few_give_no_number),
        cmocka_unit_test(no_spread_is_exact),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

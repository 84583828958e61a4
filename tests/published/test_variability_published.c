/* SPDX-License-Identifier: MIT
 * Spread, change and typical error against published worked numbers and against scipy. Each value
 * names its source and tag (READ seen in the source, MEM recalled, CALC computed from those). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "swing/variability.h"

#include <math.h>

static void near(double got, double want, double within)
{
    if (!(fabs(got - want) <= within))
        fail_msg("%.10g, wanted %.10g +- %g", got, want, within);
}

/* Bland & Altman, Lancet 1986 i:307-310, table 1 (data READ). */
static const double wright_1[17] = {494, 395, 516, 434, 476, 557, 413, 442, 650,
                                    433, 417, 656, 267, 478, 178, 423, 427};
static const double wright_2[17] = {490, 397, 512, 401, 470, 611, 415, 431, 638,
                                    429, 420, 633, 275, 492, 165, 372, 421};
static const double mini_1[17] = {512, 430, 520, 428, 500, 600, 364, 380, 658,
                                  445, 432, 626, 260, 477, 259, 350, 451};

static void bland_altman_repeats(void **state)
{
    (void)state;
    struct uf_repeat r;
    uf_repeat_of(wright_1, wright_2, 17, &r);
    assert_int_equal(r.n, 17);
    near(r.bias, 4.941176, 1e-6);           /* CALC */
    near(r.sd, 21.724038, 1e-6);            /* CALC */
    near(r.typical_error, 15.361215, 1e-6); /* CALC: SD / sqrt 2, Hopkins 2000 */
    near(r.bias_u, 5.268853, 1e-6);         /* CALC */
    near(r.within_sd, 15.306669, 1e-6);     /* CALC */
    near(r.repeatability, 42.427922, 1e-5); /* CALC, 1.96 */
    near(r.detectable, 42.579114, 1e-4);    /* CALC, 1.96 */
    /* with 2 for 1.96 the paper's coefficient of repeatability, 43.2 (MEM) */
    near(2 * sqrt(2) * r.within_sd, 43.293798, 1e-6); /* CALC */
}

static void bland_altman_two_meters(void **state)
{
    (void)state;
    struct uf_repeat r;
    uf_repeat_of(wright_1, mini_1, 17, &r);
    near(r.bias, -2.117647, 1e-6); /* READ -2.1, CALC */
    near(r.sd, 38.765130, 1e-6);   /* READ 38.8, CALC */
    near(r.lo, -78.0973, 1e-3);    /* CALC, 1.96 SD */
    near(r.hi, 73.8620, 1e-3);
    near(r.bias - 2 * r.sd, -79.6479, 1e-4); /* READ -79.7 .. 75.5 with 2 SD */
    near(r.bias + 2 * r.sd, 75.4126, 1e-4);
    near(r.bias_u, 9.401925, 1e-6); /* CALC */
}

/* J Am Soc Nephrol supplement on reliability, 72 patients x 2 methods (READ): within-subject mean
 * square 116.48 / 71; smallest detectable difference 3.55; CALC 3.5503206. */
static void detectable_change_of_a_mean_square(void **state)
{
    (void)state;
    near(uf_detectable_of_mean_square(116.48 / 71), 3.5503206, 7e-5);
}

/* GUM G.4.1: relative standard uncertainties 0.25, 0.57, 0.82 % of n = 10, 5, 15 values. Book: 19.0
 * (MEM); CALC 18.9987. */
static void gum_effective_dof(void **state)
{
    (void)state;
    const double u[3] = {0.25, 0.57, 0.82}, dof[3] = {9, 4, 14};
    near(uf_effective_dof(u, dof, 3), 18.9987, 1e-4);
}

/* scipy 1.10.1 stats.t.ppf(0.5 + level / 2, dof) */
static void student_t(void **state)
{
    (void)state;
    near(uf_t_two_sided(0.95, 4), 2.7764451051977987, 1e-9);
    near(uf_t_two_sided(0.95, 16), 2.1199052992210112, 1e-9);
    near(uf_t_two_sided(0.99, 9), 3.2498355440153697, 1e-8);
    near(uf_t_two_sided(0.95, 18.9987), 2.0930337477578234, 1e-9);
    near(uf_t_two_sided(0.95, 2.5), 3.5746548420118773, 1e-9);
    near(uf_t_two_sided(0.95, INFINITY), 1.959963984540054, 1e-12);
    assert_true(isnan(uf_t_two_sided(0.95, 0)));
}

/* scipy 1.10.1 stats.ttest_ind(equal_var=False) of the same two blocks, and its interval */
static void welch(void **state)
{
    (void)state;
    const double first[5] = {1.02, 1.05, 0.99, 1.08, 1.01};
    const double second[6] = {1.10, 1.18, 1.07, 1.21, 1.15, 1.12};
    struct uf_spread a, b;
    uf_spread_of(first, 5, &a);
    uf_spread_of(second, 6, &b);
    struct uf_change c;
    uf_change_of(&a, &b, &c);
    near(c.difference, 0.10833333333333339, 1e-12);
    near(c.u, 0.02644701201354217, 1e-12);
    near(c.difference / c.u, 4.096240939349269, 1e-9);
    near(c.dof, 8.732208689673719, 1e-9);
    near(c.lo, 0.048225186409468504, 1e-9);
    near(c.hi, 0.1684414802571983, 1e-9);
}

/* check-golf.md, DERIVED: n = 3 1.60 SD, n = 5 1.24, n = 10 0.88 */
static void change_that_means_something(void **state)
{
    (void)state;
    const double ten[10] = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10};
    static const struct {
        size_t n;
        double parts;
    } rows[] = {{3, 1.60}, {5, 1.24}, {10, 0.88}};
    for (size_t i = 0; i < 3; i++) {
        struct uf_spread s;
        uf_spread_of(ten, rows[i].n, &s);
        near(s.detectable_of_n / s.sd, rows[i].parts, 0.005);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bland_altman_repeats),
        cmocka_unit_test(bland_altman_two_meters),
        cmocka_unit_test(detectable_change_of_a_mean_square),
        cmocka_unit_test(gum_effective_dof),
        cmocka_unit_test(student_t),
        cmocka_unit_test(welch),
        cmocka_unit_test(change_that_means_something),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * The low-pass against the outside: scipy.signal, from a kept file and, where scipy is there, from
 * a fresh run; and coefficients printed in books. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "plate/filter.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>

#define N_MAX  1000
#define SCRIPT UF_TESTS_DIR "/published/make_filter_reference.py"

struct reference {
    double x[N_MAX];
    size_t n;
    int cases, points;
    double worst_zero, worst_causal; /* relative to the greatest value of the input */
};

/* One signal in a lane of its own. */
static double step(const struct uf_lowpass *f, struct uf_lowpass_state *s, double x)
{
    double lane[UF_LOWPASS_LANES] = {0};
    lane[5] = x;
    uf_lowpass_step(f, s, lane);
    return lane[5];
}

/* Our answers to one case of the file. */
static void answer(const struct reference *r, int order, double cutoff_hz, double rate_hz,
                   size_t pad, double *zero, double *causal)
{
    static double work[2 * N_MAX];
    struct uf_lowpass f;
    struct uf_error err = {0};
    struct uf_lowpass_state s = {0};
    assert_int_equal(uf_lowpass_design(&f, order, cutoff_hz, rate_hz, &err), UF_OK);
    assert_int_equal(uf_lowpass_pad(&f), pad);
    memcpy(zero, r->x, sizeof *zero * r->n);
    uf_lowpass_zero_phase(&f, zero, r->n, work);
    for (size_t i = 0; i < r->n; i++)
        causal[i] = step(&f, &s, r->x[i]);
}

static bool compare(FILE *in, struct reference *r)
{
    static double zero[N_MAX], causal[N_MAX];
    char line[200];
    double greatest = 0, cutoff_hz, rate_hz, want_zero, want_causal;
    int order;
    size_t pad, i;
    memset(r, 0, sizeof *r);
    while (fgets(line, sizeof line, in)) {
        if (sscanf(line, "input %zu", &i) == 1) {
            assert_true(i > 10 && i <= N_MAX);
            for (r->n = 0; r->n < i; r->n++) {
                assert_non_null(fgets(line, sizeof line, in));
                r->x[r->n] = strtod(line, NULL);
                greatest = fmax(greatest, fabs(r->x[r->n]));
            }
        } else if (sscanf(line, "case %d %lf %lf %zu", &order, &cutoff_hz, &rate_hz, &pad) == 4) {
            answer(r, order, cutoff_hz, rate_hz, pad, zero, causal);
            r->cases++;
        } else if (sscanf(line, "%zu %lf %lf", &i, &want_zero, &want_causal) == 3) {
            assert_true(i < r->n);
            r->worst_zero = fmax(r->worst_zero, fabs(zero[i] - want_zero) / greatest);
            r->worst_causal = fmax(r->worst_causal, fabs(causal[i] - want_causal) / greatest);
            r->points++;
        }
    }
    return r->cases > 0;
}

static void judge(const struct reference *r, const char *of)
{
    print_message("%s: %d cases, %d samples, worst relative difference: zero phase %.1e, causal "
                  "%.1e\n",
                  of, r->cases, r->points, r->worst_zero, r->worst_causal);
    assert_int_equal(r->cases, 48); /* orders 1..8, six cut-offs */
    assert_true(r->worst_zero < 1e-9);
    assert_true(r->worst_causal < 1e-9);
}

static void test_kept_file(void **state)
{
    (void)state;
    static struct reference r;
    FILE *in = fopen(UF_TESTS_DIR "/published/data/filter_scipy.txt", "r");
    assert_non_null(in);
    assert_true(compare(in, &r));
    fclose(in);
    judge(&r, "scipy.signal, kept file");
}

static void test_fresh_run(void **state)
{
    (void)state;
    static struct reference r;
    FILE *in = popen("/usr/bin/python3 " SCRIPT " 2>/dev/null", "r");
    assert_non_null(in);
    bool any = compare(in, &r);
    int status = pclose(in);
    if (!any && WIFEXITED(status) && (WEXITSTATUS(status) == 77 || WEXITSTATUS(status) == 127)) {
        print_message("/usr/bin/python3 has no scipy here (python3-scipy): not compared\n");
        skip();
    }
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    judge(&r, "scipy.signal, fresh run");
    assert_int_equal(r.points, 48 * 400);
}

static void close_to(double got, double want, double within)
{
    if (!(fabs(got - want) <= within))
        print_error("%.15g, not %.15g\n", got, want);
    assert_true(fabs(got - want) <= within);
}

/* Winter, Biomechanics and Motor Control of Human Movement, the low-pass of eq. 2.19: 6 Hz at
 * 60 Hz (READ). Its b1, b2 are our -a1, -a2. */
static void test_winter(void **state)
{
    (void)state;
    struct uf_lowpass f;
    assert_int_equal(uf_lowpass_design(&f, 2, 6, 60, NULL), UF_OK);
    close_to(f.sos[0][0], 0.067455, 5e-7);
    close_to(f.sos[0][1], 0.13491, 5e-6);
    close_to(f.sos[0][2], 0.067455, 5e-7);
    close_to(-f.sos[0][4], 1.14298, 5e-6);
    close_to(-f.sos[0][5], -0.41280, 5e-6);
    /* the same to full precision (CALC) */
    close_to(f.sos[0][0], 0.0674552738890719, 1e-15);
    close_to(-f.sos[0][4], 1.142980502539901, 1e-14);
    close_to(-f.sos[0][5], -0.41280159809618855, 1e-14);
}

/* SciPy order 1 and 2, Wn = 0.1 (READ, printed in a public biomechanics notebook on filtering). */
static void test_printed_scipy(void **state)
{
    (void)state;
    struct uf_lowpass f;
    assert_int_equal(uf_lowpass_design(&f, 1, 50, 1000, NULL), UF_OK);
    close_to(f.sos[0][0], 0.13672874, 5e-9);
    close_to(f.sos[0][1], 0.13672874, 5e-9);
    close_to(f.sos[0][4], -0.72654253, 5e-9);
    assert_int_equal(uf_lowpass_design(&f, 2, 50, 1000, NULL), UF_OK);
    close_to(f.sos[0][0], 0.02008337, 5e-9);
    close_to(f.sos[0][1], 0.04016673, 5e-9);
    close_to(f.sos[0][4], -1.56101808, 5e-9);
    close_to(f.sos[0][5], 0.64135154, 5e-9);
}

/* The factor of two passes, and where it goes: on tan(pi fc / fs), not on fc (Winter's form; factor
 * READ in public code, coefficients CALC in the measurement notes). */
static void test_two_pass_factor(void **state)
{
    (void)state;
    static const struct {
        double cutoff_hz, rate_hz, a0, b1, b2;
    } rows[] = {{10, 100, 0.09444674388485068, 0.9626413088442064, -0.34042828438360917},
                {50, 1000, 0.02956907472, 1.45810386, -0.5763801593},
                {20, 1000, 0.005505744328, 1.779406304, -0.801429281},
                {20, 500, 0.01987734344, 1.563460343, -0.6429697169}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct uf_lowpass f;
        double one_pass_hz = uf_two_pass_cutoff_hz(2, rows[i].cutoff_hz, rows[i].rate_hz);
        double pi = acos(-1);
        close_to(tan(pi * rows[i].cutoff_hz / rows[i].rate_hz) /
                     tan(pi * one_pass_hz / rows[i].rate_hz),
                 0.8022432629, 5e-11);
        assert_int_equal(uf_lowpass_design(&f, 2, one_pass_hz, rows[i].rate_hz, NULL), UF_OK);
        close_to(f.sos[0][0], rows[i].a0, 1e-11);
        close_to(-f.sos[0][4], rows[i].b1, 1e-9);
        close_to(-f.sos[0][5], rows[i].b2, 1e-9);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_kept_file),       cmocka_unit_test(test_fresh_run),
        cmocka_unit_test(test_winter),          cmocka_unit_test(test_printed_scipy),
        cmocka_unit_test(test_two_pass_factor),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

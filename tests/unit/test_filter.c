/* SPDX-License-Identifier: MIT
 * The low-pass by what it must do: gain, phase, steady state, short inputs, mistakes. Agreement
 * with scipy is in tests/published. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "plate/filter.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static double two_pi(void)
{
    return 2 * acos(-1);
}

static struct uf_lowpass design(int order, double cutoff_hz, double rate_hz)
{
    struct uf_lowpass f;
    struct uf_error err;
    assert_int_equal(uf_lowpass_design(&f, order, cutoff_hz, rate_hz, &err), UF_OK);
    return f;
}

static double complex response(const struct uf_lowpass *f, double at_hz)
{
    double complex d = cexp(-I * two_pi() * at_hz / f->rate_hz), h = 1;
    for (int k = 0; k < f->sections; k++)
        h *= (f->sos[k][0] + f->sos[k][1] * d + f->sos[k][2] * d * d) /
             (f->sos[k][3] + f->sos[k][4] * d + f->sos[k][5] * d * d);
    return h;
}

/* |H|^2 = 1 / (1 + (tan(pi f / fs) / tan(pi fc / fs))^(2 n)): what Butterworth means after the
 * bilinear transform. */
static void test_gain(void **state)
{
    (void)state;
    static const double cutoffs_hz[] = {1, 20, 50, 333, 490};
    for (int order = 1; order <= 8; order++)
        for (size_t c = 0; c < 5; c++) {
            struct uf_lowpass f = design(order, cutoffs_hz[c], 1000);
            assert_int_equal(f.sections, (order + 1) / 2);
            assert_true(fabs(cabs(response(&f, 0)) - 1) < 1e-9);
            assert_true(fabs(cabs(response(&f, cutoffs_hz[c])) - sqrt(0.5)) < 1e-9);
            for (double at_hz = 0.5; at_hz < 500; at_hz += 7.3) {
                double ratio =
                    tan(two_pi() / 2 * at_hz / 1000) / tan(two_pi() / 2 * cutoffs_hz[c] / 1000);
                double want = 1 / sqrt(1 + pow(ratio, 2 * order));
                assert_true(fabs(cabs(response(&f, at_hz)) - want) < 1e-9);
            }
        }
}

/* Amplitude and phase of a long sine through both passes. */
static void test_two_passes(void **state)
{
    (void)state;
    enum { N = 20000 };
    static const struct {
        int order;
        double cutoff_hz, rate_hz;
    } cases[] = {{2, 50, 1000}, {2, 20, 500},  {4, 50, 1000}, {1, 10, 1000},
                 {3, 12, 1000}, {8, 80, 2000}, {2, 6, 60},    {2, 200, 1000}};
    double *x = malloc(sizeof *x * N), *work = malloc(sizeof *work * (N + 100));
    assert_true(x && work);
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        double fc_hz = cases[c].cutoff_hz, fs_hz = cases[c].rate_hz;
        struct uf_lowpass f =
            design(cases[c].order, uf_two_pass_cutoff_hz(cases[c].order, fc_hz, fs_hz), fs_hz);
        for (size_t i = 0; i < N; i++)
            x[i] = sin(two_pi() * fc_hz * (double)i / fs_hz);
        uf_lowpass_zero_phase(&f, x, N, work);
        double s = 0, q = 0, norm = 0;
        for (size_t i = N / 4; i < 3 * N / 4; i++) {
            double a = two_pi() * fc_hz * (double)i / fs_hz;
            s += x[i] * sin(a);
            q += x[i] * cos(a);
            norm += sin(a) * sin(a);
        }
        assert_true(fabs(s / norm - 0.70710678) < 1e-4);
        assert_true(fabs(q / norm) < 1e-4);
    }
    free(x);
    free(work);
    /* no such filter: the design says it */
    struct uf_lowpass f;
    assert_int_equal(uf_lowpass_design(&f, 2, uf_two_pass_cutoff_hz(2, 600, 1000), 1000, NULL),
                     UF_EINVAL);
    assert_int_equal(uf_lowpass_design(&f, 2, uf_two_pass_cutoff_hz(2, NAN, 1000), 1000, NULL),
                     UF_EINVAL);
    assert_true(uf_two_pass_cutoff_hz(2, 499, 1000) < 500);
}

/* Backwards in, backwards out: zero phase. */
static void test_time_reversal(void **state)
{
    (void)state;
    enum { N = 1500 };
    static double x[N], y[N], work[N + 100];
    srand(1);
    for (int order = 1; order <= 8; order++) {
        struct uf_lowpass f = design(order, 60, 1000);
        for (int i = 0; i < N; i++)
            y[N - 1 - i] = x[i] = rand() / (double)RAND_MAX + 0.01 * i;
        uf_lowpass_zero_phase(&f, x, N, work);
        uf_lowpass_zero_phase(&f, y, N, work);
        for (int i = N / 3; i < 2 * N / 3; i++) /* the ends differ by the pass that comes first */
            assert_true(fabs(x[i] - y[N - 1 - i]) < 1e-9);
    }
}

/* One signal in a lane of its own. */
static double step(const struct uf_lowpass *f, struct uf_lowpass_state *s, double x)
{
    double lane[UF_LOWPASS_LANES] = {0};
    lane[5] = x;
    uf_lowpass_step(f, s, lane);
    return lane[5];
}

/* A constant stays, from the first sample on. */
static void test_steady(void **state)
{
    (void)state;
    double x[200], work[300];
    for (int order = 1; order <= 8; order++) {
        struct uf_lowpass f = design(order, 100, 1000);
        for (int i = 0; i < 200; i++)
            x[i] = 812.5;
        uf_lowpass_zero_phase(&f, x, 200, work);
        for (int i = 0; i < 200; i++)
            assert_true(fabs(x[i] - 812.5) < 1e-9);
        struct uf_lowpass_state s = {0};
        for (int i = 0; i < 200; i++)
            assert_true(fabs(step(&f, &s, -33) + 33) < 1e-10);
    }
}

static void test_short_inputs(void **state)
{
    (void)state;
    for (int order = 1; order <= 8; order++) {
        struct uf_lowpass f = design(order, 50, 1000);
        size_t pad = uf_lowpass_pad(&f);
        double *x = malloc(sizeof *x * (pad + 3));
        assert_non_null(x);
        for (size_t n = 0; n < pad + 3; n++) {
            /* exactly what is promised to be enough: the sanitizer watches the end */
            double *work = malloc(sizeof *work * (n + 2 * pad));
            assert_non_null(work);
            for (size_t i = 0; i < n; i++)
                x[i] = i % 2 ? 3 : -1;
            uf_lowpass_zero_phase(&f, x, n, work);
            for (size_t i = 0; i < n; i++)
                assert_true(isfinite(x[i]) && fabs(x[i]) < 20);
            if (n == 1)
                assert_true(x[0] == -1);
            free(work);
        }
        free(x);
    }
}

static void test_causal(void **state)
{
    (void)state;
    struct uf_lowpass f = design(2, 20, 1000);
    struct uf_lowpass_state s = {0};
    /* a slope comes out later by the delay at DC: sqrt(2) / (2 pi fc), about 0.225 / fc */
    double y = 0;
    for (int i = 0; i < 5000; i++)
        y = step(&f, &s, 0.001 * i);
    double delay_s = 4.999 - y;
    assert_true(fabs(delay_s - 0.225 / 20) < 2e-4);
    /* the impulse response dies away: no state is kept wrongly */
    memset(&s, 0, sizeof s);
    step(&f, &s, 0);
    step(&f, &s, 1);
    for (int i = 0; i < 2000; i++)
        y = step(&f, &s, 0);
    assert_true(fabs(y) < 1e-12);
}

/* Every lane is a signal by itself; one that is not known (NAN) stays so and spoils no other. */
static void test_lanes(void **state)
{
    (void)state;
    struct uf_lowpass f = design(3, 20, 1000);
    struct uf_lowpass_state all = {0}, alone[UF_LOWPASS_LANES] = {0};
    for (int i = 0; i < 50; i++) {
        double x[UF_LOWPASS_LANES], want[UF_LOWPASS_LANES];
        for (int k = 0; k < UF_LOWPASS_LANES; k++) {
            x[k] = k == 3 ? (double)NAN : sin(0.1 * i * (k + 1)) + k;
            want[k] = step(&f, &alone[k], x[k]);
        }
        uf_lowpass_step(&f, &all, x);
        for (int k = 0; k < UF_LOWPASS_LANES; k++)
            assert_true(k == 3 ? isnan(x[k]) : fabs(x[k] - want[k]) < 1e-15 * (k + 2));
    }
}

static void test_mistakes(void **state)
{
    (void)state;
    struct uf_lowpass f;
    struct uf_error err;
    static const struct {
        int order;
        double cutoff_hz, rate_hz;
        const char *part;
    } bad[] = {{0, 50, 1000, "order 0: the order must be 1 to 8"},
               {9, 50, 1000, "order 9: the order must be 1 to 8"},
               {2, 0, 1000, "at 0 Hz"},
               {2, -1, 1000, "at -1 Hz"},
               {2, 500, 1000, "must lie above 0 and below 500 Hz"},
               {2, NAN, 1000, "at nan Hz"},
               {2, INFINITY, 1000, "at inf Hz"},
               {2, 50, 0, "at 0 samples a second"},
               {2, 50, NAN, "at nan samples a second"},
               {2, 50, INFINITY, "at inf samples a second"}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_int_equal(
            uf_lowpass_design(&f, bad[i].order, bad[i].cutoff_hz, bad[i].rate_hz, &err), UF_EINVAL);
        assert_non_null(strstr(err.text, bad[i].part));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_gain),          cmocka_unit_test(test_two_passes),
        cmocka_unit_test(test_time_reversal), cmocka_unit_test(test_steady),
        cmocka_unit_test(test_short_inputs),  cmocka_unit_test(test_causal),
        cmocka_unit_test(test_lanes),         cmocka_unit_test(test_mistakes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * The clock map on made-up lines whose truth is known: late bursts, gaps, jumps, broken clocks. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire/clockmap.h"

#include <math.h>
#include <stdlib.h>

static struct uf_clockmap *made(double window_s)
{
    struct uf_clockmap *m;
    assert_int_equal(uf_clockmap_new(&m, window_s, NULL), 0);
    return m;
}

/* xorshift64*: uniform in (0, 1) */
static double uniform(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return ((double)((*state * 2685821657736338717ull) >> 11) + 0.5) / 9007199254740992.0;
}

static double exponential_us(uint64_t *state, double mean_us)
{
    return -mean_us * log(uniform(state));
}

/* Host time of device time d_us, without delay. */
static double truth_us(double d_us, double ppm)
{
    return 5e6 + d_us * (1 + 1e-6 * ppm);
}

static void assert_mapped(const struct uf_clockmap *m, int64_t d_us, double host_us, double within)
{
    int64_t got;
    assert_true(uf_clockmap_host_us(m, d_us, &got));
    if (fabs((double)got - host_us) > within)
        fail_msg("device %lld us: host is off by %.1f us", (long long)d_us, (double)got - host_us);
}

static void test_settings(void **state)
{
    (void)state;
    struct uf_clockmap *m;
    struct uf_error err;
    assert_int_equal(uf_clockmap_new(&m, 1, &err), UF_EINVAL);
    assert_null(m);
    assert_string_equal(err.text, "the clock map's window is 1 s: give 5 to 3600 s");
    assert_int_equal(uf_clockmap_new(&m, NAN, &err), UF_EINVAL);
    assert_int_equal(uf_clockmap_new(&m, 3601, &err), UF_EINVAL);
    uf_clockmap_free(NULL);
}

static void test_unknown_at_first(void **state)
{
    (void)state;
    struct uf_clockmap *m = made(60);
    int64_t host = -1;
    assert_false(uf_clockmap_host_us(m, 123, &host));
    assert_int_equal(host, 123);
    assert_true(isnan(uf_clockmap_drift_ppm(m)));
    for (int64_t d = 0; d <= 1900000; d += 10000) {
        uf_clockmap_feed(m, d, 1000000 + d + (d == 500000 ? 0 : 300));
        assert_false(uf_clockmap_host_us(m, d, &host));
    }
    assert_int_equal(host, 1000000 + 1900000); /* the least offset, not the newest */
    assert_true(isnan(uf_clockmap_drift_ppm(m)));
    for (int64_t d = 1910000; d <= 2200000; d += 10000)
        uf_clockmap_feed(m, d, 1000000 + d + 300);
    assert_true(uf_clockmap_host_us(m, 0, &host));
    uf_clockmap_reset(m);
    assert_false(uf_clockmap_host_us(m, 0, &host));
    assert_true(isnan(uf_clockmap_drift_ppm(m)));
    uf_clockmap_free(m);
}

static void test_straight_line_is_exact(void **state)
{
    (void)state;
    static const double ppms[] = {0, 100, -100, 990, -990};
    for (size_t i = 0; i < sizeof ppms / sizeof ppms[0]; i++) {
        struct uf_clockmap *m = made(20);
        for (int64_t d = 0; d < 40000000; d += 25000)
            uf_clockmap_feed(m, d, llround(truth_us((double)d, ppms[i])));
        assert_mapped(m, 40000000, truth_us(4e7, ppms[i]), 1.5);
        assert_mapped(m, 20000000, truth_us(2e7, ppms[i]), 1.5);
        assert_true(fabs(uf_clockmap_drift_ppm(m) - ppms[i]) < 0.1);
        uf_clockmap_free(m);
    }
}

/* Reads 16 ms apart with a sawtooth delay as of a USB converter's timer, bursts of reads that are
 * up to a second late, and a host that was suspended for ten minutes in between. */
static void test_late_bursts_and_suspend(void **state)
{
    (void)state;
    struct uf_clockmap *m = made(60);
    uint64_t rng = 7;
    for (int64_t d = 0; d < 900000000; d += 1000 * (1 + (int64_t)(30 * uniform(&rng)))) {
        if (d > 300000000 && d < 900000000 - 120000000)
            d = 900000000 - 120000000; /* suspended: nothing was read */
        double delay_us = 300 + fmod((double)d, 16000) + exponential_us(&rng, 500);
        if (d % 20000000 < 5000000) /* a quarter of the time the host is busy */
            delay_us += 1e6 * uniform(&rng);
        uf_clockmap_feed(m, d, llround(truth_us((double)d, -80) + delay_us));
        if (d > 15000000)
            assert_mapped(m, d, truth_us((double)d, -80) + 300, d < 60000000 ? 4000 : 1000);
    }
    assert_true(fabs(uf_clockmap_drift_ppm(m) + 80) < 10);
    uf_clockmap_free(m);
}

/* After a minute the line gets faster by 10 ms for good, so that the fit falls by as much at once.
 * The times mapped right after each feed stay in order, 5 ms apart, and arrive at the new truth. */
static void test_times_stay_in_order(void **state)
{
    (void)state;
    struct uf_clockmap *m = made(30);
    uint64_t rng = 3;
    int64_t before = INT64_MIN;
    for (int64_t d = 0; d < 300000000; d += 5000) {
        double delay_us = (d < 60000000 ? 11000 : 1000) + exponential_us(&rng, 300);
        uf_clockmap_feed(m, d, llround(truth_us((double)d, 40) + delay_us));
        int64_t host;
        if (!uf_clockmap_host_us(m, d, &host))
            continue;
        assert_true(host > before);
        before = host;
    }
    assert_mapped(m, 300000000, truth_us(3e8, 40) + 1000, 50);
    uf_clockmap_free(m);
}

static void test_a_great_correction_is_a_jump(void **state)
{
    (void)state;
    struct uf_clockmap *m = made(160);
    for (int64_t d = 0; d < 151000000; d += 50000)
        uf_clockmap_feed(m, d, d + (d < 150000000 ? 120000 : 0));
    assert_mapped(m, 151000000, 151000000, 1000);
    uf_clockmap_free(m);
}

/* The line stays late for good (another hub, another path): the map follows within a window. */
static void test_window_forgets(void **state)
{
    (void)state;
    struct uf_clockmap *m = made(10);
    for (int64_t d = 0; d < 60000000; d += 10000)
        uf_clockmap_feed(m, d, d + (d < 30000000 ? 0 : 7000));
    assert_mapped(m, 60000000, 60000000 + 7000, 2);
    assert_true(fabs(uf_clockmap_drift_ppm(m)) < 0.01);
    uf_clockmap_free(m);
}

static void test_no_clock_drifts_so(void **state)
{
    (void)state;
    struct uf_clockmap *m = made(60);
    int64_t host;
    for (int64_t d = 0; d < 20000000; d += 10000)
        uf_clockmap_feed(m, d, llround(truth_us((double)d, 1500)));
    assert_true(isnan(uf_clockmap_drift_ppm(m)));
    assert_false(uf_clockmap_host_us(m, 20000000, &host));
    assert_true(llabs(host - llround(truth_us(2e7, 1500))) < 5000); /* still the best there is */
    uf_clockmap_free(m);
}

static void test_time_that_does_not_grow(void **state)
{
    (void)state;
    struct uf_clockmap *m = made(60);
    for (int64_t d = 0; d < 20000000; d += 10000) {
        uf_clockmap_feed(m, d, d + 1000);
        uf_clockmap_feed(m, d / 2 - 1,
                         0);             /* older: ignored, though its host time is far too early */
        uf_clockmap_feed(m, d, d + 900); /* the same again, earlier: better */
    }
    assert_mapped(m, 20000000, 20000900, 2);
    uf_clockmap_free(m);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_settings),
        cmocka_unit_test(test_unknown_at_first),
        cmocka_unit_test(test_straight_line_is_exact),
        cmocka_unit_test(test_late_bursts_and_suspend),
        cmocka_unit_test(test_times_stay_in_order),
        cmocka_unit_test(test_a_great_correction_is_a_jump),
        cmocka_unit_test(test_window_forgets),
        cmocka_unit_test(test_no_clock_drifts_so),
        cmocka_unit_test(test_time_that_does_not_grow),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

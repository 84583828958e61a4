/* SPDX-License-Identifier: MIT
 * The clock map on the model that its method was published for: arrival = offset + rate * device +
 * delay, delay >= 0 with a heavy upper tail (Zhang, Liu & Xia, INFOCOM 2002; Moon, Skelly &
 * Towsley, INFOCOM 1999: READ in abstract). Model, delays and limits of the trial: CALC. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire/clockmap.h"

#include <math.h>

#define PAIRS     6001 /* 60 s, one each 10 ms */
#define FLOOR_US  1000.0
#define MEAN_US   2000.0
#define RATE_PPM  37.0
#define LIMIT_PPM 0.2
#define LIMIT_US  20.0
#define RUNS      20

static double uniform(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return ((double)((*state * 2685821657736338717ull) >> 11) + 0.5) / 9007199254740992.0;
}

/* Least squares of the same pairs, for comparison. */
struct squares {
    double n, x, y, xx, xy;
};

static void test_monte_carlo(void **unused)
{
    (void)unused;
    double worst_ppm = 0, worst_us = 0, best_squares_us = HUGE_VAL;
    for (uint64_t run = 1; run <= RUNS; run++) {
        struct uf_clockmap *m;
        struct squares q = {0};
        uint64_t state = 0x9E3779B97F4A7C15ull * run;
        assert_int_equal(uf_clockmap_new(&m, 60, NULL), 0);
        for (int64_t i = 0; i < PAIRS; i++) {
            int64_t d_us = 10000 * i;
            double delay_us = FLOOR_US - MEAN_US * log(uniform(&state));
            double late_us = 1e-6 * RATE_PPM * (double)d_us + delay_us;
            uf_clockmap_feed(m, d_us, 77000000 + d_us + llround(late_us));
            double x = 1e-6 * (double)d_us - 30;
            q.n++;
            q.x += x;
            q.y += late_us;
            q.xx += x * x;
            q.xy += x * late_us;
        }
        int64_t host_us;
        assert_true(uf_clockmap_host_us(m, 30000000, &host_us));
        double truth_us = 77000000 + 30000000 * (1 + 1e-6 * RATE_PPM) + FLOOR_US;
        worst_us = fmax(worst_us, fabs((double)host_us - truth_us));
        worst_ppm = fmax(worst_ppm, fabs(uf_clockmap_drift_ppm(m) - RATE_PPM));
        double slope = (q.n * q.xy - q.x * q.y) / (q.n * q.xx - q.x * q.x);
        double middle_us = (q.y - slope * q.x) / q.n;
        best_squares_us =
            fmin(best_squares_us, fabs(middle_us - FLOOR_US - 1e-6 * RATE_PPM * 30000000));
        uf_clockmap_free(m);
    }
    print_message(
        "%d runs: off by at most %.3f ppm and %.1f us; least squares by at least %.0f us\n", RUNS,
        worst_ppm, worst_us, best_squares_us);
    assert_true(worst_ppm < LIMIT_PPM);
    assert_true(worst_us < LIMIT_US);
    assert_true(best_squares_us > 0.9 * MEAN_US); /* the trial does tell the two apart */
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_monte_carlo)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * The simulator's generator: its published first outputs, that a seed decides everything, and that
 * uniform and normal numbers are what they say. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "sim/sim.h"

#include <math.h>

/* xoshiro256** from the state 1, 2, 3, 4: first outputs of the reference implementation (recalled:
 * MEM; the first is also 9 * rotl(5 * 2, 7) by hand). */
static void test_reference_outputs(void **state)
{
    (void)state;
    static const uint64_t expected[] = {11520u,
                                        0u,
                                        1509978240u,
                                        1215971899390074240u,
                                        1216172134540287360u,
                                        607988272756665600u,
                                        16172922978634559625u,
                                        8476171486693032832u,
                                        10595114339597558777u,
                                        2904607092377533576u};
    struct uf_sim_rng r = {{1, 2, 3, 4}};
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++)
        assert_true(uf_sim_rng_u64(&r) == expected[i]);
}

/* splitmix64 from 0: first output of the reference implementation (MEM). */
static void test_seed(void **state)
{
    (void)state;
    struct uf_sim_rng a, b, c;
    uf_sim_rng_seed(&a, 0);
    assert_true(a.s[0] == 0xE220A8397B1DCDAFu);
    uf_sim_rng_seed(&b, 12345);
    uf_sim_rng_seed(&c, 12345);
    uf_sim_rng_seed(&a, 12346);
    int same = 0;
    for (int i = 0; i < 1000; i++) {
        uint64_t x = uf_sim_rng_u64(&b);
        assert_true(x == uf_sim_rng_u64(&c));
        same += x == uf_sim_rng_u64(&a);
    }
    assert_int_equal(same, 0);
}

static void test_uniform(void **state)
{
    (void)state;
    enum { N = 200000 };
    struct uf_sim_rng r;
    uf_sim_rng_seed(&r, 7);
    double sum = 0;
    int below = 0;
    for (int i = 0; i < N; i++) {
        double x = uf_sim_rng_uniform(&r, -2, 6);
        assert_true(x >= -2 && x < 6);
        sum += x;
        below += x < 0;
    }
    assert_true(fabs(sum / N - 2) < 0.03); /* SD of the mean 0.005 */
    assert_true(fabs(below / (double)N - 0.25) < 0.006);
}

static void test_normal(void **state)
{
    (void)state;
    enum { N = 200000 };
    struct uf_sim_rng r;
    uf_sim_rng_seed(&r, 8);
    double sum = 0, square = 0;
    int within_1 = 0, within_2 = 0, beyond_4 = 0;
    for (int i = 0; i < N; i++) {
        double z = (uf_sim_rng_normal(&r, 3, 0.5) - 3) / 0.5;
        sum += z;
        square += z * z;
        within_1 += fabs(z) < 1;
        within_2 += fabs(z) < 2;
        beyond_4 += fabs(z) > 4;
    }
    assert_true(fabs(sum / N) < 0.012);
    assert_true(fabs(square / N - 1) < 0.02);
    assert_true(fabs(within_1 / (double)N - 0.6827) < 0.006);
    assert_true(fabs(within_2 / (double)N - 0.9545) < 0.003);
    assert_true(beyond_4 > 0 && beyond_4 < 40); /* 12.7 expected */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reference_outputs),
        cmocka_unit_test(test_seed),
        cmocka_unit_test(test_uniform),
        cmocka_unit_test(test_normal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * Sequence and device clock of made-up boards whose truth is known: wraps, gaps, reboots, repeats,
 * clocks that are off, stamps that jitter. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire/timeline.h"

#include <math.h>
#include <stdlib.h>

/* A board: sample k lies at start_us + k * period_us of its clock. */
struct board {
    double period_us;
    double start_us;
    uint16_t start_seq;
};

static double clock_us(const struct board *b, uint64_t k)
{
    return floor(b->start_us + (double)k * b->period_us);
}

static enum uf_step step(struct uf_timeline *t, const struct board *b, uint64_t k, double jitter_us,
                         uint32_t *lost)
{
    uint16_t seq = (uint16_t)(b->start_seq + k);
    uint32_t t_us = (uint32_t)(uint64_t)(clock_us(b, k) + jitter_us);
    return uf_timeline_step(t, seq, t_us, lost);
}

static uint64_t random_below(uint64_t *state, uint64_t n)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state % n;
}

/* Feeds neighbours from..to. */
static void run(struct uf_timeline *t, const struct board *b, uint64_t from, uint64_t to)
{
    for (uint64_t k = from; k <= to; k++) {
        uint32_t lost;
        assert_int_equal(step(t, b, k, 0, &lost), UF_STEP_NEXT);
        assert_int_equal(lost, 0);
    }
}

/* Half a day at 1 kHz and half a day at 2 kHz with pauses of up to 30 minutes: hundreds of wraps of
 * the sequence, ten of the clock. Each lost sample is counted and each time is right. */
static void test_many_wraps_and_gaps(void **state)
{
    (void)state;
    static const uint16_t rates[] = {1000, 2000, 80};
    for (size_t r = 0; r < 3; r++) {
        /* 150 ppm off, the clock about to wrap */
        struct board b = {1e6 / rates[r] * (1 + 150e-6), 4294000000.0, 65000};
        struct uf_timeline t = {0};
        uint64_t rng = 88172645463325252ull, k = 0, end = (uint64_t)rates[r] * 43200;
        uf_timeline_board(&t, rates[r]);
        run(&t, &b, 0, 1500);
        for (k = 1501; k < end;) {
            uint32_t lost;
            uint64_t gap =
                random_below(&rng, random_below(&rng, 4) ? 3u * rates[r] : 1800u * rates[r]);
            k += gap;
            assert_int_equal(step(&t, &b, k, 0, &lost), UF_STEP_NEXT);
            assert_int_equal(lost, gap);
            assert_int_equal(t.t_dev_us, (int64_t)(clock_us(&b, k) - clock_us(&b, 0)));
            run(&t, &b, k + 1, k + 20);
            k += 21;
        }
        assert_int_equal(t.epoch, 0);
    }
}

/* A converter on its own oscillator, 8 % off its nominal rate, is measured within a few samples, so
 * that a gap counts right. */
static void test_rate_far_from_nominal(void **state)
{
    (void)state;
    struct board b = {1e6 / 1000 * 1.08, 0, 0};
    struct uf_timeline t = {0};
    uint32_t lost;
    uf_timeline_board(&t, 1000);
    run(&t, &b, 0, 50);
    assert_int_equal(step(&t, &b, 1051, 0, &lost), UF_STEP_NEXT);
    assert_int_equal(lost, 1000);
    run(&t, &b, 1052, 4000);
    assert_int_equal(step(&t, &b, 404001, 0, &lost), UF_STEP_NEXT);
    assert_int_equal(lost, 400000);
}

/* Wherever the board was, a new run of it that begins near zero is told from a gap, and its time
 * goes on one nominal period later. */
static void test_reboot(void **state)
{
    (void)state;
    static const uint64_t ran[] = {100, 1000, 60000, 65536, 131071, 2000000};
    for (size_t i = 0; i < sizeof ran / sizeof ran[0]; i++) {
        for (uint16_t first_seq = 0; first_seq < 3; first_seq++) {
            struct board a = {1000, 20000, 0}, b = {1000, 20000.0, first_seq};
            struct uf_timeline t = {0};
            uint32_t lost;
            uf_timeline_board(&t, 1000);
            run(&t, &a, 0, ran[i]);
            int64_t before_us = t.t_dev_us;
            assert_int_equal(before_us, 1000 * (int64_t)ran[i]);
            assert_int_equal(step(&t, &b, 0, 0, &lost), UF_STEP_REBOOT);
            assert_int_equal(lost, 0);
            assert_int_equal(t.epoch, 1);
            assert_int_equal(t.t_dev_us, before_us + 1000);
            run(&t, &b, 1, 10);
            assert_int_equal(t.t_dev_us, before_us + 11000);
        }
    }
}

/* However long the board had run: also beyond half a wrap of its clock, when a new run looks like a
 * gap in time and only the sequence can tell. Chance fits about 1 in 600 of these. */
static void test_reboot_after_any_uptime(void **state)
{
    (void)state;
    uint64_t rng = 2463534242ull;
    int missed = 0;
    for (int i = 0; i < 3000; i++) {
        uint64_t uptime_us = random_below(&rng, 5 * 3600000000ull);
        struct board a = {1000.02, (double)uptime_us, (uint16_t)(uptime_us / 1000)};
        struct board b = {1000.02, (double)random_below(&rng, 2000000), 0};
        struct uf_timeline t = {0};
        uint32_t lost;
        uf_timeline_board(&t, 1000);
        run(&t, &a, 0, 300);
        missed += step(&t, &b, random_below(&rng, 1000), 0, &lost) != UF_STEP_REBOOT;
    }
    assert_in_range(missed, 0, 10);
}

/* A reboot behind the host's back, first seen later than the run before it ended: the sequence
 * gives it away. */
static void test_reboot_ahead_in_time(void **state)
{
    (void)state;
    struct board a = {1000, 0, 0}, b = {1000, 0, 20000};
    struct uf_timeline t = {0};
    uint32_t lost;
    uf_timeline_board(&t, 1000);
    run(&t, &a, 0, 3000);
    int64_t before_us = t.t_dev_us;
    assert_int_equal(step(&t, &b, 9000, 0, &lost), UF_STEP_REBOOT);
    assert_int_equal(t.t_dev_us, before_us + 1000);
}

/* The sequence jumps by more than time allows, and by a little more than slack. */
static void test_sequence_ahead_of_time(void **state)
{
    (void)state;
    for (uint16_t jump = 1; jump < 20; jump++) {
        struct board a = {1000, 0, 0}, b = {1000, 0, jump};
        struct uf_timeline t = {0};
        uint32_t lost;
        uf_timeline_board(&t, 1000);
        run(&t, &a, 0, 100);
        enum uf_step want = jump <= 2 ? UF_STEP_NEXT : UF_STEP_REBOOT;
        assert_int_equal(step(&t, &b, 101, 0, &lost), want);
        assert_int_equal(lost, jump <= 2 ? jump : 0);
    }
}

/* A converter that stops for 40 ms without counting is no reboot, and loses no time; the sequence
 * says that no sample was lost. One that stops for 100 ms cannot be told from a reboot. */
static void test_stall(void **state)
{
    (void)state;
    struct board a = {1000, 0, 0}, b = {1000, 40000, 0}, c = {1000, 140000, 0};
    struct uf_timeline t = {0};
    uint32_t lost;
    uf_timeline_board(&t, 1000);
    run(&t, &a, 0, 100);
    assert_int_equal(step(&t, &b, 101, 0, &lost), UF_STEP_NEXT);
    assert_int_equal(lost, 0);
    assert_int_equal(t.t_dev_us, 141000);
    run(&t, &b, 102, 120); /* and the stall is no part of the measured period */
    assert_int_equal(step(&t, &b, 10121, 0, &lost), UF_STEP_NEXT);
    assert_int_equal(lost, 10000);
    assert_int_equal(step(&t, &c, 10122, 0, &lost), UF_STEP_REBOOT);
}

/* Stamps that jitter, stand still or go back by less than a period: time still grows, and is right
 * again with the next right stamp. */
static void test_jitter(void **state)
{
    (void)state;
    struct board b = {1000, 4294967296.0 - 50000, 65500};
    struct uf_timeline t = {0};
    uint32_t lost;
    uf_timeline_board(&t, 1000);
    run(&t, &b, 0, 40);
    assert_int_equal(step(&t, &b, 41, -1000, &lost), UF_STEP_NEXT); /* the same as before */
    assert_int_equal(t.t_dev_us, 40001);
    assert_int_equal(step(&t, &b, 42, -2900, &lost), UF_STEP_NEXT); /* 900 us back */
    assert_int_equal(t.t_dev_us, 40002);
    assert_int_equal(lost, 0);
    run(&t, &b, 43, 60);
    assert_int_equal(t.t_dev_us, 60000);
    struct board slow = {100000, 0, 0}; /* the very first interval says next to nothing, either */
    struct uf_timeline u = {0};
    uf_timeline_board(&u, 10);
    run(&u, &slow, 0, 0);
    assert_int_equal(step(&u, &slow, 1, -99999, &lost), UF_STEP_NEXT);
    run(&u, &slow, 2, 60);
    uint64_t rng = 5;
    int64_t before_us = t.t_dev_us;
    for (uint64_t k = 61; k < 50000; k += 1 + random_below(&rng, 3)) {
        assert_int_equal(step(&t, &b, k, (double)random_below(&rng, 900) - 450, &lost),
                         UF_STEP_NEXT);
        assert_true(t.t_dev_us > before_us);
        assert_true(llabs(t.t_dev_us - 1000 * (int64_t)k) <= 450);
        before_us = t.t_dev_us;
    }
    assert_int_equal(t.epoch, 0);
}

/* A piece of the line that came twice: the samples in it are dropped the second time, and nothing
 * is lost or jumps after it. */
static void test_repeats(void **state)
{
    (void)state;
    for (uint64_t doubled = 1; doubled <= 17; doubled++) {
        struct board b = {1000, 0, 65530};
        struct uf_timeline t = {0};
        uint32_t lost;
        uf_timeline_board(&t, 1000);
        run(&t, &b, 0, 100);
        for (uint64_t k = 101 - doubled; k <= 100; k++)
            assert_int_equal(step(&t, &b, k, 0, &lost), UF_STEP_REPEAT);
        assert_int_equal(t.t_dev_us, 100000);
        run(&t, &b, 101, 120);
        assert_int_equal(t.t_dev_us, 120000);
    }
    /* further back than any doubled piece: the board has begun again */
    struct board b = {1000, 0, 0};
    struct uf_timeline t = {0};
    uint32_t lost;
    uf_timeline_board(&t, 1000);
    run(&t, &b, 0, 100);
    assert_int_equal(step(&t, &b, 0, 0, &lost), UF_STEP_REBOOT);
}

/* The same sequence number again at a later time: 65,536 samples on, or the board has begun again.
 */
static void test_same_sequence_later(void **state)
{
    (void)state;
    for (uint64_t periods = 1; periods < 100; periods++) {
        struct board a = {1000, 0, 0}, b = {1000, 0, (uint16_t)-periods};
        struct uf_timeline t = {0};
        uint32_t lost;
        uf_timeline_board(&t, 1000);
        run(&t, &a, 0, 100);
        assert_int_equal(step(&t, &b, 100 + periods, 0, &lost), UF_STEP_REBOOT);
        assert_int_equal(lost, 0);
    }
    struct board a = {1000, 0, 0};
    struct uf_timeline t = {0};
    uint32_t lost;
    uf_timeline_board(&t, 1000);
    run(&t, &a, 0, 100);
    assert_int_equal(step(&t, &a, 100 + 65536, 0, &lost), UF_STEP_NEXT);
    assert_int_equal(lost, 65535);
}

/* A pause beyond half a wrap of the clock looks like a step back. */
static void test_pause_beyond_half_a_wrap(void **state)
{
    (void)state;
    struct board b = {1000, 0, 0};
    struct uf_timeline t = {0};
    uint32_t lost;
    uf_timeline_board(&t, 1000);
    run(&t, &b, 0, 2000);
    assert_int_equal(step(&t, &b, 2000 + 2147000, 0, &lost), UF_STEP_NEXT);
    assert_int_equal(lost, 2146999);
    assert_int_equal(step(&t, &b, 2000 + 2147000 + 2148000, 0, &lost), UF_STEP_REBOOT);
    assert_int_equal(t.t_dev_us, 2149000000 + 1000);
}

static void test_other_board(void **state)
{
    (void)state;
    struct board a = {1000, 5000, 5}, b = {500, 5006000, 5006};
    struct uf_timeline t = {0};
    uint32_t lost;
    uf_timeline_board(&t, 1000);
    uf_timeline_board(&t, 1000); /* no sample between: still the first epoch */
    run(&t, &a, 0, 5000);
    uf_timeline_board(&t, 2000);
    assert_int_equal(step(&t, &b, 0, 0, &lost), UF_STEP_REBOOT); /* though it would fit on */
    assert_int_equal(t.t_dev_us, 5000000 + 500);
    run(&t, &b, 1, 10);
    assert_int_equal(t.t_dev_us, 5000000 + 500 + 5000);
    assert_int_equal(t.epoch, 1);

    struct board c = {540, 0, 0}; /* and a third one, 8 % off: nothing that was measured holds */
    uf_timeline_board(&t, 1000);
    uf_timeline_board(&t, 2000);
    assert_int_equal(step(&t, &c, 0, 0, &lost), UF_STEP_REBOOT);
    run(&t, &c, 1, 50);
    assert_int_equal(step(&t, &c, 10051, 0, &lost), UF_STEP_NEXT);
    assert_int_equal(lost, 10000);
}

/* Within a second's gap a converter's oscillator may have run faster by 1 % than measured, by 3 %
 * than nominal. */
static void test_tolerance(void **state)
{
    (void)state;
    static const struct {
        bool measured;
        double faster;
        enum uf_step want;
    } cases[] = {{true, 0.008, UF_STEP_NEXT},
                 {true, 0.016, UF_STEP_REBOOT},
                 {false, 0.028, UF_STEP_NEXT},
                 {false, 0.04, UF_STEP_REBOOT}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        uint64_t ran = cases[i].measured ? 5000 : 0;
        struct board a = {1000, 0, 0}, b = {1000, -1e6 * cases[i].faster, 0};
        struct uf_timeline t = {0};
        uint32_t lost;
        uf_timeline_board(&t, 1000);
        run(&t, &a, 0, ran);
        assert_int_equal(step(&t, &b, ran + 1000, 0, &lost), cases[i].want);
        assert_int_equal(lost, cases[i].want == UF_STEP_NEXT ? 999 : 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_many_wraps_and_gaps),
        cmocka_unit_test(test_rate_far_from_nominal),
        cmocka_unit_test(test_reboot),
        cmocka_unit_test(test_reboot_after_any_uptime),
        cmocka_unit_test(test_reboot_ahead_in_time),
        cmocka_unit_test(test_sequence_ahead_of_time),
        cmocka_unit_test(test_stall),
        cmocka_unit_test(test_jitter),
        cmocka_unit_test(test_repeats),
        cmocka_unit_test(test_same_sequence_later),
        cmocka_unit_test(test_pause_beyond_half_a_wrap),
        cmocka_unit_test(test_other_board),
        cmocka_unit_test(test_tolerance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

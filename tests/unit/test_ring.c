/* SPDX-License-Identifier: MIT
 * The ring of raw frames: windows, means, wrapping, and what is no longer there. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "swing/ring.h"

#define CHANNELS 3
#define FRAMES   100

static const struct uf_hello board = {
    .protocol = 1, .channels = CHANNELS, .adc_bits = 24, .rate_hz = 1000};

/* Frame i is at i ms, with counts i, 2 i, -i. */
static void push(struct uf_ring *r, int from, int to)
{
    for (int i = from; i < to; i++) {
        struct uf_frame f = {.t_dev_us = i * 1000,
                             .inputs = (uint8_t)(i & 1),
                             .status = (uint8_t)(i & 2),
                             .channels = CHANNELS,
                             .lost_before = i == 50 ? 7 : 0,
                             .counts_raw = {i, 2 * i, -i}};
        uf_ring_push(r, &f);
    }
}

static void cuts_a_window(void **state)
{
    (void)state;
    struct uf_ring *r;
    assert_int_equal(uf_ring_new(&r, CHANNELS, FRAMES, NULL), 0);
    push(r, 0, 350); /* wraps: 250..349 are kept */
    struct uf_capture *c;
    assert_int_equal(uf_ring_capture(r, &board, 300000, 310000, &c, NULL), 0);
    assert_int_equal(c->samples, 11);
    assert_int_equal(c->start_dev_us, 300000);
    for (int i = 0; i < 11; i++) {
        assert_int_equal(c->offset_us[i], i * 1000);
        assert_int_equal(c->counts_raw[i * CHANNELS], 300 + i);
        assert_int_equal(c->counts_raw[i * CHANNELS + 1], 2 * (300 + i));
        assert_int_equal(c->counts_raw[i * CHANNELS + 2], -(300 + i));
        assert_int_equal(c->inputs[i], (300 + i) & 1);
        assert_int_equal(c->status[i], (300 + i) & 2);
    }
    uf_capture_free(c);
    uf_ring_free(r);
}

static void gives_what_is_left_of_a_window(void **state)
{
    (void)state;
    struct uf_ring *r;
    assert_int_equal(uf_ring_new(&r, CHANNELS, FRAMES, NULL), 0);
    push(r, 0, 350);
    struct uf_capture *c;
    assert_int_equal(uf_ring_capture(r, &board, 0, 252500, &c, NULL), 0);
    assert_int_equal(c->start_dev_us, 250000);
    assert_int_equal(c->samples, 3);
    uf_capture_free(c);
    struct uf_error err;
    assert_int_equal(uf_ring_capture(r, &board, 0, 200000, &c, &err), UF_ENOTFOUND);
    assert_null(c);
    uf_ring_clear(r);
    assert_int_equal(uf_ring_capture(r, &board, 300000, 310000, &c, &err), UF_ENOTFOUND);
    uf_ring_free(r);
}

/* Samples that were lost before the window are not the window's. */
static void a_loss_before_the_window_is_not_in_it(void **state)
{
    (void)state;
    struct uf_ring *r;
    assert_int_equal(uf_ring_new(&r, CHANNELS, FRAMES, NULL), 0);
    push(r, 0, 80);
    struct uf_capture *c;
    assert_int_equal(uf_ring_capture(r, &board, 49000, 60000, &c, NULL), 0);
    assert_int_equal(c->lost_before[1], 7);
    uf_capture_free(c);
    assert_int_equal(uf_ring_capture(r, &board, 50000, 60000, &c, NULL), 0);
    assert_int_equal(c->lost_before[0], 0);
    uf_capture_free(c);
    uf_ring_free(r);
}

static void means_are_of_the_stretch(void **state)
{
    (void)state;
    struct uf_ring *r;
    assert_int_equal(uf_ring_new(&r, CHANNELS, FRAMES, NULL), 0);
    push(r, 0, 350);
    double mean[CHANNELS];
    assert_int_equal(uf_ring_mean(r, 310000, 320000, mean), 11);
    assert_true(mean[0] == 315 && mean[1] == 630 && mean[2] == -315);
    assert_int_equal(uf_ring_mean(r, 400000, 500000, mean), 0);
    uf_ring_free(r);
}

static void a_capture_must_have_samples_and_channels(void **state)
{
    (void)state;
    struct uf_capture *c;
    struct uf_error err;
    assert_int_equal(uf_capture_new(&c, &board, 0, &err), UF_EINVAL);
    struct uf_hello none = board;
    none.channels = 0;
    assert_int_equal(uf_capture_new(&c, &none, 10, &err), UF_EINVAL);
    none.channels = 49;
    assert_int_equal(uf_capture_new(&c, &none, 10, &err), UF_EINVAL);
    assert_int_equal(uf_capture_new(&c, &board, SIZE_MAX / 2, &err), UF_EINVAL);
    assert_null(c);
    uf_capture_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cuts_a_window),
        cmocka_unit_test(gives_what_is_left_of_a_window),
        cmocka_unit_test(a_loss_before_the_window_is_not_in_it),
        cmocka_unit_test(means_are_of_the_stretch),
        cmocka_unit_test(a_capture_must_have_samples_and_channels),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

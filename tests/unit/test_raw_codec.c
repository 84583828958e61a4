/* SPDX-License-Identifier: MIT
 * Raw swings come back to the last bit, whatever is in them; no damaged bytes come back at all. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "store/raw_codec.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static uint64_t next(uint64_t *state)
{
    *state += 0x9E3779B97F4A7C15u; /* splitmix64 */
    uint64_t z = *state;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

static struct uf_capture *blank(size_t samples, uint8_t channels)
{
    struct uf_hello board = {.protocol = 1,
                             .channels = channels,
                             .adc_bits = 24,
                             .flags = 3,
                             .rate_hz = 1000,
                             .firmware = 0xBEEF,
                             .board_id = {1, 2, 3, 4, 5, 6, 7, 8}};
    struct uf_capture *c;
    assert_int_equal(uf_capture_new(&c, &board, samples, NULL), 0);
    return c;
}

static size_t round_trip(const struct uf_capture *c)
{
    uint8_t *bytes;
    size_t n;
    struct uf_error err;
    struct uf_capture *back;
    if (uf_raw_encode(c, &bytes, &n, &err))
        fail_msg("%s", err.text);
    if (uf_raw_decode(bytes, n, &back, &err))
        fail_msg("%s", err.text);
    /* by hand, not by uf_capture_equal: the codec uses that itself */
    assert_memory_equal(&back->board, &c->board, sizeof c->board);
    assert_int_equal(back->hand, c->hand);
    assert_int_equal(back->shape_hand, c->shape_hand);
    assert_int_equal(back->start_dev_us, c->start_dev_us);
    assert_int_equal(back->trigger_dev_us, c->trigger_dev_us);
    assert_int_equal(back->ended_still, c->ended_still);
    assert_memory_equal(back->tare_raw, c->tare_raw, sizeof c->tare_raw);
    assert_int_equal(back->quiet_known, c->quiet_known);
    assert_memory_equal(back->quiet_raw, c->quiet_raw, sizeof c->quiet_raw);
    assert_int_equal(back->quiet_from_dev_us, c->quiet_from_dev_us);
    assert_int_equal(back->quiet_to_dev_us, c->quiet_to_dev_us);
    assert_int_equal(back->samples, c->samples);
    assert_memory_equal(back->offset_us, c->offset_us, 4 * c->samples);
    assert_memory_equal(back->lost_before, c->lost_before, 2 * c->samples);
    assert_memory_equal(back->inputs, c->inputs, c->samples);
    assert_memory_equal(back->status, c->status, c->samples);
    assert_memory_equal(back->counts_raw, c->counts_raw, 4 * c->samples * c->board.channels);
    free(bytes);
    uf_capture_free(back);
    return n;
}

static struct uf_capture *usual(size_t samples)
{
    struct uf_capture *c = blank(samples, 24);
    uint64_t chance = 1;
    c->hand = UF_LEFT_HANDED;
    c->ended_still = true;
    c->quiet_known = true;
    c->start_dev_us = INT64_C(1) << 40;
    c->trigger_dev_us = c->start_dev_us + 1234567;
    c->quiet_from_dev_us = c->start_dev_us - 500000;
    c->quiet_to_dev_us = c->start_dev_us + 3;
    for (int k = 0; k < 24; k++) {
        c->tare_raw[k] = 1.0 / (k + 3);
        c->quiet_raw[k] = -2.0 / (k + 7);
    }
    for (size_t i = 0; i < samples; i++) {
        c->offset_us[i] = (uint32_t)(1000 * i + next(&chance) % 3);
        c->lost_before[i] = i == 5 ? 65535 : 0;
        c->inputs[i] = i > 40 && i < 45 ? UF_INPUT_STRIKE : 0;
        c->status[i] = i == 7 ? UF_STATUS_RAIL : 0;
        for (size_t k = 0; k < 24; k++) {
            double v = 2e5 * sin(0.002 * (double)(i + 100 * k)) + (double)(next(&chance) % 1000);
            c->counts_raw[i * 24 + k] = (int32_t)v;
        }
    }
    return c;
}

static void a_usual_swing(void **state)
{
    (void)state;
    struct uf_capture *c = usual(3000);
    size_t n = round_trip(c);
    /* log2(1000) bits of uniform noise are 1.25 bytes; a tenth more for everything else */
    assert_true((double)n / (3000 * 24) < 1.1 * 1.25);
    uf_capture_free(c);
}

static void every_length(void **state)
{
    (void)state;
    static const size_t lengths[] = {1,   2,   3,   4,   31,  32,  33,  127, 128,
                                     129, 255, 256, 257, 511, 512, 513, 1025};
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++) {
        struct uf_capture *c = usual(lengths[i]);
        round_trip(c);
        uf_capture_free(c);
    }
}

/* Numbers no converter sends, and doubles that are not equal to themselves. */
static void extremes(void **state)
{
    (void)state;
    static const int32_t corner[] = {INT32_MIN, INT32_MAX, 0, -1, 1, -8388608, 8388607};
    for (int kind = 0; kind < 6; kind++) {
        struct uf_capture *c = blank(700, 3);
        uint64_t chance = (uint64_t)kind;
        c->start_dev_us = INT64_MIN;
        c->trigger_dev_us = INT64_MAX;
        c->tare_raw[0] = NAN;
        c->tare_raw[47] = -0.0;
        c->quiet_raw[1] = INFINITY;
        for (size_t i = 0; i < c->samples; i++) {
            uint64_t r = next(&chance);
            c->offset_us[i] = (uint32_t)r;
            c->lost_before[i] = (uint16_t)(r >> 20);
            c->inputs[i] = (uint8_t)(r >> 8);
            c->status[i] = (uint8_t)(r >> 16);
            for (size_t k = 0; k < 3; k++) {
                int32_t *x = &c->counts_raw[3 * i + k];
                r = next(&chance);
                *x = kind == 0   ? corner[r % 7]
                     : kind == 1 ? (int32_t)(uint32_t)r
                     : kind == 2 ? (int32_t)((uint32_t)(r % 9) << 29)
                     : kind == 3 ? (i % 2 ? INT32_MIN : INT32_MAX)
                     : kind == 4 ? (int32_t)(i * 65536)
                                 : (r % 50 == 0 ? (int32_t)(uint32_t)r : 12);
            }
        }
        round_trip(c);
        uf_capture_free(c);
    }
}

static void idle_channels_cost_nothing(void **state)
{
    (void)state;
    struct uf_capture *c = blank(4000, 48);
    for (size_t i = 0; i < c->samples; i++) {
        c->offset_us[i] = (uint32_t)(1000 * i);
        for (size_t k = 0; k < 48; k++)
            c->counts_raw[48 * i + k] = (int32_t)(1000 * k) - 20000;
    }
    assert_true(round_trip(c) < 48 * 48);
    uf_capture_free(c);
}

/* A 16-bit converter whose counts are shifted up to 24 bits must not pay for the empty bits. */
static void empty_low_bits_cost_nothing(void **state)
{
    (void)state;
    size_t n[2];
    for (int shift = 0; shift < 2; shift++) {
        struct uf_capture *c = blank(2000, 8);
        uint64_t chance = 9;
        for (size_t i = 0; i < c->samples * 8; i++)
            c->counts_raw[i] = ((int32_t)(next(&chance) % 200) - 100) * (shift ? 256 : 1);
        n[shift] = round_trip(c);
        uf_capture_free(c);
    }
    assert_in_range(n[1], n[0] - n[0] / 50, n[0] + n[0] / 50);
}

static void refuses(const uint8_t *bytes, size_t n, int code)
{
    struct uf_capture *c;
    struct uf_error err = {.text = ""};
    int rc = uf_raw_decode(bytes, n, &c, &err);
    assert_int_equal(rc, code);
    assert_null(c);
    assert_true(strlen(err.text) > 20);
}

/* Every truncation and every flipped bit: refused, or (where the bit means nothing to zstd) the
 * same capture. */
static void damage(void **state)
{
    (void)state;
    struct uf_capture *c = usual(300), *back;
    uint8_t *bytes;
    size_t n, harmless = 0;
    assert_int_equal(uf_raw_encode(c, &bytes, &n, NULL), 0);
    for (size_t cut = 0; cut < n; cut += cut < 200 ? 1 : 41)
        refuses(bytes, cut, UF_ECORRUPT);
    for (size_t i = 0; i < n; i += i < 200 ? 1 : 13) {
        bytes[i] ^= (uint8_t)(1u << i % 8);
        int rc = uf_raw_decode(bytes, n, &back, NULL);
        assert_true(rc == UF_ECORRUPT || (rc == UF_EVERSION && i == 4) ||
                    (rc == 0 && uf_capture_equal(c, back)));
        harmless += rc == 0;
        uf_capture_free(back);
        bytes[i] ^= (uint8_t)(1u << i % 8);
    }
    assert_true(harmless < 20);
    uint8_t *longer = malloc(n + 1);
    memcpy(longer, bytes, n);
    longer[n] = 0;
    refuses(longer, n + 1, UF_ECORRUPT);
    free(longer);
    bytes[4] = 2;
    refuses(bytes, n, UF_EVERSION);
    refuses((const uint8_t *)"", 0, UF_ECORRUPT);
    free(bytes);
    uf_capture_free(c);
}

static void too_long_is_refused(void **state)
{
    (void)state;
    struct uf_capture *c = blank(UF_RAW_SAMPLES_MAX + 1, 1);
    uint8_t *bytes;
    size_t n;
    struct uf_error err;
    assert_int_equal(uf_raw_encode(c, &bytes, &n, &err), UF_EFULL);
    assert_null(bytes);
    uf_capture_free(c);
}

static void equality_sees_each_field(void **state)
{
    (void)state;
    struct uf_capture *a = usual(200), *b = usual(200);
    assert_true(uf_capture_equal(a, b));
    void *fields[] = {&b->board.firmware,  &b->start_dev_us,   &b->trigger_dev_us,
                      &b->tare_raw[47],    &b->quiet_raw[0],   &b->quiet_from_dev_us,
                      &b->quiet_to_dev_us, &b->offset_us[199], &b->lost_before[0],
                      &b->inputs[100],     &b->status[199],    &b->counts_raw[200 * 24 - 1],
                      &b->board.board_id,  &b->board.rate_hz};
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++) {
        *(uint8_t *)fields[i] ^= 1;
        assert_false(uf_capture_equal(a, b));
        *(uint8_t *)fields[i] ^= 1;
    }
    b->ended_still = !b->ended_still;
    assert_false(uf_capture_equal(a, b));
    uf_capture_free(a);
    uf_capture_free(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_usual_swing),
        cmocka_unit_test(every_length),
        cmocka_unit_test(extremes),
        cmocka_unit_test(idle_channels_cost_nothing),
        cmocka_unit_test(empty_low_bits_cost_nothing),
        cmocka_unit_test(damage),
        cmocka_unit_test(too_long_is_refused),
        cmocka_unit_test(equality_sees_each_field),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

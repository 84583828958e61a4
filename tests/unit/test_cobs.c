/* SPDX-License-Identifier: MIT
 * The COBS decoder against a plain encoder written from the paper's description, and on every short
 * byte string. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire/cobs.h"

#include <stdlib.h>
#include <string.h>

static size_t encode(const uint8_t *data, size_t n, uint8_t *out)
{
    size_t code = 0, w = 1;
    for (size_t i = 0; i < n; i++) {
        if (data[i])
            out[w++] = data[i];
        if (!data[i] || (w - code == 255 && i + 1 < n)) {
            out[code] = (uint8_t)(w - code);
            code = w++;
        }
    }
    out[code] = (uint8_t)(w - code);
    return w;
}

/* Long, with zeros more or less often: blocks of 254 bytes in a row make the result move. */
static void test_round_trip(void **state)
{
    (void)state;
    static uint8_t data[2000], coded[2100];
    uint32_t lcg = 1;
    for (unsigned one_in = 1; one_in <= 1024; one_in *= 2) {
        for (size_t n = 0; n <= sizeof data; n += n < 600 ? 1 : 97) {
            for (size_t i = 0; i < n; i++) {
                lcg = lcg * 1664525u + 1013904223u;
                data[i] = (lcg >> 16) % one_in == 0 ? 0 : (uint8_t)(1 + (lcg >> 8) % 255);
            }
            size_t size = encode(data, n, coded);
            assert_int_equal(uf_cobs_decode(coded, size), (ptrdiff_t)n);
            assert_memory_equal(coded + 1, data, n);
        }
    }
}

/* What a decoder must say of a byte string, straight from the rules. */
static ptrdiff_t plain(const uint8_t *coded, size_t n, uint8_t *out)
{
    ptrdiff_t size = 0;
    for (size_t i = 0; i < n;) {
        size_t code = coded[i++];
        if (code == 0)
            return -1;
        for (size_t k = 1; k < code; k++) {
            if (i == n || coded[i] == 0)
                return -1;
            out[size++] = coded[i++];
        }
        if (code != 0xFF && i < n)
            out[size++] = 0;
    }
    return n ? size : -1;
}

/* All strings of up to six bytes out of 00..06. The buffer is exactly as long as the string, so
 * that the address sanitizer sees each byte read or written past its end. */
static void test_every_short_string(void **state)
{
    (void)state;
    for (size_t n = 0; n <= 6; n++) {
        size_t all = 1;
        for (size_t i = 0; i < n; i++)
            all *= 7;
        uint8_t *buf = malloc(n ? n : 1);
        assert_non_null(buf);
        for (size_t k = 0; k < all; k++) {
            uint8_t coded[6], want[6];
            size_t rest = k;
            for (size_t i = 0; i < n; i++, rest /= 7)
                coded[i] = (uint8_t)(rest % 7);
            ptrdiff_t size = plain(coded, n, want);
            memcpy(buf, coded, n);
            assert_int_equal(uf_cobs_decode(buf, n), size);
            if (size > 0)
                assert_memory_equal(buf + 1, want, (size_t)size);
        }
        free(buf);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_round_trip),
        cmocka_unit_test(test_every_short_string),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

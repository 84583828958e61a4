/* SPDX-License-Identifier: MIT
 * The table-driven CRC-32 against one bit at a time: every length around the eight-byte step, every
 * place and value of a byte, every alignment. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "encoder.h"
#include "wire/crc32.h"

#include <string.h>

static uint32_t bitwise(const uint8_t *data, size_t n)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (size_t i = 0; i < n; i++) {
        crc ^= data[i];
        for (int bit = 0; bit < 8; bit++)
            crc = crc & 1 ? crc >> 1 ^ 0xEDB88320u : crc >> 1;
    }
    return ~crc;
}

/* Eight bytes with one that is not zero reach each entry of each table. */
static void test_every_table_entry(void **state)
{
    (void)state;
    for (size_t place = 0; place < 8; place++) {
        for (unsigned value = 0; value < 256; value++) {
            uint8_t data[8] = {0};
            data[place] = (uint8_t)value;
            assert_int_equal(uf_crc32(data, 8), bitwise(data, 8));
        }
    }
}

static void test_every_length_and_alignment(void **state)
{
    (void)state;
    uint8_t data[200];
    for (size_t i = 0; i < sizeof data; i++)
        data[i] = (uint8_t)(i * i * 37 + i * 11 + 5);
    for (size_t from = 0; from < 8; from++) {
        for (size_t n = 0; from + n <= sizeof data; n++) {
            assert_int_equal(uf_crc32(data + from, n), bitwise(data + from, n));
            assert_int_equal(uf_enc_crc32(data + from, n), bitwise(data + from, n));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_table_entry),
        cmocka_unit_test(test_every_length_and_alignment),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

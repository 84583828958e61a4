/* SPDX-License-Identifier: MIT
 * CRC-32 and COBS against published values. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "encoder.h"
#include "wire/cobs.h"
#include "wire/crc32.h"

#include <string.h>

/* Catalogue of parametrised CRC algorithms (RevEng), CRC-32/ISO-HDLC: check value of "123456789",
 * and residue 0xDEBB20E3 of data followed by its CRC, before the final XOR (READ). */
static void test_crc_check_value(void **state)
{
    (void)state;
    uint8_t data[13] = "123456789";
    assert_int_equal(uf_crc32(data, 9), 0xCBF43926);
    assert_int_equal(uf_enc_crc32(data, 9), 0xCBF43926);
    memcpy(data + 9, "\x26\x39\xF4\xCB", 4);
    assert_int_equal(uf_crc32(data, 13) ^ 0xFFFFFFFFu, 0xDEBB20E3);
}

/* Fills 01, 02, .. from p on. */
static size_t count_up(uint8_t *p, unsigned from, unsigned to)
{
    for (unsigned v = from; v <= to; v++)
        *p++ = (uint8_t)v;
    return to - from + 1;
}

struct vector {
    size_t data_n, coded_n;
    uint8_t data[256], coded[260];
};

static void assert_decodes(const struct vector *v)
{
    uint8_t buf[260];
    memcpy(buf, v->coded, v->coded_n);
    assert_int_equal(uf_cobs_decode(buf, v->coded_n), (ptrdiff_t)v->data_n);
    assert_memory_equal(buf + 1, v->data, v->data_n);
}

/* Test vectors published with open COBS implementations, after Cheshire & Baker 1999 (READ); the
 * last two from a tutorial's examples (READ). */
static void test_cobs_vectors(void **state)
{
    (void)state;
    static const struct vector vectors[] = {
        {0, 1, "", "\x01"},
        {1, 2, "1",
         "\x02"
         "1"},
        {5, 6, "12345",
         "\x06"
         "12345"},
        {10, 11,
         "12345\0"
         "6789",
         "\x06"
         "12345\x05"
         "6789"},
        {11, 12,
         "\0"
         "12345\0"
         "6789",
         "\x01\x06"
         "12345\x05"
         "6789"},
        {11, 12,
         "12345\0"
         "6789\0",
         "\x06"
         "12345\x05"
         "6789\x01"},
        {1, 2, "\0", "\x01\x01"},
        {2, 3, "\0\0", "\x01\x01\x01"},
        {3, 4, "\0\0\0", "\x01\x01\x01\x01"},
        {4, 5, "\xDE\xAD\xBE\xEF", "\x05\xDE\xAD\xBE\xEF"},
        {5, 6, "\xDE\xAD\0\xBE\xEF", "\x03\xDE\xAD\x03\xBE\xEF"},
    };
    for (size_t i = 0; i < sizeof vectors / sizeof vectors[0]; i++)
        assert_decodes(&vectors[i]);
}

static void test_cobs_long_vectors(void **state)
{
    (void)state;
    struct vector v = {253, 254, {0}, {0xFE}}; /* 01..FD */
    count_up(v.data, 1, 253);
    count_up(v.coded + 1, 1, 253);
    assert_decodes(&v);

    v = (struct vector){254, 255, {0}, {0xFF}}; /* 01..FE */
    count_up(v.data, 1, 254);
    count_up(v.coded + 1, 1, 254);
    assert_decodes(&v);
    v.coded[255] = 0x01; /* some encoders end such a block so: both are legal */
    v.coded_n = 256;
    assert_decodes(&v);

    v = (struct vector){255, 257, {0}, {0xFF}}; /* 01..FF */
    count_up(v.data, 1, 255);
    count_up(v.coded + 1, 1, 254);
    v.coded[255] = 0x02;
    v.coded[256] = 0xFF;
    assert_decodes(&v);

    v = (struct vector){256, 258, {0}, {0x01, 0xFF}}; /* 00..FF */
    count_up(v.data, 0, 255);
    count_up(v.coded + 2, 1, 254);
    v.coded[256] = 0x02;
    v.coded[257] = 0xFF;
    assert_decodes(&v);

    v = (struct vector){255, 257, {0}, {0xFF}}; /* 254 others, then 00 */
    count_up(v.data, 1, 254);
    count_up(v.coded + 1, 1, 254);
    v.coded[255] = 0x01;
    v.coded[256] = 0x01;
    assert_decodes(&v);
}

static void test_cobs_rejects(void **state)
{
    (void)state;
    static const struct {
        size_t n;
        uint8_t coded[8];
    } bad[] = {
        {1, "\x00"},
        {4, "\x05"
            "123"},
        {6, "\x05"
            "1234\0"},
        {5, "\x05"
            "12\0"
            "4"},
        {0, ""},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        uint8_t buf[8];
        memcpy(buf, bad[i].coded, sizeof buf);
        assert_int_equal(uf_cobs_decode(buf, bad[i].n), -1);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_crc_check_value),
        cmocka_unit_test(test_cobs_vectors),
        cmocka_unit_test(test_cobs_long_vectors),
        cmocka_unit_test(test_cobs_rejects),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

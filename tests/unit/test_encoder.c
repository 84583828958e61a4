/* SPDX-License-Identifier: MIT
 * The reference encoder: the bytes printed in wire-format.md, sizes that its macros promise, what
 * it refuses, and that both decoders read back what it wrote. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "encoder.h"
#include "wire/message.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct uf_enc_hello hello = {
    4, 24, 1000, 258, {0xA1, 0xB2, 0xC3, 0xD4, 0, 0, 0, 0x2A}};
static const int32_t counts[4] = {1000, -1000, 0, -8388608};
static const struct uf_enc_sample sample = {7, 123456789, 1, 2, 4, counts};

/* What stands in wire-format.md behind "    <label>: ". */
static void documented(const char *label, char *out, size_t size)
{
    char line[256], want[64];
    FILE *f = fopen(UF_TESTS_DIR "/../firmware-notes/wire-format.md", "r");
    assert_non_null(f);
    snprintf(want, sizeof want, "    %s: ", label);
    out[0] = '\0';
    while (fgets(line, sizeof line, f))
        if (strncmp(line, want, strlen(want)) == 0)
            snprintf(out, size, "%s", line + strlen(want));
    fclose(f);
    if (!out[0])
        fail_msg("wire-format.md has no line \"%s:\"", label);
}

static void assert_documented_bytes(const char *label, const uint8_t *bytes, size_t n)
{
    char text[256];
    documented(label, text, sizeof text);
    char *p = text;
    size_t i = 0;
    for (char *end; *p && *p != '\n'; p = end, i++) {
        unsigned long byte = strtoul(p, &end, 16);
        assert_true(end > p);
        assert_true(i < n);
        assert_int_equal(bytes[i], byte);
    }
    assert_int_equal(i, n);
}

static void assert_documented_line(const char *label, const uint8_t *bytes, size_t n)
{
    char text[256];
    documented(label, text, sizeof text);
    assert_int_equal(n, strlen(text));
    assert_memory_equal(bytes, text, n);
}

static void test_documented_bytes(void **state)
{
    (void)state;
    uint8_t out[UF_ENC_TEXT_MAX];
    assert_documented_bytes("binary hello", out, uf_enc_hello(out, sizeof out, &hello));
    assert_documented_bytes("binary sample", out, uf_enc_sample(out, sizeof out, &sample));
    assert_documented_bytes("binary note", out, uf_enc_note(out, sizeof out, "ready", 5));
    assert_documented_line("text hello", out, uf_enc_text_hello(out, sizeof out, &hello));
    assert_documented_line("text sample", out, uf_enc_text_sample(out, sizeof out, &sample));
    assert_documented_line("text note", out, uf_enc_text_note(out, sizeof out, "ready", 5));
}

/* A heap buffer of just the promised size: the address sanitizer watches its end. Too small by one:
 * refused. */
static void test_sizes(void **state)
{
    (void)state;
    int32_t lowest[UF_ENC_CHANNELS_MAX];
    for (size_t i = 0; i < UF_ENC_CHANNELS_MAX; i++)
        lowest[i] = -8388608;
    for (uint8_t n = 1; n <= UF_ENC_CHANNELS_MAX; n++) {
        struct uf_enc_sample s = {65535, 4294967295u, 0x0F, 7, n, lowest};
        size_t size = UF_ENC_SAMPLE_SIZE((size_t)n);
        uint8_t *out = malloc(size);
        assert_int_equal(uf_enc_sample(out, size, &s), size);
        assert_int_equal(size, 15 + 3 * n);
        assert_int_equal(uf_enc_sample(out, size - 1, &s), 0);
        free(out);
        size = UF_ENC_TEXT_SAMPLE_SIZE((size_t)n);
        out = malloc(size);
        assert_int_equal(uf_enc_text_sample(out, size, &s), size);
        assert_int_equal(uf_enc_text_sample(out, size - 1, &s), 0);
        free(out);
    }
    assert_int_equal(UF_ENC_PACKET_MAX, UF_PACKET_BYTES_MAX + 1);
    assert_int_equal(UF_ENC_TEXT_MAX, UF_LINE_BYTES_MAX); /* LF instead of CR */

    struct uf_enc_hello h = {48, 24, 65535, 65535, {255, 255, 255, 255, 255, 255, 255, 255}};
    uint8_t *out = malloc(UF_ENC_HELLO_SIZE);
    assert_int_equal(uf_enc_hello(out, UF_ENC_HELLO_SIZE, &h), UF_ENC_HELLO_SIZE);
    assert_int_equal(uf_enc_hello(out, UF_ENC_HELLO_SIZE - 1, &h), 0);
    free(out);
    out = malloc(UF_ENC_TEXT_HELLO_SIZE);
    assert_int_equal(uf_enc_text_hello(out, UF_ENC_TEXT_HELLO_SIZE, &h), UF_ENC_TEXT_HELLO_SIZE);
    assert_int_equal(uf_enc_text_hello(out, UF_ENC_TEXT_HELLO_SIZE - 1, &h), 0);
    free(out);

    char text[UF_ENC_NOTE_MAX + 1];
    memset(text, 'a', sizeof text);
    for (size_t n = 0; n <= UF_ENC_NOTE_MAX; n++) {
        out = malloc(UF_ENC_NOTE_SIZE(n));
        assert_int_equal(uf_enc_note(out, UF_ENC_NOTE_SIZE(n), text, n), UF_ENC_NOTE_SIZE(n));
        assert_int_equal(uf_enc_note(out, UF_ENC_NOTE_SIZE(n) - 1, text, n), 0);
        free(out);
        out = malloc(UF_ENC_TEXT_NOTE_SIZE(n));
        assert_int_equal(uf_enc_text_note(out, UF_ENC_TEXT_NOTE_SIZE(n), text, n),
                         UF_ENC_TEXT_NOTE_SIZE(n));
        assert_int_equal(uf_enc_text_note(out, UF_ENC_TEXT_NOTE_SIZE(n) - 1, text, n), 0);
        free(out);
    }
}

static void test_refusals(void **state)
{
    (void)state;
    uint8_t out[UF_ENC_TEXT_MAX];
    static const struct uf_enc_hello bad[] = {
        {0, 24, 1000, 1, {0}},  {49, 24, 1000, 1, {0}}, {24, 15, 1000, 1, {0}},
        {24, 25, 1000, 1, {0}}, {24, 24, 0, 1, {0}},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_int_equal(uf_enc_hello(out, sizeof out, &bad[i]), 0);
        assert_int_equal(uf_enc_text_hello(out, sizeof out, &bad[i]), 0);
    }
    static const int32_t many[49];
    struct uf_enc_sample s = {0, 0, 0, 0, 0, many};
    assert_int_equal(uf_enc_sample(out, sizeof out, &s), 0);
    assert_int_equal(uf_enc_text_sample(out, sizeof out, &s), 0);
    s.channels = 49;
    assert_int_equal(uf_enc_sample(out, sizeof out, &s), 0);
    assert_int_equal(uf_enc_text_sample(out, sizeof out, &s), 0);
    char text[121] = {0};
    assert_int_equal(uf_enc_note(out, sizeof out, text, 121), 0);
    assert_int_equal(uf_enc_text_note(out, sizeof out, text, 121), 0);
}

/* Reads back one encoded packet or line. */
static enum uf_verdict parse(uint8_t *bytes, size_t n, bool text, struct uf_wire_event *out,
                             uint32_t *t_us)
{
    assert_true(n > 1);
    assert_int_equal(bytes[n - 1], text ? '\n' : 0);
    return text ? uf_line_parse(bytes, n - 1, out, t_us) : uf_packet_parse(bytes, n - 1, out, t_us);
}

static void test_round_trip(void **state)
{
    (void)state;
    uint32_t lcg = 12345;
    for (int round = 0; round < 4000; round++) {
        bool text = round & 1;
        uint8_t out[UF_ENC_TEXT_MAX];
        int32_t c[UF_ENC_CHANNELS_MAX];
        uint32_t r[8];
        for (int i = 0; i < 8; i++)
            r[i] = lcg = lcg * 1664525u + 1013904223u;
        struct uf_enc_sample s = {(uint16_t)(r[0] >> 16),
                                  r[1],
                                  (uint8_t)(r[2] >> 28),
                                  (uint8_t)(r[3] >> 29),
                                  (uint8_t)(1 + (r[4] >> 8) % UF_ENC_CHANNELS_MAX),
                                  c};
        for (int i = 0; i < s.channels; i++) {
            lcg = lcg * 1664525u + 1013904223u;
            c[i] = (int32_t)(lcg << (round % 4 == 3 ? 24 : 0)) / 256; /* also many zero bytes */
        }
        struct uf_wire_event e;
        uint32_t t_us;
        size_t n =
            text ? uf_enc_text_sample(out, sizeof out, &s) : uf_enc_sample(out, sizeof out, &s);
        assert_int_equal(parse(out, n, text, &e, &t_us), UF_GOT_SAMPLE);
        assert_int_equal(e.frame.seq, s.seq);
        assert_int_equal(t_us, s.t_us);
        assert_int_equal(e.frame.inputs, s.inputs);
        assert_int_equal(e.frame.status, s.status);
        assert_int_equal(e.frame.channels, s.channels);
        assert_memory_equal(e.frame.counts_raw, c, s.channels * sizeof c[0]);

        struct uf_enc_hello h = {
            s.channels, (uint8_t)(16 + r[5] % 9), (uint16_t)(1 + r[6] % 65535), s.seq, {0}};
        memcpy(h.board_id, r, 8);
        n = text ? uf_enc_text_hello(out, sizeof out, &h) : uf_enc_hello(out, sizeof out, &h);
        assert_int_equal(parse(out, n, text, &e, &t_us), UF_GOT_HELLO);
        assert_int_equal(e.hello.protocol, 1);
        assert_int_equal(e.hello.channels, h.channels);
        assert_int_equal(e.hello.adc_bits, h.adc_bits);
        assert_int_equal(e.hello.rate_hz, h.rate_hz);
        assert_int_equal(e.hello.firmware, h.firmware);
        assert_memory_equal(e.hello.board_id, h.board_id, 8);
    }
}

/* Counts beyond 24 bits and bits that the format pins to zero cannot get onto the line. */
static void test_values_are_made_legal(void **state)
{
    (void)state;
    static const int32_t wild[3] = {8388608, -8388609, 5};
    static const int32_t sent[3] = {8388607, -8388608, 5};
    struct uf_enc_sample s = {1, 2, 0xF3, 0xF8, 3, wild};
    for (int text = 0; text < 2; text++) {
        uint8_t out[UF_ENC_TEXT_MAX];
        struct uf_wire_event e;
        uint32_t t_us;
        size_t n =
            text ? uf_enc_text_sample(out, sizeof out, &s) : uf_enc_sample(out, sizeof out, &s);
        assert_int_equal(parse(out, n, text, &e, &t_us), UF_GOT_SAMPLE);
        assert_memory_equal(e.frame.counts_raw, sent, sizeof sent);
        assert_int_equal(e.frame.inputs, 3);
        assert_int_equal(e.frame.status, UF_STATUS_RAIL);
    }
}

static void test_notes(void **state)
{
    (void)state;
    static const char text[] = "a\nb*c\xC3\xA9\0z";
    uint8_t out[UF_ENC_TEXT_MAX];
    struct uf_wire_event e;
    uint32_t t_us;
    size_t n = uf_enc_note(out, sizeof out, text, sizeof text - 1);
    assert_int_equal(parse(out, n, false, &e, &t_us), UF_GOT_NOTE);
    assert_string_equal(e.note, "a?b*c\xC3\xA9?z");
    n = uf_enc_text_note(out, sizeof out, text, sizeof text - 1);
    assert_int_equal(parse(out, n, true, &e, &t_us), UF_GOT_NOTE);
    assert_string_equal(e.note, "a?b?c???z");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_documented_bytes),
        cmocka_unit_test(test_sizes),
        cmocka_unit_test(test_refusals),
        cmocka_unit_test(test_round_trip),
        cmocka_unit_test(test_values_are_made_legal),
        cmocka_unit_test(test_notes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

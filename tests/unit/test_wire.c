/* SPDX-License-Identifier: MIT
 * The decoder of the line: what comes out of a clean stream, which counter each kind of bad packet
 * moves, HELLO and its changes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire/crc32.h"
#include "wire/message.h"
#include "wire_stream.h"

#include <stdio.h>

static struct stream s;
static struct events got;

static void start(bool text)
{
    s.text = text;
    s.channels = 24;
    s.n = 0;
    got.n = 0;
}

/* A packet with any payload and a right CRC. */
static void put_payload(const char *payload, size_t n)
{
    uint8_t out[300] = {0};
    size_t code = 0;
    memcpy(out + 1, payload, n);
    uint32_t crc = uf_crc32(out + 1, n);
    for (int i = 0; i < 4; i++)
        out[1 + n++] = (uint8_t)(crc >> 8 * i);
    for (size_t i = 1; i <= n; i++) {
        if (out[i] == 0) {
            out[code] = (uint8_t)(i - code);
            code = i;
        }
    }
    out[code] = (uint8_t)(n + 1 - code);
    put_bytes(&s, out, n + 2);
}

static void put_line(const char *body)
{
    char line[600];
    unsigned sum = 0;
    for (const char *p = body; *p; p++)
        sum ^= (uint8_t)*p;
    put_bytes(&s, line, (size_t)snprintf(line, sizeof line, "%s*%02x\n", body, sum));
}

static void test_clean_stream(void **state)
{
    (void)state;
    for (int text = 0; text < 2; text++) {
        for (int form = 0; form < 3; form++) {
            if (form == (text ? UF_FORM_BINARY : UF_FORM_TEXT))
                continue;
            start(text);
            struct uf_wire *w = new_wire((enum uf_wire_form)form);
            put_bytes(&s, text ? "\n\r\n" : "\0\0", text ? 3 : 2); /* legal, and nothing */
            put_hello(&s);
            for (uint32_t k = 0; k < 1000; k++) {
                put_sample(&s, k);
                if (k % 300 == 0)
                    put_note(&s, "still here");
                if (k % 250 == 0)
                    put_hello(&s);
            }
            feed(w, s.bytes, s.n, 1000, &got);
            assert_int_equal(got.n, 1 + 1000 + 4 + 4);
            assert_int_equal(got.event[0].kind, UF_WIRE_HELLO);
            assert_true(got.event[0].hello_changed);
            uint32_t k = 0;
            for (size_t i = 1; i < got.n; i++) {
                const struct uf_wire_event *e = &got.event[i];
                if (e->kind == UF_WIRE_HELLO)
                    assert_false(e->hello_changed);
                if (e->kind == UF_WIRE_NOTE)
                    assert_string_equal(e->note, "still here");
                if (e->kind != UF_WIRE_SAMPLE)
                    continue;
                assert_int_equal(sample_of(&e->frame, 1000), k);
                assert_int_equal(e->frame.t_dev_us, 1000 * (int64_t)k);
                assert_int_equal(e->frame.lost_before, 0);
                assert_int_equal(e->frame.epoch, 0);
                k++;
            }
            assert_int_equal(k, 1000);
            struct uf_wire_counts counts = {.bytes = s.n, .samples = 1000, .hellos = 5, .notes = 4};
            assert_memory_equal(&got.counts, &counts, sizeof counts);
            assert_int_equal(got.detected, text ? UF_FORM_TEXT : UF_FORM_BINARY);
            struct uf_wire_event e;
            assert_int_equal(uf_wire_feed(w, s.bytes, 0, &e), 0);
            assert_int_equal(e.kind, UF_WIRE_NONE);
            uf_wire_free(w);
        }
    }
    uf_wire_free(NULL);
}

/* Feeds what is in the stream to a decoder that has had HELLO for 2 channels, and checks that it
 * moved the counter at `offset` of uf_wire_counts by one, no other, and gave no event. */
static void assert_counted(const char *what, size_t offset)
{
    static struct stream before;
    struct uf_wire *w = new_wire(UF_FORM_AUTO);
    struct uf_enc_hello h = {2, 24, 1000, 3, {0}};
    before.text = s.text;
    before.n = 0;
    put_hello_of(&before, &h);
    got.n = 0;
    feed(w, before.bytes, before.n, before.n, &got);
    assert_int_equal(got.n, 1);
    struct uf_wire_counts c = got.counts;
    c.bytes += s.n;
    *(uint64_t *)(void *)((char *)&c + offset) += 1;
    feed(w, s.bytes, s.n, s.n, &got);
    if (got.n != 1 || memcmp(&got.counts, &c, sizeof c) != 0)
        fail_msg("%s: %zu events, and not just its counter by one", what, got.n - 1);
    uf_wire_free(w);
    s.n = 0;
}

#define COUNTED(what, field) assert_counted(what, offsetof(struct uf_wire_counts, field))

static void test_each_kind_of_bad_packet(void **state)
{
    (void)state;
    start(false);
    put_bytes(&s,
              "\x05"
              "123",
              5);
    COUNTED("code byte past the end", bad_cobs);
    put_bytes(&s,
              "\x06"
              "ABCDE",
              7);
    COUNTED("wrong CRC", bad_crc);
    put_bytes(&s,
              "\x05"
              "ABCD",
              6);
    COUNTED("no room for a CRC", bad_crc);
    put_bytes(&s, "\x01", 2);
    COUNTED("nothing but a code byte", bad_crc);
    put_bytes(&s, "\1\1\1\1\1", 6);
    COUNTED("a CRC of nothing", bad_crc);
    memset(s.bytes, 'a', 159);
    s.bytes[159] = 0;
    s.n = 160;
    COUNTED("one byte longer than the longest", too_long);
    memset(s.bytes, 'a', 5000);
    s.n = 5000;
    COUNTED("no delimiter at all", too_long);
    put_payload("\x04"
                "abc",
                4);
    COUNTED("unknown type", unknown_type);
    put_payload("\0", 1);
    COUNTED("unknown type 0", unknown_type);

    put_payload("\x02\1\0\1\0\0\0\0\0\1\0\0\2\0\0", 15);
    struct uf_wire *w = new_wire(UF_FORM_AUTO); /* the pattern that the next ones change is right */
    struct stream *hello = &s;
    struct uf_enc_hello h = {2, 24, 1000, 3, {0}};
    size_t sample_n = s.n;
    put_hello_of(hello, &h);
    feed(w, s.bytes + sample_n, s.n - sample_n, s.n, &got);
    feed(w, s.bytes, sample_n, s.n, &got);
    assert_int_equal(got.event[got.n - 1].kind, UF_WIRE_SAMPLE);
    uf_wire_free(w);
    s.n = 0;

    /* bits without a meaning yet lose no sample, and are not handed out */
    put_hello_of(hello, &h);
    put_payload("\x02\2\0\2\0\0\0\xF1\xFA\1\0\0\2\0\0", 15);
    w = new_wire(UF_FORM_AUTO);
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.event[got.n - 1].kind, UF_WIRE_SAMPLE);
    assert_int_equal(got.event[got.n - 1].frame.inputs, 1);
    assert_int_equal(got.event[got.n - 1].frame.status, 2);
    uf_wire_free(w);
    s.n = 0;

    put_payload("\x02\1\0\1\0\0\0\0\0\1\0\0\2\0", 14);
    COUNTED("sample one byte short", bad_length);
    put_payload("\x02\1\0\1\0\0\0\0\0\1\0\0\2\0\0\0", 16);
    COUNTED("sample one byte long", bad_length);
    put_payload("\x02\1\0\1\0\0\0\0\0\1\0\0", 12);
    COUNTED("sample of too few channels", bad_length);
    put_payload("\x02\1\0\1\0\0\0\0\0\1\0\0\2\0\0\3\0\0", 18);
    COUNTED("sample of too many channels", bad_length);
    put_payload("\x02\1\0\1\0\0\0\0\0", 9);
    COUNTED("sample of no channel", bad_length);
    put_payload("\x02", 1);
    COUNTED("sample without a body", bad_length);

    put_payload("\x01\1\2\x18\0\xE8\3\0\0"
                "12345678",
                17); /* another board_id: a right one */
    w = new_wire(UF_FORM_AUTO);
    got.n = 0;
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.n, 1);
    uf_wire_free(w);
    s.n = 0;
    put_payload("\x01\1\2\x18\0\xE8\3\0\0"
                "1234567",
                16);
    COUNTED("HELLO one byte short", bad_length);
    put_payload("\x01\1\2\x18\0\xE8\3\0\0"
                "123456789",
                18);
    COUNTED("HELLO one byte long", bad_length);
    put_payload("\x01", 1);
    COUNTED("HELLO without a body", bad_length);
    put_payload("\x01\0\2\x18\0\xE8\3\0\0"
                "12345678",
                17);
    COUNTED("protocol 0", bad_field);
    put_payload("\x01\1\0\x18\0\xE8\3\0\0"
                "12345678",
                17);
    COUNTED("0 channels", bad_field);
    put_payload("\x01\1\x31\x18\0\xE8\3\0\0"
                "12345678",
                17);
    COUNTED("49 channels", bad_field);
    put_payload("\x01\1\2\x0F\0\xE8\3\0\0"
                "12345678",
                17);
    COUNTED("15 bits", bad_field);
    put_payload("\x01\1\2\x19\0\xE8\3\0\0"
                "12345678",
                17);
    COUNTED("25 bits", bad_field);
    put_payload("\x01\1\2\x18\0\0\0\0\0"
                "12345678",
                17);
    COUNTED("rate 0", bad_field);
    put_payload("\x01\2\2", 3);
    COUNTED("protocol 2", unknown_protocol);

    char note[122];
    memset(note, 'a', sizeof note);
    note[0] = 3;
    put_payload(note, 122);
    COUNTED("note of 121 bytes", bad_length);
}

/* No decoder hands such a long packet on; whoever parses one directly is safe all the same. */
static void test_packet_of_49_channels(void **state)
{
    (void)state;
    char payload[9 + 3 * 49] = {2};
    struct uf_wire_event e;
    uint32_t t_us;
    start(false);
    put_payload(payload, 9 + 3 * 48);
    assert_int_equal(uf_packet_parse(s.bytes, s.n - 1, &e, &t_us), UF_GOT_SAMPLE);
    s.n = 0;
    put_payload(payload, 9 + 3 * 49);
    assert_int_equal(uf_packet_parse(s.bytes, s.n - 1, &e, &t_us), UF_BAD_LENGTH);
}

static void test_each_kind_of_bad_line(void **state)
{
    (void)state;
    start(true);
    put_bytes(&s, "S,1,2,0,0,5,6*00\n", 17);
    COUNTED("wrong checksum", bad_crc);
    put_bytes(&s, "S,1,2,0,0,5,6\n", 14);
    COUNTED("no checksum", bad_crc);
    put_bytes(&s, "S,1,2\0,0,0,5,6*4a\n", 18);
    COUNTED("NUL in it", bad_crc);
    put_bytes(&s, "", 1);
    put_line("S,1,2,0,0,5,6");
    COUNTED("NUL in it, which a XOR does not see", bad_field);
    put_line("S,1,2,0,0,5,6x");
    COUNTED("not a number", bad_field);
    put_line("S,1,2,0,0,5,8388608");
    COUNTED("25 bits", bad_field);
    put_line("S,1,2,0,0,5");
    COUNTED("too few channels", bad_length);
    put_line("S,1,2,0,0,5,6,7");
    COUNTED("too many channels", bad_length);
    put_line("H,1,2,24,0,1,0000000000000000");
    COUNTED("rate 0", bad_field);
    put_line("H,2,whatever");
    COUNTED("protocol 2", unknown_protocol);
    put_line("Q,1");
    COUNTED("unknown type", unknown_type);
    memset(s.bytes, '1', 461);
    memcpy(s.bytes, "N,", 2);
    s.bytes[461] = '\n';
    s.n = 462;
    COUNTED("one character longer than the longest", too_long);
    memset(s.bytes, 'a', 5000);
    s.n = 5000;
    COUNTED("no LF at all", too_long);
    memset(s.bytes, 'a', 460);
    s.bytes[460] = '\n';
    s.n = 461;
    COUNTED("as long as the longest", bad_crc);
}

static void test_samples_before_hello(void **state)
{
    (void)state;
    for (int text = 0; text < 2; text++) {
        start(text);
        struct uf_wire *w = new_wire(UF_FORM_AUTO);
        for (uint32_t k = 0; k < 5; k++)
            put_sample(&s, k);
        put_hello(&s);
        put_sample(&s, 5);
        feed(w, s.bytes, s.n, s.n, &got);
        assert_int_equal(got.n, 2);
        assert_int_equal(got.counts.before_hello, 5);
        assert_int_equal(got.counts.lost, 0);
        assert_int_equal(damaged(&got.counts), 0);
        assert_int_equal(got.event[1].frame.t_dev_us, 0);
        uf_wire_free(w);
    }
}

static void test_lost_and_doubled_samples(void **state)
{
    (void)state;
    start(false);
    struct uf_wire *w = new_wire(UF_FORM_AUTO);
    put_hello(&s);
    for (uint32_t k = 0; k < 2000; k++) {
        if (k >= 700 && k < 1250) /* over the wrap of both */
            continue;
        put_sample(&s, k);
        if (k == 100)
            put_sample(&s, k);
    }
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.n, 1 + 2000 - 550);
    assert_int_equal(got.counts.lost, 550);
    assert_int_equal(got.counts.duplicates, 1);
    assert_int_equal(got.counts.reboots, 0);
    assert_int_equal(got.event[701].frame.lost_before, 550);
    assert_int_equal(got.event[701].frame.t_dev_us, 1250000);
    uf_wire_free(w);
}

/* A board of another protocol: its samples are none of ours, and its number is told. Then ours is
 * plugged in again. */
static void test_foreign_protocol(void **state)
{
    (void)state;
    start(false);
    struct uf_wire *w = new_wire(UF_FORM_AUTO);
    put_hello(&s);
    put_sample(&s, 0);
    put_payload("\x01\2\x18 what a later version says here", 34);
    put_sample(&s, 1);
    put_sample(&s, 2);
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.n, 2);
    assert_int_equal(uf_wire_foreign_protocol(w), 2);
    assert_int_equal(got.counts.unknown_protocol, 1);
    assert_int_equal(got.counts.before_hello, 2);
    s.n = 0;
    put_hello(&s);
    put_sample(&s, 3);
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.n, 4);
    assert_int_equal(uf_wire_foreign_protocol(w), 0);
    assert_true(got.event[2].hello_changed);
    assert_int_equal(got.event[3].frame.epoch, 1);
    uf_wire_free(w);
}

/* Each field of HELLO that differs is a change, and begins an epoch. */
static void test_hello_changes(void **state)
{
    (void)state;
    start(false);
    struct uf_enc_hello h = {24, 24, 1000, 3, {1, 2, 3, 4, 5, 6, 7, 8}};
    struct uf_wire *w = new_wire(UF_FORM_AUTO);
    put_hello_of(&s, &h);
    put_sample(&s, 0);
    for (int i = 0; i < 5; i++) {
        h.adc_bits = (uint8_t)(h.adc_bits - (i == 0));
        h.rate_hz = (uint16_t)(h.rate_hz + (i == 1));
        h.firmware = (uint16_t)(h.firmware + (i == 2));
        h.board_id[7] = (uint8_t)(h.board_id[7] + (i == 3));
        h.channels = (uint8_t)(h.channels - (i == 4));
        s.channels = h.channels;
        put_hello_of(&s, &h);
        put_hello_of(&s, &h);
        put_sample(&s, 1 + (uint32_t)i);
    }
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.n, 2 + 5 * 3);
    for (size_t i = 0; i < 5; i++) {
        const struct uf_wire_event *e = &got.event[2 + 3 * i];
        assert_true(e[0].hello_changed);
        assert_false(e[1].hello_changed);
        assert_int_equal(e[2].kind, UF_WIRE_SAMPLE);
        assert_int_equal(e[2].frame.epoch, i + 1);
    }
    assert_int_equal(got.counts.reboots, 5);
    uf_wire_free(w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_clean_stream),
        cmocka_unit_test(test_each_kind_of_bad_packet),
        cmocka_unit_test(test_packet_of_49_channels),
        cmocka_unit_test(test_each_kind_of_bad_line),
        cmocka_unit_test(test_samples_before_hello),
        cmocka_unit_test(test_lost_and_doubled_samples),
        cmocka_unit_test(test_foreign_protocol),
        cmocka_unit_test(test_hello_changes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

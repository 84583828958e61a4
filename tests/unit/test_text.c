/* SPDX-License-Identifier: MIT
 * The text form, line by line: what is read, and what each kind of wrong line is called. */
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

/* Parses exactly n bytes in a buffer of that size, for the address sanitizer. */
static enum uf_verdict parse_bytes(const char *line, size_t n, struct uf_wire_event *out,
                                   uint32_t *t_us)
{
    uint8_t *copy = malloc(n ? n : 1);
    assert_non_null(copy);
    memcpy(copy, line, n);
    enum uf_verdict verdict = uf_line_parse(copy, n, out, t_us);
    free(copy);
    return verdict;
}

/* The line with its checksum added. */
static enum uf_verdict parse_body(const char *body, size_t n, struct uf_wire_event *out,
                                  uint32_t *t_us)
{
    char line[700];
    unsigned sum = 0;
    assert_true(n < sizeof line - 4);
    for (size_t i = 0; i < n; i++)
        sum ^= (uint8_t)body[i];
    memcpy(line, body, n);
    snprintf(line + n, sizeof line - n, "*%02X", sum & 255);
    return parse_bytes(line, n + 3, out, t_us);
}

static enum uf_verdict parse(const char *body, struct uf_wire_event *out, uint32_t *t_us)
{
    return parse_body(body, strlen(body), out, t_us);
}

static void assert_verdict(const char *body, enum uf_verdict want)
{
    struct uf_wire_event e;
    uint32_t t_us;
    enum uf_verdict got = parse(body, &e, &t_us);
    if (got != want)
        fail_msg("\"%s\": verdict %d instead of %d", body, (int)got, (int)want);
}

static void test_hello(void **state)
{
    (void)state;
    struct uf_wire_event e;
    uint32_t t_us;
    assert_int_equal(parse("H,1,24,22,1000,513,00a1B2c3D4e5F6ff", &e, &t_us), UF_GOT_HELLO);
    assert_int_equal(e.hello.protocol, 1);
    assert_int_equal(e.hello.channels, 24);
    assert_int_equal(e.hello.adc_bits, 22);
    assert_int_equal(e.hello.flags, 0);
    assert_int_equal(e.hello.rate_hz, 1000);
    assert_int_equal(e.hello.firmware, 513);
    assert_memory_equal(e.hello.board_id, "\x00\xA1\xB2\xC3\xD4\xE5\xF6\xFF", 8);

    assert_verdict("H,1,1,16,1,0,0000000000000000", UF_GOT_HELLO);
    assert_verdict("H,1,48,24,65535,65535,ffffffffffffffff", UF_GOT_HELLO);
    assert_verdict("H,2,whatever else", UF_UNKNOWN_PROTOCOL);
    static const char *const bad[] = {
        "H,0,24,24,1000,1,0000000000000000",
        "H,256,24,24,1000,1,0000000000000000",
        "H,1,0,24,1000,1,0000000000000000",
        "H,1,49,24,1000,1,0000000000000000",
        "H,1,24,15,1000,1,0000000000000000",
        "H,1,24,25,1000,1,0000000000000000",
        "H,1,24,24,0,1,0000000000000000",
        "H,1,24,24,65536,1,0000000000000000",
        "H,1,24,24,1000,65536,0000000000000000",
        "H,1,24,24,1000,1,000000000000000",
        "H,1,24,24,1000,1,00000000000000000",
        "H,1,24,24,1000,1,000000000000000g",
        "H,1,24,24,1000,1",
        "H,,24,24,1000,1,0000000000000000",
        "H,1,24,24,-1000,1,0000000000000000",
        "H,",
        "H,1,24,24,1e3,1,0000000000000000",
        "H,1,24,24, 100,1,0000000000000000",
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_verdict(bad[i], UF_BAD_FIELD);
    assert_verdict("H,1,24,24,1000,1,0000000000000000,0", UF_BAD_LENGTH);
}

static void test_sample(void **state)
{
    (void)state;
    struct uf_wire_event e;
    uint32_t t_us;
    assert_int_equal(parse("S,65535,4294967295,0F,7,8388607,-8388608,0,-0,0012", &e, &t_us),
                     UF_GOT_SAMPLE);
    assert_int_equal(e.frame.seq, 65535);
    assert_int_equal(t_us, 4294967295u);
    assert_int_equal(e.frame.inputs, 0x0F);
    assert_int_equal(e.frame.status, 7);
    assert_int_equal(e.frame.channels, 5);
    static const int32_t counts[] = {8388607, -8388608, 0, 0, 12};
    assert_memory_equal(e.frame.counts_raw, counts, sizeof counts);
    assert_verdict("S,0,0,0,0,5", UF_GOT_SAMPLE);

    /* bits without a meaning yet lose no sample, and are not handed out */
    assert_int_equal(parse("S,0,0,f1,fA,5", &e, &t_us), UF_GOT_SAMPLE);
    assert_int_equal(e.frame.inputs, 1);
    assert_int_equal(e.frame.status, 2);

    static const char *const bad[] = {
        "S,65536,0,0,0,5",
        "S,0,4294967296,0,0,5",
        "S,0,99999999999,0,0,5",
        "S,0,0,000,0,5",
        "S,0,0,,0,5",
        "S,0,0,g,0,5",
        "S,0,0,0,0,8388608",
        "S,0,0,0,0,-8388609",
        "S,0,0,0,0,",
        "S,0,0,0,0,5,",
        "S,0,0,0,0,,5",
        "S,0,0,0,0,-",
        "S,0,0,0,0,+5",
        "S,0,0,0,0,--5",
        "S,0,0,0,0, 5",
        "S,0,0,0,0,5 ",
        "S,0,0,0,0,1.5",
        "S,0,0,0,0,5x",
        "S,0,0,0,0,0x5",
        "S,0,0,0,0,00000000001",
        "S,0,0,0,0,nan",
        "S,-1,0,0,0,5",
        "S,0,0,0",
        "S,",
        "S,0,0,0,0,18446744073709551621",
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_verdict(bad[i], UF_BAD_FIELD);
    assert_verdict("S,0,0,0,0", UF_BAD_LENGTH);
}

static void test_channels(void **state)
{
    (void)state;
    char body[400] = "S,1,2,0,0";
    for (int n = 1; n <= 60; n++) {
        strcat(body, ",1");
        assert_verdict(body, n <= UF_CHANNELS_MAX ? UF_GOT_SAMPLE : UF_BAD_LENGTH);
    }
}

static void test_note(void **state)
{
    (void)state;
    struct uf_wire_event e;
    uint32_t t_us;
    char body[130] = "N,";
    assert_int_equal(parse("N,5 V low, *see* notes", &e, &t_us), UF_GOT_NOTE);
    assert_string_equal(e.note, "5 V low, *see* notes");
    assert_int_equal(parse("N,", &e, &t_us), UF_GOT_NOTE);
    assert_string_equal(e.note, "");
    memset(body + 2, 'a', 120);
    assert_int_equal(parse(body, &e, &t_us), UF_GOT_NOTE);
    assert_string_equal(e.note, body + 2);
    body[122] = 'a';
    assert_verdict(body, UF_BAD_LENGTH);
}

static void test_other_types(void **state)
{
    (void)state;
    assert_verdict("T,1,2", UF_UNKNOWN_TYPE);
    assert_verdict("X,", UF_UNKNOWN_TYPE);
    assert_verdict("s,0,0,0,0,5", UF_BAD_FIELD);
    assert_verdict("1,0,0,0,0,5", UF_BAD_FIELD);
    assert_verdict("SX,0,0,0,0,5", UF_BAD_FIELD);
    assert_verdict("S", UF_BAD_FIELD);
    assert_verdict("", UF_BAD_FIELD);
}

static void test_checksum(void **state)
{
    (void)state;
    struct uf_wire_event e;
    uint32_t t_us;
    static const struct {
        const char *line;
        enum uf_verdict want;
    } lines[] = {
        {"N,a*03", UF_GOT_NOTE},
        {"N,a*03\r", UF_GOT_NOTE},
        {"N,k*09", UF_GOT_NOTE},
        {"N,\x5A*38", UF_GOT_NOTE},
        {"S,0,0,0,0,5*4a", UF_GOT_SAMPLE},
        {"S,0,0,0,0,5*4A", UF_GOT_SAMPLE},
        {"S,0,0,0,0,5*4B", UF_BAD_CRC},
        {"S,0,0,0,0,4*4a", UF_BAD_CRC},
        {"S,0,0,0,0,5*4g", UF_BAD_CRC},
        {"S,0,0,0,0,5*4", UF_BAD_CRC},
        {"S,0,0,0,0,5", UF_BAD_CRC},
        {"S,0,0,0,0,5*4a ", UF_BAD_CRC},
        {"S,0,0,0,0,5*4a\r\r", UF_BAD_CRC},
        {"*", UF_BAD_CRC},
        {"*00", UF_BAD_FIELD},
        {"", UF_NOTHING},
        {"\r", UF_NOTHING},
        {"\r\r", UF_BAD_CRC},
        {"00", UF_BAD_CRC},
    };
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        enum uf_verdict got = parse_bytes(lines[i].line, strlen(lines[i].line), &e, &t_us);
        if (got != lines[i].want)
            fail_msg("\"%s\": verdict %d instead of %d", lines[i].line, (int)got,
                     (int)lines[i].want);
    }
}

/* Bytes that are no text are refused even where the checksum is right. */
static void test_not_text(void **state)
{
    (void)state;
    struct uf_wire_event e;
    uint32_t t_us;
    for (int c = 0; c < 256; c++) {
        char body[] = "N,a?b";
        body[3] = (char)c;
        enum uf_verdict want = c >= 0x20 && c <= 0x7E ? UF_GOT_NOTE : UF_BAD_FIELD;
        assert_int_equal(parse_body(body, 5, &e, &t_us), want);
        char sample[] = "S,0,0,0,0,5?,5";
        sample[11] = (char)c;
        want = (c >= '0' && c <= '9') || c == ',' ? UF_GOT_SAMPLE : UF_BAD_FIELD;
        if (c == ',') /* an empty field */
            want = UF_BAD_FIELD;
        assert_int_equal(parse_body(sample, 14, &e, &t_us), want);
    }
}

/* Each single changed byte, and each line cut short, is refused. */
static void test_each_damage_is_seen(void **state)
{
    (void)state;
    struct uf_wire_event e;
    uint32_t t_us;
    int32_t counts[3] = {-12, 345678, 0};
    struct uf_enc_sample s = {77, 1234567, 1, 0, 3, counts};
    uint8_t line[UF_ENC_TEXT_MAX];
    size_t n = uf_enc_text_sample(line, sizeof line, &s) - 1;
    assert_int_equal(uf_line_parse(line, n, &e, &t_us), UF_GOT_SAMPLE);
    for (size_t i = 0; i + 2 < n; i++) {
        for (unsigned bits = 1; bits < 256; bits++) {
            line[i] ^= (uint8_t)bits;
            assert_int_equal(uf_line_parse(line, n, &e, &t_us), UF_BAD_CRC);
            line[i] ^= (uint8_t)bits;
        }
    }
    for (size_t i = 1; i < n; i++)
        assert_int_equal(parse_bytes((char *)line, i, &e, &t_us), UF_BAD_CRC);
}

/* Notes of the binary form may be any bytes; what is handed out is printable UTF-8. */
static void test_note_is_made_printable(void **state)
{
    (void)state;
    static const struct {
        const char *in, *want;
    } notes[] = {
        {"caf\xC3\xA9 \xE2\x82\xAC \xF0\x9F\x8F\x8C", "caf\xC3\xA9 \xE2\x82\xAC \xF0\x9F\x8F\x8C"},
        {"a\nb\tc\x7F\x1B[2J", "a?b?c??[2J"},
        {"\xC0\xAF", "??"},           /* overlong */
        {"\xE0\x9F\xBF", "???"},      /* overlong */
        {"\xF0\x8F\xBF\xBF", "????"}, /* overlong */
        {"\xED\xA0\x80", "???"},      /* surrogate */
        {"\xF4\x90\x80\x80", "????"}, /* beyond U+10FFFF */
        {"\xF5\x80\x80\x80", "????"},
        {"\xC2\x85", "??"}, /* a control character */
        {"\xC2\xA0", "\xC2\xA0"},
        {"\xED\x9F\xBF", "\xED\x9F\xBF"},
        {"\xF4\x8F\xBF\xBF", "\xF4\x8F\xBF\xBF"},
        {"\x80 a", "? a"},
        {"\xE2\x82", "??"}, /* cut short */
        {"\xE2\x82 a", "?? a"},
        {"\xFF\xFE", "??"},
    };
    for (size_t i = 0; i < sizeof notes / sizeof notes[0]; i++) {
        char note[UF_NOTE_BYTES_MAX + 1];
        uf_note_copy(note, (const uint8_t *)notes[i].in, strlen(notes[i].in));
        assert_string_equal(note, notes[i].want);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_hello),
        cmocka_unit_test(test_sample),
        cmocka_unit_test(test_channels),
        cmocka_unit_test(test_note),
        cmocka_unit_test(test_other_types),
        cmocka_unit_test(test_checksum),
        cmocka_unit_test(test_not_text),
        cmocka_unit_test(test_each_damage_is_seen),
        cmocka_unit_test(test_note_is_made_printable),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

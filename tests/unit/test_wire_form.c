/* SPDX-License-Identifier: MIT
 * How the decoder finds the form of the line: attached anywhere, to a board that changes its form,
 * to noise; and a cut of the line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire_stream.h"

static struct stream s;
static struct events got;

static void start(bool text)
{
    s.text = text;
    s.channels = 24;
    s.n = 0;
    got.n = 0;
}

/* Attached at any byte: each whole packet from there on comes out, at most one piece is counted. */
static void test_attached_anywhere(void **state)
{
    (void)state;
    for (int text = 0; text < 2; text++) {
        size_t ends[40];
        start(text);
        s.channels = 5;
        for (uint32_t k = 0; k < 40; k++) {
            if (k % 4 == 0)
                put_hello(&s);
            put_sample(&s, k);
            ends[k] = s.n;
        }
        for (size_t from = 0; from < ends[30]; from++) {
            struct uf_wire *w = new_wire(UF_FORM_AUTO);
            got.n = 0;
            feed(w, s.bytes + from, s.n - from, s.n, &got);
            assert_in_range(damaged(&got.counts), 0, 1);
            assert_int_equal(got.detected, text ? UF_FORM_TEXT : UF_FORM_BINARY);
            assert_int_equal(sample_of(&got.event[got.n - 1].frame, 40), 39);
            uint32_t first = 0; /* the first one behind a whole HELLO */
            while (first < 40 && (first % 4 || (first ? ends[first - 1] : 0) < from))
                first++;
            assert_int_equal(got.event[0].kind, UF_WIRE_HELLO);
            uint32_t seen = sample_of(&got.event[1].frame, 40);
            assert_int_equal(seen, first);
            assert_int_equal(got.counts.samples, 40 - seen);
            assert_int_equal(got.counts.lost, 0);
            uf_wire_free(w);
        }
    }
}

/* The board is flashed with the other form, and back, with and without a cut of the line. From text
 * to binary nothing is lost (but what the flash cut in two); from binary to text up to two lines,
 * as it takes more bytes than a binary packet has to know that there is none. */
static void test_board_changes_its_form(void **state)
{
    (void)state;
    for (int run = 0; run < 8; run++) {
        bool text = run & 1, cut = run & 2, whole = run & 4;
        struct uf_wire *w = new_wire(UF_FORM_AUTO);
        for (int turn = 0; turn < 4; turn++, text = !text) {
            start(text);
            put_hello(&s);
            for (uint32_t k = 0; k < 20; k++)
                put_sample(&s, k);
            if (!whole)
                s.n -= 30;
            feed(w, s.bytes, s.n, 64, &got);
            assert_int_equal(got.detected, text ? UF_FORM_TEXT : UF_FORM_BINARY);
            size_t events = 20 + whole;
            if (turn == 0 || cut || (whole && !text))
                assert_int_equal(got.n, events);
            else
                assert_in_range(got.n, events - 2, events);
            if (cut) {
                uf_wire_line_cut(w);
                assert_int_equal(uf_wire_detected(w), UF_FORM_AUTO);
            }
        }
        assert_int_equal(uf_wire_counts(w)->reboots, 3);
        uf_wire_free(w);
    }
}

/* A line that is longer than any binary packet is taken at once, where a binary packet ended. */
static void test_long_line_after_a_packet(void **state)
{
    (void)state;
    start(false);
    s.channels = 48;
    struct uf_wire *w = new_wire(UF_FORM_AUTO);
    put_hello(&s);
    put_sample(&s, 0);
    s.text = true;
    put_sample(&s, 1);
    put_sample(&s, 2);
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.counts.samples, 3);
    assert_int_equal(got.counts.lost, 0);
    uf_wire_free(w);
}

/* A form that was set is not left, whatever comes. */
static void test_set_form(void **state)
{
    (void)state;
    for (int text = 0; text < 2; text++) {
        start(!text);
        put_hello(&s);
        for (uint32_t k = 0; k < 50; k++)
            put_sample(&s, k);
        struct uf_wire *w = new_wire(text ? UF_FORM_TEXT : UF_FORM_BINARY);
        feed(w, s.bytes, s.n, 100, &got);
        assert_int_equal(got.n, 0);
        assert_true(damaged(&got.counts) > 0);
        uf_wire_line_cut(w);
        assert_int_equal(uf_wire_detected(w), text ? UF_FORM_TEXT : UF_FORM_BINARY);
        uf_wire_free(w);
    }
}

/* A binary note may hold whole text lines. They are its text, and no packets. */
static void test_text_lines_in_a_binary_note(void **state)
{
    (void)state;
    start(false);
    struct uf_wire *w = new_wire(UF_FORM_AUTO);
    put_hello(&s);
    put_sample(&s, 0);
    put_note(&s, "\nS,1,2,0,0,5,6*53\nH,1,2,24,1000,1,0000000000000000*7d\nN,a*03\n");
    s.bytes[s.n - 8] ^= 1; /* even when that note is damaged */
    put_sample(&s, 1);
    put_note(&s, "\nN,a*03\n");
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.n, 4);
    assert_int_equal(got.detected, UF_FORM_BINARY);
    assert_string_equal(got.event[3].note, "?N,a*03?");
    assert_int_equal(damaged(&got.counts), 1);
    uf_wire_free(w);
}

/* A wrong guess (a text line in a binary stream's first piece) is put right by the next packet. */
static void test_wrong_guess(void **state)
{
    (void)state;
    start(false);
    struct uf_wire *w = new_wire(UF_FORM_AUTO);
    put_bytes(&s, "\nN,a*03\n", 8);
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.detected, UF_FORM_TEXT);
    s.n = 0;
    put_bytes(&s, "", 1); /* the delimiter that ends the piece */
    put_hello(&s);
    put_sample(&s, 0);
    feed(w, s.bytes, s.n, s.n, &got);
    assert_int_equal(got.detected, UF_FORM_BINARY);
    assert_int_equal(got.n, 3);
    uf_wire_free(w);
}

/* Noise without end: nothing comes out, the counters say that something is wrong. */
static void test_noise(void **state)
{
    (void)state;
    for (int kind = 0; kind < 3; kind++) {
        uint64_t rng = 99;
        start(false);
        for (size_t i = 0; i < 100000; i++) {
            uint32_t r = chance(&rng);
            uint8_t byte = kind == 0   ? (uint8_t)r
                           : kind == 1 ? (uint8_t)(r % 20 ? 0x20 + r % 95 : '\n')
                                       : (uint8_t)(r | 0x80);
            put_bytes(&s, &byte, 1);
        }
        struct uf_wire *w = new_wire(UF_FORM_AUTO);
        feed(w, s.bytes, s.n, 4096, &got);
        assert_int_equal(got.n, 0);
        assert_int_equal(got.detected, UF_FORM_AUTO);
        assert_true(damaged(&got.counts) >= (kind == 2 ? 1 : 100));
        uf_wire_free(w);
    }
}

/* A cut line: the half packet before it and the half after do not make one. Clock, HELLO and
 * counters stay. */
static void test_line_cut(void **state)
{
    (void)state;
    for (int text = 0; text < 2; text++) {
        start(text);
        struct uf_wire *w = new_wire(UF_FORM_AUTO);
        put_hello(&s);
        put_sample(&s, 0);
        size_t from = s.n;
        put_sample(&s, 1);
        size_t middle = from + (s.n - from) / 2;
        put_sample(&s, 2);
        feed(w, s.bytes, middle, s.n, &got);
        uf_wire_line_cut(w);
        feed(w, s.bytes + middle, s.n - middle, s.n, &got);
        assert_int_equal(got.n, 3);
        assert_int_equal(got.event[2].frame.t_dev_us, 2000);
        assert_int_equal(got.event[2].frame.lost_before, 1);
        assert_int_equal(damaged(&got.counts), 1);
        assert_int_equal(got.counts.hellos, 1);
        uf_wire_free(w);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_attached_anywhere),
        cmocka_unit_test(test_board_changes_its_form),
        cmocka_unit_test(test_long_line_after_a_packet),
        cmocka_unit_test(test_set_form),
        cmocka_unit_test(test_text_lines_in_a_binary_note),
        cmocka_unit_test(test_wrong_guess),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_line_cut),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * The decoder on damaged lines: what comes out was sent, in its order and at its time; what was not
 * damaged comes out; two packets at most are lost around a damage. And however the bytes are cut
 * into reads, the same comes out. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire_stream.h"

#include <stdio.h>

#define SAMPLES_MAX 1000

static struct stream sent, line;
static struct events got, want;

/* Where each sample's packet lies in `sent`, and whether a damage may have cost it. */
static struct {
    size_t start, end;
    bool touched;
} packet[SAMPLES_MAX];

static void make(bool text, uint8_t channels, uint32_t samples)
{
    sent.text = text;
    sent.channels = channels;
    sent.n = 0;
    put_hello(&sent);
    for (uint32_t k = 0; k < samples; k++) {
        packet[k].start = sent.n;
        packet[k].touched = false;
        put_sample(&sent, k);
        packet[k].end = sent.n;
        if (k % 100 == 50)
            put_hello(&sent);
        if (k % 100 == 75)
            put_note(&sent, "a note among the samples");
    }
}

/* Bytes from..to were damaged. The packet before `from` lost nothing, as its delimiter lies before;
 * the one after the touched ones may have lost its beginning to a merged piece. */
static void touch(size_t from, size_t to, uint32_t samples)
{
    for (uint32_t k = 0; k < samples; k++) {
        bool before = packet[k].end <= from, after = packet[k].start > to;
        if (before || after)
            continue;
        packet[k].touched = true;
        if (k + 1 < samples)
            packet[k + 1].touched = true;
    }
}

/* Puts one damage of n bytes at `from` of sent onto the line; returns where sent goes on. */
static size_t damage(uint64_t *rng, size_t from, size_t n)
{
    uint8_t junk[512];
    n = n < sent.n - from ? n : sent.n - from;
    switch (chance(rng) % 6) {
    case 0: /* flipped bits */
        for (size_t i = 0; i < n; i++)
            junk[i] = (uint8_t)(sent.bytes[from + i] ^ (1u << chance(rng) % 8));
        put_bytes(&line, junk, n);
        return from + n;
    case 1: /* lost */
        return from + n;
    case 2: /* doubled */
        put_bytes(&line, sent.bytes + from, n);
        put_bytes(&line, sent.bytes + from, n);
        return from + n;
    case 3: /* noise in between */
        for (size_t i = 0; i < n; i++)
            junk[i] = (uint8_t)chance(rng);
        put_bytes(&line, junk, n);
        return from;
    case 4: /* overwritten by noise */
        for (size_t i = 0; i < n; i++)
            junk[i] = (uint8_t)chance(rng);
        put_bytes(&line, junk, n);
        return from + n;
    default: /* overwritten by one value, delimiters among them */
        memset(junk, (uint8_t[]){0x00, 0xFF, '\n', 0x01}[chance(rng) % 4], n);
        put_bytes(&line, junk, n);
        return from + n;
    }
}

static void spoil(uint64_t *rng, size_t damages, size_t longest, uint32_t samples)
{
    size_t intact = packet[0].start; /* the first HELLO */
    size_t every = (sent.n - intact) / damages;
    size_t from = 0;
    line.n = 0;
    for (size_t i = 0; i < damages; i++) {
        size_t at = intact + i * every + chance(rng) % every;
        if (at < from)
            continue;
        size_t n = 1 + chance(rng) % longest;
        put_bytes(&line, sent.bytes + from, at - from);
        from = damage(rng, at, n);
        touch(at, at + n, samples);
    }
    put_bytes(&line, sent.bytes + from, sent.n - from);
}

static void check(uint32_t samples)
{
    bool came[SAMPLES_MAX] = {false};
    uint32_t next = 0, missing = 0;
    for (size_t i = 0; i < got.n; i++) {
        const struct uf_wire_event *e = &got.event[i];
        if (e->kind == UF_WIRE_NOTE)
            assert_string_equal(e->note, "a note among the samples");
        if (e->kind == UF_WIRE_HELLO)
            assert_int_equal(e->hello_changed, i == 0);
        if (e->kind != UF_WIRE_SAMPLE)
            continue;
        uint32_t k = sample_of(&e->frame, samples);
        assert_true(k >= next); /* in order, none twice */
        if (next == 0)
            missing = k; /* time begins with the first that came */
        else
            assert_int_equal(e->frame.lost_before, k - next);
        assert_int_equal(e->frame.t_dev_us, 1000 * ((int64_t)k - missing));
        assert_int_equal(e->frame.epoch, 0);
        came[k] = true;
        next = k + 1;
    }
    for (uint32_t k = 0; k < samples; k++)
        if (!came[k] && !packet[k].touched)
            fail_msg("sample %u was lost though no damage was near it", k);
}

/* Any damage, of up to 300 bytes, in the binary form. */
static void test_damaged_binary(void **state)
{
    (void)state;
    uint64_t rng = 0x123456789abcdefull, lost = 0;
    for (uint32_t run = 0; run < 150; run++) {
        uint32_t samples = run % 10 ? 400 : 1000;
        make(false, (uint8_t)(1 + run % 48), samples);
        size_t longest = (size_t[]){1, 3, 20, 300}[run % 4];
        spoil(&rng, 1 + chance(&rng) % 60, longest, samples);
        struct uf_wire *w = new_wire(run % 3 ? UF_FORM_AUTO : UF_FORM_BINARY);
        got.n = 0;
        feed(w, line.bytes, line.n, 1 + chance(&rng) % 4096, &got);
        check(samples);
        assert_int_equal(got.counts.reboots, 0);
        lost += got.counts.lost;
        uf_wire_free(w);
    }
    assert_true(lost > 5000); /* the test did damage something */
}

/* One byte a damage, far apart, in the text form: its XOR sees every such damage, but no more. */
static void test_damaged_text(void **state)
{
    (void)state;
    uint64_t rng = 0xfedcba987654321ull, lost = 0;
    for (uint32_t run = 0; run < 150; run++) {
        make(true, (uint8_t)(1 + run % 24), 300);
        spoil(&rng, 1 + chance(&rng) % 40, 1, 300);
        struct uf_wire *w = new_wire(run % 3 ? UF_FORM_AUTO : UF_FORM_TEXT);
        got.n = 0;
        feed(w, line.bytes, line.n, 1 + chance(&rng) % 4096, &got);
        check(300);
        lost += got.counts.lost;
        uf_wire_free(w);
    }
    assert_true(lost > 2000);
}

/* Each single byte of a binary packet changed to each other value: only that packet is lost, or
 * with its delimiter the next one, too. */
static void test_each_byte_of_a_packet(void **state)
{
    (void)state;
    make(false, 4, 8);
    for (size_t at = packet[3].start; at < packet[3].end; at++) {
        for (unsigned bits = 1; bits < 256; bits++) {
            struct uf_wire *w = new_wire(UF_FORM_AUTO);
            got.n = 0;
            sent.bytes[at] ^= (uint8_t)bits;
            feed(w, sent.bytes, sent.n, sent.n, &got);
            sent.bytes[at] ^= (uint8_t)bits;
            uint32_t lost = at == packet[3].end - 1 ? 2 : 1;
            assert_int_equal(got.counts.samples, 8 - lost);
            assert_int_equal(got.counts.lost, lost);
            /* a byte that became a delimiter makes two damaged pieces of the packet, or one and
             * an empty one; one that was a delimiter makes one of two */
            assert_in_range(damaged(&got.counts), 1, sent.bytes[at] == bits ? 2 : 1);
            uf_wire_free(w);
        }
    }
}

/* A stream with everything in it: clean, damaged, both forms, a reboot. */
static void make_mixture(bool text)
{
    uint64_t rng = 4711;
    line.text = text;
    line.channels = 6;
    line.n = 0;
    put_sample(&line, 4999);
    put_hello(&line);
    for (uint32_t k = 5000; k < 5012; k++)
        put_sample(&line, k);
    line.bytes[line.n - 20] ^= 0x10;
    put_note(&line, "between");
    put_bytes(&line, "\n\r\n\0\0", 5);
    for (int i = 0; i < 300; i++) {
        uint8_t byte = (uint8_t)chance(&rng);
        put_bytes(&line, &byte, 1);
    }
    for (uint32_t k = 5014; k < 5020; k++)
        put_sample(&line, k);
    put_sample(&line, 5019);
    for (uint32_t k = 0; k < 4; k++) /* reboot */
        put_sample(&line, k);
    line.text = !text;
    put_hello(&line);
    for (uint32_t k = 0; k < 8; k++)
        put_sample(&line, 4 + k);
}

static void test_split_anywhere(void **state)
{
    (void)state;
    for (int text = 0; text < 2; text++) {
        for (int form = 0; form < 3; form++) {
            make_mixture(text);
            struct uf_wire *w = new_wire((enum uf_wire_form)form);
            want.n = 0;
            feed(w, line.bytes, line.n, line.n, &want);
            uf_wire_free(w);
            if (form == UF_FORM_AUTO) {
                assert_true(want.counts.samples >= 25);
                assert_true(damaged(&want.counts) >= 2);
                assert_int_equal(want.counts.reboots, 1);
            }
            for (size_t split = 1; split < line.n; split++) { /* in two, anywhere */
                w = new_wire((enum uf_wire_form)form);
                got.n = 0;
                feed(w, line.bytes, split, split, &got);
                feed(w, line.bytes + split, line.n - split, line.n, &got);
                assert_same_events(&want, &got);
                uf_wire_free(w);
            }
            for (size_t piece = 1; piece < 600; piece++) { /* in many */
                w = new_wire((enum uf_wire_form)form);
                got.n = 0;
                feed(w, line.bytes, line.n, piece, &got);
                assert_same_events(&want, &got);
                uf_wire_free(w);
            }
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_damaged_binary),
        cmocka_unit_test(test_damaged_text),
        cmocka_unit_test(test_each_byte_of_a_packet),
        cmocka_unit_test(test_split_anywhere),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

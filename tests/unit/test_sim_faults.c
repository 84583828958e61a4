/* SPDX-License-Identifier: MIT
 * The simulated board and the bad line: a good line is left alone, damage comes as often as asked
 * for and never makes a false sample, a reboot looks like one, and wrong settings are refused. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "sim/board.h"
#include "sim/faults.h"
#include "wire/wire.h"

#include <math.h>
#include <string.h>

#define CHANNELS 8
#define SAMPLES  6000

static const struct uf_hello hello = {
    .protocol = 1, .channels = CHANNELS, .adc_bits = 24, .rate_hz = 1000, .board_id = {1, 2, 3}};

/* Sample i, told by itself: its counts say which one it is. */
static void make_sample(uint32_t i, struct uf_sim_sample *s)
{
    memset(s, 0, sizeof *s);
    s->t_s = i / 1000.0;
    s->t_us = 4294960000u + 1000 * i; /* wraps early on */
    s->seq = (uint16_t)(65000 + i);
    s->inputs = i % 100 == 0;
    for (int ch = 0; ch < CHANNELS; ch++)
        s->counts_raw[ch] = (int32_t)(i * (uint32_t)(ch + 1)) - 3000;
}

struct result {
    uint64_t samples, reboots, strikes, bytes, wrong;
    struct uf_wire_counts counts;
};

static void decode(struct uf_wire *w, const uint8_t *bytes, size_t n, struct result *r)
{
    struct uf_wire_event e;
    r->bytes += n;
    while (n > 0) {
        size_t used = uf_wire_feed(w, bytes, n, &e);
        bytes += used;
        n -= used;
        if (e.kind != UF_WIRE_SAMPLE)
            continue;
        r->samples++;
        r->strikes += e.frame.inputs;
        uint32_t i = (uint32_t)(e.frame.counts_raw[0] + 3000);
        bool wrong = i >= SAMPLES;
        for (int ch = 0; ch < CHANNELS; ch++)
            wrong |= e.frame.counts_raw[ch] != (int32_t)(i * (uint32_t)(ch + 1)) - 3000;
        r->wrong += wrong;
    }
}

/* Board, line, decoder. */
static struct result run(const char *faults, bool text, uint64_t seed)
{
    struct uf_fault_settings s;
    struct uf_fault f;
    struct uf_sim_board board;
    struct uf_wire *w;
    struct uf_error err;
    struct result r;
    memset(&s, 0, sizeof s);
    memset(&r, 0, sizeof r);
    if (faults)
        assert_int_equal(uf_fault_parse(faults, &s, &err), 0);
    assert_int_equal(uf_wire_new(&w, text ? UF_FORM_TEXT : UF_FORM_BINARY, &err), 0);
    uf_fault_start(&f, &s, seed);
    uf_sim_board_start(&board, &hello, text);
    for (uint32_t i = 0; i < SAMPLES; i++) {
        struct uf_sim_sample sample;
        uint8_t packets[UF_SIM_BOARD_BYTES], line[2 * UF_SIM_BOARD_BYTES + UF_FAULT_BURST_MAX];
        size_t length[3], at = 0;
        make_sample(i, &sample);
        struct uf_fault_event e;
        while ((e = uf_fault_due(&f, sample.t_s)).kind != UF_FAULT_NONE)
            if (e.kind == UF_FAULT_REBOOT)
                uf_sim_board_reboot(&board, sample.t_s, e.length_s);
        size_t n = uf_sim_board_packets(&board, &sample, packets, length);
        for (size_t k = 0; k < n; k++) {
            assert_true(length[k] > 0);
            decode(w, line, uf_fault_packet(&f, sample.t_s, packets + at, length[k], line), &r);
            at += length[k];
        }
    }
    r.counts = *uf_wire_counts(w);
    r.reboots = board.reboots;
    uf_wire_free(w);
    return r;
}

/* Part of all samples. */
static double part(uint64_t n)
{
    return (double)n / SAMPLES;
}

static void test_good_line(void **state)
{
    (void)state;
    for (int text = 0; text < 2; text++) {
        struct result r = run(NULL, text, 1);
        assert_int_equal(r.samples, SAMPLES);
        assert_int_equal(r.wrong, 0);
        assert_int_equal(r.strikes, SAMPLES / 100);
        assert_int_equal(r.counts.lost, 0);
        assert_int_equal(r.counts.hellos, SAMPLES / 1000);
        assert_int_equal(r.counts.notes, 1);
        assert_int_equal(r.counts.bad_crc + r.counts.bad_cobs + r.counts.bad_length +
                             r.counts.bad_field + r.counts.too_long,
                         0);
    }
}

/* As many packets are lost as are damaged, or a neighbour with each, and in binary form none that
 * comes through is wrong. */
static void test_damaged_packets(void **state)
{
    (void)state;
    for (int text = 0; text < 2; text++) {
        struct result r = run("damage=0.05", text, 2);
        uint64_t missing = SAMPLES - r.samples;
        assert_true(part(missing) > 0.03 && part(missing) < 0.10);
        assert_true(r.wrong <= (text ? 10 : 0));
        r = run("drop=0.05", text, 3);
        missing = SAMPLES - r.samples;
        assert_true(part(missing) > 0.035 && part(missing) < 0.065);
        assert_true(r.counts.lost >= missing - 30 && r.counts.lost <= missing);
    }
}

static void test_bytes_and_bursts(void **state)
{
    (void)state;
    static const char *const faults[] = {"flip=2e-3", "lose=2e-3", "twice=2e-3", "burst=50/s",
                                         "flip=1e-3,lose=1e-3,twice=1e-3,burst=10/s,damage=0.01"};
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++)
        for (int text = 0; text < 2; text++) {
            struct result r = run(faults[i], text, 4 + i);
            assert_true(r.samples < SAMPLES);
            assert_true(part(r.samples) > 0.6);
            /* an 8-bit sum of lines lets some pass: why the binary form is the default */
            assert_true(part(r.wrong) <= (text ? 0.02 : 0));
        }
    assert_true(run("lose=0.01", false, 5).bytes < run(NULL, false, 5).bytes);
    assert_true(run("twice=0.01", false, 5).bytes > run(NULL, false, 5).bytes);
}

static void test_same_seed_same_damage(void **state)
{
    (void)state;
    struct result a = run("flip=1e-3,burst=5/s", false, 9),
                  b = run("flip=1e-3,burst=5/s", false, 9);
    assert_int_equal(a.bytes, b.bytes);
    assert_memory_equal(&a.counts, &b.counts, sizeof a.counts);
}

static void test_reboot(void **state)
{
    (void)state;
    for (int text = 0; text < 2; text++) {
        struct result r = run("reboot@2:0.4,reboot@4", text, 6);
        assert_int_equal(r.reboots, 2);
        assert_int_equal(r.counts.reboots, 2);
        assert_int_equal(r.samples, SAMPLES - 400 - 500);
        assert_int_equal(r.counts.lost, 0); /* a new epoch, not a gap */
    }
}

static void test_gap(void **state)
{
    (void)state;
    struct result r = run("gap@1.5:0.25", false, 7);
    assert_int_equal(r.samples, SAMPLES - 250);
    assert_int_equal(r.counts.lost, 250);
}

static void test_events_in_order_and_once(void **state)
{
    (void)state;
    struct uf_fault_settings s;
    struct uf_fault f;
    struct uf_error err;
    memset(&s, 0, sizeof s);
    assert_int_equal(uf_fault_parse("unplug@5:1,reboot@1,ppm=100", &s, &err), 0);
    assert_int_equal(uf_fault_parse("pause@3:0.2", &s, &err), 0); /* adds */
    assert_true(s.ppm == 100);
    uf_fault_start(&f, &s, 1);
    assert_int_equal(uf_fault_due(&f, 0.9).kind, UF_FAULT_NONE);
    assert_int_equal(uf_fault_due(&f, 4).kind, UF_FAULT_REBOOT);
    struct uf_fault_event e = uf_fault_due(&f, 4);
    assert_int_equal(e.kind, UF_FAULT_PAUSE);
    assert_true(e.length_s == 0.2);
    assert_int_equal(uf_fault_due(&f, 4).kind, UF_FAULT_NONE);
    assert_int_equal(uf_fault_due(&f, 5).kind, UF_FAULT_UNPLUG);
    assert_int_equal(uf_fault_due(&f, 50).kind, UF_FAULT_NONE);
}

static void test_pause_by_chance(void **state)
{
    (void)state;
    struct uf_fault_settings s;
    struct uf_fault f;
    memset(&s, 0, sizeof s);
    assert_int_equal(uf_fault_parse("pause=2/s,pause_s=0.05", &s, NULL), 0);
    uf_fault_start(&f, &s, 3);
    int pauses = 0;
    for (int i = 0; i < 100000; i++)
        pauses += uf_fault_due(&f, i / 1000.0).kind == UF_FAULT_PAUSE;
    assert_true(pauses > 150 && pauses < 250);
}

static void test_bad_settings(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",           "flip",      "flip=",      "flip=x",    "flip=2",    "flip=-1",
        "smudge=1",   "reboot=3",  "flip@3",     "reboot@",   "reboot@-1", "reboot@3:0",
        "reboot@3:x", "reboot@3s", "flip=1e-5,", "burst=1/m", "flip=nan"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct uf_fault_settings s;
        struct uf_error err = {0, ""};
        memset(&s, 0, sizeof s);
        assert_int_equal(uf_fault_parse(bad[i], &s, &err), UF_EINVAL);
        assert_non_null(strstr(err.text, "fault \""));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_good_line),
        cmocka_unit_test(test_damaged_packets),
        cmocka_unit_test(test_bytes_and_bursts),
        cmocka_unit_test(test_same_seed_same_damage),
        cmocka_unit_test(test_reboot),
        cmocka_unit_test(test_gap),
        cmocka_unit_test(test_events_in_order_and_once),
        cmocka_unit_test(test_pause_by_chance),
        cmocka_unit_test(test_bad_settings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

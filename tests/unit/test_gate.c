/* SPDX-License-Identifier: MIT
 * Who is let in: held until HELLO at every split of the bytes, all of them handed on, others
 * refused with a sentence. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon/gate.h"
#include "encoder.h"

#include <stdio.h>
#include <string.h>

#define CHANNELS 24

/* Some samples of a board that has been running, HELLO, some more. */
struct stream {
    uint8_t bytes[8192];
    size_t n;
    size_t hello_end; /* where the HELLO is complete */
};

static void add_samples(struct stream *s, int n, int channels)
{
    int32_t counts[UF_ENC_CHANNELS_MAX] = {0};
    for (int i = 0; i < n; i++) {
        const struct uf_enc_sample sample = {.seq = (uint16_t)i,
                                             .t_us = (uint32_t)(1000 * i),
                                             .channels = (uint8_t)channels,
                                             .counts = counts};
        s->n += uf_enc_sample(s->bytes + s->n, sizeof s->bytes - s->n, &sample);
    }
}

static void make(struct stream *s, int channels, uint8_t last_id)
{
    const struct uf_enc_hello hello = {.channels = (uint8_t)channels,
                                       .adc_bits = 24,
                                       .rate_hz = 1000,
                                       .firmware = 3,
                                       .board_id = {1, 2, 3, 4, 5, 6, 7, last_id}};
    s->n = 0;
    s->bytes[s->n++] = 0xAA; /* the end of a packet whose beginning was missed */
    s->bytes[s->n++] = 0;
    add_samples(s, 3, channels);
    s->n += uf_enc_hello(s->bytes + s->n, sizeof s->bytes - s->n, &hello);
    s->hello_end = s->n;
    add_samples(s, 3, channels);
}

static struct uf_gate *gate_for(const char *board_id, const struct uf_rig *rig)
{
    struct uf_gate *g;
    assert_int_equal(uf_gate_new(&g, UF_FORM_AUTO, board_id, rig, NULL), UF_OK);
    return g;
}

static void test_every_split(void **state)
{
    (void)state;
    struct stream s;
    make(&s, CHANNELS, 8);
    struct uf_gate *g = gate_for("0102030405060708", NULL);
    for (size_t split = 0; split <= s.n; split++) {
        uf_gate_shut(g);
        const uint8_t *p = s.bytes;
        size_t n = split;
        enum uf_gate_verdict v = uf_gate_feed(g, &p, &n, NULL);
        assert_int_equal(v, split < s.hello_end ? UF_GATE_HOLD : UF_GATE_PASS);
        size_t out = v == UF_GATE_PASS ? n : 0;
        if (v == UF_GATE_PASS)
            assert_memory_equal(p, s.bytes, n);
        p = s.bytes + split;
        n = s.n - split;
        assert_int_equal(uf_gate_feed(g, &p, &n, NULL), UF_GATE_PASS);
        assert_int_equal(out + n, s.n); /* all of it, once */
        assert_memory_equal(p, s.bytes + out, n);
        assert_true(uf_gate_is_open(g));
    }
    uf_gate_free(g);
    uf_gate_free(NULL);
}

/* After a reopening another board may be there. */
static void test_shut_again(void **state)
{
    (void)state;
    struct stream ours, other;
    struct uf_error err = {0};
    make(&ours, CHANNELS, 8);
    make(&other, CHANNELS, 9);
    struct uf_gate *g = gate_for("0102030405060708", NULL);
    const uint8_t *p = ours.bytes;
    size_t n = ours.n;
    assert_int_equal(uf_gate_feed(g, &p, &n, &err), UF_GATE_PASS);
    uf_gate_shut(g);
    p = other.bytes;
    n = other.n;
    assert_int_equal(uf_gate_feed(g, &p, &n, &err), UF_GATE_REFUSE);
    assert_non_null(strstr(err.text, "0102030405060709"));
    assert_non_null(strstr(err.text, "link.board_id"));
    uf_gate_shut(g);
    p = ours.bytes;
    n = ours.n;
    assert_int_equal(uf_gate_feed(g, &p, &n, &err), UF_GATE_PASS);
    assert_int_equal(n, ours.n); /* nothing of the other one */
    assert_memory_equal(p, ours.bytes, n);
    uf_gate_free(g);
}

static void test_channels(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct stream s;
    struct uf_error err = {0};
    uf_rig_example(&rig);
    struct uf_gate *g = gate_for("", &rig);
    make(&s, rig.channels - 1, 8);
    const uint8_t *p = s.bytes;
    size_t n = s.n;
    assert_int_equal(uf_gate_feed(g, &p, &n, &err), UF_GATE_REFUSE);
    assert_non_null(strstr(err.text, "23 channels"));
    assert_non_null(strstr(err.text, "needs 24"));
    uf_gate_shut(g);
    make(&s, rig.channels + 1, 8); /* more than needed is fine */
    p = s.bytes;
    n = s.n;
    assert_int_equal(uf_gate_feed(g, &p, &n, &err), UF_GATE_PASS);
    uf_gate_free(g);
}

static void test_protocol(void **state)
{
    (void)state;
    struct uf_error err = {0};
    char line[80] = "H,2,24,24,1000,1,0102030405060708";
    unsigned sum = 0;
    for (const char *c = line; *c; c++)
        sum ^= (unsigned char)*c;
    snprintf(line + strlen(line), 8, "*%02X\n", sum);
    struct uf_gate *g = gate_for("", NULL);
    const uint8_t *p = (const uint8_t *)line;
    size_t n = strlen(line);
    assert_int_equal(uf_gate_feed(g, &p, &n, &err), UF_GATE_REFUSE);
    assert_non_null(strstr(err.text, "version 2"));
    assert_non_null(strstr(err.text, "version 1"));
    uf_gate_free(g);
}

/* Somebody else's bytes, for ever: given up in pieces, never passed, and a HELLO that comes late is
 * still seen. */
static void test_strange_bytes(void **state)
{
    (void)state;
    struct stream s;
    static uint8_t noise[UF_GATE_FEED_MAX];
    for (size_t i = 0; i < sizeof noise; i++)
        noise[i] = (uint8_t)(i * 31 + i / 255);
    make(&s, CHANNELS, 8);
    struct uf_gate *g = gate_for("", NULL);
    size_t in = 0, out = 0;
    int unknown = 0;
    for (int i = 0; i < 40; i++) {
        const uint8_t *p = noise;
        size_t n = sizeof noise;
        enum uf_gate_verdict v = uf_gate_feed(g, &p, &n, NULL);
        assert_true(v == UF_GATE_HOLD || v == UF_GATE_UNKNOWN);
        in += sizeof noise;
        if (v == UF_GATE_UNKNOWN) {
            out += n;
            unknown++;
        }
    }
    assert_int_equal(unknown, 2);
    const uint8_t *p = s.bytes;
    size_t n = s.n;
    assert_int_equal(uf_gate_feed(g, &p, &n, NULL), UF_GATE_PASS);
    assert_int_equal(out + n, in + s.n);
    uf_gate_free(g);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_split),   cmocka_unit_test(test_shut_again),
        cmocka_unit_test(test_channels),      cmocka_unit_test(test_protocol),
        cmocka_unit_test(test_strange_bytes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

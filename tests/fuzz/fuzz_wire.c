/* SPDX-License-Identifier: MIT
 * Fuzz target of src/wire. The input is a script: its first byte sets the form; then come steps,
 * each of which puts raw bytes, a packet of the reference encoder (also with a wrong CRC) or a cut
 * of the line onto the stream, or changes the size of the reads. The decoder gets the stream in
 * reads of those sizes.
 *
 * Checked: at least one byte is taken; a frame has the last HELLO's channels, a time that grows, a
 * sequence that fits what is said to be lost; the counters add up. With the binary form set, a
 * plain second decoder, written from wire-format.md alone, must find the same packets. */
#include "encoder.h"
#include "wire/wire.h"

#include <stdlib.h>
#include <string.h>

#define PIECE_MAX 256 /* beyond the longest legal packet: what follows does not matter */

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define REQUIRE(x) ((x) ? (void)0 : abort())

struct input {
    const uint8_t *p;
    size_t left;
};

struct state {
    struct uf_wire *wire;
    enum uf_wire_form form;
    bool binary_only;
    struct uf_hello hello;
    bool greeted;
    int64_t t_dev_us;
    uint16_t seq;
    uint32_t epoch;
    uint64_t samples, lost, hellos, notes, reboots;
    size_t read_bytes;
    /* the second decoder: the piece since the last delimiter, and what it counted */
    uint8_t piece[PIECE_MAX];
    size_t piece_n;
    int plain_channels; /* 0: no HELLO in force */
    uint64_t plain_samples, plain_hellos, plain_notes, plain_bad;
};

static uint8_t take(struct input *in)
{
    if (!in->left)
        return 0;
    in->left--;
    return *in->p++;
}

static uint32_t take_u32(struct input *in)
{
    uint32_t v = take(in);
    v |= (uint32_t)take(in) << 8;
    v |= (uint32_t)take(in) << 16;
    return v | (uint32_t)take(in) << 24;
}

/* ---- the second decoder ---- */

static uint32_t bitwise_crc(const uint8_t *p, size_t n)
{
    uint32_t crc = 0xFFFFFFFFu;
    while (n--) {
        crc ^= *p++;
        for (int i = 0; i < 8; i++)
            crc = crc & 1 ? crc >> 1 ^ 0xEDB88320u : crc >> 1;
    }
    return ~crc;
}

/* Returns the decoded length, or 0. */
static size_t plain_cobs(const uint8_t *in, size_t n, uint8_t *out)
{
    size_t w = 0;
    for (size_t i = 0; i < n;) {
        size_t code = in[i++];
        for (size_t k = 1; k < code; k++) {
            if (i == n)
                return 0;
            out[w++] = in[i++];
        }
        if (code != 255 && i < n)
            out[w++] = 0;
    }
    return w;
}

static void plain_packet(struct state *s)
{
    uint8_t d[PIECE_MAX];
    size_t n = s->piece_n;
    s->piece_n = 0;
    if (n == 0)
        return;
    s->plain_bad++; /* until it has proved to be good */
    if (n > 158)
        return;
    n = plain_cobs(s->piece, n, d);
    if (n < 5)
        return;
    uint32_t crc = (uint32_t)d[n - 4] | (uint32_t)d[n - 3] << 8 | (uint32_t)d[n - 2] << 16 |
                   (uint32_t)d[n - 1] << 24;
    n -= 4;
    if (crc != bitwise_crc(d, n))
        return;
    if (d[0] == 1 && n > 1 && d[1] > 1) {
        s->plain_channels = 0;
    } else if (d[0] == 1 && n == 17 && d[1] == 1 && d[2] >= 1 && d[2] <= 48 && d[3] >= 16 &&
               d[3] <= 24 && (d[5] || d[6])) {
        s->plain_channels = d[2];
        s->plain_hellos++;
        s->plain_bad--;
    } else if (d[0] == 2 && s->plain_channels && n == 9 + 3 * (size_t)s->plain_channels) {
        s->plain_samples++;
        s->plain_bad--;
    } else if (d[0] == 3 && n <= 121) {
        s->plain_notes++;
        s->plain_bad--;
    }
}

static void plain_feed(struct state *s, const uint8_t *bytes, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (bytes[i] == 0)
            plain_packet(s);
        else if (s->piece_n < PIECE_MAX)
            s->piece[s->piece_n++] = bytes[i];
    }
}

/* ---- checks ---- */

static void check_frame(struct state *s, const struct uf_frame *f)
{
    REQUIRE(s->greeted && f->channels == s->hello.channels);
    REQUIRE(f->inputs < 16 && f->status < 8);
    for (size_t i = 0; i < f->channels; i++)
        REQUIRE(f->counts_raw[i] >= -8388608 && f->counts_raw[i] <= 8388607);
    if (s->samples) {
        REQUIRE(f->t_dev_us > s->t_dev_us);
        REQUIRE(f->epoch == s->epoch || f->epoch == s->epoch + 1);
        if (f->epoch == s->epoch)
            REQUIRE((uint16_t)(s->seq + 1 + f->lost_before) == f->seq);
        else
            REQUIRE(f->lost_before == 0);
        s->reboots += f->epoch - s->epoch;
    } else {
        REQUIRE(f->t_dev_us == 0 && f->epoch == 0 && f->lost_before == 0);
    }
    s->samples++;
    s->lost += f->lost_before;
    s->t_dev_us = f->t_dev_us;
    s->seq = f->seq;
    s->epoch = f->epoch;
}

static void check_event(struct state *s, const struct uf_wire_event *e)
{
    switch (e->kind) {
    case UF_WIRE_HELLO:
        REQUIRE(e->hello.protocol == 1 && e->hello.channels >= 1 && e->hello.channels <= 48);
        REQUIRE(e->hello.adc_bits >= 16 && e->hello.adc_bits <= 24);
        REQUIRE(e->hello.rate_hz > 0);
        s->hello = e->hello;
        s->greeted = true;
        s->hellos++;
        break;
    case UF_WIRE_SAMPLE:
        check_frame(s, &e->frame);
        break;
    case UF_WIRE_NOTE:
        REQUIRE(memchr(e->note, 0, sizeof e->note));
        for (const char *p = e->note; *p; p++)
            REQUIRE((uint8_t)*p >= 0x20 && *p != 0x7F);
        s->notes++;
        break;
    case UF_WIRE_NONE:
        break;
    }
}

static void put(struct state *s, const uint8_t *bytes, size_t n)
{
    if (s->binary_only)
        plain_feed(s, bytes, n);
    while (n) {
        struct uf_wire_event e;
        size_t size = n < s->read_bytes ? n : s->read_bytes;
        size_t taken = uf_wire_feed(s->wire, bytes, size, &e);
        REQUIRE(taken > 0 && taken <= size);
        check_event(s, &e);
        bytes += taken;
        n -= taken;
    }
}

/* ---- steps ---- */

static void put_hello(struct state *s, struct input *in, bool text, size_t spoilt)
{
    uint8_t out[UF_ENC_TEXT_MAX];
    struct uf_enc_hello h = {
        take(in), (uint8_t)(16 + take(in) % 9), (uint16_t)(1 + take(in) * 8), 0, {take(in)}};
    size_t n = text ? uf_enc_text_hello(out, sizeof out, &h) : uf_enc_hello(out, sizeof out, &h);
    if (n && spoilt)
        out[spoilt % n] ^= 0x24;
    put(s, out, n);
}

/* The sample that would come next, or one with any sequence and time. */
static void put_sample(struct state *s, struct input *in, bool text, bool wild, size_t spoilt)
{
    uint8_t out[UF_ENC_TEXT_MAX];
    int32_t counts[UF_CHANNELS_MAX];
    uint8_t channels = s->greeted ? s->hello.channels : 24;
    uint32_t rate = s->greeted ? s->hello.rate_hz : 1000;
    uint8_t ahead = take(in), seed = take(in);
    for (size_t i = 0; i < UF_CHANNELS_MAX; i++)
        counts[i] = (int32_t)(seed * (i + 1) * 0x01010101u) / 256;
    uint16_t seq = (uint16_t)(s->seq + ahead % 8);
    uint32_t t_us = (uint32_t)((uint64_t)s->t_dev_us + 1000000u / rate * (ahead % 8));
    if (wild) {
        seq = (uint16_t)take_u32(in);
        t_us = take_u32(in);
    }
    struct uf_enc_sample e = {seq, t_us, seed & 15, seed >> 5, channels, counts};
    size_t n = text ? uf_enc_text_sample(out, sizeof out, &e) : uf_enc_sample(out, sizeof out, &e);
    if (n && spoilt)
        out[spoilt % n] ^= 0x11;
    put(s, out, n);
}

static void put_note(struct state *s, struct input *in, bool text)
{
    uint8_t out[UF_ENC_TEXT_MAX];
    size_t n = take(in) % (UF_ENC_NOTE_MAX + 1);
    n = n < in->left ? n : in->left;
    const char *note = (const char *)in->p;
    in->p += n;
    in->left -= n;
    n = text ? uf_enc_text_note(out, sizeof out, note, n) : uf_enc_note(out, sizeof out, note, n);
    put(s, out, n);
}

static void step(struct state *s, struct input *in)
{
    uint8_t op = take(in);
    bool text = op & 0x10;
    size_t spoilt = op & 0x20 ? take(in) : 0;
    switch (op & 0x0F) {
    case 0:
    case 1:
        put_hello(s, in, text, spoilt);
        break;
    case 2:
    case 3:
        put_sample(s, in, text, false, spoilt);
        break;
    case 4:
        put_sample(s, in, text, true, spoilt);
        break;
    case 5:
        put_note(s, in, text);
        break;
    case 6:
        s->read_bytes = 1 + take(in);
        break;
    case 7:
        if (!s->binary_only) /* the second decoder knows no cuts */
            uf_wire_line_cut(s->wire);
        break;
    default: { /* raw bytes */
        size_t n = op & 0x0F;
        n = 1 + (n == 15 ? in->left : n * n);
        n = n < in->left ? n : in->left;
        put(s, in->p, n);
        in->p += n;
        in->left -= n;
    }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size < 1 || size > 4096)
        return 0;
    struct input in = {data, size};
    struct state *s = calloc(1, sizeof *s);
    REQUIRE(s);
    s->form = (enum uf_wire_form)(take(&in) % 3);
    s->binary_only = s->form == UF_FORM_BINARY;
    s->read_bytes = 64;
    REQUIRE(uf_wire_new(&s->wire, s->form, NULL) == 0);
    while (in.left)
        step(s, &in);

    const struct uf_wire_counts *c = uf_wire_counts(s->wire);
    REQUIRE(c->samples == s->samples && c->lost == s->lost && c->hellos == s->hellos &&
            c->notes == s->notes && c->reboots == s->reboots);
    if (s->binary_only) {
        bool open = s->piece_n > 158; /* too long already, though not ended */
        REQUIRE(s->plain_samples == c->samples + c->duplicates);
        REQUIRE(s->plain_hellos == c->hellos && s->plain_notes == c->notes);
        REQUIRE(s->plain_bad + open == c->bad_cobs + c->bad_crc + c->bad_length + c->bad_field +
                                           c->too_long + c->unknown_type + c->unknown_protocol +
                                           c->before_hello);
    }
    uf_wire_free(s->wire);
    free(s);
    return 0;
}

/* SPDX-License-Identifier: MIT
 * For the tests of src/wire: byte streams made with the reference encoder, and a record of what a
 * decoder made of one. Include after cmocka.h. */
#ifndef UF_TESTS_WIRE_STREAM_H
#define UF_TESTS_WIRE_STREAM_H

#include "encoder.h"
#include "wire/wire.h"

#include <stdlib.h>
#include <string.h>

#define STREAM_BYTES 400000
#define EVENTS_MAX   6000

struct stream {
    bool text;
    uint8_t channels;
    size_t n;
    uint8_t bytes[STREAM_BYTES];
};

struct events {
    size_t n;
    struct uf_wire_event event[EVENTS_MAX];
    struct uf_wire_counts counts;
    enum uf_wire_form detected;
};

static inline uint32_t chance(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return (uint32_t)(*state >> 16);
}

/* The count that sample k has on a channel: told from the others', often with zero bytes. */
static inline int32_t stream_count(uint32_t k, size_t channel)
{
    uint32_t h = (k * 48 + (uint32_t)channel + 1) * 2654435761u;
    int32_t full = (int32_t)(h & 0xFFFFFF00u) / 256;
    return h % 5 == 0 ? (int32_t)(k % 1000) : h % 5 == 1 ? full & ~0xFF00 : full;
}

static inline void put_bytes(struct stream *s, const void *bytes, size_t n)
{
    assert_true(s->n + n <= sizeof s->bytes);
    memcpy(s->bytes + s->n, bytes, n);
    s->n += n;
}

static inline void put_hello_of(struct stream *s, const struct uf_enc_hello *h)
{
    uint8_t out[UF_ENC_TEXT_MAX];
    put_bytes(s, out,
              s->text ? uf_enc_text_hello(out, sizeof out, h) : uf_enc_hello(out, sizeof out, h));
}

static inline void put_hello(struct stream *s)
{
    struct uf_enc_hello h = {s->channels, 24, 1000, 3, {1, 2, 3, 4, 5, 6, 7, 8}};
    put_hello_of(s, &h);
}

/* Sample k of a board at 1 kHz, whose sequence and clock wrap soon. */
static inline void put_sample(struct stream *s, uint32_t k)
{
    uint8_t out[UF_ENC_TEXT_MAX];
    int32_t counts[UF_CHANNELS_MAX];
    for (size_t i = 0; i < s->channels; i++)
        counts[i] = stream_count(k, i);
    struct uf_enc_sample e = {
        (uint16_t)(65000 + k), 4294000000u + 1000u * k, k % 7 == 0, 0, s->channels, counts};
    put_bytes(s, out,
              s->text ? uf_enc_text_sample(out, sizeof out, &e)
                      : uf_enc_sample(out, sizeof out, &e));
}

static inline void put_note(struct stream *s, const char *text)
{
    uint8_t out[UF_ENC_TEXT_MAX];
    put_bytes(s, out,
              s->text ? uf_enc_text_note(out, sizeof out, text, strlen(text))
                      : uf_enc_note(out, sizeof out, text, strlen(text)));
}

static inline struct uf_wire *new_wire(enum uf_wire_form form)
{
    struct uf_wire *w;
    assert_int_equal(uf_wire_new(&w, form, NULL), 0);
    return w;
}

/* Feeds n bytes in pieces of at most `piece`, each from a buffer of just its size, so that the
 * address sanitizer sees a byte read past it. */
static inline void feed(struct uf_wire *w, const uint8_t *bytes, size_t n, size_t piece,
                        struct events *out)
{
    while (n) {
        size_t size = n < piece ? n : piece, taken = 0;
        uint8_t *copy = malloc(size);
        assert_non_null(copy);
        memcpy(copy, bytes, size);
        while (taken < size) {
            assert_true(out->n < EVENTS_MAX);
            struct uf_wire_event *e = &out->event[out->n];
            memset(e, 0, sizeof *e);
            size_t got = uf_wire_feed(w, copy + taken, size - taken, e);
            assert_true(got > 0 && got <= size - taken);
            taken += got;
            out->n += e->kind != UF_WIRE_NONE;
        }
        free(copy);
        bytes += size;
        n -= size;
    }
    out->counts = *uf_wire_counts(w);
    out->detected = uf_wire_detected(w);
}

static inline bool same_event(const struct uf_wire_event *a, const struct uf_wire_event *b)
{
    if (a->kind != b->kind)
        return false;
    const struct uf_frame *f = &a->frame, *g = &b->frame;
    const struct uf_hello *h = &a->hello, *i = &b->hello;
    switch (a->kind) {
    case UF_WIRE_HELLO:
        return a->hello_changed == b->hello_changed && h->protocol == i->protocol &&
               h->channels == i->channels && h->adc_bits == i->adc_bits && h->flags == i->flags &&
               h->rate_hz == i->rate_hz && h->firmware == i->firmware &&
               !memcmp(h->board_id, i->board_id, 8);
    case UF_WIRE_SAMPLE:
        return f->t_dev_us == g->t_dev_us && f->epoch == g->epoch &&
               f->lost_before == g->lost_before && f->seq == g->seq && f->inputs == g->inputs &&
               f->status == g->status && f->channels == g->channels &&
               !memcmp(f->counts_raw, g->counts_raw, f->channels * sizeof f->counts_raw[0]);
    case UF_WIRE_NOTE:
        return !strcmp(a->note, b->note);
    case UF_WIRE_NONE:
        break;
    }
    return true;
}

static inline void assert_same_events(const struct events *a, const struct events *b)
{
    assert_int_equal(a->n, b->n);
    for (size_t i = 0; i < a->n; i++)
        assert_true(same_event(&a->event[i], &b->event[i]));
    assert_memory_equal(&a->counts, &b->counts, sizeof a->counts);
    assert_int_equal(a->detected, b->detected);
}

/* Number of the stream's sample that frame f is, of `samples`; fails when it is none of them. */
static inline uint32_t sample_of(const struct uf_frame *f, uint32_t samples)
{
    uint32_t k = (uint16_t)(f->seq - 65000);
    assert_true(k < samples);
    assert_int_equal(f->inputs, k % 7 == 0);
    for (size_t i = 0; i < f->channels; i++)
        assert_int_equal(f->counts_raw[i], stream_count(k, i));
    return k;
}

/* Pieces that were counted as damaged. */
static inline uint64_t damaged(const struct uf_wire_counts *c)
{
    return c->bad_cobs + c->bad_crc + c->bad_length + c->bad_field + c->too_long + c->unknown_type +
           c->unknown_protocol;
}

#endif

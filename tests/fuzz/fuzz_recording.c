/* SPDX-License-Identifier: MIT
 * Any bytes as a recording, or as what the spool gives back: played through the whole measuring
 * chain twice, once in one piece and once in small ones of a length that the first byte says. Both
 * runs must find the same samples, swings and zeros to the bit; no event is out of its range. The
 * input is a script of repeated pieces, so that few bytes make a long stream. */
#include "fuzz.h"

#include "config/config.h"
#include "encoder.h"

#include <math.h>

#define STREAM_MAX (200u << 10) /* 10 s at */
#define RATE_HZ    250u

/* What a run found, mixed into one number. */
struct found {
    uint64_t sum;
    uint64_t events;
};

static void mix(struct found *f, const void *bytes, size_t n)
{
    const uint8_t *p = bytes;
    for (size_t i = 0; i < n; i++)
        f->sum = (f->sum ^ p[i]) * 0x100000001B3u;
}

static void look(struct found *f, struct uf_pipeline *p, struct uf_pipeline_event *e)
{
    f->events++;
    mix(f, &e->kind, sizeof e->kind);
    if (e->kind == UF_PIPE_SAMPLE && f->events % 64 == 0) {
        const struct uf_live *l = uf_pipeline_live(p);
        mix(f, &l->t_dev_us, sizeof l->t_dev_us);
        mix(f, &l->weight_n, sizeof l->weight_n);
        REQUIRE(isnan(l->weight_n) || l->weight_n > 0);
    } else if (e->kind == UF_PIPE_SWING) {
        REQUIRE(e->capture && e->capture->samples > 0);
        mix(f, &e->capture->trigger_dev_us, sizeof e->capture->trigger_dev_us);
        mix(f, &e->capture->samples, sizeof e->capture->samples);
        uf_capture_free(e->capture);
    } else if (e->kind == UF_PIPE_NOTE && *e->note) {
        require_plain(e->note);
    }
}

static struct found play(const struct uf_config *c, const struct uf_calibration *cal,
                         const uint8_t *bytes, size_t n, size_t piece)
{
    struct found f = {.sum = 1};
    struct uf_pipeline *p;
    struct uf_pipeline_event e;
    struct uf_error err = {0};
    REQUIRE(uf_pipeline_new(&p, &c->pipeline, &c->rig, cal, NULL, NULL) == 0);
    while (n > 0) {
        size_t size = n < piece ? n : piece;
        size_t taken = uf_pipeline_feed(p, bytes, size, &e, &err);
        REQUIRE(taken <= size);
        if (e.kind == UF_PIPE_ERROR)
            require_plain(err.text);
        if (e.kind != UF_PIPE_NONE)
            look(&f, p, &e);
        else
            REQUIRE(taken > 0);
        bytes += taken;
        n -= taken;
    }
    do {
        uf_pipeline_finish(p, &e, &err);
        if (e.kind != UF_PIPE_NONE)
            look(&f, p, &e);
    } while (e.kind != UF_PIPE_NONE);
    const struct uf_wire_counts *counts = uf_pipeline_counts(p);
    mix(&f, &counts->samples, sizeof counts->samples);
    mix(&f, &counts->lost, sizeof counts->lost);
    uf_pipeline_free(p);
    return f;
}

/* Sample packets, one like the other, with a load on both plates; the script says how much. */
static size_t put_samples(uint8_t *out, size_t room, struct fuzz_script *s, uint16_t *seq,
                          uint32_t *t_us, const struct uf_rig *rig)
{
    int32_t counts[UF_CHANNELS_MAX] = {0};
    int times = 1 + 4 * fuzz_take(s), lead_n = 8 * fuzz_take(s), trail_n = 8 * fuzz_take(s);
    uint8_t ahead = fuzz_take(s), inputs = fuzz_take(s);
    size_t n = 0;
    for (int i = 0; i < times && n + 256 < room; i++) {
        for (int p = 0; p < rig->plates; p++)
            for (int k = 0; k < rig->plate[p].cells; k++)
                counts[rig->plate[p].cell[k].channel[2]] =
                    (p == 0 ? lead_n : trail_n) * 625 + i % 3;
        struct uf_enc_sample e = {(*seq)++, *t_us, inputs & 15, inputs >> 5, 24, counts};
        n += uf_enc_sample(out + n, room - n, &e);
        *t_us += 1000000u / RATE_HZ * (1 + (ahead & 0x80 ? ahead & 7u : 0));
    }
    return n;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct uf_config c;
    static struct uf_calibration cal;
    static uint8_t *stream;
    if (!stream) {
        uf_config_defaults(&c);
        uf_calibration_nominal(&c.rig, &cal);
        stream = malloc(STREAM_MAX);
        REQUIRE(stream);
    }
    struct fuzz_script s = {data, size};
    struct uf_enc_hello hello = {24, 24, RATE_HZ, 1, {1}};
    size_t piece = 1 + fuzz_take(&s), n = 0;
    uint16_t seq = 0;
    uint32_t t_us = 0;
    while (s.left > 0 && n + 512 < STREAM_MAX) {
        uint8_t op = fuzz_take(&s);
        if (op % 4 == 0) {
            n += uf_enc_hello(stream + n, STREAM_MAX - n, &hello);
        } else if (op % 4 < 3) {
            n += put_samples(stream + n, STREAM_MAX - n, &s, &seq, &t_us, &c.rig);
        } else {
            size_t raw = op >> 2;
            raw = raw < s.left ? raw : s.left;
            memcpy(stream + n, s.p, raw);
            n += raw;
            s.p += raw;
            s.left -= raw;
        }
    }
    struct found whole = play(&c, &cal, stream, n, STREAM_MAX);
    struct found pieces = play(&c, &cal, stream, n, piece);
    REQUIRE(whole.events == pieces.events && whole.sum == pieces.sum);
    return 0;
}

/* SPDX-License-Identifier: MIT
 * For the benches: a simulated lesson as the bytes that a board would send, and those bytes through
 * the whole chain. Ends the program with a sentence when something fails. */
#ifndef UF_BENCH_LESSON_H
#define UF_BENCH_LESSON_H

#include "config/config.h"
#include "encoder.h"
#include "sim/sim.h"
#include "swing/pipeline.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

struct lesson {
    struct uf_sim *sim; /* truths */
    uint8_t *bytes;
    size_t n, room;
    uint64_t samples;
    float *fz_n; /* [samples][2] true vertical forces, left and right */
    size_t fz_room;
};

static inline void give_up(const char *what)
{
    fprintf(stderr, "bench: %s\n", what);
    exit(1);
}

/* Of the processor's time that this program has used: others on the machine do not count. */
static inline double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Encodes the whole lesson. damaged: this part of the SAMPLE packets gets one flipped bit. */
static inline void lesson_make(struct lesson *l, const struct uf_sim_settings *s,
                               const struct uf_sim_step *steps, size_t n_steps, double damaged)
{
    memset(l, 0, sizeof *l);
    struct uf_error err;
    if (uf_sim_new(&l->sim, s, steps, n_steps, &err))
        give_up(err.text);
    struct uf_hello hello;
    uf_sim_hello(l->sim, &hello);
    struct uf_enc_hello h = {.channels = hello.channels,
                             .adc_bits = hello.adc_bits,
                             .rate_hz = hello.rate_hz,
                             .firmware = hello.firmware};
    memcpy(h.board_id, hello.board_id, sizeof h.board_id);
    struct uf_sim_rng rng;
    uf_sim_rng_seed(&rng, s->seed ^ 0xbadULL);
    struct uf_sim_sample sample;
    while (uf_sim_next(l->sim, &sample)) {
        if (l->room - l->n < 1024) {
            l->room = l->room ? 2 * l->room : 1u << 20;
            l->bytes = realloc(l->bytes, l->room);
            if (!l->bytes)
                give_up("no memory");
        }
        if (l->samples == l->fz_room) {
            l->fz_room = l->fz_room ? 2 * l->fz_room : 1u << 16;
            l->fz_n = realloc(l->fz_n, 2 * sizeof *l->fz_n * l->fz_room);
            if (!l->fz_n)
                give_up("no memory");
        }
        l->fz_n[2 * l->samples] = (float)sample.fz_n[0];
        l->fz_n[2 * l->samples + 1] = (float)sample.fz_n[1];
        if (l->samples++ % hello.rate_hz == 0)
            l->n += uf_enc_hello(l->bytes + l->n, l->room - l->n, &h);
        struct uf_enc_sample e = {.seq = sample.seq,
                                  .t_us = sample.t_us,
                                  .inputs = sample.inputs,
                                  .status = sample.status,
                                  .channels = hello.channels,
                                  .counts = sample.counts_raw};
        size_t size = uf_enc_sample(l->bytes + l->n, l->room - l->n, &e);
        if (damaged > 0 && uf_sim_rng_uniform(&rng, 0, 1) < damaged)
            l->bytes[l->n + uf_sim_rng_u64(&rng) % size] ^=
                (uint8_t)(1u << (uf_sim_rng_u64(&rng) % 8));
        l->n += size;
    }
}

static inline void lesson_free(struct lesson *l)
{
    uf_sim_free(l->sim);
    free(l->bytes);
    free(l->fz_n);
}

/* Runs the bytes through the chain with the plates' true calibration; each capture goes to take(),
 * which owns it. */
static inline struct uf_wire_counts
lesson_play(const struct lesson *l, const struct uf_pipeline_settings *settings,
            const struct uf_rig *rig, void (*take)(void *, struct uf_capture *), void *context)
{
    struct uf_calibration cal;
    uf_sim_true_calibration(l->sim, &cal);
    struct uf_pipeline *p;
    struct uf_error err;
    if (uf_pipeline_new(&p, settings, rig, &cal, NULL, &err))
        give_up(err.text);
    struct uf_pipeline_event e;
    for (size_t at = 0;;) {
        at += uf_pipeline_feed(p, l->bytes + at, l->n - at, &e, &err);
        if (e.kind == UF_PIPE_SWING)
            take(context, e.capture);
        else if (e.kind == UF_PIPE_ERROR)
            give_up(err.text);
        else if (e.kind == UF_PIPE_NONE && at == l->n)
            break;
    }
    do {
        uf_pipeline_finish(p, &e, &err);
        if (e.kind == UF_PIPE_SWING)
            take(context, e.capture);
    } while (e.kind != UF_PIPE_NONE);
    struct uf_wire_counts counts = *uf_pipeline_counts(p);
    uf_pipeline_free(p);
    return counts;
}

#endif

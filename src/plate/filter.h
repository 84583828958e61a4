/* SPDX-License-Identifier: MIT
 * Butterworth low-pass as second-order sections: zero-phase over a whole window for analysis,
 * causal for live values. Same results as scipy.signal butter(output="sos"), sosfiltfilt and
 * sosfilt, to 1e-9 (tests/published). Pure. */
#ifndef UF_PLATE_FILTER_H
#define UF_PLATE_FILTER_H

#include "base/error.h"

#include <stddef.h>

#define UF_SECTIONS_MAX 4

struct uf_lowpass {
    int order; /* 1..8, of one pass */
    int sections;
    double cutoff_hz; /* -3 dB of one pass */
    double rate_hz;
    double sos[UF_SECTIONS_MAX][6]; /* b0 b1 b2 a0=1 a1 a2 */
    double zi[UF_SECTIONS_MAX][2];  /* steady state of a unit step */
};

/* Bilinear transform with prewarping. Error: order out of 1..8, cutoff not in (0, rate/2). */
int uf_lowpass_design(struct uf_lowpass *f, int order, double cutoff_hz, double rate_hz,
                      struct uf_error *err);

/* The cutoff of one pass for which forward and backward together have -3 dB at cutoff_hz
 * (Winter's form: the factor goes on tan(pi fc / fs); 1/(2^(1/2)-1)^(1/(2 order))). */
double uf_two_pass_cutoff_hz(int order, double cutoff_hz, double rate_hz);

/* Samples of odd extension at each end, as scipy's default. n must be greater. */
size_t uf_lowpass_pad(const struct uf_lowpass *f);

/* Forward and backward in place over x[n]. work has n + 2 * pad doubles. Where n <= pad the pad is
 * n - 1. n = 0 and 1: unchanged. x must hold no NAN. */
void uf_lowpass_zero_phase(const struct uf_lowpass *f, double *x, size_t n, double *work);

/* So many signals are filtered side by side: two plates of six components. */
#define UF_LOWPASS_LANES 12

struct uf_lowpass_state {
    double z[UF_SECTIONS_MAX][2][UF_LOWPASS_LANES];
    int primed; /* 0: the next sample sets the steady state */
};

/* Causal, one sample of each signal, in place. A NAN stays in its lane until the state is cleared.
 * Delay at DC about 0.225 / cutoff s for order 2. */
void uf_lowpass_step(const struct uf_lowpass *f, struct uf_lowpass_state *s,
                     double x[UF_LOWPASS_LANES]);

#endif

/* SPDX-License-Identifier: MIT
 * Inside src/swing: fills the standard uncertainties of an analysis. See uncertainty.h. */
#ifndef UF_SWING_PROPAGATE_H
#define UF_SWING_PROPAGATE_H

#include "swing/measure.h"

struct uf_propagation {
    const struct uf_scene *scene;
    const double *softer[UF_PLATES_MAX]; /* the grids with a lower cut-off: their difference is the
                                            low-pass's own error */
    const struct uf_measure *measure;    /* as the values were measured */
    const double *value;
    const enum uf_reason *reason;
    const struct uf_system_u *system;
    double noise_sd[UF_FEET][UF_COMPONENTS]; /* white, of one sample, before the low-pass */
    const double *noise;                     /* unit noise, low-passed: UF_NOISE_LENGTH(n) */
};

/* Every component of every record reads the same long noise at another place. */
#define UF_NOISE_RECORDS   10
#define UF_NOISE_STRIDE    97u
#define UF_NOISE_LENGTH(n) ((n) + UF_NOISE_RECORDS * UF_FEET * UF_COMPONENTS * UF_NOISE_STRIDE)
/* Seeded, unit white noise. */
void uf_noise_fill(double *noise, size_t n);

/* sd[UF_METRICS]: NAN where there is no value. */
int uf_propagate(const struct uf_propagation *p, double *sd, struct uf_error *err);

/* The greatest standard uncertainty at which a number of that unit is still useful. */
double uf_useful_sd(enum uf_metric m);

#endif

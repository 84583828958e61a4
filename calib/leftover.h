/* SPDX-License-Identifier: MIT
 * What no load can make: a rigid plate moves its N channels in six ways, so N - 6 combinations of
 * counts stay at zero whatever lies on it. How far they are from zero says how well the channels
 * repeat themselves (creep, non-linearity), and later shows a loose foot, a dead cell, a plate that
 * touches its frame. Pure. */
#ifndef UF_CALIB_LEFTOVER_H
#define UF_CALIB_LEFTOVER_H

#include "calib/reading.h"

#include <jansson.h>

struct uf_leftover {
    int channels, channel[UF_CHANNELS_MAX];     /* of the plate, in the order of its cells */
    double n_per_count[UF_CHANNELS_MAX];        /* data-sheet scale of each */
    int ways;                                   /* that loads make, 3..6 */
    double way[UF_COMPONENTS][UF_CHANNELS_MAX]; /* orthonormal, channels in data-sheet newtons */
    double reading_pct; /* error of a channel by what is left over, % of the rms reading; NAN where
                           it cannot be told: no more channels than ways, or too few loads */
    double noise_n;     /* of a mean, rms over channels */
};

/* r[n]: readings of all plates. rank: of the loads. Error: no reading of that plate, no memory. */
int uf_leftover_find(const struct uf_plate *plate, int plate_index, const struct uf_reading *r,
                     int n, int rank, struct uf_leftover *out, struct uf_error *err);

/* How much of some counts is left over: rms over the N - ways combinations, N, and what is
 * expected of it. NAN where there are none. */
void uf_leftover_of(const struct uf_leftover *l, const double *above_raw, double *rms_n,
                    double *expected_n);

/* As it stands in a calibration's provenance (entry of a plate), and back. */
json_t *uf_leftover_to_json(const struct uf_leftover *l);
/* False: the entry has none, or it does not fit the plate. */
bool uf_leftover_from_json(const json_t *entry, const struct uf_plate *plate,
                           struct uf_leftover *out);

#endif

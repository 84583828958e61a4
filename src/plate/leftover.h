/* SPDX-License-Identifier: MIT
 * What no load can make: a rigid plate moves its N channels in six ways, so N - 6 combinations of
 * counts stay at zero whatever lies on it. How far they are from zero says how well the channels
 * repeat themselves (creep, non-linearity), and shows a loose foot, a dead cell, a plate that
 * touches its frame. Found by a calibration (calib/leftover.h), kept in its provenance. Pure. */
#ifndef UF_PLATE_LEFTOVER_H
#define UF_PLATE_LEFTOVER_H

#include "plate/calibration.h"

struct uf_leftover {
    int channels, channel[UF_CHANNELS_MAX];     /* of the plate, in the order of its cells */
    double n_per_count[UF_CHANNELS_MAX];        /* data-sheet scale of each */
    double curve[UF_CHANNELS_MAX];              /* as in uf_plate_matrix; 0: straight */
    int ways;                                   /* that loads make, 3..6 */
    double way[UF_COMPONENTS][UF_CHANNELS_MAX]; /* orthonormal, channels in data-sheet newtons */
    double reading_pct; /* error of a channel by what is left over, % of the rms reading; NAN where
                           it cannot be told: no more channels than ways, or too few loads */
    double noise_n;     /* of a mean, rms over channels */
    double read_n; /* rms reading of a channel under the loads of the calibration; 0: not told */
};

/* Counts above the zero (all channels of the board) as data-sheet newtons of the plate's. */
void uf_leftover_newtons(const struct uf_leftover *l, const double *above_raw, double *n);

/* What the ways do not explain of n, channel by channel; returns the sum of its squares. */
double uf_leftover_rest(const struct uf_leftover *l, const double *n, double *left_n);

/* What is expected to be left over beside noise, N rms over the combinations, where the channels
 * read read_n (rms): reading_pct of it, and beyond the loads of the calibration more, in proportion
 * to the load, as a crooked channel makes it. */
double uf_leftover_expected(const struct uf_leftover *l, double read_n);

/* How much of some counts is left over: rms over the N - ways combinations, N, and what is
 * expected of it. NAN where there are none. */
void uf_leftover_of(const struct uf_leftover *l, const double *above_raw, double *rms_n,
                    double *expected_n);

/* As it stands in a calibration's provenance (entry of a plate), and back. */
json_t *uf_leftover_to_json(const struct uf_leftover *l);
/* False: the entry has none, or it does not fit the plate; *out is not to be used then. */
bool uf_leftover_from_json(const json_t *entry, const struct uf_plate *plate,
                           struct uf_leftover *out);

/* Those of all plates of a calibration, from its whole provenance; known[p] false: none. */
void uf_leftover_all(const json_t *provenance, const struct uf_rig *rig, struct uf_leftover *out,
                     bool *known);

#endif

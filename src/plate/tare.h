/* SPDX-License-Identifier: MIT
 * Zero of the plates: the mean counts of a still, empty plate. Follows drift by re-zeroing when
 * the plates are provably empty, and says when a zero cannot be trusted. Pure; device time only. */
#ifndef UF_PLATE_TARE_H
#define UF_PLATE_TARE_H

#include "plate/calibration.h"
#include "plate/wrench.h"

#include <stdbool.h>

struct uf_tare_settings {
    double still_s;       /* how long it must be still (2) */
    double still_n;       /* standard deviation of fz of a plate that counts as still (1.5) */
    double empty_n;       /* |fz| of a plate that can be an empty one (15) */
    double warn_n;        /* drift since the first zero of the run that asks for a look (40) */
    double min_between_s; /* least time between two automatic zeros (30) */
};

struct uf_tare_event {
    int64_t t_dev_us;
    double tare_raw[UF_CHANNELS_MAX];
    double drift_n[UF_PLATES_MAX]; /* change of fz against the zero before; NAN at the first */
    double total_drift_n[UF_PLATES_MAX]; /* against the first zero of the run */
    bool first;
    bool was_loaded; /* the zero before was taken with somebody on it: the plate went below it */
    bool look;       /* total drift beyond warn_n: a person should look */
};

struct uf_tare;

/* initial_raw: the last stored zero, or NULL: then the first still stretch is the zero. */
int uf_tare_new(struct uf_tare **out, const struct uf_tare_settings *s, const struct uf_rig *rig,
                const struct uf_calibration *cal, const double *initial_raw, struct uf_error *err);
void uf_tare_free(struct uf_tare *t);

/* True when a new zero was taken with this frame: *event holds it. rate_hz from HELLO.
 * A still stretch is broken by a reboot, by more than 50 ms of lost samples and by a sample with a
 * rail or an excitation fault. A zero that would change nothing is not taken again. */
bool uf_tare_feed(struct uf_tare *t, const struct uf_frame *frame, double rate_hz,
                  struct uf_tare_event *event);
/* Zero now, from the next still stretch, whatever load there is (a person asked). */
void uf_tare_request(struct uf_tare *t);

/* Another calibration of the same rig: the counts of the zero stay, what is still and empty is
 * judged by its newtons from the next sample on. */
void uf_tare_set_calibration(struct uf_tare *t, const struct uf_calibration *cal);

bool uf_tare_ready(const struct uf_tare *t);
const double *uf_tare_raw(const struct uf_tare *t); /* UF_CHANNELS_MAX counts */

#endif

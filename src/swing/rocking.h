/* SPDX-License-Identifier: MIT
 * Heel-toe rocking: noticed in the stream (when it was), and the feet found from the raw counts of
 * that stretch. The same counts, rig, calibration and lengths give the same bits, live or years
 * later. Pure; device time only. */
#ifndef UF_SWING_ROCKING_H
#define UF_SWING_ROCKING_H

#include "plate/calibration.h"
#include "plate/rig.h"
#include "plate/wrench.h"
#include "swing/capture.h"
#include "swing/feet.h"

#include <stdint.h>

/* ---- in the stream ---- */

#define UF_ROCKING_LONGEST_S 10.0 /* no stretch is longer, nor begins longer ago */
#define UF_ROCKING_ASKED_S   15.0 /* who asked has an answer after so long at the latest */

/* A stretch of the stream in which somebody rocked. */
struct uf_rocking_stretch {
    int64_t from_dev_us, to_dev_us;
    bool asked; /* somebody waits for it; then it may be no rocking at all */
};

/* A plain value; uf_rocking_start makes a new one. */
struct uf_rocking {
    /* the bin under way */
    bool begun;
    int64_t bin_from_dev_us;
    unsigned in_bin;
    struct uf_wrench sum[UF_PLATES_MAX];

    double lowest_mm[UF_FEET], highest_mm[UF_FEET]; /* places by plate, at the bin of .. */
    int64_t lowest_dev_us, highest_dev_us;          /* .. the least and the greatest mean place */
    bool seen;                                      /* there are such */
    int way;   /* +1 towards the toes, -1 towards the heels, 0: not known yet */
    int turns; /* of the run; 0: none */
    int64_t first_dev_us, last_dev_us; /* its first and last turning point */
    double most_mm;                    /* the longest way between two, of the mean place */
    double turn_mm[UF_FEET];           /* where the last one was */
    bool ended; /* a run that was long enough, by a turning point that is none of it */
    int64_t ended_first_dev_us, ended_last_dev_us;
    int64_t asked_dev_us; /* -1: nobody asked */
    bool ask;             /* from the next sample on */
};
void uf_rocking_start(struct uf_rocking *r);
/* The stream broke, or nobody stands there any more: what comes is another run. */
void uf_rocking_break(struct uf_rocking *r);
/* Somebody waits: a stretch comes within UF_ROCKING_ASKED_S, whatever is done in it. */
void uf_rocking_ask(struct uf_rocking *r);
bool uf_rocking_is_asked(const struct uf_rocking *r);
/* One sample of two plates; unfiltered. True: *out is a stretch that has passed: rocking that is
 * over, or has gone on long enough. */
bool uf_rocking_feed(struct uf_rocking *r, const struct uf_rig *rig, const struct uf_wrench *wrench,
                     int64_t t_dev_us, struct uf_rocking_stretch *out);

/* ---- the feet ---- */

struct uf_feet {
    enum uf_hand hand; /* whose lead foot is meant */
    enum uf_foot_state state[UF_FEET];
    struct uf_foot_pose pose[UF_FEET];
};

/* The feet from the raw counts of a stretch, for a golfer of that hand. The capture's own hand does
 * not matter. Fails without memory, with one plate, or when the capture does not fit the rig. */
int uf_rocking_find(const struct uf_capture *capture, const struct uf_rig *rig,
                    const struct uf_calibration *cal, const struct uf_foot_person *who,
                    enum uf_hand hand, struct uf_feet *out, struct uf_error *err);

/* Was it rocking, or at least a try that moved the feet? Otherwise feet that are known stay. */
bool uf_rocking_counts(const struct uf_feet *feet);

#endif

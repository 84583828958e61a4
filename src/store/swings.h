/* SPDX-License-Identifier: MIT
 * Reading swings: which there are, and all that is known of one. Writing is in store.h. */
#ifndef UF_STORE_SWINGS_H
#define UF_STORE_SWINGS_H

#include "store/store.h"

/* The numbers of one derivation: an analysis without its curves. */
struct uf_derived {
    double value[UF_METRICS]; /* NAN: not measurable */
    double sd[UF_METRICS];    /* standard uncertainty; NAN: none */
    enum uf_reason
        reason[UF_METRICS]; /* NONE with NAN: the metric is younger than the derivation */
    struct uf_event event[UF_EVENTS];
    uint32_t flags;
};
void uf_derived_of(const struct uf_analysis *analysis, struct uf_derived *out);

struct uf_swing_row {
    int64_t id, session_id, rig_id;
    char uuid[37];
    int64_t trigger_utc_us; /* 0: not known */
    int64_t stored_utc_us;
    double clock_drift_ppm; /* NAN: not known */
    enum uf_hand hand, shape_hand;
    bool ended_still;
    int64_t samples, channels, rate_hz, duration_us, firmware;
    char board_id[17];
    int64_t rocking_id; /* from which its feet are known; 0: none */
    bool other_hand;    /* than the one it was captured with: a person has said so */
    /* its current derivation */
    int64_t derivation_id, calibration_id; /* calibration 0: data sheet */
    char calibration[64];
    int64_t algorithm, made_utc_us;
    struct uf_analysis_settings settings;
    struct uf_derived derived;
};
int uf_store_swing_row(struct uf_store *s, int64_t id, struct uf_swing_row *out,
                       struct uf_error *err);

/* Ids in ascending order: of the newest `last` (0: all) of those since since_utc_us (INT64_MIN:
 * all). A swing's time is its trigger's, or where that is not known when it was stored. *out is
 * to be freed; NULL when there is none. */
int uf_store_swing_ids(struct uf_store *s, int64_t last, int64_t since_utc_us, int64_t **out,
                       size_t *n, struct uf_error *err);

/* What the file knows, in short. */
struct uf_store_summary {
    int64_t swings, last_swing, last_swing_utc_us; /* last_swing 0: none */
    int64_t event_utc_us;                          /* last event of the line; 0: none */
    char event[32], detail[200];
};
int uf_store_summary(struct uf_store *s, struct uf_store_summary *out, struct uf_error *err);

/* UF_ENOTFOUND with a sentence that says which ids there are. */
int uf_store_swing_known(struct uf_store *s, int64_t id, struct uf_error *err);

#endif

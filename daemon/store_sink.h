/* SPDX-License-Identifier: MIT
 * What the store thread does with its jobs: derives the swing's numbers and writes rows. The
 * daemon's only writing connection to the database is here. Opened by the main thread, used by the
 * store thread only. */
#ifndef UF_DAEMON_STORE_SINK_H
#define UF_DAEMON_STORE_SINK_H

#include "config/config.h"
#include "daemon/store_thread.h"

/* What the daemon must know of the database before it begins. */
struct uf_store_start {
    char problem[480]; /* the database cannot be used yet, and why; then the rest is the nominal
                          calibration and nothing else. Empty: it is open */
    int64_t rig_id, session_id;
    int64_t newest_swing_id; /* 0: none yet */
    bool has_hand;           /* the open session has a player, who swings so */
    enum uf_hand hand;
    struct uf_lesson_about lesson;
    struct uf_rig_health health;
    int64_t calibration_id; /* 0: nominal, from the data sheets; -1: not known yet */
    struct uf_calibration calibration;
    struct uf_leftover leftover[UF_PLATES_MAX]; /* its; of the plates where it is known */
    bool has_leftover[UF_PLATES_MAX];
    bool has_tare;
    double tare_raw[UF_CHANNELS_MAX];
    int64_t tare_utc_us;
};

/* Opens (makes) the database, keeps other daemons off it (flock on "<file>.lock"), finds rig,
 * calibration and last zero, and opens a session (or goes on with a person's). A database that is
 * locked, damaged, read-only, full or too new is no failure: start->problem says so, and the sink
 * opens it with the first job that finds it mended; put a UF_JOB_OPEN. It fails where waiting can't
 * help, or would hide a wrong setting: no folder, another daemon's, another program's database, no
 * file at all. A database that is damaged, replaced or gone while it runs is opened again by the
 * next job; it is not made anew where there was one. slow_ms: test hook, see uf_store_slow_ms. */
int uf_store_sink_new(struct uf_store_sink *out, struct uf_store_start *start,
                      const struct uf_config *config, unsigned slow_ms, struct uf_error *err);

#endif

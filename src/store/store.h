/* SPDX-License-Identifier: MIT
 * The database: schema and migrations, writing and reading. One connection an object, one thread at
 * a time. In the daemon only the store thread has a writing one. Errors say what to do. */
#ifndef UF_STORE_STORE_H
#define UF_STORE_STORE_H

#include "plate/calibration.h"
#include "plate/tare.h"
#include "swing/analysis.h"

#include <jansson.h>
#include <sqlite3.h>

/* application_id of our files: "UFDB". */
#define UF_APPLICATION_ID 0x55464442

struct uf_store;

enum uf_store_mode {
    UF_STORE_READ,  /* must exist; never written */
    UF_STORE_WRITE, /* must exist; migrated when older */
    UF_STORE_CREATE /* made when missing; migrated when older */
};

/* Refuses a file that is not SQLite, that belongs to another program (application_id), or that a
 * newer version made (user_version), each with a sentence. */
int uf_store_open(struct uf_store **out, const char *path, enum uf_store_mode mode,
                  struct uf_error *err);
void uf_store_close(struct uf_store *s);
sqlite3 *uf_store_db(struct uf_store *s); /* for reading queries of src/cli */
/* From now on, everything on this connection fails that is not done in so many seconds: where a
 * view of a strange file may take for ever, and nobody is there to stop it. */
void uf_store_patience(struct uf_store *s, int seconds);
/* The text of a column, "" for NULL and without memory: the file may be another than we wrote. */
const char *uf_store_text(sqlite3_stmt *q, int column);
/* The same as a JSON string, which holds nothing but UTF-8: the rest becomes '?'. */
json_t *uf_store_text_json(sqlite3_stmt *q, int column);

/* Ids are rowids (> 0). All of these are one transaction each (BEGIN IMMEDIATE). */

/* The rig as JSON; the row of an equal description is found again. */
int uf_store_rig(struct uf_store *s, const struct uf_rig *rig, int64_t *rig_id,
                 struct uf_error *err);

/* Never overwrites: an equal uuid is an error (UF_ESTATE). */
int uf_store_calibration_add(struct uf_store *s, int64_t rig_id, const struct uf_rig *rig,
                             const struct uf_calibration *cal, const json_t *provenance,
                             int64_t made_utc_us, int64_t *id, struct uf_error *err);
int uf_store_calibration_activate(struct uf_store *s, int64_t id, struct uf_error *err);
/* The active one of this rig; UF_ENOTFOUND when there is none. */
int uf_store_calibration_active(struct uf_store *s, int64_t rig_id, const struct uf_rig *rig,
                                struct uf_calibration *out, int64_t *id, struct uf_error *err);

/* The daemon's start: goes on with a person's open session of this rig (see lessons.h), else opens
 * one. Its end closes the session that it opened itself; a person's goes on. */
int uf_store_session_open(struct uf_store *s, int64_t rig_id, int64_t utc_us, int64_t *id,
                          struct uf_error *err);
int uf_store_session_close(struct uf_store *s, int64_t id, int64_t utc_us, struct uf_error *err);

/* What is known of a swing beside its raw counts: marks, feet, the age of its calibration. */
#define UF_BASIS_SIZE 480
/* A mark replaces the one of its kind; t_s NAN takes it away. The swing has to be derived again. */
int uf_store_mark(struct uf_store *s, int64_t swing_id, enum uf_event_kind kind, double t_s,
                  double u_s, int64_t made_utc_us, struct uf_error *err);
/* Of which swing, and as what it is analysed. */
struct uf_given_of {
    int64_t swing_id; /* 0: it is not stored yet: no marks */
    enum uf_hand hand;
    bool other_hand;        /* than the one it was captured with */
    int64_t rocking_id;     /* from which its feet are known (feet.h); 0: none */
    int64_t utc_us;         /* its trigger; 0: not known */
    int64_t calibration_id; /* 0: data sheet */
    double old_days;        /* as in the settings of the analysis */
};
/* All but the calibration (0) and the settings (the default) of a stored swing. */
int uf_store_given_of(struct uf_store *s, int64_t swing_id, struct uf_given_of *out,
                      struct uf_error *err);
/* basis[UF_BASIS_SIZE] says in short what it is: equal texts and equal keys of a derivation, equal
 * things. */
int uf_store_given(struct uf_store *s, const struct uf_given_of *of, struct uf_given *given,
                   char *basis, struct uf_error *err);

struct uf_swing_meta {
    /* 0: the session and block that were open when it was hit; made where none was (lessons.h) */
    int64_t session_id, block_id;
    int64_t hit_utc_us; /* for that; 0: trigger_utc_us, or where that is not known now */
    int64_t rig_id;
    int64_t calibration_id; /* 0: nominal */
    int64_t trigger_utc_us; /* host time of the trigger by the clock map; 0: not known */
    double clock_drift_ppm; /* NAN: not known */
    const char *basis;      /* as uf_store_given said; NULL: analysed with nothing given */
    int64_t rocking_id;     /* from which its feet are known; 0: none */
};
/* Capture (raw, compressed, lossless), derivation, events, metrics, reasons: one transaction.
 * analysis NULL: the raw data alone, for `underfoot rederive` to make numbers of later. */
int uf_store_swing_add(struct uf_store *s, const struct uf_swing_meta *meta,
                       const struct uf_capture *capture, const struct uf_analysis *analysis,
                       int64_t made_utc_us, int64_t *id, struct uf_error *err);

/* Reads the raw data back; the capture equals the stored one to the bit, but that its hand is what
 * a person may have said since. */
int uf_store_capture(struct uf_store *s, int64_t swing_id, struct uf_capture **out,
                     struct uf_error *err);

int uf_store_tare_add(struct uf_store *s, int64_t rig_id, const struct uf_tare_event *tare,
                      int channels, int64_t utc_us, struct uf_error *err);
/* The last zero of this rig; UF_ENOTFOUND when there is none. */
int uf_store_tare_last(struct uf_store *s, int64_t rig_id, double *tare_raw, int64_t *utc_us,
                       struct uf_error *err);

/* kind: "waiting", "receiving", "stale", "hello", "reboot", ... */
int uf_store_link_event(struct uf_store *s, int64_t utc_us, const char *kind, const char *text,
                        struct uf_error *err);

/* Derives swings again from their raw counts. which: NULL for all since since_utc_us (INT64_MIN:
 * all), or a list of ids. Uses the rig that each swing was captured with, and that rig's active
 * calibration (none: the data sheet's). A swing that already has a derivation of the same
 * calibration, algorithm and settings is derived anyway and compared: different bits are counted
 * in `differ` (never overwritten). Otherwise the new one is added; old ones stay. Either way the
 * derivation of that key is the current one afterwards. A swing that fails is counted in
 * `failed` and the others go on; the first failure is the one returned. */
struct uf_rederive_counts {
    int64_t swings, made, same, differ, failed;
};
int uf_store_rederive(struct uf_store *s, const int64_t *which, size_t n, int64_t since_utc_us,
                      const struct uf_analysis_settings *settings, int64_t made_utc_us,
                      struct uf_rederive_counts *counts, struct uf_error *err);

/* Test hook: sleep so many ms inside each write transaction before COMMIT (a slow disk). */
void uf_store_slow_ms(struct uf_store *s, unsigned ms);

#endif

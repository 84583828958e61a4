/* SPDX-License-Identifier: MIT
 * From the line's bytes to jobs for the store: lets in only the rig's own board, runs the measuring
 * chain, labels swings with the time of day, keeps the state that people see, and counts. Derives
 * nothing and writes nothing. Loop thread. */
#ifndef UF_DAEMON_ACQUIRE_H
#define UF_DAEMON_ACQUIRE_H

#include "config/config.h"
#include "daemon/feet.h"
#include "daemon/link.h"
#include "daemon/recorder.h"
#include "daemon/recover.h"
#include "daemon/spool.h"
#include "daemon/store_sink.h"
#include "daemon/store_thread.h"

enum uf_acquire_state {
    UF_WAITING,   /* no sample has come since the line was opened, or it is not open */
    UF_RECEIVING, /* samples come */
    UF_STALE      /* they came, and have stopped */
};
const char *uf_acquire_state_name(enum uf_acquire_state s);

struct uf_acquire_config {
    const struct uf_config *config;
    const struct uf_store_start *start;
    struct uf_store_thread *store;
    struct uf_recorder *recorder;                   /* NULL: no recording */
    struct uf_spool *spool;                         /* NULL: none */
    struct uf_past *past;                           /* what it goes on from: its chain is taken */
    void (*changed)(void *who);                     /* the state did */
    void (*samples)(void *who);                     /* some have come; once a read of the line */
    void (*ended)(void *who, const char *sentence); /* as uf_link_owner.ended */
    void (*stopped)(void *who);                     /* as uf_link_owner.stopped */
    void *who;
};

struct uf_acquire_status {
    enum uf_acquire_state state;
    char text[480]; /* why waiting or stale; which board */
    bool greeted;
    struct uf_hello hello;
    double measured_rate_hz; /* by the host's clock; NAN: not known */
    double drift_ppm;        /* of the board's clock; NAN: not known */
    struct uf_wire_counts counts;
    struct uf_pipeline_doubts doubts;
    uint64_t refused[UF_REFUSALS]; /* what looked like a swing and was none */
    uint64_t swings;               /* found */
    uint64_t strikes, lone_strikes, notes_hushed, link_losses, boards_refused;
    uint64_t unknown_bytes; /* given up because no HELLO came */
    const struct uf_live *live;
    const struct uf_monitor *monitor;
    enum uf_hand hand;
    double tare_age_s;                   /* NAN: no zero */
    double drift_n[UF_PLATES_MAX];       /* of the last zero against the one before, and */
    double total_drift_n[UF_PLATES_MAX]; /* .. against the run's first; NAN: not known */
    const struct uf_feet_state *feet;
    const struct uf_feet *feet_now; /* that hold now; NULL: none */
    bool feet_asked;                /* somebody waits for them */
    const struct uf_calibration *calibration;
    int64_t calibration_id;
};

struct uf_acquire;

int uf_acquire_new(struct uf_acquire **out, const struct uf_acquire_config *config,
                   struct uf_error *err);
void uf_acquire_free(struct uf_acquire *a);

/* What the link must be made with. */
void uf_acquire_owner(struct uf_acquire *a, struct uf_link_owner *owner);
/* The link that was made with that owner; it outlives the calls below. */
void uf_acquire_attach(struct uf_acquire *a, struct uf_link *link);

#define UF_ACQUIRE_TICK_MS 100
void uf_acquire_tick(struct uf_acquire *a);
/* The store's queue has changed: a recording that waited for it may go on. */
void uf_acquire_store_changed(struct uf_acquire *a);
/* No more bytes: a swing that is long enough goes to the store. */
void uf_acquire_finish(struct uf_acquire *a);

void uf_acquire_set_calibration(struct uf_acquire *a, const struct uf_calibration *cal, int64_t id);
/* The database was opened (again): its newest swing has this id. */
void uf_acquire_set_newest_id(struct uf_acquire *a, int64_t id);
/* What no load can make, to be watched (uf_pipeline_watch). */
void uf_acquire_watch(struct uf_acquire *a, const struct uf_leftover *leftover, const bool *known);
/* The end: what is not stored, if anything, is left to the next start. */
void uf_acquire_close_spool(struct uf_acquire *a, bool all_stored);
void uf_acquire_request_tare(struct uf_acquire *a);
/* Looks at the next seconds, whatever is done in them (UF_ROCKING_ASKED_S of samples). */
void uf_acquire_ask_feet(struct uf_acquire *a);
/* What the store found in rocking. */
void uf_acquire_feet_found(struct uf_acquire *a, const struct uf_job *job);
void uf_acquire_set_hand(struct uf_acquire *a, enum uf_hand hand);

void uf_acquire_status(struct uf_acquire *a, struct uf_acquire_status *out);

#endif

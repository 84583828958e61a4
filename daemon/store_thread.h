/* SPDX-License-Identifier: MIT
 * The queue between the loop, which never waits, and the disk, which sometimes does. A thread of
 * its own takes one job after another, oldest first. A job that the disk refuses (full, locked,
 * read-only) stays at the head and is tried again, less and less often; nothing is dropped. So does
 * the opening of a database that could not be used at the start: what comes waits behind it. More
 * swings than the queue's limit is a state that the daemon shows; they wait in memory all the same,
 * up to UF_STORE_BYTES_MAX. What a person waits for (TEACH, LESSON) passes the queue, also while
 * the disk refuses; it is tried once, and its answer goes back. The only lock guards pointers and
 * counters: it is never held during work. */
#ifndef UF_DAEMON_STORE_THREAD_H
#define UF_DAEMON_STORE_THREAD_H

#include "daemon/backoff.h"
#include "daemon/teach.h"
#include "plate/leftover.h"
#include "plate/tare.h"
#include "store/plate_checks.h"
#include "swing/capture.h"
#include "swing/rocking.h"

#include <uv.h>

#define UF_STORE_BYTES_MAX (1ull << 30) /* of swings in memory: then new ones are lost, counted */
#define UF_STORE_NOTES_MAX 1000 /* zeros and link events in memory: then new ones are lost */

enum uf_job_kind {
    UF_JOB_OPEN, /* of a database that could not be used at the start: tried until it can be */
    UF_JOB_SWING,
    UF_JOB_TARE,
    UF_JOB_LINK_EVENT,
    UF_JOB_CALIBRATION, /* read the rig's active calibration again */
    UF_JOB_LESSON,      /* read which session is open, and whose, and the rig's health */
    UF_JOB_TEACH,       /* do what a teacher asked for on the page */
    UF_JOB_ROCKING      /* store it, and find the feet */
};

struct uf_store_start; /* store_sink.h */

/* One thing to store. All of it is owned by the queue from uf_store_thread_put on. */
struct uf_job {
    enum uf_job_kind kind;
    int64_t utc_us; /* of the trigger, the zero, the event, the question; 0: not known */
    /* SWING, ROCKING */
    struct uf_capture *capture;
    int64_t hit_utc_us; /* by which it belongs to a block; 0: utc_us */
    uint64_t stand;     /* as uf_pipeline_event; no two chains have the same */
    /* ROCKING */
    bool asked;          /* somebody waits: it may be no rocking at all */
    bool has_feet;       /* result: */
    struct uf_feet feet; /* it was looked at; its states say what was found */
    /* SWING */
    double drift_ppm;                  /* of the board's clock; NAN: not known */
    struct uf_calibration calibration; /* in force at capture; CALIBRATION: the result */
    int64_t calibration_id; /* 0: nominal; SWING -1: not known, the active one when it is stored;
                               result -1: could not be read */
    /* CALIBRATION, results: what no load can make, of the plates where it is known */
    struct uf_leftover leftover[UF_PLATES_MAX];
    bool has_leftover[UF_PLATES_MAX];
    bool maybe_stored;    /* found again after a crash: may be stored already, */
    int64_t stored_after; /* then with a greater id than this */
    int64_t swing_id;     /* result */
    bool was_stored;      /* result: it was there */
    uint32_t flags;       /* result: UF_FLAG_* */
    /* any kind, result: the database was opened (again) and says this; the job comes back for it */
    struct uf_store_start *found;
    /* SWING, OPEN, LESSON, TEACH: results */
    bool has_lesson; /* what is open could be read */
    struct uf_lesson_about lesson;
    /* LESSON */
    bool quiet;      /* nobody asked: only a look at what others may have changed */
    bool has_health; /* result, of OPEN and CALIBRATION too: .. */
    struct uf_rig_health health;
    /* TEACH: to be freed, results in it */
    struct uf_teach *teach;
    /* TARE */
    struct uf_tare_event tare;
    int channels;
    /* LINK_EVENT */
    char event[16];
    char text[480];

    unsigned tries; /* the queue's */
    struct uf_job *next;
};

/* What the thread does with a job. Both run on the thread (close: last, also where nothing was
 * stored) and may take as long as they like. */
struct uf_store_sink {
    void *who;
    /* UF_OK, with results filled in; a failure that time may mend (UF_EIO, UF_EBUSY, UF_ENOMEM,
     * UF_EFULL, UF_EPERM) or one that it won't (others): then a swing lets the others pass, and
     * the rest is given up. */
    int (*store)(void *who, struct uf_job *job, struct uf_error *err);
    void (*close)(void *who);
};

enum uf_store_state {
    UF_STORE_OK,
    UF_STORE_BEHIND,  /* more swings wait than the queue's limit */
    UF_STORE_FAILING, /* the last try failed: problem says why */
};
const char *uf_store_state_name(enum uf_store_state s);

/* A copy of the counters, as they were at one instant. */
struct uf_store_status {
    enum uf_store_state state;
    char problem[480];
    int waiting; /* swings, with the one at work */
    int limit;
    int most_waiting;       /* ever */
    uint64_t waiting_bytes; /* memory of them, about */
    uint64_t stored;        /* swings, by this run */
    uint64_t lost;          /* swings: no memory left for them */
    uint64_t notes_lost;    /* zeros and link events */
    uint64_t retries;
    int64_t last_swing_id; /* 0: none by this run */
    int64_t last_swing_utc_us;
    uint32_t last_swing_flags;
    struct uf_lesson_about lesson; /* that swings belong to now */
    struct uf_rig_health health;
};

struct uf_store_thread;

struct uf_store_thread_config {
    uv_loop_t *loop;
    struct uf_store_sink sink;
    int limit;                     /* swings */
    struct uf_lesson_about lesson; /* open at the start */
    struct uf_rig_health health;
    const char *problem;     /* with the database at the start, which was logged; NULL: none */
    struct uf_backoff waits; /* between tries; first_ms 0: the usual ones */
    /* On the loop, after something changed; several changes may come as one. */
    void (*changed)(void *who);
    /* On the loop: a CALIBRATION, LESSON, TEACH or ROCKING job is done, or any job that found
     * something; belongs to the receiver (uf_job_free). */
    void (*answered)(void *who, struct uf_job *job);
    /* On the loop, after uf_store_thread_stop: the sink is closed. left: swings that could not be
     * stored in time. */
    void (*stopped)(void *who, int left);
    void *who;
};

/* Starts the thread; it owns the sink from now on. */
int uf_store_thread_new(struct uf_store_thread **out, const struct uf_store_thread_config *config,
                        struct uf_error *err);
/* After stopped, or where the loop never ran: joins the thread, storing what there is. Run the loop
 * once more to let its handle go. */
void uf_store_thread_free(struct uf_store_thread *t);

/* NULL without memory. */
struct uf_job *uf_job_new(enum uf_job_kind kind);
void uf_job_free(struct uf_job *job);
/* Takes the job. False: it was lost, for want of room (counted). */
bool uf_store_thread_put(struct uf_store_thread *t, struct uf_job *job);

/* Stores what waits, then closes; gives up after limit_ms of tries in vain. */
void uf_store_thread_stop(struct uf_store_thread *t, uint64_t limit_ms);
/* While stopping: give up at the next failure. */
void uf_store_thread_hurry(struct uf_store_thread *t);

void uf_store_thread_status(struct uf_store_thread *t, struct uf_store_status *out);

#endif

/* SPDX-License-Identifier: MIT
 * Jobs to rows: see store_sink.h. Owns the database connection, and the lock that says so. */
#include "daemon/store_sink.h"

#include "base/clock.h"
#include "base/log.h"
#include "store/calibrations.h"
#include "store/feet.h"
#include "store/lessons.h"
#include "store/recovery.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#define TAKEN_MAX 1000 /* the first so many; a crash leaves a handful at most */

struct sink {
    struct uf_store *store;
    const struct uf_config *config; /* not changed while the daemon runs */
    unsigned slow_ms;
    int64_t rig_id, session_id;
    int64_t newest_id; /* swing, when the database was opened */
    int lock_fd;
    bool seen; /* there was a file: should it be gone, it is not made anew */
    dev_t device;
    ino_t inode;    /* of the file that is open */
    unsigned opens; /* how often it was opened */
    /* The active one: of swings that were captured before it was known, or under another database's
     * calibration. */
    struct uf_calibration calibration;
    int64_t calibration_id;
    int64_t taken[TAKEN_MAX]; /* rows that turned out to be swings that were found again */
    size_t taken_n;
    /* the last rocking that counts: it holds for the swings of its stand */
    uint64_t stand;
    int64_t rocking_id;       /* 0: none */
    enum uf_hand feet_hand;   /* its feet are settled for this hand, .. */
    int64_t feet_calibration; /* .. and by this calibration */
};

/* ---- jobs; store thread ---- */

/* A swing that was found again: 1 when it was stored already, 0 when not; negative: not known. */
static int find_again(struct sink *s, struct uf_job *job, struct uf_error *err)
{
    /* An id beyond the newest one comes from another database than this. */
    int64_t after_id = job->stored_after > s->newest_id ? 0 : job->stored_after;
    int rc = uf_store_swing_find(s->store, job->capture, after_id, s->taken, s->taken_n,
                                 &job->swing_id, err);
    if (rc == UF_OK) {
        job->was_stored = true;
        if (s->taken_n < TAKEN_MAX)
            s->taken[s->taken_n++] = job->swing_id;
        return 1;
    }
    return rc == UF_ENOTFOUND ? UF_OK : rc;
}

static int read_lesson(struct sink *s, struct uf_job *job, struct uf_error *err)
{
    int rc = uf_lesson_about(s->store, s->rig_id, uf_clock_utc_us(), &job->lesson, err);
    job->has_lesson = rc == UF_OK;
    return rc;
}

static int look(struct sink *s, struct uf_job *job, struct uf_error *err)
{
    int rc = read_lesson(s, job, err);
    if (rc == UF_OK)
        rc = uf_store_rig_health(s->store, s->rig_id, &s->config->rig, &job->health, err);
    job->has_health = rc == UF_OK;
    return rc;
}

static int teach(struct sink *s, struct uf_job *job)
{
    uf_teach_do(job->teach, s->store, &s->config->rig, s->rig_id, job->utc_us);
    (void)read_lesson(s, job, NULL); /* it is done or refused, whatever this says */
    return UF_OK;
}

/* A swing keeps the calibration under which it was captured, if this database has it. */
static void settle_calibration(const struct sink *s, struct uf_job *job)
{
    bool unknown = job->calibration_id < 0;
    bool other = s->opens > 1 && strcmp(job->calibration.uuid, s->calibration.uuid) != 0;
    if (!unknown && !other)
        return;
    job->calibration = s->calibration;
    job->calibration_id = s->calibration_id;
}

static int settle_feet(struct sink *s, int64_t rocking_id, const struct uf_job *job,
                       struct uf_feet *out, struct uf_error *err)
{
    return uf_store_feet_settle(s->store, rocking_id, job->capture->hand, &s->config->rig,
                                &job->calibration, job->calibration_id, uf_clock_utc_us(), out,
                                err);
}

/* Rocking, or what may be: what is none, leaves no row. */
static int store_rocking(struct sink *s, struct uf_job *job, struct uf_error *err)
{
    struct uf_rocking_meta meta = {.rig_id = s->rig_id, .at_utc_us = job->utc_us};
    struct uf_foot_person who;
    struct uf_lesson then; /* what was open when it was done */
    int64_t rocking_id;
    settle_calibration(s, job);
    meta.hit_utc_us = job->hit_utc_us ? job->hit_utc_us
                      : job->utc_us   ? job->utc_us
                                      : uf_clock_utc_us();
    int rc = uf_lesson_at(s->store, s->rig_id, meta.hit_utc_us, job->maybe_stored, &then, err);
    if (job->maybe_stored)
        meta.session_id = then.session_id;
    if (rc == 0)
        rc = uf_store_foot_person(s->store, then.session_id, &who, err);
    if (rc == 0)
        rc = uf_rocking_find(job->capture, &s->config->rig, &job->calibration, &who,
                             job->capture->hand, &job->feet, err);
    if (rc == 0 && uf_rocking_counts(&job->feet)) {
        rc = uf_store_rocking_add(s->store, &meta, job->capture, uf_clock_utc_us(), &rocking_id,
                                  err);
        if (rc == 0)
            rc = settle_feet(s, rocking_id, job, &job->feet, err);
        if (rc)
            return rc;
        s->stand = job->stand;
        s->rocking_id = rocking_id;
        s->feet_hand = job->capture->hand;
        s->feet_calibration = job->calibration_id;
    }
    job->has_feet = rc == 0;
    return rc;
}

/* The rocking whose feet hold for a swing; 0: none. Without feet a swing is stored all the same. */
static int64_t rocking_of(struct sink *s, const struct uf_job *job)
{
    struct uf_error err;
    if (s->rocking_id == 0 || s->stand != job->stand)
        return 0;
    if (s->feet_hand == job->capture->hand && s->feet_calibration == job->calibration_id)
        return s->rocking_id;
    if (settle_feet(s, s->rocking_id, job, NULL, &err)) {
        uf_log(UF_LOG_WARNING, "a swing has no feet: %s", err.text);
        return 0;
    }
    s->feet_hand = job->capture->hand;
    s->feet_calibration = job->calibration_id;
    return s->rocking_id;
}

static void say_hand(const struct uf_job *job)
{
    bool left = job->capture->hand == UF_LEFT_HANDED;
    if (job->flags & UF_FLAG_HAND)
        uf_log(UF_LOG_WARNING,
               "swing %lld looks %s-handed, and the player is set as %s-handed: set the hand "
               "(underfoot player edit, or on the page), and for this swing: underfoot swing hand "
               "%s %lld",
               (long long)job->swing_id, left ? "right" : "left", left ? "left" : "right",
               left ? "right" : "left", (long long)job->swing_id);
}

static int store_swing(struct sink *s, struct uf_job *job, struct uf_error *err)
{
    struct uf_given given;
    char basis[UF_BASIS_SIZE];
    struct uf_lesson then; /* what was open when it was hit */
    int known = job->maybe_stored ? find_again(s, job, err) : 0;
    if (known)
        return known > 0 ? UF_OK : known;
    settle_calibration(s, job);
    int64_t hit_utc_us = job->hit_utc_us ? job->hit_utc_us
                         : job->utc_us   ? job->utc_us
                                         : uf_clock_utc_us();
    const struct uf_given_of of = {
        .hand = job->capture->hand,
        .rocking_id = rocking_of(s, job),
        .utc_us = job->utc_us,
        .calibration_id = job->calibration_id,
        .old_days = s->config->analysis.old_days,
    };
    int rc = uf_lesson_at(s->store, s->rig_id, hit_utc_us, job->maybe_stored, &then, err);
    const struct uf_swing_meta meta = {
        .session_id = job->maybe_stored ? then.session_id : 0,
        .block_id = job->maybe_stored ? then.block_id : 0,
        .hit_utc_us = hit_utc_us,
        .rig_id = s->rig_id,
        .calibration_id = job->calibration_id,
        .trigger_utc_us = job->utc_us,
        .clock_drift_ppm = job->drift_ppm,
        .basis = basis,
        .rocking_id = of.rocking_id,
    };
    struct uf_analysis *analysis = NULL;
    if (!rc)
        rc = uf_store_given(s->store, &of, &given, basis, err);
    if (!rc)
        rc = uf_analyse_given(job->capture, &s->config->rig, &job->calibration,
                              &s->config->analysis, &given, &analysis, err);
    if (rc == UF_EINVAL) {
        /* the raw counts are kept whatever the analysis says of them */
        uf_log(UF_LOG_WARNING, "a swing is stored without numbers: %s; then: underfoot rederive",
               err->text);
        rc = UF_OK;
    }
    if (!rc)
        rc = uf_store_swing_add(s->store, &meta, job->capture, analysis, uf_clock_utc_us(),
                                &job->swing_id, err);
    if (!rc) {
        if (analysis)
            job->flags = analysis->flags;
        say_hand(job);
        (void)read_lesson(s, job, NULL); /* the swing is stored, whatever this says */
    }
    if (!rc && job->maybe_stored) {
        if (s->taken_n < TAKEN_MAX) /* a second one with the same counts is another swing */
            s->taken[s->taken_n++] = job->swing_id;
        uf_log(UF_LOG_NOTICE, "store: swing %lld comes from before the start",
               (long long)job->swing_id);
    }
    uf_analysis_free(analysis);
    return rc;
}

/* The active calibration of the rig with what no load can make, or the nominal one. Without the
 * latter it measures all the same. */
static int read_calibration(struct uf_store *store, int64_t rig_id, const struct uf_rig *rig,
                            struct uf_calibration *out, int64_t *id, struct uf_leftover *leftover,
                            bool *has_leftover, struct uf_error *err)
{
    struct uf_error why = {0};
    json_t *provenance = NULL;
    memset(has_leftover, 0, UF_PLATES_MAX * sizeof *has_leftover);
    int rc = uf_store_calibration_active(store, rig_id, rig, out, id, err);
    if (rc == UF_ENOTFOUND) {
        *id = 0;
        uf_calibration_nominal(rig, out);
        return UF_OK;
    }
    if (rc)
        return rc;
    if (uf_store_calibration_provenance(store, *id, &provenance, &why) != UF_OK) {
        uf_log(UF_LOG_WARNING, "store: the plates cannot be watched for loose feet: %s", why.text);
        return UF_OK;
    }
    uf_leftover_all(provenance, rig, leftover, has_leftover);
    json_decref(provenance);
    return UF_OK;
}

static int read_calibration_again(struct sink *s, struct uf_job *job, struct uf_error *err)
{
    int rc = read_calibration(s->store, s->rig_id, &s->config->rig, &job->calibration,
                              &job->calibration_id, job->leftover, job->has_leftover, err);
    if (rc)
        return rc;
    s->calibration = job->calibration;
    s->calibration_id = job->calibration_id;
    return UF_OK;
}

static int do_job(struct sink *s, struct uf_job *job, struct uf_error *err)
{
    switch (job->kind) {
    case UF_JOB_OPEN:
        return look(s, job, err);
    case UF_JOB_SWING:
        return store_swing(s, job, err);
    case UF_JOB_TARE:
        return uf_store_tare_add(s->store, s->rig_id, &job->tare, job->channels, job->utc_us, err);
    case UF_JOB_LINK_EVENT:
        return uf_store_link_event(s->store, job->utc_us, job->event, job->text, err);
    case UF_JOB_CALIBRATION:
        job->has_health =
            uf_store_rig_health(s->store, s->rig_id, &s->config->rig, &job->health, NULL) == UF_OK;
        return read_calibration_again(s, job, err);
    case UF_JOB_LESSON:
        return look(s, job, err);
    case UF_JOB_TEACH:
        return teach(s, job);
    case UF_JOB_ROCKING:
        return store_rocking(s, job, err);
    }
    return UF_OK;
}

static void close_sink(void *who)
{
    struct sink *s = who;
    struct uf_error err = {0};
    struct uf_lesson open = {0};
    if (s->store && s->session_id > 0)
        (void)uf_lesson_now(s->store, s->rig_id, uf_clock_utc_us(), &open, NULL);
    if (open.session_id > 0 &&
        uf_store_session_close(s->store, open.session_id, uf_clock_utc_us(), &err) != UF_OK)
        uf_log(UF_LOG_WARNING, "store: the session stays open in the database: %s", err.text);
    uf_store_close(s->store);
    if (s->lock_fd >= 0)
        close(s->lock_fd);
    free(s);
}

/* ---- opening; main thread, later the store thread ---- */

/* Another daemon on the same file? The lock file stays: taking it away would race. */
static int take_lock(const char *database, int *fd, struct uf_error *err)
{
    char path[UF_PATH_MAX + 8], pid[24] = "";
    snprintf(path, sizeof path, "%s.lock", database);
    *fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0640);
    if (*fd < 0)
        return uf_fail(err,
                       errno == ENOENT || errno == ENOTDIR  ? UF_ENOTFOUND
                       : errno == EACCES || errno == EROFS  ? UF_EPERM
                       : errno == ENOSPC || errno == EDQUOT ? UF_EFULL
                                                            : UF_EIO,
                       "cannot write beside the database, %s: %s; make the folder writable for the "
                       "user that runs underfootd, or set daemon.database",
                       path, strerror(errno));
    if (flock(*fd, LOCK_EX | LOCK_NB) == 0) {
        int n = snprintf(pid, sizeof pid, "%ld\n", (long)getpid());
        if (ftruncate(*fd, 0) == 0 && pwrite(*fd, pid, (size_t)n, 0) == n)
            return UF_OK;
        return UF_OK; /* the number is only for people */
    }
    ssize_t n = pread(*fd, pid, sizeof pid - 1, 0);
    pid[n > 0 ? strcspn(pid, "\n") : 0] = '\0';
    close(*fd);
    *fd = -1;
    return uf_fail(
        err, UF_EBUSY,
        "another underfootd%s%s%s already stores into %s: stop that one, or give this one "
        "its own daemon.database",
        *pid ? ", process " : "", pid, *pid ? "," : "", database);
}

static int find_start(struct sink *s, struct uf_store_start *start, struct uf_error *err)
{
    const struct uf_rig *rig = &s->config->rig;
    int rc = uf_store_rig(s->store, rig, &start->rig_id, err);
    if (!rc)
        rc = read_calibration(s->store, start->rig_id, rig, &start->calibration,
                              &start->calibration_id, start->leftover, start->has_leftover, err);
    if (rc)
        return rc;
    rc = uf_store_tare_last(s->store, start->rig_id, start->tare_raw, &start->tare_utc_us, err);
    start->has_tare = rc == UF_OK;
    if (rc && rc != UF_ENOTFOUND)
        return rc;
    rc = uf_store_swing_newest(s->store, &start->newest_swing_id, err);
    if (rc)
        return rc;
    rc = uf_store_session_open(s->store, start->rig_id, uf_clock_utc_us(), &start->session_id, err);
    s->rig_id = start->rig_id;
    s->session_id = start->session_id;
    s->newest_id = start->newest_swing_id;
    s->calibration = start->calibration;
    s->calibration_id = start->calibration_id;
    if (!rc)
        rc = uf_lesson_about(s->store, s->rig_id, uf_clock_utc_us(), &start->lesson, err);
    if (!rc)
        rc = uf_store_rig_health(s->store, s->rig_id, rig, &start->health, err);
    start->has_hand = start->lesson.now.player_id != 0;
    start->hand = start->lesson.now.hand;
    return rc;
}

static void close_store(struct sink *s)
{
    uf_store_close(s->store);
    s->store = NULL;
}

static int open_store(struct sink *s, struct uf_store_start *start, struct uf_error *err)
{
    const char *path = s->config->daemon.database;
    struct stat st;
    memset(start, 0, sizeof *start);
    s->seen = s->seen || stat(path, &st) == 0;
    if (s->seen && stat(path, &st) != 0)
        return uf_fail(err, UF_EIO,
                       "the database %s is gone: put it back, or start underfootd again to begin a "
                       "new one",
                       path);
    int rc = uf_store_open(&s->store, path, s->seen ? UF_STORE_WRITE : UF_STORE_CREATE, err);
    if (!rc && stat(path, &st) != 0)
        rc = uf_fail(err, UF_EIO, "cannot look at the database %s: %s", path, strerror(errno));
    if (!rc)
        rc = find_start(s, start, err);
    if (rc) {
        close_store(s);
        return rc;
    }
    s->seen = true;
    s->device = st.st_dev;
    s->inode = st.st_ino;
    s->opens++;
    s->taken_n = 0;
    s->rocking_id = 0; /* of another database */
    uf_store_slow_ms(s->store, s->slow_ms);
    return UF_OK;
}

/* Has the file been taken away or replaced under us? What is written to the old one is lost. */
static bool is_another(const struct sink *s)
{
    struct stat st;
    return stat(s->config->daemon.database, &st) != 0 || st.st_dev != s->device ||
           st.st_ino != s->inode;
}

/* The database is open: *found says what is in it, where that is news (NULL: it was open). */
static int have_store(struct sink *s, struct uf_store_start **found, struct uf_error *err)
{
    int rc = UF_OK;
    if (s->store && is_another(s)) {
        uf_log(UF_LOG_WARNING, "store: %s is another file than before, or gone: opening it again",
               s->config->daemon.database);
        close_store(s);
    }
    if (s->store)
        return UF_OK;
    free(*found);
    *found = calloc(1, sizeof **found);
    if (!*found)
        return uf_fail(err, UF_ENOMEM, "no memory to open the database");
    if (s->lock_fd < 0)
        rc = take_lock(s->config->daemon.database, &s->lock_fd, err);
    if (!rc)
        rc = open_store(s, *found, err);
    if (rc) {
        free(*found);
        *found = NULL;
    }
    return rc;
}

static int store_job(void *who, struct uf_job *job, struct uf_error *err)
{
    struct sink *s = who;
    int rc = have_store(s, &job->found, err);
    if (!rc)
        rc = do_job(s, job, err);
    /* A damaged one may be mended by another file in its place: the next try opens it again. */
    if (rc == UF_ECORRUPT)
        close_store(s);
    return rc;
}

/* Is it a mistake that somebody must mend before measuring makes sense? */
static bool hopeless(int rc)
{
    return rc == UF_EINVAL || rc == UF_ENOTFOUND;
}

int uf_store_sink_new(struct uf_store_sink *out, struct uf_store_start *start,
                      const struct uf_config *config, unsigned slow_ms, struct uf_error *err)
{
    struct uf_error why = {0};
    memset(start, 0, sizeof *start);
    struct sink *s = calloc(1, sizeof *s);
    if (!s)
        return uf_fail(err, UF_ENOMEM, "no memory to open the database");
    s->config = config;
    s->lock_fd = -1;
    s->slow_ms = slow_ms;
    int rc = take_lock(config->daemon.database, &s->lock_fd, &why);
    bool stop = rc == UF_EBUSY || hopeless(rc); /* busy: another daemon */
    if (!rc) {
        rc = open_store(s, start, &why);
        stop = hopeless(rc);
    }
    if (stop) {
        close_sink(s);
        return uf_fail(err, rc, "%s", why.text);
    }
    if (rc) {
        memset(start, 0, sizeof *start);
        memcpy(start->problem, why.text, sizeof start->problem);
        uf_calibration_nominal(&config->rig, &start->calibration);
        start->calibration_id = -1;
    }
    *out = (struct uf_store_sink){.who = s, .store = store_job, .close = close_sink};
    return UF_OK;
}

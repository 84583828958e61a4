/* SPDX-License-Identifier: MIT
 * Ties the parts together: see daemon.h. The end is a chain of callbacks: the link closes, the last
 * swing goes to the store, store and recording write what they have, the loop stops. */
#include "daemon/daemon.h"

#include "base/clock.h"
#include "base/log.h"
#include "daemon/start_memory.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LAST_ROUND_MS 15000 /* for handles to close; a question of the page may take 10 s */
#define HANDLES_TEXT  200
#define DRAIN_MS      30000 /* tries in vain to store, before the daemon ends without */
#define TICK_MS       20    /* of the loop: how finely a stall is seen */
#define PATIENCE_MS   3000  /* storing takes so long at the end: say so */
#define LOOK_MS       60000 /* how often what others may have written is looked at */

/* ---- what people and systemd are told ---- */

static void tell_status(struct uf_daemon *d)
{
    char text[560];
    uf_status_line(&d->sources, text, sizeof text);
    (void)uf_notify_status(d->notify, text);
    uf_page_state(d->page);
}

static void state_changed(void *who)
{
    tell_status(who);
}

static void samples_came(void *who)
{
    struct uf_daemon *d = who;
    uf_page_samples(d->page);
}

static void store_changed(void *who)
{
    struct uf_daemon *d = who;
    uf_acquire_store_changed(d->acquire);
    tell_status(d);
}

/* ---- questions on the control socket ---- */

static json_t *answer_status(struct uf_daemon *d, const json_t *question)
{
    (void)question;
    return uf_status_json(&d->sources);
}

static json_t *answer_tare(struct uf_daemon *d, const json_t *question)
{
    (void)question;
    uf_acquire_request_tare(d->acquire);
    return json_pack("{s:b, s:s}", "ok", 1, "text",
                     "the next still stretch becomes the zero, whatever stands on the plates");
}

static json_t *answer_hand(struct uf_daemon *d, const json_t *question)
{
    const char *hand = json_string_value(json_object_get(question, "hand"));
    if (!hand || (strcmp(hand, "left") != 0 && strcmp(hand, "right") != 0))
        return json_pack("{s:s}", "error", "\"hand\" must be \"left\" or \"right\"");
    uf_acquire_set_hand(d->acquire, hand[0] == 'l' ? UF_LEFT_HANDED : UF_RIGHT_HANDED);
    return json_pack("{s:b, s:s}", "ok", 1, "hand", hand);
}

static json_t *answer_lesson(struct uf_daemon *d, const json_t *question)
{
    (void)question;
    struct uf_job *job = uf_job_new(UF_JOB_LESSON);
    if (!job || !uf_store_thread_put(d->store, job))
        return json_pack("{s:s}", "error", "the database cannot be asked now");
    return json_pack("{s:b, s:s}", "ok", 1, "text",
                     "the open session and its player are read again");
}

static json_t *answer_feet(struct uf_daemon *d, const json_t *question)
{
    (void)question;
    struct uf_acquire_status a;
    uf_acquire_status(d->acquire, &a);
    if (d->config.rig.plates != 2)
        return json_pack("{s:s}", "error", "feet are found on two plates only");
    if (a.state != UF_RECEIVING || !a.live->tared)
        return json_pack("{s:s}", "error", "feet need samples and a zero; see: underfoot status");
    uf_acquire_ask_feet(d->acquire);
    return json_pack("{s:b, s:I, s:s}", "ok", 1, "tries", (json_int_t)a.feet->tries, "text",
                     "rock from the heels to the toes for six seconds");
}

static bool read_calibration(struct uf_daemon *d)
{
    struct uf_job *job = uf_job_new(UF_JOB_CALIBRATION);
    return job && uf_store_thread_put(d->store, job);
}

static json_t *answer_calibration(struct uf_daemon *d, const json_t *question)
{
    (void)question;
    if (!read_calibration(d))
        return json_pack("{s:s}", "error", "the database cannot be asked now");
    return json_pack("{s:b, s:s}", "ok", 1, "text", "the calibration in force is read again");
}

static json_t *answer(void *who, const json_t *question)
{
    static const struct {
        const char *ask;
        json_t *(*answer)(struct uf_daemon *d, const json_t *question);
    } table[] = {{"status", answer_status}, {"tare", answer_tare},
                 {"hand", answer_hand},     {"feet", answer_feet},
                 {"lesson", answer_lesson}, {"calibration", answer_calibration}};
    const char *ask = json_string_value(json_object_get(question, "ask"));
    for (size_t i = 0; ask && i < sizeof table / sizeof table[0]; i++)
        if (strcmp(ask, table[i].ask) == 0)
            return table[i].answer(who, question);
    return json_pack("{s:s}", "error",
                     "\"ask\" must be \"status\", \"tare\", \"hand\", \"feet\", \"lesson\" or "
                     "\"calibration\"");
}

/* ---- what the database answers ---- */

static void new_lesson(struct uf_daemon *d, const struct uf_job *job)
{
    const struct uf_lesson *l = &job->lesson.now, *last = &d->hand_from;
    bool same = l->session_id == last->session_id && l->player_id == last->player_id &&
                l->hand == last->hand;
    if (job->quiet)
        d->looking = false;
    if (!job->has_lesson || (same && job->quiet))
        return;
    d->hand_from = *l;
    if (l->player_id == 0)
        return;
    uf_acquire_set_hand(d->acquire, l->hand);
    uf_log(UF_LOG_NOTICE, "session %lld: the player is %s-handed", (long long)l->session_id,
           l->hand == UF_LEFT_HANDED ? "left" : "right");
}

/* Of a block nobody's hand changes, nor of a question that was refused. */
static void taught(struct uf_daemon *d, const struct uf_job *job)
{
    if (job->teach->kind == UF_TEACH_BEGIN && job->teach->rc == UF_OK)
        new_lesson(d, job);
    uf_page_taught(d->page, job->teach);
}

static void new_calibration(struct uf_daemon *d, const struct uf_job *job)
{
    if (job->calibration_id < 0) {
        uf_log(UF_LOG_WARNING, "the active calibration could not be read: going on with the one "
                               "in force");
    } else {
        uf_acquire_set_calibration(d->acquire, &job->calibration, job->calibration_id);
        uf_acquire_watch(d->acquire, job->leftover, job->has_leftover);
        uf_log(UF_LOG_NOTICE, "calibration in force: %s",
               job->calibration_id ? job->calibration.name : "none, the cells' data sheets");
    }
}

static void warn_if_nominal(struct uf_daemon *d, const struct uf_store_start *start)
{
    if (start->calibration_id == 0)
        uf_log(UF_LOG_WARNING,
               "no calibration of the rig \"%s\" is active: forces come from the cells' data "
               "sheets, and swings say so; see underfoot-calib --help",
               d->config.rig.name);
}

/* The database can be used at last, or is another one. */
static void new_database(struct uf_daemon *d, const struct uf_store_start *found)
{
    uf_acquire_set_newest_id(d->acquire, found->newest_swing_id);
    uf_acquire_set_calibration(d->acquire, &found->calibration, found->calibration_id);
    uf_acquire_watch(d->acquire, found->leftover, found->has_leftover);
    d->hand_from = found->lesson.now;
    if (found->has_hand && d->config.link.type != UF_LINK_REPLAY)
        uf_acquire_set_hand(d->acquire, found->hand);
    uf_log(UF_LOG_NOTICE, "the database is open, %s", d->config.daemon.database);
    warn_if_nominal(d, found);
}

static void answered(void *who, struct uf_job *job)
{
    struct uf_daemon *d = who;
    if (job->found)
        new_database(d, job->found);
    if (job->kind == UF_JOB_LESSON)
        new_lesson(d, job);
    else if (job->kind == UF_JOB_TEACH)
        taught(d, job);
    else if (job->kind == UF_JOB_ROCKING)
        uf_acquire_feet_found(d->acquire, job);
    else if (job->kind == UF_JOB_CALIBRATION)
        new_calibration(d, job);
    uf_job_free(job);
}

static void reload(struct uf_daemon *d)
{
    (void)read_calibration(d);
    if (d->recorder)
        uf_recorder_reopen(d->recorder);
}

/* ---- the end ---- */

static void part_stopped(struct uf_daemon *d)
{
    if (--d->parts_to_stop == 0)
        uv_stop(&d->loop);
}

static void recorder_stopped(void *who)
{
    part_stopped(who);
}

static void spool_stopped(void *who)
{
    part_stopped(who);
}

/* The spool has the bytes of all swings that are not stored. */
static bool spool_keeps(struct uf_daemon *d)
{
    struct uf_spool_status s;
    if (!d->spool)
        return false;
    uf_spool_status(d->spool, &s);
    return s.lost == 0 && !s.failing;
}

static void store_stopped(void *who, int left)
{
    struct uf_daemon *d = who;
    uf_acquire_close_spool(d->acquire, left == 0);
    if (left > 0 && spool_keeps(d)) {
        struct uf_store_status s;
        uf_store_thread_status(d->store, &s);
        uf_log(UF_LOG_ERROR,
               "%d swing%s could not be stored and wait%s in %s for the next start: %s", left,
               left == 1 ? "" : "s", left == 1 ? "s" : "", d->spool_folder, s.problem);
        d->exit_code = 1;
    } else if (left > 0) {
        struct uf_store_status s;
        uf_store_thread_status(d->store, &s);
        uf_log(UF_LOG_ERROR, "%d swing%s could not be stored and %s lost: %s", left,
               left == 1 ? "" : "s", left == 1 ? "is" : "are", s.problem);
        d->exit_code = 1;
    }
    if (d->spool)
        uf_spool_stop(d->spool, spool_stopped, d);
    else
        part_stopped(d);
}

static void out_of_patience(uv_timer_t *timer)
{
    struct uf_daemon *d = timer->data;
    struct uf_store_status s;
    uf_store_thread_status(d->store, &s);
    uf_log(UF_LOG_WARNING,
           "still storing: %d swing%s wait%s%s%s; SIGTERM again ends without what the disk refuses",
           s.waiting, s.waiting == 1 ? "" : "s", s.waiting == 1 ? "s" : "", *s.problem ? "; " : "",
           s.problem);
    tell_status(d);
}

static void link_stopped(void *who)
{
    struct uf_daemon *d = who;
    uf_acquire_finish(d->acquire);
    d->parts_to_stop = d->recorder ? 2 : 1;
    uv_timer_start(&d->patience, out_of_patience, PATIENCE_MS, 0);
    uf_store_thread_stop(d->store, DRAIN_MS);
    if (d->recorder)
        uf_recorder_stop(d->recorder, recorder_stopped, d);
}

static void begin_end(struct uf_daemon *d, const char *why)
{
    if (d->stopping)
        return;
    d->stopping = true;
    d->sources.stopping = true;
    uf_log(UF_LOG_NOTICE, "stopping: %s", why);
    (void)uf_notify_send(d->notify, "STOPPING=1");
    uf_page_state(d->page);
    uf_link_stop(d->link);
}

/* A recording is over. */
static void link_ended(void *who, const char *sentence)
{
    struct uf_daemon *d = who;
    if (sentence) {
        uf_log(UF_LOG_ERROR, "%s", sentence);
        d->exit_code = 1;
    }
    begin_end(d, sentence ? "the recording cannot be played" : "the recording is over");
}

static void on_signal(uv_signal_t *handle, int number)
{
    struct uf_daemon *d = handle->data;
    if (number == SIGHUP)
        reload(d);
    else if (d->stopping)
        uf_store_thread_hurry(d->store);
    else
        begin_end(d, number == SIGTERM ? "SIGTERM" : "SIGINT");
}

static void say_goodbye(struct uf_daemon *d)
{
    struct uf_acquire_status a;
    struct uf_store_status s;
    uf_acquire_status(d->acquire, &a);
    uf_store_thread_status(d->store, &s);
    const struct uf_wire_counts *c = &a.counts;
    double s_dev = 1e-6 * (double)a.live->t_dev_us,
           s_host = 1e-6 * (double)(uf_clock_mono_us() - d->sources.started_mono_us);
    uf_log(UF_LOG_NOTICE,
           "done: %llu swings stored; %llu samples (%.1f s by the board, %.1f s by the host), %llu "
           "lost, %llu bad packets",
           (unsigned long long)s.stored, (unsigned long long)c->samples, s_dev, s_host,
           (unsigned long long)c->lost,
           (unsigned long long)(c->bad_cobs + c->bad_crc + c->bad_length + c->bad_field +
                                c->too_long));
}

/* ---- timers ---- */

/* Did the loop come late? By the monotonic clock: a suspended machine is not late. */
static void look_for_stall(struct uf_daemon *d)
{
    uint64_t now_ns = uv_hrtime(), due_ns = d->ticked_ns + (uint64_t)TICK_MS * 1000000;
    if (d->ticked_ns && now_ns > due_ns) {
        uint64_t late_ms = (now_ns - due_ns) / 1000000;
        if (late_ms > UF_LOOP_LATE_MS)
            d->sources.loop_stalls++;
        if (late_ms > d->sources.loop_latest_ms)
            d->sources.loop_latest_ms = late_ms;
    }
    d->ticked_ns = now_ns;
}

/* A lesson that is over by idleness, a check of the plates, what somebody changed with sqlite3. */
static void look_around(struct uf_daemon *d)
{
    struct uf_job *job = d->looking || d->stopping ? NULL : uf_job_new(UF_JOB_LESSON);
    if (!job)
        return;
    job->quiet = true;
    d->looking = uf_store_thread_put(d->store, job);
}

static void on_tick(uv_timer_t *timer)
{
    struct uf_daemon *d = timer->data;
    look_for_stall(d);
    if (!d->ready) {
        d->ready = true;
        (void)uf_notify_send(d->notify, "READY=1");
        tell_status(d);
    }
    if (d->ticks++ % (UF_ACQUIRE_TICK_MS / TICK_MS) == 0 && !d->stopping)
        uf_acquire_tick(d->acquire);
    if (d->ticks % (LOOK_MS / TICK_MS) == 0)
        look_around(d);
}

static void on_watchdog(uv_timer_t *timer)
{
    struct uf_daemon *d = timer->data;
    (void)uf_notify_send(d->notify, "WATCHDOG=1");
}

int uf_daemon_start_timers(struct uf_daemon *d, struct uf_error *err)
{
    (void)err;
    uv_timer_t *const all[] = {&d->tick, &d->watchdog, &d->patience};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        uv_timer_init(&d->loop, all[i]);
        all[i]->data = d;
    }
    d->timers_open = true;
    uv_timer_start(&d->tick, on_tick, 0, TICK_MS);
    uint64_t watchdog_ms = uf_notify_watchdog_ms(d->notify);
    if (watchdog_ms)
        uv_timer_start(&d->watchdog, on_watchdog, 0, watchdog_ms);
    return UF_OK;
}

void uf_daemon_stop_timers(struct uf_daemon *d)
{
    if (!d->timers_open)
        return;
    uv_close((uv_handle_t *)&d->tick, NULL);
    uv_close((uv_handle_t *)&d->watchdog, NULL);
    uv_close((uv_handle_t *)&d->patience, NULL);
}

/* ---- the other parts ---- */

int uf_daemon_start_loop(struct uf_daemon *d, struct uf_error *err)
{
    signal(SIGPIPE, SIG_IGN); /* a client that is gone */
    signal(SIGXFSZ, SIG_IGN); /* a file at its limit is a full disk, no reason to die */
    uf_start_memory_begin();
    int rc = uv_loop_init(&d->loop);
    if (rc < 0)
        return uf_fail(err, UF_EIO, "cannot make an event loop: %s", uv_strerror(rc));
    d->loop_open = true;
    d->sources.config = &d->config;
    d->sources.started_mono_us = uf_clock_mono_us();
    return UF_OK;
}

static void give_up(uv_timer_t *guard)
{
    uv_stop(guard->loop);
}

static void name_handle(uv_handle_t *handle, void *who)
{
    char *text = who;
    size_t n = strlen(text);
    if (uv_has_ref(handle))
        snprintf(text + n, HANDLES_TEXT - n, " %s", uv_handle_type_name(handle->type));
}

/* The handles' last callbacks; false: some do not end, and what is theirs must stay. All that was
 * measured is on the disk by now. */
static bool last_round(struct uf_daemon *d)
{
    char left[HANDLES_TEXT] = "";
    uv_timer_t guard;
    uv_timer_init(&d->loop, &guard);
    uv_timer_start(&guard, give_up, LAST_ROUND_MS, 0);
    uv_unref((uv_handle_t *)&guard);
    bool over = uv_run(&d->loop, UV_RUN_DEFAULT) == 0;
    if (!over)
        uv_walk(&d->loop, name_handle, left);
    uv_close((uv_handle_t *)&guard, NULL);
    uv_run(&d->loop, over ? UV_RUN_DEFAULT : UV_RUN_NOWAIT);
    if (!over)
        uf_log(UF_LOG_ERROR, "the event loop does not end after %d s, for these handles:%s",
               LAST_ROUND_MS / 1000, left);
    return over;
}

void uf_daemon_stop_loop(struct uf_daemon *d)
{
    if (!d->loop_open)
        return;
    if (!last_round(d)) {
        d->exit_code = 1;
        return;
    }
    d->loop_open = false;
    uf_page_free(d->page);
    int rc = uv_loop_close(&d->loop);
    if (rc == 0)
        return;
    uf_log(UF_LOG_ERROR, "the event loop did not end cleanly: %s", uv_strerror(rc));
    d->exit_code = 1;
}

int uf_daemon_start_notify(struct uf_daemon *d, struct uf_error *err)
{
    return uf_notify_new(&d->notify, err);
}

void uf_daemon_stop_notify(struct uf_daemon *d)
{
    uf_notify_free(d->notify);
}

int uf_daemon_start_database(struct uf_daemon *d, struct uf_error *err)
{
    const char *slow = getenv("UNDERFOOT_TEST_SLOW_COMMIT_MS");
    unsigned long slow_ms = slow ? strtoul(slow, NULL, 10) : 0;
    int rc = uf_store_sink_new(&d->sink, &d->start, &d->config, (unsigned)slow_ms, err);
    if (rc)
        return rc;
    if (*d->start.problem && d->config.link.type == UF_LINK_REPLAY)
        return uf_fail(err, UF_EIO, "%s", d->start.problem); /* a recording does not run away */
    if (*d->start.problem)
        uf_log(UF_LOG_ERROR,
               "%s. Measuring goes on, with the cells' data sheets for live values; swings wait, "
               "and are stored with the rig's calibration as soon as the database can be used",
               d->start.problem);
    warn_if_nominal(d, &d->start);
    return UF_OK;
}

void uf_daemon_stop_database(struct uf_daemon *d)
{
    if (d->sink.who)
        d->sink.close(d->sink.who);
}

int uf_daemon_start_recorder(struct uf_daemon *d, struct uf_error *err)
{
    if (!*d->config.daemon.record)
        return UF_OK;
    int rc = uf_recorder_new(&d->recorder, &d->loop, d->config.daemon.record, err);
    d->sources.recorder = d->recorder;
    return rc;
}

void uf_daemon_stop_recorder(struct uf_daemon *d)
{
    uf_recorder_free(d->recorder);
}

int uf_daemon_start_control(struct uf_daemon *d, struct uf_error *err)
{
    int rc = uf_control_new(&d->control, &d->loop, d->config.daemon.control, answer, d, err);
    d->sources.control = d->control;
    return rc;
}

void uf_daemon_stop_control(struct uf_daemon *d)
{
    uf_control_free(d->control);
}

int uf_daemon_start_store(struct uf_daemon *d, struct uf_error *err)
{
    const struct uf_store_thread_config config = {
        .loop = &d->loop,
        .sink = d->sink,
        .limit = d->config.daemon.queue,
        .changed = store_changed,
        .answered = answered,
        .lesson = d->start.lesson,
        .health = d->start.health,
        .problem = d->start.problem,
        .stopped = store_stopped,
        .who = d,
    };
    int rc = uf_store_thread_new(&d->store, &config, err);
    if (rc)
        return rc;
    d->sink.who = NULL; /* the thread's */
    d->hand_from = d->start.lesson.now;
    d->sources.store = d->store;
    if (!*d->start.problem)
        return UF_OK;
    struct uf_job *job = uf_job_new(UF_JOB_OPEN); /* before all others */
    if (!job || !uf_store_thread_put(d->store, job))
        return uf_fail(err, UF_ENOMEM, "no memory to wait for the database");
    return UF_OK;
}

void uf_daemon_stop_store(struct uf_daemon *d)
{
    uf_store_thread_free(d->store);
}

/* A spool that can't be is a state to be seen to, no reason not to measure. */
int uf_daemon_start_spool(struct uf_daemon *d, struct uf_error *err)
{
    const struct uf_daemon_settings *s = &d->config.daemon;
    uf_config_spool_folder(&d->config, d->spool_folder);
    if (s->spool_hours <= 0 || d->config.link.type == UF_LINK_REPLAY)
        return UF_OK;
    const struct uf_spool_config config = {
        .loop = &d->loop, .folder = d->spool_folder, .hours = s->spool_hours, .mb = s->spool_mb};
    int rc = uf_spool_new(&d->spool, &config, err);
    d->sources.spool = d->spool;
    if (rc == UF_OK || rc == UF_EBUSY)
        return rc;
    uf_log(UF_LOG_ERROR, "spool: %s; going on without: a crash would lose what is not stored yet",
           err->text);
    memcpy(d->sources.no_spool, err->text, sizeof d->sources.no_spool);
    return UF_OK;
}

void uf_daemon_stop_spool(struct uf_daemon *d)
{
    uf_spool_free(d->spool);
}

static void swing_again(void *who, struct uf_job *job)
{
    struct uf_daemon *d = who;
    if (!uf_store_thread_put(d->store, job))
        uf_log(UF_LOG_ERROR, "a swing of before the start waits in the spool: no memory");
}

int uf_daemon_start_recovery(struct uf_daemon *d, struct uf_error *err)
{
    struct uf_recovered found;
    if (!d->spool)
        return UF_OK;
    (void)uf_notify_status(d->notify, "looking for swings that the last run did not store");
    int rc =
        uf_recover(d->spool_folder, &d->config, &d->start, swing_again, d, &d->past, &found, err);
    if (rc)
        uf_log(UF_LOG_ERROR, "spool: %s; what it holds of before the start is not looked at",
               err->text);
    if (*d->start.problem)
        d->start.newest_swing_id = found.stored_id;
    if (found.looked)
        uf_log(UF_LOG_NOTICE,
               "spool: the last run did not end in order; played its last %.0f s, found %d swing%s "
               "that it may not have stored%s",
               found.span_s, found.swings, found.swings == 1 ? "" : "s",
               d->past.pipeline ? ", going on from there" : "");
    return uf_spool_start(d->spool, err);
}

void uf_daemon_stop_recovery(struct uf_daemon *d)
{
    uf_pipeline_free(d->past.pipeline); /* where nobody took it */
}

int uf_daemon_start_acquire(struct uf_daemon *d, struct uf_error *err)
{
    const struct uf_acquire_config config = {
        .config = &d->config,
        .start = &d->start,
        .store = d->store,
        .recorder = d->recorder,
        .spool = d->spool,
        .past = &d->past,
        .changed = state_changed,
        .samples = samples_came,
        .ended = link_ended,
        .stopped = link_stopped,
        .who = d,
    };
    int rc = uf_acquire_new(&d->acquire, &config, err);
    d->sources.acquire = d->acquire;
    return rc;
}

void uf_daemon_stop_acquire(struct uf_daemon *d)
{
    uf_acquire_free(d->acquire);
}

int uf_daemon_start_page(struct uf_daemon *d, struct uf_error *err)
{
    const struct uf_page_config config = {.loop = &d->loop,
                                          .config = &d->config,
                                          .sources = &d->sources,
                                          .command = answer,
                                          .who = d};
    if (d->config.page.serve == UF_SERVE_OFF)
        return UF_OK;
    int rc = uf_page_new(&d->page, &config, err);
    d->sources.page = d->page;
    return rc;
}

/* The first half: uf_daemon_stop_loop frees it once its handles are closed. */
void uf_daemon_stop_page(struct uf_daemon *d)
{
    uf_page_stop(d->page);
    d->sources.page = NULL;
}

int uf_daemon_start_link(struct uf_daemon *d, struct uf_error *err)
{
    struct uf_link_owner owner;
    uf_acquire_owner(d->acquire, &owner);
    int rc = uf_link_new(&d->link, &d->loop, &d->config.link, &owner, NULL, err);
    if (rc)
        return rc;
    uf_acquire_attach(d->acquire, d->link);
    d->sources.link = d->link;
    return UF_OK;
}

void uf_daemon_stop_link(struct uf_daemon *d)
{
    uf_link_free(d->link);
}

int uf_daemon_start_signals(struct uf_daemon *d, struct uf_error *err)
{
    static const int numbers[UF_DAEMON_SIGNALS] = {SIGTERM, SIGINT, SIGHUP};
    int rc = 0;
    for (int i = 0; i < UF_DAEMON_SIGNALS; i++) {
        uv_signal_init(&d->loop, &d->signals[i]);
        d->signals[i].data = d;
    }
    d->signals_open = true;
    for (int i = 0; rc == 0 && i < UF_DAEMON_SIGNALS; i++)
        rc = uv_signal_start(&d->signals[i], on_signal, numbers[i]);
    return rc ? uf_fail(err, UF_EIO, "cannot listen to signals: %s", uv_strerror(rc)) : UF_OK;
}

void uf_daemon_stop_signals(struct uf_daemon *d)
{
    for (int i = 0; d->signals_open && i < UF_DAEMON_SIGNALS; i++)
        uv_close((uv_handle_t *)&d->signals[i], NULL);
}

void uf_daemon_run(struct uf_daemon *d)
{
    uf_start_memory_end();
    uf_link_start(d->link);
    uv_run(&d->loop, UV_RUN_DEFAULT);
    say_goodbye(d);
}

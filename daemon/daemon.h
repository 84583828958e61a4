/* SPDX-License-Identifier: MIT
 * The daemon as one object: what main.c starts and stops, and what ties the parts together while
 * the loop runs. Loop thread, which is the main thread. */
#ifndef UF_DAEMON_DAEMON_H
#define UF_DAEMON_DAEMON_H

#include "daemon/acquire.h"
#include "daemon/control.h"
#include "daemon/notify.h"
#include "daemon/page.h"
#include "daemon/status.h"

#define UF_DAEMON_SIGNALS 3

struct uf_daemon {
    struct uf_config config;
    uv_loop_t loop;
    bool loop_open;
    struct uf_notify *notify;
    struct uf_store_sink sink; /* until the store thread has it; who NULL: none */
    struct uf_store_start start;
    struct uf_recorder *recorder;
    char spool_folder[UF_PATH_MAX + 8];
    struct uf_spool *spool;
    struct uf_past past;
    struct uf_control *control;
    struct uf_store_thread *store;
    struct uf_acquire *acquire;
    struct uf_link *link;
    struct uf_page *page; /* NULL: not served */
    uv_timer_t tick, watchdog, patience;
    bool timers_open;
    uv_signal_t signals[UF_DAEMON_SIGNALS];
    bool signals_open;
    struct uf_status_sources sources;
    uint64_t ticked_ns; /* the last tick of the loop, by uv_hrtime */
    unsigned ticks;
    struct uf_lesson hand_from; /* the lesson whose player's hand was taken last */
    bool looking;               /* a look at the lesson is on its way */
    bool ready;
    bool stopping;
    int parts_to_stop; /* store, recorder, spool */
    int exit_code;
};

/* Start and stop of each part, for main.c's column. A stop is fine where its start did not run or
 * failed. */
int uf_daemon_start_loop(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_notify(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_database(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_recorder(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_control(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_store(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_spool(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_recovery(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_acquire(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_page(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_link(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_timers(struct uf_daemon *d, struct uf_error *err);
int uf_daemon_start_signals(struct uf_daemon *d, struct uf_error *err);

/* Runs until a signal, or the end of a recording, and until all is stored. */
void uf_daemon_run(struct uf_daemon *d);

void uf_daemon_stop_signals(struct uf_daemon *d);
void uf_daemon_stop_timers(struct uf_daemon *d);
void uf_daemon_stop_link(struct uf_daemon *d);
void uf_daemon_stop_page(struct uf_daemon *d);
void uf_daemon_stop_acquire(struct uf_daemon *d);
void uf_daemon_stop_store(struct uf_daemon *d);
void uf_daemon_stop_control(struct uf_daemon *d);
void uf_daemon_stop_recorder(struct uf_daemon *d);
void uf_daemon_stop_recovery(struct uf_daemon *d);
void uf_daemon_stop_spool(struct uf_daemon *d);
void uf_daemon_stop_database(struct uf_daemon *d);
void uf_daemon_stop_notify(struct uf_daemon *d);
void uf_daemon_stop_loop(struct uf_daemon *d);

#endif

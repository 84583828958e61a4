/* SPDX-License-Identifier: MIT
 * The line to the board: opens it, hands its bytes on, and when it is lost opens it again, first
 * after 0.25 s, then less and less often, down to every 5 s. Where link.device is a folder its
 * ports are tried in turn, the one that was good first, and the wait comes after a round. What kind
 * of line it is (serial, raw, tcp, replay) is a driver's business: link_driver.h. Loop thread. */
#ifndef UF_DAEMON_LINK_H
#define UF_DAEMON_LINK_H

#include "config/config.h"
#include "daemon/backoff.h"

#include <uv.h>

#define UF_LINK_READ_BYTES 65536 /* most that is handed on at once */

/* Who uses the link. Every call comes from the loop; none may free the link. */
struct uf_link_owner {
    void *who;
    /* The line is open; its bytes follow. Also after each reopening. */
    void (*opened)(void *who);
    void (*bytes)(void *who, const uint8_t *bytes, size_t n);
    /* It was open and is not any more; the sentence says why. It is tried again. */
    void (*lost)(void *who, const char *sentence);
    /* It could not be opened; called when the reason is another one than before. */
    void (*failed)(void *who, const char *sentence);
    /* A recording is over; NULL: read to its end, else why not. Nothing follows. */
    void (*ended)(void *who, const char *sentence);
    /* Device time of the newest sample (us), -1 before the first: a recording is paced by it. */
    int64_t (*newest_dev_us)(void *who);
    /* After uf_link_stop, when all is closed. */
    void (*stopped)(void *who);
};

struct uf_link;

/* Checks what can be checked without opening. s must outlive the link. waits: between tries; NULL:
 * the usual ones. */
int uf_link_new(struct uf_link **out, uv_loop_t *loop, const struct uf_link_settings *s,
                const struct uf_link_owner *owner, const struct uf_backoff *waits,
                struct uf_error *err);
/* After uf_link_stop's stopped, or before uf_link_start. Run the loop once more to let its handles
 * go. */
void uf_link_free(struct uf_link *l);

void uf_link_start(struct uf_link *l);
/* Closes for good, then calls stopped, from the loop. */
void uf_link_stop(struct uf_link *l);
/* Lets go of the line and tries again as after a loss, without calling lost: the owner does not
 * like what comes. patiently: with the longest wait. A recording is not tried again: it ends with
 * the sentence. */
void uf_link_drop(struct uf_link *l, bool patiently, const char *sentence);
/* A recording waits until it is resumed; other lines do not stop. */
void uf_link_pause(struct uf_link *l, bool pause);

bool uf_link_is_open(const struct uf_link *l);
/* A recording: it ends. */
bool uf_link_is_replay(const struct uf_link *l);
/* The port that is open, or is tried: link.device, or one of the folder that it names. */
const char *uf_link_path(const struct uf_link *l);
/* There are more ports to try than this one. */
bool uf_link_has_others(const struct uf_link *l);
const char *uf_link_name(const struct uf_link *l); /* "serial", ... */

#endif

/* SPDX-License-Identifier: MIT
 * What the live page is told and may ask: live values, the daemon's state, swings as soon as they
 * are stored, older ones when asked for, and commands for those with the right to write. JSON text;
 * DEVELOPERS.md, "The live page", lists the messages. Reads the database on libuv's threads.
 * Loop thread. */
#ifndef UF_DAEMON_PAGE_H
#define UF_DAEMON_PAGE_H

#include "daemon/server.h"
#include "daemon/status.h"

#define UF_PAGE_STATE_MS  1000 /* the state is told at least so often */
#define UF_PAGE_READS_MAX 64   /* questions to the database that may wait */

struct uf_page_config {
    uv_loop_t *loop;
    const struct uf_config *config;
    const struct uf_status_sources *sources;
    /* A command of somebody who may write: as on the control socket. */
    json_t *(*command)(void *who, const json_t *question);
    void *who;
};

struct uf_page;

/* Listens, and logs where. On error *out may be set: stop and free it all the same. */
int uf_page_new(struct uf_page **out, const struct uf_page_config *config, struct uf_error *err);
/* Then run the loop until all handles are closed, and free. */
void uf_page_stop(struct uf_page *p);
void uf_page_free(struct uf_page *p);

/* Samples have come: the newest go out when it is time. p NULL is fine, here and below. */
void uf_page_samples(struct uf_page *p);
/* What a browser asked for is done, or was refused. NULL is fine. */
void uf_page_taught(struct uf_page *p, const struct uf_teach *teach);
/* The state has changed: of the line, of the store, of the daemon. */
void uf_page_state(struct uf_page *p);

void uf_page_counts(const struct uf_page *p, struct uf_server_counts *out, int *clients);
int uf_page_port(const struct uf_page *p);

#endif

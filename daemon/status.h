/* SPDX-License-Identifier: MIT
 * How the daemon is, as JSON for the control socket and as a line for systemd. Loop thread. */
#ifndef UF_DAEMON_STATUS_H
#define UF_DAEMON_STATUS_H

#include "daemon/acquire.h"
#include "daemon/control.h"

#include <jansson.h>

#define UF_LOOP_LATE_MS 40

struct uf_page;

struct uf_status_sources {
    const struct uf_config *config;
    const struct uf_link *link;
    struct uf_acquire *acquire;
    struct uf_store_thread *store;
    struct uf_recorder *recorder; /* NULL: none */
    struct uf_control *control;   /* NULL: not yet */
    const struct uf_page *page;   /* NULL: not served */
    struct uf_spool *spool;       /* NULL: none */
    char no_spool[480];           /* why none, though there should be one */
    /* A loop that comes late by more than UF_LOOP_LATE_MS may have cost samples: the kernel keeps
     * 4 KB of a tty, 47 ms of 24 channels at 1 kHz. */
    uint64_t loop_stalls;
    uint64_t loop_latest_ms;
    int64_t started_mono_us;
    bool stopping;
};

/* New reference; NULL without memory. What is not known is null. */
json_t *uf_status_json(const struct uf_status_sources *s);
/* "receiving: board ... at ...; 12 swings stored". */
void uf_status_line(const struct uf_status_sources *s, char *text, size_t size);

#endif

/* SPDX-License-Identifier: MIT
 * How the daemon is, as JSON for the control socket and as a line for systemd. Loop thread. */
#ifndef UF_DAEMON_STATUS_H
#define UF_DAEMON_STATUS_H

#include "daemon/acquire.h"
#include "daemon/control.h"

#include <jansson.h>

struct uf_page;

struct uf_status_sources {
    const struct uf_config *config;
    struct uf_acquire *acquire;
    struct uf_store_thread *store;
    struct uf_recorder *recorder; /* NULL: none */
    struct uf_control *control;   /* NULL: not yet */
    const struct uf_page *page;   /* NULL: not served */
    int64_t session_id;
    int64_t started_mono_us;
    bool stopping;
};

/* New reference; NULL without memory. What is not known is null. */
json_t *uf_status_json(const struct uf_status_sources *s);
/* "receiving: board ... at ...; 12 swings stored". */
void uf_status_line(const struct uf_status_sources *s, char *text, size_t size);

#endif

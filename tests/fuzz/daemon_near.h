/* SPDX-License-Identifier: MIT
 * For the fuzz targets of the daemon: the whole of it within the process, with an empty database
 * and a board that never comes; its loop is turned by the target. */
#ifndef UF_TESTS_FUZZ_DAEMON_NEAR_H
#define UF_TESTS_FUZZ_DAEMON_NEAR_H

#include "fuzz.h"

#include "daemon/daemon.h"

#include <stdio.h>
#include <unistd.h>

#define DAEMON_START(step) REQUIRE(uf_daemon_start_##step(d, &err) == UF_OK)

static inline struct uf_daemon *daemon_near(void)
{
    char folder[] = "/tmp/underfoot-fuzz-XXXXXX";
    struct uf_error err = {0};
    struct uf_daemon *d = calloc(1, sizeof *d);
    REQUIRE(d && mkdtemp(folder));
    uf_config_defaults(&d->config);
    snprintf(d->config.daemon.database, UF_PATH_MAX, "%s/underfoot.db", folder);
    snprintf(d->config.daemon.control, UF_PATH_MAX, "%s/control", folder);
    snprintf(d->config.link.device, UF_PATH_MAX, "%s/no-board", folder);
    d->config.link.type = UF_LINK_RAW;
    d->config.daemon.spool_hours = 0;
    d->config.page.port = 0;
    DAEMON_START(loop);
    DAEMON_START(notify);
    DAEMON_START(control);
    DAEMON_START(database);
    DAEMON_START(store);
    DAEMON_START(spool);
    DAEMON_START(recovery);
    DAEMON_START(acquire);
    DAEMON_START(page);
    DAEMON_START(link);
    DAEMON_START(timers);
    uf_link_start(d->link);
    return d;
}

static inline void daemon_turn(struct uf_daemon *d)
{
    uv_run(&d->loop, UV_RUN_NOWAIT);
}

#endif

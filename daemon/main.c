/* SPDX-License-Identifier: MIT
 * underfootd: reads a board with force plates, finds swings, stores them. Here: what is started, in
 * which order, and the same in the other direction. Three threads: the loop (this one), which never
 * waits for a disk, the store's and the spool's. */
#include "base/log.h"
#include "daemon/check.h"
#include "daemon/daemon.h"
#include "daemon/options.h"

#include <stdlib.h>

#define EXIT_FAILED  1
#define EXIT_SETTING 2

static int run(const struct uf_config *config)
{
    struct uf_error err = {0};
    struct uf_daemon *d = calloc(1, sizeof *d);
    if (!d) {
        uf_log(UF_LOG_ERROR, "no memory to begin with");
        return EXIT_FAILED;
    }
    d->config = *config;

    int rc = uf_check_paths(&d->config, &err);
    if (!rc)
        rc = uf_daemon_start_loop(d, &err);
    if (!rc)
        rc = uf_daemon_start_notify(d, &err);
    if (!rc)
        rc = uf_daemon_start_control(d, &err);
    if (!rc)
        rc = uf_daemon_start_recorder(d, &err);
    if (!rc)
        rc = uf_daemon_start_database(d, &err);
    if (!rc)
        rc = uf_daemon_start_store(d, &err);
    if (!rc)
        rc = uf_daemon_start_spool(d, &err);
    if (!rc)
        rc = uf_daemon_start_recovery(d, &err);
    if (!rc)
        rc = uf_daemon_start_acquire(d, &err);
    if (!rc)
        rc = uf_daemon_start_page(d, &err);
    if (!rc)
        rc = uf_daemon_start_link(d, &err);
    if (!rc)
        rc = uf_daemon_start_timers(d, &err);
    if (!rc)
        rc = uf_daemon_start_signals(d, &err);

    if (!rc)
        uf_daemon_run(d);
    else
        uf_log(UF_LOG_ERROR, "%s", err.text);

    uf_daemon_stop_signals(d);
    uf_daemon_stop_timers(d);
    uf_daemon_stop_link(d);
    uf_daemon_stop_page(d);
    uf_daemon_stop_acquire(d);
    uf_daemon_stop_recovery(d);
    uf_daemon_stop_spool(d);
    uf_daemon_stop_store(d);
    uf_daemon_stop_database(d);
    uf_daemon_stop_recorder(d);
    uf_daemon_stop_control(d);
    uf_daemon_stop_notify(d);
    uf_daemon_stop_loop(d);

    int code = rc ? EXIT_FAILED : d->exit_code;
    if (!d->loop_open) /* else something may still work with it */
        free(d);
    return code;
}

int main(int argc, char **argv)
{
    struct uf_options options;
    struct uf_config config;
    struct uf_error err = {0};
    if (uf_options_read(&options, &config, argc, argv, &err) != UF_OK) {
        uf_log(UF_LOG_ERROR, "%s", err.text);
        return EXIT_SETTING;
    }
    switch (options.command) {
    case UF_COMMAND_HELP:
        uf_options_help(stdout);
        return EXIT_SUCCESS;
    case UF_COMMAND_MANUAL:
        uf_options_manual(stdout);
        return EXIT_SUCCESS;
    case UF_COMMAND_VERSION:
        printf("underfootd %s\n", UF_VERSION);
        return EXIT_SUCCESS;
    case UF_COMMAND_PRINT_CONFIG:
        uf_config_print(&config, stdout);
        return EXIT_SUCCESS;
    case UF_COMMAND_CHECK:
        return uf_check(&config, stdout) == UF_OK ? EXIT_SUCCESS : EXIT_FAILED;
    case UF_COMMAND_RUN:
        break;
    }
    return run(&config);
}

/* SPDX-License-Identifier: MIT
 * The command line of underfootd, from one table. */
#ifndef UF_DAEMON_OPTIONS_H
#define UF_DAEMON_OPTIONS_H

#include "config/config.h"

#include <stdio.h>

#define UF_CONFIG_PATH "/etc/underfoot/underfoot.conf"

enum uf_command {
    UF_COMMAND_RUN,
    UF_COMMAND_CHECK,
    UF_COMMAND_PRINT_CONFIG,
    UF_COMMAND_MANUAL,
    UF_COMMAND_HELP,
    UF_COMMAND_VERSION
};

struct uf_options {
    enum uf_command command;
    const char *config_path; /* NULL: the default one, if there is one */
};

/* Command line, then the settings in force: defaults, the file, --set and --record in their order.
 * With HELP, VERSION and MANUAL no file is read. */
int uf_options_read(struct uf_options *o, struct uf_config *c, int argc, char **argv,
                    struct uf_error *err);
void uf_options_help(FILE *out);
/* The manual page, in roff. */
void uf_options_manual(FILE *out);

#endif

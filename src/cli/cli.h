/* SPDX-License-Identifier: MIT
 * The `underfoot` command for people: what is stored, what the daemon does. One row a command in
 * the table of cli.c; grammar, help and errors come from it. Reads the database beside a running
 * daemon. Single thread. */
#ifndef UF_CLI_CLI_H
#define UF_CLI_CLI_H

#include "config/config.h"
#include "store/store.h"

#include <stdio.h>

/* Exit status: 0 done, 1 failed, 2 the command line is wrong, 3 no daemon answers (status). */
enum { UF_EXIT_DONE = 0, UF_EXIT_FAILED = 1, UF_EXIT_USAGE = 2, UF_EXIT_NO_DAEMON = 3 };

/* Where the settings are when --config is not given and the file is there. */
#define UF_CLI_CONFIG "/etc/underfoot/underfoot.conf"

struct uf_cli_option {
    const char *name;  /* "--last" */
    const char *value; /* what stands for its value in the help, NULL: a switch */
    const char *help;
};

#define UF_CLI_OPTIONS_MAX  8
#define UF_CLI_OPERANDS_MAX 1024

struct uf_cli;
struct uf_cli_command {
    const char *name, *operands;                      /* operands: as in the help, "" for none */
    const char *summary;                              /* one line */
    const char *more;                                 /* further paragraphs of its help */
    int least, most;                                  /* how many operands */
    struct uf_cli_option options[UF_CLI_OPTIONS_MAX]; /* ended by a NULL name */
    int (*run)(struct uf_cli *c);
};

/* One run of the command. */
struct uf_cli {
    FILE *out, *err;
    struct uf_config config;
    const char *config_path; /* read for it; NULL: there is none, defaults are in force */
    char database[UF_PATH_MAX];
    const struct uf_cli_command *command;
    const char *value[UF_CLI_OPTIONS_MAX]; /* of the command's options; NULL: not given */
    const char *operand[UF_CLI_OPERANDS_MAX];
    int operands;
};

/* Everything but the process: exit status. */
int uf_cli_main(int argc, char **argv, FILE *out, FILE *err);

/* The value of one of the command's options ("" for a switch), or NULL when it is not given. */
const char *uf_cli_option(const struct uf_cli *c, const char *name);

/* "underfoot: <sentence>" on err; returns status. */
int uf_cli_fail(const struct uf_cli *c, int status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Opens the database of the settings, or says why not. */
int uf_cli_open(struct uf_cli *c, enum uf_store_mode mode, struct uf_store **out);

/* Prints and frees; UF_EXIT_DONE, or UF_EXIT_FAILED without memory or when out fails. */
int uf_cli_print_json(struct uf_cli *c, json_t *json);

/* The commands, each in its own file. */
int uf_cli_swings(struct uf_cli *c);
int uf_cli_swing(struct uf_cli *c);
int uf_cli_rederive(struct uf_cli *c);
int uf_cli_mark(struct uf_cli *c);
int uf_cli_status(struct uf_cli *c);
int uf_cli_doctor(struct uf_cli *c);

#endif

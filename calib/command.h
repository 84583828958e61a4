/* SPDX-License-Identifier: MIT
 * Inside underfoot-calib: its commands and options, each a row of a table, and what the person
 * asked for. Not pure: commands read files, write the database and print. */
#ifndef UF_CALIB_COMMAND_H
#define UF_CALIB_COMMAND_H

#include "calib/load.h"
#include "config/config.h"
#include "store/store.h"

#include <stdbool.h>
#include <stdio.h>

#define UF_OPERANDS_MAX 4
#define UF_CONFIG_PATH  "/etc/underfoot/underfoot.conf"

/* Options, in the order of the table in options.c. */
enum uf_calib_option {
    UF_OPT_CONFIG,
    UF_OPT_DATABASE,
    UF_OPT_ADD,
    UF_OPT_ACTIVATE,
    UF_OPT_OUT,
    UF_OPT_REPORT,
    UF_OPT_ANYWAY,
    UF_OPT_WEIGHTS,
    UF_OPT_LATITUDE,
    UF_OPT_HEIGHT,
    UF_OPT_GRAVITY,
    UF_OPT_PLATE,
    UF_OPT_PLACEMENTS,
    UF_OPT_NAME,
    UF_OPT_DRAWING,
    UF_OPT_NO_PULLEY,
    UF_OPT_WEDGE,
    UF_OPT_MOST_KG,
    UF_OPT_PULL_KG,
    UF_OPT_PULL_HEIGHT,
    UF_OPT_PERSON,
    UF_OPT_LIMIT_PCT,
    UF_OPT_LIMIT_MM,
    UF_OPT_RECORDING,
    UF_OPT_FOLLOW,
    UF_OPT_SECONDS,
    UF_OPT_DRIFT,
    UF_OPT_HELP,
    UF_OPT_VERSION,
    UF_CALIB_OPTIONS
};

struct uf_calib_args {
    const struct uf_calib_command *command; /* NULL: none was given */
    int operands;
    const char *operand[UF_OPERANDS_MAX];
    const char *option[UF_CALIB_OPTIONS]; /* value; "" for one without; NULL: not given */
};

struct uf_calib_command {
    const char *name, *operands; /* as in the usage line */
    int least, most;             /* operands */
    int (*run)(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
    const char *help;
};

/* Ends with a row of NULLs. */
extern const struct uf_calib_command uf_calib_command[];

/* Options may stand before and after the command, with "--name value" or "--name=value". Error:
 * unknown command or option (with the nearest), one that this command does not take, a missing or
 * superfluous operand. */
int uf_calib_args_parse(int argc, char **argv, struct uf_calib_args *out, struct uf_error *err);
/* command NULL: all of them. */
void uf_calib_help(const struct uf_calib_command *command, FILE *out);

const char *uf_calib_option_name(enum uf_calib_option o);
/* Does the command (NULL: does every command) take it? Its value's word (NULL: a switch), its help,
 * whatever the answer. */
bool uf_calib_option_of(const struct uf_calib_command *command, enum uf_calib_option o,
                        const char **value, const char **help);

/* The number of an option; initial where it was not given. */
int uf_calib_number(const struct uf_calib_args *args, enum uf_calib_option option, double least,
                    double most, double initial, double *out, struct uf_error *err);

/* The configuration of --config, else of UF_CONFIG_PATH where it exists, else the defaults; with
 * --database in it. */
int uf_calib_config(const struct uf_calib_args *args, struct uf_config *c, struct uf_error *err);

/* --weights into setup, and as "weights" of a session file into list (an array). */
int uf_calib_weights(const struct uf_calib_args *args, struct uf_load_setup *setup, json_t *list,
                     struct uf_error *err);
/* --latitude and --height, or --gravity, as "gravity" of a session file. New reference. */
int uf_calib_gravity(const struct uf_calib_args *args, json_t **out, struct uf_error *err);

/* Reads a JSON file; the sentence has its name and the line. */
int uf_calib_read_json(const char *path, json_t **out, struct uf_error *err);

/* Asks a running daemon to take the calibration that was just put in force, and says whether it
 * did. */
void uf_calib_tell_daemon(const struct uf_config *config, struct uf_store *s, int64_t id,
                          FILE *out);

int uf_calib_plan(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
int uf_calib_run(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
int uf_calib_solve(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
int uf_calib_check(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
int uf_calib_add(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
int uf_calib_list(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
int uf_calib_show(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
int uf_calib_activate(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
int uf_calib_diff(const struct uf_calib_args *args, FILE *out, struct uf_error *err);
int uf_calib_manual(const struct uf_calib_args *args, FILE *out, struct uf_error *err);

#endif

/* SPDX-License-Identifier: MIT
 * The `underfoot` command for people: what is stored, what the daemon does. One row a command in
 * the table of commands.c; grammar, help and errors come from it. Reads the database beside a
 * running daemon. Single thread. */
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

#define UF_CLI_OPTIONS_MAX  12
#define UF_CLI_OPERANDS_MAX 1024

struct uf_cli;
struct uf_cli_command {
    const char *name, *operands; /* name: one word or two; operands: as in the help, "": none */
    const char *summary;         /* one line */
    const char *more;            /* further paragraphs of its help */
    int least, most;             /* how many operands */
    struct uf_cli_option options[UF_CLI_OPTIONS_MAX]; /* ended by a NULL name */
    int (*run)(struct uf_cli *c);
};
/* The table, in the order of the help. */
const struct uf_cli_command *uf_cli_commands(int *n);
extern const struct uf_cli_option uf_cli_global_options[]; /* ended by a NULL name */
/* Is its name this word, or does it begin with it? */
bool uf_cli_is_of(const struct uf_cli_command *command, const char *word);

/* One run of the command. */
struct uf_cli {
    FILE *in, *out, *err; /* in: answers to questions; NULL: nobody is there to answer */
    struct uf_config config;
    const char *config_path; /* read for it; NULL: there is none, defaults are in force */
    char database[UF_PATH_MAX];
    const struct uf_cli_command *command;
    const char *family; /* first word of a command of two, until the second is known */
    const char *value[UF_CLI_OPTIONS_MAX]; /* of the command's options; NULL: not given */
    const char *operand[UF_CLI_OPERANDS_MAX];
    int operands;
};

/* Everything but the process: exit status. */
int uf_cli_main(int argc, char **argv, FILE *in, FILE *out, FILE *err);

/* The value of one of the command's options ("" for a switch), or NULL when it is not given. */
const char *uf_cli_option(const struct uf_cli *c, const char *name);

/* "underfoot: <sentence>" on err; returns status. */
int uf_cli_fail(const struct uf_cli *c, int status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Opens the database of the settings, or says why not. */
int uf_cli_open(struct uf_cli *c, enum uf_store_mode mode, struct uf_store **out);

/* What was done: a sentence, or with --json {"ok": true, key: id, "text": sentence}. */
#define UF_CLI_SENTENCE_MAX 2600
int uf_cli_done(struct uf_cli *c, const char *key, int64_t id, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* The number of a swing, session or block (what). */
int uf_cli_number(const struct uf_cli *c, const char *text, const char *what, int64_t *out);

/* The session of the first operand, or the newest; fails where there is none. */
int uf_cli_session_of(struct uf_cli *c, struct uf_store *s, int64_t *id);

/* Tells a running daemon that the open session or its player may be another now; none running is
 * fine. */
void uf_cli_tell_daemon(struct uf_cli *c);

/* Prints and frees; UF_EXIT_DONE, or UF_EXIT_FAILED without memory or when out fails. */
int uf_cli_print_json(struct uf_cli *c, json_t *json);

/* The commands, each in its own file. */
int uf_cli_swings(struct uf_cli *c);
int uf_cli_swing(struct uf_cli *c);
int uf_cli_rederive(struct uf_cli *c);
int uf_cli_mark(struct uf_cli *c);
int uf_cli_status(struct uf_cli *c);
int uf_cli_doctor(struct uf_cli *c);
int uf_cli_swing_label(struct uf_cli *c);
int uf_cli_swing_exclude(struct uf_cli *c);
int uf_cli_swing_star(struct uf_cli *c);
int uf_cli_swing_comment(struct uf_cli *c);
int uf_cli_swing_extra(struct uf_cli *c);
int uf_cli_swing_hand(struct uf_cli *c);
int uf_cli_feet(struct uf_cli *c);
int uf_cli_player_add(struct uf_cli *c);
int uf_cli_player_edit(struct uf_cli *c);
int uf_cli_player_list(struct uf_cli *c);
int uf_cli_player_show(struct uf_cli *c);
int uf_cli_session_start(struct uf_cli *c);
int uf_cli_session_end(struct uf_cli *c);
int uf_cli_session_edit(struct uf_cli *c);
int uf_cli_session_list(struct uf_cli *c);
int uf_cli_session_show(struct uf_cli *c);
int uf_cli_block_start(struct uf_cli *c);
int uf_cli_block_end(struct uf_cli *c);
int uf_cli_block_add(struct uf_cli *c);
int uf_cli_block_edit(struct uf_cli *c);
int uf_cli_block_list(struct uf_cli *c);
int uf_cli_compare_blocks(struct uf_cli *c);
int uf_cli_compare_swings(struct uf_cli *c);
int uf_cli_report(struct uf_cli *c);
int uf_cli_import(struct uf_cli *c);
int uf_cli_export(struct uf_cli *c);
int uf_cli_backup(struct uf_cli *c);
int uf_cli_erase(struct uf_cli *c);
int uf_cli_manual(struct uf_cli *c);

#endif

/* SPDX-License-Identifier: MIT
 * Table of commands, command line, help. */
#include "cli/cli.h"

#include "base/setting.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define NAME_WIDTH 22

static const struct uf_cli_option global_options[] = {
    {"--config", "FILE", "settings (default " UF_CLI_CONFIG ", where it exists)"},
    {"--database", "FILE", "the database, instead of daemon.database of the settings"},
    {"--help", NULL, "this text; after a command: what it does"},
    {"--version", NULL, "the version"},
};
enum { CONFIG, DATABASE, HELP, VERSION, GLOBAL_OPTIONS };

#define JSON_OPTION                                                                                \
    {                                                                                              \
        "--json", NULL, "as JSON, with every number unrounded"                                     \
    }
#define SINCE_OPTION                                                                               \
    {                                                                                              \
        "--since", "DATE", "from that local time on: 2026-03-01, \"2026-03-01 14:30\" or today"    \
    }

static const struct uf_cli_command commands[] = {
    {.name = "swings",
     .operands = "",
     .summary = "list stored swings, the newest last",
     .more = "One line a swing. \"-\": not measurable; `underfoot swing N` says why.",
     .options = {{"--last", "N", "only the newest N (default 20; all: 0)"},
                 SINCE_OPTION,
                 JSON_OPTION},
     .run = uf_cli_swings},
    {.name = "swing",
     .operands = "N|last",
     .summary = "all numbers of one swing, and its curves",
     .more =
         "Forces are of the ground on the golfer. Lead: the foot nearer the target. Target-ward\n"
         "and toe-ward are positive, and so is a turn moment that turns the golfer towards the\n"
         "target. BW: body weights. A number that could not be measured shows its reason.",
     .least = 1,
     .most = 1,
     .options = {{"--words", NULL, "the meaning of each number instead of its name"},
                 {"--ascii", NULL, "curves in ASCII (as where the locale is not UTF-8)"},
                 JSON_OPTION},
     .run = uf_cli_swing},
    {.name = "rederive",
     .operands = "[N ...]",
     .summary = "derive the numbers of swings again from their raw counts",
     .more =
         "Each swing with the rig it was captured with, that rig's active calibration, and the\n"
         "[analysis] of the settings. Where a derivation of just these exists, the result is\n"
         "compared with it to the last bit; otherwise a new one is added and becomes the\n"
         "current one. Old ones stay in the database.",
     .most = UF_CLI_OPERANDS_MAX,
     .options = {SINCE_OPTION, JSON_OPTION},
     .run = uf_cli_rederive},
    {.name = "mark",
     .operands = "N",
     .summary = "enter moments of a swing from video, and derive it again",
     .more =
         "A moment is in seconds from the swing's first sample, or with --fps in frames of a\n"
         "camera from the sync pulse; none takes a mark away. Marks win over the strike sensor\n"
         "and over estimates. --arm: lead arm level, --shaft: shaft level, in the downswing.",
     .least = 1,
     .most = 1,
     .options = {{"--start", "T", "first movement"},
                 {"--top", "T", "top of the swing"},
                 {"--arm", "T", "lead arm level"},
                 {"--shaft", "T", "shaft level"},
                 {"--impact", "T", "impact"},
                 {"--finish", "T", "finish"},
                 {"--fps", "RATE", "frames a second: the moments are frames"}},
     .run = uf_cli_mark},
    {.name = "status",
     .operands = "",
     .summary = "what the daemon is doing",
     .more = "Asks the running daemon. Exit status 3 when none answers.",
     .options = {JSON_OPTION},
     .run = uf_cli_status},
    {.name = "doctor",
     .operands = "",
     .summary = "look at everything, and say what to do",
     .more =
         "Settings, database, spool, disk, device, daemon, zero, calibration and clock: one line\n"
         "each, with what to do where something is wrong. Changes nothing. Exit status 1 when\n"
         "something is wrong. As root it sees what the daemon's own user may and may not do.",
     .options = {{"--deep", NULL, "every page of the database, not only its structure (slow)"},
                 JSON_OPTION},
     .run = uf_cli_doctor},
};
enum { COMMANDS = sizeof commands / sizeof commands[0] };

/* ---- help ---- */

static void print_option(FILE *out, const struct uf_cli_option *o)
{
    int used = fprintf(out, "  %s%s%s", o->name, o->value ? " " : "", o->value ? o->value : "");
    fprintf(out, "%*s%s\n", used < NAME_WIDTH ? NAME_WIDTH - used : 1, "", o->help);
}

static void print_help(FILE *out)
{
    fprintf(out, "usage: underfoot [--config FILE] [--database FILE] COMMAND ...\n\n");
    for (int i = 0; i < COMMANDS; i++) {
        int used = fprintf(out, "  %s%s%s", commands[i].name, *commands[i].operands ? " " : "",
                           commands[i].operands);
        fprintf(out, "%*s%s\n", used < NAME_WIDTH ? NAME_WIDTH - used : 1, "", commands[i].summary);
    }
    fprintf(out, "\n");
    for (int i = 0; i < GLOBAL_OPTIONS; i++)
        print_option(out, &global_options[i]);
}

static void print_command_help(FILE *out, const struct uf_cli_command *command)
{
    fprintf(out, "usage: underfoot %s%s%s", command->name, *command->operands ? " " : "",
            command->operands);
    for (const struct uf_cli_option *o = command->options; o->name; o++)
        fprintf(out, o->value ? " [%s %s]" : " [%s]", o->name, o->value);
    fprintf(out, "\n\n%s.\n%s\n\n", command->summary, command->more);
    for (const struct uf_cli_option *o = command->options; o->name; o++)
        print_option(out, o);
}

/* ---- what all commands use ---- */

int uf_cli_fail(const struct uf_cli *c, int status, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fprintf(c->err, "underfoot: ");
    vfprintf(c->err, format, args);
    fputc('\n', c->err);
    va_end(args);
    return status;
}

const char *uf_cli_option(const struct uf_cli *c, const char *name)
{
    for (int i = 0; i < UF_CLI_OPTIONS_MAX && c->command->options[i].name; i++)
        if (strcmp(c->command->options[i].name, name) == 0)
            return c->value[i];
    return NULL;
}

int uf_cli_open(struct uf_cli *c, enum uf_store_mode mode, struct uf_store **out)
{
    struct uf_error err;
    if (uf_store_open(out, c->database, mode, &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    return UF_EXIT_DONE;
}

int uf_cli_print_json(struct uf_cli *c, json_t *json)
{
    int rc = json ? json_dumpf(json, c->out, JSON_INDENT(2) | JSON_REAL_PRECISION(17)) : -1;
    fputc('\n', c->out);
    json_decref(json);
    return rc ? uf_cli_fail(c, UF_EXIT_FAILED, "the JSON could not be written") : UF_EXIT_DONE;
}

/* ---- command line ---- */

/* The nearest of the names for a hint, or NULL. */
static const char *nearest(const char *word, const char *const *names, int n)
{
    const char *best = NULL;
    size_t least = UF_SETTING_HINT;
    for (int i = 0; i < n; i++) {
        size_t d = uf_setting_distance(word, names[i]);
        if (d < least) {
            least = d;
            best = names[i];
        }
    }
    return best;
}

static int unknown_option(const struct uf_cli *c, const char *option)
{
    char word[64];
    snprintf(word, sizeof word, "%.*s", (int)strcspn(option, "="), option);
    const char *names[GLOBAL_OPTIONS + UF_CLI_OPTIONS_MAX];
    int n = 0;
    for (int i = 0; i < GLOBAL_OPTIONS; i++)
        names[n++] = global_options[i].name;
    for (int i = 0; c->command && c->command->options[i].name; i++)
        names[n++] = c->command->options[i].name;
    const char *hint = nearest(word, names, n);
    return uf_cli_fail(c, UF_EXIT_USAGE, "unknown option %s%s%s; see: underfoot %s%s--help", word,
                       hint ? ", did you mean " : "", hint ? hint : "",
                       c->command ? c->command->name : "", c->command ? " " : "");
}

static int unknown_command(const struct uf_cli *c, const char *word)
{
    const char *names[COMMANDS];
    for (int i = 0; i < COMMANDS; i++)
        names[i] = commands[i].name;
    const char *hint = nearest(word, names, COMMANDS);
    return uf_cli_fail(c, UF_EXIT_USAGE, "there is no command \"%s\"%s%s; see: underfoot --help",
                       word, hint ? ", did you mean " : "", hint ? hint : "");
}

/* Is word this option, alone or as --name=value? Then *inline_value is its value or NULL. */
static bool is_option(const struct uf_cli_option *o, const char *word, const char **inline_value)
{
    size_t n = strlen(o->name);
    *inline_value = NULL;
    if (strncmp(word, o->name, n) != 0 || (word[n] != '\0' && word[n] != '='))
        return false;
    if (word[n] == '=')
        *inline_value = word + n + 1;
    return true;
}

/* The value of option o at argv[*i]: inline, or the next word. */
static int take_value(const struct uf_cli *c, const struct uf_cli_option *o,
                      const char *inline_value, int argc, char **argv, int *i, const char **out)
{
    if (!o->value && inline_value)
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s takes no value", o->name);
    *out = "";
    if (!o->value)
        return UF_EXIT_DONE;
    if (!inline_value && *i + 1 >= argc)
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s needs a value: %s %s", o->name, o->name, o->value);
    *out = inline_value ? inline_value : argv[++*i];
    return UF_EXIT_DONE;
}

static int take_option(struct uf_cli *c, int argc, char **argv, int *i,
                       const char *global[GLOBAL_OPTIONS])
{
    const char *value;
    for (int k = 0; k < GLOBAL_OPTIONS; k++)
        if (is_option(&global_options[k], argv[*i], &value))
            return take_value(c, &global_options[k], value, argc, argv, i, &global[k]);
    for (int k = 0; c->command && c->command->options[k].name; k++)
        if (is_option(&c->command->options[k], argv[*i], &value))
            return take_value(c, &c->command->options[k], value, argc, argv, i, &c->value[k]);
    return unknown_option(c, argv[*i]);
}

static int take_word(struct uf_cli *c, const char *word)
{
    if (c->command) {
        if (c->operands >= c->command->most)
            return uf_cli_fail(
                c, UF_EXIT_USAGE, "one word too many: \"%s\"; usage: underfoot %s%s%s", word,
                c->command->name, *c->command->operands ? " " : "", c->command->operands);
        c->operand[c->operands++] = word;
        return UF_EXIT_DONE;
    }
    for (int i = 0; i < COMMANDS; i++)
        if (strcmp(commands[i].name, word) == 0) {
            c->command = &commands[i];
            return UF_EXIT_DONE;
        }
    return unknown_command(c, word);
}

static int read_settings(struct uf_cli *c, const char *config, const char *database)
{
    struct uf_error err;
    uf_config_defaults(&c->config);
    if (!config && access(UF_CLI_CONFIG, F_OK) == 0)
        config = UF_CLI_CONFIG;
    if (config && uf_config_read(&c->config, config, &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    c->config_path = config;
    const char *path = database ? database : c->config.daemon.database;
    if (strlen(path) >= sizeof c->database)
        return uf_cli_fail(c, UF_EXIT_USAGE, "the path of the database is longer than %d bytes",
                           UF_PATH_MAX - 1);
    strcpy(c->database, path);
    return UF_EXIT_DONE;
}

static int run(struct uf_cli *c, int argc, char **argv)
{
    const char *global[GLOBAL_OPTIONS] = {NULL};
    bool words_only = false;
    for (int i = 1; i < argc; i++) {
        int rc = UF_EXIT_DONE;
        if (!words_only && strcmp(argv[i], "--") == 0)
            words_only = true;
        else if (!words_only && argv[i][0] == '-' && argv[i][1] != '\0')
            rc = take_option(c, argc, argv, &i, global);
        else
            rc = take_word(c, argv[i]);
        if (rc)
            return rc;
    }
    if (global[VERSION]) {
        fprintf(c->out, "underfoot %s\n", UF_VERSION);
        return UF_EXIT_DONE;
    }
    if (global[HELP]) {
        if (c->command)
            print_command_help(c->out, c->command);
        else
            print_help(c->out);
        return UF_EXIT_DONE;
    }
    if (!c->command) {
        print_help(c->err);
        return UF_EXIT_USAGE;
    }
    if (c->operands < c->command->least)
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s needs %s; see: underfoot %s --help",
                           c->command->name, c->command->operands, c->command->name);
    int rc = read_settings(c, global[CONFIG], global[DATABASE]);
    return rc ? rc : c->command->run(c);
}

int uf_cli_main(int argc, char **argv, FILE *out, FILE *err)
{
    struct uf_cli *c = calloc(1, sizeof *c);
    if (!c) {
        fprintf(err, "underfoot: no memory\n");
        return UF_EXIT_FAILED;
    }
    c->out = out;
    c->err = err;
    int rc = run(c, argc, argv);
    if (fflush(out) && rc == UF_EXIT_DONE)
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "the output could not be written");
    free(c);
    return rc;
}

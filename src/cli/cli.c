/* SPDX-License-Identifier: MIT
 * Table of commands, command line, help. */
#include "cli/cli.h"

#include "base/setting.h"
#include "base/utf8.h"
#include "cli/text.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define COMMANDS_MAX 64

#define NAME_WIDTH 22 /* of options */
#define HELP_WIDTH 34 /* of commands */

const struct uf_cli_option uf_cli_global_options[] = {
    {"--config", "FILE", "settings (default " UF_CLI_CONFIG ", where it exists)"},
    {"--database", "FILE", "the database, instead of daemon.database of the settings"},
    {"--help", NULL, "this text; after a command: what it does"},
    {"--version", NULL, "the version"},
    {NULL, NULL, NULL},
};
enum { CONFIG, DATABASE, HELP, VERSION, GLOBAL_OPTIONS };

/* ---- help ---- */

bool uf_cli_is_of(const struct uf_cli_command *command, const char *word)
{
    size_t n = strlen(word);
    return strncmp(command->name, word, n) == 0 &&
           (command->name[n] == ' ' || command->name[n] == '\0');
}

static void print_option(FILE *out, const struct uf_cli_option *o)
{
    int used = fprintf(out, "  %s%s%s", o->name, o->value ? " " : "", o->value ? o->value : "");
    fprintf(out, "%*s%s\n", used < NAME_WIDTH ? NAME_WIDTH - used : 1, "", o->help);
}

/* Commands of which the name is word, or begins with it and a blank; NULL: all. */
static void print_help(FILE *out, const char *word)
{
    int n;
    const struct uf_cli_command *commands = uf_cli_commands(&n);
    fprintf(out, "usage: underfoot [--config FILE] [--database FILE] %s ...\n\n",
            word ? word : "COMMAND");
    for (int i = 0; i < n; i++) {
        if (word && !uf_cli_is_of(&commands[i], word))
            continue;
        int used = fprintf(out, "  %s%s%s", commands[i].name, *commands[i].operands ? " " : "",
                           commands[i].operands);
        fprintf(out, "%*s%s\n", used < HELP_WIDTH ? HELP_WIDTH - used : 1, "", commands[i].summary);
    }
    fprintf(out, "\n");
    for (int i = 0; i < GLOBAL_OPTIONS; i++)
        print_option(out, &uf_cli_global_options[i]);
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
    char text[UF_CLI_SENTENCE_MAX];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    uf_utf8_plain(text); /* it may quote a file or a database */
    fprintf(c->err, "underfoot: %s\n", text);
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

int uf_cli_done(struct uf_cli *c, const char *key, int64_t id, const char *format, ...)
{
    char text[UF_CLI_SENTENCE_MAX];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    if (uf_cli_option(c, "--json"))
        return uf_cli_print_json(
            c, json_pack("{s:b, s:I, s:s}", "ok", 1, key, (json_int_t)id, "text", text));
    fprintf(c->out, "%s\n", text);
    return UF_EXIT_DONE;
}

int uf_cli_number(const struct uf_cli *c, const char *text, const char *what, int64_t *out)
{
    if (uf_text_parse_count(text, 1, out) == 0)
        return UF_EXIT_DONE;
    return uf_cli_fail(c, UF_EXIT_USAGE, "\"%s\" is not the number of a %s; see: underfoot %s%s",
                       text, what, what, strcmp(what, "swing") == 0 ? "s" : " list");
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
        names[n++] = uf_cli_global_options[i].name;
    for (int i = 0; c->command && c->command->options[i].name; i++)
        names[n++] = c->command->options[i].name;
    const char *hint = nearest(word, names, n);
    return uf_cli_fail(c, UF_EXIT_USAGE, "unknown option %s%s%s; see: underfoot %s%s--help", word,
                       hint ? ", did you mean " : "", hint ? hint : "",
                       c->command ? c->command->name : "", c->command ? " " : "");
}

static int unknown_command(const struct uf_cli *c, const char *word)
{
    const char *names[COMMANDS_MAX], *hint;
    char first[COMMANDS_MAX][24];
    int n;
    const struct uf_cli_command *commands = uf_cli_commands(&n);
    for (int i = 0; i < n; i++) {
        const char *name = commands[i].name, *blank = strchr(name, ' ');
        names[i] = first[i];
        if (c->family) /* the second word is the wrong one */
            snprintf(first[i], sizeof first[i], "%s",
                     uf_cli_is_of(&commands[i], c->family) && blank ? blank + 1 : "");
        else
            snprintf(first[i], sizeof first[i], "%.*s", (int)strcspn(name, " "), name);
    }
    hint = nearest(word, names, n);
    if (hint && !*hint)
        hint = NULL;
    return uf_cli_fail(
        c, UF_EXIT_USAGE, "there is no command \"%s%s%s\"%s%s; see: underfoot %s%s--help",
        c->family ? c->family : "", c->family ? " " : "", word, hint ? ", did you mean " : "",
        hint ? hint : "", c->family ? c->family : "", c->family ? " " : "");
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
        if (is_option(&uf_cli_global_options[k], argv[*i], &value))
            return take_value(c, &uf_cli_global_options[k], value, argc, argv, i, &global[k]);
    for (int k = 0; c->command && c->command->options[k].name; k++)
        if (is_option(&c->command->options[k], argv[*i], &value))
            return take_value(c, &c->command->options[k], value, argc, argv, i, &c->value[k]);
    return unknown_option(c, argv[*i]);
}

/* The command of that name, or NULL. */
static const struct uf_cli_command *find_command(const char *first, const char *second)
{
    int n;
    const struct uf_cli_command *commands = uf_cli_commands(&n);
    for (int i = 0; i < n; i++) {
        size_t length = strlen(first);
        const char *name = commands[i].name;
        if (strncmp(name, first, length) != 0)
            continue;
        if (!second ? name[length] == '\0'
                    : name[length] == ' ' && strcmp(name + length + 1, second) == 0)
            return &commands[i];
    }
    return NULL;
}

static bool is_family(const char *word)
{
    int n;
    const struct uf_cli_command *commands = uf_cli_commands(&n);
    for (int i = 0; i < n; i++)
        if (strchr(commands[i].name, ' ') && uf_cli_is_of(&commands[i], word))
            return true;
    return false;
}

/* The word behind `underfoot swing` may be an operand, or make another command of it. */
static int take_word(struct uf_cli *c, const char *word)
{
    if (!c->command && !c->family) {
        c->family = is_family(word) ? word : NULL;
        c->command = find_command(word, NULL);
        return c->command || c->family ? UF_EXIT_DONE : unknown_command(c, word);
    }
    const struct uf_cli_command *longer =
        c->family && c->operands == 0 ? find_command(c->family, word) : NULL;
    if (longer) {
        for (int i = 0; i < UF_CLI_OPTIONS_MAX; i++)
            if (c->value[i])
                return uf_cli_fail(c, UF_EXIT_USAGE, "put the options behind \"%s\"", longer->name);
        c->command = longer;
        c->family = NULL;
        return UF_EXIT_DONE;
    }
    if (!c->command)
        return unknown_command(c, word);
    if (c->operands >= c->command->most && c->family && c->operands == 1 &&
        !isdigit((unsigned char)c->operand[0][0]))
        return unknown_command(c, c->operand[0]); /* "swing lable 3" */
    if (c->operands >= c->command->most)
        return uf_cli_fail(c, UF_EXIT_USAGE, "one word too many: \"%s\"; usage: underfoot %s%s%s",
                           word, c->command->name, *c->command->operands ? " " : "",
                           c->command->operands);
    c->operand[c->operands++] = word;
    return UF_EXIT_DONE;
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
        if (!c->command || (c->family && c->operands == 0))
            print_help(c->out, c->family);
        return UF_EXIT_DONE;
    }
    if (!c->command) {
        print_help(c->err, c->family);
        return UF_EXIT_USAGE;
    }
    if (c->operands < c->command->least)
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s needs %s; see: underfoot %s --help",
                           c->command->name, c->command->operands, c->command->name);
    int rc = read_settings(c, global[CONFIG], global[DATABASE]);
    return rc ? rc : c->command->run(c);
}

int uf_cli_main(int argc, char **argv, FILE *in, FILE *out, FILE *err)
{
    struct uf_cli *c = calloc(1, sizeof *c);
    if (!c) {
        fprintf(err, "underfoot: no memory\n");
        return UF_EXIT_FAILED;
    }
    c->in = in;
    c->out = out;
    c->err = err;
    int rc = run(c, argc, argv);
    if (fflush(out) && rc == UF_EXIT_DONE)
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "the output could not be written");
    free(c);
    return rc;
}

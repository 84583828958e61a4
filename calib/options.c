/* SPDX-License-Identifier: MIT
 * The grammar of underfoot-calib: tables of commands and options, and reading them. */
#include "base/setting.h"
#include "calib/command.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

const struct uf_calib_command uf_calib_command[] = {
    {"plan", "", 0, 0, uf_calib_plan,
     "which weights to put where, for these plates and weights; a session file, drawings"},
    {"run", "FILE", 1, 1, uf_calib_run,
     "captures the loads of a session file, step by step; goes on where it was stopped"},
    {"solve", "FILE", 1, 1, uf_calib_solve,
     "a session file with its counts to a calibration, and how good it is"},
    {"check", "", 0, 0, uf_calib_check,
     "a known weight at three places of each plate, or --person KG; kept, with the trend"},
    {"add", "FILE", 1, 1, uf_calib_add,
     "store a calibration file (JSON); --activate puts it in force"},
    {"list", "", 0, 0, uf_calib_list, "the stored calibrations of this rig"},
    {"show", "[CALIBRATION]", 0, 1, uf_calib_show,
     "one calibration, by number or uuid; without it the one in force"},
    {"activate", "CALIBRATION", 1, 1, uf_calib_activate, "puts a stored calibration in force"},
    {"diff", "CALIBRATION CALIBRATION", 2, 2, uf_calib_diff,
     "how two calibrations differ: in force, place and cross-talk (0 is the data sheet)"},
    {"manual", "page|completion", 1, 1, uf_calib_manual,
     "this command's manual page, or its completion for bash"},
    {NULL, NULL, 0, 0, NULL, NULL},
};

static const struct option {
    const char *name, *value, *commands; /* commands: NULL for all */
    const char *help;
} option[UF_CALIB_OPTIONS] = {
    [UF_OPT_CONFIG] = {"config", "FILE", NULL, "settings and rig (" UF_CONFIG_PATH ")"},
    [UF_OPT_DATABASE] = {"database", "FILE", "solve check add list show activate diff",
                         "instead of daemon.database"},
    [UF_OPT_ADD] = {"add", NULL, "solve", "store the calibration in the database"},
    [UF_OPT_ACTIVATE] = {"activate", NULL, "add solve", "put it in force at once"},
    [UF_OPT_OUT] = {"out", "FILE", "plan solve show",
                    "write the session, the calibration, to this file (JSON)"},
    [UF_OPT_REPORT] = {"report", "FILE", "solve", "write a report with pictures (HTML)"},
    [UF_OPT_ANYWAY] = {"anyway", NULL, "solve", "go on although something is wrong"},
    [UF_OPT_WEIGHTS] = {"weights", "LIST", "plan check",
                        "NAME:KG:CLASS or NAME:KG:TOLERANCE_KG, with commas between"},
    [UF_OPT_LATITUDE] = {"latitude", "DEG", "plan check",
                         "of the place, south is negative: gives g"},
    [UF_OPT_HEIGHT] = {"height", "M", "plan check", "of the place above the sea (0)"},
    [UF_OPT_GRAVITY] = {"gravity", "M_S2", "plan check", "instead of the two, from a survey"},
    [UF_OPT_PLATE] = {"plate", "NAME", "plan check", "left, right or single; without it all"},
    [UF_OPT_PLACEMENTS] = {"placements", "N", "plan", "a plate (25)"},
    [UF_OPT_NAME] = {"name", "TEXT", "plan", "of the calibration"},
    [UF_OPT_DRAWING] = {"drawing", "PREFIX", "plan",
                        "write PREFIX-left.svg, ...: to print and lay on the plate"},
    [UF_OPT_NO_PULLEY] = {"no-pulley", NULL, "plan", "there is none"},
    [UF_OPT_WEDGE] = {"wedge", "DEG", "plan", "the plate can be tilted by so much"},
    [UF_OPT_MOST_KG] = {"most-kg", "KG", "plan", "most to put on the plate (60)"},
    [UF_OPT_PULL_KG] = {"pull-kg", "KG", "plan", "most to hang on the string (15)"},
    [UF_OPT_PULL_HEIGHT] = {"pull-height", "MM", "plan", "of the string above the top (20)"},
    [UF_OPT_PERSON] = {"person", "KG", "check", "instead of weights: you, who stand still"},
    [UF_OPT_LIMIT_PCT] = {"limit-pct", "PCT", "check", "of the vertical force (0.5; person: 1)"},
    [UF_OPT_LIMIT_MM] = {"limit-mm", "MM", "check", "of the place (3)"},
    [UF_OPT_RECORDING] = {"recording", "FILE", "run check",
                          "from a recording instead of the board"},
    [UF_OPT_FOLLOW] = {"follow", "FILE", "run check",
                       "from the file that a running underfootd records to (daemon.record)"},
    [UF_OPT_SECONDS] = {"seconds", "S", "run check", "a load is measured for so long (3)"},
    [UF_OPT_DRIFT] = {"drift", "S", "run check",
                      "the zero is watched for so long at the start (60; recording: 0)"},
    [UF_OPT_HELP] = {"help", NULL, NULL, "this text; after a command, its own"},
    [UF_OPT_VERSION] = {"version", NULL, NULL, "the program's version"},
};

const char *uf_calib_option_name(enum uf_calib_option o)
{
    return option[o].name;
}

int uf_calib_number(const struct uf_calib_args *args, enum uf_calib_option o, double least,
                    double most, double initial, double *out, struct uf_error *err)
{
    const char *text = args->option[o];
    char *end = NULL;
    *out = initial;
    if (!text)
        return UF_OK;
    *out = strtod(text, &end);
    if (end == text || *end || !(*out >= least && *out <= most))
        return uf_fail(err, UF_EINVAL, "--%s: \"%.40s\" is not a number from %g to %g",
                       option[o].name, text, least, most);
    return UF_OK;
}

static bool in_list(const char *list, const char *word)
{
    size_t n = strlen(word);
    for (const char *p = list; (p = strstr(p, word)) != NULL; p += n)
        if ((p == list || p[-1] == ' ') && (p[n] == ' ' || p[n] == '\0'))
            return true;
    return false;
}

static bool takes(const struct uf_calib_command *c, const struct option *o)
{
    return !o->commands || (c && in_list(o->commands, c->name));
}

bool uf_calib_option_of(const struct uf_calib_command *command, enum uf_calib_option o,
                        const char **value, const char **help)
{
    *value = option[o].value;
    *help = option[o].help;
    return takes(command, &option[o]);
}

static int unknown_command(const char *word, struct uf_error *err)
{
    const char *nearest = NULL;
    size_t best = UF_SETTING_HINT + 1;
    for (const struct uf_calib_command *c = uf_calib_command; c->name; c++) {
        size_t d = uf_setting_distance(word, c->name);
        if (d < best) {
            best = d;
            nearest = c->name;
        }
    }
    return nearest ? uf_fail(err, UF_EINVAL, "there is no command \"%.40s\"; did you mean %s?",
                             word, nearest)
                   : uf_fail(err, UF_EINVAL, "there is no command \"%.40s\"; see --help", word);
}

static int unknown_option(const char *word, struct uf_error *err)
{
    const char *nearest = NULL;
    size_t best = UF_SETTING_HINT + 1;
    for (size_t i = 0; i < UF_CALIB_OPTIONS; i++) {
        size_t d = uf_setting_distance(word, option[i].name);
        if (d < best) {
            best = d;
            nearest = option[i].name;
        }
    }
    return nearest ? uf_fail(err, UF_EINVAL, "there is no option --%.40s; did you mean --%s?", word,
                             nearest)
                   : uf_fail(err, UF_EINVAL, "there is no option --%.40s; see --help", word);
}

/* One option at argv[*at]; takes its value from the next word where needed. */
static int parse_option(int argc, char **argv, int *at, struct uf_calib_args *out,
                        struct uf_error *err)
{
    char name[48];
    const char *word = argv[*at] + 2, *equals = strchr(word, '=');
    size_t n = equals ? (size_t)(equals - word) : strlen(word);
    snprintf(name, sizeof name, "%.*s", (int)(n < sizeof name ? n : sizeof name - 1), word);
    for (size_t i = 0; i < UF_CALIB_OPTIONS; i++) {
        if (strcmp(name, option[i].name) != 0)
            continue;
        if (out->option[i])
            return uf_fail(err, UF_EINVAL, "--%s is given twice", name);
        if (!option[i].value) {
            if (equals)
                return uf_fail(err, UF_EINVAL, "--%s takes no value", name);
            out->option[i] = "";
            return UF_OK;
        }
        if (equals)
            out->option[i] = equals + 1;
        else if (*at + 1 < argc)
            out->option[i] = argv[++*at];
        if (!out->option[i] || !out->option[i][0])
            return uf_fail(err, UF_EINVAL, "--%s needs a value: --%s %s", name, name,
                           option[i].value);
        return UF_OK;
    }
    return unknown_option(name, err);
}

static int check_fit(const struct uf_calib_args *a, struct uf_error *err)
{
    const struct uf_calib_command *c = a->command;
    for (size_t i = 0; i < UF_CALIB_OPTIONS; i++)
        if (a->option[i] && !takes(c, &option[i]))
            return uf_fail(err, UF_EINVAL, "--%s goes with %s, not with %s", option[i].name,
                           option[i].commands, c->name);
    if (a->operands < c->least || a->operands > c->most)
        return uf_fail(err, UF_EINVAL, "use it so: underfoot-calib %s%s%s", c->name,
                       c->operands[0] ? " " : "", c->operands);
    return UF_OK;
}

int uf_calib_args_parse(int argc, char **argv, struct uf_calib_args *out, struct uf_error *err)
{
    memset(out, 0, sizeof *out);
    bool only_operands = false;
    for (int i = 1; i < argc; i++) {
        const char *word = argv[i];
        if (!only_operands && !strcmp(word, "--")) {
            only_operands = true;
        } else if (!only_operands && !strncmp(word, "--", 2)) {
            int rc = parse_option(argc, argv, &i, out, err);
            if (rc != UF_OK)
                return rc;
        } else if (!only_operands && word[0] == '-' && word[1]) {
            return uf_fail(err, UF_EINVAL, "there is no option %.40s; options begin with --", word);
        } else if (!out->command) {
            const struct uf_calib_command *c = uf_calib_command;
            while (c->name && strcmp(c->name, word) != 0)
                c++;
            if (!c->name)
                return unknown_command(word, err);
            out->command = c;
        } else if (out->operands < UF_OPERANDS_MAX) {
            out->operand[out->operands++] = word;
        } else {
            return uf_fail(err, UF_EINVAL, "too many words from \"%.40s\" on", word);
        }
    }
    if (!out->command || out->option[UF_OPT_HELP] || out->option[UF_OPT_VERSION])
        return UF_OK;
    return check_fit(out, err);
}

void uf_calib_help(const struct uf_calib_command *command, FILE *out)
{
    if (command) {
        fprintf(out, "underfoot-calib [options] %s%s%s\n%s\n", command->name,
                command->operands[0] ? " " : "", command->operands, command->help);
    } else {
        fputs("underfoot-calib [options] COMMAND ...\n"
              "Known weights to a calibration of the plates.\n\n",
              out);
        for (const struct uf_calib_command *c = uf_calib_command; c->name; c++) {
            char usage[64];
            snprintf(usage, sizeof usage, "%s%s%s", c->name, c->operands[0] ? " " : "",
                     c->operands);
            fprintf(out, "  %-30s %s\n", usage, c->help);
        }
    }
    fputs("\noptions:\n", out);
    for (size_t i = 0; i < UF_CALIB_OPTIONS; i++) {
        if (command && !takes(command, &option[i]))
            continue;
        char usage[64];
        snprintf(usage, sizeof usage, "--%s%s%s", option[i].name, option[i].value ? " " : "",
                 option[i].value ? option[i].value : "");
        fprintf(out, "  %-30s %s", usage, option[i].help);
        if (!command && option[i].commands)
            fprintf(out, " [%s]", option[i].commands);
        fputc('\n', out);
    }
}

int uf_calib_config(const struct uf_calib_args *args, struct uf_config *c, struct uf_error *err)
{
    const char *path = args->option[UF_OPT_CONFIG];
    uf_config_defaults(c);
    if (!path && access(UF_CONFIG_PATH, F_OK) == 0)
        path = UF_CONFIG_PATH;
    int rc = path ? uf_config_read(c, path, err) : UF_OK;
    const char *database = args->option[UF_OPT_DATABASE];
    if (rc == UF_OK && database) {
        if (strlen(database) >= sizeof c->daemon.database)
            return uf_fail(err, UF_EINVAL, "the name of the database is longer than %zu bytes",
                           sizeof c->daemon.database - 1);
        strcpy(c->daemon.database, database);
    }
    return rc;
}

int uf_calib_read_json(const char *path, json_t **out, struct uf_error *err)
{
    json_error_t why;
    *out = json_load_file(path, JSON_REJECT_DUPLICATES, &why);
    if (*out)
        return UF_OK;
    if (why.line < 0)
        return uf_fail(err, UF_EIO, "%s: %s", path, why.text);
    return uf_fail(err, UF_EINVAL, "%s, line %d: %s", path, why.line, why.text);
}

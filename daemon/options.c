/* SPDX-License-Identifier: MIT
 * The command line: see options.h. */
#include "daemon/options.h"

#include "base/roff.h"

#include <stdbool.h>
#include <string.h>
#include <unistd.h>

enum option { CONFIG, SET, RECORD, CHECK, PRINT_CONFIG, MANUAL, HELP, VERSION, OPTIONS };

static const struct row {
    const char *name;
    char letter;       /* 0: none */
    const char *value; /* what it takes; NULL: nothing */
    const char *help;
} rows[OPTIONS] = {
    [CONFIG] = {"config", 'c', "FILE", "read this file, not " UF_CONFIG_PATH},
    [SET] = {"set", 's', "SECTION.KEY=VALUE", "one setting over the file's; may be repeated"},
    [RECORD] = {"record", 'r', "FILE", "keep the board's byte stream, unchanged; appends"},
    [CHECK] = {"check", 0, NULL, "look at settings, database and device, say what is fine, end"},
    [PRINT_CONFIG] = {"print-config", 0, NULL, "print all settings in force, with their meaning"},
    [MANUAL] = {"manual", 0, NULL, "print the manual page, which man reads (roff)"},
    [HELP] = {"help", 'h', NULL, "print this"},
    [VERSION] = {"version", 'V', NULL, "print the version"},
};

void uf_options_help(FILE *out)
{
    fprintf(out, "usage: underfootd [option]...\n"
                 "Reads a board with force plates, finds swings and stores them.\n\n");
    for (int i = 0; i < OPTIONS; i++) {
        const struct row *r = &rows[i];
        char left[48];
        snprintf(left, sizeof left, "--%s%s%s", r->name, r->value ? " " : "",
                 r->value ? r->value : "");
        if (r->letter)
            fprintf(out, "  -%c, %-26s  %s\n", r->letter, left, r->help);
        else
            fprintf(out, "      %-26s  %s\n", left, r->help);
    }
    fprintf(out,
            "\nEnds with 0 when all went well, 1 on a failure, 2 when command line or settings\n"
            "are wrong. SIGTERM and SIGINT end it with nothing lost; SIGHUP has it read the\n"
            "active calibration again and begin a new --record file.\n");
}

void uf_options_manual(FILE *out)
{
    fputs(".TH UNDERFOOTD 8 \"\" \"Underfoot " UF_VERSION "\" \"Underfoot\"\n"
          ".SH NAME\nunderfootd \\- reads force plates, finds golf swings and stores them\n"
          ".SH SYNOPSIS\n\\fBunderfootd\\fR [\\fIOPTION\\fR]...\n"
          ".SH DESCRIPTION\nReads a microcontroller's raw counts, turns them into newtons by the "
          "active\ncalibration, finds the swings by itself, stores each with its raw counts and "
          "all\nnumbers in an SQLite file, and serves a live page to browsers. Left running.\n"
          ".PP\nSIGTERM and SIGINT end it with nothing lost; SIGHUP has it read the active\n"
          "calibration again and begin a new \\fB\\-\\-record\\fR file.\n.SH OPTIONS\n",
          out);
    for (int i = 0; i < OPTIONS; i++) {
        char name[48];
        if (rows[i].letter)
            snprintf(name, sizeof name, "-%c, --%s", rows[i].letter, rows[i].name);
        else
            snprintf(name, sizeof name, "--%s", rows[i].name);
        uf_roff_item(out, name, rows[i].value, rows[i].help);
    }
    fputs(".SH SETTINGS\nOf " UF_CONFIG_PATH ", or of a command line as "
          "\\fB\\-\\-set\\fR \\fISECTION.KEY=VALUE\\fR. An unknown key is an error with its "
          "line.\n",
          out);
    uf_config_manual(out);
    fputs(".SH EXIT STATUS\n0 all went well; 1 a failure; 2 command line or settings are wrong.\n"
          ".SH FILES\n" UF_CONFIG_PATH ": settings. Beside the database: its spool, and the tokens "
          "of the live page.\n"
          ".SH SEE ALSO\n.BR underfoot (1),\n.BR underfoot\\-calib (1),\n.BR sqlite3 (1)\n",
          out);
}

/* One option of the command line. */
struct given {
    enum option option;
    const char *value;
};

/* Reads the option at argv[*i] and steps over it. */
static int next_option(struct given *g, int *i, int argc, char **argv, struct uf_error *err)
{
    const char *word = argv[*i];
    const char *name = word + (word[0] == '-' && word[1] == '-' ? 2 : 1);
    size_t n = strcspn(name, "=");
    g->option = OPTIONS;
    for (int k = 0; k < OPTIONS && word[0] == '-'; k++) {
        bool is_long =
            name == word + 2 && strlen(rows[k].name) == n && strncmp(rows[k].name, name, n) == 0;
        bool is_short = name == word + 1 && rows[k].letter && name[0] == rows[k].letter && !name[1];
        if (is_long || is_short)
            g->option = (enum option)k;
    }
    if (g->option == OPTIONS)
        return uf_fail(err, UF_EINVAL, "underfootd does not know \"%.100s\": see underfootd --help",
                       word);
    const struct row *r = &rows[g->option];
    const char *equals = name == word + 2 && name[n] == '=' ? name + n + 1 : NULL;
    (*i)++;
    g->value = equals;
    if (r->value && !equals && *i < argc)
        g->value = argv[(*i)++];
    if (r->value && !g->value)
        return uf_fail(err, UF_EINVAL, "--%s needs a %s: see underfootd --help", r->name, r->value);
    if (!r->value && equals)
        return uf_fail(err, UF_EINVAL, "--%s takes no value: see underfootd --help", r->name);
    return UF_OK;
}

static void note_command(struct uf_options *o, enum option option)
{
    static const enum uf_command commands[OPTIONS] = {[CHECK] = UF_COMMAND_CHECK,
                                                      [PRINT_CONFIG] = UF_COMMAND_PRINT_CONFIG,
                                                      [MANUAL] = UF_COMMAND_MANUAL,
                                                      [HELP] = UF_COMMAND_HELP,
                                                      [VERSION] = UF_COMMAND_VERSION};
    if (commands[option] > o->command)
        o->command = commands[option];
}

static int apply(struct uf_config *c, const struct given *g, struct uf_error *err)
{
    char assignment[UF_PATH_MAX + 32];
    if (g->option == SET)
        return uf_config_set(c, g->value, err);
    if (g->option != RECORD)
        return UF_OK;
    if (strlen(g->value) >= UF_PATH_MAX)
        return uf_fail(err, UF_EINVAL, "--record: the name has more than %d characters",
                       UF_PATH_MAX - 1);
    snprintf(assignment, sizeof assignment, "daemon.record=%s", g->value);
    return uf_config_set(c, assignment, err);
}

int uf_options_read(struct uf_options *o, struct uf_config *c, int argc, char **argv,
                    struct uf_error *err)
{
    struct given g;
    *o = (struct uf_options){.command = UF_COMMAND_RUN};
    uf_config_defaults(c);
    for (int i = 1; i < argc;) {
        int rc = next_option(&g, &i, argc, argv, err);
        if (rc)
            return rc;
        note_command(o, g.option);
        if (g.option == CONFIG)
            o->config_path = g.value;
    }
    if (o->command >= UF_COMMAND_MANUAL)
        return UF_OK;
    const char *path = o->config_path;
    if (!path && access(UF_CONFIG_PATH, F_OK) == 0)
        path = UF_CONFIG_PATH;
    int rc = path ? uf_config_read(c, path, err) : UF_OK;
    for (int i = 1; !rc && i < argc;) {
        rc = next_option(&g, &i, argc, argv, err);
        if (!rc)
            rc = apply(c, &g, err);
    }
    return rc;
}

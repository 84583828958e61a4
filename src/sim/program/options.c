/* SPDX-License-Identifier: MIT
 * Command line of underfoot-sim: one table of options; golfer's and plates' numbers go straight to
 * their fields. */
#include "options.h"

#include "base/roff.h"
#include "sim/lesson.h"

#include <getopt.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum kind { NUMBER, WHOLE, TEXT, FLAG, OTHER };

enum other { CONFIG, LESSON, GOLFER, HAND, STYLE, FORM, FAULT, SEED, MANUAL, HELP };

struct option_row {
    const char *name, *value; /* value: NULL for a flag */
    enum kind kind;
    size_t offset; /* in struct options; OTHER: an enum other */
    double lo, hi;
    const char *help;
};

#define AT(field) offsetof(struct options, field)

static const struct option_row rows[] = {
    {"pty", "LINK", TEXT, AT(pty), 0, 0, "play onto a pseudo-terminal, symlinked at LINK"},
    {"out", "FILE", TEXT, AT(out), 0, 0, "write a recording (.ufr), as fast as it goes"},
    {"tcp", "PORT", WHOLE, AT(tcp_port), 0, 65535,
     "serve like a serial bridge on 127.0.0.1 (0: any port)"},
    {"fast", NULL, FLAG, AT(fast), 0, 0, "do not pace: as fast as the reader takes it"},
    {"wait", NULL, FLAG, AT(wait), 0, 0, "tcp: begin the lesson when somebody has connected"},
    {"truth", "FILE", TEXT, AT(truth), 0, 0, "what really happened, one line of JSON an act"},
    {"calibration", "FILE", TEXT, AT(calibration), 0, 0,
     "the true calibration of the plates, as JSON"},
    {"config", "FILE", OTHER, CONFIG, 0, 0, "underfoot.conf: the rig, the hand, the form"},
    {"print-config", NULL, FLAG, AT(print_config), 0, 0,
     "print an underfoot.conf that fits, and end"},
    {"lesson", "NAME|ACTS", OTHER, LESSON, 0, 0,
     "a named lesson, or acts: walk_on,stand:3,address,ball*2"},
    {"golfer", "N", OTHER, GOLFER, 0, 0,
     "golfer number N of all kinds; options after it change that"},
    {"seed", "N", OTHER, SEED, 0, 0, "of this golfer's habits, the plates and the noise (1)"},
    {"mass", "KG", NUMBER, AT(sim.golfer.mass_kg), 20, 250, "of the golfer: 78"},
    {"height", "M", NUMBER, AT(sim.golfer.height_m), 1, 2.3, "of the golfer: 1.78"},
    {"hand", "right|left", OTHER, HAND, 0, 0, "as in the config, else right"},
    {"skill", "0..1", NUMBER, AT(sim.golfer.skill), 0, 1,
     "the more, the more alike the swings: 0.7"},
    {"speed", "0..1", NUMBER, AT(sim.golfer.speed), 0, 1, "slow to very fast: 0.6"},
    {"style", "NAME", OTHER, STYLE, 0, 0, "turner, slider, jumper or backfoot: turner"},
    {"rate", "HZ", NUMBER, AT(sim.rate_hz), 20, 20000, "samples a second: 1000"},
    {"bits", "N", WHOLE, AT(sim.adc_bits), 16, 24, "of the converter: 24"},
    {"noise", "N", NUMBER, AT(sim.noise_n), 0, 1000,
     "white noise of a cell's output, newtons rms: 0.15"},
    {"drift", "N", NUMBER, AT(sim.drift_n_per_h), 0, 10000,
     "of a cell's output, newtons an hour: 1"},
    {"gain-spread", "PART", NUMBER, AT(sim.gain_spread), 0, 0.2,
     "of a cell against its data sheet: 0.01"},
    {"crosstalk", "PART", NUMBER, AT(sim.crosstalk), 0, 0.2, "of a cell: 0.01"},
    {"clock-start", "US", NUMBER, AT(sim.clock_start_us), 0, 4294967295.0,
     "board's clock at the start (wraps at 2^32): 0"},
    {"perfect", NULL, FLAG, AT(sim.perfect), 0, 0, "plates without any error but rounding"},
    {"form", "binary|text", OTHER, FORM, 0, 0, "of the stream: binary"},
    {"fault", "LIST", OTHER, FAULT, 0, 0, "a bad line; see below"},
    {"manual", NULL, OTHER, MANUAL, 0, 0, "print the manual page, which man reads (roff)"},
    {"help", NULL, OTHER, HELP, 0, 0, "this text"},
};
#define ROWS (sizeof rows / sizeof rows[0])

static const char *const styles[UF_SIM_STYLES] = {"turner", "slider", "jumper", "backfoot"};

static void help(void)
{
    printf("underfoot-sim: a simulated golfer on simulated plates, as bytes of a simulated board.\n"
           "All that it sends is invented.\n\n"
           "usage: underfoot-sim (--pty LINK | --out FILE | --tcp PORT) [options]\n\n");
    for (size_t i = 0; i < ROWS; i++) {
        char left[40];
        snprintf(left, sizeof left, "--%s %s", rows[i].name, rows[i].value ? rows[i].value : "");
        printf("  %-22s %s\n", left, rows[i].help);
    }
    printf("\nlessons (default demo):\n");
    uf_sim_lessons_print(stdout);
    printf("\nacts, each with :SECONDS or *TIMES if wanted:\n ");
    for (int a = 0; a < UF_SIM_ACTS; a++)
        printf(" %s", uf_sim_act_name((enum uf_sim_act)a));
    printf("\n\nfaults, separated by commas:\n");
    uf_fault_help(stdout);
}

/* A list of several columns, as it is printed in the help. */
static void manual_list(const char *title, void (*print)(FILE *out))
{
    char *text = NULL;
    size_t n = 0;
    FILE *f = open_memstream(&text, &n);
    if (f) {
        print(f);
        fclose(f);
    }
    printf(".SH %s\n.nf\n", title);
    uf_roff_text(stdout, text ? text : "");
    printf(".fi\n");
    free(text);
}

static void print_acts(FILE *out)
{
    for (int a = 0; a < UF_SIM_ACTS; a++)
        fprintf(out, "%s%s", a == 0 ? "" : a % 6 ? " " : "\n", uf_sim_act_name((enum uf_sim_act)a));
    fputc('\n', out);
}

static void manual(void)
{
    printf(".TH UNDERFOOT\\-SIM 1 \"\" \"Underfoot " UF_VERSION "\" \"Underfoot\"\n"
           ".SH NAME\nunderfoot\\-sim \\- a simulated golfer on simulated force plates\n"
           ".SH SYNOPSIS\n\\fBunderfoot\\-sim\\fR (\\fB\\-\\-pty\\fR \\fILINK\\fR | "
           "\\fB\\-\\-out\\fR \\fIFILE\\fR | \\fB\\-\\-tcp\\fR \\fIPORT\\fR) "
           "[\\fIOPTION\\fR]...\n"
           ".SH DESCRIPTION\nSends what a board under two plates would send during a lesson, for "
           "trying and\ntesting. All of it is invented; nobody was measured.\n.SH OPTIONS\n");
    for (size_t i = 0; i < ROWS; i++) {
        char name[40];
        snprintf(name, sizeof name, "--%s", rows[i].name);
        uf_roff_item(stdout, name, rows[i].value, rows[i].help);
    }
    manual_list("LESSONS", uf_sim_lessons_print);
    manual_list("ACTS", print_acts);
    manual_list("FAULTS", uf_fault_help);
    printf(".SH SEE ALSO\n.BR underfootd (8),\n.BR underfoot (1)\n");
}

static int bad_value(const struct option_row *row, const char *value, struct uf_error *err)
{
    return uf_fail(err, UF_EINVAL, "--%s %s: not a %s from %g to %g", row->name, value,
                   row->kind == WHOLE ? "whole number" : "number", row->lo, row->hi);
}

static int choice(const char *value, const char *const *names, int n)
{
    for (int i = 0; i < n; i++)
        if (!strcmp(names[i], value))
            return i;
    return -1;
}

static int whole_u64(const char *name, const char *value, uint64_t *out, struct uf_error *err)
{
    char *end;
    *out = strtoull(value, &end, 10);
    if (end == value || *end || *value == '-')
        return uf_fail(err, UF_EINVAL, "--%s %s: not a whole number", name, value);
    return UF_OK;
}

static int other(struct options *o, const struct option_row *row, const char *value,
                 struct uf_error *err)
{
    static const char *const hands[] = {"right", "left"};
    static const char *const forms[] = {"binary", "text"};
    int rc, i;
    switch ((enum other)row->offset) {
    case CONFIG:
        rc = uf_config_read(&o->config, value, err);
        if (rc)
            return rc;
        o->sim.rig = o->config.rig;
        o->sim.golfer.hand = o->config.pipeline.hand;
        o->text = o->config.link.form == UF_FORM_TEXT;
        return UF_OK;
    case LESSON:
        o->n_steps = uf_sim_lesson(value, o->steps, STEPS_MAX);
        if (o->n_steps)
            return UF_OK;
        rc = uf_sim_steps_parse(value, o->steps, STEPS_MAX, &o->n_steps, err);
        if (rc == UF_EINVAL && !strpbrk(value, ",:*"))
            return uf_fail(err, rc, "--lesson %s: neither a lesson nor an act; --help lists both",
                           value);
        return rc;
    case GOLFER: {
        uint64_t seed;
        rc = whole_u64(row->name, value, &seed, err);
        if (!rc)
            uf_sim_golfer_random(&o->sim.golfer, seed);
        if (!rc)
            o->sim.seed = seed;
        return rc;
    }
    case SEED:
        rc = whole_u64(row->name, value, &o->sim.seed, err);
        o->sim.golfer.seed = o->sim.seed;
        return rc;
    case HAND:
        i = choice(value, hands, 2);
        if (i < 0)
            return uf_fail(err, UF_EINVAL, "--hand %s: right or left", value);
        o->sim.golfer.hand = (enum uf_hand)i;
        return UF_OK;
    case STYLE:
        i = choice(value, styles, UF_SIM_STYLES);
        if (i < 0)
            return uf_fail(err, UF_EINVAL, "--style %s: turner, slider, jumper or backfoot", value);
        o->sim.golfer.style = (enum uf_sim_style)i;
        return UF_OK;
    case FORM:
        i = choice(value, forms, 2);
        if (i < 0)
            return uf_fail(err, UF_EINVAL, "--form %s: binary or text", value);
        o->text = i == 1;
        return UF_OK;
    case FAULT:
        rc = uf_fault_parse(value, &o->faults, err);
        o->sim.clock_ppm = o->faults.ppm;
        return rc;
    case MANUAL:
        manual();
        return 1;
    case HELP:
        help();
        return 1;
    }
    return UF_OK;
}

static int apply(struct options *o, const struct option_row *row, const char *value,
                 struct uf_error *err)
{
    char *field = (char *)o + row->offset;
    char *end;
    double number = 0;
    if (row->kind == NUMBER || row->kind == WHOLE) {
        number = strtod(value, &end);
        if (end == value || *end || !(number >= row->lo && number <= row->hi) ||
            (row->kind == WHOLE && number != floor(number)))
            return bad_value(row, value, err);
    }
    switch (row->kind) {
    case NUMBER:
        if (row->offset == AT(sim.clock_start_us))
            o->sim.clock_start_us = (uint32_t)number;
        else
            *(double *)field = number;
        return UF_OK;
    case WHOLE:
        *(int *)field = (int)number;
        return UF_OK;
    case TEXT:
        *(const char **)field = value;
        return UF_OK;
    case FLAG:
        *(bool *)field = true;
        return UF_OK;
    case OTHER:
        return other(o, row, value, err);
    }
    return UF_OK;
}

/* The config comes first, wherever it stands: other options change what it says. */
static bool applies(const struct option_row *row, int pass)
{
    bool first = row->kind == OTHER && row->offset == CONFIG;
    return pass == 0 ? first : !first;
}

int options_read(struct options *o, int argc, char **argv, struct uf_error *err)
{
    memset(o, 0, sizeof *o);
    uf_config_defaults(&o->config);
    uf_sim_defaults(&o->sim);
    o->tcp_port = -1;
    o->steps = calloc(STEPS_MAX, sizeof *o->steps);
    if (!o->steps)
        return uf_fail(err, UF_ENOMEM, "no memory for the lesson");
    o->n_steps = uf_sim_lesson("demo", o->steps, STEPS_MAX);
    struct option names[ROWS + 1];
    memset(names, 0, sizeof names);
    for (size_t i = 0; i < ROWS; i++)
        names[i] = (struct option){rows[i].name, rows[i].value ? required_argument : no_argument,
                                   NULL, 256 + (int)i};
    for (int pass = 0; pass < 2; pass++) {
        optind = 1;
        opterr = 0;
        int c;
        while ((c = getopt_long(argc, argv, "", names, NULL)) != -1) {
            if (c < 256)
                return uf_fail(err, UF_EINVAL,
                               "%s: not an option, or its value is missing; --help lists them",
                               argv[optind - 1]);
            if (!applies(&rows[c - 256], pass))
                continue;
            int rc = apply(o, &rows[c - 256], optarg, err);
            if (rc)
                return rc;
        }
    }
    if (optind < argc)
        return uf_fail(err, UF_EINVAL, "%s: not an option; --help lists them", argv[optind]);
    int ways = !!o->pty + !!o->out + (o->tcp_port >= 0);
    if (!o->print_config && ways != 1)
        return uf_fail(err, UF_EINVAL,
                       "say where the bytes go, once: --pty LINK, --out FILE or "
                       "--tcp PORT; --help tells more");
    return UF_OK;
}

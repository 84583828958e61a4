/* SPDX-License-Identifier: MIT
 * `underfoot mark`: moments of a swing from video, in seconds from its first sample or in frames
 * from the sync pulse. They win over the sensor and over estimates; the swing is derived again. */
#include "base/clock.h"
#include "cli/cli.h"
#include "cli/text.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *option;
    enum uf_event_kind kind;
} moments[] = {{"--start", UF_EVENT_START},   {"--top", UF_EVENT_TOP},
               {"--arm", UF_EVENT_ARM},       {"--shaft", UF_EVENT_SHAFT},
               {"--impact", UF_EVENT_IMPACT}, {"--finish", UF_EVENT_FINISH}};
enum { MOMENTS = sizeof moments / sizeof moments[0] };

/* Seconds by eye from a good video; a frame is known to be one of two. */
#define SECONDS_U_S 0.004

static int number(const struct uf_cli *c, const char *option, double least, double most,
                  double *out)
{
    const char *text = uf_cli_option(c, option);
    char *end;
    errno = 0;
    *out = strtod(text, &end);
    if (end == text || *end || errno || !(*out >= least && *out <= most))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s needs a number from %g to %g, not \"%s\"", option,
                           least, most, text);
    return UF_EXIT_DONE;
}

/* First rise of the sync input, seconds from the first sample; NAN where there is none. */
static double sync_s(const struct uf_capture *c)
{
    for (size_t i = 1; i < c->samples; i++)
        if ((c->inputs[i] & UF_INPUT_SYNC) && !(c->inputs[i - 1] & UF_INPUT_SYNC))
            return 0.5e-6 * ((double)c->offset_us[i] + (double)c->offset_us[i - 1]);
    return NAN;
}

struct marks {
    bool given[MOMENTS];
    double t_s[MOMENTS]; /* NAN: take it away */
    double u_s;
};

static int read_marks(struct uf_cli *c, const struct uf_capture *capture, struct marks *m)
{
    double length_s = 1e-6 * capture->offset_us[capture->samples - 1], fps = 0, zero_s = 0;
    int rc = UF_EXIT_DONE, n = 0;
    m->u_s = SECONDS_U_S;
    if (uf_cli_option(c, "--fps")) {
        rc = number(c, "--fps", 10, 20000, &fps);
        zero_s = sync_s(capture);
        if (rc == UF_EXIT_DONE && isnan(zero_s))
            return uf_cli_fail(c, UF_EXIT_FAILED,
                               "frames count from the sync pulse, and this swing has none; give "
                               "seconds from its first sample, without --fps");
        m->u_s = 1 / fps / sqrt(12);
    }
    for (int i = 0; rc == UF_EXIT_DONE && i < MOMENTS; i++) {
        const char *text = uf_cli_option(c, moments[i].option);
        if (!text)
            continue;
        n++;
        m->given[i] = true;
        m->t_s[i] = NAN;
        if (strcmp(text, "none") == 0)
            continue;
        double value;
        rc = number(c, moments[i].option, fps > 0 ? -1e6 : 0, 1e6, &value);
        m->t_s[i] = fps > 0 ? zero_s + value / fps : value;
        if (rc == UF_EXIT_DONE && !(m->t_s[i] >= 0 && m->t_s[i] <= length_s))
            rc = uf_cli_fail(c, UF_EXIT_USAGE, "%s is at %.3f s, and the swing is %.3f s long",
                             moments[i].option, m->t_s[i], length_s);
    }
    if (rc == UF_EXIT_DONE && n == 0)
        rc = uf_cli_fail(c, UF_EXIT_USAGE,
                         "which moment? --start, --top, --arm, --shaft, --impact or --finish");
    /* in the order of a swing */
    for (int i = 0; rc == UF_EXIT_DONE && i < MOMENTS; i++)
        for (int k = i + 1; k < MOMENTS; k++)
            if (m->given[i] && m->given[k] && m->t_s[i] >= m->t_s[k])
                return uf_cli_fail(c, UF_EXIT_USAGE, "%s must come before %s", moments[i].option,
                                   moments[k].option);
    return rc;
}

static int set_marks(struct uf_cli *c, struct uf_store *s, int64_t id, const struct marks *m)
{
    struct uf_error err;
    int64_t now_us = uf_clock_utc_us();
    for (int i = 0; i < MOMENTS; i++)
        if (m->given[i] && uf_store_mark(s, id, moments[i].kind, m->t_s[i], m->u_s, now_us, &err))
            return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    struct uf_rederive_counts counts;
    if (uf_store_rederive(s, &id, 1, INT64_MIN, &c->config.analysis, now_us, &counts, &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    fprintf(c->out, "swing %lld is derived again; see: underfoot swing %lld\n", (long long)id,
            (long long)id);
    return UF_EXIT_DONE;
}

int uf_cli_mark(struct uf_cli *c)
{
    struct uf_store *s;
    struct uf_error err;
    struct uf_capture *capture = NULL;
    struct marks marks = {.u_s = NAN};
    int64_t id;
    if (uf_text_parse_count(c->operand[0], 1, &id))
        return uf_cli_fail(c, UF_EXIT_USAGE, "\"%s\" is not the number of a swing", c->operand[0]);
    int rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (uf_store_capture(s, id, &capture, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    if (rc == UF_EXIT_DONE)
        rc = read_marks(c, capture, &marks);
    if (rc == UF_EXIT_DONE)
        rc = set_marks(c, s, id, &marks);
    uf_capture_free(capture);
    uf_store_close(s);
    return rc;
}

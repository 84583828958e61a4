/* SPDX-License-Identifier: MIT
 * Numbers of a report over the swings of a side: see report.h. Pure. */
#include "cli/report.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

bool uf_report_counts(const struct uf_report_swing *swing, int side)
{
    return swing->side == side && swing->derived && !swing->excluded;
}

const char *uf_report_side_name(const struct uf_report *r, int side)
{
    return r->sides < 2 ? "Lesson" : side ? "After" : "Before";
}

/* m < 0: club speed. */
static void spread(const struct uf_report *r, int side, int m, struct uf_spread *out)
{
    double *value = malloc(sizeof *value * (r->swings + 1));
    size_t n = 0;
    for (size_t i = 0; value && i < r->swings; i++)
        if (uf_report_counts(&r->swing[i], side))
            value[n++] = m < 0 ? r->swing[i].club_speed_mps : r->swing[i].d.value[m];
    uf_spread_of(value, n, out);
    free(value);
}

void uf_report_spread(const struct uf_report *r, int side, enum uf_metric m, struct uf_spread *out)
{
    spread(r, side, (int)m, out);
}

void uf_report_speed(const struct uf_report *r, int side, struct uf_spread *out)
{
    spread(r, side, -1, out);
}

double uf_report_sd(const struct uf_report *r, int side, enum uf_metric m)
{
    double sum = 0;
    size_t n = 0;
    for (size_t i = 0; i < r->swings; i++) {
        const struct uf_report_swing *w = &r->swing[i];
        if (!uf_report_counts(w, side) || isnan(w->d.value[m]) || isnan(w->d.sd[m]))
            continue;
        sum += w->d.sd[m] * w->d.sd[m];
        n++;
    }
    return n ? sqrt(sum / (double)n) : NAN;
}

double uf_report_needed(const struct uf_spread *s)
{
    struct uf_change change;
    if (s->n < UF_COMPARISON_LEAST)
        return NAN;
    uf_change_of(s, s, &change);
    return change.detectable;
}

const struct uf_comparison_row *uf_report_row(const struct uf_report *r, const char *name)
{
    for (size_t i = 0; r->comparison && i < r->comparison->n; i++)
        if (strcmp(r->comparison->row[i].name, name) == 0)
            return &r->comparison->row[i];
    return NULL;
}

size_t uf_report_mean(const struct uf_report *r, int side, enum uf_report_curve curve, double *mean,
                      double *sd)
{
    size_t swings = 0;
    for (size_t i = 0; i < r->swings; i++)
        swings += uf_report_counts(&r->swing[i], side) && r->swing[i].curve;
    for (int k = 0; k < UF_REPORT_POINTS; k++) {
        double sum = 0, squares = 0;
        size_t n = 0;
        for (size_t i = 0; i < r->swings; i++) {
            const struct uf_report_swing *w = &r->swing[i];
            if (!uf_report_counts(w, side) || !w->curve)
                continue;
            double y = w->curve[(int)curve * UF_REPORT_POINTS + k];
            if (isnan(y))
                continue;
            /* Welford, so that a large offset costs no digits */
            n++;
            double d = y - sum;
            sum += d / (double)n;
            squares += d * (y - sum);
        }
        mean[k] = n ? sum : NAN;
        sd[k] = n > 1 ? sqrt(squares / (double)(n - 1)) : NAN;
    }
    return swings;
}

double uf_report_event_s(const struct uf_report *r, int side, enum uf_event_kind kind)
{
    double sum = 0;
    size_t n = 0;
    for (size_t i = 0; i < r->swings; i++) {
        const struct uf_report_swing *w = &r->swing[i];
        double t = w->d.event[kind].t_s - w->d.event[UF_EVENT_IMPACT].t_s;
        if (!uf_report_counts(w, side) || isnan(t))
            continue;
        sum += t;
        n++;
    }
    return n ? sum / (double)n : NAN;
}

void uf_report_tick(double v, int digits, FILE *out)
{
    bool zero = fabs(v) < 0.5 * pow(10, -digits);
    fprintf(out, "%s%.*f", v < 0 && !zero ? "\u2212" : "", digits, zero ? 0 : fabs(v));
}

double uf_report_step(double range, int n)
{
    double rough = range / n, power = pow(10, floor(log10(rough)));
    double digit = rough / power;
    return power * (digit <= 1 ? 1 : digit <= 2 ? 2 : digit <= 5 ? 5 : 10);
}

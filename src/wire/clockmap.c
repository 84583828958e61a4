/* SPDX-License-Identifier: MIT
 * Keeps the pair with the least delay of each 50 ms over a sliding window, in a ring of fixed size,
 * and refits when such a stretch ends: lower hull of (device time, offset), then the edge over the
 * mean device time. A late pair lies above the hull and has no weight, however late it is.
 *
 * The map that is handed out is the fit plus a lag. A refit that moves the map back in time is paid
 * off slowly, so that device times mapped in their order stay in order; one that moves it forward
 * takes effect at once. */
#include "wire/clockmap.h"

#include <math.h>
#include <stdlib.h>

#define STRETCH_US   50000   /* one candidate each */
#define SPAN_MIN_US  2000000 /* between the first and the last candidate of a fit */
#define WINDOW_MIN_S 5.0
#define WINDOW_MAX_S 3600.0
#define DRIFT_MAX    1000e-6 /* beyond it a clock is broken, not drifting */
#define SLEW         500e-6  /* how fast a lag is paid off */
#define LAG_MAX_US   100000  /* a greater one is not paid off but forgotten: the map jumps back */

struct candidate {
    int64_t t_dev_us;
    int64_t offset_us; /* host - device */
};

/* offset = at_us + rate * (t_dev_us - t0_dev_us) */
struct line {
    int64_t t0_dev_us;
    int64_t base_us; /* whole part, so that the doubles stay small */
    double at_us;
    double rate;
};

struct uf_clockmap {
    int64_t window_us;
    size_t max, first, n; /* ring of candidates; the newest one is still growing better */
    struct candidate *ring;
    size_t *hull;           /* room for a fit: places in the ring, counted from first */
    int64_t stretch_dev_us; /* where the newest candidate's stretch began */
    int64_t newest_dev_us;
    bool fitted;
    struct line line;
    int64_t span_us;      /* of the candidates that the line was fitted to */
    double lag_us;        /* >= 0; added to the line */
    int64_t refit_dev_us; /* newest device time at the last fit */
};

int uf_clockmap_new(struct uf_clockmap **out, double window_s, struct uf_error *err)
{
    *out = NULL;
    if (!(window_s >= WINDOW_MIN_S && window_s <= WINDOW_MAX_S))
        return uf_fail(err, UF_EINVAL, "the clock map's window is %g s: give %g to %g s", window_s,
                       WINDOW_MIN_S, WINDOW_MAX_S);
    struct uf_clockmap *m = calloc(1, sizeof *m);
    if (!m)
        goto no_memory;
    m->window_us = llround(1e6 * window_s);
    m->max = (size_t)(m->window_us / STRETCH_US) + 2;
    m->ring = calloc(m->max, sizeof *m->ring);
    m->hull = calloc(m->max, sizeof *m->hull);
    if (!m->ring || !m->hull)
        goto no_memory;
    *out = m;
    return UF_OK;
no_memory:
    uf_clockmap_free(m);
    return uf_fail(err, UF_ENOMEM, "no memory for the clock map");
}

void uf_clockmap_free(struct uf_clockmap *m)
{
    if (!m)
        return;
    free(m->ring);
    free(m->hull);
    free(m);
}

void uf_clockmap_reset(struct uf_clockmap *m)
{
    m->first = m->n = 0;
    m->fitted = false;
    m->lag_us = 0;
}

/* Candidate i, 0 the oldest. */
static struct candidate *at(const struct uf_clockmap *m, size_t i)
{
    return &m->ring[(m->first + i) % m->max];
}

static double offset_us(const struct line *l, int64_t t_dev_us)
{
    return l->at_us + l->rate * (double)(t_dev_us - l->t0_dev_us);
}

/* > 0: b lies below the line from a to c. */
static double turn(const struct candidate *a, const struct candidate *b, const struct candidate *c)
{
    return (double)(b->t_dev_us - a->t_dev_us) * (double)(c->offset_us - a->offset_us) -
           (double)(c->t_dev_us - a->t_dev_us) * (double)(b->offset_us - a->offset_us);
}

/* The hull's edge over the mean device time of the candidates. False when it is no clock's. */
static bool fit(const struct uf_clockmap *m, struct line *out)
{
    size_t corners = 0;
    double sum_us = 0;
    const struct candidate *oldest = at(m, 0);
    for (size_t i = 0; i < m->n; i++) {
        while (corners >= 2 &&
               turn(at(m, m->hull[corners - 2]), at(m, m->hull[corners - 1]), at(m, i)) <= 0)
            corners--;
        m->hull[corners++] = i;
        sum_us += (double)(at(m, i)->t_dev_us - oldest->t_dev_us);
    }
    double mean_us = sum_us / (double)m->n;
    size_t k = 1;
    while (k + 1 < corners && (double)(at(m, m->hull[k])->t_dev_us - oldest->t_dev_us) < mean_us)
        k++;
    const struct candidate *a = at(m, m->hull[k - 1]), *b = at(m, m->hull[k]);
    out->t0_dev_us = a->t_dev_us;
    out->base_us = a->offset_us;
    out->at_us = 0;
    out->rate = (double)(b->offset_us - a->offset_us) / (double)(b->t_dev_us - a->t_dev_us);
    return fabs(out->rate) <= DRIFT_MAX;
}

/* A fit is replaced by one over as long a span, or half the window: after a pause of the line the
 * one from before it is still the best there is. */
static void refit(struct uf_clockmap *m)
{
    struct line line;
    int64_t span_us = at(m, m->n - 1)->t_dev_us - at(m, 0)->t_dev_us;
    int64_t half_us = m->window_us / 2;
    int64_t least_us = m->span_us < half_us ? m->span_us : half_us;
    if (span_us < (m->fitted ? least_us : SPAN_MIN_US))
        return;
    if (!fit(m, &line)) {
        m->fitted = false;
        m->lag_us = 0;
        return;
    }
    if (m->fitted) {
        double was_us = offset_us(&m->line, m->newest_dev_us) + m->lag_us;
        double is_us =
            offset_us(&line, m->newest_dev_us) + (double)(line.base_us - m->line.base_us);
        double paid_us = SLEW * (double)(m->newest_dev_us - m->refit_dev_us);
        m->lag_us = fmax(was_us - is_us - paid_us, 0);
        if (m->lag_us > LAG_MAX_US)
            m->lag_us = 0;
    }
    m->line = line;
    m->fitted = true;
    m->span_us = span_us;
    m->refit_dev_us = m->newest_dev_us;
}

void uf_clockmap_feed(struct uf_clockmap *m, int64_t t_dev_us, int64_t t_host_us)
{
    struct candidate c = {t_dev_us, t_host_us - t_dev_us};
    if (m->n && t_dev_us < m->newest_dev_us) /* a time that does not grow says nothing */
        return;
    if (m->n && t_dev_us - m->stretch_dev_us < STRETCH_US) {
        struct candidate *best = at(m, m->n - 1);
        double drift_us = m->fitted ? m->line.rate * (double)(t_dev_us - best->t_dev_us) : 0;
        m->newest_dev_us = t_dev_us;
        if ((double)(c.offset_us - best->offset_us) < drift_us)
            *best = c;
        return;
    }
    /* the stretch before has ended, so its candidate is final */
    if (m->n)
        refit(m);
    m->stretch_dev_us = t_dev_us;
    m->newest_dev_us = t_dev_us;
    while (m->n && (m->n == m->max || t_dev_us - at(m, 0)->t_dev_us > m->window_us)) {
        m->first = (m->first + 1) % m->max;
        m->n--;
    }
    m->n++;
    *at(m, m->n - 1) = c;
}

/* Least offset of the last two seconds: what is best believed before there is a fit. */
static int64_t least_offset_us(const struct uf_clockmap *m)
{
    const struct candidate *c = at(m, m->n - 1);
    int64_t least_us = c->offset_us;
    for (size_t i = m->n; i-- > 0 && m->newest_dev_us - at(m, i)->t_dev_us <= SPAN_MIN_US;)
        if (at(m, i)->offset_us < least_us)
            least_us = at(m, i)->offset_us;
    return least_us;
}

bool uf_clockmap_host_us(const struct uf_clockmap *m, int64_t t_dev_us, int64_t *t_host_us)
{
    if (m->fitted)
        *t_host_us =
            t_dev_us + m->line.base_us + llround(offset_us(&m->line, t_dev_us) + m->lag_us);
    else
        *t_host_us = t_dev_us + (m->n ? least_offset_us(m) : 0);
    return m->fitted;
}

double uf_clockmap_drift_ppm(const struct uf_clockmap *m)
{
    return m->fitted ? 1e6 * m->line.rate : NAN;
}

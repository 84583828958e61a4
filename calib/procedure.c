/* SPDX-License-Identifier: MIT
 * The walk through a session: see procedure.h. Pure. */
#include "calib/procedure.h"

#include "calib/procedure_text.h"
#include "plate/wrench.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CHANGED_PART 0.4  /* of the expected force: less is not the load yet */
#define OFF_PART     0.25 /* of it: more is not the load that was asked for */
#define OFF_MM       80
#define AGAIN_PART   0.02 /* the same strange load again: it is meant */
#define POINT_S      9    /* between two points of creep */

enum step {
    STEP_DRIFT, /* zero, watched */
    STEP_EMPTY, /* a zero is needed */
    STEP_LOAD,  /* the load is awaited */
    STEP_WATCH, /* it was taken, and stays for its creep */
    STEP_DONE
};

struct uf_procedure {
    struct uf_rig rig;
    struct uf_document *d;
    struct uf_procedure_settings s;
    struct uf_procedure_owner owner;
    struct uf_calibration sheet;
    struct uf_still *still;
    enum step step;
    int next, captured;
    bool has_zero;
    double zero_raw[UF_CHANNELS_MAX];
    int64_t zero_dev_us;
    bool has_earlier; /* a session that goes on: the zero of its last load, to be recognised */
    double earlier_raw[UF_CHANNELS_MAX];
    int64_t unlike_dev_us;            /* since then the plates read otherwise; -1: they do not */
    double last_raw[UF_CHANNELS_MAX]; /* of the take before */
    bool strange;                     /* the last take was none that was asked for */
    double strange_w[UF_COMPONENTS];
    int64_t strange_dev_us;
    bool watched; /* the present take began on what was asked for: worth a word when it is lost */
    bool not_empty_said;
    bool warned[UF_LOAD_KINDS];
    int watched_load;
    int64_t watch_dev_us, point_dev_us;
    bool *pending; /* [d->n] captured, waits for the zero after it */
};

void uf_procedure_defaults(struct uf_procedure_settings *s)
{
    memset(s, 0, sizeof *s);
    uf_still_defaults(&s->still);
    s->drift_s = 60;
    s->drift_n_min = 0.5;
    s->empty_n = 15;
    s->patience_s = 20;
}

static int next_open(const struct uf_procedure *p, int from)
{
    while (from < p->d->n && (p->d->captured[from] || p->d->skipped[from]))
        from++;
    return from;
}

int uf_procedure_open(const struct uf_procedure *p)
{
    int open = 0;
    for (int i = 0; i < p->d->n; i++)
        open += !p->d->captured[i] && !p->d->skipped[i];
    return open;
}

int uf_procedure_new(struct uf_procedure **out, const struct uf_rig *rig, struct uf_document *d,
                     const struct uf_procedure_settings *s, const struct uf_procedure_owner *owner,
                     struct uf_error *err)
{
    *out = NULL;
    struct uf_procedure *p = calloc(1, sizeof *p);
    if (!p)
        return uf_fail(err, UF_ENOMEM, "no memory for the procedure");
    p->rig = *rig;
    p->d = d;
    p->s = *s;
    p->owner = *owner;
    p->pending = calloc((size_t)d->n + 1, sizeof *p->pending);
    uf_calibration_nominal(rig, &p->sheet);
    int rc = p->pending ? uf_still_new(&p->still, &s->still, rig, err)
                        : uf_fail(err, UF_ENOMEM, "no memory for the procedure");
    if (rc != UF_OK) {
        uf_procedure_free(p);
        return rc;
    }
    p->next = next_open(p, 0);
    p->unlike_dev_us = -1;
    for (int i = 0; i < d->n; i++)
        if (d->captured[i]) {
            memcpy(p->earlier_raw, d->reading[i].zero_raw, sizeof p->earlier_raw);
            p->has_earlier = true;
        }
    p->step = p->next == d->n ? STEP_DONE : s->drift_s > 0 ? STEP_DRIFT : STEP_EMPTY;
    *out = p;
    return UF_OK;
}

void uf_procedure_free(struct uf_procedure *p)
{
    if (!p)
        return;
    uf_still_free(p->still);
    free(p->pending);
    free(p);
}

bool uf_procedure_done(const struct uf_procedure *p)
{
    return p->step == STEP_DONE;
}

int uf_procedure_captured(const struct uf_procedure *p)
{
    return p->captured;
}

/* ---- what is said ---- */

static void ask_empty(struct uf_procedure *p)
{
    p->not_empty_said = false;
    const struct uf_load *l = p->next < p->d->n ? &p->d->reading[p->next].load : NULL;
    uf_procedure_say(&p->owner, "Zero: take everything off the plates%s. Hands off.",
                     l && l->kind == UF_LOAD_TILT ? ", and tilt the plate as for the next load"
                                                  : "");
}

void uf_procedure_begin(struct uf_procedure *p)
{
    if (p->step == STEP_DONE) {
        uf_procedure_say(&p->owner, "All %d loads are captured or left out.", p->d->n);
        return;
    }
    uf_procedure_say(
        &p->owner,
        "%d of %d loads are to be captured. Stop with Ctrl-C whenever you like; what is captured "
        "is kept.",
        uf_procedure_open(p), p->d->n);
    if (p->step == STEP_DRIFT)
        uf_procedure_say(
            &p->owner,
            "The electronics should have been on for 30 minutes. The zero is watched for %.0f s.",
            p->s.drift_s);
    ask_empty(p);
}

/* ---- judging ---- */

static void wrench_above(const struct uf_procedure *p, int plate, const double *raw,
                         const double *zero_raw, double w[UF_COMPONENTS])
{
    for (int k = 0; k < UF_COMPONENTS; k++) {
        w[k] = 0;
        for (int ch = 0; ch < p->rig.channels; ch++)
            w[k] += p->sheet.plate[plate].c[k][ch] * (raw[ch] - zero_raw[ch]);
    }
}

static double size_of(const double w[UF_COMPONENTS])
{
    return sqrt(w[0] * w[0] + w[1] * w[1] + w[2] * w[2]);
}

static double distance(const double a[UF_COMPONENTS], const double b[UF_COMPONENTS])
{
    double d[UF_COMPONENTS];
    for (int k = 0; k < UF_COMPONENTS; k++)
        d[k] = a[k] - b[k];
    return size_of(d);
}

/* By the data sheet: what came instead of what was asked for; false: it is that. */
static bool is_strange(const struct uf_procedure *p, const struct uf_load *l,
                       const double got[UF_COMPONENTS], const double want[UF_COMPONENTS],
                       char *text, size_t size)
{
    const struct uf_plate *plate = &p->rig.plate[l->plate];
    struct uf_wrench w = {got[0], got[1], got[2], got[3], got[4], got[5]};
    struct uf_cop at;
    bool force = distance(got, want) > OFF_PART * size_of(want);
    uf_cop_of(&w, plate->surface_mm, 25, &at);
    if (l->kind == UF_LOAD_VERTICAL && !isnan(at.x_mm)) {
        bool away = hypot(at.x_mm - l->x_mm, at.y_mm - l->y_mm) > OFF_MM;
        snprintf(text, size, "about %.0f N at %.0f, %.0f mm instead of %.0f N at %g, %g mm",
                 got[UF_FZ], at.x_mm, at.y_mm, want[UF_FZ], l->x_mm, l->y_mm);
        return force || away;
    }
    snprintf(text, size, "about %.0f, %.0f, %.0f N (x, y, z) instead of %.0f, %.0f, %.0f N", got[0],
             got[1], got[2], want[0], want[1], want[2]);
    return force;
}

/* ---- keeping ---- */

static json_t *counts(const struct uf_procedure *p, const double *raw)
{
    json_t *out = json_array();
    for (int ch = 0; ch < p->rig.channels; ch++)
        if (json_array_append_new(out, json_real(raw[ch])) != 0) {
            json_decref(out);
            return NULL;
        }
    return out;
}

static json_t *load_json(const struct uf_procedure *p, int i)
{
    return json_array_get(json_object_get(p->d->json, "loads"), (size_t)i);
}

static int keep(struct uf_procedure *p, int failed, struct uf_error *err)
{
    if (failed)
        return uf_fail(err, UF_ENOMEM, "no memory to keep the load");
    return p->owner.keep(p->owner.who, err);
}

static int keep_load(struct uf_procedure *p, const struct uf_still_take *take, struct uf_error *err)
{
    json_t *json = load_json(p, p->next);
    int64_t utc_us = p->owner.utc_us(p->owner.who);
    int failed = json_object_set_new(json, "zero_raw", counts(p, p->zero_raw));
    failed |= json_object_set_new(json, "loaded_raw", counts(p, take->mean_raw));
    failed |= json_object_set_new(json, "noise_raw", counts(p, take->noise_raw));
    failed |= json_object_set_new(json, "samples", json_integer(take->samples));
    if (utc_us)
        failed |= json_object_set_new(json, "captured_utc_us", json_integer(utc_us));
    p->d->captured[p->next] = true;
    p->pending[p->next] = true;
    p->captured++;
    return keep(p, failed, err);
}

/* A point of the creep of the load that was taken. */
static int keep_point(struct uf_procedure *p, const struct uf_still_take *take, bool file,
                      struct uf_error *err)
{
    json_t *load = load_json(p, p->watched_load), *creep = json_object_get(load, "creep");
    double t_s = (double)((take->from_dev_us + take->to_dev_us) / 2 - p->watch_dev_us) / 1e6;
    int failed = 0;
    if (!creep) {
        creep = json_pack("{s:[], s:[]}", "t_s", "raw");
        failed |= json_object_set_new(load, "creep", creep);
    }
    failed |= json_array_append_new(json_object_get(creep, "t_s"), json_real(t_s));
    failed |= json_array_append_new(json_object_get(creep, "raw"), counts(p, take->mean_raw));
    p->point_dev_us = take->to_dev_us;
    if (failed)
        return uf_fail(err, UF_ENOMEM, "no memory to keep the load");
    return file ? p->owner.keep(p->owner.who, err) : UF_OK;
}

/* ---- steps ---- */

static void go_on(struct uf_procedure *p)
{
    p->next = next_open(p, p->next);
    p->strange = false;
    if (p->next == p->d->n)
        p->step = STEP_DONE;
}

/* A weight goes on or off the pile without a zero between. */
static bool in_series(const struct uf_procedure *p, int before, int after)
{
    const struct uf_reading *a = &p->d->reading[before], *b = &p->d->reading[after];
    bool pile = (a->series == UF_SERIES_UP || a->series == UF_SERIES_DOWN) &&
                (b->series == UF_SERIES_UP || b->series == UF_SERIES_DOWN);
    bool again = a->series == UF_SERIES_DOWN && b->series == UF_SERIES_UP; /* a new series */
    return pile && !again && uf_load_same_place(&a->load, &b->load);
}

/* The first zero of a session that goes on, far from its last one: the load may still lie there. */
static bool is_no_zero(struct uf_procedure *p, const struct uf_still_take *take)
{
    double most = 0;
    int where = 0;
    for (int plate = 0; plate < p->rig.plates && p->has_earlier; plate++) {
        double w[UF_COMPONENTS];
        wrench_above(p, plate, take->mean_raw, p->earlier_raw, w);
        if (size_of(w) > most) {
            most = size_of(w);
            where = plate;
        }
    }
    if (most > p->s.empty_n) {
        if (p->unlike_dev_us < 0) {
            p->unlike_dev_us = take->from_dev_us;
            uf_procedure_say(
                &p->owner,
                "The %s plate reads about %.0f N more or less than at the last zero of "
                "this session: take everything off. If it is empty, leave it so.",
                uf_place_name(p->rig.plate[where].place), most);
        }
        if ((double)(take->to_dev_us - p->unlike_dev_us) / 1e6 < p->s.patience_s)
            return true;
        uf_procedure_say(&p->owner, "It stays so: taken as the new zero.");
    }
    p->has_earlier = false; /* from now on it is the new one that counts */
    return false;
}

static int take_zero(struct uf_procedure *p, const struct uf_still_take *take, struct uf_error *err)
{
    int failed = 0, filled = 0;
    if (!p->has_zero && is_no_zero(p, take))
        return UF_OK;
    for (int plate = 0; plate < p->rig.plates && p->has_zero; plate++) {
        double w[UF_COMPONENTS];
        wrench_above(p, plate, take->mean_raw, p->zero_raw, w);
        if (size_of(w) <= p->s.empty_n)
            continue;
        if (!p->not_empty_said)
            uf_procedure_say(&p->owner,
                             "The %s plate is not empty yet: about %.0f N are still on it.",
                             uf_place_name(p->rig.plate[plate].place), size_of(w));
        p->not_empty_said = true;
        return UF_OK;
    }
    for (int i = 0; i < p->d->n; i++)
        if (p->pending[i]) {
            failed |=
                json_object_set_new(load_json(p, i), "zero_after_raw", counts(p, take->mean_raw));
            p->pending[i] = false;
            filled++;
        }
    memcpy(p->zero_raw, take->mean_raw, sizeof p->zero_raw);
    memcpy(p->last_raw, take->mean_raw, sizeof p->last_raw);
    p->has_zero = true;
    p->zero_dev_us = take->to_dev_us;
    go_on(p);
    if (p->step != STEP_DONE) {
        p->step = STEP_LOAD;
        uf_procedure_ask_load(&p->rig, p->d, p->next, p->warned, &p->owner);
    } else {
        uf_procedure_say(&p->owner, "All loads are captured.");
    }
    return filled ? keep(p, failed, err) : UF_OK;
}

static int watch_drift(struct uf_procedure *p, const struct uf_still_take *take,
                       struct uf_error *err)
{
    if (!p->has_zero) {
        if (is_no_zero(p, take))
            return UF_OK;
        memcpy(p->zero_raw, take->mean_raw, sizeof p->zero_raw);
        p->zero_dev_us = take->to_dev_us;
        p->has_zero = true;
        return UF_OK;
    }
    double s = (double)(take->to_dev_us - p->zero_dev_us) / 1e6, most = 0;
    if (s < p->s.drift_s)
        return UF_OK;
    for (int plate = 0; plate < p->rig.plates; plate++) {
        double w[UF_COMPONENTS];
        wrench_above(p, plate, take->mean_raw, p->zero_raw, w);
        most = fmax(most, size_of(w) / s * 60);
    }
    if (most > p->s.drift_n_min) {
        uf_procedure_say(
            &p->owner,
            "The zero still drifts by %.2f N a minute: wait for the electronics to warm up; it is "
            "watched further.",
            most);
        p->has_zero = false;
        return watch_drift(p, take, err);
    }
    uf_procedure_say(&p->owner, "The zero drifts by %.2f N a minute: good.", most);
    return take_zero(p, take, err);
}

/* What comes after a load was taken. */
static int after_load(struct uf_procedure *p, int at)
{
    int next = next_open(p, at + 1);
    p->next = next;
    if (next == at + 1 && next < p->d->n && in_series(p, at, next)) {
        p->step = STEP_LOAD;
        uf_procedure_ask_load(&p->rig, p->d, p->next, p->warned, &p->owner);
        return UF_OK;
    }
    p->step = STEP_EMPTY;
    ask_empty(p);
    return UF_OK;
}

static int take_load(struct uf_procedure *p, const struct uf_still_take *take, struct uf_error *err)
{
    const struct uf_load *l = &p->d->reading[p->next].load;
    double got[UF_COMPONENTS], change[UF_COMPONENTS];
    struct uf_load_wrench want, before = {{0}, {{0}}, {{0}}};
    char what[160];
    uf_load_wrench_of(&p->d->setup, &p->rig.plate[l->plate], l, &want);
    wrench_above(p, l->plate, take->mean_raw, p->zero_raw, got);
    wrench_above(p, l->plate, take->mean_raw, p->last_raw, change);
    int last = p->next - 1;
    if (last >= 0 && p->pending[last] && in_series(p, last, p->next))
        uf_load_wrench_of(&p->d->setup, &p->rig.plate[l->plate], &p->d->reading[last].load,
                          &before);
    if (size_of(change) < CHANGED_PART * distance(want.w, before.w))
        return UF_OK; /* nothing was put on yet */
    if (is_strange(p, l, got, want.w, what, sizeof what)) {
        bool again = p->strange && distance(got, p->strange_w) < AGAIN_PART * size_of(want.w) + 1;
        if (!again) {
            memcpy(p->strange_w, got, sizeof got);
            p->strange_dev_us = take->from_dev_us;
            p->strange = true;
            uf_procedure_say(&p->owner,
                             "That looks like %s. Put it right, or leave it there if it is meant.",
                             what);
        }
        if ((double)(take->to_dev_us - p->strange_dev_us) / 1e6 < p->s.patience_s)
            return UF_OK;
        uf_procedure_say(&p->owner, "Taken as it is: %s. solve will judge it.", what);
    }
    int at = p->next;
    int rc = keep_load(p, take, err);
    if (rc != UF_OK)
        return rc;
    uf_procedure_say(&p->owner, "Load %d taken: %d samples, about %.1f N. %d to go.", at + 1,
                     take->samples, size_of(got), uf_procedure_open(p));
    memcpy(p->last_raw, take->mean_raw, sizeof p->last_raw);
    p->strange = false;
    if (p->d->reading[at].watch_s > 0) {
        p->step = STEP_WATCH;
        p->watched_load = at;
        p->watch_dev_us = take->from_dev_us;
        uf_procedure_say(&p->owner,
                         "Leave it there for %.0f s: it is watched for creep. Hands off.",
                         p->d->reading[at].watch_s);
        return keep_point(p, take, false, err);
    }
    return after_load(p, at);
}

/* One more take under the load that is watched. */
static int watch_load(struct uf_procedure *p, const struct uf_still_take *take,
                      struct uf_error *err)
{
    int at = p->watched_load, plate = p->d->reading[at].load.plate;
    double change[UF_COMPONENTS], got[UF_COMPONENTS];
    wrench_above(p, plate, take->mean_raw, p->last_raw, change);
    wrench_above(p, plate, p->last_raw, p->zero_raw, got);
    double t_s = (double)(take->to_dev_us - p->watch_dev_us) / 1e6;
    bool gone = size_of(change) > OFF_PART * size_of(got), last = t_s > p->d->reading[at].watch_s;
    if (gone)
        uf_procedure_say(&p->owner, "It was taken off after %.0f s; what was seen is kept.", t_s);
    else if (!last && (double)(take->to_dev_us - p->point_dev_us) / 1e6 < POINT_S)
        return UF_OK;
    int rc = gone ? p->owner.keep(p->owner.who, err) : keep_point(p, take, last, err);
    if (rc != UF_OK || !(gone || last))
        return rc;
    rc = after_load(p, at);
    return rc == UF_OK && gone && p->step == STEP_EMPTY ? take_zero(p, take, err) : rc;
}

/* Is what lies there now near what is waited for? */
static bool expected(const struct uf_procedure *p, const struct uf_frame *f)
{
    double raw[UF_CHANNELS_MAX], w[UF_COMPONENTS];
    if (!p->has_zero)
        return true;
    for (int ch = 0; ch < p->rig.channels; ch++)
        raw[ch] = f->counts_raw[ch];
    if (p->step == STEP_LOAD) {
        const struct uf_load *l = &p->d->reading[p->next].load;
        struct uf_load_wrench want;
        uf_load_wrench_of(&p->d->setup, &p->rig.plate[l->plate], l, &want);
        wrench_above(p, l->plate, raw, p->zero_raw, w);
        return distance(w, want.w) < OFF_PART * size_of(want.w);
    }
    for (int plate = 0; plate < p->rig.plates; plate++) {
        wrench_above(p, plate, raw, p->zero_raw, w);
        if (size_of(w) > p->s.empty_n)
            return false;
    }
    return true;
}

int uf_procedure_feed(struct uf_procedure *p, const struct uf_frame *f, struct uf_error *err)
{
    struct uf_still_take take;
    char reason[120];
    if (p->step == STEP_DONE)
        return UF_OK;
    switch (uf_still_feed(p->still, f, &take, reason)) {
    case UF_STILL_BEGUN:
        p->watched = expected(p, f);
        return UF_OK;
    case UF_STILL_MOVED:
    case UF_STILL_BROKEN:
        /* an empty plate that a load is put on, or a load that is taken off, is no mishap */
        if (p->watched && expected(p, f))
            uf_procedure_say(&p->owner, "Not taken: %s. Once more.", reason);
        return UF_OK;
    case UF_STILL_TAKEN:
        switch (p->step) {
        case STEP_DRIFT:
            return watch_drift(p, &take, err);
        case STEP_EMPTY:
            return take_zero(p, &take, err);
        case STEP_WATCH:
            return watch_load(p, &take, err);
        default:
            return take_load(p, &take, err);
        }
    default:
        return UF_OK;
    }
}

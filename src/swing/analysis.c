/* SPDX-License-Identifier: MIT
 * From a capture to curves, events, flags and metrics: see analysis.h. Pure; in the daemon it runs
 * on the store thread. */
#include "swing/analysis.h"

#include "plate/filter.h"
#include "plate/wrench.h"
#include "swing/events.h"
#include "swing/propagate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GAP_S           0.02 /* lost samples in a run longer than this are a gap, not a fill */
#define AFTER_TRIGGER_S 0.6  /* peaks are sought up to so long after the trigger */
#define CLOSED_BW_S     0.02 /* momentum that does not close by more is drift or gain */
#define GRID_MAX        200000
#define CUTOFF_PART     0.4  /* greatest cut-off, of the rate */
#define RATE_TOLERANCE  0.02 /* the promised rate is believed within this */

void uf_analysis_defaults(struct uf_analysis_settings *s)
{
    s->cutoff_hz = 50;
    s->order = 2;
    s->cop_min_n = UF_COP_MIN_N_DEFAULT;
    s->old_days = UF_OLD_DAYS_DEFAULT;
}

void uf_analysis_free(struct uf_analysis *a)
{
    if (!a)
        return;
    uf_curves_free(&a->curves);
    free(a);
}

/* ---- conditioning ---- */

/* Grid index of each sample: its number, counting the lost ones. Returns the last one. */
static size_t grid_length(const struct uf_capture *cap)
{
    size_t index = 0;
    for (size_t i = 1; i < cap->samples; i++)
        index += 1u + cap->lost_before[i];
    return index + 1;
}

static bool channel_used(const struct uf_rig *rig, int channel)
{
    for (int p = 0; p < rig->plates; p++)
        for (int c = 0; c < rig->plate[p].cells; c++)
            for (int a = 0; a < 3; a++)
                if (rig->plate[p].cell[c].channel[a] == channel)
                    return true;
    return false;
}

/* Marks the grid, and gathers the flags that need only counts. */
static uint32_t mark_points(const struct uf_capture *cap, const struct uf_rig *rig, double rate_hz,
                            uint8_t *point)
{
    uint32_t flags = 0;
    size_t index = 0;
    int32_t rail = (int32_t)(1u << (cap->board.adc_bits - 1)) - 1;
    bool used[UF_CHANNELS_MAX], moved[UF_CHANNELS_MAX] = {false};
    for (int c = 0; c < cap->board.channels; c++)
        used[c] = channel_used(rig, c);
    for (size_t i = 0; i < cap->samples; i++) {
        const int32_t *counts = cap->counts_raw + i * cap->board.channels;
        if (i > 0 && cap->lost_before[i]) {
            flags |= UF_FLAG_LOST;
            bool gap = cap->lost_before[i] > GAP_S * rate_hz;
            if (gap)
                flags |= UF_FLAG_GAP;
            for (size_t k = 1; k <= cap->lost_before[i]; k++)
                point[index + k] = UF_POINT_FILLED | (gap ? UF_POINT_GAP : 0);
        }
        index += i > 0 ? 1u + cap->lost_before[i] : 0;
        bool railed = (cap->status[i] & UF_STATUS_RAIL) != 0;
        for (int c = 0; c < cap->board.channels; c++) {
            if (used[c] && (counts[c] >= rail || counts[c] <= -rail - 1))
                railed = true;
            if (counts[c] != cap->counts_raw[c])
                moved[c] = true;
        }
        if (railed) {
            point[index] |= UF_POINT_RAIL;
            flags |= UF_FLAG_SATURATED;
        }
        if (cap->status[i] & UF_STATUS_EXCITATION)
            flags |= UF_FLAG_EXCITATION;
        if (cap->status[i] & UF_STATUS_OVERRUN)
            flags |= UF_FLAG_OVERRUN;
    }
    for (int c = 0; c < cap->board.channels; c++)
        if (used[c] && !moved[c] && cap->samples > 1)
            flags |= UF_FLAG_DEAD_CHANNEL;
    return flags;
}

/* One component of all samples onto the grid, straight lines over the lost ones. */
static void spread(const struct uf_capture *cap, const struct uf_wrench *w, size_t component,
                   double *grid)
{
    size_t index = 0;
    double before = 0;
    for (size_t i = 0; i < cap->samples; i++) {
        double value = ((const double *)&w[i])[component];
        size_t step = i > 0 ? 1u + cap->lost_before[i] : 0;
        for (size_t k = 1; k < step; k++)
            grid[index + k] = before + (value - before) * ((double)k / (double)step);
        index += step;
        grid[index] = value;
        before = value;
    }
}

/* Wrench of a plate on the grid: six arrays of n, one after another, in wrench_grid. */
static void condition(const struct uf_capture *cap, const struct uf_plate_matrix *matrix,
                      struct uf_wrench *raw, size_t n, double *wrench_grid)
{
    struct uf_weights weights;
    uf_weights_of(matrix, cap->board.channels, &weights);
    for (size_t i = 0; i < cap->samples; i++)
        uf_wrench_weighed(&weights, cap->counts_raw + i * cap->board.channels, cap->tare_raw,
                          &raw[i]);
    for (size_t k = 0; k < UF_COMPONENTS; k++)
        spread(cap, raw, k, wrench_grid + k * n);
}

static void low_pass(const struct uf_lowpass *filter, const struct uf_plate_matrix *matrix,
                     double *wrench_grid, size_t n, double *work)
{
    for (size_t k = 0; k < UF_COMPONENTS; k++)
        if (matrix->known[k])
            uf_lowpass_zero_phase(filter, wrench_grid + k * n, n, work);
}

/* Wrench of a plate from mean counts (not whole numbers, so not uf_wrench_of). */
static struct uf_wrench wrench_of_mean(const struct uf_plate_matrix *m, const double *mean_raw,
                                       const double *tare_raw, int channels)
{
    double w[UF_COMPONENTS];
    for (int k = 0; k < UF_COMPONENTS; k++) {
        w[k] = m->known[k] ? 0 : NAN;
        for (int c = 0; c < channels; c++)
            w[k] += m->c[k][c] * uf_straight(m, c, mean_raw[c] - tare_raw[c]);
    }
    return (struct uf_wrench){w[0], w[1], w[2], w[3], w[4], w[5]};
}

/* White noise of one sample of each component, from third differences: a body's motion has next to
 * none of them. Over the quiet part of the window where there is enough of it. */
static void noise_of(const struct uf_capture *cap, const struct uf_wrench *raw, double *sd)
{
    size_t last = cap->samples;
    double quiet_us = (double)(cap->quiet_to_dev_us - cap->start_dev_us);
    if (cap->quiet_known && quiet_us > 0) {
        size_t n = 0;
        while (n < cap->samples && cap->offset_us[n] < quiet_us)
            n++;
        if (n >= 40)
            last = n;
    }
    for (size_t k = 0; k < UF_COMPONENTS; k++) {
        double square = 0;
        size_t n = 0;
        for (size_t i = 3; i < last; i++) {
            if (cap->lost_before[i] || cap->lost_before[i - 1] || cap->lost_before[i - 2])
                continue;
            const double *w[4];
            for (size_t j = 0; j < 4; j++)
                w[j] = (const double *)&raw[i - j];
            double d = w[0][k] - 3 * w[1][k] + 3 * w[2][k] - w[3][k];
            square += d * d;
            n++;
        }
        sd[k] = n ? sqrt(square / (double)n / 20) : 0; /* 1 + 9 + 9 + 1 */
        if (isnan(sd[k]))
            sd[k] = 0; /* the component is not known: nothing rests on it */
    }
}

/* ---- events ---- */

static void events_find(struct uf_analysis *a, const struct uf_capture *cap,
                        const struct uf_given *given, double address_pct, size_t trigger)
{
    for (int i = 0; i < UF_EVENTS; i++)
        a->event[i] = (struct uf_event){NAN, NAN, UF_SOURCE_NONE};
    uf_impact_sensed(cap, &a->event[UF_EVENT_IMPACT], &a->flags);
    double length_s = (double)(a->curves.n - 1) / a->curves.rate_hz;
    if (cap->ended_still)
        a->event[UF_EVENT_END] = (struct uf_event){length_s, 0.1, UF_SOURCE_ESTIMATE};
    for (int i = 0; i < UF_EVENT_END; i++) {
        const struct uf_mark *mark = &given->mark[i];
        if (!(mark->t_s >= 0 && mark->t_s <= length_s))
            continue;
        a->event[i] = (struct uf_event){mark->t_s, mark->u_s, UF_SOURCE_MARK};
        if (i == UF_EVENT_IMPACT) /* somebody has looked which strike it was */
            a->flags &= ~UF_FLAG_TWO_STRIKES;
    }
    if (a->event[UF_EVENT_IMPACT].source == UF_SOURCE_NONE)
        a->flags |= UF_FLAG_NO_IMPACT;
    if (isnan(address_pct))
        return;
    double sign_s[UF_SIGNS];
    uf_signs_find(&a->curves, address_pct, trigger, sign_s);
    uf_events_estimate(sign_s, a->event);
}

/* ---- the feet on the plates ---- */

/* A COP nearer to an edge than half a foot's width is of a foot that reaches over it. */
#define QUIET_EDGE_MM 30.0
/* In a swing a COP may run to the border of the sole, which has some width still. */
#define SWING_EDGE_MM 8.0
#define LOADED_N      200.0
#define AIR_N         15.0
#define AIR_S         0.06

static uint32_t edge_flag(const struct uf_foot_ground *g, int foot, double target_mm, double toe_mm,
                          double within_mm)
{
    double lo = target_mm - g->target_lo_mm, hi = g->target_hi_mm - target_mm;
    double inner = foot == UF_LEAD ? lo : hi, outer = foot == UF_LEAD ? hi : lo;
    if (inner < within_mm)
        return UF_FLAG_FOOT_ACROSS;
    return outer < within_mm || toe_mm - g->forward_lo_mm < within_mm ||
                   g->forward_hi_mm - toe_mm < within_mm
               ? UF_FLAG_FOOT_OFF
               : 0;
}

static uint32_t stand_flags(const struct uf_analysis *a, const struct uf_scene *scene,
                            const struct uf_quiet *quiet, const struct uf_given *given, size_t from,
                            size_t to)
{
    const struct uf_curves *c = &a->curves;
    uint32_t flags = 0;
    const struct uf_event *impact = &a->event[UF_EVENT_IMPACT];
    size_t until = impact->source ? (size_t)(impact->t_s * c->rate_hz) : to;
    for (int foot = 0; foot < UF_FEET && scene->rig.plates == 2; foot++) {
        const struct uf_plate *plate = &scene->rig.plate[uf_plate_under(scene->hand, foot)];
        struct uf_foot_ground g = uf_foot_ground_of(plate, scene->hand);
        double t_mm = quiet->cop_target_mm[foot], f_mm = quiet->cop_toe_mm[foot];
        if (!isnan(t_mm) && !isnan(f_mm))
            flags |= edge_flag(&g, foot, t_mm, f_mm, QUIET_EDGE_MM);
        if (uf_foot_moved(&given->foot[foot], (enum uf_foot)foot, t_mm, f_mm))
            flags |= UF_FLAG_STANCE_MOVED;
        if (given->foot[foot].known && given->foot[foot].length_from == UF_LENGTH_GUESS)
            flags |= UF_FLAG_FOOT_LENGTH;
        size_t air = 0;
        for (size_t i = from; i <= to; i++) {
            if (c->vertical_n[foot][i] > LOADED_N && !isnan(c->cop_target_mm[foot][i]))
                flags |= edge_flag(&g, foot, c->cop_target_mm[foot][i], c->cop_toe_mm[foot][i],
                                   SWING_EDGE_MM);
            air = c->vertical_n[foot][i] < AIR_N ? air + 1 : 0;
            if (i <= until && (double)air > AIR_S * c->rate_hz)
                flags |= UF_FLAG_STEP;
        }
    }
    return flags;
}

/* ---- the whole ---- */

static size_t grid_of(const struct uf_curves *c, double t_s)
{
    double i = t_s * c->rate_hz;
    return i <= 0 ? 0 : i >= (double)(c->n - 1) ? c->n - 1 : (size_t)i;
}

static void measure(struct uf_analysis *a, struct uf_measure *m, const struct uf_scene *scene,
                    const struct uf_calibration *cal, const struct uf_given *given)
{
    const struct uf_capture *cap = m->capture;
    struct uf_quiet quiet;
    uf_quiet_of(scene, NULL, &quiet);
    m->two_plates = scene->rig.plates == 2;
    m->weight_n = a->curves.weight_n = quiet.weight_n;
    for (int foot = 0; foot < UF_FEET; foot++)
        m->quiet_n[foot] = quiet.vertical_n[foot];
    double address_pct = 100 * m->quiet_n[UF_TRAIL] / m->weight_n;
    double trigger_s = 1e-6 * (double)(cap->trigger_dev_us - cap->start_dev_us);
    size_t trigger = grid_of(&a->curves, trigger_s);
    events_find(a, cap, given, address_pct, trigger);
    m->from = m->two_plates ? uf_movement_seen(&a->curves, address_pct, trigger) : 0;
    m->to = grid_of(&a->curves, trigger_s + AFTER_TRIGGER_S);
    for (size_t i = m->from; i <= m->to; i++)
        if (m->point[i] & UF_POINT_RAIL)
            m->saturated = true;
    m->dead = (a->flags & UF_FLAG_DEAD_CHANNEL) != 0;
    m->gaps = (a->flags & UF_FLAG_GAP) != 0;

    if (!cap->quiet_known || isnan(m->weight_n))
        a->flags |= UF_FLAG_NO_QUIET;
    if (cal->nominal)
        a->flags |= UF_FLAG_NOMINAL;
    if (given->calibration_age_days > a->settings.old_days)
        a->flags |= UF_FLAG_OLD;
    if (!m->two_plates)
        a->flags |= UF_FLAG_ONE_PLATE;
    if (cap->shape_hand != cap->hand)
        a->flags |= UF_FLAG_HAND;
    a->flags |= stand_flags(a, scene, &quiet, given, m->from, m->to);
    uf_measure_all(m, a->value, a->reason);
    static const enum uf_metric closures[] = {UF_M_vertical_closure_ns, UF_M_target_closure_ns,
                                              UF_M_toe_closure_ns};
    for (size_t i = 0; i < sizeof closures / sizeof closures[0]; i++)
        if (fabs(a->value[closures[i]]) > CLOSED_BW_S * m->weight_n)
            a->flags |= UF_FLAG_NOT_CLOSED;
    uf_measure_spoil(a->flags, a->value, a->reason);
}

static void drop_uncertain(struct uf_analysis *a)
{
    for (int i = 0; i < UF_METRICS; i++)
        if (!a->reason[i] && a->sd[i] > uf_useful_sd((enum uf_metric)i)) {
            a->value[i] = a->sd[i] = NAN;
            a->reason[i] = UF_REASON_UNCERTAIN;
        }
}

static int check(const struct uf_capture *cap, const struct uf_rig *rig, struct uf_error *err)
{
    if (rig->channels > cap->board.channels)
        return uf_fail(err, UF_EINVAL,
                       "the swing has %d channels and the rig \"%s\" maps channel %d: it was "
                       "captured with another rig",
                       cap->board.channels, rig->name, rig->channels - 1);
    if (cap->samples < 10 || cap->offset_us[cap->samples - 1] == 0)
        return uf_fail(err, UF_EINVAL, "the swing has only %zu samples: nothing to analyse",
                       cap->samples);
    if (grid_length(cap) > GRID_MAX)
        return uf_fail(err, UF_EINVAL, "the swing spans %zu sample periods, more than %d",
                       grid_length(cap), GRID_MAX);
    return UF_OK;
}

void uf_given_nothing(struct uf_given *g)
{
    memset(g, 0, sizeof *g);
    for (int i = 0; i < UF_EVENTS; i++)
        g->mark[i].t_s = g->mark[i].u_s = NAN;
    g->calibration_age_days = NAN;
}

int uf_analyse(const struct uf_capture *cap, const struct uf_rig *rig,
               const struct uf_calibration *cal, const struct uf_analysis_settings *settings,
               struct uf_analysis **out, struct uf_error *err)
{
    return uf_analyse_given(cap, rig, cal, settings, NULL, out, err);
}

/* Memory of one analysis beside its result. */
struct bench {
    struct uf_lowpass filter, softer;
    double *grid[UF_PLATES_MAX], *soft_grid[UF_PLATES_MAX]; /* UF_COMPONENTS arrays of n */
    double *noise, *work;
    struct uf_wrench *raw; /* [samples] */
    uint8_t *point;
};

static void bench_free(struct bench *b)
{
    free(b->grid[0]);
    free(b->noise);
    free(b->work);
    free(b->raw);
    free(b->point);
}

/* The rate that the filter is designed for. The window is short against the drift of a clock, so it
 * is the promised one, and two windows of one board are filtered alike; but what the board's
 * clock says where the two disagree. */
static double design_rate_hz(const struct uf_capture *cap, double measured_hz)
{
    bool agree = fabs(measured_hz / cap->board.rate_hz - 1) <= RATE_TOLERANCE;
    return agree ? cap->board.rate_hz : measured_hz;
}

static int bench_new(struct bench *b, const struct uf_capture *cap,
                     const struct uf_analysis_settings *settings, size_t n, double rate_hz,
                     struct uf_error *err)
{
    /* the softer filter loses twice as much of a slow
     * curve: what a Butterworth takes off goes with the fourth power of its cut-off. */
    struct uf_lowpass *filter[2] = {&b->filter, &b->softer};
    static const double part[2] = {1, 0.8408964152537145}; /* 2^(-1/4) */
    for (int i = 0; i < 2; i++) {
        double cutoff_hz =
            uf_two_pass_cutoff_hz(settings->order, part[i] * settings->cutoff_hz, rate_hz);
        int rc = uf_lowpass_design(filter[i], settings->order, cutoff_hz, rate_hz, err);
        if (rc)
            return rc;
    }
    size_t block = n * UF_COMPONENTS, noise = UF_NOISE_LENGTH(n);
    b->grid[0] = malloc(sizeof(double) * block * 2 * UF_PLATES_MAX);
    b->noise = malloc(sizeof(double) * noise);
    b->work = malloc(sizeof(double) * (noise + 2 * uf_lowpass_pad(&b->softer)));
    b->raw = malloc(sizeof *b->raw * cap->samples);
    b->point = calloc(n, 1);
    if (!b->grid[0] || !b->noise || !b->work || !b->raw || !b->point)
        return uf_fail(err, UF_ENOMEM, "no memory to analyse a swing of %zu points", n);
    b->grid[1] = b->grid[0] + block;
    b->soft_grid[0] = b->grid[1] + block;
    b->soft_grid[1] = b->soft_grid[0] + block;
    return UF_OK;
}

static int foot_on(enum uf_hand hand, int plate)
{
    return uf_plate_under(hand, UF_LEAD) == plate ? UF_LEAD : UF_TRAIL;
}

static int analyse(struct uf_analysis *a, struct bench *b, const struct uf_capture *cap,
                   const struct uf_rig *rig, const struct uf_calibration *cal,
                   const struct uf_given *given, struct uf_error *err)
{
    size_t n = a->curves.n;
    struct uf_scene scene = {.rig = *rig,
                             .hand = cap->hand,
                             .cop_min_n = a->settings.cop_min_n,
                             .n = n,
                             .rate_hz = a->curves.rate_hz,
                             .quiet_known = cap->quiet_known};
    struct uf_propagation p = {.scene = &scene, .value = a->value, .reason = a->reason};
    for (int plate = 0; plate < rig->plates; plate++) {
        double *grid = b->grid[plate], *soft = b->soft_grid[plate];
        condition(cap, &cal->plate[plate], b->raw, n, grid);
        memcpy(soft, grid, sizeof(double) * n * UF_COMPONENTS);
        low_pass(&b->filter, &cal->plate[plate], grid, n, b->work);
        low_pass(&b->softer, &cal->plate[plate], soft, n, b->work);
        scene.grid[plate] = grid;
        p.softer[plate] = soft;
        int foot = rig->plates == 2 ? foot_on(cap->hand, plate) : UF_LEAD;
        noise_of(cap, b->raw, p.noise_sd[foot]);
        if (cap->quiet_known)
            scene.quiet[plate] = wrench_of_mean(&cal->plate[plate], cap->quiet_raw, cap->tare_raw,
                                                cap->board.channels);
    }
    uf_curves_fill(&a->curves, &scene, NULL, 0, n);
    a->flags = mark_points(cap, rig, a->curves.rate_hz, b->point);
    if (b->filter.rate_hz != cap->board.rate_hz)
        a->flags |= UF_FLAG_RATE;
    struct uf_measure m = {.capture = cap,
                           .curves = &a->curves,
                           .event = a->event,
                           .point = b->point,
                           .cop_min_n = a->settings.cop_min_n,
                           .foot = given->foot};
    measure(a, &m, &scene, cal, given);

    struct uf_system_u assumed;
    uf_system_u_defaults(cal, &assumed);
    uf_noise_fill(b->noise, UF_NOISE_LENGTH(n));
    uf_lowpass_zero_phase(&b->filter, b->noise, UF_NOISE_LENGTH(n), b->work);
    p.measure = &m;
    p.system = given->system_known ? &given->system : &assumed;
    p.noise = b->noise;
    int rc = uf_propagate(&p, a->sd, err);
    if (rc == 0)
        drop_uncertain(a);
    return rc;
}

int uf_analyse_given(const struct uf_capture *cap, const struct uf_rig *rig,
                     const struct uf_calibration *cal, const struct uf_analysis_settings *settings,
                     const struct uf_given *given, struct uf_analysis **out, struct uf_error *err)
{
    *out = NULL;
    int rc = check(cap, rig, err);
    if (rc)
        return rc;
    struct uf_given nothing;
    uf_given_nothing(&nothing);
    struct bench b = {.grid = {NULL}};
    size_t n = grid_length(cap);
    double rate_hz = 1e6 * (double)(n - 1) / (double)cap->offset_us[cap->samples - 1];
    struct uf_analysis *a = calloc(1, sizeof *a);
    if (!a)
        return uf_fail(err, UF_ENOMEM, "no memory to analyse a swing of %zu points", n);
    double filter_hz = design_rate_hz(cap, rate_hz);
    a->settings = *settings;
    a->settings.cutoff_hz = fmin(settings->cutoff_hz, CUTOFF_PART * filter_hz);
    rc = bench_new(&b, cap, &a->settings, n, filter_hz, err);
    if (rc == 0)
        rc = uf_curves_new(&a->curves, n, rate_hz, err);
    if (rc == 0)
        rc = analyse(a, &b, cap, rig, cal, given ? given : &nothing, err);
    bench_free(&b);
    if (rc)
        uf_analysis_free(a);
    else
        *out = a;
    return rc;
}

/* ---- names ---- */

const char *uf_event_name(enum uf_event_kind kind)
{
    static const char *const names[UF_EVENTS] = {"first_movement", "top",    "lead_arm_level",
                                                 "shaft_level",    "impact", "finish",
                                                 "still_again"};
    return names[kind];
}

const char *uf_source_name(enum uf_event_source source)
{
    static const char *const names[] = {"none", "sensor", "mark", "estimate"};
    return names[source];
}

const char *uf_flag_name(int bit)
{
    static const char *const names[UF_FLAGS] = {"lost samples",
                                                "gap",
                                                "saturated",
                                                "excitation out of range",
                                                "no quiet standing before",
                                                "momentum does not close",
                                                "data-sheet calibration",
                                                "one plate",
                                                "shape of the other hand",
                                                "two strikes",
                                                "dead channel",
                                                "foot over an outer edge",
                                                "foot on both plates",
                                                "stance moved since rocking",
                                                "a foot in the air",
                                                "calibration is old",
                                                "no impact sensed or marked",
                                                "rate not as promised",
                                                "converter overrun",
                                                "foot length guessed"};
    return names[bit];
}

/* SPDX-License-Identifier: MIT
 * From a capture to curves, events, flags and metrics: see analysis.h. Pure; in the daemon it runs
 * on the store thread. */
#include "swing/analysis.h"

#include "plate/filter.h"
#include "plate/wrench.h"
#include "swing/measure.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GAP_S           0.02 /* lost samples in a run longer than this are a gap, not a fill */
#define AFTER_TRIGGER_S 0.6  /* peaks are sought up to so long after the trigger */
#define BEFORE_STRIKE_S 0.3  /* a strike belongs to the swing from so long before the trigger .. */
#define AFTER_STRIKE_S  0.6  /* .. to so long after it */
#define SAME_STRIKE_S   0.05 /* a second rise within this is the same strike, bouncing */
#define START_POINTS    2.0  /* first movement: share leaves the address share by so many points */
#define CLOSED_BW_S     0.02 /* momentum that does not close by more is drift or gain */
#define GRID_MAX        200000

#define CURVE_ARRAYS 24 /* arrays of uf_curves, in one block */

void uf_analysis_defaults(struct uf_analysis_settings *s)
{
    s->cutoff_hz = 50;
    s->order = 2;
    s->cop_min_n = UF_COP_MIN_N_DEFAULT;
}

void uf_curves_free(struct uf_curves *c)
{
    free(c->memory);
    memset(c, 0, sizeof *c);
}

void uf_analysis_free(struct uf_analysis *a)
{
    if (!a)
        return;
    uf_curves_free(&a->curves);
    free(a);
}

/* Shares out the block; every array n long. */
static int curves_new(struct uf_curves *c, size_t n, double rate_hz, struct uf_error *err)
{
    c->memory = malloc(sizeof(double) * n * CURVE_ARRAYS);
    if (!c->memory)
        return uf_fail(err, UF_ENOMEM, "no memory for the curves of a swing of %zu points", n);
    c->n = n;
    c->rate_hz = rate_hz;
    double **array[CURVE_ARRAYS] = {&c->vertical_n[0],
                                    &c->vertical_n[1],
                                    &c->target_n[0],
                                    &c->target_n[1],
                                    &c->toe_n[0],
                                    &c->toe_n[1],
                                    &c->tz_nm[0],
                                    &c->tz_nm[1],
                                    &c->cop_target_mm[0],
                                    &c->cop_target_mm[1],
                                    &c->cop_toe_mm[0],
                                    &c->cop_toe_mm[1],
                                    &c->total_vertical_n,
                                    &c->total_target_n,
                                    &c->total_toe_n,
                                    &c->net_target_mm,
                                    &c->net_toe_mm,
                                    &c->turn_nm,
                                    &c->turn_from_toe_nm,
                                    &c->turn_from_target_nm,
                                    &c->turn_from_free_nm,
                                    &c->trail_share_pct,
                                    NULL,
                                    NULL};
    for (size_t i = 0; i < CURVE_ARRAYS && array[i]; i++)
        *array[i] = c->memory + i * n;
    return UF_OK;
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

/* Wrench of a plate on the grid, low-passed: six arrays of n, one after another, in wrench_grid. */
static void condition(const struct uf_capture *cap, const struct uf_plate_matrix *matrix,
                      const struct uf_lowpass *filter, struct uf_wrench *raw, size_t n,
                      double *wrench_grid, double *work)
{
    for (size_t i = 0; i < cap->samples; i++)
        uf_wrench_of(matrix, cap->counts_raw + i * cap->board.channels, cap->tare_raw,
                     cap->board.channels, &raw[i]);
    for (size_t k = 0; k < UF_COMPONENTS; k++) {
        double *grid = wrench_grid + k * n;
        spread(cap, raw, k, grid);
        if (matrix->known[k])
            uf_lowpass_zero_phase(filter, grid, n, work);
    }
}

/* Vertical force of a plate from mean counts (not whole numbers, so not uf_wrench_of). */
static double vertical_of_mean(const struct uf_plate_matrix *m, const double *mean_raw,
                               const double *tare_raw, int channels)
{
    if (!m->known[UF_FZ])
        return NAN;
    double fz_n = 0;
    for (int c = 0; c < channels; c++)
        fz_n += m->c[UF_FZ][c] * (mean_raw[c] - tare_raw[c]);
    return fz_n;
}

static struct uf_wrench wrench_at(const double *wrench_grid, size_t n, size_t i)
{
    return (struct uf_wrench){wrench_grid[i],         wrench_grid[n + i],
                              wrench_grid[2 * n + i], wrench_grid[3 * n + i],
                              wrench_grid[4 * n + i], wrench_grid[5 * n + i]};
}

/* Golfer frame: s = -1 for a right-handed golfer (target towards -x), +1 for a left-handed one. */
static void curves_fill(struct uf_curves *c, const struct uf_rig *rig, enum uf_hand hand,
                        double cop_min_n, double *const wrench_grid[])
{
    double s = hand == UF_RIGHT_HANDED ? -1 : 1;
    bool two = rig->plates == 2;
    int plate_of[UF_FEET];
    plate_of[UF_LEAD] = hand == UF_RIGHT_HANDED ? 0 : 1;
    plate_of[UF_TRAIL] = 1 - plate_of[UF_LEAD];
    const struct uf_ground absent = {NAN, NAN, NAN, NAN, NAN, NAN};
    for (size_t i = 0; i < c->n; i++) {
        struct uf_ground ground[UF_FEET] = {absent, absent};
        struct uf_both both;
        if (two) {
            for (int foot = 0; foot < UF_FEET; foot++) {
                int p = plate_of[foot];
                struct uf_wrench w = wrench_at(wrench_grid[p], c->n, i);
                uf_ground_of(&rig->plate[p], &w, cop_min_n, &ground[foot]);
            }
            uf_both_of(&ground[UF_LEAD], &ground[UF_TRAIL], cop_min_n, &both);
        } else {
            struct uf_wrench w = wrench_at(wrench_grid[0], c->n, i);
            struct uf_ground all;
            uf_ground_of(&rig->plate[0], &w, cop_min_n, &all);
            both = (struct uf_both){all.fx_n, all.fy_n, all.fz_n, all.cop_x_mm, all.cop_y_mm,
                                    NAN,      NAN,      NAN,      NAN};
        }
        for (int foot = 0; foot < UF_FEET; foot++) {
            c->vertical_n[foot][i] = ground[foot].fz_n;
            c->target_n[foot][i] = s * ground[foot].fx_n;
            c->toe_n[foot][i] = ground[foot].fy_n;
            c->tz_nm[foot][i] = -s * ground[foot].tz_nm;
            c->cop_target_mm[foot][i] = s * ground[foot].cop_x_mm;
            c->cop_toe_mm[foot][i] = ground[foot].cop_y_mm;
        }
        c->total_vertical_n[i] = both.fz_n;
        c->total_target_n[i] = s * both.fx_n;
        c->total_toe_n[i] = both.fy_n;
        c->net_target_mm[i] = s * both.cop_x_mm;
        c->net_toe_mm[i] = both.cop_y_mm;
        c->turn_nm[i] = -s * both.turn_nm;
        c->turn_from_toe_nm[i] = -s * both.turn_from_fy_nm;
        c->turn_from_target_nm[i] = -s * both.turn_from_fx_nm;
        c->turn_from_free_nm[i] = -s * both.turn_from_tz_nm;
        c->trail_share_pct[i] =
            both.fz_n >= cop_min_n ? 100 * ground[UF_TRAIL].fz_n / both.fz_n : NAN;
    }
}

/* ---- events ---- */

/* Impact: the first rise of the strike input near the trigger, midway between the conversion that
 * showed it and the one before (the input is latched since then). */
static void find_impact(const struct uf_capture *cap, struct uf_event *impact, uint32_t *flags)
{
    double trigger_s = 1e-6 * (double)(cap->trigger_dev_us - cap->start_dev_us);
    double first_s = NAN;
    for (size_t i = 1; i < cap->samples; i++) {
        if (!(cap->inputs[i] & UF_INPUT_STRIKE) || (cap->inputs[i - 1] & UF_INPUT_STRIKE))
            continue;
        double t_s = 0.5e-6 * ((double)cap->offset_us[i] + (double)cap->offset_us[i - 1]);
        if (t_s < trigger_s - BEFORE_STRIKE_S || t_s > trigger_s + AFTER_STRIKE_S)
            continue;
        if (isnan(first_s))
            first_s = t_s;
        else if (t_s > first_s + SAME_STRIKE_S)
            *flags |= UF_FLAG_TWO_STRIKES;
    }
    if (isnan(first_s))
        return;
    impact->t_s = first_s;
    impact->source = UF_SOURCE_SENSOR;
}

/* First movement: going back from the greatest trail share before the trigger, where the share was
 * last within START_POINTS of the share at address. */
static void find_start(const struct uf_curves *c, double address_pct, size_t trigger,
                       struct uf_event *start)
{
    if (isnan(address_pct))
        return;
    size_t top = trigger;
    for (size_t i = trigger; i-- > 0;)
        if (c->trail_share_pct[i] > c->trail_share_pct[top])
            top = i;
    for (size_t i = top; i-- > 0;)
        if (fabs(c->trail_share_pct[i] - address_pct) <= START_POINTS) {
            start->t_s = (double)i / c->rate_hz;
            start->source = UF_SOURCE_ESTIMATE;
            return;
        }
}

static void events_find(struct uf_analysis *a, const struct uf_capture *cap,
                        const struct uf_measure *m, size_t trigger)
{
    for (int i = 0; i < UF_EVENTS; i++)
        a->event[i] = (struct uf_event){NAN, UF_SOURCE_NONE};
    find_impact(cap, &a->event[UF_EVENT_IMPACT], &a->flags);
    if (m->two_plates)
        find_start(&a->curves, 100 * m->quiet_n[UF_TRAIL] / m->weight_n, trigger,
                   &a->event[UF_EVENT_START]);
    if (cap->ended_still) {
        a->event[UF_EVENT_END].t_s = (double)(a->curves.n - 1) / a->curves.rate_hz;
        a->event[UF_EVENT_END].source = UF_SOURCE_ESTIMATE;
    }
}

/* ---- the whole ---- */

static size_t grid_of(const struct uf_curves *c, double t_s)
{
    double i = t_s * c->rate_hz;
    return i <= 0 ? 0 : i >= (double)(c->n - 1) ? c->n - 1 : (size_t)i;
}

static void measure(struct uf_analysis *a, const struct uf_capture *cap, const struct uf_rig *rig,
                    const struct uf_calibration *cal, const uint8_t *point)
{
    struct uf_measure m = {.capture = cap, .curves = &a->curves, .event = a->event, .point = point};
    m.two_plates = rig->plates == 2;
    m.weight_n = NAN;
    m.quiet_n[UF_LEAD] = m.quiet_n[UF_TRAIL] = NAN;
    if (cap->quiet_known) {
        double plate_n[UF_PLATES_MAX] = {0, 0};
        for (int p = 0; p < rig->plates; p++)
            plate_n[p] = vertical_of_mean(&cal->plate[p], cap->quiet_raw, cap->tare_raw,
                                          cap->board.channels);
        m.weight_n = plate_n[0] + plate_n[1];
        if (m.two_plates) {
            int lead = cap->hand == UF_RIGHT_HANDED ? 0 : 1;
            m.quiet_n[UF_LEAD] = plate_n[lead];
            m.quiet_n[UF_TRAIL] = plate_n[1 - lead];
        }
        if (!(m.weight_n > 0)) /* the quiet stretch was not of a person */
            m.weight_n = m.quiet_n[UF_LEAD] = m.quiet_n[UF_TRAIL] = NAN;
    }
    a->curves.weight_n = m.weight_n;
    double trigger_s = 1e-6 * (double)(cap->trigger_dev_us - cap->start_dev_us);
    size_t trigger = grid_of(&a->curves, trigger_s);
    events_find(a, cap, &m, trigger);
    const struct uf_event *start = &a->event[UF_EVENT_START];
    m.from = start->source ? grid_of(&a->curves, start->t_s) : 0;
    m.to = grid_of(&a->curves, trigger_s + AFTER_TRIGGER_S);
    for (size_t i = m.from; i <= m.to; i++)
        if (point[i] & UF_POINT_RAIL)
            m.saturated = true;
    m.dead = (a->flags & UF_FLAG_DEAD_CHANNEL) != 0;

    if (!cap->quiet_known || isnan(m.weight_n))
        a->flags |= UF_FLAG_NO_QUIET;
    if (cal->nominal)
        a->flags |= UF_FLAG_NOMINAL;
    if (!m.two_plates)
        a->flags |= UF_FLAG_ONE_PLATE;
    if (cap->shape_hand != cap->hand)
        a->flags |= UF_FLAG_HAND;
    uf_measure_all(&m, a->value, a->reason);
    static const enum uf_metric closures[] = {UF_M_vertical_closure_ns, UF_M_target_closure_ns,
                                              UF_M_toe_closure_ns};
    for (size_t i = 0; i < sizeof closures / sizeof closures[0]; i++)
        if (fabs(a->value[closures[i]]) > CLOSED_BW_S * m.weight_n)
            a->flags |= UF_FLAG_NOT_CLOSED;
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

int uf_analyse(const struct uf_capture *cap, const struct uf_rig *rig,
               const struct uf_calibration *cal, const struct uf_analysis_settings *settings,
               struct uf_analysis **out, struct uf_error *err)
{
    *out = NULL;
    struct uf_analysis *a = NULL;
    double *grids = NULL, *work = NULL;
    struct uf_wrench *raw = NULL;
    uint8_t *point = NULL;
    int rc = check(cap, rig, err);
    if (rc)
        return rc;
    size_t n = grid_length(cap);
    double rate_hz = 1e6 * (double)(n - 1) / (double)cap->offset_us[cap->samples - 1];
    struct uf_lowpass filter;
    /* the window is short against the drift of a clock: design for the nominal rate, so that two
     * windows of one board are filtered alike */
    double cutoff_hz =
        uf_two_pass_cutoff_hz(settings->order, settings->cutoff_hz, cap->board.rate_hz);
    rc = uf_lowpass_design(&filter, settings->order, cutoff_hz, cap->board.rate_hz, err);
    if (rc)
        return rc;

    a = calloc(1, sizeof *a);
    grids = malloc(sizeof(double) * n * UF_COMPONENTS * (size_t)rig->plates);
    work = malloc(sizeof(double) * (n + 2 * uf_lowpass_pad(&filter)));
    raw = malloc(sizeof *raw * cap->samples);
    point = calloc(n, 1);
    if (!a || !grids || !work || !raw || !point) {
        rc = uf_fail(err, UF_ENOMEM, "no memory to analyse a swing of %zu points", n);
        goto done;
    }
    rc = curves_new(&a->curves, n, rate_hz, err);
    if (rc)
        goto done;
    a->flags = mark_points(cap, rig, rate_hz, point);
    double *of_plate[UF_PLATES_MAX] = {grids, grids + n * UF_COMPONENTS};
    for (int p = 0; p < rig->plates; p++)
        condition(cap, &cal->plate[p], &filter, raw, n, of_plate[p], work);
    curves_fill(&a->curves, rig, cap->hand, settings->cop_min_n, of_plate);
    measure(a, cap, rig, cal, point);
    *out = a;
    a = NULL;
done:
    uf_analysis_free(a);
    free(grids);
    free(work);
    free(raw);
    free(point);
    return rc;
}

/* ---- names ---- */

const char *uf_event_name(enum uf_event_kind kind)
{
    static const char *const names[UF_EVENTS] = {"first_movement", "impact", "still_again"};
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
                                                "dead channel"};
    return names[bit];
}

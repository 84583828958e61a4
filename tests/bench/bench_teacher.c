/* SPDX-License-Identifier: MIT
 * What the teacher reads, against the simulator's truth: every number's bias, spread, stated
 * uncertainty and coverage of its 95 % interval; feet after rocking; estimated moments; and how a
 * rig's shortcomings show. Truth is the same definition on the exact forces at the true moments.
 * Each golfer gets plates whose calibration, zero and mounting are wrong by a draw from what the
 * uncertainties assume.
 *   bench_teacher all [GOLFERS [SWINGS each [FIRST]]]  default 1000 1: one line a number
 *   bench_teacher shortcomings [GOLFERS [SWINGS each]] default 40 2: one column a shortcoming
 * The last line of the first table is the cost of a swing. */
#include "lesson.h"
#include "swing/measure.h"
#include "swing/propagate.h"

#include <math.h>

#define STEPS_MAX 80
#define SINGLES   16000 /* errors kept for each number */
/* Of where a plate shows a foot: 1 mm of mounting and 1 mm of COP, by uf_system_u_defaults. */
#define PLATE_U_MM 1.414
/* Golfers that no limit, estimate or uncertainty was chosen on: those are 1000-1199, 31000-31499
 * and 90000-90399. */
#define JUDGED_FROM 52000u

struct shortcoming {
    const char *name;
    double rate_hz, lost, drift_n, place_mm;
    bool draws;
};

struct number {
    double error[SINGLES];
    double u_sum;
    size_t n, inside, nulls;
};

static const struct {
    const char *name;
    int curve, extreme;
} peaks[] = {{"total_vertical_peak_s", CURVE_TOTAL_VERTICAL, MAXIMUM},
             {"lead_vertical_peak_s", CURVE_LEAD_VERTICAL, MAXIMUM},
             {"trail_vertical_peak_s", CURVE_TRAIL_VERTICAL, MAXIMUM},
             {"target_peak_s", CURVE_TOTAL_TARGET, MAXIMUM},
             {"away_peak_s", CURVE_TOTAL_TARGET, MINIMUM},
             {"lead_target_peak_s", CURVE_LEAD_TARGET, MAXIMUM},
             {"trail_target_peak_s", CURVE_TRAIL_TARGET, MAXIMUM},
             {"lead_heel_peak_s", CURVE_LEAD_TOE, MINIMUM},
             {"lead_toe_peak_s", CURVE_LEAD_TOE, MAXIMUM},
             {"trail_toe_peak_s", CURVE_TRAIL_TOE, MAXIMUM},
             {"trail_heel_peak_s", CURVE_TRAIL_TOE, MINIMUM},
             {"turn_peak_s", CURVE_TURN, MAXIMUM}};
enum { PEAKS = sizeof peaks / sizeof peaks[0] };

struct bench {
    struct shortcoming how;
    struct number metric[UF_METRICS];
    struct number event[UF_EVENTS], blind[UF_EVENTS]; /* ms; blind: without the strike sensor */
    struct number top[PEAKS];                         /* ms */
    struct number axis, end;
    size_t foot_state[UF_FOOT_STATES], rocked;
    uint64_t first_golfer;
    size_t swings, expected;
    double analyse_s;
};

struct played {
    struct bench *b;
    struct uf_sim *sim;
    struct uf_sim_sample *truth;
    size_t samples;
    struct uf_config config;
    struct uf_rig wrong_rig;
    struct uf_calibration wrong;
    struct uf_given given;
    struct anatomy {
        double length_part; /* of the length that was typed in, too long */
        double middle_part[UF_FEET], axis_deg[UF_FEET]; /* foot against the path of its COP */
    } anatomy;
};

static void put(struct number *x, double error, double u)
{
    if (isnan(error) || x->n >= SINGLES)
        return;
    x->error[x->n++] = error;
    x->u_sum += u;
    if (fabs(error) <= 1.96 * u)
        x->inside++;
}

/* ---- truth by the same definitions ---- */

static void true_wrench(const struct uf_plate *p, const struct uf_sim_sample *s, int i, double *w)
{
    double h = 1e-3 * p->surface_mm;
    double x = 1e-3 * (s->cop_x_mm[i] - p->centre_x_mm),
           y = 1e-3 * (s->cop_y_mm[i] - p->centre_y_mm);
    if (isnan(x) || isnan(y))
        x = y = 0;
    w[0] = s->fx_n[i];
    w[1] = s->fy_n[i];
    w[2] = s->fz_n[i];
    w[3] = y * w[2] - h * w[1];
    w[4] = h * w[0] - x * w[2];
    w[5] = x * w[1] - y * w[0] + (isnan(s->tz_nm[i]) ? 0 : s->tz_nm[i]);
}

/* The simulator's COP rocks about the middle of the foot, in its axis. Real ones do so within what
 * UF_FOOT_U_MIDDLE and _AXIS_DEG say: the foot is drawn beside the path. */
static struct uf_foot_pose true_foot(const struct played *j, const struct uf_sim_truth *t, int foot)
{
    double toe_out_deg = t->toe_out_deg[foot] + j->anatomy.axis_deg[foot];
    double rad = toe_out_deg * acos(-1) / 180, out = foot == UF_LEAD ? 1 : -1;
    double heel_mm = (j->anatomy.middle_part[foot] - 0.5) * t->foot_length_mm;
    return (struct uf_foot_pose){.known = j->given.foot[foot].known,
                                 .heel_target_mm =
                                     t->foot_target_mm[foot] + out * heel_mm * sin(rad),
                                 .heel_forward_mm = t->foot_toe_mm[foot] + heel_mm * cos(rad),
                                 .length_mm = t->foot_length_mm,
                                 .width_mm = t->foot_width_mm,
                                 .toe_out_deg = toe_out_deg,
                                 .rest_along_pct = 50,
                                 .rest_across_pct = 50};
}

/* Peak times against the very top of the exact curve: of the parabola through three points. A crest
 * that is not even has its top beside that of the polynomial that is fitted to it. */
static void take_tops(struct bench *b, const struct uf_measure *m, const struct uf_analysis *a)
{
    for (size_t k = 0; k < PEAKS; k++) {
        int metric = uf_metric_find(peaks[k].name);
        const struct uf_found *f = &m->found[peaks[k].curve][peaks[k].extreme];
        if (metric < 0)
            give_up(peaks[k].name);
        if (f->reason || a->reason[metric])
            continue;
        const double *y = uf_array_of(m, peaks[k].curve) + f->index;
        double bend = y[-1] - 2 * y[0] + y[1];
        double shift = fabs(bend) > 0 ? 0.5 * (y[-1] - y[1]) / bend : 0;
        double top_s = ((double)f->index + shift) / m->curves->rate_hz;
        put(&b->top[k], 1e3 * (a->value[metric] - top_s), 1e3 * a->sd[metric]);
    }
}

static void measure_truth(const struct played *j, const struct uf_capture *c,
                          const struct uf_analysis *a, const struct uf_sim_truth *t, double *value,
                          enum uf_reason *reason)
{
    double start_s = 1e-6 * (double)c->start_dev_us, rate_hz = j->b->how.rate_hz;
    size_t first = (size_t)(start_s * rate_hz + 0.5), n = a->curves.n;
    if (first + n > j->samples)
        n = j->samples - first;
    struct uf_scene scene = {.rig = j->config.rig,
                             .hand = c->hand,
                             .cop_min_n = j->config.analysis.cop_min_n,
                             .n = n,
                             .rate_hz = rate_hz,
                             .quiet_known = true};
    double *grid = malloc(sizeof(double) * n * UF_COMPONENTS * 2);
    uint8_t *point = calloc(n, 1);
    struct uf_curves curves = {0};
    if (!grid || !point || uf_curves_new(&curves, n, rate_hz, NULL))
        give_up("no memory");
    size_t from = (size_t)(1e-6 * (double)c->quiet_from_dev_us * rate_hz);
    size_t to = (size_t)(1e-6 * (double)c->quiet_to_dev_us * rate_hz);
    for (int p = 0; p < 2; p++) {
        scene.grid[p] = grid + (size_t)p * n * UF_COMPONENTS;
        double w[UF_COMPONENTS], mean[UF_COMPONENTS] = {0};
        for (size_t i = 0; i < n; i++) {
            true_wrench(&scene.rig.plate[p], &j->truth[first + i], p, w);
            for (size_t k = 0; k < UF_COMPONENTS; k++)
                grid[((size_t)p * UF_COMPONENTS + k) * n + i] = w[k];
        }
        for (size_t i = from; i < to; i++) {
            true_wrench(&scene.rig.plate[p], &j->truth[i], p, w);
            for (size_t k = 0; k < UF_COMPONENTS; k++)
                mean[k] += w[k] / (double)(to - from);
        }
        scene.quiet[p] = (struct uf_wrench){mean[0], mean[1], mean[2], mean[3], mean[4], mean[5]};
    }
    uf_curves_fill(&curves, &scene, NULL, 0, n);
    struct uf_quiet quiet;
    uf_quiet_of(&scene, NULL, &quiet);
    curves.weight_n = quiet.weight_n;
    struct uf_event event[UF_EVENTS];
    const double at_s[UF_EVENTS] = {
        t->first_move_s, t->top_s, t->lead_arm_level_s, t->shaft_level_s, t->impact_s,
        t->finish_s,     NAN};
    for (int i = 0; i < UF_EVENTS; i++)
        event[i] = (struct uf_event){at_s[i] - start_s, 0,
                                     isnan(at_s[i]) ? UF_SOURCE_NONE : UF_SOURCE_MARK};
    struct uf_foot_pose foot[UF_FEET];
    for (int k = 0; k < UF_FEET; k++)
        foot[k] = true_foot(j, t, k);
    struct uf_measure m = {.capture = c,
                           .curves = &curves,
                           .event = event,
                           .point = point,
                           .two_plates = true,
                           .foot = foot,
                           .weight_n = quiet.weight_n};
    m.quiet_n[0] = quiet.vertical_n[0];
    m.quiet_n[1] = quiet.vertical_n[1];
    double trigger = 1e-6 * (double)(c->trigger_dev_us - c->start_dev_us) * rate_hz;
    m.from = (size_t)fmax(0, event[UF_EVENT_START].t_s * rate_hz);
    m.to = (size_t)fmin((double)(n - 1), trigger + 0.6 * rate_hz);
    uf_measure_all(&m, value, reason);
    take_tops(j->b, &m, a);
    uf_curves_free(&curves);
    free(point);
    free(grid);
}

/* ---- a swing ---- */

static const struct uf_sim_truth *truth_of(const struct played *j, const struct uf_capture *c)
{
    double at_s = 1e-6 * (double)c->trigger_dev_us;
    for (size_t i = 0; i < uf_sim_truths(j->sim); i++) {
        const struct uf_sim_truth *t = uf_sim_truth(j->sim, i);
        if (t->is_swing && at_s > t->top_s - 0.3 && at_s < t->impact_s + 0.3)
            return t;
    }
    return NULL;
}

static void take_events(struct number *out, const struct uf_analysis *a,
                        const struct uf_sim_truth *t, double start_s)
{
    const double at_s[UF_EVENTS] = {
        t->first_move_s, t->top_s, t->lead_arm_level_s, t->shaft_level_s, t->impact_s,
        t->finish_s,     NAN};
    for (int i = 0; i < UF_EVENT_END; i++) {
        if (a->event[i].source == UF_SOURCE_NONE)
            out[i].nulls++;
        else
            put(&out[i], 1e3 * (a->event[i].t_s + start_s - at_s[i]), 1e3 * a->event[i].u_s);
    }
}

static void take(struct played *j, struct uf_capture *c)
{
    struct uf_analysis *a;
    struct uf_error err;
    const struct uf_sim_truth *t = truth_of(j, c);
    struct bench *b = j->b;
    if (!t) {
        uf_capture_free(c);
        return;
    }
    double start_s = 1e-6 * (double)c->start_dev_us;
    double began_s = now_s();
    if (uf_analyse_given(c, &j->wrong_rig, &j->wrong, &j->config.analysis, &j->given, &a, &err))
        give_up(err.text);
    b->analyse_s += now_s() - began_s;
    b->swings++;
    take_events(b->event, a, t, start_s);
    double *value = malloc(sizeof(double) * UF_METRICS);
    enum uf_reason *reason = malloc(sizeof *reason * UF_METRICS);
    if (!value || !reason)
        give_up("no memory");
    measure_truth(j, c, a, t, value, reason);
    for (int i = 0; i < UF_METRICS; i++) {
        size_t length = strlen(uf_metric_row((enum uf_metric)i)->name);
        if (reason[i] || !uf_measure_has_sd((enum uf_metric)i) || length == 0)
            continue;
        if (a->reason[i])
            b->metric[i].nulls++;
        else
            put(&b->metric[i], a->value[i] - value[i], a->sd[i]);
    }
    free(value);
    free(reason);
    uf_analysis_free(a);
    memset(c->inputs, 0, c->samples); /* the same without its strike sensor */
    if (uf_analyse_given(c, &j->wrong_rig, &j->wrong, &j->config.analysis, &j->given, &a, &err))
        give_up(err.text);
    take_events(b->blind, a, t, start_s);
    uf_analysis_free(a);
    uf_capture_free(c);
}

/* ---- feet ---- */

/* As the daemon does it: the chain notices the rocking, its raw counts give the feet. */
static void find_feet(struct played *j, struct uf_capture *c, enum uf_hand hand)
{
    const struct uf_sim_truth *t = NULL;
    for (size_t i = 0; i < uf_sim_truths(j->sim); i++)
        if (uf_sim_truth(j->sim, i)->act == UF_SIM_ROCK)
            t = uf_sim_truth(j->sim, i);
    if (!t)
        give_up("feet where nobody rocked");
    const struct uf_foot_person who = {t->foot_length_mm * (1 + j->anatomy.length_part),
                                       t->foot_width_mm, NAN};
    struct uf_feet feet;
    struct uf_error err;
    if (uf_rocking_find(c, &j->wrong_rig, &j->wrong, &who, hand, &feet, &err))
        give_up(err.text);
    uf_capture_free(c);
    j->b->rocked++;
    for (int foot = 0; foot < UF_FEET; foot++) {
        struct uf_foot_pose *pose = &j->given.foot[foot];
        enum uf_foot_state state = feet.state[foot];
        *pose = feet.pose[foot];
        j->b->foot_state[state]++;
        if (state != UF_FOOT_FOUND)
            continue;
        struct uf_foot_pose right = true_foot(j, t, foot);
        double rad = right.toe_out_deg * acos(-1) / 180, out = foot == UF_LEAD ? 1 : -1;
        double dt = pose->heel_target_mm - right.heel_target_mm;
        double df = pose->heel_forward_mm - right.heel_forward_mm;
        put(&j->b->axis, pose->toe_out_deg - right.toe_out_deg, pose->axis_u_deg);
        put(&j->b->end, dt * out * sin(rad) + df * cos(rad),
            hypot(pose->end_u_mm, j->b->how.draws ? PLATE_U_MM : 0));
    }
}

/* ---- a golfer ---- */

/* Makes d so that matrix * d = w, the smallest one: d = C^T (C C^T)^-1 w. */
static void counts_of(const struct uf_plate_matrix *m, const double *w, double *d)
{
    double g[UF_COMPONENTS][UF_COMPONENTS + 1];
    for (int i = 0; i < UF_COMPONENTS; i++) {
        g[i][UF_COMPONENTS] = w[i];
        for (int k = 0; k < UF_COMPONENTS; k++) {
            g[i][k] = 0;
            for (int c = 0; c < UF_CHANNELS_MAX; c++)
                g[i][k] += m->c[i][c] * m->c[k][c];
        }
    }
    for (int i = 0; i < UF_COMPONENTS; i++) {
        int best = i;
        for (int k = i + 1; k < UF_COMPONENTS; k++)
            if (fabs(g[k][i]) > fabs(g[best][i]))
                best = k;
        for (int k = 0; k <= UF_COMPONENTS; k++) {
            double x = g[i][k];
            g[i][k] = g[best][k];
            g[best][k] = x;
        }
        for (int k = 0; k < UF_COMPONENTS; k++) {
            if (k == i)
                continue;
            double f = g[k][i] / g[i][i];
            for (int q = i; q <= UF_COMPONENTS; q++)
                g[k][q] -= f * g[i][q];
        }
    }
    for (int c = 0; c < UF_CHANNELS_MAX; c++)
        for (int i = 0; i < UF_COMPONENTS; i++)
            d[c] += m->c[i][c] * g[i][UF_COMPONENTS] / g[i][i];
}

/* The rig as it is believed to be: wrong by a draw of what is assumed. tare_raw: added to zeros. */
static void draw_wrong(struct played *j, const struct uf_calibration *right, struct uf_sim_rng *rng,
                       double *tare_raw)
{
    struct uf_system_u u;
    uf_system_u_defaults(right, &u);
    j->wrong = *right;
    j->wrong_rig = j->config.rig;
    memset(tare_raw, 0, sizeof(double) * UF_CHANNELS_MAX);
    double part = j->b->how.draws ? 1 : 0;
    for (int p = 0; p < 2; p++) {
        const struct uf_plate_u *pu = &u.plate[p];
        struct uf_plate *plate = &j->wrong_rig.plate[p];
        double zero[UF_COMPONENTS];
        for (int r = 0; r < UF_COMPONENTS; r++) {
            for (int k = 0; k < UF_COMPONENTS; k++) {
                double e = part * uf_sim_rng_normal(rng, 0, 1) * pu->error[r][k];
                for (int c = 0; c < UF_CHANNELS_MAX; c++)
                    j->wrong.plate[p].c[r][c] += e * right->plate[p].c[k][c];
            }
            zero[r] = part * uf_sim_rng_normal(rng, 0, 1) * pu->zero[r];
        }
        if (p == 0)
            zero[UF_FZ] += j->b->how.drift_n;
        counts_of(&right->plate[p], zero, tare_raw);
        double draw[4];
        for (int i = 0; i < 4; i++)
            draw[i] = part * uf_sim_rng_normal(rng, 0, 1);
        plate->centre_x_mm += draw[0] * pu->x_mm + (p == 0 ? j->b->how.place_mm : 0);
        plate->centre_y_mm += draw[1] * pu->y_mm;
        plate->rotation_deg += draw[2] * pu->rotation_deg;
        plate->surface_mm += draw[3] * pu->surface_mm;
    }
    j->anatomy.length_part = part * uf_sim_rng_normal(rng, 0, 1) * UF_FOOT_U_LENGTH;
    for (int foot = 0; foot < UF_FEET; foot++) {
        j->anatomy.middle_part[foot] = part * uf_sim_rng_normal(rng, 0, 1) * UF_FOOT_U_MIDDLE;
        j->anatomy.axis_deg[foot] = part * uf_sim_rng_normal(rng, 0, 1) * UF_FOOT_U_AXIS_DEG;
    }
}

static void play(struct played *j, const uint8_t *bytes, size_t n, const double *tare_raw)
{
    const struct uf_config *config = &j->config;
    struct uf_pipeline *p;
    struct uf_pipeline_event e;
    struct uf_error err;
    if (uf_pipeline_new(&p, &config->pipeline, &config->rig, &j->wrong, NULL, &err))
        give_up(err.text);
    bool over = false;
    for (size_t at = 0; !over;) {
        if (at < n)
            at += uf_pipeline_feed(p, bytes + at, n - at, &e, &err);
        else {
            uf_pipeline_finish(p, &e, &err);
            over = e.kind == UF_PIPE_NONE;
        }
        if (e.kind == UF_PIPE_SWING || e.kind == UF_PIPE_ROCKING)
            for (int c = 0; c < UF_CHANNELS_MAX; c++)
                e.capture->tare_raw[c] -= tare_raw[c];
        if (e.kind == UF_PIPE_SWING)
            take(j, e.capture);
        else if (e.kind == UF_PIPE_ROCKING)
            find_feet(j, e.capture, config->pipeline.hand);
        else if (e.kind == UF_PIPE_ERROR)
            give_up(err.text);
    }
    uf_pipeline_free(p);
}

static void golfer(struct bench *b, int number, int swings)
{
    static struct played j; /* large */
    struct uf_sim_step steps[STEPS_MAX];
    size_t n = 0;
    steps[n++] = (struct uf_sim_step){UF_SIM_EMPTY, 4};
    steps[n++] = (struct uf_sim_step){UF_SIM_WALK_ON, 0};
    steps[n++] = (struct uf_sim_step){UF_SIM_STAND, 1.5};
    steps[n++] = (struct uf_sim_step){UF_SIM_ROCK, 7};
    for (int i = 0; i < swings && n + 3 < STEPS_MAX; i++) {
        steps[n++] = (struct uf_sim_step){UF_SIM_ADDRESS, 0};
        bool ball = (number + i) % 4 != 3;
        steps[n++] = (struct uf_sim_step){ball ? UF_SIM_BALL : UF_SIM_NO_BALL, 0};
        steps[n++] = (struct uf_sim_step){UF_SIM_STAND, 0};
    }
    struct uf_sim_settings s;
    uf_sim_defaults(&s);
    uf_sim_golfer_random(&s.golfer, b->first_golfer + (uint64_t)number);
    uf_config_defaults(&j.config);
    uf_given_nothing(&j.given);
    s.rig = j.config.rig;
    s.rate_hz = b->how.rate_hz;
    s.seed = s.golfer.seed;
    j.b = b;
    b->expected += (size_t)swings;
    struct uf_error err;
    if (uf_sim_new(&j.sim, &s, steps, n, &err))
        give_up(err.text);
    struct uf_hello hello;
    uf_sim_hello(j.sim, &hello);
    struct uf_enc_hello h = {.channels = hello.channels,
                             .adc_bits = hello.adc_bits,
                             .rate_hz = hello.rate_hz,
                             .firmware = hello.firmware};
    memcpy(h.board_id, hello.board_id, sizeof h.board_id);
    size_t room = 0, bytes_n = 0, samples_room = 0;
    uint8_t *bytes = NULL;
    struct uf_sim_rng rng;
    uf_sim_rng_seed(&rng, s.seed ^ 0x7EACu);
    j.truth = NULL;
    j.samples = 0;
    struct uf_sim_sample sample;
    while (uf_sim_next(j.sim, &sample)) {
        if (j.samples == samples_room) {
            samples_room = samples_room ? 2 * samples_room : 1u << 15;
            j.truth = realloc(j.truth, samples_room * sizeof *j.truth);
        }
        if (room - bytes_n < 1024) {
            room = room ? 2 * room : 1u << 20;
            bytes = realloc(bytes, room);
        }
        if (!bytes || !j.truth)
            give_up("no memory");
        j.truth[j.samples] = sample;
        if (j.samples++ % hello.rate_hz == 0)
            bytes_n += uf_enc_hello(bytes + bytes_n, room - bytes_n, &h);
        struct uf_enc_sample e = {.seq = sample.seq,
                                  .t_us = sample.t_us,
                                  .inputs = sample.inputs,
                                  .status = sample.status,
                                  .channels = hello.channels,
                                  .counts = sample.counts_raw};
        if (uf_sim_rng_uniform(&rng, 0, 1) >= b->how.lost)
            bytes_n += uf_enc_sample(bytes + bytes_n, room - bytes_n, &e);
    }
    struct uf_calibration right;
    uf_sim_true_calibration(j.sim, &right);
    right.nominal = false;
    double tare_raw[UF_CHANNELS_MAX];
    draw_wrong(&j, &right, &rng, tare_raw);
    j.config.pipeline.hand = s.golfer.hand;
    play(&j, bytes, bytes_n, tare_raw);
    uf_sim_free(j.sim);
    free(bytes);
    free(j.truth);
}

/* ---- tables ---- */

static int by_size(const void *a, const void *b)
{
    double x = fabs(*(const double *)a), y = fabs(*(const double *)b);
    return (x > y) - (x < y);
}

struct summary {
    double bias, sd, p95, most, u, coverage_pct;
};

static struct summary summary_of(struct number *x)
{
    struct summary s = {NAN, NAN, NAN, NAN, NAN, NAN};
    if (x->n < 2)
        return s;
    double n = (double)x->n, sum = 0, square = 0;
    for (size_t i = 0; i < x->n; i++)
        sum += x->error[i];
    s.bias = sum / n;
    for (size_t i = 0; i < x->n; i++)
        square += (x->error[i] - s.bias) * (x->error[i] - s.bias);
    s.sd = sqrt(square / (n - 1));
    qsort(x->error, x->n, sizeof x->error[0], by_size);
    s.p95 = fabs(x->error[(size_t)(0.95 * n)]);
    s.most = fabs(x->error[x->n - 1]);
    s.u = x->u_sum / n;
    s.coverage_pct = 100 * (double)x->inside / n;
    return s;
}

static void print_row(const char *name, const char *unit, struct number *x)
{
    struct summary s = summary_of(x);
    printf("%-44s %-6s %6zu %5zu %9.3f %9.3f %9.3f %9.3f %9.3f %7.1f\n", name, unit, x->n, x->nulls,
           s.bias, s.sd, s.u, s.p95, s.most, s.coverage_pct);
}

static struct bench *run(const struct shortcoming *how, int golfers, int swings, uint64_t first)
{
    struct bench *b = calloc(1, sizeof *b);
    if (!b)
        give_up("no memory");
    b->how = *how;
    b->first_golfer = first;
    for (int g = 0; g < golfers; g++)
        golfer(b, g, swings);
    return b;
}

static bool covers(struct number *x)
{
    double cover = summary_of(x).coverage_pct;
    return x->n > 100 && cover >= 92 && cover <= 98;
}

static void print_all(struct bench *b, int golfers)
{
    printf(
        "%d simulated golfers, %zu of %zu swings found, 1000 samples a second; calibration, zero "
        "and mounting wrong by a draw for each golfer\n\n",
        golfers, b->swings, b->expected);
    printf("%-44s %-6s %6s %5s %9s %9s %9s %9s %9s %7s\n", "number", "unit", "n", "NULL", "bias",
           "SD", "stated u", "95 %", "greatest", "cover %");
    size_t good = 0, judged = 0;
    for (int i = 0; i < UF_METRICS; i++) {
        const struct uf_metric_row *row = uf_metric_row((enum uf_metric)i);
        if (b->metric[i].n + b->metric[i].nulls == 0)
            continue;
        print_row(row->name, row->unit, &b->metric[i]);
        judged += b->metric[i].n > 100;
        good += covers(&b->metric[i]);
    }
    printf("\ncoverage of the 95 %% interval is 92..98 %% for %zu of %zu numbers; not for\n", good,
           judged);
    for (int i = 0; i < UF_METRICS; i++) {
        const struct uf_metric_row *row = uf_metric_row((enum uf_metric)i);
        if (b->metric[i].n > 100 && !covers(&b->metric[i]))
            print_row(row->name, row->unit, &b->metric[i]);
    }
    printf("\n");
    for (int i = 0; i < UF_EVENT_END; i++)
        print_row(uf_event_name((enum uf_event_kind)i), "ms", &b->event[i]);
    printf("\nwithout a strike sensor\n");
    for (int i = 0; i < UF_EVENT_END; i++)
        print_row(uf_event_name((enum uf_event_kind)i), "ms", &b->blind[i]);
    printf("\npeak times against the very top of the exact curve\n");
    for (size_t k = 0; k < PEAKS; k++)
        print_row(peaks[k].name, "ms", &b->top[k]);
    printf("\nfeet from 7 s of rocking, noticed with %zu of %d golfers:", b->rocked, golfers);
    for (int i = 0; i < UF_FOOT_STATES; i++)
        printf(" %zu %s%s", b->foot_state[i], uf_foot_state_name((enum uf_foot_state)i),
               i + 1 < UF_FOOT_STATES ? "," : "\n");
    print_row("foot axis", "deg", &b->axis);
    print_row("heel end", "mm", &b->end);
    printf("\n%.0f microseconds a swing for all numbers and their uncertainties\n",
           1e6 * b->analyse_s / (double)b->swings);
}

static void print_shortcomings(int golfers, int swings)
{
    static const struct shortcoming how[] = {
        {"1000 Hz", 1000, 0, 0, 0, false},     {"500 Hz", 500, 0, 0, 0, false},
        {"250 Hz", 250, 0, 0, 0, false},       {"100 Hz", 100, 0, 0, 0, false},
        {"1 % lost", 1000, 0.01, 0, 0, false}, {"5 N drift", 1000, 0, 5, 0, false},
        {"10 mm off", 1000, 0, 0, 10, false}};
    enum { HOW = sizeof how / sizeof how[0] };
    static const char *const shown[] = {"trail_share_max_pct",
                                        "trail_share_top_pct",
                                        "trail_share_impact_pct",
                                        "total_vertical_peak_bw",
                                        "lead_vertical_peak_bw",
                                        "lead_vertical_peak_to_impact_ms",
                                        "lead_vertical_rise_bw_s",
                                        "target_peak_bw",
                                        "target_peak_to_impact_ms",
                                        "turn_peak_nm",
                                        "turn_peak_to_impact_ms",
                                        "turn_impulse_downswing_nms",
                                        "couple_lag_ms",
                                        "couple_overlap",
                                        "vertical_impulse_ns",
                                        "net_cop_travel_mm",
                                        "net_cop_speed_max_mm_s",
                                        "lead_cop_toe_at_lead_vertical_peak_mm",
                                        "lead_cop_along_at_lead_vertical_peak_pct",
                                        "cop_line_at_lead_vertical_peak_deg"};
    struct bench *b[HOW];
    for (int i = 0; i < HOW; i++)
        b[i] = run(&how[i], golfers, swings, JUDGED_FROM);
    printf(
        "%d simulated golfers, %d swings each; root mean square error (NULL of so many)\n\n%-44s",
        golfers, swings, "number");
    for (int i = 0; i < HOW; i++)
        printf(" %16s", how[i].name);
    printf("\n%-44s", "swings found");
    for (int i = 0; i < HOW; i++)
        printf(" %16zu", b[i]->swings);
    for (size_t k = 0; k < sizeof shown / sizeof shown[0]; k++) {
        printf("\n%-44s", shown[k]);
        int m = uf_metric_find(shown[k]);
        if (m < 0)
            give_up(shown[k]);
        for (int i = 0; i < HOW; i++) {
            struct summary s = summary_of(&b[i]->metric[m]);
            printf(" %10.3f (%3zu)", hypot(s.bias, s.sd), b[i]->metric[m].nulls);
        }
    }
    printf("\n");
    for (int i = 0; i < HOW; i++)
        free(b[i]);
}

int main(int argc, char **argv)
{
    const char *what = argc > 1 ? argv[1] : "all";
    int golfers = argc > 2 ? atoi(argv[2]) : strcmp(what, "all") == 0 ? 1000 : 40;
    int swings = argc > 3 ? atoi(argv[3]) : strcmp(what, "all") == 0 ? 1 : 2;
    uint64_t first = argc > 4 ? (uint64_t)atoll(argv[4]) : JUDGED_FROM;
    if (strcmp(what, "all") == 0) {
        const struct shortcoming usual = {"usual", 1000, 0, 0, 0, true};
        struct bench *b = run(&usual, golfers, swings, first);
        print_all(b, golfers);
        free(b);
    } else if (strcmp(what, "shortcomings") == 0) {
        print_shortcomings(golfers, swings);
    } else
        give_up("all or shortcomings");
    return 0;
}

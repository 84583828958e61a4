/* SPDX-License-Identifier: MIT
 * Propagation of uncertainty by changing one thing at a time: see uncertainty.h, propagate.h. Pure.
 */
#include "swing/uncertainty.h"

#include "swing/propagate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DEG          (3.14159265358979323846 / 180)
#define ASIDE_U_MM   2.0 /* a path that wobbles about the long axis, as simulated golfers show it */
#define CHANCE_LEAST 1e-5 /* a rival extreme with less is none */
#define BESIDE_S     0.25 /* of the search range: lobes end, and moments lie, a little outside it */

void uf_system_u_defaults(const struct uf_calibration *cal, struct uf_system_u *out)
{
    memset(out, 0, sizeof *out);
    double worse = cal->nominal ? 3 : 1;
    for (int p = 0; p < UF_PLATES_MAX; p++) {
        struct uf_plate_u *u = &out->plate[p];
        if (cal->error[p].patterns > 0)
            u->matrix = &cal->error[p];
        u->error[UF_FX][UF_FX] = u->error[UF_FY][UF_FY] = u->error[UF_MZ][UF_MZ] = 0.010 * worse;
        u->error[UF_FZ][UF_FZ] = 0.003 * worse;
        u->error[UF_FX][UF_FZ] = u->error[UF_FY][UF_FZ] = 0.003 * worse;
        u->error[UF_MX][UF_FZ] = u->error[UF_MY][UF_FZ] = 0.001 * worse;
        for (int k = UF_FX; k <= UF_FZ; k++)
            u->zero[k] = 0.5;
        for (int k = UF_MX; k <= UF_MZ; k++)
            u->zero[k] = 0.05;
        u->x_mm = u->y_mm = u->surface_mm = 1;
        u->rotation_deg = 0.2;
    }
}

/* xorshift64*, and the sum of twelve numbers of 16 bits: normal enough for a spread, and the same
 * on every machine. */
void uf_noise_fill(double *noise, size_t n)
{
    uint64_t x = 0x9E3779B97F4A7C15u;
    for (size_t i = 0; i < n; i++) {
        uint32_t sum = 0;
        for (int k = 0; k < 3; k++) {
            x ^= x >> 12;
            x ^= x << 25;
            x ^= x >> 27;
            uint64_t four = x * 0x2545F4914F6CDD1Du;
            sum += (uint32_t)((four & 0xFFFF) + (four >> 16 & 0xFFFF) + (four >> 32 & 0xFFFF) +
                              (four >> 48));
        }
        noise[i] = (double)sum * 0x1p-16 - 6;
    }
}

/* ---- one change ---- */

struct work {
    const struct uf_propagation *p;
    struct uf_curves curves;
    size_t from, to; /* the points that numbers rest on */
    struct uf_measure measure;
    bool wanted[UF_METRICS]; /* there is a value, and it has an uncertainty */
    double value[UF_METRICS];
    enum uf_reason reason[UF_METRICS];
    double variance[UF_METRICS];
    double margin_variance[UF_CURVE_KINDS][UF_EXTREMES]; /* of an extreme above its rival */
};

/* part: of the squared difference. A number that the change makes unmeasurable says nothing. */
static void add_difference(struct work *w, double part)
{
    for (int i = 0; i < UF_METRICS; i++) {
        double d = w->value[i] - w->p->value[i];
        if (w->wanted[i] && !w->reason[i])
            w->variance[i] += part * d * d;
    }
}

/* The measure as it was, with nothing found yet. */
static struct uf_measure *again(struct work *w)
{
    w->measure = *w->p->measure;
    uf_measure_forget(&w->measure);
    w->measure.near = w->p->measure->found;
    w->measure.wanted = w->wanted;
    return &w->measure;
}

/* How much a change moves each extreme against its rival. */
static void follow_margins(struct work *w, double part)
{
    const struct uf_measure *before = w->p->measure;
    for (int curve = 0; curve < UF_CURVE_KINDS; curve++) {
        const double *y = uf_array_of(before, curve), *changed = uf_array_of(&w->measure, curve);
        for (int extreme = 0; extreme < UF_EXTREMES; extreme++) {
            const struct uf_found *f = &before->found[curve][extreme];
            if (!f->done || f->reason || f->rival == f->index)
                continue;
            double d = changed[f->index] - changed[f->rival] - (y[f->index] - y[f->rival]);
            w->margin_variance[curve][extreme] += part * d * d;
        }
    }
}

/* The curves as they are, before and after each change. */
static void restore(struct work *w, int foot)
{
    for (int k = 0; k < UF_FEET; k++)
        if (foot == UF_FEET || foot == k)
            uf_curves_copy_foot(&w->curves, w->p->measure->curves, k, w->from, w->to);
}

/* foot: under which something changed; UF_FEET: under both. feet: moved with their plates, or NULL.
 * part: as add_difference. */
static void measure_changed(struct work *w, const struct uf_scene *scene,
                            const struct uf_nudge *nudge, int foot, const struct uf_foot_pose *feet,
                            double part)
{
    struct uf_quiet quiet;
    if (scene->rig.plates == 2 && foot < UF_FEET) {
        uf_curves_foot(&w->curves, scene, nudge, foot, w->from, w->to);
        uf_curves_both(&w->curves, scene, w->from, w->to);
    } else
        uf_curves_fill(&w->curves, scene, nudge, w->from, w->to);
    uf_quiet_of(scene, nudge, &quiet);
    struct uf_measure *m = again(w);
    m->curves = &w->curves;
    if (feet)
        m->foot = feet;
    w->curves.weight_n = m->weight_n = quiet.weight_n;
    memcpy(m->quiet_n, quiet.vertical_n, sizeof m->quiet_n);
    uf_measure_all(m, w->value, w->reason);
    add_difference(w, part);
    follow_margins(w, part);
    restore(w, foot);
}

/* What moves a foot's COP at any load moved it while it rocked, too: the foot goes along. Columns
 * other than the vertical force have next to no part in rocking. */
static void shift_foot(struct uf_foot_pose *pose, int row, int column, double error)
{
    if (column == UF_FZ && row == UF_MX)
        pose->heel_forward_mm += 1000 * error;
    if (column == UF_FZ && row == UF_MY)
        pose->heel_target_mm -= 1000 * error;
}

static void of_calibration(struct work *w, const struct uf_plate_u *u, int foot)
{
    enum uf_hand hand = w->p->scene->hand;
    struct uf_nudge nudge = {.foot = foot};
    /* of the plate as it lies there: nothing of it turns round with the golfer */
    for (int i = 0; u->matrix && i < u->matrix->patterns; i++) {
        struct uf_foot_pose feet[UF_FEET];
        memcpy(feet, w->p->measure->foot, sizeof feet);
        nudge.error = u->matrix->pattern[i];
        for (int row = UF_MX; row <= UF_MY; row++)
            shift_foot(&feet[foot], row, UF_FZ,
                       nudge.error[row][UF_FZ] * uf_mirror_sign(hand, row) *
                           uf_mirror_sign(hand, UF_FZ));
        measure_changed(w, w->p->scene, &nudge, foot, feet, 1);
    }
    nudge.error = NULL;
    for (int row = 0; row < UF_COMPONENTS; row++) {
        for (int column = 0; !u->matrix && column < UF_COMPONENTS; column++) {
            if (!(u->error[row][column] > 0))
                continue;
            struct uf_foot_pose feet[UF_FEET];
            memcpy(feet, w->p->measure->foot, sizeof feet);
            shift_foot(&feet[foot], row, column, u->error[row][column]);
            nudge.row = row;
            nudge.column = column;
            nudge.gain =
                u->error[row][column] * uf_mirror_sign(hand, row) * uf_mirror_sign(hand, column);
            nudge.add = 0;
            measure_changed(w, w->p->scene, &nudge, foot, feet, 1);
        }
        nudge.row = nudge.column = row;
        nudge.gain = 0;
        nudge.add = u->zero[row] * uf_mirror_sign(hand, row);
        if (u->zero[row] > 0)
            measure_changed(w, w->p->scene, &nudge, foot, NULL, 1);
    }
}

/* The foot that rocking found on a plate lies where the plate lies: by how much the plate (golfer
 * frame, about its centre) is elsewhere and turned. */
static void carry_foot(struct uf_foot_pose *pose, int foot, const struct uf_plate *plate, double s,
                       double target_mm, double forward_mm, double turn_deg)
{
    double turn = turn_deg * DEG, out = foot == UF_LEAD ? 1 : -1;
    double t = pose->heel_target_mm - s * plate->centre_x_mm;
    double f = pose->heel_forward_mm - plate->centre_y_mm;
    pose->heel_target_mm += target_mm - turn * f;
    pose->heel_forward_mm += forward_mm + turn * t;
    pose->toe_out_deg -= out * turn_deg;
}

static void of_mounting(struct work *w, const struct uf_plate_u *u, int plate, int foot)
{
    double s = uf_mirror_sign(w->p->scene->hand, UF_FX);
    struct uf_scene changed = *w->p->scene;
    struct uf_plate *p = &changed.rig.plate[plate];
    const struct uf_plate as_it_is = *p;
    const struct {
        double *what, by;
        double target_mm, forward_mm, turn_deg;
    } changes[] = {{&p->centre_x_mm, s * u->x_mm, u->x_mm, 0, 0},
                   {&p->centre_y_mm, u->y_mm, 0, u->y_mm, 0},
                   {&p->rotation_deg, s * u->rotation_deg, 0, 0, u->rotation_deg},
                   {&p->surface_mm, u->surface_mm, 0, 0, 0}};
    for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
        if (!(fabs(changes[i].by) > 0))
            continue;
        struct uf_foot_pose feet[UF_FEET];
        memcpy(feet, w->p->measure->foot, sizeof feet);
        carry_foot(&feet[foot], foot, &as_it_is, s, changes[i].target_mm, changes[i].forward_mm,
                   changes[i].turn_deg);
        *changes[i].what += changes[i].by;
        measure_changed(w, &changed, NULL, foot, feet, 1);
        *p = as_it_is;
    }
}

static void of_noise(struct work *w)
{
    struct uf_nudge nudge = {
        .foot = UF_FEET, .stride = UF_NOISE_STRIDE, .noise_sd = w->p->noise_sd};
    for (size_t r = 0; r < UF_NOISE_RECORDS; r++) {
        nudge.noise = w->p->noise + r * UF_FEET * UF_COMPONENTS * UF_NOISE_STRIDE;
        measure_changed(w, w->p->scene, &nudge, UF_FEET, NULL, 1.0 / UF_NOISE_RECORDS);
    }
}

static void of_low_pass(struct work *w)
{
    struct uf_scene changed = *w->p->scene;
    for (int p = 0; p < changed.rig.plates; p++)
        changed.grid[p] = w->p->softer[p];
    measure_changed(w, &changed, NULL, UF_FEET, NULL, 1);
}

/* Half the difference of both sides: the slope may change within the uncertainty. Estimates of one
 * swing rest on each other: when top or impact moves, so do the moments between them. */
static void of_moments(struct work *w)
{
    struct uf_event moved[UF_EVENTS];
    const struct uf_event *event = w->p->measure->event;
    for (int k = 0; k < UF_EVENT_FINISH; k++) {
        if (event[k].source == UF_SOURCE_NONE || !(event[k].u_s > 0))
            continue;
        double early[UF_METRICS];
        enum uf_reason no_early[UF_METRICS];
        for (int side = -1; side <= 1; side += 2) {
            memcpy(moved, event, sizeof moved);
            moved[k].t_s += side * event[k].u_s;
            again(w)->event = moved;
            uf_measure_all(&w->measure, w->value, w->reason);
            if (side < 0) {
                memcpy(early, w->value, sizeof early);
                memcpy(no_early, w->reason, sizeof no_early);
            }
        }
        for (int i = 0; i < UF_METRICS; i++) {
            double d = 0.5 * (w->value[i] - early[i]);
            if (w->wanted[i] && !w->reason[i] && !no_early[i])
                w->variance[i] += d * d;
        }
    }
}

/* The feet as rocking found them: along the axis, across it, and turned about the heel. */
static void of_feet(struct work *w)
{
    const struct uf_foot_pose *as_found = w->p->measure->foot;
    struct uf_foot_pose moved[UF_FEET];
    for (int foot = 0; foot < UF_FEET; foot++) {
        const struct uf_foot_pose *pose = &as_found[foot];
        if (!pose->known)
            continue;
        double out = foot == UF_LEAD ? 1 : -1, rad = pose->toe_out_deg * DEG;
        for (int what = 0; what < 3; what++) {
            memcpy(moved, as_found, sizeof moved);
            struct uf_foot_pose *m = &moved[foot];
            if (what == 0) {
                m->heel_target_mm += out * pose->end_u_mm * sin(rad);
                m->heel_forward_mm += pose->end_u_mm * cos(rad);
            } else if (what == 1) {
                m->heel_target_mm += out * ASIDE_U_MM * cos(rad);
                m->heel_forward_mm -= ASIDE_U_MM * sin(rad);
            } else
                m->toe_out_deg += pose->axis_u_deg;
            again(w)->foot = moved;
            uf_measure_all(&w->measure, w->value, w->reason);
            add_difference(w, 1);
        }
    }
}

/* Where another extreme of a curve is nearly as good, it may be the true one: with the chance that
 * the margin is within its own uncertainty, all that rests on the place is as far off as that. */
static void of_rivals(struct work *w)
{
    const struct uf_measure *before = w->p->measure;
    for (int curve = 0; curve < UF_CURVE_KINDS; curve++) {
        const double *y = uf_array_of(before, curve);
        for (int extreme = 0; extreme < UF_EXTREMES; extreme++) {
            const struct uf_found *f = &before->found[curve][extreme];
            if (!f->done || f->reason || f->rival == f->index)
                continue;
            double margin = fabs(y[f->index] - y[f->rival]);
            double chance = 0.5 * erfc(margin / sqrt(2 * w->margin_variance[curve][extreme]));
            if (!(chance > CHANCE_LEAST))
                continue;
            uf_found_at(again(w), curve, extreme, f->rival);
            uf_measure_all(&w->measure, w->value, w->reason);
            add_difference(w, chance);
        }
    }
}

int uf_propagate(const struct uf_propagation *p, double *sd, struct uf_error *err)
{
    struct work *w = calloc(1, sizeof *w);
    if (!w)
        return uf_fail(err, UF_ENOMEM, "no memory for the uncertainties of a swing");
    w->p = p;
    int rc = uf_curves_new(&w->curves, p->scene->n, p->scene->rate_hz, err);
    if (rc == 0) {
        size_t beside = (size_t)(BESIDE_S * p->scene->rate_hz);
        w->from = p->measure->from > beside ? p->measure->from - beside : 0;
        w->to = p->measure->to + beside < p->scene->n ? p->measure->to + beside : p->scene->n;
        for (int i = 0; i < UF_METRICS; i++)
            w->wanted[i] = !p->reason[i] && uf_measure_has_sd((enum uf_metric)i);
        uf_curves_fill(&w->curves, p->scene, NULL, 0, p->scene->n);
        for (int foot = 0; foot < p->scene->rig.plates; foot++) {
            int plate = p->scene->rig.plates == 2 ? uf_plate_under(p->scene->hand, foot) : 0;
            of_calibration(w, &p->system->plate[plate], foot);
            of_mounting(w, &p->system->plate[plate], plate, foot);
        }
        of_noise(w);
        of_low_pass(w);
        of_moments(w);
        of_feet(w);
        of_rivals(w);
        for (int i = 0; i < UF_METRICS; i++)
            sd[i] = w->wanted[i] ? sqrt(w->variance[i]) : NAN;
    }
    uf_curves_free(&w->curves);
    free(w);
    return rc;
}

/* Judgement, by unit: about the size of a change that a teacher would talk about. */
double uf_useful_sd(enum uf_metric m)
{
    static const struct {
        const char *unit;
        double sd;
    } useful[] = {{"BW", 0.05},  {"N", 50},      {"pct", 10},  {"ms", 40},   {"s", 0.05},
                  {"mm", 15},    {"N m", 10},    {"N s", 15},  {"N m s", 5}, {"deg", 5},
                  {"BW/s", 1.5}, {"N m/s", 300}, {"mm/s", 400}};
    const char *unit = uf_metric_row(m)->unit;
    for (size_t i = 0; i < sizeof useful / sizeof useful[0]; i++)
        if (strcmp(unit, useful[i].unit) == 0)
            return useful[i].sd;
    return INFINITY;
}

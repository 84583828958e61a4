/* SPDX-License-Identifier: MIT
 * Feet from rocking: see feet.h. The path of a COP that rocks from heel to toes is a line under the
 * long axis of the foot; its turning points lie at equal distances from the ends. Pure. */
#include "swing/feet.h"

#include <math.h>
#include <string.h>

#define PI 3.14159265358979323846

#define LEAST_S       4.0  /* shorter rocking is not judged */
#define LEAST_PART    0.9  /* of the points must have a COP */
#define LEAST_TRAVEL  0.30 /* of the foot's length, between mean turning points */
#define MOST_WIDE     0.30 /* spread across the line against spread along it */
#define MOST_WIDE_MM  12.0
#define PIECES        4    /* of the path, compared with each other */
#define SHUFFLE_MM    7.0  /* the pieces' lines lie further apart: the foot was moved sideways */
#define SHUFFLE_DEG   5.0  /* turned */
#define SHUFFLE_ALONG 0.10 /* of the length, between the halves' middles: moved to and fro */
#define OVER_MM       6.0  /* an outline that reaches further over an edge */
#define END_PART      0.3  /* .. and lies within so much of the range's end: no pause on the way */
#define TURN_PART     0.25 /* a turning point counts when the path comes back by so much of it */

/* Body proportions: foot length and breadth of 0.152 and 0.055 of the height (Drillis & Contini
 * 1966, as quoted in textbooks; MEM). */
#define LENGTH_OF_HEIGHT 0.152
#define WIDTH_OF_LENGTH  0.38
/* Rocked as far as it goes, a COP travels so much of the foot's length (common practice). */
#define TRAVEL_OF_LENGTH 0.75

/* 1 SD of a length that was not measured, as a part of the length. */
#define U_LENGTH 0.035
#define U_GUESS  0.12

static bool is_there(const double *first, const double *second, size_t i)
{
    return !isnan(first[i]) && !isnan(second[i]);
}

void uf_axis_fit(const double *first, const double *second, size_t n, struct uf_axis *out)
{
    *out = (struct uf_axis){0, {NAN, NAN}, NAN, NAN, NAN};
    double mean_1 = 0, mean_2 = 0;
    for (size_t i = 0; i < n; i++)
        if (is_there(first, second, i)) {
            out->n++;
            mean_1 += first[i];
            mean_2 += second[i];
        }
    if (out->n < 2)
        return;
    mean_1 /= (double)out->n;
    mean_2 /= (double)out->n;
    double s11 = 0, s12 = 0, s22 = 0;
    for (size_t i = 0; i < n; i++)
        if (is_there(first, second, i)) {
            double a = first[i] - mean_1, b = second[i] - mean_2;
            s11 += a * a;
            s12 += a * b;
            s22 += b * b;
        }
    /* eigenvalues of the symmetric 2 x 2 scatter */
    double middle = 0.5 * (s11 + s22), half = hypot(0.5 * (s11 - s22), s12);
    double less = middle - half;
    out->mean[0] = mean_1;
    out->mean[1] = mean_2;
    out->angle_deg = 0.5 * atan2(2 * s12, s11 - s22) * 180 / PI;
    out->along_sd = sqrt((middle + half) / (double)(out->n - 1));
    out->across_sd = less > 0 ? sqrt(less / (double)(out->n - 1)) : 0;
}

void uf_circular(const double *deg, size_t n, double period_deg, double *mean_deg, double *sd_deg)
{
    *mean_deg = *sd_deg = NAN;
    if (n == 0)
        return;
    double turn = 2 * PI / period_deg, c = 0, s = 0;
    for (size_t i = 0; i < n; i++) {
        c += cos(deg[i] * turn);
        s += sin(deg[i] * turn);
    }
    double r = hypot(c, s) / (double)n;
    *mean_deg = atan2(s, c) / turn;
    *sd_deg = r < 1 ? sqrt(-2 * log(r)) / turn : 0;
}

struct uf_foot_ground uf_foot_ground_of(const struct uf_plate *plate, enum uf_hand hand)
{
    struct uf_turn t = uf_turn_of(plate->rotation_deg);
    double s = hand == UF_RIGHT_HANDED ? -1 : 1;
    double a = 0.5 * plate->size_x_mm, b = 0.5 * plate->size_y_mm;
    double reach_x = fabs(t.cos) * a + fabs(t.sin) * b;
    double reach_y = fabs(t.sin) * a + fabs(t.cos) * b;
    double at = s * plate->centre_x_mm;
    return (struct uf_foot_ground){at - reach_x, at + reach_x, plate->centre_y_mm - reach_y,
                                   plate->centre_y_mm + reach_y};
}

/* ---- a path along its line ---- */

/* The line, pointed toe-ward: a unit vector and a point. */
struct line {
    double c, s; /* of the direction: target-ward and toe-ward */
    double at[2];
};

static struct line line_of(const struct uf_axis *axis)
{
    double rad = axis->angle_deg * PI / 180;
    struct line l = {cos(rad), sin(rad), {axis->mean[0], axis->mean[1]}};
    if (l.s < 0) {
        l.c = -l.c;
        l.s = -l.s;
    }
    return l;
}

static double along_of(const struct line *l, double target_mm, double forward_mm)
{
    return (target_mm - l->at[0]) * l->c + (forward_mm - l->at[1]) * l->s;
}

/* To the right of the line's direction. */
static double beside_of(const struct line *l, double target_mm, double forward_mm)
{
    return (target_mm - l->at[0]) * l->s - (forward_mm - l->at[1]) * l->c;
}

/* Mean turning points of the path along the line, heel side and toe side, between two indexes. A
 * turning point is an extreme from which the path comes back by a part of its whole range. */
struct turns {
    double heel_mm, toe_mm;       /* means */
    double heel_sd_mm, toe_sd_mm; /* NAN with fewer than two */
    int heels, toes;
};

struct tally {
    double sum, square;
    int n;
};

static void tally_add(struct tally *t, double x)
{
    t->sum += x;
    t->square += x * x;
    t->n++;
}

static double tally_sd(const struct tally *t)
{
    double mean = t->sum / t->n;
    return t->n < 2 ? NAN : sqrt(fmax(0, t->square - t->n * mean * mean) / (t->n - 1));
}

static struct turns turns_of(const struct uf_foot_path *p, const struct line *l, size_t from,
                             size_t to)
{
    double lo = INFINITY, hi = -INFINITY;
    for (size_t i = from; i < to; i++) {
        double a = along_of(l, p->target_mm[i], p->forward_mm[i]);
        lo = fmin(lo, a);
        hi = fmax(hi, a);
    }
    double back = TURN_PART * (hi - lo), least = INFINITY, most = -INFINITY;
    struct tally heel = {0}, toe = {0};
    int way = 0; /* +1 going toe-ward, -1 heel-ward, 0 not known yet */
    for (size_t i = from; i < to; i++) {
        double a = along_of(l, p->target_mm[i], p->forward_mm[i]);
        if (isnan(a))
            continue;
        least = fmin(least, a);
        most = fmax(most, a);
        if (way >= 0 && a < most - back) {
            if (way > 0 &&
                most > hi - END_PART * (hi - lo)) /* where it began is no turning point */
                tally_add(&toe, most);
            way = -1;
            least = a;
        } else if (way <= 0 && a > least + back) {
            if (way < 0 && least < lo + END_PART * (hi - lo))
                tally_add(&heel, least);
            way = 1;
            most = a;
        }
    }
    return (struct turns){heel.n ? heel.sum / heel.n : NAN,
                          toe.n ? toe.sum / toe.n : NAN,
                          tally_sd(&heel),
                          tally_sd(&toe),
                          heel.n,
                          toe.n};
}

/* ---- finding ---- */

static double line_between_deg(double a, double b)
{
    double d = fabs(a - b);
    return d > 90 ? 180 - d : d;
}

/* The foot was elsewhere for a part of the time: the pieces of its path lie on different lines, or
 * on different stretches of the same one. */
static bool was_shuffled(const struct uf_foot_path *p, const struct line *l, double length_mm,
                         double *beside_range_mm)
{
    double lo = INFINITY, hi = -INFINITY;
    for (size_t k = 0; k < PIECES; k++) {
        double sum = 0, n = 0;
        for (size_t i = k * p->n / PIECES; i < (k + 1) * p->n / PIECES; i++) {
            double b = beside_of(l, p->target_mm[i], p->forward_mm[i]);
            if (isnan(b))
                continue;
            sum += b;
            n++;
        }
        if (n < 1)
            continue;
        lo = fmin(lo, sum / n);
        hi = fmax(hi, sum / n);
    }
    *beside_range_mm = hi - lo;
    if (hi - lo > SHUFFLE_MM)
        return true;
    size_t half = p->n / 2;
    struct uf_axis first, second;
    uf_axis_fit(p->target_mm, p->forward_mm, half, &first);
    uf_axis_fit(p->target_mm + half, p->forward_mm + half, p->n - half, &second);
    if (line_between_deg(first.angle_deg, second.angle_deg) > SHUFFLE_DEG)
        return true;
    struct turns a = turns_of(p, l, 0, half), b = turns_of(p, l, half, p->n);
    double apart = 0.5 * (a.heel_mm + a.toe_mm) - 0.5 * (b.heel_mm + b.toe_mm);
    return fabs(apart) > SHUFFLE_ALONG * length_mm;
}

static void lengths_of(const struct uf_foot_person *who, double travel_mm, struct uf_foot_pose *out,
                       double *length_u_mm)
{
    if (who->foot_length_mm > 0) {
        out->length_mm = who->foot_length_mm;
        *length_u_mm = UF_FOOT_U_LENGTH * out->length_mm;
        out->length_from = UF_LENGTH_GIVEN;
    } else if (who->height_m > 0) {
        out->length_mm = 1000 * LENGTH_OF_HEIGHT * who->height_m;
        *length_u_mm = U_LENGTH * out->length_mm;
        out->length_from = UF_LENGTH_OF_HEIGHT;
    } else {
        out->length_mm = travel_mm / TRAVEL_OF_LENGTH;
        *length_u_mm = U_GUESS * out->length_mm;
        out->length_from = UF_LENGTH_OF_TRAVEL;
    }
    out->width_mm = who->foot_width_mm > 0 ? who->foot_width_mm : WIDTH_OF_LENGTH * out->length_mm;
}

static double outward_sign(enum uf_foot foot)
{
    return foot == UF_LEAD ? 1 : -1;
}

/* The outline as a box around the long axis, against the edges of the plate. */
static enum uf_foot_state on_its_plate(const struct uf_foot_pose *pose, enum uf_foot foot,
                                       const struct uf_foot_ground *g)
{
    double out = outward_sign(foot), rad = pose->toe_out_deg * PI / 180;
    double c = out * sin(rad), s = cos(rad); /* direction of the toes */
    double middle_t = pose->heel_target_mm + 0.5 * pose->length_mm * c;
    double middle_f = pose->heel_forward_mm + 0.5 * pose->length_mm * s;
    /* an ellipse: its reach along an axis of the plate */
    double reach_t = 0.5 * hypot(pose->length_mm * c, pose->width_mm * s);
    double reach_f = 0.5 * hypot(pose->length_mm * s, pose->width_mm * c);
    double inner = foot == UF_LEAD ? g->target_lo_mm - (middle_t - reach_t)
                                   : middle_t + reach_t - g->target_hi_mm;
    double outer = foot == UF_LEAD ? middle_t + reach_t - g->target_hi_mm
                                   : g->target_lo_mm - (middle_t - reach_t);
    double heel = g->forward_lo_mm - (middle_f - reach_f);
    double toes = middle_f + reach_f - g->forward_hi_mm;
    if (inner > OVER_MM)
        return UF_FOOT_ACROSS;
    return outer > OVER_MM || heel > OVER_MM || toes > OVER_MM ? UF_FOOT_OFF : UF_FOOT_FOUND;
}

enum uf_foot_state uf_foot_find(const struct uf_foot_path *path, enum uf_foot foot,
                                const struct uf_foot_person *who,
                                const struct uf_foot_ground *ground, struct uf_foot_pose *out)
{
    *out =
        (struct uf_foot_pose){false, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, UF_LENGTH_GIVEN};
    struct uf_axis axis;
    uf_axis_fit(path->target_mm, path->forward_mm, path->n, &axis);
    if ((double)path->n < LEAST_S * path->rate_hz || (double)axis.n < LEAST_PART * (double)path->n)
        return UF_FOOT_SHORT;
    struct line l = line_of(&axis);
    struct turns turns = turns_of(path, &l, 0, path->n);
    double travel_mm = turns.toe_mm - turns.heel_mm, length_u_mm;
    struct uf_foot_pose pose = *out;
    lengths_of(who, travel_mm, &pose, &length_u_mm);
    if (turns.heels < 2 || turns.toes < 2 || !(travel_mm > LEAST_TRAVEL * pose.length_mm) ||
        travel_mm < 40)
        return UF_FOOT_STILL;
    double beside_range_mm;
    if (was_shuffled(path, &l, pose.length_mm, &beside_range_mm))
        return UF_FOOT_SHUFFLED;
    /* a heel-toe line is much longer than wide, and points ahead more than aside */
    if (axis.across_sd > MOST_WIDE * axis.along_sd || axis.across_sd > MOST_WIDE_MM || l.s < 0.6)
        return UF_FOOT_CROOKED;

    double middle_mm = 0.5 * (turns.heel_mm + turns.toe_mm);
    double heel_mm = middle_mm - 0.5 * pose.length_mm;
    pose.heel_target_mm = l.at[0] + heel_mm * l.c;
    pose.heel_forward_mm = l.at[1] + heel_mm * l.s;
    pose.toe_out_deg = outward_sign(foot) * atan2(l.c, l.s) * 180 / PI;
    /* how far the pieces disagree, and what a line of that spread can hide */
    pose.axis_u_deg = hypot(UF_FOOT_U_AXIS_DEG, beside_range_mm / travel_mm / 2 * 180 / PI);
    double middle_u_mm =
        0.5 * hypot(turns.heel_sd_mm / sqrt(turns.heels), turns.toe_sd_mm / sqrt(turns.toes));
    pose.end_u_mm = hypot(hypot(middle_u_mm, UF_FOOT_U_MIDDLE * pose.length_mm), length_u_mm / 2);
    pose.known = true;
    uf_foot_place(&pose, foot, axis.mean[0], axis.mean[1], &pose.rest_along_pct,
                  &pose.rest_across_pct);
    enum uf_foot_state state = on_its_plate(&pose, foot, ground);
    if (state == UF_FOOT_FOUND)
        *out = pose;
    return state;
}

void uf_foot_place(const struct uf_foot_pose *pose, enum uf_foot foot, double target_mm,
                   double forward_mm, double *along_pct, double *across_pct)
{
    *along_pct = *across_pct = NAN;
    if (!pose->known)
        return;
    double out = outward_sign(foot), rad = pose->toe_out_deg * PI / 180;
    double c = out * sin(rad), s = cos(rad);
    double dt = target_mm - pose->heel_target_mm, df = forward_mm - pose->heel_forward_mm;
    *along_pct = 100 * (dt * c + df * s) / pose->length_mm;
    double outward_mm = out * (dt * s - df * c);
    *across_pct = 50 - 100 * outward_mm / pose->width_mm;
}

/* Borders in percent of the length: heel, midfoot and forefoot as in the usual masks of plantar
 * pressure work (thirds but for the short toes; common practice); of the width: thirds. */
enum uf_region uf_foot_region(double along_pct, double across_pct)
{
    if (!(along_pct >= -5 && along_pct <= 105 && across_pct >= -10 && across_pct <= 110))
        return UF_REGION_NONE;
    if (along_pct < 30)
        return UF_REGION_HEEL;
    if (along_pct < 58)
        return UF_REGION_ARCH;
    if (along_pct >= 82)
        return UF_REGION_TOES;
    return across_pct < 100.0 / 3   ? UF_REGION_BALL_OUTER
           : across_pct < 200.0 / 3 ? UF_REGION_BALL_MIDDLE
                                    : UF_REGION_BALL_INNER;
}

void uf_feet_stance(const struct uf_foot_pose pose[UF_FEET], struct uf_stance_shape *out)
{
    *out = (struct uf_stance_shape){NAN, NAN};
    if (!pose[UF_LEAD].known || !pose[UF_TRAIL].known)
        return;
    double middle_t[UF_FEET], toes_t[UF_FEET], toes_f[UF_FEET];
    for (int foot = 0; foot < UF_FEET; foot++) {
        const struct uf_foot_pose *p = &pose[foot];
        double rad = p->toe_out_deg * PI / 180;
        double aside = outward_sign((enum uf_foot)foot) * p->length_mm * sin(rad);
        middle_t[foot] = p->heel_target_mm + 0.5 * aside;
        toes_t[foot] = p->heel_target_mm + aside;
        toes_f[foot] = p->heel_forward_mm + p->length_mm * cos(rad);
    }
    out->width_mm = middle_t[UF_LEAD] - middle_t[UF_TRAIL];
    out->toe_line_deg =
        atan2(toes_f[UF_LEAD] - toes_f[UF_TRAIL], toes_t[UF_LEAD] - toes_t[UF_TRAIL]) * 180 / PI;
}

/* A quiet COP lies near the middle of the foot's width, and wanders more along it. */
bool uf_foot_moved(const struct uf_foot_pose *pose, enum uf_foot foot, double target_mm,
                   double forward_mm)
{
    double along_pct, across_pct;
    uf_foot_place(pose, foot, target_mm, forward_mm, &along_pct, &across_pct);
    if (isnan(along_pct) || isnan(across_pct))
        return false;
    return fabs(along_pct - pose->rest_along_pct) > 18 ||
           fabs(across_pct - pose->rest_across_pct) * pose->width_mm > 1200;
}

/* ---- names ---- */

static const struct {
    const char *name, *text;
} states[UF_FOOT_STATES] = {
    [UF_FOOT_FOUND] = {"found", "the foot is found"},
    [UF_FOOT_SHORT] = {"short", "too short: stand on both feet and rock from heels to toes for six "
                                "seconds"},
    [UF_FOOT_STILL] = {"still", "too little travel: rock further, from the heels to the toes and "
                                "back, at least twice"},
    [UF_FOOT_CROOKED] = {"crooked", "the path is no line: rock straight from the heels to the "
                                    "toes, without swaying to the side"},
    [UF_FOOT_SHUFFLED] = {"shuffled", "the foot moved on its plate while rocking: set the feet and "
                                      "rock again"},
    [UF_FOOT_ACROSS] = {"across", "the foot reaches over to the other plate: stand wider, one foot "
                                  "on each plate, and rock again"},
    [UF_FOOT_OFF] = {"off", "the foot reaches over the edge of its plate: stand with the whole "
                            "foot on it, and rock again"},
};

const char *uf_foot_state_name(enum uf_foot_state s)
{
    return states[s].name;
}

const char *uf_foot_state_text(enum uf_foot_state s)
{
    return states[s].text;
}

const char *uf_region_name(enum uf_region r)
{
    static const char *const names[UF_REGIONS] = {
        "", "heel", "arch", "ball, inner", "ball, middle", "ball, outer", "toes"};
    return names[r];
}

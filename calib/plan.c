/* SPDX-License-Identifier: MIT
 * Choice of placements: see plan.h. Pure. */
#include "calib/plan.h"

#include "calib/least_squares.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define N              UF_COMPONENTS
#define CANDIDATES_MAX 400
#define GRID           5 /* places each way .. */
#define GRID_FINE      7 /* .. of a plan of more than .. */
#define FINE_FROM      25
#define VERTICAL_N     400.0
#define HORIZONTAL_N   100.0
#define PRIOR          0.1 /* B against 1, before any load */
#define FLOOR_N        0.05
#define TESTS          13

void uf_plan_defaults(struct uf_plan_settings *s)
{
    *s = (struct uf_plan_settings){.most = 25,
                                   .pulley = true,
                                   .pull_height_mm = 20,
                                   .pull_most_kg = 15,
                                   .lie_most_kg = 60,
                                   .cog_height_mm = 60,
                                   .inner = 0.8,
                                   .place_tol_mm = 1,
                                   .height_tol_mm = 2,
                                   .towards_tol_deg = 0.5,
                                   .angle_tol_deg = 0.5,
                                   .reading_pct = 0.05};
}

/* A load as equations: scaled wrench, and variance of each of them. */
struct candidate {
    struct uf_load load;
    double w[N], var[N];
    bool taken;
};

struct planner {
    const struct uf_plate *plate;
    const struct uf_load_setup *setup;
    const struct uf_plan_settings *s;
    double length_m;
    int n;
    struct candidate candidate[CANDIDATES_MAX];
    double spread[N][N];  /* sum L L' of those taken, in units of the greatest load */
    double info[N][N][N]; /* of each row of B */
    double unit_n;
    int taken;
    double wrench[UF_PLAN_MAX][N]; /* not scaled */
};

/* ---- small dense algebra on 6 x 6 ---- */

/* a = l l'; false when it is not positive definite. */
static bool factor(double a[N][N], double l[N][N])
{
    memset(l, 0, N * N * sizeof(double));
    for (int i = 0; i < N; i++)
        for (int j = 0; j <= i; j++) {
            double sum = a[i][j];
            for (int k = 0; k < j; k++)
                sum -= l[i][k] * l[j][k];
            if (i == j && !(sum > 0))
                return false;
            l[i][j] = i == j ? sqrt(sum) : sum / l[j][j];
        }
    return true;
}

/* v' a^-1 v */
static double quadratic(double l[N][N], const double v[N])
{
    double y[N], sum = 0;
    memcpy(y, v, sizeof y);
    uf_lsq_forward(&l[0][0], N, y);
    for (int i = 0; i < N; i++)
        sum += y[i] * y[i];
    return sum;
}

static void add_outer(double a[N][N], const double v[N], double by)
{
    for (int i = 0; i < N; i++)
        for (int j = 0; j < N; j++)
            a[i][j] += by * v[i] * v[j];
}

/* ---- candidates ---- */

static void rate(const struct planner *p, const struct uf_load *load, struct candidate *c)
{
    struct uf_load_wrench w;
    uf_load_wrench_of(p->setup, p->plate, load, &w);
    memset(c, 0, sizeof *c);
    c->load = *load;
    double size = 0;
    for (int k = 0; k < N; k++) {
        double scale = k < UF_MX ? 1 : p->length_m;
        c->w[k] = w.w[k] / scale;
        size += c->w[k] * c->w[k];
        for (int e = 0; e < UF_OWN_ERRORS; e++)
            c->var[k] += w.own[e][k] * w.own[e][k] / (scale * scale);
        /* a weight's mass, as if it were new in each load; what else is shared: add_shared */
        for (int e = UF_SHARED_WEIGHT; e < UF_SHARED_ERRORS; e++)
            c->var[k] += w.shared[e][k] * w.shared[e][k] / (scale * scale);
    }
    double reading = p->s->reading_pct / 100 * sqrt(size);
    for (int k = 0; k < N; k++)
        c->var[k] += reading * reading / 4 + FLOOR_N * FLOOR_N;
}

static void offer(struct planner *p, const struct uf_load *load)
{
    if (p->n < CANDIDATES_MAX && uf_load_check(p->setup, p->plate, load, NULL) == UF_OK)
        rate(p, load, &p->candidate[p->n++]);
}

/* The heaviest pieces that together stay within most_kg (and the rated load). */
static void choose_pieces(const struct planner *p, double most_kg, struct uf_load *load)
{
    bool used[UF_WEIGHTS_MAX] = {false};
    double kg = 0, rated_kg = p->plate->rated_n > 0 ? p->plate->rated_n / 10 : INFINITY;
    load->pieces = 0;
    while (load->pieces < UF_PIECES_MAX) {
        int best = -1;
        for (int i = 0; i < p->setup->weights; i++)
            if (!used[i] && kg + p->setup->weight[i].mass_kg <= fmin(most_kg, rated_kg) &&
                (best < 0 || p->setup->weight[i].mass_kg > p->setup->weight[best].mass_kg))
                best = i;
        if (best < 0)
            return;
        used[best] = true;
        kg += p->setup->weight[best].mass_kg;
        load->piece[load->pieces++] = best;
    }
}

static void offer_all(struct planner *p, int plate_index)
{
    const struct uf_plan_settings *s = p->s;
    double half_x = s->inner * p->plate->size_x_mm / 2, half_y = s->inner * p->plate->size_y_mm / 2;
    struct uf_load base = {.plate = plate_index,
                           .place_tol_mm = s->place_tol_mm,
                           .height_tol_mm = s->height_tol_mm,
                           .towards_tol_deg = s->towards_tol_deg,
                           .angle_tol_deg = s->angle_tol_deg};
    struct uf_load lie = base, pull = base, tilt = base;
    choose_pieces(p, s->lie_most_kg, &lie);
    int grid = s->most > FINE_FROM ? GRID_FINE : GRID;
    for (int i = 0; i < grid * grid; i++) {
        lie.x_mm = round(half_x * (2.0 * (i % grid) / (grid - 1) - 1));
        lie.y_mm = round(half_y * (2.0 * (i / grid) / (grid - 1) - 1));
        offer(p, &lie);
        if (s->wedge_deg > 0)
            for (int d = 0; d < 4; d++) {
                tilt = lie;
                tilt.kind = UF_LOAD_TILT;
                tilt.angle_deg = s->wedge_deg;
                tilt.towards_deg = 90 * d;
                tilt.height_mm = s->cog_height_mm;
                offer(p, &tilt);
            }
    }
    if (!s->pulley)
        return;
    choose_pieces(p, s->pull_most_kg, &pull);
    pull.kind = UF_LOAD_PULL;
    pull.height_mm = s->pull_height_mm;
    for (int d = 0; d < 4; d++)
        for (int o = -1; o <= 1; o++) {
            pull.towards_deg = 90 * d;
            pull.x_mm = d % 2 ? round(o * half_x) : 0;
            pull.y_mm = d % 2 ? 0 : round(o * half_y);
            offer(p, &pull);
        }
}

/* ---- what is reached ---- */

struct reach {
    double cop2_mm2, vertical2_n2, horizontal2_n2, turn2_nm2;
};

static double row_variance(double l[N][N][N], int row, const double *w)
{
    return quadratic(l[row], w);
}

/* Variances of what a swing needs, by the factors of the information. */
static void reach_of(const struct planner *p, double l[N][N][N], struct reach *out)
{
    double half_x = p->s->inner * p->plate->size_x_mm / 2000;
    double half_y = p->s->inner * p->plate->size_y_mm / 2000;
    double h = p->plate->surface_mm / 1000, a = p->length_m;
    memset(out, 0, sizeof *out);
    for (int i = 0; i < 9; i++) {
        double x = half_x * (i % 3 - 1), y = half_y * (double)(i / 3 - 1);
        const double w[N] = {0, 0, VERTICAL_N, y * VERTICAL_N / a, -x * VERTICAL_N / a, 0};
        double fx = row_variance(l, UF_FX, w), fy = row_variance(l, UF_FY, w);
        double fz = row_variance(l, UF_FZ, w);
        double mx = a * a * row_variance(l, UF_MX, w), my = a * a * row_variance(l, UF_MY, w);
        out->vertical2_n2 += fz / 9;
        out->cop2_mm2 += (mx + my + h * h * (fx + fy) + (x * x + y * y) * fz) * 1e6 /
                         (VERTICAL_N * VERTICAL_N) / 9;
    }
    const double pull[4][N] = {
        {HORIZONTAL_N, 0, 0, 0, h * HORIZONTAL_N / a, -half_y * HORIZONTAL_N / a},
        {HORIZONTAL_N, 0, 0, 0, h * HORIZONTAL_N / a, half_y * HORIZONTAL_N / a},
        {0, HORIZONTAL_N, 0, -h * HORIZONTAL_N / a, 0, half_x * HORIZONTAL_N / a},
        {0, HORIZONTAL_N, 0, -h * HORIZONTAL_N / a, 0, -half_x * HORIZONTAL_N / a}};
    for (int i = 0; i < 4; i++) {
        double along = row_variance(l, i < 2 ? UF_FX : UF_FY, pull[i]);
        out->horizontal2_n2 = fmax(out->horizontal2_n2, along);
        out->turn2_nm2 += a * a * row_variance(l, UF_MZ, pull[i]) / 4;
    }
}

/* What no number of loads makes smaller, for it is wrong in each of them alike. */
static void add_shared(const struct planner *p, struct reach *r)
{
    const struct uf_load_setup *s = p->setup;
    double drawing_m = s->drawing_tol_mm / 1000 / sqrt(3);
    double turn = s->drawing_tol_deg * 3.14159265358979323846 / 180 / sqrt(3);
    double gravity = s->gravity.sd_m_s2 / s->gravity.g_m_s2;
    double pull = hypot(gravity, s->pulley_tol_pct / 100 / sqrt(3));
    double half_x = p->s->inner * p->plate->size_x_mm / 2000;
    double half_y = p->s->inner * p->plate->size_y_mm / 2000;
    double far2_m2 = (half_x * half_x + half_y * half_y) * 2 / 3; /* mean over the grid of 3 x 3 */
    double arm2_m2 = (half_x * half_x + half_y * half_y) / 2;
    r->vertical2_n2 += pow(VERTICAL_N * gravity, 2);
    r->cop2_mm2 += 1e6 * (2 * drawing_m * drawing_m + far2_m2 * turn * turn);
    r->horizontal2_n2 += pow(HORIZONTAL_N, 2) * (pull * pull + turn * turn);
    r->turn2_nm2 += pow(HORIZONTAL_N, 2) * (arm2_m2 * pull * pull + drawing_m * drawing_m);
}

/* One number to lower: each part in units of what is wanted of it. */
static double cost(const struct reach *r)
{
    return r->cop2_mm2 / 1 + r->vertical2_n2 / (0.5 * 0.5) + r->horizontal2_n2 / (0.5 * 0.5) +
           r->turn2_nm2 / (0.2 * 0.2);
}

static bool factor_rows(double info[N][N][N], double l[N][N][N])
{
    for (int k = 0; k < N; k++)
        if (!factor(info[k], l[k]))
            return false;
    return true;
}

static double cost_with(const struct planner *p, const struct candidate *c)
{
    double info[N][N][N], l[N][N][N];
    struct reach r;
    memcpy(info, p->info, sizeof info);
    for (int k = 0; k < N; k++)
        add_outer(info[k], c->w, 1 / c->var[k]);
    if (!factor_rows(info, l))
        return INFINITY;
    reach_of(p, l, &r);
    return cost(&r);
}

/* How much the determinant of the spread would grow: 1 + w' spread^-1 w. */
static double growth(const struct planner *p, const struct candidate *c)
{
    double l[N][N], a[N][N], w[N];
    memcpy(a, p->spread, sizeof a);
    for (int k = 0; k < N; k++)
        w[k] = c->w[k] / p->unit_n;
    return factor(a, l) ? quadratic(l, w) : 0;
}

static void start(struct planner *p)
{
    for (int k = 0; k < N; k++) {
        p->spread[k][k] = 1e-6;
        for (int i = 0; i < N; i++)
            p->info[k][i][i] = 1 / (PRIOR * PRIOR);
    }
    p->unit_n = 1;
    for (int i = 0; i < p->n; i++)
        for (int k = 0; k < 3; k++)
            p->unit_n = fmax(p->unit_n, fabs(p->candidate[i].w[k]));
}

static int take(struct planner *p, struct candidate *c, struct uf_plan_step *step,
                struct uf_error *err)
{
    double w[N], l[N][N][N];
    struct reach reach;
    struct uf_load_rank rank;
    c->taken = true;
    for (int k = 0; k < N; k++) {
        w[k] = c->w[k] / p->unit_n;
        p->wrench[p->taken][k] = c->w[k] * (k < UF_MX ? 1 : p->length_m);
        add_outer(p->info[k], c->w, 1 / c->var[k]);
    }
    add_outer(p->spread, w, 1);
    p->taken++;
    int rc = uf_load_rank_of(p->plate, p->wrench, p->taken, &rank, err);
    if (rc != UF_OK)
        return rc;
    if (!factor_rows(p->info, l))
        return uf_fail(err, UF_EINVAL, "the loads of the plan have no finite weight");
    reach_of(p, l, &reach);
    add_shared(p, &reach);
    const bool *known = rank.known;
    bool horizontal = known[UF_FX] && known[UF_FY];
    bool moments = known[UF_MX] && known[UF_MY] && known[UF_FZ];
    bool place = moments && (horizontal || p->plate->surface_mm == 0);
    step->load = c->load;
    step->rank = rank.rank;
    step->condition = rank.condition;
    step->cop_mm = place ? 2 * sqrt(reach.cop2_mm2) : NAN;
    step->vertical_pct = known[UF_FZ] ? 200 * sqrt(reach.vertical2_n2) / VERTICAL_N : NAN;
    step->horizontal_pct = horizontal ? 200 * sqrt(reach.horizontal2_n2) / HORIZONTAL_N : NAN;
    step->turn_nm = known[UF_MZ] ? 2 * sqrt(reach.turn2_nm2) : NAN;
    return UF_OK;
}

static struct planner *planner_new(const struct uf_plate *plate, const struct uf_load_setup *setup,
                                   const struct uf_plan_settings *s, struct uf_error *err)
{
    struct planner *p = calloc(1, sizeof *p);
    if (!p) {
        uf_fail(err, UF_ENOMEM, "no memory for the plan");
        return NULL;
    }
    p->plate = plate;
    p->setup = setup;
    p->s = s;
    p->length_m = hypot(plate->size_x_mm, plate->size_y_mm) / 2000;
    return p;
}

int uf_plan_make(const struct uf_plate *plate, int plate_index, const struct uf_load_setup *setup,
                 const struct uf_plan_settings *s, struct uf_plan_step *step, struct uf_error *err)
{
    if (s->most < 3 || s->most > UF_PLAN_MAX)
        return uf_fail(err, UF_EINVAL, "a plan has 3 to %d placements, not %d", UF_PLAN_MAX,
                       s->most);
    struct planner *p = planner_new(plate, setup, s, err);
    if (!p)
        return UF_ENOMEM;
    offer_all(p, plate_index);
    int rc = UF_OK;
    if (p->n == 0)
        rc = uf_fail(err, UF_EINVAL,
                     "no weight of the list may lie on the %s plate: the lightest is heavier than "
                     "the plate's rated load or than the limit for lifting (%g kg)",
                     uf_place_name(plate->place), s->lie_most_kg);
    start(p);
    bool full = false;
    while (rc == UF_OK && p->taken < s->most) {
        struct candidate *best = NULL;
        double best_value = 0;
        for (int i = 0; i < p->n; i++) {
            struct candidate *c = &p->candidate[i];
            if (c->taken)
                continue;
            double value = full ? -cost_with(p, c) : growth(p, c);
            if (!best || value > best_value + 1e-9 * fabs(best_value)) {
                best = c;
                best_value = value;
            }
        }
        if (!best)
            break;
        rc = take(p, best, &step[p->taken], err);
        full = p->taken >= UF_COMPONENTS || step[p->taken - 1].rank == UF_COMPONENTS;
    }
    if (rc == UF_OK)
        rc = p->taken;
    free(p);
    return rc;
}

int uf_plan_rate(const struct uf_plate *plate, const struct uf_load_setup *setup,
                 const struct uf_plan_settings *s, const struct uf_load *load, int n,
                 struct uf_plan_step *step, struct uf_error *err)
{
    if (n > UF_PLAN_MAX)
        return uf_fail(err, UF_EINVAL, "a plan has at most %d placements, not %d", UF_PLAN_MAX, n);
    struct planner *p = planner_new(plate, setup, s, err);
    if (!p)
        return UF_ENOMEM;
    for (int i = 0; i < n; i++)
        rate(p, &load[i], &p->candidate[p->n++]);
    start(p);
    int rc = UF_OK;
    for (int i = 0; i < n && rc == UF_OK; i++)
        rc = take(p, &p->candidate[i], &step[i], err);
    free(p);
    return rc;
}

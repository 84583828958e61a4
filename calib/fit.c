/* SPDX-License-Identifier: MIT
 * The fit: see fit.h. Pure. */
#include "calib/fit.h"

#include "calib/least_squares.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define ROUNDS  3    /* of the linearised problem */
#define FLOOR_N 0.01 /* no equation is better than this */
#define SAME_PLACE                                                                                 \
    0.5 /* part of the variance of a place's error that all loads there have; the rest             \
           is new each time a weight is put down */
#define FEWEST_LOADS  3
#define COMPONENTS_SQ (UF_COMPONENTS * UF_COMPONENTS)
#define LARGEST_COLS  (UF_UNKNOWNS_MAX + UF_SHARED_ERRORS)

void uf_fit_defaults(struct uf_fit_settings *s)
{
    *s = (struct uf_fit_settings){{10, 5, 2}, 0.05, false};
}

/* Everything of one fit while it is made. */
struct work {
    const struct uf_rig *rig;
    const struct uf_load_setup *setup;
    const struct uf_fit_settings *settings;
    struct uf_fit *fit;
    struct uf_reading *r; /* [n] of this plate, by place */
    struct uf_load_wrench *load;
    int n, *place, *first; /* first[places + 1]: index of a place's first reading */
    int shared, shared_error[UF_SHARED_ERRORS];
    int rows, cols;
    int shared_row;   /* the first of the prior knowledge about shared errors */
    double *a, *b;    /* the whitened equations */
    double **whiten;  /* [places] lower Cholesky factors, 6 m x 6 m */
    double *expected; /* [6 n] standard uncertainty of each equation */
    double *c;        /* [6][channels] scaled, at the present state */
    struct uf_lsq lsq;
};

static double scale_of(const struct work *w, int component)
{
    return component < UF_MX ? 1 : w->fit->state.length_m;
}

/* ---- setting up ---- */

static int gather(struct work *w, const struct uf_reading *r, int n, struct uf_error *err)
{
    struct uf_fit *f = w->fit;
    const struct uf_plate *plate = &w->rig->plate[f->plate];
    int *group = calloc((size_t)n + 1, sizeof *group);
    w->r = calloc((size_t)n + 1, sizeof *w->r);
    w->load = calloc((size_t)n + 1, sizeof *w->load);
    w->place = calloc((size_t)n + 1, sizeof *w->place);
    w->first = calloc((size_t)n + 2, sizeof *w->first);
    f->reading = calloc((size_t)n + 1, sizeof *f->reading);
    int rc = UF_OK;
    if (!group || !w->r || !w->load || !w->place || !w->first || !f->reading) {
        rc = uf_fail(err, UF_ENOMEM, "no memory for %d loads", n);
        goto done;
    }
    f->places = uf_reading_places(r, n, f->plate, group);
    for (int p = 0; p < f->places; p++) {
        w->first[p] = w->n;
        for (int i = 0; i < n; i++) {
            if (group[i] != p)
                continue;
            struct uf_fit_reading *fr = &f->reading[w->n];
            w->r[w->n] = r[i];
            w->place[w->n] = p;
            uf_load_wrench_of(w->setup, plate, &r[i].load, &w->load[w->n]);
            fr->reading = i;
            fr->place = p;
            memcpy(fr->known, w->load[w->n].w, sizeof fr->known);
            w->n++;
        }
    }
    w->first[f->places] = w->n;
    f->readings = w->n;
    if (w->n < FEWEST_LOADS)
        rc = uf_fail(err, UF_EINVAL,
                     "there are %d loads on the %s plate: at least %d at different places are "
                     "needed, and 6 that are well chosen for all components",
                     w->n, uf_place_name(plate->place), FEWEST_LOADS);
done:
    free(group);
    return rc;
}

static int rank_loads(struct work *w, struct uf_error *err)
{
    double(*wrench)[UF_COMPONENTS] = calloc((size_t)w->n, sizeof *wrench);
    if (!wrench)
        return uf_fail(err, UF_ENOMEM, "no memory for %d loads", w->n);
    for (int i = 0; i < w->n; i++)
        memcpy(wrench[i], w->load[i].w, sizeof wrench[i]);
    int rc = uf_load_rank_of(&w->rig->plate[w->fit->plate], wrench, w->n, &w->fit->loads, err);
    free(wrench);
    return rc;
}

static void find_shared(struct work *w)
{
    for (int e = 0; e < UF_SHARED_ERRORS; e++) {
        bool matters = false;
        for (int i = 0; i < w->n; i++)
            for (int k = 0; k < UF_COMPONENTS; k++)
                matters = matters || fabs(w->load[i].shared[e][k]) > 1e-12;
        if (matters)
            w->shared_error[w->shared++] = e;
    }
}

static int allocate(struct work *w, struct uf_error *err)
{
    struct uf_fit *f = w->fit;
    int priors = f->model == UF_MODEL_CELLS ? f->state.unknowns : 0;
    w->cols = f->state.unknowns + w->shared;
    w->rows = UF_COMPONENTS * w->n + priors + w->shared;
    w->a = calloc((size_t)w->rows * (size_t)w->cols, sizeof *w->a);
    w->b = calloc((size_t)w->rows, sizeof *w->b);
    w->c = calloc((size_t)(UF_COMPONENTS * f->channels), sizeof *w->c);
    w->expected = calloc((size_t)(UF_COMPONENTS * w->n), sizeof *w->expected);
    w->whiten = calloc((size_t)f->places, sizeof *w->whiten);
    if (!w->a || !w->b || !w->c || !w->expected || !w->whiten)
        return uf_fail(err, UF_ENOMEM, "no memory for a fit of %d loads", w->n);
    for (int p = 0; p < f->places; p++) {
        size_t m = (size_t)(UF_COMPONENTS * (w->first[p + 1] - w->first[p]));
        w->whiten[p] = calloc(m * m, sizeof **w->whiten);
        if (!w->whiten[p])
            return uf_fail(err, UF_ENOMEM, "no memory for a fit of %d loads", w->n);
    }
    return UF_OK;
}

/* ---- weights ---- */

/* Standard uncertainty of channel j of reading i, counts. */
static double channel_sd(const struct work *w, int i, int j)
{
    int ch = w->fit->channel[j];
    return hypot(w->r[i].sd_raw[ch], w->fit->reading_pct / 100 * w->r[i].above_raw[ch]);
}

/* Covariance of the equations of one place and its Cholesky factor. */
static int whiten_place(struct work *w, int p, struct uf_error *err)
{
    int first = w->first[p], loads = w->first[p + 1] - first, m = UF_COMPONENTS * loads;
    int nc = w->fit->channels;
    double *r = w->whiten[p];
    for (int i = 0; i < loads; i++)
        for (int j = 0; j <= i; j++)
            for (int k = 0; k < UF_COMPONENTS; k++)
                for (int l = 0; l < UF_COMPONENTS; l++) {
                    const struct uf_load_wrench *li = &w->load[first + i];
                    const struct uf_load_wrench *lj = &w->load[first + j];
                    double sum = 0;
                    for (int e = 0; e < UF_OWN_ERRORS; e++)
                        sum += li->own[e][k] * lj->own[e][l];
                    sum *= (i == j ? 1 : SAME_PLACE) / (scale_of(w, k) * scale_of(w, l));
                    if (i == j)
                        for (int h = 0; h < nc; h++) {
                            double sd = channel_sd(w, first + i, h);
                            sum += w->c[k * nc + h] * w->c[l * nc + h] * sd * sd;
                        }
                    if (i == j && k == l)
                        sum += FLOOR_N * FLOOR_N;
                    int at = UF_COMPONENTS * i + k, by = UF_COMPONENTS * j + l;
                    r[at * m + by] = r[by * m + at] = sum;
                }
    for (int i = 0; i < m; i++) {
        const struct uf_load_wrench *l = &w->load[first + i / UF_COMPONENTS];
        double var = r[i * m + i];
        for (int e = 0; e < w->shared; e++) {
            double s =
                l->shared[w->shared_error[e]][i % UF_COMPONENTS] / scale_of(w, i % UF_COMPONENTS);
            var += s * s;
        }
        w->expected[UF_COMPONENTS * first + i] = sqrt(var);
    }
    return uf_lsq_cholesky(r, m, err);
}

/* ---- equations ---- */

static void fill_place(struct work *w, int p, double *columns)
{
    const struct uf_model_state *state = &w->fit->state;
    int first = w->first[p], m = UF_COMPONENTS * (w->first[p + 1] - first);
    double rhs[UF_COMPONENTS];
    for (int i = first; i < w->first[p + 1]; i++) {
        uf_model_columns(state, w->r[i].above_raw, columns, rhs);
        for (int k = 0; k < UF_COMPONENTS; k++) {
            int row = UF_COMPONENTS * i + k;
            double *a = w->a + (size_t)row * (size_t)w->cols, s = scale_of(w, k);
            memcpy(a, columns + k * state->unknowns, (size_t)state->unknowns * sizeof *a);
            for (int e = 0; e < w->shared; e++)
                a[state->unknowns + e] = -w->load[i].shared[w->shared_error[e]][k] / s;
            w->b[row] = w->load[i].w[k] / s + rhs[k];
        }
    }
    /* each column, and the right side, times the inverse of the place's factor */
    const double *l = w->whiten[p];
    for (int c = 0; c <= w->cols; c++)
        for (int i = 0; i < m; i++) {
            size_t row = (size_t)(UF_COMPONENTS * first + i);
            double *at = c < w->cols ? &w->a[row * (size_t)w->cols + (size_t)c] : &w->b[row];
            for (int j = 0; j < i; j++) {
                size_t above = (size_t)(UF_COMPONENTS * first + j);
                *at -= l[i * m + j] *
                       (c < w->cols ? w->a[above * (size_t)w->cols + (size_t)c] : w->b[above]);
            }
            *at /= l[i * m + i];
        }
}

static void fill_priors(struct work *w)
{
    int row = UF_COMPONENTS * w->n, unknowns = w->fit->state.unknowns;
    memset(w->a + (size_t)row * (size_t)w->cols, 0,
           (size_t)(w->rows - row) * (size_t)w->cols * sizeof *w->a);
    for (int j = 0; j < unknowns; j++) {
        double mean, sd;
        uf_model_prior_of(&w->fit->state, j, &mean, &sd);
        if (!isfinite(sd))
            continue;
        w->a[(size_t)row * (size_t)w->cols + (size_t)j] = 1 / sd;
        w->b[row++] = mean / sd;
    }
    w->shared_row = row;
    for (int e = 0; e < w->shared; e++) {
        w->a[(size_t)row * (size_t)w->cols + (size_t)(unknowns + e)] = 1;
        w->b[row++] = 0;
    }
}

static int solve(struct work *w, struct uf_error *err)
{
    struct uf_fit *f = w->fit;
    double *columns = calloc((size_t)(UF_COMPONENTS * f->state.unknowns), sizeof *columns);
    if (!columns)
        return uf_fail(err, UF_ENOMEM, "no memory for a fit of %d loads", w->n);
    /* the weights of the first round rest on the data sheet */
    struct uf_model_state *sheet = calloc(1, sizeof *sheet);
    int rc = sheet ? uf_model_start(sheet, UF_MODEL_CELLS, f->state.plate, &f->state.prior, w->r,
                                    w->n, f->loads.rank, err)
                   : uf_fail(err, UF_ENOMEM, "no memory for a fit of %d loads", w->n);
    if (rc == UF_OK)
        uf_model_matrix(sheet, w->c);
    free(sheet);
    for (int round = 0; round < ROUNDS && rc == UF_OK; round++) {
        for (int p = 0; p < f->places && rc == UF_OK; p++) {
            rc = whiten_place(w, p, err);
            if (rc == UF_OK)
                fill_place(w, p, columns);
        }
        if (rc != UF_OK)
            break;
        fill_priors(w);
        uf_lsq_free(&w->lsq);
        rc = uf_lsq_solve(&w->lsq, w->a, w->b, w->rows, w->cols, 0, err);
        if (rc != UF_OK)
            break;
        uf_model_update(&f->state, w->lsq.x);
        uf_model_matrix(&f->state, w->c);
    }
    free(columns);
    return rc;
}

/* ---- results ---- */

static void take_matrix(struct work *w)
{
    struct uf_fit *f = w->fit;
    memset(&f->matrix, 0, sizeof f->matrix);
    for (int k = 0; k < UF_COMPONENTS; k++) {
        f->matrix.known[k] = f->loads.known[k];
        for (int j = 0; j < f->channels && f->matrix.known[k]; j++)
            f->matrix.c[k][f->channel[j]] = w->c[k * f->channels + j] * scale_of(w, k);
    }
}

/* Change of the matrix along d[unknowns], N and N m a count. */
static void take_pattern(const struct work *w, const double *d, double *c)
{
    uf_model_change(&w->fit->state, d, c);
    for (int k = 0; k < UF_COMPONENTS; k++)
        for (int j = 0; j < w->fit->channels; j++)
            c[k * w->fit->channels + j] *= scale_of(w, k);
}

static int take_patterns(struct work *w, struct uf_error *err)
{
    struct uf_fit *f = w->fit;
    const struct uf_lsq *lsq = &w->lsq;
    int dof = w->rows - lsq->rank, each = UF_COMPONENTS * f->channels;
    f->scale = dof > 0 ? sqrt(lsq->sum_of_squares / dof) : 1;
    double widen = fmax(1, f->scale);
    f->patterns = lsq->rank;
    f->pattern = calloc((size_t)f->patterns * (size_t)each, sizeof *f->pattern);
    f->shared_pattern = calloc((size_t)(UF_SHARED_ERRORS * each), sizeof *f->pattern);
    if (!f->pattern || !f->shared_pattern)
        return uf_fail(err, UF_ENOMEM, "no memory for the errors of the fit");
    double d[LARGEST_COLS];
    for (int p = 0; p < f->patterns; p++) {
        for (int j = 0; j < f->state.unknowns; j++)
            d[j] = lsq->v[j * lsq->rank + p] / lsq->singular[p] * widen;
        take_pattern(w, d, f->pattern + (size_t)p * (size_t)each);
    }
    /* what the solution changes by when the prior knowledge of that error is off by one */
    for (int e = 0; e < w->shared; e++) {
        const double *u = lsq->u + (size_t)(w->shared_row + e) * (size_t)lsq->rank;
        for (int j = 0; j < f->state.unknowns; j++) {
            d[j] = 0;
            for (int p = 0; p < lsq->rank; p++)
                d[j] += lsq->v[j * lsq->rank + p] / lsq->singular[p] * u[p] * widen;
        }
        take_pattern(w, d, f->shared_pattern + (size_t)(w->shared_error[e] * each));
    }
    return UF_OK;
}

/* What the loads say about the errors that they share. */
static void take_shared(struct work *w)
{
    struct uf_fit *f = w->fit;
    for (int e = 0; e < w->shared; e++) {
        int at = f->state.unknowns + e;
        double var = 0;
        for (int r = 0; r < w->lsq.rank; r++) {
            double part = w->lsq.v[at * w->lsq.rank + r] / w->lsq.singular[r];
            var += part * part;
        }
        f->shared[w->shared_error[e]] = w->lsq.x[at];
        f->shared_sd[w->shared_error[e]] = sqrt(var);
    }
}

/* Size of the residual of some rows as if they had been left out: r'(1 - H)^-1 r. */
static int deletion(const struct work *w, int from, int n, double *size, double *left_out,
                    struct uf_error *err)
{
    int rc = uf_lsq_left_out(&w->lsq, from, n, left_out, err);
    *size = 0;
    for (int i = 0; i < n && rc == UF_OK; i++)
        *size += left_out[i] * w->lsq.residual[from + i];
    return rc;
}

static int take_residuals(struct work *w, struct uf_error *err)
{
    struct uf_fit *f = w->fit;
    int dof = w->rows - w->lsq.rank, counted = 0, largest = 0;
    double score = 0;
    for (int p = 0; p < f->places; p++)
        largest = largest > w->first[p + 1] - w->first[p] ? largest : w->first[p + 1] - w->first[p];
    double *left = calloc((size_t)(UF_COMPONENTS * largest), sizeof *left);
    if (!left)
        return uf_fail(err, UF_ENOMEM, "no memory for the residuals");
    int rc = UF_OK;
    for (int p = 0; p < f->places && rc == UF_OK; p++) {
        int first = w->first[p], m = UF_COMPONENTS * (w->first[p + 1] - first);
        double size;
        rc = deletion(w, UF_COMPONENTS * first, m, &size, left, err);
        for (int i = 0; i < m && rc == UF_OK; i++) {
            double e = 0;
            for (int j = 0; j <= i; j++)
                e += w->whiten[p][i * m + j] * left[j];
            int at = first + i / UF_COMPONENTS, k = i % UF_COMPONENTS;
            f->reading[at].left_out[k] = -e * scale_of(w, k);
            double expected = w->expected[UF_COMPONENTS * at + k];
            if (isfinite(e)) {
                score += e * e / (expected * expected);
                counted++;
            }
        }
    }
    for (int i = 0; i < w->n && rc == UF_OK; i++) {
        struct uf_fit_reading *r = &f->reading[i];
        double one[UF_COMPONENTS], size;
        for (int k = 0; k < UF_COMPONENTS; k++) {
            double fitted = 0;
            for (int j = 0; j < f->channels; j++)
                fitted += w->c[k * f->channels + j] * w->r[i].above_raw[f->channel[j]];
            r->residual[k] = fitted * scale_of(w, k) - r->known[k];
        }
        rc = deletion(w, UF_COMPONENTS * i, UF_COMPONENTS, &size, one, err);
        double rest = (w->lsq.sum_of_squares - size) / (dof - UF_COMPONENTS);
        r->studentised =
            dof > UF_COMPONENTS && rest > 0 ? sqrt(size / UF_COMPONENTS / fmax(rest, 0.25)) : NAN;
    }
    f->left_out_score = counted == UF_COMPONENTS * w->n ? sqrt(score / counted) : INFINITY;
    free(left);
    return rc;
}

int uf_fit_new(struct uf_fit **out, enum uf_model model, const struct uf_rig *rig, int plate,
               const struct uf_load_setup *setup, const struct uf_reading *r, int n,
               const struct uf_fit_settings *s, struct uf_error *err)
{
    struct work w = {.rig = rig, .setup = setup, .settings = s};
    *out = NULL;
    w.fit = calloc(1, sizeof *w.fit);
    if (!w.fit)
        return uf_fail(err, UF_ENOMEM, "no memory for the fit");
    w.fit->model = model;
    w.fit->plate = plate;
    w.fit->channels = uf_plate_channels(&rig->plate[plate], w.fit->channel);
    int rc = gather(&w, r, n, err);
    if (rc == UF_OK)
        rc = rank_loads(&w, err);
    if (rc == UF_OK)
        rc = uf_leftover_find(&rig->plate[plate], plate, w.r, w.n, w.fit->loads.rank,
                              &w.fit->leftover, err);
    if (rc == UF_OK) {
        bool told = isfinite(w.fit->leftover.reading_pct);
        w.fit->reading_pct = told ? w.fit->leftover.reading_pct : s->reading_pct;
    }
    if (rc == UF_OK)
        rc = uf_model_start(&w.fit->state, model, &rig->plate[plate], &s->prior, w.r, w.n,
                            w.fit->loads.rank, err);
    if (rc == UF_OK) {
        find_shared(&w);
        rc = allocate(&w, err);
    }
    if (rc == UF_OK)
        rc = solve(&w, err);
    if (rc == UF_OK) {
        take_matrix(&w);
        take_shared(&w);
        rc = take_patterns(&w, err);
    }
    if (rc == UF_OK)
        rc = take_residuals(&w, err);
    for (int p = 0; w.whiten && p < w.fit->places; p++)
        free(w.whiten[p]);
    free(w.whiten);
    free(w.expected);
    free(w.c);
    free(w.b);
    free(w.a);
    free(w.first);
    free(w.place);
    free(w.load);
    free(w.r);
    uf_lsq_free(&w.lsq);
    if (rc != UF_OK) {
        uf_fit_free(w.fit);
        return rc;
    }
    *out = w.fit;
    return UF_OK;
}

void uf_fit_free(struct uf_fit *f)
{
    if (!f)
        return;
    free(f->pattern);
    free(f->shared_pattern);
    free(f->reading);
    free(f);
}

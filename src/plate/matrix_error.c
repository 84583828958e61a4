/* SPDX-License-Identifier: MIT
 * Errors of a calibrated matrix: see matrix_error.h. Pure. */
#include "plate/matrix_error.h"

#include <math.h>
#include <string.h>

#define ELEMENTS  (UF_COMPONENTS * UF_COMPONENTS)
#define MISSING   1e-3  /* of the variance of a row, at the typical wrench */
#define PIVOT     1e-12 /* below: the matrix does not tell its known components apart */
#define UNTRUSTED 1e3   /* N/N and N m/N: no calibration is as wrong as that */

/* Under a foot in a swing, N and N m: elements are compared by what they do to it. */
static const double typical[UF_COMPONENTS] = {100, 100, 600, 100, 100, 20};

/* a[n][n] to its inverse, by Gauss and Jordan with row pivots. False: singular. */
static bool invert(double a[UF_COMPONENTS][UF_COMPONENTS], int n,
                   double out[UF_COMPONENTS][UF_COMPONENTS])
{
    double greatest = 0;
    for (int r = 0; r < n; r++)
        for (int c = 0; c < n; c++) {
            out[r][c] = r == c;
            greatest = fmax(greatest, fabs(a[r][c]));
        }
    for (int k = 0; k < n; k++) {
        int best = k;
        for (int r = k + 1; r < n; r++)
            if (fabs(a[r][k]) > fabs(a[best][k]))
                best = r;
        if (!(fabs(a[best][k]) > PIVOT * greatest))
            return false;
        for (int c = 0; c < n; c++) {
            double left = a[k][c], right = out[k][c];
            a[k][c] = a[best][c];
            out[k][c] = out[best][c];
            a[best][c] = left;
            out[best][c] = right;
        }
        double by = a[k][k];
        for (int c = 0; c < n; c++) {
            a[k][c] /= by;
            out[k][c] /= by;
        }
        for (int r = 0; r < n; r++) {
            by = a[r][k];
            for (int c = 0; c < n && r != k; c++) {
                a[r][c] -= by * a[k][c];
                out[r][c] -= by * out[k][c];
            }
        }
    }
    return true;
}

/* What the channels read (data-sheet newtons) under one unit of each component. */
static bool answer_of(const struct uf_leftover *l, const struct uf_plate_matrix *m,
                      double f[UF_CHANNELS_MAX][UF_COMPONENTS])
{
    double basis[UF_COMPONENTS][UF_CHANNELS_MAX], c[UF_COMPONENTS][UF_CHANNELS_MAX];
    double a[UF_COMPONENTS][UF_COMPONENTS] = {{0}}, inverse[UF_COMPONENTS][UF_COMPONENTS];
    int component[UF_COMPONENTS], n = 0;
    memset(f, 0, UF_CHANNELS_MAX * sizeof *f);
    for (int k = 0; k < UF_COMPONENTS; k++)
        if (m->known[k]) {
            for (int j = 0; j < l->channels; j++)
                c[n][j] = m->c[k][l->channel[j]] / l->n_per_count[j];
            component[n++] = k;
        }
    for (int i = 0; i < n; i++)
        memcpy(basis[i], l->ways == n ? l->way[i] : c[i], sizeof basis[i]);
    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++)
            for (int j = 0; j < l->channels; j++)
                a[i][k] += c[i][j] * basis[k][j];
    if (n == 0 || !invert(a, n, inverse))
        return false;
    for (int j = 0; j < l->channels; j++)
        for (int k = 0; k < n; k++)
            for (int i = 0; i < n; i++)
                f[j][component[k]] += basis[i][j] * inverse[i][k];
    return true;
}

/* The covariance of the elements of the error, summed pattern by pattern. */
struct sum {
    const struct uf_leftover *l;
    const struct uf_plate_matrix *m;
    double f[UF_CHANNELS_MAX][UF_COMPONENTS];
    double s[ELEMENTS][ELEMENTS];
};

/* p[6][channels]: change of the matrix, a count. */
static bool add_pattern(struct sum *sum, double p[UF_COMPONENTS][UF_CHANNELS_MAX])
{
    double e[ELEMENTS];
    for (int r = 0; r < UF_COMPONENTS; r++)
        for (int c = 0; c < UF_COMPONENTS; c++) {
            double *at = &e[r * UF_COMPONENTS + c];
            *at = 0;
            for (int j = 0; j < sum->l->channels && sum->m->known[r]; j++)
                *at += p[r][j] / sum->l->n_per_count[j] * sum->f[j][c];
            if (!(fabs(*at) < UNTRUSTED))
                return false;
        }
    for (int i = 0; i < ELEMENTS; i++)
        for (int k = 0; k < ELEMENTS; k++)
            sum->s[i][k] += e[i] * e[k];
    return true;
}

static bool read_pattern(const json_t *json, int channels, double p[UF_COMPONENTS][UF_CHANNELS_MAX])
{
    if (json_array_size(json) != UF_COMPONENTS)
        return false;
    for (size_t r = 0; r < UF_COMPONENTS; r++) {
        const json_t *row = json_array_get(json, r);
        if (json_array_size(row) != (size_t)channels)
            return false;
        for (size_t j = 0; j < (size_t)channels; j++) {
            if (!json_is_number(json_array_get(row, j)))
                return false;
            p[r][j] = json_number_value(json_array_get(row, j));
        }
    }
    return true;
}

/* s becomes what is left of it; rows are measured in their own standard uncertainty. */
static void decompose(double s[ELEMENTS][ELEMENTS], struct uf_matrix_error *out)
{
    double row[UF_COMPONENTS] = {0};
    for (int i = 0; i < ELEMENTS; i++) {
        double t = typical[i % UF_COMPONENTS];
        row[i / UF_COMPONENTS] += s[i][i] * t * t;
    }
    while (out->patterns < ELEMENTS) {
        double missing[UF_COMPONENTS] = {0}, most = 0;
        int pivot = 0;
        bool enough = true;
        for (int i = 0; i < ELEMENTS; i++) {
            double t = typical[i % UF_COMPONENTS], whole = row[i / UF_COMPONENTS];
            double part = whole > 0 ? fmax(s[i][i], 0) * t * t / whole : 0;
            missing[i / UF_COMPONENTS] += part;
            if (part > most) {
                most = part;
                pivot = i;
            }
        }
        for (int r = 0; r < UF_COMPONENTS; r++)
            enough = enough && missing[r] <= MISSING;
        if (enough)
            break;
        double e[ELEMENTS], size = sqrt(s[pivot][pivot]);
        for (int i = 0; i < ELEMENTS; i++) {
            e[i] = s[i][pivot] / size;
            out->pattern[out->patterns][i / UF_COMPONENTS][i % UF_COMPONENTS] = e[i];
        }
        for (int i = 0; i < ELEMENTS; i++)
            for (int k = 0; k < ELEMENTS; k++)
                s[i][k] -= e[i] * e[k];
        out->patterns++;
    }
}

bool uf_matrix_error_from_json(const json_t *entry, const struct uf_plate *plate,
                               const struct uf_plate_matrix *matrix, struct uf_matrix_error *out)
{
    struct uf_leftover l;
    struct sum sum = {.l = &l, .m = matrix};
    double p[UF_COMPONENTS][UF_CHANNELS_MAX] = {{0}};
    const json_t *patterns = json_object_get(entry, "error_patterns");
    const json_t *reading = json_object_get(entry, "reading_pct");
    memset(out, 0, sizeof *out);
    if (json_array_size(patterns) == 0 || !uf_leftover_from_json(entry, plate, &l) ||
        !answer_of(&l, matrix, sum.f))
        return false;
    size_t i;
    json_t *pattern;
    json_array_foreach((json_t *)patterns, i, pattern)
    {
        if (!read_pattern(pattern, l.channels, p) || !add_pattern(&sum, p))
            return false;
    }
    for (int j = 0; j < l.channels && json_is_number(reading); j++) {
        memset(p, 0, sizeof p);
        for (int r = 0; r < UF_COMPONENTS; r++)
            p[r][j] = json_number_value(reading) / 100 * matrix->c[r][l.channel[j]];
        if (!add_pattern(&sum, p))
            return false;
    }
    decompose(sum.s, out);
    return out->patterns > 0;
}

void uf_matrix_error_all(const json_t *provenance, const struct uf_rig *rig,
                         struct uf_calibration *cal)
{
    size_t i;
    json_t *entry;
    memset(cal->error, 0, sizeof cal->error);
    json_array_foreach(json_object_get(provenance, "plates"), i, entry)
    {
        const char *name = json_string_value(json_object_get(entry, "plate"));
        for (int p = 0; name && p < rig->plates; p++)
            if (!strcmp(name, uf_place_name(rig->plate[p].place)))
                (void)uf_matrix_error_from_json(entry, &rig->plate[p], &cal->plate[p],
                                                &cal->error[p]);
    }
}

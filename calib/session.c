/* SPDX-License-Identifier: MIT
 * Solving a session: see session.h. */
#include "calib/session.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define INNER 0.8

void uf_session_map_place(const struct uf_plate *plate, int ix, int iy, double *x_mm, double *y_mm)
{
    *x_mm = INNER * plate->size_x_mm / 2 * (2.0 * ix / (UF_MAP_CELLS - 1) - 1);
    *y_mm = INNER * plate->size_y_mm / 2 * (2.0 * iy / (UF_MAP_CELLS - 1) - 1);
}

static int map(struct uf_solved_plate *p, const struct uf_plate *plate, struct uf_error *err)
{
    for (int i = 0; i < UF_MAP_CELLS * UF_MAP_CELLS; i++) {
        int ix = i % UF_MAP_CELLS, iy = i / UF_MAP_CELLS;
        double x_mm, y_mm, cop_mm, vertical_n;
        uf_session_map_place(plate, ix, iy, &x_mm, &y_mm);
        int rc = uf_quality_map(p->fit, plate, x_mm, y_mm, UF_MAP_N, &cop_mm, &vertical_n, err);
        if (rc != UF_OK)
            return rc;
        p->cop_mm[iy][ix] = cop_mm;
        p->vertical_pct[iy][ix] = 100 * vertical_n / UF_MAP_N;
    }
    return UF_OK;
}

#define CREEP_FROM_S 30.0 /* ISO 376: 30 s and 300 s after loading */
#define CREEP_TO_S   300.0

/* Creep of the vertical force under loads that were watched. */
static int creep(struct uf_session *s, int plate, struct uf_error *err)
{
    struct uf_solved_plate *p = &s->plate[plate];
    double t_s[UF_CREEP_MAX], fz_n[UF_CREEP_MAX];
    double(*raw)[UF_CHANNELS_MAX] = calloc(UF_CREEP_MAX, sizeof *raw);
    int rc = raw ? UF_OK : uf_fail(err, UF_ENOMEM, "no memory for the creep");
    p->creep_pct = NAN;
    for (int i = 0; i < s->readings && rc == UF_OK; i++) {
        const struct uf_reading *r = &s->reading[i];
        int n = 0;
        if (r->load.plate == plate)
            rc = uf_document_creep(s->document, s->rig, s->number[i], t_s, raw, UF_CREEP_MAX, &n,
                                   err);
        for (int k = 0; k < n && rc == UF_OK; k++) {
            struct uf_wrench w;
            for (int ch = 0; ch < UF_CHANNELS_MAX; ch++)
                raw[k][ch] -= r->zero_raw[ch];
            uf_fit_wrench(p->fit, raw[k], &w);
            fz_n[k] = w.fz_n;
        }
        p->creep_pct = fmax(p->creep_pct, uf_creep_pct(t_s, fz_n, n, CREEP_FROM_S, CREEP_TO_S));
    }
    free(raw);
    return rc;
}

static int solve_plate(struct uf_session *s, int plate, struct uf_error *err)
{
    struct uf_solved_plate *p = &s->plate[plate];
    const struct uf_document *d = s->document;
    struct uf_fit *other;
    int rc = uf_fit_best(&p->fit, &other, s->rig, plate, &d->setup, s->reading, s->readings,
                         &d->fit, err);
    if (rc != UF_OK)
        return rc;
    p->solved = true;
    p->other_score = other ? other->left_out_score : NAN;
    uf_fit_free(other);
    rc = uf_suspect(s->rig, plate, &d->setup, s->reading, s->number, s->readings, &d->fit,
                    d->adc_bits, p->fit, &p->findings, err);
    if (rc != UF_OK)
        return rc;
    uf_quality_of(p->fit, &s->rig->plate[plate], s->reading, &p->quality);
    rc = creep(s, plate, err);
    return rc == UF_OK ? map(p, &s->rig->plate[plate], err) : rc;
}

int uf_session_solve(struct uf_session *s, const struct uf_rig *rig, const struct uf_document *d,
                     struct uf_error *err)
{
    memset(s, 0, sizeof *s);
    s->rig = rig;
    s->document = d;
    int rc = uf_document_captured(d, &s->reading, &s->number, &s->readings, err);
    if (rc == UF_OK && s->readings == 0)
        rc = uf_fail(err, UF_EINVAL,
                     "none of the %d loads of \"%s\" has counts yet: capture them with "
                     "underfoot-calib run, or write loaded_raw and zero_raw into the file",
                     d->n, d->name);
    for (int p = 0; p < rig->plates && rc == UF_OK; p++) {
        bool any = false;
        for (int i = 0; i < s->readings; i++)
            any = any || s->reading[i].load.plate == p;
        if (any)
            rc = solve_plate(s, p, err);
    }
    if (rc != UF_OK)
        uf_session_free(s);
    return rc;
}

void uf_session_free(struct uf_session *s)
{
    for (int p = 0; p < UF_PLATES_MAX; p++)
        uf_fit_free(s->plate[p].fit);
    free(s->reading);
    free(s->number);
    memset(s, 0, sizeof *s);
}

bool uf_session_grave(const struct uf_session *s)
{
    for (int p = 0; p < UF_PLATES_MAX; p++)
        if (s->plate[p].solved && uf_findings_grave(&s->plate[p].findings))
            return true;
    return false;
}

void uf_session_calibration(const struct uf_session *s, const struct uf_calibration *base,
                            struct uf_calibration *out)
{
    *out = *base;
    out->uuid[0] = '\0';
    out->nominal = false;
    out->plates = s->rig->plates;
    snprintf(out->name, sizeof out->name, "%s", s->document->name);
    for (int p = 0; p < s->rig->plates; p++)
        if (s->plate[p].solved)
            out->plate[p] = s->plate[p].fit->matrix;
}

/* SPDX-License-Identifier: MIT
 * A simulated plate for tests and benches of calib: a rigid top on springs, each cell with its own
 * gains, cross-talk, place, curvature and creep; and a person who puts weights on it not quite
 * where and what he says. All invented. Works from mechanics alone, not from code of calib. */
#ifndef UF_CALIB_PLATE_H
#define UF_CALIB_PLATE_H

#include "calib/reading.h"
#include "sim/sim.h"

#include <math.h>
#include <string.h>

#define PLATE_RAD(deg) ((deg)*3.14159265358979323846 / 180)

struct made_plate {
    struct uf_plate plate;             /* as described */
    double at_m[UF_CELLS_MAX][3];      /* as built */
    double stiff[UF_CELLS_MAX][3];     /* relative */
    double to_raw[UF_CELLS_MAX][9];    /* counts of the cell's outputs a newton */
    double curve[UF_CELLS_MAX][3];     /* part of the rated load that is missing there, at rated */
    double creep[UF_CELLS_MAX][3];     /* greatest part of a reading that creep may add */
    double share[6][UF_CELLS_MAX * 3]; /* forces of the cells for a unit of each component */
    double noise_n, zero_n;            /* of a mean; of a zero that was not quite still */
    struct uf_sim_rng rng;
};

struct made_spread {
    double gain, crosstalk, place_mm, curve, creep, noise_n, zero_n;
    double bend; /* part by which a cell feels each load otherwise than a rigid top would make it */
};

/* The spreads of home-built plates: 5 % gain, 3 % cross-talk, 2 mm, 0.1 % curvature. */
static inline struct made_spread made_usual(void)
{
    return (struct made_spread){0.05, 0.03, 2, 0.001, 0.0005, 0.005, 0.02, 0};
}

/* x = a^-1 b, n <= 6, by elimination with pivots; a is spoilt. */
static inline void made_solve(double a[6][6], double b[6], int n)
{
    for (int i = 0; i < n; i++) {
        int p = i;
        for (int r = i + 1; r < n; r++)
            if (fabs(a[r][i]) > fabs(a[p][i]))
                p = r;
        for (int c = 0; c < n; c++) {
            double t = a[i][c];
            a[i][c] = a[p][c];
            a[p][c] = t;
        }
        double t = b[i];
        b[i] = b[p];
        b[p] = t;
        for (int r = i + 1; r < n; r++) {
            double f = a[r][i] / a[i][i];
            for (int c = i; c < n; c++)
                a[r][c] -= f * a[i][c];
            b[r] -= f * b[i];
        }
    }
    for (int i = n - 1; i >= 0; i--) {
        for (int c = i + 1; c < n; c++)
            b[i] -= a[i][c] * b[c];
        b[i] /= a[i][i];
    }
}

/* Wrench about the sensor origin of a unit force of a cell along axis k of the plate. */
static inline void made_unit(const double r[3], int k, double w[6])
{
    double f[3] = {k == 0, k == 1, k == 2};
    memcpy(w, f, sizeof f);
    w[3] = r[1] * f[2] - r[2] * f[1];
    w[4] = r[2] * f[0] - r[0] * f[2];
    w[5] = r[0] * f[1] - r[1] * f[0];
}

/* How a rigid top shares each component among springs. */
static inline void made_share(struct made_plate *m)
{
    for (int comp = 0; comp < 6; comp++) {
        double k[6][6] = {{0}}, u[6] = {0};
        u[comp] = 1;
        for (int i = 0; i < m->plate.cells; i++)
            for (int a = 0; a < 3; a++) {
                double w[6];
                made_unit(m->at_m[i], a, w);
                for (int r = 0; r < 6; r++)
                    for (int c = 0; c < 6; c++)
                        k[r][c] += m->stiff[i][a] * w[r] * w[c];
            }
        made_solve(k, u, 6);
        for (int i = 0; i < m->plate.cells; i++)
            for (int a = 0; a < 3; a++) {
                double w[6], f = 0;
                made_unit(m->at_m[i], a, w);
                for (int r = 0; r < 6; r++)
                    f += w[r] * u[r];
                m->share[comp][3 * i + a] = m->stiff[i][a] * f;
            }
    }
}

/* Built from a description, with luck of that seed. All cells must have three outputs. */
static inline void made_build(struct made_plate *m, const struct uf_plate *plate,
                              const struct made_spread *s, uint64_t seed)
{
    memset(m, 0, sizeof *m);
    uf_sim_rng_seed(&m->rng, seed);
    m->plate = *plate;
    m->noise_n = s->noise_n;
    m->zero_n = s->zero_n;
    for (int i = 0; i < plate->cells; i++) {
        const struct uf_cell *c = &plate->cell[i];
        const double at[3] = {c->x_mm, c->y_mm, c->z_mm};
        double k[6][6] = {{0}};
        for (int a = 0; a < 3; a++) {
            m->at_m[i][a] = (at[a] + uf_sim_rng_normal(&m->rng, 0, s->place_mm)) / 1000;
            m->stiff[i][a] = (a == 2 ? 1 : 0.5) * exp(uf_sim_rng_normal(&m->rng, 0, 0.2));
            m->curve[i][a] = uf_sim_rng_uniform(&m->rng, -4, 4) * s->curve;
            m->creep[i][a] = uf_sim_rng_uniform(&m->rng, 0, s->creep);
        }
        for (int a = 0; a < 3; a++) /* force of axis a from newtons of output b */
            for (int b = 0; b < 3; b++)
                k[a][b] = a == b ? uf_sim_rng_normal(&m->rng, 1, s->gain)
                                 : uf_sim_rng_normal(&m->rng, 0, s->crosstalk);
        for (int a = 0; a < 3; a++) {
            double copy[6][6], e[6] = {0};
            memcpy(copy, k, sizeof copy);
            e[a] = 1;
            made_solve(copy, e, 3);
            for (int b = 0; b < 3; b++)
                m->to_raw[i][3 * b + a] = e[b] / c->n_per_count[b];
        }
    }
    made_share(m);
    for (int comp = 0; comp < 6; comp++)
        for (int i = 0; i < 3 * plate->cells; i++)
            m->share[comp][i] *= 1 + s->bend * uf_sim_rng_normal(&m->rng, 0, 1);
}

/* Mean counts above zero of a wrench about the sensor origin (reaction of the ground). */
static inline void made_read(struct made_plate *m, const double w[6], double *above_raw)
{
    for (int i = 0; i < m->plate.cells; i++) {
        const struct uf_cell *c = &m->plate.cell[i];
        struct uf_turn t = uf_turn_of(c->turn_deg);
        double f[3] = {0, 0, 0};
        for (int a = 0; a < 3; a++)
            for (int comp = 0; comp < 6; comp++)
                f[a] += m->share[comp][3 * i + a] * w[comp];
        const double own[3] = {t.cos * f[0] + t.sin * f[1], -t.sin * f[0] + t.cos * f[1], f[2]};
        for (int b = 0; b < 3; b++) {
            double raw = 0, per = c->n_per_count[b];
            for (int a = 0; a < 3; a++)
                raw += m->to_raw[i][3 * b + a] * own[a];
            double n = raw * per;
            n += m->curve[i][b] * n * n / c->rated_n[b];
            n *= 1 + m->creep[i][b] * uf_sim_rng_uniform(&m->rng, 0.3, 1);
            n += uf_sim_rng_normal(&m->rng, 0, m->noise_n) +
                 uf_sim_rng_normal(&m->rng, 0, m->zero_n);
            above_raw[c->channel[b]] = n / per;
        }
    }
}

/* What a person really did in a session: errors within the tolerances that he states. */
struct made_person {
    double kg[UF_WEIGHTS_MAX], g_m_s2, pulley, level[2], drawing_mm[2], drawing_deg;
};

static inline void made_person(struct made_person *p, const struct uf_load_setup *s,
                               struct uf_sim_rng *r)
{
    for (int i = 0; i < s->weights; i++)
        p->kg[i] = s->weight[i].mass_kg + s->weight[i].tolerance_kg * uf_sim_rng_uniform(r, -1, 1);
    p->g_m_s2 = uf_sim_rng_normal(r, s->gravity.g_m_s2, s->gravity.sd_m_s2);
    p->pulley = 1 + s->pulley_tol_pct / 100 * uf_sim_rng_uniform(r, -1, 1);
    for (int k = 0; k < 2; k++) {
        p->level[k] = PLATE_RAD(s->level_tol_deg * uf_sim_rng_uniform(r, -1, 1));
        p->drawing_mm[k] = s->drawing_tol_mm * uf_sim_rng_uniform(r, -1, 1);
    }
    p->drawing_deg = s->drawing_tol_deg * uf_sim_rng_uniform(r, -1, 1);
}

/* The wrench that he really made when he meant to make that load. */
static inline void made_load(const struct made_person *p, const struct uf_plate *plate,
                             const struct uf_load *l, struct uf_sim_rng *r, double w[6])
{
    double n = 0, t = PLATE_RAD(p->drawing_deg), z_mm = plate->surface_mm;
    for (int i = 0; i < l->pieces; i++)
        n += p->kg[l->piece[i]] * p->g_m_s2 * 0.99985;
    double x_mm = l->x_mm + l->place_tol_mm * uf_sim_rng_uniform(r, -1, 1);
    double y_mm = l->y_mm + l->place_tol_mm * uf_sim_rng_uniform(r, -1, 1);
    double px = cos(t) * x_mm - sin(t) * y_mm + p->drawing_mm[0];
    double py = sin(t) * x_mm + cos(t) * y_mm + p->drawing_mm[1];
    double to = t + PLATE_RAD(l->towards_deg + l->towards_tol_deg * uf_sim_rng_uniform(r, -1, 1));
    double up = PLATE_RAD(l->angle_deg + l->angle_tol_deg * uf_sim_rng_uniform(r, -1, 1));
    double height_mm = l->height_mm + l->height_tol_mm * uf_sim_rng_uniform(r, -1, 1);
    double push[3] = {sin(p->level[0]), sin(p->level[1]), -1}; /* on the plate */
    if (l->kind == UF_LOAD_VERTICAL)
        height_mm = 0;
    if (l->kind == UF_LOAD_PULL) {
        n *= p->pulley;
        push[0] = cos(up) * cos(to);
        push[1] = cos(up) * sin(to);
        push[2] = sin(up);
    } else if (l->kind == UF_LOAD_TILT) {
        push[0] = sin(up) * cos(to);
        push[1] = sin(up) * sin(to);
        push[2] = -cos(up);
    }
    double f[3], x = px / 1000, y = py / 1000, z = (z_mm + height_mm) / 1000;
    for (int k = 0; k < 3; k++)
        w[k] = f[k] = -n * push[k]; /* the plate's answer */
    w[3] = y * f[2] - z * f[1];
    w[4] = z * f[0] - x * f[2];
    w[5] = x * f[1] - y * f[0];
}

/* A captured load of it, as a file or a run would give it. */
static inline void made_capture(struct made_plate *m, const struct made_person *p,
                                const struct uf_load *l, struct uf_reading *out)
{
    double w[6];
    memset(out, 0, sizeof *out);
    out->load = *l;
    made_load(p, &m->plate, l, &m->rng, w);
    made_read(m, w, out->above_raw);
    for (int i = 0; i < m->plate.cells; i++)
        for (int b = 0; b < 3; b++) {
            int ch = m->plate.cell[i].channel[b];
            double per = fabs(m->plate.cell[i].n_per_count[b]);
            out->sd_raw[ch] = hypot(m->noise_n, m->zero_n) / per;
            out->noise_raw[ch] = 30 * m->noise_n / per;
        }
}

/* 20 + 20 + 10 + 5 kg, of that relative tolerance; a workshop's tolerances for the rest. */
static inline void made_setup(struct uf_load_setup *s, double relative)
{
    static const double kg[4] = {20, 20, 10, 5};
    memset(s, 0, sizeof *s);
    s->gravity = (struct uf_gravity){9.8120, 5e-4};
    s->weights = 4;
    for (int i = 0; i < 4; i++) {
        s->weight[i].name[0] = (char)('A' + i);
        s->weight[i].mass_kg = kg[i];
        s->weight[i].tolerance_kg = kg[i] * relative;
    }
    s->pulley_tol_pct = 0.5;
    s->level_tol_deg = 0.2;
    s->drawing_tol_mm = 0.5;
    s->drawing_tol_deg = 0.2;
}

#endif

/* SPDX-License-Identifier: MIT
 * From forces on the plates to counts of the converter: see hardware.h. Pure; any thread. */
#include "sim/hardware.h"

#include <math.h>
#include <string.h>

#define PI       3.14159265358979323846
#define CELL_OUT (3 * UF_CELLS_MAX)
#define DEAD_N   25.0  /* weight of a plate's top on a cell, and bridge offset, N, 1 SD */
#define WANDER_S 900.0 /* period of the warm-up and draught part of drift */

/* One output of a cell: direction and place in the plate's axes. */
struct output {
    int cell, axis, channel;
    double wrench[UF_COMPONENTS]; /* of a unit force there: column of the statics */
};

static size_t outputs_of(const struct uf_plate *plate, struct output *out)
{
    size_t n = 0;
    for (int i = 0; i < plate->cells; i++) {
        const struct uf_cell *c = &plate->cell[i];
        double x = c->x_mm / 1000, y = c->y_mm / 1000, z = c->z_mm / 1000;
        double co = cos(c->turn_deg * PI / 180), si = sin(c->turn_deg * PI / 180);
        double axes[3][3] = {{co, si, 0}, {-si, co, 0}, {0, 0, 1}};
        for (int k = 0; k < 3; k++) {
            if (c->channel[k] < 0)
                continue;
            const double *d = axes[k];
            out[n++] = (struct output){
                i,
                k,
                c->channel[k],
                {d[0], d[1], d[2], y * d[2] - z * d[1], z * d[0] - x * d[2], x * d[1] - y * d[0]}};
        }
    }
    return n;
}

/* Inverse of the symmetric a by Gauss-Jordan; components that no output bears stay zero. No
 * exchange of rows: a mirrored plate gives the mirrored bits. */
static void invert(double a[UF_COMPONENTS][UF_COMPONENTS], double out[UF_COMPONENTS][UF_COMPONENTS])
{
    double greatest = 0;
    for (int i = 0; i < UF_COMPONENTS; i++)
        greatest = fmax(greatest, a[i][i]);
    memset(out, 0, sizeof(double) * UF_COMPONENTS * UF_COMPONENTS);
    bool dead[UF_COMPONENTS] = {false};
    for (int i = 0; i < UF_COMPONENTS; i++)
        out[i][i] = 1;
    for (int i = 0; i < UF_COMPONENTS; i++) {
        double pivot = a[i][i];
        if (pivot < 1e-10 * greatest) {
            dead[i] = true;
            continue;
        }
        for (int k = 0; k < UF_COMPONENTS; k++) {
            a[i][k] /= pivot;
            out[i][k] /= pivot;
        }
        for (int j = 0; j < UF_COMPONENTS; j++) {
            double f = a[j][i];
            if (j == i || f == 0)
                continue;
            for (int k = 0; k < UF_COMPONENTS; k++) {
                a[j][k] -= f * a[i][k];
                out[j][k] -= f * out[i][k];
            }
        }
    }
    for (int i = 0; i < UF_COMPONENTS; i++)
        for (int k = 0; k < UF_COMPONENTS; k++)
            if (dead[i] || dead[k])
                out[i][k] = 0;
}

/* share[o][w]: force in output o for a unit of wrench component w: G^T (G G^T)^-1. */
static void share_out(const struct output *o, size_t n, double share[CELL_OUT][UF_COMPONENTS])
{
    double gram[UF_COMPONENTS][UF_COMPONENTS] = {{0}}, inverse[UF_COMPONENTS][UF_COMPONENTS];
    for (int i = 0; i < UF_COMPONENTS; i++)
        for (int k = 0; k < UF_COMPONENTS; k++)
            for (size_t j = 0; j < n; j++)
                gram[i][k] += o[j].wrench[i] * o[j].wrench[k];
    invert(gram, inverse);
    for (size_t j = 0; j < n; j++)
        for (int k = 0; k < UF_COMPONENTS; k++) {
            share[j][k] = 0;
            for (int i = 0; i < UF_COMPONENTS; i++)
                share[j][k] += o[j].wrench[i] * inverse[i][k];
        }
}

/* Data-sheet scale with gain error on the diagonal and cross-talk beside it. */
static void draw_cell(const struct uf_cell *c, const struct uf_sim_settings *s,
                      struct uf_sim_rng *rng, struct uf_cell_matrix *out)
{
    memset(out, 0, sizeof *out);
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) {
            double error = uf_sim_rng_normal(rng, 0, i == j ? s->gain_spread : s->crosstalk);
            if (c->channel[i] >= 0 && c->channel[j] >= 0)
                out->k[i][j] = c->n_per_count[j] * ((i == j) + (s->perfect ? 0 : error));
        }
}

/* counts = inverse of the cell's matrix, restricted to the outputs that it has. */
static void invert_cell(const struct uf_cell *c, const struct uf_cell_matrix *m, double out[3][3])
{
    double a[3][3];
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            a[i][j] = c->channel[i] < 0 || c->channel[j] < 0 ? (i == j) : m->k[i][j];
    for (int i = 0; i < 3; i++) {
        int p = (i + 1) % 3, q = (i + 2) % 3;
        for (int j = 0; j < 3; j++) {
            int u = (j + 1) % 3, v = (j + 2) % 3;
            out[j][i] = a[p][u] * a[q][v] - a[p][v] * a[q][u]; /* cofactor, transposed */
        }
    }
    double det = a[0][0] * out[0][0] + a[0][1] * out[1][0] + a[0][2] * out[2][0];
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            out[i][j] = c->channel[i] < 0 || c->channel[j] < 0 ? 0 : out[i][j] / det;
}

static void plate_new(struct hardware *h, const struct uf_sim_settings *s, int index,
                      struct uf_sim_rng *rng)
{
    const struct uf_plate *plate = &h->rig.plate[index];
    struct output o[CELL_OUT];
    double share[CELL_OUT][UF_COMPONENTS], to_counts[UF_CELLS_MAX][3][3];
    size_t n = outputs_of(plate, o);
    share_out(o, n, share);
    for (int i = 0; i < plate->cells; i++) {
        draw_cell(&plate->cell[i], s, rng, &h->cell[index][i]);
        invert_cell(&plate->cell[i], &h->cell[index][i], to_counts[i]);
    }
    for (size_t j = 0; j < n; j++) {
        int ch = o[j].channel;
        double scale = fabs(plate->cell[o[j].cell].n_per_count[o[j].axis]);
        h->plate_of[ch] = index;
        for (int k = 0; k < UF_COMPONENTS; k++) {
            h->per_wrench[ch][k] = 0;
            for (size_t i = 0; i < n; i++)
                if (o[i].cell == o[j].cell)
                    h->per_wrench[ch][k] +=
                        to_counts[o[j].cell][o[j].axis][o[i].axis] * share[i][k];
        }
        double offset = uf_sim_rng_normal(rng, 0, DEAD_N) / scale;
        double drift = uf_sim_rng_normal(rng, 0, s->drift_n_per_h) / scale;
        double wander = uf_sim_rng_normal(rng, 0, s->drift_n_per_h / 8) / scale;
        h->wander_phase[ch] = uf_sim_rng_uniform(rng, 0, 2 * PI);
        if (!s->perfect) {
            h->offset_raw[ch] = offset;
            h->drift_raw_s[ch] = drift / 3600;
            h->wander_raw[ch] = wander;
            h->noise_raw[ch] = s->noise_n / scale;
        }
    }
}

void uf_sim_hardware_new(struct hardware *h, const struct uf_sim_settings *s)
{
    memset(h, 0, sizeof *h);
    h->rig = s->rig;
    h->rail_raw = (int32_t)((1u << (s->adc_bits - 1)) - 1);
    struct uf_sim_rng rng;
    uf_sim_rng_seed(&rng, s->seed ^ 0xCE115u);
    uf_sim_rng_seed(&h->noise, s->seed ^ 0x4015Eu);
    for (int ch = 0; ch < UF_CHANNELS_MAX; ch++)
        h->plate_of[ch] = -1;
    for (int p = 0; p < h->rig.plates; p++)
        plate_new(h, s, p, &rng);
}

/* About the sensor origin, in the plate's axes. */
static void own_wrench(const struct uf_plate *plate, const struct plate_wrench *w,
                       double out[UF_COMPONENTS])
{
    double x = plate->centre_x_mm / 1000, y = plate->centre_y_mm / 1000;
    double h = plate->surface_mm / 1000;
    double f[2] = {w->fx_n, w->fy_n};
    /* about the middle of the top, then down by h: r = (0, 0, h) adds (-h Fy, h Fx, 0) */
    double m[2] = {w->mx_nm - y * w->fz_n - h * f[1], w->my_nm + x * w->fz_n + h * f[0]};
    double mz = w->mz_nm - (x * f[1] - y * f[0]);
    double co = 1, si = 0;
    if (plate->rotation_deg != 0) {
        co = cos(plate->rotation_deg * PI / 180);
        si = sin(plate->rotation_deg * PI / 180);
    }
    out[UF_FX] = co * f[0] + si * f[1];
    out[UF_FY] = -si * f[0] + co * f[1];
    out[UF_FZ] = w->fz_n;
    out[UF_MX] = co * m[0] + si * m[1];
    out[UF_MY] = -si * m[0] + co * m[1];
    out[UF_MZ] = mz;
}

uint8_t uf_sim_hardware_convert(struct hardware *h, const struct plate_wrench *w, double t_s,
                                int32_t *counts_raw)
{
    double own[UF_PLATES_MAX][UF_COMPONENTS];
    uint8_t status = 0;
    for (int p = 0; p < h->rig.plates; p++)
        own_wrench(&h->rig.plate[p], &w[p], own[p]);
    for (int ch = 0; ch < h->rig.channels; ch++) {
        counts_raw[ch] = 0;
        if (h->plate_of[ch] < 0)
            continue;
        const double *a = h->per_wrench[ch], *b = own[h->plate_of[ch]];
        double raw =
            a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3] + a[4] * b[4] + a[5] * b[5];
        if (h->noise_raw[ch] > 0)
            raw += uf_sim_rng_normal(&h->noise, 0, h->noise_raw[ch]);
        raw += h->offset_raw[ch] + h->drift_raw_s[ch] * t_s;
        if (h->wander_raw[ch] != 0)
            raw += h->wander_raw[ch] * sin(2 * PI / WANDER_S * t_s + h->wander_phase[ch]);
        raw = rint(raw);
        if (raw >= h->rail_raw || raw <= -h->rail_raw - 1) {
            status |= UF_STATUS_RAIL;
            raw = raw > 0 ? h->rail_raw : -h->rail_raw - 1;
        }
        counts_raw[ch] = (int32_t)raw;
    }
    return status;
}

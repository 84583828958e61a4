/* SPDX-License-Identifier: MIT
 * The live watch over what no load can make: see monitor.h. Pure. */
#include "plate/monitor.h"

#include <math.h>
#include <string.h>

#define BLOCK_S       0.2
#define MEAN_S        3.0  /* noise_n of a calibration is of a mean over about so long */
#define UNUSUAL       6    /* times what is expected */
#define LEAST_N       2.0  /* the zero drifts between two zeros; no property of a calibration */
#define LOADED_N      50.0 /* root sum of squares of the channels: less says nothing */
#define SUSPECT_AT    8    /* blocks in a row: longer than a swing is fast */
#define WELL_AT       25   /* blocks in a row */
#define ALIKE         0.9 /* cells with so much of the greatest rest are told apart by their load */
#define VERTICAL_WAYS 3   /* that a plate feels which has vertical outputs only */

static bool feels_horizontal(const struct uf_plate *plate)
{
    for (int i = 0; i < plate->cells; i++)
        if (plate->cell[i].channel[0] >= 0 || plate->cell[i].channel[1] >= 0)
            return true;
    return false;
}

static void start_plate(struct uf_monitor_plate *w, const struct uf_plate *plate,
                        const struct uf_leftover *l)
{
    int ways = feels_horizontal(plate) ? UF_COMPONENTS : VERTICAL_WAYS, n = 0;
    w->leftover = *l;
    w->watched =
        l->ways == ways && l->channels > ways && isfinite(l->reading_pct) && isfinite(l->noise_n);
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++)
            if (plate->cell[i].channel[k] >= 0)
                w->cell_of[n++] = i;
}

void uf_monitor_start(struct uf_monitor *m, const struct uf_rig *rig,
                      const struct uf_leftover *leftover, const bool *known)
{
    memset(m, 0, sizeof *m);
    m->plates = rig->plates;
    m->channels = rig->channels;
    for (int p = 0; p < rig->plates; p++) {
        m->plate[p].cell = -1;
        m->plate[p].left_n = m->plate[p].limit_n = NAN;
        if (leftover && known && known[p])
            start_plate(&m->plate[p], &rig->plate[p], &leftover[p]);
    }
}

void uf_monitor_cut(struct uf_monitor *m)
{
    m->samples = 0;
    memset(m->sum_raw, 0, sizeof m->sum_raw);
}

/* The cell where most is left over. The rest of four vertical outputs is the same at all of them:
 * then it is the one that carries least, for what fails, fails to carry. */
static int loudest(const struct uf_monitor_plate *w, const double *n, const double *left_n)
{
    double left[UF_CELLS_MAX] = {0}, carried[UF_CELLS_MAX] = {0}, most = 0;
    int best = -1;
    for (int j = 0; j < w->leftover.channels; j++) {
        left[w->cell_of[j]] += left_n[j] * left_n[j];
        carried[w->cell_of[j]] += n[j] * n[j];
    }
    for (int i = 0; i < UF_CELLS_MAX; i++)
        most = fmax(most, left[i]);
    for (int i = 0; i < UF_CELLS_MAX; i++)
        if (left[i] >= ALIKE * most && most > 0 && (best < 0 || carried[i] < carried[best]))
            best = i;
    return best;
}

/* One block; true when the plate's state has changed. */
static bool judge(struct uf_monitor_plate *w, const double *mean_raw)
{
    double n[UF_CHANNELS_MAX], left_n[UF_CHANNELS_MAX], square = 0;
    const struct uf_leftover *l = &w->leftover;
    uf_leftover_newtons(l, mean_raw, n);
    for (int j = 0; j < l->channels; j++)
        square += n[j] * n[j];
    if (!(square >= LOADED_N * LOADED_N))
        return false;
    w->left_n = sqrt(uf_leftover_rest(l, n, left_n) / (l->channels - l->ways));
    double expected_n = hypot(l->noise_n * sqrt(MEAN_S / BLOCK_S),
                              uf_leftover_expected(l, sqrt(square / l->channels)));
    w->limit_n = fmax(UNUSUAL * expected_n, LEAST_N);
    w->above = w->left_n > w->limit_n ? w->above + 1 : 0;
    w->below = w->left_n < w->limit_n / 2 ? w->below + 1 : 0;
    if (!w->suspect && w->above >= SUSPECT_AT) {
        w->suspect = true;
        w->cell = loudest(w, n, left_n);
        return true;
    }
    if (w->suspect && w->below >= WELL_AT) {
        w->suspect = false;
        w->cell = -1;
        return true;
    }
    return false;
}

unsigned uf_monitor_feed(struct uf_monitor *m, const int32_t *counts_raw, const double *tare_raw,
                         double rate_hz)
{
    unsigned changed = 0;
    for (int c = 0; c < m->channels; c++)
        m->sum_raw[c] += counts_raw[c] - tare_raw[c];
    if (++m->samples < BLOCK_S * rate_hz)
        return 0;
    for (int c = 0; c < m->channels; c++)
        m->sum_raw[c] /= m->samples;
    for (int p = 0; p < m->plates; p++)
        if (m->plate[p].watched && judge(&m->plate[p], m->sum_raw))
            changed |= 1u << p;
    uf_monitor_cut(m);
    return changed;
}

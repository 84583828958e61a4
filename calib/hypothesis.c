/* SPDX-License-Identifier: MIT
 * Simple explanations: see hypothesis.h. Pure. */
#include "calib/hypothesis.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define EXPLAINS       0.35 /* of the contradiction may be left .. */
#define EXPLAINS_WELL  0.5  /* .. or so much where what is left is no more than .. */
#define WELL           1.5  /* .. what is stated (1) or nearly */
#define HYPOTHESES_MAX 1500 /* 36 channels: 630 pairs, and 36 * 24 with the other plate's */
#define FINALISTS      12   /* are fitted; the others fall by the data sheet alone */

/* ---- what each would mean for the readings ---- */

static void swap(double *v, int a, int b)
{
    double t = v[a];
    v[a] = v[b];
    v[b] = t;
}

static void swap_channels(struct uf_reading *r, int a, int b)
{
    if (a < 0 || b < 0)
        return;
    swap(r->above_raw, a, b);
    swap(r->sd_raw, a, b);
    swap(r->zero_raw, a, b);
}

static void mirror(struct uf_load *l, bool x, bool y)
{
    if (x) {
        l->x_mm = -l->x_mm;
        l->towards_deg = 180 - l->towards_deg;
    }
    if (y) {
        l->y_mm = -l->y_mm;
        l->towards_deg = -l->towards_deg;
    }
}

static void scale_places(struct uf_load *l, double by)
{
    l->x_mm *= by;
    l->y_mm *= by;
}

static void apply(const struct uf_hypothesis *h, const struct uf_rig *rig, int plate,
                  struct uf_reading *r)
{
    const struct uf_plate *p = &rig->plate[plate];
    struct uf_load *l = &r->load;
    switch (h->kind) {
    case UF_HYP_SWAP_CHANNELS:
        swap_channels(r, h->a, h->b);
        break;
    case UF_HYP_SWAP_CELLS:
        for (int k = 0; k < 3; k++)
            swap_channels(r, p->cell[h->a].channel[k], p->cell[h->b].channel[k]);
        break;
    case UF_HYP_SWAP_PLATES:
        for (int c = 0; c < p->cells; c++)
            for (int k = 0; k < 3; k++)
                swap_channels(r, p->cell[c].channel[k], rig->plate[1 - plate].cell[c].channel[k]);
        break;
    case UF_HYP_SWAP_AXES:
        for (int c = 0; c < p->cells; c++)
            swap_channels(r, p->cell[c].channel[0], p->cell[c].channel[1]);
        break;
    case UF_HYP_REVERSED:
        r->above_raw[h->a] = -r->above_raw[h->a];
        break;
    case UF_HYP_UPSIDE_DOWN:
        for (int ch = 0; ch < UF_CHANNELS_MAX; ch++)
            r->above_raw[ch] = -r->above_raw[ch];
        break;
    case UF_HYP_MIRROR_X:
        mirror(l, true, false);
        break;
    case UF_HYP_MIRROR_Y:
        mirror(l, false, true);
        break;
    case UF_HYP_HALF_TURN:
        mirror(l, true, true);
        break;
    case UF_HYP_SWAP_XY: {
        double x = l->x_mm;
        l->x_mm = l->y_mm;
        l->y_mm = x;
        l->towards_deg = 90 - l->towards_deg;
        break;
    }
    case UF_HYP_CENTIMETRES:
        scale_places(l, 10);
        break;
    case UF_HYP_INCHES:
        scale_places(l, 25.4);
        break;
    default: /* masses: in the setup */
        break;
    }
}

static void apply_setup(const struct uf_hypothesis *h, struct uf_load_setup *s)
{
    double by = h->kind == UF_HYP_NEWTONS  ? 1 / s->gravity.g_m_s2
                : h->kind == UF_HYP_POUNDS ? 0.45359237
                                           : 1;
    for (int i = 0; i < s->weights; i++) {
        s->weight[i].mass_kg *= by;
        s->weight[i].tolerance_kg *= by;
    }
}

/* ---- how well it fits ---- */

/* Mean square of the fit's residuals in stated units; INFINITY where there is no fit. */
static int misfit(const struct uf_rig *rig, int plate, const struct uf_load_setup *setup,
                  const struct uf_reading *r, int n, const struct uf_fit_settings *s, double *out,
                  struct uf_error *err)
{
    struct uf_fit *f;
    struct uf_error inner = {0, ""};
    int rc = uf_fit_new(&f, UF_MODEL_CELLS, rig, plate, setup, r, n, s, &inner);
    *out = INFINITY;
    if (rc == UF_ENOMEM)
        return uf_fail(err, rc, "%s", inner.text);
    if (rc == UF_OK) {
        *out = f->scale * f->scale;
        uf_fit_free(f);
    }
    return UF_OK;
}

struct candidate {
    struct uf_hypothesis h;
    double score;
};

struct search {
    const struct uf_rig *rig;
    int plate;
    const struct uf_load_setup *setup;
    const struct uf_reading *r;
    int n;
    const struct uf_fit_settings *s;
    struct uf_reading *copy; /* [n] */
    struct uf_calibration *sheet;
    struct candidate *candidate;
    int candidates;
};

static void suppose(struct search *q, const struct uf_hypothesis *h, struct uf_load_setup *setup)
{
    *setup = *q->setup;
    memcpy(q->copy, q->r, (size_t)q->n * sizeof *q->copy);
    for (int i = 0; i < q->n; i++)
        apply(h, q->rig, q->plate, &q->copy[i]);
    apply_setup(h, setup);
}

/* How far the data sheet is from the loads, each component by its own size. */
static double sheet_misfit(const struct search *q, const struct uf_load_setup *setup)
{
    const struct uf_plate_matrix *m = &q->sheet->plate[q->plate];
    double error[UF_COMPONENTS] = {0}, size[UF_COMPONENTS] = {0}, all = 0, score = 0;
    for (int i = 0; i < q->n; i++) {
        struct uf_load_wrench known;
        if (q->copy[i].load.plate != q->plate)
            continue;
        uf_load_wrench_of(setup, &q->rig->plate[q->plate], &q->copy[i].load, &known);
        for (int k = 0; k < UF_COMPONENTS; k++) {
            double got = 0;
            for (int ch = 0; ch < q->rig->channels; ch++)
                got += m->c[k][ch] * q->copy[i].above_raw[ch];
            error[k] += (got - known.w[k]) * (got - known.w[k]);
            size[k] += known.w[k] * known.w[k];
            all += known.w[k] * known.w[k];
        }
    }
    for (int k = 0; k < UF_COMPONENTS; k++)
        score += error[k] / (size[k] + 1e-4 * all + 1e-9);
    return score;
}

static void try_one(struct search *q, enum uf_hypothesis_kind kind, int a, int b)
{
    struct uf_load_setup setup;
    if (q->candidates == HYPOTHESES_MAX)
        return;
    struct candidate *c = &q->candidate[q->candidates++];
    c->h = (struct uf_hypothesis){kind, a, b};
    suppose(q, &c->h, &setup);
    c->score = sheet_misfit(q, &setup);
}

/* All pairs of channels of the plate, and with the other plate's. */
static void try_channels(struct search *q)
{
    int own[UF_CHANNELS_MAX], other[UF_CHANNELS_MAX];
    int n = uf_plate_channels(&q->rig->plate[q->plate], own);
    int m = q->rig->plates == 2 ? uf_plate_channels(&q->rig->plate[1 - q->plate], other) : 0;
    for (int i = 0; i < n; i++) {
        try_one(q, UF_HYP_REVERSED, own[i], 0);
        for (int j = 0; j < i; j++)
            try_one(q, UF_HYP_SWAP_CHANNELS, own[j], own[i]);
        for (int j = 0; j < m; j++)
            try_one(q, UF_HYP_SWAP_CHANNELS, own[i], other[j]);
    }
}

static void try_all(struct search *q)
{
    static const enum uf_hypothesis_kind simple[] = {
        UF_HYP_UPSIDE_DOWN, UF_HYP_SWAP_AXES, UF_HYP_MIRROR_X, UF_HYP_MIRROR_Y,    UF_HYP_HALF_TURN,
        UF_HYP_SWAP_XY,     UF_HYP_NEWTONS,   UF_HYP_POUNDS,   UF_HYP_CENTIMETRES, UF_HYP_INCHES};
    const struct uf_rig *rig = q->rig;
    for (size_t i = 0; i < sizeof simple / sizeof simple[0]; i++)
        try_one(q, simple[i], 0, 0);
    for (int i = 0; i < rig->plate[q->plate].cells; i++)
        for (int j = 0; j < i; j++)
            try_one(q, UF_HYP_SWAP_CELLS, j, i);
    if (rig->plates == 2 && rig->plate[0].cells == rig->plate[1].cells)
        try_one(q, UF_HYP_SWAP_PLATES, 0, 0);
    try_channels(q);
}

static int by_score(const void *a, const void *b)
{
    double x = ((const struct candidate *)a)->score, y = ((const struct candidate *)b)->score;
    return (x > y) - (x < y);
}

int uf_hypothesis_best(const struct uf_rig *rig, int plate, const struct uf_load_setup *setup,
                       const struct uf_reading *r, int n, const struct uf_fit_settings *s,
                       struct uf_hypothesis *out, bool *found, struct uf_error *err)
{
    struct search q = {.rig = rig, .plate = plate, .setup = setup, .r = r, .n = n, .s = s};
    double as_it_is, best = INFINITY;
    *found = false;
    int rc = misfit(rig, plate, setup, r, n, s, &as_it_is, err);
    if (rc != UF_OK)
        return rc;
    q.copy = calloc((size_t)n + 1, sizeof *q.copy);
    q.sheet = calloc(1, sizeof *q.sheet);
    q.candidate = calloc(HYPOTHESES_MAX, sizeof *q.candidate);
    if (!q.copy || !q.sheet || !q.candidate) {
        rc = uf_fail(err, UF_ENOMEM, "no memory for %d loads", n);
        goto done;
    }
    uf_calibration_nominal(rig, q.sheet);
    try_all(&q);
    qsort(q.candidate, (size_t)q.candidates, sizeof *q.candidate, by_score);
    for (int i = 0; i < q.candidates && i < FINALISTS && rc == UF_OK; i++) {
        struct uf_load_setup supposed;
        double value;
        suppose(&q, &q.candidate[i].h, &supposed);
        rc = misfit(rig, plate, &supposed, q.copy, n, s, &value, err);
        if (rc == UF_OK && value < best) {
            best = value;
            *out = q.candidate[i].h;
        }
    }
    *found = rc == UF_OK &&
             (best < EXPLAINS * as_it_is || (best < WELL && best < EXPLAINS_WELL * as_it_is));
done:
    free(q.copy);
    free(q.sheet);
    free(q.candidate);
    return rc;
}

/* ---- in words ---- */

static void name_channel(const struct uf_rig *rig, int ch, char *text, size_t size)
{
    for (int p = 0; p < rig->plates; p++)
        for (int c = 0; c < rig->plate[p].cells; c++)
            for (int k = 0; k < 3; k++)
                if (rig->plate[p].cell[c].channel[k] == ch) {
                    snprintf(text, size, "channel %d (%c of cell %s, %s plate)", ch, 'x' + k,
                             rig->plate[p].cell[c].name, uf_place_name(rig->plate[p].place));
                    return;
                }
    snprintf(text, size, "channel %d", ch);
}

void uf_hypothesis_text(const struct uf_hypothesis *h, const struct uf_rig *rig, int plate,
                        char *text, size_t size)
{
    const struct uf_plate *p = &rig->plate[plate];
    const char *name = uf_place_name(p->place);
    char a[64], b[64];
    switch (h->kind) {
    case UF_HYP_SWAP_CHANNELS:
        name_channel(rig, h->a, a, sizeof a);
        name_channel(rig, h->b, b, sizeof b);
        snprintf(text, size,
                 "%s and %s look swapped: all loads fit when the two change places. Swap the two "
                 "cables, or their numbers under \"channels\" in the settings; then solve again",
                 a, b);
        break;
    case UF_HYP_SWAP_CELLS:
        snprintf(text, size,
                 "cells %s and %s of the %s plate look swapped: all loads fit when they change "
                 "places. Swap their plugs, or their at_mm in the settings; then solve again",
                 p->cell[h->a].name, p->cell[h->b].name, name);
        break;
    case UF_HYP_SWAP_PLATES:
        snprintf(text, size,
                 "the two plates look swapped: loads said to lie on the %s plate are felt by the "
                 "other one. Swap the plugs, or the channels in the settings, or mend \"plate\" in "
                 "the loads",
                 name);
        break;
    case UF_HYP_SWAP_AXES:
        snprintf(text, size,
                 "the x and y outputs of all cells of the %s plate look swapped: mend \"channels\" "
                 "or turn_deg of its cells in the settings; then solve again",
                 name);
        break;
    case UF_HYP_REVERSED:
        name_channel(rig, h->a, a, sizeof a);
        snprintf(text, size,
                 "%s counts the other way: all loads fit when its sign is turned. Swap its two "
                 "signal wires, or turn the sign of its n_per_count in the settings",
                 a);
        break;
    case UF_HYP_UPSIDE_DOWN:
        snprintf(text, size,
                 "all channels of the %s plate count the other way: turn the signs of n_per_count "
                 "in the settings (a weight on the plate must read +Fz, a pull to the right -Fx)",
                 name);
        break;
    case UF_HYP_MIRROR_X:
        snprintf(text, size,
                 "the %s plate is mirrored left to right: all loads fit when x changes its sign. "
                 "Either the drawing lay the wrong way up, or at_mm of the cells is mirrored in "
                 "the settings: x grows to the golfer's right",
                 name);
        break;
    case UF_HYP_MIRROR_Y:
        snprintf(text, size,
                 "the %s plate is mirrored front to back: all loads fit when y changes its sign. "
                 "Either the drawing lay the wrong way up, or at_mm of the cells is mirrored in "
                 "the settings: y grows towards the toes",
                 name);
        break;
    case UF_HYP_HALF_TURN:
        snprintf(text, size,
                 "the drawing lay on the %s plate turned by 180 degrees, or the plate is built in "
                 "so: all loads fit when x and y change their signs. Turn the plate, or say "
                 "rotation_deg = 180 and measure places in the plate's own axes",
                 name);
        break;
    case UF_HYP_SWAP_XY:
        snprintf(text, size,
                 "x and y of the loads on the %s plate look swapped: all loads fit when they "
                 "change places. x is to the golfer's right, y towards the toes",
                 name);
        break;
    case UF_HYP_NEWTONS:
        snprintf(text, size,
                 "the masses look like newtons: all loads on the %s plate fit when they are "
                 "divided by 9.81. Give kilograms",
                 name);
        break;
    case UF_HYP_POUNDS:
        snprintf(text, size,
                 "the masses look like pounds: all loads on the %s plate fit when they are "
                 "multiplied by 0.4536. Give kilograms",
                 name);
        break;
    case UF_HYP_CENTIMETRES:
        snprintf(text, size, "the places on the %s plate look like centimetres: give millimetres",
                 name);
        break;
    case UF_HYP_INCHES:
        snprintf(text, size, "the places on the %s plate look like inches: give millimetres", name);
        break;
    }
}

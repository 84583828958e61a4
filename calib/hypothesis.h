/* SPDX-License-Identifier: MIT
 * Inside calib: simple explanations for loads that contradict the plate's description, tried one
 * after another. Pure. */
#ifndef UF_CALIB_HYPOTHESIS_H
#define UF_CALIB_HYPOTHESIS_H

#include "calib/fit.h"

enum uf_hypothesis_kind {
    UF_HYP_SWAP_CHANNELS, /* a, b: channels */
    UF_HYP_SWAP_CELLS,    /* a, b: cells of the plate */
    UF_HYP_SWAP_PLATES,   /* all channels with the other plate's */
    UF_HYP_SWAP_AXES,     /* x and y outputs of all cells */
    UF_HYP_REVERSED,      /* a: channel counts the other way */
    UF_HYP_UPSIDE_DOWN,   /* all of them */
    UF_HYP_MIRROR_X,      /* places of the loads: x to -x */
    UF_HYP_MIRROR_Y,
    UF_HYP_HALF_TURN,
    UF_HYP_SWAP_XY,     /* x for y */
    UF_HYP_NEWTONS,     /* masses are newtons */
    UF_HYP_POUNDS,      /* masses are pounds */
    UF_HYP_CENTIMETRES, /* places are centimetres */
    UF_HYP_INCHES
};

struct uf_hypothesis {
    enum uf_hypothesis_kind kind;
    int a, b;
};

/* The explanation under which the readings fit best; found: it takes away nearly all of the
 * contradiction, and no other kind does as well. */
int uf_hypothesis_best(const struct uf_rig *rig, int plate, const struct uf_load_setup *setup,
                       const struct uf_reading *r, int n, const struct uf_fit_settings *s,
                       struct uf_hypothesis *out, bool *found, struct uf_error *err);

/* What it means and what to do, as sentences. */
void uf_hypothesis_text(const struct uf_hypothesis *h, const struct uf_rig *rig, int plate,
                        char *text, size_t size);

#endif

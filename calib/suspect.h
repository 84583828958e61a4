/* SPDX-License-Identifier: MIT
 * What is wrong with a set of captured loads, named: a dead or saturated channel, swapped cables, a
 * swapped axis, a mirrored plate, newtons for kilograms, centimetres for millimetres, and single
 * loads that do not belong to the others (a wrong weight, a wrong place, a person leaning). Each
 * finding is a sentence with what to do. Pure. */
#ifndef UF_CALIB_SUSPECT_H
#define UF_CALIB_SUSPECT_H

#include "calib/fit.h"

#define UF_FINDINGS_MAX 32

enum uf_finding_kind {
    UF_FINDING_RAIL,      /* a channel at the converter's end */
    UF_FINDING_DEAD,      /* a channel that answers to nothing */
    UF_FINDING_UNMAPPED,  /* no counts above zero at all */
    UF_FINDING_SWAPPED,   /* two channels, two cells, an axis: cables or channel map */
    UF_FINDING_REVERSED,  /* a channel that counts the other way */
    UF_FINDING_MIRRORED,  /* the places of the loads, or the plate as described */
    UF_FINDING_UNIT,      /* masses or places in another unit */
    UF_FINDING_LOAD,      /* one load that does not belong to the others */
    UF_FINDING_DISAGREES, /* the loads contradict each other, for no reason found */
    UF_FINDING_WEAK,      /* a component that the loads do not identify */
    UF_FINDING_GAIN       /* a cell far from its data sheet: only worth a look */
};

struct uf_finding {
    enum uf_finding_kind kind;
    bool grave;  /* the calibration must not be used as it is */
    int reading; /* index in the caller's array; -1: not about one */
    int channel; /* -1: not about one */
    char text[480];
};

struct uf_findings {
    int n;
    struct uf_finding finding[UF_FINDINGS_MAX];
};

/* Of plate p. fit: of these readings by model CELLS or by the better one. Adds to out (which the
 * caller has set to zero). adc_bits: of the converter. Loads are called "load 1" on, by
 * number[i] + 1 of reading i (number NULL: by i). */
int uf_suspect(const struct uf_rig *rig, int plate, const struct uf_load_setup *setup,
               const struct uf_reading *r, const int *number, int n,
               const struct uf_fit_settings *settings, int adc_bits, const struct uf_fit *fit,
               struct uf_findings *out, struct uf_error *err);

bool uf_findings_grave(const struct uf_findings *f);

#endif

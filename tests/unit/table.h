/* SPDX-License-Identifier: MIT
 * One swing on the example rig with all that an analysis is given, for tests of its uncertainties.
 */
#ifndef UF_TESTS_TABLE_H
#define UF_TESTS_TABLE_H

#include "script.h"

struct table {
    struct uf_rig rig;
    struct uf_calibration cal;
    struct uf_analysis_settings settings;
    struct uf_given given;
    struct uf_capture *capture;
};

/* Calibrated with known weights; nothing is uncertain but what a test says. */
static inline void set_table(struct table *t)
{
    uf_rig_example(&t->rig);
    uf_calibration_nominal(&t->rig, &t->cal);
    t->cal.nominal = false;
    uf_analysis_defaults(&t->settings);
    uf_given_nothing(&t->given);
    t->given.system_known = true;
    t->capture = perform(&usual, &t->rig);
}

#endif

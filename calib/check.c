/* SPDX-License-Identifier: MIT
 * The daily check: see check.h. Pure. */
#include "calib/check.h"

#include "plate/wrench.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define UNUSUAL 6 /* times what is expected */

void uf_check_defaults(struct uf_check_limits *l)
{
    *l = (struct uf_check_limits){0.5, 3, 1, 1};
}

int uf_check_load(const struct uf_plate *plate, const struct uf_plate_matrix *matrix,
                  const struct uf_leftover *leftover, const struct uf_load_setup *setup,
                  const struct uf_reading *r, bool person, const struct uf_check_limits *limits,
                  struct uf_plate_check *out, char sentence[400], struct uf_error *err)
{
    struct uf_load_wrench known;
    struct uf_wrench w;
    struct uf_cop at;
    if (!matrix->known[UF_FZ])
        return uf_fail(err, UF_EINVAL,
                       "the calibration in force does not know the vertical force of the %s plate: "
                       "calibrate it with weights",
                       uf_place_name(plate->place));
    memset(out, 0, sizeof *out);
    uf_load_wrench_of(setup, plate, &r->load, &known);
    uf_wrench_of_mean(matrix, r->above_raw, UF_CHANNELS_MAX, &w);
    uf_cop_of(&w, plate->surface_mm, UF_COP_MIN_N_DEFAULT, &at);
    double tolerance_kg = 0;
    for (int i = 0; i < r->load.pieces; i++)
        tolerance_kg += setup->weight[r->load.piece[i]].tolerance_kg;
    out->plate = plate->place;
    out->known_n = known.w[UF_FZ];
    out->vertical_n = w.fz_n;
    out->horizontal_n = hypot(w.fx_n, w.fy_n);
    out->x_mm = person ? NAN : r->load.x_mm;
    out->y_mm = person ? NAN : r->load.y_mm;
    out->place_error_mm = person ? NAN : hypot(at.x_mm - r->load.x_mm, at.y_mm - r->load.y_mm);
    double vertical_n =
        limits->vertical_pct / 100 * out->known_n + tolerance_kg * setup->gravity.g_m_s2;
    double place_mm = limits->place_mm + r->load.place_tol_mm + setup->drawing_tol_mm;
    double horizontal_n =
        (limits->horizontal_pct / 100 + setup->level_tol_deg * 3.14159265358979323846 / 180) *
        out->known_n;
    bool vertical = fabs(out->vertical_n - out->known_n) <= vertical_n;
    bool place = !(out->place_error_mm > place_mm); /* NAN: not judged */
    bool level = person || !(out->horizontal_n > horizontal_n);
    double left_n = NAN, expected_n = NAN;
    if (leftover)
        uf_leftover_of(leftover, r->above_raw, &left_n, &expected_n);
    bool whole = !(left_n > fmax(UNUSUAL * expected_n, limits->leftover_pct / 100 * out->known_n));
    out->passed = vertical && place && level && whole;
    char where[64] = "", off[64] = "";
    if (!person)
        snprintf(where, sizeof where, " at %g, %g mm", r->load.x_mm, r->load.y_mm);
    if (!isnan(out->place_error_mm))
        snprintf(off, sizeof off, ", %.1f mm off", out->place_error_mm);
    const char *advice =
        out->passed ? "good"
        : !whole ? "its cells share the load in a way that no load can make: a loose foot, a dead "
                   "cell, or a plate that touches its frame. Look at the plate; calibrate anew "
                   "if it was rebuilt"
        : !vertical ? "too far off: is the plate free of its frame, is the weight the right one? "
                      "Zero and check again; calibrate anew if it stays so"
        : !place    ? "its place is too far off: does it lie there, does a foot of the plate hang? "
                      "Check again; calibrate anew if it stays so"
                    : "it is felt along the ground too much: is the plate level and free of its "
                      "frame all round?";
    snprintf(sentence, 400, "%s plate%s: %.2f N of %.2f N (%+.2f %%)%s: %s",
             uf_place_name(plate->place), where, out->vertical_n, out->known_n,
             100 * (out->vertical_n / out->known_n - 1), off, advice);
    return UF_OK;
}

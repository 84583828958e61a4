/* SPDX-License-Identifier: MIT
 * Plate matrices from cell matrices: see calibration.h. Pure. */
#include "plate/calibration.h"

#include <math.h>
#include <string.h>

#define LINES_LEAST 1e-3 /* of the determinant of three equal, independent lines */

/* One cell's outputs in the plate's axes: R k, columns of missing outputs zero. */
static void turn_cell(const struct uf_cell *cell, const struct uf_cell_matrix *m, double rk[3][3])
{
    struct uf_turn t = uf_turn_of(cell->turn_deg);
    for (int j = 0; j < 3; j++) {
        bool there = cell->channel[j] >= 0;
        double x = there ? m->k[0][j] : 0, y = there ? m->k[1][j] : 0;
        rk[0][j] = t.cos * x - t.sin * y;
        rk[1][j] = t.sin * x + t.cos * y;
        rk[2][j] = there ? m->k[2][j] : 0;
    }
}

/* Do the lines of action of the horizontal outputs fix the plate in its plane? Not where all of
 * them meet in one point or are parallel: then a moment about z goes past the cells unseen. The
 * columns (direction, moment) of the outputs have rank 3, judged by the determinant of their Gram
 * matrix. */
static bool lines_fix(const struct uf_plate *plate)
{
    double g[3][3] = {{0}};
    double length_m = 1e-3; /* makes the moments comparable with the directions */
    for (int i = 0; i < plate->cells; i++)
        length_m = fmax(length_m, hypot(plate->cell[i].x_mm, plate->cell[i].y_mm) / 1000);
    for (int i = 0; i < plate->cells; i++) {
        const struct uf_cell *cell = &plate->cell[i];
        struct uf_turn t = uf_turn_of(cell->turn_deg);
        for (int j = 0; j < 2; j++) {
            if (cell->channel[j] < 0)
                continue;
            double v[3] = {j == 0 ? t.cos : -t.sin, j == 0 ? t.sin : t.cos, 0};
            v[2] = (cell->x_mm * v[1] - cell->y_mm * v[0]) / 1000 / length_m;
            for (int r = 0; r < 3; r++)
                for (int c = 0; c < 3; c++)
                    g[r][c] += v[r] * v[c];
        }
    }
    double det = g[0][0] * (g[1][1] * g[2][2] - g[1][2] * g[2][1]) -
                 g[0][1] * (g[1][0] * g[2][2] - g[1][2] * g[2][0]) +
                 g[0][2] * (g[1][0] * g[2][1] - g[1][1] * g[2][0]);
    double mean = (g[0][0] + g[1][1] + g[2][2]) / 3;
    return det > LINES_LEAST * mean * mean * mean;
}

void uf_compose_cells(const struct uf_plate *plate, const struct uf_cell_matrix *cells,
                      struct uf_plate_matrix *out)
{
    memset(out, 0, sizeof *out);
    bool force[3] = {false, false, false};
    bool level = true; /* all cells in the plane of the sensors' origin */
    for (int i = 0; i < plate->cells; i++) {
        const struct uf_cell *cell = &plate->cell[i];
        double x = cell->x_mm / 1000, y = cell->y_mm / 1000, z = cell->z_mm / 1000;
        double rk[3][3];
        turn_cell(cell, &cells[i], rk);
        level = level && z == 0;
        for (int j = 0; j < 3; j++) {
            int ch = cell->channel[j];
            if (ch < 0)
                continue;
            double fx = rk[0][j], fy = rk[1][j], fz = rk[2][j];
            out->c[UF_FX][ch] += fx;
            out->c[UF_FY][ch] += fy;
            out->c[UF_FZ][ch] += fz;
            out->c[UF_MX][ch] += y * fz - z * fy;
            out->c[UF_MY][ch] += z * fx - x * fz;
            out->c[UF_MZ][ch] += x * fy - y * fx;
            /* an output measures the direction it is named after, wherever it is turned to; its
             * cross-talk into another direction does not make it a measure of that */
            struct uf_turn t = uf_turn_of(cell->turn_deg);
            force[0] = force[0] || (j == 0 && t.cos != 0) || (j == 1 && t.sin != 0);
            force[1] = force[1] || (j == 0 && t.sin != 0) || (j == 1 && t.cos != 0);
            force[2] = force[2] || j == 2;
        }
    }
    out->known[UF_FX] = force[0];
    out->known[UF_FY] = force[1];
    out->known[UF_FZ] = force[2];
    out->known[UF_MX] = force[2] && (level || force[1]);
    out->known[UF_MY] = force[2] && (level || force[0]);
    out->known[UF_MZ] = force[0] && force[1] && lines_fix(plate);
    for (int r = 0; r < UF_COMPONENTS; r++)
        if (!out->known[r])
            memset(out->c[r], 0, sizeof out->c[r]);
}

void uf_calibration_nominal(const struct uf_rig *rig, struct uf_calibration *out)
{
    memset(out, 0, sizeof *out);
    strcpy(out->name, "data sheet");
    out->nominal = true;
    out->plates = rig->plates;
    for (int p = 0; p < rig->plates; p++) {
        const struct uf_plate *plate = &rig->plate[p];
        struct uf_cell_matrix cells[UF_CELLS_MAX];
        memset(cells, 0, sizeof cells);
        for (int i = 0; i < plate->cells; i++)
            for (int k = 0; k < 3; k++)
                if (plate->cell[i].channel[k] >= 0)
                    cells[i].k[k][k] = plate->cell[i].n_per_count[k];
        uf_compose_cells(plate, cells, &out->plate[p]);
    }
}

#define SCALE_MOST 2.0 /* of the data-sheet scale, and its inverse the least */
#define LEVER_MOST 1.5 /* of the farthest that a force can act from the sensor origin */

static int output_plausible(const struct uf_plate *plate, const struct uf_cell *cell, int axis,
                            const struct uf_plate_matrix *m, struct uf_error *err)
{
    static const char axis_name[] = "xyz", *const moment[] = {"Mx", "My", "Mz"};
    int ch = cell->channel[axis];
    double scale = cell->n_per_count[axis], ratio = m->c[UF_FZ][ch] / scale;
    const char *place = uf_place_name(plate->place);
    if (axis == 2 && m->known[UF_FZ] && !(ratio >= 1 / SCALE_MOST && ratio <= SCALE_MOST))
        return uf_fail(
            err, UF_EINVAL,
            "%s plate, cell %s, channel %d: its Fz is %.3g times the data-sheet scale of "
            "%g N a count%s; mend n_per_count in the rig, or the calibration (newtons, "
            "force on the golfer)",
            place, cell->name, ch, ratio, scale, ratio < 0 ? ", so the sign is turned round" : "");
    double lever_m = hypot(hypot(plate->size_x_mm, plate->size_y_mm) / 2, plate->surface_mm) / 1000;
    for (int r = UF_MX; r <= UF_MZ; r++) {
        double lever = fabs(m->c[r][ch] / scale);
        if (m->known[r] && !(lever <= LEVER_MOST * SCALE_MOST * lever_m))
            return uf_fail(err, UF_EINVAL,
                           "%s plate, cell %s, channel %d %c: its %s has a lever of %.3g m, longer "
                           "than the plate; moments are in N m, not N mm",
                           place, cell->name, ch, axis_name[axis], moment[r - UF_MX], lever);
    }
    return UF_OK;
}

int uf_calibration_plausible(const struct uf_rig *rig, const struct uf_calibration *cal,
                             struct uf_error *err)
{
    int rc = UF_OK;
    for (int p = 0; p < rig->plates; p++)
        for (int i = 0; i < rig->plate[p].cells; i++)
            for (int axis = 0; axis < 3 && rc == UF_OK; axis++)
                if (rig->plate[p].cell[i].channel[axis] >= 0)
                    rc = output_plausible(&rig->plate[p], &rig->plate[p].cell[i], axis,
                                          &cal->plate[p], err);
    return rc;
}

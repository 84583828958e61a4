/* SPDX-License-Identifier: MIT
 * Known loads: see load.h. Pure. */
#include "calib/load.h"

#include <math.h>
#include <string.h>

#define RAD(deg)         ((deg)*3.14159265358979323846 / 180)
#define HALF_WIDTH_TO_SD 0.57735026918962576451 /* rectangular distribution, GUM 4.3.7 */
#define EDGE_MM          5 /* a load may overhang the plate's edge by so much */
#define SAME_MM          1
#define SAME_DEG         1
#define MASS_MAX_KG      500
#define STEEP_DEG        45

static const char *const kind_names[UF_LOAD_KINDS] = {"vertical", "pull", "tilt"};

const char *uf_load_kind_name(enum uf_load_kind k)
{
    return kind_names[k];
}

double uf_load_mass_kg(const struct uf_load_setup *s, const struct uf_load *l)
{
    double kg = 0;
    for (int i = 0; i < l->pieces; i++)
        kg += s->weight[l->piece[i]].mass_kg;
    return kg;
}

/* Errors as they may be, in units of their standard uncertainty. */
struct shift {
    double own[UF_OWN_ERRORS];
    double shared[UF_SHARED_ERRORS];
};

static double force_n(const struct uf_load_setup *s, const struct uf_load *l,
                      const struct shift *shift)
{
    double kg = 0;
    for (int i = 0; i < l->pieces; i++) {
        const struct uf_weight *w = &s->weight[l->piece[i]];
        kg += w->mass_kg +
              shift->shared[UF_SHARED_WEIGHT + l->piece[i]] * w->tolerance_kg * HALF_WIDTH_TO_SD;
    }
    double g = s->gravity.g_m_s2 + shift->shared[UF_SHARED_GRAVITY] * s->gravity.sd_m_s2;
    double n = uf_gravity_weight_n(g, kg);
    if (l->kind == UF_LOAD_PULL)
        n *= 1 + shift->shared[UF_SHARED_PULLEY] * s->pulley_tol_pct / 100 * HALF_WIDTH_TO_SD;
    return n;
}

static void wrench(const struct uf_load_setup *s, const struct uf_plate *plate,
                   const struct uf_load *l, const struct shift *shift, double w[UF_COMPONENTS])
{
    double place = l->place_tol_mm * HALF_WIDTH_TO_SD, draw = s->drawing_tol_mm * HALF_WIDTH_TO_SD;
    double x_mm = l->x_mm + shift->own[UF_OWN_X] * place;
    double y_mm = l->y_mm + shift->own[UF_OWN_Y] * place;
    double z_mm = plate->surface_mm;
    double turn_deg = shift->shared[UF_SHARED_DRAWING_TURN] * s->drawing_tol_deg * HALF_WIDTH_TO_SD;
    double c = cos(RAD(turn_deg)), sine = sin(RAD(turn_deg));
    double px_mm = c * x_mm - sine * y_mm + shift->shared[UF_SHARED_DRAWING_X] * draw;
    double py_mm = sine * x_mm + c * y_mm + shift->shared[UF_SHARED_DRAWING_Y] * draw;
    double towards = RAD(l->towards_deg + turn_deg +
                         shift->own[UF_OWN_TOWARDS] * l->towards_tol_deg * HALF_WIDTH_TO_SD);
    double angle =
        RAD(l->angle_deg + shift->own[UF_OWN_ANGLE] * l->angle_tol_deg * HALF_WIDTH_TO_SD);
    double height_mm =
        l->height_mm + shift->own[UF_OWN_HEIGHT] * l->height_tol_mm * HALF_WIDTH_TO_SD;

    double dir[3] = {0, 0, -1}; /* of the force on the plate */
    switch (l->kind) {
    case UF_LOAD_PULL:
        dir[0] = cos(angle) * cos(towards);
        dir[1] = cos(angle) * sin(towards);
        dir[2] = sin(angle);
        z_mm += height_mm;
        break;
    case UF_LOAD_TILT:
        dir[0] = sin(angle) * cos(towards);
        dir[1] = sin(angle) * sin(towards);
        dir[2] = -cos(angle);
        z_mm += height_mm;
        break;
    default:
        break;
    }
    if (l->kind == UF_LOAD_VERTICAL) {
        double level = s->level_tol_deg * HALF_WIDTH_TO_SD;
        dir[0] = sin(RAD(shift->shared[UF_SHARED_LEVEL_X] * level));
        dir[1] = sin(RAD(shift->shared[UF_SHARED_LEVEL_Y] * level));
        dir[2] = -sqrt(1 - dir[0] * dir[0] - dir[1] * dir[1]);
    }
    double n = force_n(s, l, shift), f[3], x = px_mm / 1000, y = py_mm / 1000, z = z_mm / 1000;
    for (int k = 0; k < 3; k++)
        f[k] = -n * dir[k];
    w[UF_FX] = f[0];
    w[UF_FY] = f[1];
    w[UF_FZ] = f[2];
    w[UF_MX] = y * f[2] - z * f[1];
    w[UF_MY] = z * f[0] - x * f[2];
    w[UF_MZ] = x * f[1] - y * f[0];
}

void uf_load_wrench_of(const struct uf_load_setup *s, const struct uf_plate *plate,
                       const struct uf_load *l, struct uf_load_wrench *out)
{
    memset(out, 0, sizeof *out);
    struct shift none = {{0}, {0}}, shift = none;
    wrench(s, plate, l, &none, out->w);
    double plus[UF_COMPONENTS], minus[UF_COMPONENTS];
    for (int e = 0; e < UF_OWN_ERRORS + UF_SHARED_WEIGHT + s->weights; e++) {
        bool own = e < UF_OWN_ERRORS;
        double *at = own ? &shift.own[e] : &shift.shared[e - UF_OWN_ERRORS];
        double *to = own ? out->own[e] : out->shared[e - UF_OWN_ERRORS];
        *at = 1;
        wrench(s, plate, l, &shift, plus);
        *at = -1;
        wrench(s, plate, l, &shift, minus);
        *at = 0;
        for (int k = 0; k < UF_COMPONENTS; k++)
            to[k] = (plus[k] - minus[k]) / 2;
    }
}

int uf_weight_check(const struct uf_weight *w, struct uf_error *err)
{
    if (!w->name[0])
        return uf_fail(err, UF_EINVAL, "a weight has no name: give each piece a short one");
    if (!(w->mass_kg > 0))
        return uf_fail(err, UF_EINVAL,
                       "weight \"%s\" has a mass of %g kg: a mass is above 0; where the force "
                       "points follows from the kind of load",
                       w->name, w->mass_kg);
    if (!(w->mass_kg <= MASS_MAX_KG))
        return uf_fail(err, UF_EINVAL,
                       "weight \"%s\" has a mass of %g kg, more than %d: give kilograms, not "
                       "newtons or grams",
                       w->name, w->mass_kg, MASS_MAX_KG);
    if (!(w->tolerance_kg >= 0 && w->tolerance_kg <= w->mass_kg / 5))
        return uf_fail(err, UF_EINVAL,
                       "weight \"%s\" of %g kg has a tolerance of %g kg: give 0 to a fifth of the "
                       "mass, in kilograms",
                       w->name, w->mass_kg, w->tolerance_kg);
    return UF_OK;
}

static int check_place(const struct uf_plate *plate, const struct uf_load *l, struct uf_error *err)
{
    if (!isfinite(l->x_mm) || !isfinite(l->y_mm))
        return uf_fail(err, UF_EINVAL, "its place is not a number: give x_mm and y_mm");
    double half_x = plate->size_x_mm / 2, half_y = plate->size_y_mm / 2;
    if (fabs(l->x_mm) > half_x + EDGE_MM || fabs(l->y_mm) > half_y + EDGE_MM)
        return uf_fail(err, UF_EINVAL,
                       "its place %g, %g mm is off the %s plate, which reaches %g mm to each side "
                       "and %g mm to front and back of its centre: measure from the centre of the "
                       "plate, in millimetres",
                       l->x_mm, l->y_mm, uf_place_name(plate->place), half_x, half_y);
    double far = fmax(fabs(l->x_mm), fabs(l->y_mm));
    if (far > 0 && far < 1)
        return uf_fail(err, UF_EINVAL,
                       "its place %g, %g mm is less than 1 mm from the centre but not on it: "
                       "give millimetres, not metres",
                       l->x_mm, l->y_mm);
    return UF_OK;
}

static int check_direction(const struct uf_load *l, struct uf_error *err)
{
    if (!(fabs(l->towards_deg) <= 360))
        return uf_fail(err, UF_EINVAL,
                       "its direction is %g degrees: give -360 to 360 from the right, "
                       "anticlockwise seen from above",
                       l->towards_deg);
    if (!(fabs(l->angle_deg) <= STEEP_DEG))
        return uf_fail(err, UF_EINVAL, "its angle is %g degrees: give at most %d", l->angle_deg,
                       STEEP_DEG);
    if (l->kind == UF_LOAD_TILT && !(l->angle_deg > 0))
        return uf_fail(err, UF_EINVAL,
                       "the plate is tilted by %g degrees: give an angle above 0, and say by "
                       "downhill_deg where it goes down",
                       l->angle_deg);
    if (!(l->height_mm >= -200 && l->height_mm <= 1000))
        return uf_fail(err, UF_EINVAL,
                       "its height is %g mm: give millimetres above the top, -200 to 1000",
                       l->height_mm);
    return UF_OK;
}

int uf_load_check(const struct uf_load_setup *s, const struct uf_plate *plate,
                  const struct uf_load *l, struct uf_error *err)
{
    if (l->pieces < 1)
        return uf_fail(err, UF_EINVAL, "it has no weight: name at least one");
    for (int i = 0; i < l->pieces; i++)
        for (int j = 0; j < i; j++)
            if (l->piece[i] == l->piece[j])
                return uf_fail(err, UF_EINVAL,
                               "it uses weight \"%s\" twice: there is one piece of each name",
                               s->weight[l->piece[i]].name);
    double kg = uf_load_mass_kg(s, l), n = uf_gravity_weight_n(s->gravity.g_m_s2, kg);
    if (plate->rated_n > 0 && n > plate->rated_n)
        return uf_fail(err, UF_EINVAL,
                       "its %g kg are %.0f N, more than the %s plate's rated load of %.0f N%s", kg,
                       n, uf_place_name(plate->place), plate->rated_n,
                       kg <= plate->rated_n ? ": if the number is in newtons, divide it by 9.81"
                                            : ": take a smaller weight");
    int rc = check_place(plate, l, err);
    if (rc == UF_OK && l->kind != UF_LOAD_VERTICAL)
        rc = check_direction(l, err);
    if (rc != UF_OK)
        return rc;
    if (!(l->place_tol_mm >= 0 && l->place_tol_mm <= 100) ||
        !(l->height_tol_mm >= 0 && l->height_tol_mm <= 100))
        return uf_fail(err, UF_EINVAL,
                       "its tolerances of place and height are %g and %g mm: give 0 to 100",
                       l->place_tol_mm, l->height_tol_mm);
    if (!(l->towards_tol_deg >= 0 && l->towards_tol_deg <= 20) ||
        !(l->angle_tol_deg >= 0 && l->angle_tol_deg <= 20))
        return uf_fail(err, UF_EINVAL,
                       "its tolerances of direction and angle are %g and %g degrees: give 0 to 20",
                       l->towards_tol_deg, l->angle_tol_deg);
    return UF_OK;
}

bool uf_load_same_place(const struct uf_load *a, const struct uf_load *b)
{
    if (a->plate != b->plate || a->kind != b->kind || fabs(a->x_mm - b->x_mm) >= SAME_MM ||
        fabs(a->y_mm - b->y_mm) >= SAME_MM)
        return false;
    if (a->kind == UF_LOAD_VERTICAL)
        return true;
    double turn_deg = remainder(a->towards_deg - b->towards_deg, 360);
    return fabs(turn_deg) < SAME_DEG && fabs(a->angle_deg - b->angle_deg) < SAME_DEG &&
           fabs(a->height_mm - b->height_mm) < SAME_MM;
}

bool uf_load_same(const struct uf_load *a, const struct uf_load *b)
{
    if (!uf_load_same_place(a, b) || a->pieces != b->pieces)
        return false;
    for (int i = 0; i < a->pieces; i++) {
        bool found = false;
        for (int j = 0; j < b->pieces; j++)
            found = found || a->piece[i] == b->piece[j];
        if (!found)
            return false;
    }
    return true;
}

double uf_weight_class_tolerance_kg(const char *class_name, double nominal_kg)
{
    static const char *const classes[] = {"E2", "F1", "F2", "M1", "M2", "M3"};
    static const struct {
        double nominal_kg, tolerance_mg[6];
    } row[] = {
        {1, {1.6, 5, 16, 50, 160, 500}},         {2, {3, 10, 30, 100, 300, 1000}},
        {5, {8, 25, 80, 250, 800, 2500}},        {10, {16, 50, 160, 500, 1600, 5000}},
        {20, {30, 100, 300, 1000, 3000, 10000}}, {50, {80, 250, 800, 2500, 8000, 25000}},
    };
    for (size_t c = 0; c < 6; c++)
        for (size_t i = 0; i < sizeof row / sizeof row[0]; i++)
            if (!strcmp(class_name, classes[c]) && fabs(nominal_kg - row[i].nominal_kg) < 1e-9)
                return row[i].tolerance_mg[c] / 1e6;
    return NAN;
}

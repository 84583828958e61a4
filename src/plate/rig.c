/* SPDX-License-Identifier: MIT
 * Checks of a rig description, and the example rig: see rig.h. Pure. */
#include "plate/rig.h"

#include <math.h>
#include <string.h>

#define LINE_MM 1.0 /* cells that lie within so much of one line cannot tell a moment about it */

static const char axis_letter[3] = {'x', 'y', 'z'};

const char *uf_place_name(enum uf_place place)
{
    static const char *const names[] = {"left", "right", "single"};
    return names[place];
}

/* ---- one cell ---- */

static int check_cell(const struct uf_plate *p, const struct uf_cell *c, struct uf_error *err)
{
    const char *place = uf_place_name(p->place);
    if (!isfinite(c->x_mm) || !isfinite(c->y_mm) || !isfinite(c->z_mm) || !isfinite(c->turn_deg))
        return uf_fail(err, UF_EINVAL,
                       "cell %s of the %s plate: its place or its turn is not a number", c->name,
                       place);
    if (fabs(c->x_mm) > p->size_x_mm / 2 || fabs(c->y_mm) > p->size_y_mm / 2)
        return uf_fail(err, UF_EINVAL,
                       "cell %s of the %s plate: its place %g, %g mm is outside the plate of "
                       "%g x %g mm; at_mm counts from the plate's centre",
                       c->name, place, c->x_mm, c->y_mm, p->size_x_mm, p->size_y_mm);
    bool any = false;
    for (int k = 0; k < 3; k++) {
        if (c->channel[k] < 0)
            continue;
        any = true;
        if (c->channel[k] >= UF_CHANNELS_MAX)
            return uf_fail(err, UF_EINVAL,
                           "cell %s of the %s plate: its %c output is on channel %d; channels "
                           "are 0 to %d",
                           c->name, place, axis_letter[k], c->channel[k], UF_CHANNELS_MAX - 1);
        if (!isfinite(c->n_per_count[k]) || c->n_per_count[k] == 0)
            return uf_fail(err, UF_EINVAL,
                           "cell %s of the %s plate: its %c output has a channel but no scale; "
                           "give n_per_count, newtons a count from the data sheet",
                           c->name, place, axis_letter[k]);
        if (!(c->rated_n[k] >= 0) || isinf(c->rated_n[k]))
            return uf_fail(err, UF_EINVAL,
                           "cell %s of the %s plate: the rated load of its %c output is %g N; "
                           "give a positive load, or 0 where it is not known",
                           c->name, place, axis_letter[k], c->rated_n[k]);
    }
    if (!any)
        return uf_fail(err, UF_EINVAL,
                       "cell %s of the %s plate has no channel: map at least one of its outputs",
                       c->name, place);
    return UF_OK;
}

/* ---- the vertical cells of a plate ---- */

/* Do the cells with a vertical output span an area? Only then are both moments known. */
static bool cells_span(const struct uf_plate *p)
{
    const struct uf_cell *a = NULL, *b = NULL;
    double longest_mm = LINE_MM;
    for (int i = 0; i < p->cells; i++)
        for (int j = i + 1; j < p->cells; j++) {
            const struct uf_cell *s = &p->cell[i], *t = &p->cell[j];
            double d_mm = hypot(t->x_mm - s->x_mm, t->y_mm - s->y_mm);
            if (s->channel[2] >= 0 && t->channel[2] >= 0 && d_mm > longest_mm) {
                longest_mm = d_mm;
                a = s;
                b = t;
            }
        }
    for (int i = 0; a && i < p->cells; i++) {
        const struct uf_cell *c = &p->cell[i];
        double off_mm = fabs((b->x_mm - a->x_mm) * (c->y_mm - a->y_mm) -
                             (b->y_mm - a->y_mm) * (c->x_mm - a->x_mm)) /
                        longest_mm;
        if (c->channel[2] >= 0 && off_mm > LINE_MM)
            return true;
    }
    return false;
}

/* ---- one plate ---- */

static int check_plate(const struct uf_plate *p, int *cell, struct uf_error *err)
{
    const char *place = uf_place_name(p->place);
    if (!isfinite(p->centre_x_mm) || !isfinite(p->centre_y_mm) || !isfinite(p->rotation_deg))
        return uf_fail(err, UF_EINVAL, "the %s plate: its centre or its rotation is not a number",
                       place);
    if (!(p->size_x_mm > 0) || !(p->size_y_mm > 0) || isinf(p->size_x_mm) || isinf(p->size_y_mm))
        return uf_fail(err, UF_EINVAL, "the %s plate: its size is %g x %g mm; both must be above 0",
                       place, p->size_x_mm, p->size_y_mm);
    if (!(p->surface_mm >= 0) || isinf(p->surface_mm))
        return uf_fail(err, UF_EINVAL,
                       "the %s plate: surface_mm is %g; it is the height of the top above the "
                       "sensors' origin, so it cannot be below 0",
                       place, p->surface_mm);
    if (!(p->rated_n >= 0) || isinf(p->rated_n))
        return uf_fail(err, UF_EINVAL,
                       "the %s plate: its rated load is %g N; give a positive load, or 0 where "
                       "it is not known",
                       place, p->rated_n);
    if (p->cells < 1 || p->cells > UF_CELLS_MAX)
        return uf_fail(err, UF_EINVAL, "the %s plate has %d cells; it can have 1 to %d", place,
                       p->cells, UF_CELLS_MAX);
    int vertical = 0;
    for (int i = 0; i < p->cells; i++) {
        *cell = i;
        int rc = check_cell(p, &p->cell[i], err);
        if (rc)
            return rc;
        for (int j = 0; j < i; j++)
            if (!strcmp(p->cell[j].name, p->cell[i].name))
                return uf_fail(err, UF_EINVAL,
                               "the %s plate has two cells with the name %s: name them apart",
                               place, p->cell[i].name);
        vertical += p->cell[i].channel[2] >= 0;
    }
    *cell = -1;
    if (vertical == 0)
        return uf_fail(err, UF_EINVAL,
                       "the %s plate has no vertical output: at least three cells need a z "
                       "channel",
                       place);
    if (!cells_span(p))
        return uf_fail(err, UF_EINVAL,
                       "the %s plate: its vertical outputs lie on one line (or are fewer than "
                       "three), so where a foot pushes cannot be told; check at_mm of its cells",
                       place);
    return UF_OK;
}

/* ---- channels ---- */

static int check_channels(struct uf_rig *rig, int *plate, int *cell, struct uf_error *err)
{
    const struct uf_cell *owner[UF_CHANNELS_MAX] = {NULL};
    int owner_plate[UF_CHANNELS_MAX], owner_axis[UF_CHANNELS_MAX];
    rig->channels = 0;
    for (int p = 0; p < rig->plates; p++)
        for (int i = 0; i < rig->plate[p].cells; i++)
            for (int k = 0; k < 3; k++) {
                const struct uf_cell *c = &rig->plate[p].cell[i];
                int ch = c->channel[k];
                if (ch < 0)
                    continue;
                *plate = p;
                *cell = i;
                if (owner[ch])
                    return uf_fail(err, UF_EINVAL,
                                   "channel %d is given twice: to %c of cell %s of the %s plate "
                                   "and to %c of cell %s of the %s plate",
                                   ch, axis_letter[owner_axis[ch]], owner[ch]->name,
                                   uf_place_name(rig->plate[owner_plate[ch]].place), axis_letter[k],
                                   c->name, uf_place_name(rig->plate[p].place));
                owner[ch] = c;
                owner_plate[ch] = p;
                owner_axis[ch] = k;
                if (ch >= rig->channels)
                    rig->channels = ch + 1;
            }
    return UF_OK;
}

/* ---- two plates beside each other ---- */

struct corners {
    double x_mm[4], y_mm[4];
};

static void corners_of(const struct uf_plate *p, struct corners *out)
{
    static const int sx[4] = {-1, 1, 1, -1}, sy[4] = {-1, -1, 1, 1};
    struct uf_turn t = uf_turn_of(p->rotation_deg);
    for (int i = 0; i < 4; i++) {
        double x = sx[i] * p->size_x_mm / 2, y = sy[i] * p->size_y_mm / 2;
        out->x_mm[i] = p->centre_x_mm + (t.cos * x - t.sin * y);
        out->y_mm[i] = p->centre_y_mm + (t.sin * x + t.cos * y);
    }
}

/* True when the direction ux, uy shows a gap between the two (or they only touch). */
static bool apart_along(const struct corners *a, const struct corners *b, double ux, double uy)
{
    double a_low = INFINITY, a_high = -INFINITY, b_low = INFINITY, b_high = -INFINITY;
    for (int i = 0; i < 4; i++) {
        double u = ux * a->x_mm[i] + uy * a->y_mm[i], v = ux * b->x_mm[i] + uy * b->y_mm[i];
        a_low = fmin(a_low, u);
        a_high = fmax(a_high, u);
        b_low = fmin(b_low, v);
        b_high = fmax(b_high, v);
    }
    const double touch_mm = 1e-6;
    return a_high <= b_low + touch_mm || b_high <= a_low + touch_mm;
}

/* Two rectangles are apart when one of their four side directions shows a gap. */
static bool overlap(const struct uf_plate *a, const struct uf_plate *b)
{
    struct corners ca, cb;
    corners_of(a, &ca);
    corners_of(b, &cb);
    struct uf_turn ta = uf_turn_of(a->rotation_deg), tb = uf_turn_of(b->rotation_deg);
    return !apart_along(&ca, &cb, ta.cos, ta.sin) && !apart_along(&ca, &cb, -ta.sin, ta.cos) &&
           !apart_along(&ca, &cb, tb.cos, tb.sin) && !apart_along(&ca, &cb, -tb.sin, tb.cos);
}

static int check_pair(const struct uf_rig *rig, struct uf_error *err)
{
    const struct uf_plate *l = &rig->plate[0], *r = &rig->plate[1];
    if (l->place != UF_PLACE_LEFT || r->place != UF_PLACE_RIGHT)
        return uf_fail(err, UF_EINVAL,
                       "a rig of two plates has a left and a right one, not %s and %s",
                       uf_place_name(l->place), uf_place_name(r->place));
    if (!(l->centre_x_mm < r->centre_x_mm))
        return uf_fail(err, UF_EINVAL,
                       "the left plate (centre at x = %g mm) does not lie left of the right one "
                       "(x = %g mm); x counts to the golfer's right",
                       l->centre_x_mm, r->centre_x_mm);
    if (overlap(l, r))
        return uf_fail(err, UF_EINVAL,
                       "the left and the right plate overlap: check centre_mm, size_mm and "
                       "rotation_deg");
    return UF_OK;
}

int uf_rig_check_at(struct uf_rig *rig, int *plate, int *cell, struct uf_error *err)
{
    *plate = *cell = -1;
    if (rig->plates < 1 || rig->plates > UF_PLATES_MAX)
        return uf_fail(err, UF_EINVAL, "the rig has %d plates; it can have 1 or 2", rig->plates);
    if (rig->plates == 1 && rig->plate[0].place != UF_PLACE_SINGLE)
        return uf_fail(err, UF_EINVAL,
                       "the rig has only a %s plate: add the other one, or call it single",
                       uf_place_name(rig->plate[0].place));
    for (int p = 0; p < rig->plates; p++) {
        *plate = p;
        int rc = check_plate(&rig->plate[p], cell, err);
        if (rc)
            return rc;
    }
    int rc = check_channels(rig, plate, cell, err);
    if (rc)
        return rc;
    *cell = -1;
    *plate = rig->plates - 1;
    if (rig->plates == 2)
        return check_pair(rig, err);
    return UF_OK;
}

int uf_rig_check(struct uf_rig *rig, struct uf_error *err)
{
    int plate, cell;
    return uf_rig_check_at(rig, &plate, &cell, err);
}

struct uf_turn uf_turn_of(double deg)
{
    /* the quarter turns are exact, so that a cell mounted across measures no trace of the other
     * axis; each turn and its opposite mirror each other to the last bit */
    double rest_deg = remainder(deg, 360);
    if (rest_deg == 0)
        return (struct uf_turn){1, 0};
    if (fabs(rest_deg) == 180)
        return (struct uf_turn){-1, 0};
    if (fabs(rest_deg) == 90)
        return (struct uf_turn){0, copysign(1, rest_deg)};
    double rad = rest_deg * (acos(-1.0) / 180);
    return (struct uf_turn){cos(rad), sin(rad)};
}

/* ---- the example ---- */

/* The right plate is the left one's mirror image, cell by cell: 1 rear outside, 2 rear inside,
 * 3 front inside, 4 front outside. */
void uf_rig_example(struct uf_rig *rig)
{
    static const int outward[4] = {1, -1, -1, 1}, forward[4] = {-1, -1, 1, 1};
    memset(rig, 0, sizeof *rig);
    strcpy(rig->name, "example");
    rig->plates = 2;
    rig->channels = 24;
    for (int p = 0; p < 2; p++) {
        struct uf_plate *plate = &rig->plate[p];
        int side = p == 0 ? -1 : 1;
        plate->place = p == 0 ? UF_PLACE_LEFT : UF_PLACE_RIGHT;
        plate->centre_x_mm = side * 210;
        plate->size_x_mm = 400;
        plate->size_y_mm = 600;
        plate->surface_mm = 60;
        plate->rated_n = 4000;
        plate->cells = 4;
        for (int i = 0; i < 4; i++) {
            struct uf_cell *c = &plate->cell[i];
            c->name[0] = (char)('1' + i);
            c->x_mm = side * outward[i] * 160;
            c->y_mm = forward[i] * 250;
            for (int k = 0; k < 3; k++) {
                c->channel[k] = 12 * p + 3 * i + k;
                /* full scale of a 24-bit converter at about twice the rated load */
                c->rated_n[k] = k == 2 ? 2000 : 1000;
                c->n_per_count[k] = k == 2 ? 4e-4 : 2e-4;
            }
        }
    }
}

int uf_plate_channels(const struct uf_plate *plate, int *channel)
{
    int n = 0;
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++)
            if (plate->cell[i].channel[k] >= 0)
                channel[n++] = plate->cell[i].channel[k];
    return n;
}

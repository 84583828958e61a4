/* SPDX-License-Identifier: MIT
 * Golfer-frame curves: see curves.h. Pure. */
#include "swing/curves.h"

#include "plate/wrench_inline.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CURVE_ARRAYS 24 /* room for the arrays of uf_curves, in one block */

void uf_curves_free(struct uf_curves *c)
{
    free(c->memory);
    memset(c, 0, sizeof *c);
}

/* Shares out the block; every array n long. */
int uf_curves_new(struct uf_curves *c, size_t n, double rate_hz, struct uf_error *err)
{
    c->memory = malloc(sizeof(double) * n * CURVE_ARRAYS);
    if (!c->memory)
        return uf_fail(err, UF_ENOMEM, "no memory for the curves of a swing of %zu points", n);
    c->n = n;
    c->rate_hz = rate_hz;
    double **array[CURVE_ARRAYS] = {&c->vertical_n[0],
                                    &c->vertical_n[1],
                                    &c->target_n[0],
                                    &c->target_n[1],
                                    &c->toe_n[0],
                                    &c->toe_n[1],
                                    &c->tz_nm[0],
                                    &c->tz_nm[1],
                                    &c->cop_target_mm[0],
                                    &c->cop_target_mm[1],
                                    &c->cop_toe_mm[0],
                                    &c->cop_toe_mm[1],
                                    &c->total_vertical_n,
                                    &c->total_target_n,
                                    &c->total_toe_n,
                                    &c->net_target_mm,
                                    &c->net_toe_mm,
                                    &c->turn_nm,
                                    &c->turn_from_toe_nm,
                                    &c->turn_from_target_nm,
                                    &c->turn_from_free_nm,
                                    &c->trail_share_pct,
                                    NULL,
                                    NULL};
    for (size_t i = 0; i < CURVE_ARRAYS && array[i]; i++)
        *array[i] = c->memory + i * n;
    return UF_OK;
}

static double side_of(enum uf_hand hand)
{
    return hand == UF_RIGHT_HANDED ? -1 : 1;
}

int uf_plate_under(enum uf_hand hand, int foot)
{
    int lead = hand == UF_RIGHT_HANDED ? 0 : 1;
    return foot == UF_LEAD ? lead : 1 - lead;
}

/* Components that change their sign in a mirror: with them a mirrored golfer gets the mirrored
 * change, and so the same uncertainties to the last bit. */
double uf_mirror_sign(enum uf_hand hand, int component)
{
    bool odd = component == UF_FX || component == UF_MY || component == UF_MZ;
    return odd ? side_of(hand) : 1;
}

/* The change of a wrench under a foot at a grid point (SIZE_MAX: of the quiet stretch). */
static void nudge_wrench(const struct uf_nudge *nudge, enum uf_hand hand, int foot, size_t i,
                         double *w)
{
    if (!nudge || nudge->foot < 0)
        return;
    if (nudge->foot == foot && nudge->error) {
        double as_it_is[UF_COMPONENTS];
        memcpy(as_it_is, w, sizeof as_it_is);
        for (int r = 0; r < UF_COMPONENTS; r++)
            for (int c = 0; c < UF_COMPONENTS; c++)
                if (nudge->error[r][c] != 0) /* a component that is not known changes nothing */
                    w[r] += nudge->error[r][c] * as_it_is[c];
        return;
    }
    if (nudge->foot == foot) {
        w[nudge->row] += nudge->gain * w[nudge->column] + nudge->add;
        return;
    }
    if (nudge->foot < UF_FEET || i == SIZE_MAX)
        return; /* the mean of a quiet stretch has no noise to speak of */
    for (int k = 0; k < UF_COMPONENTS; k++)
        w[k] += uf_mirror_sign(hand, k) * nudge->noise_sd[foot][k] *
                nudge->noise[(size_t)(foot * UF_COMPONENTS + k) * nudge->stride + i];
}

static struct uf_wrench wrench_of(const double *w)
{
    return (struct uf_wrench){w[0], w[1], w[2], w[3], w[4], w[5]};
}

static struct uf_wrench wrench_at(const struct uf_scene *s, const struct uf_nudge *nudge, int plate,
                                  int foot, size_t i)
{
    double w[UF_COMPONENTS];
    for (size_t k = 0; k < UF_COMPONENTS; k++)
        w[k] = s->grid[plate][k * s->n + i];
    nudge_wrench(nudge, s->hand, foot, i, w);
    return wrench_of(w);
}

/* Golfer frame: s = -1 for a right-handed golfer (target towards -x), +1 for a left-handed one. */
static void put_foot(struct uf_curves *c, int foot, double s, size_t i, const struct uf_ground *g)
{
    c->vertical_n[foot][i] = g->fz_n;
    c->target_n[foot][i] = s * g->fx_n;
    c->toe_n[foot][i] = g->fy_n;
    c->tz_nm[foot][i] = -s * g->tz_nm;
    c->cop_target_mm[foot][i] = s * g->cop_x_mm;
    c->cop_toe_mm[foot][i] = g->cop_y_mm;
}

/* A foot in a frame that is mirrored for a right-handed golfer, as what both make is the same up to
 * signs. */
static struct uf_ground mirrored(const struct uf_curves *c, int foot, size_t i)
{
    return (struct uf_ground){c->target_n[foot][i],   c->toe_n[foot][i],
                              c->vertical_n[foot][i], c->cop_target_mm[foot][i],
                              c->cop_toe_mm[foot][i], -c->tz_nm[foot][i]};
}

static void put_both(struct uf_curves *c, size_t i, const struct uf_both *both)
{
    c->total_vertical_n[i] = both->fz_n;
    c->total_target_n[i] = both->fx_n;
    c->total_toe_n[i] = both->fy_n;
    c->net_target_mm[i] = both->cop_x_mm;
    c->net_toe_mm[i] = both->cop_y_mm;
    c->turn_nm[i] = -both->turn_nm;
    c->turn_from_toe_nm[i] = -both->turn_from_fy_nm;
    c->turn_from_target_nm[i] = -both->turn_from_fx_nm;
    c->turn_from_free_nm[i] = -both->turn_from_tz_nm;
}

void uf_curves_foot(struct uf_curves *c, const struct uf_scene *scene, const struct uf_nudge *nudge,
                    int foot, size_t from, size_t to)
{
    int p = uf_plate_under(scene->hand, foot);
    const struct uf_plate *plate = &scene->rig.plate[p];
    const struct uf_turn turn = uf_plate_turn(plate);
    const double s = side_of(scene->hand), cop_min_n = scene->cop_min_n;
    for (size_t i = from; i < to; i++) {
        struct uf_wrench w = wrench_at(scene, nudge, p, foot, i);
        struct uf_ground g;
        uf_ground_inline(plate, turn, &w, cop_min_n, &g);
        put_foot(c, foot, s, i, &g);
    }
}

void uf_curves_both(struct uf_curves *c, const struct uf_scene *scene, size_t from, size_t to)
{
    const double cop_min_n = scene->cop_min_n;
    for (size_t i = from; i < to; i++) {
        struct uf_ground lead = mirrored(c, UF_LEAD, i), trail = mirrored(c, UF_TRAIL, i);
        struct uf_both both;
        uf_both_inline(&lead, &trail, cop_min_n, &both);
        put_both(c, i, &both);
        c->trail_share_pct[i] = both.fz_n >= cop_min_n ? 100 * trail.fz_n / both.fz_n : NAN;
    }
}

/* A single plate: both feet together, and nothing of each. */
static void fill_single(struct uf_curves *c, const struct uf_scene *scene,
                        const struct uf_nudge *nudge, size_t from, size_t to)
{
    const struct uf_ground absent = {NAN, NAN, NAN, NAN, NAN, NAN};
    const struct uf_turn turn = uf_plate_turn(&scene->rig.plate[0]);
    const double s = side_of(scene->hand);
    for (size_t i = from; i < to; i++) {
        struct uf_wrench w = wrench_at(scene, nudge, 0, UF_LEAD, i);
        struct uf_ground all;
        uf_ground_inline(&scene->rig.plate[0], turn, &w, scene->cop_min_n, &all);
        for (int foot = 0; foot < UF_FEET; foot++)
            put_foot(c, foot, s, i, &absent);
        put_both(c, i,
                 &(struct uf_both){s * all.fx_n, all.fy_n, all.fz_n, s * all.cop_x_mm, all.cop_y_mm,
                                   s * all.tz_nm, NAN, NAN, NAN});
        c->trail_share_pct[i] = NAN;
    }
}

void uf_curves_fill(struct uf_curves *c, const struct uf_scene *scene, const struct uf_nudge *nudge,
                    size_t from, size_t to)
{
    if (scene->rig.plates != 2) {
        fill_single(c, scene, nudge, from, to);
        return;
    }
    for (int foot = 0; foot < UF_FEET; foot++)
        uf_curves_foot(c, scene, nudge, foot, from, to);
    uf_curves_both(c, scene, from, to);
}

void uf_curves_copy_foot(struct uf_curves *c, const struct uf_curves *from_curves, int foot,
                         size_t from, size_t to)
{
    double *const into[] = {c->vertical_n[foot], c->target_n[foot],      c->toe_n[foot],
                            c->tz_nm[foot],      c->cop_target_mm[foot], c->cop_toe_mm[foot]};
    const double *const out_of[] = {
        from_curves->vertical_n[foot],    from_curves->target_n[foot],
        from_curves->toe_n[foot],         from_curves->tz_nm[foot],
        from_curves->cop_target_mm[foot], from_curves->cop_toe_mm[foot]};
    for (size_t k = 0; k < sizeof into / sizeof into[0]; k++)
        memcpy(into[k] + from, out_of[k] + from, sizeof(double) * (to - from));
}

void uf_quiet_of(const struct uf_scene *scene, const struct uf_nudge *nudge, struct uf_quiet *out)
{
    *out = (struct uf_quiet){NAN, {NAN, NAN}, {NAN, NAN}, {NAN, NAN}};
    if (!scene->quiet_known)
        return;
    struct uf_ground ground[UF_FEET];
    double weight_n = 0;
    for (int foot = 0; foot < scene->rig.plates; foot++) {
        int p = scene->rig.plates == 2 ? uf_plate_under(scene->hand, foot) : 0;
        const struct uf_wrench *q = &scene->quiet[p];
        double w[UF_COMPONENTS] = {q->fx_n, q->fy_n, q->fz_n, q->mx_nm, q->my_nm, q->mz_nm};
        nudge_wrench(nudge, scene->hand, foot, SIZE_MAX, w);
        struct uf_wrench nudged = wrench_of(w);
        uf_ground_of(&scene->rig.plate[p], &nudged, scene->cop_min_n, &ground[foot]);
        weight_n += ground[foot].fz_n;
    }
    if (!(weight_n > 0)) /* the quiet stretch was not of a person */
        return;
    out->weight_n = weight_n;
    for (int foot = 0; foot < UF_FEET && scene->rig.plates == 2; foot++) {
        out->vertical_n[foot] = ground[foot].fz_n;
        out->cop_target_mm[foot] = side_of(scene->hand) * ground[foot].cop_x_mm;
        out->cop_toe_mm[foot] = ground[foot].cop_y_mm;
    }
}

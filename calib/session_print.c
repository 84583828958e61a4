/* SPDX-License-Identifier: MIT
 * A solved session as text: see session.h. */
#include "calib/session.h"

#include <math.h>

static const char *const component[UF_COMPONENTS] = {"Fx", "Fy", "Fz", "Mx", "My", "Mz"};

static void value(FILE *out, int width, int digits, double v)
{
    if (isnan(v))
        fprintf(out, "%*s", width, "-");
    else
        fprintf(out, "%*.*f", width, digits, v);
}

static void print_loads(const struct uf_session *s, int p, FILE *out)
{
    const struct uf_fit *f = s->plate[p].fit;
    fprintf(out, "\n  load  %-9s %7s %7s  %-7s  %8s %8s %8s  %8s %8s  %6s\n", "kind", "x, mm",
            "y, mm", "kg", "dFx, N", "dFy, N", "dFz, N", "dx, mm", "dy, mm", "size");
    for (int i = 0; i < f->readings; i++) {
        const struct uf_fit_reading *r = &f->reading[i];
        const struct uf_load *l = &s->reading[r->reading].load;
        double dx_mm = NAN, dy_mm = NAN;
        if (l->kind == UF_LOAD_VERTICAL) {
            double fz = r->known[UF_FZ] + r->residual[UF_FZ], h = f->state.plate->surface_mm / 1000;
            dx_mm = 1000 *
                        (-(r->known[UF_MY] + r->residual[UF_MY]) +
                         h * (r->known[UF_FX] + r->residual[UF_FX])) /
                        fz -
                    l->x_mm;
            dy_mm = 1000 *
                        (r->known[UF_MX] + r->residual[UF_MX] +
                         h * (r->known[UF_FY] + r->residual[UF_FY])) /
                        fz -
                    l->y_mm;
        }
        fprintf(out, "  %4d  %-9s %7.0f %7.0f  %-7.3g ", s->number[r->reading] + 1,
                uf_load_kind_name(l->kind), l->x_mm, l->y_mm,
                uf_load_mass_kg(&s->document->setup, l));
        for (int k = 0; k < 3; k++)
            value(out, 9, 2, f->matrix.known[k] ? r->residual[k] : NAN);
        value(out, 10, 2, dx_mm);
        value(out, 9, 2, dy_mm);
        value(out, 8, 1, r->studentised);
        fputc('\n', out);
    }
    fputs("  d: fitted - known. size: of the residual against what is expected, from the fit "
          "without the load; above 4 it does not belong\n",
          out);
}

static void print_components(const struct uf_fit *f, const struct uf_quality *q, FILE *out)
{
    fprintf(out, "\n  %-28s", "residuals, N and N m");
    for (int k = 0; k < UF_COMPONENTS; k++)
        fprintf(out, " %9s", component[k]);
    const struct {
        const char *name;
        const double *v;
    } row[] = {{"rms", q->rms}, {"greatest", q->most}, {"rms, place left out", q->left_out_rms}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        fprintf(out, "\n  %-28s", row[i].name);
        for (int k = 0; k < UF_COMPONENTS; k++)
            value(out, 10, 3, row[i].v[k]);
    }
    fprintf(out, "\n  %-28s", "rms, % of greatest load");
    for (int k = 0; k < UF_COMPONENTS; k++) {
        double most = 0;
        for (int i = 0; i < f->readings; i++)
            most = fmax(most, fabs(f->reading[i].known[k]));
        value(out, 10, 3, 100 * q->rms[k] / most);
    }
    fputs("\n\n  cross-talk of pure loads, rms % of the load", out);
    for (int a = 0; a < 3; a++) {
        fprintf(out, "\n    load along %c:", 'x' + a);
        for (int k = 0; k < 3; k++) {
            fprintf(out, "  %s", component[k]);
            value(out, 7, 3, q->crosstalk_pct[a][k]);
        }
    }
    fputc('\n', out);
}

static void print_maps(const struct uf_solved_plate *p, const struct uf_plate *plate, FILE *out)
{
    fprintf(out,
            "\n  expected 95 %% error of the centre of pressure, mm, and of the vertical force, "
            "%%, at %.0f N\n          x:",
            UF_MAP_N);
    double x_mm, y_mm;
    for (int part = 0; part < 2; part++) {
        for (int ix = 0; ix < UF_MAP_CELLS; ix++) {
            uf_session_map_place(plate, ix, 0, &x_mm, &y_mm);
            fprintf(out, "%7.0f", x_mm);
        }
        fputs(part ? "\n" : "     ", out);
    }
    for (int iy = UF_MAP_CELLS - 1; iy >= 0; iy--) {
        uf_session_map_place(plate, 0, iy, &x_mm, &y_mm);
        fprintf(out, "  y: %7.0f", y_mm);
        for (int ix = 0; ix < UF_MAP_CELLS; ix++)
            value(out, 7, 2, p->cop_mm[iy][ix]);
        fputs("     ", out);
        for (int ix = 0; ix < UF_MAP_CELLS; ix++)
            value(out, 7, 3, p->vertical_pct[iy][ix]);
        fputc('\n', out);
    }
}

/* Errors of the session that the loads themselves show, where they are worth a look. */
static void print_shared(const struct uf_session *s, const struct uf_fit *f, FILE *out)
{
    const struct uf_load_setup *setup = &s->document->setup;
    const double third = 0.57735026918962576451;
    const struct {
        const char *name, *unit;
        double sd;
    } error[UF_SHARED_WEIGHT] = {
        [UF_SHARED_GRAVITY] = {"gravity", "m/s2", setup->gravity.sd_m_s2},
        [UF_SHARED_PULLEY] = {"pull of the pulley", "%", setup->pulley_tol_pct * third},
        [UF_SHARED_LEVEL_X] = {"level, down to the right", "deg", setup->level_tol_deg * third},
        [UF_SHARED_LEVEL_Y] = {"level, down to the front", "deg", setup->level_tol_deg * third},
        [UF_SHARED_DRAWING_X] = {"drawing, to the right", "mm", setup->drawing_tol_mm * third},
        [UF_SHARED_DRAWING_Y] = {"drawing, to the front", "mm", setup->drawing_tol_mm * third},
        [UF_SHARED_DRAWING_TURN] = {"drawing, turned", "deg", setup->drawing_tol_deg * third}};
    bool any = false;
    for (int e = 0; e < UF_SHARED_WEIGHT + setup->weights; e++) {
        if (f->shared_sd[e] == 0 || f->shared_sd[e] > 0.7)
            continue;
        const struct uf_weight *w =
            e < UF_SHARED_WEIGHT ? NULL : &setup->weight[e - UF_SHARED_WEIGHT];
        double sd = w ? 1000 * w->tolerance_kg * third : error[e].sd;
        fprintf(out, "%s    %s%s%s  %+.3g +- %.2g %s\n",
                any ? "" : "\n  errors of the session that the loads show (already allowed for)\n",
                w ? "weight \"" : error[e].name, w ? w->name : "", w ? "\"" : "", f->shared[e] * sd,
                2 * f->shared_sd[e] * sd, w ? "g" : error[e].unit);
        any = true;
    }
}

static void print_figure(FILE *out, const char *name, double v, const char *unit, const char *how)
{
    fprintf(out, "  %-16s", name);
    value(out, 8, 3, v);
    fprintf(out, " %-16s %s\n", unit, isnan(v) ? "no loads for it" : how);
}

static void print_figures(const struct uf_solved_plate *p, FILE *out)
{
    const struct uf_quality *q = &p->quality;
    fputc('\n', out);
    print_figure(out, "place", q->cop_rms_mm, "mm rms", "fitted place of vertical loads - place");
    print_figure(out, "place, left out", q->left_out_cop_rms_mm, "mm rms",
                 "the same, predicted without that place");
    print_figure(out, "linearity", q->linearity_pct, "% of span",
                 "greatest deviation from the straight line (common definition)");
    print_figure(out, "hysteresis", q->hysteresis_pct, "% of greatest",
                 "greatest difference up and down at one load");
    print_figure(out, "repeatability", q->repeatability_pct, "% of greatest",
                 "greatest spread of equal loads (OIML R 60)");
    print_figure(out, "zero return", q->zero_return_pct, "% of load",
                 "greatest change of zero after a load (ISO 376, f0)");
    print_figure(out, "creep", p->creep_pct, "% of load",
                 "from 30 s to 300 s under a load (ISO 376, c)");
    print_figure(out, "channels", p->fit->reading_pct, "% of reading",
                 isnan(p->fit->leftover.reading_pct)
                     ? "as set: the channels are too few to tell it themselves"
                     : "what no load can explain: creep, non-linearity");
}

static void print_plate(const struct uf_session *s, int i, FILE *out)
{
    const struct uf_solved_plate *p = &s->plate[i];
    const struct uf_plate *plate = &s->rig->plate[i];
    const struct uf_fit *f = p->fit;
    fprintf(out, "%s plate: %d loads at %d places; rank %d of 6, ", uf_place_name(plate->place),
            f->readings, f->places, f->loads.rank);
    if (f->loads.rank == UF_COMPONENTS)
        fprintf(out, "condition %.1f\n", f->loads.condition);
    else
        fputs("not all components\n", out);
    fprintf(out, "  model: %s; left-out places are predicted within %.2f of what is expected",
            f->model == UF_MODEL_CELLS ? "a matrix for each cell, held to its data sheet"
                                       : "one whole matrix",
            f->left_out_score);
    if (isnan(p->other_score))
        fputs("\n", out);
    else
        fprintf(out, ", by the other model (%s) within %.2f\n",
                f->model == UF_MODEL_CELLS ? "one whole matrix" : "a matrix for each cell",
                p->other_score);
    if (f->curve.tried)
        fprintf(
            out,
            "  channels: %s; places left out leave over %.3f %% of the reading with straight "
            "ones, %.3f %% with curved ones (curved where that is less by more than its standard "
            "error, and straight ones leave over more than %.2f %%)\n",
            f->curve.taken ? "curved" : "straight", f->curve.straight_pct, f->curve.curved_pct,
            UF_CURVE_WORTH_PCT);
    fprintf(out, "  spread of residuals: %.2f of what tolerances and noise say%s\n", f->scale,
            f->scale > 1 ? "; the stated errors are widened by it" : "");
    print_loads(s, i, out);
    print_shared(s, f, out);
    print_components(f, &p->quality, out);
    print_maps(p, plate, out);
    print_figures(p, out);
    for (int k = 0; k < p->findings.n; k++)
        fprintf(out, "\n  %s: %s.\n", p->findings.finding[k].grave ? "WRONG" : "look",
                p->findings.finding[k].text);
    fputc('\n', out);
}

void uf_session_print(const struct uf_session *s, FILE *out)
{
    fprintf(out, "\"%s\": %d loads captured of %d, g = %.5f m/s2\n\n", s->document->name,
            s->readings, s->document->n, s->document->setup.gravity.g_m_s2);
    for (int i = 0; i < s->document->n; i++)
        if (s->document->skipped[i]) {
            const json_t *load =
                json_array_get(json_object_get(s->document->json, "loads"), (size_t)i);
            fprintf(out, "load %d is left out: %s\n", i + 1,
                    json_string_value(json_object_get(load, "skip")));
        }
    for (int p = 0; p < s->rig->plates; p++)
        if (s->plate[p].solved)
            print_plate(s, p, out);
        else
            fprintf(out, "%s plate: no loads captured\n\n", uf_place_name(s->rig->plate[p].place));
}

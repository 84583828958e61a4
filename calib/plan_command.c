/* SPDX-License-Identifier: MIT
 * The command plan: these plates and these weights to a list of placements, a session file to fill
 * in, and drawings to lay on the plates. */
#include "calib/command.h"
#include "calib/drawing.h"
#include "calib/plan.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SERIES_STEPS_MAX 4
#define WATCH_S          310 /* the last load of a plate, for its creep from 30 s to 300 s */

static int parse_settings(const struct uf_calib_args *args, struct uf_plan_settings *s,
                          struct uf_load_setup *setup, struct uf_error *err)
{
    double most;
    uf_plan_defaults(s);
    setup->pulley_tol_pct = 1;
    setup->level_tol_deg = 0.2;
    setup->drawing_tol_mm = 0.5;
    setup->drawing_tol_deg = 0.2;
    int rc = uf_calib_number(args, UF_OPT_PLACEMENTS, 3, UF_PLAN_MAX, s->most, &most, err);
    s->most = (int)most;
    if (rc == UF_OK)
        rc = uf_calib_number(args, UF_OPT_WEDGE, 0, 30, 0, &s->wedge_deg, err);
    if (rc == UF_OK)
        rc = uf_calib_number(args, UF_OPT_MOST_KG, 0.1, 500, s->lie_most_kg, &s->lie_most_kg, err);
    if (rc == UF_OK)
        rc =
            uf_calib_number(args, UF_OPT_PULL_KG, 0.1, 100, s->pull_most_kg, &s->pull_most_kg, err);
    if (rc == UF_OK)
        rc = uf_calib_number(args, UF_OPT_PULL_HEIGHT, 0, 1000, s->pull_height_mm,
                             &s->pull_height_mm, err);
    s->pulley = !args->option[UF_OPT_NO_PULLEY];
    return rc;
}

/* ---- showing ---- */

static void field(FILE *out, int width, int digits, double v)
{
    if (isnan(v))
        fprintf(out, "  %*s", width, "?");
    else
        fprintf(out, "  %*.*f", width, digits, v);
}

static void print_step(FILE *out, int number_in_file, const struct uf_load_setup *setup,
                       const struct uf_plan_step *t)
{
    char what[80];
    if (t->load.kind == UF_LOAD_PULL)
        snprintf(what, sizeof what, "pull towards %g deg, %g mm above the top", t->load.towards_deg,
                 t->load.height_mm);
    else if (t->load.kind == UF_LOAD_TILT)
        snprintf(what, sizeof what, "plate tilted %g deg, downhill %g deg", t->load.angle_deg,
                 t->load.towards_deg);
    else
        snprintf(what, sizeof what, "lies on the plate");
    fprintf(out, "%6d  %6.4g  %6.0f %6.0f  %-40s  %d of 6", number_in_file,
            uf_load_mass_kg(setup, &t->load), t->load.x_mm, t->load.y_mm, what, t->rank);
    field(out, 6, 1, isfinite(t->condition) ? t->condition : NAN);
    field(out, 6, 2, t->cop_mm);
    field(out, 6, 3, t->vertical_pct);
    field(out, 6, 2, t->horizontal_pct);
    field(out, 6, 2, t->turn_nm);
    fputc('\n', out);
}

static void print_head(FILE *out, const struct uf_plate *plate)
{
    fprintf(out,
            "%s plate. Expected errors (95 %%) after each placement: place and vertical force at "
            "400 N, horizontal force of 100 N, turn moment of it at the edge\n"
            "%6s  %6s  %6s %6s  %-40s  %6s  %6s  %6s  %6s  %6s  %6s\n",
            uf_place_name(plate->place), "load", "kg", "x, mm", "y, mm", "", "rank", "cond.", "mm",
            "vert.%", "hor.%", "N m");
}

static void print_cautions(FILE *out, const struct uf_rig *rig, const struct uf_plan_settings *s)
{
    fputs("\nBefore you begin\n"
          "  Lift with somebody else, or piece by piece; local rules on lifting come first.\n",
          out);
    for (int p = 0; p < rig->plates; p++)
        if (rig->plate[p].rated_n > 0)
            fprintf(out,
                    "  The %s plate is rated for %.0f N (about %.0f kg): never put more on it.\n",
                    uf_place_name(rig->plate[p].place), rig->plate[p].rated_n,
                    rig->plate[p].rated_n / 9.81);
        else
            fprintf(out,
                    "  The rated load of the %s plate is not in the settings (rated_n): look it "
                    "up in the cells' data sheets first.\n",
                    uf_place_name(rig->plate[p].place));
    if (s->pulley)
        fputs("  A weight on a string swings and falls: nobody's feet under it, eye protection, a "
              "string rated for ten times the load, a pulley that is clamped fast.\n",
              out);
    if (s->wedge_deg > 0)
        fputs("  On a tilted plate weights slide: put a stop on the downhill side. Take the zero "
              "with "
              "the plate tilted as for the load.\n",
              out);
    fputs(
        "  Let the electronics warm up for 30 minutes. Keep the plate free of its frame all round. "
        "Hands off while it measures.\n",
        out);
}

/* ---- writing ---- */

static int write_drawing(const char *prefix, const struct uf_rig *rig, int plate,
                         const struct uf_load *load, const int *number_in_file, int n, FILE *out,
                         struct uf_error *err)
{
    char path[UF_PATH_MAX];
    int put =
        snprintf(path, sizeof path, "%s-%s.svg", prefix, uf_place_name(rig->plate[plate].place));
    if (put < 0 || (size_t)put >= sizeof path)
        return uf_fail(err, UF_EINVAL, "--drawing: the name is too long");
    FILE *f = fopen(path, "w");
    if (!f)
        return uf_fail(err, UF_EIO, "cannot write %s: %s", path, strerror(errno));
    uf_drawing_places(f, rig, plate, load, number_in_file, n);
    bool failed = ferror(f) != 0;
    if (fclose(f) != 0 || failed)
        return uf_fail(err, UF_EIO, "cannot write %s: %s", path, strerror(errno));
    fprintf(out, "Drawing for the %s plate: %s\n", uf_place_name(rig->plate[plate].place), path);
    return UF_OK;
}

/* Up and down again in the middle, piece on piece, and the greatest once more: linearity,
 * hysteresis, repeatability. Returns how many loads. */
static int middle_series(int plate, const struct uf_load_setup *setup, double most_kg,
                         struct uf_load *load, enum uf_series *series)
{
    int order[UF_WEIGHTS_MAX], n = 0, pieces = 0;
    double kg = 0;
    for (int i = 0; i < setup->weights; i++) { /* by mass, falling */
        int at = i;
        for (; at > 0 && setup->weight[order[at - 1]].mass_kg < setup->weight[i].mass_kg; at--)
            order[at] = order[at - 1];
        order[at] = i;
    }
    while (pieces < setup->weights && pieces < SERIES_STEPS_MAX &&
           kg + setup->weight[order[pieces]].mass_kg <= most_kg)
        kg += setup->weight[order[pieces++]].mass_kg;
    for (int step = 1; step <= 2 * pieces; step++) {
        int on = step <= pieces ? step : 2 * pieces - step;
        if (on == 0)
            break;
        struct uf_load *l = &load[n];
        memset(l, 0, sizeof *l);
        l->plate = plate;
        l->pieces = on;
        memcpy(l->piece, order, (size_t)on * sizeof *order);
        series[n++] = step <= pieces ? UF_SERIES_UP : UF_SERIES_DOWN;
    }
    if (n > 0) {
        load[n] = load[pieces - 1];
        series[n++] = UF_SERIES_UP; /* the same again, going up: repeatability */
    }
    return n;
}

struct planned {
    const struct uf_config *config;
    const struct uf_calib_args *args;
    struct uf_load_setup setup;
    struct uf_plan_settings settings;
    json_t *loads;
    int count;
};

static int plan_plate(struct planned *p, int plate, FILE *out, struct uf_error *err)
{
    const struct uf_rig *rig = &p->config->rig;
    struct uf_plan_step step[UF_PLAN_MAX];
    struct uf_load load[UF_PLAN_MAX + 2 * SERIES_STEPS_MAX + 1];
    enum uf_series series[UF_PLAN_MAX + 2 * SERIES_STEPS_MAX + 1];
    int numbers[UF_PLAN_MAX + 2 * SERIES_STEPS_MAX + 1];
    int n = uf_plan_make(&rig->plate[plate], plate, &p->setup, &p->settings, step, err);
    if (n < 0)
        return n;
    print_head(out, &rig->plate[plate]);
    for (int i = 0; i < n; i++) {
        load[i] = step[i].load;
        series[i] = UF_SERIES_ONCE;
        print_step(out, p->count + i + 1, &p->setup, &step[i]);
    }
    if (step[n - 1].rank < UF_COMPONENTS)
        fputs("  Some components stay unknown: a pulley (or --wedge) is needed for horizontal "
              "forces and the turn moment.\n",
              out);
    double rated_kg = rig->plate[plate].rated_n > 0 ? rig->plate[plate].rated_n / 10 : INFINITY;
    int more = middle_series(plate, &p->setup, fmin(p->settings.lie_most_kg, rated_kg), load + n,
                             series + n);
    fprintf(out,
            "  loads %d to %d: in the middle, piece on piece, off again, and all once more: "
            "linearity, hysteresis, repeatability, and five minutes of it for creep\n\n",
            p->count + n + 1, p->count + n + more);
    int rc = UF_OK;
    for (int i = 0; i < n + more && rc == UF_OK; i++) {
        json_t *json = uf_document_load(rig, &p->setup, &load[i], series[i]);
        numbers[i] = ++p->count;
        if (i == n + more - 1 && more > 0 && json)
            json_object_set_new(json, "watch_s", json_integer(WATCH_S));
        if (!json || json_array_append_new(p->loads, json) != 0)
            rc = uf_fail(err, UF_ENOMEM, "no memory for the plan");
    }
    if (rc == UF_OK && p->args->option[UF_OPT_DRAWING])
        rc = write_drawing(p->args->option[UF_OPT_DRAWING], rig, plate, load, numbers, n + more,
                           out, err);
    return rc;
}

int uf_calib_plan(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    struct uf_config config;
    struct planned p = {.config = &config, .args = args};
    json_t *json = json_object(), *weights = json_array(), *gravity = NULL;
    const char *plate = args->option[UF_OPT_PLATE], *name = args->option[UF_OPT_NAME];
    p.loads = json_array();
    int rc = uf_calib_config(args, &config, err);
    if (rc == UF_OK)
        rc = uf_calib_weights(args, &p.setup, weights, err);
    if (rc == UF_OK)
        rc = uf_calib_gravity(args, &gravity, err);
    if (rc == UF_OK)
        rc = uf_document_gravity(gravity, "plan", &p.setup.gravity, err);
    if (rc == UF_OK)
        rc = parse_settings(args, &p.settings, &p.setup, err);
    bool any = false;
    for (int i = 0; i < config.rig.plates && rc == UF_OK; i++)
        if (!plate || !strcmp(plate, uf_place_name(config.rig.plate[i].place))) {
            any = true;
            rc = plan_plate(&p, i, out, err);
        }
    if (rc == UF_OK && !any)
        rc = uf_fail(err, UF_EINVAL, "--plate: the rig \"%s\" has no plate \"%.20s\"",
                     config.rig.name, plate);
    if (rc == UF_OK)
        print_cautions(out, &config.rig, &p.settings);
    int failed = json_object_set_new(json, "form", json_string(UF_LOADS_FORM));
    failed |= json_object_set_new(json, "name", json_string(name ? name : "calibration"));
    failed |= json_object_set(json, "gravity", gravity);
    failed |= json_object_set(json, "weights", weights);
    failed |= json_object_set(json, "loads", p.loads);
    if (rc == UF_OK && failed)
        rc = uf_fail(err, UF_ENOMEM, "no memory for the plan");
    if (rc == UF_OK && args->option[UF_OPT_OUT]) {
        rc = uf_document_write(json, args->option[UF_OPT_OUT], err);
        if (rc == UF_OK)
            fprintf(out, "\nSession file with %d loads to capture: %s\n", p.count,
                    args->option[UF_OPT_OUT]);
    }
    json_decref(p.loads);
    json_decref(weights);
    json_decref(gravity);
    json_decref(json);
    return rc;
}

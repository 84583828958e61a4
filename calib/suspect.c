/* SPDX-License-Identifier: MIT
 * Naming what is wrong: see suspect.h. A wrong description makes the loads contradict the cells'
 * data sheets. Then each simple explanation is tried on copies, and the one that makes the
 * contradiction vanish is named. Pure. */
#include "calib/suspect.h"

#include "calib/hypothesis.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RAIL_PART     0.995
#define DEAD_PART     0.05 /* of what the others of its axis answer */
#define SUSPICIOUS    1.4  /* spread of residuals against what is stated: look for a reason */
#define CONTRADICTION 2.0  /* say so without one, too */
#define OUTLIER       4.0
#define UNSTILL       4.0 /* noise of a load against the others */
#define GAIN_SDS      3.0

static struct uf_finding *add(struct uf_findings *out, enum uf_finding_kind kind, bool grave,
                              int reading, int channel, const char *format, ...)
    __attribute__((format(printf, 6, 7)));

static struct uf_finding *add(struct uf_findings *out, enum uf_finding_kind kind, bool grave,
                              int reading, int channel, const char *format, ...)
{
    if (out->n == UF_FINDINGS_MAX)
        return NULL;
    struct uf_finding *f = &out->finding[out->n++];
    va_list args;
    va_start(args, format);
    vsnprintf(f->text, sizeof f->text, format, args);
    va_end(args);
    f->kind = kind;
    f->grave = grave;
    f->reading = reading;
    f->channel = channel;
    return f;
}

bool uf_findings_grave(const struct uf_findings *f)
{
    for (int i = 0; i < f->n; i++)
        if (f->finding[i].grave)
            return true;
    return false;
}

static int number_of(const int *number, int i)
{
    return (number ? number[i] : i) + 1;
}

/* ---- channels ---- */

static void find_rails(const struct uf_plate *plate, int p, const struct uf_reading *r,
                       const int *number, int n, int adc_bits, struct uf_findings *out)
{
    double rail = RAIL_PART * ldexp(1, adc_bits - 1);
    for (int c = 0; c < plate->cells; c++)
        for (int k = 0; k < 3; k++) {
            int ch = plate->cell[c].channel[k];
            for (int i = 0; i < n && ch >= 0; i++) {
                double raw = r[i].zero_raw[ch] + r[i].above_raw[ch];
                if (r[i].load.plate != p || (fabs(raw) < rail && fabs(r[i].zero_raw[ch]) < rail))
                    continue;
                add(out, UF_FINDING_RAIL, true, i, ch,
                    "channel %d (%c of cell %s, %s plate) is at the end of its converter in load "
                    "%d, so its counts say nothing: lower the amplifier's gain or take a lighter "
                    "weight, and look for a broken bridge wire if the plate was nearly empty",
                    ch, 'x' + k, plate->cell[c].name, uf_place_name(plate->place),
                    number_of(number, i));
                break;
            }
        }
}

/* Rms of a channel's answer, data-sheet newtons. */
static double answer_n(const struct uf_cell *cell, int k, int p, const struct uf_reading *r, int n)
{
    double sum = 0;
    for (int i = 0; i < n; i++)
        if (r[i].load.plate == p) {
            double v = r[i].above_raw[cell->channel[k]] * cell->n_per_count[k];
            sum += v * v;
        }
    return sqrt(sum / n);
}

/* Does any load on the plate push along the axis of output k? */
static bool pushed(const struct uf_fit *fit, int k)
{
    double most = 0, along = 0;
    for (int i = 0; i < fit->readings; i++) {
        along = fmax(along, fabs(fit->reading[i].known[k]));
        for (int j = 0; j < 3; j++)
            most = fmax(most, fabs(fit->reading[i].known[j]));
    }
    return along > 0.05 * most;
}

static bool noise_is_zero(int ch, int p, const struct uf_reading *r, int n)
{
    int given = 0;
    for (int i = 0; i < n; i++) {
        if (r[i].load.plate != p || isnan(r[i].noise_raw[ch]))
            continue;
        if (r[i].noise_raw[ch] > 0)
            return false;
        given++;
    }
    return given > 0;
}

static void find_dead(const struct uf_plate *plate, int p, const struct uf_reading *r, int n,
                      const struct uf_fit *fit, struct uf_findings *out)
{
    for (int k = 0; k < 3; k++) {
        double most = 0;
        if (!pushed(fit, k))
            continue;
        for (int c = 0; c < plate->cells; c++)
            if (plate->cell[c].channel[k] >= 0)
                most = fmax(most, answer_n(&plate->cell[c], k, p, r, n));
        for (int c = 0; c < plate->cells; c++) {
            int ch = plate->cell[c].channel[k];
            if (ch < 0)
                continue;
            bool stuck = noise_is_zero(ch, p, r, n);
            if (!stuck && answer_n(&plate->cell[c], k, p, r, n) >= DEAD_PART * most)
                continue;
            add(out, UF_FINDING_DEAD, true, -1, ch,
                "channel %d (%c of cell %s, %s plate) %s: look at its cable, its excitation and "
                "its channel number in the settings, and whether that cell touches the plate",
                ch, 'x' + k, plate->cell[c].name, uf_place_name(plate->place),
                stuck ? "never changes by a single count" : "answers to none of the loads");
        }
    }
}

/* ---- contradiction ---- */

static int find_explanation(const struct uf_rig *rig, int p, const struct uf_load_setup *setup,
                            const struct uf_reading *r, int n,
                            const struct uf_fit_settings *settings, struct uf_findings *out,
                            bool *explained, struct uf_error *err)
{
    struct uf_hypothesis best;
    *explained = false;
    int rc = uf_hypothesis_best(rig, p, setup, r, n, settings, &best, explained, err);
    if (rc != UF_OK || !*explained)
        return rc;
    char text[400];
    uf_hypothesis_text(&best, rig, p, text, sizeof text);
    enum uf_finding_kind kind = UF_FINDING_SWAPPED;
    switch (best.kind) {
    case UF_HYP_REVERSED:
    case UF_HYP_UPSIDE_DOWN:
        kind = UF_FINDING_REVERSED;
        break;
    case UF_HYP_MIRROR_X:
    case UF_HYP_MIRROR_Y:
    case UF_HYP_HALF_TURN:
    case UF_HYP_SWAP_XY:
        kind = UF_FINDING_MIRRORED;
        break;
    case UF_HYP_NEWTONS:
    case UF_HYP_POUNDS:
    case UF_HYP_CENTIMETRES:
    case UF_HYP_INCHES:
        kind = UF_FINDING_UNIT;
        break;
    default:
        break;
    }
    add(out, kind, true, -1, best.kind == UF_HYP_SWAP_CHANNELS ? best.a : -1, "%s", text);
    return UF_OK;
}

/* ---- single loads ---- */

static double noise_n(const struct uf_plate *plate, const struct uf_reading *r)
{
    double sum = 0;
    for (int c = 0; c < plate->cells; c++)
        for (int k = 0; k < 3; k++)
            if (plate->cell[c].channel[k] >= 0) {
                double v = r->noise_raw[plate->cell[c].channel[k]] * plate->cell[c].n_per_count[k];
                sum += v * v;
            }
    return sqrt(sum);
}

static double median_noise_n(const struct uf_plate *plate, int p, const struct uf_reading *r, int n)
{
    double median = NAN;
    int all = 0;
    for (int i = 0; i < n; i++)
        all += r[i].load.plate == p && !isnan(noise_n(plate, &r[i]));
    for (int i = 0; i < n; i++) { /* few loads: counting is quick enough */
        double v = noise_n(plate, &r[i]);
        int below = 0;
        if (r[i].load.plate != p || isnan(v))
            continue;
        for (int j = 0; j < n; j++)
            below += r[j].load.plate == p &&
                     (noise_n(plate, &r[j]) < v || (noise_n(plate, &r[j]) == v && j < i));
        if (below == all / 2)
            median = v;
    }
    return median;
}

/* Weights that would fit a force better than those that are named: "A" or "A B"; false: none. */
static bool other_weights(const struct uf_load_setup *setup, const struct uf_load *l, double got_n,
                          double tolerance_n, char *text, size_t size)
{
    double known = uf_gravity_weight_n(setup->gravity.g_m_s2, uf_load_mass_kg(setup, l));
    if (setup->weights > 12 || fabs(got_n - known) < 3 * tolerance_n)
        return false;
    for (unsigned set = 1; set < 1u << setup->weights; set++) {
        double kg = 0;
        size_t used = 0;
        text[0] = '\0';
        for (int i = 0; i < setup->weights; i++)
            if (set >> i & 1u) {
                kg += setup->weight[i].mass_kg;
                int put = snprintf(text + used, size - used, "%s\"%s\"", used ? " and " : "",
                                   setup->weight[i].name);
                used += put > 0 && (size_t)put < size - used ? (size_t)put : 0;
            }
        if (fabs(uf_gravity_weight_n(setup->gravity.g_m_s2, kg) - got_n) < tolerance_n)
            return true;
    }
    return false;
}

/* The loads of one plate without those that do not belong. */
struct trimmed {
    struct uf_reading *r;
    int *index, n; /* of what is left, in the caller's array */
    int *gone, removed;
    struct uf_fit *fit;
};

static void trimmed_free(struct trimmed *t)
{
    free(t->r);
    free(t->index);
    free(t->gone);
    uf_fit_free(t->fit);
}

/* Takes the worst load away, again and again, while the rest contradicts itself; at most a fifth.
 */
static int trim(struct trimmed *t, const struct uf_rig *rig, int p,
                const struct uf_load_setup *setup, const struct uf_reading *r, int n,
                const struct uf_fit_settings *settings, struct uf_error *err)
{
    memset(t, 0, sizeof *t);
    t->r = calloc((size_t)n + 1, sizeof *t->r);
    t->index = calloc((size_t)n + 1, sizeof *t->index);
    t->gone = calloc((size_t)n + 1, sizeof *t->gone);
    if (!t->r || !t->index || !t->gone)
        return uf_fail(err, UF_ENOMEM, "no memory for %d loads", n);
    for (int i = 0; i < n; i++)
        if (r[i].load.plate == p) {
            t->r[t->n] = r[i];
            t->index[t->n++] = i;
        }
    int most = t->n / 5 > 1 ? t->n / 5 : 1;
    for (;;) {
        uf_fit_free(t->fit);
        int rc = uf_fit_new(&t->fit, UF_MODEL_CELLS, rig, p, setup, t->r, t->n, settings, err);
        if (rc != UF_OK)
            return rc;
        int worst = -1;
        double size = OUTLIER;
        for (int i = 0; i < t->fit->readings; i++)
            if (t->fit->reading[i].studentised > size) {
                size = t->fit->reading[i].studentised;
                worst = t->fit->reading[i].reading;
            }
        if (worst < 0 || t->removed == most || t->n <= UF_COMPONENTS)
            return UF_OK;
        t->gone[t->removed++] = t->index[worst];
        t->n--;
        memmove(t->r + worst, t->r + worst + 1, (size_t)(t->n - worst) * sizeof *t->r);
        memmove(t->index + worst, t->index + worst + 1, (size_t)(t->n - worst) * sizeof *t->index);
    }
}

/* What the others say that the load was. */
static void describe_load(const struct uf_plate *plate, const struct uf_load_setup *setup,
                          const struct uf_reading *r, int reading, const struct uf_fit *others,
                          int number, double unstill, struct uf_findings *out)
{
    struct uf_load_wrench known;
    struct uf_wrench w;
    struct uf_cop cop;
    char what[200], weights[80], other[160];
    const char *why = "see whether its place, direction and weights are written down right.";
    uf_load_wrench_of(setup, plate, &r->load, &known);
    uf_fit_wrench(others, r->above_raw, &w);
    uf_cop_of(&w, plate->surface_mm, 25, &cop);
    double said_n =
        sqrt(known.w[0] * known.w[0] + known.w[1] * known.w[1] + known.w[2] * known.w[2]);
    double got_n = sqrt(w.fx_n * w.fx_n + w.fy_n * w.fy_n + w.fz_n * w.fz_n);
    if (r->load.kind == UF_LOAD_VERTICAL)
        snprintf(what, sizeof what, "%.1f N at %.0f, %.0f mm instead of %.1f N at %g, %g mm",
                 w.fz_n, cop.x_mm, cop.y_mm, said_n, r->load.x_mm, r->load.y_mm);
    else
        snprintf(what, sizeof what, "Fx %.1f, Fy %.1f, Fz %.1f N instead of %.1f, %.1f, %.1f N",
                 w.fx_n, w.fy_n, w.fz_n, known.w[0], known.w[1], known.w[2]);
    if (unstill > UNSTILL) {
        snprintf(other, sizeof other,
                 "its signal moved %.0f times as much as the others': did somebody lean on the "
                 "plate or touch the weight?",
                 unstill);
        why = other;
    } else if (other_weights(setup, &r->load, got_n, 0.01 * got_n + 0.5, weights, sizeof weights)) {
        snprintf(other, sizeof other, "weight %s would fit: see which one lay there.", weights);
        why = other;
    } else if (fabs(got_n - said_n) > 0.02 * said_n) {
        why = "did somebody lean on the plate, did the weight touch anything, or is it the wrong "
              "weight?";
    }
    add(out, UF_FINDING_LOAD, true, reading, -1,
        "load %d does not belong to the others: it reads %s; %s Repeat it, or leave it out with "
        "\"skip\"",
        number, what, why);
}

static void report_outliers(const struct uf_plate *plate, int p, const struct uf_load_setup *setup,
                            const struct uf_reading *r, const int *number, int n,
                            const struct trimmed *t, struct uf_findings *out)
{
    double usual = median_noise_n(plate, p, r, n);
    for (int i = 0; i < t->removed; i++) {
        const struct uf_reading *one = &r[t->gone[i]];
        describe_load(plate, setup, one, t->gone[i], t->fit, number_of(number, t->gone[i]),
                      noise_n(plate, one) / usual, out);
    }
    for (int i = 0; i < t->n; i++) {
        double unstill = noise_n(plate, &t->r[i]) / usual;
        if (unstill > UNSTILL)
            add(out, UF_FINDING_LOAD, false, t->index[i], -1,
                "load %d was not still: its signal moved %.0f times as much as the others'; its "
                "mean still fits",
                number_of(number, t->index[i]), unstill);
    }
}

/* ---- components and cells ---- */

static void find_weak(const struct uf_plate *plate, const struct uf_fit *fit,
                      struct uf_findings *out)
{
    static const char *const name[UF_COMPONENTS] = {"Fx", "Fy", "Fz", "Mx", "My", "Mz"};
    char list[40] = "";
    const bool *known = fit->loads.known;
    for (int k = 0; k < UF_COMPONENTS; k++)
        if (!known[k]) {
            strcat(list, list[0] ? ", " : "");
            strcat(list, name[k]);
        }
    if (!list[0])
        return;
    const char *what = "loads at other places and in other directions";
    if (!known[UF_FZ] || !known[UF_MX] || !known[UF_MY])
        what = "weights at three places or more that are not on one line";
    else if (!known[UF_FX] && !known[UF_FY])
        what = "two pulls along x at different y, and one along y";
    else if (!known[UF_FX] || !known[UF_MZ])
        what = "a pull along x at another y, or one along y at another x";
    else if (!known[UF_FY])
        what = "a pull along y";
    add(out, UF_FINDING_WEAK, false, -1, -1,
        "%s of the %s plate %s not identified by the loads (rank %d of 6) and stay%s unknown: add "
        "%s; underfoot-calib plan finds places",
        list, uf_place_name(plate->place), strchr(list, ',') ? "are" : "is", fit->loads.rank,
        strchr(list, ',') ? "" : "s", what);
}

static void find_gains(const struct uf_plate *plate, const struct uf_fit *fit,
                       struct uf_findings *out)
{
    if (fit->model != UF_MODEL_CELLS)
        return;
    for (int c = 0; c < plate->cells; c++)
        for (int k = 0; k < 3; k++) {
            double off = 100 * (fit->state.k[c][k][k] - 1);
            if (plate->cell[c].channel[k] >= 0 && fabs(off) > GAIN_SDS * fit->state.prior.gain_pct)
                add(out, UF_FINDING_GAIN, false, -1, plate->cell[c].channel[k],
                    "%c of cell %s (%s plate) is %.0f %% off its data sheet: is its n_per_count "
                    "right, is it screwed down, does the plate touch its frame there?",
                    'x' + k, plate->cell[c].name, uf_place_name(plate->place), off);
        }
}

int uf_suspect(const struct uf_rig *rig, int plate, const struct uf_load_setup *setup,
               const struct uf_reading *r, const int *number, int n,
               const struct uf_fit_settings *settings, int adc_bits, const struct uf_fit *fit,
               struct uf_findings *out, struct uf_error *err)
{
    const struct uf_plate *p = &rig->plate[plate];
    int before = out->n;
    find_rails(p, plate, r, number, n, adc_bits, out);
    find_dead(p, plate, r, n, fit, out);
    if (out->n > before) { /* nothing else can be judged by such counts */
        find_weak(p, fit, out);
        return UF_OK;
    }
    struct trimmed t;
    bool explained = false;
    int rc = trim(&t, rig, plate, setup, r, n, settings, err);
    if (rc != UF_OK)
        goto done;
    if (t.fit->scale > SUSPICIOUS)
        rc = find_explanation(rig, plate, setup, r, n, settings, out, &explained, err);
    if (rc != UF_OK)
        goto done;
    if (!explained) {
        report_outliers(p, plate, setup, r, number, n, &t, out);
        if (t.fit->scale > CONTRADICTION)
            add(out, UF_FINDING_DISAGREES, false, -1, -1,
                "the loads on the %s plate contradict its description by more than the stated "
                "tolerances and spreads allow, for no single reason found: look at the tolerances, "
                "the cells' places and the data-sheet scales, and at the residuals of each load",
                uf_place_name(p->place));
        find_gains(p, fit, out);
    }
    find_weak(p, fit, out);
done:
    trimmed_free(&t);
    return rc;
}

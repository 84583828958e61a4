/* SPDX-License-Identifier: MIT
 * What a swing's numbers really are: extremes of the exact forces, first on a grid of 1 kHz, then
 * on one of 10 kHz around each (the forces are smooth: nothing is missed between). Pure. */
#include "sim/truth.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#define COARSE_S  1e-3
#define FINE_S    1e-4
#define QUIET_S   0.5 /* shares at address: mean over so long before the first movement */
#define AFTER_S   0.5 /* peaks are sought until so long after impact */
#define NET       2   /* after LEAD and TRAIL */
#define COP_PEAKS 5

enum curve {
    TOTAL_VERTICAL,
    LEAD_VERTICAL,
    TRAIL_VERTICAL,
    TARGET,
    TURN, /* the five with a COP beside them come first */
    LEAD_HEEL,
    TRAIL_TOE,
    SHARE_MAX,
    SHARE_MIN,
    CURVES
};

/* All curves so that the greatest value is sought. */
static void curves_of(const struct foot_load f[FEET], double value[CURVES])
{
    double total = f[LEAD].vertical_n + f[TRAIL].vertical_n;
    double x = 0, y = 0, turn = 0;
    for (int i = 0; i < FEET; i++) {
        x += f[i].cop_target_mm * f[i].vertical_n / total;
        y += f[i].cop_toe_mm * f[i].vertical_n / total;
    }
    for (int i = 0; i < FEET; i++)
        turn += f[i].turn_nm - 1e-3 * ((f[i].cop_target_mm - x) * f[i].toe_n -
                                       (f[i].cop_toe_mm - y) * f[i].target_n);
    value[TOTAL_VERTICAL] = total;
    value[LEAD_VERTICAL] = f[LEAD].vertical_n;
    value[TRAIL_VERTICAL] = f[TRAIL].vertical_n;
    value[TARGET] = f[LEAD].target_n + f[TRAIL].target_n;
    value[TURN] = turn;
    value[LEAD_HEEL] = -f[LEAD].toe_n;
    value[TRAIL_TOE] = f[TRAIL].toe_n;
    value[SHARE_MAX] = 100 * f[TRAIL].vertical_n / total;
    value[SHARE_MIN] = -value[SHARE_MAX];
}

static void seek(uf_sim_forces *forces, void *context, double from_s, double to_s,
                 double peak[CURVES], double peak_s[CURVES])
{
    struct foot_load f[FEET];
    double value[CURVES], coarse_s[CURVES];
    for (int i = 0; i < CURVES; i++)
        peak[i] = -INFINITY;
    for (int k = 0; from_s + k * COARSE_S <= to_s; k++) {
        forces(context, from_s + k * COARSE_S, f);
        curves_of(f, value);
        for (int i = 0; i < CURVES; i++)
            if (value[i] > peak[i]) {
                peak[i] = value[i];
                peak_s[i] = coarse_s[i] = from_s + k * COARSE_S;
            }
    }
    for (int i = 0; i < CURVES; i++)
        for (int k = -10; k <= 10; k++) {
            double t_s = coarse_s[i] + k * FINE_S;
            if (t_s < from_s || t_s > to_s)
                continue;
            forces(context, t_s, f);
            curves_of(f, value);
            if (value[i] > peak[i]) {
                peak[i] = value[i];
                peak_s[i] = t_s;
            }
        }
}

static double share_before(uf_sim_forces *forces, void *context, double to_s)
{
    struct foot_load f[FEET];
    double trail = 0, total = 0;
    for (double t_s = to_s - QUIET_S; t_s < to_s; t_s += COARSE_S) {
        forces(context, t_s, f);
        trail += f[TRAIL].vertical_n;
        total += f[LEAD].vertical_n + f[TRAIL].vertical_n;
    }
    return 100 * trail / total;
}

void uf_sim_truth_measure(struct uf_sim_truth *t, double weight_n, uf_sim_forces *forces,
                          void *context)
{
    double peak[CURVES], peak_s[CURVES];
    seek(forces, context, t->first_move_s, t->impact_s + AFTER_S, peak, peak_s);
    t->weight_n = weight_n;
    t->trail_share_address_pct = share_before(forces, context, t->first_move_s);
    t->trail_share_max_pct = peak[SHARE_MAX];
    t->trail_share_min_pct = -peak[SHARE_MIN];
    t->total_vertical_peak_n = peak[TOTAL_VERTICAL];
    t->total_vertical_peak_s = peak_s[TOTAL_VERTICAL];
    t->lead_vertical_peak_n = peak[LEAD_VERTICAL];
    t->lead_vertical_peak_s = peak_s[LEAD_VERTICAL];
    t->trail_vertical_peak_n = peak[TRAIL_VERTICAL];
    t->trail_vertical_peak_s = peak_s[TRAIL_VERTICAL];
    t->target_peak_n = peak[TARGET];
    t->target_peak_s = peak_s[TARGET];
    t->lead_toe_min_n = -peak[LEAD_HEEL];
    t->lead_toe_min_s = peak_s[LEAD_HEEL];
    t->trail_toe_max_n = peak[TRAIL_TOE];
    t->trail_toe_max_s = peak_s[TRAIL_TOE];
    t->turn_peak_nm = peak[TURN];
    t->turn_peak_s = peak_s[TURN];
    for (int i = 0; i < COP_PEAKS; i++) {
        struct foot_load f[FEET];
        forces(context, peak_s[i], f);
        double total = f[LEAD].vertical_n + f[TRAIL].vertical_n;
        t->cop_target_mm[i][NET] = t->cop_toe_mm[i][NET] = 0;
        for (int foot = 0; foot < FEET; foot++) {
            t->cop_target_mm[i][foot] = f[foot].cop_target_mm;
            t->cop_toe_mm[i][foot] = f[foot].cop_toe_mm;
            t->cop_target_mm[i][NET] += f[foot].cop_target_mm * f[foot].vertical_n / total;
            t->cop_toe_mm[i][NET] += f[foot].cop_toe_mm * f[foot].vertical_n / total;
        }
    }
}

/* ---- names of the fields ---- */

struct field {
    const char *name;
    size_t offset;
};

#define FIELD(name)                                                                                \
    {                                                                                              \
#name, offsetof(struct uf_sim_truth, name)                                                 \
    }

static const struct field fields[] = {
    FIELD(first_move_s),
    FIELD(top_s),
    FIELD(lead_arm_level_s),
    FIELD(shaft_level_s),
    FIELD(impact_s),
    FIELD(finish_s),
    FIELD(weight_n),
    FIELD(trail_share_address_pct),
    FIELD(trail_share_max_pct),
    FIELD(trail_share_min_pct),
    FIELD(total_vertical_peak_n),
    FIELD(total_vertical_peak_s),
    FIELD(lead_vertical_peak_n),
    FIELD(lead_vertical_peak_s),
    FIELD(trail_vertical_peak_n),
    FIELD(trail_vertical_peak_s),
    FIELD(target_peak_n),
    FIELD(target_peak_s),
    FIELD(lead_toe_min_n),
    FIELD(lead_toe_min_s),
    FIELD(trail_toe_max_n),
    FIELD(trail_toe_max_s),
    FIELD(turn_peak_nm),
    FIELD(turn_peak_s),
};

static const char *const cop_peaks[COP_PEAKS] = {"total_vertical_peak", "lead_vertical_peak",
                                                 "trail_vertical_peak", "target_peak", "turn_peak"};

void uf_sim_truth_clear(struct uf_sim_truth *t, enum uf_sim_act act)
{
    memset(t, 0, sizeof *t);
    t->act = act;
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++)
        *(double *)((char *)t + fields[i].offset) = NAN;
    for (int i = 0; i < COP_PEAKS; i++)
        for (int k = 0; k <= NET; k++)
            t->cop_target_mm[i][k] = t->cop_toe_mm[i][k] = NAN;
}

static json_t *number(double x)
{
    return isnan(x) ? json_null() : json_real(x);
}

json_t *uf_sim_truth_json(const struct uf_sim_truth *t)
{
    json_t *o = json_object();
    json_object_set_new(o, "act", json_string(uf_sim_act_name(t->act)));
    json_object_set_new(o, "is_swing", json_boolean(t->is_swing));
    json_object_set_new(o, "start_s", number(t->start_s));
    json_object_set_new(o, "end_s", number(t->end_s));
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++)
        json_object_set_new(o, fields[i].name,
                            number(*(const double *)((const char *)t + fields[i].offset)));
    static const char *const who[] = {"lead", "trail", "net"};
    for (int i = 0; i < COP_PEAKS; i++)
        for (int k = 0; k <= NET; k++) {
            char name[80];
            snprintf(name, sizeof name, "%s_cop_target_at_%s_mm", who[k], cop_peaks[i]);
            json_object_set_new(o, name, number(t->cop_target_mm[i][k]));
            snprintf(name, sizeof name, "%s_cop_toe_at_%s_mm", who[k], cop_peaks[i]);
            json_object_set_new(o, name, number(t->cop_toe_mm[i][k]));
        }
    for (int foot = 0; foot < FEET; foot++) {
        json_t *f = json_pack(
            "{s:o, s:o, s:o, s:o, s:o}", "target_mm", number(t->foot_target_mm[foot]), "toe_mm",
            number(t->foot_toe_mm[foot]), "toe_out_deg", number(t->toe_out_deg[foot]), "length_mm",
            number(t->foot_length_mm), "width_mm", number(t->foot_width_mm));
        json_object_set_new(o, foot == LEAD ? "lead_foot" : "trail_foot", f);
    }
    return o;
}

/* SPDX-License-Identifier: MIT
 * Rig frame to golfer frame to JSON: see page_live.h. */
#include "daemon/page_live.h"

#include <math.h>

static json_t *number(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

/* -1: the target is towards -x (right-handed). */
static double sign_of(enum uf_hand hand)
{
    return hand == UF_LEFT_HANDED ? 1.0 : -1.0;
}

static json_t *foot_json(const struct uf_ground *g, double s, const struct uf_feet *feet,
                         enum uf_foot foot)
{
    double along_pct = NAN, across_pct = NAN;
    if (feet)
        uf_foot_place(&feet->pose[foot], foot, s * g->cop_x_mm, g->cop_y_mm, &along_pct,
                      &across_pct);
    enum uf_region region = uf_foot_region(along_pct, across_pct);
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:s?}", "vertical_n", number(g->fz_n),
                     "target_n", number(s * g->fx_n), "toe_n", number(g->fy_n), "cop_target_mm",
                     number(s * g->cop_x_mm), "cop_toe_mm", number(g->cop_y_mm), "along_pct",
                     number(along_pct), "across_pct", number(across_pct), "region",
                     region ? uf_region_name(region) : NULL);
}

json_t *uf_page_live_json(const struct uf_live *live, const struct uf_rig *rig, enum uf_hand hand,
                          const struct uf_feet *feet)
{
    double s = sign_of(hand);
    const struct uf_both *b = &live->both;
    json_t *lead = json_null(), *trail = json_null();
    if (live->tared && rig->plates == 2) { /* index 0 lies left, which is the lead for s = -1 */
        int lead_plate = hand == UF_LEFT_HANDED ? 1 : 0;
        lead = foot_json(&live->ground[lead_plate], s, feet, UF_LEAD);
        trail = foot_json(&live->ground[1 - lead_plate], s, feet, UF_TRAIL);
    }
    double known = live->tared ? 1.0 : (double)NAN;
    return json_pack(
        "{s:s, s:I, s:s, s:b, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "type", "live",
        "t_dev_us", (json_int_t)live->t_dev_us, "stance", uf_stance_name(live->stance), "tared",
        live->tared, "weight_n", number(live->weight_n), "total_n", number(known * b->fz_n),
        "target_n", number(known * s * b->fx_n), "toe_n", number(known * b->fy_n), "turn_nm",
        number(known * -s * b->turn_nm), "net_target_mm", number(known * s * b->cop_x_mm),
        "net_toe_mm", number(known * b->cop_y_mm), "lead", lead, "trail", trail);
}

json_t *uf_page_plates_json(const struct uf_rig *rig)
{
    json_t *a = json_array();
    for (int p = 0; p < rig->plates; p++) {
        const struct uf_plate *plate = &rig->plate[p];
        json_array_append_new(a, json_pack("{s:s, s:f, s:f, s:f, s:f, s:f}", "place",
                                           uf_place_name(plate->place), "x_mm", plate->centre_x_mm,
                                           "y_mm", plate->centre_y_mm, "size_x_mm",
                                           plate->size_x_mm, "size_y_mm", plate->size_y_mm,
                                           "rotation_deg", plate->rotation_deg));
    }
    return a;
}

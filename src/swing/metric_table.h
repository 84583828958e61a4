/* SPDX-License-Identifier: MIT
 * The metric table. Included with UF_METRIC defined; no include guard, on purpose. A row is
 *   UF_METRIC(name, unit, lo, hi, function, a, b, meaning)
 * name ends in its unit; lo..hi is the plausible range (outside: NULL, implausible); function with
 * its two arguments is uf_m_... in measure_*.c. Add rows at the end of their group: columns are
 * found by name, so the order is for readers. Golfer frame: target-ward and toe-ward are positive;
 * the turn moment is positive when it turns the golfer towards the target. Times count from the
 * capture's first sample (_s) or from impact (_ms, negative before it). */

/* Weight and share */
UF_METRIC(weight_n, "N", 200, 2500, weight, 0, 0,
          "weight, from the quiet standing before the swing")
UF_METRIC(trail_share_address_pct, "pct", 0, 100, share_address, 0, 0,
          "trail foot's share of the vertical force in the quiet standing before the swing")
UF_METRIC(lead_share_address_pct, "pct", 0, 100, share_address, 1, 0,
          "lead foot's share of the vertical force in the quiet standing before the swing")
UF_METRIC(trail_share_max_pct, "pct", 0, 110, peak, CURVE_SHARE, MAXIMUM,
          "greatest share under the trail foot")
UF_METRIC(trail_share_max_s, "s", 0, 30, peak_s, CURVE_SHARE, MAXIMUM,
          "time of the greatest share under the trail foot")
UF_METRIC(trail_share_min_pct, "pct", -10, 100, peak, CURVE_SHARE, MINIMUM,
          "least share under the trail foot (greatest under the lead foot)")
UF_METRIC(trail_share_min_s, "s", 0, 30, peak_s, CURVE_SHARE, MINIMUM,
          "time of the least share under the trail foot")

/* UF_PEAK(stem, curve, direction, lo_bw, hi_bw, words): value in body weights and newtons, time,
 * time from impact and from the top, part of the downswing. Value and time of a peak are those of
 * the top of the polynomial that is fitted to its crest (measure.c). */
#define UF_PEAK(stem, curve, direction, lo_bw, hi_bw, words)                                       \
    UF_METRIC(stem##_bw, "BW", lo_bw, hi_bw, peak_bw, curve, direction, words)                     \
    UF_METRIC(stem##_n, "N", (lo_bw) * ((lo_bw) > 0 ? 200.0 : 2500.0), (hi_bw)*2500.0, peak,       \
              curve, direction, words)                                                             \
    UF_METRIC(stem##_s, "s", 0, 30, peak_s, curve, direction, "time of: " words)                   \
    UF_METRIC(stem##_to_impact_ms, "ms", -3000, 1500, peak_to_impact_ms, curve, direction,         \
              "time from impact (sensed or marked) of: " words)                                    \
    UF_METRIC(stem##_to_top_ms, "ms", -2000, 2000, peak_to_top_ms, curve, direction,               \
              "time from the top of: " words)                                                      \
    UF_METRIC(stem##_downswing_pct, "pct", -500, 500, peak_downswing_pct, curve, direction,        \
              "time of, in percent of the downswing (0 at the top, 100 at impact): " words)

/* Vertical */
UF_PEAK(total_vertical_peak, CURVE_TOTAL_VERTICAL, MAXIMUM, 0.5, 4,
        "greatest vertical force, both feet")
UF_PEAK(lead_vertical_peak, CURVE_LEAD_VERTICAL, MAXIMUM, 0.2, 4,
        "greatest vertical force, lead foot")
UF_PEAK(trail_vertical_peak, CURVE_TRAIL_VERTICAL, MAXIMUM, 0.2, 3,
        "greatest vertical force, trail foot")

UF_METRIC(total_vertical_rise_bw_s, "BW/s", 0, 60, rise, CURVE_TOTAL_VERTICAL, 1,
          "rate of force development: steepest 30 ms before the greatest vertical force, both feet")
UF_METRIC(lead_vertical_rise_bw_s, "BW/s", 0, 60, rise, CURVE_LEAD_VERTICAL, 1,
          "rate of force development: steepest 30 ms before the greatest vertical force, lead foot")

/* Target-ward and toe-heel */
UF_PEAK(target_peak, CURVE_TOTAL_TARGET, MAXIMUM, 0, 1, "greatest target-ward force, both feet")
UF_PEAK(away_peak, CURVE_TOTAL_TARGET, MINIMUM, -1, 0.1,
        "greatest force away from the target, both feet (as a negative number)")
UF_PEAK(lead_target_peak, CURVE_LEAD_TARGET, MAXIMUM, -0.2, 1,
        "greatest target-ward force under the lead foot")
UF_PEAK(trail_target_peak, CURVE_TRAIL_TARGET, MAXIMUM, -0.2, 1,
        "greatest target-ward force under the trail foot")
UF_PEAK(lead_heel_peak, CURVE_LEAD_TOE, MINIMUM, -1, 0.1,
        "greatest heel-ward force under the lead foot (as a negative number)")
UF_PEAK(lead_toe_peak, CURVE_LEAD_TOE, MAXIMUM, -0.1, 1,
        "greatest toe-ward force under the lead foot")
UF_PEAK(trail_toe_peak, CURVE_TRAIL_TOE, MAXIMUM, -0.1, 1,
        "greatest toe-ward force under the trail foot")
UF_PEAK(trail_heel_peak, CURVE_TRAIL_TOE, MINIMUM, -1, 0.1,
        "greatest heel-ward force under the trail foot (as a negative number)")

/* Turn */
UF_METRIC(turn_peak_nm, "N m", 0, 400, peak, CURVE_TURN, MAXIMUM,
          "greatest turn moment about the vertical through the net COP")
UF_METRIC(turn_peak_s, "s", 0, 30, peak_s, CURVE_TURN, MAXIMUM, "time of the greatest turn moment")
UF_METRIC(turn_peak_to_impact_ms, "ms", -3000, 1500, peak_to_impact_ms, CURVE_TURN, MAXIMUM,
          "time from impact of the greatest turn moment")
UF_METRIC(turn_peak_to_top_ms, "ms", -2000, 2000, peak_to_top_ms, CURVE_TURN, MAXIMUM,
          "time from the top of the greatest turn moment")
UF_METRIC(turn_peak_downswing_pct, "pct", -500, 500, peak_downswing_pct, CURVE_TURN, MAXIMUM,
          "time of the greatest turn moment, as percent of the downswing")
UF_METRIC(turn_rise_nm_s, "N m/s", 0, 20000, rise, CURVE_TURN, 0,
          "steepest 30 ms of the turn moment before its peak")
UF_METRIC(turn_from_toe_at_turn_peak_nm, "N m", -400, 400, at, CURVE_TURN_TOE, AT_TURN,
          "part of the turn moment from the toe-heel forces, at its peak")
UF_METRIC(turn_from_target_at_turn_peak_nm, "N m", -400, 400, at, CURVE_TURN_TARGET, AT_TURN,
          "part of the turn moment from the target-ward forces, at its peak")
UF_METRIC(turn_from_free_at_turn_peak_nm, "N m", -400, 400, at, CURVE_TURN_FREE, AT_TURN,
          "part of the turn moment from the free moments, at its peak")

/* Impulses: of the lobe around the peak, between the two places where the curve crosses zero */
UF_METRIC(vertical_impulse_ns, "N s", 0, 1500, lobe, CURVE_EXCESS_VERTICAL, MAXIMUM,
          "vertical impulse above weight, of the lobe around the greatest vertical force")
UF_METRIC(target_impulse_ns, "N s", 0, 800, lobe, CURVE_TOTAL_TARGET, MAXIMUM,
          "target-ward impulse, of the lobe around its peak")
UF_METRIC(turn_impulse_nms, "N m s", 0, 200, lobe, CURVE_TURN, MAXIMUM,
          "angular impulse about the vertical, of the lobe around the turn peak")

UF_METRIC(turn_impulse_downswing_nms, "N m s", -200, 200, turn_impulse, CURVE_TURN, 0,
          "angular impulse about the vertical through the net COP, from top to impact")
UF_METRIC(turn_impulse_downswing_from_toe_nms, "N m s", -200, 200, turn_impulse, CURVE_TURN_TOE, 0,
          "the part of it from the toe-heel forces")
UF_METRIC(turn_impulse_downswing_from_target_nms, "N m s", -200, 200, turn_impulse,
          CURVE_TURN_TARGET, 0, "the part of it from the target-ward forces")
UF_METRIC(turn_impulse_downswing_from_free_nms, "N m s", -200, 200, turn_impulse, CURVE_TURN_FREE,
          0, "the part of it from the free moments")

/* The couple of toe-heel forces: lead foot heel-ward, trail foot toe-ward */
UF_METRIC(
    couple_lag_ms, "ms", -2000, 2000, couple, COUPLE_LAG, 0,
    "from the lead foot's heel-ward peak to the trail foot's toe-ward peak: positive when the "
    "lead foot is first")
UF_METRIC(
    couple_overlap, "", 0, 1, couple, COUPLE_OVERLAP, 0,
    "area that both pushes share from top to impact, as a part of the area that either covers: "
    "1 when they are one shape")
UF_METRIC(couple_leader, "", 0, 2, couple, COUPLE_LEADER, 0,
          "which foot peaks first: 1 lead, 2 trail, 0 together (within 5 ms)")

/* Timing of the whole */
UF_METRIC(backswing_ms, "ms", 200, 3000, span, SPAN_BACKSWING, 0, "first movement to top")
UF_METRIC(downswing_ms, "ms", 100, 1000, span, SPAN_DOWNSWING, 0, "top to impact")
UF_METRIC(tempo, "", 0.5, 12, span, SPAN_TEMPO, 0, "backswing : downswing")
UF_METRIC(peak_order, "", 123, 321, peak_order, 0, 0,
          "peaks in the order of time, a digit each: 1 target-ward, 2 turn, 3 vertical")
UF_METRIC(target_to_turn_ms, "ms", -1500, 1500, peak_gap_ms, CURVE_TOTAL_TARGET, CURVE_TURN,
          "from the target-ward peak to the turn peak")
UF_METRIC(turn_to_vertical_ms, "ms", -1500, 1500, peak_gap_ms, CURVE_TURN, CURVE_TOTAL_VERTICAL,
          "from the turn peak to the vertical peak")

/* Share and travel at the moments of the swing */
UF_METRIC(trail_share_backswing_max_pct, "pct", 0, 110, share_back_max, 0, 0,
          "greatest share under the trail foot from the first movement to the top")
UF_METRIC(trail_share_top_pct, "pct", -10, 110, at, CURVE_SHARE, AT_TOP,
          "share under the trail foot at the top")
UF_METRIC(trail_share_lead_arm_level_pct, "pct", -10, 110, at, CURVE_SHARE, AT_ARM,
          "share under the trail foot with the lead arm level in the downswing")
UF_METRIC(trail_share_impact_pct, "pct", -10, 110, at, CURVE_SHARE, AT_IMPACT,
          "share under the trail foot at impact")
UF_METRIC(net_cop_travel_mm, "mm", 0, 5000, travel, TRAVEL_LENGTH, 0,
          "length of the net COP's way from the first movement to impact")
UF_METRIC(net_cop_range_target_mm, "mm", 0, 1500, travel, TRAVEL_TARGET, 0,
          "range of the net COP along the target line, from the first movement to impact")
UF_METRIC(net_cop_range_toe_mm, "mm", 0, 1000, travel, TRAVEL_TOE, 0,
          "range of the net COP toe-heel, from the first movement to impact")
UF_METRIC(net_cop_speed_max_mm_s, "mm/s", 0, 20000, travel, TRAVEL_SPEED, 0,
          "greatest speed of the net COP from the first movement to impact")

/* COP at the peaks, in mm of the rig frame: target-ward from the middle between the plates,
 * toe-ward from the line through the plates' centres */
#define UF_COPS(where, anchor, words)                                                              \
    UF_METRIC(net_cop_target_at_##where##_mm, "mm", -1500, 1500, at, CURVE_NET_TARGET, anchor,     \
              "net COP, target-ward, at the " words)                                               \
    UF_METRIC(net_cop_toe_at_##where##_mm, "mm", -1500, 1500, at, CURVE_NET_TOE, anchor,           \
              "net COP, toe-ward, at the " words)                                                  \
    UF_METRIC(lead_cop_target_at_##where##_mm, "mm", -1500, 1500, at, CURVE_LEAD_COP_TARGET,       \
              anchor, "COP of the lead foot, target-ward, at the " words)                          \
    UF_METRIC(lead_cop_toe_at_##where##_mm, "mm", -1500, 1500, at, CURVE_LEAD_COP_TOE, anchor,     \
              "COP of the lead foot, toe-ward, at the " words)                                     \
    UF_METRIC(trail_cop_target_at_##where##_mm, "mm", -1500, 1500, at, CURVE_TRAIL_COP_TARGET,     \
              anchor, "COP of the trail foot, target-ward, at the " words)                         \
    UF_METRIC(trail_cop_toe_at_##where##_mm, "mm", -1500, 1500, at, CURVE_TRAIL_COP_TOE, anchor,   \
              "COP of the trail foot, toe-ward, at the " words)

UF_COPS(total_vertical_peak, AT_TOTAL_VERTICAL, "greatest vertical force of both feet")
UF_COPS(lead_vertical_peak, AT_LEAD_VERTICAL, "greatest vertical force of the lead foot")
UF_COPS(trail_vertical_peak, AT_TRAIL_VERTICAL, "greatest vertical force of the trail foot")
UF_COPS(target_peak, AT_TARGET, "greatest target-ward force")
UF_COPS(turn_peak, AT_TURN, "greatest turn moment")

UF_COPS(top, AT_TOP, "top")
UF_COPS(lead_arm_level, AT_ARM, "moment when the lead arm is level in the downswing")
UF_COPS(shaft_level, AT_SHAFT, "moment when the shaft is level in the downswing")
UF_COPS(impact, AT_IMPACT, "impact")

/* The line from the trail foot's COP to the lead foot's, against the target line; negative when the
 * lead foot's COP is nearer to the heels; and the COP in each foot's own frame (needs rocking) */
#define UF_FEET_AT(where, anchor, words)                                                           \
    UF_METRIC(cop_line_at_##where##_deg, "deg", -90, 90, line_at, 0, anchor,                       \
              "angle of the line from the trail foot's COP to the lead foot's, at the " words)     \
    UF_METRIC(lead_cop_along_at_##where##_pct, "pct", -20, 120, foot_at, LEAD_ALONG, anchor,       \
              "COP along the lead foot, 0 heel to 100 toes, at the " words)                        \
    UF_METRIC(lead_cop_across_at_##where##_pct, "pct", -40, 140, foot_at, LEAD_ACROSS, anchor,     \
              "COP across the lead foot, 0 outer to 100 inner edge, at the " words)                \
    UF_METRIC(lead_cop_region_at_##where, "", 1, 6, foot_at, LEAD_REGION, anchor,                  \
              "part of the lead foot (1 heel, 2 arch, 3 4 5 ball inner, middle, outer, 6 toes), "  \
              "at the " words)                                                                     \
    UF_METRIC(trail_cop_along_at_##where##_pct, "pct", -20, 120, foot_at, TRAIL_ALONG, anchor,     \
              "COP along the trail foot, 0 heel to 100 toes, at the " words)                       \
    UF_METRIC(trail_cop_across_at_##where##_pct, "pct", -40, 140, foot_at, TRAIL_ACROSS, anchor,   \
              "COP across the trail foot, 0 outer to 100 inner edge, at the " words)               \
    UF_METRIC(trail_cop_region_at_##where, "", 1, 6, foot_at, TRAIL_REGION, anchor,                \
              "part of the trail foot (1 heel, 2 arch, 3 4 5 ball inner, middle, outer, 6 toes), " \
              "at the " words)

UF_FEET_AT(total_vertical_peak, AT_TOTAL_VERTICAL, "greatest vertical force of both feet")
UF_FEET_AT(lead_vertical_peak, AT_LEAD_VERTICAL, "greatest vertical force of the lead foot")
UF_FEET_AT(trail_vertical_peak, AT_TRAIL_VERTICAL, "greatest vertical force of the trail foot")
UF_FEET_AT(target_peak, AT_TARGET, "greatest target-ward force")
UF_FEET_AT(turn_peak, AT_TURN, "greatest turn moment")
UF_FEET_AT(top, AT_TOP, "top")
UF_FEET_AT(lead_arm_level, AT_ARM, "moment when the lead arm is level in the downswing")
UF_FEET_AT(shaft_level, AT_SHAFT, "moment when the shaft is level in the downswing")
UF_FEET_AT(impact, AT_IMPACT, "impact")

/* Signal quality */
UF_METRIC(lost_samples, "", 0, 1e6, lost, 0, 0, "samples missing within the window (filled)")
UF_METRIC(quiet_noise_n, "N", 0, 500, quiet_noise, 0, 0,
          "standard deviation of the total vertical force in the window's part of quiet standing")
UF_METRIC(vertical_closure_ns, "N s", -200, 200, closure, CURVE_EXCESS_VERTICAL, 0,
          "integral of vertical force minus weight, still to still: zero but for drift and gain")
UF_METRIC(target_closure_ns, "N s", -200, 200, closure, CURVE_TOTAL_TARGET, 0,
          "integral of the target-ward force, still to still: zero but for drift")
UF_METRIC(toe_closure_ns, "N s", -200, 200, closure, CURVE_TOTAL_TOE, 0,
          "integral of the toe-heel force, still to still: zero but for drift")

#undef UF_PEAK
#undef UF_COPS
#undef UF_FEET_AT

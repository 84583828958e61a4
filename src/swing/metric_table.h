/* SPDX-License-Identifier: MIT
 * The metric table. Included with UF_METRIC defined; no include guard, on purpose. A row is
 *   UF_METRIC(name, unit, lo, hi, function, a, b, meaning)
 * name ends in its unit; lo..hi is the plausible range (outside: NULL, implausible); function with
 * its two arguments lives in metric.c. Add rows at the end of their group: columns are found
 * by name, so the order is for readers. Golfer frame: target-ward and toe-ward are positive; the
 * turn moment is positive when it turns the golfer towards the target. Times count from the
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
 * time to impact. */
#define UF_PEAK(stem, curve, direction, lo_bw, hi_bw, words)                                       \
    UF_METRIC(stem##_bw, "BW", lo_bw, hi_bw, peak_bw, curve, direction, words)                     \
    UF_METRIC(stem##_n, "N", (lo_bw) * ((lo_bw) > 0 ? 200.0 : 2500.0), (hi_bw)*2500.0, peak,       \
              curve, direction, words)                                                             \
    UF_METRIC(stem##_s, "s", 0, 30, peak_s, curve, direction, "time of: " words)                   \
    UF_METRIC(stem##_to_impact_ms, "ms", -3000, 1500, peak_to_impact_ms, curve, direction,         \
              "time from impact of: " words)

/* Vertical */
UF_PEAK(total_vertical_peak, CURVE_TOTAL_VERTICAL, MAXIMUM, 0.5, 4,
        "greatest vertical force, both feet")
UF_PEAK(lead_vertical_peak, CURVE_LEAD_VERTICAL, MAXIMUM, 0.2, 4,
        "greatest vertical force, lead foot")
UF_PEAK(trail_vertical_peak, CURVE_TRAIL_VERTICAL, MAXIMUM, 0.2, 3,
        "greatest vertical force, trail foot")

/* Target-ward and toe-heel */
UF_PEAK(target_peak, CURVE_TOTAL_TARGET, MAXIMUM, 0, 1, "greatest target-ward force, both feet")
UF_PEAK(away_peak, CURVE_TOTAL_TARGET, MINIMUM, -1, 0.1,
        "greatest force away from the target, both feet (as a negative number)")
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
UF_METRIC(turn_from_toe_at_turn_peak_nm, "N m", -400, 400, at_peak, CURVE_TURN_TOE, AT_TURN,
          "part of the turn moment from the toe-heel forces, at its peak")
UF_METRIC(turn_from_target_at_turn_peak_nm, "N m", -400, 400, at_peak, CURVE_TURN_TARGET, AT_TURN,
          "part of the turn moment from the target-ward forces, at its peak")
UF_METRIC(turn_from_free_at_turn_peak_nm, "N m", -400, 400, at_peak, CURVE_TURN_FREE, AT_TURN,
          "part of the turn moment from the free moments, at its peak")

/* Impulses: of the lobe around the peak, between the two places where the curve crosses zero */
UF_METRIC(vertical_impulse_ns, "N s", 0, 1500, lobe, CURVE_EXCESS_VERTICAL, MAXIMUM,
          "vertical impulse above weight, of the lobe around the greatest vertical force")
UF_METRIC(target_impulse_ns, "N s", 0, 800, lobe, CURVE_TOTAL_TARGET, MAXIMUM,
          "target-ward impulse, of the lobe around its peak")
UF_METRIC(turn_impulse_nms, "N m s", 0, 200, lobe, CURVE_TURN, MAXIMUM,
          "angular impulse about the vertical, of the lobe around the turn peak")

/* COP at the peaks, in mm of the rig frame: target-ward from the middle between the plates,
 * toe-ward from the line through the plates' centres */
#define UF_COPS(at, anchor, words)                                                                 \
    UF_METRIC(net_cop_target_at_##at##_mm, "mm", -1500, 1500, at_peak, CURVE_NET_TARGET, anchor,   \
              "net COP, target-ward, at the " words)                                               \
    UF_METRIC(net_cop_toe_at_##at##_mm, "mm", -1500, 1500, at_peak, CURVE_NET_TOE, anchor,         \
              "net COP, toe-ward, at the " words)                                                  \
    UF_METRIC(lead_cop_target_at_##at##_mm, "mm", -1500, 1500, at_peak, CURVE_LEAD_COP_TARGET,     \
              anchor, "COP of the lead foot, target-ward, at the " words)                          \
    UF_METRIC(lead_cop_toe_at_##at##_mm, "mm", -1500, 1500, at_peak, CURVE_LEAD_COP_TOE, anchor,   \
              "COP of the lead foot, toe-ward, at the " words)                                     \
    UF_METRIC(trail_cop_target_at_##at##_mm, "mm", -1500, 1500, at_peak, CURVE_TRAIL_COP_TARGET,   \
              anchor, "COP of the trail foot, target-ward, at the " words)                         \
    UF_METRIC(trail_cop_toe_at_##at##_mm, "mm", -1500, 1500, at_peak, CURVE_TRAIL_COP_TOE, anchor, \
              "COP of the trail foot, toe-ward, at the " words)

UF_COPS(total_vertical_peak, AT_TOTAL_VERTICAL, "greatest vertical force of both feet")
UF_COPS(lead_vertical_peak, AT_LEAD_VERTICAL, "greatest vertical force of the lead foot")
UF_COPS(trail_vertical_peak, AT_TRAIL_VERTICAL, "greatest vertical force of the trail foot")
UF_COPS(target_peak, AT_TARGET, "greatest target-ward force")
UF_COPS(turn_peak, AT_TURN, "greatest turn moment")

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

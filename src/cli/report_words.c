/* SPDX-License-Identifier: MIT
 * Parts of a report in words: see report_parts.h. */
#include "base/markup.h"
#include "cli/report_parts.h"
#include "cli/text.h"

#include <math.h>
#include <string.h>

#define MPH_PER_MPS   2.2369362920544
#define DAY_US        (INT64_C(24) * 3600 * 1000000)
#define REASONS_SHOWN 6
#define METRICS_SHOWN 4 /* of one reason */
#define OLD_DAYS      365

/* What a teacher compares first, in the order of a swing. */
static const struct {
    const char *metric, *words;
} rows[] = {
    {"trail_share_address_pct", "Trail share at address"},
    {"trail_share_backswing_max_pct", "Greatest trail share, backswing"},
    {"trail_share_top_pct", "Trail share at the top"},
    {"trail_share_impact_pct", "Trail share at impact"},
    {"target_peak_bw", "Target-ward peak, both feet"},
    {"target_peak_to_impact_ms", "\u2026 its time from impact"},
    {"turn_peak_nm", "Turn peak"},
    {"turn_peak_to_impact_ms", "\u2026 its time from impact"},
    {"total_vertical_peak_bw", "Vertical peak, both feet"},
    {"total_vertical_peak_to_impact_ms", "\u2026 its time from impact"},
    {"lead_vertical_peak_bw", "Vertical peak, lead foot"},
    {"lead_heel_peak_bw", "Heel-ward peak, lead foot"},
    {"trail_toe_peak_bw", "Toe-ward peak, trail foot"},
    {"couple_lag_ms", "\u2026 trail toe after lead heel"},
    {"backswing_ms", "Backswing"},
    {"downswing_ms", "Downswing"},
};
#define ROWS (sizeof rows / sizeof rows[0])

const char *uf_report_words(const char *metric)
{
    for (size_t i = 0; i < ROWS; i++)
        if (strcmp(rows[i].metric, metric) == 0 && rows[i].words[0] != '\xE2')
            return rows[i].words;
    int m = uf_metric_find(metric);
    return m < 0 ? metric : uf_metric_row((enum uf_metric)m)->meaning;
}

/* ---- what was measured ---- */

static void write_side(const struct uf_report *r, int side, FILE *out)
{
    const struct uf_report_side *s = &r->side[side];
    fprintf(out, "<dt>%s</dt><dd>", uf_report_side_name(r, side));
    if (s->block.id) {
        fprintf(out, "block %lld, <bdi>", (long long)s->block.id);
        uf_markup_part(out, s->block.kind, 40);
        fputs("</bdi>, ", out);
        if (s->block.session_id != r->session_id)
            fprintf(out, "of session %lld, ", (long long)s->block.session_id);
        if (*s->block.club) {
            fputs("<bdi>", out);
            uf_markup_part(out, s->block.club, 40);
            fputs("</bdi>, ", out);
        }
        fputs(s->block.ball == 1 ? "ball, " : s->block.ball == 0 ? "no ball, " : "", out);
    } else {
        fputs("swings outside of blocks, ", out);
    }
    fprintf(out, "%zu swing%s", s->swings, s->swings == 1 ? "" : "s");
    if (s->excluded)
        fprintf(out, " (%zu more excluded)", s->excluded);
    fputs("</dd>\n", out);
}

static void write_weight(const struct uf_report *r, FILE *out)
{
    double sum = 0;
    size_t n = 0;
    for (size_t i = 0; i < r->swings; i++)
        if (r->swing[i].side >= 0 && r->swing[i].derived && !isnan(r->swing[i].weight_n)) {
            sum += r->swing[i].weight_n;
            n++;
        }
    if (n)
        fprintf(out, ", weight %.0f N (%.1f kg)", sum / (double)n, sum / (double)n / 9.80665);
}

static void write_calibrations(const struct uf_report *r, FILE *out)
{
    for (size_t i = 0; i < r->calibrations; i++) {
        const struct uf_report_calibration *c = &r->calibration[i];
        fputs(i ? "; " : "", out);
        if (c->id == 0) {
            fputs("<b>none with known weights</b>: the cells' data sheets, so every number is less "
                  "sure",
                  out);
            continue;
        }
        double days = (double)(r->started_utc_us - c->made_utc_us) / (double)DAY_US;
        fputs("<bdi>", out);
        uf_markup_text(out, c->name);
        fputs("</bdi>", out);
        if (days < 0)
            fputs(", made after the lesson", out);
        else
            fprintf(out, ", %.0f day%s old at the lesson%s", floor(days),
                    days >= 1 && days < 2 ? "" : "s",
                    days > OLD_DAYS ? " (older than a year)" : "");
        if (!isnan(c->cop_u_mm))
            fprintf(out, ", places a load that it had not seen to %.1f mm (rms)", c->cop_u_mm);
    }
    fputs(r->calibrations == 0   ? "no swing with numbers"
          : r->more_calibrations ? "; and others"
                                 : "",
          out);
}

static void write_plates(const struct uf_report *r, FILE *out)
{
    fputs("<dt>Plates</dt><dd><bdi>", out);
    uf_markup_text(out, r->rig.name);
    fprintf(out, "</bdi>, %s", r->rig.plates == 1 ? "one plate" : "two plates");
    int64_t rate = 0;
    for (size_t i = 0; i < r->swings; i++)
        rate = r->swing[i].derived ? r->swing[i].rate_hz : rate;
    if (rate)
        fprintf(out, ", %lld samples a second", (long long)rate);
    for (int p = 0; p < r->rig.plates; p++)
        if (*r->check[p])
            fprintf(out, "; %s plate checked %s", uf_place_name(r->rig.plate[p].place),
                    r->check[p]);
        else
            fprintf(out, "; %s plate never checked", uf_place_name(r->rig.plate[p].place));
    if (!isnan(r->drift_n))
        fprintf(out, "; zero drifted by %.1f N at most", r->drift_n);
    fputs("</dd>\n<dt>Calibration</dt><dd>", out);
    write_calibrations(r, out);
    fputs("</dd>\n", out);
}

/* "sensed in 3, estimated from the forces in 2 (± 18 ms)". */
static void write_event(const struct uf_report *r, enum uf_event_kind kind, FILE *out)
{
    static const char *const words[] = {[UF_SOURCE_NONE] = "not known in",
                                        [UF_SOURCE_SENSOR] = "sensed in",
                                        [UF_SOURCE_MARK] = "marked by hand in",
                                        [UF_SOURCE_ESTIMATE] =
                                            "estimated from the forces, not measured, in"};
    static const enum uf_event_source order[] = {UF_SOURCE_SENSOR, UF_SOURCE_MARK,
                                                 UF_SOURCE_ESTIMATE, UF_SOURCE_NONE};
    bool first = true;
    for (size_t k = 0; k < sizeof order / sizeof order[0]; k++) {
        size_t n = 0;
        double squares = 0;
        for (size_t i = 0; i < r->swings; i++) {
            const struct uf_report_swing *w = &r->swing[i];
            if (w->side < 0 || !uf_report_counts(w, w->side) || w->d.event[kind].source != order[k])
                continue;
            squares += w->d.event[kind].u_s * w->d.event[kind].u_s;
            n++;
        }
        if (n == 0)
            continue;
        fprintf(out, "%s%s %zu", first ? "" : ", ", words[order[k]], n);
        double u_ms = 1e3 * sqrt(squares / (double)n);
        if (order[k] == UF_SOURCE_ESTIMATE && isfinite(u_ms))
            fprintf(out, " (\u00b1\u00a0%.0f ms)", u_ms);
        first = false;
    }
}

void uf_report_measured(const struct uf_report *r, FILE *out)
{
    size_t without = 0, counted = 0;
    for (size_t i = 0; i < r->swings; i++) {
        without += !r->swing[i].derived;
        counted += r->swing[i].side >= 0 && uf_report_counts(&r->swing[i], r->swing[i].side);
    }
    fputs("<section><h2>What was measured</h2>\n<dl>", out);
    if (r->has_player) {
        fprintf(out, "<dt>Player</dt><dd>%s-handed",
                r->player.hand == UF_LEFT_HANDED ? "left" : "right");
        if (!isnan(r->player.foot_length_mm))
            fprintf(out, ", foot %.0f mm", r->player.foot_length_mm);
        write_weight(r, out);
        fputs("</dd>\n", out);
    }
    for (int side = 0; side < r->sides; side++)
        write_side(r, side, out);
    if (r->sides == 0)
        fputs("<dt>Swings</dt><dd>none</dd>\n", out);
    if (without)
        fprintf(out,
                "<dt>Left out</dt><dd>%zu swing%s without numbers yet (underfoot rederive)</dd>\n",
                without, without == 1 ? "" : "s");
    write_plates(r, out);
    if (counted) {
        fputs("<dt>Impact</dt><dd>", out);
        write_event(r, UF_EVENT_IMPACT, out);
        fprintf(out, " of %zu swing%s. Top: ", counted, counted == 1 ? "" : "s");
        write_event(r, UF_EVENT_TOP, out);
        fputs("</dd>\n", out);
    }
    fputs("</dl></section>\n", out);
}

/* ---- the chosen number ---- */

void uf_report_single(const struct uf_report *r, enum uf_metric m, FILE *out)
{
    const char *unit = uf_metric_row(m)->unit;
    struct uf_spread s;
    uf_report_spread(r, 0, m, &s);
    fputs("<p class=\"verdict\">", out);
    if (s.n == 0)
        fputs("Not measured: why is said on the second page.", out);
    else if (s.n < UF_COMPARISON_LEAST)
        fprintf(out,
                "%s: too few to know the player's own noise. It takes three, and ten are "
                "better.",
                s.n == 1 ? "One swing is one swing" : "Two swings are two swings");
    else {
        fputs("No retest: nothing to compare with yet. Swing to swing it varies by ", out);
        uf_report_number(s.sd, unit, false, true, out);
        fputs(" (1 SD); a retest of as many swings would have to differ by about ", out);
        uf_report_number(uf_report_needed(&s), unit, false, true, out);
        fputs(" to say that it changed.", out);
    }
    fputs("</p>\n", out);
}

void uf_report_club_speed(const struct uf_report *r, FILE *out)
{
    struct uf_spread s;
    const struct uf_comparison_row *row = uf_report_row(r, "club_speed");
    bool any = false;
    for (int side = 0; side < r->sides; side++) {
        uf_report_speed(r, side, &s);
        if (s.n == 0)
            continue;
        fprintf(out, "%s%s ", any ? "; " : "<p><b>Club speed</b>, of another instrument: ",
                uf_report_side_name(r, side));
        uf_report_number(s.mean, "m/s", false, true, out);
        fprintf(out, " (%.1f mph), mean of %zu", MPH_PER_MPS * s.mean, s.n);
        any = true;
    }
    if (!any) {
        fputs("<p><b>Club speed</b>: none was given (underfoot import, or underfoot swing "
              "extra).</p>\n",
              out);
        return;
    }
    if (row)
        fprintf(out, ". %s",
                row->verdict == UF_VERDICT_CHANGED  ? "Changed"
                : row->verdict == UF_VERDICT_WITHIN ? "Within noise"
                : row->verdict == UF_VERDICT_FEW    ? "Too few swings to say"
                                                    : "Not measured on both sides");
    fputs(".</p>\n", out);
}

/* ---- the table ---- */

static void write_cell(double v, const char *unit, bool sign, FILE *out)
{
    fputs("<td>", out);
    uf_report_number(v, unit, sign, false, out);
    fputs("</td>", out);
}

/* A mean with its spread in brackets. */
static void write_spread(const struct uf_spread *s, const char *unit, size_t swings, FILE *out)
{
    fputs("<td>", out);
    uf_report_number(s->mean, unit, false, false, out);
    if (!isnan(s->sd)) {
        fputs(" (", out);
        uf_report_number(s->sd, unit, false, false, out);
        fputs(")", out);
    }
    if (s->n < swings && s->n)
        fprintf(out, " <span class=\"small\">n\u00a0%zu</span>", s->n);
    fputs("</td>", out);
}

static void write_verdict(enum uf_verdict v, FILE *out)
{
    static const char *const marks[] = {[UF_VERDICT_MISSING] = "\u2013",
                                        [UF_VERDICT_FEW] = "?",
                                        [UF_VERDICT_WITHIN] = "\u25CB",
                                        [UF_VERDICT_CHANGED] = "\u25CF"};
    fprintf(out, "<td>%s %s</td>", marks[v], uf_verdict_name(v));
}

static void write_row(const struct uf_report *r, const char *words, int m, const char *name,
                      FILE *out)
{
    const struct uf_comparison_row *row = uf_report_row(r, name);
    const char *unit = m < 0 ? (row ? row->unit : "m/s") : uf_metric_row((enum uf_metric)m)->unit;
    fprintf(out, "<tr%s><td>", m >= 0 && m == r->focus.metric ? " class=\"chosen\"" : "");
    uf_markup_text(out, words);
    fprintf(out, "%s", *unit ? ", " : "");
    uf_markup_text(out, uf_text_unit(unit));
    fputs("</td>", out);
    if (row) {
        write_spread(&row->a, unit, r->side[0].swings, out);
        write_spread(&row->b, unit, r->side[1].swings, out);
        write_cell(row->difference, unit, true, out);
        write_cell(row->needed, unit, false, out);
        write_verdict(row->verdict, out);
    } else {
        struct uf_spread s;
        if (m < 0)
            uf_report_speed(r, 0, &s);
        else
            uf_report_spread(r, 0, (enum uf_metric)m, &s);
        write_spread(&s, unit, r->side[0].swings, out);
        fprintf(out, "<td>%zu</td>", s.n);
        write_cell(uf_report_needed(&s), unit, false, out);
        double u = m < 0 ? (double)NAN : uf_report_sd(r, 0, (enum uf_metric)m);
        fputs("<td>", out);
        uf_report_number(u, unit, false, false, out);
        fputs("</td>", out);
    }
    fputs("</tr>\n", out);
}

/* What else is different, and how many pass by chance. */
static void write_chance(const struct uf_report *r, FILE *out)
{
    const struct uf_comparison *k = r->comparison;
    size_t judged = 0, changed = 0;
    for (size_t i = 0; i < ROWS; i++) {
        const struct uf_comparison_row *row = uf_report_row(r, rows[i].metric);
        judged += row && row->verdict >= UF_VERDICT_WITHIN;
        changed += row && row->verdict == UF_VERDICT_CHANGED;
    }
    fputs("<p class=\"small\">Means, in brackets the spread from swing to swing (1 SD). A "
          "difference that is no more than \u201ctakes more than\u201d is within the player's own "
          "noise. ",
          out);
    if (judged > 1 && changed)
        fprintf(out,
                "Of %zu numbers, about %.0f pass by chance alone: trust the one that was chosen "
                "beforehand. ",
                judged, ceil(0.05 * (double)judged));
    const struct {
        bool is;
        const char *words;
    } others[] = {{k->sessions, "different sessions (shoes, warm-up, the day)"},
                  {k->players, "different players"},
                  {k->clubs, "different clubs"},
                  {k->balls, "one with a ball, one without, or not said"},
                  {k->calibrations, "different calibrations of the plates"}};
    bool any = false;
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (others[i].is) {
            fprintf(out, "%s%s", any ? "; " : "A difference may also come from: ", others[i].words);
            any = true;
        }
    fprintf(out, "%s</p>\n", any ? "." : "");
}

void uf_report_table(const struct uf_report *r, FILE *out)
{
    if (r->sides == 0)
        return;
    bool two = r->sides == 2, speed = false;
    fprintf(out, "<section><h2>%s</h2>\n<table><thead><tr><th></th>",
            two ? "Before and after" : "The numbers of this lesson");
    if (two)
        fprintf(out,
                "<th>before, n %zu</th><th>after, n %zu</th><th>difference</th>"
                "<th>takes more than</th><th></th>",
                r->side[0].swings, r->side[1].swings);
    else
        fputs("<th>mean (1 SD)</th><th>swings</th><th>a retest has to differ by</th>"
              "<th>one value is known to \u00b1</th>",
              out);
    fputs("</tr></thead><tbody>\n", out);
    for (size_t i = 0; i < ROWS; i++)
        write_row(r, rows[i].words, uf_metric_find(rows[i].metric), rows[i].metric, out);
    for (size_t i = 0; i < r->swings; i++)
        speed = speed || (r->swing[i].side >= 0 && !isnan(r->swing[i].club_speed_mps));
    if (speed)
        write_row(r, "Club speed", -1, "club_speed", out);
    fputs("</tbody></table>\n", out);
    if (two)
        write_chance(r, out);
    fputs("</section>\n", out);
}

/* ---- what was not measurable ---- */

/* Swings of the sides that count, and in how many of them a metric is missing by that reason. */
static size_t missing(const struct uf_report *r, int m, enum uf_reason reason, size_t *counted)
{
    size_t n = 0;
    *counted = 0;
    for (size_t i = 0; i < r->swings; i++) {
        const struct uf_report_swing *w = &r->swing[i];
        if (w->side < 0 || !uf_report_counts(w, w->side))
            continue;
        (*counted)++;
        n += isnan(w->d.value[m]) && w->d.reason[m] == reason;
    }
    return n;
}

/* One reason and what it kept from being measured; false: nothing. */
static bool write_reason(const struct uf_report *r, enum uf_reason reason, FILE *out)
{
    size_t shown = 0, more = 0, counted;
    for (int m = -1; m < (int)ROWS; m++) {
        int metric = m < 0 ? r->focus.metric : uf_metric_find(rows[m].metric);
        if (metric < 0 || (m >= 0 && metric == r->focus.metric))
            continue;
        size_t n = missing(r, metric, reason, &counted);
        if (n == 0)
            continue;
        if (shown == METRICS_SHOWN) {
            more++;
            continue;
        }
        if (shown == 0)
            fprintf(out, "<li>%s: ",
                    reason ? uf_reason_text(reason)
                           : "the numbers of the swing are older than this one (underfoot "
                             "rederive)");
        const struct uf_metric_row *row = uf_metric_row((enum uf_metric)metric);
        fprintf(out, "%s%s in %zu of %zu", shown ? "; " : "", uf_report_words(row->name), n,
                counted);
        shown++;
    }
    if (shown)
        fprintf(out, "%s</li>\n", more ? "; and others" : "");
    return shown > 0;
}

static bool write_flags(const struct uf_report *r, FILE *out)
{
    bool any = false;
    for (int bit = 0; bit < UF_FLAGS; bit++) {
        size_t n = 0;
        for (size_t i = 0; i < r->swings; i++)
            n += r->swing[i].side >= 0 && uf_report_counts(&r->swing[i], r->swing[i].side) &&
                 (r->swing[i].d.flags & (1u << bit));
        if (n == 0)
            continue;
        fprintf(out, "%s%s (%zu)", any ? ", " : "<li>Flagged swings: ", uf_flag_name(bit), n);
        any = true;
    }
    fputs(any ? "</li>\n" : "", out);
    return any;
}

void uf_report_missing(const struct uf_report *r, FILE *out)
{
    int shown = 0, more = 0;
    fputs("<section><h2>What was not measurable</h2>\n<ul>", out);
    bool any = write_flags(r, out);
    for (int reason = 0; reason < UF_REASONS; reason++) {
        if (shown == REASONS_SHOWN) {
            more++;
            continue;
        }
        shown += write_reason(r, (enum uf_reason)reason, out);
    }
    if (shown == 0 && !any)
        fputs(r->sides ? "<li>Nothing: every number above was measured in every swing.</li>"
                       : "<li>Everything: no swing counts.</li>",
              out);
    else if (more)
        fputs("<li>All reasons, swing by swing: underfoot swing N</li>", out);
    fputs("</ul></section>\n", out);
}

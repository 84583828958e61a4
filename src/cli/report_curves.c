/* SPDX-License-Identifier: MIT
 * The curves of a report as one <svg>: a row a force, a column a foot, time from impact. Before is
 * a band (mean +- 1 SD) with a dashed line, after a solid one; fewer than three swings are drawn
 * one by one, because three shots are three shots. */
#include "cli/report.h"

#include <math.h>
#include <stdlib.h>

#define WIDTH    728.0
#define LEFT     34.0 /* of a panel: its scale */
#define PANEL_W  (WIDTH / 2 - LEFT - 10)
#define PANEL_H  106.0
#define DENSE_H  76.0 /* of a panel, where there is much text */
#define TITLE_H  17.0
#define LEGEND_H 18.0
#define AXIS_H   26.0
#define BAND_OF  UF_COMPARISON_LEAST /* swings */

static const char *const colours[] = {"#b85a00", "#6b34c9", "#2a2d33"};
enum { ORANGE, VIOLET, DARK };

struct panel {
    enum uf_report_curve curve;
    const char *title;
    int colour;
};
struct row {
    bool together; /* both panels have one scale */
    struct panel panel[2];
};
static const struct row two_plates[] = {
    {true,
     {{UF_RC_LEAD_VERTICAL, "Lead foot: vertical force, BW", ORANGE},
      {UF_RC_TRAIL_VERTICAL, "Trail foot: vertical force, BW", VIOLET}}},
    {true,
     {{UF_RC_LEAD_TARGET, "Lead foot: target-ward force, BW", ORANGE},
      {UF_RC_TRAIL_TARGET, "Trail foot: target-ward force, BW", VIOLET}}},
    {true,
     {{UF_RC_LEAD_TOE, "Lead foot: toe-ward (+), heel-ward (\u2212) force, BW", ORANGE},
      {UF_RC_TRAIL_TOE, "Trail foot: toe-ward (+), heel-ward (\u2212) force, BW", VIOLET}}},
    {false,
     {{UF_RC_TURN, "Both feet: turn moment, towards the target (+), N m", DARK},
      {UF_RC_TRAIL_SHARE, "Share under the trail foot, %", VIOLET}}},
};
static const struct row one_plate[] = {
    {false,
     {{UF_RC_TOTAL_VERTICAL, "Both feet: vertical force, BW", DARK},
      {UF_RC_TOTAL_TARGET, "Both feet: target-ward force, BW", DARK}}},
    {false,
     {{UF_RC_TOTAL_TOE, "Both feet: toe-ward (+), heel-ward (\u2212) force, BW", DARK},
      {UF_RC_TURN, "Both feet: turn moment, towards the target (+), N m", DARK}}},
};

/* One curve of both sides. */
struct line {
    double mean[2][UF_REPORT_POINTS], sd[2][UF_REPORT_POINTS];
    size_t n[2]; /* swings with curves */
};

struct frame {
    double x, y; /* upper left corner of the panel's field */
    double height, from_s, to_s, lo, hi;
};

static double time_of(int k)
{
    return UF_REPORT_FROM_S + k * UF_REPORT_STEP_S;
}

static double px(const struct frame *f, double t)
{
    return f->x + (t - f->from_s) / (f->to_s - f->from_s) * PANEL_W;
}

static double py(const struct frame *f, double v)
{
    return f->y + (f->hi - v) / (f->hi - f->lo) * f->height;
}

static bool shown(const struct frame *f, int k)
{
    return time_of(k) >= f->from_s - 1e-9 && time_of(k) <= f->to_s + 1e-9;
}

/* ---- scales ---- */

static void widen(struct frame *f, const double *y, const double *sd)
{
    for (int k = 0; k < UF_REPORT_POINTS; k++) {
        double around = sd && !isnan(sd[k]) ? sd[k] : 0;
        if (!shown(f, k) || isnan(y[k]))
            continue;
        f->lo = fmin(f->lo, y[k] - around);
        f->hi = fmax(f->hi, y[k] + around);
    }
}

static const double *swing_curve(const struct uf_report *r, size_t i, int side,
                                 enum uf_report_curve curve)
{
    const struct uf_report_swing *w = &r->swing[i];
    return uf_report_counts(w, side) && w->curve ? w->curve + (int)curve * UF_REPORT_POINTS : NULL;
}

/* Of the panels first to last of a row. */
static void scale(const struct uf_report *r, const struct row *row, int first, int last,
                  const struct line *line, struct frame *f)
{
    f->lo = f->hi = 0;
    for (int col = first; col <= last; col++)
        for (int side = 0; side < r->sides; side++) {
            widen(f, line[col].mean[side], line[col].sd[side]);
            for (size_t i = 0; line[col].n[side] < BAND_OF && i < r->swings; i++) {
                const double *y = swing_curve(r, i, side, row->panel[col].curve);
                if (y)
                    widen(f, y, NULL);
            }
        }
    if (f->hi - f->lo < 1e-9)
        f->hi = f->lo + 1;
    double room = 0.06 * (f->hi - f->lo);
    f->hi += room;
    f->lo -= f->lo < 0 ? room : 0;
}

/* ---- drawing ---- */

static void draw_line(FILE *out, const struct frame *f, const double *y, const char *colour,
                      double width, const char *dashes)
{
    bool down = false;
    fprintf(out, "<path fill=\"none\" stroke=\"%s\" stroke-width=\"%.1f\"%s%s%s d=\"", colour,
            width, dashes ? " stroke-dasharray=\"" : "", dashes ? dashes : "", dashes ? "\"" : "");
    for (int k = 0; k < UF_REPORT_POINTS; k++) {
        if (!shown(f, k) || isnan(y[k])) {
            down = false;
            continue;
        }
        fprintf(out, "%c%.1f %.1f", down ? 'L' : 'M', px(f, time_of(k)), py(f, y[k]));
        down = true;
    }
    fputs("\"/>\n", out);
}

/* One closed shape for each stretch that has a spread. */
static void draw_band(FILE *out, const struct frame *f, const double *mean, const double *sd,
                      const char *colour)
{
    fprintf(out, "<path fill=\"%s\" fill-opacity=\"0.2\" stroke=\"none\" d=\"", colour);
    for (int k = 0; k < UF_REPORT_POINTS; k++) {
        if (!shown(f, k) || isnan(sd[k]))
            continue;
        int end = k;
        for (char c = 'M'; end < UF_REPORT_POINTS && shown(f, end) && !isnan(sd[end]);
             end++, c = 'L')
            fprintf(out, "%c%.1f %.1f", c, px(f, time_of(end)), py(f, mean[end] + sd[end]));
        for (int back = end - 1; back >= k; back--)
            fprintf(out, "L%.1f %.1f", px(f, time_of(back)), py(f, mean[back] - sd[back]));
        fputc('Z', out);
        k = end;
    }
    fputs("\"/>\n", out);
}

static void draw_axes(FILE *out, const struct uf_report *r, const struct frame *f, bool times)
{
    double step = uf_report_step(f->hi - f->lo, 4);
    for (double v = ceil(f->lo / step) * step; v <= f->hi; v += step) {
        bool zero = fabs(v) < 1e-9;
        fprintf(out,
                "<path stroke=\"%s\" stroke-width=\"0.6\" d=\"M%.1f %.1fh%.1f\"/>"
                "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"end\">",
                zero ? "#8a8f98" : "#e2e3e6", f->x, py(f, v), PANEL_W, f->x - 4, py(f, v) + 3.5);
        uf_report_tick(v, step < 0.1 ? 2 : step < 1 ? 1 : 0, out);
        fputs("</text>\n", out);
    }
    fprintf(out, "<path stroke=\"#16181c\" stroke-width=\"1\" d=\"M%.1f %.1fv%.1f\"/>\n", px(f, 0),
            f->y, f->height);
    for (int side = 0; side < r->sides; side++) {
        double top = uf_report_event_s(r, side, UF_EVENT_TOP);
        if (isnan(top) || top < f->from_s)
            continue;
        fprintf(out, "<path stroke=\"#565d67\" stroke-width=\"0.9\"%s d=\"M%.1f %.1fv%.1f\"/>\n",
                side == 0 && r->sides == 2 ? " stroke-dasharray=\"2 2\"" : "", px(f, top), f->y,
                f->height);
    }
    if (!times)
        return;
    for (double t = -2; t <= 0.55; t += 0.5)
        if (t >= f->from_s - 1e-9) {
            fprintf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">", px(f, t),
                    f->y + f->height + 11);
            uf_report_tick(t, 1, out);
            fputs("</text>\n", out);
        }
    fprintf(out,
            "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">seconds from impact (0)</text>\n",
            f->x + PANEL_W / 2, f->y + f->height + 23);
}

static void draw_panel(FILE *out, const struct uf_report *r, const struct panel *p,
                       const struct line *line, const struct frame *f, bool times)
{
    const char *colour = colours[p->colour];
    fprintf(out, "<text x=\"%.1f\" y=\"%.1f\" font-weight=\"700\" fill=\"%s\">%s%s</text>\n", f->x,
            f->y - 5, colour,
            p->colour == ORANGE   ? "\u25CF "
            : p->colour == VIOLET ? "\u25A0 "
                                  : "",
            p->title);
    bool any = false;
    for (int side = 0; side < r->sides; side++)
        for (int k = 0; k < UF_REPORT_POINTS; k++)
            any = any || !isnan(line->mean[side][k]);
    if (!any) {
        fprintf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">not measured</text>\n",
                f->x + PANEL_W / 2, f->y + f->height / 2);
        return;
    }
    draw_axes(out, r, f, times);
    for (int side = 0; side < r->sides; side++) {
        const char *dashes = side == 0 && r->sides == 2 ? "4 2.5" : NULL;
        if (line->n[side] >= BAND_OF) {
            if (side == 0)
                draw_band(out, f, line->mean[side], line->sd[side], colour);
            draw_line(out, f, line->mean[side], colour, dashes ? 1.2 : 2, dashes);
            continue;
        }
        for (size_t i = 0; i < r->swings; i++) {
            const double *y = swing_curve(r, i, side, p->curve);
            if (y)
                draw_line(out, f, y, colour, dashes ? 0.9 : 1.4, dashes);
        }
    }
}

static void draw_legend(FILE *out, const struct uf_report *r, const struct line *line)
{
    double x = LEFT;
    for (int side = 0; side < r->sides; side++) {
        bool before = side == 0 && r->sides == 2, mean = line->n[side] >= BAND_OF;
        if (side == 0 && mean)
            fprintf(out, "<path fill=\"#2a2d33\" fill-opacity=\"0.2\" d=\"M%.1f 4h30v8h-30z\"/>",
                    x);
        fprintf(out,
                "<path stroke=\"#2a2d33\" stroke-width=\"%s\"%s d=\"M%.1f 8h30\"/>"
                "<text x=\"%.1f\" y=\"12\">",
                before ? "1.2" : "2", before ? " stroke-dasharray=\"4 2.5\"" : "", x, x + 36);
        fprintf(out, "%s: ", uf_report_side_name(r, side));
        if (mean)
            fprintf(out, "mean%s of %zu swings", side == 0 ? " and spread (\u00B1 1 SD)" : "",
                    line->n[side]);
        else if (line->n[side] == 1)
            fputs("the one swing", out);
        else
            fprintf(out, "each of %zu swings", line->n[side]);
        fputs("</text>\n", out);
        x += 270;
    }
    fprintf(out, "<text x=\"%.1f\" y=\"12\" text-anchor=\"end\">thin upright line: top</text>\n",
            WIDTH - 10);
}

int uf_report_curves(const struct uf_report *r, bool dense, FILE *out)
{
    static const char unit[] = "font-family=\"DejaVu Sans, sans-serif\" font-size=\"9.5\"";
    struct line *line = calloc(2, sizeof *line);
    struct frame f = {.height = dense ? DENSE_H : PANEL_H, .to_s = 0.5, .from_s = -0.8};
    if (!line)
        return -1;
    for (int side = 0; side < r->sides; side++) {
        double start = uf_report_event_s(r, side, UF_EVENT_START);
        f.from_s = fmin(f.from_s, isnan(start) ? -1.5 : start - 0.15);
    }
    f.from_s = fmax(f.from_s, UF_REPORT_FROM_S);
    const struct row *rows = r->rig.plates == 1 ? one_plate : two_plates;
    int n = (int)(r->rig.plates == 1 ? sizeof one_plate : sizeof two_plates) / (int)sizeof *rows;
    double height = LEGEND_H + n * (f.height + TITLE_H) + AXIS_H;
    fprintf(out,
            "<svg class=\"curves\" viewBox=\"0 0 %.0f %.0f\" %s fill=\"#16181c\" role=\"img\" "
            "aria-label=\"Forces over time\">\n",
            WIDTH, height, unit);
    for (int i = 0; i < n; i++) {
        const struct row *row = &rows[i];
        for (int col = 0; col < 2; col++)
            for (int side = 0; side < r->sides; side++)
                line[col].n[side] = uf_report_mean(r, side, row->panel[col].curve,
                                                   line[col].mean[side], line[col].sd[side]);
        if (i == 0)
            draw_legend(out, r, line);
        for (int col = 0; col < 2; col++) {
            f.x = LEFT + col * WIDTH / 2;
            f.y = LEGEND_H + TITLE_H + i * (f.height + TITLE_H);
            bool own = !row->together;
            scale(r, row, own ? col : 0, own ? col : 1, line, &f);
            draw_panel(out, r, &row->panel[col], &line[col], &f, i == n - 1);
        }
    }
    fputs("</svg>\n", out);
    free(line);
    return 0;
}

/* SPDX-License-Identifier: MIT
 * A number swing by swing, as an <svg>: hollow before, filled after, small between; a cross did not
 * count. The grey band around the mean before is what the player's own noise explains. */
#include "cli/report.h"

#include <math.h>
#include <string.h>

#define WIDTH  334.0
#define HEIGHT 150.0
#define LEFT   38.0
#define TOP    8.0
#define FIELD  108.0 /* height */

struct strip {
    const struct uf_report *r;
    int metric;
    double lo, hi;
    double needed, mean[2]; /* NAN: not known */
    FILE *out;
};

static double value_of(const struct strip *t, const struct uf_report_swing *w)
{
    if (!w->derived)
        return NAN;
    return t->metric < 0 ? w->club_speed_mps : w->d.value[t->metric];
}

static double px(const struct strip *t, size_t i)
{
    return LEFT + (WIDTH - LEFT - 8) * ((double)i + 0.5) / (double)t->r->swings;
}

static double py(const struct strip *t, double v)
{
    return TOP + FIELD * (t->hi - v) / (t->hi - t->lo);
}

static bool find_scale(struct strip *t)
{
    t->lo = INFINITY;
    t->hi = -INFINITY;
    for (size_t i = 0; i < t->r->swings; i++) {
        double v = value_of(t, &t->r->swing[i]);
        if (isnan(v))
            continue;
        double u = t->metric < 0 ? (double)NAN : t->r->swing[i].d.sd[t->metric];
        u = isnan(u) ? 0 : u;
        t->lo = fmin(t->lo, v - u);
        t->hi = fmax(t->hi, v + u);
    }
    if (!(t->lo <= t->hi))
        return false;
    if (!isnan(t->needed) && !isnan(t->mean[0])) {
        t->lo = fmin(t->lo, t->mean[0] - t->needed);
        t->hi = fmax(t->hi, t->mean[0] + t->needed);
    }
    double room = fmax(0.08 * (t->hi - t->lo), 1e-3 * fabs(t->hi) + 1e-6);
    t->lo -= room;
    t->hi += room;
    return true;
}

static void draw_scale(const struct strip *t)
{
    double step = uf_report_step(t->hi - t->lo, 6);
    int digits = step < 0.01 ? 3 : step < 0.1 ? 2 : step < 1 ? 1 : 0;
    for (double v = ceil(t->lo / step) * step; v <= t->hi; v += step) {
        fprintf(t->out,
                "<path stroke=\"#e2e3e6\" stroke-width=\"0.7\" d=\"M%.1f %.1fh%.1f\"/>"
                "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"end\">",
                LEFT, py(t, v), WIDTH - LEFT - 8, LEFT - 5, py(t, v) + 3.5);
        uf_report_tick(v, digits, t->out);
        fputs("</text>\n", t->out);
    }
}

static void draw_mark(const struct strip *t, const struct uf_report_swing *w, double x, double y)
{
    if (w->excluded)
        fprintf(t->out,
                "<path stroke=\"#565d67\" stroke-width=\"1.4\" d=\"M%.1f %.1fl6 6m0 -6l-6 6\"/>\n",
                x - 3, y - 3);
    else if (w->side < 0)
        fprintf(t->out, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"2\" fill=\"#8a8f98\"/>\n", x, y);
    else
        fprintf(t->out,
                "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"4.2\" fill=\"%s\" stroke=\"#16181c\" "
                "stroke-width=\"1.5\"/>\n",
                x, y, w->side == 0 && t->r->sides == 2 ? "#fff" : "#16181c");
}

static void draw_swings(const struct strip *t)
{
    for (size_t i = 0; i < t->r->swings; i++) {
        const struct uf_report_swing *w = &t->r->swing[i];
        double v = value_of(t, w), u = t->metric < 0 ? (double)NAN : w->d.sd[t->metric];
        double x = px(t, i);
        if (isnan(v))
            continue;
        if (w->side >= 0 && !w->excluded && !isnan(u)) {
            double from = fmin(v + u, t->hi), to = fmax(v - u, t->lo);
            fprintf(t->out, "<path stroke=\"#565d67\" stroke-width=\"1\" d=\"M%.1f %.1fV%.1f\"/>",
                    x, py(t, from), py(t, to));
        }
        draw_mark(t, w, x, py(t, v));
    }
}

/* A line over the swings of a side at their mean. */
static void draw_mean(const struct strip *t, int side)
{
    size_t first = t->r->swings, last = 0;
    for (size_t i = 0; i < t->r->swings; i++)
        if (t->r->swing[i].side == side) {
            first = first < i ? first : i;
            last = i;
        }
    if (isnan(t->mean[side]) || first > last)
        return;
    double half = (WIDTH - LEFT - 8) / (double)t->r->swings / 2;
    fprintf(t->out,
            "<path stroke=\"#16181c\" stroke-width=\"1.6\"%s d=\"M%.1f %.1fH%.1f\"/>"
            "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\" font-weight=\"700\">%s</text>\n",
            side == 0 && t->r->sides == 2 ? " stroke-dasharray=\"4 2.5\"" : "", px(t, first) - half,
            py(t, t->mean[side]), px(t, last) + half, (px(t, first) + px(t, last)) / 2,
            TOP + FIELD + 14, uf_report_side_name(t->r, side));
}

static void draw_band(const struct strip *t)
{
    if (isnan(t->needed) || isnan(t->mean[0]))
        return;
    double from = py(t, t->mean[0] + t->needed), to = py(t, t->mean[0] - t->needed);
    fprintf(t->out,
            "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" fill=\"#16181c\" "
            "fill-opacity=\"0.09\"/>\n",
            LEFT, from, WIDTH - LEFT - 8, to - from);
}

void uf_report_strip(const struct uf_report *r, int m, FILE *out)
{
    struct strip t = {.r = r, .metric = m, .needed = NAN, .mean = {NAN, NAN}, .out = out};
    const char *name = m < 0 ? "club_speed" : uf_metric_row((enum uf_metric)m)->name;
    const struct uf_comparison_row *row = uf_report_row(r, name);
    for (int side = 0; side < r->sides; side++) {
        struct uf_spread spread;
        if (m < 0)
            uf_report_speed(r, side, &spread);
        else
            uf_report_spread(r, side, (enum uf_metric)m, &spread);
        t.mean[side] = spread.mean;
    }
    if (row && row->verdict >= UF_VERDICT_WITHIN)
        t.needed = row->needed;
    if (!find_scale(&t))
        return;
    fprintf(out,
            "<svg class=\"strip\" viewBox=\"0 0 %.0f %.0f\" font-family=\"DejaVu Sans, "
            "sans-serif\" font-size=\"9.5\" fill=\"#16181c\" role=\"img\" aria-label=\"Swing by "
            "swing\">\n",
            WIDTH, HEIGHT);
    draw_band(&t);
    draw_scale(&t);
    for (int side = 0; side < r->sides; side++)
        draw_mean(&t, side);
    draw_swings(&t);
    fprintf(out,
            "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">swings in their order</text>\n",
            LEFT + (WIDTH - LEFT) / 2, HEIGHT - 4);
    fputs("</svg>\n", out);
}

/* SPDX-License-Identifier: MIT
 * The two feet of a report seen from above, toes up, as an <svg>: outlines where rocking found the
 * feet, the way of each centre of pressure from the first movement to impact, and where it was at
 * address, at the top and at impact. Lead: orange, round; trail: violet, square. */
#include "cli/report.h"

#include <math.h>

#define MARGIN_MM 45.0
#define PI        3.14159265358979323846

static const char *const colours[UF_FEET] = {"#b85a00", "#6b34c9"};
/* One inside the other where they lie at one place. */
static const struct mark {
    double half_mm, line_mm;
    bool filled;
} marks[UF_REPORT_MOMENTS] = {[UF_RM_ADDRESS] = {16, 2.2, false},
                              [UF_RM_TOP] = {10.5, 3.4, false},
                              [UF_RM_IMPACT] = {6, 1, true}};

/* Of the picture, in its own axes: x to the golfer's right, y down the page. */
struct box {
    double x0, x1, y0, y1;
};

/* The golfer frame in the picture: target-ward is left for a right-handed golfer. */
static double sign_of(const struct uf_report *r)
{
    for (size_t i = 0; i < r->swings; i++)
        if (r->swing[i].derived)
            return r->swing[i].hand == UF_LEFT_HANDED ? 1 : -1;
    return -1;
}

static void include(struct box *b, double x, double y)
{
    if (isnan(x) || isnan(y))
        return;
    b->x0 = fmin(b->x0, x);
    b->x1 = fmax(b->x1, x);
    b->y0 = fmin(b->y0, y);
    b->y1 = fmax(b->y1, y);
}

/* ---- the outline of a foot ---- */

/* Percent of the length from the heel, and of the width from the outer edge. */
static const double outline[][2] = {{0, 50},   {4, 28},  {14, 16}, {32, 14},  {50, 8},
                                    {66, 1},   {78, 3},  {88, 14}, {94, 30},  {97, 48},
                                    {100, 68}, {99, 84}, {92, 95}, {80, 100}, {68, 98},
                                    {56, 84},  {44, 72}, {30, 74}, {14, 86},  {4, 72}};
#define OUTLINE (sizeof outline / sizeof outline[0])

static void foot_point(const struct uf_foot_pose *p, int foot, double s, const double at[2],
                       double *x, double *y)
{
    double out = foot == UF_LEAD ? 1 : -1, rad = p->toe_out_deg * PI / 180;
    double c = out * sin(rad), n = cos(rad);
    double along = 0.01 * at[0] * p->length_mm, outward = (0.5 - 0.01 * at[1]) * p->width_mm;
    *x = s * (p->heel_target_mm + along * c + outward * out * n);
    *y = -(p->heel_forward_mm + along * n - outward * out * c);
}

/* Smooth: each corner bends the line between the middles of its two sides. */
static void draw_outline(FILE *out, const struct uf_foot_pose *p, int foot, double s)
{
    fprintf(out,
            "<path fill=\"%s\" fill-opacity=\"0.08\" stroke=\"%s\" stroke-width=\"2.4\"%s d=\"",
            colours[foot], colours[foot], foot == UF_TRAIL ? " stroke-dasharray=\"9 5\"" : "");
    for (size_t i = 0; i <= OUTLINE; i++) {
        double x[2], y[2];
        for (size_t k = 0; k < 2; k++)
            foot_point(p, foot, s, outline[(i + k) % OUTLINE], &x[k], &y[k]);
        if (i == 0)
            fprintf(out, "M%.1f %.1f", (x[0] + x[1]) / 2, (y[0] + y[1]) / 2);
        else
            fprintf(out, "Q%.1f %.1f %.1f %.1f", x[0], y[0], (x[0] + x[1]) / 2, (y[0] + y[1]) / 2);
    }
    fputs("Z\"/>\n", out);
}

/* The last pose of a side's swings; NULL: not found. */
static const struct uf_foot_pose *pose_of(const struct uf_report *r, int side, int foot)
{
    for (size_t i = r->swings; i-- > 0;)
        if (uf_report_counts(&r->swing[i], side) && r->swing[i].foot[foot].known)
            return &r->swing[i].foot[foot];
    return NULL;
}

/* ---- what is where ---- */

static size_t mean_cop(const struct uf_report *r, int side, int moment, int foot,
                       struct uf_report_cop *out)
{
    size_t n = 0;
    *out = (struct uf_report_cop){0, 0};
    for (size_t i = 0; i < r->swings; i++) {
        const struct uf_report_cop *c = &r->swing[i].cop[moment][foot];
        if (!uf_report_counts(&r->swing[i], side) || isnan(c->target_mm) || isnan(c->toe_mm))
            continue;
        out->target_mm += c->target_mm;
        out->toe_mm += c->toe_mm;
        n++;
    }
    out->target_mm /= (double)n;
    out->toe_mm /= (double)n;
    return n;
}

static bool bounds(const struct uf_report *r, double s, struct box *b)
{
    *b = (struct box){INFINITY, -INFINITY, INFINITY, -INFINITY};
    for (int side = 0; side < r->sides; side++)
        for (int foot = 0; foot < UF_FEET; foot++) {
            const struct uf_foot_pose *p = pose_of(r, side, foot);
            for (size_t k = 0; p && k < OUTLINE; k++) {
                double x, y;
                foot_point(p, foot, s, outline[k], &x, &y);
                include(b, x, y);
            }
            for (size_t i = 0; i < r->swings; i++)
                for (int m = 0; uf_report_counts(&r->swing[i], side) && m < UF_REPORT_MOMENTS; m++)
                    include(b, s * r->swing[i].cop[m][foot].target_mm,
                            -r->swing[i].cop[m][foot].toe_mm);
        }
    if (!(b->x0 <= b->x1))
        return false;
    if (b->y1 - b->y0 < 260) { /* without outlines: as large as feet are */
        double more = (260 - (b->y1 - b->y0)) / 2;
        b->y0 -= more;
        b->y1 += more;
    }
    b->x0 -= MARGIN_MM;
    b->x1 += MARGIN_MM;
    b->y0 -= MARGIN_MM + 22; /* the words above */
    b->y1 += MARGIN_MM;
    return true;
}

/* ---- drawing ---- */

static void draw_plates(FILE *out, const struct uf_report *r, double s)
{
    for (int p = 0; p < r->rig.plates; p++) {
        struct uf_foot_ground g =
            uf_foot_ground_of(&r->rig.plate[p], s > 0 ? UF_LEFT_HANDED : UF_RIGHT_HANDED);
        double x = fmin(s * g.target_lo_mm, s * g.target_hi_mm);
        fprintf(out,
                "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" rx=\"6\" "
                "fill=\"#f6f6f7\" stroke=\"#b9bcc3\" stroke-width=\"2\"/>\n",
                x, -g.forward_hi_mm, g.target_hi_mm - g.target_lo_mm,
                g.forward_hi_mm - g.forward_lo_mm);
    }
}

static void draw_way(FILE *out, const struct uf_report *r, int side, int foot, double s)
{
    double x[UF_REPORT_POINTS], y[UF_REPORT_POINTS], unused[UF_REPORT_POINTS];
    double from = uf_report_event_s(r, side, UF_EVENT_START);
    bool down = false;
    uf_report_mean(r, side, foot == UF_LEAD ? UF_RC_LEAD_COP_TARGET : UF_RC_TRAIL_COP_TARGET, x,
                   unused);
    uf_report_mean(r, side, foot == UF_LEAD ? UF_RC_LEAD_COP_TOE : UF_RC_TRAIL_COP_TOE, y, unused);
    fprintf(out, "<path fill=\"none\" stroke=\"%s\" stroke-width=\"2.2\"%s d=\"", colours[foot],
            foot == UF_TRAIL ? " stroke-dasharray=\"6 4\"" : "");
    for (int k = 0; k < UF_REPORT_POINTS; k++) {
        double t = UF_REPORT_FROM_S + k * UF_REPORT_STEP_S;
        if (!(t >= from && t <= 1e-9) || isnan(x[k]) || isnan(y[k])) {
            down = false;
            continue;
        }
        fprintf(out, "%c%.1f %.1f", down ? 'L' : 'M', s * x[k], -y[k]);
        down = true;
    }
    fputs("\"/>\n", out);
}

static void draw_shape(FILE *out, int foot, double x, double y, double half, const char *style)
{
    if (foot == UF_LEAD)
        fprintf(out, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\" %s/>", x, y, half, style);
    else
        fprintf(out, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" %s/>", x - half,
                y - half, 2 * half, 2 * half, style);
}

/* Every swing as a dot, their mean as a mark. */
static void draw_marks(FILE *out, const struct uf_report *r, int side, int foot, double s)
{
    char style[120];
    for (int m = 0; m < UF_REPORT_MOMENTS; m++) {
        struct uf_report_cop mean;
        snprintf(style, sizeof style, "fill=\"%s\" fill-opacity=\"0.45\"", colours[foot]);
        for (size_t i = 0; i < r->swings; i++) {
            const struct uf_report_cop *c = &r->swing[i].cop[m][foot];
            if (uf_report_counts(&r->swing[i], side) && !isnan(c->target_mm) && !isnan(c->toe_mm))
                draw_shape(out, foot, s * c->target_mm, -c->toe_mm, 2.2, style);
        }
        if (mean_cop(r, side, m, foot, &mean) == 0)
            continue;
        const struct mark *k = &marks[m];
        snprintf(style, sizeof style,
                 "fill=\"%s\" fill-opacity=\"%s\" stroke=\"%s\" stroke-width=\"%.1f\"",
                 k->filled ? colours[foot] : "#fff", k->filled ? "1" : "0.6", colours[foot],
                 k->line_mm);
        draw_shape(out, foot, s * mean.target_mm, -mean.toe_mm, k->half_mm, style);
    }
}

bool uf_report_feet(const struct uf_report *r, int side, FILE *out)
{
    struct box b;
    double s = sign_of(r);
    if (!bounds(r, s, &b))
        return false;
    fprintf(out,
            "<svg class=\"feet\" viewBox=\"%.1f %.1f %.1f %.1f\" font-family=\"DejaVu Sans, "
            "sans-serif\" font-size=\"17\" fill=\"#16181c\" role=\"img\" aria-label=\"%s: the feet "
            "from above\">\n",
            b.x0, b.y0, b.x1 - b.x0, b.y1 - b.y0, uf_report_side_name(r, side));
    draw_plates(out, r, s);
    for (int foot = 0; foot < UF_FEET; foot++) {
        const struct uf_foot_pose *p = pose_of(r, side, foot);
        if (p)
            draw_outline(out, p, foot, s);
        draw_way(out, r, side, foot, s);
    }
    for (int foot = 0; foot < UF_FEET; foot++)
        draw_marks(out, r, side, foot, s);
    double y = b.y0 + 24;
    fprintf(out, "<text x=\"%.1f\" y=\"%.1f\"%s>%s</text>\n", s < 0 ? b.x0 + 8 : b.x1 - 8, y,
            s < 0 ? "" : " text-anchor=\"end\"", s < 0 ? "\u25C0 target" : "target \u25B6");
    fprintf(out,
            "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\" font-weight=\"700\">%s</text>\n",
            (b.x0 + b.x1) / 2, y, uf_report_side_name(r, side));
    fputs("</svg>\n", out);
    return true;
}

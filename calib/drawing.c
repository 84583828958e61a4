/* SPDX-License-Identifier: MIT
 * SVG drawings: see drawing.h. Coordinates are millimetres of the plate, y upwards: a group turns
 * it. */
#include "calib/drawing.h"

#include <math.h>
#include <string.h>

#define MARGIN_MM 40
#define INK       "#1a1a1a"
#define GREY      "#8a8a8a"
#define BLUE      "#1f5fa8"

#define NUMBERS_SAID 3 /* of loads over one point */

/* Opens an SVG that shows a plate with a margin; in_print: of its true size. */
static void open_plate(FILE *out, const struct uf_plate *p, bool in_print)
{
    double w = p->size_x_mm + 2 * MARGIN_MM, h = p->size_y_mm + 2 * MARGIN_MM;
    fputs("<svg xmlns=\"http://www.w3.org/2000/svg\"", out);
    if (in_print)
        fprintf(out, " width=\"%gmm\" height=\"%gmm\"", w, h);
    fprintf(out,
            " viewBox=\"%g %g %g %g\" font-family=\"sans-serif\" font-size=\"%d\" role=\"img\">\n"
            "<rect x=\"%g\" y=\"%g\" width=\"%g\" height=\"%g\" fill=\"none\" stroke=\"" INK
            "\" stroke-width=\"0.6\"/>\n",
            -w / 2, -h / 2, w, h, in_print ? 11 : 24, -p->size_x_mm / 2, -p->size_y_mm / 2,
            p->size_x_mm, p->size_y_mm);
    for (int i = 0; i < p->cells && in_print; i++)
        fprintf(out,
                "<circle cx=\"%g\" cy=\"%g\" r=\"12\" fill=\"none\" stroke=\"" GREY
                "\" stroke-dasharray=\"2 2\"/>"
                "<text x=\"%g\" y=\"%g\" fill=\"" GREY "\" text-anchor=\"middle\">cell %s</text>\n",
                p->cell[i].x_mm, -p->cell[i].y_mm, p->cell[i].x_mm, -p->cell[i].y_mm + 24,
                p->cell[i].name);
}

static void cross(FILE *out, double x, double y, double half, const char *colour)
{
    fprintf(out,
            "<path d=\"M%.1f %.1fh%.1fM%.1f %.1fv%.1f\" stroke=\"%s\" stroke-width=\"0.4\" "
            "fill=\"none\"/>\n",
            x - half, -y, 2 * half, x, -y - half, 2 * half, colour);
}

/* From a to b with a head of size mm. */
static void arrow(FILE *out, double x0, double y0, double x1, double y1, double head,
                  const char *colour)
{
    double length = hypot(x1 - x0, y1 - y0);
    if (!(length > 0))
        return;
    double ux = (x1 - x0) / length, uy = (y1 - y0) / length;
    fprintf(out,
            "<path d=\"M%.2f %.2fL%.2f %.2fM%.2f %.2fL%.2f %.2fL%.2f %.2f\" stroke=\"%s\" "
            "stroke-width=\"0.8\" fill=\"none\"/>\n",
            x0, -y0, x1, -y1, x1 - head * (ux + 0.5 * uy), -(y1 - head * (uy - 0.5 * ux)), x1, -y1,
            x1 - head * (ux - 0.5 * uy), -(y1 - head * (uy + 0.5 * ux)), colour);
}

/* "3, 7" of loads at the same place as i; "" when an earlier load has said it. */
static void numbers_at(const struct uf_load *load, const int *number, int n, int i, char *text,
                       size_t size)
{
    size_t used = 0;
    text[0] = '\0';
    for (int j = 0; j < n; j++) {
        if (!uf_load_same_place(&load[i], &load[j]))
            continue;
        if (j < i) {
            text[0] = '\0';
            return;
        }
        int put = snprintf(text + used, size - used, "%s%d", used ? ", " : "", number[j]);
        if (put < 0 || (size_t)put >= size - used)
            return;
        used += (size_t)put;
    }
}

void uf_drawing_places(FILE *out, const struct uf_rig *rig, int plate, const struct uf_load *load,
                       const int *number, int n)
{
    const struct uf_plate *p = &rig->plate[plate];
    double half_x = p->size_x_mm / 2, half_y = p->size_y_mm / 2;
    open_plate(out, p, true);
    cross(out, 0, 0, 15, INK);
    fprintf(out,
            "<text x=\"0\" y=\"%g\" text-anchor=\"middle\">front (toes, +y) &#8212; %s plate, seen "
            "from above</text>\n"
            "<text x=\"%g\" y=\"0\" text-anchor=\"middle\" transform=\"rotate(90 %g 0)\">right "
            "(+x)</text>\n"
            "<path d=\"M-50 %gh100m0 -3v6m-100 -6v6\" stroke=\"" INK
            "\" stroke-width=\"0.4\" fill=\"none\"/>"
            "<text x=\"0\" y=\"%g\" text-anchor=\"middle\">100 mm: measure it on paper</text>\n",
            -half_y - 15, uf_place_name(p->place), half_x + 15, half_x + 15, half_y + 15,
            half_y + 30);
    for (int i = 0; i < n; i++) {
        char text[60];
        numbers_at(load, number, n, i, text, sizeof text);
        if (!text[0])
            continue;
        double x = load[i].x_mm, y = load[i].y_mm;
        if (load[i].kind == UF_LOAD_PULL) {
            double t = load[i].towards_deg * 3.14159265358979323846 / 180;
            arrow(out, x, y, x + 60 * cos(t), y + 60 * sin(t), 6, BLUE);
            fprintf(out, "<text x=\"%.1f\" y=\"%.1f\" fill=\"" BLUE "\">pull %s</text>\n",
                    x + 40 * cos(t) + 4, -(y + 40 * sin(t)) - 4, text);
        } else {
            cross(out, x, y, 8, INK);
            fprintf(out,
                    "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"3\" fill=\"none\" stroke=\"" INK
                    "\" stroke-width=\"0.4\"/><text x=\"%.1f\" y=\"%.1f\">%s%s</text>\n",
                    x, -y, x + 5, -y - 5, text, load[i].kind == UF_LOAD_TILT ? " tilted" : "");
        }
    }
    fputs("</svg>\n", out);
}

/* Shift of the place by the residual; false where there is none. */
static bool shift_of(const struct uf_session *s, const struct uf_solved_plate *p, int i,
                     const struct uf_load **load, double *dx_mm, double *dy_mm)
{
    const struct uf_fit_reading *r = &p->fit->reading[i];
    struct uf_cop at;
    double w[UF_COMPONENTS];
    *load = &s->reading[r->reading].load;
    for (int k = 0; k < UF_COMPONENTS; k++)
        w[k] = r->known[k] + r->residual[k];
    struct uf_wrench wrench = {w[0], w[1], w[2], w[3], w[4], w[5]};
    uf_cop_of(&wrench, p->fit->state.plate->surface_mm, 25, &at);
    *dx_mm = at.x_mm - (*load)->x_mm;
    *dy_mm = at.y_mm - (*load)->y_mm;
    return (*load)->kind == UF_LOAD_VERTICAL && !isnan(*dx_mm);
}

/* "3, 7" of readings whose loads stand over one point with reading i, whatever their kind; "" when
 * an earlier one has said it. A pile that grew and shrank is cut short. */
static void numbers_over(const struct uf_session *s, const struct uf_fit *f, int i, char *text,
                         size_t size)
{
    const struct uf_load *at = &s->reading[f->reading[i].reading].load;
    size_t used = 0;
    int said = 0;
    text[0] = '\0';
    for (int j = 0; j < f->readings; j++) {
        const struct uf_load *l = &s->reading[f->reading[j].reading].load;
        if (hypot(l->x_mm - at->x_mm, l->y_mm - at->y_mm) >= 1)
            continue;
        if (j < i) {
            text[0] = '\0';
            return;
        }
        said++;
        int put = said <= NUMBERS_SAID
                      ? snprintf(text + used, size - used, "%s%d", used ? ", " : "",
                                 s->number[f->reading[j].reading] + 1)
                      : 0;
        if (put < 0 || (size_t)put >= size - used)
            return;
        used += (size_t)put;
    }
    if (said > NUMBERS_SAID)
        snprintf(text + used, size - used, " ...");
}

void uf_drawing_residuals(FILE *out, const struct uf_session *s, int plate)
{
    const struct uf_solved_plate *p = &s->plate[plate];
    double most = 0, dx, dy;
    const struct uf_load *load;
    for (int i = 0; i < p->fit->readings; i++)
        if (shift_of(s, p, i, &load, &dx, &dy))
            most = fmax(most, hypot(dx, dy));
    double magnify = 1; /* 1, 2 or 5 times a power of ten: the greatest is at most 40 mm long */
    static const double step[] = {2, 2.5, 2};
    for (int i = 0; most > 0 && magnify * step[i % 3] * most <= 40 && magnify < 1e6; i++)
        magnify *= step[i % 3];
    open_plate(out, &s->rig->plate[plate], false);
    for (int i = 0; i < p->fit->readings; i++) {
        bool vertical = shift_of(s, p, i, &load, &dx, &dy);
        char text[60];
        numbers_over(s, p->fit, i, text, sizeof text);
        fprintf(out, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"4\" fill=\"%s\"/>\n", load->x_mm,
                -load->y_mm, load->kind == UF_LOAD_VERTICAL ? GREY : BLUE);
        if (text[0])
            fprintf(out,
                    "<text x=\"%.1f\" y=\"%.1f\" fill=\"" GREY
                    "\" font-size=\"18\" text-anchor=\"middle\">%s</text>\n",
                    load->x_mm, -load->y_mm + 24, text);
        if (vertical)
            arrow(out, load->x_mm, load->y_mm, load->x_mm + magnify * dx, load->y_mm + magnify * dy,
                  4, INK);
    }
    fprintf(
        out,
        "<text x=\"0\" y=\"%g\" text-anchor=\"middle\" font-size=\"18\">place as fitted, %g times "
        "too far; most %.2f mm</text>\n</svg>\n",
        s->rig->plate[plate].size_y_mm / 2 + 25, magnify, most);
}

void uf_drawing_errors(FILE *out, const struct uf_session *s, int plate)
{
    const struct uf_fit *f = s->plate[plate].fit;
    double load_most = 1, error_most = 0.01;
    for (int i = 0; i < f->readings; i++) {
        const struct uf_fit_reading *r = &f->reading[i];
        if (s->reading[r->reading].load.kind != UF_LOAD_VERTICAL)
            continue;
        load_most = fmax(load_most, r->known[UF_FZ]);
        error_most = fmax(error_most, fabs(r->residual[UF_FZ]));
    }
    fputs("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"-80 -130 420 300\" "
          "font-family=\"sans-serif\" font-size=\"19\" role=\"img\">\n",
          out);
    fprintf(out,
            "<path d=\"M0 0h320M0 -100v200\" stroke=\"" INK "\" stroke-width=\"0.6\"/>\n"
            "<text x=\"320\" y=\"-106\" text-anchor=\"end\">load, N (to %.0f)</text>"
            "<text x=\"-4\" y=\"-96\" text-anchor=\"end\">%.2f N</text>"
            "<text x=\"-4\" y=\"104\" text-anchor=\"end\">&#8722;%.2f N</text>\n",
            load_most, error_most, error_most);
    for (int i = 0; i < f->readings; i++) {
        const struct uf_fit_reading *r = &f->reading[i];
        const struct uf_reading *from = &s->reading[r->reading];
        if (from->load.kind != UF_LOAD_VERTICAL || !f->matrix.known[UF_FZ])
            continue;
        fprintf(out,
                "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"3\" fill=\"%s\" stroke=\"" INK
                "\" stroke-width=\"0.6\"/>\n",
                320 * r->known[UF_FZ] / load_most, -100 * r->residual[UF_FZ] / error_most,
                from->series == UF_SERIES_DOWN ? "none" : INK);
    }
    fputs("<text x=\"140\" y=\"136\" text-anchor=\"middle\">error of the vertical force</text>\n"
          "<text x=\"140\" y=\"160\" text-anchor=\"middle\">rings: going down</text>\n</svg>\n",
          out);
}

void uf_drawing_map(FILE *out, const struct uf_plate *plate,
                    const double value[UF_MAP_CELLS][UF_MAP_CELLS], const char *unit, int digits)
{
    double most = 0, step_x = plate->size_x_mm * 0.8 / (UF_MAP_CELLS - 1);
    double step_y = plate->size_y_mm * 0.8 / (UF_MAP_CELLS - 1);
    for (int i = 0; i < UF_MAP_CELLS * UF_MAP_CELLS; i++)
        most = fmax(most, value[i / UF_MAP_CELLS][i % UF_MAP_CELLS]);
    open_plate(out, plate, false);
    for (int i = 0; i < UF_MAP_CELLS * UF_MAP_CELLS; i++) {
        double v = value[i / UF_MAP_CELLS][i % UF_MAP_CELLS], x_mm, y_mm;
        uf_session_map_place(plate, i % UF_MAP_CELLS, i / UF_MAP_CELLS, &x_mm, &y_mm);
        fprintf(out,
                "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" fill=\"" BLUE
                "\" fill-opacity=\"%.2f\"/>",
                x_mm - step_x / 2, -y_mm - step_y / 2, step_x, step_y,
                isnan(v) || !(most > 0) ? 0 : 0.5 * v / most);
        if (isnan(v))
            fprintf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">?</text>\n", x_mm,
                    -y_mm + 6);
        else
            fprintf(out,
                    "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\" "
                    "font-size=\"%d\">%.*f</text>\n",
                    x_mm, -y_mm + 6, digits > 2 ? 22 : 26, digits, v);
    }
    fprintf(out, "<text x=\"0\" y=\"%g\" text-anchor=\"middle\">%s</text>\n</svg>\n",
            plate->size_y_mm / 2 + 25, unit);
}

/* SPDX-License-Identifier: MIT
 * A solved session as one self-contained HTML page: see session.h. No script, nothing loaded. */
#include "calib/drawing.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const component[UF_COMPONENTS] = {"Fx", "Fy", "Fz", "Mx", "My", "Mz"};

static void text(FILE *out, const char *t)
{
    for (; *t; t++)
        switch (*t) {
        case '<':
            fputs("&lt;", out);
            break;
        case '>':
            fputs("&gt;", out);
            break;
        case '&':
            fputs("&amp;", out);
            break;
        case '"':
            fputs("&quot;", out);
            break;
        default:
            fputc(*t, out);
        }
}

static void cell(FILE *out, double v, int digits)
{
    if (isnan(v))
        fputs("<td>&#8211;</td>", out);
    else
        fprintf(out, "<td>%.*f</td>", digits, v);
}

static void row(FILE *out, const char *name, const double *v, int n, int digits)
{
    fprintf(out, "<tr><th>%s</th>", name);
    for (int k = 0; k < n; k++)
        cell(out, v[k], digits);
    fputs("</tr>\n", out);
}

static void head(FILE *out, const struct uf_document *d)
{
    fputs("<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
          "<meta name=\"viewport\" content=\"width=device-width\"><title>Calibration: ",
          out);
    text(out, d->name);
    fputs("</title>\n<style>body{font-family:sans-serif;max-width:60em;margin:2em "
          "auto;padding:0 1em;color:#1a1a1a;background:#fff}table{border-collapse:collapse;margin:"
          "1em 0}td,th{padding:.2em .7em;text-align:right;border-bottom:1px solid "
          "#ddd;font-variant-numeric:tabular-nums}th:first-child{text-align:left}"
          ".pictures{display:flex;flex-wrap:wrap;gap:1em}.pictures svg{width:18em;max-width:100%}"
          ".wrong{border-left:4px solid #1a1a1a;padding-left:.7em}.look{border-left:4px solid "
          "#8a8a8a;padding-left:.7em}</style></head><body>\n<h1>Calibration: ",
          out);
    text(out, d->name);
    fputs("</h1>\n", out);
}

/* Text fields of the session that a person gave. */
static void given(FILE *out, const struct uf_document *d)
{
    static const char *const keys[] = {"by", "note", "temperature_c", "firmware", "board_id"};
    fputs("<table>\n", out);
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        const json_t *v = json_object_get(d->json, keys[i]);
        if (!v)
            continue;
        char *shown = json_is_string(v) ? NULL : json_dumps(v, JSON_ENCODE_ANY);
        fprintf(out, "<tr><th>%s</th><td>", keys[i]);
        text(out, json_is_string(v) ? json_string_value(v) : shown ? shown : "");
        fputs("</td></tr>\n", out);
        free(shown);
    }
    fprintf(out, "<tr><th>gravity</th><td>%.5f &#177; %.5f m/s&#178;</td></tr>\n</table>\n",
            d->setup.gravity.g_m_s2, d->setup.gravity.sd_m_s2);
    fputs("<table><tr><th>weight</th><th>kg</th><th>&#177; g</th></tr>\n", out);
    for (int i = 0; i < d->setup.weights; i++) {
        fputs("<tr><th>", out);
        text(out, d->setup.weight[i].name);
        fprintf(out, "</th><td>%g</td><td>%g</td></tr>\n", d->setup.weight[i].mass_kg,
                1000 * d->setup.weight[i].tolerance_kg);
    }
    fputs("</table>\n", out);
}

static void figures(FILE *out, const struct uf_solved_plate *p)
{
    const struct uf_quality *q = &p->quality;
    const struct {
        const char *name, *how;
        double v;
        const char *unit;
    } line[] = {
        {"place", "fitted place of vertical loads against the true one, rms", q->cop_rms_mm, "mm"},
        {"place, left out", "the same, predicted without that place", q->left_out_cop_rms_mm, "mm"},
        {"linearity", "greatest deviation from the least-squares line, common definition",
         q->linearity_pct, "% of span"},
        {"hysteresis", "greatest difference between up and down at one load", q->hysteresis_pct,
         "% of greatest"},
        {"repeatability", "greatest spread of equal loads, as OIML R 60 defines it",
         q->repeatability_pct, "% of greatest"},
        {"zero return", "greatest change of zero after a load, as ISO 376 defines f0",
         q->zero_return_pct, "% of load"},
        {"creep", "from 30 s to 300 s under a load, as ISO 376 defines c", p->creep_pct,
         "% of load"},
        {"channels", "what no load can explain: creep, non-linearity", p->fit->reading_pct,
         "% of reading"},
    };
    fputs("<table>\n", out);
    for (size_t i = 0; i < sizeof line / sizeof line[0]; i++) {
        fprintf(out, "<tr><th>%s</th>", line[i].name);
        cell(out, line[i].v, 3);
        fprintf(out, "<td>%s</td><td style=\"text-align:left\">%s</td></tr>\n", line[i].unit,
                line[i].how);
    }
    fputs("</table>\n", out);
}

static void loads(FILE *out, const struct uf_session *s, const struct uf_fit *f)
{
    fputs("<table><tr><th>load</th><th>kind</th><th>x, mm</th><th>y, mm</th><th>kg</th>", out);
    for (int k = 0; k < UF_COMPONENTS; k++)
        fprintf(out, "<th>d%s, %s</th>", component[k], k < UF_MX ? "N" : "N m");
    fputs("<th>size</th></tr>\n", out);
    for (int i = 0; i < f->readings; i++) {
        const struct uf_fit_reading *r = &f->reading[i];
        const struct uf_load *l = &s->reading[r->reading].load;
        fprintf(out, "<tr><th>%d</th><td>%s</td><td>%.0f</td><td>%.0f</td><td>%g</td>",
                s->number[r->reading] + 1, uf_load_kind_name(l->kind), l->x_mm, l->y_mm,
                uf_load_mass_kg(&s->document->setup, l));
        for (int k = 0; k < UF_COMPONENTS; k++)
            cell(out, f->matrix.known[k] ? r->residual[k] : NAN, k < UF_MX ? 2 : 3);
        cell(out, r->studentised, 1);
        fputs("</tr>\n", out);
    }
    fputs("</table>\n", out);
}

static void plate(FILE *out, const struct uf_session *s, int i)
{
    const struct uf_solved_plate *p = &s->plate[i];
    const struct uf_plate *described = &s->rig->plate[i];
    const struct uf_fit *f = p->fit;
    fprintf(out, "<h2>%s plate</h2>\n", uf_place_name(described->place));
    if (!p->solved) {
        fputs("<p>No load was captured on it in this session.</p>\n", out);
        return;
    }
    for (int k = 0; k < p->findings.n; k++) {
        bool grave = p->findings.finding[k].grave;
        fprintf(out, "<p class=\"%s\"><b>%s:</b> ", grave ? "wrong" : "look",
                grave ? "Wrong" : "Look");
        text(out, p->findings.finding[k].text);
        fputs(".</p>\n", out);
    }
    fprintf(out,
            "<p>%d loads at %d places, rank %d of 6. Model: %s. Left-out places are predicted "
            "within %.2f of what is expected. Residuals are %.2f of what tolerances and noise "
            "say.</p>\n",
            f->readings, f->places, f->loads.rank,
            f->model == UF_MODEL_CELLS ? "a matrix for each cell, held to its data sheet"
                                       : "one whole matrix",
            f->left_out_score, f->scale);
    fputs("<div class=\"pictures\">\n", out);
    uf_drawing_residuals(out, s, i);
    uf_drawing_map(out, described, (const double(*)[UF_MAP_CELLS])p->cop_mm,
                   "place at 400 N: 95 % within, mm", 2);
    uf_drawing_map(out, described, (const double(*)[UF_MAP_CELLS])p->vertical_pct,
                   "force at 400 N: 95 % within, %", 3);
    uf_drawing_errors(out, s, i);
    fputs("</div>\n", out);
    figures(out, p);
    fputs("<table><tr><th>residuals</th>", out);
    for (int k = 0; k < UF_COMPONENTS; k++)
        fprintf(out, "<th>%s, %s</th>", component[k], k < UF_MX ? "N" : "N m");
    fputs("</tr>\n", out);
    row(out, "rms", p->quality.rms, UF_COMPONENTS, 3);
    row(out, "greatest", p->quality.most, UF_COMPONENTS, 3);
    row(out, "rms, place left out", p->quality.left_out_rms, UF_COMPONENTS, 3);
    fputs("</table>\n<table><tr><th>cross-talk, % of load, rms</th><th>Fx</th><th>Fy</th>"
          "<th>Fz</th></tr>\n",
          out);
    static const char *const along[3] = {"load along x", "load along y", "load along z"};
    for (int k = 0; k < 3; k++)
        row(out, along[k], p->quality.crosstalk_pct[k], 3, 3);
    fputs("</table>\n", out);
    loads(out, s, f);
}

int uf_session_report(const struct uf_session *s, const char *path, struct uf_error *err)
{
    FILE *out = fopen(path, "w");
    if (!out)
        return uf_fail(err, UF_EIO, "cannot write %s: %s", path, strerror(errno));
    head(out, s->document);
    given(out, s->document);
    for (int p = 0; p < s->rig->plates; p++)
        plate(out, s, p);
    fputs("<p>d: fitted minus known. Size: of the residual against what is expected, from the fit "
          "without the load; above 4 it does not belong to the others. Errors are stated for the "
          "places and forces of this session; no compliance with a standard is claimed.</p>\n"
          "</body></html>\n",
          out);
    bool failed = ferror(out) != 0;
    if (fclose(out) != 0 || failed)
        return uf_fail(err, UF_EIO, "cannot write %s: %s", path, strerror(errno));
    return UF_OK;
}

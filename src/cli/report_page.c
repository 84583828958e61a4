/* SPDX-License-Identifier: MIT
 * The report as one HTML file that prints on two A4 pages: see report.h. No script, nothing loaded
 * (its own policy forbids both); what people typed is text. */
#include "base/markup.h"
#include "cli/report.h"
#include "cli/report_parts.h"
#include "cli/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NAME_SHOWN_BYTES  90
#define NOTE_SHOWN_BYTES  700
#define BLOCK_NOTE_BYTES  160
#define BLOCK_NOTES_BYTES 900 /* of all blocks together */
/* More text than this, and letters and pictures become smaller: two pages it stays. */
#define TEXT_BYTES         800
#define MISSING_BYTES      900
#define BLOCKS_SHOWN       5
#define DENSE_NOTE_BYTES   300
#define DENSE_BLOCKS_SHOWN 8

static const char style[] =
    "@page{size:A4;margin:11mm 13mm}\n"
    "*{box-sizing:border-box;margin:0;padding:0}\n"
    "html{-webkit-print-color-adjust:exact;print-color-adjust:exact}\n"
    "body{font:8.4pt/1.34 \"DejaVu Sans\",\"Noto Sans\",sans-serif;color:#16181c;background:#fff;"
    "width:184mm;margin:0 auto;overflow-wrap:anywhere}\n"
    "@media screen{body{margin:10mm auto;font-size:10pt}}\n"
    "header{display:flex;justify-content:space-between;align-items:flex-end;gap:6mm;"
    "border-bottom:1.2pt solid #16181c;padding-bottom:1.5mm;margin-bottom:2.4mm}\n"
    "h1{font-size:15pt;line-height:1.1}\n"
    "h2{font-size:10pt;margin:0 0 1mm}\n"
    "section{margin-bottom:3mm;break-inside:avoid}\n"
    "header p{text-align:right;flex:none;max-width:80mm}\n"
    ".simulated,.cautions{border:1pt solid #16181c;padding:1.2mm 2mm;margin-bottom:2.4mm}\n"
    ".simulated{background:#16181c;color:#fff;font-weight:700}\n"
    ".cautions{border-left-width:4pt}\n"
    ".small{font-size:7.2pt;color:#40454d}\n"
    "dl{display:grid;grid-template-columns:max-content 1fr;gap:0 3mm}\n"
    "dt{font-weight:700}\n"
    ".figures{display:flex;gap:7mm;align-items:baseline;margin:.6mm 0 1mm}\n"
    ".figures b{font-size:19pt;line-height:1.1}\n"
    ".two{display:grid;grid-template-columns:1fr 1fr;gap:4mm}\n"
    ".verdict{font-size:9.2pt;margin-bottom:1mm}\n"
    "svg{display:block;width:100%;height:auto}\n"
    "svg.feet{max-height:80mm}\n"
    "svg.curves{margin-top:1mm}\n"
    "table{border-collapse:collapse;width:100%;font-size:7.8pt;"
    "font-variant-numeric:tabular-nums}\n"
    "th,td{text-align:right;padding:.34mm 1.4mm;border-bottom:.5pt solid #d6d8dc;"
    "white-space:nowrap}\n"
    "th{font-weight:700;border-bottom-color:#16181c}\n"
    "th:first-child,td:first-child{text-align:left;padding-left:0;white-space:normal}\n"
    "td:last-child,th:last-child{text-align:left}\n"
    "tr.chosen td{font-weight:700;background:#f0f0f2}\n"
    "ul{list-style:none}\n"
    "li{padding-left:3mm;text-indent:-3mm}\n"
    "li::before{content:\"\\2013\\00a0\\00a0\"}\n"
    ".page2{break-before:page}\n"
    ".dense .page2{break-before:auto}\n"
    ".dense svg.feet{max-height:40mm}\n"
    ".dense{font-size:7.3pt}\n"
    ".dense table{font-size:7.2pt}\n"
    ".dense section{margin-bottom:2mm}\n"
    ".dense .notes{break-inside:auto}\n";

/* ---- head ---- */

static void write_day(const struct uf_report *r, FILE *out, bool with_times)
{
    char from[40], to[40] = "";
    uf_text_local(r->started_utc_us, from, sizeof from);
    if (r->ended_utc_us)
        uf_text_local(r->ended_utc_us, to, sizeof to);
    if (!with_times)
        fprintf(out, "%.10s", from);
    else if (!*to)
        fprintf(out, "%.16s, not ended", from);
    else if (strncmp(from, to, 10) == 0)
        fprintf(out, "%.16s to %.5s", from, to + 11);
    else
        fprintf(out, "%.16s to %.16s", from, to);
}

static void write_name(const struct uf_report *r, FILE *out)
{
    if (!r->has_player) {
        fputs("nobody was named", out);
        return;
    }
    fputs("<bdi>", out);
    uf_markup_part(out, r->player.name, NAME_SHOWN_BYTES);
    fputs("</bdi>", out);
}

static void write_head(const struct uf_report *r, bool dense, FILE *out)
{
    fputs("<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n"
          "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
          "'unsafe-inline'\">\n<meta name=\"viewport\" content=\"width=device-width\">\n<title>",
          out);
    if (r->has_player)
        uf_markup_part(out, r->player.name, NAME_SHOWN_BYTES);
    else
        fprintf(out, "Session %lld", (long long)r->session_id);
    fputs(", ", out);
    write_day(r, out, false);
    fprintf(out, "</title>\n<style>\n%s</style></head>\n<body%s>\n<header><h1>", style,
            dense ? " class=\"dense\"" : "");
    write_name(r, out);
    fputs("</h1><p>Lesson report, session ", out);
    fprintf(out, "%lld<br>", (long long)r->session_id);
    write_day(r, out, true);
    fputs("</p></header>\n", out);
    if (r->simulated)
        fputs("<p class=\"simulated\">Simulated: the golfer, the plates and all numbers are "
              "invented. Nobody was measured.</p>\n",
              out);
    if (*r->player.cautions) {
        fputs("<p class=\"cautions\"><b>Cautions</b>, in the teacher's words: <bdi>", out);
        uf_markup_text(out, r->player.cautions);
        fputs("</bdi></p>\n", out);
    }
}

/* ---- the chosen number ---- */

void uf_report_number(double v, const char *unit, bool sign, bool with_unit, FILE *out)
{
    char text[40];
    if (isnan(v)) {
        fputs("\u2013", out);
        return;
    }
    uf_text_number(v, unit, text, sizeof text);
    if (sign && v > 0 && strtod(text, NULL) > 0)
        fputc('+', out);
    if (text[0] == '-') /* a true minus */
        fputs("\u2212", out);
    fputs(text + (text[0] == '-'), out);
    if (with_unit && *unit)
        fprintf(out, "\u00a0%s", uf_text_unit(unit));
}

static const char *small_number(size_t n, char room[24])
{
    static const char *const words[] = {"no", "one", "two", "three", "four"};
    if (n < sizeof words / sizeof words[0])
        return words[n];
    snprintf(room, 24, "%zu", n);
    return room;
}

void uf_report_sentence(const struct uf_report *r, const struct uf_comparison_row *row, FILE *out)
{
    char a[24], b[24];
    switch (row->verdict) {
    case UF_VERDICT_CHANGED:
        fputs("<b>Changed:</b> the difference of ", out);
        uf_report_number(row->difference, row->unit, true, true, out);
        fputs(" is more than the ", out);
        uf_report_number(row->needed, row->unit, false, true, out);
        fputs(" that the player's own swing-to-swing noise explains.", out);
        break;
    case UF_VERDICT_WITHIN:
        fputs("<b>Within noise:</b> the difference of ", out);
        uf_report_number(row->difference, row->unit, true, true, out);
        fputs(" is no more than the player's own swing-to-swing noise; it would take more than ",
              out);
        uf_report_number(row->needed, row->unit, false, true, out);
        fputs(".", out);
        break;
    case UF_VERDICT_FEW:
        fprintf(out,
                "<b>Too few swings to say:</b> %s before and %s after have this number. It takes "
                "three on "
                "each side, and ten are better.",
                small_number(row->a.n, a), small_number(row->b.n, b));
        break;
    default:
        fprintf(out, "<b>Not measured</b> %s: nothing to compare; why is said on the second page.",
                row->a.n == 0 && row->b.n == 0 ? "on either side"
                : row->a.n == 0                ? "before"
                                               : "after");
    }
    size_t least = r->side[0].swings < r->side[1].swings ? r->side[0].swings : r->side[1].swings;
    if (row->verdict >= UF_VERDICT_WITHIN && least < 5)
        fprintf(out, " %s swings are %s swings: more of them make smaller changes visible.",
                least == 3 ? "Three" : "Four", small_number(least, a));
}

static void write_figures(const struct uf_report *r, enum uf_metric m, FILE *out)
{
    const struct uf_metric_row *metric = uf_metric_row(m);
    fputs("<p class=\"figures\">", out);
    for (int side = 0; side < r->sides; side++) {
        struct uf_spread s;
        uf_report_spread(r, side, m, &s);
        fprintf(out, "<span>%s <b>", uf_report_side_name(r, side));
        uf_report_number(s.mean, metric->unit, false, true, out);
        fprintf(out, "</b> mean of %zu</span>", s.n);
    }
    fputs("</p>\n", out);
}

static void write_focus(const struct uf_report *r, FILE *out)
{
    fputs("<section><h2>The number of this lesson</h2>\n", out);
    if (*r->focus.fault) {
        fputs("<p>Chosen fault: <b><bdi>", out);
        uf_markup_text(out, r->focus.fault);
        fputs("</bdi></b></p>\n", out);
    }
    if (r->focus.metric < 0) {
        fprintf(out,
                "<p>None was chosen. Of twenty numbers one changes by chance alone, so choose one "
                "beforehand: underfoot session edit %lld --focus METRIC</p></section>\n",
                (long long)r->session_id);
        return;
    }
    enum uf_metric m = (enum uf_metric)r->focus.metric;
    const struct uf_metric_row *metric = uf_metric_row(m);
    const struct uf_comparison_row *row = uf_report_row(r, metric->name);
    const char *words = uf_report_words(metric->name);
    fprintf(out, "<p><b>%s</b>%s%s</p>\n", words, strcmp(words, metric->meaning) != 0 ? ": " : "",
            strcmp(words, metric->meaning) != 0 ? metric->meaning : "");
    write_figures(r, m, out);
    fputs("<div class=\"two\"><div>", out);
    if (row) {
        fputs("<p class=\"verdict\">", out);
        uf_report_sentence(r, row, out);
        fputs("</p>\n", out);
    } else if (r->sides == 1) {
        uf_report_single(r, m, out);
    }
    double u = uf_report_sd(r, r->sides - 1, m);
    if (!isnan(u)) {
        fputs("<p>One value is known to \u00b1\u00a0", out);
        uf_report_number(u, metric->unit, false, true, out);
        fputs(" (standard uncertainty: plates, noise, zero, moments of the swing)", out);
        fputs(row ? "; what the plates do wrong alike before and after drops out of the "
                    "difference.</p>\n"
                  : ".</p>\n",
              out);
    }
    uf_report_club_speed(r, out);
    fputs("</div><div>", out);
    uf_report_strip(r, r->focus.metric, out);
    fputs("</div></div>\n</section>\n", out);
}

/* ---- pictures ---- */

static void write_feet(const struct uf_report *r, FILE *out)
{
    fprintf(out, "<section><h2>The feet, seen from above</h2>\n<div%s>",
            r->sides == 2 ? " class=\"two\"" : "");
    bool any = false;
    for (int side = 0; side < r->sides; side++) {
        fputs("<div>", out);
        any = uf_report_feet(r, side, out) || any;
        fputs("</div>", out);
    }
    fputs("</div>\n", out);
    fputs(any ? "<p class=\"small\">Where the pressure of each foot lay, in the mean: at address "
                "(large, hollow), at the top (small, hollow), at impact (filled); dots are the "
                "single swings, the line is the way from the first movement to impact. Lead: "
                "orange, round. Trail: violet, square, dashed."
          : r->rig.plates == 1 ? "<p>Not measured: it takes a plate under each foot."
                               : "<p>Not measured.",
          out);
    bool feet = false;
    for (size_t i = 0; i < r->swings; i++)
        feet = feet || (r->swing[i].side >= 0 && r->swing[i].foot[UF_LEAD].known);
    if (any && !feet)
        fputs(" Outlines of the feet are missing: they need some seconds of heel-toe rocking.",
              out);
    fputs("</p></section>\n", out);
}

static int write_curves(const struct uf_report *r, bool dense, FILE *out)
{
    size_t any = 0, estimated = 0;
    for (size_t i = 0; i < r->swings; i++) {
        any += r->swing[i].curve != NULL;
        estimated +=
            r->swing[i].curve && r->swing[i].d.event[UF_EVENT_IMPACT].source == UF_SOURCE_ESTIMATE;
    }
    fprintf(out, "<section%s><h2>The forces, aligned at impact</h2>\n",
            any ? " class=\"page2\"" : "");
    if (estimated)
        fprintf(out, "<p class=\"small\">Impact is an estimate in %zu of %zu swings.</p>\n",
                estimated, any);
    int rc = any ? uf_report_curves(r, dense, out) : 0;
    if (!any)
        fputs("<p>No curves: no swing that counts has an impact to align them at.</p>\n", out);
    fputs("</section>\n", out);
    return rc;
}

/* ---- notes ---- */

static void write_block(const struct uf_report *r, size_t i, size_t *room, FILE *out)
{
    const struct uf_block *b = &r->block[i];
    fputs("<li><bdi><b>", out);
    uf_markup_part(out, b->kind, 40);
    fputs("</b></bdi>", out);
    if (*b->club) {
        fputs(", <bdi>", out);
        uf_markup_part(out, b->club, 40);
        fputs("</bdi>", out);
    }
    fprintf(out, "%s, %zu swing%s",
            b->ball == 1   ? ", ball"
            : b->ball == 0 ? ", no ball"
                           : "",
            r->block_swings[i], r->block_swings[i] == 1 ? "" : "s");
    size_t most = *room < BLOCK_NOTE_BYTES ? *room : BLOCK_NOTE_BYTES;
    if (*b->note && most) {
        fputs(": <bdi>", out);
        *room -= uf_markup_part(out, b->note, most);
        fputs("</bdi>", out);
    }
    fputs("</li>\n", out);
}

static void write_notes(const struct uf_report *r, bool dense, FILE *out)
{
    size_t room = dense ? DENSE_NOTE_BYTES : BLOCK_NOTES_BYTES, blocks = r->blocks;
    if (!*r->note && r->blocks == 0)
        return;
    fputs("<section class=\"notes\"><h2>Drills and notes</h2>\n", out);
    if (*r->note) {
        fputs("<p><bdi>", out);
        uf_markup_part(out, r->note, dense ? DENSE_NOTE_BYTES : NOTE_SHOWN_BYTES);
        fputs("</bdi></p>\n", out);
    }
    fputs("<ul>", out);
    if (dense && blocks > DENSE_BLOCKS_SHOWN)
        blocks = DENSE_BLOCKS_SHOWN;
    for (size_t i = 0; i < blocks; i++)
        write_block(r, i, &room, out);
    size_t more = r->more_blocks + r->blocks - blocks;
    if (more)
        fprintf(out, "<li>and %zu more blocks: underfoot session show %lld</li>\n", more,
                (long long)r->session_id);
    fputs("</ul></section>\n", out);
}

static bool is_dense(const struct uf_report *r, size_t missing)
{
    size_t text = strlen(r->player.cautions) + strlen(r->note) + strlen(r->focus.fault);
    for (size_t i = 0; i < r->blocks; i++)
        text += strlen(r->block[i].note) + strlen(r->block[i].club);
    return text > TEXT_BYTES || missing > MISSING_BYTES ||
           r->blocks + r->more_blocks > BLOCKS_SHOWN;
}

int uf_report_write(const struct uf_report *r, FILE *out)
{
    char *missing = NULL;
    size_t n = 0;
    FILE *f = open_memstream(&missing, &n);
    if (f)
        uf_report_missing(r, f);
    if (!f || fclose(f)) {
        free(missing);
        return -1;
    }
    bool dense = is_dense(r, n);
    write_head(r, dense, out);
    uf_report_measured(r, out);
    write_focus(r, out);
    write_feet(r, out);
    write_notes(r, dense, out);
    int rc = write_curves(r, dense, out);
    uf_report_table(r, out);
    fputs(missing, out);
    free(missing);
    fputs("<footer class=\"small\">No number is a diagnosis, and none is a grade: a player is "
          "compared with himself. More force is not better. Stop on pain, and ask a licensed "
          "clinician about an injury. Forces are of the ground on the golfer; BW: body weights; "
          "lead: the foot nearer the target. Underfoot " UF_VERSION ".</footer>\n</body></html>\n",
          out);
    return rc;
}

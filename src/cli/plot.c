/* SPDX-License-Identifier: MIT
 * See plot.h. A panel is a grid of cells; a cell holds 2 x 4 dots of each of two curves (1 x 1 in
 * ASCII), and the colour is that of the first curve that has a dot in it. */
#include "cli/plot.h"

#include <langinfo.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#define COLUMNS_DEFAULT  80
#define COLUMNS_LEAST    40
#define COLUMNS_MOST     200
#define LABEL_WIDTH      9 /* of the scale at the left */
#define BEFORE_START_S   0.3
#define BEFORE_TRIGGER_S 1.5 /* where no first movement is known */
#define AFTER_TRIGGER_S  0.9

#define ORANGE "\033[38;5;208m"
#define VIOLET "\033[38;5;135m"
#define PLAIN  "\033[0m"

struct view {
    const struct uf_analysis *a;
    const struct uf_plot_style *style;
    FILE *out;
    double from_s, to_s;
    int width; /* cells of a panel */
};

struct line {
    const double *y;
    double scale; /* value shown = y * scale */
    bool dotted;
};

struct panel {
    const char *title, *unit;
    int height; /* cells */
    int lines;
    struct line line[2];
};

void uf_plot_style_of(struct uf_plot_style *style, FILE *out, bool ascii)
{
    struct winsize w;
    const char *columns = getenv("COLUMNS"), *no_colour = getenv("NO_COLOR");
    bool tty = isatty(fileno(out)) == 1;
    style->ascii = ascii || strcmp(nl_langinfo(CODESET), "UTF-8") != 0;
    style->colour = tty && !(no_colour && *no_colour);
    style->columns = COLUMNS_DEFAULT;
    if (tty && ioctl(fileno(out), TIOCGWINSZ, &w) == 0 && w.ws_col > 0)
        style->columns = w.ws_col;
    else if (columns && atoi(columns) > 0)
        style->columns = atoi(columns);
    if (style->columns < COLUMNS_LEAST)
        style->columns = COLUMNS_LEAST;
    if (style->columns > COLUMNS_MOST)
        style->columns = COLUMNS_MOST;
}

/* ---- one panel ---- */

/* Bit of the dot at x 0..1, y 0..3 (from above) of a braille cell. */
static unsigned char braille_bit(int x, int y)
{
    static const unsigned char bit[4][2] = {{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}};
    return bit[y][x];
}

/* Least and greatest value of a line over the time of dot column x of n; false where it has none.
 */
static bool column_range(const struct view *v, const struct line *l, int x, int n, double *lo,
                         double *hi)
{
    const struct uf_curves *c = &v->a->curves;
    double step_s = (v->to_s - v->from_s) / n, begin_s = v->from_s + step_s * x;
    double first = ceil(begin_s * c->rate_hz), last = (begin_s + step_s) * c->rate_hz;
    if (last < first) /* fewer samples than dots: the one before */
        first = floor(begin_s * c->rate_hz);
    *lo = INFINITY;
    *hi = -INFINITY;
    for (double i = first; i <= last || i == first; i++) {
        if (i < 0 || i >= (double)c->n || isnan(l->y[(size_t)i]))
            continue;
        double y = l->y[(size_t)i] * l->scale;
        *lo = fmin(*lo, y);
        *hi = fmax(*hi, y);
    }
    return *lo <= *hi;
}

static void panel_range(const struct view *v, const struct panel *p, int dots, double *lo,
                        double *hi)
{
    *lo = 0;
    *hi = 0;
    for (int k = 0; k < p->lines; k++)
        for (int x = 0; x < dots; x++) {
            double a, b;
            if (column_range(v, &p->line[k], x, dots, &a, &b)) {
                *lo = fmin(*lo, a);
                *hi = fmax(*hi, b);
            }
        }
    if (*hi - *lo < 1e-9)
        *hi = *lo + 1;
}

static void draw_line(const struct view *v, const struct panel *p, int k, double lo, double hi,
                      unsigned char *cells)
{
    int wide = v->style->ascii ? 1 : 2, tall = v->style->ascii ? 1 : 4;
    int dots = v->width * wide, rows = p->height * tall, before = -1;
    for (int x = 0; x < dots; x++) {
        double a, b;
        if (!column_range(v, &p->line[k], x, dots, &a, &b)) {
            before = -1;
            continue;
        }
        int low = (int)lround((a - lo) / (hi - lo) * (rows - 1));
        int high = (int)lround((b - lo) / (hi - lo) * (rows - 1));
        if (before > high) /* no hole between this column and the one before */
            high = before - 1 > high ? before - 1 : high;
        else if (before >= 0 && before < low)
            low = before + 1;
        before = (int)lround(((a + b) / 2 - lo) / (hi - lo) * (rows - 1));
        if (p->line[k].dotted && x % (2 * wide) >= wide)
            continue;
        for (int y = low; y <= high; y++) {
            int from_top = rows - 1 - y;
            unsigned char bit = v->style->ascii ? 1 : braille_bit(x % wide, from_top % tall);
            cells[(from_top / tall) * v->width + x / wide] |= bit;
        }
    }
}

static int column_of(const struct view *v, double t_s)
{
    if (isnan(t_s) || t_s < v->from_s || t_s > v->to_s)
        return -1;
    int x = (int)((t_s - v->from_s) / (v->to_s - v->from_s) * v->width);
    return x < v->width ? x : v->width - 1;
}

static void print_cell(const struct view *v, unsigned char first, unsigned char second, bool mark,
                       bool zero)
{
    const char *colour = first ? ORANGE : VIOLET;
    bool paint = v->style->colour && (first || second);
    if (paint)
        fputs(colour, v->out);
    if (v->style->ascii) {
        fputc(first && second ? '@'
              : first         ? '#'
              : second        ? 'o'
              : mark          ? '|'
              : zero          ? '-'
                              : ' ',
              v->out);
    } else if (first || second) { /* U+2800 + bits */
        unsigned char bits = first | second;
        fputc(0xE2, v->out);
        fputc(0xA0 | bits >> 6, v->out);
        fputc(0x80 | (bits & 0x3F), v->out);
    } else {
        fputs(mark ? "\u2502" : zero ? "\u2508" : " ", v->out);
    }
    if (paint)
        fputs(PLAIN, v->out);
}

static int print_panel(const struct view *v, const struct panel *p)
{
    size_t cells = (size_t)(v->width * p->height);
    unsigned char *grid = calloc(2 * cells, 1);
    if (!grid)
        return -1;
    double lo, hi;
    panel_range(v, p, v->width * (v->style->ascii ? 1 : 2), &lo, &hi);
    for (int k = 0; k < p->lines; k++)
        draw_line(v, p, k, lo, hi, grid + (size_t)k * cells);
    int impact = column_of(v, v->a->event[UF_EVENT_IMPACT].t_s);
    int zero = p->height - 1 - (int)lround(-lo / (hi - lo) * (p->height - 1));
    fprintf(v->out, "%s, %s\n", p->title, p->unit);
    for (int y = 0; y < p->height; y++) {
        double value = y == 0 ? hi : y == p->height - 1 ? lo : 0;
        if (y == 0 || y == p->height - 1 || y == zero)
            fprintf(v->out, "%*.*f ", LABEL_WIDTH - 1, fabs(hi - lo) < 10 ? 2 : 0,
                    value == 0 ? 0.0 : value);
        else
            fprintf(v->out, "%*s", LABEL_WIDTH, "");
        const unsigned char *first = grid + (size_t)(y * v->width), *second = first + cells;
        int end = v->width; /* no blanks at the end of a line */
        while (y != zero && end > 0 && !first[end - 1] && !second[end - 1] && end - 1 != impact)
            end--;
        for (int x = 0; x < end; x++)
            print_cell(v, first[x], second[x], x == impact, y == zero);
        fputc('\n', v->out);
    }
    free(grid);
    return 0;
}

/* ---- time and events ---- */

static void print_marks(const struct view *v)
{
    static const char *const words[UF_EVENTS] = {
        "first movement", "top", "arm level", "shaft level", "impact", "finish", "still again"};
    char *row = malloc((size_t)v->width + 1);
    if (!row)
        return;
    memset(row, ' ', (size_t)v->width);
    row[v->width] = '\0';
    for (int i = 0; i < UF_EVENTS; i++) {
        int x = column_of(v, v->a->event[i].t_s);
        if (x >= 0)
            row[x] = '^';
    }
    for (int n = v->width; n > 0 && row[n - 1] == ' '; n--)
        row[n - 1] = '\0';
    fprintf(v->out, "%*s%s\n", LABEL_WIDTH, "", row);
    free(row);
    fprintf(v->out, "%*s%.2f s to %.2f s from the first sample", LABEL_WIDTH, "", v->from_s,
            v->to_s);
    bool first = true;
    for (int i = 0; i < UF_EVENTS; i++) {
        if (column_of(v, v->a->event[i].t_s) < 0)
            continue;
        /* an estimate says so */
        fprintf(v->out, "%s %s %s%.3f", first ? "; ^" : ",", words[i],
                v->a->event[i].source == UF_SOURCE_ESTIMATE ? "~" : "", v->a->event[i].t_s);
        first = false;
    }
    fputc('\n', v->out);
}

static void print_legend(const struct view *v)
{
    const char *on = v->style->colour ? ORANGE : "", *off = v->style->colour ? PLAIN : "";
    const char *violet = v->style->colour ? VIOLET : "";
    if (v->style->ascii)
        fprintf(v->out, "%slead foot #%s   %strail foot o%s   both @\n", on, off, violet, off);
    else
        fprintf(v->out, "%slead foot \u28C0\u28C0\u28C0%s   %strail foot \u2840\u2840\u2840%s\n",
                on, off, violet, off);
}

int uf_plot_swing(const struct uf_analysis *a, double trigger_s, const struct uf_plot_style *style,
                  FILE *out)
{
    const struct uf_curves *c = &a->curves;
    double end_s = (double)(c->n - 1) / c->rate_hz, start_s = a->event[UF_EVENT_START].t_s;
    double from_s = isnan(start_s) ? trigger_s - BEFORE_TRIGGER_S : start_s - BEFORE_START_S;
    struct view v = {.a = a,
                     .style = style,
                     .out = out,
                     .from_s = fmax(0, from_s),
                     .to_s = fmin(end_s, trigger_s + AFTER_TRIGGER_S),
                     .width = style->columns - LABEL_WIDTH};
    if (v.to_s - v.from_s < 0.01) {
        v.from_s = 0;
        v.to_s = end_s;
    }
    bool bw = !isnan(c->weight_n);
    double per_weight = bw ? 1 / c->weight_n : 1;
    bool two = !isnan(c->vertical_n[UF_LEAD][0]);
    struct panel panels[] = {
        {.title = two ? "Vertical force of each foot" : "Vertical force",
         .unit = bw ? "BW" : "N",
         .height = 8,
         .lines = two ? 2 : 1,
         .line = {{two ? c->vertical_n[UF_LEAD] : c->total_vertical_n, per_weight, false},
                  {c->vertical_n[UF_TRAIL], per_weight, true}}},
        {.title = "Target-ward force",
         .unit = bw ? "BW" : "N",
         .height = 5,
         .lines = 1,
         .line = {{c->total_target_n, per_weight, false}}},
        {.title = "Turn moment towards the target",
         .unit = "N m",
         .height = 5,
         .lines = two ? 1 : 0,
         .line = {{c->turn_nm, 1, false}}},
    };
    if (two)
        print_legend(&v);
    for (size_t i = 0; i < sizeof panels / sizeof panels[0]; i++)
        if (panels[i].lines && print_panel(&v, &panels[i]))
            return -1;
    print_marks(&v);
    return 0;
}

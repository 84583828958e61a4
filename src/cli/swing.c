/* SPDX-License-Identifier: MIT
 * `underfoot swing`: all numbers of one swing in groups, each missing one with its reason, and its
 * curves, recomputed from the raw counts. */
#include "base/utf8.h"
#include "cli/cli.h"
#include "cli/plot.h"
#include "cli/show.h"
#include "cli/text.h"
#include "store/calibrations.h"
#include "swing/targets.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- which metric stands where: by the words of its name, so that a new row of the metric table
 * finds its place by itself ---- */

enum section { TIMING, WEIGHT, VERTICAL, HORIZONTAL, TURN, COP, QUALITY, SECTIONS };
static const char *const titles[SECTIONS] = {
    "Timing", "Weight and share",   "Vertical", "Target-ward and toe-heel",
    "Turn",   "Centre of pressure", "Quality"};

static enum section section_of(const char *name)
{
    static const struct {
        const char *word;
        enum section section;
    } rules[] = {{"tempo", TIMING},     {"swing_ms", TIMING},    {"peak_order", TIMING},
                 {"_to_turn", TIMING},  {"to_vertical", TIMING}, {"cop_travel", WEIGHT},
                 {"cop_range", WEIGHT}, {"cop_speed", WEIGHT},   {"couple", TURN},
                 {"cop_", COP},         {"closure", QUALITY},    {"noise", QUALITY},
                 {"lost_", QUALITY},    {"turn", TURN},          {"share", WEIGHT},
                 {"weight", WEIGHT},    {"vertical", VERTICAL},  {"target", HORIZONTAL},
                 {"away", HORIZONTAL},  {"toe", HORIZONTAL},     {"heel", HORIZONTAL}};
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++)
        if (strstr(name, rules[i].word))
            return rules[i].section;
    return QUALITY;
}

/* Length of the name without its unit: metrics that share it are one line. */
static size_t stem(const char *name)
{
    static const char *const ends[] = {"_to_impact_ms", "_to_top_ms", "_downswing_pct",
                                       "_bw_s",         "_nm_s",      "_mm_s",
                                       "_bw",           "_nms",       "_nm",
                                       "_ns",           "_n",         "_s",
                                       "_pct",          "_mm",        "_ms",
                                       "_deg"};
    size_t n = strlen(name);
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        size_t e = strlen(ends[i]);
        if (n > e && strcmp(name + n - e, ends[i]) == 0)
            return n - e;
    }
    return n;
}

/* ---- missing numbers ---- */

/* Reasons in the order in which they are met: 'a', 'b', ... */
struct notes {
    enum uf_reason reason[UF_REASONS + 1]; /* NONE among them: younger than the derivation */
    int n;
};

static char note_letter(struct notes *notes, enum uf_reason reason)
{
    for (int i = 0; i < notes->n; i++)
        if (notes->reason[i] == reason)
            return (char)('a' + i);
    notes->reason[notes->n] = reason;
    return (char)('a' + notes->n++);
}

static void print_notes(const struct notes *notes, FILE *out)
{
    for (int i = 0; i < notes->n; i++)
        fprintf(out, "%s[%c] %s\n", i ? "" : "\nNot measured:\n", 'a' + i,
                notes->reason[i] ? uf_reason_text(notes->reason[i])
                                 : "this derivation is older than the number; make it with: "
                                   "underfoot rederive");
}

/* "1.524 BW", or "- [a]". */
static void value_text(const struct uf_swing_row *row, enum uf_metric m, struct notes *notes,
                       char *out, size_t size)
{
    const struct uf_metric_row *t = uf_metric_row(m);
    char number[40];
    if (isnan(row->derived.value[m])) {
        snprintf(out, size, "- [%c]", note_letter(notes, row->derived.reason[m]));
        return;
    }
    uf_text_number(row->derived.value[m], t->unit, number, sizeof number);
    snprintf(out, size, "%s%s%s", number, *t->unit ? " " : "", uf_text_unit(t->unit));
}

/* ---- sections ---- */

/* Columns: meaning, first value, second value, time, time from impact, from the top, in the
 * downswing. */
enum { COLUMNS = 7 };
static int column_of(const char *name, bool second)
{
    static const struct {
        const char *end;
        int column;
    } ends[] = {
        {"_to_impact_ms", 4}, {"_to_top_ms", 5}, {"_downswing_pct", 6}, {"_bw_s", 1}, {"_nm_s", 1},
        {"_mm_s", 1},         {"_s", 3}};
    size_t n = strlen(name);
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        size_t e = strlen(ends[i].end);
        if (n > e && strcmp(name + n - e, ends[i].end) == 0)
            return ends[i].column;
    }
    return second ? 2 : 1;
}

/* The first n bytes of a name or a sentence, blanks for underscores. */
static void add_label(struct uf_columns *t, const char *text, size_t n)
{
    char label[120];
    snprintf(label, sizeof label, "%.*s", (int)n, text);
    for (char *p = label; *p; p++)
        if (*p == '_')
            *p = ' ';
    uf_columns_add(t, "%s", label);
}

/* "-12.0 ms" is 12.0 ms before it. */
static void moment_text(const char *value, const char *moment, char *out, size_t size)
{
    bool missing = value[0] == '-' && value[1] == ' ', before = value[0] == '-' && !missing;
    snprintf(out, size, "%s %s %s", value + before,
             missing  ? "from"
             : before ? "before"
                      : "after",
             moment);
}

static void add_line(struct uf_columns *t, const struct uf_swing_row *row, int from, int to,
                     struct notes *notes, bool words)
{
    char cell[COLUMNS][64] = {"", "", "", "", "", "", ""};
    bool second = false;
    const struct uf_metric_row *metric = uf_metric_row((enum uf_metric)from);
    add_label(t, words ? metric->meaning : metric->name,
              words ? strlen(metric->meaning) : stem(metric->name));
    for (int m = from; m < to; m++) {
        const char *name = uf_metric_row((enum uf_metric)m)->name;
        int column = column_of(name, second);
        char value[48];
        value_text(row, (enum uf_metric)m, notes, value, sizeof value);
        if (column == 4 || column == 5)
            moment_text(value, column == 4 ? "impact" : "top", cell[column], sizeof cell[column]);
        else if (column == 6)
            snprintf(cell[column], sizeof cell[column], "%s down", value);
        else
            snprintf(cell[column], sizeof cell[column], "%s%s", column == 3 ? "at " : "", value);
        second = second || column == 1;
    }
    for (int i = 1; i < COLUMNS; i++)
        uf_columns_add(t, "%s", cell[i]);
}

static int print_section(const struct uf_swing_row *row, enum section section, struct notes *notes,
                         bool words, FILE *out)
{
    struct uf_columns t;
    uf_columns_begin(&t, "lrrrrrr");
    for (int m = 0; m < UF_METRICS;) {
        const char *name = uf_metric_row((enum uf_metric)m)->name;
        size_t n = stem(name);
        int next = m + 1;
        while (next < UF_METRICS) {
            const char *other = uf_metric_row((enum uf_metric)next)->name;
            if (stem(other) != n || strncmp(other, name, n) != 0)
                break;
            next++;
        }
        if (section_of(name) == section)
            add_line(&t, row, m, next, notes, words);
        m = next;
    }
    fprintf(out, "\n%s\n", titles[section]);
    return uf_columns_print(&t, "  ", out);
}

/* {net, lead, trail}_cop_{target, toe}_at_X_mm: the part after "at", or NULL. */
static const char *cop_place(const char *name, int *which)
{
    static const char *const heads[] = {"net_cop_target_at_",   "net_cop_toe_at_",
                                        "lead_cop_target_at_",  "lead_cop_toe_at_",
                                        "trail_cop_target_at_", "trail_cop_toe_at_"};
    for (int i = 0; i < 6; i++)
        if (strncmp(name, heads[i], strlen(heads[i])) == 0) {
            *which = i;
            return name + strlen(heads[i]);
        }
    return NULL;
}

/* Target-ward and toe-ward of one foot, or of both, at one place, as one cell. */
static void add_cop(struct uf_columns *t, const struct uf_swing_row *row, const char *place,
                    int first, struct notes *notes)
{
    char pair[2][40] = {"", ""};
    for (int m = 0; m < UF_METRICS; m++) {
        int which = -1;
        const char *p = cop_place(uf_metric_row((enum uf_metric)m)->name, &which);
        if (!p || which < first || which > first + 1 || strcmp(p, place) != 0)
            continue;
        char *text = pair[which - first];
        if (isnan(row->derived.value[m]))
            snprintf(text, sizeof pair[0], "- [%c]", note_letter(notes, row->derived.reason[m]));
        else
            uf_text_number(row->derived.value[m], "mm", text, sizeof pair[0]);
    }
    uf_columns_add(t, "%s %7s", pair[0], pair[1]);
}

/* A matrix: a line for each moment, a pair of numbers for each of net, lead, trail. */
static int print_cop(const struct uf_swing_row *row, struct notes *notes, FILE *out)
{
    struct uf_columns t;
    uf_columns_begin(&t, "lrrr");
    static const char *const heads[] = {"mm at the", "net", "lead foot", "trail foot"};
    for (size_t i = 0; i < 4; i++)
        uf_columns_add(&t, "%s", heads[i]);
    for (int m = 0; m < UF_METRICS; m++) {
        int which = -1;
        const char *place = cop_place(uf_metric_row((enum uf_metric)m)->name, &which);
        if (which != 0)
            continue;
        add_label(&t, place, stem(place));
        for (int first = 0; first < 6; first += 2)
            add_cop(&t, row, place, first, notes);
    }
    fprintf(out, "\n%s: target-ward and toe-ward from the middle between the plates\n",
            titles[COP]);
    return uf_columns_print(&t, "  ", out);
}

/* ---- in the feet ---- */

static const char *const foot_heads[] = {
    "cop_line_at_",        "lead_cop_along_at_",   "lead_cop_across_at_", "lead_cop_region_at_",
    "trail_cop_along_at_", "trail_cop_across_at_", "trail_cop_region_at_"};
enum { FOOT_CELLS = sizeof foot_heads / sizeof foot_heads[0] };

static void add_foot_cell(struct uf_columns *t, const struct uf_swing_row *row, const char *head,
                          const char *place, struct notes *notes)
{
    char text[48] = "";
    size_t n = strlen(head);
    for (int m = 0; m < UF_METRICS; m++) {
        const struct uf_metric_row *metric = uf_metric_row((enum uf_metric)m);
        const char *rest = metric->name + n;
        if (strncmp(metric->name, head, n) != 0 || stem(rest) != stem(place) ||
            strncmp(rest, place, stem(place)) != 0)
            continue;
        value_text(row, (enum uf_metric)m, notes, text, sizeof text);
        if (!isnan(row->derived.value[m]) && strstr(head, "region"))
            snprintf(text, sizeof text, "%s",
                     uf_region_name((enum uf_region)row->derived.value[m]));
    }
    uf_columns_add(t, "%s", text);
}

/* A line for each moment: the line through both COPs, and where each lies in its foot. */
static int print_feet(const struct uf_swing_row *row, struct notes *notes, FILE *out)
{
    struct uf_columns t;
    uf_columns_begin(&t, "lrrrlrrl");
    static const char *const heads[FOOT_CELLS + 1] = {
        "at the", "COP line", "lead: along", "across", "part", "trail: along", "across", "part"};
    for (int i = 0; i <= FOOT_CELLS; i++)
        uf_columns_add(&t, "%s", heads[i]);
    for (int m = 0; m < UF_METRICS; m++) {
        const char *name = uf_metric_row((enum uf_metric)m)->name;
        if (strncmp(name, foot_heads[0], strlen(foot_heads[0])) != 0)
            continue;
        const char *place = name + strlen(foot_heads[0]);
        add_label(&t, place, stem(place));
        for (int i = 0; i < FOOT_CELLS; i++)
            add_foot_cell(&t, row, foot_heads[i], place, notes);
    }
    fprintf(out, "\nIn the feet: along from heel 0 to toes 100, across from outer 0 to inner 100; "
                 "angle of the line through both COPs\n");
    return uf_columns_print(&t, "  ", out);
}

/* ---- windows ---- */

static int event_named(const char *name)
{
    for (int i = 0; i < UF_EVENTS; i++)
        if (strcmp(name, uf_event_name((enum uf_event_kind)i)) == 0)
            return i;
    return -1;
}

static void print_target(const struct uf_swing_row *row, sqlite3_stmt *q, FILE *out)
{
    char label[120]; /* a studio's own words */
    snprintf(label, sizeof label, "%s", uf_store_text(q, 0));
    uf_utf8_plain(label);
    int metric = uf_metric_find(uf_store_text(q, 1));
    int from = event_named(uf_store_text(q, 2));
    int to = event_named(uf_store_text(q, 3));
    if (metric < 0 || from < 0 || to < 0) {
        fprintf(out, "  %s: the row of table target names a metric or a moment that there is not\n",
                label);
        return;
    }
    struct uf_target t = {.from = (enum uf_event_kind)from,
                          .to = (enum uf_event_kind)to,
                          .from_pct = sqlite3_column_double(q, 4),
                          .to_pct = sqlite3_column_double(q, 5),
                          .tolerance_ms = sqlite3_column_double(q, 6)};
    struct uf_judgement j;
    uf_target_judge(&t, row->derived.value[metric], row->derived.sd[metric], row->derived.event,
                    &j);
    if (j.timing == UF_TIMING_UNKNOWN)
        fprintf(out, "  %s: not known\n", label);
    else if (j.off_ms < 0 || j.off_ms > 0)
        fprintf(out, "  %s: %s, %.0f ms %s the window (+- %.0f ms%s)\n", label,
                uf_timing_name(j.timing), fabs(j.off_ms), j.off_ms < 0 ? "before" : "after", j.u_ms,
                j.sure ? "" : ": not sure");
    else
        fprintf(out, "  %s: %s (+- %.0f ms%s)\n", label, uf_timing_name(j.timing), j.u_ms,
                j.sure ? "" : ": not sure");
}

/* Peaks against the windows of table target, which a studio edits. */
static int print_targets(struct uf_cli *c, struct uf_store *s, const struct uf_swing_row *row)
{
    sqlite3_stmt *q;
    int rc = sqlite3_prepare_v2(uf_store_db(s),
                                "SELECT label, metric, from_event, to_event, from_pct, to_pct,"
                                " tolerance_ms FROM target WHERE active = 1 ORDER BY id",
                                -1, &q, NULL);
    if (rc == SQLITE_OK) {
        fprintf(c->out, "\nAgainst the windows of table target (common practice, no grade)\n");
        while ((rc = sqlite3_step(q)) == SQLITE_ROW)
            print_target(row, q, c->out);
    }
    sqlite3_finalize(q);
    return rc == SQLITE_DONE ? UF_EXIT_DONE
                             : uf_cli_fail(c, UF_EXIT_FAILED, "the windows cannot be read: %s",
                                           sqlite3_errmsg(uf_store_db(s)));
}

/* ---- head ---- */

static void print_moments(const struct uf_swing_row *row, FILE *out)
{
    static const char *const words[UF_EVENTS] = {"First movement", "Top",    "Lead arm level",
                                                 "Shaft level",    "Impact", "Finish",
                                                 "Still again"};
    for (int i = 0; i < UF_EVENTS; i++) {
        const struct uf_event *e = &row->derived.event[i];
        if (!e->source)
            continue;
        fprintf(out, "%s at %.4f s, by %s", words[i], e->t_s, uf_source_name(e->source));
        if (!isnan(e->u_s))
            fprintf(out, " (+- %.1f ms)", 1e3 * e->u_s);
        fputc('\n', out);
    }
}

static void print_head(const struct uf_swing_row *row, FILE *out)
{
    char time[40], flags[400];
    uf_text_local(uf_show_time_us(row), time, sizeof time);
    fprintf(out, "Swing %lld, %s%s, %s-handed%s\n", (long long)row->id, time,
            row->trigger_utc_us ? "" : " (when it was stored)",
            row->hand == UF_LEFT_HANDED ? "left" : "right",
            row->other_hand ? " (as said afterwards)" : "");
    fprintf(out, "%.2f s at %lld Hz, calibration \"%s\", low-pass %g Hz, algorithm %lld\n",
            1e-6 * (double)row->duration_us, (long long)row->rate_hz, row->calibration,
            row->settings.cutoff_hz, (long long)row->algorithm);
    if (row->algorithm != UF_ALGORITHM)
        fprintf(out, "This program has algorithm %d: underfoot rederive %lld\n", UF_ALGORITHM,
                (long long)row->id);
    print_moments(row, out);
    uf_show_flags(row->derived.flags, flags, sizeof flags);
    if (*flags)
        fprintf(out, "Flags: %s\n", flags);
}

/* ---- curves ---- */

static int print_curves(struct uf_cli *c, struct uf_store *s, const struct uf_swing_row *row)
{
    struct uf_rig *rig = calloc(1, sizeof *rig);
    struct uf_calibration *cal = calloc(1, sizeof *cal);
    struct uf_capture *capture = NULL;
    struct uf_analysis *analysis = NULL;
    struct uf_error err = {.text = "no memory"};
    int rc = rig && cal ? UF_OK : UF_ENOMEM;
    if (rc == 0)
        rc = uf_store_rig_get(s, row->rig_id, rig, &err);
    if (rc == 0)
        rc = uf_store_calibration_get(s, row->calibration_id, rig, cal, &err);
    if (rc == 0)
        rc = uf_store_capture(s, row->id, &capture, &err);
    struct uf_given given;
    char basis[UF_BASIS_SIZE];
    struct uf_given_of of;
    if (rc == 0)
        rc = uf_store_given_of(s, row->id, &of, &err);
    if (rc == 0)
        rc = uf_store_given(s, &of, &given, basis, &err);
    if (rc == 0)
        rc = uf_analyse_given(capture, rig, cal, &row->settings, &given, &analysis, &err);
    if (rc == 0) {
        struct uf_plot_style style;
        uf_plot_style_of(&style, c->out, uf_cli_option(c, "--ascii") != NULL);
        fputc('\n', c->out);
        rc = uf_plot_swing(analysis,
                           1e-6 * (double)(capture->trigger_dev_us - capture->start_dev_us), &style,
                           c->out);
    }
    uf_analysis_free(analysis);
    uf_capture_free(capture);
    free(cal);
    free(rig);
    return rc ? uf_cli_fail(c, UF_EXIT_FAILED, "the curves cannot be drawn: %s", err.text)
              : UF_EXIT_DONE;
}

/* ---- the command ---- */

static int which(const struct uf_cli *c, struct uf_store *s, int64_t *id)
{
    struct uf_error err;
    int64_t *ids = NULL;
    size_t n;
    if (strcmp(c->operand[0], "last") != 0)
        return uf_text_parse_count(c->operand[0], 1, id)
                   ? uf_cli_fail(c, UF_EXIT_USAGE,
                                 "\"%s\" is not the number of a swing; give one of those that "
                                 "underfoot swings lists, or last",
                                 c->operand[0])
                   : UF_EXIT_DONE;
    if (uf_store_swing_ids(s, 1, INT64_MIN, &ids, &n, &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    if (n == 0)
        return uf_cli_fail(c, UF_EXIT_FAILED, "no swing is stored in %s yet", c->database);
    *id = ids[0];
    free(ids);
    return UF_EXIT_DONE;
}

static int print_swing(struct uf_cli *c, struct uf_store *s, const struct uf_swing_row *row)
{
    struct notes notes = {.n = 0};
    int bad = 0;
    print_head(row, c->out);
    for (int i = 0; i < SECTIONS; i++)
        bad |= i == COP ? print_cop(row, &notes, c->out)
                        : print_section(row, (enum section)i, &notes,
                                        uf_cli_option(c, "--words") != NULL, c->out);
    bad |= print_feet(row, &notes, c->out);
    if (bad)
        return uf_cli_fail(c, UF_EXIT_FAILED, "no memory");
    print_notes(&notes, c->out);
    int rc = print_targets(c, s, row);
    return rc ? rc : print_curves(c, s, row);
}

int uf_cli_swing(struct uf_cli *c)
{
    struct uf_store *s;
    struct uf_error err;
    int64_t id;
    int rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    struct uf_swing_row *row = malloc(sizeof *row);
    if (!row)
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "no memory");
    if (rc == 0)
        rc = which(c, s, &id);
    if (rc == 0 && uf_store_swing_row(s, id, row, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    if (rc == 0)
        rc = uf_cli_option(c, "--json") ? uf_cli_print_json(c, uf_show_swing(row))
                                        : print_swing(c, s, row);
    free(row);
    uf_store_close(s);
    return rc;
}

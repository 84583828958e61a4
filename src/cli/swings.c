/* SPDX-License-Identifier: MIT
 * `underfoot swings` and `underfoot rederive`: what acts on many swings. */
#include "base/clock.h"
#include "cli/cli.h"
#include "cli/show.h"
#include "cli/text.h"

#include <inttypes.h>
#include <stdlib.h>

#define LAST_DEFAULT 20

/* What a coach reads first: heading and metric. */
static const struct {
    const char *head;
    enum uf_metric metric;
} shown[] = {
    {"weight", UF_M_weight_n},
    {"trail addr.", UF_M_trail_share_address_pct},
    {"trail most", UF_M_trail_share_max_pct},
    {"trail least", UF_M_trail_share_min_pct},
    {"lead peak", UF_M_lead_vertical_peak_bw},
    {"to impact", UF_M_lead_vertical_peak_to_impact_ms},
    {"target", UF_M_target_peak_bw},
    {"turn", UF_M_turn_peak_nm},
};
enum { SHOWN = sizeof shown / sizeof shown[0] };

/* --since into *since_us, INT64_MIN when it is not given. */
static int since(const struct uf_cli *c, int64_t *since_us)
{
    const char *text = uf_cli_option(c, "--since");
    *since_us = INT64_MIN;
    if (text && uf_text_parse_date(text, uf_clock_utc_us(), since_us))
        return uf_cli_fail(c, UF_EXIT_USAGE,
                           "--since %s is not a date: give 2026-03-01, \"2026-03-01 14:30\" or "
                           "today",
                           text);
    return UF_EXIT_DONE;
}

static void add_row(struct uf_columns *t, const struct uf_swing_row *row, bool *missing)
{
    char text[400];
    uf_columns_add(t, "%" PRId64, row->id);
    uf_text_local(uf_show_time_us(row), text, sizeof text);
    uf_columns_add(t, "%s", text);
    uf_columns_add(t, "%s", row->hand == UF_LEFT_HANDED ? "left" : "right");
    for (int i = 0; i < SHOWN; i++) {
        enum uf_metric m = shown[i].metric;
        uf_text_number(row->derived.value[m], uf_metric_row(m)->unit, text, sizeof text);
        uf_columns_add(t, "%s", text);
        if (row->derived.reason[m])
            *missing = true;
    }
    uf_columns_add(t, "%s",
                   row->derived.event[UF_EVENT_IMPACT].source == UF_SOURCE_SENSOR ? "yes" : "no");
    uf_show_flags(row->derived.flags, text, sizeof text);
    uf_columns_add(t, "%s", text);
}

static int print_rows(struct uf_cli *c, struct uf_store *s, const int64_t *ids, size_t n)
{
    struct uf_columns t;
    uf_columns_begin(&t, "rllrrrrrrrrll");
    static const char *const heads[] = {"swing", "time", "hand"};
    for (size_t i = 0; i < 3; i++)
        uf_columns_add(&t, "%s", heads[i]);
    for (int i = 0; i < SHOWN; i++)
        uf_columns_add(&t, "%s", shown[i].head);
    uf_columns_add(&t, "strike");
    uf_columns_add(&t, "flags");
    for (size_t i = 0; i < 3; i++)
        uf_columns_add(&t, "%s", "");
    for (int i = 0; i < SHOWN; i++)
        uf_columns_add(&t, "%s", uf_text_unit(uf_metric_row(shown[i].metric)->unit));
    uf_columns_add(&t, "%s", "");
    uf_columns_add(&t, "%s", "");
    bool missing = false;
    int rc = UF_EXIT_DONE;
    for (size_t i = 0; rc == 0 && i < n; i++) {
        struct uf_swing_row row;
        struct uf_error err;
        if (uf_store_swing_row(s, ids[i], &row, &err))
            rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
        else
            add_row(&t, &row, &missing);
    }
    if (uf_columns_print(&t, "", c->out) && rc == 0)
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "no memory");
    if (missing)
        fprintf(c->out, "-: not measured; why: underfoot swing N\n");
    return rc;
}

static int print_rows_json(struct uf_cli *c, struct uf_store *s, const int64_t *ids, size_t n)
{
    json_t *all = json_array();
    for (size_t i = 0; i < n; i++) {
        struct uf_swing_row row;
        struct uf_error err;
        if (uf_store_swing_row(s, ids[i], &row, &err)) {
            json_decref(all);
            return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
        }
        json_array_append_new(all, uf_show_swing(&row));
    }
    return uf_cli_print_json(c, all);
}

int uf_cli_swings(struct uf_cli *c)
{
    int64_t since_us, last = LAST_DEFAULT;
    const char *count = uf_cli_option(c, "--last");
    int rc = since(c, &since_us);
    if (rc)
        return rc;
    if (!count && since_us != INT64_MIN)
        last = 0;
    if (count && uf_text_parse_count(count, 0, &last))
        return uf_cli_fail(c, UF_EXIT_USAGE, "--last %s is not a count: give 0 (all), 1, 2, ...",
                           count);
    struct uf_store *s;
    rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    struct uf_error err;
    int64_t *ids;
    size_t n;
    if (uf_store_swing_ids(s, last, since_us, &ids, &n, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    else if (uf_cli_option(c, "--json"))
        rc = print_rows_json(c, s, ids, n);
    else if (n == 0)
        fprintf(c->out, "no swing is stored in %s%s\n", c->database,
                since_us == INT64_MIN ? " yet" : " since then");
    else
        rc = print_rows(c, s, ids, n);
    free(ids);
    uf_store_close(s);
    return rc;
}

/* ---- rederive ---- */

static int report(struct uf_cli *c, const struct uf_rederive_counts *n, const char *failure)
{
    if (uf_cli_option(c, "--json")) {
        json_t *json =
            json_pack("{s:I, s:I, s:I, s:I, s:I, s:s?}", "swings", (json_int_t)n->swings, "made",
                      (json_int_t)n->made, "same", (json_int_t)n->same, "differ",
                      (json_int_t)n->differ, "failed", (json_int_t)n->failed, "failure", failure);
        int rc = uf_cli_print_json(c, json);
        return rc ? rc : failure || n->differ ? UF_EXIT_FAILED : UF_EXIT_DONE;
    }
    struct uf_columns t;
    uf_columns_begin(&t, "rl");
    const struct {
        int64_t n;
        const char *words;
    } lines[] = {
        {n->swings, "swings derived from their raw counts"},
        {n->made, "new derivations, now the current ones"},
        {n->same, "the same to the last bit as what was stored"},
        {n->differ, "other bits than what was stored (nothing was overwritten)"},
        {n->failed, "could not be derived"},
    };
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        if (i >= 3 && lines[i].n == 0)
            continue;
        uf_columns_add(&t, "%" PRId64, lines[i].n);
        uf_columns_add(&t, "%s", lines[i].words);
    }
    uf_columns_print(&t, "", c->out);
    if (failure)
        uf_cli_fail(c, UF_EXIT_FAILED, "%s", failure);
    if (n->differ)
        uf_cli_fail(c, UF_EXIT_FAILED,
                    "the same calibration, algorithm and settings gave other bits: the rows were "
                    "changed by hand, or another build of this program made them");
    return failure || n->differ ? UF_EXIT_FAILED : UF_EXIT_DONE;
}

int uf_cli_rederive(struct uf_cli *c)
{
    int64_t since_us, ids[UF_CLI_OPERANDS_MAX];
    int rc = since(c, &since_us);
    if (rc)
        return rc;
    if (c->operands && since_us != INT64_MIN)
        return uf_cli_fail(c, UF_EXIT_USAGE, "give either numbers of swings or --since, not both");
    for (int i = 0; i < c->operands; i++)
        if (uf_text_parse_count(c->operand[i], 1, &ids[i]))
            return uf_cli_fail(c, UF_EXIT_USAGE,
                               "\"%s\" is not the number of a swing; list them with: underfoot "
                               "swings",
                               c->operand[i]);
    struct uf_store *s;
    rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    struct uf_rederive_counts counts;
    struct uf_error err;
    int failed = uf_store_rederive(s, c->operands ? ids : NULL, (size_t)c->operands, since_us,
                                   &c->config.analysis, uf_clock_utc_us(), &counts, &err);
    uf_store_close(s);
    return report(c, &counts, failed ? err.text : NULL);
}

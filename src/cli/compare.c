/* SPDX-License-Identifier: MIT
 * `underfoot compare`: two blocks or two swings as a table, and in plain sentences. */
#include "cli/cli.h"
#include "cli/text.h"
#include "store/comparison_words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool is_shown(const struct uf_cli *c, const struct uf_comparison_row *r)
{
    const char *only = uf_cli_option(c, "--metric");
    if (only)
        return strcmp(only, r->name) == 0;
    return uf_cli_option(c, "--all") || uf_comparison_is_first(r);
}

/* ---- JSON ---- */

static json_t *real(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

static json_t *side_json(const struct uf_spread *s)
{
    return json_pack("{s:I, s:o, s:o}", "n", (json_int_t)s->n, "mean", real(s->mean), "sd",
                     real(s->sd));
}

static int print_json(struct uf_cli *c, const struct uf_comparison *k)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < k->n; i++) {
        const struct uf_comparison_row *r = &k->row[i];
        if (is_shown(c, r))
            json_array_append_new(
                rows, json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:s}", "name", r->name, "unit",
                                r->unit, "a", side_json(&r->a), "b", side_json(&r->b), "difference",
                                real(r->difference), "noise_sd", real(r->noise_sd), "needed",
                                real(r->needed), "verdict", uf_verdict_name(r->verdict)));
    }
    return uf_cli_print_json(
        c, json_pack("{s:I, s:I, s:I, s:I, s:{s:b, s:b, s:b, s:b, s:b}, s:o}", "a_swings",
                     (json_int_t)k->a_swings, "b_swings", (json_int_t)k->b_swings, "a_excluded",
                     (json_int_t)k->a_excluded, "b_excluded", (json_int_t)k->b_excluded,
                     "different", "player", k->players, "session", k->sessions, "club", k->clubs,
                     "ball", k->balls, "calibration", k->calibrations, "numbers", rows));
}

/* ---- table ---- */

static void add_number(struct uf_columns *t, double v, const char *unit, bool sign)
{
    char text[40];
    uf_text_number(v, unit, text, sizeof text);
    uf_columns_add(t, "%s%s", sign && v > 0 ? "+" : "", text);
}

static int print_table(struct uf_cli *c, const struct uf_comparison *k, bool blocks)
{
    static const char *const heads[] = {
        "", "A", "B", "difference", "takes more than", "A's spread", "B's spread", "unit", ""};
    struct uf_columns t;
    uf_columns_begin(&t, "lrrrrrrll");
    for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
        uf_columns_add(&t, "%s",
                       !blocks && (i == 5 || i == 6) ? (i == 5 ? "noise" : "") : heads[i]);
    for (size_t i = 0; i < k->n; i++) {
        const struct uf_comparison_row *r = &k->row[i];
        if (!is_shown(c, r))
            continue;
        uf_columns_add(&t, "%s", r->name);
        add_number(&t, r->a.mean, r->unit, false);
        add_number(&t, r->b.mean, r->unit, false);
        add_number(&t, r->difference, r->unit, true);
        add_number(&t, r->needed, r->unit, false);
        add_number(&t, blocks ? r->a.sd : r->noise_sd, r->unit, false);
        if (blocks)
            add_number(&t, r->b.sd, r->unit, false);
        else
            uf_columns_add(&t, "%s", "");
        uf_columns_add(&t, "%s", uf_text_unit(r->unit));
        bool fewer = blocks && (r->a.n < k->a_swings || r->b.n < k->b_swings);
        if (fewer && r->verdict != UF_VERDICT_MISSING)
            uf_columns_add(&t, "%s (of %zu and %zu swings)", uf_verdict_name(r->verdict), r->a.n,
                           r->b.n);
        else
            uf_columns_add(&t, "%s", uf_verdict_name(r->verdict));
    }
    return uf_columns_print(&t, "", c->out) ? uf_cli_fail(c, UF_EXIT_FAILED, "no memory")
                                            : UF_EXIT_DONE;
}

static int print_sentences(struct uf_cli *c, const struct uf_comparison *k, bool blocks)
{
    bool *shown = calloc(k->n, sizeof *shown);
    if (!shown)
        return uf_cli_fail(c, UF_EXIT_FAILED, "no memory");
    for (size_t i = 0; i < k->n; i++)
        shown[i] = is_shown(c, &k->row[i]);
    fputc('\n', c->out);
    uf_comparison_say(k, blocks, shown, false, c->out);
    free(shown);
    return UF_EXIT_DONE;
}

/* ---- the commands ---- */

static int metric_check(const struct uf_cli *c, const struct uf_comparison *k)
{
    const char *only = uf_cli_option(c, "--metric");
    for (size_t i = 0; only && i < k->n; i++)
        if (strcmp(k->row[i].name, only) == 0)
            return UF_EXIT_DONE;
    return only ? uf_cli_fail(c, UF_EXIT_USAGE,
                              "there is no number \"%s\"; their names: underfoot compare ... --all",
                              only)
                : UF_EXIT_DONE;
}

static int compare(struct uf_cli *c, const char *what,
                   int (*read)(struct uf_store *s, int64_t a, int64_t b, struct uf_comparison **out,
                               struct uf_error *err))
{
    struct uf_comparison *k = NULL;
    struct uf_store *s;
    struct uf_error err;
    int64_t id[2];
    bool blocks = strcmp(what, "block") == 0;
    int rc = uf_cli_number(c, c->operand[0], what, &id[0]);
    if (!rc)
        rc = uf_cli_number(c, c->operand[1], what, &id[1]);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    if (read(s, id[0], id[1], &k, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    uf_store_close(s);
    if (!rc)
        rc = metric_check(c, k);
    if (!rc && uf_cli_option(c, "--json")) {
        rc = print_json(c, k);
    } else if (!rc) {
        fprintf(c->out, "A: %s %lld", what, (long long)id[0]);
        if (blocks)
            fprintf(c->out, ", %zu swings (%zu excluded)", k->a_swings, k->a_excluded);
        fprintf(c->out, "; B: %s %lld", what, (long long)id[1]);
        if (blocks)
            fprintf(c->out, ", %zu swings (%zu excluded)", k->b_swings, k->b_excluded);
        fprintf(c->out, "\n\n");
        rc = print_table(c, k, blocks);
        if (!rc)
            rc = print_sentences(c, k, blocks);
    }
    uf_comparison_free(k);
    return rc;
}

int uf_cli_compare_blocks(struct uf_cli *c)
{
    return compare(c, "block", uf_comparison_blocks);
}

int uf_cli_compare_swings(struct uf_cli *c)
{
    return compare(c, "swing", uf_comparison_swings);
}

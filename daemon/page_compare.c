/* SPDX-License-Identifier: MIT
 * See page_compare.h. Numbers go as the text that the command line prints: the same to the digit.
 */
#include "daemon/page_compare.h"

#include "base/number_text.h"
#include "daemon/feet.h"
#include "daemon/page_live.h"
#include "daemon/page_overlay.h"
#include "daemon/page_query.h"
#include "store/calibrations.h"
#include "store/comparison_words.h"
#include "store/feet.h"
#include "store/swings.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- the table ---- */

static json_t *text_json(double v, const char *unit, bool sign)
{
    char text[48];
    text[0] = '+';
    uf_text_number(v, unit, text + 1, sizeof text - 1);
    return json_string(sign && v > 0 ? text : text + 1);
}

static json_t *spread_json(const struct uf_spread *s, const char *unit)
{
    return json_pack("{s:I, s:o, s:o}", "n", (json_int_t)s->n, "mean",
                     text_json(s->mean, unit, false), "sd", text_json(s->sd, unit, false));
}

static json_t *row_json(const struct uf_comparison_row *r)
{
    int m = r->extra ? -1 : uf_metric_find(r->name);
    const char *meaning = m < 0 ? r->name : uf_metric_row((enum uf_metric)m)->meaning;
    return json_pack(
        "{s:s, s:s, s:s, s:b, s:o, s:o, s:o, s:o, s:o, s:s}", "name", r->name, "meaning", meaning,
        "unit", uf_text_unit(r->unit), "first", uf_comparison_is_first(r), "a",
        spread_json(&r->a, r->unit), "b", spread_json(&r->b, r->unit), "difference",
        text_json(r->difference, r->unit, true), "noise", text_json(r->noise_sd, r->unit, false),
        "needed", text_json(r->needed, r->unit, false), "verdict", uf_verdict_name(r->verdict));
}

/* A sentence an item. */
static json_t *sentences_json(const struct uf_comparison *k, bool blocks)
{
    json_t *a = json_array();
    bool *shown = calloc(k->n, sizeof *shown);
    char *text = NULL, *rest = NULL;
    size_t size = 0;
    FILE *f = shown ? open_memstream(&text, &size) : NULL;
    if (f) {
        for (size_t i = 0; i < k->n; i++)
            shown[i] = uf_comparison_is_first(&k->row[i]);
        uf_comparison_say(k, blocks, shown, true, f);
        fclose(f);
        for (char *line = strtok_r(text, "\n", &rest); line; line = strtok_r(NULL, "\n", &rest))
            json_array_append_new(a, json_string(line));
    }
    free(text);
    free(shown);
    return a;
}

/* ---- the curves ---- */

#define ZERO_TRIGGER UF_EVENTS /* in place of an event: where the swing was noticed */

struct side {
    int64_t id;
    size_t n, of; /* swings that are drawn, of those that count */
    int64_t swing[UF_PAGE_DRAWN_MAX];
    struct uf_swing_row row; /* of the swing at work */
    struct uf_overlay *overlay;
    double top_s; /* mean time of the top from the zero; NAN: not known of all */
    enum uf_hand hand;
    json_t *about, *plates, *feet; /* plates and feet: of the newest swing */
};

static int add_swing(sqlite3_stmt *q, void *who, struct uf_error *err)
{
    struct side *side = who;
    (void)err;
    if (side->of++ < UF_PAGE_DRAWN_MAX)
        side->swing[side->n++] = sqlite3_column_int64(q, 0);
    return UF_OK;
}

static int read_side(struct uf_store *s, bool blocks, int64_t id, struct side *side,
                     struct uf_error *err)
{
    side->id = id;
    side->top_s = NAN;
    int rc = uf_page_row(
        s,
        blocks ? "SELECT block.id AS id, block.kind AS kind, club, ball, block.id AS block,"
                 " session.id AS session, block.started_utc_us AS utc_us, player.name AS player"
                 " FROM block JOIN session ON session.id = session_id"
                 " LEFT JOIN player ON player.id = player_id WHERE block.id = ?1"
               : "SELECT swing.id AS id, block.kind AS kind, club, ball, block.id AS block,"
                 " session.id AS session,"
                 " coalesce(trigger_utc_us, stored_utc_us) AS utc_us, player.name AS player,"
                 " excluded_reason AS excluded"
                 " FROM swing JOIN session ON session.id = swing.session_id"
                 " LEFT JOIN block ON block.id = block_id"
                 " LEFT JOIN player ON player.id = player_id WHERE swing.id = ?1",
        id, blocks ? "block" : "swing", &side->about, err);
    if (rc == UF_OK && !blocks) {
        side->swing[0] = id;
        side->n = side->of = 1;
    } else if (rc == UF_OK) {
        rc = uf_page_each(s,
                          "SELECT id FROM swing WHERE block_id = ?1 AND excluded_reason IS NULL"
                          " ORDER BY id DESC",
                          id, "read the swings of a block", add_swing, side, err);
    }
    return rc;
}

/* The moment that all drawn swings have: impact, else the top, else where each was noticed. */
static int find_zero(struct uf_store *s, struct side side[2], enum uf_event_kind *zero,
                     bool *estimated, struct uf_error *err)
{
    bool impact = true, top = true, estimate[2] = {false, false};
    int rc = UF_OK;
    for (int k = 0; k < 2; k++)
        for (size_t i = 0; rc == UF_OK && i < side[k].n; i++) {
            rc = uf_store_swing_row(s, side[k].swing[i], &side[k].row, err);
            const struct uf_event *e = side[k].row.derived.event;
            impact = impact && e[UF_EVENT_IMPACT].source && isfinite(e[UF_EVENT_IMPACT].t_s);
            top = top && e[UF_EVENT_TOP].source && isfinite(e[UF_EVENT_TOP].t_s);
            estimate[0] |= e[UF_EVENT_IMPACT].source == UF_SOURCE_ESTIMATE;
            estimate[1] |= e[UF_EVENT_TOP].source == UF_SOURCE_ESTIMATE;
        }
    *zero = impact ? UF_EVENT_IMPACT : top ? UF_EVENT_TOP : ZERO_TRIGGER;
    *estimated = impact ? estimate[0] : top && estimate[1];
    return rc;
}

static int draw_swing(struct uf_store *s, int64_t id, enum uf_event_kind zero, struct side *side,
                      double *top_s, struct uf_error *err)
{
    struct uf_rig rig;
    struct uf_feet feet;
    struct uf_calibration *calibration = calloc(1, sizeof *calibration);
    struct uf_capture *capture = NULL;
    struct uf_analysis *analysis = NULL;
    struct uf_swing_row *row = &side->row;
    int rc = calibration ? uf_store_swing_row(s, id, row, err)
                         : uf_fail(err, UF_ENOMEM, "no memory to compare");
    if (rc == UF_OK)
        rc = uf_store_rig_get(s, row->rig_id, &rig, err);
    if (rc == UF_OK)
        rc = uf_store_calibration_get(s, row->calibration_id, &rig, calibration, err);
    if (rc == UF_OK)
        rc = uf_store_capture(s, id, &capture, err);
    if (rc == UF_OK && !side->feet)
        rc = uf_store_feet(s, row->rocking_id, row->hand, &feet, NULL, err);
    if (rc == UF_OK)
        rc = uf_analyse(capture, &rig, calibration, &row->settings, &analysis, err);
    if (rc == UF_OK) {
        const struct uf_event *e = row->derived.event;
        double zero_s = zero == ZERO_TRIGGER
                            ? 1e-6 * (double)(capture->trigger_dev_us - capture->start_dev_us)
                            : e[zero].t_s;
        uf_overlay_add(side->overlay, &analysis->curves, zero_s);
        *top_s += e[UF_EVENT_TOP].source ? e[UF_EVENT_TOP].t_s - zero_s : (double)NAN;
        side->hand = row->hand;
        if (!side->plates) {
            side->plates = uf_page_plates_json(&rig);
            side->feet = uf_feet_json(&feet);
        }
    }
    uf_analysis_free(analysis);
    uf_capture_free(capture);
    free(calibration);
    return rc;
}

static int draw_side(struct uf_store *s, enum uf_event_kind zero, struct side *side,
                     struct uf_error *err)
{
    double top_s = 0;
    int rc = UF_OK;
    side->overlay = uf_overlay_new();
    if (!side->overlay)
        return uf_fail(err, UF_ENOMEM, "no memory to compare");
    for (size_t i = 0; rc == UF_OK && i < side->n; i++)
        rc = draw_swing(s, side->swing[i], zero, side, &top_s, err);
    side->top_s = side->n ? top_s / (double)side->n : (double)NAN;
    return rc;
}

static json_t *points_json(const double *y)
{
    json_t *a = json_array();
    for (size_t i = 0; i < UF_OVERLAY_POINTS; i++)
        json_array_append_new(a, uf_page_number(y[i]));
    return a;
}

static json_t *side_json(const struct side *side, size_t swings, size_t excluded)
{
    json_t *curves = json_object(), *spread = json_object();
    double mean[UF_OVERLAY_POINTS], sd[UF_OVERLAY_POINTS];
    for (size_t k = 0; side->overlay && k < UF_OVERLAY_CURVES; k++) {
        uf_overlay_get(side->overlay, k, mean, sd);
        json_object_set_new(curves, uf_overlay_name(k), points_json(mean));
        if (side->n > 1)
            json_object_set_new(spread, uf_overlay_name(k), points_json(sd));
    }
    json_t *o = json_copy(side->about);
    json_object_set_new(o, "swings", json_integer((json_int_t)swings));
    json_object_set_new(o, "not_counted", json_integer((json_int_t)excluded));
    json_object_set_new(o, "drawn", json_integer((json_int_t)side->n));
    json_object_set_new(o, "hand", json_string(side->hand == UF_LEFT_HANDED ? "left" : "right"));
    json_object_set_new(o, "top_s", uf_page_number(side->top_s));
    json_object_set(o, "plates", side->plates ? side->plates : json_null());
    json_object_set(o, "feet", side->feet ? side->feet : json_null());
    json_object_set_new(o, "curves", curves);
    json_object_set_new(o, "spread", spread);
    return o;
}

/* ---- both ---- */

static json_t *compare_json(const struct uf_comparison *k, bool blocks, const struct side side[2],
                            enum uf_event_kind zero, bool estimated, const char *problem)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < k->n; i++)
        json_array_append_new(rows, row_json(&k->row[i]));
    return json_pack("{s:s, s:s, s:o, s:o, s:s, s:b, s:f, s:f, s:s?, s:o, s:o}", "type", "compare",
                     "what", blocks ? "blocks" : "swings", "a",
                     side_json(&side[0], k->a_swings, k->a_excluded), "b",
                     side_json(&side[1], k->b_swings, k->b_excluded), "zero",
                     zero == ZERO_TRIGGER ? "trigger" : uf_event_name(zero), "estimated", estimated,
                     "from_s", UF_OVERLAY_FROM_S, "step_s", UF_OVERLAY_STEP_S, "curves_problem",
                     problem, "rows", rows, "sentences", sentences_json(k, blocks));
}

int uf_page_read_compare(const char *database, bool blocks, int64_t a, int64_t b, json_t **out,
                         struct uf_error *err)
{
    struct uf_store *s = NULL;
    struct uf_comparison *k = NULL;
    struct uf_error why = {0};
    struct side *side = calloc(2, sizeof *side);
    enum uf_event_kind zero = ZERO_TRIGGER;
    bool estimated = false;
    *out = NULL;
    if (!side)
        return uf_fail(err, UF_ENOMEM, "no memory to compare");
    int rc = uf_store_open(&s, database, UF_STORE_READ, err);
    if (rc == UF_OK)
        rc = blocks ? uf_comparison_blocks(s, a, b, &k, err)
                    : uf_comparison_swings(s, a, b, &k, err);
    if (rc == UF_OK)
        rc = read_side(s, blocks, a, &side[0], err);
    if (rc == UF_OK)
        rc = read_side(s, blocks, b, &side[1], err);
    if (rc == UF_OK)
        rc = find_zero(s, side, &zero, &estimated, err);
    int drawn = rc; /* the numbers are worth showing without the curves */
    for (int i = 0; drawn == UF_OK && i < 2; i++)
        drawn = draw_side(s, zero, &side[i], &why);
    if (rc == UF_OK)
        *out = compare_json(k, blocks, side, zero, estimated, drawn ? why.text : NULL);
    if (rc == UF_OK && !*out)
        rc = uf_fail(err, UF_ENOMEM, "no memory to compare");
    for (int i = 0; i < 2; i++) {
        uf_overlay_free(side[i].overlay);
        json_decref(side[i].about);
        json_decref(side[i].plates);
        json_decref(side[i].feet);
    }
    uf_comparison_free(k);
    uf_store_close(s);
    free(side);
    return rc;
}

/* SPDX-License-Identifier: MIT
 * Swings from the database to the page: see page_read.h. Curves are made again from the raw counts,
 * with the calibration and the settings of the swing's current derivation. */
#include "daemon/page_read.h"

#include "daemon/feet.h"
#include "daemon/page_live.h"
#include "daemon/page_query.h"
#include "store/calibrations.h"
#include "store/feet.h"
#include "store/swings.h"
#include "swing/targets.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static json_t *number(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

/* ---- one swing ---- */

static json_t *curve_json(const double *y, size_t n, size_t step)
{
    json_t *a = json_array();
    for (size_t i = 0; i < n; i += step)
        json_array_append_new(a, number(y ? y[i] : (double)NAN));
    return a;
}

static json_t *curves_json(const struct uf_curves *c)
{
    const struct {
        const char *name;
        const double *y;
    } rows[] = {
        {"lead_vertical_n", c->vertical_n[UF_LEAD]},
        {"trail_vertical_n", c->vertical_n[UF_TRAIL]},
        {"total_vertical_n", c->total_vertical_n},
        {"lead_target_n", c->target_n[UF_LEAD]},
        {"trail_target_n", c->target_n[UF_TRAIL]},
        {"total_target_n", c->total_target_n},
        {"lead_toe_n", c->toe_n[UF_LEAD]},
        {"trail_toe_n", c->toe_n[UF_TRAIL]},
        {"total_toe_n", c->total_toe_n},
        {"turn_nm", c->turn_nm},
        {"turn_from_toe_nm", c->turn_from_toe_nm},
        {"turn_from_target_nm", c->turn_from_target_nm},
        {"turn_from_free_nm", c->turn_from_free_nm},
        {"trail_share_pct", c->trail_share_pct},
        {"lead_cop_target_mm", c->cop_target_mm[UF_LEAD]},
        {"lead_cop_toe_mm", c->cop_toe_mm[UF_LEAD]},
        {"trail_cop_target_mm", c->cop_target_mm[UF_TRAIL]},
        {"trail_cop_toe_mm", c->cop_toe_mm[UF_TRAIL]},
        {"net_target_mm", c->net_target_mm},
        {"net_toe_mm", c->net_toe_mm},
    };
    size_t step = (size_t)ceil(c->rate_hz / UF_PAGE_CURVE_HZ);
    if (c->n / step > UF_PAGE_CURVE_POINTS)
        step = c->n / UF_PAGE_CURVE_POINTS + 1;
    json_t *o = json_object();
    json_object_set_new(o, "step_s", json_real((double)step / c->rate_hz));
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        json_object_set_new(o, rows[i].name, curve_json(rows[i].y, c->n, step));
    return o;
}

static json_t *metrics_json(const struct uf_derived *d)
{
    json_t *a = json_array();
    for (int m = 0; m < UF_METRICS; m++) {
        const struct uf_metric_row *row = uf_metric_row((enum uf_metric)m);
        const char *why = d->reason[m] ? uf_reason_text(d->reason[m])
                          : isnan(d->value[m])
                              ? "this number is younger than the swing's derivation"
                              : NULL;
        const char *words = strstr(row->name, "_cop_region_") && isfinite(d->value[m])
                                ? uf_region_name((enum uf_region)d->value[m])
                                : NULL;
        json_array_append_new(a, json_pack("{s:s, s:s, s:s, s:o, s:o, s:s?, s:s?}", "name",
                                           row->name, "unit", row->unit, "meaning", row->meaning,
                                           "value", number(d->value[m]), "sd", number(d->sd[m]),
                                           "words", words, "why", why));
    }
    return a;
}

static json_t *events_json(const struct uf_derived *d)
{
    json_t *a = json_array();
    for (int i = 0; i < UF_EVENTS; i++)
        if (d->event[i].source && isfinite(d->event[i].t_s))
            json_array_append_new(a, json_pack("{s:s, s:f, s:o, s:s}", "name",
                                               uf_event_name((enum uf_event_kind)i), "t_s",
                                               d->event[i].t_s, "u_s", number(d->event[i].u_s),
                                               "source", uf_source_name(d->event[i].source)));
    return a;
}

/* UF_EVENTS: there is none of that name. */
static enum uf_event_kind event_named(const char *name)
{
    int i = 0;
    while (i < UF_EVENTS && strcmp(name, uf_event_name((enum uf_event_kind)i)) != 0)
        i++;
    return (enum uf_event_kind)i;
}

/* One window and how the swing's peak lies to it; NULL where the row names what there is not. */
static json_t *target_json(const struct uf_derived *d, sqlite3_stmt *q)
{
    const char *name = uf_store_text(q, 1);
    int metric = uf_metric_find(name);
    struct uf_target t = {.from = event_named(uf_store_text(q, 2)),
                          .to = event_named(uf_store_text(q, 3)),
                          .from_pct = sqlite3_column_double(q, 4),
                          .to_pct = sqlite3_column_double(q, 5),
                          .tolerance_ms = sqlite3_column_double(q, 6)};
    if (metric < 0 || t.from == UF_EVENTS || t.to == UF_EVENTS)
        return NULL;
    struct uf_judgement j;
    uf_target_judge(&t, d->value[metric], d->sd[metric], d->event, &j);
    double from_s = d->event[t.from].t_s, long_s = d->event[t.to].t_s - from_s;
    return json_pack("{s:o, s:s, s:o, s:o, s:s, s:o, s:o, s:b}", "label", uf_store_text_json(q, 0),
                     "metric", name, "from_s", number(from_s + 0.01 * t.from_pct * long_s), "to_s",
                     number(from_s + 0.01 * t.to_pct * long_s), "timing", uf_timing_name(j.timing),
                     "off_ms", number(j.off_ms), "u_ms", number(j.u_ms), "sure", j.sure);
}

static int read_targets(struct uf_store *s, const struct uf_derived *d, json_t *out,
                        struct uf_error *err)
{
    sqlite3_stmt *q = NULL;
    int rc = sqlite3_prepare_v2(uf_store_db(s),
                                "SELECT label, metric, from_event, to_event, from_pct, to_pct,"
                                " tolerance_ms FROM target WHERE active = 1 ORDER BY id",
                                -1, &q, NULL);
    while (rc == SQLITE_OK && (rc = sqlite3_step(q)) == SQLITE_ROW) {
        json_t *target = target_json(d, q);
        if (target)
            json_array_append_new(out, target);
        rc = SQLITE_OK;
    }
    sqlite3_finalize(q);
    return rc == SQLITE_DONE
               ? UF_OK
               : uf_fail(err, UF_EIO, "the windows of table target cannot be read: %s",
                         sqlite3_errmsg(uf_store_db(s)));
}

static json_t *flags_json(uint32_t flags)
{
    json_t *a = json_array();
    for (int bit = 0; bit < UF_FLAGS; bit++)
        if (flags & (1u << bit))
            json_array_append_new(a, json_string(uf_flag_name(bit)));
    return a;
}

/* What one swing is made of. */
struct parts {
    struct uf_swing_row row;
    struct uf_rig rig;
    struct uf_calibration calibration;
    struct uf_capture *capture;
    struct uf_analysis *analysis;
    json_t *targets;
    struct uf_feet feet; /* not known: no pose */
};

static json_t *swing_json(const struct parts *p)
{
    const struct uf_swing_row *row = &p->row;
    const char *hand = row->hand == UF_LEFT_HANDED ? "left" : "right";
    return json_pack(
        "{s:s, s:I, s:I, s:s, s:s, s:b, s:I, s:f, s:f, s:o, s:o, s:o, s:O, s:o, s:o, s:o, s:o}",
        "type", "swing", "id", (json_int_t)row->id, "utc_us",
        (json_int_t)(row->trigger_utc_us ? row->trigger_utc_us : row->stored_utc_us), "hand", hand,
        "calibration", row->calibration, "nominal", row->calibration_id == 0, "rate_hz",
        (json_int_t)row->rate_hz, "duration_s", 1e-6 * (double)row->duration_us, "trigger_s",
        1e-6 * (double)(p->capture->trigger_dev_us - p->capture->start_dev_us), "weight_n",
        number(p->analysis->curves.weight_n), "events", events_json(&row->derived), "flags",
        flags_json(row->derived.flags), "targets", p->targets, "plates",
        uf_page_plates_json(&p->rig), "curves", curves_json(&p->analysis->curves), "metrics",
        metrics_json(&row->derived), "feet", uf_feet_json(&p->feet));
}

static int read_parts(struct uf_store *s, int64_t id, struct parts *p, struct uf_error *err)
{
    int rc = uf_store_swing_row(s, id, &p->row, err);
    if (rc == 0)
        rc = uf_store_rig_get(s, p->row.rig_id, &p->rig, err);
    if (rc == 0)
        rc = uf_store_calibration_get(s, p->row.calibration_id, &p->rig, &p->calibration, err);
    if (rc == 0)
        rc = uf_store_capture(s, id, &p->capture, err);
    if (rc == 0)
        rc = uf_store_feet(s, p->row.rocking_id, p->row.hand, &p->feet, NULL, err);
    if (rc == 0)
        rc = uf_analyse(p->capture, &p->rig, &p->calibration, &p->row.settings, &p->analysis, err);
    return rc;
}

static int newest(struct uf_store *s, int64_t *id, struct uf_error *err)
{
    int64_t *ids = NULL;
    size_t n = 0;
    int rc = uf_store_swing_ids(s, 1, INT64_MIN, &ids, &n, err);
    if (rc == 0 && n == 0)
        rc = uf_fail(err, UF_ENOTFOUND, "no swing is stored yet");
    if (rc == 0)
        *id = ids[0];
    free(ids);
    return rc;
}

int uf_page_read_swing(const char *database, int64_t id, json_t **out, struct uf_error *err)
{
    struct uf_store *s = NULL;
    struct parts *p = calloc(1, sizeof *p);
    *out = NULL;
    if (!p)
        return uf_fail(err, UF_ENOMEM, "no memory to read a swing");
    p->targets = json_array();
    int rc = uf_page_open(&s, database, err);
    if (rc == 0 && id == 0)
        rc = newest(s, &id, err);
    if (rc == 0)
        rc = read_parts(s, id, p, err);
    if (rc == 0)
        rc = read_targets(s, &p->row.derived, p->targets, err);
    if (rc == 0 && !(*out = swing_json(p)))
        rc = uf_fail(err, UF_ENOMEM, "no memory to read a swing");
    json_decref(p->targets);
    uf_analysis_free(p->analysis);
    uf_capture_free(p->capture);
    uf_store_close(s);
    free(p);
    return rc;
}

/* ---- the list ---- */

/* Columns of the view that the list shows: the page's table has one column each. */
static const enum uf_metric listed[] = {
    UF_M_trail_share_max_pct,   UF_M_total_vertical_peak_bw,
    UF_M_lead_vertical_peak_bw, UF_M_lead_vertical_peak_to_impact_ms,
    UF_M_target_peak_bw,        UF_M_turn_peak_nm,
};

int uf_page_read_list(const char *database, json_t **out, struct uf_error *err)
{
    struct uf_store *s = NULL;
    struct uf_swing_row *row = malloc(sizeof *row);
    int64_t *ids = NULL;
    size_t n = 0;
    *out = NULL;
    if (!row)
        return uf_fail(err, UF_ENOMEM, "no memory to list the swings");
    json_t *rows = json_array(), *columns = json_array();
    for (size_t i = 0; i < sizeof listed / sizeof listed[0]; i++) {
        const struct uf_metric_row *m = uf_metric_row(listed[i]);
        json_array_append_new(columns, json_pack("{s:s, s:s, s:s}", "name", m->name, "unit",
                                                 m->unit, "meaning", m->meaning));
    }
    int rc = uf_page_open(&s, database, err);
    if (rc == 0)
        rc = uf_store_swing_ids(s, UF_PAGE_LIST_MAX, INT64_MIN, &ids, &n, err);
    for (size_t i = n; rc == 0 && i-- > 0;) {
        rc = uf_store_swing_row(s, ids[i], row, err);
        if (rc)
            break;
        json_t *values = json_array();
        for (size_t k = 0; k < sizeof listed / sizeof listed[0]; k++)
            json_array_append_new(values, number(row->derived.value[listed[k]]));
        json_array_append_new(
            rows,
            json_pack("{s:I, s:I, s:I, s:s, s:b, s:o}", "id", (json_int_t)row->id, "session",
                      (json_int_t)row->session_id, "utc_us",
                      (json_int_t)(row->trigger_utc_us ? row->trigger_utc_us : row->stored_utc_us),
                      "hand", row->hand == UF_LEFT_HANDED ? "left" : "right", "flagged",
                      row->derived.flags != 0, "values", values));
    }
    if (rc == 0)
        *out = json_pack("{s:s, s:O, s:O}", "type", "swings", "columns", columns, "rows", rows);
    if (rc == 0 && !*out)
        rc = uf_fail(err, UF_ENOMEM, "no memory to list the swings");
    json_decref(columns);
    json_decref(rows);
    free(ids);
    free(row);
    uf_store_close(s);
    return rc;
}

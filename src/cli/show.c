/* SPDX-License-Identifier: MIT
 * See show.h. */
#include "cli/show.h"

#include "cli/text.h"

#include <math.h>
#include <string.h>

void uf_show_flags(uint32_t flags, char *text, size_t size)
{
    size_t n = 0;
    text[0] = '\0';
    for (int bit = 0; bit < UF_FLAGS; bit++)
        if (flags & (1u << bit) && n < size)
            n += (size_t)snprintf(text + n, size - n, "%s%s", n ? ", " : "", uf_flag_name(bit));
}

int64_t uf_show_time_us(const struct uf_swing_row *row)
{
    return row->trigger_utc_us ? row->trigger_utc_us : row->stored_utc_us;
}

/* json_real takes no NAN: null is what it means. */
static json_t *real(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

static json_t *time_json(int64_t utc_us)
{
    char text[48];
    if (!utc_us)
        return json_null();
    uf_text_utc(utc_us, text, sizeof text);
    return json_string(text);
}

static const char *hand_word(enum uf_hand hand)
{
    return hand == UF_LEFT_HANDED ? "left" : "right";
}

static json_t *events_json(const struct uf_derived *d)
{
    json_t *events = json_object();
    for (int i = 0; i < UF_EVENTS; i++) {
        const struct uf_event *e = &d->event[i];
        json_object_set_new(events, uf_event_name((enum uf_event_kind)i),
                            e->source ? json_pack("{s:o, s:o, s:s}", "t_s", real(e->t_s), "u_s",
                                                  real(e->u_s), "source", uf_source_name(e->source))
                                      : json_null());
    }
    return events;
}

json_t *uf_show_swing(const struct uf_swing_row *row)
{
    const struct uf_derived *d = &row->derived;
    json_t *metrics = json_object(), *missing = json_object(), *flags = json_array();
    json_t *sd = json_object();
    for (int i = 0; i < UF_METRICS; i++) {
        const char *name = uf_metric_row((enum uf_metric)i)->name;
        json_object_set_new(metrics, name, real(d->value[i]));
        if (!isnan(d->sd[i]))
            json_object_set_new(sd, name, json_real(d->sd[i]));
        if (d->reason[i])
            json_object_set_new(missing, name,
                                json_pack("{s:s, s:s}", "reason", uf_reason_code(d->reason[i]),
                                          "text", uf_reason_text(d->reason[i])));
    }
    for (int bit = 0; bit < UF_FLAGS; bit++)
        if (d->flags & (1u << bit))
            json_array_append_new(flags, json_string(uf_flag_name(bit)));
    json_t *derivation = json_pack(
        "{s:s, s:I, s:I, s:f, s:i, s:f, s:o}", "calibration", row->calibration, "calibration_id",
        (json_int_t)row->calibration_id, "algorithm", (json_int_t)row->algorithm, "cutoff_hz",
        row->settings.cutoff_hz, "filter_order", row->settings.order, "cop_min_n",
        row->settings.cop_min_n, "made_utc", time_json(row->made_utc_us));
    return json_pack(
        "{s:I, s:s, s:I, s:o, s:o, s:o, s:s, s:s, s:b, s:I, s:I, s:I, s:f, s:s, s:I, s:o, s:o, s:o,"
        " s:o, s:o, s:o}",
        "id", (json_int_t)row->id, "uuid", row->uuid, "session", (json_int_t)row->session_id,
        "trigger_utc", time_json(row->trigger_utc_us), "stored_utc", time_json(row->stored_utc_us),
        "clock_drift_ppm", real(row->clock_drift_ppm), "hand", hand_word(row->hand), "shape_hand",
        hand_word(row->shape_hand), "ended_still", row->ended_still, "samples",
        (json_int_t)row->samples, "channels", (json_int_t)row->channels, "rate_hz",
        (json_int_t)row->rate_hz, "duration_s", 1e-6 * (double)row->duration_us, "board_id",
        row->board_id, "firmware", (json_int_t)row->firmware, "flags", flags, "events",
        events_json(d), "metrics", metrics, "metrics_sd", sd, "missing", missing, "derivation",
        derivation);
}

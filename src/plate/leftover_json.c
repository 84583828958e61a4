/* SPDX-License-Identifier: MIT
 * What no load can make, as JSON: see leftover.h. */
#include "plate/leftover.h"

#include <math.h>
#include <string.h>

static json_t *list(const double *v, int n)
{
    json_t *out = json_array();
    for (int i = 0; i < n; i++)
        if (json_array_append_new(out, isfinite(v[i]) ? json_real(v[i]) : json_null()) != 0) {
            json_decref(out);
            return NULL;
        }
    return out;
}

/* ways: rows of combinations that loads make, orthonormal, channels in data-sheet newtons. */
json_t *uf_leftover_to_json(const struct uf_leftover *l)
{
    json_t *out = json_object(), *ways = json_array();
    int failed = 0;
    for (int w = 0; w < l->ways; w++)
        failed |= json_array_append_new(ways, list(l->way[w], l->channels));
    failed |= json_object_set_new(out, "n_per_count", list(l->n_per_count, l->channels));
    failed |= json_object_set_new(out, "ways", ways);
    failed |= json_object_set_new(
        out, "reading_pct", isfinite(l->reading_pct) ? json_real(l->reading_pct) : json_null());
    failed |= json_object_set_new(out, "noise_n", json_real(l->noise_n));
    failed |= json_object_set_new(out, "curve", list(l->curve, l->channels));
    failed |= json_object_set_new(out, "read_n", json_real(l->read_n));
    if (!failed)
        return out;
    json_decref(out);
    return NULL;
}

static bool read_list(const json_t *json, double *out, int n)
{
    if (!json_is_array(json) || json_array_size(json) != (size_t)n)
        return false;
    for (int i = 0; i < n; i++) {
        if (!json_is_number(json_array_get(json, (size_t)i)))
            return false;
        out[i] = json_number_value(json_array_get(json, (size_t)i));
    }
    return true;
}

bool uf_leftover_from_json(const json_t *entry, const struct uf_plate *plate,
                           struct uf_leftover *out)
{
    const json_t *json = json_object_get(entry, "leftover"), *ways = json_object_get(json, "ways");
    const json_t *reading = json_object_get(json, "reading_pct");
    double channel[UF_CHANNELS_MAX];
    memset(out, 0, sizeof *out);
    out->channels = uf_plate_channels(plate, out->channel);
    if (!read_list(json_object_get(entry, "channels"), channel, out->channels) ||
        !read_list(json_object_get(json, "n_per_count"), out->n_per_count, out->channels) ||
        json_array_size(ways) > UF_COMPONENTS ||
        !(json_is_number(reading) || json_is_null(reading)))
        return false;
    for (int j = 0; j < out->channels; j++)
        if (channel[j] != out->channel[j])
            return false;
    const json_t *curve = json_object_get(json, "curve"); /* older ones have none */
    if (curve && !read_list(curve, out->curve, out->channels))
        return false;
    out->ways = (int)json_array_size(ways);
    for (int w = 0; w < out->ways; w++)
        if (!read_list(json_array_get(ways, (size_t)w), out->way[w], out->channels))
            return false;
    out->reading_pct = json_is_null(reading) ? NAN : json_number_value(reading);
    out->noise_n = json_number_value(json_object_get(json, "noise_n"));
    out->read_n = json_number_value(json_object_get(json, "read_n")); /* older ones have none: 0 */
    return true;
}

void uf_leftover_all(const json_t *provenance, const struct uf_rig *rig, struct uf_leftover *out,
                     bool *known)
{
    size_t i;
    json_t *entry;
    for (int p = 0; p < rig->plates; p++)
        known[p] = false;
    json_array_foreach(json_object_get(provenance, "plates"), i, entry)
    {
        const char *name = json_string_value(json_object_get(entry, "plate"));
        for (int p = 0; name && p < rig->plates; p++)
            if (!strcmp(name, uf_place_name(rig->plate[p].place)))
                known[p] = uf_leftover_from_json(entry, &rig->plate[p], &out[p]);
    }
}

/* SPDX-License-Identifier: MIT
 * Any bytes as the provenance of a calibration, in which "leftover" and "error_patterns" stand:
 * what is taken fits the plate, written out reads back to the same, and what it says of some counts
 * or of the matrix is a number or not there. */
#include "fuzz.h"

#include "plate/matrix_error.h"

#include <math.h>

static void look(const struct uf_plate *plate, const struct uf_leftover *l)
{
    int channel[UF_CHANNELS_MAX];
    REQUIRE(l->channels == uf_plate_channels(plate, channel) && l->ways >= 0 &&
            l->ways <= UF_COMPONENTS);
    double above_raw[UF_CHANNELS_MAX], rms_n, expected_n;
    for (int i = 0; i < UF_CHANNELS_MAX; i++)
        above_raw[i] = 1000 * i - 7;
    uf_leftover_of(l, above_raw, &rms_n, &expected_n);
    REQUIRE(isnan(rms_n) || rms_n >= 0);

    json_t *channels = json_array(), *entry = json_object();
    for (int i = 0; i < l->channels; i++)
        json_array_append_new(channels, json_integer(l->channel[i]));
    json_object_set_new(entry, "channels", channels);
    json_object_set_new(entry, "leftover", uf_leftover_to_json(l));
    char *text = json_dumps(entry, JSON_REAL_PRECISION(17));
    json_decref(entry);
    entry = json_loads(text, 0, NULL);
    struct uf_leftover back;
    REQUIRE(entry && uf_leftover_from_json(entry, plate, &back));
    REQUIRE(!memcmp(&back, l, sizeof back));
    json_decref(entry);
    free(text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct uf_rig rig;
    struct uf_leftover l[UF_PLATES_MAX];
    bool known[UF_PLATES_MAX];
    uf_rig_example(&rig);
    json_t *json = json_loadb((const char *)data, size, JSON_DECODE_ANY, NULL);
    if (!json)
        return 0;
    memset(l, 0, sizeof l);
    uf_leftover_all(json, &rig, l, known);
    for (int p = 0; p < rig.plates; p++)
        if (known[p])
            look(&rig.plate[p], &l[p]);
    struct uf_calibration cal;
    uf_calibration_nominal(&rig, &cal);
    uf_matrix_error_all(json, &rig, &cal);
    for (int p = 0; p < rig.plates; p++) {
        const struct uf_matrix_error *e = &cal.error[p];
        REQUIRE(e->patterns >= 0 && e->patterns <= UF_MATRIX_PATTERNS);
        for (int i = 0; i < e->patterns * UF_COMPONENTS * UF_COMPONENTS; i++)
            REQUIRE(isfinite((&e->pattern[0][0][0])[i]));
    }
    json_decref(json);
    return 0;
}

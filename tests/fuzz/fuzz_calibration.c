/* SPDX-License-Identifier: MIT
 * Any bytes as the JSON of a calibration, for the example pair and for one small plate: what is
 * refused leaves the calibration in force untouched and has a sentence; what is accepted is of
 * finite numbers, and written out reads back to the same bits. */
#include "fuzz.h"

#include "plate/calibration.h"

#include <math.h>

static void require_finite(const struct uf_rig *rig, const struct uf_calibration *cal)
{
    REQUIRE(cal->plates == rig->plates && memchr(cal->name, 0, sizeof cal->name) &&
            memchr(cal->uuid, 0, sizeof cal->uuid));
    for (int p = 0; p < cal->plates; p++)
        for (int r = 0; r < UF_COMPONENTS; r++)
            for (int ch = 0; ch < UF_CHANNELS_MAX; ch++)
                REQUIRE(isfinite(cal->plate[p].c[r][ch]) &&
                        (cal->plate[p].known[r] || cal->plate[p].c[r][ch] == 0));
}

static void look(const struct uf_rig *rig, const json_t *json)
{
    struct uf_calibration before, cal, back;
    struct uf_error err = {0};
    uf_calibration_nominal(rig, &before);
    cal = before;
    int rc = uf_calibration_from_json(rig, json, &cal, &err);
    if (rc) {
        require_refusal(rc, &err);
        REQUIRE(!memcmp(&cal, &before, sizeof cal));
        return;
    }
    require_finite(rig, &cal);
    if (uf_calibration_plausible(rig, &cal, &err))
        require_plain(err.text);
    json_t *out = uf_calibration_to_json(rig, &cal);
    char *text = json_dumps(out, JSON_REAL_PRECISION(17));
    json_t *again = json_loads(text, 0, NULL);
    REQUIRE(again && uf_calibration_from_json(rig, again, &back, &err) == UF_OK);
    REQUIRE(!memcmp(&back, &cal, sizeof cal));
    json_decref(again);
    free(text);
    json_decref(out);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct uf_rig pair, one;
    uf_rig_example(&pair);
    one = pair;
    one.plates = 1;
    one.plate[0].place = UF_PLACE_SINGLE;
    one.plate[0].centre_x_mm = 0;
    one.plate[0].cell[3].channel[0] = -1;
    one.plate[0].cell[3].n_per_count[0] = 0;
    REQUIRE(uf_rig_check(&one, NULL) == UF_OK);
    json_t *json =
        json_loadb((const char *)data, size, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, NULL);
    if (!json)
        return 0;
    look(&pair, json);
    look(&one, json);
    json_decref(json);
    return 0;
}

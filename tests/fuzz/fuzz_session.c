/* SPDX-License-Identifier: MIT
 * Any bytes as the file of a calibration session. What is refused has a sentence that names the
 * file, and leaves nothing; what is accepted can be named, written and read again load by load, and
 * solved: every number that comes out is finite or known not to be there. */
#include "fuzz.h"

#include "calib/session.h"

#include <math.h>
#include <stdio.h>

#define SOLVED_MAX 12 /* captured loads: beyond it one run takes too long */

static void look_load(const struct uf_document *d, const struct uf_rig *rig, int i)
{
    char name[200];
    double t_s[UF_CREEP_MAX];
    static double raw[UF_CREEP_MAX][UF_CHANNELS_MAX];
    struct uf_error err = {0};
    int n = 0;
    const struct uf_load *l = &d->reading[i].load;
    REQUIRE(l->plate >= 0 && l->plate < rig->plates && l->pieces >= 1);
    uf_document_name_load(d, rig, i, name, sizeof name);
    json_t *json = uf_document_load(rig, &d->setup, l, d->reading[i].series);
    REQUIRE(json);
    json_decref(json);
    if (uf_document_creep(d, rig, i, t_s, raw, UF_CREEP_MAX, &n, &err))
        require_plain(err.text);
    REQUIRE(n >= 0 && n <= UF_CREEP_MAX);
}

static void look_solved(const struct uf_document *d, const struct uf_rig *rig)
{
    struct uf_session s;
    struct uf_error err = {0};
    struct uf_calibration nominal, cal;
    memset(&s, 0, sizeof s);
    int rc = uf_session_solve(&s, rig, d, &err);
    if (rc) {
        require_refusal(rc, &err);
        uf_session_free(&s);
        return;
    }
    uf_calibration_nominal(rig, &nominal);
    uf_session_calibration(&s, &nominal, &cal);
    for (int p = 0; p < rig->plates; p++)
        for (int r = 0; r < UF_COMPONENTS; r++)
            for (int ch = 0; ch < UF_CHANNELS_MAX; ch++)
                REQUIRE(!cal.plate[p].known[r] || isfinite(cal.plate[p].c[r][ch]));
    json_t *from = uf_session_provenance(&s, "data sheet", NULL, 1);
    REQUIRE(from);
    json_decref(from);
    FILE *out = fopen("/dev/null", "w");
    REQUIRE(out);
    uf_session_print(&s, out);
    fclose(out);
    uf_session_free(&s);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct uf_rig rig;
    struct uf_document d;
    struct uf_error err = {0};
    uf_rig_example(&rig);
    json_t *json = json_loadb((const char *)data, size, JSON_REJECT_DUPLICATES, NULL);
    if (!json)
        return 0;
    int rc = uf_document_from_json(&d, json, "loads.json", &rig, &err);
    if (rc) {
        require_refusal(rc, &err);
        REQUIRE(!strncmp(err.text, "loads.json", 10) && !d.json && !d.reading);
        return 0;
    }
    int captured = 0;
    for (int i = 0; i < d.n; i++) {
        look_load(&d, &rig, i);
        captured += d.captured[i];
    }
    if (captured <= SOLVED_MAX)
        look_solved(&d, &rig);
    uf_document_free(&d);
    return 0;
}

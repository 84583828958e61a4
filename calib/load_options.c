/* SPDX-License-Identifier: MIT
 * Weights and gravity on the command line, as the session file has them: see command.h. */
#include "calib/command.h"
#include "calib/load.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One "name:kg:class" or "name:kg:tolerance in kg". */
static int parse_weight(const char *text, size_t n, struct uf_weight *out, json_t *list,
                        struct uf_error *err)
{
    char piece[96], *colon[2], *end = NULL;
    struct uf_error inner = {0, ""};
    snprintf(piece, sizeof piece, "%.*s", (int)(n < sizeof piece ? n : sizeof piece - 1), text);
    colon[0] = strchr(piece, ':');
    colon[1] = colon[0] ? strchr(colon[0] + 1, ':') : NULL;
    if (!colon[1] || colon[0] == piece || colon[0] - piece >= (ptrdiff_t)sizeof out->name)
        return uf_fail(err, UF_EINVAL,
                       "--weights: \"%.60s\" is not NAME:KG:CLASS or NAME:KG:TOLERANCE_KG, as in "
                       "A:20:M1,B:10:0.005",
                       piece);
    *colon[0] = *colon[1] = '\0';
    memset(out, 0, sizeof *out);
    strcpy(out->name, piece);
    out->mass_kg = strtod(colon[0] + 1, &end);
    if (end == colon[0] + 1 || *end)
        return uf_fail(err, UF_EINVAL, "--weights: the mass of \"%s\" is not a number: \"%.30s\"",
                       out->name, colon[0] + 1);
    out->tolerance_kg = strtod(colon[1] + 1, &end);
    bool is_class = end == colon[1] + 1 || *end;
    if (is_class)
        out->tolerance_kg = uf_weight_class_tolerance_kg(colon[1] + 1, out->mass_kg);
    if (isnan(out->tolerance_kg))
        return uf_fail(err, UF_EINVAL,
                       "--weights: there is no tolerance of class \"%.10s\" for %g kg (E2 F1 F2 M1 "
                       "M2 M3 of 1, 2, 5, 10, 20, 50 kg): give it in kg",
                       colon[1] + 1, out->mass_kg);
    if (uf_weight_check(out, &inner) != UF_OK)
        return uf_fail(err, UF_EINVAL, "--weights: %.300s", inner.text);
    json_t *json = json_object();
    int failed = json_object_set_new(json, "name", json_string(out->name));
    failed |= json_object_set_new(json, "kg", json_real(out->mass_kg));
    failed |= is_class ? json_object_set_new(json, "class", json_string(colon[1] + 1))
                       : json_object_set_new(json, "tolerance_kg", json_real(out->tolerance_kg));
    failed |= json_array_append_new(list, json);
    return failed ? uf_fail(err, UF_ENOMEM, "no memory for the weights") : UF_OK;
}

int uf_calib_weights(const struct uf_calib_args *args, struct uf_load_setup *setup, json_t *list,
                     struct uf_error *err)
{
    const char *text = args->option[UF_OPT_WEIGHTS];
    if (!text)
        return uf_fail(err, UF_EINVAL,
                       "say which weights there are: --weights A:20:M1,B:20:M1,C:10:0.005 "
                       "(NAME:KG:CLASS or NAME:KG:TOLERANCE_KG)");
    while (*text) {
        size_t n = strcspn(text, ",");
        if (setup->weights == UF_WEIGHTS_MAX)
            return uf_fail(err, UF_EINVAL, "--weights: at most %d pieces", UF_WEIGHTS_MAX);
        int rc = parse_weight(text, n, &setup->weight[setup->weights], list, err);
        if (rc != UF_OK)
            return rc;
        for (int i = 0; i < setup->weights; i++)
            if (!strcmp(setup->weight[i].name, setup->weight[setup->weights].name))
                return uf_fail(err, UF_EINVAL, "--weights: two pieces are named \"%s\"",
                               setup->weight[i].name);
        setup->weights++;
        text += n + (text[n] == ',');
    }
    return UF_OK;
}

int uf_calib_gravity(const struct uf_calib_args *args, json_t **out, struct uf_error *err)
{
    double latitude, height, g;
    *out = NULL;
    int rc = uf_calib_number(args, UF_OPT_LATITUDE, -90, 90, NAN, &latitude, err);
    if (rc == UF_OK)
        rc = uf_calib_number(args, UF_OPT_HEIGHT, -500, 9000, 0, &height, err);
    if (rc == UF_OK)
        rc = uf_calib_number(args, UF_OPT_GRAVITY, 9.7, 9.9, NAN, &g, err);
    if (rc != UF_OK)
        return rc;
    if (isnan(latitude) == isnan(g))
        return uf_fail(err, UF_EINVAL,
                       "say how strong gravity is here: --latitude DEG and --height M, or "
                       "--gravity M_S2 from a survey");
    *out = isnan(latitude) ? json_pack("{s:f}", "g_m_s2", g)
                           : json_pack("{s:f, s:f}", "latitude_deg", latitude, "height_m", height);
    return *out ? UF_OK : uf_fail(err, UF_ENOMEM, "no memory for the loads");
}

/* SPDX-License-Identifier: MIT
 * The command check: a known weight at three places of each plate, or a person of known weight,
 * read by the calibration in force; kept in plate_check, with the trend. */
#include "base/clock.h"
#include "calib/check.h"
#include "calib/walk.h"
#include "store/calibrations.h"

#include <math.h>
#include <string.h>
#include <time.h>

#define TREND_DAYS  10
#define PERSON_N    25  /* how much a person who stands still may sway */
#define PERSON_PCT  0.5 /* and that in percent of his weight */
#define PERSON_S    5
#define PERSON_KG   0.5 /* his scale, his clothes */
#define PERSON_GIVE 1.0 /* percent: limit of the vertical force */

struct check {
    const struct uf_calib_args *args;
    struct uf_config config;
    struct uf_store *store;
    int64_t rig_id, calibration_id;
    struct uf_calibration calibration;
    struct uf_check_limits limits;
    bool person;
    struct uf_document document;
    bool has_leftover[UF_PLATES_MAX];
    struct uf_leftover leftover[UF_PLATES_MAX];
};

/* What no load can make, of the plates that the calibration was solved for. */
static void find_leftovers(struct check *c, const json_t *provenance)
{
    size_t i;
    json_t *entry;
    json_array_foreach(json_object_get(provenance, "plates"), i, entry)
    {
        const char *name = json_string_value(json_object_get(entry, "plate"));
        for (int p = 0; name && p < c->config.rig.plates; p++)
            if (!strcmp(name, uf_place_name(c->config.rig.plate[p].place)))
                c->has_leftover[p] =
                    uf_leftover_from_json(entry, &c->config.rig.plate[p], &c->leftover[p]);
    }
}

/* Gravity of the options, else that of the calibration's session. New reference. */
static int find_gravity(struct check *c, json_t **out, struct uf_error *err)
{
    json_t *provenance = NULL;
    int rc = UF_OK;
    *out = NULL;
    if (c->calibration_id)
        rc = uf_store_calibration_provenance(c->store, c->calibration_id, &provenance, err);
    if (rc != UF_OK)
        return rc;
    find_leftovers(c, provenance);
    if (c->args->option[UF_OPT_LATITUDE] || c->args->option[UF_OPT_GRAVITY])
        rc = uf_calib_gravity(c->args, out, err);
    else
        *out = json_incref(json_object_get(json_object_get(provenance, "session"), "gravity"));
    json_decref(provenance);
    if (rc == UF_OK && !*out)
        rc = uf_fail(err, UF_EINVAL,
                     "say how strong gravity is here: --latitude DEG and --height M, or --gravity "
                     "M_S2 (the calibration in force does not say)");
    return rc;
}

/* The loads of the check as a document. */
static int make_document(struct check *c, struct uf_error *err)
{
    static const double part[3][2] = {{0, 0.5}, {-0.5, -0.5}, {0.5, -0.5}};
    json_t *json = json_object(), *weights = NULL, *gravity = NULL, *loads = json_array();
    const char *plate = c->args->option[UF_OPT_PLATE];
    struct uf_load_setup setup = {.weights = 0};
    double kg;
    int failed = 0, n = 0;
    int rc = find_gravity(c, &gravity, err);
    if (rc == UF_OK && c->person) {
        rc = uf_calib_number(c->args, UF_OPT_PERSON, 20, 250, 0, &kg, err);
        if (rc == UF_OK) {
            setup.weights = 1;
            setup.weight[0] = (struct uf_weight){"you", kg, PERSON_KG};
            weights =
                json_pack("[{s:s, s:f, s:f}]", "name", "you", "kg", kg, "tolerance_kg", PERSON_KG);
        }
    } else if (rc == UF_OK) {
        weights = json_array();
        rc = uf_calib_weights(c->args, &setup, weights, err);
    }
    for (int p = 0; p < c->config.rig.plates && rc == UF_OK; p++) {
        const struct uf_plate *described = &c->config.rig.plate[p];
        if (plate && strcmp(plate, uf_place_name(described->place)) != 0)
            continue;
        for (int i = 0; i < (c->person ? 1 : 3); i++, n++) {
            struct uf_load l = {.plate = p, .pieces = setup.weights};
            for (int k = 0; k < l.pieces && k < UF_PIECES_MAX; k++)
                l.piece[k] = k;
            l.x_mm = c->person ? 0 : round(part[i][0] * described->size_x_mm / 2);
            l.y_mm = c->person ? 0 : round(part[i][1] * described->size_y_mm / 2);
            failed |= json_array_append_new(
                loads, uf_document_load(&c->config.rig, &setup, &l, UF_SERIES_ONCE));
        }
    }
    if (rc == UF_OK && setup.weights > UF_PIECES_MAX)
        rc = uf_fail(err, UF_EINVAL, "a check uses at most %d pieces at once", UF_PIECES_MAX);
    if (rc == UF_OK && n == 0)
        rc = uf_fail(err, UF_EINVAL, "--plate: the rig \"%s\" has no plate \"%.20s\"",
                     c->config.rig.name, plate);
    failed |= json_object_set_new(json, "form", json_string(UF_LOADS_FORM));
    failed |= json_object_set_new(json, "name", json_string("check"));
    failed |= json_object_set_new(json, "gravity", gravity);
    failed |= json_object_set_new(json, "weights", weights);
    failed |= json_object_set_new(json, "loads", loads);
    if (rc == UF_OK && failed)
        rc = uf_fail(err, UF_ENOMEM, "no memory for the check");
    if (rc != UF_OK) {
        json_decref(json);
        return rc;
    }
    return uf_document_from_json(&c->document, json, "check", &c->config.rig, err);
}

/* What was captured, read anew from the JSON that the walk has filled. */
static int judge(struct check *c, FILE *out, int *passed, int *total, struct uf_error *err)
{
    struct uf_document done;
    struct uf_plate_check row[3 * UF_PLATES_MAX];
    json_t *copy = json_deep_copy(c->document.json);
    if (!copy)
        return uf_fail(err, UF_ENOMEM, "no memory for the check");
    int rc = uf_document_from_json(&done, copy, "check", &c->config.rig, err);
    *passed = *total = 0;
    for (int i = 0; rc == UF_OK && i < done.n && *total < 3 * UF_PLATES_MAX; i++) {
        char sentence[400];
        const struct uf_reading *r = &done.reading[i];
        if (!done.captured[i])
            continue;
        struct uf_plate_check *k = &row[*total];
        rc =
            uf_check_load(&c->config.rig.plate[r->load.plate], &c->calibration.plate[r->load.plate],
                          c->has_leftover[r->load.plate] ? &c->leftover[r->load.plate] : NULL,
                          &done.setup, r, c->person, &c->limits, k, sentence, err);
        if (rc != UF_OK)
            break;
        k->calibration_id = c->calibration_id;
        k->at_utc_us = uf_clock_utc_us();
        ++*total;
        *passed += k->passed;
        fprintf(out, "%s %s\n", k->passed ? "pass" : "FAIL", sentence);
    }
    if (rc == UF_OK && *total)
        rc = uf_store_checks_add(c->store, c->rig_id, row, (size_t)*total, err);
    uf_document_free(&done);
    return rc;
}

static int print_trend(struct check *c, FILE *out, struct uf_error *err)
{
    for (int p = 0; p < c->config.rig.plates; p++) {
        struct uf_check_day day[TREND_DAYS];
        size_t n;
        enum uf_place place = c->config.rig.plate[p].place;
        int rc = uf_store_check_days(c->store, c->rig_id, place, day, TREND_DAYS, &n, err);
        if (rc != UF_OK)
            return rc;
        if (n)
            fprintf(out, "\n%s plate, last %zu day%s with a check: greatest errors\n",
                    uf_place_name(place), n, n == 1 ? "" : "s");
        for (size_t i = 0; i < n; i++) {
            time_t s = (time_t)(day[i].at_utc_us / 1000000);
            struct tm tm;
            char date[16] = "?";
            if (gmtime_r(&s, &tm))
                strftime(date, sizeof date, "%Y-%m-%d", &tm);
            fprintf(out, "  %s  vertical %+6.2f %%", date, day[i].vertical_error_pct);
            if (!isnan(day[i].place_error_mm))
                fprintf(out, "  place %5.1f mm", day[i].place_error_mm);
            fprintf(out, "  %s\n", day[i].passed ? "passed" : "FAILED");
        }
    }
    return UF_OK;
}

static int open_check(struct check *c, struct uf_error *err)
{
    struct uf_error why = {0, ""};
    int rc = uf_calib_config(c->args, &c->config, err);
    if (rc == UF_OK)
        rc = uf_store_open(&c->store, c->config.daemon.database, UF_STORE_CREATE, err);
    if (rc == UF_OK)
        rc = uf_store_rig(c->store, &c->config.rig, &c->rig_id, err);
    if (rc != UF_OK)
        return rc;
    rc = uf_store_calibration_active(c->store, c->rig_id, &c->config.rig, &c->calibration,
                                     &c->calibration_id, &why);
    if (rc == UF_ENOTFOUND) { /* a check of the data sheet is one, too */
        uf_calibration_nominal(&c->config.rig, &c->calibration);
        c->calibration_id = 0;
        rc = UF_OK;
    }
    if (rc != UF_OK)
        return uf_fail(err, rc, "%s", why.text);
    uf_check_defaults(&c->limits);
    c->person = c->args->option[UF_OPT_PERSON] != NULL;
    if (c->person)
        c->limits.vertical_pct = PERSON_GIVE;
    rc = uf_calib_number(c->args, UF_OPT_LIMIT_PCT, 0.001, 100, c->limits.vertical_pct,
                         &c->limits.vertical_pct, err);
    if (rc == UF_OK)
        rc = uf_calib_number(c->args, UF_OPT_LIMIT_MM, 0.01, 1000, c->limits.place_mm,
                             &c->limits.place_mm, err);
    return rc;
}

int uf_calib_check(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    struct check c;
    struct uf_procedure_settings settings;
    struct uf_walk_result result;
    int passed = 0, total = 0;
    memset(&c, 0, sizeof c);
    c.args = args;
    uf_procedure_defaults(&settings);
    settings.drift_s = 0;
    int rc = open_check(&c, err);
    if (rc == UF_OK && c.person) {
        settings.still.move_n = PERSON_N;
        settings.still.move_pct = PERSON_PCT;
        settings.still.take_s = PERSON_S;
    }
    if (rc == UF_OK)
        rc = make_document(&c, err);
    if (rc == UF_OK)
        fprintf(out, "Checking against \"%s\".\n", c.calibration.name);
    if (rc == UF_OK)
        rc = uf_walk(args, &c.config, &c.document, NULL, &settings, out, &result, err);
    if (rc == UF_OK)
        rc = judge(&c, out, &passed, &total, err);
    if (rc == UF_OK)
        rc = print_trend(&c, out, err);
    if (rc == UF_OK && result.open)
        rc = uf_fail(err, UF_ESTATE, "the check is not complete: %d of %d loads were captured",
                     total, total + result.open);
    else if (rc == UF_OK && passed < total)
        rc = uf_fail(err, UF_ESTATE, "the check failed: %d of %d loads are outside the limits",
                     total - passed, total);
    uf_document_free(&c.document);
    uf_store_close(c.store);
    return rc;
}

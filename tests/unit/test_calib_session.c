/* SPDX-License-Identifier: MIT
 * From a session file to a calibration: solving, printing, report, provenance, storing; and files
 * that are refused. Works in a folder of its own. */
#include "calib/command.h"
#include "calib/drawing.h"
#include "calib/session.h"
#include "store/calibrations.h"
#include "store/schema.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include <cmocka.h>

#include "calib_near.h"
#include "calib_session.h"

static char folder[] = "/tmp/uf-calib-XXXXXX";
static char path_text[8][128];

static const char *in_folder(int slot, const char *name)
{
    snprintf(path_text[slot], sizeof path_text[slot], "%s/%s", folder, name);
    return path_text[slot];
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) ? 0 : -1;
}

static int remove_folder(void **state)
{
    (void)state;
    char command[64];
    snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command);
}

static char *slurp(const char *path)
{
    FILE *f = fopen(path, "r");
    assert_non_null(f);
    char *text = calloc(1, 4u << 20);
    assert_non_null(text);
    size_t n = fread(text, 1, (4u << 20) - 1, f);
    text[n] = '\0';
    fclose(f);
    return text;
}

/* Runs a command line; its output into *out (to be freed). */
static int run(char **out, struct uf_error *err, int argc, const char **argv)
{
    struct uf_calib_args args;
    size_t size = 0;
    FILE *f = open_memstream(out, &size);
    int rc = uf_calib_args_parse(argc, (char **)argv, &args, err);
    if (rc == UF_OK)
        rc = args.command->run(&args, f, err);
    fclose(f);
    return rc;
}

#define RUN(out, err, ...)                                                                         \
    run(out, err,                                                                                  \
        (int)(sizeof((const char *[]){"underfoot-calib", __VA_ARGS__}) / sizeof(char *)),          \
        (const char *[]){"underfoot-calib", __VA_ARGS__})

/* What is read back for swings says the same as the fit says of the counts themselves. */
static void errors_are_those_of_the_fit(const char *file, const struct uf_rig *rig,
                                        const struct uf_calibration *stored)
{
    struct uf_error err = {0, ""};
    struct uf_document d;
    struct uf_session s;
    const struct uf_matrix_error *e = &stored->error[0];
    assert_int_equal(uf_document_read(&d, file, rig, &err), UF_OK);
    assert_int_equal(uf_session_solve(&s, rig, &d, &err), UF_OK);
    assert_in_range(e->patterns, 10, UF_MATRIX_PATTERNS);
    for (int i = 0; i < s.readings; i++) {
        const struct uf_reading *r = &s.reading[s.plate[0].fit->reading[i].reading];
        double cov[UF_COMPONENTS][UF_COMPONENTS];
        struct uf_wrench shown;
        uf_fit_wrench(s.plate[0].fit, r->above_raw, &shown);
        const double w[UF_COMPONENTS] = {shown.fx_n,  shown.fy_n,  shown.fz_n,
                                         shown.mx_nm, shown.my_nm, shown.mz_nm};
        uf_fit_covariance(s.plate[0].fit, r->above_raw, NULL, cov);
        for (int k = 0; k < UF_COMPONENTS; k++)
            for (int l = 0; l < UF_COMPONENTS; l++) {
                double sum = 0, size = sqrt(cov[k][k] * cov[l][l]);
                for (int p = 0; p < e->patterns; p++) {
                    double off[2] = {0, 0};
                    for (int c = 0; c < UF_COMPONENTS; c++) {
                        off[0] += e->pattern[p][k][c] * w[c];
                        off[1] += e->pattern[p][l][c] * w[c];
                    }
                    sum += off[0] * off[1];
                }
                if (!(fabs(sum - cov[k][l]) <= 0.05 * size + 1e-5))
                    fail_msg("load %d, components %d and %d: covariance %g, by the fit %g (of %g)",
                             i, k, l, sum, cov[k][l], size);
            }
    }
    uf_session_free(&s);
    uf_document_free(&d);
}

static void value_is(struct uf_store *s, const char *sql, double want)
{
    sqlite3_stmt *q;
    if (sqlite3_prepare_v2(uf_store_db(s), sql, -1, &q, NULL) != SQLITE_OK)
        fail_msg("%s: %s", sql, sqlite3_errmsg(uf_store_db(s)));
    assert_int_equal(sqlite3_step(q), SQLITE_ROW);
    assert_int_not_equal(sqlite3_column_type(q, 0), SQLITE_NULL);
    if (!(fabs(sqlite3_column_double(q, 0) - want) <= 1e-9 * fabs(want)))
        fail_msg("%s: %.17g, wanted %.17g", sql, sqlite3_column_double(q, 0), want);
    sqlite3_finalize(q);
}

/* Each load has its row: at once, and where an older file is brought up to date. */
static void loads_can_be_asked_for(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    char *out = NULL;
    const char *file = in_folder(0, "session.json"), *db = in_folder(1, "loads.db");
    json_t *json = session_json(12, 5, NULL), *loads = json_object_get(json, "loads");
    json_t *weight = json_array_get(json_object_get(json, "weights"), 0);
    json_object_set_new(json_array_get(loads, 3), "skip", json_string("it slipped"));
    json_object_set_new(json_array_get(loads, 4), "tolerances",
                        json_pack("{s:f}", "place_mm", 3.0));
    json_object_del(weight, "tolerance_kg"); /* by its class: M1, 20 kg: 1 g */
    json_object_set_new(weight, "class", json_string("M1"));
    assert_int_equal(uf_document_write(json, file, &err), UF_OK);
    if (RUN(&out, &err, "solve", file, "--database", db, "--add", "--anyway") != UF_OK)
        fail_msg("%s", err.text);
    free(out);
    struct uf_store *s;
    for (int round = 0; round < 2; round++) {
        assert_int_equal(uf_store_open(&s, db, UF_STORE_WRITE, &err), UF_OK);
        value_is(s, "SELECT count(*) FROM calibration_load WHERE calibration_id = 1", 20);
        value_is(s, "SELECT sum(accepted) FROM calibration_load", 19);
        value_is(s,
                 "SELECT why = 'it slipped' AND residual_fz_n IS NULL FROM calibration_load"
                 " WHERE NOT accepted",
                 1);
        value_is(s, "SELECT count(*) FROM calibration_load WHERE place_tolerance_mm = 1", 19);
        value_is(s, "SELECT place_tolerance_mm FROM calibration_load WHERE load = 5", 3);
        value_is(s, "SELECT mass_kg FROM calibration_load WHERE load = 20", 55);
        value_is(s, "SELECT tolerance_kg FROM calibration_load WHERE load = 13", 0.001);
        value_is(s,
                 "SELECT json_array_length(loaded_raw_json) FROM calibration_load WHERE load = 2",
                 24);
        value_is(s, "SELECT samples FROM calibration_load WHERE load = 2", 3000);
        for (int i = 0; i < 20; i += 7) {
            char sql[96];
            snprintf(sql, sizeof sql, "SELECT x_mm FROM calibration_load WHERE load = %d", i + 1);
            value_is(s, sql,
                     json_number_value(json_object_get(json_array_get(loads, (size_t)i), "x_mm")));
        }
        value_is(s,
                 "SELECT count(*) FROM calibration_load JOIN calibration AS c ON"
                 " c.id = calibration_id, json_each(provenance_json, '$.plates[0].loads') AS e"
                 " WHERE load = e.value ->> 'load' AND known_fz_n = e.value -> 'known' ->> 2"
                 " AND residual_my_nm = e.value -> 'residual' ->> 4"
                 " AND left_out_mz_nm IS e.value -> 'left_out' ->> 5"
                 " AND studentised = e.value ->> 'studentised'",
                 19);
        /* as migration 4 finds a file of version 3 */
        assert_int_equal(
            sqlite3_exec(uf_store_db(s), "DELETE FROM calibration_load", NULL, NULL, NULL),
            SQLITE_OK);
        assert_int_equal(uf_schema_calibration_loads(s, 0, &err), UF_OK);
        uf_store_close(s);
    }
    json_decref(json);
}

static void solves_and_stores(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    char *out = NULL;
    const char *file = in_folder(0, "session.json"), *db = in_folder(1, "a.db");
    const char *report = in_folder(2, "report.html"), *cal = in_folder(3, "cal.json");
    json_t *json = session_json(16, 1, NULL);
    assert_int_equal(uf_document_write(json, file, &err), UF_OK);
    json_decref(json);
    if (RUN(&out, &err, "solve", file, "--database", db, "--add", "--activate", "--report", report,
            "--out", cal) != UF_OK)
        fail_msg("%s", err.text);
    if (getenv("UF_SHOW"))
        fputs(out, stdout);
    assert_non_null(strstr(out, "left plate: 24 loads at 17 places; rank 6 of 6"));
    assert_non_null(strstr(out, "right plate: no loads captured"));
    assert_non_null(strstr(out, "The right plate's matrix is that of \"data sheet\""));
    assert_non_null(strstr(out, "Stored as calibration 1 and put in force"));
    assert_null(strstr(out, "WRONG"));
    free(out);

    struct uf_store *s;
    struct uf_rig rig;
    struct uf_calibration got;
    int64_t rig_id, id;
    json_t *provenance;
    uf_rig_example(&rig);
    assert_int_equal(uf_store_open(&s, db, UF_STORE_WRITE, &err), UF_OK);
    assert_int_equal(uf_store_rig(s, &rig, &rig_id, &err), UF_OK);
    assert_int_equal(uf_store_calibration_active(s, rig_id, &rig, &got, &id, &err), UF_OK);
    assert_string_equal(got.name, "spring");
    assert_int_equal(got.nominal, 0);
    assert_int_equal(uf_store_calibration_provenance(s, id, &provenance, &err), UF_OK);
    json_t *loads = json_object_get(json_object_get(provenance, "session"), "loads");
    assert_int_equal(json_array_size(loads), 24);
    json_t *left = json_array_get(json_object_get(provenance, "plates"), 0);
    assert_int_equal(json_array_size(json_object_get(left, "loads")), 24);
    assert_true(json_array_size(json_object_get(left, "error_patterns")) > 36);
    json_decref(provenance);
    errors_are_those_of_the_fit(file, &rig, &got);
    assert_int_equal(got.error[1].patterns, 0);
    uf_store_close(s);

    /* solved again, for the right plate only: the left one keeps its matrix and its errors */
    json = session_json(16, 3, NULL);
    size_t i;
    json_t *load;
    json_array_foreach(json_object_get(json, "loads"), i, load)
    {
        static const char *const counts[] = {"zero_raw", "loaded_raw", "zero_after_raw",
                                             "noise_raw"};
        json_object_set_new(load, "plate", json_string("right"));
        for (int k = 0; k < 4; k++) { /* its channels are the second dozen */
            json_t *list = json_object_get(load, counts[k]);
            for (size_t ch = 0; ch < 12; ch++)
                json_array_append(list, json_array_get(list, ch));
            for (size_t ch = 0; ch < 12; ch++)
                json_array_remove(list, 0);
        }
    }
    json_object_del(json, "made_utc_us");
    assert_int_equal(uf_document_write(json, file, &err), UF_OK);
    json_decref(json);
    if (RUN(&out, &err, "solve", file, "--database", db, "--add", "--activate", "--anyway") != 0)
        fail_msg("%s", err.text);
    free(out);
    struct uf_calibration after;
    assert_int_equal(uf_store_open(&s, db, UF_STORE_READ, &err), UF_OK);
    assert_int_equal(uf_store_calibration_active(s, rig_id, &rig, &after, &id, &err), UF_OK);
    assert_int_equal(id, 2);
    assert_memory_equal(&after.plate[0], &got.plate[0], sizeof got.plate[0]);
    assert_memory_equal(&after.error[0], &got.error[0], sizeof got.error[0]);
    assert_true(after.error[1].patterns > 0);
    uf_store_close(s);

    /* the file that was written is one that add takes */
    const char *other = in_folder(4, "b.db");
    if (RUN(&out, &err, "--database", other, "add", cal) != UF_OK)
        fail_msg("%s", err.text);
    free(out);
    char *html = slurp(report);
    assert_non_null(strstr(html, "A. N. Other &lt;workshop&gt;"));
    assert_non_null(strstr(html, "</html>"));
    assert_null(strstr(html, "http-equiv"));
    assert_null(strstr(html, "<script"));
    assert_null(strstr(html, "src="));
    assert_null(strstr(html, "nan"));
    free(html);
}

static void figures_are_those_of_the_plate(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    struct uf_rig rig;
    struct uf_document d;
    struct uf_session s;
    uf_rig_example(&rig);
    json_t *json = session_json(20, 2, NULL), *raw = json_array(), *times = json_array();
    json_t *last = json_array_get(json_object_get(json, "loads"), 27), *zero, *loaded;
    zero = json_object_get(last, "zero_raw");
    loaded = json_object_get(last, "loaded_raw");
    for (int i = 0; i <= 40; i++) { /* 0.05 % more in 400 s: 0.03375 % from 30 s to 300 s */
        json_t *mean = json_array();
        for (size_t ch = 0; ch < json_array_size(zero); ch++) {
            double z = json_number_value(json_array_get(zero, ch));
            z = (z +
                 json_number_value(json_array_get(json_object_get(last, "zero_after_raw"), ch))) /
                2;
            double above = json_number_value(json_array_get(loaded, ch)) - z;
            json_array_append_new(mean, json_real(z + above * (1 + 0.0005 * i / 40)));
        }
        json_array_append_new(raw, mean);
        json_array_append_new(times, json_real(10 * i));
    }
    json_object_set_new(last, "creep", json_pack("{s:o, s:o}", "t_s", times, "raw", raw));
    assert_int_equal(uf_document_from_json(&d, json, "mem", &rig, &err), UF_OK);
    if (uf_session_solve(&s, &rig, &d, &err) != UF_OK)
        fail_msg("%s", err.text);
    const struct uf_quality *q = &s.plate[0].quality;
    assert_false(uf_session_grave(&s));
    assert_true(q->cop_rms_mm < 1 && q->cop_rms_mm > 0.05); /* places are off by 1 mm at most */
    assert_true(q->linearity_pct < 0.1);
    assert_true(q->hysteresis_pct < 0.1); /* there is none; creep and noise */
    assert_true(q->repeatability_pct < 0.1);
    assert_int_equal(q->hysteresis_loads, 4);
    int lying = 0;
    for (int i = 0; i < d.n; i++)
        lying += d.reading[i].load.kind == UF_LOAD_VERTICAL;
    assert_int_equal(q->zeros, lying);
    assert_true(q->zero_return_pct > 0.01 && q->zero_return_pct < 0.3); /* 0.14 N of 196 N, 1 SD */
    for (int i = 0; i < 25; i++)
        assert_true(s.plate[0].cop_mm[i / 5][i % 5] < 2);
    assert_near(s.plate[0].creep_pct, 0.03375, 2e-4);
    uf_session_free(&s);
    uf_document_free(&d);
}

static void wrong_sessions_are_not_stored(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    char *out = NULL;
    const char *file = in_folder(0, "mirror.json"), *db = in_folder(1, "c.db");
    json_t *json = session_json(14, 3, NULL), *load;
    size_t i;
    json_array_foreach(json_object_get(json, "loads"), i, load)
    {
        json_object_set_new(load, "x_mm",
                            json_real(-json_number_value(json_object_get(load, "x_mm"))));
        json_t *towards = json_object_get(load, "towards_deg");
        if (towards)
            json_object_set_new(load, "towards_deg", json_real(180 - json_number_value(towards)));
    }
    uf_document_write(json, file, &err);
    json_decref(json);
    assert_int_equal(RUN(&out, &err, "solve", file, "--database", db, "--add"), UF_EINVAL);
    assert_non_null(strstr(out, "WRONG: the left plate is mirrored left to right"));
    assert_non_null(strstr(err.text, "1 thing is wrong"));
    assert_int_equal(access(db, F_OK), -1);
    free(out);
    assert_int_equal(RUN(&out, &err, "solve", file, "--database", db, "--add", "--anyway"), UF_OK);
    free(out);
}

static void interrupted_write_keeps_the_old_file(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    const char *file = in_folder(0, "keep.json");
    json_t *json = json_pack("{s:i}", "a", 1);
    assert_int_equal(uf_document_write(json, file, &err), UF_OK);
    /* what is beside it cannot be written */
    char beside[160];
    snprintf(beside, sizeof beside, "mkdir %s.new", file);
    assert_int_equal(system(beside), 0);
    assert_int_equal(uf_document_write(json, file, &err), UF_EIO);
    char *text = slurp(file);
    assert_non_null(strstr(text, "\"a\": 1"));
    free(text);
    json_decref(json);
}

/* ---- files that are refused ---- */

static json_t *load_of(json_t *json, size_t i)
{
    return json_array_get(json_object_get(json, "loads"), i);
}

static void refused(json_t *json, const char *words)
{
    struct uf_rig rig;
    struct uf_document d;
    struct uf_error err = {0, ""};
    uf_rig_example(&rig);
    if (uf_document_from_json(&d, json, "s.json", &rig, &err) == UF_OK)
        fail_msg("passed, and should say \"%s\"", words);
    if (!strstr(err.text, words))
        fail_msg("wanted \"%s\", said: %s", words, err.text);
    assert_non_null(strstr(err.text, "s.json"));
}

static void bad_files(void **state)
{
    (void)state;
    json_t *j = session_json(6, 4, NULL);
    json_object_set_new(j, "form", json_string("underfoot-loads 9"));
    refused(j, "\"form\" is \"underfoot-loads 9\"");
    j = session_json(6, 4, NULL);
    json_object_set_new(j, "tolerance", json_object());
    refused(j, "a field \"tolerance\" that means nothing");
    j = session_json(6, 4, NULL);
    json_object_set_new(j, "", json_object());
    refused(j, "a field \"\" that means nothing");
    j = session_json(6, 4, NULL);
    json_object_del(j, "gravity");
    refused(j, "\"gravity\" is missing");
    j = session_json(6, 4, NULL);
    json_object_set_new(j, "gravity", json_pack("{s:f}", "latitude_deg", 95.0));
    refused(j, "latitude is 95");
    j = session_json(6, 4, NULL);
    json_object_set_new(json_array_get(json_object_get(j, "weights"), 1), "kg", json_real(-20));
    refused(j, "weight 2: weight \"B\" has a mass of -20 kg");
    j = session_json(6, 4, NULL);
    json_object_set_new(load_of(j, 2), "x_mm", json_real(1600));
    refused(j, "load 3: its place 1600");
    j = session_json(6, 4, NULL);
    json_object_set_new(load_of(j, 2), "x_mm", json_string("160"));
    refused(j, "load 3: \"x_mm\" must be a number");
    j = session_json(6, 4, NULL);
    json_object_set_new(load_of(j, 0), "plate", json_string("middle"));
    refused(j, "load 1: \"plate\" is \"middle\"");
    j = session_json(6, 4, NULL);
    json_object_set_new(load_of(j, 0), "weights", json_pack("[s]", "Z"));
    refused(j, "load 1: there is no weight \"Z\"");
    j = session_json(6, 4, NULL);
    json_object_del(load_of(j, 4), "zero_raw");
    refused(j, "load 5: \"zero_raw\" is missing");
    j = session_json(6, 4, NULL);
    json_array_remove(json_object_get(load_of(j, 4), "loaded_raw"), 3);
    refused(j, "load 5: \"loaded_raw\" must be a list of the mean counts");
    j = session_json(6, 4, NULL);
    json_array_append(json_object_get(j, "loads"), load_of(j, 1));
    refused(j, "load 15 is load 2 again");
    j = session_json(6, 4, NULL);
    json_t *copy = json_deep_copy(load_of(j, 1));
    json_object_set_new(copy, "series", json_string("repeat"));
    json_array_append_new(json_object_get(j, "loads"), copy);
    refused(j, "load 15 has the very counts of load 2");
}

static void skipped_loads_are_said_to_be(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    char *out = NULL;
    const char *file = in_folder(0, "skip.json");
    json_t *json = session_json(14, 5, NULL);
    json_object_set_new(load_of(json, 3), "skip", json_string("the dog"));
    uf_document_write(json, file, &err);
    json_decref(json);
    assert_int_equal(RUN(&out, &err, "solve", file), UF_OK);
    assert_non_null(strstr(out, "load 4 is left out: the dog"));
    assert_non_null(strstr(out, "left plate: 21 loads"));
    free(out);
}

static void plan_writes_what_solve_reads(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    char *out = NULL;
    const char *file = in_folder(0, "plan.json"), *drawing = in_folder(1, "drawing");
    if (RUN(&out, &err, "plan", "--weights", "A:20:M1,B:10:0.005", "--latitude", "52", "--height",
            "30", "--placements", "8", "--out", file, "--drawing", drawing) != UF_OK)
        fail_msg("%s", err.text);
    assert_non_null(strstr(out, "6 of 6"));
    assert_non_null(strstr(out, "rated for 4000 N"));
    assert_non_null(strstr(out, "Lift with somebody else"));
    free(out);
    char *svg = slurp(in_folder(2, "drawing-right.svg"));
    assert_non_null(strstr(svg, "width=\"480mm\" height=\"680mm\""));
    assert_non_null(strstr(svg, "100 mm: measure it on paper"));
    free(svg);
    struct uf_rig rig;
    struct uf_document d;
    uf_rig_example(&rig);
    assert_int_equal(uf_document_read(&d, file, &rig, &err), UF_OK);
    assert_int_equal(d.n, 2 * (8 + 4));
    assert_false(d.captured[0]);
    uf_document_free(&d);
    assert_int_equal(RUN(&out, &err, "solve", file), UF_EINVAL);
    assert_non_null(strstr(err.text, "none of the 24 loads of \"calibration\" has counts"));
    free(out);
    assert_int_equal(RUN(&out, &err, "plan", "--weights", "A:20:M1"), UF_EINVAL);
    assert_non_null(strstr(err.text, "--latitude DEG"));
    free(out);
    assert_int_equal(RUN(&out, &err, "plan", "--weights", "A:20"), UF_EINVAL);
    assert_non_null(strstr(err.text, "NAME:KG:CLASS"));
    free(out);
}

static void manages_what_is_stored(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    char *out = NULL;
    const char *db = in_folder(0, "m.db"), *a = in_folder(1, "m1.json"),
               *b = in_folder(2, "m2.json");
    for (int i = 0; i < 2; i++) {
        json_t *json = session_json(14, 6 + (uint64_t)i, NULL);
        uf_document_write(json, i ? b : a, &err);
        json_decref(json);
        if (RUN(&out, &err, "solve", i ? b : a, "--database", db, "--add") != UF_OK)
            fail_msg("%s", err.text);
        free(out);
    }
    assert_int_equal(RUN(&out, &err, "show", "--database", db), UF_ENOTFOUND);
    free(out);
    assert_int_equal(RUN(&out, &err, "activate", "2", "--database", db), UF_OK);
    free(out);
    assert_int_equal(RUN(&out, &err, "list", "--database", db), UF_OK);
    assert_non_null(strstr(out, "     2  2026-01-01 00:00 UTC  yes"));
    free(out);
    assert_int_equal(RUN(&out, &err, "show", "--database", db), UF_OK);
    assert_non_null(strstr(out, "Calibration 2, \"spring\", in force"));
    free(out);
    assert_int_equal(RUN(&out, &err, "diff", "1", "1", "--database", db), UF_OK);
    assert_non_null(strstr(out, "centre of pressure at 400 N"));
    free(out);
    assert_int_equal(RUN(&out, &err, "activate", "9", "--database", db), UF_ENOTFOUND);
    assert_non_null(strstr(err.text, "has no calibration 9"));
    free(out);
}

static void grammar(void **state)
{
    (void)state;
    static const struct {
        const char *word[3], *words;
    } row[] = {{{"solv", NULL, NULL}, "did you mean solve?"},
               {{"--datbase", "x", "list"}, "did you mean --database?"},
               {{"list", "--activate", NULL}, "--activate goes with"},
               {{"solve", NULL, NULL}, "use it so: underfoot-calib solve FILE"},
               {{"list", "--database", NULL}, "--database needs a value"},
               {{"list", "-x", NULL}, "there is no option -x"},
               {{"list", "extra", NULL}, "use it so: underfoot-calib list"},
               {{"list", "--help=1", NULL}, "--help takes no value"}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        const char *argv[4] = {"underfoot-calib"};
        int n = 1;
        for (; n < 4 && row[i].word[n - 1]; n++)
            argv[n] = row[i].word[n - 1];
        struct uf_calib_args args;
        struct uf_error err = {0, ""};
        assert_int_equal(uf_calib_args_parse(n, (char **)argv, &args, &err), UF_EINVAL);
        if (!strstr(err.text, row[i].words))
            fail_msg("said: %s", err.text);
    }
    char *out = NULL;
    size_t size = 0;
    FILE *f = open_memstream(&out, &size);
    uf_calib_help(NULL, f);
    fclose(f);
    for (const struct uf_calib_command *c = uf_calib_command; c->name; c++)
        assert_non_null(strstr(out, c->name));
    for (int o = 0; o < UF_CALIB_OPTIONS; o++)
        assert_non_null(strstr(out, uf_calib_option_name((enum uf_calib_option)o)));
    free(out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(loads_can_be_asked_for),
                                       cmocka_unit_test(solves_and_stores),
                                       cmocka_unit_test(figures_are_those_of_the_plate),
                                       cmocka_unit_test(wrong_sessions_are_not_stored),
                                       cmocka_unit_test(interrupted_write_keeps_the_old_file),
                                       cmocka_unit_test(bad_files),
                                       cmocka_unit_test(skipped_loads_are_said_to_be),
                                       cmocka_unit_test(plan_writes_what_solve_reads),
                                       cmocka_unit_test(manages_what_is_stored),
                                       cmocka_unit_test(grammar)};
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}

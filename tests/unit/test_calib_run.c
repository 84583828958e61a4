/* SPDX-License-Identifier: MIT
 * Capturing a session by the signal alone: the procedure fed with frames of a simulated plate and a
 * simulated person, and the whole command on a recording. */
#include "calib/check.h"
#include "calib/command.h"
#include "calib/procedure.h"
#include "encoder.h"

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

#define RATE_HZ 200

/* A bench: a plate, a person, and where the bytes or frames go. */
struct bench {
    struct uf_rig rig;
    struct made_plate made;
    struct made_person person;
    double drift_n_min; /* of every vertical output */
    uint32_t n;         /* samples so far */
    FILE *recording;    /* NULL: fed to the procedure */
    struct uf_procedure *procedure;
    struct uf_error err;
    int rc;
    char said[40000];
    int kept, keep_fails_at;
};

static void say(void *who, const char *sentence)
{
    struct bench *b = who;
    size_t used = strlen(b->said);
    snprintf(b->said + used, sizeof b->said - used, "%s\n", sentence);
}

static int keep(void *who, struct uf_error *err)
{
    struct bench *b = who;
    return ++b->kept == b->keep_fails_at ? uf_fail(err, UF_EIO, "disk full") : UF_OK;
}

static int64_t utc_us(void *who)
{
    (void)who;
    return 1767225600000000;
}

static void start(struct bench *b, uint64_t seed)
{
    struct uf_load_setup setup;
    const struct made_spread spread = made_usual();
    memset(b, 0, sizeof *b);
    uf_rig_example(&b->rig);
    made_setup(&setup, 0.0005);
    made_build(&b->made, &b->rig.plate[0], &spread, seed);
    b->made.zero_n = b->made.noise_n = 0;
    made_person(&b->person, &setup, &b->made.rng);
}

static void put(struct bench *b, const double *above_raw, double shake_n)
{
    int32_t counts[UF_CHANNELS_MAX];
    double phase = 2 * 3.14159265358979323846 * 1.5 * b->n / RATE_HZ;
    for (int ch = 0; ch < b->rig.channels; ch++) {
        double per = ch % 3 == 2 ? 4e-4 : 2e-4; /* the example's scales */
        double n = uf_sim_rng_normal(&b->made.rng, 0, 0.05) + shake_n / 4 * sin(phase) +
                   (ch % 3 == 2 ? b->drift_n_min / 4 * b->n / RATE_HZ / 60 : 0);
        counts[ch] = (int32_t)lround(1000 * (ch - 10) + above_raw[ch] + n / per);
    }
    uint32_t t_us = b->n * (1000000 / RATE_HZ);
    if (b->recording) {
        uint8_t bytes[UF_ENC_PACKET_MAX];
        const struct uf_enc_sample s = {.seq = (uint16_t)b->n,
                                        .t_us = t_us,
                                        .channels = (uint8_t)b->rig.channels,
                                        .counts = counts};
        const struct uf_enc_hello h = {.channels = (uint8_t)b->rig.channels,
                                       .adc_bits = 24,
                                       .rate_hz = RATE_HZ,
                                       .firmware = 7};
        if (b->n % RATE_HZ == 0)
            fwrite(bytes, 1, uf_enc_hello(bytes, sizeof bytes, &h), b->recording);
        fwrite(bytes, 1, uf_enc_sample(bytes, sizeof bytes, &s), b->recording);
    } else if (b->rc == UF_OK) {
        struct uf_frame f = {.t_dev_us = t_us, .channels = (uint8_t)b->rig.channels};
        memcpy(f.counts_raw, counts, sizeof counts);
        b->rc = uf_procedure_feed(b->procedure, &f, &b->err);
    }
    b->n++;
}

/* So many seconds with a load (NULL: empty); shake_n: somebody touches it. */
static void stand(struct bench *b, double s, const struct uf_load *l, double shake_n)
{
    double raw[UF_CHANNELS_MAX] = {0}, w[6];
    if (l) {
        made_load(&b->person, &b->made.plate, l, &b->made.rng, w);
        made_read(&b->made, w, raw);
    }
    for (int i = 0; i < s * RATE_HZ; i++)
        put(b, raw, shake_n);
}

/* Hands on the plate: a second of unrest. */
static void handle(struct bench *b)
{
    stand(b, 1, NULL, 60);
}

static void open_document(struct bench *b, json_t *json, struct uf_document *d, double drift_s)
{
    struct uf_procedure_settings s;
    const struct uf_procedure_owner owner = {b, say, keep, utc_us};
    uf_procedure_defaults(&s);
    s.drift_s = drift_s;
    if (uf_document_from_json(d, json, "mem", &b->rig, &b->err) != UF_OK ||
        uf_procedure_new(&b->procedure, &b->rig, d, &s, &owner, &b->err) != UF_OK)
        fail_msg("%s", b->err.text);
    uf_procedure_begin(b->procedure);
}

static void close_document(struct bench *b, struct uf_document *d)
{
    uf_procedure_free(b->procedure);
    uf_document_free(d);
}

/* Session of n placements and the series, without counts. */
static json_t *empty_session(int n)
{
    json_t *json = session_json(n, 1, NULL), *load;
    size_t i;
    json_array_foreach(json_object_get(json, "loads"), i, load)
    {
        static const char *const keys[] = {"zero_raw", "loaded_raw", "zero_after_raw", "noise_raw",
                                           "samples"};
        for (size_t k = 0; k < sizeof keys / sizeof keys[0]; k++)
            json_object_del(load, keys[k]);
    }
    return json;
}

/* A person who does what he is told: zero, load, zero, ...; the series as a pile. */
static void obey(struct bench *b, const struct uf_document *d, int from, int to)
{
    for (int i = from; i < to; i++) {
        bool pile = i > from && d->reading[i].series != UF_SERIES_ONCE &&
                    d->reading[i - 1].series != UF_SERIES_ONCE && i != d->n - 1;
        if (!pile) {
            stand(b, 6, NULL, 0);
            handle(b);
        }
        stand(b, 6, &d->reading[i].load, 0);
        handle(b);
    }
    stand(b, 6, NULL, 0);
}

static void captures_all(void **state)
{
    (void)state;
    struct bench *b = malloc(sizeof *b);
    struct uf_document d, again;
    assert_non_null(b);
    start(b, 3);
    open_document(b, empty_session(6), &d, 0);
    assert_non_null(strstr(b->said, "14 of 14 loads are to be captured"));
    obey(b, &d, 0, d.n);
    assert_int_equal(b->rc, UF_OK);
    if (!uf_procedure_done(b->procedure))
        fail_msg("not done: %s", b->said);
    assert_int_equal(uf_procedure_captured(b->procedure), 14);
    assert_non_null(strstr(b->said, "Caution: a weight on a string swings"));
    assert_non_null(strstr(b->said, "Caution: 55 kg: piece by piece"));
    assert_non_null(strstr(b->said, "Load 1 of 14, left plate: put A + B + C + D (55 kg)"));
    assert_null(strstr(b->said, "Not taken"));
    assert_null(strstr(b->said, "looks like"));
    /* what was kept reads as a session, and fits the plate */
    assert_int_equal(uf_document_from_json(&again, json_deep_copy(d.json), "mem", &b->rig, &b->err),
                     UF_OK);
    struct uf_reading *r;
    int *number, n;
    struct uf_fit *f;
    assert_int_equal(uf_document_captured(&again, &r, &number, &n, &b->err), UF_OK);
    assert_int_equal(n, 14);
    for (int i = 0; i < n; i++) {
        assert_true(!isnan(r[i].moved_raw[0])); /* the zero after it, too */
        assert_near(r[i].noise_raw[2] * 4e-4, 0.05, 0.01);
    }
    assert_int_equal(uf_fit_best(&f, NULL, &b->rig, 0, &again.setup, r, n, &again.fit, &b->err),
                     UF_OK);
    assert_true(f->scale < 1.6);
    uf_fit_free(f);
    free(r);
    free(number);
    uf_document_free(&again);
    close_document(b, &d);
    free(b);
}

static void goes_on_tomorrow(void **state)
{
    (void)state;
    struct bench *b = malloc(sizeof *b);
    struct uf_document d, later;
    assert_non_null(b);
    start(b, 4);
    open_document(b, empty_session(6), &d, 0);
    stand(b, 6, NULL, 0);
    handle(b);
    stand(b, 6, &d.reading[0].load, 0); /* and the power is cut */
    assert_int_equal(uf_procedure_captured(b->procedure), 1);
    assert_int_equal(b->kept, 1);
    json_t *kept = json_deep_copy(d.json);
    close_document(b, &d);
    b->said[0] = '\0';
    open_document(b, kept, &later, 0);
    assert_non_null(strstr(b->said, "13 of 14 loads"));
    handle(b);
    obey(b, &later, 1, later.n);
    assert_true(uf_procedure_done(b->procedure));
    close_document(b, &later);
    free(b);
}

static void rejects_what_moves(void **state)
{
    (void)state;
    struct bench *b = malloc(sizeof *b);
    struct uf_document d;
    assert_non_null(b);
    start(b, 5);
    open_document(b, empty_session(6), &d, 0);
    stand(b, 6, NULL, 0);
    handle(b);
    stand(b, 2.5, &d.reading[0].load, 0); /* still, so it begins .. */
    stand(b, 1, &d.reading[0].load, 15);  /* .. and somebody leans on it */
    assert_non_null(strstr(b->said, "Not taken: it moved by"));
    assert_int_equal(uf_procedure_captured(b->procedure), 0);
    stand(b, 6, &d.reading[0].load, 0);
    assert_int_equal(uf_procedure_captured(b->procedure), 1);
    close_document(b, &d);
    free(b);
}

static void sees_a_wrong_load(void **state)
{
    (void)state;
    struct bench *b = malloc(sizeof *b);
    struct uf_document d;
    assert_non_null(b);
    start(b, 6);
    open_document(b, empty_session(6), &d, 0);
    struct uf_load wrong = d.reading[0].load;
    wrong.x_mm = -wrong.x_mm;
    stand(b, 6, NULL, 0);
    handle(b);
    stand(b, 10, &wrong, 0);
    assert_non_null(strstr(b->said, "That looks like about"));
    assert_int_equal(uf_procedure_captured(b->procedure), 0);
    stand(b, 20, &wrong, 0); /* it is meant */
    assert_non_null(strstr(b->said, "Taken as it is"));
    assert_int_equal(uf_procedure_captured(b->procedure), 1);
    /* something was left on the plate */
    struct uf_load left = wrong;
    left.pieces = 1;
    handle(b);
    stand(b, 6, &left, 0);
    assert_non_null(strstr(b->said, "The left plate is not empty yet: about"));
    close_document(b, &d);
    free(b);
}

static void watches_the_drift(void **state)
{
    (void)state;
    struct bench *b = malloc(sizeof *b);
    struct uf_document d;
    assert_non_null(b);
    start(b, 7);
    b->drift_n_min = 1.5;
    open_document(b, empty_session(6), &d, 20);
    stand(b, 30, NULL, 0);
    assert_non_null(strstr(b->said, "still drifts by 1."));
    assert_null(strstr(b->said, "Load 1 of"));
    b->drift_n_min = 0;
    stand(b, 60, NULL, 0);
    assert_non_null(strstr(b->said, "a minute: good"));
    assert_non_null(strstr(b->said, "Load 1 of"));
    close_document(b, &d);
    free(b);
}

static void watches_creep(void **state)
{
    (void)state;
    struct bench *b = malloc(sizeof *b);
    struct uf_document d;
    assert_non_null(b);
    for (int early = 0; early < 2; early++) {
        start(b, 10);
        json_t *json = empty_session(6);
        json_t *first = json_array_get(json_object_get(json, "loads"), 0);
        json_object_set_new(first, "watch_s", json_integer(40));
        open_document(b, json, &d, 0);
        stand(b, 6, NULL, 0);
        handle(b);
        stand(b, early ? 25 : 50, &d.reading[0].load, 0);
        handle(b);
        stand(b, 6, NULL, 0);
        assert_non_null(strstr(b->said, "Leave it there for 40 s"));
        json_t *times = json_object_get(json_object_get(first, "creep"), "t_s");
        size_t n = json_array_size(times);
        assert_true(early ? n >= 2 && n < 4 : n >= 4);
        assert_true(json_number_value(json_array_get(times, 0)) < 3);
        if (!early)
            assert_true(json_number_value(json_array_get(times, n - 1)) > 37);
        assert_int_equal(strstr(b->said, "It was taken off after") != NULL, early);
        assert_non_null(strstr(b->said, "Load 2 of 14")); /* the zero after it was taken, too */
        double t_s[UF_CREEP_MAX], (*raw)[UF_CHANNELS_MAX] = calloc(UF_CREEP_MAX, sizeof *raw);
        int points;
        assert_int_equal(
            uf_document_creep(&d, &b->rig, 0, t_s, raw, UF_CREEP_MAX, &points, &b->err), UF_OK);
        assert_int_equal(points, n);
        free(raw);
        close_document(b, &d);
    }
    free(b);
}

static void a_full_disk_ends_it(void **state)
{
    (void)state;
    struct bench *b = malloc(sizeof *b);
    struct uf_document d;
    assert_non_null(b);
    start(b, 8);
    b->keep_fails_at = 1;
    open_document(b, empty_session(6), &d, 0);
    obey(b, &d, 0, 2);
    assert_int_equal(b->rc, UF_EIO);
    assert_string_equal(b->err.text, "disk full");
    close_document(b, &d);
    free(b);
}

/* ---- the command on a recording ---- */

static void from_a_recording(void **state)
{
    (void)state;
    struct bench *b = malloc(sizeof *b);
    struct uf_document d;
    struct uf_calib_args args;
    char folder[] = "/tmp/uf-run-XXXXXX", file[64], recording[64], *out = NULL;
    size_t size = 0;
    assert_non_null(b);
    assert_non_null(mkdtemp(folder));
    snprintf(file, sizeof file, "%s/session.json", folder);
    snprintf(recording, sizeof recording, "%s/day.ufr", folder);
    start(b, 9);
    assert_int_equal(uf_document_from_json(&d, empty_session(6), "mem", &b->rig, &b->err), UF_OK);
    assert_int_equal(uf_document_write(d.json, file, &b->err), UF_OK);
    b->recording = fopen(recording, "wb");
    assert_non_null(b->recording);
    obey(b, &d, 0, d.n);
    fclose(b->recording);
    uf_document_free(&d);
    const char *argv[] = {"underfoot-calib", "run", file, "--recording", recording};
    assert_int_equal(uf_calib_args_parse(5, (char **)argv, &args, &b->err), UF_OK);
    FILE *f = open_memstream(&out, &size);
    int rc = args.command->run(&args, f, &b->err);
    fclose(f);
    if (rc != UF_OK)
        fail_msg("%s", b->err.text);
    if (!strstr(out, "14 captured now, 0 to go"))
        fail_msg("%s", out);
    assert_non_null(strstr(out, "Board: 24 channels of 24 bits, 200 samples a second, firmware 7"));
    free(out);
    assert_int_equal(uf_document_read(&d, file, &b->rig, &b->err), UF_OK);
    for (int i = 0; i < d.n; i++)
        assert_true(d.captured[i]);
    uf_document_free(&d);
    /* a recording that is not there */
    const char *none[] = {"underfoot-calib", "run", file, "--recording", "/nonexistent.ufr"};
    json_t *json = empty_session(6);
    uf_document_write(json, file, &b->err);
    json_decref(json);
    assert_int_equal(uf_calib_args_parse(5, (char **)none, &args, &b->err), UF_OK);
    f = open_memstream(&out, &size);
    assert_int_not_equal(args.command->run(&args, f, &b->err), UF_OK);
    fclose(f);
    assert_non_null(strstr(b->err.text, "/nonexistent.ufr"));
    free(out);
    unlink(file);
    unlink(recording);
    rmdir(folder);
    free(b);
}

/* ---- check ---- */

/* A recording of a weight at three places of the left plate; gain: of the plate against its data
 * sheet, which is what the check uses without a calibration. */
static int check(double gain, bool person, char **out, struct uf_error *err)
{
    static const double place[3][2] = {{0, 150}, {-100, -150}, {100, -150}};
    struct bench *b = malloc(sizeof *b);
    struct uf_calib_args args;
    char folder[] = "/tmp/uf-run-XXXXXX", db[64], recording[64], command[64];
    const struct made_spread none = {.noise_n = 0};
    size_t size = 0;
    assert_non_null(b);
    assert_non_null(mkdtemp(folder));
    snprintf(db, sizeof db, "%s/x.db", folder);
    snprintf(recording, sizeof recording, "%s/day.ufr", folder);
    start(b, 1);
    made_build(&b->made, &b->rig.plate[0], &none, 1);
    b->person = (struct made_person){.kg = {20 * gain}, .g_m_s2 = 9.81, .pulley = 1};
    b->recording = fopen(recording, "wb");
    assert_non_null(b->recording);
    for (int i = 0; i < (person ? 1 : 3); i++) {
        struct uf_load l = {.pieces = 1, .x_mm = place[i][0], .y_mm = place[i][1]};
        if (person) { /* 80 kg who sways, somewhere near the middle */
            b->person.kg[0] = 80 * gain;
            l.x_mm = 20;
            l.y_mm = 30;
        }
        stand(b, 6, NULL, 0);
        handle(b);
        stand(b, person ? 10 : 6, &l, person ? 4 : 0);
        handle(b);
    }
    stand(b, 6, NULL, 0);
    fclose(b->recording);
    const char *with[] = {"underfoot-calib",
                          "check",
                          "--database",
                          db,
                          "--plate",
                          "left",
                          "--gravity",
                          "9.81",
                          "--recording",
                          recording,
                          person ? "--person" : "--weights",
                          person ? "80" : "A:20:M1"};
    if (uf_calib_args_parse(12, (char **)with, &args, err) != UF_OK)
        fail_msg("%s", err->text);
    int rc = UF_OK;
    for (int day = 0; day < 2; day++) { /* twice: the trend is one day's */
        FILE *f = open_memstream(out, &size);
        rc = args.command->run(&args, f, err);
        fclose(f);
        if (day == 0)
            free(*out);
    }
    snprintf(command, sizeof command, "rm -r %s", folder);
    assert_int_equal(system(command), 0);
    free(b);
    return rc;
}

static void daily_check(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    char *out;
    if (check(1, false, &out, &err) != UF_OK)
        fail_msg("%s\n%s", err.text, out);
    assert_non_null(strstr(out, "pass left plate at 0, 150 mm: 196."));
    assert_non_null(strstr(out, "left plate, last 1 day with a check"));
    assert_non_null(strstr(out, "passed"));
    free(out);
    assert_int_equal(check(1.03, false, &out, &err), UF_ESTATE);
    assert_non_null(strstr(out, "FAIL left plate at 100, -150 mm"));
    assert_non_null(strstr(out, "(+3.0"));
    assert_non_null(strstr(err.text, "3 of 3 loads are outside the limits"));
    free(out);
    if (check(1.004, true, &out, &err) != UF_OK)
        fail_msg("%s\n%s", err.text, out);
    assert_non_null(strstr(out, "pass left plate: 7"));
    free(out);
    assert_int_equal(check(1.05, true, &out, &err), UF_ESTATE);
    free(out);
}

/* ---- what no load can make ---- */

static void loose_foot(void **state)
{
    (void)state;
    struct uf_error err = {0, ""};
    struct bench *b = malloc(sizeof *b);
    struct uf_document d;
    struct uf_reading *r, bad;
    struct uf_fit *f;
    struct uf_leftover back;
    struct uf_plate_check row;
    struct uf_check_limits limits;
    int *number, n;
    char sentence[400];
    assert_non_null(b);
    start(b, 11);
    uf_check_defaults(&limits);
    assert_int_equal(uf_document_from_json(&d, session_json(16, 11, NULL), "mem", &b->rig, &err),
                     UF_OK);
    assert_int_equal(uf_document_captured(&d, &r, &number, &n, &err), UF_OK);
    assert_int_equal(uf_fit_best(&f, NULL, &b->rig, 0, &d.setup, r, n, &d.fit, &err), UF_OK);
    json_t *channels = json_array();
    for (int j = 0; j < f->channels; j++)
        json_array_append_new(channels, json_integer(f->channel[j]));
    json_t *entry = json_pack("{s:o, s:o}", "channels", channels, "leftover",
                              uf_leftover_to_json(&f->leftover));
    assert_false(uf_leftover_from_json(entry, &b->rig.plate[1], &back)); /* other channels */
    assert_true(uf_leftover_from_json(entry, &b->rig.plate[0], &back));
    for (int w = 0; w < back.ways; w++)
        assert_memory_equal(back.way[w], f->leftover.way[w], 12 * sizeof(double));
    json_decref(entry);
    bad = r[16]; /* 20 kg in the middle */
    assert_int_equal(uf_check_load(&b->rig.plate[0], &f->matrix, &back, &d.setup, &bad, false,
                                   &limits, &row, sentence, &err),
                     UF_OK);
    if (!row.passed)
        fail_msg("%s", sentence);
    /* cell 2 hangs: its neighbours carry what it should, so that the sum is right */
    double moved = bad.above_raw[5] * 0.3;
    bad.above_raw[5] -= moved;
    bad.above_raw[2] += moved / 2;
    bad.above_raw[8] += moved / 2;
    assert_int_equal(uf_check_load(&b->rig.plate[0], &f->matrix, &back, &d.setup, &bad, false,
                                   &limits, &row, sentence, &err),
                     UF_OK);
    assert_false(row.passed);
    assert_non_null(strstr(sentence, "a loose foot"));
    uf_fit_free(f);
    free(r);
    free(number);
    uf_document_free(&d);
    free(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(captures_all),        cmocka_unit_test(goes_on_tomorrow),
        cmocka_unit_test(rejects_what_moves),  cmocka_unit_test(sees_a_wrong_load),
        cmocka_unit_test(watches_the_drift),   cmocka_unit_test(watches_creep),
        cmocka_unit_test(a_full_disk_ends_it), cmocka_unit_test(from_a_recording),
        cmocka_unit_test(daily_check),         cmocka_unit_test(loose_foot)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

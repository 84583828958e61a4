/* SPDX-License-Identifier: MIT
 * The `underfoot` command: grammar, refusals, what it prints of a stored swing, and its talk with a
 * daemon (a stand-in on a socket). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "cli/ask.h"
#include "cli/plot.h"
#include "cli/text.h"
#include "cli_run.h"
#include "stand_in.h"
#include "stored_swing.h"

#include <signal.h>

struct bay {
    struct place *place;
    char config[100], socket[100];
};

static int set_up(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    b->place = place_new();
    snprintf(b->config, sizeof b->config, "%s/underfoot.conf", b->place->folder);
    snprintf(b->socket, sizeof b->socket, "%s/control", b->place->folder);
    FILE *f = fopen(b->config, "w");
    fprintf(f, "[daemon]\ndatabase = %s\ncontrol = %s\n", b->place->db, b->socket);
    fclose(f);
    struct uf_store *s = open_store(b->place, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    add_swing(&t, s, 800, true, 1700000000);
    add_swing(&t, s, 750, false, 1700086400);
    uf_store_close(s);
    *state = b;
    return 0;
}

static int tear_down(void **state)
{
    struct bay *b = *state;
    place_free(b->place);
    free(b);
    return 0;
}

/* ---- the command line ---- */

static void grammar(void **state)
{
    const struct bay *b = *state;
    says(RUN("--help"), 0, "usage: underfoot", "");
    says(RUN("--version"), 0, UF_VERSION, "");
    static const char *const names[] = {"swings", "swing", "rederive", "mark", "status", "doctor"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char usage[60];
        snprintf(usage, sizeof usage, "usage: underfoot %s", names[i]);
        says(RUN(names[i], "--help"), 0, usage, "");
        says(RUN("--help", names[i]), 0, usage, "");
        says(RUN("--help"), 0, names[i], "");
    }
    const char *nothing[] = {NULL};
    says(run(nothing), 2, "", "usage: underfoot");
    says(RUN("swngs"), 2, "", "did you mean swings");
    says(RUN("xyzzy"), 2, "", "no command \"xyzzy\"; see");
    says(RUN("swings", "--lst", "3"), 2, "", "did you mean --last");
    says(RUN("swings", "--last"), 2, "", "--last needs a value");
    says(RUN("swings", "--json=yes"), 2, "", "--json takes no value");
    says(RUN("swings", "4"), 2, "", "one word too many: \"4\"");
    says(RUN("swing"), 2, "", "swing needs N|last");
    says(RUN("--config", b->config, "swing", "x7"), 2, "", "not the number of a swing");
    says(RUN("--config", b->config, "swing", "--", "-7"), 2, "", "not the number of a swing");
    says(RUN("--config", b->config, "swings", "--last", "-3"), 2, "", "--last -3 is not a count");
    says(RUN("--config", b->config, "swings", "--since", "2026-02-30"), 2, "", "is not a date");
    says(RUN("--config", b->config, "rederive", "1", "--since", "today"), 2, "", "not both");
    says(RUN("--config", b->config, "rederive", "1;"), 2, "", "not the number of a swing");
}

static void settings(void **state)
{
    const struct bay *b = *state;
    says(RUN("--config", "/nowhere.conf", "swings"), 1, "", "/nowhere.conf");
    FILE *f = fopen(b->config, "a");
    fprintf(f, "colour = blue\n");
    fclose(f);
    says(RUN("--config", b->config, "swings"), 1, "", "underfoot.conf:4");
    says(RUN("--database", "/nowhere/x.db", "swings"), 1, "", "there is no database");
    says(RUN("--database", b->place->db, "swings", "--last=1"), 0, "2023-11-15", "");
}

/* ---- swings ---- */

static void list(void **state)
{
    const struct bay *b = *state;
    struct said r = RUN("--config", b->config, "swings");
    assert_int_equal(r.rc, 0);
    assert_non_null(strstr(r.out, "2023-11-14 22:13:20  right"));
    assert_non_null(strstr(r.out, "800.0"));
    assert_non_null(strstr(r.out, "data-sheet calibration"));
    assert_non_null(strstr(r.out, "-: not measured"));
    assert_null(strstr(r.out, " \n")); /* no blanks at ends */
    done(r);
    r = RUN("--config", b->config, "swings", "--since", "2023-11-15");
    assert_null(strstr(r.out, "2023-11-14"));
    assert_non_null(strstr(r.out, "2023-11-15"));
    done(r);
    says(RUN("--config", b->config, "swings", "--since", "today"), 0, "no swing is stored", "");
    r = RUN("--config", b->config, "swings", "--json");
    json_t *json = json_loads(r.out, 0, NULL);
    assert_int_equal(json_array_size(json), 2);
    json_t *second = json_array_get(json, 1);
    assert_int_equal(json_integer_value(json_object_get(second, "id")), 2);
    json_t *metrics = json_object_get(second, "metrics");
    assert_int_equal(json_object_size(metrics), UF_METRICS);
    assert_true(json_is_null(json_object_get(metrics, "turn_peak_to_impact_ms")));
    json_t *why = json_object_get(json_object_get(second, "missing"), "turn_peak_to_impact_ms");
    assert_string_equal(json_string_value(json_object_get(why, "reason")), "no_impact");
    json_decref(json);
    done(r);
}

static void one_swing(void **state)
{
    const struct bay *b = *state;
    struct said r = RUN("--config", b->config, "swing", "1", "--ascii");
    assert_int_equal(r.rc, 0);
    static const char *const wanted[] = {"Swing 1, 2023-11-14 22:13:20, right-handed",
                                         "Impact at 2.0500 s, by sensor",
                                         "Weight and share",
                                         "Vertical\n",
                                         "Target-ward and toe-heel",
                                         "Turn\n",
                                         "Centre of pressure",
                                         "Quality",
                                         "data-sheet calibration",
                                         "lead vertical peak",
                                         "ms before impact",
                                         "Vertical force of each foot, BW",
                                         "lead foot #",
                                         "trail foot o",
                                         "impact 2.050"};
    for (size_t i = 0; i < sizeof wanted / sizeof wanted[0]; i++)
        if (!strstr(r.out, wanted[i]))
            fail_msg("\"%s\" is not in:\n%s", wanted[i], r.out);
    for (const char *p = r.out; *p; p++)
        assert_in_range((unsigned char)*p, '\n', '~'); /* ASCII was asked for */
    assert_null(strstr(r.out, "\033"));                /* no colour into a file */
    done(r);
    r = RUN("--config", b->config, "swing", "last");
    assert_non_null(strstr(r.out, "Swing 2,"));
    assert_non_null(strstr(r.out, "] from impact"));
    assert_non_null(strstr(r.out, "] no strike was sensed in this swing"));
    done(r);
    says(RUN("--config", b->config, "swing", "1", "--words"), 0,
         "greatest vertical force, lead foot", "");
    says(RUN("--config", b->config, "swing", "99"), 1, "", "from 1 to 2");
    r = RUN("--config", b->config, "swing", "1", "--json");
    json_t *json = json_loads(r.out, 0, NULL);
    assert_true(
        fabs(json_real_value(json_object_get(json_object_get(json, "metrics"), "weight_n")) - 800) <
        0.5);
    json_decref(json);
    done(r);
}

/* Each name of the metric table stands in the listing, as a line or as a cell of the COP table. */
static void no_metric_is_left_out(void **state)
{
    const struct bay *b = *state;
    struct said r = RUN("--config", b->config, "swing", "1", "--words");
    const char *cop = strstr(r.out, "Centre of pressure"), *end = strstr(cop, "\n\n");
    int lines = 0, expected = 0;
    for (const char *p = cop; p < end; p++)
        lines += *p == '\n';
    for (int m = 0; m < UF_METRICS; m++) {
        const struct uf_metric_row *row = uf_metric_row((enum uf_metric)m);
        if (strncmp(row->name, "net_cop_target_at_", 18) == 0)
            expected++;
        if (strstr(row->name, "cop_line_at_") || strstr(row->name, "_cop_") ||
            strstr(row->meaning, "time of") || strstr(row->meaning, "time from"))
            continue; /* in a table of COPs, or beside the value that it belongs to */
        if (!strstr(r.out, row->meaning))
            fail_msg("%s is not listed", row->name);
    }
    assert_int_equal(lines, expected + 1);
    done(r);
}

/* Frames of a camera count from the sync pulse, which the swing holds; derived again, it is the
 * same. */
static void frames_from_a_sync_pulse(void **state)
{
    const struct bay *b = *state;
    struct uf_store *s = open_store(b->place, UF_STORE_WRITE);
    struct studio t;
    struct uf_error err;
    int64_t id = 0;
    studio_set_up(&t, s);
    struct uf_capture *c = make_swing(&t.rig, 800, true);
    for (size_t i = 50; i < 53; i++) /* the rise is at 0.198 s, between two samples */
        c->inputs[i] |= UF_INPUT_SYNC;
    assert_int_equal(add_capture(&t, s, c, &t.nominal, 0, 1700000100, &id, &err), 0);
    assert_int_equal(id, 3);
    uf_capture_free(c);
    uf_store_close(s);
    says(RUN("--config", b->config, "mark", "3", "--top", "384", "--fps", "9"), 2, "",
         "--fps needs a number from 10");
    says(RUN("--config", b->config, "mark", "3", "--top", "-100", "--fps", "240"), 2, "",
         "--top is at -0.2");
    says(RUN("--config", b->config, "mark", "3", "--top", "384", "--impact", "447", "--fps", "240"),
         0, "derived again", "");
    says(RUN("--config", b->config, "swing", "3"), 0, "Top at 1.7980 s, by mark (+- 1.2 ms)", "");
    says(RUN("--config", b->config, "swing", "3"), 0, "Impact at 2.0605 s, by mark (+- 1.2 ms)",
         "");
    says(RUN("--config", b->config, "swing", "3"), 0, "60.5 ms before impact", "");
    says(RUN("--config", b->config, "rederive", "3"), 0, "the same", "");
    says(RUN("--config", b->config, "mark", "3", "--top", "none", "--impact", "none"), 0, "", "");
    says(RUN("--config", b->config, "swing", "3"), 0, "by sensor", "");
}

/* A mark wins over the sensor, and what rests on it follows; taken away, all is as before. */
static void marks_from_video(void **state)
{
    const struct bay *b = *state;
    says(RUN("--config", b->config, "mark", "1"), 2, "", "which moment?");
    says(RUN("--config", b->config, "mark", "1", "--top", "soon"), 2, "", "--top needs a number");
    says(RUN("--config", b->config, "mark", "1", "--top", "99"), 2, "", "s long");
    says(RUN("--config", b->config, "mark", "1", "--top", "2", "--impact", "1.5"), 2, "",
         "--top must come before --impact");
    says(RUN("--config", b->config, "mark", "1", "--top", "10", "--fps", "240"), 1, "",
         "sync pulse");
    says(RUN("--config", b->config, "mark", "77", "--top", "1"), 1, "", "no swing 77");
    says(RUN("--config", b->config, "mark", "1", "--top", "1.8", "--impact", "2.06"), 0,
         "derived again", "");
    says(RUN("--config", b->config, "swing", "1"), 0, "Impact at 2.0600 s, by mark (+- 4.0 ms)",
         "");
    says(RUN("--config", b->config, "swing", "1"), 0, "60.0 ms before impact", "");
    says(RUN("--config", b->config, "swing", "1"), 0, "260.0 ms", "");
    /* the vertical peak at 2.000 s, lead arm level about 1.95 s, shaft level about 2.02 s */
    says(RUN("--config", b->config, "swing", "1"), 0,
         "vertical between lead arm level and shaft level: on time", "");
    says(RUN("--config", b->config, "mark", "1", "--top", "none", "--impact", "none"), 0,
         "derived again", "");
    says(RUN("--config", b->config, "swing", "1"), 0, "Impact at 2.0500 s, by sensor", "");
}

static void drawing(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_calibration cal;
    struct uf_analysis_settings settings;
    struct uf_analysis *a;
    uf_rig_example(&rig);
    uf_calibration_nominal(&rig, &cal);
    uf_analysis_defaults(&settings);
    struct uf_capture *c = make_swing(&rig, 800, true);
    assert_int_equal(uf_analyse(c, &rig, &cal, &settings, &a, NULL), 0);
    for (int columns = 40; columns <= 200; columns += 40)
        for (int kind = 0; kind < 3; kind++) {
            struct uf_plot_style style = {kind == 0, kind == 2, columns};
            char *text;
            size_t n;
            FILE *out = open_memstream(&text, &n);
            assert_int_equal(uf_plot_swing(a, 1.96, &style, out), 0);
            fclose(out);
            if (kind < 2)
                for (char *line = strtok(text, "\n"); line; line = strtok(NULL, "\n"))
                    if (!strstr(line, "first sample"))
                        assert_true(uf_text_width(line) <= (size_t)columns);
            if (kind == 2) {
                assert_non_null(strstr(text, "\033[38;5;208m")); /* lead: orange */
                assert_non_null(strstr(text, "\033[38;5;135m")); /* trail: violet */
            }
            free(text);
        }
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void rederiving(void **state)
{
    const struct bay *b = *state;
    says(RUN("--config", b->config, "rederive"), 0, "2  the same to the last bit", "");
    says(RUN("--config", b->config, "rederive", "2"), 0, "1  swings derived", "");
    says(RUN("--config", b->config, "rederive", "2", "7"), 1, "", "no swing 7");
    FILE *f = fopen(b->config, "a");
    fprintf(f, "[analysis]\ncutoff_hz = 31\n");
    fclose(f);
    says(RUN("--config", b->config, "rederive", "--json"), 0, "\"made\": 2", "");
    says(RUN("--config", b->config, "swing", "1"), 0, "low-pass 31 Hz", "");
    struct uf_store *s = open_store(b->place, UF_STORE_WRITE);
    run_sql(s, "UPDATE swing_metric SET weight_n = weight_n + 1");
    uf_store_close(s);
    says(RUN("--config", b->config, "rederive"), 1, "2  other bits", "changed by hand");
}

/* ---- status ---- */

static const char healthy[] =
    "{\"state\":\"receiving\",\"state_text\":\"board 0102030405060708\",\"stopping\":false,"
    "\"link\":\"serial\",\"device\":\"/dev/ttyACM0\",\"board_id\":\"0102030405060708\","
    "\"firmware\":7,\"channels\":24,\"rate_hz\":1000,\"measured_rate_hz\":1000.02,"
    "\"drift_ppm\":-20.5,\"samples\":123456,\"lost\":3,\"bad\":2,\"counters\":{\"bad_crc\":2,"
    "\"bad_cobs\":0,\"not_swings\":{\"jump\":4,\"small\":0}},\"stance\":\"still\","
    "\"weight_n\":801.25,\"hand\":\"right\",\"tared\":true,\"tare_age_s\":75.0,\"calibration\":"
    "{\"name\":\"weights of March\",\"uuid\":\"u-u\",\"nominal\":false,\"made_utc_us\":1000000},"
    "\"lesson\":{\"session\":5,\"player\":\"Kim\",\"hand\":\"left\",\"swings\":9,\"block\":"
    "{\"id\":3,\"kind\":\"drill\",\"ball\":false,\"club\":\"7 iron\",\"swings\":4}},\"plates\":["
    "{\"plate\":\"left\",\"state\":null,\"empty_n\":0.42,\"drift_n\":-0.3,\"total_drift_n\":1.25,"
    "\"check\":{\"utc_us\":1000000,\"passed\":false,\"vertical_error_pct\":-1.5}},"
    "{\"plate\":\"right\",\"state\":null,\"empty_n\":null,\"drift_n\":null,"
    "\"total_drift_n\":null,\"check\":null}],"
    "\"spool\":{\"failing\":false,\"bytes\":2500000,\"lost_bytes\":0},\"session\":5,"
    "\"swings_stored\":12,\"last_swing\":12,\"queue\":1,\"queue_limit\":64,\"store_state\":\"ok\","
    "\"store_problem\":null,\"recording\":null,\"uptime_s\":7260.0,\"version\":\"0.1.0\"}\n";

static void status_of_a_daemon(void **state)
{
    const struct bay *b = *state;
    pid_t pid = stand_in(b->socket, healthy);
    struct said r = RUN("--config", b->config, "status");
    ended_well(pid);
    assert_int_equal(r.rc, 0);
    static const char *const wanted[] = {"receiving: board",
                                         "serial /dev/ttyACM0",
                                         "firmware 7, 24 channels",
                                         "1000.02 Hz measured, 1000 Hz promised",
                                         "-20.50 ppm",
                                         "123456 received, 3 lost, 2 damaged",
                                         "bad_crc",
                                         "not_swings: jump",
                                         "still, 801.2 N; right-handed",
                                         "taken 1 min ago",
                                         "weights of March, u-u, made ",
                                         "session 5 with Kim, left-handed, 9 swings",
                                         "3: drill, no ball, 7 iron, 4 swings",
                                         ("+0.4 N off its zero now, empty; the last zero moved by "
                                          "-0.3 N, since the start by +1.2 N"),
                                         "NOT PASSED ",
                                         "vertical force off by -1.50 % at most",
                                         "its zero has not moved since the start",
                                         "never (underfoot-calib check)",
                                         "ok, 2.5 MB written, 0 bytes lost",
                                         "12 stored by this run, session 5",
                                         "1 of 64 places in the queue",
                                         "version 0.1.0, up 2 h 1 min",
                                         "underfoot.db, 2 swings",
                                         "number 2, 2023-11-15 22:13:20"};
    for (size_t i = 0; i < sizeof wanted / sizeof wanted[0]; i++)
        if (!strstr(r.out, wanted[i]))
            fail_msg("\"%s\" is not in:\n%s", wanted[i], r.out);
    assert_null(strstr(r.out, "bad_cobs")); /* zero */
    done(r);
    pid = stand_in(b->socket, healthy);
    r = RUN("--config", b->config, "status", "--json");
    ended_well(pid);
    json_t *json = json_loads(r.out, 0, NULL);
    assert_int_equal(
        json_integer_value(json_object_get(json_object_get(json, "daemon"), "samples")), 123456);
    assert_int_equal(
        json_integer_value(json_object_get(json_object_get(json, "database"), "swings")), 2);
    json_decref(json);
    done(r);
    /* a young daemon knows little: nulls are said, not shown as zeros */
    pid = stand_in(b->socket, "{\"state\":\"waiting\",\"link\":\"raw\",\"device\":\"x\","
                              "\"board_id\":null,\"rate_hz\":null,\"weight_n\":null,"
                              "\"tared\":false,\"calibration\":{\"name\":\"data sheet\","
                              "\"uuid\":\"\",\"nominal\":true}}\n");
    r = RUN("--config", b->config, "status");
    ended_well(pid);
    assert_int_equal(r.rc, 0);
    assert_non_null(strstr(r.out, "has not said who it is"));
    assert_non_null(strstr(r.out, "not known before the plates have a zero"));
    assert_non_null(strstr(r.out, "not calibrated with weights"));
    assert_null(strstr(r.out, "nan"));
    done(r);
}

static void status_without_a_daemon(void **state)
{
    const struct bay *b = *state;
    struct uf_store *s = open_store(b->place, UF_STORE_WRITE);
    assert_int_equal(uf_store_link_event(s, 1700090000000000, "stale", "no sample", NULL), 0);
    uf_store_close(s);
    says(RUN("--config", b->config, "status"), 3, "last swing       number 2", "no daemon answers");
    says(RUN("--config", b->config, "status"), 3, "stale: no sample, 2023-11-15 23:13:20", "start");
    struct said r = RUN("--config", b->config, "status", "--json");
    assert_int_equal(r.rc, 3);
    json_t *json = json_loads(r.out, 0, NULL);
    assert_true(json_is_null(json_object_get(json, "daemon")));
    assert_non_null(json_object_get(json, "problem"));
    json_decref(json);
    done(r);
    says(RUN("--config", b->config, "--database", "/nowhere.db", "status"), 3,
         "there is no database /nowhere.db", "no daemon answers");
}

static void answers_that_are_none(void **state)
{
    const struct bay *b = *state;
    static const struct {
        const char *answer, *words;
    } cases[] = {{"", "hung up"},
                 {"{\"state\":", "hung up"},
                 {"hello\n", "is not the daemon"},
                 {"[1]\n", "is not the daemon"},
                 {"{\"error\":\"no such question\"}\n", "no such question"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        pid_t pid = stand_in(b->socket, cases[i].answer);
        json_t *json;
        struct uf_error err;
        assert_int_not_equal(uf_ask(b->socket, "status", &json, &err), 0);
        assert_null(json);
        if (!strstr(err.text, cases[i].words))
            fail_msg("%s", err.text);
        ended_well(pid);
    }
}

/* ---- text ---- */

static void dates(void **state)
{
    (void)state;
    int64_t us;
    static const struct {
        const char *text;
        int64_t s;
    } good[] = {{"2026-03-01", 1772323200},
                {"2026-03-01 14:30", 1772375400},
                {"2026-03-01T14:30:05", 1772375405},
                {"2024-02-29", 1709164800}};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        assert_int_equal(uf_text_parse_date(good[i].text, 0, &us), 0);
        assert_int_equal(us, good[i].s * 1000000);
    }
    assert_int_equal(uf_text_parse_date("today", 1772375405123456, &us), 0);
    assert_int_equal(us, INT64_C(1772323200000000));
    static const char *const bad[] = {"",
                                      "yesterday",
                                      "2026-3",
                                      "2026-02-29",
                                      "2026-03-01 25:00",
                                      "2026-03-01 14:60",
                                      "2026-03-01x",
                                      "2026-03-01 14:30:99",
                                      "2026-03-01 14:30:05:1",
                                      "2026-13-01",
                                      "2026-03-01 14"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        if (uf_text_parse_date(bad[i], 0, &us) == 0)
            fail_msg("\"%s\" was taken for a date", bad[i]);
}

static void numbers(void **state)
{
    (void)state;
    static const struct {
        double value;
        const char *unit, *want;
    } cases[] = {{1.23456, "BW", "1.235"},  {800.04, "N", "800.0"}, {-0.04, "N", "0.0"},
                 {-0.06, "N", "-0.1"},      {3, "", "3"},           {NAN, "mm", "-"},
                 {21.456, "N m s", "21.46"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[40];
        uf_text_number(cases[i].value, cases[i].unit, text, sizeof text);
        assert_string_equal(text, cases[i].want);
    }
    assert_int_equal(uf_text_width("\xe2\xa3\x80n\xc3\xa9"), 3);
    char text[64];
    uf_text_utc(-1, text, sizeof text);
    assert_string_equal(text, "1969-12-31T23:59:59.999999Z");
    int64_t n;
    assert_int_equal(uf_text_parse_count("99999999999999999999", 0, &n), -1);
    assert_int_equal(uf_text_parse_count(" 1", 0, &n), -1);
}

#define T(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)

int main(void)
{
    setenv("TZ", "UTC", 1);
    const struct CMUnitTest tests[] = {
        T(grammar),
        T(settings),
        T(list),
        T(one_swing),
        T(no_metric_is_left_out),
        T(marks_from_video),
        T(frames_from_a_sync_pulse),
        cmocka_unit_test(drawing),
        T(rederiving),
        T(status_of_a_daemon),
        T(status_without_a_daemon),
        T(answers_that_are_none),
        cmocka_unit_test(dates),
        cmocka_unit_test(numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

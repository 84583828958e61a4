/* SPDX-License-Identifier: MIT
 * `underfoot status`: the daemon's own words, aligned and with units; and what the database knows,
 * daemon or not. */
#include "base/clock.h"
#include "cli/ask.h"
#include "cli/cli.h"
#include "cli/show.h"
#include "cli/text.h"
#include "store/swings.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- the daemon's answer ---- */

static const char *text_of(const json_t *o, const char *key)
{
    const char *v = json_string_value(json_object_get(o, key));
    return v ? v : "";
}

/* NAN where it is null or missing. */
static double number_of(const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    return json_is_number(v) ? json_number_value(v) : (double)NAN;
}

/* A whole number of the answer into text, "-" where it is null or missing. */
struct count {
    char text[24];
};
static struct count count_of(const json_t *o, const char *key)
{
    struct count c = {"-"};
    double v = number_of(o, key);
    if (!isnan(v))
        snprintf(c.text, sizeof c.text, "%.0f", v);
    return c;
}

/* How long ago a time of the answer was; "" where it is null. */
struct age {
    char text[48];
};
static struct age age_of(const json_t *o, const char *key)
{
    struct age a = {""};
    double utc_us = number_of(o, key), age_s = 1e-6 * ((double)uf_clock_utc_us() - utc_us);
    if (!isnan(utc_us))
        uf_text_span(age_s > 0 ? age_s : 0, a.text, sizeof a.text);
    return a;
}

static void line(struct uf_columns *t, const char *label)
{
    uf_columns_add(t, "%s", label);
}

static void add_link(struct uf_columns *t, const json_t *o)
{
    double rate_hz = number_of(o, "rate_hz"), measured_hz = number_of(o, "measured_rate_hz");
    double drift_ppm = number_of(o, "drift_ppm");
    line(t, "link");
    uf_columns_add(t, "%s %s", text_of(o, "link"), text_of(o, "device"));
    line(t, "board");
    if (*text_of(o, "board_id"))
        uf_columns_add(t, "%s, firmware %s, %s channels", text_of(o, "board_id"),
                       count_of(o, "firmware").text, count_of(o, "channels").text);
    else
        uf_columns_add(t, "has not said who it is yet");
    line(t, "rate");
    if (isnan(rate_hz))
        uf_columns_add(t, "not known yet");
    else if (isnan(measured_hz))
        uf_columns_add(t, "%.0f Hz promised", rate_hz);
    else
        uf_columns_add(t, "%.2f Hz measured, %.0f Hz promised", measured_hz, rate_hz);
    line(t, "board's clock");
    if (isnan(drift_ppm))
        uf_columns_add(t, "drift not known yet");
    else
        uf_columns_add(t, "%+.2f ppm against this computer's", drift_ppm);
    if (number_of(o, "clock_step_ms") > 0) {
        line(t, "");
        uf_columns_add(t, "in steps of %.2g ms: the firmware must send microseconds",
                       number_of(o, "clock_step_ms"));
    }
}

/* Counters that are not zero: what is quiet needs no line. */
static void add_counters(struct uf_columns *t, const json_t *o)
{
    json_t *counters = json_object_get(o, "counters");
    const char *key, *inner;
    json_t *v, *w;
    line(t, "samples");
    uf_columns_add(t, "%s received, %s lost, %s damaged packets", count_of(o, "samples").text,
                   count_of(o, "lost").text, count_of(o, "bad").text);
    json_object_foreach(counters, key, v)
    {
        if (json_is_integer(v) && json_integer_value(v) > 0) {
            uf_columns_add(t, "  %s", key);
            uf_columns_add(t, "%lld", (long long)json_integer_value(v));
        }
        json_object_foreach(v, inner, w)
        {
            if (!json_is_integer(w) || json_integer_value(w) == 0)
                continue;
            uf_columns_add(t, "  %s: %s", key, inner);
            uf_columns_add(t, "%lld", (long long)json_integer_value(w));
        }
    }
}

static void add_golfer(struct uf_columns *t, const json_t *o)
{
    double weight_n = number_of(o, "weight_n"), age_s = number_of(o, "tare_age_s");
    const json_t *cal = json_object_get(o, "calibration");
    char span[48] = "";
    line(t, "on the plates");
    if (json_is_false(json_object_get(o, "tared")))
        uf_columns_add(t, "not known before the plates have a zero; %s-handed", text_of(o, "hand"));
    else if (isnan(weight_n))
        uf_columns_add(t, "%s, weight not known; %s-handed", text_of(o, "stance"),
                       text_of(o, "hand"));
    else
        uf_columns_add(t, "%s, %.1f N; %s-handed", text_of(o, "stance"), weight_n,
                       text_of(o, "hand"));
    line(t, "zero");
    if (!isnan(age_s))
        uf_text_span(age_s, span, sizeof span);
    if (json_is_true(json_object_get(o, "tared")))
        uf_columns_add(t, "taken%s%s%s", *span ? " " : "", span, *span ? " ago" : "");
    else
        uf_columns_add(t, "none yet: leave the plates empty and still for a moment");
    line(t, "calibration");
    if (json_is_true(json_object_get(cal, "nominal")))
        uf_columns_add(t, "%s: not calibrated with weights (underfoot-calib)",
                       text_of(cal, "name"));
    else {
        struct age old = age_of(cal, "made_utc_us");
        uf_columns_add(t, "%s, %s%s%s%s", text_of(cal, "name"), text_of(cal, "uuid"),
                       *old.text ? ", made " : "", old.text, *old.text ? " ago" : "");
    }
}

/* Where the next swing goes. */
static void add_lesson(struct uf_columns *t, const json_t *o)
{
    const json_t *lesson = json_object_get(o, "lesson"), *block = json_object_get(lesson, "block"),
                 *ball = json_object_get(block, "ball");
    const char *player = text_of(lesson, "player"), *club = text_of(block, "club");
    line(t, "lesson");
    if (!json_is_object(lesson) || !*player) {
        uf_columns_add(t, "none: swings are kept without a player");
        return;
    }
    uf_columns_add(t, "session %s with %s, %s-handed, %s swings", count_of(lesson, "session").text,
                   player, text_of(lesson, "hand"), count_of(lesson, "swings").text);
    line(t, "block");
    if (!json_is_object(block))
        uf_columns_add(t, "none is open");
    else
        uf_columns_add(t, "%s: %s%s%s%s, %s swings", count_of(block, "id").text,
                       text_of(block, "kind"),
                       json_is_true(ball)    ? ", ball"
                       : json_is_false(ball) ? ", no ball"
                                             : "",
                       *club ? ", " : "", club, count_of(block, "swings").text);
}

/* What each plate's zero did, and its last check. */
static void add_plate_health(struct uf_columns *t, const json_t *plate)
{
    const json_t *check = json_object_get(plate, "check");
    double drift_n = number_of(plate, "drift_n"), total_n = number_of(plate, "total_drift_n"),
           empty_n = number_of(plate, "empty_n"),
           error_pct = number_of(check, "vertical_error_pct");
    uf_columns_add(t, "%s plate", text_of(plate, "plate"));
    char now[60] = "", moved[90] = "its zero has not moved since the start";
    if (!isnan(empty_n))
        snprintf(now, sizeof now, "%+.1f N off its zero now, empty; ", empty_n);
    if (!isnan(drift_n))
        snprintf(moved, sizeof moved, "the last zero moved by %+.1f N, since the start by %+.1f N",
                 drift_n, total_n);
    uf_columns_add(t, "%s%s", now, moved);
    uf_columns_add(t, "  check");
    if (!json_is_object(check))
        uf_columns_add(t, "never (underfoot-calib check)");
    else
        uf_columns_add(t, "%s %s ago, vertical force off by %+.2f %% at most",
                       json_is_true(json_object_get(check, "passed")) ? "passed" : "NOT PASSED",
                       age_of(check, "utc_us").text, error_pct);
}

/* Plates that are not watched for what no load can make need no line about it. */
static void add_plates(struct uf_columns *t, const json_t *o)
{
    size_t i;
    json_t *plate;
    json_array_foreach(json_object_get(o, "plates"), i, plate)
    {
        double left_n = number_of(plate, "left_n");
        add_plate_health(t, plate);
        if (!*text_of(plate, "state"))
            continue;
        uf_columns_add(t, "  cells");
        if (!strcmp(text_of(plate, "state"), "suspect"))
            uf_columns_add(t,
                           "SUSPECT, most at cell %s: its cells share the load as no load can make "
                           "them, by %.1f N (limit %.1f N)",
                           text_of(plate, "cell"), left_n, number_of(plate, "limit_n"));
        else if (isnan(left_n))
            uf_columns_add(t, "ok, no load on it yet");
        else
            uf_columns_add(t, "ok, %.1f N left over (limit %.1f N)", left_n,
                           number_of(plate, "limit_n"));
    }
}

static void add_store(struct uf_columns *t, const json_t *o)
{
    line(t, "store");
    uf_columns_add(t, "%s%s%s", text_of(o, "store_state"), *text_of(o, "store_problem") ? ": " : "",
                   text_of(o, "store_problem"));
    line(t, "swings");
    uf_columns_add(t, "%s stored by this run, session %s; %s of %s places in the queue taken",
                   count_of(o, "swings_stored").text, count_of(o, "session").text,
                   count_of(o, "queue").text, count_of(o, "queue_limit").text);
    const json_t *spool = json_object_get(o, "spool");
    line(t, "spool");
    if (!json_is_object(spool))
        uf_columns_add(t, "off: a crash would lose what is not stored yet");
    else if (json_is_true(json_object_get(spool, "failing")))
        uf_columns_add(t, "FAILING: %s", text_of(spool, "problem"));
    else
        uf_columns_add(t, "ok, %.1f MB written, %s bytes lost", 1e-6 * number_of(spool, "bytes"),
                       count_of(spool, "lost_bytes").text);
    const json_t *recording = json_object_get(o, "recording");
    if (!json_is_object(recording))
        return;
    bool failing = json_is_true(json_object_get(recording, "failing"));
    line(t, "recording");
    uf_columns_add(t, "%s%s%s", text_of(recording, "file"), failing ? ", FAILING: " : "",
                   failing ? text_of(recording, "problem") : "");
}

static void add_daemon(struct uf_columns *t, const json_t *o)
{
    char span[48];
    line(t, "state");
    uf_columns_add(t, "%s%s%s%s", json_is_true(json_object_get(o, "stopping")) ? "stopping, " : "",
                   text_of(o, "state"), *text_of(o, "state_text") ? ": " : "",
                   text_of(o, "state_text"));
    double uptime_s = number_of(o, "uptime_s");
    uf_text_span(isnan(uptime_s) ? 0 : uptime_s, span, sizeof span);
    line(t, "daemon");
    uf_columns_add(t, "version %s, up %s", text_of(o, "version"), span);
    add_link(t, o);
    add_counters(t, o);
    add_golfer(t, o);
    add_lesson(t, o);
    add_plates(t, o);
    add_store(t, o);
}

/* ---- the database ---- */

static void add_time(struct uf_columns *t, const char *label, int64_t utc_us, const char *what)
{
    char time[40], span[48];
    double age_s = 1e-6 * (double)(uf_clock_utc_us() - utc_us);
    uf_text_local(utc_us, time, sizeof time);
    uf_text_span(age_s > 0 ? age_s : 0, span, sizeof span);
    line(t, label);
    uf_columns_add(t, "%s, %s (%s ago)", what, time, span);
}

static void add_known(struct uf_columns *t, const char *path, const struct uf_store_summary *k,
                      const char *problem)
{
    char what[300];
    line(t, "database");
    if (problem) {
        uf_columns_add(t, "%s", problem);
        return;
    }
    uf_columns_add(t, "%s, %lld swing%s", path, (long long)k->swings, k->swings == 1 ? "" : "s");
    if (k->last_swing) {
        snprintf(what, sizeof what, "number %lld", (long long)k->last_swing);
        add_time(t, "last swing", k->last_swing_utc_us, what);
    }
    if (k->event_utc_us) {
        snprintf(what, sizeof what, "%s%s%s", k->event, *k->detail ? ": " : "", k->detail);
        add_time(t, "last link event", k->event_utc_us, what);
    }
}

static json_t *known_json(const char *path, const struct uf_store_summary *k, const char *problem)
{
    if (problem)
        return json_pack("{s:s, s:s}", "file", path, "problem", problem);
    return json_pack("{s:s, s:I, s:I, s:I, s:I, s:s, s:s}", "file", path, "swings",
                     (json_int_t)k->swings, "last_swing", (json_int_t)k->last_swing,
                     "last_swing_utc_us", (json_int_t)k->last_swing_utc_us,
                     "last_link_event_utc_us", (json_int_t)k->event_utc_us, "last_link_event",
                     k->event, "last_link_event_detail", k->detail);
}

/* ---- the command ---- */

int uf_cli_status(struct uf_cli *c)
{
    json_t *answer = NULL;
    struct uf_store *s;
    struct uf_error silent, problem;
    struct uf_store_summary known;
    int asked = uf_ask(c->config.daemon.control, "status", &answer, &silent);
    int opened = uf_store_open(&s, c->database, UF_STORE_READ, &problem);
    if (opened == 0) {
        opened = uf_store_summary(s, &known, &problem);
        uf_store_close(s);
    }
    const char *wrong = opened ? problem.text : NULL;
    int rc = asked == 0 ? UF_EXIT_DONE : asked == UF_ENOTFOUND ? UF_EXIT_NO_DAEMON : UF_EXIT_FAILED;
    if (uf_cli_option(c, "--json")) {
        json_t *json = json_pack("{s:o?, s:o}", "daemon", answer, "database",
                                 known_json(c->database, &known, wrong));
        if (asked && json)
            json_object_set_new(json, "problem", json_string(silent.text));
        int printed = uf_cli_print_json(c, json);
        return printed ? printed : rc;
    }
    struct uf_columns t;
    uf_columns_begin(&t, "ll");
    if (asked == 0)
        add_daemon(&t, answer);
    add_known(&t, c->database, &known, wrong);
    if (uf_columns_print(&t, "", c->out))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "no memory");
    json_decref(answer);
    if (asked)
        uf_cli_fail(c, rc, "%s", silent.text);
    return rc;
}

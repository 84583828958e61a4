/* SPDX-License-Identifier: MIT
 * The report of a lesson: what people typed is text, numbers are those of the database, sentences
 * say no more than the swings do, and no file is overwritten. Players and numbers are invented. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/clock.h"
#include "base/markup.h"
#include "cli/text.h"
#include "cli_run.h"
#include "store/focus.h"
#include "store/lessons.h"
#include "stored_swing.h"

#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>

#define NASTY "<xmp onload=\"x()\">'&amp; \xC3\x86r\xC3\xB8"

#define DB(...)   RUN("--database", ((const struct place *)*state)->db, __VA_ARGS__)
#define FINE(...) says(DB(__VA_ARGS__), 0, "", "")

/* One analysis with a strike, one without, for all swings: they take their time. */
struct made {
    struct uf_rig rig;
    struct uf_capture *capture[2];
    struct uf_analysis *analysis[2];
};
static struct made made;

static int make_all(void **state)
{
    (void)state;
    struct uf_calibration nominal;
    struct uf_analysis_settings settings;
    uf_rig_example(&made.rig);
    uf_calibration_nominal(&made.rig, &nominal);
    uf_analysis_defaults(&settings);
    for (int strike = 0; strike < 2; strike++) {
        made.capture[strike] = make_swing(&made.rig, 800, strike);
        made.capture[strike]->samples =
            SWING_SAMPLES * 7 / 10; /* what comes after it takes time only */
        if (uf_analyse(made.capture[strike], &made.rig, &nominal, &settings, &made.analysis[strike],
                       NULL))
            return -1;
    }
    return 0;
}

static int free_all(void **state)
{
    (void)state;
    for (int strike = 0; strike < 2; strike++) {
        uf_analysis_free(made.analysis[strike]);
        uf_capture_free(made.capture[strike]);
    }
    return 0;
}

/* n swings arrive now, each a newton heavier than the one before, and a little different. */
static void arrive_in(struct uf_store *s, double weight_n, int n, bool strike)
{
    struct uf_swing_meta meta = {.clock_drift_ppm = NAN};
    struct uf_analysis *a = made.analysis[strike];
    assert_int_equal(uf_store_rig(s, &made.rig, &meta.rig_id, NULL), 0);
    for (int i = 0; i < n; i++) {
        int64_t id, now = uf_clock_utc_us();
        meta.trigger_utc_us = now;
        a->value[UF_M_weight_n] = weight_n + i;
        a->value[UF_M_trail_share_address_pct] += 0.3;
        a->value[UF_M_target_peak_bw] -= 0.004;
        a->value[UF_M_turn_peak_nm] += 1.7;
        assert_int_equal(uf_store_swing_add(s, &meta, made.capture[strike], a, now, &id, NULL), 0);
    }
}

static void arrive(void **state, double weight_n, int n, bool strike)
{
    struct uf_store *s = open_store(*state, UF_STORE_WRITE);
    arrive_in(s, weight_n, n, strike);
    uf_store_close(s);
}

static void sql(void **state, const char *text)
{
    struct uf_store *s = open_store(*state, UF_STORE_WRITE);
    run_sql(s, text);
    uf_store_close(s);
}

static void block(struct uf_store *s, const char *kind, double weight_n, int n)
{
    struct uf_block b = {.ball = 1, .club = "7 iron"};
    struct uf_error err;
    int64_t before;
    snprintf(b.kind, sizeof b.kind, "%s", kind);
    if (uf_block_start(s, &b, uf_clock_utc_us(), &before, &err))
        fail_msg("%s", err.text);
    arrive_in(s, weight_n, n, true);
}

/* Player, session with a focus; before and after swings of these weights. */
static void lesson(void **state, double before_n, int before, double after_n, int after)
{
    struct uf_store *s = open_store(*state, UF_STORE_WRITE);
    struct uf_player p = {.name = "Kim", .foot_length_mm = NAN, .stature_mm = NAN};
    struct uf_error err;
    int64_t id;
    if (uf_player_add(s, &p, uf_clock_utc_us(), &err) ||
        uf_session_start(s, p.id, NULL, &made.rig, uf_clock_utc_us(), &id, &err) ||
        uf_focus_set(s, id, NULL, "weight_n", &err))
        fail_msg("%s", err.text);
    block(s, "baseline", before_n, before);
    block(s, "drill", 900, 1);
    block(s, "retest", after_n, after);
    if (uf_session_end(s, 0, uf_clock_utc_us(), &id, &err))
        fail_msg("%s", err.text);
    uf_store_close(s);
}

static char *report(void **state)
{
    struct said r = DB("report", "--out", "-");
    if (r.rc)
        fail_msg("%s", r.err);
    free(r.err);
    return r.out;
}

static void has(const char *text, const char *part)
{
    if (!strstr(text, part))
        fail_msg("the report lacks: %s\n%s", part, text);
}

static void has_not(const char *text, const char *part)
{
    if (strstr(text, part))
        fail_msg("the report has: %.80s", strstr(text, part));
}

/* The one line that has this in it, cut out of text; free it. */
static char *line_with(const char *text, const char *part)
{
    const char *at = strstr(text, part);
    if (!at)
        fail_msg("the report lacks: %s", part);
    while (at > text && at[-1] != '\n')
        at--;
    return strndup(at, strcspn(at, "\n"));
}

/* ---- text ---- */

static void typed_text_is_text(void **state)
{
    FINE("player", "add", NASTY, "--hand", "left", "--cautions", "1 " NASTY);
    FINE("session", "start", NASTY, "--note", "2 " NASTY, "--fault", "3 " NASTY);
    FINE("block", "start", "4 " NASTY, "--club", "5 " NASTY, "--note", "6 " NASTY);
    arrive(state, 800, 2, true);
    FINE("block", "start", "7 " NASTY, "--club", "8 " NASTY, "--note", "9 " NASTY);
    arrive(state, 800, 2, true);
    sql(state, "UPDATE rig SET name = '"
               "<xmp>''&"
               "',"
               " description_json = json_set(description_json, '$.name', '<xmp>''&')");
    char *text = report(state);
    has_not(text, "<xmp");
    has_not(text, "x()\">");
    for (int i = 1; i <= 9; i++) {
        char part[120];
        snprintf(part, sizeof part,
                 "%d &lt;xmp onload=&quot;x()&quot;&gt;&#39;&amp;amp; \xC3\x86r\xC3\xB8", i);
        has(text, part);
    }
    free(text);
}

static void nothing_is_loaded(void **state)
{
    static const char *const ways[] = {"http:",   "https:",  "//",    "src=", "href",    "url(",
                                       "@import", "<script", "<link", "<img", "<iframe", "<object"};
    lesson(state, 800, 1, 810, 2);
    char *text = report(state);
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++)
        has_not(text, ways[i]);
    has(text, "default-src 'none'");
    has_not(text, "nan");
    free(text);
}

static void parts_are_cut_between_characters(void **state)
{
    (void)state;
    static const struct {
        const char *in;
        size_t most;
        const char *out;
        size_t used;
    } cases[] = {{"abc", 3, "abc", 3},
                 {"abcd", 3, "abc\u2026", 3},
                 {"a\xC3\xB8z", 2, "a\u2026", 1},
                 {"a\xC3\xB8z", 3, "a\xC3\xB8\u2026", 3},
                 {"\xF0\x9F\x8F\x8C", 3, "\u2026", 0},
                 {"<&>", 2, "&lt;&amp;\u2026", 2},
                 {"", 5, "", 0}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *text;
        size_t n;
        FILE *f = open_memstream(&text, &n);
        assert_int_equal(uf_markup_part(f, cases[i].in, cases[i].most), cases[i].used);
        fclose(f);
        assert_string_equal(text, cases[i].out);
        free(text);
    }
}

static void simulated_swings_say_so(void **state)
{
    lesson(state, 800, 1, 810, 1);
    char *text = report(state);
    has_not(text, "invented");
    free(text);
    sql(state, "UPDATE swing SET board_id = '53494d0000000001' WHERE id = 3");
    text = report(state);
    has(text, "Nobody was measured");
    free(text);
}

/* ---- numbers ---- */

/* A number of the database as the report writes it. */
static void written(double v, const char *unit, bool sign, char *out, size_t size)
{
    char text[40];
    uf_text_number(v, unit, text, sizeof text);
    snprintf(out, size, "%s%s%s", sign && strtod(text, NULL) > 0 ? "+" : "",
             text[0] == '-' ? "\u2212" : "", text + (text[0] == '-'));
}

static void numbers_are_those_of_the_database(void **state)
{
    static const struct {
        const char *words, *metric;
    } rows[] = {{"<td>Trail share at address", "trail_share_address_pct"},
                {"<td>Target-ward peak", "target_peak_bw"},
                {"<td>Turn peak", "turn_peak_nm"},
                {"<td>Vertical peak, lead", "lead_vertical_peak_bw"},
                {"<td>Trail share at impact", "trail_share_impact_pct"}};
    lesson(state, 800, 3, 850, 4);
    char *text = report(state);
    struct uf_store *s = open_store(*state, UF_STORE_READ);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char select[400], number[60], cell[80];
        sqlite3_stmt *q;
        int m = uf_metric_find(rows[i].metric);
        snprintf(select, sizeof select,
                 "SELECT (SELECT avg(%s) FROM swing_metric JOIN derivation ON derivation.id ="
                 " derivation_id JOIN swing ON swing.id = swing_id WHERE block_id = b) FROM"
                 " (SELECT 1 AS b UNION SELECT 3) ORDER BY b",
                 rows[i].metric);
        assert_int_equal(sqlite3_prepare_v2(uf_store_db(s), select, -1, &q, NULL), SQLITE_OK);
        char *line = line_with(text, rows[i].words);
        double mean[2];
        for (int side = 0; side < 2; side++) {
            assert_int_equal(sqlite3_step(q), SQLITE_ROW);
            mean[side] = sqlite3_column_double(q, 0);
            written(mean[side], uf_metric_row((enum uf_metric)m)->unit, false, number,
                    sizeof number);
            snprintf(cell, sizeof cell, "<td>%s (", number);
            has(line, cell);
        }
        written(mean[1] - mean[0], uf_metric_row((enum uf_metric)m)->unit, true, number,
                sizeof number);
        snprintf(cell, sizeof cell, "<td>%s</td>", number);
        has(line, cell);
        free(line);
        sqlite3_finalize(q);
    }
    /* what it takes, and the verdict, as the view session_change says */
    sqlite3_stmt *q;
    assert_int_equal(sqlite3_prepare_v2(uf_store_db(s),
                                        "SELECT first_mean, last_mean, change, change_needed FROM"
                                        " session_change WHERE metric = 'weight_n'",
                                        -1, &q, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(q), SQLITE_ROW);
    for (int i = 0; i < 4; i++) {
        char number[60];
        written(sqlite3_column_double(q, i), "N", i == 2, number, sizeof number);
        has(text, number);
    }
    sqlite3_finalize(q);
    uf_store_close(s);
    free(text);
}

static void club_speed_stands_beside(void **state)
{
    lesson(state, 800, 3, 810, 3);
    for (int i = 1; i <= 7; i++) {
        char id[16], value[16];
        snprintf(id, sizeof id, "%d", i);
        snprintf(value, sizeof value, "%d", i < 4 ? 80 + i : 90 + i);
        FINE("swing", "extra", id, "club_speed", value, "mph");
    }
    char *text = report(state);
    has(text, "Before 36.66\u00a0m/s (82.0 mph), mean of 3; After 42.92\u00a0m/s (96.0 mph)");
    has(text, "mean of 3. Changed.");
    has(text, "<td>Club speed, m/s</td>");
    free(text);
}

/* ---- sentences ---- */

static void a_change_is_called_one(void **state)
{
    lesson(state, 800, 3, 850, 3);
    char *text = report(state);
    has(text, "<b>Changed:</b> the difference of +");
    has(text, "Three swings are three swings");
    free(text);
}

static void noise_is_called_noise(void **state)
{
    lesson(state, 800, 5, 801, 5);
    char *text = report(state);
    has(text, "<b>Within noise:</b> the difference of +1.0\u00a0N");
    has_not(text, "swings are");
    free(text);
}

static void few_swings_say_nothing(void **state)
{
    lesson(state, 800, 3, 850, 2);
    char *text = report(state);
    has(text, "<b>Too few swings to say:</b> three before and two after");
    has(text, "each of 2 swings"); /* no mean curve of two */
    has_not(text, "Changed");
    has(text, "<b>Club speed</b>: none was given");
    free(text);
    FINE("swing", "exclude", "5", "--reason", "slipped");
    text = report(state);
    has(text, "three before and one after");
    has(text, "1 swing (1 more excluded)");
    free(text);
}

static void what_is_missing_has_its_reason(void **state)
{
    FINE("player", "add", "Kim", "--hand", "right");
    FINE("session", "start", "Kim");
    char *text = report(state);
    has(text, "None was chosen");
    free(text);
    FINE("block", "start", "baseline");
    arrive(state, 800, 2, true);
    FINE("block", "start", "retest");
    arrive(state, 800, 2, false); /* no strike */
    struct said r = DB("report", "--out", "-", "--focus", "turn_peak_to_impact_ms");
    has(r.out, "<b>Not measured</b> after: nothing to compare");
    has(r.out, uf_reason_text(UF_REASON_NO_IMPACT));
    has(r.out, "in 2 of 4");
    has(r.out, "not measured, in 2");
    done(r);
}

static void without_a_retest(void **state)
{
    FINE("player", "add", "Kim", "--hand", "right");
    FINE("session", "start", "Kim", "--focus", "weight_n");
    char *text = report(state);
    has(text, "Everything: no swing counts");
    free(text);
    arrive(state, 800, 1, true);
    text = report(state);
    has(text, "swings outside of blocks, 1 swing<");
    has(text, "One swing is one swing");
    free(text);
    arrive(state, 801, 1, true);
    text = report(state);
    has(text, "Two swings are two swings");
    free(text);
    FINE("block", "start", "baseline");
    arrive(state, 802, 3, true);
    text = report(state);
    has(text, "No retest: nothing to compare with yet");
    /* 802, 803, 804 N: SD 1; Student's t of 4 degrees of freedom (tables: 2.776) times sqrt(2/3) */
    has(text,
        "varies by 1.0\u00a0N (1 SD); a retest of as many swings would have to differ by about "
        "2.3\u00a0N");
    has(text, "a retest has to differ by");
    free(text);
}

/* ---- which blocks ---- */

static void a_baseline_of_an_earlier_lesson(void **state)
{
    lesson(state, 800, 3, 850, 3);
    FINE("session", "start", "Kim", "--focus", "weight_n");
    FINE("block", "start", "retest", "--ball", "--club", "7 iron");
    arrive(state, 800, 3, true);
    FINE("player", "add", "Lee", "--hand", "right");
    FINE("session", "start", "Lee");
    FINE("block", "start", "baseline");
    arrive(state, 700, 1, true);
    struct said r = DB("report", "2", "--baseline", "3", "--out", "-");
    has(r.out, "of session 1");
    has(r.out, "different sessions");
    has(r.out, "<b>Changed:</b> the difference of \u2212");
    done(r);
    says(DB("report", "2", "--baseline", "5", "--out", "-"), 1, "", "of another player");
    says(DB("report", "2", "--retest", "3", "--out", "-"), 1, "", "not of session 2");
    says(DB("report", "2", "--baseline", "99", "--out", "-"), 1, "", "no block 99");
    says(DB("report", "2", "--baseline", "4", "--retest", "4", "--out", "-"), 1, "", "itself");
    says(DB("report", "9"), 1, "", "no session 9");
    says(DB("report", "x"), 2, "", "not the number of a session");
    says(DB("report", "--focus", "turn_peek_nm"), 2, "", "did you mean turn_peak_nm");
}

static void the_focus_is_kept(void **state)
{
    FINE("player", "add", "Kim", "--hand", "right");
    says(DB("session", "start", "Kim", "--focus", "nonsense"), 2, "", "no number \"nonsense\"");
    says(DB("session", "list"), 0, "no session yet", "");
    FINE("session", "start", "Kim", "--fault", "late", "--focus", "tempo");
    says(DB("session", "show"), 0, "tempo", "");
    FINE("session", "edit", "1", "--fault", "early");
    says(DB("session", "show"), 0, "early", "");
    says(DB("session", "show"), 0, "tempo", "");
    FINE("session", "edit", "1", "--focus", "");
    struct said r = DB("session", "show");
    has_not(r.out, "tempo");
    done(r);
    says(DB("session", "edit", "7", "--focus", "tempo"), 1, "", "no session 7");
}

/* ---- the file ---- */

static void a_file_is_not_overwritten(void **state)
{
    const struct place *p = *state;
    char path[160], part[170], text[8] = "";
    struct stat st;
    lesson(state, 800, 1, 801, 1);
    snprintf(path, sizeof path, "%s/r.html", p->folder);
    snprintf(part, sizeof part, "%s.part", path);
    says(DB("report", "--out", path), 0, "r.html: the report of session 1", "");
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    assert_true(st.st_size > 10000);
    assert_int_not_equal(access(part, F_OK), 0);
    FILE *f = fopen(path, "w");
    fputs("mine", f);
    fclose(f);
    says(DB("report", "--out", path), 1, "", "exists: give another name");
    f = fopen(path, "r");
    assert_non_null(fgets(text, sizeof text, f));
    fclose(f);
    assert_string_equal(text, "mine");
    FINE("report", "--out", path, "--force");
    assert_int_equal(stat(path, &st), 0);
    assert_true(st.st_size > 10000);
    says(DB("report", "--out", "/nowhere/r.html"), 1, "", "does its folder exist");
    says(DB("report", "--out", ""), 2, "", "empty or too long");
}

/* A full disk, as a limit of the file's size. */
static void half_a_report_is_none(void **state)
{
    const struct place *p = *state;
    char path[160], part[170];
    struct rlimit before, small;
    lesson(state, 800, 1, 801, 1);
    snprintf(path, sizeof path, "%s/r.html", p->folder);
    snprintf(part, sizeof part, "%s.part", path);
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    small = before;
    small.rlim_cur = 60000;
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    struct said r = DB("report", "--out", path);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    says(r, 1, "", "cannot write the report");
    assert_int_not_equal(access(path, F_OK), 0);
    assert_int_not_equal(access(part, F_OK), 0);
    /* nor is one that was there lost */
    FINE("report", "--out", path);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    r = DB("report", "--out", path, "--force");
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    says(r, 1, "", "cannot write the report");
    struct stat st;
    assert_int_equal(stat(path, &st), 0);
    assert_true(st.st_size > 60000);
}

static void a_name_that_files_can_have(void **state)
{
    const struct place *p = *state;
    char back[400];
    FINE("player", "add",
         "../<K\xC3\xB8"
         "/ 7>",
         "--hand", "right");
    FINE("session", "start", "../<K\xC3\xB8/ 7>");
    assert_non_null(getcwd(back, sizeof back));
    assert_int_equal(chdir(p->folder), 0);
    struct said r = DB("report", "--json");
    assert_int_equal(chdir(back), 0);
    has(r.out, "report-1-K\xC3\xB8-7.html");
    assert_int_equal(r.rc, 0);
    done(r);
}

#define T(test) cmocka_unit_test_setup_teardown(test, empty_set_up, place_tear_down)
int main(void)
{
    const struct CMUnitTest tests[] = {
        T(typed_text_is_text),
        T(nothing_is_loaded),
        cmocka_unit_test(parts_are_cut_between_characters),
        T(simulated_swings_say_so),
        T(numbers_are_those_of_the_database),
        T(club_speed_stands_beside),
        T(a_change_is_called_one),
        T(noise_is_called_noise),
        T(few_swings_say_nothing),
        T(what_is_missing_has_its_reason),
        T(without_a_retest),
        T(a_baseline_of_an_earlier_lesson),
        T(the_focus_is_kept),
        T(a_file_is_not_overwritten),
        T(half_a_report_is_none),
        T(a_name_that_files_can_have),
    };
    return cmocka_run_group_tests(tests, make_all, free_all);
}

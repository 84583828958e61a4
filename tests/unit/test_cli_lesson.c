/* SPDX-License-Identifier: MIT
 * A lesson by commands: players, sessions, blocks, marks, comparison; and what is refused. Players
 * and numbers are invented. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/clock.h"
#include "cli_run.h"
#include "stored_swing.h"
#include "swing/variability.h"

#define DB(...) RUN("--database", ((const struct place *)*state)->db, __VA_ARGS__)

/* A swing arrives now: into the open session and block. */
static int64_t arrive(const struct place *p, double weight_n)
{
    struct uf_store *s = open_store(p, UF_STORE_WRITE);
    struct studio t = {.session_id = 0};
    uf_rig_example(&t.rig);
    uf_calibration_nominal(&t.rig, &t.nominal);
    uf_analysis_defaults(&t.settings);
    assert_int_equal(uf_store_rig(s, &t.rig, &t.rig_id, NULL), 0);
    int64_t id = add_swing(&t, s, weight_n, true, 1e-6 * (double)uf_clock_utc_us());
    uf_store_close(s);
    return id;
}

static void families(void **state)
{
    says(DB("player"), 2, "", "player add NAME");
    says(DB("player", "--help"), 0, "player show NAME", "");
    says(DB("player", "ad"), 2, "", "no command \"player ad\", did you mean add");
    says(DB("swing", "lable", "3", "4"), 2, "", "did you mean label");
    says(DB("swing", "3", "4"), 2, "", "one word too many: \"4\"");
    says(DB("swing", "--json", "star", "4"), 2, "", "put the options behind \"swing star\"");
    says(DB("swing", "star", "--help"), 0, "usage: underfoot swing star N ... [--json]", "");
    says(DB("swing", "--help"), 0, "swing exclude N ...", "");
    says(DB("block", "start"), 2, "", "block start needs KIND");
    says(DB("plaeyr"), 2, "", "did you mean player");
}

static void players(void **state)
{
    says(DB("player", "list"), 0, "no player yet", "");
    says(DB("player", "add", "Zo\xC3\xAB"), 2, "", "needs --hand");
    says(DB("player", "add", "Zo\xC3\xAB", "--hand", "both"), 2, "", "give right or left");
    says(DB("player", "add", "  ", "--hand", "left"), 1, "", "needs a name or a code");
    says(DB("player", "add", "a\033[2J", "--hand", "left"), 2, "", "control character");
    says(DB("player", "add", "\xFF", "--hand", "left"), 2, "", "not UTF-8");
    says(DB("player", "add", "Zo\xC3\xAB", "--hand", "left", "--foot-mm", "27,5"), 2, "",
         "--foot-mm 27,5 is not a length");
    says(DB("player", "add", "Zo\xC3\xAB", "--hand", "left", "--foot-mm", "27.5"), 1, "",
         "give millimetres");
    says(DB("player", "add", "Zo\xC3\xAB", "--hand", "left", "--foot-mm", "265", "--cautions",
            "left knee; \"careful\" <b>"),
         0, "Zo\xC3\xAB, left-handed, is added", "");
    says(DB("player", "add", "zO\xC3\xAB", "--hand", "left"), 1, "", "there is a player");
    says(DB("player", "add", "'; DROP TABLE player; --", "--hand=right", "--json"), 0,
         "\"player\": 2", "");
    says(DB("player", "show", "Zo\xC3\xAB"), 0, "CAUTIONS: left knee; \"careful\" <b>", "");
    says(DB("player", "show", "Zoe"), 1, "", "did you mean \"Zo\xC3\xAB\"");
    says(
        DB("player", "edit", "Zo\xC3\xAB", "--stature-mm", "1710", "--foot-mm", "", "--name", "Z1"),
        0, "Z1, left-handed", "");
    struct said r = DB("player", "show", "Z1", "--json");
    json_t *json = json_loads(r.out, 0, NULL);
    assert_true(json_is_null(json_object_get(json, "foot_length_mm")));
    assert_true(json_real_value(json_object_get(json, "stature_mm")) == 1710);
    assert_string_equal(json_string_value(json_object_get(json, "cautions")),
                        "left knee; \"careful\" <b>");
    json_decref(json);
    done(r);
    r = DB("player", "list", "--json");
    json = json_loads(r.out, 0, NULL);
    assert_int_equal(json_array_size(json), 2);
    assert_string_equal(json_string_value(json_object_get(json_array_get(json, 0), "name")),
                        "'; DROP TABLE player; --");
    json_decref(json);
    done(r);
}

static void a_lesson(void **state)
{
    says(DB("session", "start", "Kim"), 1, "", "no player \"Kim\", and no other yet");
    says(DB("player", "add", "Kim", "--hand", "left", "--cautions", "back, 2021"), 0, "", "");
    says(DB("block", "start", "baseline"), 1, "", "underfoot session start");
    says(DB("session", "end"), 1, "", "no session is open");
    says(DB("session", "show"), 1, "", "no session yet");
    says(DB("session", "start", "kim", "--note", "first"), 0, "CAUTIONS: back, 2021", "");
    says(DB("block", "end"), 1, "", "no block is open");
    says(DB("block", "start", "baseline", "--ball", "--no-ball"), 2, "", "either --ball");
    says(DB("block", "start", "baseline", "--ball", "--club", "7 iron"), 0,
         "block 1 of session 1, baseline, has begun\n", "");
    assert_int_equal(arrive(*state, 800), 1);
    arrive(*state, 801);
    says(DB("block", "start", "retest", "--ball", "--club", "7 iron", "--json"), 0,
         "block 1 has ended", "");
    arrive(*state, 820);
    says(DB("block", "end"), 0, "block 2 has ended", "");
    says(DB("block", "end"), 1, "", "no block is open: the last one, 2, ended at");
    says(DB("block", "end", "2"), 1, "", "block 2 has ended already");
    says(DB("block", "end", "x"), 2, "", "not the number of a block");
    says(DB("block", "list"), 0, "7 iron", "");
    says(DB("block", "edit", "2", "--no-ball", "--club", "driver", "--kind", "<i>"), 0, "", "");
    says(DB("block", "list", "1"), 0, "no ball", "");
    says(DB("block", "list", "9"), 1, "", "no session 9");
    says(DB("block", "edit", "2", "--kind", ""), 1, "", "needs a kind");
    says(DB("session", "end"), 0, "session 1 has ended", "");
    says(DB("session", "end", "1"), 1, "", "session 1 has ended already");
    says(DB("session", "list", "--player", "Kim"), 0, "Kim", "");
    says(DB("session", "list", "--last", "-1"), 2, "", "is not a count");
    says(DB("session", "show"), 0, "too few swings", "");
    says(DB("session", "edit", "1", "--player", "", "--note", ""), 0, "changed", "");
    says(DB("session", "edit", "1", "--player", "Kin"), 1, "", "did you mean \"Kim\"");
    says(DB("session", "edit", "5", "--player", "Kim"), 1, "", "no session 5");
    says(DB("player", "show", "Kim"), 0, "no session yet", "");
}

static void marks(void **state)
{
    arrive(*state, 800);
    arrive(*state, 801);
    says(DB("swing", "exclude", "1"), 2, "", "needs --reason");
    says(DB("swing", "exclude", "1", "--reason", "  "), 2, "", "needs --reason");
    says(DB("swing", "exclude", "1", "9", "--reason", "slip"), 1, "", "no swing 9");
    says(DB("swing", "exclude", "1", "2", "--reason", "slipped"), 0, "2 swings: excluded", "");
    says(DB("swing", "include", "1"), 0, "swing 1: counts again", "");
    says(DB("swing", "star", "1", "x"), 2, "", "\"x\" is not the number of a swing");
    says(DB("swing", "star", "1"), 0, "starred", "");
    says(DB("swing", "unstar", "1"), 0, "no star", "");
    says(DB("swing", "comment", "1", "\"late\" <script>"), 0, "commented", "");
    says(DB("swing", "comment", "1"), 2, "", "swing comment needs N TEXT");
    says(DB("swing", "label", "4", "1"), 1, "", "no block 4");
    says(DB("block", "add", "1", "baseline"), 0, "underfoot swing label 1 N", "");
    says(DB("swing", "label", "1", "1", "2"), 0, "2 swings: now in block 1", "");
    says(DB("swing", "label", "none", "2", "--json"), 0, "\"ok\": true", "");
    says(DB("swing", "extra", "1", "club_speed", "85"), 2, "", "a speed needs its unit");
    says(DB("swing", "extra", "1", "club_speed", "85", "mph"), 0, "club_speed 37.9984 m/s (85 mph)",
         "");
    says(DB("swing", "extra", "1", "club_speed", "86", "mph"), 1, "", "--replace");
    says(DB("swing", "extra", "1", "club_speed", "86", "mph", "--replace"), 0, "(86 mph)", "");
    struct uf_store *s = open_store(*state, UF_STORE_READ);
    assert_int_equal(number(s, "SELECT count(*) FROM swings WHERE id = 1 AND kind = 'baseline' AND"
                               " excluded IS NULL AND comment = '\"late\" <script>' AND"
                               " club_speed_mps = 38.45"),
                     1);
    assert_int_equal(
        number(s, "SELECT count(*) FROM swings WHERE excluded = 'slipped' AND block IS NULL"), 1);
    uf_store_close(s);
}

/* Numbers whose comparison is known: weights of two blocks. The values are those
 * of invented samples of unequal spread; Welch's interval and degrees of freedom by
 * scipy.stats.ttest_ind(equal_var=False). */
static void comparison(void **state)
{
    static const double a[] = {800, 803, 798, 801, 799, 802}, b[] = {806, 811, 809, 812, 804};
    says(DB("player", "add", "Kim", "--hand", "right"), 0, "", "");
    says(DB("session", "start", "Kim"), 0, "", "");
    says(DB("block", "start", "baseline", "--club", "7 iron"), 0, "", "");
    for (size_t i = 0; i < 6; i++)
        arrive(*state, a[i]);
    says(DB("block", "start", "retest", "--club", "driver"), 0, "", "");
    for (size_t i = 0; i < 5; i++)
        arrive(*state, b[i]);
    /* what the analysis makes of these loads is not the matter here */
    struct uf_store *s = open_store(*state, UF_STORE_WRITE);
    run_sql(s, "UPDATE swing_metric SET trail_share_max_pct = 70, turn_peak_nm = NULL");
    for (size_t i = 0; i < 11; i++) {
        char sql[160];
        snprintf(sql, sizeof sql, "UPDATE swing_metric SET weight_n = %g WHERE derivation_id = %zu",
                 i < 6 ? a[i] : b[i - 6], i + 1);
        run_sql(s, sql);
    }
    uf_store_close(s);
    struct said r = DB("compare", "blocks", "1", "2", "--metric", "weight_n", "--json");
    json_t *json = json_loads(r.out, 0, NULL),
           *row = json_array_get(json_object_get(json, "numbers"), 0);
    assert_true(fabs(json_number_value(json_object_get(row, "difference")) - 7.9) < 1e-9);
    /* scipy 1.10.1: 6.01101 degrees of freedom, half width of the interval 4.1241968 */
    assert_true(fabs(json_number_value(json_object_get(row, "needed")) - 4.1241968) < 1e-5);
    assert_string_equal(json_string_value(json_object_get(row, "verdict")), "changed");
    assert_true(json_is_true(json_object_get(json_object_get(json, "different"), "club")));
    assert_false(json_is_true(json_object_get(json_object_get(json, "different"), "player")));
    json_decref(json);
    done(r);
    says(DB("compare", "blocks", "1", "2", "--metric", "weight_n"), 0,
         "Changed: weight_n, from 800.5 to 808.4 N: +7.9, and it takes 4.1", "");
    says(DB("compare", "blocks", "1", "2"), 0, "different clubs", "");
    says(DB("compare", "blocks", "1", "2", "--metric", "turn_peak_nm"), 0, "not measured", "");
    says(DB("compare", "blocks", "1", "2", "--metric", "trail_share_max_pct"), 0, "within noise",
         "");
    says(DB("compare", "blocks", "1", "2", "--metric", "wieght"), 2, "", "no number \"wieght\"");
    says(DB("compare", "blocks", "1", "1"), 1, "", "against itself");
    says(DB("compare", "blocks", "1", "7"), 1, "", "no block 7");
    /* the view: 6 degrees of freedom instead of 6.01, so a little wider */
    s = open_store(*state, UF_STORE_WRITE);
    assert_int_equal(number(s, "SELECT count(*) FROM session_change WHERE metric = 'weight_n' AND"
                               " verdict = 'changed' AND abs(change - 7.9) < 1e-9 AND first_n = 6"
                               " AND last_n = 5 AND abs(change_needed - 4.1260) < 1e-4"),
                     1);
    assert_int_equal(number(s,
                            "SELECT count(*) FROM session_change WHERE metric = 'turn_peak_nm' AND"
                            " verdict = 'not measured'"),
                     1);
    uf_store_close(s);
    /* excluded swings don't count; three swings are three swings */
    says(DB("swing", "exclude", "7", "8", "--reason", "slip"), 0, "", "");
    says(DB("compare", "blocks", "1", "2"), 0, "Three swings are three swings", "");
    says(DB("compare", "blocks", "1", "2"), 0, "B: block 2, 3 swings (2 excluded)", "");
    says(DB("swing", "exclude", "9", "--reason", "slip"), 0, "", "");
    says(DB("compare", "blocks", "1", "2"), 0, "Too few swings to say", "");
    says(DB("compare", "blocks", "1", "2"), 0, "Two swings are two swings", "");
    /* two swings: the noise of their blocks */
    r = DB("compare", "swings", "1", "2", "--metric", "weight_n", "--json");
    json = json_loads(r.out, 0, NULL);
    row = json_array_get(json_object_get(json, "numbers"), 0);
    double sd = sqrt(3.5); /* of a: sum of squares 17.5, 5 degrees of freedom; t 2.570582 */
    assert_true(fabs(json_number_value(json_object_get(row, "noise_sd")) - sd) < 1e-9);
    assert_true(fabs(json_number_value(json_object_get(row, "needed")) - 2.5705818 * sqrt(2) * sd) <
                1e-5);
    assert_string_equal(json_string_value(json_object_get(row, "verdict")), "within noise");
    json_decref(json);
    done(r);
    says(DB("compare", "swings", "10", "10"), 1, "", "against itself");
    says(DB("compare", "swings", "1", "99"), 1, "", "no swing 99");
}

static void manual(void **state)
{
    struct said r = DB("manual", "page");
    int n;
    const struct uf_cli_command *commands = uf_cli_commands(&n);
    for (int i = 0; i < n; i++) {
        char head[60];
        snprintf(head, sizeof head, ".SS \"%s\"\n", commands[i].name);
        assert_non_null(strstr(r.out, head));
        assert_true(strlen(commands[i].more) > 0 && strlen(commands[i].summary) > 0);
    }
    done(r);
    says(DB("manual", "completion"), 0, "\"swing star\") offer=\" --json\"", "");
    says(DB("manual", "pages"), 2, "", "give page or completion");
    r = DB("manual", "completion");
    FILE *bash = popen("bash -n", "w");
    fputs(r.out, bash);
    assert_int_equal(pclose(bash), 0);
    done(r);
}

#define T(f) cmocka_unit_test_setup_teardown(f, empty_set_up, place_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {T(families), T(players),    T(a_lesson),
                                       T(marks),    T(comparison), T(manual)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

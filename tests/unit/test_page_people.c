/* SPDX-License-Identifier: MIT
 * Sessions and players as the page gets them: what is listed, and what is averaged over the months.
 * Players are invented. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon/page_people.h"
#include "store/remarks.h"
#include "stored_swing.h"

#define S   INT64_C(1000000)
#define DAY (86400 * S)

struct bay {
    struct place *place;
    struct uf_store *s;
    struct studio t;
    struct uf_player player;
};

/* A session with one block of n swings; of session 1 there is nothing but the row. */
static void lesson(struct bay *b, int64_t utc_us, const char *club, int ball, int n,
                   double weight_n)
{
    struct uf_block block = {.kind = "drill", .ball = ball};
    struct uf_error err;
    int64_t before, id;
    snprintf(block.club, sizeof block.club, "%s", club);
    if (uf_session_start(b->s, b->player.id, "", &b->t.rig, utc_us, &b->t.session_id, &err) ||
        uf_block_start(b->s, &block, utc_us + S, &before, &err))
        fail_msg("%s", err.text);
    for (int i = 0; i < n; i++) {
        id = add_swing(&b->t, b->s, weight_n + 10 * i, true, 1e-6 * (double)utc_us + 60 * (i + 1));
        assert_int_equal(uf_remark_block(b->s, &id, 1, block.id, &err), UF_OK);
    }
}

static int set_up(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    struct uf_error err;
    b->place = place_new();
    b->s = open_store(b->place, UF_STORE_CREATE);
    studio_set_up(&b->t, b->s);
    b->player = (struct uf_player){.name = "Kim", .foot_length_mm = 264, .stature_mm = NAN};
    strcpy(b->player.cautions, "back");
    assert_int_equal(uf_player_add(b->s, &b->player, S, &err), UF_OK);
    lesson(b, 10 * DAY, "7 iron", 1, 3, 800);
    lesson(b, 40 * DAY, "7 iron", 1, 2, 900);
    lesson(b, 70 * DAY, "driver", -1, 1, 850);
    int64_t out = 3;
    assert_int_equal(uf_remark_excluded(b->s, &out, 1, "tee", &err), UF_OK);
    *state = b;
    return 0;
}

static int tear_down(void **state)
{
    struct bay *b = *state;
    uf_store_close(b->s);
    place_free(b->place);
    free(b);
    return 0;
}

static int64_t whole(const json_t *o, const char *key)
{
    assert_true(json_is_integer(json_object_get(o, key)));
    return json_integer_value(json_object_get(o, key));
}

static const char *text(const json_t *o, const char *key)
{
    return json_string_value(json_object_get(o, key));
}

static void sessions(void **state)
{
    struct bay *b = *state;
    json_t *json;
    struct uf_error err;
    assert_int_equal(uf_page_read_sessions(b->place->db, &json, &err), UF_OK);
    const json_t *rows = json_object_get(json, "rows");
    assert_int_equal(json_array_size(rows), 3); /* without the one in which nothing was */
    assert_int_equal(whole(json_array_get(rows, 0), "utc_us"), 70 * DAY);
    const json_t *first = json_array_get(rows, 2);
    assert_int_equal(whole(first, "swings"), 3);
    assert_int_equal(whole(first, "excluded"), 1);
    assert_string_equal(text(first, "player"), "Kim");
    json_decref(json);
}

static void one_session(void **state)
{
    struct bay *b = *state;
    json_t *json;
    struct uf_error err;
    int64_t id = number(b->s, "SELECT id FROM session WHERE started_utc_us = 864000000000");
    assert_int_equal(uf_page_read_session(b->place->db, id, &json, &err), UF_OK);
    const json_t *rows = json_object_get(json, "rows"), *newest = json_array_get(rows, 0);
    assert_int_equal(json_array_size(rows), 3);
    assert_int_equal(whole(newest, "id"), 3);
    assert_string_equal(text(newest, "excluded"), "tee");
    assert_int_equal(json_array_size(json_object_get(newest, "values")),
                     json_array_size(json_object_get(json, "columns")));
    assert_string_equal(text(json_array_get(json_object_get(json, "blocks"), 0), "club"), "7 iron");
    json_decref(json);
    assert_int_equal(uf_page_read_session(b->place->db, 0, &json, &err), UF_OK);
    assert_int_equal(whole(json_object_get(json, "about"), "utc_us"), 70 * DAY);
    json_decref(json);
    assert_int_equal(uf_page_read_session(b->place->db, 99, &json, &err), UF_ENOTFOUND);
    assert_string_equal(err.text, "there is no session 99");
}

static void nothing_yet(void **state)
{
    struct bay *b = *state;
    json_t *json;
    struct uf_error err;
    run_sql(b->s, "PRAGMA foreign_keys = ON; DELETE FROM swing; DELETE FROM block;"
                  "UPDATE session SET player_id = NULL; DELETE FROM player");
    assert_int_equal(uf_page_read_session(b->place->db, 0, &json, &err), UF_ENOTFOUND);
    assert_string_equal(err.text, "no session is stored yet");
    assert_int_equal(uf_page_read_players(b->place->db, &json, &err), UF_OK);
    assert_int_equal(json_array_size(json_object_get(json, "rows")), 0);
    json_decref(json);
}

/* The number of a column in one row of the months. */
static const json_t *number_of(const json_t *json, size_t row, const char *name)
{
    size_t i;
    const json_t *c;
    json_array_foreach(
        json_object_get(json, "columns"), i,
        c) if (strcmp(text(c, "name"), name) ==
               0) return json_array_get(json_object_get(json_array_get(json_object_get(json,
                                                                                       "months"),
                                                                       row),
                                                        "numbers"),
                                        i);
    fail_msg("no column %s", name);
    return NULL;
}

static double query(struct bay *b, const char *sql)
{
    return 1e-6 * (double)number(b->s, sql);
}

static void months(void **state)
{
    struct bay *b = *state;
    struct uf_extra speed;
    json_t *json;
    struct uf_error err;
    speed = (struct uf_extra){.swing_id = 4, .source = "typed"};
    assert_int_equal(uf_extra_take(&speed, "club_speed", "36", "m/s", &err), UF_OK);
    assert_int_equal(uf_extra_add(b->s, &speed, 1, false, S, &err), UF_OK);
    assert_int_equal(uf_page_read_player(b->place->db, b->player.id, &json, &err), UF_OK);
    const json_t *about = json_object_get(json, "about"), *rows = json_object_get(json, "months");
    assert_string_equal(text(about, "cautions"), "back");
    assert_true(json_is_null(json_object_get(about, "stature_mm")));
    assert_int_equal(json_array_size(json_object_get(json, "sessions")), 3);
    assert_int_equal(json_array_size(rows), 3);
    assert_int_equal(whole(json_array_get(rows, 0), "swings"), 2); /* one is excluded */
    assert_true(json_is_null(json_object_get(json_array_get(rows, 2), "ball")));
    /* against the means that the database itself makes, as view player_history has them */
    const json_t *peak = number_of(json, 0, "total_vertical_peak_bw");
    double mean = json_number_value(json_object_get(peak, "mean"));
    assert_true(fabs(mean - query(b, "SELECT round(1e6 * avg(total_vertical_peak_bw)) FROM"
                                     " swing_metric JOIN derivation ON id = derivation_id"
                                     " WHERE swing_id IN (1, 2)")) < 1e-6);
    /* two values: their standard deviation is their distance / sqrt 2 */
    double far = query(b, "SELECT round(1e6 * (max(total_vertical_peak_bw) -"
                          " min(total_vertical_peak_bw))) FROM swing_metric JOIN derivation ON"
                          " id = derivation_id WHERE swing_id IN (1, 2)");
    assert_true(far > 0.001);
    assert_true(fabs(json_number_value(json_object_get(peak, "sd")) - far / sqrt(2)) < 1e-6);
    const json_t *club = number_of(json, 1, "club_speed");
    assert_int_equal(whole(club, "n"), 1);
    assert_true(json_number_value(json_object_get(club, "mean")) == 36);
    assert_true(json_is_null(json_object_get(club, "sd")));
    assert_int_equal(whole(number_of(json, 0, "club_speed"), "n"), 0);
    json_decref(json);
    assert_int_equal(uf_page_read_player(b->place->db, 99, &json, &err), UF_ENOTFOUND);
}

static void remarks(void **state)
{
    struct bay *b = *state;
    json_t *json;
    struct uf_error err;
    assert_int_equal(uf_page_read_remarks(b->place->db, 3, &json, &err), UF_OK);
    assert_string_equal(text(json, "type"), "remarks");
    assert_string_equal(text(json, "excluded"), "tee");
    assert_string_equal(text(json, "player"), "Kim");
    assert_int_equal(json_array_size(json_object_get(json, "blocks")), 1);
    json_decref(json);
    assert_int_equal(uf_page_read_remarks(b->place->db, 99, &json, &err), UF_ENOTFOUND);
    assert_null(json);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(sessions, set_up, tear_down),
        cmocka_unit_test_setup_teardown(one_session, set_up, tear_down),
        cmocka_unit_test_setup_teardown(nothing_yet, set_up, tear_down),
        cmocka_unit_test_setup_teardown(months, set_up, tear_down),
        cmocka_unit_test_setup_teardown(remarks, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

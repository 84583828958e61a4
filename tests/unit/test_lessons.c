/* SPDX-License-Identifier: MIT
 * Players, sessions, blocks and marks: what belongs to what, what is refused and in which words.
 * Players and numbers are invented. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "store/remarks.h"
#include "stored_swing.h"

#define S INT64_C(1000000)

static void refused(int rc, int code, const struct uf_error *err, const char *words)
{
    if (rc != code || !strstr(err->text, words))
        fail_msg("%d, wanted %d: %s (wanted: %s)", rc, code, err->text, words);
}

static int64_t player(struct uf_store *s, const char *name, enum uf_hand hand)
{
    struct uf_player p = {.hand = hand, .foot_length_mm = NAN, .stature_mm = NAN};
    struct uf_error err;
    if (uf_person_text(p.name, sizeof p.name, name, "the name", &err) ||
        uf_player_add(s, &p, 1700000000 * S, &err))
        fail_msg("%s", err.text);
    return p.id;
}

static void texts(void **state)
{
    (void)state;
    char out[UF_NAME_BYTES], note[UF_NOTE_BYTES];
    struct uf_error err;
    static const char *const good[] = {"Zo\xC3\xAB O\xE2\x80\x99N\xC3\xADl",
                                       "x'); DROP TABLE player;--",
                                       "<script>alert(1)</script>",
                                       "\"quoted\"",
                                       "\xF0\x9F\x8F\x8C",
                                       "17"};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        assert_int_equal(uf_person_text(out, sizeof out, good[i], "the name", &err), 0);
        assert_string_equal(out, good[i]);
    }
    assert_int_equal(uf_person_text(out, sizeof out, "  two words \n", "the name", &err), 0);
    assert_string_equal(out, "two words");
    assert_int_equal(uf_person_text(note, sizeof note, "a\nb", "the note", &err), 0);
    static const char *const bad[] = {
        "a\nb",  "a\tb",      "a\033[2Jb", "\xC0\xAF", "\xED\xA0\x80",
        "a\x7F", "\xC2\x9Bm", "\xFF",      "\xE2\x82", "\xF5\x80\x80\x80"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        if (uf_person_text(out, sizeof out, bad[i], "the name", &err) != UF_EINVAL)
            fail_msg("text %zu was taken", i);
    char longer[UF_NAME_BYTES + 1];
    memset(longer, 'x', sizeof longer);
    longer[UF_NAME_BYTES] = '\0';
    refused(uf_person_text(out, sizeof out, longer, "the name", &err), UF_EINVAL, &err, "199");
    longer[UF_NAME_BYTES - 1] = '\0';
    assert_int_equal(uf_person_text(out, sizeof out, longer, "the name", &err), 0);
}

static void players(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    struct uf_error err;
    struct uf_player p;
    refused(uf_player_find(s, "Zoe", &p, &err), UF_ENOTFOUND, &err, "and no other yet");
    int64_t zoe = player(s, "Zo\xC3\xAB", UF_LEFT_HANDED),
            sam = player(s, "Sam'); --", UF_RIGHT_HANDED);
    assert_int_equal(uf_player_find(s, "zo\xC3\xAB", &p, &err), 0);
    assert_int_equal(p.id, zoe);
    assert_int_equal(p.hand, UF_LEFT_HANDED);
    assert_true(isnan(p.stature_mm));
    assert_int_equal(uf_player_find(s, p.uuid, &p, &err), 0);
    refused(uf_player_find(s, "Zoe", &p, &err), UF_ENOTFOUND, &err, "did you mean \"Zo\xC3\xAB\"");
    refused(uf_player_find(s, "Somebody else", &p, &err), UF_ENOTFOUND, &err, "player list");
    struct uf_player again = {.name = "SAM'); --", .foot_length_mm = NAN, .stature_mm = NAN};
    refused(uf_player_add(s, &again, 1, &err), UF_ESTATE, &err, "there is a player \"Sam'); --\"");
    assert_int_equal(uf_player_get(s, sam, &p, &err), 0);
    p.foot_length_mm = 27.5; /* cm */
    refused(uf_player_change(s, &p, &err), UF_EINVAL, &err, "give millimetres");
    p.foot_length_mm = 275;
    p.stature_mm = 1780;
    strcpy(p.cautions, "left knee, 2019");
    assert_int_equal(uf_player_change(s, &p, &err), 0);
    strcpy(p.name, "zO\xC3\xAB");
    refused(uf_player_change(s, &p, &err), UF_ESTATE, &err, "already");
    assert_int_equal(uf_player_get(s, sam, &p, &err), 0);
    assert_true(p.foot_length_mm == 275 && p.stature_mm == 1780);
    assert_string_equal(p.cautions, "left knee, 2019");
    assert_string_equal(p.note, "");
    p.id = 99;
    strcpy(p.name, "Kim");
    refused(uf_player_change(s, &p, &err), UF_ENOTFOUND, &err, "erased");
    uf_store_close(s);
}

/* Stored 2 s after it was hit. */
static int64_t arrive(struct studio *t, struct uf_store *s, double time_s)
{
    t->session_id = 0;
    return add_swing(t, s, 800, true, time_s);
}

static void a_lesson(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    struct uf_error err;
    struct studio t;
    studio_set_up(&t, s);
    int64_t first = t.session_id, session, ended, before, now = 1700000000 * S;
    struct uf_block b = {.kind = "baseline", .ball = 1, .club = "7 iron"};
    /* session 1 began in 1970: nothing is open now */
    refused(uf_block_start(s, &b, now, &before, &err), UF_ESTATE, &err, "underfoot session start");
    refused(uf_session_end(s, 0, now, &ended, &err), UF_ESTATE, &err, "no session is open");
    refused(uf_block_end(s, 0, now, &ended, &err), UF_ESTATE, &err, "no block is open; begin");
    int64_t who = player(s, "Kim", UF_LEFT_HANDED);
    assert_int_equal(uf_session_start(s, who, "after the winter", NULL, now, &session, &err), 0);
    /* the forgotten one is over since its last activity */
    assert_int_equal(number(s, "SELECT ended_utc_us FROM session WHERE id = 1"), 1000000);
    int64_t loose = arrive(&t, s, 1700000010);
    assert_int_equal(uf_block_start(s, &b, now + 20 * S, &before, &err), 0);
    assert_int_equal(before, 0);
    int64_t base = arrive(&t, s, 1700000030);
    struct uf_block drill = {.kind = "heel-toe", .ball = -1};
    assert_int_equal(uf_block_start(s, &drill, now + 40 * S, &before, &err), 0);
    assert_int_equal(before, b.id);
    assert_int_equal(number(s, "SELECT ended_utc_us FROM block WHERE id = 1"), now + 40 * S);
    int64_t push = arrive(&t, s, 1700000050);
    assert_int_equal(uf_block_end(s, 0, now + 60 * S, &ended, &err), 0);
    assert_int_equal(ended, drill.id);
    refused(uf_block_end(s, 0, now + 61 * S, &ended, &err), UF_ESTATE, &err,
            "the last one, 2, ended");
    refused(uf_block_end(s, 2, now + 61 * S, &ended, &err), UF_ESTATE, &err,
            "block 2 has ended already");
    refused(uf_block_end(s, 9, now + 61 * S, &ended, &err), UF_ENOTFOUND, &err, "no block 9");
    assert_int_equal(number(s, "SELECT count(*) FROM swing WHERE session_id = 2"), 3);
    char sql[200];
    snprintf(sql, sizeof sql,
             "SELECT count(*) FROM swing WHERE (id, coalesce(block_id, 0)) IN"
             " (VALUES (%lld, 0), (%lld, 1), (%lld, 2))",
             (long long)loose, (long long)base, (long long)push);
    assert_int_equal(number(s, sql), 3);
    struct uf_lesson open;
    assert_int_equal(uf_lesson_now(s, t.rig_id, now + 70 * S, &open, &err), 0);
    assert_true(open.session_id == session && open.player_id == who && open.block_id == 0 &&
                open.hand == UF_LEFT_HANDED);
    assert_int_equal(uf_block_start(s, &b, now + 80 * S, &before, &err), 0);
    assert_int_equal(uf_session_end(s, 0, now + 90 * S, &ended, &err), 0);
    assert_int_equal(ended, session);
    assert_int_equal(number(s, "SELECT count(*) FROM block WHERE ended_utc_us IS NULL"), 0);
    refused(uf_session_end(s, session, now + 91 * S, &ended, &err), UF_ESTATE, &err,
            "session 2 has ended already");
    /* a swing after the lesson: nobody's session, by itself */
    int64_t stray = arrive(&t, s, 1700000100);
    snprintf(sql, sizeof sql, "SELECT session_id FROM swing WHERE id = %lld", (long long)stray);
    assert_int_equal(number(s, sql), 3);
    assert_int_equal(number(s, "SELECT player_id IS NULL FROM session WHERE id = 3"), 1);
    assert_int_equal(uf_session_change(s, 3, who, "found later", &err), 0);
    refused(uf_session_change(s, 8, who, NULL, &err), UF_ENOTFOUND, &err, "no session 8");
    assert_int_not_equal(first, session);
    uf_store_close(s);
}

/* Hit at that time, stored a minute after the lesson (the disk was slow): "session/block". */
static const char *late(struct studio *t, struct uf_store *s, double hit_s, int64_t stored_utc_us,
                        char text[40])
{
    struct uf_capture *c = make_swing(&t->rig, 800, true);
    struct uf_swing_meta meta = {
        .rig_id = t->rig_id, .trigger_utc_us = (int64_t)(1e6 * hit_s), .clock_drift_ppm = NAN};
    struct uf_error err;
    int64_t id;
    if (uf_store_swing_add(s, &meta, c, NULL, stored_utc_us, &id, &err))
        fail_msg("%s", err.text);
    uf_capture_free(c);
    char sql[120];
    snprintf(sql, sizeof sql,
             "SELECT session_id * 100 + coalesce(block_id, 0) FROM swing"
             " WHERE id = %lld",
             (long long)id);
    int64_t both = number(s, sql);
    snprintf(text, 40, "%lld/%lld", (long long)both / 100, (long long)both % 100);
    return text;
}

static void a_swing_belongs_to_when_it_was_hit(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    struct uf_error err;
    struct studio t;
    char text[40];
    studio_set_up(&t, s); /* session 1, over by idleness since 1970 */
    int64_t kim = player(s, "Kim", UF_LEFT_HANDED), zoe = player(s, "Zoe", UF_RIGHT_HANDED), id,
            before, now = 1700000000 * S;
    struct uf_block base = {.kind = "baseline", .ball = 1}, drill = {.kind = "drill", .ball = 0};
    assert_int_equal(uf_session_start(s, kim, "", NULL, now, &id, &err), 0);     /* 2 */
    assert_int_equal(uf_block_start(s, &base, now + 10 * S, &before, &err), 0);  /* 1 */
    assert_int_equal(uf_block_start(s, &drill, now + 20 * S, &before, &err), 0); /* 2 */
    assert_int_equal(uf_block_end(s, 0, now + 30 * S, &id, &err), 0);
    assert_int_equal(uf_session_end(s, 0, now + 40 * S, &id, &err), 0);
    assert_int_equal(uf_session_start(s, zoe, "", NULL, now + 50 * S, &id, &err), 0); /* 3 */
    static const struct {
        double hit_s;
        const char *wanted;
    } cases[] = {{1700000005, "2/0"}, {1700000010, "2/1"}, {1700000019.999, "2/1"},
                 {1700000020, "2/2"}, {1700000029, "2/2"}, {1700000031, "2/0"},
                 {1700000045, "4/0"}, /* between the lessons: nobody's */
                 {1700000046, "4/0"}, {1700000051, "3/0"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        assert_string_equal(late(&t, s, cases[i].hit_s, now + 100 * S, text), cases[i].wanted);
    assert_int_equal(number(s, "SELECT count(*) FROM session WHERE id = 4 AND player_id IS NULL"
                               " AND started_utc_us = 1700000045000000"
                               " AND ended_utc_us = 1700000050000000"),
                     1);
    struct uf_lesson open;
    assert_int_equal(uf_lesson_now(s, t.rig_id, now + 110 * S, &open, &err), 0);
    assert_int_equal(open.player_id, zoe); /* whose lesson goes on */
    /* found again after a power cut that ended the session at its last stored swing */
    run_sql(s, "UPDATE session SET ended_utc_us = 1700000120000000 WHERE id = 3");
    assert_int_equal(uf_lesson_at(s, t.rig_id, now + 121 * S, false, &open, &err), 0);
    assert_int_equal(open.session_id, 0);
    assert_int_equal(uf_lesson_at(s, t.rig_id, now + 121 * S, true, &open, &err), 0);
    assert_int_equal(open.session_id, 3);
    assert_int_equal(uf_lesson_at(s, t.rig_id, 999999, true, &open, &err), 0);
    assert_int_equal(open.session_id, 0); /* before everything */
    uf_store_close(s);
}

/* The clock is set back by an hour in the middle of a block: a new swing is of that block. */
static void a_clock_that_was_set_back(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    struct uf_error err;
    struct studio t;
    char text[40];
    studio_set_up(&t, s);
    int64_t id, before, now = 1700000000 * S, kim = player(s, "Kim", UF_LEFT_HANDED);
    struct uf_block base = {.kind = "baseline", .ball = 1};
    assert_int_equal(uf_session_start(s, kim, "", NULL, now, &id, &err), 0);
    assert_int_equal(uf_block_start(s, &base, now + 10 * S, &before, &err), 0);
    assert_string_equal(late(&t, s, 1700000000 - 3600, now - 3598 * S, text), "2/1");
    uf_store_close(s);
}

static void what_people_are_shown(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    struct uf_error err;
    struct studio t;
    static struct uf_lesson_about about;
    studio_set_up(&t, s);
    int64_t id, before, ended, now = 1700000000 * S, kim = player(s, "Kim", UF_LEFT_HANDED);
    struct uf_block base = {.kind = "baseline", .ball = 1, .club = "7 iron"};
    assert_int_equal(uf_lesson_about(s, t.rig_id, now, &about, &err), 0);
    assert_int_equal(about.now.session_id, 0);
    assert_int_equal(uf_session_start(s, kim, "", NULL, now, &id, &err), 0);
    arrive(&t, s, 1700000001);
    assert_int_equal(uf_block_start(s, &base, now + 10 * S, &before, &err), 0);
    arrive(&t, s, 1700000011);
    id = arrive(&t, s, 1700000012);
    assert_int_equal(uf_remark_excluded(s, &id, 1, "topped", &err), 0);
    assert_int_equal(uf_lesson_about(s, t.rig_id, now + 20 * S, &about, &err), 0);
    assert_string_equal(about.player, "Kim");
    assert_string_equal(about.block.club, "7 iron");
    assert_int_equal(about.swings, 2);
    assert_int_equal(about.block_swings, 1);
    assert_int_equal(uf_block_end(s, 0, now + 30 * S, &ended, &err), 0);
    assert_int_equal(uf_lesson_about(s, t.rig_id, now + 31 * S, &about, &err), 0);
    assert_true(about.block.id == 0 && about.block_swings == 0 && about.swings == 2);
    uf_store_close(s);
}

/* The daemon ends and starts while a lesson goes on; and after one was forgotten. */
static void the_daemon_comes_and_goes(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    struct uf_error err;
    struct studio t;
    studio_set_up(&t, s);
    int64_t who = player(s, "Kim", UF_RIGHT_HANDED), session, id, now = 1700000000 * S;
    assert_int_equal(uf_session_start(s, who, "", NULL, now, &session, &err), 0);
    assert_int_equal(uf_store_session_close(s, session, now + S, &err), 0);
    assert_int_equal(number(s, "SELECT ended_utc_us IS NULL FROM session WHERE id = 2"), 1);
    assert_int_equal(uf_store_session_open(s, t.rig_id, now + 2 * S, &id, &err), 0);
    assert_int_equal(id, session);
    assert_int_equal(uf_store_session_open(s, t.rig_id, now + UF_SESSION_IDLE_US, &id, &err), 0);
    assert_int_equal(id, 3);
    assert_int_equal(number(s, "SELECT ended_utc_us FROM session WHERE id = 2"), now);
    /* a session of the daemon's own never outlives it */
    assert_int_equal(uf_store_session_open(s, t.rig_id, now + UF_SESSION_IDLE_US + S, &id, &err),
                     0);
    assert_int_equal(id, 4);
    assert_int_equal(uf_store_session_close(s, 4, now + UF_SESSION_IDLE_US + 2 * S, &err), 0);
    assert_int_equal(number(s, "SELECT count(*) FROM session WHERE ended_utc_us IS NULL"), 0);
    uf_store_close(s);
}

static void marks(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    struct uf_error err;
    struct studio t;
    studio_set_up(&t, s);
    int64_t other, before, now = 1700000000 * S, who = player(s, "Kim", UF_RIGHT_HANDED);
    int64_t ids[2] = {add_swing(&t, s, 800, true, 1700000000),
                      add_swing(&t, s, 800, true, 1700000010)};
    struct uf_block b = {.kind = "retest", .ball = 0},
                    late = {.session_id = 1, .kind = "baseline", .ball = 1};
    assert_int_equal(uf_session_start(s, who, "", NULL, now, &other, &err), 0);
    assert_int_equal(uf_block_start(s, &b, now, &before, &err), 0);
    refused(uf_remark_block(s, ids, 2, b.id, &err), UF_ESTATE, &err,
            "is of session 1, and block 1 of session 2");
    refused(uf_remark_block(s, ids, 2, 77, &err), UF_ENOTFOUND, &err, "no block 77");
    assert_int_equal(uf_block_add(s, &late, &err), 0);
    assert_int_equal(uf_remark_block(s, ids, 2, late.id, &err), 0);
    assert_int_equal(number(s, "SELECT count(*) FROM swings WHERE kind = 'baseline' AND ball = 1"),
                     2);
    late.session_id = 55;
    refused(uf_block_add(s, &late, &err), UF_ENOTFOUND, &err, "no session 55");
    /* all or none */
    int64_t wrong[2] = {ids[0], 99};
    refused(uf_remark_excluded(s, wrong, 2, "topped", &err), UF_ENOTFOUND, &err, "no swing 99");
    assert_int_equal(number(s, "SELECT count(*) FROM swing WHERE excluded_reason IS NOT NULL"), 0);
    assert_int_equal(uf_remark_excluded(s, ids, 1, "topped <b>it</b>", &err), 0);
    assert_int_equal(number(s, "SELECT count(*) FROM swings WHERE excluded = 'topped <b>it</b>'"),
                     1);
    assert_int_equal(uf_remark_starred(s, ids + 1, 1, true, &err), 0);
    assert_int_equal(uf_remark_comment(s, ids + 1, 1, "'; DELETE FROM swing; --", &err), 0);
    assert_int_equal(
        number(s, "SELECT count(*) FROM swings WHERE starred AND comment LIKE '%DELETE%'"), 1);
    assert_int_equal(uf_remark_excluded(s, ids, 2, NULL, &err), 0);
    assert_int_equal(uf_remark_starred(s, ids, 2, false, &err), 0);
    assert_int_equal(uf_remark_block(s, ids, 2, 0, &err), 0);
    assert_int_equal(number(s, "SELECT count(*) FROM swing WHERE block_id IS NOT NULL OR starred OR"
                               " excluded_reason IS NOT NULL"),
                     0);
    uf_store_close(s);
}

static void extras(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    struct uf_error err;
    struct uf_extra e = {.swing_id = 1, .source = "typed"};
    struct studio t;
    studio_set_up(&t, s);
    add_swing(&t, s, 800, true, 1700000000);
    static const struct {
        const char *value, *unit;
        double mps;
    } speeds[] = {
        {"100", "mph", 44.704}, {"36", "km/h", 10}, {"36", "KPH", 10}, {"12.5", "m/s", 12.5}};
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(uf_extra_take(&e, "club_speed", speeds[i].value, speeds[i].unit, &err), 0);
        assert_true(fabs(e.value - speeds[i].mps) < 1e-12);
        assert_string_equal(e.unit, "m/s");
    }
    assert_int_equal(uf_extra_take(&e, "spin", "2600", "rpm", &err), 0);
    assert_string_equal(e.unit, "rpm");
    assert_string_equal(e.original, "2600 rpm");
    refused(uf_extra_take(&e, "club_speed", "85", "", &err), UF_EINVAL, &err, "needs its unit");
    refused(uf_extra_take(&e, "club_speed", "85", "furlongs", &err), UF_EINVAL, &err,
            "not \"furlongs\"");
    refused(uf_extra_take(&e, "club_speed", "850", "mph", &err), UF_EINVAL, &err,
            "is the unit right");
    refused(uf_extra_take(&e, "club_speed", "-85", "mph", &err), UF_EINVAL, &err,
            "is the unit right");
    static const char *const no_number[] = {"", "85,2", "nan", "inf", "0x20", "85 mph", "1e999"};
    for (size_t i = 0; i < sizeof no_number / sizeof no_number[0]; i++)
        refused(uf_extra_take(&e, "spin", no_number[i], "rpm", &err), UF_EINVAL, &err,
                "is not a number");
    refused(uf_extra_take(&e, "Club Speed", "85", "mph", &err), UF_EINVAL, &err,
            "no name for a number");
    assert_int_equal(uf_extra_take(&e, "club_speed", "100", "mph", &err), 0);
    assert_int_equal(uf_extra_add(s, &e, 1, false, 1, &err), 0);
    assert_int_equal(uf_extra_add(s, &e, 1, false, 2, &err), 0); /* the same: nothing to do */
    assert_int_equal(number(s, "SELECT made_utc_us FROM swing_extra"), 1);
    assert_int_equal(uf_extra_take(&e, "club_speed", "101", "mph", &err), 0);
    refused(uf_extra_add(s, &e, 1, false, 3, &err), UF_ESTATE, &err, "--replace");
    assert_int_equal(number(s, "SELECT original = '100 mph' FROM swing_extra"), 1);
    assert_int_equal(uf_extra_add(s, &e, 1, true, 3, &err), 0);
    assert_int_equal(
        number(s, "SELECT count(*) FROM swings WHERE abs(club_speed_mps - 45.15) < 0.001"), 1);
    e.swing_id = 9;
    refused(uf_extra_add(s, &e, 1, false, 4, &err), UF_ENOTFOUND, &err, "no swing 9");
    uf_store_close(s);
}

#define T(f) cmocka_unit_test_setup_teardown(f, place_set_up, place_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(texts),
        T(players),
        T(a_lesson),
        T(the_daemon_comes_and_goes),
        T(marks),
        T(extras),
        T(a_swing_belongs_to_when_it_was_hit),
        T(a_clock_that_was_set_back),
        T(what_people_are_shown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

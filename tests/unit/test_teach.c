/* SPDX-License-Identifier: MIT
 * What a teacher does from the page: what is taken, what is refused in which words, and two
 * browsers that act at once. Players are invented. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon/teach.h"
#include "stored_swing.h"

#define S INT64_C(1000000)

struct bay {
    struct place *place;
    struct uf_store *s;
    struct studio t;
    int64_t now;
};

static int set_up(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    b->place = place_new();
    b->s = open_store(b->place, UF_STORE_CREATE);
    studio_set_up(&b->t, b->s);
    b->now = 1700000000 * S;
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

/* One second after the last. The text must have these words. */
static void asks(struct bay *b, int rc, const char *words, const char *question)
{
    struct uf_teach *t;
    struct uf_error err = {0};
    json_t *json = json_loads(question, 0, NULL);
    assert_non_null(json);
    int got = uf_teach_parse(&t, json, &err);
    const char *text = err.text;
    json_decref(json);
    b->now += S;
    if (got == UF_OK) {
        uf_teach_do(t, b->s, &b->t.rig, b->t.rig_id, b->now);
        got = t->rc;
        text = t->text;
    } else {
        assert_null(t);
    }
    if (got != rc || !strstr(text, words))
        fail_msg("%s: %d \"%s\", wanted %d \"%s\"", question, got, text, rc, words);
    if (t)
        free(t);
}

static void nothing_changed(struct bay *b, const char *table, int64_t rows)
{
    char sql[80];
    snprintf(sql, sizeof sql, "SELECT count(*) FROM %s", table);
    assert_int_equal(number(b->s, sql), rows);
}

static void bad_questions(void **state)
{
    struct bay *b = *state;
    static const char *const bad[][2] = {
        {"{\"ask\": \"begin\"}", "choose a player"},
        {"{\"ask\": \"begin\", \"player\": \"1\"}", "\"player\" must be a whole number"},
        {"{\"ask\": \"begin\", \"player\": -1}", "whole number"},
        {"{\"ask\": \"begin\", \"new\": {}}", "needs a name"},
        {"{\"ask\": \"begin\", \"new\": {\"name\": \"  \", \"hand\": \"left\"}}", "needs a name"},
        {"{\"ask\": \"begin\", \"new\": {\"name\": 7, \"hand\": \"left\"}}",
         "\"name\" must be text"},
        {"{\"ask\": \"begin\", \"new\": {\"name\": \"a\\u001b[2J\", \"hand\": \"left\"}}",
         "control"},
        {"{\"ask\": \"begin\", \"new\": {\"name\": \"Kim\"}}", "whether Kim is right-handed"},
        {"{\"ask\": \"begin\", \"new\": {\"name\": \"Kim\", \"hand\": \"both\"}}", "left-handed"},
        {"{\"ask\": \"begin\", \"new\": {\"name\": \"Kim\", \"hand\": \"left\","
         " \"foot_length_mm\": \"265\"}}",
         "number of millimetres"},
        {"{\"ask\": \"begin\", \"player\": 1, \"note\": 3}", "\"note\" must be text"},
        {"{\"ask\": \"end\"}", "no lesson is open"},
        {"{\"ask\": \"end\", \"seen_session\": 1.5}", "whole number"},
        {"{\"ask\": \"block\", \"seen_session\": 1}", "needs a kind"},
        {"{\"ask\": \"block\", \"kind\": \"drill\", \"ball\": 1}", "true, false or null"},
        {"{\"ask\": \"block\", \"kind\": \"drill\", \"club\": []}", "\"club\" must be text"},
        {"{\"ask\": \"block-end\", \"seen_session\": 1}", "no block is open"},
        {"{\"ask\": \"reboot\"}", "must be begin, end"},
        {"{\"ask\": 7}", "must be begin, end"}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct uf_teach *t;
        struct uf_error err = {0};
        json_t *json = json_loads(bad[i][0], 0, NULL);
        assert_non_null(json);
        if (uf_teach_parse(&t, json, &err) == UF_OK || t || !strstr(err.text, bad[i][1]))
            fail_msg("%s: \"%s\", wanted \"%s\"", bad[i][0], err.text, bad[i][1]);
        json_decref(json);
    }
    nothing_changed(b, "player", 0);
    nothing_changed(b, "session", 1);
}

static void a_lesson(void **state)
{
    struct bay *b = *state;
    asks(b, UF_ESTATE, "no lesson is open", "{\"ask\": \"block\", \"kind\": \"drill\"}");
    asks(b, UF_EINVAL, "give millimetres",
         "{\"ask\": \"begin\", \"new\": {\"name\": \"Kim\", \"hand\": \"left\","
         " \"foot_length_mm\": 26.5}}");
    nothing_changed(b, "player", 0);
    asks(b, UF_OK, "The lesson with Kim <b>, left-handed, has begun.",
         "{\"ask\": \"begin\", \"new\": {\"name\": \"Kim <b>\", \"hand\": \"left\","
         " \"foot_length_mm\": 265, \"cautions\": \"left knee\"}, \"note\": \"first\"}");
    assert_int_equal(number(b->s, "SELECT count(*) FROM player WHERE foot_length_mm = 265 AND"
                                  " cautions = 'left knee' AND hand = 'left'"),
                     1);
    assert_int_equal(number(b->s, "SELECT count(*) FROM session WHERE note = 'first' AND"
                                  " player_id = 1 AND opened_by = 'person'"),
                     1);
    asks(b, UF_OK, "Block 1, baseline, has begun.",
         "{\"ask\": \"block\", \"kind\": \"baseline\", \"ball\": true, \"club\": \"7 iron\","
         " \"note\": null, \"seen_session\": 2}");
    asks(b, UF_OK, "The one before has ended.",
         "{\"ask\": \"block\", \"kind\": \"drill\", \"ball\": false, \"seen_session\": 2,"
         " \"seen_block\": 1}");
    assert_int_equal(number(b->s, "SELECT (SELECT ended_utc_us FROM block WHERE id = 1) ="
                                  " (SELECT started_utc_us FROM block WHERE id = 2)"),
                     1);
    asks(b, UF_OK, "Block 2 has ended.",
         "{\"ask\": \"block-end\", \"seen_session\": 2, \"seen_block\": 2}");
    asks(b, UF_ESTATE, "block 2 has ended already",
         "{\"ask\": \"block-end\", \"seen_session\": 2, \"seen_block\": 2}");
    asks(b, UF_OK, "has ended (session 2)", "{\"ask\": \"end\", \"seen_session\": 2}");
    asks(b, UF_ESTATE, "session 2 has ended already", "{\"ask\": \"end\", \"seen_session\": 2}");
    asks(b, UF_ENOTFOUND, "not in the database any more", "{\"ask\": \"begin\", \"player\": 9}");
    asks(b, UF_ESTATE, "there is a player \"Kim <b>\" already",
         "{\"ask\": \"begin\", \"new\": {\"name\": \"kim <b>\", \"hand\": \"right\"}}");
    nothing_changed(b, "session", 2);
}

/* Each browser saw the same, and acts: the first one is done, the second one is told. */
static void two_at_once(void **state)
{
    struct bay *b = *state;
    static const char begin[] = "{\"ask\": \"begin\", \"new\": {\"name\": \"Kim\", \"hand\": "
                                "\"left\"}, \"seen_session\": 1}";
    asks(b, UF_OK, "Kim", begin);
    asks(b, UF_ESTATE, "a lesson with Kim has begun meanwhile",
         "{\"ask\": \"begin\", \"new\": {\"name\": \"Zoe\", \"hand\": \"left\"},"
         " \"seen_session\": 1}");
    nothing_changed(b, "player", 1);
    asks(b, UF_ESTATE, "another lesson has begun meanwhile",
         "{\"ask\": \"block\", \"kind\": \"drill\", \"seen_session\": 1}");
    asks(b, UF_OK, "baseline", "{\"ask\": \"block\", \"kind\": \"baseline\", \"seen_session\": 2}");
    asks(b, UF_ESTATE, "the block \"baseline\" has begun meanwhile",
         "{\"ask\": \"block\", \"kind\": \"drill\", \"seen_session\": 2}");
    nothing_changed(b, "block", 1);
    assert_int_equal(number(b->s, "SELECT count(*) FROM block WHERE ended_utc_us IS NULL"), 1);
    /* who has seen the lesson may end it by beginning the next */
    asks(b, UF_OK, "Zoe",
         "{\"ask\": \"begin\", \"new\": {\"name\": \"Zoe\", \"hand\": \"right\"},"
         " \"seen_session\": 2}");
    assert_int_equal(number(b->s, "SELECT count(*) FROM session WHERE ended_utc_us IS NULL"), 1);
    asks(b, UF_ESTATE, "block 1 has ended already",
         "{\"ask\": \"block-end\", \"seen_session\": 2, \"seen_block\": 1}");
}

#define T(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {T(bad_questions), T(a_lesson), T(two_at_once)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

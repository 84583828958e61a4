/* SPDX-License-Identifier: MIT
 * What somebody says of a swing on the page: what is taken, what is refused in which words, and two
 * browsers that act at once. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon/annotate.h"
#include "stored_swing.h"

#define S INT64_C(1000000)

struct bay {
    struct place *place;
    struct uf_store *s;
    struct studio t;
    int64_t swing, block, elsewhere;
};

static int set_up(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    struct uf_block block = {.kind = "drill", .ball = -1};
    struct uf_error err;
    b->place = place_new();
    b->s = open_store(b->place, UF_STORE_CREATE);
    studio_set_up(&b->t, b->s);
    b->swing = add_swing(&b->t, b->s, 800, true, 1700000000);
    block.session_id = b->t.session_id;
    assert_int_equal(uf_block_add(b->s, &block, &err), UF_OK);
    b->block = block.id;
    run_sql(b->s, "INSERT INTO session (uuid, rig_id, started_utc_us) SELECT 'x', id, 5 FROM rig");
    block.session_id = number(b->s, "SELECT max(id) FROM session");
    assert_int_equal(uf_block_add(b->s, &block, &err), UF_OK);
    b->elsewhere = block.id;
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

/* The text must have these words. */
static void asks(struct bay *b, int rc, const char *words, const char *question)
{
    struct uf_annotation a;
    struct uf_error err = {0};
    char said[480] = "";
    json_t *json = json_loads(question, 0, NULL);
    assert_non_null(json);
    int got = uf_annotate_parse(&a, json, &err);
    if (got == UF_OK)
        got = uf_annotate_do(&a, b->s, said, sizeof said, &err);
    const char *text = got ? err.text : said;
    if (got != rc || !strstr(text, words))
        fail_msg("%s: %d \"%s\", wanted %d \"%s\"", question, got, text, rc, words);
    json_t *valid = json_string(text); /* else the browser would get nothing */
    assert_non_null(valid);
    json_decref(valid);
    json_decref(json);
}

static void says(struct bay *b, const char *column, const char *value)
{
    char sql[300];
    snprintf(sql, sizeof sql, "SELECT %s IS %s FROM swing WHERE id = 1", column, value);
    if (number(b->s, sql) != 1)
        fail_msg("swing.%s is not %s", column, value);
}

static void all_kinds(void **state)
{
    struct bay *b = *state;
    asks(b, UF_OK, "now starred", "{\"id\": 1, \"starred\": true, \"seen\": false}");
    says(b, "starred", "1");
    asks(b, UF_OK, "without a star", "{\"id\": 1, \"starred\": false, \"seen\": true}");
    says(b, "starred", "0");
    asks(b, UF_OK, "felt easy", "{\"id\": 1, \"comment\": \" felt easy \", \"seen\": \"\"}");
    says(b, "comment", "'felt easy'");
    asks(b, UF_OK, "without a comment", "{\"id\": 1, \"comment\": \"\", \"seen\": \"felt easy\"}");
    says(b, "comment", "NULL");
    asks(b, UF_OK, "excluded: slipped", "{\"id\": 1, \"excluded\": \"slipped\", \"seen\": \"\"}");
    says(b, "excluded_reason", "'slipped'");
    asks(b, UF_OK, "counts", "{\"id\": 1, \"excluded\": null, \"seen\": \"slipped\"}");
    says(b, "excluded_reason", "NULL");
    asks(b, UF_OK, "in block 1, drill", "{\"id\": 1, \"block\": 1, \"seen\": 0}");
    says(b, "block_id", "1");
    asks(b, UF_OK, "in no block", "{\"id\": 1, \"block\": null, \"seen\": 1}");
    says(b, "block_id", "NULL");
}

/* Two screens show a swing without a comment; both write one. */
static void two_at_once(void **state)
{
    struct bay *b = *state;
    asks(b, UF_OK, "first", "{\"id\": 1, \"comment\": \"first\", \"seen\": \"\"}");
    asks(b, UF_ESTATE, "changed meanwhile, it is now commented \"first\"",
         "{\"id\": 1, \"comment\": \"second\", \"seen\": \"\"}");
    says(b, "comment", "'first'");
    asks(b, UF_OK, "first", "{\"id\": 1, \"comment\": \"first\", \"seen\": \"\"}"); /* the same */
    asks(b, UF_OK, "second", "{\"id\": 1, \"comment\": \"second\", \"seen\": \"first\"}");
    says(b, "comment", "'second'");
    /* a star and a comment are no hindrance to each other */
    asks(b, UF_OK, "starred", "{\"id\": 1, \"starred\": true, \"seen\": false}");
    asks(b, UF_OK, "excluded", "{\"id\": 1, \"excluded\": \"tee\", \"seen\": null}");
    asks(b, UF_ESTATE, "excluded: tee", "{\"id\": 1, \"excluded\": \"tea\", \"seen\": null}");
    asks(b, UF_OK, "in block", "{\"id\": 1, \"block\": 1, \"seen\": null}");
    asks(b, UF_ESTATE, "it is now in block 1, drill", "{\"id\": 1, \"block\": null, \"seen\": 7}");
}

static void bad_questions(void **state)
{
    struct bay *b = *state;
    static const char *const bad[][2] = {
        {"{\"starred\": true, \"seen\": false}", "\"id\" must be"},
        {"{\"id\": \"1\", \"starred\": true, \"seen\": false}", "\"id\" must be"},
        {"{\"id\": 0, \"starred\": true, \"seen\": false}", "\"id\" must be"},
        {"{\"id\": 1, \"seen\": false}", "a remark is one of"},
        {"{\"id\": 1, \"starred\": true}", "say in \"seen\""},
        {"{\"id\": 1, \"starred\": true, \"block\": 1, \"seen\": 0}", "one remark at a time"},
        {"{\"id\": 1, \"starred\": \"yes\", \"seen\": false}", "true or false"},
        {"{\"id\": 1, \"block\": -1, \"seen\": 0}", "the number of a block"},
        {"{\"id\": 1, \"comment\": 5, \"seen\": \"\"}", "must be text"},
        {"{\"id\": 1, \"comment\": \"a\\u001b[2J\", \"seen\": \"\"}", "control"},
        {"{\"id\": 1, \"excluded\": \" \", \"seen\": \"\"}", "say why swing 1 does not count"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        asks(b, UF_EINVAL, bad[i][1], bad[i][0]);
    asks(b, UF_ENOTFOUND, "9", "{\"id\": 9, \"starred\": true, \"seen\": false}");
    asks(b, UF_ENOTFOUND, "77", "{\"id\": 1, \"block\": 77, \"seen\": 0}");
    asks(b, UF_ESTATE, "a swing stays in its session", "{\"id\": 1, \"block\": 2, \"seen\": 0}");
    says(b, "block_id", "NULL");
    says(b, "starred", "0");
}

/* A sentence has no room for all of it, and must not end within a letter. */
static void long_letters(void **state)
{
    struct bay *b = *state;
    char question[700] = "{\"id\": 1, \"comment\": \"x";
    for (int i = 0; i < 100; i++)
        strcat(question, "\u00e9");
    strcat(question, "\", \"seen\": \"\"}");
    asks(b, UF_OK, "commented \"x\u00e9", question);
    assert_int_equal(number(b->s, "SELECT length(comment) FROM swing"), 101);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(all_kinds, set_up, tear_down),
        cmocka_unit_test_setup_teardown(two_at_once, set_up, tear_down),
        cmocka_unit_test_setup_teardown(bad_questions, set_up, tear_down),
        cmocka_unit_test_setup_teardown(long_letters, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

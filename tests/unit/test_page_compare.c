/* SPDX-License-Identifier: MIT
 * Two blocks or two swings as the page gets them: which moment is laid over which, what is drawn,
 * what is refused. That the numbers are those of `underfoot compare` is tests/browser's affair. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon/page_compare.h"
#include "daemon/page_overlay.h"
#include "store/remarks.h"
#include "stored_swing.h"

struct bay {
    struct place *place;
    struct uf_store *s;
    struct studio t;
    int64_t block[2];
};

/* n swings into a block of its own; weights differ from swing to swing. */
static int64_t add_block(struct bay *b, const char *kind, int n, double weight_n, bool strike)
{
    struct uf_block block = {.ball = 1};
    struct uf_error err;
    block.session_id = b->t.session_id;
    snprintf(block.kind, sizeof block.kind, "%s", kind);
    assert_int_equal(uf_block_add(b->s, &block, &err), UF_OK);
    for (int i = 0; i < n; i++) {
        int64_t id = add_swing(&b->t, b->s, weight_n + 3 * (i % 4), strike, 1700000000 + 60 * i);
        assert_int_equal(uf_remark_block(b->s, &id, 1, block.id, &err), UF_OK);
    }
    return block.id;
}

static int set_up(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    b->place = place_new();
    b->s = open_store(b->place, UF_STORE_CREATE);
    studio_set_up(&b->t, b->s);
    b->block[0] = add_block(b, "baseline", 3, 800, true);
    b->block[1] = add_block(b, "retest", 4, 830, true);
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

static json_t *compare(struct bay *b, bool blocks, int64_t first, int64_t second)
{
    json_t *json;
    struct uf_error err;
    if (uf_page_read_compare(b->place->db, blocks, first, second, &json, &err))
        fail_msg("%s", err.text);
    assert_true(json_is_null(json_object_get(json, "curves_problem")));
    return json;
}

static int64_t whole(const json_t *json, const char *side, const char *key)
{
    return json_integer_value(json_object_get(json_object_get(json, side), key));
}

static double at_zero(const json_t *json, const char *side, const char *what, const char *curve)
{
    const json_t *y = json_object_get(json_object_get(json_object_get(json, side), what), curve);
    assert_int_equal(json_array_size(y), UF_OVERLAY_POINTS);
    return json_number_value(
        json_array_get(y, (size_t)(0.5 - UF_OVERLAY_FROM_S / UF_OVERLAY_STEP_S)));
}

/* The row of a metric. */
static const json_t *row(const json_t *json, const char *name)
{
    size_t i;
    const json_t *r;
    json_array_foreach(json_object_get(json, "rows"), i,
                       r) if (strcmp(json_string_value(json_object_get(r, "name")), name) ==
                              0) return r;
    fail_msg("no row %s", name);
    return NULL;
}

static void two_blocks(void **state)
{
    struct bay *b = *state;
    json_t *json = compare(b, true, b->block[0], b->block[1]);
    assert_string_equal(json_string_value(json_object_get(json, "zero")), "impact");
    assert_false(json_is_true(json_object_get(json, "estimated")));
    assert_int_equal(whole(json, "a", "swings"), 3);
    assert_int_equal(whole(json, "b", "drawn"), 4);
    /* heavier by 30 N and more, shown at impact as in the numbers */
    double more = at_zero(json, "b", "curves", "total_vertical_n") -
                  at_zero(json, "a", "curves", "total_vertical_n");
    assert_true(more > 28 && more < 34);
    double sd = at_zero(json, "a", "spread", "total_vertical_n");
    assert_true(sd > 2.5 && sd < 3.5); /* of 800, 803, 806 */
    const json_t *weight = row(json, "weight_n");
    assert_string_equal(json_string_value(json_object_get(weight, "verdict")), "changed");
    const char *difference = json_string_value(json_object_get(weight, "difference"));
    assert_int_equal(difference[0], '+');
    assert_true(json_array_size(json_object_get(json, "sentences")) > 0);
    json_decref(json);
}

static void excluded_and_many(void **state)
{
    struct bay *b = *state;
    struct uf_error err;
    int64_t first = 1, many = add_block(b, "long", UF_PAGE_DRAWN_MAX + 2, 800, true);
    assert_int_equal(uf_remark_excluded(b->s, &first, 1, "tee", &err), UF_OK);
    json_t *json = compare(b, true, b->block[0], many);
    assert_int_equal(whole(json, "a", "swings"), 2);
    assert_int_equal(whole(json, "a", "not_counted"), 1);
    assert_int_equal(whole(json, "a", "drawn"), 2);
    assert_int_equal(whole(json, "b", "swings"), UF_PAGE_DRAWN_MAX + 2);
    assert_int_equal(whole(json, "b", "drawn"), UF_PAGE_DRAWN_MAX);
    assert_string_equal(json_string_value(json_object_get(row(json, "weight_n"), "verdict")),
                        "too few swings");
    json_decref(json);
}

/* One swing without an impact: then all of them are laid over each other elsewhere, or it is said
 * that a moment is estimated. */
static void no_impact(void **state)
{
    struct bay *b = *state;
    int64_t id = add_swing(&b->t, b->s, 800, false, 1700005000);
    json_t *json = compare(b, false, 1, id);
    bool impact = strcmp(json_string_value(json_object_get(json, "zero")), "impact") == 0;
    assert_int_equal(json_is_true(json_object_get(json, "estimated")), impact);
    assert_int_equal(whole(json, "a", "swings"), 1);
    assert_int_equal(json_object_size(json_object_get(json_object_get(json, "a"), "spread")), 0);
    json_decref(json);
    run_sql(b->s, "DELETE FROM swing_event");
    json = compare(b, false, 1, id);
    assert_string_equal(json_string_value(json_object_get(json, "zero")), "trigger");
    assert_false(json_is_true(json_object_get(json, "estimated")));
    json_decref(json);
}

static void refused(struct bay *b, bool blocks, int64_t first, int64_t second, int rc,
                    const char *words)
{
    json_t *json;
    struct uf_error err;
    assert_int_equal(uf_page_read_compare(b->place->db, blocks, first, second, &json, &err), rc);
    assert_null(json);
    if (!strstr(err.text, words))
        fail_msg("\"%s\", wanted \"%s\"", err.text, words);
}

static void refusals(void **state)
{
    struct bay *b = *state;
    refused(b, true, 1, 1, UF_EINVAL, "block 1 against itself");
    refused(b, false, 2, 2, UF_EINVAL, "swing 2 against itself");
    refused(b, true, 1, 99, UF_ENOTFOUND, "99");
    refused(b, false, 99, 1, UF_ENOTFOUND, "99");
}

/* Raw counts that cannot be read: the numbers are shown all the same, and it is said. */
static void broken_raw(void **state)
{
    struct bay *b = *state;
    json_t *json;
    struct uf_error err;
    run_sql(b->s, "DROP TRIGGER swing_raw_is_final;"
                  " UPDATE swing_raw SET data = x'00' WHERE swing_id = 2");
    assert_int_equal(uf_page_read_compare(b->place->db, false, 1, 2, &json, &err), UF_OK);
    assert_true(json_is_string(json_object_get(json, "curves_problem")));
    (void)row(json, "weight_n");
    json_decref(json);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(two_blocks, set_up, tear_down),
        cmocka_unit_test_setup_teardown(excluded_and_many, set_up, tear_down),
        cmocka_unit_test_setup_teardown(no_impact, set_up, tear_down),
        cmocka_unit_test_setup_teardown(refusals, set_up, tear_down),
        cmocka_unit_test_setup_teardown(broken_raw, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

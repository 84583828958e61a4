/* SPDX-License-Identifier: MIT
 * Is a swing that was found again stored already? By its counts, whatever its times and window are.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "store/recovery.h"
#include "stored_swing.h"

struct bay {
    struct place *place;
    struct uf_store *s;
    struct studio t;
};

static int set_up(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    b->place = place_new();
    b->s = open_store(b->place, UF_STORE_CREATE);
    studio_set_up(&b->t, b->s);
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

/* The same swing as another run would cut it: other times, skip samples later, drop fewer. */
static struct uf_capture *cut_again(const struct uf_capture *a, size_t skip, size_t drop)
{
    struct uf_capture *c;
    struct uf_error err;
    size_t channels = a->board.channels, n = a->samples - skip - drop;
    assert_int_equal(uf_capture_new(&c, &a->board, n, &err), 0);
    c->start_dev_us = 5000000;
    c->trigger_dev_us = 5000000 + a->trigger_dev_us - a->start_dev_us - a->offset_us[skip];
    for (size_t i = 0; i < n; i++)
        c->offset_us[i] = a->offset_us[skip + i] - a->offset_us[skip];
    memcpy(c->counts_raw, a->counts_raw + skip * channels, n * channels * sizeof *c->counts_raw);
    return c;
}

static void same(void **state)
{
    const struct bay *b = *state;
    struct uf_capture *a = make_swing(&b->t.rig, 800, true);
    struct uf_capture *again = cut_again(a, 13, 20);
    struct uf_capture *other = make_swing(&b->t.rig, 801, true);
    assert_true(uf_capture_same(a, a));
    assert_true(uf_capture_same(a, again));
    assert_true(uf_capture_same(again, a));
    assert_false(uf_capture_same(a, other));
    size_t trigger = 0;
    while (a->start_dev_us + a->offset_us[trigger] < a->trigger_dev_us)
        trigger++;
    a->counts_raw[trigger * a->board.channels + 3] ^= 1; /* one bit of one channel */
    assert_false(uf_capture_same(a, again));
    a->counts_raw[trigger * a->board.channels + 3] ^= 1;
    a->board.board_id[7] ^= 1;
    assert_false(uf_capture_same(a, again));
    uf_capture_free(a);
    uf_capture_free(again);
    uf_capture_free(other);
}

static void find(void **state)
{
    struct bay *b = *state;
    struct uf_error err;
    int64_t newest = -1, id = -1;
    assert_int_equal(uf_store_swing_newest(b->s, &newest, &err), 0);
    assert_int_equal(newest, 0);
    int64_t first = add_swing(&b->t, b->s, 800, true, 1700000000);
    int64_t twin = add_swing(&b->t, b->s, 800, true, 1700000100); /* the same counts again */
    add_swing(&b->t, b->s, 750, true, 1700000200);
    assert_int_equal(uf_store_swing_newest(b->s, &newest, &err), 0);
    assert_int_equal(newest, 3);
    struct uf_capture *a = make_swing(&b->t.rig, 800, true), *again = cut_again(a, 5, 7);
    assert_int_equal(uf_store_swing_find(b->s, again, 0, NULL, 0, &id, &err), 0);
    assert_int_equal(id, first);
    assert_int_equal(uf_store_swing_find(b->s, again, 0, &first, 1, &id, &err), 0);
    assert_int_equal(id, twin);
    const int64_t both[] = {first, twin};
    assert_int_equal(uf_store_swing_find(b->s, again, 0, both, 2, &id, &err), UF_ENOTFOUND);
    assert_int_equal(uf_store_swing_find(b->s, again, first, NULL, 0, &id, &err), 0);
    assert_int_equal(id, twin);
    assert_int_equal(uf_store_swing_find(b->s, again, twin, NULL, 0, &id, &err), UF_ENOTFOUND);
    uf_capture_free(a);
    uf_capture_free(again);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(same, set_up, tear_down),
        cmocka_unit_test_setup_teardown(find, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT
 * SQLite runs out of memory at its n-th allocation: each call fails with a sentence or works, and a
 * swing is there whole or not at all. Takes every n with UNDERFOOT_EVERY_FAULT=1 in the environment
 * (two minutes), else fewer the larger n is. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "stored_swing.h"

/* Allocations left until one fails; negative: none fails. SQLite's hooks carry no user pointer. */
static long left = -1;
static sqlite3_mem_methods real;

static void *failing_malloc(int n)
{
    if (left > 0 && --left == 0)
        return NULL;
    return real.xMalloc(n);
}

static void *failing_realloc(void *p, int n)
{
    if (left > 0 && --left == 0)
        return NULL;
    return real.xRealloc(p, n);
}

static long after(long n)
{
    return n + 1 + (getenv("UNDERFOOT_EVERY_FAULT") ? 0 : n / 12);
}

static struct uf_capture *brief_swing(const struct uf_rig *rig)
{
    struct uf_capture *whole = make_swing(rig, 800, false), *brief;
    assert_int_equal(uf_capture_new(&brief, &whole->board, 100, NULL), 0);
    brief->trigger_dev_us = 100000;
    for (size_t i = 0; i < brief->samples; i++)
        brief->offset_us[i] = (uint32_t)(2000 * i);
    memcpy(brief->counts_raw, whole->counts_raw, 4 * 100 * 24);
    uf_capture_free(whole);
    return brief;
}

static void storing_a_swing(void **state)
{
    (void)state;
    struct place *p = place_new();
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    struct uf_capture *c = brief_swing(&t.rig);
    long n = after(0);
    int rc = -1;
    int64_t whole = 0;
    for (; rc != 0 && n < 20000; n = after(n)) {
        struct uf_error err = {.text = ""};
        int64_t id;
        left = n;
        rc = add_capture(&t, s, c, &t.nominal, 0, 1000, &id, &err);
        bool reached = left == 0;
        left = -1;
        if (rc != 0)
            assert_true(strlen(err.text) > 10);
        whole += rc == 0;
        assert_int_equal(number(s, "SELECT count(*) FROM swing"), whole);
        assert_int_equal(number(s, "SELECT count(*) FROM swing_raw"), whole);
        assert_int_equal(number(s, "SELECT count(*) FROM derivation"), whole);
        assert_int_equal(number(s, "SELECT count(*) FROM swing_metric"), whole);
        if (rc == 0 && reached) { /* SQLite did without that one */
            rc = -1;
            run_sql(s, "DELETE FROM swing");
            whole = 0;
        }
    }
    assert_int_equal(rc, 0);
    assert_true(n > 50); /* the hook was there at all */
    uf_capture_free(c);
    uf_store_close(s);
    place_free(p);
}

static void opening(void **state)
{
    (void)state;
    long n = after(0);
    for (bool reached = true; reached && n < 20000; n = after(n)) {
        struct place *p = place_new();
        struct uf_store *s;
        struct uf_error err = {.text = ""};
        left = n;
        int rc = uf_store_open(&s, p->db, UF_STORE_CREATE, &err);
        reached = left == 0;
        left = -1;
        assert_true(rc == 0 || (s == NULL && strlen(err.text) > 10));
        uf_store_close(s);
        s = open_store(p, UF_STORE_CREATE); /* whatever happened, the next start works */
        assert_int_equal(number(s, "SELECT count(*) FROM metric"), UF_METRICS);
        uf_store_close(s);
        place_free(p);
    }
    assert_true(n > 300); /* the hook was there at all */
}

int main(void)
{
    sqlite3_config(SQLITE_CONFIG_GETMALLOC, &real);
    sqlite3_mem_methods failing = real;
    failing.xMalloc = failing_malloc;
    failing.xRealloc = failing_realloc;
    sqlite3_config(SQLITE_CONFIG_MALLOC, &failing);
    sqlite3_config(SQLITE_CONFIG_LOOKASIDE, 0, 0); /* each allocation of a connection counts */
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(storing_a_swing),
        cmocka_unit_test(opening),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

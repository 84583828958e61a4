/* SPDX-License-Identifier: MIT
 * The queue to the store with a sink that fails on demand: order, retries, the states that people
 * see, and that nothing is dropped. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon/store_thread.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#define JOBS 64

/* A disk. The thread writes, the test reads after stopped, but for the atomics. */
struct disk {
    atomic_int fail_code;     /* 0: it works */
    atomic_int fail_only;     /* only the job of this utc_us; 0: any */
    atomic_int fails, stores; /* so far */
    atomic_int mend_after;    /* works again after so many fails; 0: never */
    atomic_bool gate;         /* a store waits while it is set */
    int64_t order[JOBS];
    bool closed;
};

struct bench {
    uv_loop_t loop;
    struct disk disk;
    struct uf_store_thread *t;
    int changes, left;
    bool stopped;
    int64_t calibration_id; /* of the job that came back; -2: none did */
    int answers;            /* LESSON and TEACH that came back */
    int teach_rc;
    struct uf_store_status worst;
};

static int store(void *who, struct uf_job *job, struct uf_error *err)
{
    struct disk *d = who;
    while (atomic_load(&d->gate))
        uv_sleep(1);
    int code = atomic_load(&d->fail_code), only = atomic_load(&d->fail_only);
    if (code && (only == 0 || only == job->utc_us)) {
        if (atomic_fetch_add(&d->fails, 1) + 1 == atomic_load(&d->mend_after))
            atomic_store(&d->fail_code, 0);
        return uf_fail(err, code, "the disk is full");
    }
    int i = atomic_fetch_add(&d->stores, 1);
    if (i < JOBS)
        d->order[i] = job->utc_us;
    if (job->kind == UF_JOB_SWING)
        job->swing_id = 1000 + job->utc_us;
    if (job->kind == UF_JOB_CALIBRATION)
        job->calibration_id = 7;
    return UF_OK;
}

static void close_disk(void *who)
{
    struct disk *d = who;
    d->closed = true;
}

static void changed(void *who)
{
    struct bench *b = who;
    b->changes++;
    struct uf_store_status s;
    uf_store_thread_status(b->t, &s);
    if (s.state > b->worst.state)
        b->worst = s;
}

static void calibration(void *who, struct uf_job *job)
{
    struct bench *b = who;
    if (job->kind == UF_JOB_CALIBRATION)
        b->calibration_id = job->calibration_id;
    else
        b->answers++;
    if (job->teach)
        b->teach_rc = job->teach->rc;
    uf_job_free(job);
}

static void stopped(void *who, int left)
{
    struct bench *b = who;
    b->stopped = true;
    b->left = left;
    uv_stop(&b->loop);
}

static void begin(struct bench *b, int limit)
{
    memset(b, 0, sizeof *b);
    b->calibration_id = -2;
    assert_int_equal(uv_loop_init(&b->loop), 0);
    const struct uf_store_thread_config config = {
        .loop = &b->loop,
        .sink = {.who = &b->disk, .store = store, .close = close_disk},
        .limit = limit,
        .waits = {.first_ms = 5, .longest_ms = 40},
        .changed = changed,
        .answered = calibration,
        .stopped = stopped,
        .who = b,
    };
    assert_int_equal(uf_store_thread_new(&b->t, &config, NULL), UF_OK);
}

static void stop_and_end(struct bench *b, uint64_t limit_ms)
{
    uf_store_thread_stop(b->t, limit_ms);
    uv_run(&b->loop, UV_RUN_DEFAULT);
    assert_true(b->stopped);
    assert_true(b->disk.closed);
    uf_store_thread_free(b->t);
    uv_run(&b->loop, UV_RUN_DEFAULT);
    assert_int_equal(uv_loop_close(&b->loop), 0);
}

static bool put(struct bench *b, enum uf_job_kind kind, int64_t label)
{
    struct uf_job *job = uf_job_new(kind);
    job->utc_us = label;
    if (kind == UF_JOB_TEACH)
        job->teach = calloc(1, sizeof *job->teach);
    if (kind == UF_JOB_SWING) {
        const struct uf_hello board = {
            .protocol = 1, .channels = 2, .adc_bits = 24, .rate_hz = 1000};
        assert_int_equal(uf_capture_new(&job->capture, &board, 10, NULL), UF_OK);
    }
    return uf_store_thread_put(b->t, job);
}

static void wait_until(atomic_int *counter, int n)
{
    for (int i = 0; i < 4000 && atomic_load(counter) < n; i++)
        uv_sleep(1);
    assert_true(atomic_load(counter) >= n);
}

static void test_order(void **state)
{
    (void)state;
    struct bench b;
    begin(&b, 4);
    for (int i = 1; i <= 20; i++)
        assert_true(put(&b, i % 3 ? UF_JOB_SWING : UF_JOB_TARE, i));
    stop_and_end(&b, 1000);
    assert_int_equal(atomic_load(&b.disk.stores), 20);
    for (int i = 1; i <= 20; i++)
        assert_int_equal(b.disk.order[i - 1], i);
    assert_int_equal(b.left, 0);
}

static void test_counts(void **state)
{
    (void)state;
    struct bench b;
    struct uf_store_status s;
    begin(&b, 2);
    atomic_store(&b.disk.gate, true);
    for (int i = 1; i <= 5; i++)
        put(&b, UF_JOB_SWING, i);
    uf_store_thread_status(b.t, &s);
    assert_int_equal(s.state, UF_STORE_BEHIND);
    assert_int_equal(s.waiting, 5); /* beyond the limit: kept all the same */
    assert_int_equal(s.limit, 2);
    assert_true(s.waiting_bytes > 5 * 10 * 2 * 4);
    atomic_store(&b.disk.gate, false);
    wait_until(&b.disk.stores, 5);
    stop_and_end(&b, 1000);
    assert_int_equal(b.disk.order[4], 5);
}

static void test_settles_after(void **state)
{
    (void)state;
    struct bench b;
    struct uf_store_status s;
    begin(&b, 2);
    for (int i = 1; i <= 5; i++)
        put(&b, UF_JOB_SWING, i);
    wait_until(&b.disk.stores, 5);
    for (int i = 0; i < 1000; i++) {
        uf_store_thread_status(b.t, &s);
        if (s.waiting == 0)
            break;
        uv_sleep(1);
    }
    assert_int_equal(s.state, UF_STORE_OK);
    assert_int_equal(s.waiting_bytes, 0);
    assert_int_equal(s.stored, 5);
    assert_int_equal(s.most_waiting >= 1, 1);
    assert_int_equal(s.last_swing_id, 1005);
    assert_int_equal(s.last_swing_utc_us, 5);
    stop_and_end(&b, 1000);
}

/* A full disk that is mended: the same job at the head, tried again, then the rest in order. */
static void test_full_disk(void **state)
{
    (void)state;
    struct bench b;
    begin(&b, 10);
    atomic_store(&b.disk.mend_after, 2);
    atomic_store(&b.disk.fail_code, UF_EIO);
    for (int i = 1; i <= 3; i++)
        put(&b, UF_JOB_SWING, i);
    wait_until(&b.disk.stores, 3);
    stop_and_end(&b, 1000);
    assert_int_equal(atomic_load(&b.disk.fails), 2);
    for (int i = 1; i <= 3; i++)
        assert_int_equal(b.disk.order[i - 1], i);
    assert_int_equal(b.left, 0);
}

/* The state says so while it fails. */
static void test_failing_state(void **state)
{
    (void)state;
    struct bench b;
    struct uf_store_status s;
    begin(&b, 10);
    atomic_store(&b.disk.fail_code, UF_EBUSY);
    put(&b, UF_JOB_SWING, 1);
    wait_until(&b.disk.fails, 1);
    for (int i = 0; i < 1000; i++) {
        uf_store_thread_status(b.t, &s);
        if (s.state == UF_STORE_FAILING)
            break;
        uv_sleep(1);
    }
    assert_int_equal(s.state, UF_STORE_FAILING);
    assert_string_equal(s.problem, "the disk is full");
    assert_int_equal(s.waiting, 1);
    put(&b, UF_JOB_SWING, 2); /* a new swing does not hide the failure */
    uf_store_thread_status(b.t, &s);
    assert_int_equal(s.state, UF_STORE_FAILING);
    atomic_store(&b.disk.fail_code, 0);
    stop_and_end(&b, 2000);
    assert_int_equal(b.left, 0);
    assert_int_equal(b.disk.order[0], 1);
}

/* A disk that stays full at the end: given up in time, and counted. */
static void test_gives_up_at_the_end(void **state)
{
    (void)state;
    struct bench b;
    begin(&b, 10);
    atomic_store(&b.disk.fail_code, UF_EIO);
    for (int i = 1; i <= 3; i++)
        put(&b, UF_JOB_SWING, i);
    wait_until(&b.disk.fails, 1);
    uint64_t begun_ns = uv_hrtime();
    stop_and_end(&b, 300);
    assert_true(uv_hrtime() - begun_ns < 2000000000u);
    assert_int_equal(b.left, 3);
}

/* In a hurry: not even the time limit is waited for. */
static void test_hurry(void **state)
{
    (void)state;
    struct bench b;
    begin(&b, 10);
    atomic_store(&b.disk.fail_code, UF_EIO);
    put(&b, UF_JOB_SWING, 1);
    wait_until(&b.disk.fails, 1);
    uf_store_thread_stop(b.t, 60000);
    uf_store_thread_hurry(b.t);
    uint64_t begun_ns = uv_hrtime();
    stop_and_end(&b, 60000);
    assert_true(uv_hrtime() - begun_ns < 2000000000u);
    assert_int_equal(b.left, 1);
}

/* One swing that can never be stored does not keep the others out, and is not dropped either. */
static void test_hopeless_swing(void **state)
{
    (void)state;
    struct bench b;
    begin(&b, 10);
    atomic_store(&b.disk.fail_only, 1);
    atomic_store(&b.disk.fail_code, UF_EINVAL);
    for (int i = 1; i <= 3; i++)
        put(&b, UF_JOB_SWING, i);
    wait_until(&b.disk.stores, 2);
    atomic_store(&b.disk.fail_code, 0);
    stop_and_end(&b, 2000);
    assert_int_equal(b.left, 0);
    assert_int_equal(b.disk.order[0], 2);
    assert_int_equal(b.disk.order[1], 3);
    assert_int_equal(b.disk.order[2], 1);
}

static void test_calibration_comes_back(void **state)
{
    (void)state;
    struct bench b;
    begin(&b, 10);
    put(&b, UF_JOB_CALIBRATION, 1);
    stop_and_end(&b, 1000);
    assert_int_equal(b.calibration_id, 7);
}

/* One that can't be read says so, and blocks nothing. */
static void test_bad_calibration(void **state)
{
    (void)state;
    struct bench b;
    begin(&b, 10);
    atomic_store(&b.disk.fail_only, 1);
    atomic_store(&b.disk.fail_code, UF_ECORRUPT);
    put(&b, UF_JOB_CALIBRATION, 1);
    put(&b, UF_JOB_SWING, 2);
    wait_until(&b.disk.stores, 1);
    stop_and_end(&b, 1000);
    assert_int_equal(b.calibration_id, -1);
    assert_int_equal(b.disk.order[0], 2);
}

/* What a person waits for does not wait for a disk that refuses swings; it is tried once, answered,
 * and does not pretend that the disk is well. */
static void test_a_person_does_not_wait(void **state)
{
    (void)state;
    struct bench b;
    struct uf_store_status s;
    begin(&b, 10);
    atomic_store(&b.disk.fail_only, 1);
    atomic_store(&b.disk.fail_code, UF_EIO);
    put(&b, UF_JOB_SWING, 1);
    put(&b, UF_JOB_SWING, 2);
    wait_until(&b.disk.fails, 1);
    put(&b, UF_JOB_TEACH, 3);
    put(&b, UF_JOB_LESSON, 4);
    for (int i = 0; i < 4000 && b.answers < 2; i++) {
        uv_run(&b.loop, UV_RUN_NOWAIT);
        uv_sleep(1);
    }
    assert_int_equal(b.answers, 2);
    assert_int_equal(b.teach_rc, UF_OK);
    uf_store_thread_status(b.t, &s);
    assert_int_equal(s.state, UF_STORE_FAILING);
    assert_int_equal(s.waiting, 2);
    atomic_store(&b.disk.fail_only, 0); /* now it refuses everything */
    put(&b, UF_JOB_TEACH, 5);
    for (int i = 0; i < 4000 && b.answers < 3; i++) {
        uv_run(&b.loop, UV_RUN_NOWAIT);
        uv_sleep(1);
    }
    assert_int_equal(b.teach_rc, UF_EIO);
    atomic_store(&b.disk.fail_code, 0);
    stop_and_end(&b, 2000);
    static const int order[] = {3, 4, 1, 2};
    for (int i = 0; i < 4; i++)
        assert_int_equal(b.disk.order[i], order[i]);
}

/* Zeros and link events have a limit, and a counter; swings go on. */
static void test_notes_limit(void **state)
{
    (void)state;
    struct bench b;
    struct uf_store_status s;
    begin(&b, 10);
    atomic_store(&b.disk.gate, true);
    for (int i = 0; i < UF_STORE_NOTES_MAX; i++)
        assert_true(put(&b, UF_JOB_LINK_EVENT, i));
    assert_false(put(&b, UF_JOB_LINK_EVENT, 1));
    assert_true(put(&b, UF_JOB_SWING, 1));
    uf_store_thread_status(b.t, &s);
    assert_int_equal(s.notes_lost, 1);
    assert_int_equal(s.lost, 0);
    atomic_store(&b.disk.gate, false);
    stop_and_end(&b, 1000);
    assert_int_equal(atomic_load(&b.disk.stores), UF_STORE_NOTES_MAX + 1);
}

/* Never run: the thread is joined, what waits is stored. */
static void test_free_without_stop(void **state)
{
    (void)state;
    struct bench b;
    begin(&b, 10);
    put(&b, UF_JOB_SWING, 1);
    uf_store_thread_free(b.t);
    uv_run(&b.loop, UV_RUN_DEFAULT);
    assert_int_equal(uv_loop_close(&b.loop), 0);
    assert_true(b.disk.closed);
    assert_int_equal(atomic_load(&b.disk.stores), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_order),
        cmocka_unit_test(test_counts),
        cmocka_unit_test(test_settles_after),
        cmocka_unit_test(test_full_disk),
        cmocka_unit_test(test_failing_state),
        cmocka_unit_test(test_gives_up_at_the_end),
        cmocka_unit_test(test_hurry),
        cmocka_unit_test(test_hopeless_swing),
        cmocka_unit_test(test_calibration_comes_back),
        cmocka_unit_test(test_bad_calibration),
        cmocka_unit_test(test_a_person_does_not_wait),
        cmocka_unit_test(test_notes_limit),
        cmocka_unit_test(test_free_without_stop),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

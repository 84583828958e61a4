/* SPDX-License-Identifier: MIT
 * The spool: its bytes, damaged in every place; the writer and its ring. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon/spool.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- format ---- */

/* Three records: a state, bytes, a cut. */
static size_t make_segment(uint8_t *p, uint64_t sequence)
{
    uint8_t state[UF_SPOOL_STATE_BYTES];
    struct uf_spool_state st = {
        .hand = UF_LEFT_HANDED, .has_tare = true, .tare_utc_us = -5, .stored_id = 77};
    st.tare_raw[0] = 1234.5;
    st.tare_raw[47] = -8388608;
    uf_spool_put_state(state, &st);
    const struct uf_spool_record records[] = {
        {UF_SPOOL_START, 1, 2, state, sizeof state},
        {UF_SPOOL_BYTES, 3, 1700000000000000, (const uint8_t *)"abcdefg", 7},
        {UF_SPOOL_CUT, -1, -2, NULL, 0}};
    size_t n = UF_SPOOL_HEADER_BYTES;
    uf_spool_put_header(p, sequence, 99);
    for (int i = 0; i < 3; i++) {
        size_t size = uf_spool_put_record(p + n, &records[i]);
        assert_int_equal(uf_spool_record_size(p + n), size);
        uf_spool_seal(p + n, sequence);
        n += size;
    }
    return n;
}

static int count(const uint8_t *p, size_t n, uint64_t sequence)
{
    struct uf_spool_record r;
    size_t at = UF_SPOOL_HEADER_BYTES;
    int found = 0;
    while (uf_spool_next(p, n, sequence, &at, &r))
        found++;
    return found;
}

static void round_trip(void **state)
{
    (void)state;
    uint8_t p[1000];
    uint64_t sequence;
    int64_t utc_us;
    size_t n = make_segment(p, 42), at = UF_SPOOL_HEADER_BYTES;
    struct uf_spool_record r;
    struct uf_spool_state st;
    assert_true(uf_spool_get_header(p, n, &sequence, &utc_us));
    assert_int_equal(sequence, 42);
    assert_int_equal(utc_us, 99);
    assert_true(uf_spool_next(p, n, 42, &at, &r));
    assert_int_equal(r.kind, UF_SPOOL_START);
    assert_true(uf_spool_get_state(r.bytes, r.n, &st));
    assert_int_equal(st.hand, UF_LEFT_HANDED);
    assert_true(st.has_tare);
    assert_int_equal(st.tare_utc_us, -5);
    assert_int_equal(st.stored_id, 77);
    assert_true(st.tare_raw[0] == 1234.5 && st.tare_raw[47] == -8388608 && st.tare_raw[1] == 0);
    assert_false(uf_spool_get_state(r.bytes, r.n - 1, &st));
    assert_true(uf_spool_next(p, n, 42, &at, &r));
    assert_int_equal(r.n, 7);
    assert_memory_equal(r.bytes, "abcdefg", 7);
    assert_int_equal(r.utc_us, 1700000000000000);
    assert_true(uf_spool_next(p, n, 42, &at, &r));
    assert_int_equal(r.mono_us, -1);
    assert_false(uf_spool_next(p, n, 42, &at, &r));
    assert_int_equal(at, n);
}

/* Each byte changed, each length cut: never a record that was not written, never one after it. */
static void damage(void **state)
{
    (void)state;
    uint8_t good[1000], p[1000];
    uint64_t sequence;
    int64_t utc_us;
    size_t n = make_segment(good, 42);
    size_t second = UF_SPOOL_HEADER_BYTES + UF_SPOOL_RECORD_BYTES + UF_SPOOL_STATE_BYTES;
    size_t third = second + UF_SPOOL_RECORD_BYTES + 7;
    for (size_t i = 0; i < n; i++) {
        int whole = i < UF_SPOOL_HEADER_BYTES ? 3 : i < second ? 0 : i < third ? 1 : 2;
        memcpy(p, good, n);
        p[i] ^= 0x10;
        assert_int_equal(count(p, n, 42), whole);
        assert_int_equal(uf_spool_get_header(p, n, &sequence, &utc_us), i >= 28);
        assert_int_equal(count(good, i, 42), i < second ? 0 : i < third ? 1 : 2);
    }
    assert_int_equal(count(good, n, 41), 0); /* an older use of the file */
    memset(p, 0xFF, sizeof p);
    assert_int_equal(count(p, sizeof p, 42), 0);
    memset(p, 0, sizeof p);
    assert_int_equal(count(p, sizeof p, 0), 0);
}

/* ---- the writer ---- */

struct bay {
    char folder[64];
    uv_loop_t loop;
};

static int set_up(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    snprintf(b->folder, sizeof b->folder, "/tmp/underfoot_spool_XXXXXX");
    assert_non_null(mkdtemp(b->folder));
    assert_int_equal(uv_loop_init(&b->loop), 0);
    *state = b;
    return 0;
}

static int tear_down(void **state)
{
    struct bay *b = *state;
    char command[100];
    assert_int_equal(uv_loop_close(&b->loop), 0);
    snprintf(command, sizeof command, "rm -r %s", b->folder);
    assert_int_equal(system(command), 0);
    free(b);
    return 0;
}

static struct uf_spool *open_spool(struct bay *b)
{
    struct uf_spool *s;
    struct uf_error err = {0};
    const struct uf_spool_config c = {.loop = &b->loop, .folder = b->folder, .hours = 1, .mb = 34};
    if (uf_spool_new(&s, &c, &err) || uf_spool_start(s, &err))
        fail_msg("%s", err.text);
    return s;
}

static void stop_loop(void *loop)
{
    uv_stop(loop);
}

static void close_spool(struct bay *b, struct uf_spool *s)
{
    uf_spool_stop(s, stop_loop, &b->loop);
    uv_run(&b->loop, UV_RUN_DEFAULT);
    uf_spool_free(s);
    uv_run(&b->loop, UV_RUN_DEFAULT);
}

/* All BYTES of the folder in their order must be numbers that grow by one; returns the last. */
static uint32_t check_numbers(const struct bay *b, uint32_t *first)
{
    struct uf_spool_segment *list;
    size_t n, got;
    struct uf_error err;
    uint8_t *p = malloc(UF_SPOOL_SEGMENT_BYTES);
    uint32_t last = 0;
    *first = 0;
    assert_int_equal(uf_spool_list(b->folder, &list, &n, &err), 0);
    for (size_t i = 0; i < n; i++) {
        size_t at = UF_SPOOL_HEADER_BYTES;
        struct uf_spool_record r;
        assert_int_equal(
            uf_spool_load(b->folder, list[i].number, p, UF_SPOOL_SEGMENT_BYTES, &got, &err), 0);
        for (bool begun = false;
             list[i].sequence && uf_spool_next(p, got, list[i].sequence, &at, &r); begun = true) {
            if (!begun) /* every segment says where it stands */
                assert_true(r.kind == UF_SPOOL_STATE || r.kind == UF_SPOOL_START);
            if (r.kind != UF_SPOOL_BYTES)
                continue;
            uint32_t v;
            memcpy(&v, r.bytes, sizeof v);
            if (last)
                assert_int_equal(v, last + 1);
            else
                *first = v;
            last = v;
        }
    }
    free(list);
    free(p);
    return last;
}

static uint32_t put_numbers(struct uf_spool *s, uint32_t from, uint32_t n)
{
    static uint8_t bytes[60000];
    for (uint32_t i = from; i < from + n; i++) {
        struct uf_spool_status status;
        memcpy(bytes, &i, sizeof i);
        uf_spool_bytes(s, bytes, sizeof bytes);
        do {
            uf_spool_status(s, &status);
            usleep(i % 16 ? 0 : 500);
        } while (i % 16 == 0 &&
                 status.written + UF_SPOOL_BLOCK_BYTES / 2 < (i - from) * sizeof bytes);
    }
    return from + n;
}

static void ring(void **state)
{
    struct bay *b = *state;
    const struct uf_spool_state st = {.hand = UF_RIGHT_HANDED};
    struct uf_spool_status status;
    uint32_t first, next = 1;
    for (int run = 0; run < 3; run++) { /* 12 MB, 36 MB, 60 MB into 4 segments of 8.4 MB */
        struct uf_spool *s = open_spool(b);
        uf_spool_state(s, run ? UF_SPOOL_STATE : UF_SPOOL_START, &st);
        next = put_numbers(s, next, 200);
        close_spool(b, s);
        uint32_t last = check_numbers(b, &first);
        assert_int_equal(last, next - 1);
    }
    assert_true(first > 1);               /* the oldest are gone */
    assert_true(next - first > 3 * 100u); /* most of four segments is there */
    struct uf_spool *s = open_spool(b), *other;
    uf_spool_status(s, &status);
    struct uf_error err = {0};
    const struct uf_spool_config c = {.loop = &b->loop, .folder = b->folder, .hours = 1, .mb = 32};
    assert_int_equal(uf_spool_new(&other, &c, &err), UF_EBUSY);
    assert_non_null(strstr(err.text, b->folder));
    close_spool(b, s);
}

/* A disk that is full from the start on: what came is counted, and said; nothing hangs. */
static void no_room(void **state)
{
    struct bay *b = *state;
    struct uf_spool *s;
    struct uf_error err = {0};
    struct uf_spool_status status;
    const struct uf_spool_config c = {
        .loop = &b->loop, .folder = "/dev/full", .hours = 1, .mb = 32};
    assert_int_equal(uf_spool_new(&s, &c, &err), UF_EIO);
    assert_non_null(strstr(err.text, "/dev/full"));
    const struct uf_spool_config gone = {
        .loop = &b->loop, .folder = b->folder, .hours = 1, .mb = 32};
    assert_int_equal(uf_spool_new(&s, &gone, &err), 0);
    char moved[80];
    snprintf(moved, sizeof moved, "%s.moved", b->folder);
    assert_int_equal(rename(b->folder, moved), 0);
    assert_int_equal(uf_spool_start(s, &err), 0);
    put_numbers(s, 1, 5);
    uf_spool_stop(s, stop_loop, &b->loop);
    uv_run(&b->loop, UV_RUN_DEFAULT);
    uf_spool_status(s, &status);
    assert_true(status.failing && status.lost >= 300000);
    assert_non_null(strstr(status.problem, b->folder));
    uf_spool_free(s);
    uv_run(&b->loop, UV_RUN_DEFAULT);
    assert_int_equal(rename(moved, b->folder), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(round_trip),
        cmocka_unit_test(damage),
        cmocka_unit_test_setup_teardown(ring, set_up, tear_down),
        cmocka_unit_test_setup_teardown(no_room, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

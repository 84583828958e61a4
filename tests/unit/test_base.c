/* SPDX-License-Identifier: MIT
 * Errors, log lines, bytes, clocks. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/bytes.h"
#include "base/clock.h"
#include "base/error.h"
#include "base/log.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static void test_fail(void **state)
{
    (void)state;
    struct uf_error err = {0};
    assert_int_equal(uf_fail(&err, UF_EIO, "plate %d: %s", 2, "gone"), UF_EIO);
    assert_int_equal(err.code, UF_EIO);
    assert_string_equal(err.text, "plate 2: gone");
    assert_int_equal(uf_fail(NULL, UF_ENOMEM, "nobody asks"), UF_ENOMEM);
    /* a long sentence is cut, and ends */
    char words[1000];
    memset(words, 'w', sizeof words - 1);
    words[sizeof words - 1] = '\0';
    uf_fail(&err, UF_EINVAL, "%s", words);
    assert_int_equal(strlen(err.text), sizeof err.text - 1);
    /* what is quoted can neither write on the terminal nor break the JSON it is sent in */
    uf_fail(&err, UF_EINVAL, "\"%s\"", "a\033[2J\nb\xc2\x9b");
    assert_string_equal(err.text, "\"a?[2J?b??\"");
    uf_fail(&err, UF_EINVAL, "%.3s|%s", "ab\xc3\xa4", "\xc3\xa4 \xed\xa0\x80 \xf0\x9f\x8f\x8c");
    assert_string_equal(err.text, "ab?|\xc3\xa4 ??? \xf0\x9f\x8f\x8c");
}

/* What uf_log writes to standard error, in out[size]. */
static void logged(const char *journal, const char *text, char *out, size_t size)
{
    int ends[2], saved = dup(STDERR_FILENO);
    assert_true(saved >= 0 && pipe(ends) == 0);
    const char *before = getenv("JOURNAL_STREAM");
    char *kept = before ? strdup(before) : NULL;
    if (journal)
        setenv("JOURNAL_STREAM", journal, 1);
    else
        unsetenv("JOURNAL_STREAM");
    dup2(ends[1], STDERR_FILENO);
    uf_log(UF_LOG_WARNING, "%s", text);
    dup2(saved, STDERR_FILENO);
    close(saved);
    close(ends[1]);
    if (kept)
        setenv("JOURNAL_STREAM", kept, 1);
    else
        unsetenv("JOURNAL_STREAM");
    free(kept);
    size_t n = 0;
    ssize_t got;
    while ((got = read(ends[0], out + n, size - 1 - n)) > 0)
        n += (size_t)got;
    out[n] = '\0';
    close(ends[0]);
}

static void test_log(void **state)
{
    (void)state;
    char out[3000], words[2000];
    logged(NULL, "port gone", out, sizeof out);
    assert_string_equal(out, "port gone\n");
    logged("8:1234", "port gone", out, sizeof out);
    assert_string_equal(out, "<4>port gone\n");
    /* what came from a board or a file can forge no second line */
    logged(NULL, "a\nb\tc\x1b[1m\x7f", out, sizeof out);
    assert_string_equal(out, "a?b?c?[1m?\n");
    logged(NULL, "caf\xc3\xa9", out, sizeof out);
    assert_string_equal(out, "caf\xc3\xa9\n");
    memset(words, 'w', sizeof words - 1);
    words[sizeof words - 1] = '\0';
    for (int journal = 0; journal < 2; journal++) {
        logged(journal ? "8:1" : NULL, words, out, sizeof out);
        size_t n = strlen(out);
        assert_true(n > 900 && n <= 1024);
        assert_int_equal(out[n - 1], '\n');
        assert_ptr_equal(strchr(out, '\n'), out + n - 1);
    }
}

static void test_bytes(void **state)
{
    (void)state;
    const uint8_t b[8] = {0x01, 0x82, 0x03, 0x84, 0x05, 0x86, 0x07, 0x88};
    assert_int_equal(uf_get_u16(b), 0x8201);
    assert_int_equal(uf_get_u32(b), 0x84038201u);
    assert_true(uf_get_u64(b) == 0x8807860584038201u);
    uint8_t out[8];
    uf_put_u64(out, 0x8807860584038201u);
    assert_memory_equal(out, b, 8);
    memset(out, 0xcc, sizeof out);
    uf_put_u16(out, 0x8201);
    assert_memory_equal(out, "\x01\x82\xcc", 3);
    uf_put_u32(out, 0x84038201u);
    assert_memory_equal(out, "\x01\x82\x03\x84\xcc", 5);
    static const struct {
        uint8_t bytes[3];
        int32_t value;
    } s24[] = {{{0, 0, 0}, 0},           {{1, 0, 0}, 1},           {{0xff, 0xff, 0x7f}, 8388607},
               {{0, 0, 0x80}, -8388608}, {{0xff, 0xff, 0xff}, -1}, {{0x56, 0x34, 0x12}, 0x123456}};
    for (size_t i = 0; i < sizeof s24 / sizeof s24[0]; i++)
        assert_int_equal(uf_get_s24(s24[i].bytes), s24[i].value);
}

static void test_clocks(void **state)
{
    (void)state;
    int64_t mono_us = uf_clock_mono_us(), utc_us = uf_clock_utc_us();
    assert_true(mono_us > 0);
    assert_true(llabs(utc_us / 1000000 - (int64_t)time(NULL)) <= 1);
    struct timespec nap = {0, 2000000};
    nanosleep(&nap, NULL);
    int64_t passed_us = uf_clock_mono_us() - mono_us;
    assert_true(passed_us >= 2000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_fail),
        cmocka_unit_test(test_log),
        cmocka_unit_test(test_bytes),
        cmocka_unit_test(test_clocks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

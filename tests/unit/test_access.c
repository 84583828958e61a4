/* SPDX-License-Identifier: MIT
 * Who is let in: names, origins, tokens and their files. */
#include "daemon/access.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

static void test_names(void **state)
{
    (void)state;
    const struct uf_access here = {.loopback = true, .port = 8420, .name = "bay.lan"},
                           lan = {.loopback = false, .port = 8420, .name = "bay.lan"},
                           plain = {.loopback = true, .port = 80};
    const struct {
        const char *host;
        bool here, lan;
    } rows[] = {
        {"127.0.0.1:8420", true, true},
        {"localhost:8420", true, true},
        {"LocalHost:8420", true, true},
        {"192.168.7.9:8420", false, true},
        {"bay.lan:8420", false, true},
        {"BAY.LAN:8420", false, true},
        {"bay.lan", false, false}, /* port 80 */
        {"127.0.0.1", false, false},
        {"127.0.0.1:8421", false, false},
        {"127.0.0.1:84200", false, false},
        {"127.0.0.1:8420 ", false, false},
        {"127.0.0.1:+8420", false, false},
        {"127.0.0.1: 8420", false, false},
        {"127.0.0.1:8420,evil.example", false, false},
        {"evil.example:8420", false, false},
        {"evil.bay.lan:8420", false, false},
        {"127.0.0.1.evil.example:8420", false, false},
        {"0x7f.0.0.1:8420", false, false},
        {"2130706433:8420", false, false},
        {"user@127.0.0.1:8420", false, false},
        {":8420", false, false},
        {":", false, false},
        {"", false, false},
        {"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa:"
         "8420",
         false, false},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        if (uf_access_host(&here, rows[i].host) != rows[i].here ||
            uf_access_host(&lan, rows[i].host) != rows[i].lan)
            fail_msg("\"%s\"", rows[i].host);
    }
    assert_true(uf_access_host(&plain, "localhost"));
    const struct uf_access nameless = {.loopback = false, .port = 8420};
    assert_false(uf_access_host(&nameless, ":8420"));
}

static void test_origins(void **state)
{
    (void)state;
    assert_true(uf_access_origin("http://127.0.0.1:8420", "127.0.0.1:8420"));
    assert_true(uf_access_origin("HTTP://LOCALHOST:8420", "localhost:8420"));
    static const char *const wrong[] = {"",
                                        "null",
                                        "http://",
                                        "127.0.0.1:8420",
                                        "https://127.0.0.1:8420",
                                        "http://127.0.0.1:8421",
                                        "http://localhost:8420",
                                        "http://127.0.0.1:8420/",
                                        "http://127.0.0.1:8420.evil.example"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        if (uf_access_origin(wrong[i], "127.0.0.1:8420"))
            fail_msg("\"%s\"", wrong[i]);
}

struct folder {
    char path[64], database[100], token[2][160];
};

static int make_folder(void **state)
{
    struct folder *f = calloc(1, sizeof *f);
    if (!f)
        return -1;
    strcpy(f->path, "/tmp/underfoot_access_XXXXXX");
    if (!mkdtemp(f->path))
        return -1;
    snprintf(f->database, sizeof f->database, "%s/underfoot.db", f->path);
    for (int r = 0; r < 2; r++)
        uf_access_token_path(f->database, r ? UF_RIGHT_WRITE : UF_RIGHT_READ, f->token[r],
                             sizeof f->token[r]);
    *state = f;
    return 0;
}

static int remove_folder(void **state)
{
    struct folder *f = *state;
    unlink(f->token[0]);
    unlink(f->token[1]);
    int rc = rmdir(f->path); /* nothing else was left in it */
    free(f);
    return rc;
}

static void test_tokens(void **state)
{
    struct folder *f = *state;
    struct uf_page_settings lan = {.listen = "0.0.0.0", .port = 1};
    struct uf_access a, again;
    struct uf_error err;
    bool made[UF_RIGHT_WRITE + 1];
    assert_int_equal(uf_access_open(&a, &lan, f->database, made, &err), UF_OK);
    assert_true(made[UF_RIGHT_READ] && made[UF_RIGHT_WRITE] && !a.loopback);
    for (int r = 0; r < 2; r++) {
        struct stat s;
        assert_int_equal(stat(f->token[r], &s), 0);
        assert_int_equal(s.st_mode & 0777, 0600);
    }
    assert_int_equal(uf_access_right(&a, NULL), UF_RIGHT_NONE);
    assert_int_equal(uf_access_right(&a, ""), UF_RIGHT_NONE);
    assert_int_equal(uf_access_right(&a, a.token[UF_RIGHT_READ]), UF_RIGHT_READ);
    assert_int_equal(uf_access_right(&a, a.token[UF_RIGHT_WRITE]), UF_RIGHT_WRITE);
    char wrong[UF_TOKEN_DIGITS + 2];
    for (size_t i = 0; i < UF_TOKEN_DIGITS; i++) { /* every digit counts */
        strcpy(wrong, a.token[UF_RIGHT_WRITE]);
        wrong[i] = wrong[i] == '0' ? '1' : '0';
        assert_int_equal(uf_access_right(&a, wrong), UF_RIGHT_NONE);
    }
    snprintf(wrong, sizeof wrong, "%s0", a.token[UF_RIGHT_READ]);
    assert_int_equal(uf_access_right(&a, wrong), UF_RIGHT_NONE);
    assert_int_equal(uf_access_open(&again, &lan, f->database, made, &err), UF_OK);
    assert_false(made[UF_RIGHT_READ] || made[UF_RIGHT_WRITE]);
    assert_memory_equal(again.token, a.token, sizeof a.token);

    assert_int_equal(chmod(f->token[0], 0640), 0);
    assert_int_equal(uf_access_open(&again, &lan, f->database, made, &err), UF_EPERM);
    assert_non_null(strstr(err.text, f->token[0]));
    assert_int_equal(chmod(f->token[0], 0600), 0);
    assert_int_equal(truncate(f->token[0], 10), 0);
    assert_int_equal(uf_access_open(&again, &lan, f->database, made, &err), UF_ECORRUPT);
    assert_int_equal(unlink(f->token[0]), 0);
    assert_int_equal(symlink("/dev/zero", f->token[0]), 0);
    assert_int_equal(uf_access_open(&again, &lan, f->database, made, &err), UF_EIO);
}

static void test_loopback(void **state)
{
    struct folder *f = *state;
    struct uf_page_settings here = {.listen = "127.0.0.1", .port = 1};
    struct uf_access a;
    struct uf_error err;
    bool made[UF_RIGHT_WRITE + 1];
    assert_int_equal(uf_access_open(&a, &here, f->database, made, &err), UF_OK);
    assert_true(a.loopback);
    assert_int_equal(uf_access_right(&a, NULL), UF_RIGHT_WRITE);
    assert_int_equal(access(f->token[0], F_OK), -1); /* no token is made that nobody needs */
    strcpy(here.listen, "localhost");
    assert_int_equal(uf_access_open(&a, &here, f->database, made, &err), UF_EINVAL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_names),
        cmocka_unit_test(test_origins),
        cmocka_unit_test_setup_teardown(test_tokens, make_folder, remove_folder),
        cmocka_unit_test_setup_teardown(test_loopback, make_folder, remove_folder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

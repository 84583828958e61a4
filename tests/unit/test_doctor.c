/* SPDX-License-Identifier: MIT
 * `underfoot doctor`: a sound bay, and one fault at a time, each with its sentence and what to do.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "cli/access.h"
#include "cli/cli.h"
#include "stand_in.h"
#include "stored_swing.h"

#include <errno.h>
#include <fcntl.h>
#include <sys/stat.h>

struct bay {
    struct place *place;
    char config[100], socket[100], device[100], spool[120];
};

static const char status_of_daemon[] =
    "{\"state\":\"%s\",\"state_text\":\"board 01 at x\",\"samples\":1000000,\"lost\":%d,\"bad\":0,"
    "\"tare_age_s\":%s,\"calibration\":{\"name\":\"data sheet\",\"nominal\":true},"
    "\"store_state\":\"%s\",\"store_problem\":\"the disk is full\",\"queue\":3,\"uptime_s\":60,"
    "\"version\":\"%s\",\"spool\":{\"failing\":%s,\"problem\":\"cannot write the spool\","
    "\"lost_bytes\":77}}\n";

static void write_config(const struct bay *b, const char *more)
{
    FILE *f = fopen(b->config, "w");
    fprintf(f, "[daemon]\ndatabase = %s\ncontrol = %s\n%s\n[link]\ntype = raw\ndevice = %s\n",
            b->place->db, b->socket, more, b->device);
    fclose(f);
}

static int set_up(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    b->place = place_new();
    snprintf(b->config, sizeof b->config, "%s/underfoot.conf", b->place->folder);
    snprintf(b->socket, sizeof b->socket, "%s/control", b->place->folder);
    snprintf(b->device, sizeof b->device, "%s/board", b->place->folder);
    snprintf(b->spool, sizeof b->spool, "%s.spool", b->place->db);
    write_config(b, "");
    assert_int_equal(mkfifo(b->device, 0600), 0);
    assert_int_equal(mkdir(b->spool, 0700), 0);
    struct uf_store *s = open_store(b->place, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    add_swing(&t, s, 800, true, 1700000000);
    uf_store_close(s);
    *state = b;
    return 0;
}

static int tear_down(void **state)
{
    struct bay *b = *state;
    rmdir(b->spool);
    unlink(b->device);
    place_free(b->place);
    free(b);
    return 0;
}

/* What it prints; rc is checked. answer NULL: no daemon. */
static char *doctor(const struct bay *b, const char *answer, int rc, const char *option)
{
    char *out, *err;
    size_t out_n, err_n;
    pid_t pid = answer ? stand_in(b->socket, answer) : 0;
    const char *words[] = {"underfoot", "--config", b->config, "doctor", option};
    FILE *o = open_memstream(&out, &out_n), *e = open_memstream(&err, &err_n);
    int got = uf_cli_main(option ? 5 : 4, (char **)(uintptr_t)words, o, e);
    fclose(o);
    fclose(e);
    if (pid)
        ended_well(pid);
    unlink(b->socket);
    if (got != rc || *err)
        fail_msg("status %d, wanted %d\n%s%s", got, rc, out, err);
    free(err);
    return out;
}

static void says(char *out, const char *text)
{
    if (!strstr(out, text))
        fail_msg("\"%s\" is not in:\n%s", text, out);
    free(out);
}

struct answer {
    char text[700];
};
static struct answer daemon_is(const char *state, int lost, const char *zero_s, const char *store,
                               const char *version, const char *failing)
{
    struct answer a;
    snprintf(a.text, sizeof a.text, status_of_daemon, state, lost, zero_s, store, version, failing);
    return a;
}

static void sound(void **state)
{
    const struct bay *b = *state;
    struct answer a = daemon_is("receiving", 0, "60", "ok", UF_VERSION, "false");
    char *out = doctor(b, a.text, 0, NULL);
    static const char *const topics[] = {"settings", "database", "disk",        "spool", "device",
                                         "daemon",   "line",     "zero",        "clock", "1 swing",
                                         "it may",   "board 01", "taken 1 min", "fine"};
    assert_null(strstr(out, "WRONG"));
    for (size_t i = 0; i < 10; i++)
        assert_non_null(strstr(out, topics[i]));
    says(out, "underfoot-calib --help"); /* data-sheet forces: look */
    says(doctor(b, a.text, 0, "--deep"), "every page is whole");
    out = doctor(b, a.text, 0, "--json");
    json_t *json = json_loads(out, 0, NULL);
    assert_true(json_is_false(json_object_get(json, "wrong")));
    assert_true(json_array_size(json_object_get(json, "lines")) >= 9);
    json_decref(json);
    free(out);
}

static void daemon_faults(void **state)
{
    const struct bay *b = *state;
    says(doctor(b, NULL, 0, NULL), "systemctl start underfootd");
    struct answer a = daemon_is("stale", 0, "60", "ok", UF_VERSION, "false");
    says(doctor(b, a.text, 1, NULL), "stale: board 01");
    a = daemon_is("receiving", 500, "60", "ok", UF_VERSION, "false");
    says(doctor(b, a.text, 0, NULL), "500 of 1000000 samples lost");
    a = daemon_is("receiving", 9, "60", "ok", UF_VERSION, "false");
    says(doctor(b, a.text, 0, NULL), "1000000 samples, 9 lost"); /* nothing to look at */
    a = daemon_is("receiving", 0, "60", "failing", UF_VERSION, "false");
    says(doctor(b, a.text, 1, NULL), "failing, 3 swings wait: the disk is full");
    a = daemon_is("receiving", 0, "60", "ok", UF_VERSION, "true");
    says(doctor(b, a.text, 1, NULL), "cannot write the spool; 77 bytes");
    a = daemon_is("receiving", 0, "60", "ok", "0.0.1", "false");
    says(doctor(b, a.text, 0, NULL), "version 0.0.1 runs");
    a = daemon_is("receiving", 0, "null", "ok", UF_VERSION, "false");
    says(doctor(b, a.text, 0, NULL), "none yet: leave the plates empty");
    a = daemon_is("receiving", 0, "50000", "ok", UF_VERSION, "false");
    says(doctor(b, a.text, 0, NULL), "taken 13 h 53 min ago: leave the plates empty");
}

static void no_device(void **state)
{
    const struct bay *b = *state;
    unlink(b->device);
    says(doctor(b, NULL, 1, NULL), "Is it plugged in?");
}

static void no_spool(void **state)
{
    const struct bay *b = *state;
    write_config(b, "spool_hours = 0");
    says(doctor(b, NULL, 0, NULL), "set daemon.spool_hours");
}

static void damaged_database(void **state)
{
    const struct bay *b = *state;
    char wal[120];
    static const char junk[3000] = {1, 2, 3};
    snprintf(wal, sizeof wal, "%s-wal", b->place->db);
    unlink(wal);
    int fd = open(b->place->db, O_WRONLY);
    for (off_t page = 5; page < 30; page++)
        assert_int_equal(pwrite(fd, junk, sizeof junk, page * 4096), sizeof junk);
    close(fd);
    says(doctor(b, NULL, 1, NULL), ".recover");
}

static void foreign_database(void **state)
{
    const struct bay *b = *state;
    FILE *f = fopen(b->place->db, "w");
    fprintf(f, "Tuesday: three lessons in bay two; this is not a database at all, but notes.\n");
    fclose(f);
    says(doctor(b, NULL, 1, NULL), b->place->db);
}

static void world_readable(void **state)
{
    const struct bay *b = *state;
    assert_int_equal(chmod(b->place->db, 0644), 0);
    says(doctor(b, NULL, 0, NULL), "everybody on this machine may read the lessons");
    assert_int_equal(chmod(b->config, 0666), 0);
    says(doctor(b, NULL, 1, NULL), "everybody may change");
}

/* ---- who may what ---- */

static void who_may(void **state)
{
    const struct bay *b = *state;
    struct stat st;
    assert_int_equal(stat(b->config, &st), 0);
    struct uf_reader stranger = {.name = "x", .uid = st.st_uid + 12345, .groups = {st.st_gid + 1}};
    stranger.n = 1;
    assert_int_equal(chmod(b->place->folder, 0755), 0);
    assert_int_equal(chmod(b->config, 0640), 0);
    assert_int_equal(uf_reader_may(&stranger, b->config, R_OK), EACCES);
    stranger.groups[0] = st.st_gid;
    assert_int_equal(uf_reader_may(&stranger, b->config, R_OK), 0);
    assert_int_equal(uf_reader_may(&stranger, b->config, R_OK | W_OK), EACCES);
    assert_int_equal(chmod(b->config, 0604), 0); /* the group's bits count, not the others' */
    assert_int_equal(uf_reader_may(&stranger, b->config, R_OK), EACCES);
    stranger.groups[0] = st.st_gid + 1;
    assert_int_equal(uf_reader_may(&stranger, b->config, R_OK), 0);
    assert_int_equal(chmod(b->place->folder, 0700), 0); /* no way there */
    assert_int_equal(uf_reader_may(&stranger, b->config, R_OK), EACCES);
    assert_int_equal(uf_reader_may(&stranger, "/no/such/file", R_OK), ENOENT);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(sound, set_up, tear_down),
        cmocka_unit_test_setup_teardown(daemon_faults, set_up, tear_down),
        cmocka_unit_test_setup_teardown(no_device, set_up, tear_down),
        cmocka_unit_test_setup_teardown(no_spool, set_up, tear_down),
        cmocka_unit_test_setup_teardown(damaged_database, set_up, tear_down),
        cmocka_unit_test_setup_teardown(foreign_database, set_up, tear_down),
        cmocka_unit_test_setup_teardown(world_readable, set_up, tear_down),
        cmocka_unit_test_setup_teardown(who_may, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

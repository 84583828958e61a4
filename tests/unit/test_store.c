/* SPDX-License-Identifier: MIT
 * The database as a whole: refusals, a swing in and out, all-or-nothing, readers beside the writer.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "store/calibrations.h"
#include "store/raw_codec.h"
#include "store/schema.h"
#include "stored_swing.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>

/* ---- refusals ---- */

static void refused(const char *path, enum uf_store_mode mode, int code, const char *words)
{
    struct uf_store *s;
    struct uf_error err = {.text = ""};
    int rc = uf_store_open(&s, path, mode, &err);
    if (rc != code || !strstr(err.text, words))
        fail_msg("%s: code %d, wanted %d; \"%s\" should say \"%s\"", path, rc, code, err.text,
                 words);
    assert_null(s);
}

static void foreign_paths(void **state)
{
    struct place *p = *state;
    char path[200];
    refused(p->db, UF_STORE_READ, UF_ENOTFOUND, "there is no database");
    refused(p->db, UF_STORE_WRITE, UF_ENOTFOUND, "underfootd makes it");
    refused("", UF_STORE_CREATE, UF_EINVAL, "empty");
    refused("/dev/null", UF_STORE_CREATE, UF_EINVAL, "not a file");
    refused(p->folder, UF_STORE_CREATE, UF_EINVAL, "not a file");
    snprintf(path, sizeof path, "%s/none/underfoot.db", p->folder);
    refused(path, UF_STORE_CREATE, UF_ENOTFOUND, "mkdir -p");
    assert_int_equal(access(p->db, F_OK), -1);
}

static void write_file(const char *path, const char *text, size_t n)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_int_equal(fwrite(text, 1, n, f), n);
    fclose(f);
}

static void not_a_database(void **state)
{
    struct place *p = *state;
    char text[4096], after[4096];
    memset(text, 'x', sizeof text);
    write_file(p->db, text, sizeof text);
    refused(p->db, UF_STORE_CREATE, UF_ECORRUPT, "not a database");
    refused(p->db, UF_STORE_READ, UF_ECORRUPT, "not a database");
    FILE *f = fopen(p->db, "r");
    assert_int_equal(fread(after, 1, sizeof after, f), sizeof after);
    assert_int_equal(fgetc(f), EOF);
    fclose(f);
    assert_memory_equal(text, after, sizeof text);
}

static void alter(const char *path, const char *sql)
{
    sqlite3 *db;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    if (sqlite3_exec(db, sql, NULL, NULL, NULL) != SQLITE_OK)
        fail_msg("%s: %s", sql, sqlite3_errmsg(db));
    sqlite3_close(db);
}

static void of_another_program(void **state)
{
    struct place *p = *state;
    alter(p->db, "CREATE TABLE theirs (a); PRAGMA journal_mode = DELETE");
    refused(p->db, UF_STORE_CREATE, UF_EINVAL, "another program");
    alter(p->db, "PRAGMA application_id = 1234");
    refused(p->db, UF_STORE_WRITE, UF_EINVAL, "application_id 1234");
    refused(p->db, UF_STORE_READ, UF_EINVAL, "another program");
    sqlite3 *db; /* and it was left as it was */
    sqlite3_stmt *q;
    sqlite3_open(p->db, &db);
    sqlite3_prepare_v2(db, "PRAGMA journal_mode", -1, &q, NULL);
    assert_int_equal(sqlite3_step(q), SQLITE_ROW);
    assert_string_equal((const char *)sqlite3_column_text(q, 0), "delete");
    sqlite3_finalize(q);
    sqlite3_close(db);
}

static void other_versions(void **state)
{
    struct place *p = *state;
    uf_store_close(open_store(p, UF_STORE_CREATE));
    alter(p->db, "PRAGMA user_version = 999");
    refused(p->db, UF_STORE_CREATE, UF_EVERSION, "newer version");
    refused(p->db, UF_STORE_READ, UF_EVERSION, "newer version");
    alter(p->db, "PRAGMA user_version = 0");
    refused(p->db, UF_STORE_READ, UF_EVERSION, "older version");
}

/* As another user, since root may do all. */
static int as_nobody(const char *path, enum uf_store_mode mode, const char *words)
{
    pid_t pid = fork();
    if (pid == 0) {
        struct uf_store *s = NULL;
        struct uf_error err = {.text = ""};
        if (getuid() == 0 && (setgid(65534) || setuid(65534)))
            _exit(3);
        int rc = uf_store_open(&s, path, mode, &err);
        if (rc == 0 && !words) {
            sqlite3_stmt *q;
            rc = sqlite3_prepare_v2(uf_store_db(s), "SELECT count(*) FROM swings", -1, &q, NULL) ||
                 sqlite3_step(q) != SQLITE_ROW;
        } else {
            if (rc != UF_EPERM || !words || !strstr(err.text, words))
                dprintf(2, "%d %s\n", rc, err.text);
            rc = rc != UF_EPERM || !words || !strstr(err.text, words);
        }
        _exit(rc ? 1 : 0);
    }
    int status = -1;
    waitpid(pid, &status, 0);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static void not_allowed(void **state)
{
    struct place *p = *state;
    chmod(p->folder, 0555);
    assert_int_equal(as_nobody(p->db, UF_STORE_CREATE, "may not be written"), 0);
    chmod(p->folder, 0755);
    uf_store_close(open_store(p, UF_STORE_CREATE));
    assert_int_equal(as_nobody(p->db, UF_STORE_READ, "may not be read"), getuid() == 0 ? 0 : 1);
    chmod(p->db, 0444);
    assert_int_equal(as_nobody(p->db, UF_STORE_WRITE, "may not be written"), 0);
}

/* A teacher's own account may read the file, not write the folder: also after the daemon's end. */
static void a_reader_without_rights_to_write(void **state)
{
    struct place *p = *state;
    uf_store_close(open_store(p, UF_STORE_CREATE));
    char path[120];
    static const char *const ends[] = {"", "-wal", "-shm"};
    for (int i = 0; i < 3; i++) {
        snprintf(path, sizeof path, "%s%s", p->db, ends[i]);
        assert_int_equal(chmod(path, 0644), 0);
    }
    chmod(p->folder, 0755);
    if (getuid() == 0)
        assert_int_equal(as_nobody(p->db, UF_STORE_READ, NULL), 0);
    for (int i = 1; i < 3; i++) { /* somebody tidied up */
        snprintf(path, sizeof path, "%s%s", p->db, ends[i]);
        unlink(path);
    }
    if (getuid() == 0)
        assert_int_equal(as_nobody(p->db, UF_STORE_READ, "-wal and -shm"), 0);
}

static void modes_and_settings(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct stat st;
    assert_int_equal(stat(p->db, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0640);
    assert_int_equal(number(s, "PRAGMA application_id"), UF_APPLICATION_ID);
    assert_int_equal(number(s, "PRAGMA user_version"), uf_schema_version());
    assert_int_equal(number(s, "PRAGMA synchronous"), 2); /* FULL */
    assert_int_equal(number(s, "PRAGMA foreign_keys"), 1);
    assert_int_equal(number(s, "SELECT journal_mode = 'wal' FROM pragma_journal_mode"), 1);
    uf_store_close(s);
    s = open_store(p, UF_STORE_READ);
    assert_int_equal(sqlite3_exec(uf_store_db(s), "DELETE FROM link_event", NULL, NULL, NULL),
                     SQLITE_READONLY);
    uf_store_close(s);
    uf_store_close(NULL);
}

/* ---- rows ---- */

static void a_swing_in_and_out(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    struct uf_capture *c = make_swing(&t.rig, 800, false), *back;
    struct uf_error err;
    int64_t id;
    struct uf_swing_meta meta = {.session_id = t.session_id,
                                 .rig_id = t.rig_id,
                                 .trigger_utc_us = 1700000000123456,
                                 .clock_drift_ppm = -3.25};
    struct uf_analysis *a;
    assert_int_equal(uf_analyse(c, &t.rig, &t.nominal, &t.settings, &a, &err), 0);
    assert_int_equal(uf_store_swing_add(s, &meta, c, a, 1700000001000000, &id, &err), 0);
    uf_store_close(s);

    s = open_store(p, UF_STORE_READ);
    assert_int_equal(uf_store_capture(s, id, &back, &err), 0);
    assert_true(uf_capture_equal(c, back));
    struct uf_swing_row row;
    assert_int_equal(uf_store_swing_row(s, id, &row, &err), 0);
    for (int i = 0; i < UF_METRICS; i++) {
        assert_int_equal(row.derived.reason[i], a->reason[i]);
        assert_true(isnan(a->value[i]) ? isnan(row.derived.value[i])
                                       : row.derived.value[i] == a->value[i]);
    }
    for (int i = 0; i < UF_EVENTS; i++) {
        assert_int_equal(row.derived.event[i].source, a->event[i].source);
        assert_true(a->event[i].source ? row.derived.event[i].t_s == a->event[i].t_s
                                       : isnan(row.derived.event[i].t_s));
    }
    assert_int_equal(row.derived.flags, a->flags);
    assert_int_equal(row.trigger_utc_us, 1700000000123456);
    assert_int_equal(row.stored_utc_us, 1700000001000000);
    assert_true(row.clock_drift_ppm == -3.25);
    assert_int_equal(row.samples, SWING_SAMPLES);
    assert_int_equal(row.duration_us, 4000000 - 1000000 / SWING_RATE_HZ);
    assert_string_equal(row.board_id, "01020304050607ab");
    assert_string_equal(row.calibration, "data sheet");
    assert_true(row.settings.cutoff_hz == t.settings.cutoff_hz);
    assert_int_equal(row.settings.order, t.settings.order);
    /* every NULL has its reason and nothing else has one */
    assert_int_equal(number(s, "SELECT count(*) FROM swing_missing WHERE metric ="
                               " 'turn_peak_to_impact_ms' AND why LIKE 'no strike%'"),
                     1);
    assert_int_equal(number(s, "SELECT turn_peak_to_impact_ms IS NULL FROM swing_metric"), 1);
    int nulls = 0;
    for (int i = 0; i < UF_METRICS; i++)
        nulls += isnan(a->value[i]);
    assert_int_equal(number(s, "SELECT count(*) FROM swing_metric_null"), nulls);
    uf_capture_free(c);
    uf_capture_free(back);
    uf_analysis_free(a);
    uf_store_close(s);
}

static void unknown_ids(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct uf_error err;
    struct uf_capture *c;
    struct uf_swing_row row;
    assert_int_equal(uf_store_capture(s, 1, &c, &err), UF_ENOTFOUND);
    assert_non_null(strstr(err.text, "none is stored"));
    struct studio t;
    studio_set_up(&t, s);
    add_swing(&t, s, 800, true, 1000);
    assert_int_equal(uf_store_swing_row(s, 77, &row, &err), UF_ENOTFOUND);
    assert_non_null(strstr(err.text, "no swing 77"));
    assert_int_equal(uf_store_session_close(s, 55, 1, &err), UF_ENOTFOUND);
    uf_store_close(s);
}

static void damaged_raw_data(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    int64_t id = add_swing(&t, s, 800, true, 1000);
    run_sql(s, "DROP TRIGGER swing_raw_is_final;"
               "UPDATE swing_raw SET data = CAST(substr(data, 1, 5000) || zeroblob(100)"
               " || substr(data, 5101) AS BLOB)");
    struct uf_capture *c;
    struct uf_error err;
    assert_int_equal(uf_store_capture(s, id, &c, &err), UF_ECORRUPT);
    assert_non_null(strstr(err.text, "swing 1 in"));
    assert_non_null(strstr(err.text, "damaged"));
    uf_store_close(s);
}

static void raw_data_and_calibrations_are_final(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    add_swing(&t, s, 800, true, 1000);
    assert_int_equal(sqlite3_exec(uf_store_db(s), "UPDATE swing_raw SET data = x''", 0, 0, 0),
                     SQLITE_CONSTRAINT_TRIGGER);
    int64_t id;
    assert_int_equal(uf_store_calibration_add(s, t.rig_id, &t.rig, &t.nominal, NULL, 1, &id, NULL),
                     0);
    assert_int_equal(
        sqlite3_exec(uf_store_db(s), "UPDATE calibration SET matrices_json = '{}'", 0, 0, 0),
        SQLITE_CONSTRAINT_TRIGGER);
    uf_store_close(s);
}

static void deleting_a_swing_deletes_all_of_it(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    add_swing(&t, s, 800, false, 1000);
    run_sql(s, "DELETE FROM swing");
    assert_int_equal(number(s, "SELECT (SELECT count(*) FROM swing_raw) +"
                               " (SELECT count(*) FROM derivation) +"
                               " (SELECT count(*) FROM swing_event) +"
                               " (SELECT count(*) FROM swing_metric) +"
                               " (SELECT count(*) FROM swing_metric_null)"),
                     0);
    uf_store_close(s);
}

static void list_of_swings(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    struct uf_error err;
    int64_t *ids;
    size_t n;
    assert_int_equal(uf_store_swing_ids(s, 0, INT64_MIN, &ids, &n, &err), 0);
    assert_int_equal(n, 0);
    assert_null(ids);
    for (int i = 1; i <= 4; i++)
        add_swing(&t, s, 700, true, 1000.0 * i);
    struct {
        int64_t last, since_us, first, count;
    } cases[] = {{0, INT64_MIN, 1, 4},  {2, INT64_MIN, 3, 2}, {0, 2000000000, 2, 3},
                 {1, 2000000000, 4, 1}, {99, 0, 1, 4},        {0, 4000000001, 0, 0}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_int_equal(uf_store_swing_ids(s, cases[i].last, cases[i].since_us, &ids, &n, &err),
                         0);
        assert_int_equal(n, cases[i].count);
        if (n)
            assert_int_equal(ids[0], cases[i].first);
        free(ids);
    }
    uf_store_close(s);
}

static void rigs_are_found_again(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct uf_rig rig, back;
    struct uf_error err;
    int64_t a, b, c;
    uf_rig_example(&rig);
    strcpy(rig.name, "bay \"2\"; DROP TABLE rig; -- '\xc3\xa9'");
    rig.plate[0].cell[0].x_mm += 0.1 + 1e-13; /* not a short decimal */
    rig.plate[0].rotation_deg = 0.3;
    assert_int_equal(uf_store_rig(s, &rig, &a, &err), 0);
    assert_int_equal(uf_store_rig(s, &rig, &b, &err), 0);
    assert_int_equal(a, b);
    if (uf_store_rig_get(s, a, &back, &err))
        fail_msg("%s", err.text);
    assert_int_equal(uf_rig_check(&rig, &err), 0);
    assert_memory_equal(&back, &rig, sizeof rig); /* to the bit */
    rig.plate[1].surface_mm += 1;
    assert_int_equal(uf_store_rig(s, &rig, &c, &err), 0);
    assert_int_not_equal(a, c);
    assert_int_equal(uf_store_rig_get(s, 99, &back, &err), UF_ENOTFOUND);
    run_sql(s, "UPDATE rig SET description_json = '{\"name\":\"x\"}' WHERE id = 1");
    assert_int_equal(uf_store_rig_get(s, 1, &back, &err), UF_ECORRUPT);
    uf_store_close(s);
}

static void calibrations(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    struct uf_calibration cal = t.nominal, back;
    struct uf_error err;
    int64_t first, second, id;
    assert_int_equal(uf_store_calibration_active(s, t.rig_id, &t.rig, &back, &id, &err),
                     UF_ENOTFOUND);
    strcpy(cal.uuid, "0b6c3b9e-5d5e-4c62-9a43-d6c0d5f3f0aa");
    strcpy(cal.name, "weights 'of' March");
    cal.nominal = false;
    cal.plate[0].c[UF_FX][0] *= 1.0 + 1e-9 / 3;
    json_t *how = json_pack("{s:s}", "loads", "five sites");
    assert_int_equal(uf_store_calibration_add(s, t.rig_id, &t.rig, &cal, how, 10, &first, &err), 0);
    assert_int_equal(uf_store_calibration_add(s, t.rig_id, &t.rig, &cal, how, 11, &id, &err),
                     UF_ESTATE);
    assert_non_null(strstr(err.text, "never overwritten"));
    cal.uuid[0] = '\0';
    cal.plate[1].known[UF_FY] = false;
    assert_int_equal(uf_store_calibration_add(s, t.rig_id, &t.rig, &cal, NULL, 12, &second, &err),
                     0);
    assert_int_equal(uf_store_calibration_activate(s, first, &err), 0);
    assert_int_equal(uf_store_calibration_activate(s, second, &err), 0);
    assert_int_equal(uf_store_calibration_activate(s, second, &err), 0); /* twice is fine */
    assert_int_equal(uf_store_calibration_activate(s, 99, &err), UF_ENOTFOUND);
    assert_int_equal(uf_store_calibration_active(s, t.rig_id, &t.rig, &back, &id, &err), 0);
    assert_int_equal(id, second);
    assert_int_equal(strlen(back.uuid), 36);
    assert_false(back.plate[1].known[UF_FY]);
    assert_int_equal(uf_store_calibration_get(s, first, &t.rig, &back, &err), 0);
    assert_string_equal(back.name, cal.name);
    assert_false(back.nominal);
    for (int k = 0; k < UF_COMPONENTS; k++)
        assert_memory_equal(back.plate[0].c[k], cal.plate[0].c[k], sizeof cal.plate[0].c[k]);
    assert_int_equal(uf_store_calibration_get(s, 99, &t.rig, &back, &err), UF_ENOTFOUND);
    json_t *got;
    assert_int_equal(uf_store_calibration_provenance(s, first, &got, &err), 0);
    assert_true(json_equal(got, how));
    json_decref(got);
    json_decref(how);
    assert_int_equal(uf_store_calibration_provenance(s, second, &got, &err), 0);
    assert_true(json_is_null(got));
    /* whatever a document says, it is stored; what it does not say is NULL */
    static const char *const odd[] = {
        "[]", "3", "\"text\"", "{\"plates\": 7, \"session\": []}",
        "{\"plates\": [1, {\"loads\": [2, {\"load\": \"x\"}]}], \"session\": {\"weights\": [4],"
        " \"tolerances\": \"none\", \"loads\": [5, {\"plate\": \"left\", \"x_mm\": \"far\","
        " \"weights\": [\"A\"], \"samples\": 1.5, \"skip\": 2}, {\"plate\": \"roof\"}]}}"};
    for (size_t i = 0; i < sizeof odd / sizeof odd[0]; i++) {
        int64_t odd_id;
        how = json_loads(odd[i], JSON_DECODE_ANY, NULL);
        assert_non_null(how);
        if (uf_store_calibration_add(s, t.rig_id, &t.rig, &cal, how, 12, &odd_id, &err))
            fail_msg("%s: %s", odd[i], err.text);
        json_decref(how);
    }
    assert_int_equal(number(s, "SELECT count(*) FROM calibration_load"), 1);
    assert_int_equal(number(s,
                            "SELECT count(*) FROM calibration_load WHERE load = 2 AND NOT accepted"
                            " AND x_mm IS NULL AND mass_kg IS NULL AND samples IS NULL"
                            " AND why = 'not captured'"),
                     1);
    struct uf_calibration_info *list;
    size_t n;
    assert_int_equal(uf_store_calibration_list(s, t.rig_id, &list, &n, &err), 0);
    assert_int_equal(n, 7);
    assert_false(list[0].active);
    assert_true(list[1].active);
    assert_int_equal(list[0].made_utc_us, 10);
    free(list);
    uf_store_close(s);
}

static void zeros(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    struct uf_error err;
    double raw[UF_CHANNELS_MAX];
    int64_t utc_us;
    assert_int_equal(uf_store_tare_last(s, t.rig_id, raw, &utc_us, &err), UF_ENOTFOUND);
    struct uf_tare_event e = {.t_dev_us = 5, .first = true};
    e.drift_n[0] = e.drift_n[1] = NAN;
    for (int i = 0; i < UF_CHANNELS_MAX; i++)
        e.tare_raw[i] = 1.0 / 3 + i;
    assert_int_equal(uf_store_tare_add(s, t.rig_id, &e, 24, 100, &err), 0);
    assert_int_equal(number(s, "SELECT left_drift_n IS NULL AND left_total_drift_n = 0 FROM tare"),
                     1);
    e.tare_raw[23] = -0.1;
    assert_int_equal(uf_store_tare_add(s, t.rig_id, &e, 24, 200, &err), 0);
    assert_int_equal(uf_store_tare_last(s, t.rig_id, raw, &utc_us, &err), 0);
    assert_int_equal(utc_us, 200);
    assert_memory_equal(raw, e.tare_raw, 24 * sizeof raw[0]);
    assert_true(raw[24] == 0);
    run_sql(s, "UPDATE tare SET tare_raw_json = '[1,\"x\"]'");
    assert_int_equal(uf_store_tare_last(s, t.rig_id, raw, &utc_us, &err), UF_ECORRUPT);
    uf_store_close(s);
}

static void quoting(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct uf_error err;
    const char *nasty = "'); DELETE FROM link_event; --";
    assert_int_equal(uf_store_link_event(s, 1, "stale", nasty, &err), 0);
    assert_int_equal(uf_store_link_event(s, 2, "waiting", NULL, &err), 0);
    assert_int_equal(number(s, "SELECT count(*) FROM link_event"), 2);
    assert_int_equal(number(s, "SELECT detail = '''); DELETE FROM link_event; --' FROM link_event"
                               " WHERE id = 1"),
                     1);
    uf_store_close(s);
}

/* ---- all or nothing ---- */

static void a_failing_write_leaves_nothing(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    static const char *const tables[] = {"swing",       "swing_raw",    "derivation",
                                         "swing_event", "swing_metric", "swing_metric_null"};
    struct uf_capture *c = make_swing(&t.rig, 800, false);
    for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
        char sql[200];
        snprintf(
            sql, sizeof sql,
            "CREATE TRIGGER broken BEFORE INSERT ON %s BEGIN SELECT RAISE(FAIL, 'broken'); END",
            tables[i]);
        run_sql(s, sql);
        int64_t id = -7;
        struct uf_error err;
        assert_int_equal(add_capture(&t, s, c, &t.nominal, 0, 1000, &id, &err), UF_ESTATE);
        assert_int_equal(id, -7);
        assert_non_null(strstr(err.text, "broken"));
        run_sql(s, "DROP TRIGGER broken");
        assert_int_equal(number(s, "SELECT (SELECT count(*) FROM swing) +"
                                   " (SELECT count(*) FROM swing_raw) +"
                                   " (SELECT count(*) FROM derivation)"),
                         0);
    }
    int64_t id;
    struct uf_error err;
    assert_int_equal(add_capture(&t, s, c, &t.nominal, 0, 1000, &id, &err), 0); /* still usable */
    uf_capture_free(c);
    uf_store_close(s);
}

static void a_full_disk_is_said(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    struct uf_capture *c = make_swing(&t.rig, 800, false);
    int64_t id;
    struct uf_error err;
    char sql[64];
    snprintf(sql, sizeof sql, "PRAGMA max_page_count = %lld",
             (long long)number(s, "PRAGMA page_count") + 3);
    run_sql(s, sql);
    assert_int_equal(add_capture(&t, s, c, &t.nominal, 0, 1000, &id, &err), UF_EFULL);
    assert_non_null(strstr(err.text, "full"));
    run_sql(s, "PRAGMA max_page_count = 1000000");
    assert_int_equal(add_capture(&t, s, c, &t.nominal, 0, 1000, &id, &err), 0);
    uf_capture_free(c);
    uf_store_close(s);
}

static void killed_in_the_middle(void **state)
{
    struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    add_swing(&t, s, 800, true, 1000);
    uf_store_close(s);
    int pipes[2];
    assert_int_equal(pipe(pipes), 0);
    pid_t pid = fork();
    if (pid == 0) {
        struct uf_store *mine = open_store(p, UF_STORE_WRITE);
        uf_store_slow_ms(mine, 60000); /* everything written, nothing committed */
        if (write(pipes[1], "x", 1) != 1)
            _exit(1);
        add_swing(&t, mine, 900, true, 2000);
        _exit(0);
    }
    char byte;
    assert_int_equal(read(pipes[0], &byte, 1), 1);
    struct uf_store *other = open_store(p, UF_STORE_WRITE);
    sqlite3_busy_timeout(uf_store_db(other), 0);
    for (int i = 0; i < 500; i++) { /* until the child holds the lock: then it is writing */
        if (sqlite3_exec(uf_store_db(other), "BEGIN IMMEDIATE", 0, 0, 0) != SQLITE_OK)
            break;
        run_sql(other, "ROLLBACK");
        usleep(10000);
    }
    usleep(100000);
    kill(pid, SIGKILL);
    int status;
    waitpid(pid, &status, 0);
    assert_true(WIFSIGNALED(status));
    close(pipes[0]);
    close(pipes[1]);
    assert_int_equal(number(other, "SELECT count(*) FROM swing"), 1);
    add_swing(&t, other, 700, true, 3000);
    assert_int_equal(number(other, "SELECT count(*) FROM swings"), 2);
    assert_int_equal(number(other, "SELECT integrity_check = 'ok' FROM pragma_integrity_check"), 1);
    uf_store_close(other);
}

static void readers_beside_the_writer(void **state)
{
    struct place *p = *state;
    struct uf_store *w = open_store(p, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, w);
    add_swing(&t, w, 800, true, 1000);
    struct uf_store *r = open_store(p, UF_STORE_READ);
    run_sql(r, "BEGIN");
    assert_int_equal(number(r, "SELECT count(*) FROM swings"), 1);
    add_swing(&t, w, 800, true, 2000); /* does not wait for the reader */
    assert_int_equal(number(r, "SELECT count(*) FROM swings"), 1);
    run_sql(r, "COMMIT");
    assert_int_equal(number(r, "SELECT count(*) FROM swings"), 2);
    uf_store_close(r);
    uf_store_close(w);
}

static void another_writer_is_waited_for_and_named(void **state)
{
    struct place *p = *state;
    struct uf_store *a = open_store(p, UF_STORE_CREATE), *b = open_store(p, UF_STORE_WRITE);
    sqlite3_busy_timeout(uf_store_db(b), 50);
    run_sql(a, "BEGIN IMMEDIATE");
    struct uf_error err;
    assert_int_equal(uf_store_link_event(b, 1, "stale", NULL, &err), UF_EBUSY);
    assert_non_null(strstr(err.text, "another program"));
    run_sql(a, "COMMIT");
    assert_int_equal(uf_store_link_event(b, 1, "stale", NULL, &err), 0);
    uf_store_close(a);
    uf_store_close(b);
}

#define T(f) cmocka_unit_test_setup_teardown(f, place_set_up, place_tear_down)

int main(void)
{
    umask(022);
    const struct CMUnitTest tests[] = {
        T(foreign_paths),
        T(not_a_database),
        T(of_another_program),
        T(other_versions),
        T(not_allowed),
        T(a_reader_without_rights_to_write),
        T(modes_and_settings),
        T(a_swing_in_and_out),
        T(unknown_ids),
        T(damaged_raw_data),
        T(raw_data_and_calibrations_are_final),
        T(deleting_a_swing_deletes_all_of_it),
        T(list_of_swings),
        T(rigs_are_found_again),
        T(calibrations),
        T(zeros),
        T(quoting),
        T(a_failing_write_leaves_nothing),
        T(a_full_disk_is_said),
        T(killed_in_the_middle),
        T(readers_beside_the_writer),
        T(another_writer_is_waited_for_and_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

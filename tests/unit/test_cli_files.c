/* SPDX-License-Identifier: MIT
 * Import, export, backup, erase: what is matched and written, what is refused in every way a CSV
 * file can be wrong, and that erased means gone. Players and numbers are invented. */
#define _GNU_SOURCE /* memmem */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "cli/csv_file.h"
#include "cli/when.h"
#include "cli_run.h"
#include "stored_swing.h"

#include <sys/stat.h>

#define T0 1700000000 /* 2023-11-14 22:13:20 UTC */

struct bay {
    struct place *place;
    struct bay *template;
    char csv[120], folder[120];
};

/* Six swings, a minute apart: three of session 1, three of session 2. Made once; each test has a
 * copy. */
static int make_template(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    setenv("TZ", "UTC", 1);
    b->place = place_new();
    struct uf_store *s = open_store(b->place, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    for (int i = 0; i < 3; i++)
        add_swing(&t, s, 800 + i, true, T0 + 60 * i);
    assert_int_equal(uf_store_session_open(s, t.rig_id, INT64_C(1000000) * T0, &t.session_id, NULL),
                     0);
    for (int i = 3; i < 6; i++)
        add_swing(&t, s, 700 + i, false, T0 + 60 * i);
    run_sql(s, "PRAGMA wal_checkpoint(TRUNCATE)");
    uf_store_close(s);
    *state = b;
    return 0;
}

static int set_up(void **state)
{
    struct bay *template = *state, *b = calloc(1, sizeof *b);
    b->template = template;
    b->place = place_new();
    snprintf(b->csv, sizeof b->csv, "%s/shots.csv", b->place->folder);
    snprintf(b->folder, sizeof b->folder, "%s/kim", b->place->folder);
    char command[240];
    snprintf(command, sizeof command, "cp '%s' '%s'", template->place->db, b->place->db);
    assert_int_equal(system(command), 0);
    *state = b;
    return 0;
}

static int drop_template(void **state)
{
    struct bay *b = *state;
    place_free(b->place);
    free(b);
    return 0;
}

static int tear_down(void **state)
{
    struct bay *b = *state;
    char command[200];
    snprintf(command, sizeof command, "rm -rf '%s'", b->folder);
    (void)!system(command);
    *state = b->template;
    place_free(b->place);
    free(b);
    return 0;
}

#define DB(...)     RUN("--database", b->place->db, __VA_ARGS__)
#define IMPORT(...) DB("import", b->csv, __VA_ARGS__)

static void write_csv(const struct bay *b, const char *text)
{
    FILE *f = fopen(b->csv, "w");
    fputs(text, f);
    fclose(f);
}

static int64_t count(const struct bay *b, const char *sql)
{
    struct uf_store *s = open_store(b->place, UF_STORE_READ);
    int64_t n = number(s, sql);
    uf_store_close(s);
    return n;
}

/* ---- times of other programs ---- */

static void times(void **state)
{
    (void)state;
    static const struct {
        const char *text, *order;
        double s;
    } good[] = {{"2023-11-14 22:13:20", "ymd", T0},
                {"2023-11-14T22:13:20Z", "mdy", T0},
                {"2023-11-14T23:13:20+01:00", "ymd", T0},
                {"2023-11-14T17:43:20.250-04:30", "ymd", T0 + 0.25},
                {"2023/11/14 10:13:20 PM", "ymd", T0},
                {"11/14/2023 10:13:20PM", "mdy", T0},
                {"14.11.2023, 22:13:20,5", "dmy", T0 + 0.5},
                {"14-11-2023 22:13", "dmy", T0 - 20},
                {"11/14/2023 12:13:20 AM", "mdy", T0 - 22 * 3600},
                {"11/14/2023 12:13:20 PM", "mdy", T0 - 10 * 3600},
                {"22:13:20", "ymd", T0},
                {" 10:13:20 pm ", "dmy", T0}};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        int64_t us = 0;
        const char *wrong =
            uf_when_parse(good[i].text, good[i].order, INT64_C(1699920000000000), &us);
        if (wrong || us != llround(1e6 * good[i].s))
            fail_msg("%s: %s, %lld", good[i].text, wrong ? wrong : "fine", (long long)us);
    }
    static const struct {
        const char *text, *order, *words;
    } bad[] = {{"", "ymd", "is not a date"},
               {"Average", "ymd", "is not a date"},
               {"2023-11-14", "ymd", "no time of day"},
               {"14.11.2023 22:13", "ymd", "--dates"},
               {"14.11.23 22:13", "dmy", "four digits"},
               {"14.11/2023 22:13", "dmy", "is not a date"},
               {"11/14/2023 22:13", "dmy", "does not exist"},
               {"2023-02-30 22:13", "ymd", "does not exist"},
               {"2023-11-14 25:13", "ymd", "is not a time"},
               {"2023-11-14 22:60", "ymd", "is not a time"},
               {"2023-11-14 13:00 PM", "ymd", "is not a time"},
               {"2023-11-14 22:13:20 h", "ymd", "is not a date and a time"},
               {"2023-11-14 22:13:20+99:00", "ymd", "time zone"},
               {"22:13:20", "ymd", "--day"}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        int64_t us;
        const char *wrong = uf_when_parse(bad[i].text, bad[i].order, UF_WHEN_NO_DAY, &us);
        if (!wrong || !strstr(wrong, bad[i].words))
            fail_msg("%s: %s (wanted: %s)", bad[i].text, wrong ? wrong : "fine", bad[i].words);
    }
}

/* ---- import ---- */

static const char good_csv[] = "\xEF\xBB\xBFShot,\"When, local\",Club Speed,\"Note \"\"x\"\"\"\r\n"
                               "1,2023-11-14 22:13:22,100,fine\r\n"
                               "2,2023-11-14 22:14:18,90.5,\"two\r\nlines\"\r\n"
                               "3,2023-11-14 22:15:19,,no number\r\n"
                               "4,2023-11-14 22:15:25,80,nearer one takes it\r\n"
                               "5,2023-11-14 23:00:00,70,far away\r\n";

static void importing(void **state)
{
    const struct bay *b = *state;
    write_csv(b, good_csv);
    says(IMPORT("--time", "When, local"), 2, "", "which columns?");
    says(IMPORT("--dry-run"), 2, "", "Nothing is remembered as \"csv\"");
    says(IMPORT("--time", "When, local", "Club Speed=club_speed:mph", "--dry-run"), 0,
         "3 of 5 lines have a swing; nothing was written", "");
    assert_int_equal(count(b, "SELECT count(*) FROM swing_extra"), 0);
    assert_int_equal(count(b, "SELECT count(*) FROM import_mapping"), 0);
    struct said r = IMPORT("--time", "When, local", "Club Speed=club_speed:mph");
    assert_int_equal(r.rc, 0);
    assert_non_null(strstr(r.out, "club_speed 100 mph"));
    assert_non_null(strstr(r.out, "that swing has a line nearer to it"));
    assert_non_null(strstr(r.out, "is further than 10 s"));
    done(r);
    assert_int_equal(count(b, "SELECT count(*) FROM swing_extra"), 2);
    assert_int_equal(
        count(b, "SELECT count(*) FROM swing_extra WHERE swing_id = 1 AND unit = 'm/s' AND"
                 " abs(value - 44.704) < 1e-9 AND original = '100 mph' AND source ="
                 " 'shots.csv' AND at_utc_us = 1700000002000000"),
        1);
    /* remembered; the same again changes nothing; another value needs --replace */
    says(IMPORT("--dry-run", "--json"), 0, "\"matched\": 3", "");
    says(IMPORT("--as", "csv"), 0, "3 of 5", "");
    says(IMPORT("--within", "1"), 0, "1 of 5", "");
    assert_int_equal(count(b, "SELECT within_s = 1 FROM import_mapping"), 1);
    write_csv(b, "When;v\n14.11.2023 22:13:21;38,5\n14.11.2023 22:14:21;-\n");
    says(IMPORT("--as", "semi", "--time", "When", "--dates", "dmy", "v=club_speed:km/h"), 1, "",
         "nothing was written: swing 1 has a club_speed already, 100 mph (shots.csv), and 38.5 "
         "km/h");
    assert_int_equal(count(b, "SELECT count(*) FROM import_mapping WHERE name = 'semi'"), 0);
    says(IMPORT("--as", "semi", "--time", "When", "--dates", "dmy", "v=club_speed:km/h",
                "--replace"),
         0, "2 of 2", "");
    assert_int_equal(
        count(b, "SELECT abs(value - 38.5 / 3.6) < 1e-9 FROM swing_extra WHERE swing_id = 1"), 1);
    /* the other instrument's clock is an hour ahead */
    write_csv(b, "When\tspin\n23:13:21\t2600\n");
    says(IMPORT("--as", "tab", "--time", "When", "spin=spin:rpm"), 1, "", "give --day DATE");
    says(IMPORT("--as", "tab", "--time", "When", "spin=spin:rpm", "--day", "2023-11-14", "--ahead",
                "3600"),
         0, "1 of 1", "");
    assert_int_equal(
        count(b, "SELECT value = 2600 AND unit = 'rpm' FROM swing_extra WHERE name = 'spin'"), 1);
    says(DB("compare", "swings", "1", "2", "--metric", "spin"), 0, "not measured", "");
}

static void wrong_files(void **state)
{
    const struct bay *b = *state;
    static const struct {
        const char *text, *words;
    } cases[] = {
        {"", "it is empty"},
        {"When,v\n", "no line below the heading"},
        {"Time,v\n2023-11-14 22:13:22,1\n", "has no column \"When\"; its headings: Time, v"},
        {"When,When,v\n2023-11-14 22:13:22,1,1\n", "more than one column \"When\""},
        {"When,w\n2023-11-14 22:13:22,1\n", "has no column \"v\""},
        {"When,v\n2023-11-14 22:13:22,1,2\n", "row 2 has 3 cells, and the heading has 2"},
        {"When,v\n2023-11-14 22:13:22\n", "row 2 has 1 cells"},
        {"When,v\n2023-11-14 22:13:22,1\nyesterday,2\n",
         "row 3, \"When\": \"yesterday\" is not a date"},
        {"When,v\n2023-11-14 22:13:22,fast\n", "row 2, \"v\": \"fast\" is not a number"},
        {"When,v\n2023-11-14 22:13:22,1e9\n", "is the unit right"},
        {"When,v\n2023-11-14 22:13:22,\"1\n", "never closed"},
        {"When,v\n2023-11-14 22:13:22,\"1\"2\n", "line 2: a quote where none may be"},
        {"When,v\n2023-11-14 22:13:22,\xFF\n", "not UTF-8"},
        {"Wh\xFFn,v\n2023-11-14 22:13:22,1\n", "column 1: a heading is not UTF-8"},
        {"\xFF\xFEW", "UTF-16"},
        {"PK\3\4zip", "spreadsheet"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        write_csv(b, cases[i].text);
        says(IMPORT("--time", "When", "v=club_speed:mph"), 1, "", cases[i].words);
    }
    assert_int_equal(count(b, "SELECT (SELECT count(*) FROM swing_extra) + (SELECT count(*) FROM"
                              " import_mapping) + (SELECT count(*) FROM import_column)"),
                     0);
    says(DB("import", "/nowhere/x.csv", "--time", "When", "v=club_speed:mph"), 1, "",
         "cannot read it");
    static const struct {
        const char *column, *words;
    } columns[] = {{"v", "give HEADING=NAME:UNIT"},
                   {"=a:b", "give HEADING=NAME:UNIT"},
                   {"v=Club Speed:mph", "no name for a number"},
                   {"v=club_speed", "a speed needs its unit"},
                   {"v=club_speed:knots", "a speed needs its unit"}};
    for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++)
        says(IMPORT("--time", "When", columns[i].column), 2, "", columns[i].words);
    says(IMPORT("--time", "When", "v=a:x", "w=a:x"), 2, "", "given twice");
    says(IMPORT("--time", "When", "v=a:x", "--within", "-1"), 2, "", "--within -1: give seconds");
    says(IMPORT("--time", "When", "v=a:x", "--within", "9999"), 2, "", "from 0 to 600");
    says(IMPORT("--time", "When", "v=a:x", "--dates", "dym"), 2, "", "give ymd, dmy or mdy");
    says(IMPORT("--time", "When", "v=a:x", "--day", "soon"), 2, "", "--day soon is not a date");
    says(IMPORT("--time", "When", "v=a:x", "--as", ""), 2, "", "--as needs a name");
}

/* ---- export ---- */

static char *read_all(const char *folder, const char *name)
{
    char path[200];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *f = fopen(path, "rb");
    if (!f)
        return NULL;
    char *text = calloc(1, 4000000);
    assert_true(fread(text, 1, 3999999, f) < 3999999);
    fclose(f);
    return text;
}

static void name_kim(const struct bay *b)
{
    says(DB("player", "add", "Kim \"K\" <b>", "--hand", "right", "--cautions", "zebra-marker"), 0,
         "", "");
    says(DB("session", "edit", "1", "--player", "Kim \"K\" <b>", "--note", "session-marker"), 0, "",
         "");
    says(DB("block", "add", "1", "baseline", "--club", "=HYPERLINK(\"x\")"), 0, "", "");
    says(DB("swing", "label", "1", "1", "2"), 0, "", "");
    says(DB("swing", "comment", "1", "comment-marker, \"quoted\""), 0, "", "");
    says(DB("swing", "extra", "1", "club_speed", "40", "m/s"), 0, "", "");
}

static void exporting(void **state)
{
    const struct bay *b = *state;
    name_kim(b);
    says(DB("export", "Kam", b->folder), 1, "", "no player \"Kam\"");
    says(DB("export", "Kim \"K\" <b>", "/nowhere/x"), 1, "", "cannot make the folder");
    says(DB("export", "Kim \"K\" <b>", b->folder), 0, "everything of Kim \"K\" <b>, 3 swings", "");
    says(DB("export", "Kim \"K\" <b>", b->folder), 1, "", "goes into a new one");
    struct stat st;
    assert_int_equal(stat(b->folder, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0700);
    char *text = read_all(b->folder, "player.json");
    json_t *json = json_loads(text, 0, NULL);
    assert_non_null(json);
    assert_string_equal(json_string_value(json_object_get(
                            json_array_get(json_object_get(json, "player"), 0), "cautions")),
                        "zebra-marker");
    assert_int_equal(json_array_size(json_object_get(json, "swings")), 3);
    assert_int_equal(json_array_size(json_object_get(json, "swing_extras")), 1);
    assert_int_equal(json_array_size(json_object_get(json, "blocks")), 1);
    assert_int_equal(json_array_size(json_object_get(json, "rigs")), 1);
    json_decref(json);
    free(text);
    text = read_all(b->folder, "swings.csv");
    assert_non_null(strstr(text, "\"'=HYPERLINK(\"\"x\"\")\"")); /* no formula */
    assert_non_null(strstr(text, "\"comment-marker, \"\"quoted\"\"\""));
    free(text);
    char path[200];
    struct uf_csv csv;
    struct uf_error err;
    snprintf(path, sizeof path, "%s/swings.csv", b->folder);
    assert_int_equal(uf_csv_read(&csv, path, &err), 0);
    assert_int_equal(csv.rows, 4);
    assert_true(uf_csv_column(&csv, "weight_n") > 0);
    uf_csv_free(&csv);
    /* the raw file has the counts that were captured */
    text = read_all(b->folder, "raw/swing-000001.csv");
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = make_swing(&rig, 800, true);
    char *line = strstr(text, "\r\nt_us,") + 2;
    line = strstr(line, "\r\n") + 2;
    for (int i = 0; i < SWING_SAMPLES; i++) {
        assert_int_equal(strtoul(line, &line, 10), c->offset_us[i]);
        for (int ch = 0; ch < 24; ch++)
            assert_int_equal(strtol(line + 1, &line, 10), c->counts_raw[i * 24 + ch]);
        line = strstr(line, "\r\n") + 2;
    }
    assert_int_equal(*line, '\0');
    uf_capture_free(c);
    free(text);
}

/* ---- backup ---- */

static void backing_up(void **state)
{
    const struct bay *b = *state;
    char copy[140], part[160];
    snprintf(copy, sizeof copy, "%s/copy.db", b->place->folder);
    snprintf(part, sizeof part, "%s.part", copy);
    struct uf_store *busy = open_store(b->place, UF_STORE_WRITE); /* as the daemon */
    says(DB("backup", copy), 0, "a copy with 6 swings, checked", "");
    says(DB("backup", copy), 1, "", "never overwrites");
    says(DB("backup", "/nowhere/x.db"), 1, "", "does its folder exist");
    says(DB("backup", ""), 1, "", "empty");
    assert_int_not_equal(access(part, F_OK), 0);
    uf_store_close(busy);
    struct stat st;
    assert_int_equal(stat(copy, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    char wal[160];
    snprintf(wal, sizeof wal, "%s-wal", copy);
    assert_int_not_equal(access(wal, F_OK), 0); /* one file */
    struct said r = RUN("--database", copy, "swing", "6", "--json");
    assert_int_equal(r.rc, 0);
    done(r);
    /* what is damaged is not called a backup */
    struct uf_store *s = open_store(b->place, UF_STORE_WRITE);
    run_sql(s, "PRAGMA foreign_keys = OFF; DELETE FROM session WHERE id = 1");
    uf_store_close(s);
    snprintf(copy, sizeof copy, "%s/copy2.db", b->place->folder);
    says(DB("backup", copy), 1, "", "fails its check and was thrown away");
    assert_int_not_equal(access(copy, F_OK), 0);
}

/* ---- erase ---- */

/* Does any file beside the database hold those bytes? */
static bool holds(const struct bay *b, const char *text)
{
    static const char *const ends[] = {"", "-wal", "-shm"};
    bool found = false;
    for (size_t i = 0; i < 3; i++) {
        char path[140];
        snprintf(path, sizeof path, "%s%s", b->place->db, ends[i]);
        FILE *f = fopen(path, "rb");
        if (!f)
            continue;
        fseek(f, 0, SEEK_END);
        size_t n = (size_t)ftell(f);
        rewind(f);
        char *bytes = malloc(n + 1);
        assert_int_equal(fread(bytes, 1, n, f), n);
        fclose(f);
        found = found || memmem(bytes, n, text, strlen(text));
        free(bytes);
    }
    return found;
}

static struct said answer(const struct bay *b, const char *text)
{
    FILE *in = fmemopen((void *)(uintptr_t)text, strlen(text), "r");
    const char *const words[] = {"--database", b->place->db, "erase", "Kim \"K\" <b>", NULL};
    struct said r = run_in(in, words);
    fclose(in);
    return r;
}

/* Is it in the raw data of a swing of session 2? */
static bool stays(struct uf_store *s, const char raw[32])
{
    sqlite3_stmt *q;
    sqlite3_prepare_v2(uf_store_db(s),
                       "SELECT 1 FROM swing_raw WHERE swing_id > 3 AND instr(data, ?1)", -1, &q,
                       NULL);
    sqlite3_bind_blob(q, 1, raw, 32, SQLITE_TRANSIENT);
    bool found = sqlite3_step(q) == SQLITE_ROW;
    sqlite3_finalize(q);
    return found;
}

static void erasing(void **state)
{
    const struct bay *b = *state;
    name_kim(b);
    struct uf_store *daemon = open_store(b->place, UF_STORE_WRITE);
    run_sql(daemon, "INSERT INTO rocking VALUES (1, 'u', 1, 1, 5, 5, '00', 0, 1, x'00');"
                    "INSERT INTO stance (rocking_id, hand, foot, state, made_utc_us, current)"
                    " VALUES (1, 'right', 'lead', 'across', 5, 1);"
                    "INSERT INTO mark VALUES (1, 'top', 1.5, 0.004, 5)");
    static const char *const markers[] = {"zebra-marker", "session-marker", "comment-marker"};
    for (size_t i = 0; i < 3; i++)
        assert_true(holds(b, markers[i]));
    sqlite3_stmt *q;
    sqlite3_prepare_v2(uf_store_db(daemon), "SELECT data FROM swing_raw WHERE swing_id = 1", -1, &q,
                       NULL);
    assert_int_equal(sqlite3_step(q), SQLITE_ROW);
    char raw[33] = "";
    const unsigned char *bytes = sqlite3_column_blob(q, 0);
    int length = sqlite3_column_bytes(q, 0), at = length / 2;
    do { /* 32 bytes without a NUL, to look for: whole in the file, and in no swing that stays */
        at++;
        assert_true(at + 32 < length);
        memcpy(raw, bytes + at, 32);
    } while (strlen(raw) < 32 || !holds(b, raw) || stays(daemon, raw));
    sqlite3_finalize(q);
    says(DB("erase", "Kim \"K\" <b>"), 2, "", "give --yes");
    says(DB("erase", "Nobody", "--yes"), 1, "", "no player \"Nobody\"");
    says(answer(b, "kim\n"), 1, "", "nothing erased: that is not the name");
    says(answer(b, ""), 1, "", "1 sessions, 1 blocks, 3 swings");
    assert_int_equal(count(b, "SELECT count(*) FROM swing"), 6);
    says(answer(b, "Kim \"K\" <b>\n"), 0, "Not touched", "");
    for (size_t i = 0; i < 3; i++)
        assert_false(holds(b, markers[i]));
    assert_false(holds(b, raw));
    assert_false(holds(b, "Kim \"K\""));
    uf_store_close(daemon);
    assert_int_equal(count(b, "SELECT count(*) FROM swing"), 3);
    assert_int_equal(count(b, "SELECT count(*) FROM derivation"), 3);
    assert_int_equal(count(b, "SELECT count(*) FROM swing_raw"), 3);
    assert_int_equal(count(b, "SELECT count(*) FROM swing_metric"), 3);
    assert_int_equal(count(b, "SELECT count(*) FROM session"), 1);
    assert_int_equal(
        count(b, "SELECT (SELECT count(*) FROM stance) + (SELECT count(*) FROM mark) + (SELECT"
                 " count(*) FROM rocking)"),
        0);
    says(DB("erase", "Kim \"K\" <b>", "--yes"), 1, "", "no player");
    says(DB("rederive"), 0, "3  the same to the last bit", ""); /* the others are whole */
}

/* Somebody reads an old state of the file: the rows go, and what stays is said. */
static void erasing_beside_a_reader(void **state)
{
    const struct bay *b = *state;
    name_kim(b);
    struct uf_store *reader = open_store(b->place, UF_STORE_READ);
    run_sql(reader, "BEGIN; SELECT count(*) FROM swing");
    says(DB("erase", "Kim \"K\" <b>", "--yes"), 1, "", "wal_checkpoint(TRUNCATE)");
    run_sql(reader, "COMMIT");
    uf_store_close(reader);
    assert_int_equal(count(b, "SELECT count(*) FROM player"), 0);
}

#define T(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        T(times),
        T(importing),
        T(wrong_files),
        T(exporting),
        T(backing_up),
        T(erasing),
        T(erasing_beside_a_reader),
    };
    return cmocka_run_group_tests(tests, make_template, drop_template);
}

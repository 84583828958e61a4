/* SPDX-License-Identifier: MIT
 * `underfoot export`: all that is stored of a player, as files that any program reads. Written into
 * a new folder; a failure takes the folder away again. */
#include "cli/cli.h"
#include "cli/query.h"
#include "cli/show.h"
#include "store/players.h"

#include <csv.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char readme[] =
    "All that is stored of one player.\n\n"
    "player.json  the player, sessions, blocks; of each swing every number with the reason where\n"
    "             one is missing, comments, numbers of other instruments; the rigs (plates) and\n"
    "             calibrations that the numbers rest on. Times: microseconds since 1970-01-01 "
    "UTC.\n"
    "swings.csv   one line a swing, for a spreadsheet. A text that begins with = + - or @ has an\n"
    "             apostrophe in front, so that no spreadsheet takes it for a formula.\n"
    "raw/         one CSV file a swing: what the board sent. t_us counts from the first sample;\n"
    "             ch0, ch1, ...: counts of the converters; inputs and status: bits as sent;\n"
    "             lost_before: samples that were lost before this one. The first line has the "
    "zero\n"
    "             of each channel in force.\n";

struct out {
    struct uf_cli *c;
    struct uf_store *s;
    const char *folder;
    struct uf_player player;
    int64_t *swing;
    size_t swings;
};

static FILE *create(const struct out *o, const char *name)
{
    char path[PATH_MAX];
    int fd = -1;
    if (snprintf(path, sizeof path, "%s/%s", o->folder, name) < (int)sizeof path)
        fd = open(path, O_CREAT | O_EXCL | O_WRONLY | O_CLOEXEC, 0600);
    FILE *f = fd >= 0 ? fdopen(fd, "w") : NULL;
    if (!f) {
        uf_cli_fail(o->c, UF_EXIT_FAILED, "cannot write %s/%s: %s", o->folder, name,
                    strerror(errno));
        if (fd >= 0)
            close(fd);
    }
    return f;
}

static int finish(const struct out *o, FILE *f, const char *name)
{
    bool bad = ferror(f) != 0;
    if (fclose(f) || bad)
        return uf_cli_fail(o->c, UF_EXIT_FAILED, "cannot write %s/%s: %s", o->folder, name,
                           strerror(errno));
    return UF_EXIT_DONE;
}

/* ---- player.json ---- */

static const struct {
    const char *key, *sql; /* ?1: the player */
} parts[] = {
    {"player", "SELECT * FROM player WHERE id = ?1"},
    {"sessions", "SELECT * FROM session WHERE player_id = ?1 ORDER BY id"},
    {"blocks", "SELECT block.* FROM block JOIN session ON session.id = session_id"
               " WHERE player_id = ?1 ORDER BY block.id"},
    {"swing_marks", "SELECT swing.id AS swing, swing.block_id, excluded_reason, starred, comment,"
                    " rocking_id, captured_hand"
                    " FROM swing JOIN session ON session.id = session_id WHERE player_id = ?1"
                    " ORDER BY swing.id"},
    {"swing_extras", "SELECT swing_extra.* FROM swing_extra JOIN swing ON swing.id = swing_id"
                     " JOIN session ON session.id = session_id WHERE player_id = ?1"
                     " ORDER BY swing.id, name"},
    {"marks", "SELECT mark.* FROM mark JOIN swing ON swing.id = swing_id"
              " JOIN session ON session.id = session_id WHERE player_id = ?1"
              " ORDER BY swing.id, kind"},
    {"stances", "SELECT stance.*, at_utc_us, session_id FROM stance JOIN rocking"
                " ON rocking.id = rocking_id JOIN session ON session.id = session_id"
                " WHERE player_id = ?1 ORDER BY stance.id"},
    {"rigs", "SELECT DISTINCT rig.* FROM rig JOIN session ON rig.id = session.rig_id"
             " WHERE player_id = ?1"},
    {"calibrations", "SELECT DISTINCT calibration.* FROM calibration JOIN derivation"
                     " ON calibration_id = calibration.id JOIN swing ON swing.id = swing_id"
                     " JOIN session ON session.id = session_id WHERE player_id = ?1"},
};

static int write_json(const struct out *o)
{
    json_t *all = json_object(), *swings = json_array();
    int rc = UF_EXIT_DONE;
    for (size_t i = 0; !rc && i < sizeof parts / sizeof parts[0]; i++) {
        sqlite3_stmt *q;
        rc = uf_query(o->c, o->s, parts[i].sql, &o->player.id, 1, &q);
        if (rc)
            break;
        json_t *rows = uf_query_json(q);
        sqlite3_finalize(q);
        if (json_object_set_new(all, parts[i].key, rows))
            rc = uf_cli_fail(o->c, UF_EXIT_FAILED, "no memory");
    }
    struct uf_swing_row *row = malloc(sizeof *row);
    for (size_t i = 0; !rc && i < o->swings; i++) {
        struct uf_error err = {.text = "no memory"};
        int found = row ? uf_store_swing_row(o->s, o->swing[i], row, &err) : UF_ENOMEM;
        if (found == UF_ENOTFOUND)
            continue; /* stored without numbers; its raw counts are in raw/ */
        if (found || json_array_append_new(swings, uf_show_swing(row)))
            rc = uf_cli_fail(o->c, UF_EXIT_FAILED, "%s", err.text);
    }
    free(row);
    json_object_set_new(all, "swings", swings);
    FILE *f = rc ? NULL : create(o, "player.json");
    if (!rc && !f)
        rc = UF_EXIT_FAILED;
    if (f) {
        int bad = json_dumpf(all, f, JSON_INDENT(2) | JSON_REAL_PRECISION(17));
        rc = finish(o, f, "player.json");
        if (bad && !rc)
            rc = uf_cli_fail(o->c, UF_EXIT_FAILED, "player.json could not be written");
    }
    json_decref(all);
    return rc;
}

/* ---- swings.csv ---- */

static void write_text(FILE *f, const char *text)
{
    char safe[4200];
    bool formula = *text && strchr("=+-@\t\r", *text);
    snprintf(safe, sizeof safe, "%s%s", formula ? "'" : "", text);
    csv_fwrite(f, safe, strlen(safe));
}

static void write_cell(FILE *f, sqlite3_stmt *q, int i)
{
    switch (sqlite3_column_type(q, i)) {
    case SQLITE_INTEGER:
        fprintf(f, "%" PRId64, (int64_t)sqlite3_column_int64(q, i));
        break;
    case SQLITE_FLOAT:
        fprintf(f, "%.17g", sqlite3_column_double(q, i));
        break;
    case SQLITE_TEXT:
        write_text(f, (const char *)sqlite3_column_text(q, i));
        break;
    default:
        break; /* NULL: an empty cell */
    }
}

static int write_swings(const struct out *o)
{
    sqlite3_stmt *q;
    int rc =
        uf_query(o->c, o->s,
                 "SELECT swing.id AS swing, datetime(coalesce(trigger_utc_us, stored_utc_us) /"
                 " 1000000, 'unixepoch') AS utc, swing.session_id AS session, block_id AS block,"
                 " block.kind AS kind, block.ball AS ball, block.club AS club,"
                 " excluded_reason AS excluded, starred, comment,"
                 " (SELECT value FROM swing_extra WHERE swing_id = swing.id AND"
                 " name = 'club_speed') AS club_speed_mps, swing_metric.*"
                 " FROM swing JOIN session ON session.id = swing.session_id"
                 " LEFT JOIN block ON block.id = block_id"
                 " LEFT JOIN derivation ON derivation.swing_id = swing.id AND current = 1"
                 " LEFT JOIN swing_metric ON derivation_id = derivation.id"
                 " WHERE player_id = ?1 ORDER BY swing.id",
                 &o->player.id, 1, &q);
    if (rc)
        return rc;
    FILE *f = create(o, "swings.csv");
    if (!f) {
        sqlite3_finalize(q);
        return UF_EXIT_FAILED;
    }
    int columns = sqlite3_column_count(q), step;
    for (int i = 0; i < columns; i++) {
        fputs(i ? "," : "", f);
        write_text(f, sqlite3_column_name(q, i));
    }
    fputs("\r\n", f);
    while ((step = sqlite3_step(q)) == SQLITE_ROW) {
        for (int i = 0; i < columns; i++) {
            fputs(i ? "," : "", f);
            write_cell(f, q, i);
        }
        fputs("\r\n", f);
    }
    sqlite3_finalize(q);
    rc = finish(o, f, "swings.csv");
    if (!rc && step != SQLITE_DONE)
        rc = uf_cli_fail(o->c, UF_EXIT_FAILED, "cannot read %s: %s", o->c->database,
                         sqlite3_errmsg(uf_store_db(o->s)));
    return rc;
}

/* ---- raw ---- */

static int write_raw(const struct out *o, int64_t id)
{
    struct uf_capture *capture = NULL;
    struct uf_error err;
    char name[60];
    snprintf(name, sizeof name, "raw/swing-%06" PRId64 ".csv", id);
    if (uf_store_capture(o->s, id, &capture, &err))
        return uf_cli_fail(o->c, UF_EXIT_FAILED, "%s", err.text);
    FILE *f = create(o, name);
    if (!f) {
        uf_capture_free(capture);
        return UF_EXIT_FAILED;
    }
    int channels = capture->board.channels;
    fputs("# zero", f);
    for (int ch = 0; ch < channels; ch++)
        fprintf(f, ",%.17g", capture->tare_raw[ch]);
    fputs("\r\nt_us", f);
    for (int ch = 0; ch < channels; ch++)
        fprintf(f, ",ch%d", ch);
    fputs(",inputs,status,lost_before\r\n", f);
    for (size_t i = 0; i < capture->samples; i++) {
        fprintf(f, "%" PRIu32, capture->offset_us[i]);
        for (int ch = 0; ch < channels; ch++)
            fprintf(f, ",%" PRId32, capture->counts_raw[i * (size_t)channels + (size_t)ch]);
        fprintf(f, ",%u,%u,%u\r\n", (unsigned)capture->inputs[i], (unsigned)capture->status[i],
                (unsigned)capture->lost_before[i]);
    }
    uf_capture_free(capture);
    return finish(o, f, name);
}

/* ---- the command ---- */

static int find_swings(struct out *o)
{
    sqlite3_stmt *q;
    size_t room = 0;
    int rc = uf_query(o->c, o->s,
                      "SELECT swing.id FROM swing JOIN session ON session.id = session_id"
                      " WHERE player_id = ?1 ORDER BY swing.id",
                      &o->player.id, 1, &q);
    if (rc)
        return rc;
    while (sqlite3_step(q) == SQLITE_ROW) {
        if (o->swings == room) {
            room = 2 * room + 64;
            int64_t *more = realloc(o->swing, room * sizeof *more);
            if (!more) {
                rc = uf_cli_fail(o->c, UF_EXIT_FAILED, "no memory");
                break;
            }
            o->swing = more;
        }
        o->swing[o->swings++] = sqlite3_column_int64(q, 0);
    }
    sqlite3_finalize(q);
    return rc;
}

/* Takes away what this run has written. */
static void take_away(const struct out *o)
{
    static const char *const names[] = {"player.json", "swings.csv", "README.txt"};
    char path[PATH_MAX];
    for (size_t i = 0; i < o->swings; i++) {
        snprintf(path, sizeof path, "%s/raw/swing-%06" PRId64 ".csv", o->folder, o->swing[i]);
        (void)unlink(path);
    }
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        snprintf(path, sizeof path, "%s/%s", o->folder, names[i]);
        (void)unlink(path);
    }
    snprintf(path, sizeof path, "%s/raw", o->folder);
    (void)rmdir(path);
    (void)rmdir(o->folder);
}

static int write_all(struct out *o)
{
    char raw[PATH_MAX];
    if (mkdir(o->folder, 0700))
        return uf_cli_fail(o->c, UF_EXIT_FAILED, "cannot make the folder %s: %s%s", o->folder,
                           strerror(errno),
                           errno == EEXIST ? "; an export goes into a new one" : "");
    if (snprintf(raw, sizeof raw, "%s/raw", o->folder) >= (int)sizeof raw || mkdir(raw, 0700)) {
        rmdir(o->folder);
        return uf_cli_fail(o->c, UF_EXIT_FAILED, "cannot make the folder %s: %s", raw,
                           strerror(errno));
    }
    FILE *f = create(o, "README.txt");
    int rc = UF_EXIT_FAILED;
    if (f) {
        fputs(readme, f);
        rc = finish(o, f, "README.txt");
    }
    if (!rc)
        rc = write_json(o);
    if (!rc)
        rc = write_swings(o);
    for (size_t i = 0; !rc && i < o->swings; i++)
        rc = write_raw(o, o->swing[i]);
    if (rc)
        take_away(o);
    return rc;
}

int uf_cli_export(struct uf_cli *c)
{
    struct out o = {.c = c, .folder = c->operand[1]};
    struct uf_error err;
    int rc = uf_cli_open(c, UF_STORE_READ, &o.s);
    if (rc)
        return rc;
    /* one state of the database, whatever is stored meanwhile */
    sqlite3_exec(uf_store_db(o.s), "BEGIN", NULL, NULL, NULL);
    if (uf_player_find(o.s, c->operand[0], &o.player, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    if (!rc)
        rc = find_swings(&o);
    if (!rc)
        rc = write_all(&o);
    sqlite3_exec(uf_store_db(o.s), "COMMIT", NULL, NULL, NULL);
    uf_store_close(o.s);
    size_t swings = o.swings;
    free(o.swing);
    return rc ? rc
              : uf_cli_done(c, "swings", (int64_t)swings, "%s: everything of %s, %zu swings",
                            o.folder, o.player.name, swings);
}

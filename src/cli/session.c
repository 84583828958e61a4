/* SPDX-License-Identifier: MIT
 * `underfoot session` and `underfoot block`: the lesson from the command line. */
#include "base/clock.h"
#include "cli/cli.h"
#include "cli/query.h"
#include "cli/text.h"
#include "store/focus.h"
#include "store/lessons.h"

#include <string.h>

#define LAST_DEFAULT 20

static int note_option(const struct uf_cli *c, char out[UF_NOTE_BYTES])
{
    const char *text = uf_cli_option(c, "--note");
    struct uf_error err;
    if (text && uf_person_text(out, UF_NOTE_BYTES, text, "--note", &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    return UF_EXIT_DONE;
}

/* The optional first operand; 0 when it is not given. */
static int number_or_0(const struct uf_cli *c, const char *what, int64_t *id)
{
    *id = 0;
    return c->operands ? uf_cli_number(c, c->operand[0], what, id) : UF_EXIT_DONE;
}

/* ---- session ---- */

/* --fault and --focus, where they are given. */
static int set_focus(const struct uf_cli *c, struct uf_store *s, int64_t session,
                     struct uf_error *err)
{
    const char *fault = uf_cli_option(c, "--fault"), *metric = uf_cli_option(c, "--focus");
    return fault || metric ? uf_focus_set(s, session, fault, metric, err) : UF_OK;
}

/* Before anything is written: is there such a number? */
static int check_focus(const struct uf_cli *c)
{
    const char *metric = uf_cli_option(c, "--focus");
    struct uf_error err;
    int unused;
    if (metric && *metric && uf_focus_metric(metric, &unused, &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    return UF_EXIT_DONE;
}

int uf_cli_session_start(struct uf_cli *c)
{
    char note[UF_NOTE_BYTES] = "";
    struct uf_player p;
    struct uf_store *s;
    struct uf_error err;
    int64_t id;
    int rc = note_option(c, note);
    if (!rc)
        rc = check_focus(c);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (uf_player_find(s, c->operand[0], &p, &err) ||
        uf_session_start(s, p.id, note, &c->config.rig, uf_clock_utc_us(), &id, &err) ||
        set_focus(c, s, id, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    uf_store_close(s);
    if (rc)
        return rc;
    uf_cli_tell_daemon(c);
    return uf_cli_done(c, "session", id, "session %lld with %s, %s-handed, has begun%s%s",
                       (long long)id, p.name, p.hand == UF_LEFT_HANDED ? "left" : "right",
                       *p.cautions ? ". CAUTIONS: " : "", p.cautions);
}

int uf_cli_session_end(struct uf_cli *c)
{
    struct uf_store *s;
    struct uf_error err;
    int64_t id, ended;
    int rc = number_or_0(c, "session", &id);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (uf_session_end(s, id, uf_clock_utc_us(), &ended, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    uf_store_close(s);
    if (rc)
        return rc;
    uf_cli_tell_daemon(c);
    return uf_cli_done(c, "session", ended, "session %lld has ended", (long long)ended);
}

int uf_cli_session_edit(struct uf_cli *c)
{
    char note[UF_NOTE_BYTES] = "";
    const char *name = uf_cli_option(c, "--player");
    struct uf_player p = {.id = name ? 0 : -1};
    struct uf_store *s;
    struct uf_error err;
    int64_t id;
    int rc = uf_cli_number(c, c->operand[0], "session", &id);
    if (!rc)
        rc = note_option(c, note);
    if (!rc)
        rc = check_focus(c);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (name && *name && uf_player_find(s, name, &p, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    else if (uf_session_change(s, id, p.id, uf_cli_option(c, "--note") ? note : NULL, &err) ||
             set_focus(c, s, id, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    uf_store_close(s);
    if (rc)
        return rc;
    uf_cli_tell_daemon(c);
    return uf_cli_done(c, "session", id, "session %lld is changed", (long long)id);
}

int uf_cli_session_list(struct uf_cli *c)
{
    const char *count = uf_cli_option(c, "--last"), *name = uf_cli_option(c, "--player");
    struct uf_player p = {.id = 0};
    struct uf_store *s;
    struct uf_error err;
    int64_t last = LAST_DEFAULT;
    if (count && uf_text_parse_count(count, 0, &last))
        return uf_cli_fail(c, UF_EXIT_USAGE, "--last %s is not a count: give 0 (all), 1, 2, ...",
                           count);
    int rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    if (name && uf_player_find(s, name, &p, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    const int64_t v[] = {p.id, last ? last : -1};
    if (!rc)
        rc = uf_query_list(
            c, s,
            "SELECT * FROM (SELECT session.id AS session, player.name AS player,"
            " started_utc_us, ended_utc_us,"
            " (SELECT count(*) FROM block WHERE session_id = session.id) AS blocks,"
            " (SELECT count(*) FROM swing WHERE session_id = session.id) AS swings, session.note"
            " FROM session LEFT JOIN player ON player.id = player_id"
            " WHERE ?1 = 0 OR player_id = ?1 ORDER BY session.id DESC LIMIT ?2) ORDER BY session",
            v, 2, "no session yet");
    uf_store_close(s);
    return rc;
}

static const char blocks_sql[] =
    "SELECT block.id AS block, block.kind AS kind,"
    " CASE block.ball WHEN 1 THEN 'ball' WHEN 0 THEN 'no ball' END AS ball, block.club AS club,"
    " count(swing.id) - count(excluded_reason) AS swings, count(excluded_reason) AS excluded,"
    " started_utc_us, ended_utc_us, block.note AS note"
    " FROM block LEFT JOIN swing ON swing.block_id = block.id"
    " WHERE block.session_id = ?1 GROUP BY block.id ORDER BY block.id";

int uf_cli_session_of(struct uf_cli *c, struct uf_store *s, int64_t *id)
{
    int rc = number_or_0(c, "session", id);
    if (rc)
        return rc;
    sqlite3_stmt *q;
    rc = uf_query(c, s, "SELECT max(id) FROM session WHERE ?1 = 0 OR id = ?1", id, 1, &q);
    if (rc)
        return rc;
    int64_t found = sqlite3_step(q) == SQLITE_ROW ? sqlite3_column_int64(q, 0) : 0;
    sqlite3_finalize(q);
    if (found == 0)
        return *id ? uf_cli_fail(c, UF_EXIT_FAILED,
                                 "there is no session %lld; see: underfoot session list",
                                 (long long)*id)
                   : uf_cli_fail(c, UF_EXIT_FAILED, "no session yet");
    *id = found;
    return UF_EXIT_DONE;
}

static const char *const show_sql[] = {
    "SELECT session.id AS session, player.name AS player, player.cautions AS cautions,"
    " started_utc_us, ended_utc_us, session.note AS note, session.fault AS fault,"
    " session.focus_metric AS focus,"
    " (SELECT count(*) FROM swing WHERE session_id = session.id AND block_id IS NULL)"
    " AS swings_outside_blocks FROM session LEFT JOIN player ON player.id = player_id"
    " WHERE session.id = ?1",
    blocks_sql,
    "SELECT metric, unit, first_block, last_block, first_n, last_n, first_mean, last_mean, change,"
    " change_needed, verdict FROM session_change WHERE session = ?1",
};

int uf_cli_session_show(struct uf_cli *c)
{
    static const char *const keys[] = {"session", "blocks", "change"};
    static const char *const none[] = {"", "no block",
                                       "no comparison: it takes two blocks with swings that count"};
    struct uf_store *s;
    sqlite3_stmt *q;
    int64_t id;
    bool json = uf_cli_option(c, "--json") != NULL;
    int rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    json_t *all = json_object();
    rc = uf_cli_session_of(c, s, &id);
    for (int i = 0; !rc && i < 3; i++) {
        rc = uf_query(c, s, show_sql[i], &id, 1, &q);
        if (!rc && json) {
            json_object_set_new(all, keys[i], uf_query_json(q));
            sqlite3_finalize(q);
        } else if (!rc) {
            if (i)
                fputc('\n', c->out);
            rc = uf_query_print(c, q, "", none[i]);
        }
    }
    uf_store_close(s);
    if (!rc && json)
        return uf_cli_print_json(c, all);
    json_decref(all);
    return rc;
}

/* ---- block ---- */

static int block_options(const struct uf_cli *c, struct uf_block *b)
{
    const char *club = uf_cli_option(c, "--club");
    struct uf_error err;
    if (uf_cli_option(c, "--ball") && uf_cli_option(c, "--no-ball"))
        return uf_cli_fail(c, UF_EXIT_USAGE, "give either --ball or --no-ball");
    if (uf_cli_option(c, "--ball"))
        b->ball = 1;
    if (uf_cli_option(c, "--no-ball"))
        b->ball = 0;
    if (club && uf_person_text(b->club, sizeof b->club, club, "--club", &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    return note_option(c, b->note);
}

static int block_kind(const struct uf_cli *c, struct uf_block *b, const char *kind)
{
    struct uf_error err;
    if (uf_person_text(b->kind, sizeof b->kind, kind, "the kind", &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    return UF_EXIT_DONE;
}

int uf_cli_block_start(struct uf_cli *c)
{
    struct uf_block b = {.ball = -1};
    struct uf_store *s;
    struct uf_error err;
    int64_t before;
    int rc = block_options(c, &b);
    if (!rc)
        rc = block_kind(c, &b, c->operand[0]);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (uf_block_start(s, &b, uf_clock_utc_us(), &before, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    uf_store_close(s);
    if (rc)
        return rc;
    uf_cli_tell_daemon(c);
    char ended[60] = "";
    if (before)
        snprintf(ended, sizeof ended, "; block %lld has ended", (long long)before);
    return uf_cli_done(c, "block", b.id, "block %lld of session %lld, %s, has begun%s",
                       (long long)b.id, (long long)b.session_id, b.kind, ended);
}

int uf_cli_block_end(struct uf_cli *c)
{
    struct uf_store *s;
    struct uf_error err;
    int64_t id, ended;
    int rc = number_or_0(c, "block", &id);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (uf_block_end(s, id, uf_clock_utc_us(), &ended, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    uf_store_close(s);
    if (rc)
        return rc;
    uf_cli_tell_daemon(c);
    return uf_cli_done(c, "block", ended, "block %lld has ended", (long long)ended);
}

int uf_cli_block_add(struct uf_cli *c)
{
    struct uf_block b = {.ball = -1};
    struct uf_store *s;
    struct uf_error err;
    int rc = block_options(c, &b);
    if (!rc)
        rc = uf_cli_number(c, c->operand[0], "session", &b.session_id);
    if (!rc)
        rc = block_kind(c, &b, c->operand[1]);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (uf_block_add(s, &b, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    uf_store_close(s);
    return rc ? rc
              : uf_cli_done(c, "block", b.id,
                            "block %lld, %s, is added to session %lld; move swings into it with: "
                            "underfoot swing label %lld N ...",
                            (long long)b.id, b.kind, (long long)b.session_id, (long long)b.id);
}

int uf_cli_block_edit(struct uf_cli *c)
{
    struct uf_block b;
    struct uf_store *s;
    struct uf_error err;
    int64_t id;
    const char *kind = uf_cli_option(c, "--kind");
    int rc = uf_cli_number(c, c->operand[0], "block", &id);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (uf_block_get(s, id, &b, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    if (!rc)
        rc = block_options(c, &b);
    if (!rc && kind)
        rc = block_kind(c, &b, kind);
    if (!rc && uf_block_change(s, &b, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    uf_store_close(s);
    if (rc)
        return rc;
    uf_cli_tell_daemon(c);
    return uf_cli_done(c, "block", id, "block %lld is changed", (long long)id);
}

int uf_cli_block_list(struct uf_cli *c)
{
    struct uf_store *s;
    int64_t id;
    int rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    rc = uf_cli_session_of(c, s, &id);
    if (!rc)
        rc = uf_query_list(c, s, blocks_sql, &id, 1, "no block in this session");
    uf_store_close(s);
    return rc;
}

/* SPDX-License-Identifier: MIT
 * `underfoot player`: add, edit, list, show. */
#include "base/clock.h"
#include "base/utf8.h"
#include "cli/cli.h"
#include "cli/query.h"
#include "store/players.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* --foot-mm and --stature-mm: "" is not known. */
static int length_option(const struct uf_cli *c, const char *name, double *out)
{
    const char *text = uf_cli_option(c, name);
    char *end;
    if (!text)
        return UF_EXIT_DONE;
    *out = NAN;
    if (!*text)
        return UF_EXIT_DONE;
    *out = strtod(text, &end);
    if (*end || !isfinite(*out))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s %s is not a length: give millimetres, e.g. %s",
                           name, text, name[2] == 'f' ? "275" : "1780");
    return UF_EXIT_DONE;
}

static int text_option(const struct uf_cli *c, const char *name, char *out, size_t size)
{
    const char *text = uf_cli_option(c, name);
    struct uf_error err;
    if (text && uf_person_text(out, size, text, name, &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    return UF_EXIT_DONE;
}

static int take_options(const struct uf_cli *c, struct uf_player *p)
{
    const char *hand = uf_cli_option(c, "--hand");
    if (hand && strcmp(hand, "left") != 0 && strcmp(hand, "right") != 0)
        return uf_cli_fail(c, UF_EXIT_USAGE, "--hand %s: give right or left", hand);
    if (hand)
        p->hand = hand[0] == 'l' ? UF_LEFT_HANDED : UF_RIGHT_HANDED;
    int rc = length_option(c, "--foot-mm", &p->foot_length_mm);
    if (!rc)
        rc = length_option(c, "--stature-mm", &p->stature_mm);
    if (!rc)
        rc = text_option(c, "--note", p->note, sizeof p->note);
    if (!rc)
        rc = text_option(c, "--cautions", p->cautions, sizeof p->cautions);
    return rc;
}

int uf_cli_player_add(struct uf_cli *c)
{
    struct uf_player p = {.foot_length_mm = NAN, .stature_mm = NAN};
    struct uf_store *s;
    struct uf_error err;
    if (!uf_cli_option(c, "--hand"))
        return uf_cli_fail(c, UF_EXIT_USAGE,
                           "player add needs --hand right or --hand left: the lead foot, and every "
                           "sign, follow from it");
    int rc = take_options(c, &p);
    if (rc)
        return rc;
    if (uf_person_text(p.name, sizeof p.name, c->operand[0], "the name", &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    rc = uf_cli_open(c, UF_STORE_CREATE, &s);
    if (rc)
        return rc;
    rc = uf_player_add(s, &p, uf_clock_utc_us(), &err)
             ? uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text)
             : uf_cli_done(c, "player", p.id, "%s, %s-handed, is added", p.name,
                           p.hand == UF_LEFT_HANDED ? "left" : "right");
    uf_store_close(s);
    return rc;
}

int uf_cli_player_edit(struct uf_cli *c)
{
    struct uf_player p;
    struct uf_store *s;
    struct uf_error err;
    int rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (uf_player_find(s, c->operand[0], &p, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    if (!rc)
        rc = text_option(c, "--name", p.name, sizeof p.name);
    if (!rc)
        rc = take_options(c, &p);
    if (!rc)
        rc = uf_player_change(s, &p, &err)
                 ? uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text)
                 : uf_cli_done(c, "player", p.id, "%s, %s-handed, is changed", p.name,
                               p.hand == UF_LEFT_HANDED ? "left" : "right");
    uf_store_close(s);
    if (!rc)
        uf_cli_tell_daemon(c);
    return rc;
}

/* For other programs: the completion of the shell is one. */
static int print_names(struct uf_cli *c, struct uf_store *s)
{
    sqlite3_stmt *q;
    int rc = uf_query(c, s, "SELECT name FROM player ORDER BY name COLLATE NOCASE", NULL, 0, &q);
    int step = SQLITE_DONE;
    while (!rc && (step = sqlite3_step(q)) == SQLITE_ROW) {
        char name[UF_NAME_BYTES];
        snprintf(name, sizeof name, "%s", uf_store_text(q, 0));
        uf_utf8_plain(name);
        fprintf(c->out, "%s\n", name);
    }
    if (!rc)
        sqlite3_finalize(q);
    if (!rc && step != SQLITE_DONE)
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "cannot read %s", c->database);
    return rc;
}

int uf_cli_player_list(struct uf_cli *c)
{
    struct uf_store *s;
    if (uf_cli_option(c, "--names") && uf_cli_option(c, "--json"))
        return uf_cli_fail(c, UF_EXIT_USAGE, "give either --names or --json");
    int rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    if (uf_cli_option(c, "--names")) {
        rc = print_names(c, s);
        uf_store_close(s);
        return rc;
    }
    rc = uf_query_list(
        c, s,
        "SELECT name, player.hand AS hand, count(DISTINCT session.id) AS sessions, count(swing.id) "
        "AS swings,"
        " max(started_utc_us) AS last_here_utc_us, foot_length_mm, stature_mm, cautions"
        " FROM player LEFT JOIN session ON session.player_id = player.id"
        " LEFT JOIN swing ON swing.session_id = session.id GROUP BY player.id"
        " ORDER BY name COLLATE NOCASE",
        NULL, 0, "no player yet; add one with: underfoot player add NAME --hand right");
    uf_store_close(s);
    return rc;
}

static const char blocks_sql[] =
    "SELECT session.id AS session, session.started_utc_us AS started_utc_us, block.id AS block,"
    " block.kind AS kind, CASE block.ball WHEN 1 THEN 'ball' WHEN 0 THEN 'no ball' END AS ball,"
    " block.club AS club, count(swing.id) - count(excluded_reason) AS swings,"
    " count(excluded_reason) AS excluded, coalesce(block.note, session.note) AS note"
    " FROM session LEFT JOIN swing ON swing.session_id = session.id"
    " LEFT JOIN block ON block.id = swing.block_id WHERE session.player_id = ?1"
    " GROUP BY session.id, block.id ORDER BY session.id, block.id";

static void print_person(struct uf_cli *c, const struct uf_player *p)
{
    fprintf(c->out, "%s, %s-handed\n", p->name, p->hand == UF_LEFT_HANDED ? "left" : "right");
    if (!isnan(p->foot_length_mm))
        fprintf(c->out, "foot length %g mm\n", p->foot_length_mm);
    if (!isnan(p->stature_mm))
        fprintf(c->out, "stature %g mm\n", p->stature_mm);
    if (*p->cautions)
        fprintf(c->out, "CAUTIONS: %s\n", p->cautions);
    if (*p->note)
        fprintf(c->out, "note: %s\n", p->note);
    fputc('\n', c->out);
}

static json_t *person_json(const struct uf_player *p, json_t *blocks)
{
    json_t *foot = isnan(p->foot_length_mm) ? json_null() : json_real(p->foot_length_mm);
    json_t *stature = isnan(p->stature_mm) ? json_null() : json_real(p->stature_mm);
    return json_pack(
        "{s:I, s:s, s:s, s:s, s:o, s:o, s:s, s:s, s:o}", "id", (json_int_t)p->id, "uuid", p->uuid,
        "name", p->name, "hand", p->hand == UF_LEFT_HANDED ? "left" : "right", "foot_length_mm",
        foot, "stature_mm", stature, "cautions", p->cautions, "note", p->note, "blocks", blocks);
}

int uf_cli_player_show(struct uf_cli *c)
{
    struct uf_player p;
    struct uf_store *s;
    struct uf_error err;
    sqlite3_stmt *q;
    int rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    if (uf_player_find(s, c->operand[0], &p, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    if (!rc)
        rc = uf_query(c, s, blocks_sql, &p.id, 1, &q);
    if (!rc && uf_cli_option(c, "--json")) {
        rc = uf_cli_print_json(c, person_json(&p, uf_query_json(q)));
        sqlite3_finalize(q);
    } else if (!rc) {
        print_person(c, &p);
        rc = uf_query_print(c, q, "", "no session yet; begin one with: underfoot session start");
    }
    uf_store_close(s);
    return rc;
}

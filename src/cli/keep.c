/* SPDX-License-Identifier: MIT
 * `underfoot backup` and `underfoot erase`. */
#include "store/keep.h"

#include "cli/cli.h"

#include <string.h>

int uf_cli_backup(struct uf_cli *c)
{
    struct uf_store *s;
    struct uf_error err;
    int64_t swings;
    int rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    rc =
        uf_backup(s, c->operand[0], &swings, &err)
            ? uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text)
            : uf_cli_done(c, "swings", swings, "%s: a copy with %lld swings, checked; keep it safe",
                          c->operand[0], (long long)swings);
    uf_store_close(s);
    return rc;
}

/* Asks for the name once more. */
static int confirm(struct uf_cli *c, const struct uf_player *p, const struct uf_erased *e)
{
    char line[UF_NAME_BYTES + 2] = "";
    if (uf_cli_option(c, "--yes"))
        return UF_EXIT_DONE;
    if (!c->in)
        return uf_cli_fail(c, UF_EXIT_USAGE,
                           "nothing erased: nobody can be asked here; give --yes to erase %s",
                           p->name);
    fprintf(c->err,
            "This erases %s for good: %lld sessions, %lld blocks, %lld swings with their raw "
            "counts.\nType the name to go on: ",
            p->name, (long long)e->sessions, (long long)e->blocks, (long long)e->swings);
    fflush(c->err);
    if (!fgets(line, sizeof line, c->in))
        line[0] = '\0';
    line[strcspn(line, "\r\n")] = '\0';
    if (strcmp(line, p->name) != 0)
        return uf_cli_fail(c, UF_EXIT_FAILED, "nothing erased: that is not the name");
    return UF_EXIT_DONE;
}

static int report(struct uf_cli *c, const struct uf_player *p, const struct uf_erased *e)
{
    const char *record = c->config.daemon.record;
    if (uf_cli_option(c, "--json"))
        return uf_cli_print_json(
            c, json_pack("{s:b, s:s, s:s, s:I, s:I, s:I, s:I, s:I, s:I, s:s}", "ok", 1, "player",
                         p->name, "uuid", p->uuid, "sessions", (json_int_t)e->sessions, "blocks",
                         (json_int_t)e->blocks, "swings", (json_int_t)e->swings, "extras",
                         (json_int_t)e->extras, "bytes_before", (json_int_t)e->bytes_before,
                         "bytes_after", (json_int_t)e->bytes_after, "recording", record));
    fprintf(c->out,
            "Erased from %s: %s (%s), %lld sessions, %lld blocks, %lld swings with raw counts and "
            "all numbers, %lld numbers of other instruments.\n"
            "Rows overwritten, file packed from %lld to %lld bytes, write-ahead log emptied.\n"
            "Not touched, because they are other files: backups and exports%s%s%s. Delete them if "
            "they are to be forgotten too.\n",
            c->database, p->name, p->uuid, (long long)e->sessions, (long long)e->blocks,
            (long long)e->swings, (long long)e->extras, (long long)e->bytes_before,
            (long long)e->bytes_after, *record ? ", and recordings of the line (" : "", record,
            *record ? ")" : "");
    return UF_EXIT_DONE;
}

int uf_cli_erase(struct uf_cli *c)
{
    struct uf_player p;
    struct uf_erased e;
    struct uf_store *s;
    struct uf_error err;
    int rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    if (uf_player_find(s, c->operand[0], &p, &err) || uf_erase_count(s, p.id, &e, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    if (!rc)
        rc = confirm(c, &p, &e);
    if (!rc && uf_erase(s, p.id, &e, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    uf_store_close(s);
    if (!rc)
        rc = report(c, &p, &e);
    if (!rc)
        uf_cli_tell_daemon(c);
    return rc;
}

/* SPDX-License-Identifier: MIT
 * `underfoot report`: a lesson as one file. Written beside its place and named when it is whole, so
 * that nobody finds half a report. */
#include "cli/report.h"

#include "cli/text.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define NAME_MOST 60 /* bytes of a player's name in the file's */

/* "report-3-Kim.html": nothing of the name that a shell or a file system minds. */
static void usual_name(const struct uf_report *r, char *out, size_t size)
{
    size_t n = (size_t)snprintf(out, size, "report-%lld", (long long)r->session_id);
    if (r->has_player) {
        size_t from = n;
        out[n++] = '-';
        for (const char *p = r->player.name; *p; p++) {
            bool letter = (unsigned char)*p >= 0x80 || (*p >= '0' && *p <= '9') ||
                          (*p >= 'A' && *p <= 'Z') || (*p >= 'a' && *p <= 'z');
            if (n - from >= NAME_MOST && ((unsigned char)*p & 0xC0) != 0x80)
                break;
            if (letter || out[n - 1] != '-')
                out[n++] = letter ? *p : '-';
        }
        if (out[n - 1] == '-')
            n--;
    }
    snprintf(out + n, size - n, ".html");
}

static int write_file(const struct uf_cli *c, const struct uf_report *r, const char *path,
                      const char *part)
{
    int fd = open(part, O_CREAT | O_EXCL | O_WRONLY | O_CLOEXEC, 0600);
    FILE *f = fd >= 0 ? fdopen(fd, "w") : NULL;
    if (!f) {
        int why = errno;
        if (fd >= 0)
            close(fd);
        return uf_cli_fail(c, UF_EXIT_FAILED, "cannot write the report %s: %s%s", path,
                           strerror(why),
                           why == EEXIST ? " (one that was cut off: delete the .part file)"
                                         : "; does its folder exist, and may you write there?");
    }
    errno = ENOMEM;
    bool bad = uf_report_write(r, f) || fflush(f) != 0 || ferror(f) || fsync(fd) != 0;
    int why = errno;
    bad = fclose(f) != 0 || bad;
    /* link, unlike rename, does not overwrite what came meanwhile */
    bool force = uf_cli_option(c, "--force") != NULL;
    int rc = UF_EXIT_DONE;
    if (bad)
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "cannot write the report %s: %s", path, strerror(why));
    else if (force ? rename(part, path) : link(part, path))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "cannot name the report %s: %s%s", path,
                         strerror(errno), errno == EEXIST ? "; --force takes its place" : "");
    if (!force || rc)
        (void)unlink(part);
    return rc;
}

static int put(struct uf_cli *c, const struct uf_report *r)
{
    char usual[NAME_MOST + 64], part[PATH_MAX];
    const char *path = uf_cli_option(c, "--out");
    if (path && strcmp(path, "-") == 0)
        return uf_report_write(r, c->out) ? uf_cli_fail(c, UF_EXIT_FAILED, "no memory")
                                          : UF_EXIT_DONE;
    usual_name(r, usual, sizeof usual);
    path = path ? path : usual;
    if (!*path || snprintf(part, sizeof part, "%s.part", path) >= (int)sizeof part)
        return uf_cli_fail(c, UF_EXIT_USAGE, "the path of the report is empty or too long");
    if (!uf_cli_option(c, "--force") && access(path, F_OK) == 0)
        return uf_cli_fail(c, UF_EXIT_FAILED,
                           "%s exists: give another name with --out, or --force to put the report "
                           "in its place",
                           path);
    int rc = write_file(c, r, path, part);
    return rc ? rc
              : uf_cli_done(c, "session", r->session_id,
                            "%s: the report of session %lld; a browser shows and prints it", path,
                            (long long)r->session_id);
}

/* The block of an option; 0: not given. */
static int block_option(const struct uf_cli *c, const char *name, int64_t *id)
{
    const char *text = uf_cli_option(c, name);
    *id = 0;
    return text ? uf_cli_number(c, text, "block", id) : UF_EXIT_DONE;
}

int uf_cli_report(struct uf_cli *c)
{
    struct uf_report *r = NULL;
    struct uf_store *s;
    struct uf_error err;
    const char *focus = uf_cli_option(c, "--focus");
    int64_t session, baseline, retest;
    int metric = -1, rc = block_option(c, "--baseline", &baseline);
    if (!rc)
        rc = block_option(c, "--retest", &retest);
    if (!rc && focus && uf_focus_metric(focus, &metric, &err))
        rc = uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_READ, &s);
    if (rc)
        return rc;
    /* one state of the database, whatever is stored meanwhile */
    sqlite3_exec(uf_store_db(s), "BEGIN", NULL, NULL, NULL);
    rc = uf_cli_session_of(c, s, &session);
    if (!rc && uf_report_read(s, session, baseline, retest, &r, &err))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    sqlite3_exec(uf_store_db(s), "COMMIT", NULL, NULL, NULL);
    uf_store_close(s);
    if (!rc && focus)
        r->focus.metric = metric;
    if (!rc)
        rc = put(c, r);
    uf_report_free(r);
    return rc;
}

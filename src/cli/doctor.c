/* SPDX-License-Identifier: MIT
 * `underfoot doctor`: one function a thing that can be wrong, in one table. Each says what it saw,
 * and where that is not well, what to do. Reads only. */
#include "base/clock.h"
#include "cli/access.h"
#include "cli/ask.h"
#include "cli/cli.h"
#include "cli/text.h"
#include "store/calibrations.h"
#include "store/swings.h"

#include <dirent.h>
#include <errno.h>
#include <libgen.h>
#include <limits.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

#define CALIBRATION_OLD_S (365 * 86400.0) /* load cells and mats creep: look at it once a year */
#define ZERO_OLD_S        (12 * 3600.0)   /* the daemon does not begin with an older one either */
#define SPACE_LOW_MB      500
#define SPACE_OUT_MB      50

enum verdict { FINE, LOOK, WRONG };

struct doctor {
    struct uf_cli *c;
    struct uf_reader reader; /* the daemon's user */
    json_t *daemon;          /* its status; NULL: it does not answer */
    struct uf_error silence; /* why not */
    int silent;
    struct uf_store *store; /* NULL: could not be opened */
    json_t *lines;
    const char *topic;
    bool wrong, failed;
};

static void say(struct doctor *d, enum verdict v, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
static void say(struct doctor *d, enum verdict v, const char *format, ...)
{
    static const char *const names[] = {"fine", "look", "WRONG"};
    char text[900];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    d->wrong = d->wrong || v == WRONG;
    json_t *line =
        json_pack("{s:s, s:s, s:s}", "topic", d->topic, "verdict", names[v], "text", text);
    if (json_array_append_new(d->lines, line))
        d->failed = true;
}

/* ---- the daemon's answer ---- */

static const char *text_of(const json_t *o, const char *key)
{
    const char *v = json_string_value(json_object_get(o, key));
    return v ? v : "";
}

static double number_of(const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    return json_is_number(v) ? json_number_value(v) : (double)NAN;
}

/* ---- settings ---- */

static void check_settings(struct doctor *d)
{
    const char *path = d->c->config_path;
    const struct uf_rig *rig = &d->c->config.rig;
    struct stat st;
    if (!path) {
        say(d, LOOK,
            "there is no %s: the defaults are in force, with the example rig. Write one "
            "with: underfootd --print-config >%s",
            UF_CLI_CONFIG, UF_CLI_CONFIG);
        return;
    }
    if (uf_reader_may(&d->reader, path, R_OK))
        say(d, WRONG, "the user %s may not read %s; mend it with: chmod a+r %s", d->reader.name,
            path, path);
    else if (stat(path, &st) == 0 && (st.st_mode & S_IWOTH))
        say(d, WRONG, "everybody may change %s; mend it with: chmod o-w %s", path, path);
    else
        say(d, FINE, "%s; rig \"%s\", %d plate%s, %d channels", path, rig->name, rig->plates,
            rig->plates == 1 ? "" : "s", rig->channels);
}

/* ---- daemon and line ---- */

static void check_daemon(struct doctor *d)
{
    if (d->silent) {
        say(d, d->silent == UF_ENOTFOUND ? LOOK : WRONG, "%s", d->silence.text);
        return;
    }
    char span[48];
    double up_s = number_of(d->daemon, "uptime_s");
    uf_text_span(isnan(up_s) ? 0 : up_s, span, sizeof span);
    const char *version = text_of(d->daemon, "version");
    if (strcmp(version, UF_VERSION) != 0)
        say(d, LOOK,
            "version %s runs, %s is installed; start it anew with: systemctl restart "
            "underfootd",
            version, UF_VERSION);
    else
        say(d, FINE, "version %s, up %s", version, span);
    const char *store = text_of(d->daemon, "store_state");
    double waiting = number_of(d->daemon, "queue");
    if (strcmp(store, "ok") != 0)
        say(d, WRONG, "the store is %s, %.0f swings wait: %s", store, isnan(waiting) ? 0 : waiting,
            *text_of(d->daemon, "store_problem") ? text_of(d->daemon, "store_problem")
                                                 : "the disk is slower than the golfer");
}

static void check_line(struct doctor *d)
{
    const char *state = text_of(d->daemon, "state");
    double lost = number_of(d->daemon, "lost"), bad = number_of(d->daemon, "bad"),
           samples = number_of(d->daemon, "samples");
    if (!d->daemon)
        return;
    if (strcmp(state, "receiving") != 0) {
        say(d, WRONG, "%s: %s", state, text_of(d->daemon, "state_text"));
        return;
    }
    /* one in a hundred thousand is more than a sound cable loses */
    if (lost + bad > 1e-5 * samples && lost + bad > 10)
        say(d, LOOK,
            "%.0f of %.0f samples lost, %.0f packets damaged: look at cable, hub and "
            "link.baud",
            lost, samples, bad);
    else if (number_of(d->daemon, "clock_step_ms") > 0)
        say(d, LOOK,
            "the board's clock goes in steps of %.2g ms, and moments of a swing are unsure by one: "
            "the firmware must send the microseconds of each conversion (t_us)",
            number_of(d->daemon, "clock_step_ms"));
    else
        say(d, FINE, "%s; %.0f samples, %.0f lost", text_of(d->daemon, "state_text"), samples,
            lost);
}

/* ---- device ---- */

/* A number in a file of sysfs, or -1. */
static long number_in(const char *path)
{
    long v = -1;
    FILE *f = fopen(path, "re");
    if (!f)
        return -1;
    if (fscanf(f, "%ld", &v) != 1)
        v = -1;
    fclose(f);
    return v;
}

static void check_latency(struct doctor *d, const char *real)
{
    char path[PATH_MAX];
    const char *slash = strrchr(real, '/');
    snprintf(path, sizeof path, "/sys/class/tty/%.100s/device/latency_timer", slash + 1);
    long ms = number_in(path);
    if (ms > 1)
        say(d, LOOK,
            "the converter holds bytes for %ld ms (FTDI): are the device rules installed? "
            "Now: echo 1 >%s",
            ms, path);
}

/* link.device is a folder: underfootd tries its ports in turn. */
static void check_ports(struct doctor *d, const char *folder, int mode)
{
    char port[PATH_MAX + 256];
    DIR *dir = opendir(folder);
    int ports = 0, usable = 0;
    for (struct dirent *e = dir ? readdir(dir) : NULL; e; e = readdir(dir)) {
        if (e->d_name[0] == '.')
            continue;
        snprintf(port, sizeof port, "%s/%s", folder, e->d_name);
        ports++;
        usable += uf_reader_may(&d->reader, port, mode) == 0;
    }
    if (dir)
        closedir(dir);
    if (ports == 0)
        say(d, WRONG, "%s has no port in it: is the board plugged in?", folder);
    else if (usable < ports)
        say(d, WRONG,
            "the user %s may open %d of the %d ports in %s. Put it into their group with: usermod "
            "-aG dialout %s; then start underfootd anew",
            d->reader.name, usable, ports, folder, d->reader.name);
    else if (ports > 1 && !*d->c->config.link.board_id)
        say(d, LOOK,
            "%s has %d ports, and the first board that fits is listened to: set link.board_id",
            folder, ports);
    else
        say(d, FINE, "%s, %d port%s, and %s may open %s", folder, ports, ports == 1 ? "" : "s",
            d->reader.name, ports == 1 ? "it" : "each");
}

static void check_device(struct doctor *d)
{
    const struct uf_link_settings *l = &d->c->config.link;
    char real[PATH_MAX];
    struct stat st;
    if (l->type == UF_LINK_TCP) {
        say(d, FINE, "%s, a TCP bridge; not tried", l->device);
        return;
    }
    int mode = l->type == UF_LINK_REPLAY ? R_OK : R_OK | W_OK;
    if (!realpath(l->device, real)) {
        say(d, WRONG,
            "%s: %s. Is it plugged in? Which ports there are: ls -l /dev/underfoot "
            "/dev/serial/by-id /dev/ttyACM* /dev/ttyUSB*; set link.device",
            l->device, strerror(errno));
        return;
    }
    if (stat(real, &st) == 0 && S_ISDIR(st.st_mode) && l->type != UF_LINK_REPLAY) {
        check_ports(d, real, mode);
        return;
    }
    int why = uf_reader_may(&d->reader, real, mode);
    if (stat(real, &st) == 0 && S_ISFIFO(st.st_mode) && why)
        why = uf_reader_may(&d->reader, real, R_OK);
    if (why && l->type == UF_LINK_SERIAL)
        say(d, WRONG,
            "the user %s may not open %s: %s. Put it into the port's group with: usermod "
            "-aG dialout %s; then start underfootd anew",
            d->reader.name, real, strerror(why), d->reader.name);
    else if (why)
        say(d, WRONG, "the user %s may not open %s: %s. Change its owner or mode", d->reader.name,
            real, strerror(why));
    else if (l->type == UF_LINK_SERIAL && !S_ISCHR(st.st_mode))
        say(d, WRONG, "%s is not a port: set link.device, or link.type", real);
    else
        say(d, FINE, "%s%s%s, and %s may open it", l->device, strcmp(l->device, real) ? " is " : "",
            strcmp(l->device, real) ? real : "", d->reader.name);
    if (l->type == UF_LINK_SERIAL)
        check_latency(d, real);
}

/* ---- database, spool, disk ---- */

/* One row, one text; false when SQLite said no: then *out holds its words. */
static bool ask_database(struct doctor *d, const char *sql, char *out, size_t size)
{
    sqlite3 *db = uf_store_db(d->store);
    sqlite3_stmt *q = NULL;
    bool good = sqlite3_prepare_v2(db, sql, -1, &q, NULL) == SQLITE_OK &&
                sqlite3_step(q) == SQLITE_ROW && sqlite3_column_text(q, 0);
    snprintf(out, size, "%s", good ? (const char *)sqlite3_column_text(q, 0) : sqlite3_errmsg(db));
    sqlite3_finalize(q);
    return good;
}

static void check_pages(struct doctor *d)
{
    char text[400];
    struct uf_store_summary known = {0};
    struct uf_error err = {0};
    bool deep = uf_cli_option(d->c, "--deep") != NULL;
    const char *sql = deep ? "PRAGMA integrity_check(1)" : "PRAGMA quick_check(1)";
    if (!ask_database(d, sql, text, sizeof text) || strcmp(text, "ok") != 0)
        say(d, WRONG,
            "%s is damaged: %s. Stop underfootd, keep a copy of the file and those "
            "beside it, then: sqlite3 %s .recover | sqlite3 mended.db",
            d->c->database, text, d->c->database);
    else if (uf_store_summary(d->store, &known, &err))
        say(d, WRONG, "%s", err.text);
    else
        say(d, FINE, "%s, %lld swings%s", d->c->database, (long long)known.swings,
            deep ? ", every page is whole" : "");
}

static void check_database(struct doctor *d)
{
    struct uf_error err = {0};
    char copy[UF_PATH_MAX];
    const char *path = d->c->database, *user = d->reader.name;
    static const char *const beside[] = {"", "-wal", "-shm", ".lock"};
    snprintf(copy, sizeof copy, "%s", path);
    const char *folder = dirname(copy);
    int why = uf_reader_may(&d->reader, folder, R_OK | W_OK | X_OK);
    if (why)
        say(d, WRONG,
            "the user %s may not make files in %s: %s; mend it with: install -d -o %s -g "
            "%s -m 0750 %s",
            user, folder, strerror(why), user, user, folder);
    for (size_t i = 0; !why && i < sizeof beside / sizeof beside[0]; i++) {
        char file[UF_PATH_MAX + 8];
        snprintf(file, sizeof file, "%s%s", path, beside[i]);
        int denied = uf_reader_may(&d->reader, file, R_OK | W_OK);
        if (denied && denied != ENOENT)
            say(d, WRONG,
                "the user %s may not write %s: %s (made by another user, perhaps by "
                "root?); mend it with: chown %s:%s %s",
                user, file, strerror(denied), user, user, file);
    }
    struct stat st;
    if (stat(path, &st) == 0 && (st.st_mode & (S_IROTH | S_IWOTH)))
        say(d, LOOK,
            "everybody on this machine may read the lessons in %s; mend it with: chmod "
            "o-rw %s",
            path, path);
    if (access(path, F_OK) != 0 && errno == ENOENT) {
        say(d, LOOK, "there is no %s yet: underfootd makes it when it starts", path);
        return;
    }
    if (uf_store_open(&d->store, path, UF_STORE_READ, &err)) {
        say(d, WRONG, "%s", err.text);
        return;
    }
    check_pages(d);
}

/* MB of the files in a folder; -1: it can't be read. */
static double size_of_mb(const char *folder)
{
    DIR *dir = opendir(folder);
    double bytes = 0;
    if (!dir)
        return -1;
    for (const struct dirent *e; (e = readdir(dir)) != NULL;) {
        struct stat st;
        if (fstatat(dirfd(dir), e->d_name, &st, 0) == 0 && S_ISREG(st.st_mode))
            bytes += 512.0 * (double)st.st_blocks;
    }
    closedir(dir);
    return 1e-6 * bytes;
}

static void check_spool(struct doctor *d)
{
    char folder[UF_PATH_MAX + 8];
    const json_t *spool = json_object_get(d->daemon, "spool");
    const struct uf_daemon_settings *s = &d->c->config.daemon;
    uf_config_spool_folder(&d->c->config, folder);
    if (d->c->config.link.type == UF_LINK_REPLAY)
        return;
    if (s->spool_hours <= 0) {
        say(d, LOOK,
            "there is none: a crash loses the swings that are not stored yet; set "
            "daemon.spool_hours");
        return;
    }
    int why = uf_reader_may(&d->reader, folder, R_OK | W_OK | X_OK);
    if (why && why != ENOENT)
        say(d, WRONG, "the user %s may not write in %s: %s; mend it with: chown -R %s:%s %s",
            d->reader.name, folder, strerror(why), d->reader.name, d->reader.name, folder);
    else if (json_is_true(json_object_get(spool, "failing")))
        say(d, WRONG, "%s; %.0f bytes are not in it", text_of(spool, "problem"),
            number_of(spool, "lost_bytes"));
    else if (why)
        say(d, d->daemon ? WRONG : LOOK, "there is no %s yet: underfootd makes it when it starts",
            folder);
    else
        say(d, FINE, "%s, %.0f MB of at most %d", folder, fmax(0, size_of_mb(folder)), s->spool_mb);
}

static void check_space(struct doctor *d)
{
    char copy[UF_PATH_MAX];
    struct statvfs fs;
    snprintf(copy, sizeof copy, "%s", d->c->database);
    const char *folder = dirname(copy);
    if (statvfs(folder, &fs))
        return; /* said by check_database */
    double mb = 1e-6 * (double)fs.f_bavail * (double)fs.f_frsize;
    if (fs.f_flag & ST_RDONLY)
        say(d, WRONG,
            "the file system of %s is read-only: look at the kernel's log (dmesg), then "
            "check the disk",
            folder);
    else if (mb < SPACE_LOW_MB)
        say(d, mb < SPACE_OUT_MB ? WRONG : LOOK,
            "%.0f MB are left on the disk of %s; a lesson takes 5 to 30: make room", mb, folder);
    else
        say(d, FINE, "%.0f MB left on the disk of %s", mb, folder);
}

/* ---- zero, calibration, clock ---- */

static void check_zero(struct doctor *d)
{
    char span[48] = "", text[400];
    double age_s = number_of(d->daemon, "tare_age_s");
    if (!d->daemon)
        return;
    if (isnan(age_s)) {
        say(d, LOOK, "none yet: leave the plates empty and still for some seconds");
        return;
    }
    uf_text_span(age_s, span, sizeof span);
    if (age_s > ZERO_OLD_S)
        say(d, LOOK, "taken %s ago: leave the plates empty and still for some seconds", span);
    else if (d->store &&
             ask_database(d,
                          "SELECT 'left ' || coalesce(round(left_total_drift_n), '-') || ' N, "
                          "right ' || coalesce(round(right_total_drift_n), '-') || ' N' FROM "
                          "tare WHERE id = (SELECT max(id) FROM tare) AND look = 1",
                          text, sizeof text))
        say(d, LOOK,
            "it has drifted far since the start (%s): look at the cells, and at what lies "
            "on the plates",
            text);
    else
        say(d, FINE, "taken %s ago", span);
}

static void check_calibration(struct doctor *d)
{
    struct uf_error err = {0};
    struct uf_calibration_info *all = NULL;
    const struct uf_calibration_info *active = NULL;
    size_t n = 0;
    char span[48];
    if (!d->store)
        return;
    if (uf_store_calibration_list(d->store, 0, &all, &n, &err)) {
        say(d, WRONG, "%s", err.text);
        return;
    }
    for (size_t i = 0; i < n; i++)
        if (all[i].active)
            active = &all[i];
    const json_t *used = json_object_get(d->daemon, "calibration");
    bool nominal = json_is_true(json_object_get(used, "nominal"));
    double age_s = active ? 1e-6 * (double)(uf_clock_utc_us() - active->made_utc_us) : 0;
    uf_text_span(fmax(age_s, 0), span, sizeof span);
    if (!active || nominal)
        say(d, LOOK,
            "none is in force for this rig: forces come from the cells' data sheets. "
            "Calibrate with known weights: underfoot-calib --help");
    else if (age_s > CALIBRATION_OLD_S)
        say(d, LOOK,
            "\"%s\" is %s old: put a known weight on each plate, and calibrate again where "
            "it is off: underfoot-calib --help",
            active->name, span);
    else
        say(d, FINE, "\"%s\", %s old", active->name, span);
    free(all);
}

static void check_clock(struct doctor *d)
{
    struct uf_store_summary known = {0};
    struct uf_error err = {0};
    char span[48];
    if (!d->store || uf_store_summary(d->store, &known, &err) || !known.last_swing)
        return;
    double ahead_s = 1e-6 * (double)(known.last_swing_utc_us - uf_clock_utc_us());
    uf_text_span(fabs(ahead_s), span, sizeof span);
    if (ahead_s > 60)
        say(d, WRONG,
            "the last swing lies %s in the future: this computer's clock is wrong, now or "
            "then. Does it get the time from the network? timedatectl says",
            span);
    else
        say(d, FINE, "no swing lies in the future");
}

/* ---- the command ---- */

static const struct {
    const char *topic;
    void (*check)(struct doctor *d);
} checks[] = {
    {"settings", check_settings}, {"database", check_database}, {"disk", check_space},
    {"spool", check_spool},       {"device", check_device},     {"daemon", check_daemon},
    {"line", check_line},         {"zero", check_zero},         {"calibration", check_calibration},
    {"clock", check_clock},
};

static int print(struct doctor *d)
{
    struct uf_columns t;
    size_t i;
    const json_t *line;
    uf_columns_begin(&t, "lll");
    json_array_foreach(d->lines, i, line)
    {
        uf_columns_add(&t, "%s", text_of(line, "verdict"));
        uf_columns_add(&t, "%s", text_of(line, "topic"));
        uf_columns_add(&t, "%s", text_of(line, "text"));
    }
    return uf_columns_print(&t, "", d->c->out);
}

int uf_cli_doctor(struct uf_cli *c)
{
    struct doctor d = {.c = c, .lines = json_array()};
    uf_reader_of_daemon(&d.reader, !c->config_path || !strcmp(c->config_path, UF_CLI_CONFIG));
    d.silent = uf_ask(c->config.daemon.control, "status", &d.daemon, &d.silence);
    for (size_t i = 0; i < sizeof checks / sizeof checks[0]; i++) {
        d.topic = checks[i].topic;
        checks[i].check(&d);
    }
    int rc = d.wrong ? UF_EXIT_FAILED : UF_EXIT_DONE;
    if (uf_cli_option(c, "--json")) {
        int printed =
            uf_cli_print_json(c, json_pack("{s:b, s:O}", "wrong", d.wrong, "lines", d.lines));
        rc = printed ? printed : rc;
    } else if (print(&d)) {
        d.failed = true;
    }
    uf_store_close(d.store);
    json_decref(d.daemon);
    json_decref(d.lines);
    return d.failed ? uf_cli_fail(c, UF_EXIT_FAILED, "no memory") : rc;
}

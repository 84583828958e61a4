/* SPDX-License-Identifier: MIT
 * Commands on stored calibrations: add, list, show, activate, diff. */
#include "base/clock.h"
#include "calib/command.h"
#include "calib/compare.h"
#include "cli/ask.h"
#include "store/calibrations.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static const char *const component[UF_COMPONENTS] = {"Fx", "Fy", "Fz", "Mx", "My", "Mz"};

/* The settings, the database, and the rig's row in it. */
struct session {
    struct uf_config config;
    struct uf_store *store;
    int64_t rig_id;
};

/* UF_STORE_READ leaves rig_id 0 when the database does not know the rig. */
static int open_session(const struct uf_calib_args *args, enum uf_store_mode mode,
                        struct session *s, struct uf_error *err)
{
    memset(s, 0, sizeof *s);
    int rc = uf_calib_config(args, &s->config, err);
    if (rc == UF_OK)
        rc = uf_store_open(&s->store, s->config.daemon.database, mode, err);
    if (rc == UF_OK && mode != UF_STORE_READ)
        rc = uf_store_rig(s->store, &s->config.rig, &s->rig_id, err);
    return rc;
}

static void close_session(struct session *s)
{
    uf_store_close(s->store);
}

static void print_time(int64_t utc_us, char text[32])
{
    time_t s = (time_t)(utc_us / 1000000);
    struct tm tm;
    if (!gmtime_r(&s, &tm) || !strftime(text, 32, "%Y-%m-%d %H:%M UTC", &tm))
        strcpy(text, "?");
}

/* ---- add ---- */

/* "made_utc_us" of the provenance, else now. */
static int64_t made_utc_us(const json_t *provenance)
{
    const json_t *made = json_object_get(provenance, "made_utc_us");
    return json_is_integer(made) ? json_integer_value(made) : uf_clock_utc_us();
}

int uf_calib_add(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    struct session s = {.store = NULL};
    struct uf_calibration cal;
    struct uf_error inner = {0, ""};
    json_t *json = NULL;
    int64_t id = 0;
    const char *path = args->operand[0];
    int rc = uf_calib_read_json(path, &json, err);
    if (rc == UF_OK)
        rc = open_session(args, UF_STORE_CREATE, &s, err);
    if (rc != UF_OK)
        goto done;
    rc = uf_calibration_from_json(&s.config.rig, json, &cal, &inner);
    if (rc == UF_OK)
        rc = uf_calibration_plausible(&s.config.rig, &cal, &inner);
    if (rc != UF_OK) {
        uf_fail(err, rc, "%s: %.400s", path, inner.text);
        goto done;
    }
    const json_t *provenance = json_object_get(json, "provenance");
    rc = uf_store_calibration_add(s.store, s.rig_id, &s.config.rig, &cal, provenance,
                                  made_utc_us(provenance), &id, err);
    bool activate = args->option[UF_OPT_ACTIVATE] != NULL;
    if (rc == UF_OK && activate)
        rc = uf_store_calibration_activate(s.store, id, err);
    if (rc == UF_OK)
        fprintf(out, "Stored calibration %lld, \"%s\", of the rig \"%s\"%s.\n", (long long)id,
                cal.name, s.config.rig.name,
                activate ? ", and put it in force" : "; it is not in force yet");
    if (rc == UF_OK && activate)
        uf_calib_tell_daemon(&s.config, s.store, id, out);
done:
    json_decref(json);
    close_session(&s);
    return rc;
}

/* ---- which one ---- */

/* By number or uuid; NULL: the one in force. Of the rig in force only: a calibration of another
 * description cannot be read with this one. */
static int find(const struct session *s, const char *which, struct uf_calibration_info *out,
                struct uf_error *err)
{
    struct uf_calibration_info *list;
    size_t n;
    char *end = NULL;
    errno = 0;
    long long id = which ? strtoll(which, &end, 10) : 0;
    bool is_id = which && end != which && *end == '\0' && errno == 0;
    int rc = uf_store_calibration_list(s->store, s->rig_id, &list, &n, err);
    if (rc != UF_OK)
        return rc;
    size_t i = 0;
    while (i < n &&
           !(which ? (is_id ? list[i].id == id : !strcmp(list[i].uuid, which)) : list[i].active))
        i++;
    if (i < n)
        *out = list[i];
    else if (which)
        rc = uf_fail(err, UF_ENOTFOUND,
                     "the rig \"%s\" has no calibration %.60s in %s; underfoot-calib list shows "
                     "them",
                     s->config.rig.name, which, s->config.daemon.database);
    else
        rc = uf_fail(err, UF_ENOTFOUND,
                     "the rig \"%s\" has no calibration in force in %s; underfoot-calib list shows "
                     "what is stored",
                     s->config.rig.name, s->config.daemon.database);
    free(list);
    return rc;
}

#define TAKEN_MS 3000
#define POLL_MS  50

/* The uuid that a daemon measures with; false: it does not answer. */
static bool in_force(const char *control, char uuid[37], struct uf_error *err)
{
    json_t *status = NULL;
    if (uf_ask(control, "status", &status, err) != UF_OK)
        return false;
    const char *text =
        json_string_value(json_object_get(json_object_get(status, "calibration"), "uuid"));
    snprintf(uuid, 37, "%s", text ? text : "");
    json_decref(status);
    return true;
}

void uf_calib_tell_daemon(const struct uf_config *config, struct uf_store *s, int64_t id, FILE *out)
{
    const char *control = config->daemon.control;
    const struct timespec poll = {0, POLL_MS * 1000000L};
    struct uf_error err = {0, ""};
    struct uf_calibration cal;
    json_t *answer = NULL;
    char uuid[37] = "";
    int rc = uf_store_calibration_get(s, id, &config->rig, &cal, &err);
    if (rc == UF_OK)
        rc = uf_ask(control, "calibration", &answer, &err);
    bool asked = rc == UF_OK && json_is_true(json_object_get(answer, "ok"));
    json_decref(answer);
    if (rc == UF_ENOTFOUND) {
        fprintf(out, "No underfootd answers at %s: it is taken at the next start.\n", control);
        return;
    }
    bool taken = false;
    for (int waited_ms = 0; asked && !taken && waited_ms < TAKEN_MS; waited_ms += POLL_MS) {
        nanosleep(&poll, NULL);
        asked = in_force(control, uuid, &err);
        taken = asked && !strcmp(uuid, cal.uuid);
    }
    if (taken)
        fprintf(out, "The underfootd at %s measures with it from now on.\n", control);
    else
        fprintf(out,
                "The underfootd at %s has not taken it%s%s. Where it stores into %s, SIGHUP has it "
                "read the calibration again; underfoot status says which is in force.\n",
                control, err.text[0] ? ": " : "", err.text, config->daemon.database);
}

int uf_calib_activate(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    struct session s;
    struct uf_calibration_info info;
    int rc = open_session(args, UF_STORE_WRITE, &s, err);
    if (rc == UF_OK)
        rc = find(&s, args->operand[0], &info, err);
    if (rc == UF_OK)
        rc = uf_store_calibration_activate(s.store, info.id, err);
    if (rc == UF_OK) {
        fprintf(out, "Calibration %lld, \"%s\", is in force for new swings.\n", (long long)info.id,
                info.name);
        uf_calib_tell_daemon(&s.config, s.store, info.id, out);
        fputs("For swings that are stored: underfoot rederive\n", out);
    }
    close_session(&s);
    return rc;
}

int uf_calib_list(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    struct session s;
    struct uf_calibration_info *list = NULL;
    size_t n = 0;
    int rc = open_session(args, UF_STORE_WRITE, &s, err);
    if (rc == UF_OK)
        rc = uf_store_calibration_list(s.store, s.rig_id, &list, &n, err);
    if (rc == UF_OK && n == 0)
        fprintf(out, "The rig \"%s\" has no calibration in %s: the data-sheet scales are used.\n",
                s.config.rig.name, s.config.daemon.database);
    if (rc == UF_OK && n > 0)
        fprintf(out, "%6s  %-20s  %-8s  %8s  %-36s  %s\n", "number", "made", "in force", "analyses",
                "uuid", "name");
    for (size_t i = 0; rc == UF_OK && i < n; i++) {
        char made[32];
        print_time(list[i].made_utc_us, made);
        fprintf(out, "%6lld  %-20s  %-8s  %8lld  %-36s  %s\n", (long long)list[i].id, made,
                list[i].active ? "yes" : "", (long long)list[i].derivations, list[i].uuid,
                list[i].name);
    }
    free(list);
    close_session(&s);
    return rc;
}

/* ---- show ---- */

static void print_plate(const struct uf_plate *plate, const struct uf_plate_matrix *m, FILE *out)
{
    fprintf(out, "\n%s plate (N, N m a count above zero)\n  channel", uf_place_name(plate->place));
    for (int r = 0; r < UF_COMPONENTS; r++)
        fprintf(out, "  %12s", component[r]);
    fputc('\n', out);
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++) {
            int ch = plate->cell[i].channel[k];
            if (ch < 0)
                continue;
            fprintf(out, "  %4d %s%c", ch, plate->cell[i].name, 'x' + k);
            for (int r = 0; r < UF_COMPONENTS; r++)
                if (m->known[r])
                    fprintf(out, "  %12.5g", m->c[r][ch]);
                else
                    fprintf(out, "  %12s", "not known");
            fputc('\n', out);
        }
}

static int write_json(const char *path, const struct uf_rig *rig, const struct uf_calibration *cal,
                      json_t *provenance, struct uf_error *err)
{
    json_t *json = uf_calibration_to_json(rig, cal);
    int rc = UF_OK;
    if (!json || (!json_is_null(provenance) && json_object_set(json, "provenance", provenance)))
        rc = uf_fail(err, UF_ENOMEM, "no memory to write the calibration");
    else if (json_dump_file(json, path, JSON_INDENT(1) | JSON_REAL_PRECISION(17)) != 0)
        rc = uf_fail(err, UF_EIO, "cannot write %s: %s", path, strerror(errno));
    json_decref(json);
    return rc;
}

int uf_calib_show(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    struct session s;
    struct uf_calibration_info info;
    struct uf_calibration cal;
    json_t *provenance = NULL;
    int rc = open_session(args, UF_STORE_WRITE, &s, err);
    if (rc == UF_OK)
        rc = find(&s, args->operands ? args->operand[0] : NULL, &info, err);
    if (rc == UF_OK)
        rc = uf_store_calibration_get(s.store, info.id, &s.config.rig, &cal, err);
    if (rc == UF_OK)
        rc = uf_store_calibration_provenance(s.store, info.id, &provenance, err);
    if (rc == UF_OK) {
        char made[32];
        print_time(info.made_utc_us, made);
        fprintf(out, "Calibration %lld, \"%s\"%s\nuuid %s, made %s, %lld analyses rest on it\n",
                (long long)info.id, info.name, info.active ? ", in force" : "", info.uuid, made,
                (long long)info.derivations);
        for (int p = 0; p < cal.plates; p++)
            print_plate(&s.config.rig.plate[p], &cal.plate[p], out);
        if (args->option[UF_OPT_OUT])
            rc = write_json(args->option[UF_OPT_OUT], &s.config.rig, &cal, provenance, err);
    }
    json_decref(provenance);
    close_session(&s);
    return rc;
}

/* ---- diff ---- */

static void print_value(FILE *out, const char *what, double value, const char *unit)
{
    if (isnan(value))
        fprintf(out, "  %-44s not known\n", what);
    else
        fprintf(out, "  %-44s %.3g %s\n", what, value, unit);
}

/* 0 is the data sheet. */
static int get(const struct session *s, const char *which, struct uf_calibration *cal,
               struct uf_error *err)
{
    struct uf_calibration_info info = {.id = 0};
    int rc = strcmp(which, "0") ? find(s, which, &info, err) : UF_OK;
    return rc == UF_OK ? uf_store_calibration_get(s->store, info.id, &s->config.rig, cal, err) : rc;
}

int uf_calib_diff(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    struct session s;
    struct uf_calibration a, b;
    int rc = open_session(args, UF_STORE_WRITE, &s, err);
    if (rc == UF_OK)
        rc = get(&s, args->operand[0], &a, err);
    if (rc == UF_OK)
        rc = get(&s, args->operand[1], &b, err);
    for (int p = 0; rc == UF_OK && p < s.config.rig.plates; p++) {
        const struct uf_plate *plate = &s.config.rig.plate[p];
        struct uf_compare c;
        rc = uf_compare_plates(plate, &a.plate[p], &b.plate[p], &c, err);
        if (rc != UF_OK)
            break;
        fprintf(out, "%s plate, greatest differences of %s against %s:\n",
                uf_place_name(plate->place), args->operand[1], args->operand[0]);
        print_value(out, "vertical force", c.vertical_pct, "%");
        print_value(out, "centre of pressure at 400 N", c.place_mm, "mm");
        print_value(out, "horizontal force of 100 N", c.horizontal_pct, "%");
        print_value(out, "horizontal force out of a vertical one", c.crosstalk_pct, "% of it");
        print_value(out, "moment about the vertical (100 N, 20 N m)", c.turn_nm, "N m");
    }
    close_session(&s);
    return rc;
}

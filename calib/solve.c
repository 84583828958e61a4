/* SPDX-License-Identifier: MIT
 * The command solve: a session file to a calibration, shown, written, stored. */
#include "base/clock.h"
#include "calib/command.h"
#include "calib/session.h"
#include "store/calibrations.h"

#include <string.h>

/* Where matrices of plates come from that the session has no loads for: the calibration in force
 * where there is one, else the data sheet, without provenance. */
static int base_of(const struct uf_config *config, struct uf_store *store, int64_t rig_id,
                   struct uf_calibration *base, json_t **provenance, struct uf_error *err)
{
    struct uf_error why = {0, ""};
    int64_t id = 0;
    uf_calibration_nominal(&config->rig, base);
    if (!store)
        return UF_OK;
    int rc = uf_store_calibration_active(store, rig_id, &config->rig, base, &id, &why);
    if (rc == UF_ENOTFOUND) {
        uf_calibration_nominal(&config->rig, base);
        return UF_OK;
    }
    if (rc == UF_OK)
        rc = uf_store_calibration_provenance(store, id, provenance, &why);
    return rc == UF_OK ? rc : uf_fail(err, rc, "%s", why.text);
}

static int write_out(const struct uf_calibration *cal, const struct uf_rig *rig, json_t *provenance,
                     const char *path, struct uf_error *err)
{
    json_t *json = uf_calibration_to_json(rig, cal);
    if (json && !cal->uuid[0])
        json_object_del(json, "uuid");
    int rc = json && json_object_set(json, "provenance", provenance) == 0
                 ? uf_document_write(json, path, err)
                 : uf_fail(err, UF_ENOMEM, "no memory to write the calibration");
    json_decref(json);
    return rc;
}

static int store(struct uf_store *s, int64_t rig_id, const struct uf_config *config,
                 const struct uf_calibration *cal, const json_t *provenance, int64_t made_utc_us,
                 bool activate, FILE *out, struct uf_error *err)
{
    int64_t id;
    int rc =
        uf_store_calibration_add(s, rig_id, &config->rig, cal, provenance, made_utc_us, &id, err);
    if (rc == UF_OK && activate)
        rc = uf_store_calibration_activate(s, id, err);
    if (rc == UF_OK)
        fprintf(out, "Stored as calibration %lld%s.\n", (long long)id,
                activate ? " and put in force" : "; underfoot-calib activate puts it in force");
    if (rc == UF_OK && activate)
        uf_calib_tell_daemon(config, s, id, out);
    return rc;
}

static int wrong(const struct uf_session *session, const char *path, struct uf_error *err)
{
    int n = 0;
    for (int p = 0; p < UF_PLATES_MAX; p++)
        for (int i = 0; i < session->plate[p].findings.n; i++)
            n += session->plate[p].findings.finding[i].grave;
    return uf_fail(err, UF_EINVAL,
                   "%s: %d thing%s wrong, named above; nothing was stored or written. Mend %s and "
                   "solve again, or say --anyway",
                   path, n, n == 1 ? " is" : "s are", n == 1 ? "it" : "them");
}

int uf_calib_solve(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    const char *path = args->operand[0];
    bool add = args->option[UF_OPT_ADD] != NULL, activate = args->option[UF_OPT_ACTIVATE] != NULL;
    struct uf_config config;
    struct uf_document document;
    struct uf_session session;
    struct uf_calibration base, cal;
    struct uf_store *db = NULL;
    int64_t rig_id = 0;
    json_t *provenance = NULL, *base_provenance = NULL;
    memset(&document, 0, sizeof document);
    memset(&session, 0, sizeof session);
    if (activate && !add)
        return uf_fail(err, UF_EINVAL,
                       "--activate needs --add: only what is stored can be in force");
    int rc = uf_calib_config(args, &config, err);
    if (rc == UF_OK)
        rc = uf_document_read(&document, path, &config.rig, err);
    if (rc == UF_OK)
        rc = uf_session_solve(&session, &config.rig, &document, err);
    if (rc != UF_OK)
        goto done;
    uf_session_print(&session, out);
    if (args->option[UF_OPT_REPORT])
        rc = uf_session_report(&session, args->option[UF_OPT_REPORT], err);
    if (rc == UF_OK && uf_session_grave(&session) && !args->option[UF_OPT_ANYWAY])
        rc = wrong(&session, path, err);
    if (rc == UF_OK && add)
        rc = uf_store_open(&db, config.daemon.database, UF_STORE_CREATE, err);
    if (rc == UF_OK && add)
        rc = uf_store_rig(db, &config.rig, &rig_id, err);
    if (rc == UF_OK)
        rc = base_of(&config, db, rig_id, &base, &base_provenance, err);
    if (rc != UF_OK)
        goto done;
    int64_t made = document.made_utc_us ? document.made_utc_us : uf_clock_utc_us();
    uf_session_calibration(&session, &base, &cal);
    for (int p = 0; p < config.rig.plates; p++)
        if (!session.plate[p].solved)
            fprintf(out, "The %s plate's matrix is that of \"%s\".\n",
                    uf_place_name(config.rig.plate[p].place), base.name);
    provenance = uf_session_provenance(&session, base.name, base_provenance, made);
    if (!provenance)
        rc = uf_fail(err, UF_ENOMEM, "no memory to write where the calibration is from");
    if (rc == UF_OK && args->option[UF_OPT_OUT])
        rc = write_out(&cal, &config.rig, provenance, args->option[UF_OPT_OUT], err);
    if (rc == UF_OK && add)
        rc = store(db, rig_id, &config, &cal, provenance, made, activate, out, err);
done:
    json_decref(provenance);
    json_decref(base_provenance);
    uf_store_close(db);
    uf_session_free(&session);
    uf_document_free(&document);
    return rc;
}

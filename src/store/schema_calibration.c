/* SPDX-License-Identifier: MIT
 * The table of a calibration's loads: its DDL (migration 4), and how it is filled from the document
 * that says where the calibration came from, when it is stored and, for older files, by the
 * migration. What a document lacks or writes otherwise is NULL; no document is refused for it. */
#include "store/schema.h"

#define DOING "list the loads of a calibration"

const char uf_schema_sql_4_calibration[] =
    "CREATE TABLE calibration_load (\n"
    "  -- The known loads that a calibration was made from, and how well it explains each. "
    "Follows\n"
    "  -- from calibration.provenance_json.\n"
    "  calibration_id INTEGER NOT NULL REFERENCES calibration (id) ON DELETE CASCADE,\n"
    "  load INTEGER NOT NULL,            -- its number in the session file, from 1\n"
    "  plate TEXT NOT NULL CHECK (plate IN ('left', 'right', 'single')),\n"
    "  kind TEXT,                        -- vertical, pull, tilt\n"
    "  series TEXT,                      -- once, up, down, repeat\n"
    "  weights_json TEXT,                -- names of the pieces\n"
    "  mass_kg REAL, tolerance_kg REAL,  -- of all pieces together; tolerances are half-widths\n"
    "  x_mm REAL, y_mm REAL,             -- from the centre of the plate's top\n"
    "  place_tolerance_mm REAL,\n"
    "  captured_utc_us INTEGER,\n"
    "  accepted INTEGER NOT NULL CHECK (accepted IN (0, 1)), -- 1: the matrix rests on it\n"
    "  why TEXT,                         -- it does not\n"
    "  zero_raw_json TEXT,               -- mean counts of each channel: of the empty plate "
    "before,\n"
    "  loaded_raw_json TEXT,             -- under the load,\n"
    "  zero_after_raw_json TEXT,         -- of the empty plate after it\n"
    "  noise_raw_json TEXT,              -- standard deviation of the samples under load\n"
    "  samples INTEGER,                  -- how many\n"
    "  known_fx_n REAL, known_fy_n REAL, known_fz_n REAL, -- what it was, about the sensor origin\n"
    "  known_mx_nm REAL, known_my_nm REAL, known_mz_nm REAL,\n"
    "  residual_fx_n REAL, residual_fy_n REAL, residual_fz_n REAL, -- fitted - known\n"
    "  residual_mx_nm REAL, residual_my_nm REAL, residual_mz_nm REAL,\n"
    "  left_out_fx_n REAL, left_out_fy_n REAL, left_out_fz_n REAL, -- the same, by the fit "
    "without\n"
    "  left_out_mx_nm REAL, left_out_my_nm REAL, left_out_mz_nm REAL, -- the loads at its place\n"
    "  studentised REAL,                 -- residual against what is expected, about 1; above 3 "
    "it\n"
    "                                    -- does not belong to the others\n"
    "  PRIMARY KEY (calibration_id, load)\n"
    ") STRICT, WITHOUT ROWID;\n";

/* A value of the right type at a path, else NULL. l: the load in the session; f: of the fit. */
#define TYPED(of, path, types)                                                                     \
    "CASE WHEN json_type(" of ", '" path "') IN (" types ") THEN json_extract(" of ", '" path      \
    "') END"
#define REAL_AT(of, path) TYPED(of, path, "'real', 'integer'")
#define WHOLE_AT(path)    TYPED("l.value", path, "'integer'")
#define TEXT_AT(path)     TYPED("l.value", path, "'text'")
#define LIST_AT(path)     TYPED("l.value", path, "'array'")
#define SIX(key)                                                                                   \
    REAL_AT("f.value", "$." key "[0]")                                                             \
    "," REAL_AT("f.value", "$." key "[1]") "," REAL_AT("f.value", "$." key "[2]") "," REAL_AT(     \
        "f.value", "$." key "[3]") "," REAL_AT("f.value", "$." key "[4]") "," REAL_AT("f.value",   \
                                                                                      "$." key     \
                                                                                      "[5]")
/* Sum over the pieces, NULL where one of them does not say. */
#define OF_PIECES(key)                                                                             \
    "(SELECT CASE WHEN count(" REAL_AT(                                                            \
        "w.value", "$." key) ") ="                                                                 \
                             "   json_array_length(l.value, '$.weights') THEN "                    \
                             "sum(json_extract(w.value, '$." key "')) END"                         \
                             " FROM json_each(l.value, '$.weights') n"                             \
                             " JOIN json_each(l.how, '$.weights') w"                               \
                             "  ON w.type = 'object' AND json_extract(CASE w.type WHEN 'object' "  \
                             "THEN w.value ELSE '{}' END,"                                         \
                             "   '$.name') = n.value)"

static const char
    fill[] =
        "WITH source AS (SELECT id, provenance_json AS provenance,"
        "  CASE json_type(provenance_json, '$.session') WHEN 'object'"
        "   THEN json_extract(provenance_json, '$.session') ELSE '{}' END AS how"
        "  FROM calibration WHERE (?1 IS NULL OR id = ?1) AND json_valid(provenance_json)),"
        " fitted AS MATERIALIZED (SELECT source.id, json_extract(e.value, '$.load') AS load, "
        "e.value"
        "  FROM source, json_each(provenance, '$.plates') p,"
        "   json_each(CASE p.type WHEN 'object' THEN p.value ELSE '{}' END, '$.loads') e"
        "  WHERE e.type = 'object'),"
        " given AS MATERIALIZED (SELECT source.id, how, l.key + 1 AS load, l.value"
        "  FROM source, json_each(how, '$.loads') l WHERE l.type = 'object')"
        " INSERT OR IGNORE INTO calibration_load SELECT l.id, l.load,"
        " json_extract(l.value, '$.plate'), " TEXT_AT(
            "$.kind") ","
                      " coalesce(" TEXT_AT("$.series") ", 'once'), " LIST_AT("$.weights") "," OF_PIECES("kg") ","
                                                                                                              " coalesce(" REAL_AT("f.value", "$.tolerance_kg") "," OF_PIECES("tolera"
                                                                                                                                                                              "nce_"
                                                                                                                                                                              "kg") ")," REAL_AT("l.value", "$.x_mm") "," REAL_AT("l.value", "$.y_mm") ","
                                                                                                                                                                                                                                                       " coalesce(" REAL_AT("l.value", "$.tolerances.place_mm") "," REAL_AT("l.how", "$.tolerances.place_mm") ", 1)," WHOLE_AT("$.captured_utc_us") ","
                                                                                                                                                                                                                                                                                                                                                                                                    " f.load IS NOT NULL,"
                                                                                                                                                                                                                                                                                                                                                                                                    " CASE WHEN f.load IS NULL THEN "
                                                                                                                                                                                                                                                                                                                                                                                                    "coalesce(" TEXT_AT(
                                                                                                                                                                                                                                                                                                                                                                                                        "$.skip") ","
                                                                                                                                                                                                                                                                                                                                                                                                                  " "
                                                                                                                                                                                                                                                                                                                                                                                                                  "'"
                                                                                                                                                                                                                                                                                                                                                                                                                  "n"
                                                                                                                                                                                                                                                                                                                                                                                                                  "o"
                                                                                                                                                                                                                                                                                                                                                                                                                  "t"
                                                                                                                                                                                                                                                                                                                                                                                                                  " "
                                                                                                                                                                                                                                                                                                                                                                                                                  "c"
                                                                                                                                                                                                                                                                                                                                                                                                                  "a"
                                                                                                                                                                                                                                                                                                                                                                                                                  "p"
                                                                                                                                                                                                                                                                                                                                                                                                                  "t"
                                                                                                                                                                                                                                                                                                                                                                                                                  "u"
                                                                                                                                                                                                                                                                                                                                                                                                                  "r"
                                                                                                                                                                                                                                                                                                                                                                                                                  "e"
                                                                                                                                                                                                                                                                                                                                                                                                                  "d"
                                                                                                                                                                                                                                                                                                                                                                                                                  "'"
                                                                                                                                                                                                                                                                                                                                                                                                                  ")"
                                                                                                                                                                                                                                                                                                                                                                                                                  " "
                                                                                                                                                                                                                                                                                                                                                                                                                  "E"
                                                                                                                                                                                                                                                                                                                                                                                                                  "N"
                                                                                                                                                                                                                                                                                                                                                                                                                  "D"
                                                                                                                                                                                                                                                                                                                                                                                                                  "," LIST_AT("$.zero_raw") "," LIST_AT("$.loaded_raw") "," LIST_AT("$.zero_after_raw") "," LIST_AT("$.noise_raw") "," WHOLE_AT("$.samples") "," SIX("known") "," SIX("residual") "," SIX(
                                                                                                                                                                                                                                                                                                                                                                                                                      "left_out") "," REAL_AT("f.value",
                                                                                                                                                                                                                                                                                                                                                                                                                                              "$.studentised") " FROM given l LEFT JOIN fitted f USING (id, load)"
                                                                                                                                                                                                                                                                                                                                                                                                                                                               " WHERE json_extract(l.value, '$.plate') IN ('left', 'right', 'single')";

int uf_schema_calibration_loads(struct uf_store *s, int64_t id, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, fill, DOING, err);
    if (rc)
        return rc;
    if (id)
        sqlite3_bind_int64(q, 1, id);
    return uf_db_run(s, q, DOING, err);
}

/* SPDX-License-Identifier: MIT
 * Inside src/store: the tables, and how an older file gets them. The DDL is documentation: sqlite3
 * FILE .schema shows its comments. Metric columns, the tables `metric` and `reason` and the views
 * follow the metric table of src/swing at each writable opening. */
#ifndef UF_STORE_SCHEMA_H
#define UF_STORE_SCHEMA_H

#include "store/database.h"

/* user_version of an up-to-date file. */
int uf_schema_version(void);

/* Brings the file up to date, in one transaction. */
int uf_schema_migrate(struct uf_store *s, struct uf_error *err);

/* The SQL of migration 1 but for swing_metric (schema_sql.c), of 2 and of 3 (schema_lessons.c). */
extern const char uf_schema_sql_1[];
extern const char uf_schema_sql_2[];
extern const char uf_schema_sql_3[];
/* Of migration 4, by topic: loads of calibrations (schema_calibration.c), focus (schema_focus.c),
 * rocking and feet (schema_feet.c). */
extern const char uf_schema_sql_4_calibration[];
extern const char uf_schema_sql_4_focus[];
extern const char uf_schema_sql_4_feet[];

/* Fills the table of loads from a calibration's provenance; id 0: of all. Inside a transaction. */
int uf_schema_calibration_loads(struct uf_store *s, int64_t id, struct uf_error *err);

/* Makes the views anew where their text differs from this program's; inside a transaction. */
int uf_schema_views(struct uf_store *s, struct uf_error *err);

/* The views of lessons (views_lesson.c). */
void uf_view_session_change(sqlite3_str *sql);
void uf_view_player_history(sqlite3_str *sql);
void uf_view_plate_health(sqlite3_str *sql);

/* Metrics that the views show, and with how many digits; ended by a NULL name (views.c). */
struct uf_view_metric {
    const char *name;
    int digits;
};
extern const struct uf_view_metric uf_view_metrics[];

#endif

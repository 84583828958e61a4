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

/* The SQL of migration 1 but for swing_metric (schema_sql.c). */
extern const char uf_schema_sql_1[];
/* The same of migration 2. */
extern const char uf_schema_sql_2[];

/* Makes the views anew where their text differs from this program's; inside a transaction. */
int uf_schema_views(struct uf_store *s, struct uf_error *err);

#endif

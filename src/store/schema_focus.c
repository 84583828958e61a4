/* SPDX-License-Identifier: MIT
 * The DDL of migration 4 about the focus of a lesson: the fault that the teacher chose, and the
 * number that shows it. */
#include "store/schema.h"

const char uf_schema_sql_4_focus[] =
    "ALTER TABLE session ADD COLUMN fault /* what the lesson is about, in the teacher's words; "
    "NULL: not said */ TEXT;\n"
    "ALTER TABLE session ADD COLUMN focus_metric /* the one number that shows it, a name of table "
    "metric, chosen beforehand; NULL: none */ TEXT;\n";

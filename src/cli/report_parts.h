/* SPDX-License-Identifier: MIT
 * Inside the report: its parts in words (report_words.c), and numbers as text. Each part is a piece
 * of HTML. */
#ifndef UF_CLI_REPORT_PARTS_H
#define UF_CLI_REPORT_PARTS_H

#include "cli/report.h"

/* "−1.5 %": with a true minus; sign: "+" too; NAN: a dash. */
void uf_report_number(double v, const char *unit, bool sign, bool with_unit, FILE *out);

/* When, which swings, which plates and calibration, where impact comes from. */
void uf_report_measured(const struct uf_report *r, FILE *out);
/* What one number says where there is nothing to compare with. */
void uf_report_single(const struct uf_report *r, enum uf_metric m, FILE *out);
/* Club speed of another instrument, beside the chosen number. */
void uf_report_club_speed(const struct uf_report *r, FILE *out);
/* The other numbers, before against after. */
void uf_report_table(const struct uf_report *r, FILE *out);
/* What could not be measured, and why; flags of the swings. */
void uf_report_missing(const struct uf_report *r, FILE *out);

#endif

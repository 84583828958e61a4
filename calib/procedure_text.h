/* SPDX-License-Identifier: MIT
 * Inside calib: the words of the procedure. Pure. */
#ifndef UF_CALIB_PROCEDURE_TEXT_H
#define UF_CALIB_PROCEDURE_TEXT_H

#include "calib/procedure.h"

void uf_procedure_say(const struct uf_procedure_owner *owner, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Asks for load number (from 0), with the cautions of its kind the first time:
 * warned[UF_LOAD_KINDS].
 */
void uf_procedure_ask_load(const struct uf_rig *rig, const struct uf_document *d, int number,
                           bool *warned, const struct uf_procedure_owner *owner);

#endif

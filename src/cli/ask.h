/* SPDX-License-Identifier: MIT
 * Inside src/cli: one question to the daemon over its control socket. */
#ifndef UF_CLI_ASK_H
#define UF_CLI_ASK_H

#include "base/error.h"

#include <jansson.h>

/* Sends {"ask": question} and waits a few seconds for the line that answers. UF_ENOTFOUND: no
 * daemon listens there; UF_EBUSY: one does, and does not answer. *out is a new reference. */
int uf_ask(const char *socket_path, const char *question, json_t **out, struct uf_error *err);

#endif

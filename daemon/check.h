/* SPDX-License-Identifier: MIT
 * underfootd --check: would it run? Looks, changes nothing, and does not open the device (opening
 * resets some boards). */
#ifndef UF_DAEMON_CHECK_H
#define UF_DAEMON_CHECK_H

#include "config/config.h"

#include <stdio.h>

/* One line a thing. UF_OK when the daemon could start; a device that is not there is no error. */
int uf_check(const struct uf_config *c, FILE *out);

/* Settings that are fine one by one, and harmful together: the recording over the database or over
 * the recording that is played. */
int uf_check_paths(const struct uf_config *c, struct uf_error *err);

#endif

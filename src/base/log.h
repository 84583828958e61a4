/* SPDX-License-Identifier: MIT
 * The log of the programs: one line on standard error, with the priority prefix of sd-daemon(3)
 * when systemd's journal reads it. Log once per change of state; what happens often is a counter.
 * Not for pure stages. */
#ifndef UF_BASE_LOG_H
#define UF_BASE_LOG_H

enum uf_log_level { UF_LOG_ERROR = 3, UF_LOG_WARNING = 4, UF_LOG_NOTICE = 5, UF_LOG_INFO = 6 };

/* One line; a newline is added, control characters are replaced by '?'. Any thread. */
void uf_log(enum uf_log_level level, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif

/* SPDX-License-Identifier: MIT
 * Memory for libuv and libwebsockets while the daemon starts. What they do not get then they do not
 * survive: they abort, hang, or die in their own teardown (tests/fault/README.md). So want of
 * memory ends the daemon there, with a sentence and exit status 1, while nothing is measured yet.
 * Later they get NULL as everybody does, and give up what they were asked for. Loop thread. */
#ifndef UF_DAEMON_START_MEMORY_H
#define UF_DAEMON_START_MEMORY_H

/* Before the first call to either library. */
void uf_start_memory_begin(void);
/* Both have what they live by. */
void uf_start_memory_end(void);

#endif

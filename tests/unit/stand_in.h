/* SPDX-License-Identifier: MIT
 * For tests of src/cli: a process in the place of the daemon, on a socket. */
#ifndef UF_TESTS_STAND_IN_H
#define UF_TESTS_STAND_IN_H

#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

/* A process that answers one connection with that text, then ends. */
static pid_t stand_in(const char *path, const char *answer)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    strcpy(address.sun_path, path);
    unlink(path);
    int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(listen(fd, 1), 0);
    pid_t pid = fork();
    if (pid == 0) {
        char asked[200] = "";
        int client = accept(fd, NULL, NULL);
        size_t n = 0;
        while (!strchr(asked, '\n') && n < sizeof asked - 1) {
            ssize_t got = read(client, asked + n, sizeof asked - 1 - n);
            if (got <= 0)
                _exit(2);
            n += (size_t)got;
        }
        for (size_t i = 0; i < strlen(answer); i += 7) { /* in pieces */
            size_t part = strlen(answer) - i < 7 ? strlen(answer) - i : 7;
            if (write(client, answer + i, part) < 0)
                _exit(3);
        }
        _exit(strcmp(asked, "{\"ask\":\"status\"}\n") == 0 ? 0 : 1);
    }
    close(fd);
    return pid;
}

static void ended_well(pid_t pid)
{
    int status = -1;
    waitpid(pid, &status, 0);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), 0);
}

#endif

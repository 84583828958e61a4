/* SPDX-License-Identifier: MIT
 * Any texts as Host, Origin and token. Script: a byte of flags, then Host, Origin and token, ended
 * by newlines. A second judge, which compares with the list of all names that are ours, must agree;
 * no token but the true one gives a right. */
#include "fuzz.h"

#include "daemon/access.h"

#include <stdio.h>
#include <strings.h>

/* Is it four numbers of 0 to 255, without leading zeros? */
static int is_address(const char *name, size_t n)
{
    int parts = 0;
    for (size_t i = 0; i < n; i++) {
        int digits = 0, v = 0, zero = name[i] == '0';
        for (; i < n && name[i] >= '0' && name[i] <= '9'; i++, digits++)
            v = v > 1000 ? v : 10 * v + (name[i] - '0');
        if (digits < 1 || v > 255 || (zero && digits > 1) || (i < n && name[i] != '.') ||
            (i + 1 == n && name[i] == '.'))
            return 0;
        parts++;
    }
    return parts == 4;
}

static int judge(const struct uf_access *a, const char *host)
{
    char ours[3][100];
    const char *names[] = {"localhost", "127.0.0.1", a->name};
    snprintf(ours[0], sizeof ours[0], ":%d", a->port);
    size_t n = strlen(host), tail = strlen(ours[0]);
    if (n > tail && !strcmp(host + n - tail, ours[0]))
        n -= tail;
    else if (a->port != 80 || strchr(host, ':'))
        return 0;
    for (int i = 0; i < (a->loopback ? 2 : 3); i++)
        if (n > 0 && n == strlen(names[i]) && !strncasecmp(host, names[i], n))
            return 1;
    return !a->loopback && is_address(host, n);
}

static char *line(struct fuzz_script *s)
{
    size_t n = 0;
    while (n < s->left && s->p[n] != '\n' && s->p[n] != '\0')
        n++;
    char *text = fuzz_text(s->p, n);
    s->p += n + (n < s->left);
    s->left -= n + (n < s->left);
    return text;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct fuzz_script s = {data, size};
    struct uf_access a = {.port = 8420, .name = "bay.local"};
    uint8_t flags = fuzz_take(&s);
    a.loopback = flags & 1;
    a.port = flags & 2 ? 80 : 8420;
    memset(a.token[UF_RIGHT_READ], 'a', UF_TOKEN_DIGITS);
    memset(a.token[UF_RIGHT_WRITE], 'b', UF_TOKEN_DIGITS);
    char *host = line(&s), *origin = line(&s), *token = line(&s);
    bool ours = uf_access_host(&a, host);
    /* a port may be written with zeros in front: a browser never does */
    if (!strstr(host, ":0"))
        REQUIRE(ours == judge(&a, host));
    if (uf_access_origin(origin, host))
        REQUIRE(!strncasecmp(origin, "http://", 7) && !strcasecmp(origin + 7, host));
    enum uf_right right = uf_access_right(&a, token);
    REQUIRE(right == (a.loopback                                ? UF_RIGHT_WRITE
                      : !strcmp(token, a.token[UF_RIGHT_READ])  ? UF_RIGHT_READ
                      : !strcmp(token, a.token[UF_RIGHT_WRITE]) ? UF_RIGHT_WRITE
                                                                : UF_RIGHT_NONE));
    free(host);
    free(origin);
    free(token);
    return 0;
}

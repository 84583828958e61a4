/* SPDX-License-Identifier: MIT
 * Names, origins and tokens: see access.h. */
#include "daemon/access.h"

#include <arpa/inet.h>
#include <ctype.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- names ---- */

static bool is_address(const char *text)
{
    struct in_addr address;
    return inet_pton(AF_INET, text, &address) == 1;
}

bool uf_access_host(const struct uf_access *a, const char *host)
{
    char name[80];
    const char *colon = strrchr(host, ':');
    size_t n = colon ? (size_t)(colon - host) : strlen(host);
    long port = 80; /* a browser leaves it out then */
    if (n == 0 || n >= sizeof name)
        return false;
    if (colon) {
        char *end;
        if (!isdigit((unsigned char)colon[1]))
            return false;
        port = strtol(colon + 1, &end, 10);
        if (*end)
            return false;
    }
    if (port != a->port)
        return false;
    memcpy(name, host, n);
    name[n] = '\0';
    if (strcasecmp(name, "localhost") == 0 || strcmp(name, "127.0.0.1") == 0)
        return true;
    return !a->loopback && (is_address(name) || (*a->name && strcasecmp(name, a->name) == 0));
}

bool uf_access_origin(const char *origin, const char *host)
{
    static const char scheme[] = "http://";
    size_t n = sizeof scheme - 1;
    return strncasecmp(origin, scheme, n) == 0 && strcasecmp(origin + n, host) == 0;
}

/* ---- tokens ---- */

static bool same_token(const char *token, const char *ours)
{
    unsigned char differ = 0;
    if (strlen(token) != UF_TOKEN_DIGITS || strlen(ours) != UF_TOKEN_DIGITS)
        return false;
    for (size_t i = 0; i < UF_TOKEN_DIGITS; i++)
        differ |= (unsigned char)(token[i] ^ ours[i]);
    return !differ;
}

enum uf_right uf_access_right(const struct uf_access *a, const char *token)
{
    if (a->loopback)
        return UF_RIGHT_WRITE;
    if (!token)
        return UF_RIGHT_NONE;
    bool writes = same_token(token, a->token[UF_RIGHT_WRITE]),
         reads = same_token(token, a->token[UF_RIGHT_READ]);
    return writes ? UF_RIGHT_WRITE : reads ? UF_RIGHT_READ : UF_RIGHT_NONE;
}

void uf_access_token_path(const char *database, enum uf_right right, char *path, size_t size)
{
    const char *slash = strrchr(database, '/');
    int folder = slash ? (int)(slash - database) + 1 : 0;
    snprintf(path, size, "%.*spage-%s.token", folder, database,
             right == UF_RIGHT_WRITE ? "write" : "read");
}

static int make_token(int fd, const char *path, char *token, struct uf_error *err)
{
    unsigned char bits[UF_TOKEN_DIGITS / 2];
    if (getrandom(bits, sizeof bits, 0) != (ssize_t)sizeof bits)
        return uf_fail(err, UF_EIO, "cannot make a token: the system gives no random numbers");
    for (size_t i = 0; i < sizeof bits; i++)
        snprintf(token + 2 * i, 3, "%02x", bits[i]);
    char line[UF_TOKEN_DIGITS + 2];
    int n = snprintf(line, sizeof line, "%s\n", token);
    if (write(fd, line, (size_t)n) != n || fsync(fd) != 0) {
        unlink(path);
        return uf_fail(err, UF_EIO, "cannot write the page's token to %s: %s", path,
                       strerror(errno));
    }
    return UF_OK;
}

static int read_token(int fd, const char *path, char *token, struct uf_error *err)
{
    struct stat s;
    char line[UF_TOKEN_DIGITS + 2] = "";
    if (fstat(fd, &s) != 0 || !S_ISREG(s.st_mode) || s.st_uid != geteuid() || (s.st_mode & 077))
        return uf_fail(err, UF_EPERM,
                       "the page's token in %s must be a file of the user that runs underfootd, "
                       "with mode 0600: others may know it; delete it, and a new one is made",
                       path);
    ssize_t n = read(fd, line, sizeof line - 1);
    line[n > 0 ? n : 0] = '\0';
    line[strcspn(line, "\n")] = '\0';
    if (strlen(line) != UF_TOKEN_DIGITS || strspn(line, "0123456789abcdef") != UF_TOKEN_DIGITS)
        return uf_fail(err, UF_ECORRUPT,
                       "%s holds no token of %d hex digits; delete it, and a new one is made", path,
                       UF_TOKEN_DIGITS);
    memcpy(token, line, UF_TOKEN_DIGITS + 1);
    return UF_OK;
}

static int take_token(const char *path, char *token, bool *made, struct uf_error *err)
{
    int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
    *made = fd >= 0;
    if (fd < 0 && errno == EEXIST)
        fd = open(path, O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
    if (fd < 0)
        return uf_fail(err, errno == EACCES ? UF_EPERM : UF_EIO,
                       "cannot open the page's token %s: %s", path, strerror(errno));
    int rc = *made ? make_token(fd, path, token, err) : read_token(fd, path, token, err);
    close(fd);
    return rc;
}

int uf_access_open(struct uf_access *a, const struct uf_page_settings *settings,
                   const char *database, bool made[UF_RIGHT_WRITE + 1], struct uf_error *err)
{
    memset(a, 0, sizeof *a);
    memset(made, 0, sizeof *made * (UF_RIGHT_WRITE + 1));
    if (!is_address(settings->listen))
        return uf_fail(err, UF_EINVAL,
                       "page.listen: \"%s\" is not an IPv4 address; give 127.0.0.1 (this machine "
                       "only), 0.0.0.0 (every network of it) or the address of one network card",
                       settings->listen);
    a->loopback = strncmp(settings->listen, "127.", 4) == 0;
    a->port = settings->port;
    snprintf(a->name, sizeof a->name, "%s", settings->name);
    for (int right = UF_RIGHT_READ; !a->loopback && right <= UF_RIGHT_WRITE; right++) {
        char path[UF_PATH_MAX + 32];
        uf_access_token_path(database, (enum uf_right)right, path, sizeof path);
        int rc = take_token(path, a->token[right], &made[right], err);
        if (rc)
            return rc;
    }
    return UF_OK;
}

/* SPDX-License-Identifier: MIT
 * A serial port, opened and set by libserialport. It refuses symlinks (udev names), so the path is
 * resolved first; it takes no lock and sets HUPCL, so lock and HUPCL are ours, on the descriptor
 * that sp_get_port_handle gives (the port owns it: sp_close closes it). Loop thread. */
#include "daemon/link_fd.h"

#include <errno.h>
#include <libserialport.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>

struct serial {
    struct uf_link_fd f; /* first: the callbacks get its address */
    struct sp_port *port;
};

static int not_opened(enum sp_return rc, const char *path, struct uf_error *err)
{
    if (rc == SP_ERR_MEM)
        return uf_fail(err, UF_ENOMEM, "no memory to open %s", path);
    if (rc == SP_ERR_ARG || rc == SP_ERR_SUPP)
        return uf_fail(err, UF_EINVAL,
                       "%s is not a serial port of this machine: set link.device, or for a pty or "
                       "a FIFO link.type = raw",
                       path);
    return uf_tty_open_failed(path, sp_last_error_code(), err);
}

static void let_go(struct uf_link_fd *f)
{
    struct serial *s = (struct serial *)f;
    sp_close(s->port);
    sp_free_port(s->port);
}

static void release(struct uf_link_fd *f)
{
    free(f);
}

static int set_up(struct sp_port *port, const char *path, int baud, int *fd, struct uf_error *err)
{
    enum sp_return rc = sp_get_port_handle(port, fd);
    if (rc != SP_OK)
        return not_opened(rc, path, err);
    int locked = uf_tty_lock(*fd, path, true, err); /* before anything of it is changed */
    if (locked)
        return locked;
    rc = sp_set_baudrate(port, baud);
    if (rc == SP_OK)
        rc = sp_set_bits(port, 8);
    if (rc == SP_OK)
        rc = sp_set_parity(port, SP_PARITY_NONE);
    if (rc == SP_OK)
        rc = sp_set_stopbits(port, 1);
    if (rc == SP_OK)
        rc = sp_set_flowcontrol(port, SP_FLOWCONTROL_NONE);
    if (rc != SP_OK)
        return uf_fail(err, UF_EINVAL, "%s does not do %d baud, 8N1: set link.baud", path, baud);
    int raw = uf_tty_raw(*fd, path, err);
    if (!raw)
        uf_tty_low_latency(*fd);
    return raw;
}

static int open_serial(struct uf_link *l, struct uf_error *err)
{
    const char *path = uf_link_path(l);
    char *real = realpath(path, NULL);
    if (!real)
        return uf_tty_open_failed(path, errno, err);
    struct serial *s = calloc(1, sizeof *s);
    enum sp_return rc = s ? sp_get_port_by_name(real, &s->port) : SP_ERR_MEM;
    free(real);
    if (rc != SP_OK) {
        free(s);
        return not_opened(rc, path, err);
    }
    rc = sp_open(s->port, SP_MODE_READ);
    if (rc != SP_OK) {
        int failed = not_opened(rc, path, err);
        sp_free_port(s->port);
        free(s);
        return failed;
    }
    s->f = (struct uf_link_fd){.l = l, .path = path, .let_go = let_go, .release = release};
    int failed = set_up(s->port, path, uf_link_settings(l)->baud, &s->f.fd, err);
    if (!failed)
        failed = uf_link_fd_watch(&s->f, err);
    if (failed) {
        let_go(&s->f);
        free(s);
        return failed;
    }
    uf_link_set_state(l, s);
    uf_link_report_open(l);
    return UF_OK;
}

static void close_serial(struct uf_link *l)
{
    struct serial *s = uf_link_state(l);
    uf_link_fd_close(&s->f);
}

const struct uf_link_driver uf_link_serial = {
    .name = "serial", .open = open_serial, .close = close_serial};

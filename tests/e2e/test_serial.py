#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The serial link through the real libserialport, with a pty in the place of a port
(pty_as_serial.c): symlinked name, speed, locks, HUPCL, unplugging."""
import fcntl
import os
import struct
import subprocess
import termios

from e2e import check, one, run, swings_of

TIOCGEXCL = 0x80045440


def shim(place):
    path = place.path("pty_as_serial.so")
    source = os.path.join(os.path.dirname(os.path.abspath(__file__)), "pty_as_serial.c")
    subprocess.run(["cc", "-O1", "-shared", "-fPIC", "-o", path, source, "-ldl"], check=True)
    return path


def serial(place, board, *settings):
    env = {"LD_PRELOAD": shim(place), "PTY_AS_SERIAL": os.path.realpath(board.path),
           # the shim stands before the sanitizer's own library
           "ASAN_OPTIONS": "verify_asan_link_order=0:" + os.environ.get("ASAN_OPTIONS", "")}
    return place.daemon(["link.type=serial", *settings], env=env)


def exclusive(fd):
    return struct.unpack("i", fcntl.ioctl(fd, TIOCGEXCL, struct.pack("i", 0)))[0]


def test_lesson(place):
    data, truth = place.recording()
    board = place.board()
    daemon = serial(place, board, "link.baud=460800")
    daemon.wait_status(lambda s: "is open" in s["state_text"], "the port")
    iflag, oflag, cflag, lflag, ispeed, ospeed, cc = termios.tcgetattr(board.slave)
    check(ispeed == termios.B460800 and ospeed == termios.B460800, "speed", ispeed)
    check(cflag & termios.HUPCL == 0, "HUPCL is set: boards reboot at the daemon's end")
    check(cflag & termios.CSIZE == termios.CS8 and cflag & termios.PARENB == 0, "8N1")
    check(lflag & (termios.ICANON | termios.ECHO | termios.ISIG) == 0, "raw")
    check(iflag & (termios.ICRNL | termios.IXON | termios.ISTRIP) == 0, "raw")
    check(exclusive(board.slave) == 1, "TIOCEXCL")
    other = os.open(f"/proc/self/fd/{board.slave}", os.O_RDONLY | os.O_NOCTTY) \
        if os.geteuid() == 0 else -1
    if other >= 0:
        try:
            fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
            check(False, "no flock is held")
        except BlockingIOError:
            pass
        os.close(other)
    board.send(data)
    board.unplug()
    daemon.wait_log("stale: .* hung up")
    daemon.wait_log("waiting: there is no board at")
    log = daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == len(swings_of(truth)), log)


def test_held(place):
    board = place.board()
    fd = os.open(board.path, os.O_RDWR | os.O_NOCTTY)
    fcntl.flock(fd, fcntl.LOCK_EX)
    before = termios.tcgetattr(board.slave)[2] & termios.CSIZE
    daemon = serial(place, board)
    daemon.wait_log("in use by another program")
    check(termios.tcgetattr(board.slave)[2] & termios.CSIZE == before, "settings were changed")
    os.close(fd)
    daemon.wait_status(lambda s: "is open" in s["state_text"], "the port", 20)
    daemon.stop()


def test_not_a_port(place):
    place.board()
    daemon = place.daemon(["link.type=serial"])
    daemon.wait_log("is not a serial port of this machine: .*link.type = raw")
    daemon.stop()


run(test_lesson, test_held, test_not_a_port)

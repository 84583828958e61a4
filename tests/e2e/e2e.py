# SPDX-License-Identifier: MIT
"""For the end-to-end tests: a folder of their own, the daemon, the simulated board, a board made of
a recording and a pty, the database. Everything that is started is ended, however a test ends."""
import contextlib
import fcntl
import json
import os
import pty
import random
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import termios
import time
import tty

PATIENCE_S = 60  # sanitizers are slow, and the machine may be busy


class Failed(Exception):
    pass


def check(condition, *what):
    if not condition:
        raise Failed(" ".join(str(w) for w in what))


def wait_until(condition, what, timeout_s=PATIENCE_S):
    end = time.monotonic() + timeout_s
    while time.monotonic() < end:
        value = condition()
        if value:
            return value
        time.sleep(0.02)
    raise Failed(f"not within {timeout_s} s: {what}")


class Daemon:
    def __init__(self, place, settings=(), args=(), env=None, database=None):
        self.place = place
        self.database = database or place.path("underfoot.db")
        self.control = place.path("control")
        self.log_path = place.path(f"log.{len(place.children)}")
        command = [place.program("daemon/underfootd"), "--config", place.empty_config()]
        for setting in (f"daemon.database={self.database}", f"daemon.control={self.control}",
                        "page.port=0", "link.type=raw", f"link.device={place.path('board')}", *settings):
            command += ["--set", setting]
        with open(self.log_path, "w") as log:
            self.process = subprocess.Popen(command + list(args), stdin=subprocess.DEVNULL,
                                            stdout=log, stderr=log,
                                            env={**os.environ, **(env or {})})
        place.children.append(self.process)

    def log(self):
        with open(self.log_path) as f:
            return f.read()

    def wait_log(self, pattern, timeout_s=PATIENCE_S, times=1):
        def found():
            if len(re.findall(pattern, self.log())) >= times:
                return True
            check(self.process.poll() is None, f"the daemon ended before it said {pattern!r}:\n",
                  self.log())
            return False
        try:
            wait_until(found, pattern, timeout_s)
        except Failed as e:
            raise Failed(f"{e}; its log:\n{self.log()}")

    def connect(self):
        def connected():
            check(self.process.poll() is None, "the daemon ended:\n", self.log())
            s = socket.socket(socket.AF_UNIX)
            try:
                s.connect(self.control)
                s.settimeout(PATIENCE_S)
                return s
            except OSError:
                s.close()
                return None
        return wait_until(connected, "the control socket answers")

    def ask(self, question=None, **more):
        with self.connect() as s:
            s.sendall(json.dumps(question or {"ask": "status", **more}).encode() + b"\n")
            with s.makefile() as f:
                return json.loads(f.readline())

    def wait_status(self, condition, what, timeout_s=PATIENCE_S):
        last = {}

        def held():
            last.update(self.ask())
            return condition(last) and last
        try:
            return wait_until(held, what, timeout_s)
        except Failed as e:
            raise Failed(f"{e}; the last status was {last};\n{self.log()}")

    def cpu_s(self):
        with open(f"/proc/{self.process.pid}/stat") as f:
            fields = f.read().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def is_calm(self):
        """Uses less than half a processor for a second. A busy machine or a sanitizer may make work
        that is due last for some seconds; what spins never calms down."""
        before_s = self.cpu_s()
        time.sleep(1)
        return self.cpu_s() - before_s < 0.5

    def signal(self, number):
        self.process.send_signal(number)

    def wait_end(self, code=0, timeout_s=PATIENCE_S):
        try:
            got = self.process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            raise Failed(f"the daemon does not end; its log:\n{self.log()}")
        check(got == code, f"the daemon ended with {got}, not {code}:\n", self.log())
        return self.log()

    def stop(self, code=0):
        self.signal(signal.SIGTERM)
        return self.wait_end(code)


class Board:
    """A pty with a symlink at the device's path, into which a test writes what it likes."""

    def __init__(self, path):
        self.path = path
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        with contextlib.suppress(FileNotFoundError):
            os.unlink(path)
        os.symlink(os.ttyname(self.slave), path)

    def send(self, data, timeout_s=PATIENCE_S, gone=lambda: False):
        """All of it, as fast as the daemon takes it; returns when it has been taken, or when nobody
        is there any more to take it."""
        end = time.monotonic() + timeout_s
        at = 0
        while at < len(data) and not gone():
            try:
                at += os.write(self.master, data[at:at + 4096])
            except BlockingIOError:
                check(time.monotonic() < end, "the daemon does not read")
                time.sleep(0.001)
        quiet = 0
        while quiet < 20 and not gone(): # the kernel moves bytes from one buffer to the next: look more than once
            check(time.monotonic() < end, "the daemon does not read")
            quiet = 0 if self.unread() else quiet + 1
            time.sleep(0.005)

    def unread(self):
        return int.from_bytes(fcntl.ioctl(self.slave, termios.FIONREAD, b"\0\0\0\0"), sys.byteorder)

    def unplug(self):
        with contextlib.suppress(FileNotFoundError):
            os.unlink(self.path)
        for fd in (self.slave, self.master):
            with contextlib.suppress(OSError):
                os.close(fd)


TEXT_RATE_HZ = 200
CHANNELS = 24
N_PER_COUNT = 4e-4  # of the example rig's vertical channels


def packet(body):
    total = 0
    for c in body.encode():
        total ^= c
    return f"{body}*{total:02X}\n".encode()


class TextBoard:
    """A board of the text form with the example rig's channels, that shows what a test puts on it;
    its clock goes as fast as it is asked to."""

    def __init__(self, board):
        self.board, self.n, self.noise = board, 0, random.Random(3)

    def send(self, seconds, above_raw, gone=lambda: False):
        """above_raw: counts above the zero by channel."""
        out = packet(f"H,1,{CHANNELS},24,{TEXT_RATE_HZ},7,0102030405060708")
        for _ in range(round(seconds * TEXT_RATE_HZ)):
            counts = [1000 * c + self.noise.randint(-100, 100) + above_raw.get(c, 0)
                      for c in range(CHANNELS)]
            t_us = self.n * 1000000 // TEXT_RATE_HZ
            out += packet(f"S,{self.n % 65536},{t_us},0,0," + ",".join(map(str, counts)))
            self.n += 1
        self.board.send(out, gone=gone)


class Place:
    def __init__(self):
        check(len(sys.argv) == 2, "usage:", sys.argv[0], "BUILD_FOLDER")
        self.build = os.path.abspath(sys.argv[1])
        self.folder = tempfile.mkdtemp(prefix="underfoot_e2e_")
        self.children = []
        self.boards = []

    def path(self, name):
        return os.path.join(self.folder, name)

    def program(self, name):
        path = os.path.join(self.build, name)
        check(os.access(path, os.X_OK), "not built:", path)
        return path

    def empty_config(self):
        """So that a machine's own /etc/underfoot is not read."""
        path = self.path("underfoot.conf")
        if not os.path.exists(path):
            with open(path, "w") as f:
                f.write("# nothing\n")
        return path

    def daemon(self, *args, **more):
        return Daemon(self, *args, **more)

    def board(self):
        board = Board(self.path("board"))
        self.boards.append(board)
        return board

    def sim(self, *args, wait=True):
        command = [self.program("src/sim/program/underfoot-sim"), *args]
        with open(self.path("sim.log"), "a") as log:
            process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        self.children.append(process)
        if wait:
            try:
                code = process.wait(4 * PATIENCE_S)
            except subprocess.TimeoutExpired:
                raise Failed("the simulator does not end: " + " ".join(args))
            with open(self.path("sim.log")) as log:
                check(code == 0, "the simulator failed:", log.read())
        return process

    def recording(self, *args, lesson="short"):
        """Bytes of a lesson, and its truth as a list."""
        ufr, truth = self.path("sim.ufr"), self.path("truth.jsonl")
        self.sim("--out", ufr, "--truth", truth, "--lesson", lesson, *args)
        with open(ufr, "rb") as f:
            data = f.read()
        return data, self.truth()

    def truth(self):
        with open(self.path("truth.jsonl")) as f:
            return [json.loads(line) for line in f]

    def run(self, *command, code=0):
        p = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True,
                           timeout=PATIENCE_S)
        check(p.returncode == code, command, "ended with", p.returncode, "not", code, "\n",
              p.stdout, p.stderr)
        return p.stdout + p.stderr

    def end(self):
        for process in self.children:
            if process.poll() is None:
                process.kill()
                process.wait()
        for board in self.boards:
            board.unplug()
        shutil.rmtree(self.folder, ignore_errors=True)


def rows(database, sql, *values):
    db = sqlite3.connect(f"file:{database}?mode=ro", uri=True)
    try:
        return db.execute(sql, values).fetchall()
    finally:
        db.close()


def one(database, sql, *values):
    return rows(database, sql, *values)[0][0]


def columns(database, table, leave_out=()):
    names = [r[1] for r in rows(database, f"PRAGMA table_info({table})")]
    return [n for n in names if n not in leave_out]


def swings_of(truth):
    return [act for act in truth if act["is_swing"]]


def run(*tests):
    """Each test is a function of a Place; all run, the script fails when one does."""
    bad = 0
    for test in tests:
        place = Place()
        begun = time.monotonic()
        try:
            test(place)
            print(f"ok      {test.__name__} ({time.monotonic() - begun:.1f} s)", flush=True)
        except Exception as e:  # the log of what went wrong, whatever it was
            bad += 1
            kind = "" if isinstance(e, Failed) else type(e).__name__ + ": "
            print(f"FAILED  {test.__name__}: {kind}{e}", flush=True)
            if not isinstance(e, Failed):
                import traceback
                traceback.print_exc()
        finally:
            place.end()
    sys.exit(1 if bad else 0)

#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Boards that come, go, come back as another port, or are somebody else's; floods, a machine that
sleeps, a wall clock that is set."""
import contextlib
import os
import re
import signal
import subprocess
import time

from e2e import PATIENCE_S, Board, check, columns, one, rows, run, swings_of

HERE = os.path.dirname(os.path.abspath(__file__))
ONE_SWING = "stand:1,address,ball,address:2"


def hello_id(data, number):
    """The same bytes from a board with another id: the text form, whose packets are easily sealed."""
    def again(match):
        total = 0
        body = match.group(1).rsplit(b",", 1)[0] + b"," + b"%016x" % number
        for c in body:
            total ^= c
        return body + b"*%02X\n" % total
    return re.sub(rb"(H,[^*\n]*)\*[0-9A-F]{2}\r?\n", again, data)


def lesson(place, number=None):
    data, truth = place.recording("--form", "text")
    return (data if number is None else hello_id(data, number)), len(swings_of(truth))


def port(place, name):
    """A port in the folder that stands for /dev/underfoot."""
    os.makedirs(place.path("ports"), exist_ok=True)
    board = Board(place.path(f"ports/{name}"))
    place.boards.append(board)
    return board


def folder(place, *settings):
    os.makedirs(place.path("ports"), exist_ok=True)
    return place.daemon([f"link.device={place.path('ports')}", *settings])


def test_comes_back_as_another_port(place):
    """The folder is empty, then has a board, which is pulled out in a lesson and plugged in under
    another name: the lesson goes on, no sample is missing."""
    data, swings = lesson(place, 0x1234)
    daemon = folder(place, "link.board_id=0000000000001234")
    daemon.wait_log("there is no board in .*ports")
    board = port(place, "A")
    cut = data.index(b"\n", len(data) // 2) + 1
    daemon.wait_status(lambda s: s["device"].endswith("/A"), "A")
    board.send(data[:cut])
    daemon.wait_log("receiving: board 0000000000001234 at .*/A")
    board.unplug()
    again = port(place, "B")
    daemon.wait_status(lambda s: s["device"].endswith("/B") and "is open" in s["state_text"], "B")
    again.send(data[cut:])
    status = daemon.wait_status(lambda s: s["swings_stored"] == swings, "stored")
    check(status["lost"] == 0 and status["device"].endswith("/B"), status)
    daemon.stop()


def test_two_boards(place):
    """Somebody else's board lies before ours: it is let go of, ours is found; ours is pulled out and
    the other one is still not taken. What the other one sends is stored nowhere."""
    other, _ = lesson(place, 0x9999)
    data, swings = lesson(place, 0x1234)
    foreign, ours = port(place, "A"), port(place, "B")
    daemon = folder(place, "link.board_id=0000000000001234")

    def chatter(until):
        at, last = 0, time.monotonic() + PATIENCE_S
        while not until():
            check(time.monotonic() < last, "not in time:", daemon.log())
            with contextlib.suppress(BlockingIOError):
                at = (at + os.write(foreign.master, other[at:at + 2000])) % len(other)
            time.sleep(0.01)
    chatter(lambda: "B is open" in daemon.ask()["state_text"])
    ours.send(data)
    daemon.wait_status(lambda s: s["swings_stored"] == swings, "stored")
    ours.unplug()
    end = time.monotonic() + 8
    chatter(lambda: time.monotonic() > end)
    status = daemon.ask()
    check(status["state"] == "waiting" and status["counters"]["boards_refused"] >= 2, status)
    check(status["swings_stored"] == swings, status)
    back = port(place, "C")
    chatter(lambda: "C is open" in daemon.ask()["state_text"])
    back.send(data[:len(data) // 4])
    daemon.wait_status(lambda s: s["state"] == "receiving", "receiving")
    log = daemon.stop()
    check(log.count("board 0000000000009999 is not the one of this rig") <= 2, "said too often:", log)
    check("9999" not in str(rows(daemon.database, "SELECT detail FROM link_event WHERE kind = 'receiving'")),
          "the other one was listened to")


def test_silent_board_does_not_keep_the_place(place):
    """A port from which nothing comes is let go of after 10 s: the next one may be ours."""
    port(place, "A")
    ours = port(place, "B")
    daemon = folder(place)
    daemon.wait_status(lambda s: s["device"].endswith("/A") and "nothing comes" in s["state_text"], "silent A")
    daemon.wait_status(lambda s: s["device"].endswith("/B"), "B", 30)
    data, swings = lesson(place)
    ours.send(data)
    daemon.wait_status(lambda s: s["swings_stored"] == swings, "stored")
    daemon.stop()


def test_flood(place):
    """Ten times the rate for a whole lesson, as a board that has lost its clock: nothing is lost, and
    the loop still answers."""
    data, truth = place.recording()
    board = place.board()
    daemon = place.daemon()
    daemon.wait_status(lambda s: "is open" in s["state_text"], "open")
    rate, begun, at, slowest = 10 * len(data) / truth[-1]["end_s"], time.monotonic(), 0, 0
    asked = 0
    while at < len(data):
        due = min(len(data), int((time.monotonic() - begun) * rate))
        if due > at:
            with contextlib.suppress(BlockingIOError):
                at += os.write(board.master, data[at:due])
        if time.monotonic() - begun > asked / 5:
            asked += 1
            before = time.monotonic()
            check(daemon.ask()["state"], "no answer")
            slowest = max(slowest, time.monotonic() - before)
        time.sleep(0.002)
    status = daemon.wait_status(lambda s: s["swings_stored"] == len(swings_of(truth)), "stored")
    check(status["lost"] == 0 and status["bad"] == 0, status)
    check(asked > 5 and slowest < 20, "the loop does not answer:", slowest)
    log = daemon.stop()
    check(len(log.splitlines()) < 15, "the log is flooded:", log)


def clock_shim(place):
    path, clock = place.path("wall_clock.so"), place.path("ahead")
    source = os.path.join(HERE, "..", "fault", "wall_clock.c")
    subprocess.run(["cc", "-O1", "-shared", "-fPIC", "-o", path, source, "-ldl"], check=True)

    def ahead(seconds):
        with open(clock + ".new", "w") as f:
            f.write(str(seconds))
        os.rename(clock + ".new", clock)
    ahead(0)
    return ahead, {"LD_PRELOAD": path, "WALL_CLOCK": clock,
                   "ASAN_OPTIONS": "verify_asan_link_order=0:" + os.environ.get("ASAN_OPTIONS", "")}


def cut_after_swings(data, truth):
    """The bytes up to some time after each swing, and the rest."""
    cuts = [data.index(b"\0", int(len(data) * (s["end_s"] + 1.5) / truth[-1]["end_s"])) + 1
            for s in swings_of(truth)]
    return [data[a:b] for a, b in zip([0, *cuts], [*cuts, len(data)])]


def numbers(database):
    names = columns(database, "swing_metric", ("derivation_id", "rowid"))
    return rows(database, f"SELECT {','.join(names)} FROM swing_metric ORDER BY derivation_id")


def test_wall_clock_is_set(place):
    """An hour forth, then two back, between swings: each swing has the time that the clock showed,
    all numbers are those of an undisturbed run, the session goes on."""
    data, truth = place.recording(lesson="empty:3,walk_on," + ",".join([ONE_SWING] * 3) + ",step_off,empty:1")
    pieces = cut_after_swings(data, truth)
    board = place.board()
    plain = place.daemon(database=place.path("plain.db"))
    plain.wait_status(lambda s: "is open" in s["state_text"], "open")
    board.send(data)
    plain.wait_status(lambda s: s["swings_stored"] == 3, "stored")
    plain.stop()

    ahead, env = clock_shim(place)
    daemon = place.daemon(env=env)
    daemon.wait_status(lambda s: "is open" in s["state_text"], "open")
    sessions = set()
    for i, (piece, seconds) in enumerate(zip(pieces, (0, 3600, -3600))):
        ahead(seconds)
        before = time.time() + seconds
        board.send(piece)
        sessions.add(daemon.wait_status(lambda s: s["swings_stored"] == i + 1, "stored")["session"])
        utc_s = 1e-6 * one(daemon.database, "SELECT trigger_utc_us FROM swing ORDER BY id DESC LIMIT 1")
        # The pty takes bytes faster than they were made, so only about: not by an hour
        check(before - 60 < utc_s < time.time() + seconds + 60, "the time of a swing:", utc_s - before)
    board.send(pieces[-1])
    daemon.wait_status(lambda s: s["tare_age_s"] is None or s["tare_age_s"] >= 0, "the age of the zero")
    log = daemon.stop()
    check(len(sessions) == 1, "sessions:", sessions)
    check(numbers(daemon.database) == numbers(plain.database), "other numbers by another clock")
    check("stall" not in log and " 0 lost, " in log, log)


def test_wall_clock_and_kill(place):
    """The clock is set forth by an hour while swings wait, then the daemon is killed: the next start
    finds them, once."""
    import sqlite3
    ahead, env = clock_shim(place)
    data, truth = place.recording()
    swings = len(swings_of(truth))
    board = place.board()
    daemon = place.daemon(env=env)
    daemon.wait_log("no calibration")
    daemon.ask()
    db = sqlite3.connect(daemon.database, isolation_level=None)
    db.execute("BEGIN IMMEDIATE")
    first, second, rest = cut_after_swings(data, truth)
    board.send(first)
    ahead(3600)
    board.send(second + rest)
    daemon.wait_status(lambda s: s["queue"] == swings, "all wait")
    daemon.process.kill()
    daemon.process.wait()
    db.execute("COMMIT")
    db.close()
    ahead(-3600)
    daemon = place.daemon(env=env)
    daemon.wait_status(lambda s: s["swings_stored"] == swings and s["queue"] == 0, "found again")
    daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == swings, "swings")


def test_sleep(place):
    """The machine sleeps for a while in the midst of a lesson: SIGSTOP stands in for it (what the
    board sends meanwhile is lost, as with a board that has power), and the wall clock has gone on.
    Not covered: a kernel that really suspends, a board without power meanwhile (that is a reboot)."""
    data, truth = place.recording(lesson="empty:3,walk_on," + ",".join([ONE_SWING] * 3) + ",step_off,empty:1")
    ahead, env = clock_shim(place)
    pieces = cut_after_swings(data, truth)
    board = place.board()
    daemon = place.daemon(env=env)
    daemon.wait_status(lambda s: "is open" in s["state_text"], "open")
    board.send(pieces[0])
    daemon.wait_status(lambda s: s["swings_stored"] == 1, "stored")
    daemon.signal(signal.SIGSTOP)
    time.sleep(2)
    ahead(8 * 3600)
    with contextlib.suppress(BlockingIOError):  # as much as the kernel keeps; the rest is gone
        at = 0
        while at < len(pieces[1]):
            at += os.write(board.master, pieces[1][at:at + 4096])
    daemon.signal(signal.SIGCONT)
    board.send(pieces[2] + pieces[3])
    status = daemon.wait_status(lambda s: s["swings_stored"] == 2, "stored again")
    check(status["lost"] > 1000 and status["state"] != "waiting", status)
    check(status["counters"]["loop_stalls"] >= 1, status)
    check(status["counters"]["reboots"] == 0, status)
    utc = [u for (u,) in rows(daemon.database, "SELECT trigger_utc_us FROM swing ORDER BY id")]
    check(7.9 * 3600e6 < utc[1] - utc[0] < 8.1 * 3600e6, "times:", utc)
    daemon.stop()



def test_reboot(place):
    """The board starts anew between two swings: said once, the clock's map and the count begin again,
    both swings are stored."""
    data, truth = place.recording()
    first, second = swings_of(truth)
    when = (first["end_s"] + second["start_s"]) / 2
    data, truth = place.recording("--fault", f"reboot@{when:.2f}:0.3")
    board = place.board()
    daemon = place.daemon()
    board.send(data)
    status = daemon.wait_status(lambda s: s["swings_stored"] == 2, "stored")
    check(status["counters"]["reboots"] == 1, status)
    log = daemon.stop()
    check(log.count("the board has started anew") == 1, log)


run(test_comes_back_as_another_port, test_two_boards, test_silent_board_does_not_keep_the_place,
    test_reboot, test_flood, test_wall_clock_is_set, test_wall_clock_and_kill, test_sleep)

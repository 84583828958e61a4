#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Boards, ports and bytes that are not ours: a sentence that says what to do, once, and the daemon
waits for better."""
import fcntl
import os
import time

from e2e import check, one, rows, run, wait_until

SIM_BOARD = "53494d0000000001"


def hello_line(protocol, channels=24):
    body = f"H,{protocol},{channels},24,1000,7,0102030405060708"
    total = 0
    for c in body.encode():
        total ^= c
    return f"{body}*{total:02X}\n".encode()


def ends_well(daemon):
    log = daemon.stop()
    check("done: 0 swings stored" in log, log)
    return log


def test_missing_device(place):
    daemon = place.daemon()
    status = daemon.wait_status(lambda s: "there is no board" in s["state_text"], "its reason")
    check(status["state"] == "waiting" and status["board_id"] is None, status)
    time.sleep(2)
    log = ends_well(daemon)
    check(log.count("there is no board at") == 1, "said once:", log)


def test_other_board(place):
    """Let go of at once, nothing of it recorded, and said once though it is looked at again."""
    data, _ = place.recording(lesson="empty:2")
    data = data[:3000]  # its HELLO comes first
    board = place.board()
    daemon = place.daemon(["link.board_id=0000000000000001"], ["--record", place.path("kept.ufr")])
    board.send(data)
    daemon.wait_log(f"board {SIM_BOARD} is not the one of this rig, 0000000000000001")

    def released():
        fd = os.open(board.path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        except OSError:
            return False
        finally:
            os.close(fd)
    wait_until(released, "the port is free for its owner", 3)
    status = daemon.ask()
    check(status["state"] == "waiting" and status["samples"] == 0, status)
    check(status["counters"]["boards_refused"] == 1, status)
    board.send(data, timeout_s=20)  # it is looked at again, every 5 s
    wait_until(lambda: daemon.ask()["counters"]["boards_refused"] >= 2, "looked at again", 20)
    log = ends_well(daemon)
    check(log.count("is not the one of this rig") == 1, "said once:", log)
    check(os.path.getsize(place.path("kept.ufr")) == 0, "another board was recorded")
    check(one(daemon.database, "SELECT count(*) FROM link_event WHERE kind = 'refused'") == 1,
          rows(daemon.database, "SELECT * FROM link_event"))


def test_right_board(place):
    data, _ = place.recording(lesson="empty:2")
    board = place.board()
    daemon = place.daemon([f"link.board_id={SIM_BOARD.upper()}"])
    board.send(data)
    daemon.wait_log("receiving:")
    ends_well(daemon)


def test_protocol(place):
    board = place.board()
    daemon = place.daemon()
    board.send(hello_line(2))
    daemon.wait_log("speaks version 2 of the wire format, this underfootd knows version 1: update")
    ends_well(daemon)


def test_channels(place):
    board = place.board()
    daemon = place.daemon()
    board.send(hello_line(1, channels=8))
    daemon.wait_log('sends 8 channels, but the rig "example" needs 24')
    ends_well(daemon)


def test_other_firmware_while_it_runs(place):
    """A HELLO that does not fit in the middle of a stream that did."""
    data, _ = place.recording("--form", "text", lesson="empty:2")
    board = place.board()
    daemon = place.daemon()
    board.send(data)
    daemon.wait_log("receiving:")
    board.send(hello_line(1, channels=8))
    daemon.wait_log("sends 8 channels")
    ends_well(daemon)


def test_other_version_while_it_runs(place):
    data, _ = place.recording("--form", "text", lesson="empty:2")
    board = place.board()
    daemon = place.daemon()
    board.send(data)
    daemon.wait_log("receiving:")
    board.send(hello_line(2))
    daemon.wait_log("has begun to speak another version")
    ends_well(daemon)


def test_nothing_comes(place):
    place.board()
    daemon = place.daemon()
    daemon.wait_log("is open, but nothing comes")
    time.sleep(1)
    log = ends_well(daemon)
    check(log.count("nothing comes") == 1, log)


def test_strange_bytes(place):
    """A wrong baud rate, or somebody else's converter."""
    board = place.board()
    daemon = place.daemon(args=["--record", place.path("kept.ufr")])
    noise = os.urandom(20000)
    board.send(noise)
    daemon.wait_log("no board says HELLO: check link.baud")
    status = daemon.ask()
    check(status["state"] == "waiting" and status["samples"] == 0, status)
    ends_well(daemon)


def test_held_port(place):
    board = place.board()
    fd = os.open(board.path, os.O_RDWR | os.O_NOCTTY)
    fcntl.flock(fd, fcntl.LOCK_EX)
    daemon = place.daemon()
    daemon.wait_log("in use by another program: close that one")
    os.close(fd)
    data, _ = place.recording(lesson="empty:2")
    daemon.wait_status(lambda s: "is open" in s["state_text"], "the port")
    board.send(data)
    daemon.wait_log("receiving:")
    ends_well(daemon)


def test_two_daemons_on_one_port(place):
    data, _ = place.recording(lesson="empty:2")
    board = place.board()
    first = place.daemon()
    board.send(data)
    first.wait_log("receiving:")
    second = place.daemon([f"daemon.control={place.path('second')}"],
                          database=place.path("second.db"))
    second.wait_log("in use by another program")
    second.control = place.path("second")
    ends_well(second)
    ends_well(first)


def test_no_permission(place):
    """Run as a user who may not open it; needs root to become one."""
    if os.geteuid() != 0:
        print("skipped test_no_permission: only root can become another user")
        return
    board = place.board()
    os.chmod(os.path.realpath(board.path), 0o600)
    os.chmod(place.folder, 0o777)
    uid = 65534

    def nobody():
        os.setgroups([])
        os.setgid(uid)
        os.setuid(uid)
    import subprocess
    # the folders above the build may be closed to others: hand the open program over
    program = os.open(place.program("daemon/underfootd"), os.O_RDONLY)
    with open(place.path("log"), "w") as log:
        p = subprocess.Popen(
            [f"/proc/self/fd/{program}", "--config", place.empty_config(), "--set", "link.type=raw",
             "--set", f"link.device={board.path}", "--set",
             f"daemon.database={place.path('n.db')}", "--set", f"daemon.control={place.path('n')}"],
            stdin=subprocess.DEVNULL, stdout=log, stderr=log, pass_fds=[program],
            preexec_fn=nobody)
    place.children.append(p)

    def said():
        with open(place.path("log")) as f:
            return "group dialout" in f.read()
    wait_until(said, "the sentence about the group", 20)
    p.terminate()
    check(p.wait(20) == 0, "its end")


run(test_missing_device, test_other_board, test_right_board, test_protocol, test_channels,
    test_other_firmware_while_it_runs, test_other_version_while_it_runs, test_nothing_comes, test_strange_bytes, test_held_port,
    test_two_daemons_on_one_port, test_no_permission)

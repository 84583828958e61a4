#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Databases that can't be used, and disks that refuse: sentences at the start, patience while it
runs, nothing lost."""
import os
import resource
import signal
import socket
import sqlite3
import time

from e2e import check, one, run, swings_of, wait_until


def refused(place, database, *words):
    log = place.daemon(database=database).wait_end(1)
    for word in words:
        check(word in log, f"no {word!r} in:", log)
    return log


def test_foreign(place):
    path = place.path("foreign.db")
    db = sqlite3.connect(path)
    db.execute("PRAGMA application_id = 1234")
    db.execute("CREATE TABLE t (x)")
    db.commit()
    db.close()
    before = open(path, "rb").read()
    refused(place, path, path)
    check(open(path, "rb").read() == before, "somebody else's file was changed")


def test_not_sqlite(place):
    path = place.path("notes.txt")
    text = b"Tuesday: three lessons in bay two.\n" * 100
    with open(path, "wb") as f:
        f.write(text)
    refused(place, path, path)
    with open(path, "rb") as f:
        check(f.read() == text, "somebody else's file was changed")


def test_newer(place):
    daemon = place.daemon()
    daemon.wait_log("waiting:")
    daemon.stop()
    db = sqlite3.connect(daemon.database)
    db.execute("PRAGMA user_version = 9999")
    db.commit()
    db.close()
    refused(place, daemon.database, "newer")


def test_no_folder(place):
    refused(place, place.path("no/such/folder/underfoot.db"), "no/such/folder")


def test_two_daemons_on_one_database(place):
    first = place.daemon()
    first.wait_log("waiting:")
    second = place.daemon([f"daemon.control={place.path('second')}"])
    log = second.wait_end(1)
    check(f"another underfootd, process {first.process.pid}, already stores" in log, log)
    first.stop()
    place.daemon().wait_log("waiting:")  # and now it may


def test_two_daemons_on_one_socket(place):
    first = place.daemon()
    first.wait_log("waiting:")
    log = place.daemon(database=place.path("second.db")).wait_end(1)
    check("another underfootd answers at" in log, log)
    check(first.ask()["state"] == "waiting", "the first one lost its socket")
    first.stop()


def test_stale_socket(place):
    s = socket.socket(socket.AF_UNIX)
    s.bind(place.path("control"))
    s.close()
    daemon = place.daemon()
    check(daemon.ask()["state"] == "waiting", "status")
    daemon.stop()
    check(not os.path.exists(place.path("control")), "the socket file is left behind")


def test_control_is_a_file(place):
    with open(place.path("control"), "w") as f:
        f.write("mine")
    check("is not a socket" in place.daemon().wait_end(1), "no sentence")
    with open(place.path("control")) as f:
        check(f.read() == "mine", "the file was taken away")


def lesson_into(place, daemon):
    data, truth = place.recording()
    board = place.boards[-1] if place.boards else place.board()
    board.send(data)
    return len(swings_of(truth))


def test_locked(place):
    """Another program keeps the database locked: swings wait, then all are stored."""
    place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration")
    status = daemon.ask()
    check(status["store_state"] == "ok" and status["store_problem"] is None, status)
    db = sqlite3.connect(daemon.database, isolation_level=None)
    db.execute("BEGIN IMMEDIATE")
    swings = lesson_into(place, daemon)
    status = daemon.wait_status(lambda s: s["store_state"] == "failing", "failing")
    check(status["store_problem"], status)
    status = daemon.wait_status(lambda s: s["queue"] == swings, "all swings wait")
    check(status["swings_stored"] == 0 and status["queue_bytes"] > 100000, status)
    db.execute("COMMIT")
    db.close()
    status = daemon.wait_status(lambda s: s["swings_stored"] == swings and s["queue"] == 0, "stored")
    check(status["store_state"] == "ok" and status["last_swing"] > 0, status)
    log = daemon.stop()
    check(log.count("storing again") >= 1, log)
    check(one(daemon.database, "SELECT count(*) FROM swing") == swings, "swings")


def limit_files(daemon, size):
    resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))


def test_full_disk(place):
    """No file may grow: for database, journal and recording that is a full disk. Then there is
    room again."""
    place.board()
    daemon = place.daemon(args=["--record", place.path("kept.ufr")])
    daemon.wait_log("no calibration")
    daemon.ask()
    limit_files(daemon, 4096)
    swings = lesson_into(place, daemon)
    status = daemon.wait_status(lambda s: s["store_state"] == "failing" and s["queue"] == swings,
                                "all swings wait")
    check(status["recording"]["failing"] and status["counters"]["record_lost_bytes"] > 0, status)
    check(status["lost"] == 0, "measuring suffered:", status)
    check(daemon.log().count("record:") == 1, "said once:", daemon.log())
    limit_files(daemon, resource.RLIM_INFINITY)
    daemon.wait_status(lambda s: s["swings_stored"] == swings and s["queue"] == 0, "stored")
    lesson_into(place, daemon)
    daemon.wait_status(lambda s: not s["recording"]["failing"], "recording again")
    daemon.wait_status(lambda s: s["swings_stored"] == 2 * swings, "stored")
    daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == 2 * swings, "swings")
    check(one(daemon.database, "PRAGMA integrity_check") == "ok", "integrity")


def test_full_to_the_end(place):
    """SIGTERM while the disk is full: it tries on, says so, and a second SIGTERM ends it, with
    the loss told and a code that is not 0."""
    place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration")
    daemon.ask()
    limit_files(daemon, 4096)
    swings = lesson_into(place, daemon)
    daemon.wait_status(lambda s: s["queue"] == swings, "all swings wait")
    daemon.signal(signal.SIGTERM)
    daemon.wait_log("still storing: 2 swings wait")
    check(daemon.ask()["stopping"] is True, "the status while it stops")
    daemon.signal(signal.SIGTERM)
    log = daemon.wait_end(1, 20)
    check("2 swings could not be stored and are lost" in log, log)


def test_room_again_while_it_ends(place):
    place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration")
    daemon.ask()
    limit_files(daemon, 4096)
    swings = lesson_into(place, daemon)
    daemon.wait_status(lambda s: s["queue"] == swings, "all swings wait")
    daemon.signal(signal.SIGTERM)
    daemon.wait_log("still storing")
    limit_files(daemon, resource.RLIM_INFINITY)
    daemon.wait_end(0, 30)
    check(one(daemon.database, "SELECT count(*) FROM swing") == swings, "swings")


def test_slow_disk(place):
    """Slower than the golfer: the queue is beyond its limit, the state says so, all is stored."""
    board = place.board()
    daemon = place.daemon(["daemon.queue=1"], env={"UNDERFOOT_TEST_SLOW_COMMIT_MS": "1500"})
    daemon.wait_log("no calibration")
    data, truth = place.recording(lesson="empty:3,walk_on,stand:1,address,ball,address:2,ball,"
                                         "address:2,ball,address:2,ball,step_off,empty:1")
    swings = len(swings_of(truth))
    board.send(data)
    status = daemon.wait_status(lambda s: s["store_state"] == "behind", "behind")
    check(status["queue"] > status["queue_limit"] == 1, status)
    begun = time.monotonic()
    daemon.ask()
    check(time.monotonic() - begun < 1, "the loop waits for the disk")
    daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == swings, "swings")


run(test_foreign, test_not_sqlite, test_newer, test_no_folder, test_two_daemons_on_one_database,
    test_two_daemons_on_one_socket, test_stale_socket, test_control_is_a_file, test_locked,
    test_full_disk, test_full_to_the_end, test_room_again_while_it_ends, test_slow_disk)

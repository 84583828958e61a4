#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Swings that a crash kept from being stored: found by the next start in the spool, stored once."""
import glob
import os
import random
import signal
import sqlite3
import time

from e2e import check, one, rows, run, swings_of

ONE = "empty:3,walk_on,stand:1,address,ball,address:2,step_off,empty:1"


def crash(daemon):
    daemon.signal(signal.SIGKILL)
    daemon.process.wait()


def swings(daemon):
    return one(daemon.database, "SELECT count(*) FROM swing")


def whole(daemon):
    check(one(daemon.database, "PRAGMA integrity_check") == "ok", "integrity")
    check(rows(daemon.database, "PRAGMA foreign_key_check") == [], "foreign keys")
    check(one(daemon.database, "SELECT count(*) FROM swing LEFT JOIN swing_raw ON swing_id = id "
                               "WHERE swing_id IS NULL") == 0, "a swing without raw data")
    check(one(daemon.database, "SELECT count(*) FROM swing") ==
          one(daemon.database, "SELECT count(*) FROM derivation WHERE current = 1"), "derivations")


def lock(daemon):
    db = sqlite3.connect(daemon.database, isolation_level=None)
    db.execute("BEGIN IMMEDIATE")
    return db


def test_locked_then_killed(place):
    """Swings wait for a locked database; the daemon is killed; the next start stores them, with the
    time and in the session at which they were made."""
    data, truth = place.recording()
    board = place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration")
    daemon.ask()
    db = lock(daemon)
    # the lesson comes faster than it was: its swings lie before the daemon's start
    db.execute("UPDATE session SET started_utc_us = started_utc_us - 60000000")
    db.execute("COMMIT")
    db.execute("BEGIN IMMEDIATE")
    before = time.time()
    board.send(data)
    daemon.wait_status(lambda s: s["queue"] == len(swings_of(truth)), "all wait")
    after = time.time()
    crash(daemon)
    db.close()
    check(swings(daemon) == 0, "nothing is stored yet")
    again = place.daemon()
    again.wait_log("comes from before the start", times=len(swings_of(truth)))
    again.stop()
    whole(again)
    found = rows(again.database, "SELECT session_id, trigger_utc_us / 1e6 FROM swing")
    check(len(found) == len(swings_of(truth)), found)
    for session, at_s in found:
        check(session == 1, "of another session:", found)
        check(before - 30 < at_s < after, "of another time:", before, at_s, after)
    third = place.daemon()
    third.wait_log("waiting|receiving")
    log = third.stop()
    check("spool:" not in log, "after an orderly end there is nothing to look for:", log)
    check(swings(third) == len(swings_of(truth)), "swings")


def test_killed_in_a_swing(place):
    """Killed in the midst of the downswing; the line goes on, and so does the swing."""
    data, truth = place.recording(lesson=ONE)
    check(len(swings_of(truth)) == 1, truth)
    at_s = swings_of(truth)[0]["impact_s"]
    for part in (at_s - 0.3, at_s, at_s + 0.3):
        cut = int(len(data) * part / truth[-1]["end_s"])
        board = place.board()
        daemon = place.daemon(database=place.path(f"cut{part}.db"))
        daemon.wait_log("no calibration")
        daemon.ask()
        board.send(data[:cut])
        time.sleep(0.3)
        crash(daemon)
        again = place.daemon(database=daemon.database)
        again.wait_log("going on from there")
        again.wait_status(lambda s: "is open" in s["state_text"] or s["state"] == "receiving", "open")
        board.send(data[cut:])
        again.wait_status(lambda s: s["swings_stored"] == 1, "the swing")
        again.stop()
        whole(again)
        check(swings(again) == 1, "swings")
        board.unplug()


def test_killed_when_all_is_stored(place):
    """Nothing is missing, but a golfer stands there: who he is and what he weighs is not forgotten."""
    data, truth = place.recording(lesson="empty:3,walk_on,stand:1,address,ball,address:2,address,ball,"
                                         "address:2,step_off,empty:1")
    second = swings_of(truth)[1]["start_s"]
    cut = int(len(data) * second / truth[-1]["end_s"])
    board = place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration")
    board.send(data[:cut])
    daemon.wait_status(lambda s: s["swings_stored"] == 1, "the first")
    time.sleep(0.5)
    crash(daemon)
    again = place.daemon()
    again.wait_log("found 0 swings that it may not have stored, going on from there")
    again.wait_status(lambda s: "is open" in s["state_text"] or s["state"] == "receiving", "open")
    board.send(data[cut:])
    again.wait_status(lambda s: s["swings_stored"] == 1, "the second")
    again.stop()
    check(swings(again) == 2, "swings")


def test_same_bytes_twice(place):
    """The same recording twice is twice as many swings, crash or not: a swing is known again by its
    counts, but each stored one stands for one only."""
    data, truth = place.recording(lesson=ONE)
    board = place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration")
    board.send(data)
    daemon.wait_status(lambda s: s["swings_stored"] == 1, "the first")
    db = lock(daemon)
    board.send(data)
    daemon.wait_status(lambda s: s["queue"] == 1, "the second waits")
    crash(daemon)
    db.close()
    again = place.daemon()
    again.wait_log("comes from before the start")
    again.stop()
    check(swings(again) == 2, "swings")
    whole(again)


def test_stored_and_killed(place):
    """Killed after the commit, before the spool knew of it: found again, not stored again. The
    spool's last word is made to be lost by cutting what follows the start."""
    data, truth = place.recording()
    board = place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration")
    board.send(data)
    daemon.wait_status(lambda s: s["swings_stored"] == len(swings_of(truth)), "stored")
    crash(daemon)
    forget_clears(place, daemon)
    again = place.daemon()
    again.wait_log("found 2 swings that it may not have stored")
    again.ask()  # the loop turns: signals are listened to
    again.stop()
    check(swings(again) == len(swings_of(truth)), "swings")
    whole(again)


def forget_clears(place, daemon):
    """Without CLEAR records (kind 6), as if the thread had been killed before it wrote them."""
    import binascii
    import struct
    for path in glob.glob(daemon.database + ".spool/*.seg"):
        b = bytearray(open(path, "rb").read())
        at, sequence = 32, struct.unpack_from("<Q", b, 8)[0]
        first = True
        while at + 36 <= len(b):
            n, kind = struct.unpack_from("<IB", b, at)
            if struct.unpack_from("<Q", b, at + 8)[0] != sequence or kind == 0:
                break
            if kind == 6 and not first:
                b[at + 4] = 3  # eight bytes of the line that mean nothing
                struct.pack_into("<I", b, at + 32 + n, binascii.crc32(b[at:at + 32 + n]))
            first = first and kind != 6
            at += 36 + n
        open(path, "wb").write(b)


def test_damaged_spool(place):
    """Noise instead of segments, a folder that may not be: said, and measuring goes on."""
    rng = random.Random(1)
    folder = place.path("underfoot.db.spool")
    os.mkdir(folder)
    for i in range(4):
        with open(f"{folder}/{i:06d}.seg", "wb") as f:
            f.write(rng.randbytes(100000) if i else b"UFSPOOL1" + rng.randbytes(5000))
    data, truth = place.recording()
    board = place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration")
    board.send(data)
    daemon.wait_status(lambda s: s["swings_stored"] == len(swings_of(truth)), "stored")
    crash(daemon)
    again = place.daemon()
    again.wait_log("waiting|receiving")
    again.stop()
    check(swings(again) == len(swings_of(truth)), "swings")
    other = place.daemon([f"daemon.spool={place.path('no/such/place')}"])
    status = other.wait_status(lambda s: s["spool"]["failing"], "the spool's state")
    check("no/such/place" in status["spool"]["problem"], status)
    other.stop()


def test_left_in_the_spool(place):
    """An end while the database is locked: told, and the next start stores them."""
    data, truth = place.recording()
    board = place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration")
    daemon.ask()
    db = lock(daemon)
    board.send(data)
    daemon.wait_status(lambda s: s["queue"] == len(swings_of(truth)), "all wait")
    daemon.signal(signal.SIGTERM)
    daemon.wait_log("still storing")
    daemon.signal(signal.SIGTERM)
    log = daemon.wait_end(1, 30)
    check("2 swings could not be stored and wait in" in log, log)
    db.close()
    again = place.daemon()
    again.wait_log("comes from before the start", times=2)
    again.stop()
    check(swings(again) == 2, "swings")


def test_ring(place):
    """The least space: more goes through than it holds, and it stays that size."""
    data, truth = place.recording()
    board = place.board()
    daemon = place.daemon(["daemon.spool_mb=32"])
    daemon.wait_log("no calibration")
    rounds = 45_000_000 // len(data) + 1
    for _ in range(rounds):
        board.send(data)
    status = daemon.wait_status(lambda s: s["swings_stored"] == rounds * len(swings_of(truth)), "all")
    check(status["spool"]["lost_bytes"] == 0 and not status["spool"]["failing"], status["spool"])
    size = sum(os.stat(f).st_blocks * 512 for f in glob.glob(daemon.database + ".spool/*"))
    check(size <= 32_000_000, "the spool takes", size)
    check(status["spool"]["bytes"] > 40_000_000, status["spool"])
    crash(daemon)
    again = place.daemon(["daemon.spool_mb=32"])
    again.wait_log("waiting|receiving")
    again.stop()
    check(swings(again) == rounds * len(swings_of(truth)), "swings")


run(test_locked_then_killed, test_killed_in_a_swing, test_killed_when_all_is_stored, test_same_bytes_twice, test_stored_and_killed,
    test_damaged_spool, test_left_in_the_spool, test_ring)

#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Databases that can't be used, and disks that refuse: sentences at the start, patience while it
runs, nothing lost."""
import os
import resource
import signal
import shutil
import socket
import sqlite3
import subprocess
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


def waits_for(place, mend, *words, env=None, after=None):
    """A daemon that starts on a database that can't be used measures all the same and says what is
    wrong; when it is mended, the swings are stored, by the same run. Returns its log."""
    place.board()
    daemon = place.daemon(env=env)
    status = daemon.wait_status(lambda s: s["store_state"] == "failing", "failing")
    for word in words:
        check(word in status["store_problem"], f"no {word!r} in:", status["store_problem"])
    swings = lesson_into(place, daemon)
    status = daemon.wait_status(lambda s: s["queue"] == swings, "all swings wait")
    check(status["state"] == "receiving" and status["lost"] == 0, status)
    check(status["swings_stored"] == 0 and status["last_swing"] is None, status)
    check(daemon.process.poll() is None, daemon.log())
    mend()
    status = daemon.wait_status(lambda s: s["swings_stored"] == swings and s["queue"] == 0, "stored", 90)
    check(status["store_state"] == "ok" and status["store_problem"] is None, status)
    check(status["session"], status)
    if after:
        after(daemon)
    log = daemon.stop()
    check(len(log.splitlines()) < 25, "too much is said:", log)
    check(one(daemon.database, "SELECT count(*) FROM swing") >= swings, log)
    check(one(daemon.database, "PRAGMA integrity_check") == "ok", "integrity")
    return log


def a_database(place):
    """One that a run has made."""
    daemon = place.daemon()
    daemon.wait_log("waiting:")
    daemon.stop()
    return daemon.database


def test_locked_at_the_start(place):
    db = sqlite3.connect(a_database(place), isolation_level=None)
    db.execute("BEGIN IMMEDIATE")

    def mend():
        db.execute("COMMIT")
        db.close()
    waits_for(place, mend, "another program keeps", "locked")


def test_damaged_header(place):
    """Also what a path to a file of another kind looks like: nothing in it is changed."""
    path = a_database(place)
    good = place.path("good.db")
    shutil.move(path, good)
    text = b"Tuesday: three lessons in bay two.\n" * 1000
    with open(path, "wb") as f:
        f.write(text)

    def mend():
        with open(path, "rb") as f:
            check(f.read() == text, "somebody else's file was changed")
        os.rename(good, path)
    waits_for(place, mend, path, "is not a database")


def test_damaged_inside(place):
    """The header is whole, the pages are not."""
    path = a_database(place)
    good = place.path("good.db")
    shutil.copy(path, good)
    with open(path, "r+b") as f:
        f.seek(4096)
        f.write(os.urandom(os.path.getsize(path) - 4096))
    waits_for(place, lambda: os.rename(good, path), path, "damaged")


def test_newer(place):
    path = a_database(place)

    def version(number):
        db = sqlite3.connect(path)
        db.execute(f"PRAGMA user_version = {number}")
        db.commit()
        db.close()
    was = one(path, "PRAGMA user_version")
    version(9999)
    waits_for(place, lambda: version(was), "newer version of Underfoot")


def read_only(place):
    path = place.path("read_only.so")
    source = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "fault", "read_only.c")
    subprocess.run(["cc", "-O1", "-shared", "-fPIC", "-o", path, source, "-ldl"], check=True)
    flag = place.path("is_read_only")
    open(flag, "w").close()
    return flag, {"LD_PRELOAD": path, "READ_ONLY_WHILE": flag,
                  "READ_ONLY_UNDER": place.path("underfoot.db"),
                  "ASAN_OPTIONS": "verify_asan_link_order=0:" + os.environ.get("ASAN_OPTIONS", "")}


def test_read_only_first(place):
    """Neither a database nor a spool can be made; both are when the file system is writable."""
    flag, env = read_only(place)

    def spooled(daemon):
        board = place.boards[-1]
        board.send(place.recording()[0])
        daemon.wait_status(lambda s: not s["spool"]["failing"] and s["spool"]["bytes"] > 0, "spooled")
    log = waits_for(place, lambda: os.unlink(flag), "Read-only file system", env=env, after=spooled)
    check("spool: cannot make" in log and "spool: written again" in log, log)


def test_read_only_later(place):
    """There is a database, and a spool with a swing that is not stored: found all the same."""
    path = a_database(place)
    place.board()
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("BEGIN IMMEDIATE")
    daemon = place.daemon()
    before = lesson_into(place, daemon)
    daemon.wait_status(lambda s: s["queue"] == before, "all swings wait")
    daemon.process.kill()
    daemon.process.wait()
    db.execute("COMMIT")
    db.close()
    flag, env = read_only(place)
    daemon = place.daemon(env=env)
    daemon.wait_status(lambda s: s["queue"] == before and s["store_state"] == "failing", "found again")
    os.unlink(flag)
    daemon.wait_status(lambda s: s["swings_stored"] == before and s["queue"] == 0, "stored", 90)
    daemon.stop()
    check(one(path, "SELECT count(*) FROM swing") == before, "swings")


def test_full_at_the_start(place):
    """No file may grow beyond nothing: the disk is full before the daemon runs."""
    hard = resource.RLIM_INFINITY
    soft = resource.getrlimit(resource.RLIMIT_FSIZE)[0]
    resource.setrlimit(resource.RLIMIT_FSIZE, (8192, hard))
    try:
        place.board()
        daemon = place.daemon()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    daemon.wait_status(lambda s: s["store_state"] == "failing", "failing")
    swings = lesson_into(place, daemon)
    daemon.wait_status(lambda s: s["queue"] == swings, "all swings wait")
    limit_files(daemon, resource.RLIM_INFINITY)
    daemon.wait_status(lambda s: s["swings_stored"] == swings, "stored", 90)
    daemon.stop()


def test_replaced_while_it_runs(place):
    """The file is put away: it is not made anew behind the user's back, and what is put there in its
    place is opened, with another calibration of another life."""
    path = a_database(place)
    backup = place.path("backup.db")
    shutil.copy(path, backup)
    place.board()
    daemon = place.daemon()
    swings = lesson_into(place, daemon)
    daemon.wait_status(lambda s: s["swings_stored"] == swings, "stored")
    for end in ("", "-wal", "-shm"):
        if os.path.exists(path + end):
            os.rename(path + end, place.path("old.db" + end))
    lesson_into(place, daemon)
    daemon.wait_status(lambda s: s["queue"] == swings, "all swings wait")
    check("is gone: put it back" in daemon.ask()["store_problem"], daemon.ask())
    check(not os.path.exists(path), "made anew")
    os.rename(backup, path)
    daemon.wait_status(lambda s: s["swings_stored"] == 2 * swings and s["queue"] == 0, "stored", 90)
    log = daemon.stop()
    check("the database is open" in log, log)
    check(one(path, "SELECT count(*) FROM swing") == swings, "swings of the new one")
    check(one(place.path("old.db"), "SELECT count(*) FROM swing") == swings, "swings of the old one")


def test_stays_unusable(place):
    """Ended while nothing could be stored: the next start that can finds the swings in the spool."""
    path = a_database(place)
    good = place.path("good.db")
    shutil.move(path, good)
    with open(path, "wb") as f:
        f.write(b"noise" * 1000)
    place.board()
    daemon = place.daemon()
    swings = lesson_into(place, daemon)
    daemon.wait_status(lambda s: s["queue"] == swings, "all swings wait")
    daemon.signal(signal.SIGTERM)
    daemon.wait_log("still storing")
    daemon.signal(signal.SIGTERM)
    check(f"{swings} swings could not be stored and wait" in daemon.wait_end(1), daemon.log())
    os.rename(good, path)
    daemon = place.daemon()
    daemon.wait_status(lambda s: s["swings_stored"] == swings, "stored")
    daemon.stop()
    check(one(path, "SELECT count(*) FROM swing") == swings, "swings")


def test_ends_at_once(place):
    """Nothing waits for the database: nor does the end."""
    with open(place.path("underfoot.db"), "wb") as f:
        f.write(b"noise" * 1000)
    daemon = place.daemon()
    daemon.wait_status(lambda s: s["store_state"] == "failing", "failing")
    begun = time.monotonic()
    daemon.stop()
    check(time.monotonic() - begun < 20, "the end waits")


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


run(test_foreign, test_locked_at_the_start, test_damaged_header, test_damaged_inside, test_newer,
    test_read_only_first, test_read_only_later, test_full_at_the_start, test_replaced_while_it_runs,
    test_stays_unusable, test_ends_at_once, test_no_folder, test_two_daemons_on_one_database,
    test_two_daemons_on_one_socket, test_stale_socket, test_control_is_a_file, test_locked,
    test_full_disk, test_full_to_the_end, test_room_again_while_it_ends, test_slow_disk)

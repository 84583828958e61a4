#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""A lesson by commands while the daemon runs: the player's hand reaches the daemon, swings fall into
the open block, a restart of the daemon goes on with the lesson, the six questions of README.md
have answers, backup and erase work beside the daemon."""
import os
import re

from e2e import check, one, rows, run

README = os.path.join(os.path.dirname(__file__), "..", "..", "README.md")


def underfoot(place, daemon, *words, code=0):
    return place.run(place.program("src/cli/underfoot"), "--config", place.path("cli.conf"), *words,
                     code=code)


def settings(place, daemon):
    with open(place.path("cli.conf"), "w") as f:
        f.write(f"[daemon]\ndatabase = {daemon.database}\ncontrol = {daemon.control}\n")


def questions():
    """The queries of README.md that stand below a question."""
    with open(README) as f:
        text = f.read()
    found = re.findall(r"^\d\. \*\*(.+?)\*\*.*?```sql\n(.*?)```", text, re.S | re.M)
    check(len(found) == 6, "README.md asks", len(found), "questions, not 6")
    return found


def play(place, daemon, swings_before):
    place.sim("--pty", place.path("board"), "--lesson", "short", "--fast", "--truth",
              place.path("truth.jsonl"))
    daemon.wait_status(lambda s: s["swings_stored"] == swings_before + 2, "two more swings")


def test_lesson(place):
    daemon = place.daemon()
    settings(place, daemon)
    daemon.wait_log("there is no board at")
    underfoot(place, daemon, "player", "add", "Kim", "--hand", "left", "--cautions", "back, 2021")
    out = underfoot(place, daemon, "session", "start", "Kim")
    check("CAUTIONS: back, 2021" in out, out)
    daemon.wait_status(lambda s: s["hand"] == "left" and s["session"] == 2, "hand and session")
    underfoot(place, daemon, "player", "edit", "Kim", "--hand", "right")
    daemon.wait_status(lambda s: s["hand"] == "right", "the other hand")
    underfoot(place, daemon, "block", "start", "baseline", "--ball", "--club", "7 iron")
    play(place, daemon, 0)
    underfoot(place, daemon, "block", "start", "retest", "--ball", "--club", "7 iron")
    play(place, daemon, 2)
    underfoot(place, daemon, "block", "end")
    daemon.stop()
    check(one(daemon.database, "SELECT ended_utc_us IS NULL FROM session WHERE id = 2") == 1,
          "a person's session ended with the daemon")

    # the daemon starts again: the lesson goes on, with the player's hand from the first sample
    underfoot(place, daemon, "player", "edit", "Kim", "--hand", "left")
    daemon = place.daemon()
    daemon.wait_status(lambda s: s["hand"] == "left" and s["session"] == 2, "the lesson goes on")
    underfoot(place, daemon, "player", "edit", "Kim", "--hand", "right")
    daemon.wait_status(lambda s: s["hand"] == "right", "hand")
    underfoot(place, daemon, "block", "start", "retest")
    play(place, daemon, 0)
    underfoot(place, daemon, "swing", "extra", "1", "club_speed", "84", "mph")
    underfoot(place, daemon, "swing", "exclude", "6", "--reason", "slipped")
    underfoot(place, daemon, "session", "end")
    daemon.wait_status(lambda s: s["session"] is None, "no session is open")
    check(rows(daemon.database, "SELECT block_id, count(*) FROM swing GROUP BY block_id") ==
          [(1, 2), (2, 2), (3, 2)], rows(daemon.database, "SELECT id, block_id FROM swing"))

    for question, query in questions():
        try:
            answer = rows(daemon.database, query)
        except Exception as e:
            check(False, question, query, e)
        check(answer, question, "has no answer:", query)

    copy = place.path("copy.db")
    check("6 swings, checked" in underfoot(place, daemon, "backup", copy), "backup")
    check("Erased" in underfoot(place, daemon, "erase", "Kim", "--yes"), "erase")
    check(one(daemon.database, "SELECT count(*) FROM swing") == 0, "swings are left")
    check(one(copy, "SELECT count(*) FROM swings WHERE player = 'Kim'") == 6, "the copy")
    # the daemon stores on: in a session of nobody's
    play(place, daemon, 2)
    check(one(daemon.database, "SELECT count(*) FROM swings WHERE player IS NULL") == 2, "after")
    daemon.stop()


run(test_lesson)

"""The guarantees for entries and readings under kills at random points. `make soak` runs it for longer."""

import random
from pathlib import Path

from tests.soak.killing import Killing, seed
from tests.soak.packing import kill_packing

LOST_S = 10.0  # half a second, and the writing time of a busy computer: no test of its speed


def test_a_server_killed_at_random_loses_no_entry_and_only_the_newest_readings(tmp_path: Path):
    """Over all kills every acknowledged entry is stored; of readings only the newest of each sender are missing."""
    number = seed()
    killing = Killing(tmp_path, random.Random(number))
    try:
        points = killing.points(3, 2.5)
        again = killing.server.ask("GET", "/api/batches/" + killing._batches["drum-4"])[1]
    finally:
        killing.end()
    said = f"seed {number}: {points}"
    assert sum(point.entries for point in points) > 20, said
    assert sum(point.readings for point in points) > 20, said
    assert [point.lost_entries for point in points] == [0, 0, 0], said
    assert [point.holes for point in points] == [0, 0, 0], said
    assert max(point.lost_s for point in points) <= LOST_S, said
    assert again["state"] == "roasting"
    there = {line["id"] for line in again["entries"]}
    assert {ident for ident, made in killing.said.entries.items() if made["machine"] == "drum-4"} <= there


def test_packing_that_is_killed_loses_no_reading(tmp_path: Path):
    """Packing replaces rows in one transaction: whenever it is killed, each reading is stored once."""
    number = seed()
    kept, missing = kill_packing(tmp_path, 4, random.Random(number))
    assert kept > 100, f"seed {number}"
    assert missing == 0, f"seed {number}"

"""A flooded server still answers taps and loses nothing acknowledged. `make soak` measures it for longer."""

import random
from pathlib import Path

from tests.soak.flood import Flood
from tests.soak.killing import seed

ENTRIES = 200
LOST_S = 10.0  # no test of the computer's speed


def test_a_flooded_server_takes_taps_and_loses_no_entry(tmp_path: Path):
    """Beside posts of many entries and a logger's backlog, taps and live readings are stored."""
    number = seed()
    flooding = Flood(tmp_path, random.Random(number), entries=ENTRIES)
    try:
        done = flooding.run(5.0)
    finally:
        flooding.end()
    said = f"seed {number}: {done.entries} entries, {done.readings} readings, {len(done.tap_s)} taps"
    assert done.entries >= ENTRIES, said
    assert done.readings > 0, said
    assert len(done.tap_s) >= 5, said
    assert done.lost_entries == 0, said
    assert done.lost_s <= LOST_S, said

"""The guarantees for eight machines at full rate with twenty screens. `make soak` runs it for an hour."""

from pathlib import Path

from tests.soak.load import HERTZ, MACHINES, WATCHERS, load

SECONDS = 60
RATE = 10.0


def test_no_reading_of_eight_machines_at_full_rate_is_lost(tmp_path: Path):
    """In a minute of their time each acknowledged reading is stored, and every screen received some."""
    done = load(tmp_path, SECONDS, RATE)
    assert done.readings == len(MACHINES) * 6 * HERTZ * SECONDS
    assert done.lost == 0
    assert done.events >= WATCHERS

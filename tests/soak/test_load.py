"""Eight machines at full rate with twenty screens: what is promised of them. `make soak` does it for an hour."""

from pathlib import Path

from tests.soak.load import HERTZ, MACHINES, WATCHERS, load

SECONDS = 60
RATE = 10.0


def test_no_reading_of_eight_machines_at_full_rate_is_lost(tmp_path: Path):
    """A minute of their time: each reading that was acknowledged is in the database, and every screen heard of some."""
    done = load(tmp_path, SECONDS, RATE)
    assert done.readings == len(MACHINES) * 6 * HERTZ * SECONDS
    assert done.lost == 0
    assert done.events >= WATCHERS

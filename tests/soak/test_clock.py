"""The guarantees for steps of the computer's clock. `make soak` makes more of them, and waits for what comes later."""

from pathlib import Path

import pytest

from tests.soak.clock_starts import Starts
from tests.soak.faketime import MISSING
from tests.soak.stepped import DAY_S, HOUR_S, stepped_server

pytestmark = pytest.mark.skipif(MISSING is not None, reason=str(MISSING))


def test_steps_of_the_wall_clock_leave_a_roast_and_the_next_start_alone(tmp_path: Path):
    """All times of a roast are true; after a kill a server whose clock was set back a day records and lets in."""
    with stepped_server(tmp_path) as server:
        starts = Starts(server, (HOUR_S, -DAY_S, 0))
        assert min(starts.first.entries, starts.first.readings, starts.first.events) >= 3
        starts.start(-DAY_S)
        assert starts.wrong == []

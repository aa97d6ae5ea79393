"""An update of the server while taps wait for it. `make soak` does it from each earlier version."""

from pathlib import Path

from tests.soak.upgrade import EARLIER, PHONES, TAPS, Upgraded, upgrade


def test_taps_that_wait_for_the_first_start_of_a_newer_version_are_stored(tmp_path: Path):
    """They meet the changes of the schema: each that is acknowledged is there, and each entry from before."""
    assert upgrade(tmp_path, EARLIER[0]) == Upgraded(PHONES * TAPS, lost=0, missing=0)

"""The gate itself: tests that share something costly run on one worker."""

import pytest


@pytest.mark.xdist_group("of the gate")
def test_a_group_reaches_the_scheduler(request: pytest.FixtureRequest):
    """On a worker the id of a grouped test, by which xdist schedules, ends in its group."""
    is_on_a_worker = hasattr(request.config, "workerinput")
    assert request.node.nodeid.endswith("@of the gate") == is_on_a_worker

"""Pushed readings: each is valid, or refused with a reason, and none affects another."""

import math

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roastlog.errors import ReadingsRefused
from roastlog.instruments.converted import MAX_TEMP_C
from roastlog.recording.push import BEHIND_MS, take_push
from roastlog.store import readings
from tests.conftest import START_MS, Bench

SCALARS = st.none() | st.booleans() | st.integers() | st.integers(10**300, 10**400) | st.floats() | st.text(max_size=8)
ANYTHING = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["at_ms", "readings", "x"]), inner),
    max_leaves=8,
)
READINGS = st.fixed_dictionaries(
    {
        "channel": st.sampled_from(["bean_probe", "bean_surface", "nowhere"]) | ANYTHING,
        "value": st.floats(-3000, 3000) | ANYTHING,
    },
    optional={"at_ms": st.integers(START_MS - 2 * BEHIND_MS, START_MS + 10_000) | ANYTHING, "unit": ANYTHING},
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ANYTHING | st.fixed_dictionaries({"readings": st.lists(READINGS | ANYTHING, max_size=5)}))
def test_any_push_is_accepted_or_refused_with_a_reason(bench: Bench, payload: object):
    """Nothing crashes; each reading is counted, each refusal has a reason, and no impossible value is shown."""
    live = bench.services.runtime.live("drum-4")
    try:
        told = take_push(live, payload, bench.clock)
    except ReadingsRefused:
        return
    assert isinstance(payload, dict)
    assert told.accepted + len(told.refused) == len(payload["readings"])
    assert all(len(one.reason) > 10 for one in told.refused)
    assert all(math.isfinite(value) and abs(value) <= MAX_TEMP_C for value in live.numbers().values.values())


def test_a_good_reading_counts_beside_any_bad_one(bench: Bench):
    """A time of four hundred digits is refused alone."""
    payload = {
        "readings": [
            {"channel": "bean_probe", "value": 100, "at_ms": 10**400},
            {"channel": "bean_probe", "value": 101, "at_ms": START_MS},
        ]
    }
    told = take_push(bench.services.runtime.live("drum-4"), payload, bench.clock)
    assert (told.accepted, [one.index for one in told.refused]) == (1, [0])


def test_late_readings_are_on_the_disk_when_they_are_accepted(bench: Bench):
    """A logger's backlog is not held in memory, however large it is."""
    bench.clock.turn_to(600)
    bench.push(*((second / 10, "bean_probe", 150.0) for second in range(3000)))
    assert len(readings.rows_between(bench.services.store.read, "drum-4", START_MS, START_MS + 300_000)) == 3000

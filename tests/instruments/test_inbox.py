"""The inbox of a source that sends by itself keeps all readings in order, and has a fault only during silence."""

import logging

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.inbox import MAX_READINGS, MOST_LATE_MS, Inbox
from tests.conftest import START_MS, HandClock


@pytest.fixture
def inbox(clock: HandClock) -> Inbox:
    """An inbox of two channels, one with a longer limit of silence."""
    return Inbox("a link", {"probe": 5.0, "room": 60.0}, clock)


def test_all_that_came_is_taken_once_in_the_order_of_time(inbox: Inbox, clock: HandClock):
    """Three messages of two channels between two polls are three readings, with their times of arrival."""
    for at_s, name, value in ((1.0, "probe", 196.3), (1.1, "room", 24.0), (1.2, "probe", 196.5)):
        clock.turn_to(at_s)
        inbox.put(name, value, f"{value}")
    assert inbox.take(["room", "probe"]) == [
        Reading(START_MS + 1000, "probe", 196.3, "196.3"),
        Reading(START_MS + 1100, "room", 24.0, "24.0"),
        Reading(START_MS + 1200, "probe", 196.5, "196.5"),
    ]
    assert inbox.take(["room", "probe"]) == []


def test_two_in_one_millisecond_are_both_kept(inbox: Inbox, clock: HandClock):
    """Two readings of one channel never get the same time: the second waits until the clock has a time for it."""
    inbox.put("probe", 1.0, "")
    inbox.put("probe", 2.0, "")
    assert inbox.take(["probe"]) == [Reading(START_MS, "probe", 1.0, "")]
    clock.turn_to(0.25)
    assert inbox.take(["probe"]) == [Reading(START_MS + 1, "probe", 2.0, "")]


def test_no_reading_is_stamped_ahead_of_the_clock(inbox: Inbox, clock: HandClock):
    """Ten messages a millisecond: one a millisecond is taken, none ahead, none more than a tenth of a second late."""
    taken: list[tuple[int, float]] = []
    for number in range(10_000):
        clock.turn_to(number // 10 / 1000)
        inbox.put("probe", float(number), "")
        if number % 2500 == 2499:
            fresh = [
                (reading.at_ms, reading.value) for reading in inbox.take(["probe"]) if isinstance(reading, Reading)
            ]
            assert fresh[-1][0] <= clock.now_ms()
            taken += fresh
    assert [at_ms for at_ms, _ in taken] == list(range(START_MS, START_MS + 1000))
    assert max(at_ms - START_MS - value / 10 for at_ms, value in taken) <= MOST_LATE_MS


def test_a_clock_that_was_set_back_hides_no_reading(inbox: Inbox, clock: HandClock):
    """Later readings have the time of the clock as it is now, and silence is counted from there."""
    clock.turn_to(100)
    inbox.put("probe", 1.0, "")
    inbox.take(["probe"])
    clock.turn_to(40)
    inbox.put("probe", 2.0, "")
    assert inbox.take(["probe"]) == [Reading(START_MS + 40_000, "probe", 2.0, "")]


def test_unread_readings_are_limited(inbox: Inbox, clock: HandClock):
    """If nobody reads, the oldest readings are dropped."""
    for number in range(MAX_READINGS + 7):
        clock.turn_to(number / 1000)
        inbox.put("probe", float(number), "")
    taken = inbox.take(["probe"])
    assert len(taken) == MAX_READINGS
    assert taken[0].value == 7.0


def test_silence_is_a_fault_of_its_channel_after_its_own_time(inbox: Inbox, clock: HandClock):
    """Silence beyond the channel's own limit is its fault; a channel with a longer limit has none yet."""
    clock.turn_to(5)
    assert inbox.take(["probe", "room"]) == []
    clock.turn_to(6)
    assert inbox.take(["probe", "room"]) == [
        ReadFault(START_MS + 6000, "probe", "No message for probe for more than 5 s.")
    ]
    inbox.put("probe", 1.0, "")
    clock.turn_to(10)
    assert len(inbox.take(["probe"])) == 1
    assert inbox.take(["probe"]) == []


def test_garble_is_counted_and_a_fault_without_readings(inbox: Inbox, clock: HandClock, caplog):
    """Garbled data between good readings is counted; alone it is a fault with the first reason and the last text."""
    caplog.set_level(logging.INFO, "roastlog.instruments.inbox")
    inbox.put("probe", 1.0, "")
    inbox.take(["probe"])
    inbox.reject("probe", "“x” is not a number.", "x")
    assert inbox.take(["probe"]) == []
    for at_s in range(1, 5):
        clock.turn_to(at_s)
        inbox.reject("probe", f"“{at_s}y” is not a number.", f"{at_s}y")
    assert inbox.take(["probe"]) == [ReadFault(START_MS + 4000, "probe", "“x” is not a number.", "4y")]
    inbox.put("probe", 2.0, "")
    assert [type(item) for item in inbox.take(["probe"])] == [Reading]
    clock.turn_to(8)
    assert inbox.take(["probe"]) == []
    assert inbox.rejected == 5
    assert [record.getMessage() for record in caplog.records] == [
        "a link: so far 1 that came were no readings; the last: “x” is not a number."
    ]


def test_garble_before_any_reading_is_a_fault_at_once(inbox: Inbox):
    """Garbled data before any reading is a fault at once, since the sheet may not fit the data."""
    inbox.reject("probe", "no fit", "x")
    assert inbox.take(["probe", "room"]) == [ReadFault(START_MS, "probe", "no fit", "x")]


def test_a_new_connection_begins_with_nothing(inbox: Inbox, clock: HandClock):
    """A new connection starts without the readings and faults of the old one."""
    inbox.put("probe", 1.0, "")
    inbox.fail("room", "no")
    clock.turn_to(100)
    inbox.reset()
    assert inbox.take(["probe", "room"]) == []


@given(
    steps=st.lists(
        st.tuples(st.floats(0, 0.4), st.sampled_from(["put", "garble", "take"]), st.sampled_from(["probe", "room"])),
        max_size=60,
    )
)
def test_no_reading_is_lost_between_polls(steps):
    """Whatever arrives and whenever it is polled, each reading is returned once, and times of a channel increase."""
    clock = HandClock()
    inbox = Inbox("a link", {"probe": 5.0, "room": 60.0}, clock)
    taken: list[Reading] = []
    now_s, sent = 0.0, 0
    for pause_s, what, name in [*steps, (1.0, "take", "probe")]:
        now_s += pause_s
        clock.turn_to(now_s)
        if what == "put":
            sent += 1
            inbox.put(name, float(sent), "")
        elif what == "garble":
            inbox.reject(name, "no", "")
        else:
            taken += [item for item in inbox.take(["probe", "room"]) if isinstance(item, Reading)]
    assert sorted(reading.value for reading in taken) == list(range(1, sent + 1))
    for name in ("probe", "room"):
        times = [reading.at_ms for reading in taken if reading.channel == name]
        assert times == sorted(set(times))

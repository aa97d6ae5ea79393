"""Lines over a pseudo-terminal: complete, partial and garbled ones, and a pulled cable."""

import pytest

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.serial_line import SerialInstrument
from roastlog.machine.sources import SerialPoint
from tests.instruments.cable import Cable
from tests.recording.test_hub import until


@pytest.fixture
def cable(tmp_path):
    """A cable; the test writes to its near end."""
    with Cable(tmp_path) as cable:
        yield cable


@pytest.fixture
def linked(cable):
    """Creates open instruments, and closes them afterwards."""
    made: list[SerialInstrument] = []

    def make(**points: dict[str, object]) -> SerialInstrument:
        models = {name: SerialPoint.model_validate({"device": cable.near, **point}) for name, point in points.items()}
        made.append(SerialInstrument(models, Clock()))
        made[-1].open()
        cable.say(b"the rest of a line\r\n")
        return made[-1]

    yield make
    for instrument in made:
        instrument.close()


COLUMNS = {"separator": ",", "columns": 3}


def wait_for(instrument: SerialInstrument, *ids: str, count: int) -> list[Reading | ReadFault]:
    """Wait for this many readings and return them."""
    got: list[Reading | ReadFault] = []

    def enough() -> bool:
        got.extend(instrument.read(ids))
        return len(got) >= count

    until(enough)
    assert len(got) == count
    return got


def values(answers: list[Reading | ReadFault]) -> list[tuple[str, float | str]]:
    """Channel and value of each reading, or reason of each fault."""
    return [(answer.channel, answer.value if isinstance(answer, Reading) else answer.reason) for answer in answers]


def test_columns_of_one_port_are_several_channels(cable, linked):
    """Each line gives each channel its column, scaled, with the line as raw data."""
    instrument = linked(probe={**COLUMNS, "column": 1}, exhaust={**COLUMNS, "column": 3, "scale": 0.1, "offset": -5})
    cable.say(b"196.3,204.1,2200\r\n196.4,204.2,2210\r\n")
    answers = wait_for(instrument, "probe", "exhaust", count=4)
    assert sorted(values(answers)) == [("exhaust", 215), ("exhaust", 216), ("probe", 196.3), ("probe", 196.4)]
    assert answers[0].raw == "196.3,204.1,2200"
    assert instrument.rejected == 0


def test_patterns_of_one_port_are_several_channels(cable, linked):
    """Channels share a port by two groups of one pattern, or by lines with different patterns."""
    both = r"B:(?P<bean>[-\d.]+) E:(?P<exhaust>[-\d.]+)"
    instrument = linked(
        probe={"pattern": both, "group": "bean"},
        exhaust={"pattern": both, "group": "exhaust"},
        room={"pattern": r"room (?P<value>[-\d.]+) C"},
    )
    cable.say(b"B:196.3 E:-4\nroom 24.5 C\n")
    answers = wait_for(instrument, "probe", "exhaust", "room", count=3)
    assert sorted(values(answers)) == [("exhaust", -4), ("probe", 196.3), ("room", 24.5)]
    assert instrument.rejected == 0


def test_a_line_may_come_in_pieces(cable, linked):
    """A number split over two reads is one number, and none before its line ends."""
    instrument = linked(probe={**COLUMNS})
    cable.say(b"19")
    until(lambda: instrument._port is not None and instrument._port.in_waiting == 0)
    assert instrument.read(["probe"]) == []
    cable.say(b"6.3,1,2")
    cable.say(b"\r")
    assert values(wait_for(instrument, "probe", count=1)) == [("probe", 196.3)]


def test_text_before_the_first_line_end_is_discarded(cable):
    """A port opened in mid-line receives “6.3,1,2”, which looks complete, and rejects it."""
    instrument = SerialInstrument({"probe": SerialPoint(device=cable.near, **COLUMNS)}, Clock())
    instrument.open()
    cable.say(b"6.3,1,2\r\n196.4,1,2\r\n")
    assert values(wait_for(instrument, "probe", count=1)) == [("probe", 196.4)]
    instrument.close()


def test_garbage_is_counted_and_never_a_number(cable, linked):
    """Lines that do not match are a fault with the last of them; a valid line ends it."""
    instrument = linked(probe={**COLUMNS})
    garbage = [b"196.3,204.1", b"nan,1,2", b"\xff\xfe\x80,1,2", b"1,2,3,4", b"196,3,1,2", b"-,1,2"]
    cable.say(b"\n".join(garbage) + b"\n")
    until(lambda: instrument.rejected == 6)
    [fault] = instrument.read(["probe"])
    assert isinstance(fault, ReadFault)
    assert (fault.reason, fault.raw) == ("“196.3,204.1” has 2 of 3 columns.", "-,1,2")
    cable.say(b"196.3,1,2\n")
    until(lambda: values(instrument.read(["probe"])) == [("probe", 196.3)])
    assert instrument.read(["probe"]) == []


def test_nothing_is_ever_sent(cable, linked):
    """In a whole session not a byte reaches the device's end."""
    instrument = linked(probe={**COLUMNS})
    cable.say(b"196.3,1,2\n")
    wait_for(instrument, "probe", count=1)
    instrument.close()
    assert cable.heard() == b""


def test_unplugged_and_plugged_in_again(cable, linked):
    """Readings before the loss are kept; then the loss is reported; after replugging the port is read again."""
    instrument = linked(probe={**COLUMNS})
    cable.say(b"196.3,1,2\n")
    until(lambda: instrument._inbox._waiting["probe"])
    cable.unplug()
    until(lambda: instrument._lost)
    assert values(instrument.read(["probe"])) == [("probe", 196.3)]
    with pytest.raises(InstrumentError, match="is gone"):
        instrument.read(["probe"])
    with pytest.raises(InstrumentError, match="is not there"):
        instrument.open()
    with pytest.raises(InstrumentError, match="not open"):
        instrument.read(["probe"])
    cable.plug_in()
    instrument.open()
    cable.say(b"\n196.5,1,2\n")
    assert values(wait_for(instrument, "probe", count=1)) == [("probe", 196.5)]


def test_a_port_in_use_is_reported(cable, linked):
    """A second listener is refused, since each would get half of the data."""
    linked(probe={**COLUMNS})
    with pytest.raises(InstrumentError, match="in use"):
        linked(probe={**COLUMNS})


def test_close_never_raises_and_one_link_has_one_port(cable):
    """Closing an unopened port does nothing; points of two ports cannot share one link."""
    one, other = SerialPoint(device=cable.near, **COLUMNS), SerialPoint(device=cable.far, **COLUMNS)
    SerialInstrument({"a": one}, Clock()).close()
    with pytest.raises(ValueError, match="one port"):
        SerialInstrument({"a": one, "b": other}, Clock())

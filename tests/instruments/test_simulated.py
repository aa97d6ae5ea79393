"""The roaster for practice."""

import pytest

from roastlog.clock import Clock
from roastlog.instruments.base import Instrument, ReadFault, Reading
from roastlog.instruments.simulated import SimulatedInstrument
from roastlog.machine.model import practice_machine

IDS = ["bean_probe", "bean_surface", "exhaust"]


class HandClock(Clock):
    """A clock set by hand."""

    def __init__(self) -> None:
        super().__init__(wall_ms=1_800_000_000_000)
        self.at_ms = 1_800_000_000_000

    def now_ms(self) -> int:
        return self.at_ms

    def pass_s(self, duration_s: float) -> None:
        self.at_ms += round(duration_s * 1000)


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def drum(clock: HandClock) -> SimulatedInstrument:
    return SimulatedInstrument(clock, seed=4)


def values(instrument: Instrument, ids=IDS) -> dict[str, float]:
    answers = instrument.read(ids)
    assert all(isinstance(answer, Reading) for answer in answers)
    return {answer.channel: answer.value for answer in answers if isinstance(answer, Reading)}


def test_it_serves_the_practice_machine(drum: SimulatedInstrument):
    """Each channel of the practice sheet is read, at the clock's time."""
    instrument: Instrument = drum
    instrument.open()
    ids = [channel.id for channel in practice_machine().channels]
    assert list(values(instrument, ids)) == ids
    assert {answer.at_ms for answer in instrument.read(ids)} == {1_800_000_000_000}
    instrument.close()


def test_a_batch_is_roasted_by_its_entries(drum: SimulatedInstrument, clock: HandClock):
    """The drum is warm, the probe turns after charge and rises, and after the drop the drum warms up again."""
    clock.pass_s(600)
    assert values(drum)["bean_probe"] == pytest.approx(203.0, abs=4.0)
    drum.follow("opened", {"green_g": 4000.0})
    drum.follow("moment", {"moment": "charge"})
    probe_c = []
    for _ in range(600):
        clock.pass_s(1)
        probe_c.append(values(drum)["bean_probe"])
    turning_s = probe_c.index(min(probe_c)) + 1
    assert 55 <= turning_s <= 95
    assert 195.0 <= probe_c[-1] <= 215.0
    drum.follow("moment", {"moment": "drop"})
    clock.pass_s(1500)
    assert values(drum)["bean_probe"] == pytest.approx(203.0, abs=6.0)


def test_a_move_is_felt(clock: HandClock):
    """Less hot air, set in mid-roast or before the charge, gives a cooler bean than no move."""
    reached_c = {}
    for when in ("never", "before", "later"):
        drum = SimulatedInstrument(clock)
        if when == "before":
            drum.follow("move", {"control": "hot_air", "setting": 2.0})
        drum.follow("moment", {"moment": "charge"})
        clock.pass_s(200)
        drum.read(IDS)
        if when == "later":
            drum.follow("move", {"control": "hot_air", "setting": 2.0})
        clock.pass_s(200)
        reached_c[when] = values(drum)["bean_probe"]
    assert reached_c["before"] < reached_c["later"] - 3 < reached_c["never"] - 6


def test_less_green_heats_faster(clock: HandClock):
    """The green weight of the opened batch counts, within the machine's batch size."""
    reached_c = []
    for green_g in (100.0, 2000.0, 9000.0):
        drum = SimulatedInstrument(clock)
        drum.follow("opened", {"green_g": green_g})
        drum.follow("moment", {"moment": "charge"})
        clock.pass_s(300)
        reached_c.append(values(drum)["bean_probe"])
    assert reached_c == sorted(reached_c, reverse=True)


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("note", {"text": "chaff tray emptied"}),
        ("move", {"control": "shutter", "setting": 3.0}),
        ("move", {"control": "hot_air", "setting": 30.0}),
        ("move", {"control": "hot_air"}),
        ("moment", {"moment": "yellow"}),
        ("moment", {"moment": "drop"}),
        ("opened", {}),
        ("undo", {"entry": "3e0c7f0a-0000-4000-8000-000000000000"}),
    ],
)
def test_other_entries_change_nothing(clock: HandClock, kind: str, body: dict[str, object]):
    """An entry that is no action, or impossible at this machine, changes nothing."""
    told, untold = SimulatedInstrument(clock), SimulatedInstrument(clock)
    told.follow(kind, body)
    clock.pass_s(60)
    assert values(told) == values(untold)


def test_a_second_charge_lets_the_first_out(drum: SimulatedInstrument, clock: HandClock):
    """A charge with beans in the drum restarts with cold ones."""
    drum.follow("moment", {"moment": "charge"})
    clock.pass_s(400)
    before_c = values(drum)["bean_probe"]
    drum.follow("moment", {"moment": "charge"})
    clock.pass_s(75)
    assert values(drum)["bean_probe"] < before_c - 50


def test_channels_are_simulated_by_their_role(clock: HandClock):
    """Channels are simulated by their role; a channel that is not on the sheet gives a fault, not a number."""
    drum = SimulatedInstrument(clock, {"bt": "bean_probe", "in": "inlet_air", "metal": "drum", "shop": "room"})
    read = values(drum, ["bt", "in", "metal", "shop"])
    assert read["shop"] == 24.0
    assert read["metal"] == pytest.approx(204.0)
    assert read["bt"] == pytest.approx(202.0, abs=4.0)
    assert 100.0 < read["in"] < 300.0
    (answer,) = drum.read(["nothing"])
    assert isinstance(answer, ReadFault)
    assert "nothing" in answer.reason


def test_same_seed_same_readings(clock: HandClock):
    """Two machines with one seed agree; another seed differs."""
    first, again, other = (SimulatedInstrument(clock, seed=seed) for seed in (1, 1, 2))
    clock.pass_s(10)
    assert values(first) == values(again)
    assert values(first) != values(other)


def test_a_long_silence_is_caught_up(drum: SimulatedInstrument, clock: HandClock):
    """After a day without a reading the next one comes at once and is plausible."""
    clock.pass_s(86_400)
    assert values(drum)["bean_probe"] == pytest.approx(203.0, abs=4.0)

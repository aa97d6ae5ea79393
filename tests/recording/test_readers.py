"""The recorder over a real Modbus server: poll times, losses and returns, and controls turned on the machine."""

import logging
import threading
from collections.abc import Callable, Collection, Iterator
from pathlib import Path

import pytest

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import Instrument, ReadFault, Reading
from roastlog.journal.fold import Line
from roastlog.recording import readers
from roastlog.recording.readers import LONGEST_PAUSE_S, LinkReader, LinkState
from roastlog.services import Services, open_services
from roastlog.store import readings as stored
from tests.conftest import Bench
from tests.instruments.modbus_server import ModbusServer
from tests.recording.test_hub import Watcher, until

POINT = 'host = "127.0.0.1", port = {port}, table = "input", address = {address}, type = "int16", scale = 0.1'
CHANNEL = f"""
[[channels]]
id = "{{id}}"
name = "{{id}}"
role = "{{role}}"
modbus = {{{{ {POINT}, poll_s = {{poll_s}} }}}}
"""
CONTROL = f"""
[[controls]]
id = "radiant"
name = "Radiant"
unit = "step"
low = 0
high = 10
step = 0.5
modbus = {{{{ {POINT}, poll_s = 0.05 }}}}
"""


def sheet(ident: str, port: int) -> str:
    """A machine with a fast channel, a slow one, and a control with a register."""
    head = f'id = "{ident}"\nname = "{ident}"\nbatch_g = [800, 4500]\n'
    probe = CHANNEL.format(id="bean_probe", role="bean_probe", port=port, address=0, poll_s=0.05)
    exhaust = CHANNEL.format(id="exhaust", role="exhaust_air", port=port, address=1, poll_s=1.0)
    return head + probe + exhaust + CONTROL.format(port=port, address=2)


@pytest.fixture
def server() -> Iterator[ModbusServer]:
    """An instrument whose control stands at 4.0."""
    with ModbusServer() as server:
        server.set_input(2, [40])
        yield server


@pytest.fixture
def services(tmp_path: Path, server: ModbusServer, monkeypatch: pytest.MonkeyPatch) -> Iterator[Services]:
    """Services that read it; a lost link is retried soon."""
    monkeypatch.setattr(readers, "LONGEST_PAUSE_S", 0.3)
    services = open_services(tmp_path / "data", Clock())
    services.machines.keep_sheet(sheet("drum-4", server.port))
    services.start()
    until(lambda: services.runtime.live("drum-4").controls.settings)
    yield services
    services.close()


Say = Callable[..., str]


@pytest.fixture
def say(services: Services) -> Say:
    """Send an entry of a person now; returns its batch."""
    from uuid import uuid4

    def say(kind: str, batch: str | None = None, **body: object) -> str:
        raw = {"id": str(uuid4()), "machine": "drum-4", "kind": kind, "at_ms": services.clock.now_ms(), "body": body}
        raw |= {"batch": batch} if batch else {}
        result = services.journal.accept([{**raw, "by": {"person": "Ines"}}])[0]
        assert result.status == "stored", result.reason
        services.runtime.refresh("drum-4")
        return str(result.batch)

    return say


def link(services: Services, ident: str = "drum-4") -> LinkState:
    """The machine's only link."""
    return services.runtime.links(ident)[0]


def moves(services: Services, code: str) -> list[Line]:
    """The moves of a batch."""
    return services.batches.record(code).batch.of("move")


def turn(services: Services, server: ModbusServer, tenths: int) -> None:
    """Turn the control on the machine, wait until it was read, and let the recorder process it."""
    server.set_input(2, [tenths])
    until(lambda: services.runtime.live("drum-4").controls.settings["radiant"] == tenths / 10)
    services.runtime._save()


def test_each_channel_is_read_on_its_own_schedule(services: Services):
    """A fast channel is read many times per reading of a slow one; the values are the instrument's."""
    live = services.runtime.live("drum-4")

    def times(channel: str) -> int:
        live.save()
        rows = stored.rows_between(services.store.read, "drum-4", 0, services.clock.now_ms())
        return len([1 for _, values in rows if channel in values])

    until(lambda: times("exhaust") >= 3)
    assert times("bean_probe") > 3 * times("exhaust")
    assert live.numbers().values == {"bean_probe": 196.3, "exhaust": -5.5, "radiant": 4.0}
    assert link(services).state == "ok"


def test_a_loss_and_a_return_are_reported_once_each(
    services: Services, server: ModbusServer, caplog: pytest.LogCaptureFixture
):
    """The link is lost with a reason, then ok again; one line in the log for each."""
    caplog.set_level(logging.INFO, "roastlog.recording.readers")
    name, watcher = link(services).name, Watcher(services.live.hub("drum-4"))
    server.kill()
    until(lambda: link(services).state == "lost")
    until(lambda: "refused the connection" in link(services).reason)
    assert f"127.0.0.1:{server.port}" in link(services).reason
    assert services.live.health().machines[0].state == "lost"
    server.start()
    until(lambda: link(services).state == "ok")
    assert link(services).reason == ""
    lines = [record.getMessage() for record in caplog.records if record.name == "roastlog.recording.readers"]
    assert [line.split()[2] for line in lines] == ["lost", "ok"]
    assert all(line.startswith(name) for line in lines)
    until(lambda: watcher.named("state")[-1:] and watcher.named("state")[-1]["links"][0]["state"] == "ok")
    assert watcher.named("state")[0]["links"][0]["state"] == "lost"


def test_the_loss_of_one_machine_disturbs_no_other(services: Services, server: ModbusServer):
    """The other machine's link does not change, and its readings continue."""
    with ModbusServer() as other:
        services.machines.add(sheet("drum-9", other.port))
        until(lambda: link(services, "drum-9").state == "ok")
        before, live = link(services, "drum-9"), services.runtime.live("drum-9")
        server.kill()
        until(lambda: link(services).state == "lost")
        heard_ms = live.last_reading_ms or 0
        until(lambda: (live.last_reading_ms or 0) > heard_ms + 500)
        assert link(services, "drum-9") == before
        assert link(services).state == "lost"


def test_a_new_batch_starts_with_the_settings_as_read(services: Services, say: Say):
    """The machine's own entries give the settings, at the time of the opening."""
    code = say("opened")
    (move,) = moves(services, code)
    assert move.body == {"control": "radiant", "setting": 4.0}
    assert (move.by.person, move.by.device) == (None, "drum-4")
    assert services.live.view("drum-4").batch.settings == {"radiant": 4.0}


def test_a_control_turned_on_the_machine_is_one_move(services: Services, server: ModbusServer, say: Say):
    """The machine enters one move, in its batch, however often the control is read afterwards."""
    code = say("opened")
    turn(services, server, 55)
    for _ in range(3):
        services.runtime._save()
    assert [move.body["setting"] for move in moves(services, code)] == [4.0, 5.5]
    assert moves(services, code)[1].by.device == "drum-4"


def test_a_knob_that_passes_other_values_ends_where_it_stands(services: Services, server: ModbusServer, say: Say):
    """If the knob is turned in steps, the last move has its final setting; one that comes back makes no other move."""
    code = say("opened")
    live = services.runtime.live("drum-4")
    with live._lock:  # all turns before the recorder processes them
        now_ms = services.clock.now_ms()
        live.take([Reading(now_ms + number, "radiant", value) for number, value in enumerate([5.0, 6.0])])
        server.set_input(2, [60])
    services.runtime._save()
    assert services.batches.record(code).batch.settings == {"radiant": 6.0}


def test_turns_between_batches_belong_to_none(services: Services, server: ModbusServer, say: Say):
    """After the drop turns belong to no batch, and the next batch starts with the resulting settings."""
    first = say("opened")
    say("moment", first, moment="charge")
    say("moment", first, moment="drop")
    turn(services, server, 70)
    second = say("opened")
    assert [move.body["setting"] for move in moves(services, first)] == [4.0]
    assert [move.body["setting"] for move in moves(services, second)] == [7.0]


def test_a_waiting_batch_gets_the_current_settings(services: Services, server: ModbusServer, say: Say):
    """A batch opened while another roasted gets the current settings when its turn comes."""
    first = say("opened")
    say("moment", first, moment="charge")
    second = say("opened", coffee="Alder washed")
    turn(services, server, 25)
    assert [move.body["setting"] for move in moves(services, first)] == [4.0, 2.5]
    assert [move.body["setting"] for move in moves(services, second)] == [4.0]
    say("moment", first, moment="drop")
    services.runtime._save()
    assert services.live.view("drum-4").batch.code == second
    assert services.live.view("drum-4").batch.settings == {"radiant": 2.5}
    assert moves(services, second)[-1].by.device == "drum-4"


def test_turns_while_the_server_was_down_are_noticed(services: Services, server: ModbusServer, say: Say):
    """The current batch continues with the controls' present settings."""
    code = say("opened")
    say("moment", code, moment="charge")
    services.close()
    server.set_input(2, [85])
    again = open_services(services.store.path.parent, Clock())
    again.start()
    until(lambda: again.runtime.live("drum-4").controls.settings)
    again.runtime._save()
    settings = again.live.view("drum-4").batch.settings
    again.close()
    assert settings == {"radiant": 8.5}


def test_a_setting_out_of_the_controls_range_is_left_out(services: Services, server: ModbusServer, say: Say):
    """An impossible register value makes no move, and the other values are read."""
    code = say("opened")
    server.set_input(2, [990])
    until(lambda: "must be 0 to 10" in link(services).reason)
    turn(services, server, 50)
    assert [move.body["setting"] for move in moves(services, code)] == [4.0, 5.0]


def test_a_poll_of_a_bad_channel_alone_loses_no_link(bench: Bench):
    """A link is lost only when all its channels fail, whatever the order of good and bad polls."""

    class Half:
        name = "half an instrument"

        def open(self) -> None: ...

        def close(self) -> None: ...

        def read(self, ids: Collection[str]) -> list[Reading | ReadFault]:
            bad = {"bean_surface"} if good else {"bean_probe", "bean_surface"}
            return [ReadFault(0, name, f"no {name}") if name in bad else Reading(0, name, 200.0) for name in ids]

    good, seen = True, list[str]()
    polls = {"bean_probe": 0.05, "bean_surface": 0.02}
    reader = LinkReader(bench.services.runtime.live("drum-4"), Half(), polls, Clock(), changed=lambda: None)
    reader._changed = lambda: seen.append(f"{reader.link.state} {reader.link.reason}")
    reader.start()
    until(lambda: seen)
    reader._clock.wait(reader.stopping, 0.3)
    assert seen == ["ok no bean_surface"]
    good = False
    until(lambda: len(seen) > 1)
    assert seen[1] == "lost no bean_surface no bean_probe"
    reader.stop()


class Dead:
    """An instrument that cannot be opened."""

    name = "dead"

    def open(self) -> None:
        """Refuse."""
        raise InstrumentError("It is not there.")

    def read(self, ids: Collection[str]) -> list[Reading | ReadFault]:
        """Never called."""
        raise NotImplementedError

    def close(self) -> None:
        """Nothing to close."""


class Waits(threading.Event):
    """An event that records its waiting times without waiting; set after a dozen."""

    def __init__(self) -> None:
        super().__init__()
        self.asked_s: list[float] = []

    def wait(self, timeout: float | None = None) -> bool:
        """Record it."""
        self.asked_s.append(timeout or 0.0)
        if len(self.asked_s) == 12:
            self.set()
        return self.is_set()


def tried(bench: Bench, instrument: Instrument, changed: Callable[[LinkReader], None] = lambda _: None) -> LinkReader:
    """A reader that has tried an instrument a dozen times, without its pauses."""
    live = bench.services.runtime.live("drum-4")
    reader = LinkReader(live, instrument, {"bean_probe": 1.0}, bench.clock, changed=lambda: changed(reader))
    reader.stopping = waits = Waits()
    reader.start()
    until(lambda: len(waits.asked_s) == 12)
    return reader


def test_a_lost_link_is_tried_again_with_growing_and_uneven_pauses(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """Pauses grow from half a second to about 12 s, each within a fifth of its step, so links return one by one."""
    monkeypatch.setattr(readers, "LONGEST_PAUSE_S", LONGEST_PAUSE_S)  # the other tests do not wait that long
    waits = tried(bench, Dead()).stopping
    assert isinstance(waits, Waits)
    steps = [min(readers.FIRST_PAUSE_S * 2**place, LONGEST_PAUSE_S) for place in range(12)]
    shares = [asked / step for asked, step in zip(waits.asked_s, steps, strict=True)]
    assert all(0.8 <= share <= 1.2 for share in shares)
    assert len(set(shares)) > 6


class Faulty(Dead):
    """An instrument whose driver has a fault of its own, and another one at the seventh try."""

    def __init__(self) -> None:
        self._tries = 0

    def open(self) -> None:
        """Fail as no driver should."""
        self._tries += 1
        raise ZeroDivisionError if self._tries < 7 else KeyError("bean_probe")


class Sound(Dead):
    """An instrument that answers."""

    def open(self) -> None:
        """Nothing to connect to."""

    def read(self, ids: Collection[str]) -> list[Reading | ReadFault]:
        """A value for each."""
        return [Reading(0, name, 200.0) for name in ids]


def test_a_fault_of_our_own_replaces_the_last_values(bench: Bench):
    """The last value of each channel becomes a fault, as with a lost link."""
    read: list[Reading | ReadFault] = []

    def break_down(reader: LinkReader) -> None:
        if reader.link.state == "ok":
            read.append(reader.last_read()["bean_probe"])
            raise ZeroDivisionError

    last = tried(bench, Sound(), break_down).last_read()["bean_probe"]
    assert read[-1] == Reading(0, "bean_probe", 200.0)
    assert isinstance(last, ReadFault)
    assert last.reason == readers.OWN_FAULT


def test_the_pause_after_a_fault_starts_over_once_something_was_read(bench: Bench):
    """Pauses grow only while nothing is read; here each one is the first."""

    def break_down(reader: LinkReader) -> None:
        if reader.link.state == "ok":
            raise ZeroDivisionError

    waits = tried(bench, Sound(), break_down).stopping
    assert isinstance(waits, Waits)
    assert all(0.8 <= asked_s / readers.FIRST_PAUSE_S <= 1.2 for asked_s in waits.asked_s)


def test_a_fault_of_our_own_is_logged_once(bench: Bench, caplog: pytest.LogCaptureFixture):
    """Twelve attempts log two tracebacks: one for each kind of fault."""
    tried(bench, Faulty())
    logged = [record.exc_info[0] for record in caplog.records if record.exc_info]
    assert logged == [ZeroDivisionError, KeyError]

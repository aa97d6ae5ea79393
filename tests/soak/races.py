"""Two actions of owners at once: both meet in the writer, and each that was answered well counts afterwards."""

import threading
from collections.abc import Callable, Sequence
from functools import cached_property
from itertools import combinations_with_replacement
from typing import Final, NamedTuple

from werkzeug.test import TestResponse

from roastlog.machine.model import Machine
from roastlog.services import Device, LotRow
from roastlog.store import backups, projections
from roastlog.web.http.roles import OPERATE
from tests.conftest import START_MS, Bench
from tests.recording.test_hub import until
from tests.store.test_projections import rows
from tests.web.test_curve_settings import FORM
from tests.web.walk import browser

WELL, REFUSED = {200, 303}, {404, 422}
APART_S = 8000  # longer than a batch counts as the one in the drum
PATIENCE_S = 30.0
CONTROL: Final = {"kind": "", "unit": "%", "low": "0", "high": "100", "step": "5"}
ACTIONS: Final = (
    *(
        "settings",
        "cut_off",
        "change_device",
        "take_name",
        "pair",
        "revoke",
        "new_token",
        "rename_machine",
        "add_control",
    ),
    *("add_person", "erase", "buy", "rename_lot", "release", "hold", "note", "merge", "merge_back", "split"),
    *("withdraw", "back_up", "rebuild"),
)
# The later one of two takes the place of the earlier, or makes it impossible.
EITHER: Final = (
    *({"settings"}, {"cut_off", "change_device"}, {"take_name"}, {"pair"}, {"revoke", "new_token"}, {"rename_machine"}),
    *({"add_person", "erase"}, {"buy"}, {"rename_lot"}, {"merge", "merge_back", "split"}),
)
PAIRS: Final = list(combinations_with_replacement(ACTIONS, 2))
SUBJECTS: Final = (
    {"cut_off", "change_device", "take_name", "pair"},
    {"revoke", "new_token"},
    {"settings", "rebuild", "back_up"},
    {"rename_machine", "add_control", "rebuild"},
    {"add_person", "erase", "rebuild"},
    {"buy", "rename_lot", "rebuild"},
    {"release", "hold", "note", "merge", "merge_back", "split", "withdraw", "rebuild"},
)
RELATED: Final = [pair for pair in PAIRS if any(set(pair) <= subject for subject in SUBJECTS)]


class Action(NamedTuple):
    """A request, and whether it is in effect."""

    ask: Callable[[], TestResponse | None]
    holds: Callable[[], bool]


class Race:
    """Two actions about the same subjects, which are made when an action needs them. ``side`` is 0 or 1."""

    def __init__(self, bench: Bench, number: int) -> None:
        self.bench, self.services, self.number, self.at_s = bench, bench.services, number, number * APART_S
        bench.clock.turn_to(self.at_s + 600)

    @cached_property
    def device(self) -> Device:
        """A paired device."""
        browser(self.bench, OPERATE, name=f"tablet {self.number}")
        return next(device for device in self.services.devices.all() if device.name == f"tablet {self.number}")

    @cached_property
    def token(self) -> str:
        """Name of a program that has a token."""
        self.services.devices.new_token(f"logger {self.number}")
        return f"logger {self.number}"

    @cached_property
    def person(self) -> str:
        """Id of a person."""
        self.services.people.add(f"Tomas {self.number}")
        return next(person.id for person in self.services.people.all() if person.name == f"Tomas {self.number}")

    @cached_property
    def lot(self) -> str:
        """Code of a lot."""
        self.services.lots.keep(LotRow(f"HU-{self.number}", "Alder washed", bought_g=20_000))
        return f"HU-{self.number}"

    @cached_property
    def secret(self) -> str:
        """The link of an invitation."""
        return self.services.pairing.invite("look").secret

    @cached_property
    def joined(self) -> str:
        """Id of the opening of a second device that was joined to the batch."""
        entry = self.bench.entry("opened", self.at_s + 12)
        note = self.bench.entry("note", self.at_s + 20, batch=str(entry["id"]), text="From the tablet.")
        self.bench.say(*({**one, "by": {"device": "tablet"}} for one in (entry, note)))
        return str(entry["id"])

    @cached_property
    def batch(self) -> str:
        """A batch that was charged."""
        code = self.bench.open(self.at_s)
        self.bench.say(self.bench.entry("moment", self.at_s + 10, batch=code, moment="charge"))
        return code

    @cached_property
    def other(self) -> str:
        """Another batch of the machine, charged soon after it."""
        _ = self.batch  # the first one, since an opening without facts would be joined to this one
        code = self.bench.open(self.at_s + 100, coffee=f"Other {self.number}")
        self.bench.say(self.bench.entry("moment", self.at_s + 110, batch=code, moment="charge"))
        return code

    def post(self, path: str, holds: Callable[[], bool], **data: str) -> Action:
        """A form sent by the owner."""
        client = self.bench.app.test_client()
        return Action(lambda: client.post(path, data=data), holds)

    def lines(self, code: str) -> set[tuple[str, str]]:
        """Kinds and words of the lines that count, of a batch or of the one that it was merged into."""
        batch = self.services.batches.record(code).batch
        if batch.merged_into is not None:
            batch = self.services.batches.record(batch.merged_into).batch
        said = ((line, line.body.get("text") or line.body.get("decision")) for line in batch.lines)
        return {(line.kind, str(words)) for line, words in said if not line.undone}

    def state(self, code: str) -> str:
        """State of a batch."""
        return self.services.batches.record(code).batch.state

    def named(self, name: str) -> bool:
        """Whether a device of that name is paired."""
        return any(device.name == name for device in self.services.devices.all())

    # The actions

    def settings(self, side: int) -> Action:
        """Another name of the business."""
        name = f"Roasters {self.number} {side}"
        return self.post(
            "/settings", lambda: self.services.settings.current().business == name, **FORM | {"business": name}
        )

    def cut_off(self, _: int) -> Action:
        """End the access of the device."""
        ident = self.device.id
        return self.post(
            f"/devices/{ident}/cut-off", lambda: all(device.id != ident for device in self.services.devices.all())
        )

    def change_device(self, side: int) -> Action:
        """Another name of the device."""
        name = f"phone {self.number} {side}"
        return self.post(f"/devices/{self.device.id}", lambda: self.named(name), name=name, role="look", person="")

    def take_name(self, side: int) -> Action:
        """The same name for a device of its own."""
        browser(self.bench, OPERATE, name=f"own {self.number} {side}")
        ident = next(d.id for d in self.services.devices.all() if d.name == f"own {self.number} {side}")
        told = ident, f"scale {self.number}"
        all_of = self.services.devices.all
        return self.post(
            f"/devices/{ident}",
            lambda: told in {(d.id, d.name) for d in all_of()},
            name=told[1],
            role="look",
            person="",
        )

    def pair(self, side: int) -> Action:
        """Pair a phone by the one link."""
        client, name, secret = browser(self.bench), f"guest {self.number} {side}", self.secret
        return Action(lambda: client.post("/pair", data={"secret": secret, "name": name}), lambda: self.named(name))

    def revoke(self, _: int) -> Action:
        """End the access of the program."""
        name = self.token
        return self.post(
            "/tokens/revoke", lambda: all(one.name != name for one in self.services.devices.programs()), name=name
        )

    def new_token(self, side: int) -> Action:
        """Another token for the program."""
        told = self.token, ("look", "own")[side]
        programs = self.services.devices.programs
        return self.post(
            "/tokens", lambda: told in {(one.name, one.role.word) for one in programs()}, name=told[0], role=told[1]
        )

    def rename_machine(self, side: int) -> Action:
        """Another name of the machine."""
        name = f"Drum {self.number} {side}"
        return self.post(
            "/machines/drum-4/setup", lambda: self.machine().name == name, name=name, smallest="800", largest="4500"
        )

    def add_control(self, side: int) -> Action:
        """Another control of the machine."""
        name = f"Flap {self.number} {side}"
        return self.post(
            "/machines/drum-4/controls",
            lambda: name in {control.name for control in self.machine().controls},
            **CONTROL | {"name": name},
        )

    def machine(self) -> Machine:
        """The machine as it is stored."""
        return self.services.machines.kept()[0]

    def add_person(self, side: int) -> Action:
        """Another name for bags of a person."""
        name, shown = f"Tomas {self.number}", f"T{side}."
        shows = lambda: shown in {one.shown for one in self.services.people.all() if one.name == name}  # noqa: E731
        return self.post("/people", shows, name=name, shown=shown)

    def erase(self, _: int) -> Action:
        """Erase the names of the person."""
        ident, name = self.person, f"Tomas {self.number}"
        entry = self.bench.entry("erased", self.at_s + 600) | {"about": f"person {ident}", "by": {}}
        del entry["machine"]
        client = self.bench.app.test_client()
        return Action(
            lambda: client.post("/api/entries", json={"entries": [entry]}),
            lambda: all(one.id != ident for one in self.services.people.all()) and name.encode() not in self.journal(),
        )

    def journal(self) -> bytes:
        """All that the journal holds about people."""
        return b"".join(row[0].encode() for row in self.services.store.read.execute("SELECT body FROM erasable"))

    def buy(self, side: int) -> Action:
        """Enter a new lot."""
        code, coffee = f"QW-{self.number}", f"Alder {side}"

        def there() -> bool:
            lot = self.services.lots.find(code)
            return lot is not None and lot.coffee == coffee

        return self.post("/lots/new", there, code=code, coffee=coffee, bought="20")

    def rename_lot(self, side: int) -> Action:
        """Another coffee of the lot."""
        coffee, lot = f"Night Ferry {side}", self.lot
        return self.post(
            f"/lots/{lot}/change",
            lambda: self.services.lots.get(lot).coffee == coffee,
            coffee=coffee,
            reason="mistyped",
        )

    def release(self, _: int) -> Action:
        """Release the batch."""
        return self._decide("release")

    def hold(self, _: int) -> Action:
        """Hold the batch."""
        return self._decide("hold")

    def _decide(self, decision: str) -> Action:
        code = self.batch
        return self.post(
            f"/batches/{code}/decision", lambda: ("released", decision) in self.lines(code), decision=decision
        )

    def note(self, side: int) -> Action:
        """Add a note to the batch."""
        code, text = self.batch, f"Note {side}."
        return self.post(f"/batches/{code}/note", lambda: ("note", text) in self.lines(code), text=text)

    def merge(self, _: int) -> Action:
        """Merge the batch into the other one."""
        code, into = self.batch, self.other
        return self.post(
            f"/batches/{code}/merge", lambda: self.state(code) == "discarded" != self.state(into), into=into
        )

    def merge_back(self, _: int) -> Action:
        """Merge the other batch into the batch."""
        code, into = self.other, self.batch
        return self.post(
            f"/batches/{code}/merge", lambda: self.state(code) == "discarded" != self.state(into), into=into
        )

    def split(self, _: int) -> Action:
        """Split off the batch that a second device began."""
        code, entry, opened_ms = self.batch, self.joined, START_MS + 1000 * (self.at_s + 12)
        of_then = "SELECT count(*) FROM batches WHERE opened_ms = ?"
        return self.post(
            f"/batches/{code}/split",
            lambda: self.services.store.read.execute(of_then, (opened_ms,)).fetchone()[0] == 1,
            entry=entry,
        )

    def withdraw(self, _: int) -> Action:
        """Withdraw the code on the bags of the batch."""
        token, stranger = self.services.batches.summary(self.batch).token, browser(self.bench)
        return self.post(f"/batches/{self.batch}/withdraw", lambda: stranger.get(f"/r/{token}").status_code == 410)

    def back_up(self, side: int) -> Action:
        """Make a backup."""
        store, made = self.services.store, []
        folder = store.path.parent / f"copies {self.number} {side}"

        def take() -> TestResponse | None:
            made.append(backups.take(store.path, folder, self.services.clock.now_ms()).path)

        return Action(take, lambda: backups.check(made[0]).entries > 0)

    def rebuild(self, _: int) -> Action:
        """Rebuild the projections."""
        return Action(lambda: self.services.store.write(projections.rebuild) and None, lambda: True)


def at_once(bench: Bench, actions: list[Action]) -> list[TestResponse | None]:
    """Ask all at once: the writer goes on only when each waits for it, or has ended without it."""
    answers: list[TestResponse | None] = [None] * len(actions)
    failed: list[BaseException] = []
    go_on, writer = threading.Event(), bench.services.store._writer

    def ask(number: int) -> None:
        try:
            answers[number] = actions[number].ask()
        except BaseException as error:  # noqa: BLE001 - raised by the caller
            failed.append(error)

    bench.services.store.write_soon(lambda _: go_on.wait(PATIENCE_S))
    threads = [threading.Thread(target=ask, args=(number,)) for number in range(len(actions))]
    for thread in threads:
        thread.start()
    until(lambda: writer._changes.qsize() >= sum(thread.is_alive() for thread in threads), PATIENCE_S)
    go_on.set()
    for thread in threads:
        thread.join(PATIENCE_S)
    if failed:
        raise failed[0]
    return answers


def outcome(bench: Bench, race: Race, names: tuple[str, str]) -> str | None:
    """Race a pair; returns what is wrong afterwards, None if nothing is."""
    actions = [getattr(race, name)(side) for side, name in enumerate(names)]
    answers = at_once(bench, actions)
    statuses = [200 if answer is None else answer.status_code for answer in answers]
    stored = [
        status in WELL and not (answer is not None and answer.is_json and '"refused"' in answer.text)
        for status, answer in zip(statuses, answers, strict=True)
    ]
    if not set(statuses) <= WELL | REFUSED or not any(stored):
        return f"answered {statuses}"
    holds = [action.holds() for action, well in zip(actions, stored, strict=True) if well]
    either = any(set(names) <= group for group in EITHER)
    if not (any if either else all)(holds):
        return f"answered {statuses}, in effect {holds}"
    if names == ("pair", "pair") and sorted(statuses) != [303, 422]:
        return f"one link paired two: {statuses}"
    return None


def faults(bench: Bench, pairs: Sequence[tuple[str, str]]) -> list[str]:
    """Race pairs of actions; returns what is wrong after each, and in the end."""
    told = [(pair, outcome(bench, Race(bench, number), pair)) for number, pair in enumerate(pairs)]
    found = [f"{pair}: {wrong}" for pair, wrong in told if wrong is not None]
    for things in (bench.services.devices.all(), bench.services.people.all()):
        names = [thing.name for thing in things]
        found += [f"“{name}” is there twice" for name in {name for name in names if names.count(name) > 1}]
    store = bench.services.store
    listed = rows(store.path)
    store.write(projections.rebuild)
    return [*found, *(["the lists do not match the journal"] if rows(store.path) != listed else [])]

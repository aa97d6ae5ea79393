"""Where entries come in: checked, kept, and told to everyone. The only way into the journal.

An entry that can be understood is kept, however odd it is: the finger was there. What is refused is what cannot be
understood or cannot be true, with a sentence that says why.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final
from uuid import UUID, uuid5

from roastlog.clock import Clock
from roastlog.errors import CodeError, EntryRefused
from roastlog.journal.entries import ON_ENTRIES, Entry, amended, parse_entry
from roastlog.journal.fold import Batch, Line, fold
from roastlog.journal.vocabulary import MOMENT_LABELS
from roastlog.languages import _
from roastlog.machine.model import Machine
from roastlog.store import books
from roastlog.store import journal as stored
from roastlog.store.store import Database, Store
from roastlog.trace.codes import parse_code
from roastlog.trace.ledger import LotBalance

AHEAD_MS: Final = 60_000
Knobs = Callable[[str], Mapping[str, float]]
Heard = Callable[[str], None]


@dataclass(frozen=True)
class Result:
    """What became of one entry."""

    id: str | None
    status: str
    batch: str | None = None
    reason: str | None = None
    notice: str | None = None


@dataclass(frozen=True)
class Speaker:
    """Who speaks, by what the server itself knows of the device.

    Attributes
    ----------
    device
        Name of the device or program, whatever its entries say; None leaves theirs.
    person
        The one person that it speaks for; None lets it name anyone.
    refuses
        Kinds of entries that it may not say, nor take back, move or correct, each with the sentence that says so.
    """

    device: str | None = None
    person: str | None = None
    refuses: Mapping[str, str] = field(default_factory=dict)


class EntryService:
    """Takes entries from any thread.

    Parameters
    ----------
    machines
        The machines that are set up, by id.
    knobs
        Settings of a machine as read off its own registers; a new batch starts with them.
    heard
        Called with a machine's id once entries for it are on the disk.
    """

    def __init__(
        self, store: Store, clock: Clock, machines: Mapping[str, Machine], *, knobs: Knobs, heard: Heard
    ) -> None:
        self._store, self._clock, self._machines = store, clock, machines
        self._knobs, self._heard = knobs, heard

    def accept(self, raws: Sequence[object], speaker: Speaker = Speaker()) -> list[Result]:
        """Keep entries in their order, each on its own: one that is refused spoils no other.

        Parameters
        ----------
        raws
            Entries as they came over the wire.
        speaker
            Who sent them; none in particular may say everything.

        Returns
        -------
        list of Result
            One for each entry, once they are all on the disk.
        """
        received_ms = self._clock.now_ms()
        parsed = [_parse(raw, received_ms, speaker) for raw in raws]
        results = self._store.write(lambda db: [self._settle(db, item, speaker) for item in parsed])
        # One that is known may not have been told: the first time ended between keeping and telling.
        touched = {
            item.machine
            for item, result in zip(parsed, results, strict=True)
            if isinstance(item, Entry) and result.status != "refused"
        }
        for machine in touched & self._machines.keys():
            self._heard(machine)
        return results

    def _settle(self, db: Database, item: "Entry | Result", speaker: Speaker) -> Result:
        if isinstance(item, Result):
            return item
        known = stored.known_batch(db.conn, item.id)
        if known is not None:
            return Result(str(item.id), "known", batch=known)
        try:
            _check_may_say(db, item, speaker)
            return self._open(db, item) if item.kind == "opened" else self._add(db, item)
        except (EntryRefused, CodeError) as error:
            return Result(str(item.id), "refused", reason=str(error))

    def _open(self, db: Database, entry: Entry) -> Result:
        self._machine(entry.machine)
        notice = _lot_notice(db, entry, [machine.id for machine in self._machines.values() if machine.practice])
        code = stored.open_batch(db, entry)
        stored.add_entry(db, entry, code)
        for control, setting in self._knobs(entry.machine).items():
            body = {"control": control, "setting": setting}
            stored.add_entry(db, machine_entry(entry, uuid5(entry.id, control), "move", body), code)
        stored.refold(db, code)
        return Result(str(entry.id), "stored", batch=code, notice=notice)

    def _add(self, db: Database, entry: Entry) -> Result:
        code = _code(db, entry)
        machine = stored.machine_of(db.conn, code)
        if machine != entry.machine:
            raise EntryRefused(
                _(
                    "Batch {code} was roasted on {machine}, not on {named}.",
                    code=code,
                    machine=machine,
                    named=entry.machine,
                )
            )
        if entry.kind == "move":
            _check_move(self._machine(entry.machine), entry.body)
        elif entry.kind in {"weighed", "amend"}:
            _check_with(entry, fold(stored.entries_of(db.conn, code), code))
        stored.add_entry(db, entry, code)
        batch = stored.refold(db, code)
        line = next(line for line in batch.lines if line.id == entry.id)
        return Result(str(entry.id), "stored", batch=code, notice=self._notice(line, batch))

    def _machine(self, ident: str) -> Machine:
        if ident not in self._machines:
            there = ", ".join(self._machines) or _("none yet")
            raise EntryRefused(
                _("There is no machine “{machine_id}” here; there is {there}.", machine_id=ident, there=there)
            )
        return self._machines[ident]

    def _notice(self, line: Line, batch: Batch) -> str | None:
        if line.at_ms > self._clock.now_ms() + AHEAD_MS:
            return _("The time of this entry lies ahead: look at the clock of the device. It is kept as it came.")
        if "late" in line.flags:
            return _("This batch was closed already. The entry is kept and marked late.")
        if "about_nothing" in line.flags:
            return _("What this is about has not come in. It is kept and counts as soon as it does.")
        if line.kind != "moment":
            return None
        label = MOMENT_LABELS[line.body["moment"]]
        if "doubled" in line.flags:
            by_s = (line.at_ms - batch.moments[line.body["moment"]].at_ms) / 1000
            return _(
                "{label} was marked {by:.1f} s before; the earlier one counts. Undo it to count this one.",
                label=label,
                by=by_s,
            )
        others = [other for other in batch.moments.values() if "out_of_order" in other.flags]
        if others:
            return _(
                "{label} is out of order with the other moments. It is kept as it is; undo or shift what is wrong.",
                label=label,
            )
        return None


def machine_entry(about: Entry, ident: UUID, kind: str, body: Mapping[str, Any]) -> Entry:
    """An entry that the machine itself makes, at the time of another."""
    by = {"person": None, "device": about.machine}
    return Entry.model_validate(
        {
            "id": ident,
            "machine": about.machine,
            "batch": str(about.id),
            "kind": kind,
            "at_ms": about.at_ms,
            "received_ms": about.received_ms,
            "by": by,
            "body": dict(body),
        }
    )


def check_weight(roasted_g: float, removed_g: float | None, green_g: float | None) -> None:
    """Refuse a roasted weight that cannot be true."""
    if green_g is not None and roasted_g > green_g:
        raise EntryRefused(
            _(
                "{roasted:,.0f} g roasted is more than the {green:,.0f} g of green. Look at the scale's tare, or "
                "correct the green weight first.",
                roasted=roasted_g,
                green=green_g,
            )
        )
    if removed_g is not None and removed_g > roasted_g:
        raise EntryRefused(
            _(
                "{removed:,.0f} g sorted out is more than the {roasted:,.0f} g that came out.",
                removed=removed_g,
                roasted=roasted_g,
            )
        )


def _parse(raw: object, received_ms: int, speaker: Speaker) -> Entry | Result:
    try:
        return parse_entry(_signed(raw, speaker), received_ms=received_ms)
    except EntryRefused as error:
        ident = raw.get("id") if isinstance(raw, dict) else None
        return Result(ident if isinstance(ident, str) else None, "refused", reason=str(error))


def _signed(raw: object, speaker: Speaker) -> object:
    """The entry with who said it as the server knows them; a device of one person speaks for nobody else."""
    by = (raw.get("by") or {}) if isinstance(raw, dict) else None
    if not isinstance(raw, dict) or not isinstance(by, dict):
        return raw
    if speaker.person is not None and by.get("person") not in (None, speaker.person):
        raise EntryRefused(
            _("This device speaks for {person} alone. Whoever else says it uses another one.", person=speaker.person)
        )
    signed = {**by, "person": speaker.person or by.get("person"), "device": speaker.device or by.get("device")}
    return {**raw, "by": {name: value for name, value in signed.items() if value is not None}}


def _check_may_say(db: Database, entry: Entry, speaker: Speaker) -> None:
    """Refuse what is not for the speaker to say, nor to take back, move or correct where another one said it."""
    for kind in stored.kinds_about(db.conn, entry):
        if kind in speaker.refuses:
            raise EntryRefused(speaker.refuses[kind])


def _code(db: Database, entry: Entry) -> str:
    reference = str(entry.batch)
    code = stored.batch_named(db.conn, reference)
    if code is not None:
        return code
    try:
        code = parse_code(reference).code
    except CodeError as error:
        raise EntryRefused(str(error)) from None
    if stored.batch_named(db.conn, code) is None:
        raise EntryRefused(
            _("No batch carries the code {code}. Look it up on the label, or in the records.", code=code)
        )
    return code


def _check_move(machine: Machine, body: Mapping[str, Any]) -> None:
    control = next((control for control in machine.controls if control.id == body["control"]), None)
    if control is None:
        there = ", ".join(control.id for control in machine.controls) or "none"
        raise EntryRefused(
            _(
                "{name} has no control “{control}”; there is {there}.",
                name=machine.name,
                control=body["control"],
                there=there,
            )
        )
    if not control.low <= body["setting"] <= control.high:
        raise EntryRefused(
            _(
                "{name} goes from {low:g} to {high:g} {unit}, not {setting:g}.",
                name=control.name,
                low=control.low,
                high=control.high,
                unit=control.unit,
                setting=body["setting"],
            )
        )


def _check_with(entry: Entry, batch: Batch) -> None:
    """Refuse a weight or a correction that cannot be true of the batch as it is."""
    if entry.kind == "weighed":
        check_weight(entry.body["roasted_g"], entry.body.get("removed_g"), batch.green_g)
        return
    about = next((line for line in batch.lines if line.id == UUID(str(entry.body["entry"]))), None)
    if about is None:
        return
    if about.kind in ON_ENTRIES:
        raise EntryRefused(_("An undo, a shift or a correction cannot be corrected; undo it and say it anew."))
    body = amended(about.kind, about.body, entry.body["body"])
    if about.kind == "weighed":
        check_weight(body["roasted_g"], body.get("removed_g"), batch.green_g)
    elif about.kind == "opened" and batch.roasted_g is not None:
        check_weight(batch.roasted_g, None, body.get("green_g"))


def _lot_notice(db: Database, entry: Entry, practice: Sequence[str]) -> str | None:
    code, green_g = entry.body.get("lot"), entry.body.get("green_g")
    if code is None or entry.machine in practice:
        return None
    found = books.lot(db.conn, code, without=practice)
    if found is None:
        return _(
            "Lot {code} is not in the books. The batch is open all the same; correct the lot when there is time.",
            code=code,
        )
    lot, taken_g = found
    left = LotBalance.of(lot.bought_g, taken_g)
    if green_g is not None and left.shortfall_g(green_g) > 0:
        return _(
            "By the books {coffee} ({code}) has {left:.1f} kg left, and this batch takes {green:.1f} kg. The "
            "batch is open all the same; correct the lot or the weight.",
            coffee=lot.coffee,
            code=code,
            left=max(left.left_g, 0) / 1000,
            green=green_g / 1000,
        )
    return None

"""The entry service checks entries, stores them and notifies watchers. It is the only way into the journal.

An entry that can be understood is stored, however odd it is: someone did tap it. An entry that cannot be understood
or cannot be true is refused, with a sentence that says why.
"""

import math
from collections import deque
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Final, Self
from uuid import UUID, uuid4, uuid5

from roastlog.clock import Clock
from roastlog.errors import CodeError, EntryRefused
from roastlog.journal.entries import Entry, amended, parse_entry
from roastlog.journal.fold import Batch, Blend, Line, Lines, Pack, fold_blend, fold_machine, fold_pack, lines_of
from roastlog.journal.fold.movements import green_parts
from roastlog.journal.kinds import REGISTRY, corrects
from roastlog.journal.kinds.roast import Opened
from roastlog.journal.subject import BATCH, BLEND, LOT, MACHINE, PACK, Subject
from roastlog.journal.vocabulary import MOMENT_LABELS, called
from roastlog.languages import _
from roastlog.machine.model import Machine
from roastlog.recording import packing
from roastlog.recording.batch_folds import BatchFolds
from roastlog.recording.same_batch import same_batch
from roastlog.roasts.kept_folds import KeptFolds
from roastlog.store import batches as lists
from roastlog.store import books, devices, projections
from roastlog.store import journal as stored
from roastlog.store.store import Database, Store
from roastlog.trace.codes import parse_code

AHEAD_MS: Final = 60_000
FLUSH_ENTRIES: Final = 40  # a page sends its waiting taps by so many; they are one commit
BULK_ENTRIES: Final = 4  # of a call with more: a tap waits for one commit of them at most
HOUR_MS: Final = 3_600_000
MOST_OPENINGS: Final = 200  # of one device in an hour; a day has 9999 codes
ControlSettings = Callable[[str], Mapping[str, float]]
OnMachine = Callable[[str], None]


@dataclass(frozen=True)
class Result:
    """The outcome of one entry; for a stored one, its batch or its other subject."""

    id: str | None
    status: str
    batch: str | None = None
    about: str | None = None
    reason: str | None = None
    notice: str | None = None

    @classmethod
    def of(cls, entry: Entry, status: str, subject: Subject, notice: str | None = None) -> Self:
        """The outcome of a stored entry."""
        if subject.kind == BATCH:
            return cls(str(entry.id), status, batch=subject.name, notice=notice)
        return cls(str(entry.id), status, about=str(subject), notice=notice)


@dataclass(frozen=True)
class Speaker:
    """The sender of entries, as the server knows the device.

    Attributes
    ----------
    device
        Name of the device or program; it replaces the name in the entries. None keeps theirs.
    person
        The only person that it speaks for; None lets it name anyone.
    refuses
        Kinds that it may not enter, undo, shift or amend, each with the reason as a sentence.
    """

    device: str | None = None
    person: str | None = None
    refuses: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class _Write:
    """One write of entries: its database, their sender, and the batches that they are about.

    ``charged`` holds the openings that a charge comes with; None if each opening begins a batch of its own.
    """

    db: Database
    speaker: Speaker
    batches: BatchFolds
    charged: Collection[str | None] | None


class _Openings:
    """Batches opened by each device within the last hour: a flood would use up the codes of the day."""

    def __init__(self) -> None:
        self._at_ms: dict[str | None, deque[int]] = {}

    def count(self, opened: Entry) -> None:
        """Count an opening; raises EntryRefused for more in an hour than anyone can roast."""
        last_ms = self._at_ms.setdefault(opened.by.device, deque())
        while last_ms and last_ms[0] <= opened.received_ms - HOUR_MS:
            last_ms.popleft()
        if len(last_ms) >= MOST_OPENINGS:
            raise EntryRefused(
                _(
                    "This device opened {most} batches within an hour, the most it may. Send this again "
                    "later; other devices can still open batches.",
                    most=MOST_OPENINGS,
                )
            )
        last_ms.append(opened.received_ms)

    def forget(self) -> None:
        """Forget all, since they may hold openings that were not committed; a phone sends such a one again."""
        self._at_ms.clear()


class EntryService:
    """Accepts entries, from any thread.

    Parameters
    ----------
    machines
        The machines that are set up, by id.
    control_settings
        Returns the control settings read from a machine's registers; a new batch starts with them.
    on_entries
        Called with a machine's id once entries of its batches are on disk.
    on_description
        Called with a machine's id once its description may have changed.
    """

    def __init__(
        self,
        store: Store,
        clock: Clock,
        machines: Mapping[str, Machine],
        *,
        control_settings: ControlSettings,
        on_entries: OnMachine,
        on_description: OnMachine,
    ) -> None:
        self._store, self._clock, self._machines = store, clock, machines
        self._control_settings, self._on_entries, self._on_description = control_settings, on_entries, on_description
        self._folds = KeptFolds()
        self._openings = _Openings()
        store.on_rollback(self._folds.forget)
        store.on_rollback(self._openings.forget)

    def accept(self, raws: Sequence[object], speaker: Speaker = Speaker()) -> list[Result]:
        """Store entries in their order, each on its own: a refused one does not affect the others.

        Many entries are stored in several commits, so that readings and the taps of others go first.

        Parameters
        ----------
        raws
            Entries as received.
        speaker
            Their sender; the default may enter anything.

        Returns
        -------
        list of Result
            One for each entry, once all are on disk.
        """
        received_ms = self._clock.now_ms()
        parsed = [_parse(raw, received_ms, speaker) for raw in raws]
        results: list[Result] = []
        try:
            bulk = len(parsed) > FLUSH_ENTRIES
            size = BULK_ENTRIES if bulk else FLUSH_ENTRIES
            for start in range(0, len(parsed), size):
                store = partial(self._store_all, items=parsed[start : start + size], speaker=speaker)
                results += self._store.write(store, bulk=bulk)
        finally:
            self._notify(results)  # where a later commit fails, the earlier ones are stored all the same
        return results

    def regroup(self, made: Callable[[Database], Sequence[object]], speaker: Speaker) -> list[Result]:
        """Store entries that split a batch or merge two, all in one commit; each opening begins a batch of its own.

        Parameters
        ----------
        made
            Returns the entries. It is called within the commit, so that no other entry comes between.
        speaker
            Their sender.

        Raises
        ------
        EntryRefused
            If any of them is refused; none is stored then.
        """
        received_ms = self._clock.now_ms()

        def change(db: Database) -> list[Result]:
            parsed = [_parse(raw, received_ms, Speaker()) for raw in made(db)]  # copies keep their authors
            results = self._store_all(db, parsed, speaker, joins=False)
            refused = next((result for result in results if result.status == "refused"), None)
            if refused is not None:
                raise EntryRefused(refused.reason)
            return results

        results = self._store.write(change)
        self._notify(results)
        return results

    def say(
        self,
        about: Subject | Callable[[Database], Subject],
        kind: str,
        body: Mapping[str, Any],
        speaker: Speaker = Speaker(),
        *,
        ident: UUID | None = None,
        person: str | None = None,
        keep_beside: Callable[[Database], None] | None = None,
    ) -> Result:
        """Store an entry that a page of the server makes now; raises EntryRefused.

        Its time is later than that of the subject's entries so far, for the page showed those. Entries of a batch that
        lie far ahead are left out of this: they came with a phone's wrong clock. Those of any other subject lie ahead
        only where the server's own clock was set back before its start, and the last one counts.

        ``ident`` is the id of the entry, so that a form sent twice counts once, and ``person`` who made it on a device
        that several use. ``about`` may be a function that finds the subject within the commit, so that no other entry
        comes between. ``keep_beside`` stores secrets, which no entry may hold, in the commit of the entry; it is not
        called where that is refused.
        """
        now_ms = self._clock.now_ms()

        def change(db: Database) -> Result:
            subject = about if isinstance(about, Subject) else about(db)
            until_ms = now_ms + AHEAD_MS if subject.kind == BATCH else math.inf
            at_ms = max(now_ms, stored.last_ms(db.conn, subject, until_ms) + 1)
            raw: dict[str, Any] = {"id": str(ident or uuid4()), "about": str(subject), "kind": kind, "at_ms": at_ms}
            raw |= {"by": {"person": person} if person else {}, "body": body}
            (result,) = self._store_all(db, [_parse(raw, now_ms, speaker)], speaker)
            if keep_beside is not None and result.status != "refused":
                keep_beside(db)
            return result

        result = self._store.write(change)
        self._notify([result])
        if result.status == "refused":
            raise EntryRefused(result.reason)
        return result

    def _notify(self, results: Sequence[Result]) -> None:
        """Call back for stored entries, known ones too: the first call may have ended after storing them."""
        stored_results = [result for result in results if result.status != "refused"]
        codes = {result.batch for result in stored_results if result.batch is not None}
        for machine in {lists.machine_of(self._store.read, code) for code in codes} & self._machines.keys():
            self._on_entries(machine)
        subjects = {Subject.kept(result.about) for result in stored_results if result.about is not None}
        for subject in sorted(subjects):
            if subject.kind == MACHINE:
                self._on_description(subject.name)

    def _store_all(
        self, db: Database, items: Sequence[Entry | Result], speaker: Speaker, *, joins: bool = True
    ) -> list[Result]:
        charged = {item.batch for item in items if isinstance(item, Entry) and item.body.get("moment") == "charge"}
        write = _Write(db, speaker, BatchFolds(db, self._folds), charged if joins else None)
        results = [self._store_one(write, item) for item in items]
        write.batches.keep()  # so each batch was folded once, for its notices too
        return [self._with_notice(result, item, write) for result, item in zip(results, items, strict=True)]

    def _with_notice(self, result: Result, item: Entry | Result, write: _Write) -> Result:
        """The result of an entry of a batch with its notice, by the batch as all entries of the call leave it."""
        if isinstance(item, Result) or item.kind == "opened" or result.status != "stored" or result.batch is None:
            return result
        notice = self._notice(item, write.batches.folded(result.batch))
        if notice is None and item.kind == "taken":
            notice = packing.short_notice(write.db.conn, [result.batch])
        return replace(result, notice=notice)

    def _store_one(self, write: _Write, item: Entry | Result) -> Result:
        if isinstance(item, Result):
            return item
        known = stored.known_subject(write.db.conn, item.id)
        if known is not None:
            return Result.of(item, "known", known)
        try:
            _check_may_say(write.db, item, write.speaker)
            subject = item.subject
            if item.kind != "opened" and (subject is None or subject.kind == BATCH):
                return self._add_to_batch(write.db, item, write.batches)
            write.batches.keep()  # checks of lots and machines read the projections
            if subject is None or item.kind == "opened":
                return self._join(write, item) or self._open(write.db, item)
            return self._add(write, item, subject)
        except (EntryRefused, CodeError) as error:
            return Result(str(item.id), "refused", reason=str(error))

    def _join(self, write: _Write, entry: Entry) -> Result | None:
        """Add an opening to the batch that it begins once more; None if it begins a new one."""
        machine = self._machine(str(entry.machine))
        if write.charged is None:
            return None
        known = lists.not_dropped_at(write.db.conn, machine.id, entry.at_ms)
        opened_by = partial(_opened_by, write.db)
        code = same_batch(entry, known, charged=str(entry.id) in write.charged, opened_by=opened_by)
        if code is None:
            return None
        joined = {"about": str(Subject(BATCH, code)), "machine": machine.id, "kind": "joined"}
        write.batches.add(entry.model_copy(update=joined), code)
        notice = _(
            "{machine} already has batch {code} in the drum, started on another page. This counts as the "
            "same batch. If it is another one, split it off in the record of {code}.",
            machine=machine.name,
            code=code,
        )
        return Result.of(entry, "stored", Subject(BATCH, code), notice)

    def _open(self, db: Database, entry: Entry) -> Result:
        machine = self._machine(str(entry.machine))
        self._openings.count(entry)
        notice = None if machine.practice else _lot_notice(db, entry)
        code = projections.open_batch(db, entry)
        for control, setting in self._control_settings(machine.id).items():
            body = {"control": control, "setting": setting}
            stored.add_entry(db, _machine_entry(entry, uuid5(entry.id, control), code, "move", body))
        projections.refresh_batch(db, code)
        return Result.of(entry, "stored", Subject(BATCH, code), notice)

    def _add_to_batch(self, db: Database, entry: Entry, batches: BatchFolds) -> Result:
        code = _code(db, entry, batches)
        machine = lists.machine_of(db.conn, code)
        if entry.machine not in {None, machine}:
            raise EntryRefused(
                _(
                    "Batch {code} was roasted on {machine}, not on {named}.",
                    code=code,
                    machine=machine,
                    named=entry.machine,
                )
            )
        entry = entry.model_copy(update={"about": str(Subject(BATCH, code)), "machine": machine})
        if entry.kind == "move":
            _check_move(self._machine(machine), entry)
        elif entry.kind == "merged":
            _check_merged(db, entry, code)
        elif entry.kind in {"weighed", "amend"}:
            _check_weights(entry, batches.folded(code))
        batches.add(entry, code)
        return Result.of(entry, "stored", Subject(BATCH, code))

    def _add(self, write: _Write, entry: Entry, subject: Subject) -> Result:
        """Store an entry about a subject that is not a batch; the last one counts, so none may lie ahead.

        An entry just after one that does was made by a page, see `say`.
        """
        db = write.db
        follows = entry.at_ms == stored.last_ms(db.conn, subject) + 1
        if self._future_notice(entry.at_ms) is not None and not follows:
            raise EntryRefused(
                _(
                    "The time of this entry is in the future, so it is not saved. Set the clock of the "
                    "device and send it again."
                )
            )
        before = stored.entries_about(db.conn, subject)
        entry = entry.model_copy(update={"machine": None})
        if entry.kind == "amend":
            _check_amendment(entry, lines_of(before))
        if subject.kind == MACHINE:
            _check_machine(db, entry, subject, before)
        if subject.kind in {BLEND, PACK}:
            entry = _checked_packing(write, entry, subject, before)
        if entry.kind == "erased":
            _erase(db, subject, before)
        now = projections.say(db, entry)
        notice = self._notice(entry, now)
        if notice is None and subject.kind == LOT and books.lot(db.conn, subject.name) is None:
            notice = _("Lot {code} is unknown. Saved anyway.", code=subject.name)
        if notice is None and isinstance(now, Pack | Blend) and entry.kind != "undo":
            notice = packing.short_notice(db.conn, now.sources)
        return Result.of(entry, "stored", subject, notice)

    def _machine(self, ident: str) -> Machine:
        if ident not in self._machines:
            there = ", ".join(self._machines) or _("none yet")
            raise EntryRefused(
                _("There is no machine “{machine_id}” here; there is {there}.", machine_id=ident, there=there)
            )
        return self._machines[ident]

    def _future_notice(self, at_ms: int) -> str | None:
        """A notice where a time lies in the future. [ms UTC]"""
        if at_ms <= self._clock.now_ms() + AHEAD_MS:
            return None
        return _("The time of this entry is in the future: check the clock of the device. Saved as it is.")

    def _notice(self, entry: Entry, subject: Lines) -> str | None:
        """A notice where a stored entry is odd."""
        line = next(line for line in reversed(subject.lines) if line.id == entry.id)  # most entries are the newest
        notice = self._future_notice(line.at_ms)
        if notice is not None:
            return notice
        if "late" in line.flags:
            return _("This batch was already closed. The entry is saved and marked late.")
        if "about_nothing" in line.flags:
            return _(
                "The entry that this belongs to has not arrived. This is saved, and counts once the other arrives."
            )
        if line.kind == "arrived" and "doubled" in line.flags:
            return _("This lot exists already. Correct its first entry instead.")
        if line.kind in {"packed", "blended"} and "doubled" in line.flags:
            return _("This code exists already, and its first entry counts. Use another code.")
        return _moment_notice(line, subject) if isinstance(subject, Batch) and line.kind == "moment" else None


def _moment_notice(line: Line, batch: Batch) -> str | None:
    label = MOMENT_LABELS[line.body["moment"]]
    if "doubled" in line.flags:
        by_s = (line.at_ms - batch.moments[line.body["moment"]].at_ms) / 1000
        return _(
            "{label} was already marked {by:.1f} s earlier, and that one counts. Undo it to count this one.",
            label=label,
            by=by_s,
        )
    if "too_soon" in line.flags:
        return _("{label} is implausibly early. Saved; undo or shift it if it was a slip.", label=label)
    if any("out_of_order" in other.flags for other in batch.moments.values()):
        return _(
            "{label} is out of order with the other moments. Saved; undo or shift the wrong one.",
            label=label,
        )
    return None


def _machine_entry(opened: Entry, ident: UUID, code: str, kind: str, body: Mapping[str, Any]) -> Entry:
    """An entry that the machine itself makes of a batch, at the time of the opening entry."""
    return Entry.model_validate(
        {
            "id": ident,
            "about": str(Subject(BATCH, code)),
            "machine": opened.machine,
            "kind": kind,
            "at_ms": opened.at_ms,
            "received_ms": opened.received_ms,
            "by": {"person": None, "device": opened.machine},
            "body": dict(body),
        }
    )


def _check_weight(roasted_g: float, removed_g: float | None, green_g: float | None) -> None:
    """Refuse a roasted weight that cannot be true."""
    if green_g is not None and roasted_g > green_g:
        raise EntryRefused(
            _(
                "Roasted weight must be at most the {green:,.0f} g of green, not {roasted:,.0f} g. Check the "
                "scale's tare, or correct the green weight first.",
                roasted=roasted_g,
                green=green_g,
            )
        )
    if removed_g is not None and removed_g > roasted_g:
        raise EntryRefused(
            _(
                "Defects must be at most the {roasted:,.0f} g roasted, not {removed:,.0f} g.",
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
    """The entry with its sender as the server knows it; a device of one person speaks for nobody else."""
    by = (raw.get("by") or {}) if isinstance(raw, dict) else None
    if not isinstance(raw, dict) or not isinstance(by, dict):
        return raw
    if speaker.person is not None and by.get("person") not in (None, speaker.person):
        raise EntryRefused(_("This device belongs to {person}. Others use another one.", person=speaker.person))
    signed = {**by, "person": speaker.person or by.get("person"), "device": speaker.device or by.get("device")}
    return {**raw, "by": {name: value for name, value in signed.items() if value is not None}}


def _check_may_say(db: Database, entry: Entry, speaker: Speaker) -> None:
    """Refuse an entry that the speaker may not make, or whose target the speaker may not change."""
    for kind in stored.kinds_about(db.conn, entry):
        if kind is None:
            if any(_is_about(other, entry.subject) for other in speaker.refuses):  # it may turn out to be a release
                raise EntryRefused(
                    _("The entry that this changes is not on the server yet. Send this again once it is.")
                )
        elif kind in speaker.refuses:
            raise EntryRefused(speaker.refuses[kind])
        elif kind not in REGISTRY and speaker.refuses:
            raise EntryRefused(
                _("This entry is from a newer version of Drumside; only the owner's device can change it.")
            )


def _is_about(kind: str, subject: Subject | None) -> bool:
    """Whether entries of a kind can be about a subject; None is a batch that is named by its code."""
    return (BATCH if subject is None else subject.kind) in REGISTRY[kind].about


def _opened_by(db: Database, code: str) -> str | None:
    return stored.entries_of(db.conn, code)[0].by.device


def _code(db: Database, entry: Entry, batches: BatchFolds) -> str:
    """Code of the batch that an entry is about, by its code or the id of its opening; of the one it was merged into."""
    code = _code_named(db, str(entry.batch))
    into = batches.folded(code).merged_into if lists.is_discarded(db.conn, code) else None
    return code if into is None or entry.kind == "undo" else into


def _code_named(db: Database, reference: str) -> str:
    code = lists.batch_named(db.conn, reference) or stored.joined_to(db.conn, reference)
    if code is not None:
        return code
    try:
        code = parse_code(reference).code
    except CodeError as error:
        raise EntryRefused(str(error)) from None
    if lists.batch_named(db.conn, code) is None:
        raise EntryRefused(_("No batch has the code {code}. Check the label or the records.", code=code))
    return code


def _check_move(machine: Machine, entry: Entry) -> None:
    body = entry.body
    control = next((control for control in machine.controls if control.id == body["control"]), None)
    if control is None:
        there = ", ".join(control.id for control in machine.controls) or _("none")
        raise EntryRefused(
            _(
                "{name} has no control “{control}”; there is {there}.",
                name=machine.name,
                control=body["control"],
                there=there,
            )
        )
    if control.modbus is not None and entry.by.device != machine.id:
        raise EntryRefused(
            _("{name} is read from the machine. Set it there; it is recorded automatically.", name=control.name)
        )
    if not control.low <= body["setting"] <= control.high:
        raise EntryRefused(
            _(
                "{name} must be {low:g}–{high:g} {unit}, not {setting:g}.",
                name=control.name,
                low=control.low,
                high=control.high,
                unit=control.unit,
                setting=body["setting"],
            )
        )


def _check_merged(db: Database, entry: Entry, code: str) -> None:
    into = _code_named(db, entry.body["into"])
    if into == code or lists.machine_of(db.conn, into) != lists.machine_of(db.conn, code):
        raise EntryRefused(_("Batch {code} can be merged only into another batch of its machine.", code=code))


def _check_weights(entry: Entry, batch: Batch) -> None:
    """Refuse a weight or a correction that cannot be true of the batch as it is."""
    if entry.kind == "weighed":
        _check_weight(entry.body["roasted_g"], entry.body.get("removed_g"), batch.green_g)
        return
    about, body = _check_amendment(entry, batch.lines)
    if about is None:
        return
    if about.kind == "weighed":
        _check_weight(body["roasted_g"], body.get("removed_g"), batch.green_g)
    elif about.kind == "opened" and batch.roasted_g is not None:
        _check_weight(batch.roasted_g, None, body.get("green_g"))


def _check_amendment(entry: Entry, lines: Sequence[Line]) -> tuple[Line | None, dict[str, Any]]:
    """Refuse a correction that does not fit its entry; return that entry, None if not here yet, and its new body."""
    about = next((line for line in lines if line.id == UUID(str(entry.body["entry"]))), None)
    if about is None:
        return None, {}
    if corrects(about.kind):
        raise EntryRefused(_("An undo, a shift or a correction cannot be corrected; undo it and enter it again."))
    return about, amended(about.kind, about.body, entry.body["body"])


def _check_machine(db: Database, entry: Entry, subject: Subject, before: Sequence[Entry]) -> None:
    """Refuse a change that leaves a machine without a description, or turns practice batches into real ones or back."""
    was, now = fold_machine(before, subject.name).machine, fold_machine([*before, entry], subject.name).machine
    if now is None:
        raise EntryRefused(
            _("There is no machine “{name}” yet; set it up first.", name=subject.name)
            if was is None
            else _("{name} would have no description left. Import another sheet instead.", name=was.name)
        )
    if now.id != subject.name:
        raise EntryRefused(_("The sheet is of {other}, not of {name}.", other=now.id, name=subject.name))
    if entry.kind == "probe_checked" and now.part(entry.body["channel"]) is None:
        raise EntryRefused(_("{name} has no such channel: {part_id}.", name=now.name, part_id=entry.body["channel"]))
    if was is not None and was.practice != now.practice and lists.page_of(db.conn, machine=now.id).total:
        raise EntryRefused(
            _(
                "{name} has batches, and they are practice; that cannot change. "
                "Set up another machine with an id of its own.",
                name=was.name,
            )
            if was.practice
            else _(
                "{name} has batches, and they are real; that cannot change. "
                "Set up another machine with an id of its own.",
                name=was.name,
            )
        )


def _checked_packing(write: _Write, entry: Entry, subject: Subject, before: Sequence[Entry]) -> Entry:
    """An entry about a blend or a pack as it is stored; raises EntryRefused where it cannot be true or must not be."""
    connection, folded = write.db.conn, write.batches.folded
    known = fold_blend(before, subject.name) if subject.kind == BLEND else fold_pack(before, subject.name)
    if entry.kind in {"packed", "blended"}:
        entry = packing.checked(connection, entry, folded)
        if entry.kind == "blended":
            lists.give_token(write.db, subject.name)
        return entry
    if entry.kind == "amend":
        line, body = _check_amendment(entry, known.lines)
        if line is not None:
            packing.check_amended(connection, entry, line, body, folded)
    if entry.kind == "undo":
        packing.check_undo(connection, entry, known)
    return entry


def _erase(db: Database, subject: Subject, before: Sequence[Entry]) -> None:
    """Erase the names of a person or customer, unless a device still speaks for them."""
    names = {entry.body["name"] for entry in before if entry.kind == "named" and "name" in entry.body}  # as an author
    speaking = [device.name for device in devices.devices(db.conn) if device.person in names]
    if speaking:
        raise EntryRefused(_("Remove the devices of this person first: {devices}.", devices=", ".join(speaking)))
    stored.erase(db, subject, sorted(names))


def _lot_notice(db: Database, opened: Entry) -> str | None:
    """A notice where the lots of a new batch are unknown, closed to roasting, or hold too little."""
    for code, green_g in green_parts(Opened.model_validate(opened.body)):
        found = books.lot(db.conn, code)
        if found is None:
            return _("Lot {code} is unknown. The batch is open anyway; correct the lot later.", code=code)
        if found.figures.state in {"held", "rejected"}:
            return _(
                "{coffee} ({code}) is {state}. The batch is open anyway; correct the lot, or ask who decided on it.",
                coffee=found.row.coffee,
                code=code,
                state=called(found.figures.state),
            )
        if green_g > max(found.left_g, 0):
            return _(
                "{coffee} ({code}) has {left:.1f} kg in stock, and this batch takes {green:.1f} kg. The batch is "
                "open anyway; correct the lot or the weight.",
                coffee=found.row.coffee,
                code=code,
                left=max(found.left_g, 0) / 1000,
                green=green_g / 1000,
            )
    return None

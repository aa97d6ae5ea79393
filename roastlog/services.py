"""The one place that joins store, live path and pure folders. Routes and commands call this and nothing below it."""

import hashlib
import ipaddress
import math
import secrets
import socket
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

import numpy as np

from roastlog.clock import Clock
from roastlog.curve.phases import Phase, TurningPoint, development, phases, turning_point, value_at
from roastlog.curve.rate import rate_of_rise
from roastlog.curve.series import Curve, bin_seconds
from roastlog.errors import CodeError, NoSuchBatch, NoSuchLot, NoSuchMachine, SettingError, StoreError
from roastlog.instruments.machine import Machine, practice_machine
from roastlog.instruments.sheet import parse_sheet, sheet_text
from roastlog.journal.entries import Entry
from roastlog.journal.fold import Batch, Line, fold
from roastlog.journal.telling import tell
from roastlog.journal.words import MOMENT_LABELS
from roastlog.label.layout import Label
from roastlog.live.desk import Desk
from roastlog.live.hub import Hub
from roastlog.live.intake import Result
from roastlog.live.machine import BEAN_ROLES, LONGEST_S, NEAR_S
from roastlog.live.push import Pushed, take_push
from roastlog.live.view import bean_channel, machine_part
from roastlog.plot import overlays
from roastlog.plot.small import small_curve_svg
from roastlog.quality.loss import Band, Judgement, judge, usual_band
from roastlog.store import batches as lists
from roastlog.store import books
from roastlog.store import journal as stored
from roastlog.store import readings as stored_readings
from roastlog.store.batches import BatchSummary, Page
from roastlog.store.books import LotRow, Person
from roastlog.store.store import Database, Store
from roastlog.trace.codes import parse_code
from roastlog.trace.ledger import LotBalance

LOW_LOT_G: Final = 5000.0
RECENT: Final = 8


@dataclass(frozen=True)
class Settings:
    """What the roastery has set. Each name, its default and its meaning stand in docs/settings.md."""

    business: str = ""
    url_base: str = ""
    units_temp: str = "C"
    units_mass: str = "kg"
    best_before_days: int = 0
    bag_shows_weights: bool = False
    bag_shows_people: bool = False


@dataclass(frozen=True)
class MachineNow:
    """A machine on the page of today."""

    id: str
    name: str
    state: str
    batch_code: str | None
    batch_title: str | None
    time_s: float | None
    temp_c: float | None
    rate_c_per_min: float | None


@dataclass(frozen=True)
class Lot:
    """A green lot and what is left of it. [g]"""

    code: str
    coffee: str
    origin: str | None
    process: str | None
    altitude: str | None
    harvest: str | None
    bought_g: float
    left_g: float
    arrived: str | None
    cup: str | None
    price: str | None
    note: str | None


LotLeft = Lot


@dataclass(frozen=True)
class Today:
    """All that the page of today shows."""

    machines: list[MachineNow]
    unweighed: list[BatchSummary]
    recent: list[BatchSummary]
    lots_low: list[Lot]


@dataclass(frozen=True)
class LogLine:
    """One line of a batch's journal, told in words."""

    entry: str
    kind: str
    time_s: float | None
    at_ms: int
    text: str
    by: str | None
    device: str | None
    late: bool
    undone: bool
    flags: tuple[str, ...]
    temp_c: float | None = None
    body: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class MomentRow:
    """A moment with what the probe read at it."""

    moment: str
    label: str
    time_s: float
    at_ms: int | None
    temp_c: float | None
    rate_c_per_min: float | None
    by: str | None
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class Measures:
    """What is read off the curve of a batch."""

    moments: list[MomentRow]
    turning_point: TurningPoint | None
    phases: list[Phase]
    development_s: float | None
    development_ratio: float | None


@dataclass(frozen=True)
class Record:
    """All that is known of one batch."""

    batch: Batch
    summary: BatchSummary
    machine: Machine | None
    curve: Curve
    measures: Measures
    lot: Lot | None
    log: list[LogLine]
    loss: Judgement | None


@dataclass(frozen=True)
class Address:
    """Where the code of a label leads, and who can go there."""

    url: str
    reach: str
    set_base: bool


@dataclass(frozen=True)
class Bag:
    """What anyone sees who scans a bag."""

    code: str
    coffee: str
    intent: str | None
    business: str
    roasted: datetime | None
    best_before: datetime | None
    cup: str | None
    curve_svg: str
    origin: Mapping[str, str]
    weights: Mapping[str, float]
    roasted_by: str | None
    state: str


class Services:
    """One data folder at work."""

    def __init__(self, folder: Path, clock: Clock, *, port: int = 8080, host: str = "127.0.0.1") -> None:
        self.folder, self.clock = folder, clock
        self._port, self._host = port, host
        self.store = Store(folder)
        self.desk = Desk(self.store, clock)

    def start(self) -> None:
        """Begin to record."""
        self.desk.start()

    def close(self) -> None:
        """Stop recording; all that was read is on the disk when this returns."""
        self.desk.close()
        self.store.close()

    def now_ms(self) -> int:
        """The time by the server's clock. [ms UTC]"""
        return self.clock.now_ms()

    # Machines

    def machines(self) -> list[Machine]:
        """All machines."""
        return self.desk.machines()

    def machine(self, machine_id: str) -> Machine:
        """One machine; raises NoSuchMachine."""
        return self.desk.live(machine_id).machine

    def add_machine(self, sheet: str) -> Machine:
        """Set up the machine that a TOML sheet describes; raises SheetError."""
        machine = self.keep_sheet(sheet)
        self.desk.add(machine)
        return machine

    def add_practice_machine(self) -> Machine:
        """Set up the simulated machine."""
        machine = self._keep(practice_machine())
        self.desk.add(machine)
        return machine

    def keep_sheet(self, sheet: str) -> Machine:
        """Put a machine into the database, to be read from the next start on; raises SheetError."""
        return self._keep(parse_sheet(sheet))

    def kept_sheet(self, machine_id: str) -> str:
        """The sheet of a machine in the database, whether it is read or not; raises NoSuchMachine."""
        kept = [Machine.model_validate_json(sheet) for sheet in books.machine_sheets(self.store.read)]
        for machine in kept:
            if machine.id == machine_id:
                return sheet_text(machine)
        there = ", ".join(machine.id for machine in kept) or "none yet"
        raise NoSuchMachine(f"There is no machine “{machine_id}” in this folder; there is {there}.")

    def sheet(self, machine_id: str) -> str:
        """The machine's TOML sheet."""
        return sheet_text(self.machine(machine_id))

    def _keep(self, machine: Machine) -> Machine:
        self.store.write(lambda db: books.keep_machine(db, machine.id, machine.model_dump_json(), self.now_ms()))
        return machine

    def machine_now(self, machine_id: str) -> MachineNow:
        """The numbers of one machine at this moment."""
        live = self.desk.live(machine_id)
        now, batch = live.now(), live.batch
        bean = bean_channel(live.machine)
        summary = None if batch is None or batch.code is None else lists.summary(self.store.read, batch.code)
        busy = batch is not None and batch.state in {"open", "roasting", "cooling"}
        quiet_s = (self.now_ms() - (now["at_ms"] or 0)) / 1000
        state = batch.state if batch is not None and busy else "between batches"
        rates = now["rates"].get(bean, {})
        return MachineNow(
            id=machine_id,
            name=live.machine.name,
            state=state if quiet_s < NEAR_S * 2 * self.clock.rate else "no readings",
            batch_code=summary.code if summary and busy else None,
            batch_title=summary.title if summary and busy else None,
            time_s=now["time_s"] if state == "roasting" else None,
            temp_c=now["values"].get(bean),
            rate_c_per_min=rates.get("rate"),
        )

    def today(self) -> Today:
        """The page of today."""
        recent = [batch for batch in self.batches().items if batch.dropped_ms is not None]
        return Today(
            machines=[self.machine_now(machine.id) for machine in self.machines()],
            unweighed=lists.in_state(self.store.read, "cooling"),
            recent=recent[:RECENT],
            lots_low=[lot for lot in self.lots() if 0 < lot.left_g < LOW_LOT_G],
        )

    def view(self, machine_id: str) -> dict[str, Any]:
        """What a live page shows; see `roastlog.live.view`."""
        return self.desk.view(machine_id)

    def hub(self, machine_id: str) -> Hub:
        """Where to watch a machine."""
        return self.desk.live(machine_id).hub

    def live_figure(self, machine_id: str) -> dict[str, Any]:
        """The live page's figure as a Bokeh json_item, with the curve so far."""
        from roastlog.plot.figures import live_figure  # noqa: PLC0415 - Bokeh takes a second to load

        live, view = self.desk.live(machine_id), self.desk.view(machine_id)
        drawn = dict(view["batch"]["chart"]) if view["batch"] else {}
        guide = view["batch"]["facts"].get("guide") if view["batch"] else None
        if guide is not None:
            drawn |= self._guide(guide)
        columns = {
            name: [math.nan if value is None else value for value in column] for name, column in live.columns().items()
        }
        return live_figure(view["channels"], view["controls"], columns, drawn)

    def _guide(self, code: str) -> dict[str, Any]:
        """The curve of an earlier batch to be held against; nothing where there is none of that code."""
        try:
            record = self.record(code)
        except (CodeError, NoSuchBatch):
            return {}
        bean = _bean_column(record.machine, record.curve)
        if bean is None:
            return {}
        return {"guide": {"t_s": record.curve.time_s, "temp_c": record.curve.channels[bean]}}

    # Entries and readings

    def accept_entries(self, raws: Sequence[object], device: str | None = None) -> list[Result]:
        """Keep journal entries; see `roastlog.live.intake.Intake.accept`."""
        return self.desk.intake.accept(raws, device=device)

    def accept_readings(self, machine_id: str, payload: object) -> Pushed:
        """Take in readings that were pushed; see `roastlog.live.push.take_push`."""
        return take_push(self.desk.live(machine_id), payload, self.now_ms())

    def entries_after(self, machine_id: str, seq: int) -> tuple[list[dict[str, Any]], int]:
        """What came in for a machine after ``seq``, and the number of the last of it."""
        self.machine(machine_id)
        found = stored.entries_after(self.store.read, machine_id, seq)
        told = [{**entry.model_dump(mode="json"), "seq": number} for number, entry in found]
        return told, found[-1][0] if found else seq

    def import_batch(self, raws: Sequence[Mapping[str, Any]], rows: Sequence[stored_readings.Row]) -> str:
        """Keep a whole batch that happened elsewhere, its `opened` entry first, with its readings; its code."""
        opened, *rest = [Entry.model_validate({"received_ms": raw["at_ms"], **raw}) for raw in raws]

        def change(db: Database) -> str:
            stored_readings.add_rows(db, opened.machine, rows)
            return stored.add_many(db, [(opened, rest)])[0]

        return self.store.write(change)

    # Batches

    def batches(self, page: int = 1, query: str = "", coffee: str = "", machine: str = "", size: int = 50) -> Page:
        """A page of the list of batches, newest first."""
        return lists.page_of(self.store.read, page=page, size=size, query=query, coffee=coffee, machine=machine)

    def summary(self, text: str) -> BatchSummary:
        """A batch by its code as typed; raises MistypedCode, NotACode or NoSuchBatch."""
        code = parse_code(text).code
        found = lists.summary(self.store.read, code)
        if found is None:
            raise NoSuchBatch(f"The code {code} is well formed, but no batch here carries it.")
        return found

    def record(self, text: str) -> Record:
        """All that is known of a batch; raises MistypedCode, NotACode or NoSuchBatch."""
        summary = self.summary(text)
        batch = fold(stored.entries_of(self.store.read, summary.code), summary.code)
        machine = next((machine for machine in self.machines() if machine.id == summary.machine), None)
        curve = self.curve(batch, machine)
        bean = _bean_column(machine, curve)
        measures = measure(batch, curve, bean, self.now_ms())
        loss = None
        if batch.roast_loss is not None and 0 <= batch.roast_loss < 1:
            loss = judge(batch.roast_loss, self.usual_loss(summary.coffee, but=summary.code))
        log = [_log_line(line, batch, machine, curve, bean) for line in batch.lines]
        return Record(batch, summary, machine, curve, measures, self._lot_of(batch), log, loss)

    def curve(self, batch: Batch, machine: Machine | None) -> Curve:
        """The curve of a batch from charge to drop, a row a second: the channels, and a rate for each bean channel."""
        charge = batch.moments.get("charge")
        if charge is None or batch.machine is None:
            return Curve(np.empty(0), {})
        end_s = min(batch.moments_s.get("drop", (self.now_ms() - charge.at_ms) / 1000), LONGEST_S)
        end_s = max(0, math.ceil(end_s))
        span = charge.at_ms - 1000, charge.at_ms + 1000 * (end_s + 1)
        if machine is not None:
            rows = self.desk.live(machine.id).rows_between(*span)
        else:
            rows = stored_readings.rows_between(self.store.read, batch.machine, *span)
        if not rows:
            return Curve(np.empty(0), {})
        names = list(dict.fromkeys(name for _, values in rows for name in values))
        roles: dict[str, str] = {}
        if machine is not None:
            names = [channel.id for channel in machine.channels]
            roles = {channel.id: channel.role for channel in machine.channels if channel.role in BEAN_ROLES}
        columns = {name: [values.get(name, math.nan) for _, values in rows] for name in names}
        last_s = min(end_s, math.ceil((rows[-1][0] - charge.at_ms) / 1000))
        curve = bin_seconds([at for at, _ in rows], columns, origin_ms=charge.at_ms, start_s=0, end_s=max(0, last_s))
        rates = {
            f"rate_{name}": rate_of_rise(curve.time_s, curve.channels[name], role=role, charge_s=0.0)
            for name, role in roles.items()
        }
        return Curve(curve.time_s, {**curve.channels, **rates})

    def losses(self, coffee: str | None, but: str = "") -> list[float]:
        """Roast losses of the earlier batches of a coffee."""
        return [] if coffee is None else lists.losses(self.store.read, coffee, but=but)

    def usual_loss(self, coffee: str | None, but: str = "") -> Band | None:
        """The band that is usual for a coffee; None while too few batches are known."""
        return usual_band(self.losses(coffee, but))

    def figure(self, text: str) -> dict[str, Any]:
        """The record's figure as a Bokeh json_item."""
        from roastlog.plot.figures import record_figure  # noqa: PLC0415 - Bokeh takes a second to load

        record = self.record(text)
        parts = _drawn(record.machine, record.curve)
        moments = [(row.label, row.time_s) for row in record.measures.moments]
        bean = _bean_column(record.machine, record.curve)
        trier = [(line.body["stage"], record.batch.time_s(line.at_ms)) for line in record.batch.of("trier")]
        moves = [
            (line.body["control"], record.batch.time_s(line.at_ms), line.body["setting"])
            for line in record.batch.of("move")
        ]
        end_s = record.batch.moments_s.get("drop", float(record.curve.time_s[-1]) if record.curve.time_s.size else 0.0)
        return record_figure(
            parts["channels"],
            parts["controls"],
            {"t_s": record.curve.time_s, **record.curve.channels},
            {
                "marks": overlays.marks(moments),
                "checks": overlays.checks(
                    (stage, time_s, _value_at(record.curve, bean, time_s))
                    for stage, time_s in trier
                    if time_s is not None
                ),
                "ribbon": overlays.ribbon(
                    ((control, time_s, setting) for control, time_s, setting in moves if time_s is not None),
                    parts["controls"],
                    end_s,
                ),
            },
        )

    # Lots, people, settings

    def lots(self) -> list[Lot]:
        """All green lots with what is left of each."""
        return [_lot(row, taken_g) for row, taken_g in books.lots(self.store.read)]

    def lot(self, code: str) -> Lot:
        """One lot; raises NoSuchLot."""
        found = books.lot(self.store.read, code)
        if found is None:
            raise NoSuchLot(f"There is no lot {code} in the books.")
        return _lot(*found)

    def _lot_of(self, batch: Batch) -> Lot | None:
        found = None if batch.facts.lot is None else books.lot(self.store.read, batch.facts.lot)
        return None if found is None else _lot(*found)

    def add_lot(self, row: LotRow) -> Lot:
        """Put a lot into the books, or change what they say of it."""
        if not row.code or not row.coffee:
            raise SettingError("A lot needs a code and the name of its coffee.")
        if not (math.isfinite(row.bought_g) and row.bought_g >= 0):
            raise SettingError("The weight bought must be 0 or more.")
        self.store.write(lambda db: books.keep_lot(db, row))
        return self.lot(row.code)

    def people(self) -> list[Person]:
        """All people."""
        return books.people(self.store.read)

    def add_person(self, name: str, shown: str = "") -> None:
        """Add someone who roasts; ``shown`` is what a bag may say."""
        if not name.strip():
            raise SettingError("A person needs a name.")
        person = Person(name.strip(), shown.strip() or name.split(maxsplit=1)[0])
        self.store.write(lambda db: books.keep_person(db, person))

    def settings(self) -> Settings:
        """All settings, those not changed at their defaults."""
        known = {item.name for item in fields(Settings)}
        return Settings(**{name: value for name, value in books.settings(self.store.read).items() if name in known})

    def save_settings(self, changes: Mapping[str, Any]) -> Settings:
        """Change settings; raises SettingError when one is out of range."""
        settings = replace(self.settings(), **changes)
        if settings.url_base and not _is_base(settings.url_base):
            raise SettingError(
                "The address for labels must begin with https:// or http://, and a host's name must follow."
            )
        if not 0 <= settings.best_before_days <= 3650:
            raise SettingError("Best before must be 0 (none) to 3650 days after roasting.")
        if settings.units_temp not in {"C", "F"} or settings.units_mass not in {"kg", "lb"}:
            raise SettingError("Units are C or F, and kg or lb.")
        settings = replace(settings, url_base=settings.url_base.rstrip("/"))
        self.store.write(lambda db: books.keep_settings(db, asdict(settings)))
        return settings

    def house_key(self) -> str:
        """What a device shows once to be let in; made when first asked for."""
        kept = books.settings(self.store.read).get("house_key")
        if isinstance(kept, str):
            return kept
        key = secrets.token_urlsafe(16)
        self.store.write(lambda db: books.keep_settings(db, {"house_key": key}))
        return key

    def new_token(self, name: str) -> str:
        """An API token, told once; only its hash is kept."""
        token = secrets.token_urlsafe(32)
        self.store.write(lambda db: books.keep_token(db, name, _hash(token), self.now_ms()))
        return token

    def token_name(self, token: str) -> str | None:
        """The name that a token was made under; None for one that is not known."""
        return books.token_hashes(self.store.read).get(_hash(token))

    # Labels and bags

    def address(self, text: str) -> Address:
        """Where the label of a batch leads, and who can go there."""
        token = self.summary(text).token
        base = self.settings().url_base
        if base:
            return Address(f"{base}/r/{token}", f"Anyone who can open {base}.", set_base=True)
        host = lan_address() if self._host in {"0.0.0.0", "::"} else self._host
        url = f"http://{f'[{host}]' if ':' in host else host}:{self._port}/r/{token}"
        if host in {"localhost", "127.0.0.1", "::1"}:
            return Address(url, "Only this computer: Drumside listens on it alone.", set_base=False)
        return Address(url, "Phones in the same network, as long as this computer keeps its address.", set_base=False)

    def label(self, text: str) -> Label:
        """What the label of a batch says."""
        record, settings = self.record(text), self.settings()
        bag = self._bag(record, settings)
        subtitle = f"for {bag.intent}" if bag.intent else ""
        return Label(
            coffee=bag.coffee,
            code=bag.code,
            url=self.address(text).url,
            business=settings.business,
            subtitle=subtitle,
            roasted_on=_day(bag.roasted),
            best_before=_day(bag.best_before) or None,
            note=bag.cup,
        )

    def bag(self, token: str) -> Bag:
        """What anyone sees who scans a bag; raises NoSuchBatch."""
        summary = lists.by_token(self.store.read, token)
        if summary is None or summary.state == "discarded":
            raise NoSuchBatch("This code leads to no bag that is known here. Ask the roastery that sold it.")
        return self._bag(self.record(summary.code), self.settings())

    def _bag(self, record: Record, settings: Settings) -> Bag:
        batch, lot = record.batch, record.lot
        ended = batch.moments.get("drop") or batch.moments.get("charge") or batch.opened
        roasted = None if ended is None else datetime.fromtimestamp(ended.at_ms / 1000).astimezone()
        best_before = None
        if roasted is not None and settings.best_before_days:
            best_before = roasted + timedelta(days=settings.best_before_days)
        facts = (
            {"origin": lot.origin, "process": lot.process, "grown": lot.altitude, "picked": lot.harvest} if lot else {}
        )
        weights = {"green": batch.green_g, "roasted": batch.roasted_g} if settings.bag_shows_weights else {}
        return Bag(
            code=record.summary.code,
            coffee=record.summary.coffee or "Coffee without a name yet",
            intent=batch.facts.intent,
            business=settings.business,
            roasted=roasted,
            best_before=best_before,
            cup=lot.cup if lot else None,
            curve_svg=self._small(record),
            origin={name: text for name, text in facts.items() if text},
            weights={name: mass_g for name, mass_g in weights.items() if mass_g is not None},
            roasted_by=self._roasted_by(batch) if settings.bag_shows_people else None,
            state=batch.state,
        )

    def _small(self, record: Record) -> str:
        bean = _bean_column(record.machine, record.curve)
        if bean is None or not np.isfinite(record.curve.channels[bean]).any():
            return ""
        moments = {row.label: row.time_s for row in record.measures.moments if row.moment in _SMALL_MOMENTS}
        return small_curve_svg(record.curve.time_s, record.curve.channels[bean], moments, label="How it was roasted")

    def _roasted_by(self, batch: Batch) -> str | None:
        shown = {person.name: person.shown for person in self.people()}
        said = [line.by.person for line in batch.of("moment") + batch.of("opened") if line.by.person in shown]
        return shown[said[0]] if said and said[0] else None

    # Exports and health

    def batch_json(self, text: str) -> dict[str, Any]:
        """A batch as the API gives it."""
        record = self.record(text)
        summary, measures = record.summary, record.measures
        return {
            "code": summary.code,
            "machine": summary.machine,
            "state": summary.state,
            "coffee": summary.coffee,
            "opened": record.batch.facts.model_dump(mode="json", exclude_none=True),
            "opened_ms": summary.opened_ms,
            "charged_ms": summary.charged_ms,
            "dropped_ms": summary.dropped_ms,
            "moments": {row.moment: round(row.time_s, 3) for row in measures.moments},
            "phases": [phase._asdict() for phase in measures.phases],
            "metrics": {
                "duration_s": summary.duration_s,
                "development_s": measures.development_s,
                "development_ratio": measures.development_ratio,
                "green_g": summary.green_g,
                "roasted_g": summary.roasted_g,
                "roast_loss": summary.roast_loss,
            },
            "entries": [
                {
                    "id": str(line.id),
                    "kind": line.kind,
                    "at_ms": line.at_ms,
                    "received_ms": line.received_ms,
                    "by": line.by.model_dump(),
                    "body": dict(line.body),
                    "undone": line.undone,
                    "shifted_s": line.shifted_s,
                    "amended": line.amended,
                    "flags": list(line.flags),
                }
                for line in record.batch.lines
            ],
        }

    def health(self) -> tuple[dict[str, Any], bool]:
        """Whether it can record, and how each machine is."""
        machines = []
        for machine in self.machines():
            live, links = self.desk.live(machine.id), self.desk.links(machine.id)
            states = [link.state for link in links]
            state = "lost" if "lost" in states else "starting" if "starting" in states else "ok"
            machines.append({"id": machine.id, "state": state, "last_reading_at_ms": live.last_reading_ms})
        try:
            self.store.write(lambda db: books.keep_settings(db, {"last_health_ms": self.now_ms()}))
        except StoreError as error:
            return {"status": "failing", "reason": str(error), "machines": machines}, False
        return {"status": "ok", "machines": machines}, True


_SMALL_MOMENTS: Final = ("charge", "yellow", "first_crack", "drop")


def measure(batch: Batch, curve: Curve, bean: str | None, now_ms: int) -> Measures:
    """What is read off a batch's curve: turning point, moments with their values, phases, development."""
    times = batch.moments_s
    temps = curve.channels[bean] if bean else np.full(curve.time_s.shape, np.nan)
    turn = turning_point(curve.time_s, temps)
    rows = [
        MomentRow(
            moment=name,
            label=MOMENT_LABELS[name],
            time_s=time_s,
            at_ms=batch.moments[name].at_ms,
            temp_c=_value_at(curve, bean, time_s),
            rate_c_per_min=_value_at(curve, f"rate_{bean}", time_s),
            by=batch.moments[name].by.person or batch.moments[name].by.device,
            flags=batch.moments[name].flags,
        )
        for name, time_s in ((name, times[name]) for name in batch.moments if name in times)
    ]
    if turn is not None and turn.time_s < times.get("drop", math.inf):
        label = MOMENT_LABELS["turning_point"]
        rows.append(MomentRow("turning_point", label, turn.time_s, None, turn.temp_c, 0.0, None))
    rows.sort(key=lambda row: row.time_s)
    now_s = batch.time_s(now_ms)
    grown = development(times, times.get("drop", now_s or 0.0))
    return Measures(
        moments=rows,
        turning_point=turn,
        phases=phases(times, curve.time_s, temps),
        development_s=grown.time_s if grown else None,
        development_ratio=grown.ratio if grown else None,
    )


def _value_at(curve: Curve, column: str | None, time_s: float) -> float | None:
    if column is None or column not in curve.channels:
        return None
    return value_at(curve.time_s, curve.channels[column], time_s)


def _bean_column(machine: Machine | None, curve: Curve) -> str | None:
    if machine is not None:
        bean = bean_channel(machine)
        return bean if bean in curve.channels else None
    return "bean_probe" if "bean_probe" in curve.channels else next(iter(curve.channels), None)


def _drawn(machine: Machine | None, curve: Curve) -> dict[str, Any]:
    if machine is not None:
        return machine_part(machine)
    names = [name for name in curve.channels if not name.startswith("rate_")]
    return {
        "channels": [{"id": name, "name": name, "role": name, "short": name} for name in names],
        "controls": [],
    }


def _log_line(line: Line, batch: Batch, machine: Machine | None, curve: Curve, bean: str | None) -> LogLine:
    controls = {control.id: control.name for control in machine.controls} if machine else {}
    time_s = batch.time_s(line.at_ms)
    return LogLine(
        entry=str(line.id),
        kind=line.kind,
        time_s=time_s,
        at_ms=line.at_ms,
        text=tell(line, batch, controls),
        by=line.by.person,
        device=line.by.device,
        late="late" in line.flags,
        undone=line.undone,
        flags=line.flags,
        temp_c=None if time_s is None else _value_at(curve, bean, time_s),
        body=line.body,
    )


def _lot(row: LotRow, taken_g: Sequence[float]) -> Lot:
    return Lot(**asdict(row), left_g=LotBalance.of(row.bought_g, taken_g).left_g)


def _is_base(url: str) -> bool:
    try:
        parts = urlsplit(url)
        return parts.scheme in {"http", "https"} and bool(parts.hostname) and (parts.port or 1) > 0
    except ValueError:
        return False


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _day(when: datetime | None) -> str:
    return "" if when is None else f"{when.day} {when:%B %Y}"


def lan_address() -> str:
    """The address of this computer in its own network, as well as can be told without asking anyone."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737); nothing is sent
            host = str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
    return "127.0.0.1" if ipaddress.ip_address(host).is_unspecified else host

"""The tables of the comparison page: a column per batch, each value with its difference from the guide."""

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from roastlog.curve.comparison.matching import Change, MovePair
from roastlog.journal.vocabulary import MOMENT_LABELS, called
from roastlog.languages import N_, _, decimal
from roastlog.services import Compared, SideBySide
from roastlog.units import lb_from_g, rate_f_from_c
from roastlog.web.http.formatting import HARD_SPACE, NOTHING, Units, clock, mass, number, rate, share, temp

MOMENTS = ("charge", "turning_point", "yellow", "first_crack", "first_crack_fading", "second_crack", "drop")
PHASES = ("drying", "browning", "development")

Value = Callable[[Compared], float | None]
Written = Callable[[float | None], str]
NONE = N_("none")


class Cell(NamedTuple):
    """The text of a cell, and the difference from the guide; empty where there is none."""

    said: str
    by: str = ""


class TableRow(NamedTuple):
    """A line of a table: its label and a cell for each batch."""

    label: str
    cells: Sequence[Cell]


class TablePart(NamedTuple):
    """A titled group of lines."""

    title: str
    rows: Sequence[TableRow]


def signed(value: float, decimals: int, unit: str) -> str:
    """A difference with its sign: ``+28 s``, ``−2.1 °C``, ``0 s``."""
    text = number(value, decimals)
    plus = "+" if round(value, decimals) > 0 else ""
    return f"{plus}{text}{HARD_SPACE}{unit}"


def by_temp(by_c: float, units: Units) -> str:
    """A difference of temperature in the page's unit, so without the offset of °F."""
    return signed(by_c if units.temp == "C" else rate_f_from_c(by_c), 1, f"°{units.temp}")


def by_rate(by_c_per_min: float, units: Units) -> str:
    """A difference of rate in the page's unit."""
    return signed(by_c_per_min if units.temp == "C" else rate_f_from_c(by_c_per_min), 1, f"°{units.temp}/min")


def by_mass(by_g: float, units: Units) -> str:
    """A difference of weight in the page's unit."""
    return signed(by_g, 0, "g") if units.mass == "kg" else signed(lb_from_g(by_g), 2, "lb")


def by_seconds(by_s: float) -> str:
    """A difference in time."""
    return signed(by_s, 0, "s")


def by_points(by_share: float) -> str:
    """A difference of shares, in percentage points."""
    return signed(100 * by_share, 1, _("points"))


def parts(beside: SideBySide, units: Units) -> list[TablePart]:
    """The tables of features, without lines that are empty for all batches."""
    rows = _Rows(beside.batches, units)
    every = [
        TablePart(_("Charge"), [rows.mass(_("Green weight"), lambda batch: batch.features.green_g)]),
        TablePart(
            _("Time from charge"), [rows.time(MOMENT_LABELS[name], _moment(name, "time_s")) for name in MOMENTS[1:]]
        ),
        TablePart(_("Bean temperature"), [rows.temp(MOMENT_LABELS[name], _moment(name, "temp_c")) for name in MOMENTS]),
        TablePart(
            _("Rate of rise"),
            [rows.rate(MOMENT_LABELS[name], _moment(name, "rate_c_per_min")) for name in MOMENTS[2:]],
        ),
        TablePart(
            _("Length of each phase"),
            [rows.time(_capital(name), _phase(name, "duration_s")) for name in PHASES],
        ),
        TablePart(_("Share of the roast"), [rows.share(_capital(name), _phase(name, "share")) for name in PHASES]),
        TablePart(_("Mean rate"), [rows.rate(_capital(name), _phase(name, "mean_rate_c_per_min")) for name in PHASES]),
        TablePart(_("Out of the drum"), [rows.share(_("Roast loss"), lambda batch: batch.record.summary.roast_loss)]),
        TablePart(
            _("Distance from the guide's curve"),
            [
                rows.distance(_("Mean"), _distance("mean_c")),
                rows.distance(_("Root mean square"), _distance("rms_c")),
                rows.distance(_("Mean, time stretched"), _distance("warped_c")),
            ],
        ),
    ]
    known = [
        TablePart(part.title, [row for row in part.rows if any(c.said != NOTHING for c in row.cells)]) for part in every
    ]
    return [part for part in known if part.rows]


class _Rows:
    """Makes rows of each kind of value, in the page's units."""

    def __init__(self, batches: Sequence[Compared], units: Units) -> None:
        self._batches, self._units = batches, units

    def _row(self, label: str, value: Value, say: Written, by: Callable[[float], str]) -> TableRow:
        values = [value(batch) for batch in self._batches]
        guide = values[0] if values else None
        cells = [Cell(say(values[0]))] if values else []
        for found in values[1:]:
            known = found is not None and guide is not None
            cells.append(Cell(say(found), by(found - guide) if known else ""))  # type: ignore[operator] # both are known
        return TableRow(label, cells)

    def time(self, label: str, value: Value) -> TableRow:
        return self._row(label, value, clock, by_seconds)

    def temp(self, label: str, value: Value) -> TableRow:
        return self._row(label, value, lambda c: temp(c, self._units), lambda c: by_temp(c, self._units))

    def rate(self, label: str, value: Value) -> TableRow:
        return self._row(label, value, lambda c: rate(c, self._units), lambda c: by_rate(c, self._units))

    def share(self, label: str, value: Value) -> TableRow:
        return self._row(label, value, share, by_points)

    def mass(self, label: str, value: Value) -> TableRow:
        return self._row(label, value, lambda g: mass(g, self._units), lambda g: by_mass(g, self._units))

    def distance(self, label: str, value: Value) -> TableRow:
        """A row of distances, which have neither a sign nor a difference from the guide."""
        values = [value(batch) for batch in self._batches]
        return TableRow(label, [Cell(NOTHING if c is None else by_temp(c, self._units).lstrip("+")) for c in values])


def _capital(phase: str) -> str:
    word = called(phase)
    return word[:1].upper() + word[1:]


def _moment(name: str, field: str) -> Value:
    return lambda batch: getattr(batch.features.moments.get(name), field, None)


def _phase(name: str, field: str) -> Value:
    return lambda batch: getattr(batch.features.phases.get(name), field, None)


def _distance(field: str) -> Value:
    return lambda batch: getattr(batch.against.distance, field) if batch.against else None


def moves(beside: SideBySide) -> list[TablePart]:
    """The moves side by side, a part per control: a line for each move of the guide, and for each additional one."""
    guide = beside.guide
    if guide is None:
        return []
    names = {control.id: control.name for control in beside.controls}
    controls = dict.fromkeys([*names, *guide.features.changes])  # in the order of the machine's sheet
    every = [TablePart(names.get(control, control), _move_rows(beside, control)) for control in controls]
    return [part for part in every if part.rows]


def _move_rows(beside: SideBySide, control: str) -> list[TableRow]:
    guide, *others = beside.batches
    pairs = [
        [pair for pair in batch.against.moves if pair.control == control] if batch.against else [] for batch in others
    ]
    rows: list[tuple[float, TableRow]] = []
    for change in guide.features.changes.get(control, ()):
        cells = [
            _beside(own, change, control in batch.features.changes) for own, batch in zip(pairs, others, strict=True)
        ]
        rows.append((change.time_s, TableRow(_when(change), [Cell(_setting(change)), *cells])))
    for place, own in enumerate(pairs):
        for made in (pair.batch for pair in own if pair.guide is None and pair.batch is not None):
            cells = [Cell(NONE), *(Cell(_move(made) if at == place else "") for at in range(len(others)))]
            rows.append((made.time_s, TableRow(_("extra, {time}", time=clock(made.time_s)), cells)))
    return [row for _, row in sorted(rows, key=lambda row: row[0])]


def _beside(own: Iterable[MovePair], change: Change, known: bool) -> Cell:
    made = next((pair.batch for pair in own if pair.guide == change and pair.batch is not None), None)
    if made is None:
        return Cell(NONE if known else _("no such control"))
    if change.before is None:
        return Cell(_setting(made), "" if made.setting == change.setting else signed_setting(made, change))
    differs = [by_seconds(made.time_s - change.time_s)]
    if made.setting != change.setting:
        differs.append(signed_setting(made, change))
    return Cell(_move(made), ", ".join(differs))


def signed_setting(made: Change, guide: Change) -> str:
    """A difference of settings with its sign, in the control's unit."""
    return decimal(f"{made.setting - guide.setting:+g}").replace("-", "−")


def _setting(change: Change) -> str:
    return decimal(f"{change.setting:g}")


def _move(change: Change) -> str:
    return f"{clock(change.time_s)}{HARD_SPACE}→{HARD_SPACE}{_setting(change)}"


def _when(change: Change) -> str:
    return _("at charge") if change.before is None and change.time_s <= 0 else clock(change.time_s)

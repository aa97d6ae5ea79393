"""Checking a probe against a reference, and storing its offset with the date."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from statistics import fmean
from typing import Final, Self

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import InstrumentError, NotFound
from roastlog.languages import _
from roastlog.machine.boiling_point import air_pressure_kpa, boiling_point_c
from roastlog.machine.model import Channel, Machine
from roastlog.machine.sources import REFERENCES, Reference
from roastlog.units import c_from_f, f_from_c
from roastlog.web import services
from roastlog.web.http.formatting import page_units
from roastlog.web.http.forms import FIELDS, Form
from roastlog.web.http.security import speaker
from roastlog.web.owner.machine_parts import part_of

bp = Blueprint("probe_check", __name__)
_PATH: Final = "/machines/<machine_id>/channels/<part_id>/check"
RESTS_C: Final = 0.5  # a probe that moves by more within ten seconds has not settled at the reference
FAR_C: Final = 5.0
MOST_C: Final = 100.0
LEAST_REFERENCE_C: Final = -50.0
MOST_REFERENCE_C: Final = 500.0


@dataclass(frozen=True)
class CheckComparison:
    """A probe's reading compared with the reference."""

    read_c: float
    reference_c: float
    reference: Reference

    @property
    def offset_c(self) -> float:
        """The offset to be added to each reading. [°C]"""
        return round(self.reference_c - self.read_c, 2)

    @property
    def far(self) -> bool:
        """Whether the offset is larger than usual for a probe."""
        return abs(self.offset_c) > FAR_C

    @property
    def impossible(self) -> bool:
        """Whether the offset is too large to be stored."""
        return abs(self.offset_c) > MOST_C


@dataclass(frozen=True)
class Rest:
    """Mean and range of the readings of the last ten seconds, without an offset. [°C]"""

    mean_c: float | None
    spread_c: float

    @classmethod
    def of(cls, values: Sequence[float]) -> Self:
        """Mean and range of readings; mean None without any. [°C]"""
        return cls(fmean(values), max(values) - min(values)) if values else cls(None, 0.0)

    @property
    def moves(self) -> bool:
        """Whether the probe has not settled yet."""
        return self.spread_c > RESTS_C


@dataclass(frozen=True)
class CheckPage:
    """Context of `owner/machines/check.html`."""

    machine: Machine
    part: Channel
    rest: Rest
    values: Mapping[str, str]
    unit: str
    errors: Mapping[str, str] = field(default_factory=dict)
    found: CheckComparison | None = None
    references: Mapping[Reference, str] = field(default_factory=lambda: REFERENCES)

    @property
    def typed_read(self) -> str:
        """The compared reading as a field's value, so that it is stored even if the probe has moved on."""
        if self.found is None:
            return ""
        return f"{self.found.read_c if self.unit == '°C' else f_from_c(self.found.read_c):.2f}"


@bp.get(_PATH)
def check(machine_id: str, part_id: str) -> str:
    """The form: the probe's present reading, and the choice of a reference."""
    machine, channel = _channel(machine_id, part_id)
    return _page(machine, channel, Form({"reference": "ice"}))


@bp.post(_PATH)
def compare(machine_id: str, part_id: str) -> ResponseReturnValue:
    """Compare, and store the offset once the person has confirmed it."""
    machine, channel = _channel(machine_id, part_id)
    form = Form(request.form)
    found = _comparison(form, _rest(machine, channel))
    if found is None or found.impossible or form.values.get("then") != "keep":
        return _page(machine, channel, form, found), 422 if form.errors else 200
    on = datetime.fromtimestamp(services().clock.now_ms() / 1000, UTC).astimezone().date()
    check = {
        "channel": channel.id,
        "offset_c": found.offset_c,
        "on": on.isoformat(),
        "reference": found.reference,
        "reference_c": found.reference_c,
        "read_c": found.read_c,
    }
    services().machines.check_probe(machine_id, check, speaker())
    return redirect(f"/machines/{machine_id}/setup", 303)


def _channel(machine_id: str, part_id: str) -> tuple[Machine, Channel]:
    machine = services().machines.get(machine_id)
    channel = part_of(machine, "channels", part_id)
    if not isinstance(channel, Channel):
        raise NotFound(_("{name} has no such channel.", name=machine.name))
    return machine, channel


def _rest(machine: Machine, channel: Channel) -> Rest:
    return Rest.of(services().live.at_rest(machine.id, channel.id))


def _comparison(form: Form, rest: Rest) -> CheckComparison | None:
    """The comparison of the form; None with the reasons in ``form.errors``."""
    read_c = rest.mean_c if not form.values.get("read") else _temp_c(form, "read")
    reference = next((name for name in REFERENCES if name == form.values.get("reference")), None)
    reference_c = _reference_c(form, reference)
    if read_c is None and "read" not in form.errors:
        form.errors["read"] = _("No reading in the last 10 s. Check the connection, or type the probe's reading.")
    if form.errors or read_c is None or reference is None or reference_c is None:
        return None
    return CheckComparison(round(read_c, 2), round(reference_c, 2), reference)


def _reference_c(form: Form, reference: Reference | None) -> float | None:
    if reference == "ice":
        return 0.0
    if reference is None:
        form.errors["reference"] = _("Choose a reference.")
        return None
    typed = _temp_c(form, reference) if reference == "thermometer" else form.number(reference)
    if typed is None:
        form.errors.setdefault(reference, _("Required for this reference."))
        return None
    try:
        if reference == "altitude":
            return boiling_point_c(air_pressure_kpa(typed))
        return boiling_point_c(typed / 10) if reference == "pressure" else typed
    except InstrumentError as error:
        form.errors[reference] = str(error)
        return None


def _temp_c(form: Form, name: str) -> float | None:
    typed, temp = form.number(name), page_units().temp
    temp_c = typed if typed is None or temp == "C" else c_from_f(typed)
    if temp_c is None or LEAST_REFERENCE_C <= temp_c <= MOST_REFERENCE_C:
        return temp_c
    low, high = ((c if temp == "C" else f_from_c(c)) for c in (LEAST_REFERENCE_C, MOST_REFERENCE_C))
    form.errors[name] = _(
        "{field} must be between {low:g} and {high:g} °{unit}, not {typed:g} °{unit}.",
        field=_(FIELDS[name]),
        low=low,
        high=high,
        unit=temp,
        typed=typed,
    )
    return None


def _page(machine: Machine, channel: Channel, form: Form, found: CheckComparison | None = None) -> str:
    page = CheckPage(
        machine, channel, _rest(machine, channel), form.values, f"°{page_units().temp}", form.errors, found
    )
    return render_template("owner/machines/check.html", page=page)

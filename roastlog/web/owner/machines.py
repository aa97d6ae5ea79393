"""Machines: the list, a page each with the newest readings, their sheets, and the forms to add one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Self

from flask import Blueprint, Response, redirect, render_template, request
from flask.typing import ResponseReturnValue
from pydantic import ValidationError

from roastlog.errors import SheetError
from roastlog.languages import _
from roastlog.machine.model import Channel, Control, Machine
from roastlog.machine.sheet import mistakes
from roastlog.machine.wording import source_words
from roastlog.services import ReadFault, Reading
from roastlog.web import services
from roastlog.web.http.forms import AddMachine, Form
from roastlog.web.http.security import speaker
from roastlog.web.owner.part_form import id_of, in_form

bp = Blueprint("machines", __name__)


@dataclass(frozen=True)
class MachinesPage:
    """Context of `owner/machines/machines.html`."""

    machines: Sequence[Machine]
    add: AddMachine


@dataclass(frozen=True)
class PartRow:
    """A channel or control in a line: its source, and its last reading or fault."""

    part: Channel | Control
    table: str
    source: str
    raw: str = ""
    value: float | None = None
    reason: str = ""
    age_s: float | None = None

    @property
    def age(self) -> str:
        """Age of the last reading: ``12 s``, ``4 min`` or ``3 h``."""
        age_s = self.age_s or 0.0
        return f"{age_s:.0f} s" if age_s < 120 else f"{age_s / 60:.0f} min" if age_s < 7200 else f"{age_s / 3600:.0f} h"

    @classmethod
    def of(cls, part: Channel | Control, heard: Reading | ReadFault | None, now_ms: int) -> Self:
        """A part with its last reading or fault."""
        table, source = "channels" if isinstance(part, Channel) else "controls", source_words(part)
        if isinstance(heard, ReadFault):
            return cls(part, table, source, heard.raw, reason=heard.reason)
        if heard is None:
            return cls(part, table, source)
        offset_c = part.offset_c if isinstance(part, Channel) else 0.0
        age_s = max(0.0, (now_ms - heard.at_ms) / 1000)
        return cls(part, table, source, heard.raw, heard.value + offset_c, age_s=age_s)


@dataclass(frozen=True)
class MachinePage:
    """Context of `owner/machines/machine.html`."""

    machine: Machine
    rows: Sequence[PartRow]
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)

    @property
    def by_hand(self) -> bool:
        """Whether a person types readings of any of its channels."""
        return any(channel.hand is not None for channel in self.machine.channels)

    @classmethod
    def of(
        cls, machine: Machine, errors: Mapping[str, str] | None = None, typed: Mapping[str, str] | None = None
    ) -> Self:
        """A machine, with the values of a refused form where there are any."""
        heard, now_ms = services().live.heard(machine.id), services().clock.now_ms()
        parts: list[Channel | Control] = [*machine.channels, *machine.controls]
        smallest_g, largest_g = machine.batch_g
        values = {"name": machine.name, "smallest": f"{smallest_g:g}", "largest": f"{largest_g:g}"}
        rows = [PartRow.of(part, heard.get(part.id), now_ms) for part in parts]
        return cls(machine, rows, typed or values, errors or {})


@bp.get("/machines/<machine_id>/setup")
def machine(machine_id: str) -> str:
    """One machine: its channels and controls with their last readings."""
    return render_template("owner/machines/machine.html", page=MachinePage.of(services().machines.get(machine_id)))


@bp.post("/machines/<machine_id>/setup")
def rename(machine_id: str) -> ResponseReturnValue:
    """Change the name or the batch sizes of a machine."""
    known = services().machines.get(machine_id)
    made, form = _described(known.model_dump(exclude_defaults=True))
    if made is None:
        page = MachinePage.of(known, form.errors, form.values)
        return render_template("owner/machines/machine.html", page=page), 422
    services().machines.change(made.with_passwords_of(known), known, speaker())
    return redirect(f"/machines/{machine_id}/setup", 303)


@bp.post("/machines/new")
def begin() -> ResponseReturnValue:
    """Add a machine by its name and batch sizes; its bean probe is read by hand until a source is set."""
    probe = {"id": "bean_probe", "name": _("Bean probe"), "role": "bean_probe", "hand": {}}
    ident = id_of(request.form.get("name", "")) or "machine"  # a name without a Latin letter has no id of its own
    made, form = _described({"id": ident, "channels": [probe]})
    if made is not None and any(known.id == made.id for known in services().machines.all()):
        form.errors["name"] = _("There is a machine “{id}” already; choose another name.", id=made.id)
    if made is None or form.errors:
        return _page(AddMachine(values=form.values, errors=form.errors)), 422
    services().machines.change(made, None, speaker())
    return redirect(f"/machines/{made.id}/setup", 303)


@bp.get("/machines")
def machines() -> str:
    """All machines, and the form to add one."""
    return _page(AddMachine())


@bp.post("/machines")
def import_sheet() -> ResponseReturnValue:
    """Add the machine of a sheet, uploaded or pasted."""
    text = request.form.get("text", "")
    try:
        text = _uploaded() or text
        machine = services().machines.add(text, speaker())
    except SheetError as error:
        return _page(AddMachine(text, str(error))), 422
    return redirect(f"/machines/{machine.id}", 303)


@bp.post("/machines/practice")
def practise() -> ResponseReturnValue:
    """Add a simulated machine."""
    return redirect(f"/machines/{services().machines.add_practice(speaker()).id}", 303)


@bp.get("/machines/<machine_id>/sheet.toml")
def sheet(machine_id: str) -> Response:
    """The sheet of a machine, for download."""
    return Response(
        services().machines.sheet(machine_id),
        mimetype="application/toml",
        headers={"Content-Disposition": f'attachment; filename="{machine_id}.toml"'},
    )


def _page(add: AddMachine) -> str:
    page = MachinesPage(services().machines.all(), add)
    return render_template("owner/machines/machines.html", page=page)


def _described(data: dict[str, Any]) -> tuple[Machine | None, Form]:
    """A machine with the name and batch sizes of the form; None if they are invalid, with the errors in the form."""
    form = Form(request.form)
    smallest_g, largest_g = (form.mass_g(name, "g") for name in ("smallest", "largest"))
    missing = {
        "name": _("Name is required: 1 to 60 characters."),
        "smallest": _("Smallest charge is required: above 0 g."),
        "largest": _("Largest charge is required: above 0 g."),
    }
    form.errors |= {name: message for name, message in missing.items() if not form.values.get(name)}
    if smallest_g is not None and smallest_g <= 0:
        form.errors["smallest"] = _("Smallest charge must be above 0 g.")
    elif smallest_g is not None and largest_g is not None and largest_g < smallest_g:
        form.errors["largest"] = _("Largest charge must be at least the smallest, {smallest:g} g.", smallest=smallest_g)
    batch_g = (smallest_g, largest_g) if {"smallest", "largest"}.isdisjoint(form.errors) else (1.0, 1.0)
    try:
        made = Machine.model_validate(data | {"name": form.values.get("name", ""), "batch_g": batch_g})
    except ValidationError as error:
        for _where, message in mistakes(error):
            form.errors.setdefault("name", in_form(message) + ".")
        return None, form
    return (None if form.errors else made), form


def _uploaded() -> str:
    file = request.files.get("file")
    if file is None or not file.filename:
        return ""
    try:
        text: str = file.read().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SheetError(
            _("{filename} is not a text file in UTF-8. A sheet is plain text, in TOML.", filename=file.filename)
        ) from None
    return text

"""The page of one channel or control of a machine: add, change, try out, remove."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue
from pydantic import ValidationError

from roastlog.errors import NotFound
from roastlog.languages import N_, _, translate
from roastlog.machine.model import Channel, Control, Machine
from roastlog.services import Trial
from roastlog.web import services
from roastlog.web.http.security import speaker
from roastlog.web.owner.part_form import FormField, machine_with, own_fields, sensor_fields, source_fields
from roastlog.web.owner.part_sources import (
    SourceKind,
    initial_kind,
    initial_values,
    kind_of,
    kinds_of,
    parts_sharing,
    rescaled,
    typed_of,
    version_of,
)

bp = Blueprint("machine_parts", __name__)
_TABLES = "/machines/<machine_id>/<any(channels,controls):table>"


@dataclass(frozen=True)
class PartPage:
    """Context of `owner/machines/part.html`."""

    machine: Machine
    table: str
    part: Channel | Control | None
    kinds: Mapping[str, SourceKind]
    kind: str
    own: Sequence[FormField]
    source: Sequence[FormField]
    sensor: Sequence[FormField]
    seen: str
    """The version of the part on which the form began; empty for a new one."""
    errors: Mapping[str, str] = field(default_factory=dict)
    trial: Trial | None = None
    in_use: bool = False

    @property
    def here(self) -> str:
        """Address of the form's action."""
        return f"/machines/{self.machine.id}/{self.table}" + (f"/{self.part.id}" if self.part else "")

    @property
    def noun(self) -> str:
        """The noun for the part: channel or control."""
        return "channel" if self.table == "channels" else "control"


@bp.get(_TABLES)
def add(machine_id: str, table: str) -> str:
    """The form of a new channel or control."""
    machine = services().machines.get(machine_id)
    return _page(machine, table, None, initial_values(machine, table, initial_kind(machine, table)))


@bp.get(f"{_TABLES}/<part_id>")
def change(machine_id: str, table: str, part_id: str) -> str:
    """The form of an existing channel or control."""
    machine = services().machines.get(machine_id)
    part = part_of(machine, table, part_id)
    return _page(machine, table, part, typed_of(part))


@bp.post(_TABLES)
def keep_new(machine_id: str, table: str) -> ResponseReturnValue:
    """Store a new channel or control, or try it out."""
    return _sent(services().machines.get(machine_id), table, None)


@bp.post(f"{_TABLES}/<part_id>")
def keep_changed(machine_id: str, table: str, part_id: str) -> ResponseReturnValue:
    """Store a changed channel or control, or try it out."""
    machine = services().machines.get(machine_id)
    return _sent(machine, table, part_of(machine, table, part_id))


@bp.post(f"{_TABLES}/<part_id>/remove")
def remove(machine_id: str, table: str, part_id: str) -> ResponseReturnValue:
    """Remove a channel or control; its readings stay."""
    machine = services().machines.get(machine_id)
    part = part_of(machine, table, part_id)
    data: dict[str, Any] = machine.model_dump(exclude_defaults=True)
    data[table] = [other for other in data[table] if other["id"] != part_id]
    try:
        services().machines.change(Machine.model_validate(data).with_passwords_of(machine), machine, speaker())
    except ValidationError:
        why = _("It cannot be removed: a machine needs one channel, and thermocouples need their cold junction.")
        return _page(machine, table, part, typed_of(part), {"form": why}), 422
    return redirect(f"/machines/{machine_id}/setup", 303)


def part_of(machine: Machine, table: str, part_id: str) -> Channel | Control:
    """A channel or control of a machine; raises NotFound."""
    parts: Sequence[Channel | Control] = machine.channels if table == "channels" else machine.controls
    found = next((part for part in parts if part.id == part_id), None)
    if found is None:
        raise NotFound(
            translate(
                N_("{name} has no such channel: {part_id}.")
                if table == "channels"
                else N_("{name} has no such control: {part_id}."),
                name=machine.name,
                part_id=part_id[:40],
            )
        )
    return found


def _sent(machine: Machine, table: str, old: Channel | Control | None) -> ResponseReturnValue:
    # These two are not trimmed, because they may be a space.
    values = {
        name: text if name in {"serial.separator", "serial.mark"} else text.strip()
        for name, text in request.form.items()
    }
    if values.get("then") == "fields":
        return _page(machine, table, old, initial_values(machine, table, values.get("kind", "")) | values)
    values |= rescaled(table, values)
    made, errors = machine_with(machine, table, old, values)
    if made is None:
        return _page(machine, table, old, values, errors), 422
    if values.get("then") == "try" or "rescale" in values:
        name = old.id if old is not None else getattr(made, table)[-1].id
        return _page(machine, table, old, values, trial=services().live.try_part(made, name))
    if old is not None and values.get("seen", version_of(old)) != version_of(old):
        why = _(
            "{name} was changed on another page at the same time. Check that change, then make yours.", name=old.name
        )
        return _page(machine, table, old, values | {"seen": ""}, {"form": why}), 409
    services().machines.change(made, machine, speaker())
    return redirect(f"/machines/{machine.id}/setup", 303)


def _page(
    machine: Machine,
    table: str,
    part: Channel | Control | None,
    values: Mapping[str, str],
    errors: Mapping[str, str] | None = None,
    trial: Trial | None = None,
) -> str:
    kinds, errors = kinds_of(table), errors or {}
    kind = values.get("kind", "")
    chosen = kinds.get(kind, SourceKind(""))
    sharing = parts_sharing(machine, part) if part is not None and kind == kind_of(part) else ()
    page = PartPage(
        machine=machine,
        table=table,
        part=part,
        kinds=kinds,
        kind=kind,
        own=own_fields(table, values, errors, new=part is None),
        source=source_fields(chosen, values, errors, len(sharing)),
        sensor=sensor_fields(values, errors) if chosen.fields and table == "channels" else (),
        seen=values.get("seen") or (version_of(part) if part is not None else ""),
        errors=errors,
        trial=trial,
        in_use=services().live.now(machine.id).state == "roasting",
    )
    return render_template("owner/machines/part.html", page=page)

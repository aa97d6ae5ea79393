"""Readings typed by a person from a thermometer: large keys, and the time of the first key press."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import NotFound
from roastlog.languages import _
from roastlog.machine.model import Channel, Machine
from roastlog.units import c_from_f
from roastlog.web import services
from roastlog.web.http.formatting import page_units
from roastlog.web.http.forms import Form

bp = Blueprint("hand_readings", __name__)
_PATH: Final = "/machines/<machine_id>/hand"
SHOWN: Final = 6
LOOK_BACK_MS: Final = 1_800_000


@dataclass(frozen=True)
class Typed:
    """A stored reading. [ms UTC], [°C]"""

    at_ms: int
    name: str
    temp_c: float


@dataclass(frozen=True)
class HandPage:
    """Context of `machine/hand.html`."""

    machine: Machine
    channels: Sequence[Channel]
    chosen: str
    unit: str
    now_ms: int
    kept: Sequence[Typed]
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@bp.get(_PATH)
def keypad(machine_id: str) -> str:
    """The keypad, and the readings typed in the last half hour."""
    return _page(services().machines.get(machine_id), request.args.get("channel", ""))


@bp.post(_PATH)
def keep(machine_id: str) -> ResponseReturnValue:
    """Store one reading, at the time of its first key press."""
    machine, form = services().machines.get(machine_id), Form(request.form)
    channel, typed = form.values.get("channel", ""), form.number("value")
    if typed is None:
        form.errors.setdefault("value", _("Type what the thermometer shows."))
    else:
        value_c = typed if page_units().temp == "C" else round(c_from_f(typed), 2)
        at_ms = form.values.get("at_ms", "")
        reading = {"channel": channel, "value": value_c}
        if at_ms.isascii() and at_ms.isdigit() and len(at_ms) < 16:
            reading["at_ms"] = int(at_ms)
        refused = services().live.accept_readings(machine_id, {"readings": [reading]}).refused
        if refused:
            form.errors["value"] = str(refused[0].reason)
    if form.errors:
        return _page(machine, channel, form), 422
    return redirect(f"/machines/{machine_id}/hand?channel={channel}", 303)


def _page(machine: Machine, chosen: str, form: Form | None = None) -> str:
    channels = [channel for channel in machine.channels if channel.hand is not None]
    if not channels:
        raise NotFound(_("No channel of {name} is read by hand. Set one up on the machine's page.", name=machine.name))
    names = {channel.id: channel.name for channel in channels}
    now_ms = services().clock.now_ms()
    kept = [
        Typed(at_ms, names[channel], value)
        for at_ms, values in services().live.rows_since(machine.id, now_ms - LOOK_BACK_MS)
        for channel, value in values.items()
        if channel in names
    ]
    page = HandPage(
        machine=machine,
        channels=channels,
        chosen=chosen if chosen in names else channels[0].id,
        unit=f"°{page_units().temp}",
        now_ms=now_ms,
        kept=kept[: -SHOWN - 1 : -1],
        values={} if form is None else form.values,
        errors={} if form is None else form.errors,
    )
    return render_template("machine/hand.html", page=page)

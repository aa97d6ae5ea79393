"""The form of one channel or control: fields made from the models of the sheet, and typed values parsed into them.

Allowed values and error messages are those of the sheet, since both use the same models.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import ValidationError

from roastlog.languages import N_, _
from roastlog.machine.model import Channel, Control, Machine
from roastlog.machine.sheet import mistakes
from roastlog.machine.sources import ModbusPoint, MqttPoint, Part, Sensor, SerialPoint
from roastlog.machine.wording import ROLES
from roastlog.web.http.forms import plain

Values = Mapping[str, str]


@dataclass(frozen=True)
class SourceKind:
    """One way of reading a channel: its label, its key in a sheet, its model and its fields."""

    words: str
    source: str = ""
    model: type[Part] = Part
    fields: Sequence[str] = ()


_REGISTER: Final = ("unit", "table", "address", "type", "word_order", "scale", "offset", "poll_s")
_LINE: Final = ("device", "baud", "parity", "stop")
_MODBUS: Final = {
    "modbus-tcp": SourceKind(N_("Modbus over the network"), "modbus", ModbusPoint, ("host", "port", *_REGISTER)),
    "modbus-rtu": SourceKind(N_("Modbus on a serial line (RTU)"), "modbus", ModbusPoint, (*_LINE, *_REGISTER)),
}
_COLUMNS: Final = ("separator", "column", "columns")
_FORMS: Final = (*_COLUMNS, "pattern", "group", "checksum", "mark", "scale", "offset", "silent_s")
CHANNEL_KINDS: Final[Mapping[str, SourceKind]] = {
    **_MODBUS,
    "mqtt": SourceKind("MQTT", "mqtt", MqttPoint, tuple(MqttPoint.model_fields)),
    "serial": SourceKind(N_("Lines over a serial port"), "serial", SerialPoint, (*_LINE, "bits", *_FORMS)),
    "http": SourceKind(N_("Sent to the API over HTTP"), "http"),
    "hand": SourceKind(N_("By hand, from a thermometer"), "hand"),
    "simulated": SourceKind(N_("Simulated, for practice"), "simulated"),
}
CONTROL_KINDS: Final[Mapping[str, SourceKind]] = {"": SourceKind(N_("Not read: entered by tapping")), **_MODBUS}
OWN: Final = {"channels": ("name", "short", "role", "offset_c"), "controls": ("name", "unit", "low", "high", "step")}
TYPICAL: Final = {"modbus.table": "input", "modbus.type": "int16"}
"""Initial values of a new part's form: those that fit most panel meters and controllers."""
MODELS: Final[Mapping[str, type[Part]]] = {"channels": Channel, "controls": Control}
LABELS: Final = {
    "id": N_("Id"), "name": N_("Name"), "short": N_("Short name"), "role": N_("Measures"),
    "offset_c": N_("Offset in °C"), "low": N_("Smallest setting"), "high": N_("Largest setting"), "step": N_("Step"),
    "host": N_("Address"), "port": N_("Port"), "device": N_("Serial port"), "baud": N_("Baud"),
    "parity": N_("Parity"), "stop": N_("Stop bits"), "bits": N_("Data bits"), "unit": N_("Unit"),
    "table": N_("Table"), "address": N_("Register"), "type": N_("Type"), "word_order": N_("Word order"),
    "scale": N_("Multiplied by"), "offset": N_("Added after scaling"), "poll_s": N_("Read every (s)"),
    "version": N_("MQTT version"), "tls": "TLS", "ca_file": N_("Own authority (file)"), "user": N_("User"),
    "password": N_("Password"), "topic": N_("Topic"), "status": N_("Topic for Drumside's status"),
    "value": N_("Place in JSON"), "silent_s": N_("Lost after silence of (s)"), "separator": N_("Separator"),
    "column": N_("Column"), "columns": N_("Columns in a line"), "pattern": N_("Pattern"),
    "group": N_("Group in the pattern"), "checksum": N_("Checksum"), "mark": N_("Before the checksum"),
    "cold_junction": N_("Cold junction: channel"),
    "cold_junction_c": N_("Cold junction: fixed °C"), "sensor": N_("Signal"), "channels": N_("Channels"),
    "controls": N_("Controls"),
}  # fmt: skip


@dataclass(frozen=True)
class FormField:
    """One field as `owner/machines/_fields.html` shows it."""

    name: str
    label: str
    hint: str
    value: str
    error: str = ""
    choices: Mapping[str, str] | None = None
    look: Literal["text", "number", "secret", "check"] = "text"


def kinds_of(table: str) -> Mapping[str, SourceKind]:
    """The ways to read a channel or a control."""
    return CHANNEL_KINDS if table == "channels" else CONTROL_KINDS


def kind_of(part: Channel | Control) -> str:
    """Key of the way in which a part is read."""
    if part.modbus is not None:
        return "modbus-rtu" if part.modbus.device else "modbus-tcp"
    return part.source if isinstance(part, Channel) else ""


def typed_of(part: Channel | Control) -> dict[str, str]:
    """A part as values of the form's fields, without its password."""
    values = {"kind": kind_of(part)}
    for name, value in part.model_dump(exclude_defaults=True).items():
        inner = value if isinstance(value, dict) else {}
        values |= {f"{name}.{key}": _text(item) for key, item in inner.items() if key != "password"}
        if not isinstance(value, dict):
            values[name] = _text(value)
    return values


def own_fields(table: str, values: Values, errors: Values, *, new: bool) -> list[FormField]:
    """The fields common to all channels, or to all controls."""
    names = (OWN[table][0], "id", *OWN[table][1:]) if new else OWN[table]
    made = [_field(MODELS[table], "", name, values, errors) for name in names]
    if new:
        made[1] = FormField(
            "id", _("Id"), _("Empty: made from the name. It cannot be changed later."), made[1].value, made[1].error
        )
    return made


def source_fields(kind: SourceKind, values: Values, errors: Values) -> list[FormField]:
    """The fields of a way of reading."""
    return [_field(kind.model, f"{kind.source}.", name, values, errors) for name in kind.fields]


def sensor_fields(values: Values, errors: Values) -> list[FormField]:
    """The fields of a sensor that is read in mV or ohm."""
    signal, *junction = [_field(Sensor, "sensor.", name, values, errors) for name in Sensor.model_fields]
    return [replace(signal, choices={"": _("°C, as sent")} | dict(signal.choices or {})), *junction]


def machine_with(
    machine: Machine, table: str, old: Channel | Control | None, values: Values
) -> tuple[Machine | None, dict[str, str]]:
    """The machine with a part added or changed; None and a sentence by field if the form is invalid.

    Parameters
    ----------
    machine
        The present machine.
    table
        ``channels`` or ``controls``.
    old
        The part to change; None for a new one.
    values
        The texts typed.
    """
    data = machine.model_dump(exclude_defaults=True)
    parts = list(data.get(table, ()))
    ids = [part["id"] for part in parts]
    place = len(parts) if old is None else ids.index(old.id)
    parts[place : place + 1] = [_part(table, old, values)]
    try:
        made = Machine.model_validate(data | {table: parts})
    except ValidationError as error:
        return None, _errors(error, table, place, values)
    return made.with_passwords_of(machine), {}


def _part(table: str, old: Channel | Control | None, values: Values) -> dict[str, Any]:
    """The part as data of a sheet."""
    made = _typed(MODELS[table], "", OWN[table], values)
    made["id"] = old.id if old is not None else values.get("id") or id_of(values.get("name", ""))
    kind = kinds_of(table).get(values.get("kind", ""), SourceKind(""))
    if kind.source:
        made[kind.source] = _typed(kind.model, f"{kind.source}.", kind.fields, values)
    if kind.fields and values.get("sensor.type") and table == "channels":
        made["sensor"] = _typed(Sensor, "sensor.", tuple(Sensor.model_fields), values)
    if isinstance(old, Channel) and old.checked and made.get("offset_c", 0.0) == old.offset_c:
        made["checked"] = old.checked.model_dump()  # a check only applies to its own offset
    return made


def _typed(model: type[Part], prefix: str, names: Sequence[str], values: Values) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for name in names:
        text = values.get(prefix + name, "")
        takes = _leaves(model.model_fields[name].annotation)
        if bool in takes:
            made[name] = bool(text)
        elif text:
            made[name] = _number(text) if {int, float} & takes else text
    return made


def _number(text: str) -> float | int | str:
    """The typed number; any other text is returned unchanged, for the model to refuse."""
    typed = plain(text)
    if not typed.isascii() or len(typed) > 40:
        return text
    try:
        return int(typed) if re.fullmatch(r"[+-]?\d{1,15}", typed) else float(typed)
    except ValueError:
        return text


def _leaves(annotation: Any) -> set[Any]:  # noqa: ANN401, whatever a field is annotated with
    """The plain types in an annotation; for a Literal, the types of its choices."""
    if get_origin(annotation) is Literal:
        return {type(choice) for choice in get_args(annotation)}
    return set().union(*map(_leaves, get_args(annotation))) if get_args(annotation) else {annotation}


def _choices(annotation: Any) -> list[Any]:  # noqa: ANN401, as above
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    return [choice for inner in get_args(annotation) for choice in _choices(inner)]


def _field(model: type[Part], prefix: str, name: str, values: Values, errors: Values) -> FormField:
    info = model.model_fields[name]
    full, takes = prefix + name, _leaves(info.annotation)
    choices: dict[str, str] | None = None
    value = values.get(full, "")
    if bool not in takes and (given := _choices(info.annotation)):
        choices = {} if info.is_required() else {"": _left_out(info.default)}
        choices |= {str(item): ROLES.get(item, str(item)) for item in given if item != info.default}
    look = "check" if bool in takes else "number" if {int, float} & takes else "text"
    hint = "" if choices else in_form(model.allowed_values(name))
    if name == "password":
        look, hint = "secret", _("Empty: the saved password of this user at this broker.")
    return FormField(full, LABELS[name], hint, value, errors.get(full, ""), choices, look)  # type: ignore[arg-type]


def _left_out(default: object) -> str:
    return _("none") if default is None else str(default)


def in_form(text: str) -> str:
    """A sheet's message adapted to a form: no mention of quotes, and fields by their labels."""
    text = re.sub(r",? in quotes", "", _(text)).replace("when left out", "when empty")
    return re.sub(r"`(\w+)`", lambda found: f"“{_(LABELS[found[1]]) if found[1] in LABELS else found[1]}”", text)


def _errors(error: ValidationError, table: str, place: int, values: Values) -> dict[str, str]:
    """A sentence by field; errors of fields that are not shown are under ``form``."""
    sentences: dict[str, str] = {}
    shown = {*OWN[table], "id", *(f"sensor.{name}" for name in Sensor.model_fields)}
    kind = kinds_of(table).get(values.get("kind", ""), SourceKind(""))
    shown |= {f"{kind.source}.{name}" for name in kind.fields}
    for where, message in mistakes(error):
        field = ".".join(map(str, where[2:])) if where[:2] == (table, place) else ""
        name = field if field in shown else "form"
        sentences[name] = " ".join(filter(None, [sentences.get(name), in_form(message) + "."]))
    return sentences


def id_of(name: str) -> str:
    """An id made from a name."""
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")[:40]


def _text(value: object) -> str:
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    return "on" if value is True else "" if value is False else str(value)

"""The form of one channel or control: fields made from the models of the sheet, and typed values parsed into them.

Allowed values and error messages are those of the sheet, since both use the same models.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import ValidationError

from roastlog.languages import N_, _, ngettext
from roastlog.machine.model import Channel, Control, Machine
from roastlog.machine.sheet import mistakes
from roastlog.machine.sources import Part, Sensor
from roastlog.machine.wording import ROLES
from roastlog.web.http.forms import plain
from roastlog.web.owner.part_sources import CHANNEL_KINDS, SourceKind, kind_of, kinds_of, parts_sharing

Values = Mapping[str, str]


OWN: Final = {"channels": ("name", "short", "role", "offset_c"), "controls": ("name", "unit", "low", "high", "step")}
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
    required: bool = False


def own_fields(table: str, values: Values, errors: Values, *, new: bool) -> list[FormField]:
    """The fields common to all channels, or to all controls."""
    names = (OWN[table][0], "id", *OWN[table][1:]) if new else OWN[table]
    made = [_field(MODELS[table], "", name, values, errors) for name in names]
    if new:
        made[1] = FormField(
            "id", _("Id"), _("Empty: made from the name. It cannot be changed later."), made[1].value, made[1].error
        )
    return made


def source_fields(kind: SourceKind, values: Values, errors: Values, sharing: int = 0) -> list[FormField]:
    """The fields of a way of reading; ``sharing`` other parts have the same connection."""
    made = [_field(kind.model, f"{kind.source}.", name, values, errors, name in kind.needs) for name in kind.fields]
    if sharing:
        words = ngettext(
            "Use also for the {n} other with this connection",
            "Use also for the {n} others with this connection",
            sharing,
        )
        changed = _("Changes there: {fields}.", fields=", ".join(_(LABELS[name]) for name in kind.link))
        made.insert(len(kind.link), FormField("for_all", words, changed, values.get("for_all", ""), look="check"))
    return made


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
    data[table] = parts
    if old is not None and values.get("for_all") and values.get("kind") == kind_of(old):
        _move_others(data, machine, old, parts[place])
    try:
        made = Machine.model_validate(data)
    except ValidationError as error:
        return None, _errors(error, table, place, values)
    return made.with_passwords_of(machine), {}


def _move_others(data: dict[str, Any], machine: Machine, old: Channel | Control, new: Mapping[str, Any]) -> None:
    """Give the connection of the changed part to the others that shared the old one."""
    kind = CHANNEL_KINDS[kind_of(old)]
    link = {name: value for name, value in new[kind.source].items() if name in kind.link}
    moved = {other.id for other in parts_sharing(machine, old)}
    for part in (*data["channels"], *data.get("controls", ())):
        if part["id"] in moved:
            kept = {name: value for name, value in part[kind.source].items() if name not in kind.link}
            part[kind.source] = link | kept


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


def _field(
    model: type[Part],
    prefix: str,
    name: str,
    values: Values,
    errors: Values,
    needed: bool = False,
) -> FormField:
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
    return FormField(full, LABELS[name], hint, value, errors.get(full, ""), choices, look, needed or info.is_required())  # type: ignore[arg-type]


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
    fields = (*own_fields(table, values, {}, new=False), *source_fields(kind, values, {}))
    missing = {
        field.name: _("{field} is required: {allowed}.", field=_(field.label), allowed=field.hint)
        for field in fields
        if field.required and not field.choices and not field.value
    }
    consequences = {*missing, *({kind.source} if missing else ()), *({"id"} if "name" in missing else ())}
    for where, message in mistakes(error):
        name = ".".join(map(str, where[2:])) if where[:2] == (table, place) else ""
        if name in consequences:
            continue
        name = name if name in shown else "form"
        sentences[name] = " ".join(filter(None, [sentences.get(name), in_form(message) + "."]))
    return sentences | missing


def id_of(name: str) -> str:
    """An id made from a name."""
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")[:40]

"""The machine sheet: TOML to `Machine` and back. Errors name the line and the allowed values."""

import json
import re
import tomllib
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from roastlog.errors import SheetError
from roastlog.machine.model import Channel, Control, Machine, practice_machine
from roastlog.machine.sources import (
    ByHand,
    Checked,
    Misplaced,
    ModbusPoint,
    MqttPoint,
    PushPoint,
    Sensor,
    SerialPoint,
    Simulated,
)

__all__ = ["Channel", "Control", "Machine", "ModbusPoint", "mistakes", "parse_sheet", "practice_machine", "sheet_text"]

_Path = tuple[str | int, ...]

_PARTS: Mapping[str, tuple[type[BaseModel], str]] = {
    "channels": (Channel, "a channel"),
    "controls": (Control, "a control"),
    "modbus": (ModbusPoint, "`modbus`"),
    "mqtt": (MqttPoint, "`mqtt`"),
    "serial": (SerialPoint, "`serial`"),
    "http": (PushPoint, "`http`"),
    "hand": (ByHand, "`hand`"),
    "simulated": (Simulated, "`simulated`"),
    "checked": (Checked, "`checked`"),
    "sensor": (Sensor, "`sensor`"),
}
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]#]+?)\s*\]")
_KEY = re.compile(r"\s*([\w\-.\"']+)\s*=")
_MAX_MISTAKES = 10


def parse_sheet(text: str) -> Machine:
    """Parse a sheet; `SheetError` names the lines of its mistakes and the allowed values."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise SheetError(_syntax_mistake(error, text)) from None
    try:
        return Machine.model_validate(data)
    except ValidationError as error:
        raise SheetError(_mistakes(error, _line_numbers(text))) from None


def sheet_text(machine: Machine) -> str:
    """Export a machine as a sheet; `parse_sheet` returns the same machine, without broker passwords.

    Sheets are shared by mail and on USB sticks, so broker passwords are removed.
    """
    import tomlkit  # noqa: PLC0415, only an export needs it

    data = machine.model_dump(exclude_defaults=True)
    document = tomlkit.document()
    for host, user in _strip_passwords(data):
        document.add(tomlkit.comment(f"The password of {user} at {host} is not in this sheet. Imported over the same"))
        document.add(tomlkit.comment("machine it is known; elsewhere add it to each line of that broker."))
    for key, value in data.items():
        if key not in {"channels", "controls"}:
            document.add(key, tomlkit.item(_plain(value)))
    for key in ("channels", "controls"):
        tables = tomlkit.aot()
        for part in data.get(key, ()):
            table = tomlkit.table()
            for name, value in part.items():
                table.add(name, _inline(value) if isinstance(value, dict) else _plain(value))
            tables.append(table)
        if tables:
            document.add(key, tables)
    return tomlkit.dumps(document)


def mistakes(error: ValidationError) -> list[tuple[_Path, str]]:
    """Path and message of each mistake."""
    errors = error.errors()
    return [(_place(item), _describe(item)) for item in errors if not _is_consequence(item, errors)]


def _strip_passwords(data: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Remove the passwords, and return the hosts and users that had one."""
    found = []
    for channel in data.get("channels", ()):
        point = channel.get("mqtt") or {}
        if point.pop("password", None) is not None:
            found.append((point["host"], point["user"]))
    return sorted(set(found))


def _inline(values: dict[str, Any]) -> Any:  # noqa: ANN401, tomlkit's own class, loaded late
    import tomlkit  # noqa: PLC0415, as above

    table = tomlkit.inline_table()
    table.update({name: _plain(value) for name, value in values.items()})
    return table


def _plain(value: Any) -> Any:  # noqa: ANN401, whatever a field holds
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    # 800 reads better than 800.0.
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _syntax_mistake(error: Exception, text: str) -> str:
    found = re.search(r"^(.*) \(at line (\d+), column (\d+)\)", str(error))
    if found:
        return f"Line {found[2]}, column {found[3]}: this is not TOML. {found[1]}."
    line = text.count("\n") + 1
    what = "it is nested too deep" if isinstance(error, RecursionError) else str(error)
    return f"Line {line}: this is not TOML up to here: {what}."


def _line_numbers(text: str) -> dict[_Path, int]:
    """Line of each table and key, by its path; tomllib does not report lines."""
    lines: dict[_Path, int] = {}
    counts: dict[_Path, int] = {}
    table: _Path = ()
    for number, line in enumerate(text.split("\n"), start=1):
        if header := _HEADER.match(line):
            plain: _Path = _names(header[2])
            if header[1] == "[[":
                counts[plain] = counts.get(plain, 0) + 1
            table = ()
            for depth, name in enumerate(plain, start=1):
                table += (name,)
                if plain[:depth] in counts:
                    table += (counts[plain[:depth]] - 1,)
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            names = _names(key[1])
            for depth in range(1, len(names) + 1):
                lines.setdefault(table + names[:depth], number)
    return lines


def _names(dotted: str) -> tuple[str, ...]:
    return tuple(name.strip().strip("\"'") for name in dotted.split("."))


def _mistakes(error: ValidationError, lines: Mapping[_Path, int]) -> str:
    described = sorted({(_line_of(place, lines), message) for place, message in mistakes(error)})
    text = [f"Line {line}: {message}." for line, message in described[:_MAX_MISTAKES]]
    if len(described) > _MAX_MISTAKES:
        text.append(f"And {len(described) - _MAX_MISTAKES} more.")
    return "\n".join(text)


def _is_consequence(error: ErrorDetails, errors: list[ErrorDetails]) -> bool:
    """Whether an error only follows from another one: a list that is too short because one of its parts is invalid."""
    loc = error["loc"]
    return error["type"] == "too_short" and any(
        other["loc"][: len(loc)] == loc and len(other["loc"]) > len(loc) for other in errors
    )


def _place(error: ErrorDetails) -> _Path:
    """Path of a mistake."""
    cause = error.get("ctx", {}).get("error")
    return error["loc"] + cause.where if isinstance(cause, Misplaced) else error["loc"]


def _line_of(path: _Path, lines: Mapping[_Path, int]) -> int:
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path, 1)


def _describe(error: ErrorDetails) -> str:
    """Describe one mistake, without its line."""
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, Misplaced):
        key = next((f"`{name}`: " for name in reversed(cause.where) if isinstance(name, str)), "")
        return key + str(cause)
    names = [name for name in error["loc"] if isinstance(name, str)]
    model, place = _PARTS[names[-2]] if len(names) > 1 else (Machine, "the sheet")
    if error["type"] == "extra_forbidden":
        known = ", ".join(f"`{name}`" for name in model.model_fields) or "nothing"
        return f"`{names[-1]}` is not known here; in {place} may stand: {known}"
    may_stand = model.model_fields[names[-1]].description
    if error["type"] == "missing":
        return f"{place} needs `{names[-1]}`: {may_stand}"
    return f"`{names[-1]}` cannot be {_shown(error['input'])}; there may stand {may_stand}"


def _shown(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 40 else text[:39] + "…"

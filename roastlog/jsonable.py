"""The one place where facts and views become JSON: data classes as objects, and all that is said in one's language."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any

from pydantic import BaseModel

from roastlog.languages import Message

_PLAIN = (bool, float, int, type(None))


def jsonable(value: Any) -> Any:  # noqa: ANN401 - whatever a page, the API or the stream gives out
    """A value that `json.dumps` takes, with all messages in it translated for the current reader.

    A data class and a named tuple become objects with a key for each field, in their order; a pydantic model keeps
    only the fields that were set.
    """
    if isinstance(value, Message):
        return value.translated()
    if isinstance(value, (str, *_PLAIN)):
        return value
    if isinstance(value, Mapping):
        return {name: jsonable(item) for name, item in value.items()}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return {name: jsonable(item) for name, item in value._asdict().items()}
    if isinstance(value, list | tuple):  # columns of a curve are long, and numbers say nothing
        return [item if isinstance(item, _PLAIN) else jsonable(item) for item in value]
    if isinstance(value, BaseModel):
        return jsonable(value.model_dump(mode="json", exclude_none=True))
    if is_dataclass(value) and not isinstance(value, type):
        return {name: jsonable(getattr(value, name)) for name in _names(type(value))}
    return value


@cache
def _names(kind: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))

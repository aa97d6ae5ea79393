"""A kind of entry: one row of the registry, and the base of all bodies."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

MAX_BATCH_G: Final = 500_000.0


def _calendar_date(text: str) -> str:
    """The date, if the calendar has it."""
    try:
        date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text} is not a date of the calendar") from None
    return text


Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000)]
Short = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Ident = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80, pattern=r"^[\w.:-]+$")]
Words = Annotated[list[Short], Field(min_length=1, max_length=16)]
# Values allowed in an amendment. It may come in before its entry, when its model is not known yet.
Value = Annotated[str, StringConstraints(max_length=2000)] | bool | int | float | None
_Flat = Value | list[Value] | dict[Short, Value]
Changed = Value | dict[Short, Value] | list[_Flat]
Grams = Annotated[float, Field(gt=0, le=MAX_BATCH_G, allow_inf_nan=False)]

Date = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$"), AfterValidator(_calendar_date)]

Least = Literal["operate", "decide", "own"]
Page = Literal[
    "live",
    "start",
    "weigh",
    "label",
    "record",
    "lots",
    "stock",
    "products",
    "packing",
    "sales",
    "recall",
    "settings",
    "machine",
    "probe check",
]


class Body(BaseModel):
    """Base of all bodies: immutable, and unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


@dataclass(frozen=True)
class Telling:
    """Context for the wording of an entry, beside its body.

    Attributes
    ----------
    controls
        Names of the machine's controls by id.
    quoted
        Returns the wording of another entry of the same subject, by its id.
    """

    controls: Mapping[str, str]
    quoted: Callable[[str], str]


Teller = Callable[[Mapping[str, Any], Telling], str]


@dataclass(frozen=True)
class Kind:
    """One kind of entry. API, roles, wording and pages are derived from this row.

    Attributes
    ----------
    name
        Its name in entries.
    about
        Kinds of subjects that it may be about.
    body
        Model of its body, and so its schema in the description of the API.
    least
        The least role that may make it. An undo, a shift or a correction also needs that of its target.
    tell
        Returns its wording, without the time.
    pages
        Pages on which a person makes it.
    shiftable
        Whether the tap may have been late, so that pages offer to shift it in time.
    repeats
        Whether its bodies often repeat, so that the store keeps each distinct one once.
    erasable
        Fields of the body that the law may require to erase; they are stored beside the journal.
    confidential
        Fields of the body that only the owner may read.
    noun
        Its noun, for a kind about another entry; empty for all other kinds.
    """

    name: str
    about: Sequence[str]
    body: type[Body]
    least: Least
    tell: Teller
    pages: Sequence[Page] = ()
    shiftable: bool = False
    repeats: bool = False
    erasable: Sequence[str] = ()
    confidential: Sequence[str] = ()
    noun: str = ""

    @property
    def corrects(self) -> bool:
        """Whether it is about another entry: undo, shift or amend."""
        return bool(self.noun)


def known_part(model: type[Body], body: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of a body that its model has; a newer version may have written others."""
    return {name: value for name, value in body.items() if name in model.model_fields}

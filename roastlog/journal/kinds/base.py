"""A kind of entry: one row of the registry, and the base of all bodies."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

MAX_BATCH_G: Final = 500_000.0

Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000)]
Short = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Ident = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80, pattern=r"^[\w.:-]+$")]
Words = Annotated[list[Short], Field(min_length=1, max_length=16)]
# What a field of any body may hold. An amendment may come before its entry, so all that it says must be plain.
Value = Annotated[str, StringConstraints(max_length=2000)] | bool | int | float | None
Grams = Annotated[float, Field(gt=0, le=MAX_BATCH_G, allow_inf_nan=False)]

Least = Literal["operate", "decide", "own"]
Page = Literal["live", "start", "weigh", "record", "lots", "settings", "machine", "probe check"]


class Body(BaseModel):
    """Base of all bodies: unknown keys are refused, and a body does not change."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


@dataclass(frozen=True)
class Telling:
    """What the words of an entry may need beside its body.

    Attributes
    ----------
    controls
        Names of the machine's controls by id.
    quoted
        How another entry of the same subject reads, by its id.
    """

    controls: Mapping[str, str]
    quoted: Callable[[str], str]


Teller = Callable[[Mapping[str, Any], Telling], str]


@dataclass(frozen=True)
class Kind:
    """One kind of entry. All that is said of it anywhere is made from this row.

    Attributes
    ----------
    name
        As entries carry it.
    about
        Kinds of subjects that it may be about.
    body
        Model of its body; the description of the API is made from it.
    least
        The least role that may say it. An undo, a shift or a correction asks besides for that of its entry.
    tell
        How it reads, without its time.
    pages
        Where a person says it.
    shiftable
        Whether the finger may have been late, so that pages offer to move it in time.
    repeats
        Whether its bodies say the same again and again: the store keeps each of them once.
    erasable
        Fields of the body that must be erasable by law: they are kept beside the journal.
    confidential
        Fields of the body that only the owner reads.
    noun
        What it is called where it is about another entry; empty for all other kinds.
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
        """Whether it is about another entry: an undo, a shift, a correction."""
        return bool(self.noun)


def known_part(model: type[Body], body: Mapping[str, Any]) -> dict[str, Any]:
    """Those fields of a body that its model has; a newer version may have written more."""
    return {name: value for name, value in body.items() if name in model.model_fields}

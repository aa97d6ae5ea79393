"""Kinds about another entry: undo, shift and amend."""

from collections.abc import Mapping
from typing import Annotated, Any, Final
from uuid import UUID

from pydantic import Field, field_validator

from roastlog.journal.kinds.base import Body, Changed, Kind, Short, Telling, Text
from roastlog.journal.kinds.roast import plan_text
from roastlog.journal.phrases import field_text
from roastlog.journal.subject import BATCH, BLEND, HOUSE, LOT, MACHINE, ORDER, PACK, PRODUCT, RECALL, SUBJECTS
from roastlog.languages import N_, _, joined, numeral


class Undo(Body):
    """An entry did not happen."""

    entry: UUID


class Shift(Body):
    """An entry happened earlier (negative) or later than the tap. [s]"""

    entry: UUID
    by_s: Annotated[float, Field(ge=-7200, le=7200)]

    @field_validator("by_s")
    @classmethod
    def _moves(cls, by_s: float) -> float:
        if by_s == 0:
            raise ValueError("a shift of 0 s moves nothing")
        return by_s


class Amend(Body):
    """Some fields of an entry's body were wrong; null clears one."""

    entry: UUID
    body: Annotated[dict[Short, Changed], Field(min_length=1, max_length=20)]
    reason: Text | None = None


def _undo(body: Mapping[str, Any], telling: Telling) -> str:
    return _("Undone: {what}", what=telling.quoted(body["entry"]))


def _shift(body: Mapping[str, Any], telling: Telling) -> str:
    by_s = body["by_s"]
    size = joined("", ["+" if by_s > 0 else "−", numeral(abs(by_s))])
    return _("Shifted {what} by {by_s} s", what=telling.quoted(body["entry"]), by_s=size)


def _amend(body: Mapping[str, Any], telling: Telling) -> str:
    changed = joined(", ", [change_text(name, value) for name, value in body["body"].items()])
    text = _("Corrected {what}: {changed}", what=telling.quoted(body["entry"]), changed=changed)
    return joined(". ", [text, *([body["reason"]] if "reason" in body else [])])


def change_text(name: str, value: Any) -> str:  # noqa: ANN401 - whatever a body holds
    """One corrected field in words."""
    return field_text(name, value, {"plan": plan_text})


# A person or a customer is named anew and not corrected: a correction would hold the name, which must be erasable.
KINDS: Final = (
    Kind("undo", SUBJECTS, Undo, "operate", _undo, pages=("live", "record"), noun=N_("an undo")),
    Kind("shift", (BATCH,), Shift, "operate", _shift, pages=("live", "record"), noun=N_("a shift")),
    Kind(
        "amend",
        (BATCH, LOT, MACHINE, HOUSE, PRODUCT, BLEND, PACK, ORDER, RECALL),
        Amend,
        "operate",
        _amend,
        pages=("start", "lots"),
        noun=N_("a correction"),
    ),
)

"""Kinds about a batch after the drop, and the note, which may be about anything."""

from collections.abc import Mapping
from typing import Annotated, Any, Final

from pydantic import Field

from roastlog.journal.kinds.base import MAX_BATCH_G, Body, Grams, Kind, Short, Telling, Text
from roastlog.journal.phrases import grams, plain
from roastlog.journal.subject import BATCH, LOT, MACHINE
from roastlog.journal.vocabulary import Decision, called
from roastlog.languages import N_, _, joined, translate

_DECISIONS: Final = {"release": N_("Released"), "hold": N_("Held back"), "reject": N_("Rejected")}


class Note(Body):
    """A note in free text."""

    text: Text


class Weighed(Body):
    """The weight of the roasted batch."""

    roasted_g: Grams
    removed_g: Annotated[float, Field(ge=0, le=MAX_BATCH_G)] | None = None


class Colour(Body):
    """A colour reading of roasted coffee; the roastery names the scale."""

    value: Annotated[float, Field(ge=-1000, le=1000)]
    scale: Short
    sample: Annotated[str, Field(pattern="^(whole|ground)$")]


class Released(Body):
    """The decision to release, hold or reject the batch."""

    decision: Decision
    reason: Text | None = None


class LabelsAllowed(Body):
    """Bags may be packed, and their labels printed, although the batch is held or rejected."""

    reason: Text


def _weighed(body: Mapping[str, Any], _telling: Telling) -> str:
    weighed = _("Weighed {mass}", mass=grams(body["roasted_g"]))
    if not body.get("removed_g"):
        return weighed
    return joined(" · ", [weighed, _("{mass} defects", mass=grams(body["removed_g"]))])


def _colour(body: Mapping[str, Any], _telling: Telling) -> str:
    return _(
        "Colour {value} on {scale}, {sample}",
        value=plain(body["value"]),
        scale=body["scale"],
        sample=called(body["sample"]),
    )


def _released(body: Mapping[str, Any], _telling: Telling) -> str:
    return joined(": ", [translate(_DECISIONS[body["decision"]]), *([body["reason"]] if "reason" in body else [])])


KINDS: Final = (
    Kind(
        "note",
        (BATCH, LOT, MACHINE),
        Note,
        "operate",
        lambda body, _telling: str(body["text"]),
        pages=("live", "record"),
        shiftable=True,
    ),
    Kind("weighed", (BATCH,), Weighed, "operate", _weighed, pages=("weigh",)),
    Kind("colour", (BATCH,), Colour, "operate", _colour),
    Kind("released", (BATCH,), Released, "decide", _released, pages=("weigh", "record")),
    Kind(
        "labels_allowed",
        (BATCH,),
        LabelsAllowed,
        "decide",
        lambda body, _telling: _("Bags allowed: {reason}", reason=body["reason"]),
        pages=("label", "packing"),
    ),
)

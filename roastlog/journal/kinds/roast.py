"""Kinds about a batch while it is roasted."""

from collections.abc import Mapping
from math import isclose
from typing import Annotated, Any, Final

from pydantic import Field, ValidationError, model_validator

from roastlog.journal.kinds.base import Body, Grams, Ident, Kind, Short, Telling, Words
from roastlog.journal.phrases import plain
from roastlog.journal.subject import BATCH
from roastlog.journal.vocabulary import MOMENT_LABELS, STAGE_LABELS, MomentName, Stage, Vigour, called, purpose
from roastlog.languages import _, joined, translate
from roastlog.units import clock_text


class Plan(Body):
    """The planned development: a time or a ratio, not both."""

    development_s: Annotated[float, Field(gt=0, le=1800)] | None = None
    development_ratio: Annotated[float, Field(gt=0, lt=1)] | None = None

    @model_validator(mode="after")
    def _one_of_both(self) -> "Plan":
        if self.development_s is not None and self.development_ratio is not None:
            raise ValueError("plan either a development time or a development ratio, not both")
        return self


class GreenPart(Body):
    """A lot's share of the green weight of a batch."""

    lot: Short
    share: Annotated[float, Field(gt=0, le=1)]


class Opened(Body):
    """The opening of a batch. No field is required."""

    lot: Short | None = None
    parts: Annotated[
        list[GreenPart] | None, Field(min_length=1, max_length=20, description="of several lots, in place of lot")
    ] = None
    coffee: Short | None = None
    product: Short | None = None
    green_g: Grams | None = None
    intent: Short | None = None
    plan: Plan | None = None
    guide: Short | None = None

    @model_validator(mode="after")
    def _adds_up(self) -> "Opened":
        if self.parts is None:
            return self
        if self.lot is not None:
            raise ValueError("name either one lot or the parts of several")
        total = sum(part.share for part in self.parts)
        if not isclose(total, 1, abs_tol=5e-4):
            raise ValueError(f"shares must add up to 100 %, not {100 * total:g} %")
        return self


class Joined(Opened):
    """A batch begun on another device, which is the same one; its facts are those of that opening."""


class Merged(Body):
    """A batch that turned out to be another one: that one has its entries now."""

    into: Short


class Moment(Body):
    """A moment, which happens once in a roast."""

    moment: MomentName


class Move(Body):
    """A control set to a value."""

    control: Ident
    setting: Annotated[float, Field(ge=-1e6, le=1e6)]


class Trier(Body):
    """A colour stage seen in the trier."""

    stage: Stage
    words: Words | None = None
    photo: Ident | None = None


class Aroma(Body):
    """The aroma, in one or more words."""

    words: Words


class Crack(Body):
    """The vigour of first crack."""

    vigour: Vigour


def plan_text(plan: Any) -> str:  # noqa: ANN401 - a correction that comes before its entry is not validated
    """The planned development in words; empty without a plan."""
    try:
        known = Plan.model_validate(plan or {})
    except ValidationError:
        return str(plan)
    if known.development_s is not None:
        return _("development {time}", time=clock_text(known.development_s))
    if known.development_ratio is not None:
        return _("development {share:.0%}", share=known.development_ratio)
    return ""


def _opened(body: Mapping[str, Any], _telling: Telling) -> str:
    parts = [_("Batch opened"), *(str(body[name]) for name in ("coffee", "lot") if name in body)]
    if "green_g" in body:
        parts.append(_("{mass:.2f} kg green", mass=body["green_g"] / 1000))
    if "intent" in body:
        parts.append(purpose(str(body["intent"])))
    plan = plan_text(body.get("plan"))
    return joined(" · ", [*parts, plan] if plan else parts)


def _joined(_body: Mapping[str, Any], _telling: Telling) -> str:
    return _("Started on a second device too: one batch")


def _merged(body: Mapping[str, Any], _telling: Telling) -> str:
    return _("Merged into batch {code}", code=body["into"])


def _move(body: Mapping[str, Any], telling: Telling) -> str:
    control = telling.controls.get(body["control"], body["control"])
    return _("{control} to {setting}", control=control, setting=plain(body["setting"]))


def _trier(body: Mapping[str, Any], _telling: Telling) -> str:
    stage = _("Trier: {stage}", stage=STAGE_LABELS[body["stage"]])
    return joined(", ", [stage, *map(called, body.get("words", []))])


KINDS: Final = (
    Kind("opened", (BATCH,), Opened, "operate", _opened, pages=("start", "live")),
    Kind("joined", (BATCH,), Joined, "operate", _joined, pages=("live", "record")),
    Kind("merged", (BATCH,), Merged, "operate", _merged, pages=("record",)),
    Kind(
        "moment",
        (BATCH,),
        Moment,
        "operate",
        lambda body, _telling: translate(MOMENT_LABELS[body["moment"]]),
        pages=("live",),
        shiftable=True,
        repeats=True,
    ),
    Kind("move", (BATCH,), Move, "operate", _move, pages=("live",), shiftable=True, repeats=True),
    Kind("trier", (BATCH,), Trier, "operate", _trier, pages=("live",), shiftable=True, repeats=True),
    Kind(
        "aroma",
        (BATCH,),
        Aroma,
        "operate",
        lambda body, _telling: _("Aroma: {words}", words=joined(", ", map(called, body["words"]))),
        pages=("live",),
        shiftable=True,
        repeats=True,
    ),
    Kind(
        "crack",
        (BATCH,),
        Crack,
        "operate",
        lambda body, _telling: _("Crack sounds {vigour}", vigour=called(body["vigour"])),
        pages=("live",),
        shiftable=True,
        repeats=True,
    ),
)

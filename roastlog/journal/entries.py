"""Journal entries: one model a kind.

An entry says what happened, when the finger was there, and who said so. It is never changed; undo, shift and amend are
entries too.
"""

from collections.abc import Mapping
from typing import Annotated, Any, Final
from uuid import UUID

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    field_validator,
    model_validator,
)

from roastlog.errors import EntryRefused
from roastlog.journal.vocabulary import Decision, MomentName, Stage, Vigour

MAX_BATCH_G = 500_000.0

Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000)]
Short = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
Ident = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80, pattern=r"^[\w.:-]+$")]
Words = Annotated[list[Short], Field(min_length=1, max_length=16)]
# What a field of any body may hold. An amendment may come before its entry, so all that it says must be plain.
Value = Annotated[str, StringConstraints(max_length=2000)] | bool | int | float | None
Grams = Annotated[float, Field(gt=0, le=MAX_BATCH_G, allow_inf_nan=False)]


class Body(BaseModel):
    """Base of all bodies: unknown keys are refused, and a body does not change."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Plan(Body):
    """What the development is meant to be: a time or a ratio, not both."""

    development_s: Annotated[float, Field(gt=0, le=1800)] | None = None
    development_ratio: Annotated[float, Field(gt=0, lt=1)] | None = None

    @model_validator(mode="after")
    def _one_of_both(self) -> "Plan":
        if self.development_s is not None and self.development_ratio is not None:
            raise ValueError("plan either a development time or a development ratio, not both")
        return self


class Opened(Body):
    """A batch is begun. Nothing has to be known yet."""

    lot: Short | None = None
    coffee: Short | None = None
    green_g: Grams | None = None
    intent: Short | None = None
    plan: Plan | None = None
    guide: Short | None = None


class Moment(Body):
    """Something that happens once in a roast."""

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
    """What it smells of."""

    words: Words


class Crack(Body):
    """How first crack sounds."""

    vigour: Vigour


class Note(Body):
    """Anything else worth saying."""

    text: Text


class Weighed(Body):
    """The roasted batch on the scale."""

    roasted_g: Grams
    removed_g: Annotated[float, Field(ge=0, le=MAX_BATCH_G)] | None = None


class Colour(Body):
    """A colour reading of roasted coffee; the scale is named in the roastery's own words."""

    value: Annotated[float, Field(ge=-1000, le=1000)]
    scale: Short
    sample: Annotated[str, Field(pattern="^(whole|ground)$")]


class Released(Body):
    """Whether the batch may leave the house."""

    decision: Decision
    reason: Text | None = None


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
    body: Annotated[dict[Short, Value | list[Value] | dict[Short, Value]], Field(min_length=1, max_length=20)]
    reason: Text | None = None


BODIES: Final[dict[str, type[Body]]] = {
    "opened": Opened,
    "moment": Moment,
    "move": Move,
    "trier": Trier,
    "aroma": Aroma,
    "crack": Crack,
    "note": Note,
    "weighed": Weighed,
    "colour": Colour,
    "released": Released,
    "undo": Undo,
    "shift": Shift,
    "amend": Amend,
}
ON_ENTRIES: Final = frozenset({"undo", "shift", "amend"})


class By(BaseModel):
    """Who said it, and on which device."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    person: Short | None = None
    device: Short | None = None


class Entry(BaseModel):
    """One line of the journal."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: UUID
    machine: Ident
    batch: Ident | None = None
    kind: str
    at_ms: Annotated[int, Field(ge=0, le=32_503_680_000_000)]
    received_ms: Annotated[int, Field(ge=0)] = 0
    by: By = By()
    body: dict[str, Any] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _kind_is_known(self) -> "Entry":
        if self.kind not in BODIES:
            raise ValueError(f"kind must be one of {', '.join(BODIES)}")
        if self.kind != "opened" and self.batch is None:
            raise ValueError("batch is missing: which batch is this about?")
        return self


def body_of(kind: str, body: Mapping[str, Any]) -> Body:
    """The body as the model of its kind.

    Raises
    ------
    EntryRefused
        If the kind is unknown or a field is missing, unknown or out of range.
    """
    if kind not in BODIES:
        raise EntryRefused(f"There is no entry kind “{kind}”; there are {', '.join(BODIES)}.")
    try:
        return BODIES[kind].model_validate(dict(body))
    except ValidationError as error:
        raise EntryRefused(sentence(error)) from None


def amended(kind: str, body: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """The body with some fields changed (null clears one), checked as a whole."""
    merged = {key: value for key, value in {**body, **change}.items() if value is not None}
    return _plain(body_of(kind, merged))


def parse_entry(raw: object, *, received_ms: int) -> Entry:
    """An entry as it came over the wire, its body checked and in plain form.

    Raises
    ------
    EntryRefused
        With a sentence that names each field that is wrong.
    """
    if not isinstance(raw, dict):
        raise EntryRefused("An entry is a JSON object with id, machine, batch, kind, at_ms and body.")
    try:
        entry = Entry.model_validate({**raw, "received_ms": received_ms})
    except ValidationError as error:
        raise EntryRefused(sentence(error)) from None
    return entry.model_copy(update={"body": _plain(body_of(entry.kind, entry.body))})


def _plain(body: Body) -> dict[str, Any]:
    return body.model_dump(mode="json", exclude_none=True)


def sentence(error: ValidationError) -> str:
    """What is wrong, in one sentence a field."""
    parts = []
    for fault in error.errors(include_url=False):
        where = ".".join(str(step) for step in fault["loc"])
        what = fault["msg"].removeprefix("Value error, ")
        parts.append(f"{where}: {what}" if where else what)
    return "; ".join(parts) + "."

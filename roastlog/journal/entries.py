"""Journal entries.

An entry holds an event, its subject, the time of the tap and its author. It is never changed; undo, shift and amend are
entries too. Each kind of entry is a row of the registry in `roastlog.journal.kinds`.
"""

from collections.abc import Mapping
from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field, ValidationError, computed_field, model_validator

from roastlog.errors import EntryRefused
from roastlog.journal.kinds import REGISTRY
from roastlog.journal.kinds.base import Body, Ident, Short
from roastlog.journal.subject import BATCH, Subject
from roastlog.languages import _

_BATCH = f"{BATCH} "


class By(BaseModel):
    """The author of an entry: a person, a device, or both."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    person: Short | None = None
    device: Short | None = None


class Entry(BaseModel):
    """One line of the journal.

    ``about`` names its subject; only an `opened` entry lacks one until the server gives its batch a code. An entry of a
    batch may name it by ``batch`` instead, and has the ``machine`` on which the batch was opened.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: UUID
    about: Annotated[str, Field(max_length=250)] | None = None
    machine: Ident | None = None
    kind: str
    at_ms: Annotated[int, Field(ge=0, le=32_503_680_000_000)]
    received_ms: Annotated[int, Field(ge=0)] = 0
    by: By = By()
    body: dict[str, Any] = Field(default_factory=dict)

    @computed_field  # type: ignore[prop-decorator]  # mypy knows no property beneath another decorator
    @property
    def batch(self) -> str | None:
        """The batch that it is about, by code, or as received by the id of its `opened` entry; None for others."""
        return self.about[len(_BATCH) :] if self.about is not None and self.about.startswith(_BATCH) else None

    def numbered(self, seq: int) -> Mapping[str, object]:
        """The entry as the API and the stream give it, with its number in the journal."""
        return {**self.model_dump(mode="json"), "seq": seq}

    @property
    def subject(self) -> Subject | None:
        """The subject of the entry; None for an `opened` entry without a code."""
        return None if self.about is None else Subject.kept(self.about)

    @model_validator(mode="before")
    @classmethod
    def _about_a_batch(cls, raw: Any) -> Any:  # noqa: ANN401 - whatever came
        if not isinstance(raw, dict) or "batch" not in raw:
            return raw
        others = {name: value for name, value in raw.items() if name != "batch"}
        batch = raw["batch"]
        if batch is None:
            return others
        if not isinstance(batch, str) or not batch.strip() or len(batch) > 80:
            raise ValueError("batch is the code of a batch, or the id of the entry that opened it")
        about = f"{_BATCH}{batch.strip()}"
        if others.get("about") is not None and others["about"] != about:
            raise ValueError("about and batch name two subjects; one of them is enough")
        return {**others, "about": about}

    @model_validator(mode="after")
    def _kind_fits_its_subject(self) -> "Entry":
        row = REGISTRY.get(self.kind)
        if row is None:
            raise ValueError(f"kind must be one of {', '.join(REGISTRY)}")
        if self.kind == "opened":
            if self.machine is None:
                raise ValueError("machine is missing: which machine is this batch for?")
        elif self.about is None:
            raise ValueError("batch is missing: which batch is this about? Any other subject is named by about.")
        if self.about is not None:
            subject = Subject.parse(self.about)
            if subject.kind not in row.about:
                raise EntryRefused(
                    _(
                        "“{kind}” belongs to {right}, not to {wrong}.",
                        kind=self.kind,
                        right=", ".join(row.about),
                        wrong=subject.kind,
                    )
                )
        return self


def body_of(kind: str, body: Mapping[str, Any]) -> Body:
    """The body as the model of its kind.

    Raises
    ------
    EntryRefused
        If the kind is unknown or a field is missing, unknown or out of range.
    """
    if kind not in REGISTRY:
        raise EntryRefused(_("Entry kind must be one of {kinds}, not “{kind}”.", kind=kind, kinds=", ".join(REGISTRY)))
    try:
        return REGISTRY[kind].body.model_validate(dict(body))
    except ValidationError as error:
        raise EntryRefused(sentence(error)) from None


def amended(kind: str, body: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """The body with some fields changed (null clears one), checked as a whole."""
    merged = {key: value for key, value in {**body, **change}.items() if value is not None}
    return _plain(body_of(kind, merged))


def parse_entry(raw: object, *, received_ms: int) -> Entry:
    """A received entry, with its body validated and in JSON types.

    Raises
    ------
    EntryRefused
        With a sentence for each invalid field.
    """
    if not isinstance(raw, dict):
        raise EntryRefused(_("An entry is a JSON object with id, about (or machine and batch), kind, at_ms and body."))
    try:
        entry = Entry.model_validate({**raw, "received_ms": received_ms})
    except ValidationError as error:
        raise EntryRefused(sentence(error)) from None
    about = None if entry.about is None else str(Subject.parse(entry.about))
    return entry.model_copy(update={"about": about, "body": _plain(body_of(entry.kind, entry.body))})


def _plain(body: Body) -> dict[str, Any]:
    return body.model_dump(mode="json", exclude_none=True)


def sentence(error: ValidationError) -> str:
    """A validation error as a sentence for each field."""
    parts = []
    for fault in error.errors(include_url=False):
        where = ".".join(str(step) for step in fault["loc"])
        what = fault["msg"].removeprefix("Value error, ")
        parts.append(f"{where}: {what}" if where else what)
    return "; ".join(parts) + "."

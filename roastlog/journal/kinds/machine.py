"""Kinds about a machine: its description, and the checks of its probes."""

import json
from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, Final, Self
from unicodedata import category

from pydantic import Field, ValidationError, field_validator, model_validator

from roastlog.journal.kinds.base import Body, Ident, Kind, Telling
from roastlog.journal.phrases import plain
from roastlog.journal.subject import MACHINE
from roastlog.languages import _, ngettext
from roastlog.machine.model import Machine
from roastlog.machine.sources import Checked, Number, Reference


class SetUp(Body):
    """The machine's description from now on: its sheet without passwords, which no entry holds."""

    sheet: dict[str, Any]

    @field_validator("sheet")
    @classmethod
    def _describes_a_machine(cls, sheet: dict[str, Any]) -> dict[str, Any]:
        try:
            machine = Machine.model_validate_json(json.dumps(sheet))
        except ValidationError as error:
            fault = error.errors(include_url=False)[0]
            where = ".".join(str(step) for step in fault["loc"])
            raise ValueError(f"{where}: {fault['msg'].removeprefix('Value error, ')}") from None
        if machine.passwords:
            raise ValueError("no entry holds a password; leave it out, and type it on the page of the machine's parts")
        return plain_sheet(machine)


class ProbeChecked(Body):
    """A probe checked against a reference, and the offset that corrects the difference.

    Entries of earlier versions have ``against``, in words, in place of the reference and its temperatures.
    """

    channel: Ident
    offset_c: Annotated[float, Field(ge=-100, le=100)]
    on: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\d$", description="local day")]
    against: Annotated[str, Field(min_length=1, max_length=120)] | None = None
    reference: Reference | None = None
    reference_c: Number | None = None
    read_c: Number | None = None

    @field_validator("against")
    @classmethod
    def _is_plain_text(cls, against: str | None) -> str | None:
        if any(category(letter).startswith("C") for letter in against or ""):
            raise ValueError("it holds control characters")
        return against

    @model_validator(mode="after")
    def _makes_a_check(self) -> Self:
        check_of(self.model_dump())
        return self


def check_of(body: Mapping[str, Any]) -> Checked:
    """The check of a probe as its channel has it, from the body of an entry; raises ValueError."""
    facts = {name: body.get(name) for name in ("against", "reference", "reference_c", "read_c")}
    return Checked.model_validate({"on": date.fromisoformat(body["on"])} | facts)


def plain_sheet(machine: Machine) -> dict[str, Any]:
    """A machine as in an entry: without defaults and passwords."""
    return machine.without_passwords().model_dump(mode="json", exclude_defaults=True)


def _set_up(body: Mapping[str, Any], _telling: Telling) -> str:
    count = len(body["sheet"].get("channels", ()))
    return ngettext(
        "Set up as {name}, with {n} channel", "Set up as {name}, with {n} channels", count, name=body["sheet"]["name"]
    )


def _probe_checked(body: Mapping[str, Any], _telling: Telling) -> str:
    return _(
        "{channel} checked: offset {offset} °C ({against})",
        channel=body["channel"],
        offset=plain(body["offset_c"]),
        against=check_of(body).basis,
    )


KINDS: Final = (
    Kind("set_up", (MACHINE,), SetUp, "own", _set_up, pages=("machine",)),
    Kind("probe_checked", (MACHINE,), ProbeChecked, "own", _probe_checked, pages=("probe check",)),
)

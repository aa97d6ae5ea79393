"""Kinds about a recall, or the drill of one: its cause, who was reached, and its end."""

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal

from pydantic import Field

from roastlog.journal.kinds.base import Body, Ident, Kind, Short, Telling, Text
from roastlog.journal.subject import RECALL
from roastlog.journal.vocabulary import CONTACT_WORDS
from roastlog.languages import _, joined, translate


class Recalled(Body):
    """The start of a recall of all that came from some lots, batches, blends or packs."""

    codes: Annotated[list[Short], Field(min_length=1, max_length=40)]
    cause: Text
    drill: Annotated[bool, Field(description="only practised; nobody is told")] = False


class Reached(Body):
    """A customer knows of it."""

    customer: Ident
    how: Literal["phone", "mail", "in_person"]
    note: Text | None = None


class Finished(Body):
    """The end of a recall."""

    note: Text | None = None


def _recalled(body: Mapping[str, Any], _telling: Telling) -> str:
    codes = joined(", ", body["codes"])
    if body.get("drill"):
        return _("Recall drill of {codes}: {cause}", codes=codes, cause=body["cause"])
    return _("Recall of {codes}: {cause}", codes=codes, cause=body["cause"])


def _reached(body: Mapping[str, Any], _telling: Telling) -> str:
    told = _("Customer reached {how}", how=translate(CONTACT_WORDS[body["how"]]))
    return joined(": ", [told, *([body["note"]] if "note" in body else [])])


def _finished(body: Mapping[str, Any], _telling: Telling) -> str:
    return joined(": ", [_("Recall closed"), *([body["note"]] if "note" in body else [])])


KINDS: Final = (
    Kind("recalled", (RECALL,), Recalled, "decide", _recalled, pages=("recall",)),
    Kind("reached", (RECALL,), Reached, "operate", _reached, pages=("recall",)),
    Kind("finished", (RECALL,), Finished, "decide", _finished, pages=("recall",)),
)

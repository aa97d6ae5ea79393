"""Green lots, for the desk: all of them, and the page of one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Self
from urllib.parse import quote
from uuid import uuid4

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.journal.kinds import REGISTRY
from roastlog.journal.vocabulary import PAPER_WORDS
from roastlog.journal.wording import FLAG_WORDS
from roastlog.languages import N_
from roastlog.services import GreenHouse, GreenRecord, LotLine
from roastlog.services.green import WINDOW_DAYS
from roastlog.web import services
from roastlog.web.http.roles import says
from roastlog.web.http.security import caller, may

bp = Blueprint("lots", __name__)

PAGE_LOTS: Final = 50
MOVED: Final = {
    "supplier": N_("Arrival"),
    "drum": N_("Batch"),
    "difference": N_("Count"),
    "sample": N_("Sample"),
    "waste": N_("Waste"),
    "gift": N_("Gift"),
    "returned": N_("Back to the supplier"),
}
DECISIONS: Final = {"accept": N_("Accept"), "hold": N_("Hold"), "reject": N_("Reject")}
DECIDED: Final = {"accept": "accepted", "hold": "held", "reject": "rejected"}


@dataclass(frozen=True)
class Lines:
    """One page of a list of lots."""

    lines: Sequence[LotLine]
    page: int
    pages: int

    @classmethod
    def asked(cls, lines: Sequence[LotLine]) -> Self:
        """The page that the request asks for; past the last one, the last."""
        pages = max(1, -(-len(lines) // PAGE_LOTS))
        page = min(max(1, request.args.get("page", 1, type=int)), pages)
        return cls(lines[(page - 1) * PAGE_LOTS : page * PAGE_LOTS], page, pages)


@dataclass(frozen=True)
class LotsPage:
    """Context of `desk/lots/list.html`."""

    house: GreenHouse
    found: Lines
    window_days: int = WINDOW_DAYS


@dataclass(frozen=True)
class ClosedPage:
    """Context of `desk/lots/closed.html`."""

    found: Lines


@dataclass(frozen=True)
class LotPage:
    """Context of `desk/lots/page.html`; ``undoable`` are the entries that the reader may undo."""

    record: GreenRecord
    here: str
    form_id: str
    undoable: frozenset[str]
    prices: bool
    window_days: int = WINDOW_DAYS
    error: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    moved: Mapping[str, str] = field(default_factory=lambda: MOVED)
    decisions: Mapping[str, str] = field(default_factory=lambda: DECISIONS)
    papers: Mapping[str, str] = field(default_factory=lambda: PAPER_WORDS)
    decided: Mapping[str, str] = field(default_factory=lambda: DECIDED)
    flags: Mapping[str, str] = field(default_factory=lambda: FLAG_WORDS)


@bp.get("/lots")
def lots() -> str:
    """All green lots that are not closed, in the order of use."""
    house = services().green.house()
    return render_template("desk/lots/list.html", page=LotsPage(house, Lines.asked(house.lines)))


@bp.get("/lots/closed")
def closed() -> str:
    """The closed lots, newest first."""
    return render_template("desk/lots/closed.html", page=ClosedPage(Lines.asked(services().green.house().closed)))


@bp.get("/lots/<path:lot>")
def lot(lot: str) -> ResponseReturnValue:
    """The page of one lot."""
    return lot_page(lot)


def address(code: str) -> str:
    """The address of a lot's page."""
    return f"/lots/{quote(code)}"


def lot_page(code: str, error: str = "", values: Mapping[str, str] | None = None) -> ResponseReturnValue:
    """The page of a lot, with an error and what was typed where a form of it was refused."""
    prices = may("own")
    record = services().green.record(code, confidential=prices)
    page = LotPage(record, address(code), str(uuid4()), _undoable(record), prices, error=error, values=values or {})
    return render_template("desk/lots/page.html", page=page), 422 if error else 200


def _undoable(record: GreenRecord) -> frozenset[str]:
    """Entries that are in effect and that the reader's role may undo, by the kind that each is about in the end."""
    by_id = {entry.id: entry for entry in record.entries}
    role, found = caller().role, set()
    for entry in record.entries:
        about = entry
        while about.kind in REGISTRY and REGISTRY[about.kind].corrects and str(about.body.get("entry")) in by_id:
            about = by_id[str(about.body["entry"])]
        if not entry.undone and about.kind in REGISTRY and role is not None and role >= says(about.kind):
            found.add(entry.id)
    return frozenset(found)

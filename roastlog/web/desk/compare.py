"""Batches held against each other: curves, tables, and what stands out. For sitting and thinking."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple
from urllib.parse import urlencode

from flask import Blueprint, Response, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.curve.comparison.alignment import ALIGNMENTS, Alignment
from roastlog.curve.comparison.reasons import describe_reason
from roastlog.languages import N_, _
from roastlog.machine.model import Control
from roastlog.services import LINES, BatchSummary, Compared, SideBySide
from roastlog.web import services
from roastlog.web.desk.comparison_tables import TablePart, moves, parts
from roastlog.web.http.formatting import Units, page_units

bp = Blueprint("compare", __name__)

ALIGNED: Final[Mapping[Alignment, str]] = {
    "charge": N_("At charge"),
    "yellow": N_("At yellow"),
    "first_crack": N_("At first crack"),
    "temperature": N_("At equal temperature"),
}
_MOST_TYPED: Final = 24


class Choice(NamedTuple):
    """A way to show the same batches, and where it leads."""

    label: str
    href: str
    chosen: bool


class Told(NamedTuple):
    """A reason in words, and how many times the usual it is."""

    words: str
    spreads: float


class Why(NamedTuple):
    """What stands out in one batch: what was done otherwise, what came of it, and what that was judged by."""

    batch: Compared
    causes: Sequence[Told]
    effects: Sequence[Told]
    basis: str


class Key(NamedTuple):
    """A batch in the legend: how it is drawn, and where the page leads without it or with it as the guide."""

    batch: Compared
    token: str
    dash: str
    without: str
    as_guide: str


@dataclass(frozen=True)
class ComparePage:
    """What `desk/compare/page.html` shows."""

    beside: SideBySide
    aligned: Sequence[Choice]
    controls: Sequence[Choice]
    keys: Sequence[Key]
    why: Sequence[Why]
    parts: Sequence[TablePart]
    moves: Sequence[TablePart]
    offered: Sequence[BatchSummary]
    query: str
    figure: str

    @property
    def codes(self) -> str:
        """The codes of those that are shown, as the address has them."""
        return ",".join(batch.code for batch in self.beside.batches)


class Asked(NamedTuple):
    """What the address asks for."""

    codes: Sequence[str]
    align: Alignment
    control: str
    query: str

    @classmethod
    def of_request(cls) -> "Asked":
        """What this request asks for; an alignment that there is not is one at charge."""
        typed = [code.strip() for code in ",".join(request.args.getlist("batches")).split(",")]
        align = next((known for known in ALIGNMENTS if known == request.args.get("align")), ALIGNMENTS[0])
        codes = list(dict.fromkeys(code[:40] for code in typed if code))[:_MOST_TYPED]
        query = request.args.get("q", "").strip()[:80]
        return cls(codes, align, request.args.get("control", "")[:40], query)

    def address(self, path: str = "/compare") -> str:
        """The permanent address of it."""
        said = {"batches": ",".join(self.codes)}
        if self.align != "charge":
            said["align"] = self.align
        if self.control:
            said["control"] = self.control
        return f"{path}?{urlencode(said, safe=',')}" if self.codes else path


@bp.get("/compare")
def compare() -> ResponseReturnValue:
    """Batches side by side; from one batch to it and its guide; from a choice to its permanent address."""
    of = request.args.get("of", "")
    asked = Asked.of_request()
    if of:
        guide = services().comparison.guide_for(of)
        return redirect(asked._replace(codes=[code for code in (guide, of) if code]).address(), 303)
    if len(request.args.getlist("batches")) > 1:
        return redirect(asked.address(), 303)
    page = _page(asked)
    return render_template("desk/compare/page.html", page=page), 404 if asked.codes and not page.keys else 200


@bp.get("/compare/offered")
def offered() -> str:
    """The list of batches that could be added alone, for the search as one types."""
    return render_template("desk/compare/_offered.html", page=_page(Asked.of_request()))


@bp.get("/compare/figure.json")
def figure() -> Response:
    """The figure of a comparison, for static/js/desk/compare.js to embed."""
    asked = Asked.of_request()
    drawing = services().figures.comparison(asked.codes, asked.align, asked.control, temp_unit=page_units().temp)
    return Response(drawing.json(), mimetype="application/json")


def _page(asked: Asked) -> ComparePage:
    beside = services().comparison.compare(asked.codes, asked.align)
    asked = asked._replace(codes=[batch.code for batch in beside.batches], control=_control(asked.control, beside))
    units = page_units()
    return ComparePage(
        beside=beside,
        aligned=[
            Choice(label, asked._replace(align=align).address(), align == asked.align)
            for align, label in ALIGNED.items()
        ],
        controls=[
            Choice(control.name, asked._replace(control=control.id).address(), control.id == asked.control)
            for control in beside.controls
        ],
        keys=[_key(number, batch, asked) for number, batch in enumerate(beside.batches)],
        why=[_why(batch, beside.controls, units) for batch in beside.batches[1:]],
        parts=parts(beside, units),
        moves=moves(beside),
        offered=services().comparison.candidates(beside, asked.query),
        query=asked.query,
        figure=asked.address("/compare/figure.json"),
    )


def _control(asked: str, beside: SideBySide) -> str:
    """The control that is drawn: the one asked for, else one that was moved otherwise, else the first."""
    known = [control.id for control in beside.controls]
    moved = [
        reason.subject for batch in beside.batches if batch.against for reason in batch.against.reasons if reason.batch
    ]
    return next((control for control in (asked, *moved, *known) if control in known), "")


def _key(number: int, batch: Compared, asked: Asked) -> Key:
    token, dash = LINES[number]
    others = [code for code in asked.codes if code != batch.code]
    without, first = asked._replace(codes=others).address(), asked._replace(codes=[batch.code, *others]).address()
    return Key(batch, token, " ".join(map(str, dash)), without, first)


def _why(batch: Compared, controls: Sequence[Control], units: Units) -> Why:
    against = batch.against
    if against is None:
        return Why(batch, [], [], "")
    names = {control.id: control.name for control in controls}
    told: dict[bool, list[Told]] = {True: [], False: []}
    for reason in against.reasons:
        words = describe_reason(reason, unit=units.temp, mass=units.mass, names=names)
        told[reason.cause].append(Told(words[:1].upper() + words[1:], reason.spreads))
    return Why(batch, told[True], told[False], _basis(against.usual.batches))


def _basis(batches: int) -> str:
    if batches < 2:
        return _(
            "Judged by Drumside’s own assumptions of what is usual: there are too few other batches of this coffee."
        )
    if batches >= 12:
        return _(
            "Judged by how much {batches} other batches of this coffee on this machine differ from each other.",
            batches=batches,
        )
    return _(
        "Judged by how much {batches} other batches of this coffee on this machine differ from each other, "
        "and by Drumside’s own assumptions, since these are few.",
        batches=batches,
    )

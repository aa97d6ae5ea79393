"""The comparison of batches, for the desk: curves, tables, and the deviations that stand out."""

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
    """Another way to show the same batches, with its address."""

    label: str
    href: str
    chosen: bool


class ReasonText(NamedTuple):
    """A reason in words, and its size in usual spreads."""

    words: str
    spreads: float


class Deviations(NamedTuple):
    """The deviations of one batch from the guide: causes, effects, and the basis of the judgement."""

    batch: Compared
    causes: Sequence[ReasonText]
    effects: Sequence[ReasonText]
    basis: str


class Key(NamedTuple):
    """A batch in the legend: its line style, and the addresses without it and with it as the guide."""

    batch: Compared
    token: str
    dash: str
    without: str
    as_guide: str


@dataclass(frozen=True)
class ComparePage:
    """Context of `desk/compare/page.html`."""

    beside: SideBySide
    aligned: Sequence[Choice]
    controls: Sequence[Choice]
    keys: Sequence[Key]
    why: Sequence[Deviations]
    parts: Sequence[TablePart]
    moves: Sequence[TablePart]
    offered: Sequence[BatchSummary]
    query: str
    figure: str

    @property
    def codes(self) -> str:
        """The codes of the batches shown, as in the address."""
        return ",".join(batch.code for batch in self.beside.batches)


class Query(NamedTuple):
    """The query of a comparison's address."""

    codes: Sequence[str]
    align: Alignment
    control: str
    query: str

    @classmethod
    def of_request(cls) -> "Query":
        """The query of this request; an unknown alignment becomes the one at charge."""
        typed = [code.strip() for code in ",".join(request.args.getlist("batches")).split(",")]
        align = next((known for known in ALIGNMENTS if known == request.args.get("align")), ALIGNMENTS[0])
        codes = list(dict.fromkeys(code[:40] for code in typed if code))[:_MOST_TYPED]
        query = request.args.get("q", "").strip()[:80]
        return cls(codes, align, request.args.get("control", "")[:40], query)

    def address(self, path: str = "/compare") -> str:
        """The permanent address of this query."""
        fields = {"batches": ",".join(self.codes)}
        if self.align != "charge":
            fields["align"] = self.align
        if self.control:
            fields["control"] = self.control
        return f"{path}?{urlencode(fields, safe=',')}" if self.codes else path


@bp.get("/compare")
def compare() -> ResponseReturnValue:
    """The comparison; ``of`` redirects to one batch with its guide, a form's choice to its permanent address."""
    of = request.args.get("of", "")
    asked = Query.of_request()
    if of:
        guide = services().comparison.guide_for(of)
        return redirect(asked._replace(codes=[code for code in (guide, of) if code]).address(), 303)
    if len(request.args.getlist("batches")) > 1:
        return redirect(asked.address(), 303)
    page = _page(asked)
    return render_template("desk/compare/page.html", page=page), 404 if asked.codes and not page.keys else 200


@bp.get("/compare/offered")
def offered() -> str:
    """Only the list of batches that could be added, for the search field."""
    return render_template("desk/compare/_offered.html", page=_page(Query.of_request()))


@bp.get("/compare/figure.json")
def figure() -> Response:
    """The figure of a comparison, for static/js/desk/compare.js to embed."""
    asked = Query.of_request()
    drawing = services().figures.comparison(asked.codes, asked.align, asked.control, temp_unit=page_units().temp)
    return Response(drawing.json(), mimetype="application/json")


def _page(asked: Query) -> ComparePage:
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
        why=[_deviations(batch, beside.controls, units) for batch in beside.batches[1:]],
        parts=parts(beside, units),
        moves=moves(beside),
        offered=services().comparison.candidates(beside, asked.query),
        query=asked.query,
        figure=asked.address("/compare/figure.json"),
    )


def _control(asked: str, beside: SideBySide) -> str:
    """The control to draw: the one asked for, else one with different moves, else the first."""
    known = [control.id for control in beside.controls]
    moved = [
        reason.subject for batch in beside.batches if batch.against for reason in batch.against.reasons if reason.batch
    ]
    return next((control for control in (asked, *moved, *known) if control in known), "")


def _key(number: int, batch: Compared, asked: Query) -> Key:
    token, dash = LINES[number]
    others = [code for code in asked.codes if code != batch.code]
    without, first = asked._replace(codes=others).address(), asked._replace(codes=[batch.code, *others]).address()
    return Key(batch, token, " ".join(map(str, dash)), without, first)


def _deviations(batch: Compared, controls: Sequence[Control], units: Units) -> Deviations:
    against = batch.against
    if against is None:
        return Deviations(batch, [], [], "")
    names = {control.id: control.name for control in controls}
    by_cause: dict[bool, list[ReasonText]] = {True: [], False: []}
    for reason in against.reasons:
        words = describe_reason(reason, unit=units.temp, mass=units.mass, names=names)
        by_cause[reason.cause].append(ReasonText(words[:1].upper() + words[1:], reason.spreads))
    return Deviations(batch, by_cause[True], by_cause[False], _basis(against.usual.batches))


def _basis(batches: int) -> str:
    if batches < 2:
        return _("Compared with Drumside’s defaults: there are too few other batches of this coffee.")
    if batches >= 12:
        return _(
            "Compared with the usual spread of {batches} other batches of this coffee on this machine.",
            batches=batches,
        )
    return _(
        "Compared with the usual spread of {batches} other batches of this coffee on this machine, and with "
        "Drumside’s defaults, since these are few.",
        batches=batches,
    )

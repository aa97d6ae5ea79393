"""Trace, for the desk: where any coffee came from and where it went, as a drawing and as tables."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple
from urllib.parse import quote

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from roastlog.errors import NoSuchCode
from roastlog.journal.subject import BATCH, BLEND, CUSTOMER, LOT, PACK
from roastlog.languages import N_, _, ngettext
from roastlog.services import Band, Box, Node, Step, Trace, tree_svg
from roastlog.web import services
from roastlog.web.http.formatting import kilos, page_units

bp = Blueprint("trace", __name__)

COLUMNS: Final[Mapping[str, str]] = {
    LOT: N_("Green lot"),
    BATCH: N_("Batches"),
    BLEND: N_("Blends"),
    PACK: N_("Bags"),
    CUSTOMER: N_("Where they are"),
}
KIND_WORDS: Final[Mapping[str, str]] = {
    LOT: N_("green lot"),
    BATCH: N_("batch"),
    BLEND: N_("blend"),
    PACK: N_("pack"),
    CUSTOMER: N_("customer"),
}
ENDS: Final[Mapping[str, str]] = {
    "supplier": N_("Supplier"),
    "loss": N_("Roast loss"),
    "waste": N_("Waste"),
    "sample": N_("Samples"),
    "gift": N_("Gifts"),
    "returned": N_("Back to the supplier"),
    "overfill": N_("Above the nominal weight of bags"),
    "difference": N_("Not found when counted"),
    "green": N_("Green of no known lot"),
}
MOST_BOXES: Final = 10
MOST_ROWS: Final = 200
_MORE: Final = "more "


class StepText(NamedTuple):
    """One row of a table: a place, its address if it has a page, its kind in words, and grams."""

    name: str
    href: str
    under: str
    grams: int


@dataclass(frozen=True)
class TracePage:
    """Context of `desk/trace/trace.html`. Masses in g."""

    trace: Trace
    kind: str
    drawing: Markup
    sources: Sequence[StepText]
    targets: Sequence[StepText]
    rows: Sequence[tuple[StepText, StepText, int]]
    left_out: int
    batches: int
    bags_g: int
    out_g: int
    left_g: int


@dataclass(frozen=True)
class FindPage:
    """Context of `desk/trace/find.html`: the text typed, and why nothing was found."""

    code: str = ""
    error: str = ""


@bp.get("/trace")
def find() -> ResponseReturnValue:
    """The form for a code; with one, its trace."""
    typed = request.args.get("code", "").strip()
    if not typed:
        return render_template("desk/trace/find.html", page=FindPage())
    try:
        return redirect(f"/trace/{quote(services().trace.find(typed).name, safe='')}", 303)
    except NoSuchCode as error:
        return render_template("desk/trace/find.html", page=FindPage(typed, str(error))), 404


@bp.get("/trace/<path:code>")
def trace(code: str) -> str:
    """Where the coffee of a code came from, and where it went."""
    found = services().trace.trace(services().trace.find(code))
    nodes = {node.about: node for node in found.nodes}
    rows = [
        (_row(nodes[step.source], step.grams), _row(nodes[step.target], step.grams), step.grams) for step in found.edges
    ]
    page = TracePage(
        trace=found,
        kind=_(KIND_WORDS[found.kind]),
        drawing=Markup(drawing(found)),  # noqa: S704 - `tree_svg` escapes all texts
        sources=[_row(nodes[step.source], step.grams) for step in found.sources],
        targets=[_row(nodes[step.target], step.grams) for step in found.targets],
        rows=rows[:MOST_ROWS],
        left_out=max(0, len(rows) - MOST_ROWS),
        batches=sum(node.kind == BATCH for node in found.nodes),
        bags_g=_moved_to(PACK, found, nodes),
        out_g=_moved_to(CUSTOMER, found, nodes),
        left_g=found.node(found.about).left_g,
    )
    return render_template("desk/trace/trace.html", page=page)


def drawing(trace: Trace) -> str:
    """The tree as an SVG: the largest boxes of each column, and the rest of it as one box."""
    nodes = {node.about: node for node in trace.nodes if node.kind}
    through_g = _through_g(trace.edges, nodes)
    keys: dict[str, str] = {}
    columns = []
    for kind, head in COLUMNS.items():
        mine = sorted((node for node in nodes.values() if node.kind == kind), key=lambda node: -through_g[node.about])
        alone, others = (mine, []) if len(mine) <= MOST_BOXES else (mine[: MOST_BOXES - 1], mine[MOST_BOXES - 1 :])
        keys |= {node.about: node.about for node in alone} | {node.about: f"{_MORE}{kind}" for node in others}
        boxes = [_box(node, through_g[node.about]) for node in sorted(alone, key=lambda node: node.code)]
        if others:
            total_g = sum(through_g[node.about] for node in others)
            more = ngettext("and {count} more", "and {count} more", len(others), count=len(others))
            boxes.append(Box(f"{_MORE}{kind}", [more, kilos(total_g, page_units())], total_g))
        columns.append((_(head), boxes))
    merged: dict[tuple[str, str], int] = {}
    for step in trace.edges:
        if step.source in keys and step.target in keys:
            ends = keys[step.source], keys[step.target]
            merged[ends] = merged.get(ends, 0) + step.grams
    bands = [Band(source, target, grams) for (source, target), grams in merged.items()]
    return tree_svg(
        columns, bands, label=_("Where this coffee came from and where it went; the tables below show the same")
    )


def _through_g(edges: Iterable[Step], nodes: Mapping[str, Node]) -> dict[str, int]:
    """The larger of the grams that came to each node and left it."""
    came, went = dict.fromkeys(nodes, 0), dict.fromkeys(nodes, 0)
    for step in edges:
        if step.source in nodes:
            went[step.source] += step.grams
        if step.target in nodes:
            came[step.target] += step.grams
    return {about: max(came[about], went[about]) for about in nodes}


def _box(node: Node, grams: int) -> Box:
    units = page_units()
    lines = [name_of(node), *([node.title] if node.title and node.kind != CUSTOMER else []), kilos(grams, units)]
    if node.left_g and node.kind != CUSTOMER:
        lines[-1] = _("{mass}, {left} left", mass=lines[-1], left=kilos(node.left_g, units))
    return Box(node.about, lines, grams, href_of(node))


def name_of(node: Node) -> str:
    """The name of a node on pages."""
    if not node.kind:
        return _(ENDS.get(node.about, node.about))
    return (node.title or _("Customer whose name is erased")) if node.kind == CUSTOMER else node.code


def href_of(node: Node) -> str:
    """The address of a node's own trace; empty for one that has none."""
    return f"/trace/{quote(node.code, safe='')}" if node.kind else ""


def _row(node: Node, grams: int) -> StepText:
    under = [_(KIND_WORDS[node.kind])] if node.kind else []
    under += [node.title] if node.title and node.kind != CUSTOMER else []
    return StepText(name_of(node), href_of(node), " · ".join(under), grams)


def _moved_to(kind: str, trace: Trace, nodes: Mapping[str, Node]) -> int:
    """Grams that came to nodes of one kind from nodes of another."""
    return sum(
        step.grams for step in trace.edges if nodes[step.target].kind == kind and nodes[step.source].kind != kind
    )

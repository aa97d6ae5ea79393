"""The label of a green lot, whose QR code opens its page: its size, a preview, and the PDF."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from urllib.parse import quote

from flask import Blueprint, Response, render_template, request
from markupsafe import Markup

from roastlog.label.sheets import MOST_COPIES, label_pages, label_pdf
from roastlog.label.stock import SIZES, LabelSize, label_size
from roastlog.services import LabelAddress, Lot
from roastlog.web import services

bp = Blueprint("lot_labels", __name__)

USUAL: Final = "100x50"


@dataclass(frozen=True)
class LotLabelPage:
    """Context of `bench/lot_label.html`."""

    lot: Lot
    here: str
    address: LabelAddress
    size: LabelSize
    sizes: Sequence[LabelSize]
    copies: int
    pages: Sequence[Markup]


@bp.get("/lots/<path:lot>/label")
def label(lot: str) -> str:
    """A preview of the label, and the way to its PDF."""
    found, size = services().lots.get(lot), _size()
    drawn = label_pages(services().labels.lot_label(found), size)
    page = LotLabelPage(
        found,
        f"/lots/{quote(lot)}",
        services().labels.lot_address(lot),
        size,
        list(SIZES.values()),
        _copies(found),
        [Markup(one) for one in drawn],  # noqa: S704 - our own SVG, texts escaped
    )
    return render_template("bench/lot_label.html", page=page)


@bp.get("/lots/<path:lot>/label.pdf")
def label_file(lot: str) -> Response:
    """The labels as a PDF at true size, one for each sack."""
    found, size = services().lots.get(lot), _size()
    pdf = label_pdf(services().labels.lot_label(found), size, copies=_copies(found))
    headers = {"Content-Disposition": f'inline; filename="lot-label-{size.name}.pdf"'}
    return Response(pdf, mimetype="application/pdf", headers=headers)


def _size() -> LabelSize:
    return label_size(request.args.get("size", USUAL))


def _copies(lot: Lot) -> int:
    return min(max(lot.sacks or 1, 1), MOST_COPIES)

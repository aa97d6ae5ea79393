"""The label of a batch: its size, a preview, and printing from the browser or as PDF."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from flask import Blueprint, Response, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from roastlog.errors import LabelError
from roastlog.label.layout import SIZES, Label, LabelSize, label_size, layout
from roastlog.label.sheets import label_pages, label_pdf, missing_characters
from roastlog.languages import N_, _, joined
from roastlog.services import LabelAddress
from roastlog.web import services

bp = Blueprint("labels", __name__)

PARTS: Final = {
    "business": N_("the business"),
    "coffee": N_("the coffee's name"),
    "subtitle": N_("what it is for"),
    "note": N_("the cup words"),
}


@dataclass(frozen=True)
class LabelPage:
    """Context of `bench/label.html`."""

    code: str
    coffee: str
    address: LabelAddress
    sizes: Sequence[LabelSize]
    size: LabelSize
    copies: int
    skip: int
    pages: Sequence[Markup]
    left_out: str
    missing: str
    error: str = ""


@bp.get("/batches/<code>/label")
def label(code: str) -> ResponseReturnValue:
    """A preview of the label, and the address in its QR code."""
    content, size = services().labels.label(code), label_size(_asked("size", next(iter(SIZES))))
    copies, skip = _count("copies", 1), _count("skip", 0)
    try:
        pages = [Markup(page) for page in label_pages(content, size, copies=copies, skip=skip)]  # noqa: S704 - our own SVG, texts escaped
        error, status = "", 200
    except LabelError as refused:
        pages, error, status = [], str(refused), 422
    page = LabelPage(
        code=content.code,
        coffee=content.coffee,
        address=services().labels.address(code),
        sizes=list(SIZES.values()),
        size=size,
        copies=copies,
        skip=skip,
        pages=pages,
        left_out="" if error else _left_out(content, size),
        missing=missing_characters(content),
        error=error,
    )
    return render_template("bench/label.html", page=page), status


@bp.get("/batches/<code>/label.pdf")
def label_file(code: str) -> Response:
    """The label as a PDF at true size."""
    size = label_size(_asked("size", next(iter(SIZES))))
    pdf = label_pdf(services().labels.label(code), size, copies=_count("copies", 1), skip=_count("skip", 0))
    name = f"label-{services().batches.summary(code).code}-{size.name}.pdf"
    return Response(pdf, mimetype="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'})


def _asked(name: str, otherwise: str) -> str:
    return request.args.get(name, "") or otherwise


def _count(name: str, otherwise: int) -> int:
    text = _asked(name, str(otherwise))
    if not text.isascii() or not text.isdigit() or len(text) > 6:
        raise LabelError(_("“{text}” is not a number of labels.", text=text))
    return int(text)


def _left_out(content: Label, size: LabelSize) -> str:
    return joined(", ", [_(PARTS[part]) if part in PARTS else part for part in layout(content, size).shortened])

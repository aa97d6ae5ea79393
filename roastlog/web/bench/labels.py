"""The label of a batch: chosen by size, seen before it is printed, as PDF or straight from the browser."""

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
    """What `bench/label.html` shows."""

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
    """The label as it will be, and where its code leads."""
    said, size = services().labels.label(code), label_size(_asked("size", next(iter(SIZES))))
    copies, skip = _count("copies", 1), _count("skip", 0)
    try:
        pages = [Markup(page) for page in label_pages(said, size, copies=copies, skip=skip)]  # noqa: S704 - its own SVG, text escaped
        error, status = "", 200
    except LabelError as refused:
        pages, error, status = [], str(refused), 422
    page = LabelPage(
        code=said.code,
        coffee=said.coffee,
        address=services().labels.address(code),
        sizes=list(SIZES.values()),
        size=size,
        copies=copies,
        skip=skip,
        pages=pages,
        left_out="" if error else _left_out(said, size),
        missing=missing_characters(said),
        error=error,
    )
    return render_template("bench/label.html", page=page), status


@bp.get("/batches/<code>/label.pdf")
def label_file(code: str) -> Response:
    """The label as PDF in true millimetres."""
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


def _left_out(said: Label, size: LabelSize) -> str:
    return joined(", ", [_(PARTS[part]) if part in PARTS else part for part in layout(said, size).shortened])

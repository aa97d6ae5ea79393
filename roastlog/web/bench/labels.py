"""The label of a batch: its size, a preview, and printing from the browser or as PDF."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from uuid import uuid4

from flask import Blueprint, Response, redirect, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from roastlog.errors import LabelError
from roastlog.label.layout import SIZES, Label, LabelSize, label_size, layout
from roastlog.label.sheets import label_pages, label_pdf, missing_characters
from roastlog.languages import N_, _, joined
from roastlog.services import LabelAddress
from roastlog.web import services
from roastlog.web.http.forms import Form, entry, who
from roastlog.web.http.security import speaker

bp = Blueprint("labels", __name__)

PARTS: Final = {
    "business": N_("the business"),
    "coffee": N_("the coffee's name"),
    "subtitle": N_("what it is for"),
    "note": N_("the cup notes"),
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
    warning: str
    form_id: str
    machine: str | None
    error: str = ""

    @property
    def prints_at_once(self) -> bool:
        """Whether it may be printed without another look: a bag label whose code leads somewhere."""
        return bool(self.pages) and not (self.error or self.warning or self.address.out_of_reach)


@bp.get("/batches/<code>/label")
def label(code: str) -> ResponseReturnValue:
    """A preview of the label, and the address in its QR code."""
    return _label_page(code)


@bp.post("/batches/<code>/label/allow")
def allow(code: str) -> ResponseReturnValue:
    """Allow bag labels of a batch that is held or rejected, for a reason that stays in its journal."""
    form = Form(request.form)
    reason = form.text("reason", longest=2000)
    if reason is None:
        return _label_page(code, _("Enter a reason for labelling these bags anyway."))
    machine, at_ms = services().batches.summary(code).machine, services().clock.now_ms()
    made = entry(form, "labels_allowed", {"reason": reason}, machine=machine, at_ms=at_ms, person=who(), batch=code)
    result = services().journal.accept([made], speaker())[0]
    if result.status == "refused":
        return _label_page(code, result.reason or _("Not saved."))
    return redirect(f"/batches/{code}/label", 303)


def _label_page(code: str, refused: str = "") -> ResponseReturnValue:
    batch = services().batches.summary(code)
    content, size = services().labels.label(code), label_size(_asked("size", next(iter(SIZES))))
    copies, skip = _copies(), _skip()
    try:
        pages = [Markup(page) for page in label_pages(content, size, copies=copies, skip=skip)]  # noqa: S704 - our own SVG, texts escaped
        error, status = refused, 422 if refused else 200
    except LabelError as fault:
        pages, error, status = [], str(fault), 422
    page = LabelPage(
        code=content.code,
        coffee=content.coffee,
        address=services().labels.address(code),
        sizes=list(SIZES.values()),
        size=size,
        copies=copies,
        skip=skip,
        pages=pages,
        left_out=_left_out(content, size) if pages else "",
        missing=missing_characters(content),
        warning=content.warning,
        form_id=str(uuid4()),
        machine=batch.machine if any(batch.machine == machine.id for machine in services().machines.all()) else None,
        error=error,
    )
    return render_template("bench/label.html", page=page), status


@bp.get("/batches/<code>/label.pdf")
def label_file(code: str) -> Response:
    """The label as a PDF at true size."""
    size = label_size(_asked("size", next(iter(SIZES))))
    pdf = label_pdf(services().labels.label(code), size, copies=_copies(), skip=_skip())
    name = f"label-{services().batches.summary(code).code}-{size.name}.pdf"
    return Response(pdf, mimetype="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'})


def _asked(name: str, otherwise: str) -> str:
    return request.args.get(name, "") or otherwise


def _copies() -> int:
    return _count("copies", N_("Number of labels"), 1)


def _skip() -> int:
    return _count("skip", N_("Labels already used"), 0)


def _count(name: str, field: str, otherwise: int) -> int:
    text = _asked(name, str(otherwise))
    if not text.isascii() or not text.isdigit() or len(text) > 6:
        raise LabelError(_("{field} must be a whole number, not “{text}”.", field=field, text=text))
    return int(text)


def _left_out(content: Label, size: LabelSize) -> str:
    return joined(", ", [_(PARTS[part]) if part in PARTS else part for part in layout(content, size).shortened])

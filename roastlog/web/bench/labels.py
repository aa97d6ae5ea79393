"""The label of a batch: its size, a preview, and printing from the browser or as PDF."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Self
from urllib.parse import urlencode
from uuid import uuid4

from flask import Blueprint, Response, make_response, redirect, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from roastlog.errors import LabelError
from roastlog.journal.kinds.base import MAX_BATCH_G
from roastlog.label.layout import Label, layout
from roastlog.label.sheets import MOST_COPIES, label_pages, label_pdf, missing_characters, ruler_pdf
from roastlog.label.stock import SIZES, LabelSize, label_size
from roastlog.languages import N_, _, joined, numeral
from roastlog.services import Filled, LabelAddress
from roastlog.web import services
from roastlog.web.http.formatting import page_units
from roastlog.web.http.forms import GRAMS, Form, entry, who
from roastlog.web.http.security import speaker

bp = Blueprint("labels", __name__)

COOKIE: Final = "label"

PARTS: Final = {
    "business": N_("the business"),
    "coffee": N_("the coffee's name"),
    "origin": N_("the origin"),
    "subtitle": N_("what it is for"),
    "note": N_("the cup notes"),
}


@dataclass(frozen=True)
class Choices:
    """The choices for a label; copies may be None. Size, net weight and numbering are remembered on the device."""

    size: LabelSize
    bag_g: float | None
    numbered: bool
    copies: int | None
    skip: int

    @classmethod
    def asked(cls) -> Self:
        """The choices of the request, else those remembered; LabelError if one makes no sense."""
        size, bag_g, numbered = _remembered()
        asked = request.args
        return cls(
            size=label_size(asked.get("size") or size),
            bag_g=_bag_g(asked) if "bag" in asked else bag_g,
            numbered="numbered" in asked if "bag" in asked else numbered,
            copies=_count("copies", N_("Number of labels")),
            skip=_count("skip", N_("Labels already used")) or 0,
        )

    def number(self, filled: Filled | None) -> int:
        """Number of labels: as asked, else one for each bag, up to the most of one print."""
        if self.copies is not None:
            return self.copies
        return 1 if filled is None else min(max(filled.bags, 1), MOST_COPIES)

    def query(self, size: LabelSize | None = None) -> str:
        """The query of the same choices, or of those for another size."""
        chosen = {"size": (size or self.size).name, "bag": bag_text(self.bag_g), "copies": self.copies or ""}
        if size is None or size is self.size:
            chosen["skip"] = self.skip
        return urlencode(chosen | ({"numbered": 1} if self.numbered else {}))

    def remember(self, response: Response) -> Response:
        """Store on the device what holds for its next label too."""
        value = f"{self.size.name}_{self.bag_g or 0:g}_{self.numbered:d}"
        response.set_cookie(COOKIE, value, max_age=365 * 86400, samesite="Lax")
        return response


@dataclass(frozen=True)
class LabelPage:
    """Context of `bench/label.html`."""

    code: str
    coffee: str
    machine: str | None
    address: LabelAddress
    sizes: Sequence[LabelSize]
    choices: Choices
    bag: str
    bag_unit: str
    number: int
    filled: Filled | None
    most: int
    pages: Sequence[Markup]
    left_out: str
    missing: str
    warning: str
    form_id: str
    error: str = ""
    pack: bool = False

    @property
    def is_own_size(self) -> bool:
        """Whether it is a stock typed by its millimetres; the browser knows only the paper of the others."""
        return self.choices.size.name not in SIZES

    @property
    def prints_at_once(self) -> bool:
        """Whether it may be printed without another look: a bag label whose code leads somewhere."""
        return bool(self.pages) and not (self.error or self.warning or self.address.out_of_reach or self.is_own_size)


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


@bp.get("/packs/<code>/label")
def pack_label(code: str) -> ResponseReturnValue:
    """A preview of the labels of a pack: one for each of its bags, with its net weight, lot mark and date."""
    record, asked = services().packing.record(code), Choices.asked()
    choices = replace(asked, bag_g=record.row.bag_g, numbered=asked.numbered or not request.args)
    filled = Filled(record.row.count, record.row.bag_g * record.row.count, 0.0)
    source = record.sources[0]
    machine = None if source.is_blend else source.batches[0].machine
    labels = services().labels
    return _shown(labels.pack_label(code), labels.pack_address(code), choices, filled, machine, pack=True)


@bp.get("/packs/<code>/label.pdf")
def pack_label_file(code: str) -> Response:
    """The labels of a pack as a PDF at true size."""
    record, choices = services().packing.record(code), Choices.asked()
    filled = Filled(record.row.count, record.row.bag_g * record.row.count, 0.0)
    return _file(services().labels.pack_label(code), choices, filled)


@bp.get("/labels/test-print.pdf")
def test_print() -> Response:
    """Rulers and outlines of a stock, which show by how much a printer shifts or scales it."""
    size = label_size(request.args.get("size", next(iter(SIZES))))
    headers = {"Content-Disposition": f'inline; filename="test-print-{size.name}.pdf"'}
    return Response(ruler_pdf(size), mimetype="application/pdf", headers=headers)


def _label_page(code: str, refused: str = "") -> ResponseReturnValue:
    batch, choices = services().batches.summary(code), Choices.asked()
    labels = services().labels
    content, filled = labels.label(code, choices.bag_g), labels.filled(code, choices.bag_g)
    return _shown(content, labels.address(code), choices, filled, batch.machine, refused)


def _shown(
    content: Label,
    address: LabelAddress,
    choices: Choices,
    filled: Filled | None,
    machine: str | None,
    refused: str = "",
    *,
    pack: bool = False,
) -> ResponseReturnValue:
    number = choices.number(filled)
    try:
        drawn = label_pages(content, choices.size, copies=number, skip=choices.skip, numbered=choices.numbered)
        error, status = refused, 422 if refused else 200
    except LabelError as fault:
        drawn, error, status = [], str(fault), 422
    page = LabelPage(
        code=content.code,
        coffee=content.coffee,
        machine=machine if any(machine == known.id for known in services().machines.all()) else None,
        address=address,
        sizes=list(SIZES.values()),
        choices=choices,
        bag=bag_text(choices.bag_g),
        bag_unit=_bag_unit(),
        number=number,
        filled=filled,
        most=MOST_COPIES,
        pages=[Markup(page) for page in drawn],  # noqa: S704 - our own SVG, texts escaped
        left_out=_left_out(content, choices.size) if drawn else "",
        missing=missing_characters(content),
        warning=content.warning,
        form_id=str(uuid4()),
        error=error,
        pack=pack,
    )
    response = make_response(render_template("bench/label.html", page=page), status)
    return choices.remember(response) if request.args and not error else response


@bp.get("/batches/<code>/label.pdf")
def label_file(code: str) -> Response:
    """The label as a PDF at true size."""
    choices, labels = Choices.asked(), services().labels
    return _file(labels.label(code, choices.bag_g), choices, labels.filled(code, choices.bag_g))


def _file(content: Label, choices: Choices, filled: Filled | None) -> Response:
    copies = choices.number(filled)
    pdf = label_pdf(content, choices.size, copies=copies, skip=choices.skip, numbered=choices.numbered)
    name = f"label-{content.code}-{choices.size.name}.pdf"
    return Response(pdf, mimetype="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'})


def bag_text(bag_g: float | None) -> str:
    """A net weight as its field shows it, in the unit of `_bag_unit`; empty for none."""
    return "" if bag_g is None else numeral(bag_g / GRAMS[_bag_unit()], ".6g")


def _bag_unit() -> str:
    return "oz" if page_units().mass == "lb" else "g"


def _bag_g(asked: Mapping[str, str]) -> float | None:
    form = Form({"bag": asked["bag"]})
    bag_g = form.mass_g("bag", _bag_unit())
    if bag_g is not None and bag_g <= 0:
        raise LabelError(_("Net weight must be more than 0. Leave it empty for a label without one."))
    if form.errors:
        raise LabelError(form.errors["bag"])
    return bag_g


def _remembered() -> tuple[str, float | None, bool]:
    """Size, net weight and numbering of this device's last label; defaults if its cookie has none that make sense."""
    size, bag, numbered = [*request.cookies.get(COOKIE, "").split("_"), "", "", ""][:3]
    try:
        bag_g = float(bag)
    except ValueError:
        bag_g = 0.0
    try:
        known = label_size(size).name
    except LabelError:
        known = next(iter(SIZES))
    return known, bag_g if 0 < bag_g <= MAX_BATCH_G else None, numbered == "1"


def _count(name: str, field: str) -> int | None:
    text = request.args.get(name, "")
    if not text:
        return None
    if not text.isascii() or not text.isdigit() or len(text) > 6:
        raise LabelError(_("{field} must be a whole number, not “{text}”.", field=field, text=text))
    return int(text)


def _left_out(content: Label, size: LabelSize) -> str:
    return joined(", ", [_(PARTS[part]) if part in PARTS else part for part in layout(content, size).shortened])

"""Packing a batch or a blend into bags, and the page of a pack."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final
from uuid import uuid4

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import EntryRefused
from roastlog.journal.subject import PACK, Subject
from roastlog.languages import N_, _
from roastlog.services import Filling, PackPage, PackRecord, ProductRow, Source
from roastlog.services.packing import fill
from roastlog.web import services
from roastlog.web.http.formatting import mass, page_units
from roastlog.web.http.forms import FIELDS, Form, plain, who
from roastlog.web.http.security import speaker

bp = Blueprint("packing", __name__)

NAMES: Final = FIELDS | {
    "count": N_("Number of bags"),
    "left": N_("Left over"),
    "packaging": N_("Packaging"),
    "weights": N_("Check weights"),
}
LEAST_BAG_G: Final = 5  # a smaller one is a weight in kilograms, typed without its unit


@dataclass(frozen=True)
class PackingPage:
    """Context of `bench/packing/new.html` and `bench/packing/_says.html`."""

    source: Source
    products: Sequence[ProductRow]
    product: ProductRow | None
    values: Mapping[str, str]
    filling: Filling | None
    bags: int | None
    best_before: str
    rule: str
    unit: str
    errors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class OnePack:
    """Context of `bench/packing/pack.html`."""

    record: PackRecord
    error: str = ""


@bp.get("/packs")
def packs() -> str:
    """All packs, newest first."""
    page = request.args.get("page", 1, type=int)
    found: PackPage = services().packing.page(max(1, page), query=request.args.get("q", "").strip()[:80])
    return render_template("bench/packing/list.html", page=found)


@bp.get("/packs/new")
def new() -> ResponseReturnValue:
    """The form to pack a batch or a blend."""
    asked = request.args.get("batch", "").strip()
    if not asked:
        return redirect("/stock", 303)
    return _form_page(services().packing.source(asked), {"id": str(uuid4())})


@bp.get("/packs/says")
def says() -> str:
    """The bags that the typed size fills, what stays loose, the date, and the check weights in words."""
    form = Form(request.args, NAMES)
    page = _read(services().packing.source(form.values.get("batch", "")), form)
    return render_template("bench/packing/_says.html", page=page)


@bp.post("/packs/new")
def keep() -> ResponseReturnValue:
    """Store a packing."""
    form = Form(request.form, NAMES)
    source = services().packing.source(form.values.get("batch", ""))
    page = _read(source, form)
    packaging = form.text("packaging", longest=200)
    if page.filling is None or form.errors:
        return _form_page(source, form.values, form.errors), 422
    try:
        packed = services().packing.pack(
            page.filling,
            product=None if page.product is None else page.product.code,
            packaging=packaging or _usual_packaging(page.product),
            speaker=speaker(),
            ident=form.id,
            person=who() or None,
        )
    except EntryRefused as error:
        return _form_page(source, form.values, {"form": str(error)}), 422
    return redirect(f"/packs/{Subject.kept(str(packed.about)).name}", 303)


@bp.post("/packs/allow")
def allow() -> ResponseReturnValue:
    """Allow bags of a batch that is held or rejected, for a reason that stays in its journal."""
    form = Form(request.form, NAMES)
    source, code = services().packing.source(form.values.get("batch", "")), form.values.get("held", "")
    reason = form.text("reason", longest=2000)
    if reason is None:
        error = form.errors.get("reason") or _("Enter a reason for packing this batch anyway.")
        return _form_page(source, {"id": str(uuid4())}, {"reason": error}), 422
    try:
        services().packing.allow(code, reason, speaker(), ident=form.id, person=who() or None)
    except EntryRefused as error:
        return _form_page(source, {"id": str(uuid4())}, {"form": str(error)}), 422
    return redirect(f"/packs/new?batch={source.code}", 303)


@bp.get("/packs/<code>")
def pack(code: str) -> ResponseReturnValue:
    """A pack: its bags, its source, and its journal."""
    return _pack_page(code)


@bp.get("/packs/<code>/left")
def left(code: str) -> str:
    """The rest of a pack and of its source, polled by its page."""
    return render_template("bench/packing/_left.html", page=services().packing.record(code))


@bp.post("/packs/<code>/undo")
def undo(code: str) -> ResponseReturnValue:
    """Undo an entry of a pack; without its packing, the source has the coffee again."""
    record, form = services().packing.record(code), Form(request.form)
    try:
        subject = Subject(PACK, record.row.code)
        services().packing.undo(subject, form.values.get("entry", ""), speaker(), ident=form.id, person=who() or None)
    except EntryRefused as error:
        return _pack_page(code, str(error))
    gone = record.pack.packed is not None and form.values.get("entry") == str(record.pack.packed.id)
    return redirect(f"/packs/new?batch={record.row.source}" if gone else f"/packs/{record.row.code}", 303)


def _pack_page(code: str, error: str = "") -> ResponseReturnValue:
    page = OnePack(services().packing.record(code), error)
    return render_template("bench/packing/pack.html", page=page), 422 if error else 200


def _form_page(source: Source, values: Mapping[str, str], errors: Mapping[str, str] | None = None) -> str:
    chosen = dict(values)
    if "bag" not in chosen:
        product = services().products.find(source.product)
        if product is None and not source.is_blend:
            product = services().products.of_lot(source.batches[0].lot)
        bag_g = None if product is None else product.facts.bag_g
        chosen |= {"product": "" if product is None else product.code, "bag": "" if bag_g is None else _typed(bag_g)}
    form = Form(chosen, NAMES)
    page = replace(_read(source, form), errors=errors or {})
    return render_template("bench/packing/new.html", page=page)


def _read(source: Source, form: Form) -> PackingPage:
    """The packing that the form describes; its errors go to ``form.errors``."""
    product = services().products.find(form.text("product"))
    bag_g = _bag_g(source, form, product)
    weights_g = _weights_g(form, bag_g)
    left_g = form.mass_g("left", "g")
    if left_g is not None and left_g > max(source.left_g, 0):
        form.errors["left"] = _(
            "There were only {left} to pack; less must be left over.", left=mass(max(source.left_g, 0), page_units())
        )
    bags = None if bag_g is None else fill(source.left_g if left_g is None else source.left_g - left_g, bag_g)
    count = _count(form, bags)
    filling = None
    if bag_g is not None and count is not None:
        filling = Filling(source, bag_g, count, weights_g, None if "left" in form.errors else left_g)
        if filling.used_g <= 0:
            form.errors["left"] = _("With so much left over, nothing was packed. Check the weight.")
            filling = None
    code = None if product is None else product.code
    packaging = form.text("packaging", longest=200) or _usual_packaging(product)
    date, rule = services().packing.best_before(code, packaging, source)
    return PackingPage(
        source=source,
        products=services().products.all(),
        product=product,
        values=form.values,
        filling=filling,
        bags=bags,
        best_before="" if date is None else date.isoformat(),
        rule=rule,
        unit=_unit(),
        errors=form.errors,
    )


def _bag_g(source: Source, form: Form, product: ProductRow | None) -> int | None:
    size_g = form.mass_g("bag", _unit())
    if size_g is None:
        if "bag" not in form.errors and product is not None and product.facts.bag_g is not None:
            return product.facts.bag_g
        form.errors.setdefault("bag", _("Type the net weight of a bag."))
        return None
    units = page_units()
    if size_g < LEAST_BAG_G:
        form.errors["bag"] = _(
            "A bag of {typed}? Type its weight in grams, or kg after the number.", typed=f"{size_g:.3g} g"
        )
    elif source.whole_g and size_g > source.whole_g:
        form.errors["bag"] = _(
            "A bag of {bag} is heavier than all of {code}, {whole}. Check the size.",
            bag=mass(size_g, units),
            code=source.code,
            whole=mass(source.whole_g, units),
        )
    return None if "bag" in form.errors else round(size_g)


def _count(form: Form, bags: int | None) -> int | None:
    text = form.values.get("count", "")
    if not text:
        if bags == 0:
            form.errors["count"] = _("Nothing is left to fill a bag. If bags were filled anyway, type how many.")
        return bags or None
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:7]) <= 100_000):
        form.errors["count"] = _("Number of bags must be a whole number from 1 on, not “{text}”.", text=text)
        return None
    return int(text)


def _weights_g(form: Form, bag_g: int | None) -> list[float]:
    """Check weights as typed, one a line or with spaces between; a comma followed by a space separates too. [g]"""
    weights_g = []
    for text in re.split(r"[\s;]+|,(?=\s|$)", form.values.get("weights", "").replace(", ", " ")):
        if not text:
            continue
        try:
            weight_g = float(plain(text))
        except ValueError:
            form.errors["weights"] = _("Check weights must be grams with spaces between, not “{text}”.", text=text[:20])
            return []
        if bag_g is not None and not bag_g / 2 <= weight_g <= bag_g * 2:
            form.errors["weights"] = _(
                "{weight} g is no net weight of a bag of {bag} g. Type each in grams, without the bag.",
                weight=text[:20],
                bag=bag_g,
            )
            return []
        weights_g.append(weight_g)
    if len(weights_g) > 200:
        form.errors["weights"] = _("At most 200 check weights.")
        return []
    return weights_g


def _usual_packaging(product: ProductRow | None) -> str | None:
    rules = () if product is None else product.facts.packagings
    return rules[0].name if rules else None


def _unit() -> str:
    return "oz" if page_units().mass == "lb" else "g"


def _typed(bag_g: int) -> str:
    return f"{bag_g / 28.349523125:.4g}" if _unit() == "oz" else str(bag_g)

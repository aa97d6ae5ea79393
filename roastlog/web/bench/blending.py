"""Blending roasted coffee: several batches into one, which is then packed like a batch."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from uuid import uuid4

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import EntryRefused
from roastlog.journal.subject import BLEND, Subject
from roastlog.languages import N_, _
from roastlog.services import BlendRecord, ProductRow, Stock
from roastlog.web import services
from roastlog.web.http.forms import FIELDS, Form, who
from roastlog.web.http.security import speaker

bp = Blueprint("blending", __name__)

LEAST_PARTS = 2


@dataclass(frozen=True)
class BlendingPage:
    """Context of `bench/packing/blend.html`: loose coffee to blend, and what was typed for each."""

    stock: Stock
    products: Sequence[ProductRow]
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class OneBlend:
    """Context of `bench/packing/blended.html`."""

    record: BlendRecord
    error: str = ""


@bp.get("/blends/new")
def new() -> str:
    """The form to blend loose coffee."""
    return _form_page({"id": str(uuid4())})


@bp.post("/blends/new")
def keep() -> ResponseReturnValue:
    """Store a blend."""
    loose = services().stock.overview().loose
    typed = {f"of {one.code}": N_("Grams") for one in loose}
    form = Form(request.form, FIELDS | typed)
    grams = {one.code: form.mass_g(f"of {one.code}", "g") for one in loose}
    parts = {code: round(mass_g) for code, mass_g in grams.items() if mass_g is not None}
    if any(mass_g <= 0 for mass_g in parts.values()):
        form.errors["form"] = _("Each part must have more than 0 g. Leave out what is not in the blend.")
    elif not form.errors and len(parts) < LEAST_PARTS:
        form.errors["form"] = _("A blend needs at least two parts. Type the grams of each.")
    if form.errors:
        return _form_page(form.values, form.errors), 422
    product = form.text("product")
    try:
        made = services().packing.blend(
            parts,
            product=product,
            at_ms=services().clock.now_ms(),
            speaker=speaker(),
            ident=form.id,
            person=who() or None,
        )
    except EntryRefused as error:
        return _form_page(form.values, {"form": str(error)}), 422
    return redirect(f"/blends/{Subject.kept(str(made.about)).name}", 303)


@bp.get("/blends/<code>")
def blend(code: str) -> ResponseReturnValue:
    """A blend: its parts, what is left of it, and its packs."""
    return _blend_page(code)


@bp.post("/blends/<code>/undo")
def undo(code: str) -> ResponseReturnValue:
    """Undo an entry of a blend; without its blending, the batches have their coffee again."""
    record, form = services().packing.blend_record(code), Form(request.form)
    entry = form.values.get("entry", "")
    try:
        subject = Subject(BLEND, record.source.code)
        services().packing.undo(subject, entry, speaker(), ident=form.id, person=who() or None)
    except EntryRefused as error:
        return _blend_page(code, str(error))
    gone = record.blend.blended is not None and entry == str(record.blend.blended.id)
    return redirect("/stock" if gone else f"/blends/{record.source.code}", 303)


def _blend_page(code: str, error: str = "") -> ResponseReturnValue:
    page = OneBlend(services().packing.blend_record(code), error)
    return render_template("bench/packing/blended.html", page=page), 422 if error else 200


def _form_page(values: Mapping[str, str], errors: Mapping[str, str] | None = None) -> str:
    page = BlendingPage(services().stock.overview(), services().products.all(), values, errors or {})
    return render_template("bench/packing/blend.html", page=page)

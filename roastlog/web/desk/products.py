"""Products: their list, the page of each, and the form that composes one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final
from uuid import uuid4

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue
from pydantic import ValidationError

from roastlog.errors import EntryRefused
from roastlog.journal.kinds.sales import Composed
from roastlog.languages import N_, _
from roastlog.services import BatchSummary, Lot, ProductRecord, ProductRow
from roastlog.services.stock import ProductSum
from roastlog.web import services
from roastlog.web.http.formatting import number
from roastlog.web.http.forms import FIELDS, Form, who
from roastlog.web.http.security import speaker

bp = Blueprint("products", __name__)

PARTS: Final = 6
PACKAGINGS: Final = 3
NAMES: Final = FIELDS | {
    "bag_g": N_("Net weight"),
    "gtin": N_("GTIN"),
    "intent": N_("Purpose"),
    "loss_high": N_("Highest roast loss"),
    "loss_low": N_("Lowest roast loss"),
    **{f"share{row}": N_("Share") for row in range(PARTS)},
    **{f"days{row}": N_("Days until best before") for row in range(PACKAGINGS)},
}


@dataclass(frozen=True)
class ListPage:
    """Context of `desk/products/list.html`."""

    products: Sequence[ProductRow]
    closed: Sequence[ProductRow]


@dataclass(frozen=True)
class ProductPage:
    """Context of `desk/products/product.html`."""

    record: ProductRecord
    lots: Mapping[str, Lot]
    names: Mapping[str, str]
    stock: ProductSum | None
    form_id: str
    error: str = ""


@dataclass(frozen=True)
class EditPage:
    """Context of `desk/products/edit.html`."""

    code: str
    lots: Sequence[Lot]
    products: Sequence[ProductRow]
    guides: Sequence[BatchSummary]
    values: Mapping[str, str]
    parts: int = PARTS
    packagings: int = PACKAGINGS
    errors: Mapping[str, str] = field(default_factory=dict)


@bp.get("/products")
def products() -> str:
    """All products."""
    page = ListPage(services().products.all(), services().products.all(closed=True))
    return render_template("desk/products/list.html", page=page)


@bp.get("/products/new")
def new() -> str:
    """The form for a new product."""
    return _edit_page("", {"id": str(uuid4()), "blended": "roasted"})


@bp.post("/products/new")
def add() -> ResponseReturnValue:
    """Store a new product."""
    return _keep("")


@bp.get("/products/<code>")
def product(code: str) -> ResponseReturnValue:
    """A product: its coffee, its target, its packing, what is in stock of it, and its journal."""
    return _product_page(code)


@bp.get("/products/<code>/edit")
def edit(code: str) -> str:
    """The form that changes a product."""
    record = services().products.record(code)
    return _edit_page(code, _typed(record.facts) | {"id": str(uuid4())})


@bp.post("/products/<code>/edit")
def change(code: str) -> ResponseReturnValue:
    """Store a product as it is now."""
    services().products.record(code)
    return _keep(code)


@bp.post("/products/<code>/close")
def close(code: str) -> ResponseReturnValue:
    """Take a product off the lists."""
    record = services().products.record(code)
    try:
        services().products.close(record.code, speaker(), ident=Form(request.form).id)
    except EntryRefused as error:
        return _product_page(code, str(error))
    return redirect("/products", 303)


def _product_page(code: str, error: str = "") -> ResponseReturnValue:
    record = services().products.record(code)
    stock = next((one for one in services().stock.overview().sums if one.code == code), None)
    lots = {lot: found for part in record.facts.parts for lot in part.lots if (found := services().lots.find(lot))}
    names = {row.code: row.name for row in services().products.all()}
    page = ProductPage(record, lots, names, stock, str(uuid4()), error)
    return render_template("desk/products/product.html", page=page), 422 if error else 200


def _keep(code: str) -> ResponseReturnValue:
    form = Form(request.form, NAMES)
    facts = _composed(form)
    if facts is None or form.errors:
        return _edit_page(code, form.values, form.errors), 422
    try:
        kept = services().products.keep(code or None, facts, speaker(), ident=form.id, person=who() or None)
    except EntryRefused as error:
        return _edit_page(code, form.values, {"form": str(error)}), 422
    return redirect(f"/products/{kept}", 303)


def _composed(form: Form) -> Composed | None:
    """The product that the form describes; None where errors, which go to ``form.errors``, leave none."""
    name = form.text("name", longest=200)
    if name is None:
        form.errors.setdefault("name", _("A product needs a name."))
    parts = _parts(form)
    bag_g, darkness = form.mass_g("bag_g", "g"), form.text("darkness")
    if bag_g is not None and bag_g < 5:
        form.errors["bag_g"] = _("Type the net weight of a bag in grams, or kg after the number.")
    low, high = form.share("loss_low"), form.share("loss_high")
    if low is not None and high is not None and low > high:
        form.errors["loss_high"] = _("The highest roast loss must not be below the lowest.")
    body: dict[str, Any] = {
        "name": name,
        "parts": parts,
        "blended": form.text("blended") or "roasted",
        "intent": form.text("intent"),
        "guide": form.text("guide"),
        "development_ratio": form.share("ratio"),
        "loss_low": low,
        "loss_high": high,
        "darkness": int(darkness) if darkness and darkness.isascii() and darkness.isdigit() else None,
        "apart": form.text("apart"),
        "bag_g": None if bag_g is None else round(bag_g),
        "packagings": _packagings(form),
        "gtin": form.text("gtin"),
    }
    if form.errors:
        return None
    try:
        return Composed.model_validate({key: value for key, value in body.items() if value is not None})
    except ValidationError as error:
        fault = error.errors()[0]
        name = str(fault["loc"][0]) if fault["loc"] else "form"
        form.errors[name] = (
            _("A GTIN has 8, 12, 13 or 14 digits.")
            if name == "gtin"
            else str(fault["msg"]).removeprefix("Value error, ")
        )
        return None


def _parts(form: Form) -> list[dict[str, Any]]:
    """The parts that are chosen; those without a share have the rest in equal shares."""
    shares: dict[int, float | None] = {}
    for row in range(PARTS):
        typed = form.values.get(f"share{row}", "").removesuffix("%").strip()
        whole = typed in {"100", "100,0", "100.0"}
        share = 1.0 if whole else form.share(f"share{row}")
        if form.text(f"part{row}") is not None:
            shares[row] = share
        elif share is not None:
            form.errors[f"share{row}"] = _("Choose the lot or product of this share.")
    if not shares:
        form.errors.setdefault("parts", _("Choose at least one lot or product."))
    told = sum(share for share in shares.values() if share is not None)
    open_rows = [row for row, share in shares.items() if share is None]
    adds_up = told < 1 - 5e-4 if open_rows else abs(told - 1) <= 5e-4
    if shares and not adds_up and not form.errors:
        form.errors["parts"] = (
            _("The shares add up to {total:.4g} %, which leaves nothing for the empty one.", total=100 * told)
            if open_rows
            else _(
                "The shares add up to {total:.4g} %, not 100 %. Leave one empty, and it has the rest.", total=100 * told
            )
        )
    parts = []
    for row, share in shares.items():
        kind, _space, code = form.values[f"part{row}"].partition(" ")
        instead = form.text(f"instead{row}")
        part = {kind if kind in {"lot", "product"} else "lot": code}
        rest = (1 - told) / len(open_rows) if open_rows else 0.0
        parts.append(part | {"share": rest if share is None else share, "instead": [instead] if instead else []})
    return parts


def _packagings(form: Form) -> list[dict[str, Any]]:
    found = []
    for row in range(PACKAGINGS):
        name, days = form.text(f"packaging{row}", longest=200), form.number(f"days{row}")
        reason = form.text(f"why{row}", longest=200)
        if name is None:
            if days is not None or reason is not None:
                form.errors[f"packaging{row}"] = _("Name the packaging that this is for.")
            continue
        if days is not None and not (1 <= days <= 3650 and days == int(days)):
            form.errors[f"days{row}"] = _("Days until best before must be a whole number from 1 to 3650.")
            continue
        rule = {"name": name, "best_before_days": None if days is None else int(days), "reason": reason}
        found.append({key: value for key, value in rule.items() if value is not None})
    return found


def _typed(facts: Composed) -> dict[str, str]:
    """A product as values of the form's fields."""
    values: dict[str, Any] = facts.model_dump(
        include={"name", "blended", "intent", "guide", "darkness", "apart", "gtin"}
    )
    values |= {"bag_g": facts.bag_g, "ratio": _per_cent(facts.development_ratio)}
    values |= {"loss_low": _per_cent(facts.loss_low), "loss_high": _per_cent(facts.loss_high)}
    for row, part in enumerate(facts.parts[:PARTS]):
        values[f"part{row}"] = f"lot {part.lot}" if part.lot else f"product {part.product}"
        values[f"share{row}"] = _per_cent(part.share)
        values[f"instead{row}"] = part.instead[0] if part.instead else ""
    for row, rule in enumerate(facts.packagings[:PACKAGINGS]):
        values |= {f"packaging{row}": rule.name, f"days{row}": rule.best_before_days, f"why{row}": rule.reason}
    return {name: "" if value is None else str(value) for name, value in values.items()}


def _per_cent(share: float | None) -> str:
    return "" if share is None else number(100 * share, 1).removesuffix(".0").removesuffix(",0")


def _edit_page(code: str, values: Mapping[str, str], errors: Mapping[str, str] | None = None) -> str:
    page = EditPage(
        code=code,
        lots=services().lots.all(),
        products=[row for row in services().products.all() if row.code != code],
        guides=[batch for batch in services().batches.page().items if batch.dropped_ms is not None],
        values=values,
        errors=errors or {},
    )
    return render_template("desk/products/edit.html", page=page)

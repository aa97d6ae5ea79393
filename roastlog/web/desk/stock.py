"""Roasted coffee in stock: what to mend, sums by product, loose coffee, packs; counting and taking."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from flask import Blueprint, abort, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import EntryRefused
from roastlog.journal.subject import BATCH, BLEND, PACK, Subject
from roastlog.languages import N_, _
from roastlog.services import Stock
from roastlog.web import services
from roastlog.web.http.forms import FIELDS, Form, who
from roastlog.web.http.security import speaker

bp = Blueprint("stock", __name__)

NAMES = FIELDS | {"amount": N_("Amount")}
TAKEN = ("sample", "waste", "gift")


@dataclass(frozen=True)
class StockPage:
    """Context of `desk/stock/page.html` and `desk/stock/_list.html`. [ms UTC]"""

    stock: Stock
    now_ms: int

    def days(self, since_ms: int | None) -> int | None:
        """Whole days since a time; None if it is unknown."""
        return None if since_ms is None else max(0, (self.now_ms - since_ms) // 86_400_000)


@bp.get("/stock")
def stock() -> ResponseReturnValue:
    """All roasted coffee, loose and in packs."""
    return render_template("desk/stock/page.html", page=_page())


@bp.get("/stock/list")
def rows() -> str:
    """Only the lists, polled by the page."""
    return render_template("desk/stock/_list.html", page=_page())


@bp.get("/stock/count")
def count() -> ResponseReturnValue:
    """The form to count a stock, or to take from it."""
    return _count_page(_subject(request.args.get("about", "")))


@bp.post("/stock/say")
def say() -> ResponseReturnValue:
    """Store a count, or what was taken."""
    form = Form(request.form, NAMES)
    subject, what = _subject(form.values.get("about", "")), form.values.get("what", "")
    kind = "taken" if what in TAKEN else "counted"
    body: dict[str, Any] = _amount(form, subject, least=1 if kind == "taken" else 0)
    note = form.text("note", longest=2000)
    body |= {"note": note} if note else {}
    body |= {"why": what} if kind == "taken" else {}
    if form.errors:
        return _count_page(subject, next(iter(form.errors.values())), form.values)
    try:
        services().stock.say(subject, kind, body, speaker(), ident=form.id, person=who() or None)
    except EntryRefused as error:
        return _count_page(subject, str(error), form.values)
    return redirect(f"/packs/{subject.name}" if subject.kind == PACK else "/stock", 303)


@dataclass(frozen=True)
class CountPage:
    """Context of `desk/stock/count.html`."""

    subject: Subject
    left: int
    form_id: str
    error: str = ""
    values: Mapping[str, str] = field(default_factory=dict)


def _count_page(subject: Subject, error: str = "", values: Mapping[str, str] | None = None) -> ResponseReturnValue:
    packing = services().packing
    left = packing.record(subject.name).row.bags_left if subject.kind == PACK else packing.left_g(subject.name)
    page = CountPage(subject, left, str(uuid4()), error, values or {})
    return render_template("desk/stock/count.html", page=page), 422 if error else 200


def _subject(text: str) -> Subject:
    """The pack, batch or blend that a form is about; 404 for anything else."""
    subject = Subject.kept(text)
    if subject.kind == PACK:
        return Subject(PACK, services().packing.record(subject.name).row.code)
    if subject.kind not in {BATCH, BLEND}:
        abort(404)
    source = services().packing.source(subject.name)
    return Subject(BLEND if source.is_blend else BATCH, source.code)


def _amount(form: Form, subject: Subject, *, least: int) -> dict[str, float]:
    amount = form.number("amount") if subject.kind == PACK else form.mass_g("amount", "g")
    if amount is None:
        form.errors.setdefault("amount", _("Type how much."))
        return {}
    if amount < least or (subject.kind == PACK and amount != int(amount)):
        form.errors["amount"] = _(
            "Amount must be {least} or more, in whole bags or in grams, not “{text}”.",
            least=least,
            text=form.values["amount"],
        )
        return {}
    return {"bags": int(amount)} if subject.kind == PACK else {"grams": amount}


def _page() -> StockPage:
    return StockPage(services().stock.overview(), services().clock.now_ms())

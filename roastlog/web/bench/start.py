"""Starting a batch, and naming one that is under way or done. No field is required."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final
from uuid import uuid4

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.journal.kinds.roast import Opened
from roastlog.journal.vocabulary import UNDER_WAY
from roastlog.languages import N_, _, translate
from roastlog.services import BatchSummary, Lot, Person, Roastable
from roastlog.units import clock_text
from roastlog.web import services
from roastlog.web.http.formatting import number, page_units
from roastlog.web.http.forms import GRAMS, Form, entry, remember, who
from roastlog.web.http.security import speaker

bp = Blueprint("start", __name__)

INTENTS: Final = ("filter", "espresso", "both")
OFFLINE: Final = {
    "start": N_("Offline: a batch cannot be started here. Tap Charge on the live page; name it later."),
    "names": N_("Offline: a batch cannot be named now."),
}
FIELDS: Final = ("lot", "parts", "coffee", "product", "green_g", "intent", "plan", "guide")


@dataclass(frozen=True)
class StartPage:
    """Context of `bench/start.html`."""

    title: str
    under: str
    verb: str
    back: str
    lots: Sequence[Lot]
    guides: Mapping[str, Sequence[BatchSummary]]
    people: Sequence[Person]
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    short_of: Lot | None = None
    offered: Sequence[BatchSummary] = ()
    same_as: str | None = None
    mass_units: Sequence[str] = ("kg", "g")
    offline: str = ""
    roastable: Sequence[Roastable] = ()
    product: str = ""
    told: Sequence[str] = ()

    @property
    def parts(self) -> Sequence[tuple[str, str]]:
        """Share and lot of each green part, as the form holds them."""
        return [(share, lot) for share, lot in map(_part, self.values.get("parts", "").split("|")) if lot]

    @property
    def guide_is_older(self) -> bool:
        """Whether the chosen guide is none of the last batches."""
        guide = self.values.get("guide", "")
        return bool(guide) and all(batch.code != guide for batches in self.guides.values() for batch in batches)


@dataclass(frozen=True)
class ShortLot:
    """Context of `bench/_short.html`: a lot with less left than the batch takes, or None."""

    lot: Lot | None


@bp.get("/start")
def choose_machine() -> ResponseReturnValue:
    """The choice of a machine to start on; with only one, its form."""
    machines = services().machines.all()
    if len(machines) == 1:
        return redirect(f"/machines/{machines[0].id}/start", 303)
    return render_template("bench/choose.html", page=machines)


@bp.get("/machines/<machine_id>/start")
def start(machine_id: str) -> str:
    """The form that starts a batch, with the facts of an earlier one."""
    return _start_page(machine_id, None)


@bp.post("/machines/<machine_id>/start")
def open_batch(machine_id: str) -> ResponseReturnValue:
    """Open a batch with the facts in the form."""
    form = Form(request.form)
    facts = _facts(form)
    short_of = None if form.values.get("told") else _short_lot(form, facts.get("lot"), facts.get("green_g"))
    if form.errors or short_of:
        return _start_page(machine_id, form.values, form.errors, short_of), 422
    person = form.text("person")
    made = entry(form, "opened", facts, machine=machine_id, at_ms=services().clock.now_ms(), person=person)
    if reason := _refused(made):
        return _start_page(machine_id, form.values, {"form": reason}), 422
    return remember(redirect(f"/machines/{machine_id}", 303), person)


@bp.get("/lots/short")
def short_lot() -> str:
    """The start form's warning that the chosen lot has too little left."""
    form = Form(request.args)
    green_g = form.mass_g("green", form.values.get("green_unit", "kg"))
    return render_template("bench/_short.html", page=ShortLot(_short_lot(form, form.text("lot"), green_g)))


@bp.get("/batches/<code>/names")
def names(code: str) -> str:
    """The form to name a batch that is under way or done."""
    return _names_page(
        code, _typed(services().batches.record(code).batch.facts) | {"id": str(uuid4()), "person": who()}
    )


@bp.post("/batches/<code>/names")
def amend_names(code: str) -> ResponseReturnValue:
    """Amend the facts of a batch."""
    form, batch = Form(request.form), services().batches.record(code).batch
    facts = _facts(form)
    if form.errors:
        return _names_page(code, form.values, form.errors), 422
    known = batch.facts.model_dump(mode="json")
    change = {name: facts.get(name) for name in FIELDS if facts.get(name) != known.get(name)}
    person = form.text("person")
    if change and batch.opened:
        body = {"entry": str(batch.opened.id), "body": change}
        made = entry(
            form, "amend", body, machine=str(batch.machine), at_ms=services().clock.now_ms(), person=person, batch=code
        )
        if reason := _refused(made):
            return _names_page(code, form.values, {"form": reason}), 422
    under_way = batch.state in UNDER_WAY
    return remember(redirect(f"/machines/{batch.machine}" if under_way else f"/batches/{code}", 303), person)


def _part(text: str) -> tuple[str, str]:
    """Share and lot of a green part as the form holds it: “0.6 HU-7”."""
    share, _space, lot = text.partition(" ")
    return share, lot


def _parts(form: Form) -> list[dict[str, Any]] | None:
    """The green parts that a product gave, unless a lot was chosen instead."""
    try:
        typed = map(_part, form.values.get("parts", "").split("|"))
        parts = [{"lot": lot, "share": float(share)} for share, lot in typed if lot]
    except ValueError:
        form.errors["lot"] = _("The green parts are not readable. Choose the product again.")
        return None
    return parts or None


def _refused(made: dict[str, Any]) -> str | None:
    result = services().journal.accept([made], speaker())[0]
    return (result.reason or _("Not saved.")) if result.status == "refused" else None


def _facts(form: Form) -> dict[str, Any]:
    """The body of an `opened` entry from the form; its errors go to ``form.errors``."""
    lot = form.text("lot")
    green_g = form.mass_g("green", form.values.get("green_unit", "kg"))
    if green_g is not None and green_g <= 0:
        form.errors["green"] = _("Green weight must be more than 0. Leave it empty if unknown.")
    coffee = form.text("coffee") or next((row.coffee for row in services().lots.all() if row.code == lot), None)
    intent = form.text("intent_words") or form.text("intent")
    facts = {
        "lot": lot,
        "parts": None if lot else _parts(form),
        "coffee": coffee,
        "product": form.text("product"),
        "green_g": green_g,
        "intent": intent,
        "plan": _plan(form),
        "guide": form.text("guide"),
    }
    return {name: value for name, value in facts.items() if value is not None}


def _plan(form: Form) -> dict[str, float] | None:
    development_s, ratio = form.duration_s("development"), form.share("ratio")
    if development_s is not None and not 0 < development_s <= 1800:
        form.errors["development"] = _("Development time must be between 0:01 and 30:00; type 1:20 or 80.")
    if development_s is not None and ratio is not None:
        form.errors["ratio"] = _("Plan the time or the ratio, not both.")
    plan = {"development_s": development_s, "development_ratio": ratio}
    return {name: value for name, value in plan.items() if value is not None} or None


def _typed(facts: Opened) -> dict[str, str]:
    """The facts as values of the form's fields."""
    unit = _mass_units()[0]
    plan = facts.plan
    own_words = facts.intent not in INTENTS
    return {
        "lot": facts.lot or "",
        "parts": "|".join(f"{part.share!r} {part.lot}" for part in facts.parts or ()),
        "coffee": facts.coffee or "",
        "product": facts.product or "",
        "green": "" if facts.green_g is None else f"{facts.green_g / GRAMS[unit]:.3f}".rstrip("0").rstrip("."),
        "green_unit": unit,
        "intent": "" if own_words else facts.intent or "",
        "intent_words": (facts.intent or "") if own_words else "",
        "development": clock_text(plan.development_s) if plan and plan.development_s else "",
        "ratio": number(plan.development_ratio * 100, 1) if plan and plan.development_ratio else "",
        "guide": facts.guide or "",
    }


def _short_lot(form: Form, lot: str | None, green_g: float | None) -> Lot | None:
    """The chosen lot, if it has less left than the batch takes. [g]"""
    if lot is None or form.errors:
        return None
    wanted_g = green_g if green_g is not None else 1.0
    return next((row for row in services().lots.all() if row.code == lot and row.left_g < wanted_g), None)


def _mass_units() -> tuple[str, ...]:
    return ("lb",) if page_units().mass == "lb" else ("kg", "g")


def _start_page(
    machine_id: str,
    values: Mapping[str, str] | None,
    errors: Mapping[str, str] | None = None,
    short_of: Lot | None = None,
) -> str:
    """The start form with the typed values; without any, with those of an earlier batch."""
    machine = services().machines.get(machine_id)
    defaults = services().starting.defaults(machine_id, request.args.get("as") if values is None else "")
    same_as, chosen = None, ""
    told: Sequence[str] = ()
    if values is None:
        facts, same_as = defaults.facts, defaults.same_as
        if chosen := request.args.get("product", ""):
            filled = services().products.filled(chosen)
            facts, told, same_as = filled.facts.model_copy(update={"green_g": facts.green_g}), filled.told, None
        values = _typed(facts) | {"id": str(uuid4()), "person": who()}
        short_of = _short_lot(Form({}), facts.lot, facts.green_g)
    page = StartPage(
        title=_("Start a batch"),
        under=machine.name,
        verb=_("Start"),
        back=f"/machines/{machine_id}",
        lots=services().lots.all(),
        guides=_guides(),
        people=services().people.all(),
        values=values,
        errors=errors or {},
        short_of=short_of,
        offered=defaults.offered,
        same_as=same_as,
        mass_units=_mass_units(),
        offline=translate(OFFLINE["start"]),
        roastable=services().products.roastable(),
        product=chosen,
        told=told,
    )
    return render_template("bench/start.html", page=page)


def _names_page(code: str, values: Mapping[str, str], errors: Mapping[str, str] | None = None) -> str:
    page = StartPage(
        title=_("Name {code}", code=code),
        under="",
        verb=_("Save"),
        back=f"/batches/{code}",
        lots=services().lots.all(),
        guides=_guides(without=code),
        people=services().people.all(),
        values=values,
        errors=errors or {},
        mass_units=_mass_units(),
        offline=translate(OFFLINE["names"]),
    )
    return render_template("bench/start.html", page=page)


def _guides(*, without: str = "") -> dict[str, list[BatchSummary]]:
    """The last batches dropped, by coffee; a batch is no guide for itself."""
    guides: dict[str, list[BatchSummary]] = {}
    for batch in services().batches.page().items:
        if batch.dropped_ms is not None and batch.code != without:
            guides.setdefault(batch.title, []).append(batch)
    return guides

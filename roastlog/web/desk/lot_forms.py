"""Entries about a green lot: its arrival, checks, decision, counts, what is taken, its end, and corrections."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Final
from uuid import uuid4

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import EntryRefused
from roastlog.journal.kinds.green import MAX_LOT_G
from roastlog.journal.vocabulary import DEFECT_WORDS, Defect
from roastlog.languages import N_, _, decimal
from roastlog.quality.green import BEANS_PER_FULL_DEFECT, FIRST_CATEGORY, SECOND_CATEGORY, density_g_l
from roastlog.services import LotLine
from roastlog.web import services
from roastlog.web.desk.lot_facts import (
    Fact,
    ask_about_mass,
    check_together,
    form_of,
    groups,
    shown,
    typed,
    within,
)
from roastlog.web.desk.lots import address, lot_page
from roastlog.web.http.formatting import kilos, number, page_units
from roastlog.web.http.forms import FIELDS, Form, ask_once, entry_id, remember, who
from roastlog.web.http.security import may, speaker

bp = Blueprint("lot_forms", __name__)

TAKEN: Final = {
    "sample": N_("Sample"),
    "waste": N_("Waste"),
    "gift": N_("Gift"),
    "returned": N_("Back to the supplier"),
}
CHECKED: Final[Mapping[str, tuple[str, float, float]]] = {
    "moisture_percent": (N_("Moisture"), 0, 100),
    "water_activity": (N_("Water activity"), 0, 1),
    "density_mass": (N_("Weight in the measure"), 0, 20_000),
    "volume_ml": (N_("Volume of the measure"), 0, 10_000),
    "screen": (N_("Screen"), 8, 22),
    "screen_percent": (N_("At or above that screen"), 0, 100),
    "screen_ordered_percent": (N_("As ordered"), 0, 100),
    "sample_g": (N_("Sample for defects"), 1, 10_000),
    "quakers": (N_("Quakers"), 0, 1000),
}
WHOLE: Final = frozenset({"screen", "quakers"})
RESERVED: Final = frozenset(
    {"", ".", "..", "new", "closed", "short", "change", "check", "close", "count", "decide", "files", "label"}
    | {"label.pdf", "take", "undo"}
)
"""Parts of a lot's code that would make its address that of another page, or of none."""
OTHER_FIELDS: Final = {
    **{name: label for name, (label, _low, _high) in CHECKED.items()},
    "counted": N_("Counted weight"),
    "taken": N_("Weight"),
}


@dataclass(frozen=True)
class FactsPage:
    """Context of `desk/lots/facts.html`: the form of a new lot, or of corrections to one."""

    code: str
    here: str
    unit: str
    form_id: str
    groups: Mapping[str, Collection[Fact]]
    values: Mapping[str, str]
    was: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class LotFormPage:
    """Context of `desk/lots/check.html`, `count.html` and `take.html`; ``says`` is the change by a count.

    ``seen`` are the two weights of that change, so that a count is saved only as it was shown.
    """

    line: LotLine
    here: str
    unit: str
    form_id: str
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    says: str = ""
    seen: str = ""
    taken: Mapping[str, str] = field(default_factory=lambda: TAKEN)
    fields: Mapping[str, tuple[str, float, float]] = field(default_factory=lambda: CHECKED)
    categories: tuple[Collection[str], ...] = (FIRST_CATEGORY, SECOND_CATEGORY)
    beans: Mapping[Defect, int] = field(default_factory=lambda: BEANS_PER_FULL_DEFECT)


@bp.get("/lots/new")
def new() -> str:
    """The form of a lot that arrived."""
    return _facts_page("", {"arrived": services().green.today().isoformat()})


@bp.post("/lots/new")
def receive() -> ResponseReturnValue:
    """Enter the arrival of a lot."""
    form = form_of(request.form)
    names = [fact.name for group in groups(prices=may("own")).values() for fact in group]
    body = typed(form, names, page_units().mass, services().green.today())
    check_together(form, body)
    code = form.text("code")
    if code is None:
        form.errors.setdefault("code", _("Lot code is required."))
    elif RESERVED & set(code.split("/")):
        form.errors["code"] = _("“{code}” makes no address of its own. Choose another code.", code=code)
    if not form.errors and code is not None:
        body = _without_empty(body)
        ident, person = entry_id(form, "arrived", body | {"code": code}), who() or None
        try:
            services().green.receive(code, body, speaker(), ident=ident, person=person)
        except EntryRefused as refused:
            form.errors["code"] = str(refused)
        else:
            return redirect(address(code), 303)
    return _facts_page("", form.values, errors=form.errors), 422


@bp.get("/lots/<path:lot>/change")
def change(lot: str) -> str:
    """The form to correct the facts of a lot."""
    facts = services().green.folded(lot).facts
    assert facts is not None  # noqa: S101 - `folded` refuses a lot without
    was = shown(facts, page_units().mass)
    return _facts_page(lot, was, was)


@bp.post("/lots/<path:lot>/change")
def keep_change(lot: str) -> ResponseReturnValue:
    """Correct the facts that the form changed; a fact that someone else changed meanwhile is asked about."""
    folded, form, unit = services().green.folded(lot), form_of(request.form), page_units().mass
    assert folded.facts is not None and folded.arrived is not None  # noqa: PT018, S101 - as in `change`
    now = shown(folded.facts, unit)
    names = [fact.name for group in groups(prices=may("own")).values() for fact in group]
    was = {name: form.values.get(f"was-{name}", now[name]) for name in names}
    touched = [name for name in names if form.values.get(name, was[name]) != was[name]]
    body = typed(form, touched, unit, services().green.today())
    check_together(form, folded.facts.model_dump() | body)
    for name in touched:
        if now[name] not in {was[name], form.values[name]}:
            form.errors.setdefault(
                name, _("Changed meanwhile to “{value}”. Save again to replace it.", value=now[name])
            )
    changed = {name: value for name, value in body.items() if value != getattr(folded.facts, name)}
    reason = form.text("reason", longest=2000)
    if changed and reason is None:
        form.errors.setdefault("reason", _("Say why: the reason stays in the journal."))
    if form.errors:
        values = {**form.values, **{name: now[name] for name in names if name not in touched}}
        return _facts_page(lot, values, now, form.errors), 422
    if not changed:
        return redirect(address(lot), 303)
    return _say(lot, form, "amend", {"entry": str(folded.arrived.id), "body": changed, "reason": reason})


@bp.get("/lots/<path:lot>/check")
def check(lot: str) -> str:
    """The form of a check."""
    measured = services().green.folded(lot).measured
    kept = {} if measured is None else measured.model_dump(include={"volume_ml", "screen", "screen_ordered_percent"})
    values = {name: decimal(f"{value:g}") for name, value in kept.items() if value is not None}
    return _form_page("check", lot, {"sample_g": "350", **values})


@bp.post("/lots/<path:lot>/check")
def keep_check(lot: str) -> ResponseReturnValue:
    """Enter a check."""
    form = _form()
    body = _checked(form)
    if not form.errors and not body:
        form.errors["moisture_percent"] = _("A check needs at least one figure or a note.")
    if form.errors:
        return _form_page("check", lot, form.values, form.errors), 422
    return _say(lot, form, "checked", body)


@bp.post("/lots/<path:lot>/decide")
def decide(lot: str) -> ResponseReturnValue:
    """Accept, hold or reject a lot."""
    form = _form()
    decision, reason = form.values.get("decision", ""), form.text("reason", longest=2000)
    if decision in {"hold", "reject"} and reason is None:
        return lot_page(lot, _("Say why: a lot is held or rejected for a reason."), form.values)
    return _say(lot, form, "decided", {"decision": decision, "reason": reason})


@bp.get("/lots/<path:lot>/count")
def count(lot: str) -> str:
    """The form of a stock count."""
    return _form_page("count", lot, {})


@bp.post("/lots/<path:lot>/count")
def keep_count(lot: str) -> ResponseReturnValue:
    """Show what a count changes, and store it once that was seen."""
    form, unit = _form(), page_units().mass
    counted_g, books_g = form.mass_g("counted", unit, most_g=MAX_LOT_G), services().green.balance_g(lot)
    line = _line(lot)
    if counted_g is None:
        form.errors.setdefault("counted", _("Weigh what is there, and type its weight; 0 for nothing."))
    elif counted_g < 0:
        form.errors["counted"] = _("A scale shows no less than 0.")
    else:
        most_g = 3 * max(line.lot.bought_g, books_g, 1000)
        least_g = 0 if counted_g == 0 else max(books_g, 0) / 100
        ask_about_mass(form, "counted", counted_g, unit, least_g=least_g, most_g=most_g)
    note = form.text("note", longest=2000)
    if form.errors or counted_g is None:
        return _form_page("count", lot, form.values, form.errors), 422
    seen = f"{books_g} {counted_g:.0f}"
    if form.values.get("seen") != seen:
        return _form_page("count", lot, form.values, says=_difference(books_g, round(counted_g)), seen=seen)
    return _say(lot, form, "counted", {"grams": counted_g, "note": note})


@bp.get("/lots/<path:lot>/take")
def take(lot: str) -> str:
    """The form of what is taken and not roasted."""
    return _form_page("take", lot, {"why": "sample"})


@bp.post("/lots/<path:lot>/take")
def keep_take(lot: str) -> ResponseReturnValue:
    """Enter what is taken."""
    form, books_g = _form(), services().green.balance_g(lot)
    taken_g, note = form.mass_g("taken", "g", most_g=MAX_LOT_G), form.text("note", longest=2000)
    if taken_g is None or taken_g <= 0:
        form.errors.setdefault("taken", _("Weight is required."))
    elif taken_g > max(books_g, 0):
        doubt = _(
            "{taken} are more than the {left} in stock. Correct it, or save again: the stock is then below 0.",
            taken=_mass(taken_g),
            left=_mass(books_g),
        )
        ask_once(form, "taken", doubt)
    if form.errors:
        return _form_page("take", lot, form.values, form.errors), 422
    return _say(lot, form, "taken", {"grams": taken_g, "why": form.values.get("why", ""), "note": note})


@bp.post("/lots/<path:lot>/close")
def close(lot: str) -> ResponseReturnValue:
    """Close a lot that is used up or given up."""
    form = _form()
    return _say(lot, form, "closed", {"reason": form.text("reason", longest=2000)})


@bp.post("/lots/<path:lot>/undo")
def undo(lot: str) -> ResponseReturnValue:
    """Undo an entry about a lot; undoing an undo restores it."""
    form = _form()
    return _say(lot, form, "undo", {"entry": form.values.get("entry", "")})


def _say(lot: str, form: Form, kind: str, body: Mapping[str, Any]) -> ResponseReturnValue:
    """Store one entry about a lot, then show its page."""
    if form.errors:
        return lot_page(lot, next(iter(form.errors.values())), form.values)
    body, person = _without_empty(body), who() or None
    try:
        services().green.say(lot, kind, body, speaker(), ident=entry_id(form, kind, body), person=person)
    except EntryRefused as refused:
        return lot_page(lot, str(refused), form.values)
    return remember(redirect(address(lot), 303), person)


def _form() -> Form:
    return Form(request.form, FIELDS | OTHER_FIELDS | DEFECT_WORDS)


def _line(lot: str) -> LotLine:
    """The lot of a form; raises NoSuchLot, also for one whose arrival was undone."""
    services().green.folded(lot)
    house = services().green.house()
    return next(line for line in (*house.lines, *house.closed) if line.lot.code == lot)


def _checked(form: Form) -> dict[str, Any]:
    """The body of a check; its errors go to ``form.errors``."""
    typed = {name: within(form, name, low, high, _(label)) for name, (label, low, high) in CHECKED.items()}
    for name in WHOLE:
        if (value := typed[name]) is not None:
            typed[name] = round(value)
    mass_g, volume_ml = typed.pop("density_mass"), typed["volume_ml"]
    body: dict[str, Any] = {**typed, "volume_ml": None}
    if mass_g is not None:
        if not mass_g or not volume_ml:
            name = "volume_ml" if mass_g else "density_mass"
            form.errors.setdefault(
                name, _("Density is more than 0: type the weight that fills the measure, and the measure's volume.")
            )
        else:
            body |= {"density_g_l": round(density_g_l(mass_g, volume_ml), 1), "volume_ml": volume_ml}
    defects = {}
    for kind, label in DEFECT_WORDS.items():
        beans = within(form, f"defect-{kind}", 0, 10_000, _(label))
        if beans:
            defects[kind] = round(beans)
    counted = bool(defects) or "no_defects" in form.values
    if counted:
        body["defects"] = defects
    else:
        body["sample_g"] = None
    if typed["screen_percent"] is None:
        body |= {"screen": None, "screen_ordered_percent": None}
    return _without_empty({**body, "note": form.text("note", longest=2000)})


def _difference(books_g: int, counted_g: int) -> str:
    """The change that a count makes, in words."""
    books, counted, change = _mass(books_g), _mass(counted_g), _mass(abs(counted_g - books_g))
    if counted_g == books_g:
        return _("The books say {books}, and so do you.", books=books)
    if counted_g < books_g:
        return _(
            "The books say {books}; you counted {counted}: {change} less.", books=books, counted=counted, change=change
        )
    return _(
        "The books say {books}; you counted {counted}: {change} more.", books=books, counted=counted, change=change
    )


def _mass(mass_g: float) -> str:
    """A mass to ten grams, as a platform scale shows it."""
    units = page_units()
    return f"{number(mass_g / 1000, 2)}\u00a0kg" if units.mass == "kg" else kilos(mass_g, units)


def _without_empty(body: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in body.items() if value is not None}


def _facts_page(
    code: str,
    values: Mapping[str, str],
    was: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> str:
    here = address(code) if code else "/lots"
    page = FactsPage(
        code,
        here,
        page_units().mass,
        values.get("id") or str(uuid4()),
        groups(prices=may("own")),
        values,
        was or {},
        errors or {},
    )
    return render_template("desk/lots/facts.html", page=page)


def _form_page(
    name: str,
    lot: str,
    values: Mapping[str, str],
    errors: Mapping[str, str] | None = None,
    says: str = "",
    seen: str = "",
) -> str:
    ident = values.get("id") or str(uuid4())
    page = LotFormPage(_line(lot), address(lot), page_units().mass, ident, values, errors or {}, says, seen)
    return render_template(f"desk/lots/{name}.html", page=page)

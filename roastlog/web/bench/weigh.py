"""Weighing out a batch, for one thumb: its weight, its release, then its label."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Self
from uuid import uuid4

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.journal.vocabulary import COOLED_MS
from roastlog.languages import _
from roastlog.quality.loss import Band, LossAssessment, assess_loss
from roastlog.services import BatchSummary, Person
from roastlog.web import services
from roastlog.web.http.formatting import mass, page_units
from roastlog.web.http.forms import GRAMS, Form, entry, remember, who
from roastlog.web.http.security import speaker

bp = Blueprint("weigh", __name__)


@dataclass(frozen=True)
class LossScale:
    """A bar of roast losses with the usual band and this batch, in per cent of its length."""

    band: Band
    start: float
    end: float
    mark: float | None

    @classmethod
    def of(cls, band: Band, loss: float | None) -> Self:
        """A bar around the band, three times as wide; a loss beyond it is marked at its end."""
        width = band.high - band.low
        start, end = max(0.0, band.low - width), band.high + width
        mark = None if loss is None else 100 * min(1.0, max(0.0, (loss - start) / (end - start)))
        return cls(band, start, end, mark)

    @property
    def left(self) -> float:
        """Start of the usual band. [%]"""
        return 100 * (self.band.low - self.start) / (self.end - self.start)

    @property
    def width(self) -> float:
        """Width of the usual band. [%]"""
        return 100 * (self.band.high - self.band.low) / (self.end - self.start)


@dataclass(frozen=True)
class WeighPage:
    """Context of `bench/weigh.html`."""

    batch: BatchSummary
    unit: str
    unit_g: float
    people: Sequence[Person]
    values: Mapping[str, str]
    loss: float | None
    judgement: LossAssessment | None
    scale: LossScale | None
    cooling: bool
    now_ms: int
    errors: Mapping[str, str] = field(default_factory=dict)


@bp.get("/weigh")
def choose_batch() -> ResponseReturnValue:
    """The choice of a batch to weigh; with only one, its form."""
    waiting = services().today.unweighed(request.args.get("page", 1, type=int))
    if waiting.total == 1:
        return redirect(f"/batches/{waiting.items[0].code}/weigh", 303)
    return render_template("bench/waiting.html", page=waiting)


@bp.get("/taste")
def taste() -> str:
    """The choice of a batch to taste; tasting notes go into its record."""
    return render_template("bench/taste.html", page=services().today.recent())


@bp.get("/batches/<code>/weigh")
def weigh(code: str) -> str:
    """The form to weigh out a batch."""
    values = {"id": str(uuid4()), "person": who()}
    return _weigh_page(code, values)


@bp.post("/batches/<code>/weigh")
def keep_weight(code: str) -> ResponseReturnValue:
    """Store the weight, and the release where it was chosen."""
    form, batch = Form(request.form), services().batches.summary(code)
    entered = _weigh_out(form, batch)
    if not form.errors:
        entries = [
            entry(
                form,
                kind,
                body,
                machine=batch.machine,
                at_ms=services().clock.now_ms(),
                person=form.text("person"),
                batch=code,
            )
            for kind, body in entered
        ]
        results = services().journal.accept(entries, speaker())
        refused = [result.reason for result in results if result.status == "refused"]
        if refused:
            form.errors["form"] = " ".join(reason for reason in refused if reason)
    if form.errors:
        return _weigh_page(code, form.values, form.errors), 422
    next_page = f"/batches/{code}/label#print" if form.values.get("then") == "release" else f"/batches/{code}"
    return remember(redirect(next_page, 303), form.text("person"))


def _weigh_out(form: Form, batch: BatchSummary) -> list[tuple[str, dict[str, Any]]]:
    """Kind and body of each entry from the form; its errors go to ``form.errors``."""
    unit = _scale_unit()
    roasted_g, removed_g = form.mass_g("roasted", unit), form.mass_g("removed", unit)
    note = form.text("note", longest=2000)
    if "roasted" not in form.errors and (roasted_g is None or roasted_g <= 0):
        form.errors["roasted"] = _("Roasted weight must be more than 0.")
    elif roasted_g is not None and batch.green_g is not None and roasted_g > batch.green_g:
        form.errors["roasted"] = _(
            "Roasted weight must be at most the green weight {green}, not {roasted}. Check the scale and the "
            "container, or correct the green weight first.",
            roasted=mass(roasted_g, page_units()),
            green=mass(batch.green_g, page_units()),
        )
    if roasted_g is not None and removed_g is not None and not 0 <= removed_g <= roasted_g:
        form.errors["removed"] = _("Defects must be between 0 and the roasted weight.")
    entries: list[tuple[str, dict[str, Any]]] = [("weighed", {"roasted_g": roasted_g, "removed_g": removed_g})]
    if note:
        entries.append(("note", {"text": note}))
    if form.values.get("then") == "release":
        entries.append(("released", {"decision": "release"}))
    return entries


def _weigh_page(code: str, values: Mapping[str, str], errors: Mapping[str, str] | None = None) -> str:
    batch, unit, now_ms = services().batches.summary(code), _scale_unit(), services().clock.now_ms()
    band = services().batches.usual_loss(batch.coffee, but=batch.code)
    loss = batch.roast_loss
    page = WeighPage(
        batch=batch,
        unit=unit,
        unit_g=GRAMS[unit],
        people=services().people.all(),
        values=values,
        loss=loss,
        judgement=None if loss is None else assess_loss(loss, band),
        scale=LossScale.of(band, loss) if band else None,
        cooling=batch.dropped_ms is not None and now_ms - batch.dropped_ms < COOLED_MS,
        now_ms=now_ms,
        errors=errors or {},
    )
    return render_template("bench/weigh.html", page=page)


def _scale_unit() -> str:
    """Unit of the roastery's scale: g or lb."""
    return "lb" if page_units().mass == "lb" else "g"

"""Settings, people, and the page More."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import SettingError
from roastlog.languages import N_, _, decimal
from roastlog.machine.model import Machine
from roastlog.services import Person, Settings
from roastlog.services.curve_settings import AREA, CURVE_SETTINGS, FAULTS, PROBE, CurveSetting
from roastlog.web import services
from roastlog.web.http.formatting import page_units
from roastlog.web.http.forms import FIELDS, Form
from roastlog.web.http.security import speaker

bp = Blueprint("settings", __name__)

TEXTS: Final = ("business", "url_base", "quick_notes", "units_temp", "units_mass")
SWITCHES: Final = {
    "bag_shows_weights": N_("Weights: green and roasted, and the loss"),
    "bag_shows_people": N_("Who roasted it, by the name that they chose for bags"),
    "bag_shows_photos": N_("Photos of its trier checks, with their time and colour"),
}
CURVE: Final[Mapping[str, Mapping[str, CurveSetting]]] = {
    "": AREA,
    N_("Curve warning limits"): FAULTS,
    N_("Probe warning limits"): PROBE,
}


@dataclass(frozen=True)
class SettingsPage:
    """Context of `owner/settings/page.html`."""

    values: Mapping[str, Any]
    people: Sequence[Person]
    kept: bool = False
    error: str = ""
    errors: Mapping[str, str] = field(default_factory=dict)
    unit: str = "C"
    switches: Mapping[str, str] = field(default_factory=lambda: SWITCHES)
    curve: Mapping[str, Mapping[str, CurveSetting]] = field(default_factory=lambda: CURVE)


@dataclass(frozen=True)
class MorePage:
    """Context of `owner/settings/more.html`."""

    machines: Sequence[Machine]


@bp.get("/settings")
def settings() -> str:
    """The settings page."""
    return _settings_page(_shown(), kept="kept" in request.args)


@bp.post("/settings")
def save() -> ResponseReturnValue:
    """Store the settings of the form, all or none."""
    form = Form(request.form, FIELDS | {name: item.label for name, item in CURVE_SETTINGS.items()})
    values = _typed(form)
    error = " ".join(form.errors.values())
    if not error:
        try:
            services().settings.change(values, speaker())
        except SettingError as refused:
            error = str(refused)
    if error:
        shown = {**_shown(), **values, **{name: form.values.get(name, "") for name in CURVE_SETTINGS}}
        return _settings_page(shown, error=error, errors=form.errors, unit=_typed_in(form)), 422
    return redirect("/settings?kept", 303)


def _shown() -> dict[str, Any]:
    """The settings as shown on the page, those of the curve in its unit."""
    kept = asdict(services().settings.current())
    unit = kept["units_temp"]
    return kept | {name: decimal(f"{item.shown(kept[name], unit):g}") for name, item in CURVE_SETTINGS.items()}


def _typed(form: Form) -> dict[str, Any]:
    """The settings of the form; its errors go to ``form.errors``."""
    values: dict[str, Any] = {name: form.text(name, longest=200) or "" for name in TEXTS}
    values |= {name: name in form.values for name in SWITCHES}
    values["best_before_days"] = round(form.number("best_before_days") or 0)
    lead_days = form.number("green_lead_days")
    if lead_days is not None:
        values["green_lead_days"] = round(lead_days)
    unit = _typed_in(form)
    for name, item in CURVE_SETTINGS.items():
        typed = form.number(name)
        if typed is not None:
            values[name] = item.kept(typed, unit)
        elif not form.values.get(name, "left out"):  # an emptied field restores the default
            values[name] = getattr(Settings(), name)
    return values


def _typed_in(form: Form) -> str:
    """The unit in which the form was shown; the form itself may change the unit."""
    shown = form.values.get("shown_in", "")
    return shown if shown in {"C", "F"} else page_units().temp


@bp.post("/people")
def add_person() -> ResponseReturnValue:
    """Add a person, or change the name that bags may show."""
    form = Form(request.form)
    name, shown = form.text("name"), form.text("shown")
    if name is None or form.errors:
        error = next(iter(form.errors.values()), _("Name is required."))
        return _settings_page(_shown(), error=error), 422
    services().people.add(name, shown or name.split()[0], speaker())
    return redirect("/settings#people", 303)


@bp.get("/more")
def more() -> str:
    """The page More, with links to everything less common."""
    return render_template("owner/settings/more.html", page=MorePage(services().machines.all()))


def _settings_page(
    values: Mapping[str, Any],
    *,
    kept: bool = False,
    error: str = "",
    errors: Mapping[str, str] | None = None,
    unit: str | None = None,
) -> str:
    page = SettingsPage(values, services().people.all(), kept, error, errors or {}, unit or page_units().temp)
    return render_template("owner/settings/page.html", page=page)

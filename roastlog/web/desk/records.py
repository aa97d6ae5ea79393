"""Records, for the desk: the list, the search by code, and the record of one batch."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, NamedTuple
from urllib.parse import quote
from uuid import UUID, uuid4

from flask import Blueprint, Response, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.curve.faults.detection import DECLINING_RATE, TITLES, CurveFault, describe_fault
from roastlog.curve.phases import phase_at
from roastlog.errors import CodeError, EntryRefused, NoSuchBatch
from roastlog.journal.vocabulary import MOMENT_LABELS, MOMENTS
from roastlog.journal.wording import FLAG_WORDS
from roastlog.languages import N_, _
from roastlog.services import Analysis, BatchSummary, LogLine, PackRow, Page, Record
from roastlog.services.curve_settings import CURVE_SETTINGS
from roastlog.web import services
from roastlog.web.desk.forecast_review import forecast_review_page
from roastlog.web.desk.trace import ENDS
from roastlog.web.http.formatting import HARD_SPACE, page_units
from roastlog.web.http.forms import Form, entry, remember, who
from roastlog.web.http.security import speaker

bp = Blueprint("records", __name__)

DECISIONS: Final = {"release": N_("Release"), "hold": N_("Hold"), "reject": N_("Reject")}
SHIFTS_S: Final = (-15, -10, -5, 5, 10)
CURVES: Final = {  # label of the switch over the curve, and the caption under it
    "smooth": (N_("Smoothed"), N_("Bean temperatures and rates as smoothed after the drop.")),
    "live": (N_("Live"), N_("Bean temperatures and rates as on the live page.")),
    "both": (N_("Both"), N_("Lines: smoothed after the drop. Fine dots: as on the live page.")),
}


@dataclass(frozen=True)
class ListPage:
    """Context of `desk/records/list.html` and `desk/records/_list.html`."""

    found: Page
    query: str
    practice: Sequence[str] = ()
    with_practice: bool = False


@dataclass(frozen=True)
class FindPage:
    """Context of `desk/records/find.html`: the text typed, and why it found no batch."""

    code: str = ""
    error: str = ""


@dataclass(frozen=True)
class Group:
    """Lines of the journal under one title."""

    title: str
    lines: Sequence[LogLine]


class FaultText(NamedTuple):
    """A curve fault in words. [s from charge]"""

    title: str
    fault: CurveFault
    sentence: str


@dataclass(frozen=True)
class RecordPage:
    """Context of `desk/records/record.html`."""

    record: Record
    analysis: Analysis
    faults: Sequence[FaultText]
    groups: Sequence[Group]
    aroma: Mapping[str, Sequence[LogLine]]
    form_id: str
    person: str
    photos: frozenset[str] = frozenset()
    charged_with: Sequence[BatchSummary] = ()
    left_g: int = 0
    became: Mapping[str, int] = field(default_factory=dict)
    packed: Mapping[str, PackRow] = field(default_factory=dict)
    decisions: Mapping[str, str] = field(default_factory=lambda: DECISIONS)
    flags: Mapping[str, str] = field(default_factory=lambda: FLAG_WORDS)
    shifts_s: Sequence[int] = SHIFTS_S
    moments: Mapping[str, str] = field(default_factory=lambda: {name: MOMENT_LABELS[name] for name in MOMENTS})
    curves: Mapping[str, tuple[str, str]] = field(default_factory=lambda: CURVES)
    declining: str = DECLINING_RATE
    unit: str = "C"
    error: str = ""

    @property
    def missing(self) -> str | None:
        """First crack, if the batch was dropped and nobody marked it; or the moment that a link asks for."""
        asked, marked = request.args.get("add", ""), self.record.batch.moments
        if asked in self.moments:
            return asked
        return "first_crack" if "drop" in marked and "first_crack" not in marked else None

    @property
    def area_base(self) -> str:
        """Base of the areas under the curve, in the page's unit."""
        base = CURVE_SETTINGS["area_base_c"].shown(self.record.measures.area_base_c, self.unit)
        return f"{base:g}{HARD_SPACE}°{self.unit}"


@bp.get("/batches")
def batches() -> str:
    """All batches, newest first, with a search."""
    return render_template("desk/records/list.html", page=_found())


@bp.get("/batches/found")
def found() -> str:
    """Only the list, for the search field."""
    return render_template("desk/records/_list.html", page=_found())


@bp.get("/find")
def find() -> ResponseReturnValue:
    """Redirect from a code to its record or its lot; any other text is searched for in the list."""
    typed = request.args.get("code", "").strip()
    if not typed:
        return render_template("desk/records/find.html", page=FindPage())
    lot = services().lots.scanned(typed)
    if lot is not None:
        return redirect(f"/lots/{quote(lot)}", 303)
    try:
        return redirect(f"/batches/{services().batches.summary(typed).code}", 303)
    except (CodeError, NoSuchBatch) as error:
        if not isinstance(error, NoSuchBatch) and services().batches.page(query=typed).total:
            return redirect(f"/batches?q={quote(typed)}", 303)
        is_code = any(character.isdigit() for character in typed)
        reason = _("No batch has “{query}” in its code, coffee, lot or purpose.", query=typed)
        page = FindPage(typed, str(error) if is_code else reason)
        return render_template("desk/records/find.html", page=page), 404


@bp.get("/batches/<code>")
def record(code: str) -> ResponseReturnValue:
    """The record of a batch."""
    return _record_page(code)


@bp.get("/batches/<code>/figure.json")
def figure(code: str) -> Response:
    """The figure of a batch, for static/js/desk/record.js to embed."""
    drawing = services().figures.record(code, temp_unit=page_units().temp)
    return Response(drawing.json(), mimetype="application/json")


@bp.get("/batches/<code>/small.svg")
def small_curve(code: str) -> Response:
    """The bean curve of a batch in small, for a row of the list."""
    return Response(services().figures.small(code), mimetype="image/svg+xml")


@bp.get("/batches/<code>/outlook")
def outlook(code: str) -> str:
    """The forecast errors of a batch: a fragment for its record, else a page of its own."""
    part = "HX-Request" in request.headers
    page = forecast_review_page(services().analysis.forecast_review(code))
    return render_template("desk/records/_outlook.html" if part else "desk/records/outlook.html", page=page)


@bp.post("/batches/<code>/undo")
def undo(code: str) -> ResponseReturnValue:
    """Undo an entry; undoing an undo restores it."""
    form = Form(request.form)
    return _say(code, form, "undo", {"entry": form.values.get("entry", "")})


@bp.post("/batches/<code>/shift")
def shift(code: str) -> ResponseReturnValue:
    """Shift an entry to earlier or later than its tap."""
    form = Form(request.form)
    return _say(code, form, "shift", {"entry": form.values.get("entry", ""), "by_s": form.number("by_s")})


@bp.post("/batches/<code>/move")
def move(code: str) -> ResponseReturnValue:
    """Shift an entry to a typed time."""
    form, record = Form(request.form), services().batches.record(code)
    line = next((line for line in record.batch.lines if str(line.id) == form.values.get("entry")), None)
    if line is None:
        return _record_page(code, _("This entry is not in this batch."))
    at_ms = _typed_ms(form, record)
    if at_ms is None or at_ms == line.at_ms:
        return _record_page(code, form.errors.get("time", "")) if form.errors else redirect(f"/batches/{code}", 303)
    return _say(code, form, "shift", {"entry": str(line.id), "by_s": (at_ms - line.at_ms) / 1000})


@bp.post("/batches/<code>/add")
def add(code: str) -> ResponseReturnValue:
    """Add a moment that nobody marked, or a note, at a typed time."""
    form, record = Form(request.form), services().batches.record(code)
    at_ms, said = _typed_ms(form, record), form.values.get("what", "")
    if said == "note":
        return _say(code, form, "note", {"text": form.text("text", longest=2000)}, at_ms=at_ms)
    return _say(code, form, "moment", {"moment": said}, at_ms=at_ms)


@bp.post("/batches/<code>/note")
def note(code: str) -> ResponseReturnValue:
    """Add a note, whatever the state of the batch."""
    form = Form(request.form)
    return _say(code, form, "note", {"text": form.text("text", longest=2000)})


@bp.post("/batches/<code>/decision")
def decide(code: str) -> ResponseReturnValue:
    """Release, hold or reject a batch."""
    form = Form(request.form)
    body = {"decision": form.values.get("decision", ""), "reason": form.text("reason", longest=2000)}
    return _say(code, form, "released", body)


@bp.post("/batches/<code>/split")
def split(code: str) -> ResponseReturnValue:
    """Split off the batch that was begun on a second device."""
    try:
        new = services().journal.split(code, UUID(request.form.get("entry", "")), speaker())
    except (EntryRefused, ValueError) as error:
        return _record_page(code, str(error))
    return redirect(f"/batches/{new}", 303)


@bp.post("/batches/<code>/merge")
def merge(code: str) -> ResponseReturnValue:
    """Merge a batch into another one that was in the drum at the same time."""
    into = services().batches.summary(request.form.get("into", "")).code
    try:
        services().journal.merge(code, into, speaker())
    except EntryRefused as error:
        return _record_page(code, str(error))
    return redirect(f"/batches/{into}", 303)


@bp.get("/batches/<code>/withdraw")
def ask_to_withdraw(code: str) -> ResponseReturnValue:
    """The page that explains the withdrawal of a batch's code, which cannot be undone."""
    return render_template("desk/records/withdraw.html", page=services().batches.summary(code))


@bp.post("/batches/<code>/withdraw")
def withdraw(code: str) -> ResponseReturnValue:
    """Give a batch a new code for its bags; printed codes no longer work."""
    services().bags.withdraw_code(code)
    return redirect(f"/batches/{code}/label", 303)


def _typed_ms(form: Form, record: Record) -> int | None:
    batch = record.batch
    charge = batch.moments.get("charge")
    opened_ms = batch.opened.at_ms if batch.opened else services().clock.now_ms()
    return form.moment_ms("time", None if charge is None else charge.at_ms, opened_ms)


def _say(code: str, form: Form, kind: str, body: Mapping[str, Any], *, at_ms: int | None = None) -> ResponseReturnValue:
    """Store one entry about a batch, now or at a time, then show its record. [ms UTC]"""
    if form.errors:
        return _record_page(code, next(iter(form.errors.values())))
    machine = services().batches.summary(code).machine
    made = entry(
        form,
        kind,
        body,
        machine=machine,
        at_ms=services().clock.now_ms() if at_ms is None else at_ms,
        person=form.text("person") or who(),
        batch=code,
    )
    result = services().journal.accept([made], speaker())[0]
    if result.status == "refused":
        return _record_page(code, result.reason or _("Not saved."))
    return remember(redirect(f"/batches/{code}#journal", 303), form.text("person"))


def _found() -> ListPage:
    query = request.args.get("q", "").strip()[:80]
    page = request.args.get("page", 1, type=int)
    practice, wanted = services().machines.practice_ids(), request.args.get("practice") == "1"
    found = services().batches.page(page=max(1, page), query=query, practice=wanted)
    return ListPage(found, query, practice, with_practice=wanted)


def _record_page(code: str, error: str = "") -> ResponseReturnValue:
    record = services().batches.record(code)
    analysis, unit = services().analysis.analyse(record), page_units().temp
    faults = [FaultText(TITLES[fault.kind], fault, describe_fault(fault, unit)) for fault in analysis.faults]
    groups, aroma = _groups(record), _aroma(record)
    page = RecordPage(record, analysis, faults, groups, aroma, str(uuid4()), who(), error=error, unit=unit)
    charged_with = services().batches.charged_with(record.summary)
    page = replace(page, photos=services().photos.of(record.batch), charged_with=charged_with)
    packing = services().packing
    page = replace(
        page,
        left_g=packing.left_g(record.summary.code),
        became={
            _(ENDS[name]) if name in ENDS else name: grams
            for name, grams in packing.became(record.summary.code).items()
        },
        packed={row.code: row for row in packing.packs_of(record.summary.code)},
    )
    return render_template("desk/records/record.html", page=page), 422 if error else 200


def _groups(record: Record) -> list[Group]:
    """Lines of the journal by kind, without empty groups."""
    titles = {"move": _("Moves"), "trier": _("Trier checks"), "crack": _("First crack"), "note": _("Notes")}
    groups = [
        Group(title, [line for line in record.log if line.kind == kind and not line.undone])
        for kind, title in titles.items()
    ]
    return [group for group in groups if group.lines]


def _aroma(record: Record) -> dict[str, list[LogLine]]:
    """Aroma notes by phase."""
    phases: dict[str, list[LogLine]] = {}
    for line in record.log:
        if line.kind == "aroma" and not line.undone:
            at = "before charge" if line.time_s is None else phase_at(record.batch.moments_s, line.time_s)
            phases.setdefault(at, []).append(line)
    return phases

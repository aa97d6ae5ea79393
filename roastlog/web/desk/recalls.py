"""Recalls and drills, for the desk: what is concerned, who has it, who was reached, and the notice."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from flask import Blueprint, Response, redirect, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import EntryRefused, NoSuchCode
from roastlog.journal.vocabulary import CONTACT_WORDS, called
from roastlog.languages import N_, _, translate
from roastlog.services import RecallDetail, RecallRow
from roastlog.web import services
from roastlog.web.http.downloads import csv_response
from roastlog.web.http.forms import Form
from roastlog.web.http.security import speaker

bp = Blueprint("recalls", __name__)

PLACES: Final[Mapping[str, str]] = {
    "green": N_("green, lot {name}"),
    "drum": N_("in the drum or cooling, batch {name}"),
    "roasted": N_("loose, {name}"),
}


@dataclass(frozen=True)
class ListPage:
    """Context of `desk/recalls/list.html`."""

    recalls: Sequence[RecallRow]
    drill_is_due: bool
    error: str = ""


@dataclass(frozen=True)
class NewPage:
    """Context of `desk/recalls/new.html`."""

    values: Mapping[str, str]
    error: str = ""


@dataclass(frozen=True)
class RecallPage:
    """Context of `desk/recalls/recall.html`."""

    recall: RecallDetail
    now_ms: int
    loose: Sequence[tuple[str, int]]
    ways: Mapping[str, str] = field(default_factory=lambda: CONTACT_WORDS)

    @property
    def took_s(self) -> float:
        """Seconds from its start to its end, or until now."""
        return ((self.recall.finished_ms or self.now_ms) - self.recall.started_ms) / 1000


@bp.get("/recalls")
def recalls() -> str:
    """All recalls and drills."""
    return _list_page()


@bp.get("/recalls/new")
def ask() -> str:
    """The form to start a recall."""
    return render_template("desk/recalls/new.html", page=NewPage({"codes": request.args.get("code", "")}))


@bp.post("/recalls/new")
def start() -> ResponseReturnValue:
    """Start a recall, or a drill of one."""
    form = Form(request.form, {"codes": N_("Codes"), "cause": N_("Cause")})
    codes, cause = form.text("codes", longest=400), form.text("cause", longest=2000)
    error = next(iter(form.errors.values()), "")
    if not error and cause is None:
        error = _("Cause is required: the notice says it.")
    if not error:
        try:
            words = [code.strip() for code in (codes or "").split(",") if code.strip()]
            ident = services().recalls.start(words, cause or "", speaker(), drill="drill" in form.values)
            return redirect(f"/recalls/{ident}", 303)
        except (NoSuchCode, EntryRefused) as refused:
            error = str(refused)
    return render_template("desk/recalls/new.html", page=NewPage(form.values, error)), 422


@bp.post("/recalls/drill")
def drill() -> ResponseReturnValue:
    """Start a drill with a random pack."""
    try:
        return redirect(f"/recalls/{services().recalls.start_drill(speaker())}", 303)
    except EntryRefused as refused:
        return _list_page(str(refused)), 422


@bp.get("/recalls/<recall_id>")
def recall(recall_id: str) -> str:
    """One recall."""
    found = services().recalls.detail(recall_id)
    loose = [(translate(PLACES[kind], name=name or _("unknown")), grams) for (kind, name), grams in found.loose.items()]
    return render_template("desk/recalls/recall.html", page=RecallPage(found, services().clock.now_ms(), loose))


@bp.post("/recalls/<recall_id>/reached")
def reach(recall_id: str) -> ResponseReturnValue:
    """Tick off a customer."""
    how = request.form.get("how", "")
    if how in CONTACT_WORDS:
        services().recalls.reach(recall_id, request.form.get("customer", ""), how, speaker())
    return redirect(f"/recalls/{recall_id}#holders", 303)


@bp.post("/recalls/<recall_id>/undo")
def take_back(recall_id: str) -> ResponseReturnValue:
    """Undo a tick."""
    services().recalls.take_back(recall_id, request.form.get("entry", ""), speaker())
    return redirect(f"/recalls/{recall_id}#holders", 303)


@bp.post("/recalls/<recall_id>/close")
def finish(recall_id: str) -> ResponseReturnValue:
    """Close it with a note."""
    services().recalls.finish(recall_id, Form(request.form).text("note", longest=2000), speaker())
    return redirect(f"/recalls/{recall_id}", 303)


@bp.get("/recalls/<recall_id>/notice.pdf")
def notice(recall_id: str) -> Response:
    """The notice to customers."""
    found = services().recalls.detail(recall_id)
    headers = {"Content-Disposition": f'attachment; filename="{_file(found)}-notice.pdf"'}
    return Response(services().recalls.notice(recall_id), mimetype="application/pdf", headers=headers)


@bp.get("/recalls/<recall_id>/contacts.csv")
def contacts(recall_id: str) -> Response:
    """The customers concerned, with their bags and whether they were reached."""
    found = services().recalls.detail(recall_id)
    rows = [
        (
            "DRILL" if found.drill else "",
            holder.name or "",
            holder.contact or "",
            ", ".join(f"{count} × {pack}" for pack, count in holder.bags.items()),
            holder.grams,
            "" if holder.reached is None else called(holder.reached.body["how"]),
        )
        for holder in found.holders
    ]
    head = ("drill", "customer", "contact", "bags", "grams", "reached")
    return csv_response(f"{_file(found)}-contacts.csv", head, rows)


def _file(found: RecallDetail) -> str:
    return f"{'drill' if found.drill else 'recall'}-{found.id}"


def _list_page(error: str = "") -> str:
    page = ListPage(services().recalls.all(), services().recalls.drill_is_due(), error)
    return render_template("desk/recalls/list.html", page=page)

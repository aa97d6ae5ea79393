"""Files of a green lot: its invoice, certificates and photos, each named by an entry."""

from typing import Final
from uuid import UUID, uuid5

from flask import Blueprint, Response, redirect, request
from flask.typing import ResponseReturnValue

from roastlog.errors import EntryRefused, FileRefused, NotFound
from roastlog.languages import _
from roastlog.services.photos import is_pdf
from roastlog.web import services
from roastlog.web.desk.lots import address, lot_page
from roastlog.web.http.forms import Form, entry_id, who
from roastlog.web.http.security import may, speaker

bp = Blueprint("lot_files", __name__)

MOST_BYTES: Final = 8_000_000
FOR_GOOD: Final = "private, max-age=31536000, immutable"  # a name's file never changes


@bp.post("/lots/<path:lot>/files")
def keep(lot: str) -> ResponseReturnValue:
    """Store a file, and the entry that names it."""
    request.max_content_length = MOST_BYTES
    form, sent = Form(request.form), request.files.get("file")
    title, data = form.text("title", longest=200), b"" if sent is None else sent.read()
    if form.errors or not data:
        return lot_page(lot, form.errors.get("title") or _("Choose a photo or a PDF first."), form.values)
    services().green.folded(lot)  # no file of a lot that is not there
    name = str(uuid5(form.id, "file"))
    body = {"name": name, "what": form.values.get("what", "")} | ({} if title is None else {"title": title})
    try:
        services().photos.keep_file(name, data)
        ident = entry_id(form, "filed", body)
        services().green.say(lot, "filed", body, speaker(), ident=ident, person=who() or None)
    except (FileRefused, EntryRefused) as refused:
        return lot_page(lot, str(refused), form.values)
    return redirect(f"{address(lot)}#files", 303)


@bp.get("/lots/<path:lot>/files/<uuid:file_id>")
def file(lot: str, file_id: UUID) -> Response:
    """A file of a lot: a picture is shown, a PDF only downloaded, since it may hold scripts."""
    name = str(file_id)
    filed = services().green.folded(lot).of("filed")
    about = next((line for line in filed if line.body["name"] == name), None)
    if about is None:
        raise NotFound(_("This lot has no such file."))
    if about.body["what"] == "invoice" and not may("own"):
        raise NotFound(_("An invoice has prices, which only the role “own” sees."))
    data = services().photos.file(name)
    headers = {"Cache-Control": FOR_GOOD}
    if not is_pdf(data):
        return Response(data, mimetype="image/jpeg", headers=headers)
    headers["Content-Disposition"] = f'attachment; filename="{about.body["what"]}-{name[:8]}.pdf"'
    return Response(data, mimetype="application/pdf", headers=headers)

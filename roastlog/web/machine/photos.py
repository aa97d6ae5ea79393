"""Photos of trier checks: uploaded, stripped of metadata, and shown small and on a page of their own."""

from dataclasses import dataclass
from typing import Final
from uuid import UUID

from flask import Blueprint, Response, abort, jsonify, render_template, request
from flask.typing import ResponseReturnValue

from roastlog.errors import NotFound, PictureRefused
from roastlog.journal.vocabulary import AT_MACHINE
from roastlog.languages import _
from roastlog.services import LogLine, Record
from roastlog.web import services

bp = Blueprint("photos", __name__)

MOST_BYTES: Final = 8_000_000
FOR_GOOD: Final = "private, max-age=31536000, immutable"  # the photo of a name never changes


@dataclass(frozen=True)
class PhotoPage:
    """Context of `desk/records/photo.html`: a trier check and its photo. ``size`` is None until it arrives. [px]"""

    record: Record
    check: LogLine
    size: tuple[int, int] | None

    @property
    def live(self) -> bool:
        """Whether the batch is still at its machine, so that the page was opened from the live page."""
        return self.record.machine is not None and self.record.summary.state in AT_MACHINE


@bp.post("/photos/<uuid:photo_id>")
def keep(photo_id: UUID) -> ResponseReturnValue:
    """Store a photo under the name that its entry gives. Sending it twice is harmless."""
    request.max_content_length = MOST_BYTES
    sent = request.files.get("picture")
    if sent is None:
        abort(422)
    try:
        services().photos.keep(str(photo_id), sent.read())
    except PictureRefused as error:
        return jsonify(says=str(error)), 422
    return jsonify(kept=str(photo_id))


@bp.get("/photos/<uuid:photo_id>")
def show(photo_id: UUID) -> Response:
    """The photo itself."""
    return _jpeg(services().photos.jpeg(str(photo_id)))


@bp.get("/photos/<uuid:photo_id>/small")
def small(photo_id: UUID) -> Response:
    """The photo, small enough for a list."""
    return _jpeg(services().photos.small_jpeg(str(photo_id)))


@bp.get("/batches/<code>/photos/<uuid:photo_id>")
def page(code: str, photo_id: UUID) -> str:
    """A large photo with its trier check."""
    record, name = services().batches.record(code), str(photo_id)
    check = next((line for line in record.log if line.kind == "trier" and line.body.get("photo") == name), None)
    if check is None:
        raise NotFound(_("No trier check of batch {code} has that photo.", code=record.summary.code))
    size = services().photos.size(name) if name in services().photos.of(record.batch) else None
    return render_template("desk/records/photo.html", page=PhotoPage(record, check, size))


def _jpeg(data: bytes) -> Response:
    return Response(data, mimetype="image/jpeg", headers={"Cache-Control": FOR_GOOD})

"""Photos of trier checks: taken in, cleaned of all but their pixels, and shown."""

from typing import Final
from uuid import UUID

from flask import Blueprint, Response, abort, jsonify, request
from flask.typing import ResponseReturnValue

from roastlog.errors import PictureRefused
from roastlog.web import services

bp = Blueprint("photos", __name__)

MOST_BYTES: Final = 8_000_000
FOR_GOOD: Final = "private, max-age=31536000, immutable"  # under a name there is never another photo


@bp.post("/photos/<uuid:photo_id>")
def keep(photo_id: UUID) -> ResponseReturnValue:
    """Keep a photo under the name that an entry gives it. Sent twice it counts once."""
    request.max_content_length = MOST_BYTES
    sent = request.files.get("picture")
    if sent is None:
        abort(422)
    try:
        services().keep_photo(str(photo_id), sent.read())
    except PictureRefused as error:
        return jsonify(says=str(error)), 422
    return jsonify(kept=str(photo_id))


@bp.get("/photos/<uuid:photo_id>")
def show(photo_id: UUID) -> Response:
    """The photo itself."""
    data = services().photo(str(photo_id))
    return Response(data, mimetype="image/jpeg", headers={"Cache-Control": FOR_GOOD})

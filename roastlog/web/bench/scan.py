"""Scanning a label in the app: a camera frame, a photo or a decoded text leads to the page of its batch or lot."""

from urllib.parse import quote

from flask import Blueprint, Response, jsonify, render_template, request

from roastlog.errors import CodeError, NotFound, PictureRefused
from roastlog.label.reading import qr_texts
from roastlog.languages import _
from roastlog.web import services

bp = Blueprint("scan", __name__)


@bp.get("/scan")
def page() -> str:
    """The page with the camera, the photo picker and the field for a code."""
    return render_template("bench/scan/page.html")


@bp.post("/scan")
def read() -> Response:
    """Read a picture or a text: ``to`` is the page's address, else ``says`` the reason; empty if no code was seen."""
    picture = request.files.get("picture")
    try:
        texts = [request.form.get("text", "")] if picture is None else qr_texts(picture.read())
    except PictureRefused as error:
        return jsonify(says=str(error))
    answer = {}
    for text in filter(None, texts):
        lot = services().lots.scanned(text)
        if lot is not None:
            return jsonify(to=f"/lots/{quote(lot)}")
        try:
            return jsonify(to=f"/batches/{services().bags.scanned(text)}")
        except NotFound as error:
            answer = {"says": str(error)}
        except CodeError:
            answer = {"says": _("This QR code is not from a bag label of this roastery.")}
    return jsonify(answer)

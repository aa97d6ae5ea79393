"""Scanning a label inside the app: from the camera's frame, a photo or what the browser read to the batch's record."""

from flask import Blueprint, Response, jsonify, render_template, request

from roastlog.errors import CodeError, NotFound, PictureRefused
from roastlog.label.reading import qr_texts
from roastlog.languages import _
from roastlog.web import services

bp = Blueprint("scan", __name__)


@bp.get("/scan")
def page() -> str:
    """The camera, a photo, or the code typed: whichever works here."""
    return render_template("bench/scan/page.html")


@bp.post("/scan")
def read() -> Response:
    """Where a picture or a text leads: ``to``, an address of ours; else ``says``, why not; else nothing was seen."""
    picture = request.files.get("picture")
    try:
        texts = [request.form.get("text", "")] if picture is None else qr_texts(picture.read())
    except PictureRefused as error:
        return jsonify(says=str(error))
    said = {}
    for text in filter(None, texts):
        try:
            return jsonify(to=f"/batches/{services().bags.scanned(text)}")
        except NotFound as error:
            said = {"says": str(error)}
        except CodeError:
            said = {"says": _("That QR is not of a bag label of this roastery. Nothing was opened.")}
    return jsonify(said)

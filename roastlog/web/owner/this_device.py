"""What this device can do here and what not, and why: its page asks the browser itself."""

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Blueprint, Response, current_app, render_template, request

bp = Blueprint("this_device", __name__)


@dataclass(frozen=True)
class ThisDevicePage:
    """What `owner/this_device/page.html` shows.

    Attributes
    ----------
    is_secure
        Whether the page came over TLS.
    secure
        The secure address of this server, where it has one.
    trust
        The address that leads a phone through trusting its certificate, where it needs that.
    told
        What the server has to say about its own name and certificate.
    """

    is_secure: bool
    secure: str = ""
    trust: str = ""
    told: Sequence[str] = ()


@bp.get("/this-device")
def page() -> str:
    """The page; without scripts it says that nothing can be told."""
    secure, presence = current_app.extensions.get("secure"), current_app.extensions.get("presence")
    if secure is None:
        return render_template("owner/this_device/page.html", page=ThisDevicePage(request.is_secure))
    trust = "/trust" if secure.authority else ""
    told = () if presence is None else tuple(presence.told)
    shown = ThisDevicePage(request.is_secure, secure.bases[0], trust, told)
    return render_template("owner/this_device/page.html", page=shown)


@bp.get("/this-device/reached")
def reached() -> Response:
    """Answer nothing: a device that gets it trusts the certificate (`static/js/public/certificate-check.js` asks)."""
    return Response(status=204, headers={"Cross-Origin-Resource-Policy": "cross-origin", "Cache-Control": "no-store"})

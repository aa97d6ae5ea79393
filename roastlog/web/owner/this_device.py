"""The page on the abilities of this device's browser, which its script checks."""

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Blueprint, Response, current_app, render_template, request

from roastlog.web.http.security import caller

bp = Blueprint("this_device", __name__)


@dataclass(frozen=True)
class ThisDevicePage:
    """Context of `owner/this_device/page.html`.

    Attributes
    ----------
    is_secure
        Whether the page was requested over TLS.
    secure
        The secure address of this server; empty without one.
    trust
        The address of the instructions to trust the certificate; empty where that is not needed.
    told
        Notices of the server about its name and certificate.
    paired
        Whether the device was paired, so that it can be forgotten.
    """

    is_secure: bool
    secure: str = ""
    trust: str = ""
    told: Sequence[str] = ()
    paired: bool = False


@bp.get("/this-device")
def page() -> str:
    """The page; without scripts it says that it cannot check anything."""
    device = caller().device
    paired = device is not None and bool(device.id)
    secure, presence = current_app.extensions.get("secure"), current_app.extensions.get("presence")
    if secure is None:
        plain = ThisDevicePage(request.is_secure, paired=paired)
        return render_template("owner/this_device/page.html", page=plain)
    trust = "/trust" if secure.authority else ""
    told = () if presence is None else tuple(presence.told)
    shown = ThisDevicePage(request.is_secure, secure.bases[0], trust, told, paired)
    return render_template("owner/this_device/page.html", page=shown)


@bp.get("/this-device/reached")
def reached() -> Response:
    """An empty response; a device that receives it trusts the certificate (`static/js/public/certificate-check.js`)."""
    return Response(status=204, headers={"Cross-Origin-Resource-Policy": "cross-origin", "Cache-Control": "no-store"})

"""Trusting this server's own certificate: an explanation, the file, and the steps on a phone.

It is served over plain HTTP through `plain_door.py`, since a phone cannot use TLS before it trusts the certificate.
"""

import plistlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from uuid import UUID, uuid5

from flask import Blueprint, Response, abort, current_app, render_template, request

from roastlog.languages import _
from roastlog.web.http.security import POLICY
from roastlog.web.http.user_agent import device_kind

if TYPE_CHECKING:
    from roastlog.lan.secure import Authority, SecureServer

bp = Blueprint("trust", __name__)

_IDS: Final = UUID("1f6a8f0e-9f5c-4c0a-9a55-5a8f3a0b7f11")  # random, fixed; namespace of the ids in a profile
_STEPS: Final = {"iPad": "apple", "iPhone": "apple", "iPod": "apple", "Android": "android"}


@dataclass(frozen=True)
class TrustPage:
    """Context of `public/trust/page.html`.

    ``bases`` are the secure addresses, best first; ``kind`` chooses the steps: ``apple``, ``android`` or ``computer``.
    """

    authority: "Authority"
    bases: tuple[str, ...]
    kind: str


@bp.get("/trust")
def page() -> Response:
    """The explanation and the steps."""
    secure, kind = _secure(), device_kind(request.user_agent.string)
    shown = TrustPage(_authority(), secure.bases, _STEPS.get(kind or "", "computer"))
    response = Response(render_template("public/trust/page.html", page=shown))
    # The page's script checks at the secure address whether this phone trusts it yet.
    policy = POLICY | {"connect-src": ["'self'", *secure.bases]}
    response.headers["Content-Security-Policy"] = "; ".join(f"{name} {' '.join(said)}" for name, said in policy.items())
    return response


@bp.get("/trust/drumside.crt")
def authority() -> Response:
    """The authority's certificate, for Android and computers."""
    return _file(_authority().der, "application/x-x509-ca-cert", "drumside.crt")


@bp.get("/trust/drumside.mobileconfig")
def profile() -> Response:
    """The certificate as a profile for iPhone and iPad, with a name and a description."""
    authority = _authority()
    content = {
        "PayloadType": "com.apple.security.root",
        "PayloadVersion": 1,
        "PayloadIdentifier": f"drumside.authority.{authority.serial:x}",
        "PayloadUUID": _uuid(authority, "certificate"),
        "PayloadDisplayName": authority.title,
        "PayloadContent": authority.der,
    }
    whole = {
        "PayloadType": "Configuration",
        "PayloadVersion": 1,
        "PayloadIdentifier": f"drumside.{authority.serial:x}",
        "PayloadUUID": _uuid(authority, "profile"),
        "PayloadDisplayName": authority.title,
        "PayloadDescription": _("Lets this device open Drumside securely in the roastery's own network."),
        "PayloadContent": [content],
    }
    return _file(plistlib.dumps(whole), "application/x-apple-aspen-config", "drumside.mobileconfig")


def _secure() -> "SecureServer":
    secure: SecureServer | None = current_app.extensions.get("secure")
    if secure is None or secure.authority is None:
        abort(404)
    return secure


def _authority() -> "Authority":
    authority = _secure().authority
    assert authority is not None  # noqa: S101 - `_secure` has checked it; for mypy
    return authority


def _uuid(authority: "Authority", word: str) -> str:
    """An id fixed for an authority, so that a profile installed again replaces itself."""
    return str(uuid5(_IDS, f"{word} {authority.serial}")).upper()


def _file(content: bytes, kind: str, name: str) -> Response:
    return Response(content, mimetype=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})

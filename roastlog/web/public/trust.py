"""Trusting the certificate that this server made: what it is, the file, and the way on a phone, step by step.

Reached over plain HTTP, through `plain_door.py` beside it: before a phone trusts the certificate, nothing else can be.
"""

import plistlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from uuid import UUID, uuid5

from flask import Blueprint, Response, abort, current_app, render_template, request

from roastlog.web.http.security import POLICY

if TYPE_CHECKING:
    from roastlog.lan.secure import Authority, SecureServer

bp = Blueprint("trust", __name__)

_IDS: Final = UUID("1f6a8f0e-9f5c-4c0a-9a55-5a8f3a0b7f11")  # drawn once; ids of a profile follow from it


@dataclass(frozen=True)
class TrustPage:
    """What `public/trust/page.html` shows; ``bases`` are the secure addresses, best first."""

    authority: "Authority"
    bases: tuple[str, ...]
    kind: str


@bp.get("/trust")
def page() -> Response:
    """What trusting it means, and how it is done."""
    secure = _secure()
    shown = TrustPage(_authority(), secure.bases, kind(request.user_agent.string))
    response = Response(render_template("public/trust/page.html", page=shown))
    # The page asks the secure address whether this phone trusts it by now.
    policy = POLICY | {"connect-src": ["'self'", *secure.bases]}
    response.headers["Content-Security-Policy"] = "; ".join(f"{name} {' '.join(said)}" for name, said in policy.items())
    return response


@bp.get("/trust/drumside.crt")
def authority() -> Response:
    """The authority's certificate, for Android and computers."""
    return _file(_authority().der, "application/x-x509-ca-cert", "drumside.crt")


@bp.get("/trust/drumside.mobileconfig")
def profile() -> Response:
    """The same as a profile for iPhone and iPad, which shows there with a name and a sentence."""
    kept = _authority()
    content = {
        "PayloadType": "com.apple.security.root",
        "PayloadVersion": 1,
        "PayloadIdentifier": f"drumside.authority.{kept.serial:x}",
        "PayloadUUID": _uuid(kept, "certificate"),
        "PayloadDisplayName": kept.title,
        "PayloadContent": kept.der,
    }
    whole = {
        "PayloadType": "Configuration",
        "PayloadVersion": 1,
        "PayloadIdentifier": f"drumside.{kept.serial:x}",
        "PayloadUUID": _uuid(kept, "profile"),
        "PayloadDisplayName": kept.title,
        "PayloadDescription": "Lets this device open Drumside securely in the roastery's own network.",
        "PayloadContent": [content],
    }
    return _file(plistlib.dumps(whole), "application/x-apple-aspen-config", "drumside.mobileconfig")


def kind(user_agent: str) -> str:
    """Which steps a device needs: ``apple``, ``android`` or ``computer``. An iPad may call itself a Mac."""
    if any(word in user_agent for word in ("iPhone", "iPad", "iPod")):
        return "apple"
    return "android" if "Android" in user_agent else "computer"


def _secure() -> "SecureServer":
    secure: SecureServer | None = current_app.extensions.get("secure")
    if secure is None or secure.authority is None:
        abort(404)
    return secure


def _authority() -> "Authority":
    authority = _secure().authority
    assert authority is not None  # noqa: S101 - told to mypy
    return authority


def _uuid(kept: "Authority", word: str) -> str:
    """The same for the same authority: installed again, a profile takes its own place."""
    return str(uuid5(_IDS, f"{word} {kept.serial}")).upper()


def _file(content: bytes, kind: str, name: str) -> Response:
    return Response(content, mimetype=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})

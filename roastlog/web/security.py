"""What a browser may do with our pages, and who may ask for them.

This computer itself may do everything. Any other device needs the house key once (a link or its QR, shown in the
terminal), which leaves a cookie; programs carry an API token. Anyone may see a bag page and `/healthz`.
"""

import ipaddress
import secrets
from typing import Final
from urllib.parse import urlsplit

from flask import Blueprint, Flask, Response, abort, redirect, request
from flask.typing import ResponseReturnValue

from roastlog.web import services

bp = Blueprint("security", __name__)

# Charts come as json_item, drawn by static/js/chart.js. Without this style-src Bokeh draws nothing (it adds <style>
# elements), without this img-src it loses its icons. A line chart needs no 'unsafe-eval'.
POLICY: Final = {
    "default-src": ["'self'"],
    "script-src": ["'self'"],
    "style-src": ["'self'", "'unsafe-inline'"],
    "img-src": ["'self'", "data:"],
    "object-src": ["'none'"],
    "base-uri": ["'none'"],
    "form-action": ["'self'"],
    "frame-ancestors": ["'none'"],
}
HEADERS: Final = {
    "Content-Security-Policy": "; ".join(f"{name} {' '.join(sources)}" for name, sources in POLICY.items()),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}
PUBLIC: Final = ("/r/", "/healthz", "/static/", "/vendor/", "/join/")
COOKIE: Final = "drumside_device"
YEAR_S: Final = 365 * 86400


def install(app: Flask) -> None:
    """Check each request, and send the headers with each answer."""
    app.register_blueprint(bp)
    app.before_request(_check)
    app.after_request(_add_headers)


@bp.get("/join/<key>")
def join(key: str) -> ResponseReturnValue:
    """Let a device in that has the house key."""
    if not secrets.compare_digest(key.encode(), services().house_key().encode()):
        abort(401)
    response = redirect("/", 303)
    token = services().new_token(f"device {secrets.token_hex(4)}")
    response.set_cookie(COOKIE, token, max_age=YEAR_S, httponly=True, samesite="Strict", secure=request.is_secure)
    return response


def _check() -> None:
    host = urlsplit(f"//{request.host}").hostname  # empty where the header is no host at all
    if not host or not known_host(host):
        abort(421)
    if request.method not in {"GET", "HEAD", "OPTIONS"} and not same_origin():
        abort(403)
    if not request.path.startswith(PUBLIC) and not may_enter():
        abort(401)


def known_host(host: str) -> bool:
    """Whether a host name can be ours: an address, a name in the LAN, or that of the address on labels.

    A page of another site that has its name point here (DNS rebinding) arrives under that name.
    """
    if host == "localhost" or host.endswith((".local", ".lan", ".home.arpa", ".localhost")) or "." not in host:
        return True
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return host == urlsplit(services().settings().url_base).hostname
    return True


def same_origin() -> bool:
    """Whether a change comes from a page of ours, or from no browser at all."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site in {"same-origin", "none"}
    origin = request.headers.get("Origin")
    return origin is None or origin.partition("://")[2] == request.host


def may_enter() -> bool:
    """Whether the request comes from this computer, a device that joined, or a program with a token."""
    try:
        if ipaddress.ip_address(request.remote_addr or "").is_loopback:
            return True
    except ValueError:
        pass
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() != "bearer":
        token = request.cookies.get(COOKIE, "")
    return bool(token) and services().token_name(token) is not None


def _add_headers(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    if "Cache-Control" not in response.headers:
        response.headers["Cache-Control"] = "no-store" if request.path.startswith("/api/") else "no-cache"
    return response

"""Authentication, access checks and security headers.

Requests from this computer have the role ``own``. Any other device is paired once (`roastlog/web/public/pairing.py`),
which sets a cookie; programs send a token. The rights of each role are in `roastlog/web/http/roles.py` alone.
"""

import ipaddress
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit
from wsgiref.types import WSGIEnvironment

from flask import Flask, Response, abort, current_app, g, request
from werkzeug.http import parse_cookie
from werkzeug.wrappers import Response as AnyResponse

from roastlog.errors import LacksRole, StoreError
from roastlog.services import Device, Role, Speaker
from roastlog.services.devices import YEAR_S, DeviceService
from roastlog.web import services
from roastlog.web.http.roles import PUBLIC, lacking, least, refused_to

# Charts come as json_item, drawn by static/js/core/figure/figure.js. Bokeh adds <style> elements, so without this
# style-src it draws nothing; without this img-src its icons are missing. A line chart needs no 'unsafe-eval'.
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
# The only permissions that our pages ask for.
PERMISSIONS: Final = {
    "camera": "(self)",
    "screen-wake-lock": "(self)",
    "autoplay": "(self)",
    "geolocation": "()",
    "microphone": "()",
    "payment": "()",
    "usb": "()",
}
HEADERS: Final = {
    "Content-Security-Policy": "; ".join(f"{name} {' '.join(sources)}" for name, sources in POLICY.items()),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": ", ".join(f"{name}={who}" for name, who in PERMISSIONS.items()),
}
# A year, without subdomains, which may belong to others. It has no effect on plain HTTP, and with our own authority it
# would lock out devices that must trust a new one: see docs/decisions.md.
HSTS: Final = f"max-age={YEAR_S}"
COOKIE: Final = "drumside_device"
SECURE_COOKIE: Final = "__Host-drumside_device"  # browsers accept it only over TLS from this exact host (RFC 6265bis)
FORWARDED: Final = (
    *("Forwarded", "Via", "X-Real-Ip", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto"),
    *("X-Forwarded-Port", "X-Forwarded-Server", "X-Forwarded-Prefix", "X-Client-Ip", "True-Client-Ip"),
)
PROXIED: Final = "werkzeug.proxy_fix.orig"  # set by werkzeug's ProxyFix where a proxy is trusted
LOOK_AGAIN_S: Final = 2.0
THIS_COMPUTER: Final = "this computer"


@dataclass(frozen=True)
class Caller:
    """The sender of a request: this computer, a paired device, a program with a token, or a stranger without a role."""

    role: Role | None
    device: Device | None = None

    @property
    def person(self) -> str | None:
        """The only person that the device speaks for; None if it is shared."""
        return None if self.device is None else self.device.person

    @property
    def speaker(self) -> Speaker:
        """The sender of its entries, as the server knows it."""
        if self.device is None:
            return Speaker()
        return Speaker(self.device.name, self.device.person, refused_to(self.device.role))


STRANGER: Final = Caller(None)


def install(app: Flask) -> None:
    """Check each request, and add the headers to each response."""
    app.before_request(_check)
    app.after_request(_add_headers)
    app.after_request(_renew)
    app.context_processor(lambda: {"may": may, "caller": caller})


def caller() -> Caller:
    """The sender of this request."""
    if "caller" not in g:
        g.caller = STRANGER  # stays so if the database cannot be read
        g.caller = _caller()
    found: Caller = g.caller
    return found


def may(word: str) -> bool:
    """Whether the sender of this request has at least a role, by its word."""
    role = caller().role
    return role is not None and role >= Role.of(word)


def known_sender(environ: WSGIEnvironment, devices: DeviceService) -> str | None:
    """The sender of a request before the app has it: a device, a program or this computer; None for a stranger.

    It decides who waits for whom (`roastlog/web/front/`), never who has access.
    """
    scheme, _, token = environ.get("HTTP_AUTHORIZATION", "").partition(" ")
    cookies = parse_cookie(environ)
    device = None
    try:
        if scheme.lower() == "bearer":
            device = devices.program_by_token(token)
        elif SECURE_COOKIE in cookies or COOKIE in cookies:
            device = devices.by_token(cookies.get(SECURE_COOKIE, "")) or devices.by_token(cookies.get(COOKIE, ""))
    except StoreError:
        pass  # while the disk fails, no device is known
    if device is not None:
        return device.key
    is_proxied = any(f"HTTP_{name.upper().replace('-', '_')}" in environ for name in FORWARDED)
    sender = _address(environ.get("REMOTE_ADDR", ""))
    return THIS_COMPUTER if sender is not None and sender.is_loopback and not is_proxied else None


def speaker() -> Speaker:
    """The sender of the entries in this request."""
    return caller().speaker


def let_in_still() -> Callable[[], bool]:
    """An access check for a stream that outlives its request: whether its device still has access in the same role."""
    role, (token, is_program), checked_s = caller().role, _token(), time.monotonic()
    if caller().device is None:
        return lambda: True
    known = services().devices.program_by_token if is_program else services().devices.by_token

    def has_access() -> bool:
        nonlocal checked_s
        if time.monotonic() - checked_s < LOOK_AGAIN_S:
            return True
        checked_s = time.monotonic()
        try:
            device = known(token)
        except StoreError:
            return True  # a failing disk ends nobody's access
        return device is not None and device.role == role

    return has_access


def let_in(response: AnyResponse, token: str) -> AnyResponse:
    """Set the cookie of a paired device."""
    response.set_cookie(
        _cookie_name(), token, max_age=YEAR_S, path="/", httponly=True, samesite="Strict", secure=request.is_secure
    )
    return response


def forget(response: AnyResponse) -> AnyResponse:
    """Delete the cookie of a device."""
    response.delete_cookie(_cookie_name(), path="/", httponly=True, samesite="Strict", secure=request.is_secure)
    return response


def _check() -> None:
    host = _host()
    if not host or not known_host(host):
        abort(421)
    if request.method not in {"GET", "HEAD", "OPTIONS"} and not same_origin():
        abort(403)
    asked = least(request.endpoint)
    if asked is PUBLIC:
        return
    role = caller().role
    if role is None:
        abort(401)
    if role < asked:
        raise LacksRole(lacking(asked, role))


def _host() -> str | None:
    """Host of the request without its port; None or empty if the header is not a valid host."""
    return urlsplit(f"//{request.host}").hostname


def known_host(host: str) -> bool:
    """Whether a host can be ours: an IP address, a name in the LAN, or the host of the address on labels.

    Any other name may be DNS rebinding: another site whose name points here. Over TLS, names in the LAN are ours only
    if the certificate has them.
    """
    if _address(host) is not None:
        return True
    secure = current_app.extensions.get("secure")
    if secure is not None and secure.covers(host):
        return True
    if host == urlsplit(services().settings.current().url_base).hostname:
        return True
    if secure is not None and request.is_secure:
        return False
    return host == "localhost" or host.endswith((".local", ".lan", ".home.arpa", ".localhost")) or "." not in host


def same_origin() -> bool:
    """Whether a request comes from a page of ours, or not from a browser."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site in {"same-origin", "none"}
    origin = request.headers.get("Origin")
    return origin is None or origin.partition("://")[2] == request.host


def from_this_computer() -> bool:
    """Whether the request was made on this computer.

    A request through a proxy does not count: with a proxy on this computer, every client has its address. Where a
    proxy is trusted (`--behind-proxy`), no address gives the role ``own``. Nor does a request under a name that anybody
    can point at this computer: the page of another site could have that name.
    """
    if PROXIED in request.environ or any(name in request.headers for name in FORWARDED):
        return False
    sender = _address(request.remote_addr or "")
    return sender is not None and sender.is_loopback and _names_this_computer(_host() or "")


def _names_this_computer(host: str) -> bool:
    """Whether a host is a loopback name (RFC 6761 6.3) or address, or the name that this server announces."""
    if host == "localhost" or host.endswith(".localhost"):
        return True
    secure = current_app.extensions.get("secure")
    if secure is not None and host == secure.name:
        return True
    address = _address(host)
    return address is not None and address.is_loopback


def _address(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(text)
    except ValueError:
        return None


def _caller() -> Caller:
    token, is_program = _token()
    if token:
        device = services().devices.program_by_token(token) if is_program else services().devices.by_token(token)
        if device is not None:
            g.renew = token if services().devices.saw(device) and not is_program else None
            return Caller(device.role, device)
    return Caller(Role.OWN) if from_this_computer() else STRANGER


def _token() -> tuple[str, bool]:
    """The token of the request, and whether it is that of a program."""
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() == "bearer":
        return token, True
    return request.cookies.get(_cookie_name(), ""), False


def _cookie_name() -> str:
    return SECURE_COOKIE if request.is_secure else COOKIE


def _renew(response: Response) -> Response:
    """Renew the cookie of a device in use for another year."""
    token = g.get("renew")
    if token and "Set-Cookie" not in response.headers:
        let_in(response, token)
    return response


def has_own_authority() -> bool:
    """Whether the certificate is from our own authority (`--lan`)."""
    secure = current_app.extensions.get("secure")
    return secure is not None and secure.authority is not None


def _add_headers(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    if request.is_secure and not has_own_authority():
        response.headers.setdefault("Strict-Transport-Security", HSTS)
    if response.status_code == 401:
        response.headers.setdefault("WWW-Authenticate", "Bearer")
    if "Cache-Control" not in response.headers:
        response.headers["Cache-Control"] = "no-store" if request.path.startswith("/api/") else "no-cache"
    return response


def counted_address(text: str) -> str:
    """The address whose connections are counted together; empty for this computer."""
    address = ipaddress.ip_address(text.partition("%")[0])
    if isinstance(address, ipaddress.IPv6Address):
        address = address.ipv4_mapped or address
    if address.is_loopback:
        return ""
    if isinstance(address, ipaddress.IPv6Address):
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)

"""The plain door beside the secure page: it leads phones to trust the certificate, and all others to the page itself.

What comes from this very computer stays where it was: there a plain page is as good as a secure one, for no wire lies
between. From elsewhere nothing is told here that is not for everyone.
"""

import ipaddress
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final
from urllib.parse import quote, urlsplit
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from flask import Flask
from werkzeug.exceptions import HTTPException
from werkzeug.routing import RequestRedirect
from werkzeug.wrappers import Request, Response

from roastlog.lan.addresses import ZONES, is_private

if TYPE_CHECKING:
    from roastlog.lan.secure import SecureServer

OPEN: Final = {"trust.page", "trust.authority", "trust.profile", "assets.static"}
HERE: Final = {"localhost", "127.0.0.1", "::1"}
GO_THERE: Final = "This is not taken without encryption. Send it to {base} instead.\n"
WHO: Final = "That is not a name of this server. Use the address that Drumside printed when it started.\n"
_SAFE: Final = "/:@!$&'()*+,;=~"


class Door:
    """A WSGI application before the app's own."""

    def __init__(self, app: Flask, secure: "SecureServer") -> None:
        self._app, self._secure = app, secure

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        """Answer, or let the app answer."""
        return self._for(Request(environ))(environ, start_response)

    def _for(self, request: Request) -> WSGIApplication:
        host = urlsplit(f"//{request.host}").hostname or ""
        if host in HERE and _is_loopback(request.remote_addr):
            return self._app
        if not self._own(host):
            return _plainly(WHO, 421)
        endpoint = self._endpoint(request)
        if endpoint in OPEN and request.method in {"GET", "HEAD"}:
            return self._app
        base = self._secure.base(host if self._secure.covers(host) else self._secure.hosts[0])
        # A program that sends its token here has told it to all already, and shall not go on without noticing.
        if request.method not in {"GET", "HEAD"} or request.path.startswith("/api/"):
            return _plainly(GO_THERE.format(base=base), 403)
        if request.path == "/" and self._secure.authority is not None:
            return _to("/trust")
        query = quote(request.query_string, safe=f"{_SAFE}%")
        return _to(f"{base}{quote(request.path, safe=_SAFE)}{'?' if query else ''}{query}")

    def _own(self, host: str) -> bool:
        """Whether a host can be ours; one that is not is a page of another site that has its name point here."""
        try:
            return self._secure.covers(host) or is_private(ipaddress.ip_address(host))
        except ValueError:
            return host.endswith(tuple(f".{zone}" for zone in ZONES)) or (bool(host) and "." not in host)

    def _endpoint(self, request: Request) -> str | None:
        try:
            endpoint, _ = self._app.url_map.bind("").match(request.path, "GET")
        except (HTTPException, RequestRedirect):
            return None
        return str(endpoint)


def _is_loopback(address: str | None) -> bool:
    try:
        return ipaddress.ip_address(address or "").is_loopback
    except ValueError:
        return False


def _plainly(words: str, status: int) -> Response:
    return Response(words, status, {"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store"})


def _to(address: str) -> Response:
    """Lead on, for now: a browser that kept it would not find back to a server without `--lan`."""
    return Response(status=307, headers={"Location": address, "Cache-Control": "no-store"})

"""The plain HTTP port beside the secure one: it sends devices to the trust page, or redirects them to the secure page.

Requests from this computer are answered here: they cross no network, so they need no encryption. From elsewhere, only
public content is served.
"""

import ipaddress
from collections.abc import Iterable
from contextvars import Context
from typing import TYPE_CHECKING, Final
from urllib.parse import quote, urlsplit
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from flask import Flask
from werkzeug.exceptions import HTTPException
from werkzeug.routing import RequestRedirect
from werkzeug.wrappers import Request, Response

from roastlog.lan.addresses import ZONES, is_private
from roastlog.languages import N_, _, translate, use
from roastlog.web.http.language import language_for

if TYPE_CHECKING:
    from roastlog.lan.secure import SecureServer

OPEN: Final = {"trust.page", "trust.authority", "trust.profile", "assets.static"}
HERE: Final = {"localhost", "127.0.0.1", "::1"}
USE_TLS: Final = N_("Encryption is required. Send it to {base} instead.")
WRONG_HOST: Final = N_("Unknown server name. Use the address that Drumside printed at its start.")
_SAFE: Final = "/:@!$&'()*+,;=~"


class Door:
    """WSGI middleware in front of the app."""

    def __init__(self, app: Flask, secure: "SecureServer") -> None:
        self._app, self._secure = app, secure

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        """Answer a request, or pass it to the app."""
        return self._for(Request(environ))(environ, start_response)

    def _for(self, request: Request) -> WSGIApplication:
        host = urlsplit(f"//{request.host}").hostname or ""
        if host in HERE and _is_loopback(request.remote_addr):
            return self._app
        if not self._own(host):
            return _plainly(request, translate(WRONG_HOST), 421)
        endpoint = self._endpoint(request)
        if endpoint in OPEN and request.method in {"GET", "HEAD"}:
            return self._app
        base = self._secure.base(host if self._secure.covers(host) else self._secure.hosts[0])
        # A program that sends its token here exposes it; an error makes that noticed.
        if request.method not in {"GET", "HEAD"} or request.path.startswith("/api/"):
            return _plainly(request, translate(USE_TLS, base=base), 403)
        if request.path == "/" and self._secure.authority is not None:
            return _to("/trust")
        query = quote(request.query_string, safe=f"{_SAFE}%")
        return _to(f"{base}{quote(request.path, safe=_SAFE)}{'?' if query else ''}{query}")

    def _own(self, host: str) -> bool:
        """Whether a host can be ours; any other name may be DNS rebinding."""
        try:
            return self._secure.covers(host) or is_private(ipaddress.ip_address(host))
        except ValueError:
            return host.endswith(tuple(f".{zone}" for zone in ZONES)) or (bool(host) and "." not in host)

    def _endpoint(self, request: Request) -> str | None:
        try:
            endpoint, _values = self._app.url_map.bind("").match(request.path, "GET")
        except (HTTPException, RequestRedirect):
            return None
        return str(endpoint)


def _is_loopback(address: str | None) -> bool:
    try:
        return ipaddress.ip_address(address or "").is_loopback
    except ValueError:
        return False


def _plainly(request: Request, words: str, status: int) -> Response:
    """An answer in plain text, in the language of the request."""
    text = Context().run(_in_language, language_for(request), words)
    return Response(f"{text}\n", status, {"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store"})


def _in_language(language: str, words: str) -> str:
    use(language)
    return _(words)


def _to(address: str) -> Response:
    """A temporary redirect: a browser that cached it could not reach a later server without `--lan`."""
    return Response(status=307, headers={"Location": address, "Cache-Control": "no-store"})

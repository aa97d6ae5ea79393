"""The HTTP server: granian where it can fork, waitress elsewhere; both take a thread only for a complete request.

The serving process may be a child of the one that was started, with a pipe between them: when its parent closes that
or is gone, it saves, ends all streams, and stops. It also ends, with a failure code, when a file of the database is
gone for good, so that a supervisor starts it anew.
"""

import asyncio
import gc
import importlib.util
import logging
import multiprocessing
import os
import select
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from wsgiref.types import WSGIApplication

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from roastlog.clock import Clock
from roastlog.errors import SettingError, StoreError
from roastlog.services import Services, open_services
from roastlog.threads import Repeater
from roastlog.web.app import create_app
from roastlog.web.front import connections
from roastlog.web.front.bridge import MOST_BYTES, Bridge
from roastlog.web.http import security

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from roastlog.lan.secure import SecureServer  # loaded only with `--lan`

WAITRESS_THREADS: Final = 64  # waitress reads requests without a thread, but a stream holds one
IDLE_S: Final = 30  # to send the headers of a request, also of the next one on the same connection
BACKLOG: Final = 1024
MOST_AT_ONCE: Final = 100  # requests on a connection of HTTP/2: the scripts of a page come together
MOST_HEADER_BYTES: Final = 65_536
WATCH_S: Final = 0.1
KILL_S: Final = 5
FIGURES_AFTER_S: Final = 3.0  # after the start: Bokeh takes a second to load, and must not delay the first responses
SWITCH_S: Final = 0.001
COLLECT_AFTER: Final = 5_000  # new objects; with 700, as Python has it, a flood makes for many full collections
HOLD_S: Final = 5.0  # a previous server may take this long to release the folder
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Serving:
    """The data folder to serve, and the address.

    Attributes
    ----------
    secure
        The secure server of `--lan`; `port` is then that of the plain door beside it.
    proxies
        Number of proxies in front that are trusted to give the client's address.
    """

    folder: Path
    host: str = "127.0.0.1"
    port: int = 8080
    rate: float = 1.0
    secure: "SecureServer | None" = None
    proxies: int = 0


def serve(serving: Serving) -> None:
    """Serve until interrupted.

    Raises
    ------
    StoreError
        If another server is running on the folder.
    SettingError
        If the port is taken.
    """
    serving.folder.mkdir(parents=True, exist_ok=True)
    with _locked_folder(serving.folder):
        claim_port(serving.host, serving.port)
        if serving.secure is not None:
            claim_port(serving.host, serving.secure.port, option="--secure-port")
        if has_granian():
            _granian(serving)
        else:
            _waitress(serving)


def has_granian() -> bool:
    """Whether granian serves, which alone supports TLS here; else waitress does."""
    return sys.platform == "linux" and importlib.util.find_spec("granian") is not None


def claim_port(host: str, port: int, *, option: str = "--port") -> None:
    """Refuse a port that is taken: two servers could share it, and each would get part of the requests."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        if os.name == "posix":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # a port just released counts as free
        try:
            probe.bind((host, port))
        except (OSError, OverflowError) as error:
            reason = getattr(error, "strerror", None) or error
            raise SettingError(
                f"Port {port} of {host} cannot be used ({reason}); give another one with {option}."
            ) from None


def secured(
    folder: Path, host: str, port: int, secure_port: int, *, certificate: Path | None = None, key: Path | None = None
) -> "SecureServer":
    """Prepare the secure server of `--lan`.

    Raises
    ------
    SettingError
        If no server with TLS runs on this platform.
    CertificateError
        If the certificate cannot be made, or the given one cannot be used.
    """
    if not has_granian():
        raise SettingError(
            "--lan needs Linux, since the server that runs elsewhere has no encryption. Start with --host 0.0.0.0 for "
            "plain pages in a network that you trust, or behind a proxy that encrypts (docs/lan.md)."
        )
    from roastlog.lan.secure import SecureOptions, make  # noqa: PLC0415 - the server starts without them

    return make(folder, SecureOptions(host, secure_port, port, certificate, key))


@contextmanager
def _locked_folder(folder: Path) -> Iterator[None]:
    """Lock the folder: two servers on it would record everything twice, and stop each other.

    The serving process inherits the lock, so that the folder is free only when both processes are gone.
    """
    with (folder / "lock").open("w", encoding="ascii") as lock:
        until_s = time.monotonic() + HOLD_S
        while not _try_lock(lock.fileno()):
            if time.monotonic() > until_s:
                raise StoreError(
                    f"Another Drumside records into {folder}. Stop it first, or give another folder with --data."
                )
            time.sleep(WATCH_S)
        yield


def _try_lock(file: int) -> bool:
    if sys.platform == "win32":
        return True  # on Windows, only the port shows that a server is running
    import fcntl  # noqa: PLC0415 - missing on Windows

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _open(serving: Serving) -> tuple[Flask, Services]:
    services = open_services(serving.folder, Clock(serving.rate), host=serving.host, port=serving.port)
    services.start()
    ready = threading.Timer(FIGURES_AFTER_S, _make_figures_ready, (services,))
    ready.daemon = True  # stopping need not wait for it
    ready.start()
    _prefer_latency()
    app = create_app(services)
    app.extensions["secure"] = serving.secure
    if serving.proxies:
        many = serving.proxies
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=many, x_proto=many, x_host=many)  # type: ignore[method-assign]
    return app, services


def _prefer_latency() -> None:
    """Have a tap wait less for other work, at the cost of a few percent of that.

    In a flood, a thread that is handed a tap waited up to 5 ms for each busy one, and full garbage collections, which
    went through all modules each time, stopped all threads for 0.1 to 0.2 s.
    """
    sys.setswitchinterval(SWITCH_S)
    gc.set_threshold(COLLECT_AFTER, 10, 10)
    gc.freeze()


def _make_figures_ready(services: Services) -> None:
    services.figures.make_ready(services.settings.current().units_temp)
    gc.freeze()  # Bokeh is large


def _granian(serving: Serving) -> None:
    from granian import Granian  # noqa: PLC0415 - missing on some platforms
    from granian.constants import HTTPModes, Interfaces, Loops, SSLProtocols  # noqa: PLC0415
    from granian.http import HTTP1Settings, HTTP2Settings  # noqa: PLC0415
    from granian.log import LogLevels  # noqa: PLC0415
    from granian.server.embed import Server as EmbeddedServer  # noqa: PLC0415

    from roastlog.web.public.plain_door import Door  # noqa: PLC0415

    told, tells = multiprocessing.Pipe(duplex=False)

    class Server(Granian):  # type: ignore[misc]
        def signal_handler_interrupt(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
            tells.close()  # before waiting for the workers, which open streams would keep alive
            super().signal_handler_interrupt(*args, **kwargs)

    parent = os.getpid()

    most = connections.allow_many()
    secure = serving.secure
    common: dict[str, Any] = {
        "address": serving.host,
        "interface": Interfaces.ASGINL,
        "websockets": False,
        "backlog": BACKLOG,
        "backpressure": most,
        "http1_settings": HTTP1Settings(header_read_timeout=IDLE_S * 1000),
        "http2_settings": HTTP2Settings(max_concurrent_streams=MOST_AT_ONCE, max_headers_size=MOST_HEADER_BYTES),
        "log_level": LogLevels.error,
    }
    plain = {"port": serving.port, "http": HTTPModes.http1}  # with HTTP/2 allowed too, it has no deadline for silence

    def load(_target: str) -> Callable[..., Any]:
        tells.close()  # the child's own copy would keep the pipe open
        app, services = _open(serving)
        ends = [services.close, _limit_connections(serving, most)]
        if secure is not None:
            door = EmbeddedServer(_bridge(Door(app, secure), services), **common, **plain)
            asyncio.get_event_loop().create_task(door.serve())
            ends.append(_announce(serving, app, secure))
        _close_on_stop(services, told, ends, parent)
        return _bridge(app, services)

    multiprocessing.set_start_method("fork", force=True)  # not the default of newer Python versions
    tls = {"ssl_protocol_min": SSLProtocols.tls12}  # for old phones
    Server(
        "drumside",
        **common,
        **(plain if secure is None else tls | {"port": secure.port, "ssl_cert": secure.chain, "ssl_key": secure.key}),
        workers=1,
        loop=Loops.asyncio,
        workers_kill_timeout=KILL_S,
        process_name=None,
    ).serve(target_loader=load)


def _bridge(app: WSGIApplication, services: Services) -> Bridge:
    return Bridge(app, lambda environ: security.known_sender(environ, services.devices))


def _limit_connections(serving: Serving, most: int) -> Callable[[], None]:
    """Keep the connections within their limits; returns the function that ends that."""
    ports = {serving.port} if serving.secure is None else {serving.port, serving.secure.port}
    checks = Repeater(
        "connections",
        connections.CHECK_S,
        lambda: connections.shed(ports, most * 7 // 8),
        "Connections could not be counted.",
    )
    checks.start()
    return checks.stop


def _announce(serving: Serving, app: Flask, secure: "SecureServer") -> Callable[[], None]:
    """Announce the secure server and the plain door beside it; returns the function that ends that."""
    from roastlog.lan.addresses import listening, private  # noqa: PLC0415
    from roastlog.lan.presence import Presence  # noqa: PLC0415

    presence = app.extensions["presence"] = Presence(secure, lambda: private(listening(serving.host)))
    presence.start()
    return presence.stop


def _close_on_stop(services: Services, told: "Connection", ends: Sequence[Callable[[], None]], parent: int) -> None:
    def watch() -> None:
        while not (gone := services.cannot_go_on()) and not told.poll(WATCH_S):
            if not threading.main_thread().is_alive():
                break
        try:
            for end in ends:
                end()
        finally:
            orphaned = os.getppid() != parent
            if orphaned:  # nobody is left to stop this process, which holds the port and the instruments
                log.warning("The parent process is gone; stopping.")
            if orphaned or gone:
                os._exit(1)

    # Not a daemon: a stopped worker ends at once, and its process must wait for the last save.
    threading.Thread(target=watch, name="end").start()


def _waitress(serving: Serving) -> None:
    from waitress import create_server  # noqa: PLC0415

    app, services = _open(serving)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit())  # the default would end Python without the last save
    can_poll = hasattr(select, "poll")  # on Windows there is only select, which takes 512 sockets
    server = create_server(
        app,
        host=serving.host,
        port=serving.port,
        threads=WAITRESS_THREADS,
        connection_limit=connections.allow_many() if can_poll else 400,
        channel_timeout=IDLE_S,
        asyncore_use_poll=can_poll,
        max_request_body_size=MOST_BYTES,
    )
    stopping = threading.Event()

    def watch() -> None:
        while not stopping.wait(WATCH_S):
            if services.cannot_go_on():
                try:
                    services.close()
                finally:
                    os._exit(1)

    threading.Thread(target=watch, name="end", daemon=True).start()
    try:
        server.run()
    finally:
        stopping.set()
        services.close()
        server.close()

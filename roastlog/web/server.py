"""Serving: granian where it runs by forking, waitress elsewhere; the app does not care.

The server's process may be a child of the one that was started. It watches a run file and its parent: when either goes,
it saves, lets all streams end, and stops.
"""

import importlib.util
import logging
import multiprocessing
import os
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

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from roastlog.clock import Clock
from roastlog.errors import SettingError, StoreError
from roastlog.services import Services, open_services
from roastlog.web.app import create_app

if TYPE_CHECKING:
    from roastlog.lan.secure import SecureServer  # loaded with `--lan` alone

THREADS: Final = 64
DOOR_THREADS: Final = 24
WATCH_S: Final = 0.1
KILL_S: Final = 5
FIGURES_AFTER_S: Final = 3.0  # after the start, whose first answers come first: Bokeh takes a second to load
HOLD_S: Final = 5.0  # how long the one before may take to let go of the folder


@dataclass(frozen=True)
class Serving:
    """What to serve, and where.

    Attributes
    ----------
    secure
        The secure page of `--lan`; `port` is then that of the plain door beside it.
    proxies
        How many proxies in front are trusted to say where a request came from.
    """

    folder: Path
    host: str = "127.0.0.1"
    port: int = 8080
    rate: float = 1.0
    secure: "SecureServer | None" = None
    proxies: int = 0

    @property
    def run_file(self) -> Path:
        """It is there as long as the server shall run."""
        return self.folder / "running"


def serve(serving: Serving) -> None:
    """Serve until interrupted.

    Raises
    ------
    StoreError
        If another one records into the folder already.
    SettingError
        If the port is taken.
    """
    serving.folder.mkdir(parents=True, exist_ok=True)
    with _held(serving.folder):
        claim_port(serving.host, serving.port)
        if serving.secure is not None:
            claim_port(serving.host, serving.secure.port, option="--secure-port")
        serving.run_file.write_text(str(os.getpid()), encoding="ascii")
        try:
            if has_granian():
                _granian(serving)
            else:
                _waitress(serving)
        finally:
            serving.run_file.unlink(missing_ok=True)


def has_granian() -> bool:
    """Whether granian serves, which alone can speak TLS; else it is waitress."""
    return sys.platform == "linux" and importlib.util.find_spec("granian") is not None


def claim_port(host: str, port: int, *, option: str = "--port") -> None:
    """Refuse a port that is taken: two servers can share one, and each would get some of what is sent to it."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        if os.name == "posix":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # a port just let go of is free
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
    """Make ready what `--lan` asks for.

    Raises
    ------
    SettingError
        Where no server runs that speaks TLS.
    CertificateError
        If the certificate cannot be made, or one's own not be used.
    """
    if not has_granian():
        raise SettingError(
            "--lan needs Linux, since the server that runs elsewhere has no encryption. Start with --host 0.0.0.0 for "
            "plain pages in a network that you trust, or behind a proxy that encrypts (docs/lan.md)."
        )
    from roastlog.lan.secure import SecureOptions, make  # noqa: PLC0415 - the server starts without them

    return make(folder, SecureOptions(host, secure_port, port, certificate, key))


@contextmanager
def _held(folder: Path) -> Iterator[None]:
    """Keep the folder to ourselves: two that record into it would say everything twice, and stop each other.

    The server's process holds it as well, so that it is free only when both are gone.
    """
    with (folder / "lock").open("w", encoding="ascii") as lock:
        until_s = time.monotonic() + HOLD_S
        while not _locked(lock.fileno()):
            if time.monotonic() > until_s:
                raise StoreError(
                    f"Another Drumside records into {folder}. Stop it first, or give another folder with --data."
                )
            time.sleep(WATCH_S)
        yield


def _locked(file: int) -> bool:
    if sys.platform == "win32":
        return True  # the port alone has to tell there
    import fcntl  # noqa: PLC0415 - not there on Windows

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _open(serving: Serving) -> tuple[Flask, Services]:
    services = open_services(serving.folder, Clock(serving.rate), host=serving.host, port=serving.port)
    services.start()
    ready = threading.Timer(FIGURES_AFTER_S, services.figures.make_ready, (services.settings.current().units_temp,))
    ready.daemon = True  # an end need not wait for it
    ready.start()
    app = create_app(services)
    app.extensions["secure"] = serving.secure
    if serving.proxies:
        many = serving.proxies
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=many, x_proto=many, x_host=many)  # type: ignore[method-assign]
    return app, services


def _granian(serving: Serving) -> None:
    from granian import Granian  # noqa: PLC0415 - not there on every platform
    from granian.constants import Interfaces, SSLProtocols  # noqa: PLC0415
    from granian.log import LogLevels  # noqa: PLC0415

    class Server(Granian):  # type: ignore[misc]
        def signal_handler_interrupt(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
            # Before the workers are waited for: open streams would hold them up.
            serving.run_file.unlink(missing_ok=True)
            super().signal_handler_interrupt(*args, **kwargs)

    parent = os.getpid()

    def load(_target: str) -> Callable[..., Any]:
        app, services = _open(serving)
        ends = [services.close]
        if serving.secure is not None:
            ends.append(_open_door(serving, app, serving.secure))
        _close_when_told(serving.run_file, ends, parent)
        return app

    multiprocessing.set_start_method("fork", force=True)  # newer Pythons choose another one
    secure = serving.secure
    Server(
        "drumside",
        address=serving.host,
        port=secure.port if secure else serving.port,
        ssl_cert=secure.chain if secure else None,
        ssl_key=secure.key if secure else None,
        ssl_protocol_min=SSLProtocols.tls12,  # an old phone still roasts
        interface=Interfaces.WSGI,
        workers=1,
        blocking_threads=THREADS,
        workers_kill_timeout=KILL_S,
        log_level=LogLevels.error,
        process_name=None,
    ).serve(target_loader=load)


def _open_door(serving: Serving, app: Flask, secure: "SecureServer") -> Callable[[], None]:
    """Open the plain door beside the secure page, and announce both; what ends it."""
    from waitress import create_server  # noqa: PLC0415

    from roastlog.lan.addresses import listening, private  # noqa: PLC0415
    from roastlog.lan.presence import Presence  # noqa: PLC0415
    from roastlog.web.public.plain_door import Door  # noqa: PLC0415

    door = create_server(Door(app, secure), host=serving.host, port=serving.port, threads=DOOR_THREADS)
    threading.Thread(target=door.run, name="plain-door", daemon=True).start()
    presence = app.extensions["presence"] = Presence(secure, lambda: private(listening(serving.host)))
    presence.start()
    return presence.stop


def _close_when_told(run_file: Path, ends: Sequence[Callable[[], None]], parent: int) -> None:
    def watch() -> None:
        pause = threading.Event()
        while run_file.exists() and os.getppid() == parent and threading.main_thread().is_alive():
            pause.wait(WATCH_S)
        for end in ends:
            end()
        if os.getppid() != parent:  # nobody is left to stop us, and the port and the instruments must be let go
            logging.getLogger(__name__).warning("The parent process is gone; stopping.")
            os._exit(1)

    # No daemon: a worker that was told to stop is done in no time, and its process must wait for the last save.
    threading.Thread(target=watch, name="run-file").start()


def _waitress(serving: Serving) -> None:
    from waitress import create_server  # noqa: PLC0415

    app, services = _open(serving)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit())  # by itself it would end Python without a last save
    server = create_server(app, host=serving.host, port=serving.port, threads=THREADS)
    try:
        server.run()
    finally:
        services.close()
        server.close()

"""An ASGI app that runs the WSGI app in threads: a request takes one only once it has arrived completely.

Each sender (a device, a program, all strangers together) has at most `MOST_OF_ONE` of the threads, and this computer
`MOST_HERE`, so none can take them all. A stream has a thread of its own, and leaves those of the requests alone.
"""

import asyncio
import io
import logging
import sys
import threading
from collections.abc import Awaitable, Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import Any, Final
from urllib.parse import unquote_to_bytes
from weakref import WeakValueDictionary
from wsgiref.types import WSGIApplication, WSGIEnvironment

from roastlog.web.http.security import THIS_COMPUTER

log = logging.getLogger(__name__)

Scope = dict[str, Any]
Receive = Callable[[], Awaitable[dict[str, Any]]]
Send = Callable[[dict[str, Any]], Awaitable[None]]

THREADS: Final = 64
MOST_OF_ONE: Final = 8
MOST_HERE: Final = 32  # programs and people that have no name to be told apart by
MOST_WAITING: Final = 256  # strangers' requests that wait for one of their threads
MOST_BYTES: Final = 10_000_000  # the app has smaller limits of its own
MOST_STRANGER_BYTES: Final = 16_384  # strangers only send a code and a name
BODY_S: Final = 10.0  # for the whole body, and longer by a second for each `LEAST_BYTES_PER_S` that came
LEAST_BYTES_PER_S: Final = 20_000
BODYLESS: Final = {"GET", "HEAD", "OPTIONS"}
STREAM: Final = "text/event-stream"


class _Gone(Exception):
    """The client has disconnected."""


class Bridge:
    """The ASGI app.

    granian sends at the call of `send`, and returns a future only if the connection is full. So the thread that has an
    answer sends it, and the event loop is not on the way of a tap to the other screens.

    Parameters
    ----------
    sender_of
        Returns the known sender of a request, by its headers alone; None for a stranger.
    """

    def __init__(self, app: WSGIApplication, sender_of: Callable[[WSGIEnvironment], str | None]) -> None:
        self._app, self._sender_of = app, sender_of
        self._threads = ThreadPoolExecutor(THREADS, "request")
        self._turns: WeakValueDictionary[str | None, asyncio.Semaphore] = WeakValueDictionary()
        self._strangers_waiting = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        environ = environ_of(scope)
        sender = self._sender_of(environ)
        try:
            await _take_body(environ, receive, MOST_STRANGER_BYTES if sender is None else MOST_BYTES)
        except _Gone:
            return
        except TimeoutError:
            await _refuse(send, 408, (b"connection", b"close"))
            return
        if sender is None and self._strangers_waiting >= MOST_WAITING:
            await _refuse(send, 503, (b"retry-after", b"5"))
            return
        stream = await self._in_turn(environ, sender, send)
        if stream is not None:
            await _send_stream(stream, receive, send)

    async def _in_turn(self, environ: WSGIEnvironment, sender: str | None, send: Send) -> Iterable[bytes] | None:
        """Run the app in a thread once the sender has one to spare; returns what is left to send, if it is a stream."""
        most = MOST_HERE if sender == THIS_COMPUTER else MOST_OF_ONE
        turn = self._turns.setdefault(sender, asyncio.Semaphore(most))
        self._strangers_waiting += sender is None
        try:
            await turn.acquire()
        finally:
            self._strangers_waiting -= sender is None
        try:
            run = asyncio.get_running_loop().run_in_executor(self._threads, self._run, environ, send)
            return await run
        finally:
            turn.release()

    def _run(self, environ: WSGIEnvironment, send: Send) -> Iterable[bytes] | None:
        """Run the app and send its answer; called in a thread. Returns what is left to send, if it is a stream."""
        status, headers = 500, list[tuple[str, str]]()

        def start(line: str, fields: list[tuple[str, str]], _failed: object = None) -> Callable[[bytes], object]:
            nonlocal status, headers
            status, headers = int(line[:3]), fields
            return lambda _part: None  # the `write` of PEP 3333, for apps older than ours

        body, stream = b"", None
        try:
            parts = self._app(environ, start)
            if any(name == "Content-Type" and text.startswith(STREAM) for name, text in headers):
                stream = parts
            else:
                body = _whole(parts)
        except Exception:
            log.exception("The app failed on %s.", environ["PATH_INFO"])
            status, headers = 500, []
        encoded = [(name.lower().encode("latin-1"), text.encode("latin-1")) for name, text in headers]
        send({"type": "http.response.start", "status": status, "headers": encoded})
        if stream is None:
            send({"type": "http.response.body", "body": body})
        return stream


async def _refuse(send: Send, status: int, header: tuple[bytes, bytes]) -> None:
    await send({"type": "http.response.start", "status": status, "headers": [header]})
    await send({"type": "http.response.body"})


async def _send_stream(parts: Iterable[bytes], receive: Receive, send: Send) -> None:
    """Send a stream from a thread of its own, until it ends or the client disconnects."""
    loop, gone = asyncio.get_running_loop(), threading.Event()
    ended = loop.create_future()
    watch = asyncio.ensure_future(_disconnected(receive))
    watch.add_done_callback(lambda _: gone.set())

    def run() -> None:
        try:
            for part in parts:
                if gone.is_set():
                    break
                sending = send({"type": "http.response.body", "body": part, "more_body": True})
                if asyncio.isfuture(sending):
                    asyncio.run_coroutine_threadsafe(_awaited(sending), loop).result()
        except Exception:
            log.exception("A stream failed.")
        finally:
            _close(parts)
            with suppress(RuntimeError):  # the loop has ended, and the process is about to
                loop.call_soon_threadsafe(ended.set_result, None)

    threading.Thread(target=run, name="stream", daemon=True).start()  # a client that takes nothing delays no stop
    try:
        await ended
    finally:
        watch.cancel()
    await send({"type": "http.response.body"})


async def _awaited(sending: Awaitable[None]) -> None:
    await sending


def environ_of(scope: Scope) -> WSGIEnvironment:
    """The WSGI environment of an ASGI request, without its body (PEP 3333)."""
    client, server = scope["client"], scope["server"]
    environ: WSGIEnvironment = {
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": "",
        "PATH_INFO": unquote_to_bytes(scope["raw_path"]).decode("latin-1"),
        "QUERY_STRING": scope["query_string"].decode("latin-1"),
        "SERVER_NAME": server[0],
        "SERVER_PORT": str(server[1]),
        "SERVER_PROTOCOL": f"HTTP/{scope['http_version']}",
        "REMOTE_ADDR": client[0],
        "REMOTE_PORT": str(client[1]),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope["scheme"],
        "wsgi.input": io.BytesIO(),
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": False,
        "wsgi.run_once": False,
    }
    for name, text in scope["headers"]:
        if b"_" in name:  # it would look like a header with a hyphen, which a proxy may have removed
            continue
        key = name.decode("latin-1").upper().replace("-", "_")
        key = key if key in {"CONTENT_TYPE", "CONTENT_LENGTH"} else f"HTTP_{key}"
        told = text.decode("latin-1")
        if key in environ:
            told = f"{environ[key]}{'; ' if key == 'HTTP_COOKIE' else ','}{told}"
        environ[key] = told
    return environ


async def _take_body(environ: WSGIEnvironment, receive: Receive, most: int) -> None:
    """Read the body into the environment; raises TimeoutError if it is slow, _Gone if it ends early.

    A body that is too long is left out, and its length kept: the app refuses it by that.
    """
    environ.pop("HTTP_TRANSFER_ENCODING", None)
    length = environ.pop("CONTENT_LENGTH", "")
    if environ["REQUEST_METHOD"] in BODYLESS:
        return
    if length.isdecimal() and int(length) > most:
        environ["CONTENT_LENGTH"] = length
        return
    body, start_s = bytearray(), asyncio.get_running_loop().time()
    async with asyncio.timeout_at(start_s + BODY_S) as deadline:
        more = True
        while more and len(body) <= most:
            message = await receive()
            if message["type"] == "http.disconnect":
                raise _Gone
            body += message.get("body", b"")
            more = message.get("more_body", False)
            deadline.reschedule(start_s + BODY_S + len(body) / LEAST_BYTES_PER_S)
    environ["CONTENT_LENGTH"] = str(len(body))
    if not more:
        environ["wsgi.input"] = io.BytesIO(body)


async def _disconnected(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


def _whole(parts: Iterable[bytes]) -> bytes:
    try:
        return b"".join(parts)
    finally:
        _close(parts)


def _close(parts: Iterable[bytes]) -> None:
    close = getattr(parts, "close", None)
    if close is not None:
        close()

"""The bridge from ASGI to WSGI, without a server: requests that come whole, late, too long, or too many."""

import asyncio
import threading
from collections.abc import Callable, Coroutine, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

import pytest

from roastlog.web.front import bridge
from roastlog.web.front.bridge import Bridge, environ_of
from roastlog.web.http.security import THIS_COMPUTER

PATIENCE_S = 10.0
T = TypeVar("T")


def completed(work: Coroutine[Any, Any, T]) -> T:
    """The result of a coroutine, run in a thread of its own: the browser tests' loop runs in this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, asyncio.wait_for(work, PATIENCE_S)).result()


class Client:
    """A client of the bridge, as granian would be: parts of a body, then nothing until it disconnects."""

    def __init__(self, *parts: bytes, method: str = "POST", whole: bool = True, **headers: str) -> None:
        names = [(name.replace("_", "-").lower().encode(), text.encode()) for name, text in headers.items()]
        self.scope = scope(method=method, headers=names)
        self._messages = [{"type": "http.request", "body": part, "more_body": True} for part in parts]
        if whole:
            self._messages.append({"type": "http.request", "body": b"", "more_body": False})
        self.gone = asyncio.Event()
        self.sent: list[dict[str, Any]] = []

    async def receive(self) -> dict[str, Any]:
        """The next message."""
        if self._messages:
            return self._messages.pop(0)
        await self.gone.wait()
        return {"type": "http.disconnect"}

    def send(self, message: dict[str, Any]) -> "_Sent":
        """Take a message, from any thread."""
        self.sent.append(message)
        return _Sent()

    @property
    def status(self) -> int:
        """Status of the answer."""
        return int(self.sent[0]["status"])

    @property
    def body(self) -> bytes:
        """Body of the answer so far."""
        return b"".join(message.get("body", b"") for message in list(self.sent[1:]))


class _Sent:
    """A message that was sent at once."""

    def __await__(self) -> Iterator[None]:
        return iter(())


def scope(**given: Any) -> dict[str, Any]:  # noqa: ANN401 - as ASGI has it
    """The scope of a request as granian gives it."""
    return {
        "type": "http",
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "raw_path": b"/",
        "query_string": b"",
        "headers": [],
        "client": ("192.0.2.7", "50000"),
        "server": ("192.0.2.1", "8080"),
    } | given


def echo(environ: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
    """Answer with the method, the length that is told, and the body."""
    start("200 OK", [("Content-Type", "text/plain")])
    body = environ["wsgi.input"].read()
    return [f"{environ['REQUEST_METHOD']} {environ.get('CONTENT_LENGTH')} ".encode(), body]


def ask(app: WSGIApplication, make: Callable[[], Client], sender: str | None = None) -> Client:
    """Send one request; returns the client with its answer."""

    async def run() -> Client:
        client = make()
        await Bridge(app, lambda _: sender)(client.scope, client.receive, client.send)
        return client

    return completed(run())


def test_environment_is_that_of_pep_3333():
    """Bytes of the path are decoded as Latin-1, cookies joined, headers with an underscore dropped."""
    headers = [
        (b"cookie", b"a=1"),
        (b"cookie", b"b=2"),
        (b"x-a", b"1"),
        (b"x-a", b"2"),
        (b"x_a", b"3"),
        (b"host", b"h"),
    ]
    made = environ_of(scope(raw_path=b"/caf%C3%A9%FF", query_string=b"q=%20", headers=headers))
    assert made["PATH_INFO"].encode("latin-1") == b"/caf\xc3\xa9\xff"
    assert (made["QUERY_STRING"], made["HTTP_HOST"]) == ("q=%20", "h")
    assert (made["HTTP_COOKIE"], made["HTTP_X_A"]) == ("a=1; b=2", "1,2")


def test_body_comes_whole_with_its_true_length():
    """A body in parts, without a length, reaches the app in one piece and with its length."""
    assert ask(echo, lambda: Client(b"ab", b"c", transfer_encoding="chunked")).body == b"POST 3 abc"


def test_half_sent_body_takes_no_thread_and_ends(monkeypatch: pytest.MonkeyPatch):
    """A request whose body does not come is answered 408, and the app never sees it."""
    monkeypatch.setattr(bridge, "BODY_S", 0.05)
    asked: list[WSGIEnvironment] = []
    client = ask(lambda environ, _start: asked.append(environ) or [], lambda: Client(b"ab", whole=False))
    assert (client.status, asked) == (408, [])


def test_client_that_leaves_in_its_body_is_not_answered():
    """A request that ends early never reaches the app."""

    def leaving() -> Client:
        client = Client(b"ab", whole=False)
        client.gone.set()
        return client

    assert ask(echo, leaving).sent == []


@pytest.mark.parametrize(("sender", "most"), [(None, bridge.MOST_STRANGER_BYTES), ("device 1", bridge.MOST_BYTES)])
def test_body_that_is_too_long_is_not_kept(sender: str | None, most: int):
    """The app gets only the length, told or counted; strangers may send less."""
    part = bytes(most // 4)
    for more in ({"content_length": str(most + 1)}, {}):
        client = ask(echo, lambda more=more: Client(*[part] * 5, **more), sender)
        method, length, body = client.body.split(b" ")
        assert (method, body) == (b"POST", b"")
        assert int(length) > most
    assert len(ask(echo, lambda: Client(*[part] * 4), sender).body) > most


@pytest.mark.parametrize("slow_sender", ["device 1", THIS_COMPUTER])
def test_one_sender_cannot_take_all_threads(slow_sender: str):
    """While one sender's requests all hang, another one's are answered; then the first one's go on."""
    release = threading.Event()

    def hang(environ: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        if environ["HTTP_X_SENDER"] == slow_sender:
            release.wait(PATIENCE_S)
        return echo(environ, start)

    async def run() -> None:
        made = Bridge(hang, lambda environ: environ["HTTP_X_SENDER"])

        def start(sender: str) -> tuple[Client, "asyncio.Task[None]"]:
            client = Client(x_sender=sender)
            return client, asyncio.create_task(made(client.scope, client.receive, client.send))

        slow = [start(slow_sender) for _ in range(2 * bridge.THREADS)]
        await asyncio.sleep(0)
        client, done = start("device 2")
        await done
        assert client.status == 200
        assert not any(client.sent for client, _ in slow)
        release.set()
        await asyncio.gather(*(task for _, task in slow))
        assert {client.status for client, _ in slow} == {200}

    try:
        completed(run())
    finally:
        release.set()


def test_too_many_strangers_are_sent_away(monkeypatch: pytest.MonkeyPatch):
    """Beyond the number that may wait for a thread, a stranger gets 503 at once."""
    monkeypatch.setattr(bridge, "MOST_WAITING", 3)
    release = threading.Event()

    def hang(environ: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        release.wait(PATIENCE_S)
        return echo(environ, start)

    async def run() -> list[int]:
        made, clients = Bridge(hang, lambda _: None), [Client() for _ in range(bridge.MOST_OF_ONE + 3 + 2)]
        tasks = [asyncio.create_task(made(one.scope, one.receive, one.send)) for one in clients]
        first = asyncio.as_completed(tasks)
        for _ in range(2):
            await next(first)
        release.set()
        await asyncio.gather(*tasks)
        return sorted(one.status for one in clients)

    try:
        assert completed(run()) == [200] * (bridge.MOST_OF_ONE + 3) + [503] * 2
    finally:
        release.set()


def test_stream_ends_with_its_client():
    """Parts arrive one by one from a thread of the stream's own, and the stream is closed once the client has left."""
    closed, threads = threading.Event(), set[str]()

    def parts() -> Iterator[bytes]:
        try:
            while True:
                threads.add(threading.current_thread().name)
                yield b"data: 1\n\n"
        finally:
            closed.set()

    def app(_environ: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        start("200 OK", [("Content-Type", "text/event-stream; charset=utf-8")])
        return parts()

    async def run() -> None:
        client = Client(method="GET")
        task = asyncio.create_task(Bridge(app, lambda _: "device 1")(client.scope, client.receive, client.send))
        while client.body.count(b"data") < 3:  # noqa: ASYNC110 - a thread adds to it
            await asyncio.sleep(0.01)
        client.gone.set()
        await task

    completed(run())
    assert closed.is_set()
    assert threads == {"stream"}


def test_failing_app_is_answered_500():
    """An exception that the app lets out is logged and answered."""

    def broken(_environ: WSGIEnvironment, _start: StartResponse) -> Iterable[bytes]:
        raise ZeroDivisionError

    assert ask(broken, Client).status == 500

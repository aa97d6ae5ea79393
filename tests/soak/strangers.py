"""A server whose connections are held by strangers and by one device's streams, while a paired device taps.

All come from loopback, where no limit for an address applies, so the other limits must hold alone.
"""

import http.client
import json
import resource
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.browser.server import Server
from tests.conftest import SHEET
from tests.launcher import run
from tests.ports import held_port
from tests.soak.killing import entry

TIMEOUT_S: Final = 20.0
HALF_SENT: Final = b"POST /pair HTTP/1.1\r\nHost: localhost\r\n%sContent-Length: 1000\r\n\r\ncode="
FORWARDED: Final = b"X-Forwarded-For: 192.0.2.7\r\n"  # without it, a request from loopback is that of the owner


@dataclass(frozen=True)
class Served:
    """A server with `--lan` on loopback: the port with TLS and the plain door."""

    server: Server
    port: int
    context: ssl.SSLContext

    @property
    def plain_port(self) -> int:
        """Port of the plain door, which serves the app to loopback."""
        return int(self.server.url.rpartition(":")[2])

    def connect(self, *, tls: bool, greet: bool = True) -> socket.socket:
        """A new connection to the port with TLS or to the plain door; with TLS, unless ``greet``, no handshake."""
        wire = socket.create_connection(("127.0.0.1", self.port if tls else self.plain_port), TIMEOUT_S)
        return self.context.wrap_socket(wire, server_hostname="localhost") if tls and greet else wire

    def asking(self) -> http.client.HTTPConnection:
        """A client of the port with TLS, not yet connected."""
        return http.client.HTTPSConnection("localhost", self.port, timeout=TIMEOUT_S, context=self.context)

    def paired(self, role: str) -> dict[str, str]:
        """Pair a device; returns the headers of its requests."""
        client = self.asking()
        body = f"code={self.server.code(role).replace(' ', '')}&name={role}"
        client.request("POST", "/pair", body, {"Content-Type": "application/x-www-form-urlencoded"})
        answer = client.getresponse()
        cookie = (answer.getheader("Set-Cookie") or "").partition(";")[0]
        client.close()
        if answer.status != http.client.SEE_OTHER:
            raise RuntimeError(f"the device was not paired: {answer.status}")
        return {"Cookie": cookie}


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """Start a server with a machine, and stop it afterwards; nothing of it may be left."""
    data, port = folder / "data", held_port()
    (data / "lan").mkdir(mode=0o700, parents=True)
    (data / "lan" / "name").write_text("drumside-8.local", encoding="ascii")
    sheet = folder / "drum-4.toml"
    sheet.write_text(SHEET, encoding="utf-8")
    run(["machine", "import", str(sheet), "--data", str(data)], folder).check_returncode()
    server = Server.start(data, "serve", "--lan", "--secure-port", str(port), drawn=False)
    try:
        yield Served(server, port, ssl.create_default_context(cafile=str(data / "lan" / "authority.pem")))
    finally:
        left = server.stop()
    if left:
        raise RuntimeError(f"processes were left: {left}")


class Phone:
    """A paired device with a batch at the machine."""

    def __init__(self, served: Served) -> None:
        self._served, self._cookie = served, served.paired("operate")
        self.connection = served.asking()
        self._batch = self._say(entry("drum-4", "opened", coffee="Night Ferry"))
        self.tap("charge")

    def tap(self, moment: str) -> None:
        """Tap a moment; it must be stored."""
        self._say(entry("drum-4", "moment", moment=moment) | {"batch": self._batch})

    def open(self, path: str) -> None:
        """Open a page; it must come."""
        self._ask("GET", path, None)

    def close(self) -> None:
        """Close its connection."""
        self.connection.close()

    def connect_again(self) -> None:
        """Use a new connection from now on."""
        self.close()
        self.connection = self._served.asking()

    def _say(self, made: dict[str, object]) -> str:
        told = json.loads(self._ask("POST", "/api/entries", json.dumps({"entries": [made]})))["results"][0]
        if told["status"] != "stored":
            raise RuntimeError(f"the tap was not stored: {told}")
        return str(told["batch"])

    def _ask(self, method: str, path: str, body: str | None) -> bytes:
        self.connection.request(method, path, body, self._cookie | {"Content-Type": "application/json"})
        answer = self.connection.getresponse()
        text = answer.read()
        if answer.status != http.client.OK:
            raise RuntimeError(f"{path} gave {answer.status}: {text[:200]!r}")
        return text


@dataclass
class Held:
    """Connections that are held: half-sent posts, which get another byte each second, and idle ones.

    Attributes
    ----------
    watching, refused
        How many streams of the device were opened, and how many were refused.
    opened_again
        How many connections the server ended, and were opened again.
    """

    half_sent: list[socket.socket]
    idle: list[socket.socket]
    watching: int
    refused: int
    opened_again: int = 0


@contextmanager
def holding(served: Served, posts: int, idle: int, streams: int) -> Iterator[Held]:
    """Hold so many half-sent posts and idle connections, on both ports, and streams of one device."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, min(hard, posts + idle + streams + 512)), hard))
    screen = served.paired("look")
    clients = [served.asking() for _ in range(streams)]
    for client in clients:
        client.request("GET", "/machines/drum-4/live", headers=screen)
    answers = [client.getresponse() for client in clients]
    statuses = [answer.status for answer in answers]
    held = Held(
        [_half_sent(served, number) for number in range(posts)],
        [_idle(served, number) for number in range(idle)],
        watching=statuses.count(http.client.OK),
        refused=statuses.count(http.client.SERVICE_UNAVAILABLE),
    )
    stop = threading.Event()
    keeping_up = threading.Thread(target=_keep_up, args=(served, held, stop))
    keeping_up.start()
    try:
        yield held
    finally:
        stop.set()
        keeping_up.join()
        for one in (*held.half_sent, *held.idle, *answers, *clients):
            one.close()


def _half_sent(served: Served, number: int) -> socket.socket:
    wire = served.connect(tls=number % 2 == 0)
    wire.sendall(HALF_SENT % (FORWARDED if number % 4 > 1 else b""))
    wire.setblocking(False)
    return wire


def _idle(served: Served, number: int) -> socket.socket:
    wire = served.connect(tls=number % 3 > 0, greet=number % 3 > 1)
    wire.setblocking(False)
    return wire


def _keep_up(served: Served, held: Held, stop: threading.Event) -> None:
    while not stop.wait(1.0):
        for wires, open_again, more in ((held.half_sent, _half_sent, b"x"), (held.idle, _idle, b"")):
            for number, wire in enumerate(wires):
                if not _is_held(wire, more):
                    wire.close()
                    wires[number] = open_again(served, number)
                    held.opened_again += 1


def _is_held(wire: socket.socket, more: bytes) -> bool:
    """Send some more; returns False if there is an answer, or the end."""
    try:
        if more:
            wire.send(more)
        wire.recv(1)
    except (BlockingIOError, ssl.SSLWantReadError):
        return True
    except OSError:
        pass
    return False


def besiege(
    folder: Path, posts: int, idle: int, streams: int, count: int
) -> tuple[dict[str, list[float]], dict[str, list[float]], Held]:
    """Measure a phone before and while connections are held; returns the times of each of its works. [ms]"""
    with served(folder) as here, closing(Phone(here)) as phone:

        def tap_anew() -> None:
            phone.connect_again()
            phone.tap("yellow")

        works = {
            "tap": lambda: phone.tap("yellow"),
            "tap on a new connection": tap_anew,
            "Today": lambda: phone.open("/"),
            "live page": lambda: phone.open("/machines/drum-4"),
        }
        free = {name: times_ms(count, work) for name, work in works.items()}
        with holding(here, posts, idle, streams) as held:
            return free, {name: times_ms(count, work) for name, work in works.items()}, held


def times_ms(count: int, work: Callable[[], None], pause_s: float = 0.1) -> list[float]:
    """Times of some work, sorted. [ms]"""
    found = []
    for _ in range(count):
        begun_s = time.perf_counter()
        work()
        found.append(1000 * (time.perf_counter() - begun_s))
        time.sleep(pause_s)
    return sorted(found)

"""Server cost of a live page's HTML: processor time, which is independent of other load."""

import http.client

from tests.bench.drumside import PAGE, Roast
from tests.bench.report import Figure
from tests.bench.roast import MINUTE_15_S
from tests.bench.running import Running

LOADS = 40


def measure(ours: Running, bare: Running) -> list[Figure]:
    """The page in minute 15, beside one with a button."""
    with Roast(ours.port, MINUTE_15_S):
        idle_ms = _cpu_ms(ours, "/healthz")  # cost of readings and advice meanwhile
        page_ms = _cpu_ms(ours, PAGE) - idle_ms
    name = "server time a live page in minute 15"
    return [Figure(name, page_ms, "ms CPU", _cpu_ms(bare, "/button"), "bare page with a button", "≤ 60 ms")]


def _cpu_ms(server: Running, path: str) -> float:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
    _read(connection, path)  # the first one makes the shared parts
    before_s = server.cpu_s()
    for _ in range(LOADS):
        _read(connection, path)
    took_ms = 1000 * (server.cpu_s() - before_s) / LOADS
    connection.close()
    return took_ms


def _read(connection: http.client.HTTPConnection, path: str) -> None:
    connection.request("GET", path, headers={"Accept-Encoding": "gzip"})
    answer = connection.getresponse()
    answer.read()
    if answer.status != http.client.OK:
        raise RuntimeError(f"{path} gave {answer.status}")

"""Time from sending a tap until 20 watchers have received it."""

import http.client
import time
from collections.abc import Callable

from tests.bench.drumside import LIVE, Roast
from tests.bench.report import Figure, quantile
from tests.bench.running import Running, post
from tests.bench.watchers import watching

WATCHERS = 20
TAPS = 60
PAUSE_S = 0.15


def measure(ours: Running, bare: Running) -> list[Figure]:
    """Send notes in minute 5, with readings at 4 Hz beside them; the floor is a relay without other work."""
    connection = http.client.HTTPConnection("127.0.0.1", bare.port)
    floor_s = _delays_s(bare.port, "/watch", lambda number: _relay(connection, number))
    connection.close()
    with Roast(ours.port, 300) as roast:
        delays_s = _delays_s(ours.port, LIVE, lambda number: roast.say("note", {"text": f"note {number}"}))
    return [
        Figure(
            f"tap to {WATCHERS} watchers, {name}",
            1000 * quantile(delays_s, share),
            "ms",
            1000 * quantile(floor_s, share),
            "bare SSE relay",
            "≤ 150 ms" if name == "p95" else "",
        )
        for name, share in (("p50", 0.5), ("p95", 0.95))
    ]


def _delays_s(port: int, path: str, tap: Callable[[int], str]) -> list[float]:
    delays_s: list[float] = []
    with watching(port, path, WATCHERS, "entry") as watchers:
        time.sleep(0.5)
        for number in range(TAPS):
            sent_s = time.perf_counter()
            word = tap(number)
            delays_s += [heard_s - sent_s for heard_s in watchers.when(word, WATCHERS)]
            time.sleep(PAUSE_S)
    return delays_s


def _relay(connection: http.client.HTTPConnection, number: int) -> str:
    word = f"note {number}."
    post(connection, "/tap", {"text": word})
    return word

"""A server of the test's own process whose clock stands still, with a batch in its drum."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from werkzeug.serving import make_server

from roastlog.instruments.base import Reading
from tests.browser.screen import Screen
from tests.conftest import Bench

NOW_S = 400


@dataclass
class Roasting:
    """A server whose clock stands still, and the batch in its drum."""

    bench: Bench
    url: str

    def feed(self, from_s: int, temps_c: np.ndarray, **others: np.ndarray) -> None:
        """A reading of each channel each second."""
        live = self.bench.services.runtime.live("drum-4")
        for index, temp_c in enumerate(temps_c):
            self.bench.clock.turn_to(from_s + index)
            values = {"bean_probe": temp_c} | {name: column[index] for name, column in others.items()}
            live.take([Reading(self.bench.clock.now_ms(), name, float(value)) for name, value in values.items()])

    def roast(self) -> str:
        """Charge a batch, let it go to `NOW_S` and mark yellow; its code."""
        code = self.bench.open(coffee="Alder washed", green_g=4000)
        self.bench.say(self.bench.entry("moment", 0, batch=code, moment="charge"))
        seconds = np.arange(NOW_S)
        noise = np.random.default_rng(3).normal(0.0, 0.1, NOW_S)
        self.feed(0, 95 + 105 * np.exp(-seconds / 20) + seconds * 0.2 + noise, bean_surface=90 + seconds * 0.21 + noise)
        self.bench.say(self.bench.entry("moment", 300, batch=code, moment="yellow"))
        return code

    def tell(self, **advice: object) -> None:
        """Tell all screens an outlook, as the desk does."""
        outlook: dict[str, object] = {"ahead": [], "says": "", "heads_up": [], "suggestions": []}
        self.bench.services.live.hub("drum-4").tell("outlook", outlook | advice)


@contextmanager
def roasting(bench: Bench) -> Iterator[Roasting]:
    """The app, answering on loopback."""
    server = make_server("127.0.0.1", 0, bench.app, threaded=True)
    server.daemon_threads = True  # a stream ends with the hub, after this
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield Roasting(bench, f"http://127.0.0.1:{server.server_port}")
    bench.services.live.hub("drum-4").close()
    server.shutdown()
    thread.join()
    server.server_close()


def ready(live: Screen) -> None:
    """Open the live page and wait for its chart, its stream and the desk's own outlook; then the test's is the newest.

    The clock stands still, so the desk has no other to tell.
    """
    live.open_live()
    live.until(lambda: not live.draws or len(live.columns("live")["t_s"]) > 60, "no curve")
    live.page.wait_for_timeout(2000)  # what the page fetches once its chart stands, and what the desk says each second

"""A house whose server stops and restarts behind a network that can be cut: shared by the offline tests."""

import time
from pathlib import Path
from typing import Any, Final
from urllib.request import Request, urlopen

from tests.browser.screen import Screen
from tests.browser.server import Server
from tests.browser.wire import Wire
from tests.checkout import ROOT

CUT_ERRORS: Final = ["ERR_", "status of 50", "Failed to fetch", "Fetch API cannot load", "fetching the script"]


class House:
    """A server that can be stopped and started anew on its folder, behind a wire that can be cut."""

    def __init__(self, folder: Path, *, drawn: bool) -> None:
        self._folder, self._drawn = folder, drawn
        self.server = Server.start(folder, "serve", drawn=drawn)
        self.wire = Wire(self.server.url)
        with urlopen(Request(f"{self.server.url}/machines/practice", b""), timeout=60) as page:
            assert page.status == 200
        self.machine = self.server.get("/healthz")["machines"][0]["id"]

    def stop(self) -> None:
        """End the server, as Ctrl-C does."""
        assert self.server.stop() == []

    def start(self, root: Path = ROOT) -> None:
        """Start it anew, from another checkout if asked."""
        self.server = Server.start(self._folder, "serve", root=root, drawn=self._drawn)
        self.wire.aim(self.server.url)

    def said(self, kind: str) -> list[dict[str, Any]]:
        """The entries of a kind, in the order in which the server took them."""
        entries = self.server.get(f"/api/entries?machine={self.machine}&after=0")["entries"]
        return [entry for entry in entries if entry["kind"] == kind]

    def ahead_ms(self) -> float:
        """By how much the server's clock is ahead of this computer's: the quickest of some round trips."""
        trips = []
        for _ in range(10):
            asked_s = time.time()
            now_ms = self.server.get("/api/clock")["now_ms"]
            answered_s = time.time()
            trips.append((answered_s - asked_s, now_ms - 500 * (asked_s + answered_s)))
        return min(trips)[1]


def kept_live(phone: Screen, house: House) -> None:
    """Open the live page, and wait until the worker keeps it."""
    phone.open_live(house.machine)
    phone.until(lambda: f"/machines/{house.machine}" in kept_paths(phone), "the live page is not kept")


def kept_paths(phone: Screen) -> list[str]:
    """Paths of all that the worker keeps."""
    found: list[str] = phone.page.evaluate("""async () => {
      const kept = [];
      for (const name of await caches.keys()) {
        for (const { url } of await (await caches.open(name)).keys()) kept.push(new URL(url).pathname);
      }
      return kept;
    }""")
    return found

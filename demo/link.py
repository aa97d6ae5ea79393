"""The demo operator's API client: sends its entries and polls for all others, over HTTP on loopback."""

import json
import sys
import threading
import time
from collections import deque
from http.client import HTTPException
from typing import Any, Final
from urllib.error import HTTPError
from urllib.parse import quote
from urllib.request import ProxyHandler, Request, build_opener

Json = dict[str, Any]
TIMEOUT_S: Final = 3.0
CLOCK_EVERY_S: Final = 5.0


class Link:
    """A thread that talks to Drumside and retries forever; all its timeouts are short.

    Parameters
    ----------
    url
        URL of Drumside.
    machine
        Machine to poll for entries.
    token
        API token, if there is one.
    every_s
        How often to ask for entries. [s, real]
    """

    def __init__(self, url: str, machine: str, *, token: str | None = None, every_s: float = 0.3) -> None:
        self._url, self._machine, self._token, self._every_s = url.rstrip("/"), machine, token, every_s
        self._opener = build_opener(ProxyHandler({}))
        self._outbox: deque[list[Json]] = deque()
        self._inbox: deque[Json] = deque()
        self._seq = 0
        self._anchor: tuple[float, float, float] | None = None  # monotonic s, Drumside's ms, its rate
        self._stop = threading.Event()
        self._work = threading.Event()
        self._told: set[str] = set()
        self._thread = threading.Thread(target=self._run, name="drumside", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self) -> None:
        """Stop the thread after the current request."""
        self._stop.set()
        self._work.set()
        if self._thread.is_alive():
            self._thread.join(TIMEOUT_S + 1.0)

    def send(self, entries: list[Json]) -> None:
        """Queue entries to send, in order."""
        if entries:
            self._outbox.append(entries)
            self._work.set()

    def heard(self) -> list[Json]:
        """Entries received since the last call."""
        heard = []
        while self._inbox:
            heard.append(self._inbox.popleft())
        return heard

    def now_ms(self) -> int | None:
        """Drumside's clock; None until it has answered. [ms UTC]"""
        anchor = self._anchor
        if anchor is None:
            return None
        return int(anchor[1] + (time.monotonic() - anchor[0]) * 1000.0 * anchor[2])

    def _run(self) -> None:
        clock_s = -CLOCK_EVERY_S
        while not self._stop.is_set():
            try:
                if time.monotonic() - clock_s >= CLOCK_EVERY_S:
                    self._call("/healthz")
                    self._set_clock()
                    clock_s = time.monotonic()
                self._post()
                self._poll()
            except HTTPError as error:
                with error:
                    self._tell(f"Drumside answers {error.code} to the demo's operator: {error.reason}")
            except (OSError, HTTPException, ValueError, KeyError):
                pass  # It is not up yet, or just going down: the next round will tell.
            self._work.wait(self._every_s)
            self._work.clear()

    def _set_clock(self) -> None:
        before_s = time.monotonic()
        answer = self._call("/api/clock")
        middle_s = (before_s + time.monotonic()) / 2.0
        self._anchor = (middle_s, float(answer["now_ms"]), float(answer["rate"]))

    def _post(self) -> None:
        while self._outbox:
            answer = self._call("/api/entries", {"entries": self._outbox[0]})
            self._outbox.popleft()
            for result in answer.get("results", []):
                if result.get("status") == "refused":
                    self._tell(f"Drumside refused an entry of the demo's operator: {result.get('reason')}")

    def _poll(self) -> None:
        answer = self._call(f"/api/entries?machine={quote(self._machine)}&after={self._seq}")
        entries = answer["entries"]
        self._inbox.extend(entries)
        self._seq = max((int(entry["seq"]) for entry in entries), default=self._seq)

    def _call(self, path: str, body: Json | None = None) -> Json:
        headers = {"Accept": "application/json"}
        if self._token:
            headers["Authorization"] = f"Bearer {self._token}"
        data = None
        if body is not None:
            data = json.dumps(body).encode()
            headers["Content-Type"] = "application/json"
        request = Request(self._url + path, data=data, headers=headers)
        with self._opener.open(request, timeout=TIMEOUT_S) as response:
            answer = json.load(response)
        if not isinstance(answer, dict):
            raise ValueError("an answer that is no object")  # noqa: TRY004, one kind of error for odd answers
        return answer

    def _tell(self, text: str) -> None:
        """Print a problem once."""
        if text not in self._told:
            self._told.add(text)
            print(text, file=sys.stderr, flush=True)

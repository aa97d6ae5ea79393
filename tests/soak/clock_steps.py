"""A roast while the computer's clock is set forward and back: no time of it may be wrong."""

import http.client
import itertools
import json
import sqlite3
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from roastlog.store.backups import FILE_NAME
from tests.recording.test_hub import until
from tests.soak.killing import entry, post
from tests.soak.stepped import DAY_S, HOUR_S, MINUTE_S, SteppedServer

LEADS_S: Final = (5 * MINUTE_S, -2 * HOUR_S, 3 * HOUR_S, -10 * MINUTE_S, DAY_S, -DAY_S, 0)
"""Leads of the wall clock amid a roast, one after the other. [s]"""
NEAR_S: Final = 1.0
"""Most that a time may be wrong by, besides the time that its request took. [s]"""
STALE_S: Final = 20.0  # of a reading's age: the least step is minutes, and a busy computer is late by seconds


@dataclass(frozen=True)
class Said:
    """An acknowledged entry or reading: when it was sent and answered, by the true clock. [s]"""

    sent_s: float
    answered_s: float

    def holds(self, at_ms: float, lead_s: float) -> bool:
        """Whether a time by a clock with that lead is right."""
        at_s = at_ms / 1000 - lead_s
        return self.sent_s - NEAR_S <= at_s <= self.answered_s + NEAR_S


@dataclass(frozen=True)
class Stepped:
    """A roast while the wall clock was stepped.

    Attributes
    ----------
    code
        The batch.
    entries, readings
        How many were acknowledged.
    events
        How many readings the stream of the live page carried.
    wrong
        All that was not as promised, in words.
    """

    code: str
    entries: int
    readings: int
    events: int
    wrong: list[str]


class Roast:
    """A batch with readings from two senders, taps, a live page and checks of health, each on a thread."""

    def __init__(self, server: SteppedServer) -> None:
        self._server = server
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self.lead_s = self._anchored()
        self._wrong: list[str] = []
        self._events = 0
        self._entries: dict[str, tuple[str, Said]] = {}
        self._stamped: dict[int, float] = {}  # value by at_ms: sent with the phone's clock
        self._bare: dict[float, Said] = {}  # by value: sent without a time
        self._threads = [
            threading.Thread(target=self._run, args=(job,))
            for job in (self._push_stamped, self._push_bare, self._watch, self._look)
        ]
        self.code = self.tap("opened", coffee="Night Ferry")
        self.tap("charge")
        for thread in self._threads:
            thread.start()

    def _anchored(self) -> float:
        """Lead of the server's clock, which must stay the same, from the quickest of some answers. [s]"""
        took_s, lead_s = min(self._measured() for _ in range(5))
        return lead_s if took_s < NEAR_S else self._anchored()

    def _measured(self) -> tuple[float, float]:
        begun_s = time.time()
        now_ms = self._server.ask("GET", "/api/clock")[1]["now_ms"]
        took_s = time.time() - begun_s
        return took_s, now_ms / 1000 - begun_s - took_s / 2

    def _now_ms(self) -> int:
        """The phone's clock, which it has set by the server's."""
        return round((time.time() + self.lead_s) * 1000)

    def tap(self, kind: str, **body: object) -> str:
        """Tap a moment, or make another entry, by the phone's clock; returns the batch."""
        made = entry("drum-4", kind, **body) if body else entry("drum-4", "moment", moment=kind)
        made |= {"at_ms": self._now_ms()} | ({"batch": self.code} if kind != "opened" else {})
        sent_s = time.time()
        status, told = self._server.ask("POST", "/api/entries", {"entries": [made]})
        if status != http.client.OK or told["results"][0]["status"] != "stored":
            self._say(f"{kind} was answered by {status} {told}")
            return ""
        with self._lock:
            self._entries[str(made["id"])] = kind, Said(sent_s, time.time())
        return str(told["results"][0]["batch"])

    def end(self) -> None:
        """Stop the threads."""
        self._stop.set()
        for thread in self._threads:
            thread.join()

    def checked(self) -> Stepped:
        """The findings, once the batch is on the disk."""
        self.end()
        with suppress(AssertionError):  # they are missing, which is said below
            until(self._is_saved, STALE_S)
        self._check_entries()
        self._check_readings()
        self._check_curve()
        return Stepped(
            self.code, len(self._entries), len(self._stamped) + len(self._bare), self._events, list(self._wrong)
        )

    def _say(self, wrong: str) -> None:
        with self._lock:
            self._wrong.append(wrong)

    def _run(self, job: Callable[[http.client.HTTPConnection], None]) -> None:
        with closing(http.client.HTTPConnection("127.0.0.1", self._server.port, timeout=30)) as connection:
            try:
                job(connection)
            except Exception as error:  # noqa: BLE001 - whatever it is, it is a finding
                self._say(f"{job.__name__}: {error!r}")

    def _push_stamped(self, connection: http.client.HTTPConnection) -> None:
        last_ms, number = 0, 0
        while not self._stop.wait(0.2):
            last_ms, number = max(last_ms + 1, self._now_ms()), number + 1
            self._push(connection, {"at_ms": last_ms, "channel": "bean_surface", "value": 100 + number / 10})
            self._stamped[last_ms] = 100 + number / 10

    def _push_bare(self, connection: http.client.HTTPConnection) -> None:
        number = 0
        while not self._stop.wait(0.2):
            number += 1
            sent_s = time.time()
            self._push(connection, {"channel": "bean_probe", "value": 100 + number / 10})
            self._bare[100 + number / 10] = Said(sent_s, time.time())

    def _push(self, connection: http.client.HTTPConnection, reading: dict[str, object]) -> None:
        told: dict[str, Any] = post(
            connection, "/api/machines/drum-4/readings", {"readings": [reading]}, http.client.ACCEPTED
        )
        if told["accepted"] != 1:
            self._say(f"a reading was refused: {told}")

    def _watch(self, connection: http.client.HTTPConnection) -> None:
        """Look at the stream of the live page: no reading is ahead of the clock, none goes back."""
        connection.request("GET", "/machines/drum-4/live")
        answer = connection.getresponse()
        name, newest_ms = "", 0
        while not self._stop.is_set():
            line = answer.readline().decode().rstrip()
            if line.startswith("event:"):
                name = line.removeprefix("event:").strip()
            elif line.startswith("data:") and name == "reading":
                told = json.loads(line.removeprefix("data:"))
                self._events += 1
                at_ms, rows = told["at_ms"], [row for row in (told["rows"] or {}).get("t_s", []) if row is not None]
                if not newest_ms <= at_ms <= self._now_ms() + 1000 * NEAR_S:
                    self._say(f"the stream went from {newest_ms} to {at_ms}, at {self._now_ms()}")
                if any(later - earlier != 1 for earlier, later in itertools.pairwise(rows)):
                    self._say(f"the rows of the stream have a gap: {rows}")
                newest_ms = at_ms
        connection.close()

    def _look(self, connection: http.client.HTTPConnection) -> None:
        """Ask for health and for the age of the last reading, again and again."""
        while not self._stop.wait(0.3):
            told: dict[str, Any] = {}
            for path in ("/healthz", "/machines/drum-4/view"):
                connection.request("GET", path)
                answer = connection.getresponse()
                if answer.status != http.client.OK:
                    self._say(f"{path} answered {answer.status}")
                told |= json.loads(answer.read())
            heard_ms = told["machines"][0]["last_reading_at_ms"]
            if heard_ms is not None and not -NEAR_S <= (told["now_ms"] - heard_ms) / 1000 <= STALE_S:
                self._say(f"the last reading was {(told['now_ms'] - heard_ms) / 1000} s old")

    def _stored_readings(self) -> dict[int, dict[str, float]]:
        with closing(sqlite3.connect(self._server.folder / FILE_NAME)) as connection:
            rows = connection.execute("SELECT at_ms, data FROM readings ORDER BY at_ms").fetchall()
        sent_s = [said.sent_s for _, said in self._entries.values()]
        since_ms, until_ms = (1000 * (self.lead_s + at_s) for at_s in (min(sent_s) - NEAR_S, time.time() + NEAR_S))
        return {at_ms: json.loads(data) for at_ms, data in rows if since_ms < at_ms < until_ms}

    def _is_saved(self) -> bool:
        rows = self._stored_readings()
        bare = {row["bean_probe"] for row in rows.values() if "bean_probe" in row}
        return rows.keys() >= self._stamped.keys() and bare >= self._bare.keys()

    def _check_entries(self) -> None:
        with closing(sqlite3.connect(self._server.folder / FILE_NAME)) as connection:
            rows = connection.execute("SELECT id, at_ms, received_ms FROM journal").fetchall()
        there = {str(UUID(bytes=ident)): (at_ms, received_ms) for ident, at_ms, received_ms in rows}
        for ident, (kind, said) in self._entries.items():
            if ident not in there:
                self._say(f"{kind} was lost")
            elif not all(said.holds(at_ms, self.lead_s) for at_ms in there[ident]):
                self._say(f"{kind} has the times {there[ident]} and not {said}")
        told = self._server.ask("GET", f"/api/batches/{self.code}")[1]
        listed = [line["id"] for line in told["entries"]]
        if sorted(listed) != sorted(self._entries):
            self._say(f"the record has {len(listed)} entries and not {len(self._entries)}")
        charge_s = next(said.sent_s for kind, said in self._entries.values() if kind == "charge")
        for kind, said in self._entries.values():
            found_s = told["moments"].get(kind)
            if found_s is not None and abs(found_s - (said.sent_s - charge_s)) > NEAR_S:
                self._say(f"{kind} is at {found_s} s and not at {said.sent_s - charge_s}")
        if list(told["moments"]) != sorted(told["moments"], key=told["moments"].__getitem__):
            self._say(f"the moments are out of order: {told['moments']}")

    def _check_readings(self) -> None:
        rows = self._stored_readings()
        stamped = {at_ms: row["bean_surface"] for at_ms, row in rows.items() if "bean_surface" in row}
        if stamped != self._stamped:
            self._say(f"of {len(self._stamped)} readings with a time {len(stamped)} are there, or others")
        bare = [(at_ms, row["bean_probe"]) for at_ms, row in rows.items() if "bean_probe" in row]
        if [value for _, value in bare] != list(self._bare):
            self._say(f"of {len(self._bare)} readings without a time {len(bare)} are there, or others")
        late = [
            at_ms for at_ms, value in bare if value in self._bare and not self._bare[value].holds(at_ms, self.lead_s)
        ]
        if late:
            self._say(f"readings without a time got wrong ones: {late}")

    def _check_curve(self) -> None:
        told = self._server.ask("GET", f"/api/batches/{self.code}/curve")[1]
        drop_s = self._server.ask("GET", f"/api/batches/{self.code}")[1]["moments"].get("drop")
        if told["t_s"] != list(range(len(told["t_s"]))):
            self._say(f"the curve has the rows {told['t_s']}")
        if drop_s is not None and abs(len(told["t_s"]) - 1 - drop_s) > 1.5 * NEAR_S:
            self._say(f"the curve has {len(told['t_s'])} rows, with a drop at {drop_s} s")
        rows = self._stored_readings()
        for channel in ("bean_probe", "bean_surface"):
            times_s = [at_ms / 1000 for at_ms, row in rows.items() if channel in row]
            pauses_s = [later - earlier for earlier, later in itertools.pairwise(times_s)]
            slow_s = sum(pause_s + 1 for pause_s in pauses_s if pause_s > 1)  # a busy computer's, and no step's
            known = {second: value for second, value in enumerate(told[channel]) if value is not None}
            if not known or max(known) - min(known) + 1 - len(known) > slow_s:
                self._say(f"{channel} has gaps: {told[channel]}")
            if list(known.values()) != sorted(known.values()):
                self._say(f"{channel} goes back: {told[channel]}")


def roast(server: SteppedServer, leads_s: Sequence[int], pause_s: float, *, drop: bool = True) -> Stepped:
    """Roast a batch while the wall clock is set to leads, one after the other; returns the findings."""
    moments = iter(("yellow", "first_crack"))
    time.sleep(2 * NEAR_S)  # so that its readings are told from those of the roast before
    roasting = Roast(server)
    try:
        for number, lead_s in enumerate(leads_s):
            time.sleep(pause_s / 2)
            server.set_wall(lead_s)
            time.sleep(pause_s / 2)
            roasting.tap("note", text=f"step {number}")
            if number % 2 == 1 and (moment := next(moments, None)):
                roasting.tap(moment)
        if drop:
            roasting.tap("drop")
        time.sleep(0.5)
        return roasting.checked()
    finally:
        roasting.end()

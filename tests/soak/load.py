"""Cost and losses of eight machines at full rate for an hour of their time, with twenty watching screens.

The server is the ordinary one, its clock set to run fast; the machines' readings are pushed to it by the contract.
"""

import http.client
import statistics
import sys
import threading
import time
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

from roastlog.clock import Clock
from roastlog.services import open_services
from roastlog.store import readings
from roastlog.store.backups import FILE_NAME
from roastlog.store.database import open_database
from tests.bench import roast
from tests.bench.running import Running, get, post, running
from tests.bench.watchers import watching
from tests.ports import held_port

MACHINES = tuple(f"drum-{number}" for number in range(1, 9))
WATCHERS = 20
HERTZ = 4
ROAST_S, APART_S = 720, 840  # a batch, and the time from one charge to the next
EVER = -(1 << 60), 1 << 60
ROLES = ("bean_probe", "bean_surface", "exhaust_air", "inlet_air", "drum", "room")
CHANNELS = "".join(
    f'[[channels]]\nid = "c{number}"\nname = "Channel {number}"\nrole = "{role}"\nhttp = {{}}\n'
    for number, role in enumerate(ROLES)
)
_SERVE = """
import sys
from pathlib import Path
from roastlog.web.server import Serving, serve
serve(Serving(Path(sys.argv[1]), port=int(sys.argv[2]), rate=float(sys.argv[3])))
"""


@dataclass(frozen=True)
class Load:
    """Results of about an hour.

    Attributes
    ----------
    readings, lost : int
        How many readings were acknowledged, and how many of them are not in the database.
    events : int
        How many events all watchers had together.
    behind_s : float
        How far behind the machines' own time a push was at most. [s of their time]
    cpu_ms : float
        Processor time of the server for each reading; all that it does beside is in it. [ms]
    warm_mb, end_mb : float
        Resident memory in the third of the time after warming up, and in the last one, in the median. [MB]
    """

    readings: int
    lost: int
    events: int
    behind_s: float
    cpu_ms: float
    warm_mb: float
    end_mb: float


class Sender:
    """One machine: it pushes each second's readings at the end of the second, and roasts batch after batch."""

    def __init__(self, port: int, machine: str, start_ms: int, rate: float) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self._machine, self._start_ms, self._rate = machine, start_ms, rate
        self._begun_s = time.monotonic()
        self._batch = ""
        self.said: dict[int, dict[str, float]] = {}
        self.behind_s = 0.0
        self.failed: Exception | None = None

    def run(self, seconds: int) -> None:
        """Run for a number of seconds of the machine's time."""
        try:
            for second in range(seconds):
                due_s = self._begun_s + (second + 1) / self._rate
                time.sleep(max(0.0, due_s - time.monotonic()))
                self.behind_s = max(self.behind_s, (time.monotonic() - due_s) * self._rate)
                self._roast(second)
                self._push(second)
        except Exception as error:  # noqa: BLE001 - whatever it is, the one who waits for the thread shall hear of it
            self.failed = error
        finally:
            self._connection.close()

    def _push(self, second: int) -> None:
        rows = {}
        for part in range(HERTZ):
            values = list(roast.values_at(second % APART_S + part / HERTZ).values())
            at_ms = self._start_ms + second * 1000 + part * 1000 // HERTZ
            rows[at_ms] = {f"c{number}": value for number, value in enumerate([*values, *(v + 7 for v in values)])}
        flat = [
            {"at_ms": at_ms, "channel": c, "value": value} for at_ms, row in rows.items() for c, value in row.items()
        ]
        status, told = post(self._connection, f"/api/machines/{self._machine}/readings", {"readings": flat})
        if status != http.client.ACCEPTED or told["refused"]:
            raise RuntimeError(f"readings were not taken: {status} {told}")
        self.said |= rows

    def _roast(self, second: int) -> None:
        place = second % APART_S
        if place == 0:
            self._batch = self._say("opened", second, coffee="Night Ferry", green_g=4000)
            self._say("moment", second, moment="charge")
        elif place == ROAST_S:
            self._say("moment", second, moment="drop")
            self._say("weighed", second, roasted_g=3420)
        elif place in {300, 560}:
            self._say("moment", second, moment="yellow" if place == 300 else "first_crack")
        elif place < ROAST_S and place % 60 == 30:
            self._say("note", second, text=f"Looked at {place} s")

    def _say(self, kind: str, second: int, **body: object) -> str:
        entry: dict[str, object] = {"id": str(uuid4()), "machine": self._machine, "kind": kind, "body": body}
        entry |= {"at_ms": self._start_ms + second * 1000} | ({"batch": self._batch} if kind != "opened" else {})
        status, told = post(self._connection, "/api/entries", {"entries": [entry]})
        if status != http.client.OK or told["results"][0]["status"] != "stored":
            raise RuntimeError(f"{kind} was not kept: {status} {told}")
        return str(told["results"][0]["batch"])


def load(folder: Path, seconds: int, rate: float) -> Load:
    """Run all machines for a number of seconds of their own time, which is ``rate`` times as fast as real time."""
    with closing(open_services(folder, Clock())) as services:
        for machine in MACHINES:
            services.machines.keep_sheet(f'id = "{machine}"\nname = "{machine}"\nbatch_g = [800, 4500]\n{CHANNELS}')
    port = held_port()
    serving = [sys.executable, "-c", _SERVE, str(folder), str(port), str(rate)]
    with running(serving, port) as server, ExitStack() as stack:
        shares = [WATCHERS // len(MACHINES) + (place < WATCHERS % len(MACHINES)) for place in range(len(MACHINES))]
        watchers = [
            stack.enter_context(watching(port, f"/machines/{machine}/live", share, "nothing"))
            for machine, share in zip(MACHINES, shares, strict=True)
        ]
        senders, cpu_s, sizes_mb = _sent(server, seconds, rate)
        events = sum(watched.events for watched in watchers)
    said = {machine: sender.said for machine, sender in zip(MACHINES, senders, strict=True)}
    count = sum(len(row) for rows in said.values() for row in rows.values())
    third = len(sizes_mb) // 3
    return Load(
        readings=count,
        lost=_lost(folder, said),
        events=events,
        behind_s=max(sender.behind_s for sender in senders),
        cpu_ms=1000 * cpu_s / count,
        warm_mb=statistics.median(sizes_mb[third : 2 * third + 1]),
        end_mb=statistics.median(sizes_mb[2 * third :]),
    )


def _sent(server: Running, seconds: int, rate: float) -> tuple[list[Sender], float, list[float]]:
    """Send all data; returns the senders, the server's processor time, and its memory each half machine minute."""
    with closing(http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)) as connection:
        for machine in MACHINES:  # a page with a figure of each, which loads Bokeh
            connection.request("GET", f"/machines/{machine}")
            connection.getresponse().read()
        start_ms: int = get(connection, "/api/clock")["now_ms"]
    before_s = server.cpu_s()
    senders = [Sender(server.port, machine, start_ms, rate) for machine in MACHINES]
    threads = [threading.Thread(target=sender.run, args=(seconds,)) for sender in senders]
    for thread in threads:
        thread.start()
    sizes_mb = [server.resident_mb()]
    while any(thread.is_alive() for thread in threads):
        threads[0].join(30 / rate)
        sizes_mb.append(server.resident_mb())
    for sender in senders:
        if sender.failed is not None:
            raise sender.failed
    return senders, server.cpu_s() - before_s, sizes_mb


def _lost(folder: Path, said: dict[str, dict[int, dict[str, float]]]) -> int:
    """Number of acknowledged readings missing in the database of a stopped server."""
    lost = 0
    with closing(open_database(folder / FILE_NAME)) as db:
        for machine, rows in said.items():
            there = dict(readings.rows_between(db.conn, machine, *EVER))
            for at_ms, row in rows.items():
                found = there.get(at_ms, {})
                lost += sum(found.get(channel) != value for channel, value in row.items())
    return lost

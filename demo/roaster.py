"""The simulated roaster of the demo, a separate process: `python -m demo.roaster --port 5020 --speed 4`.

It serves the physics at N times real time behind Modbus registers and, if it has the URL of Drumside, also simulates
the operator.
"""

import argparse
import os
import signal
import sys
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Any, Final
from uuid import uuid4

from roastlog.clock import Clock
from roastlog.physics.design import GreenCoffee

from .drum import Drum
from .link import Link
from .operating import Job, Operator
from .registers import HOST, RegisterServer
from .scenario import ALDER, COFFEES, INES, MACHINE

LOOP_S: Final = 0.05  # real
HELLO: Final = "The demo's operator roasts this one. Tap anything, and it is yours."
GOODBYE: Final = "Yours now: mark the moments. I turn only the knobs that you leave alone."
FAST: Final = 3.0  # from this speed on, everyone is listened to more often


def main(arguments: Sequence[str] | None = None) -> int:
    """Run until stopped, or until the parent process exits."""
    options = _options(arguments)
    parent = os.getppid()  # before the port answers: whoever waits for that may be gone right after
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    drum = Drum(seed=options.seed)
    try:
        server = _answering(drum, options.port)
    except OSError as error:
        print(error, file=sys.stderr)
        return 2
    print(f"The simulated roaster answers Modbus TCP at {HOST}:{server.port}, unit 1.", flush=True)
    link = None
    if options.drumside:
        every_s = 0.1 if options.speed > FAST else 0.3
        link = Link(options.drumside, options.machine, token=options.token, every_s=every_s)
        link.start()
    try:
        Room(drum, Clock(options.speed), link).run(stop, parent if os.name == "posix" else None)
    finally:
        if link is not None:
            link.stop()
        server.stop()
    return 0


def _answering(drum: Drum, ports: Sequence[int]) -> RegisterServer:
    """Start a server on the first free port of those; raises OSError if none is free."""
    *firsts, last = [RegisterServer(drum, port) for port in ports]
    for server in firsts:
        with suppress(OSError):
            server.start()
            return server
    last.start()
    return last


class Room:
    """The drum with its clock and its operator.

    Parameters
    ----------
    drum
        The machine.
    clock
        Its time.
    link
        To Drumside; None for a machine with no one at it.
    """

    def __init__(self, drum: Drum, clock: Clock, link: Link | None) -> None:
        self._drum, self._clock, self._link = drum, clock, link
        self._then_ms = clock.now_ms()
        self._begun = False
        job = Job(ALDER, f"{INES} (demo)", ALDER.green_g, seed=7, hello=HELLO, goodbye=GOODBYE)
        self._operator = Operator(drum, job, new_id=lambda: str(uuid4()), bean_of=bean_of)
        if link is not None:
            self._operator.prepare(self._then_ms)

    def run(self, stop: threading.Event, parent: int | None) -> None:
        """Run until stopped, or until this process has another parent."""
        while not stop.wait(LOOP_S):
            self.go_on()
            if parent is not None and os.getppid() != parent:
                return

    def go_on(self) -> None:
        """Catch up with the clock: process entries, then step the machine and the operator second by second."""
        now_ms = self._clock.now_ms()
        theirs_ms = self._link.now_ms() if self._link is not None else None
        if self._link is not None and theirs_ms is not None:
            self._link.send(self._operator.hear(self._link.heard(), theirs_ms))
            if not self._begun:
                self._begun = True
                self._link.send(self._operator.begin(theirs_ms))
        while self._then_ms < now_ms:
            step_ms = min(1000, now_ms - self._then_ms)
            self._drum.advance(step_ms / 1000.0)
            self._then_ms += step_ms
            if self._link is not None and theirs_ms is not None:
                self._link.send(self._operator.tick(theirs_ms - (now_ms - self._then_ms)))


def bean_of(facts: Mapping[str, Any]) -> GreenCoffee:
    """The bean of a batch by its opening entry: a demo coffee by lot or name, else a default."""
    for coffee in COFFEES:
        if facts.get("lot") == coffee.lot.code or facts.get("coffee") == coffee.lot.coffee:
            return coffee.bean
    return GreenCoffee()


def _options(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m demo.roaster", description=(__doc__ or "").split("\n", 1)[0])
    words = "where to answer Modbus TCP, on loopback only: the first of these that is free (5020); 0: any"
    parser.add_argument("--port", type=int, nargs="+", default=[5020], help=words)
    parser.add_argument("--speed", type=float, default=1.0, help="how many times faster than real time it runs")
    parser.add_argument("--drumside", help="address of Drumside, such as http://127.0.0.1:8000; none: no operator")
    parser.add_argument("--machine", default=MACHINE, help="id of this machine in Drumside")
    parser.add_argument("--token", default=os.environ.get("DRUMSIDE_TOKEN"), help="API token (or DRUMSIDE_TOKEN)")
    parser.add_argument("--seed", type=int, default=0, help="of the instruments' noise")
    options = parser.parse_args(arguments)
    if not 0.01 <= options.speed <= 1000:
        parser.error(f"--speed is between 0.01 and 1000, not {options.speed:g}")
    return options


if __name__ == "__main__":
    raise SystemExit(main())

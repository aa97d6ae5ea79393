"""Soak: long tests that print figures: ``python -m tests.soak``, or with the names of parts.

Exit code 1 where a promise did not hold.
"""

import random
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from statistics import median

from roastlog.services import open_services
from roastlog.web.app import create_app
from tests.bench.report import quantile
from tests.conftest import SHEET, Bench, HandClock
from tests.soak import clock_starts, clock_steps
from tests.soak.faketime import MISSING
from tests.soak.flood import Flood
from tests.soak.killing import Killing, seed
from tests.soak.load import load
from tests.soak.packing import kill_packing
from tests.soak.power import cuts, written, wrong_after
from tests.soak.races import PAIRS, faults
from tests.soak.stepped import stepped_server
from tests.soak.strangers import besiege
from tests.soak.upgrade import EARLIER, upgrade

POINTS = 50
LONGEST_S = 6.0
LOADED_S, RATE = 3600, 20.0
FLOOD_S = 40.0
FLAT_MB, MOST_MS = 5.0, 2.0
POWER_STEPS, TORN = 120, 5
STEPPED_EVERY_S = 10.0
HELD, ASKED, MOST_TAP_MS = (500, 2000, 300), 60, 300.0


def kill() -> bool:
    """Kill the server at 50 random points under load; compare acknowledged with stored data."""
    number = seed()
    with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder:
        killing = Killing(Path(folder), random.Random(number))
        try:
            points = killing.points(POINTS, LONGEST_S)
        finally:
            killing.end()
    lost_s = sorted(point.lost_s for point in points)

    def total(what: str) -> int:
        return sum(getattr(point, what) for point in points)

    print(f"kill -9 at {len(points)} random points under load (seed {number})")
    print(f"  entries acknowledged {total('entries')}, lost {total('lost_entries')}")
    print(f"  readings acknowledged {total('readings')}, lost {total('lost_readings')}")
    print(f"  oldest lost reading before the kill: median {lost_s[len(lost_s) // 2]:.2f} s, most {lost_s[-1]:.2f} s")
    print(f"  readings lost before one that was kept: {total('holes')}")
    print(f"  from start to first answer, imports aside: most {max(point.up_s for point in points):.2f} s")
    return not any(point.lost_entries or point.holes for point in points)


def packing() -> bool:
    """Kill a packing program at 50 random points."""
    number = seed()
    with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder:
        kept, missing = kill_packing(Path(folder), POINTS, random.Random(number))
    print(f"kill -9 at {POINTS} random points of packing (seed {number})")
    print(f"  readings kept {kept}, missing {missing}")
    return missing == 0


def power() -> bool:
    """Cut the power at every frame of the log and amid the sectors and pages of each write; start on what is left."""
    number = seed()
    rng, tried, wrong = random.Random(number), 0, Counter[str]()
    with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder:
        states = written(Path(folder), POWER_STEPS, rng)
    for cut in cuts(states, rng, torn=TORN):
        tried += 1
        wrong.update([found] if (found := wrong_after(cut, states)) else [])
    print(f"{tried} power cuts in {POWER_STEPS} writes (seed {number})")
    print(
        f"  entries acknowledged in the end {len(states[-1].entries)}; cuts with a fault {wrong.total()} {dict(wrong)}"
    )
    return not wrong


def races() -> bool:
    """Race every pair of owners' actions."""
    with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder:
        clock = HandClock()
        services = open_services(Path(folder), clock)
        services.machines.keep_sheet(SHEET)
        services.start()
        try:
            found = faults(Bench(services, clock, create_app(services)), PAIRS)
        finally:
            services.close()
    print(f"{len(PAIRS)} pairs of owners' actions at once; faults: {found or 'none'}")
    return not found


def upgrades() -> bool:
    """Start the server on a database of each earlier version while taps wait for it, and kill it."""
    held = True
    for name in EARLIER:
        with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder:
            done = upgrade(Path(folder), name)
        print(f"started on a database without {name}, while taps waited: {done}")
        held = held and done.acknowledged > 0 and done.lost == done.missing == 0
    return held


def steady() -> bool:
    """Run eight machines for an hour of their time, with twenty screens: no loss, flat memory, low load."""
    with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder:
        done = load(Path(folder), LOADED_S, RATE)
    grown_mb = done.end_mb - done.warm_mb
    print(f"8 machines of 6 channels at 4 Hz for {LOADED_S / 60:.0f} min of their time at {RATE:.0f} times, 20 screens")
    print(f"  readings acknowledged {done.readings}, lost {done.lost}; events told {done.events}")
    print(f"  server time a reading, with all that it does: {done.cpu_ms:.3f} ms (promised: < {MOST_MS:.0f} ms)")
    print(f"  memory once warm {done.warm_mb:.1f} MB, at the end {done.end_mb:.1f} MB (promised: ± {FLAT_MB:.0f} MB)")
    print(f"  a push was late by at most {done.behind_s:.1f} s of the machines' time")
    return done.lost == 0 and abs(grown_mb) <= FLAT_MB and done.cpu_ms < MOST_MS


def flood() -> bool:
    """Flood a server with entries, old readings and exports beside live readings and taps, then kill it."""
    number = seed()
    with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder:
        flooding = Flood(Path(folder), random.Random(number))
        try:
            done = flooding.run(FLOOD_S)
        finally:
            flooding.end()
    p50_s, p99_s = (quantile(done.tap_s, share) for share in (0.5, 0.99))
    print(f"floods for {FLOOD_S:.0f} s, then kill -9 (seed {number})")
    print(f"  entries of floods {done.entries}, old readings {done.readings}; entries lost {done.lost_entries}")
    print(f"  {len(done.tap_s)} taps: p50 {1000 * p50_s:.0f} ms, p99 {1000 * p99_s:.0f} ms (aim: 150 ms)")
    print(f"  oldest lost live reading before the kill: {done.lost_s:.2f} s (aim: 1.5 s)")
    return done.lost_entries == 0


def strangers() -> bool:
    """Hold a server's connections with half-sent posts, idle ones and one device's streams, while a phone taps."""
    posts, idle, streams = HELD
    with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder:
        free_ms, held_ms, held = besiege(Path(folder), posts, idle, streams, ASKED)
    print(f"{posts} half-sent posts and {idle} idle connections, on both ports; opened again: {held.opened_again}")
    print(f"  streams of one device: {held.watching} of {streams}, {held.refused} refused")
    for title, of in (("free", free_ms), ("held", held_ms)):
        for name, times in of.items():
            p95 = quantile(times, 0.95)
            print(f"  {title}, {name}: median {median(times):.1f} ms, p95 {p95:.1f} ms, most {times[-1]:.1f} ms")
    print(f"  promised: p95 of a tap while they are held less than {MOST_TAP_MS:.0f} ms")
    return all(quantile(times, 0.95) < MOST_TAP_MS for name, times in held_ms.items() if name.startswith("tap"))


def clock() -> bool:
    """Step the wall clock amid a roast, between roasts, and before starts."""
    if MISSING is not None:
        print(f"steps of the wall clock: not tried, {MISSING}")
        return True
    wrong: list[str] = []
    leads_s = clock_steps.LEADS_S
    with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder, stepped_server(Path(folder)) as server:
        done = clock_steps.roast(server, leads_s, STEPPED_EVERY_S)
        print(f"{len(leads_s)} steps of the wall clock amid a roast, an hour's and a day's both ways")
        print(f"  entries {done.entries}, readings {done.readings}, readings on the live page {done.events}")
        wrong += done.wrong + clock_starts.wrong_after_following(server)
    with tempfile.TemporaryDirectory(prefix="drumside-soak-") as folder, stepped_server(Path(folder)) as server:
        starts = clock_starts.Starts(server)
        for lead_s in clock_starts.LEADS_S:
            starts.start(lead_s, backed_up=True)
        wrong += starts.wrong
    print(f"  kill -9 and a start on another wall clock: {len(clock_starts.LEADS_S)}, from a year back to a year ahead")
    print("\n".join(["  faults: none"] if not wrong else [f"  fault: {one}" for one in wrong]))
    return not wrong


PARTS: dict[str, Callable[[], bool]] = {
    "kill": kill,
    "packing": packing,
    "power": power,
    "races": races,
    "upgrades": upgrades,
    "load": steady,
    "flood": flood,
    "strangers": strangers,
    "clock": clock,
}


def main(asked: list[str]) -> int:
    """Run the named parts, or all; returns 1 if one failed."""
    held = [PARTS[name]() for name in asked or PARTS]
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

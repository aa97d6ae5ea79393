"""Cost of the simulated machine."""

import statistics
import time

from roastlog.physics.roaster import Roaster
from tests.bench.report import Figure

TIMES, MINUTES = 9, 10


def measure() -> list[Figure]:
    """Ten minutes of a charged drum, a step a second."""
    took_ms = []
    for _ in range(TIMES):
        roaster = Roaster()
        roaster.warm_up()
        roaster.charge(4.0)
        begun_s = time.thread_time()
        for _ in range(60 * MINUTES):
            roaster.step()
        took_ms.append(1000 * (time.thread_time() - begun_s))
    return [Figure(f"{MINUTES} simulated minutes", statistics.median(took_ms), "ms CPU")]

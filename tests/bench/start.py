"""Time from the command to the first answer."""

import statistics
from pathlib import Path

from tests.bench.drumside import serving
from tests.bench.report import Figure
from tests.bench.running import bare_server

TIMES = 3


def measure(folder: Path) -> list[Figure]:
    """Start Drumside with an existing folder, and the bare server, in turns; the median of each."""
    ours, bare = [], []
    for _ in range(TIMES):
        with serving(folder) as server:
            ours.append(server.start_s)
        with bare_server() as server:
            bare.append(server.start_s)
    floor_is = "bare Flask on granian"
    return [Figure("command to /healthz", statistics.median(ours), "s", statistics.median(bare), floor_is, "≤ 2 s")]

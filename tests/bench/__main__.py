"""Measure everything, print it, and write bench-results.json: ``python -m tests.bench``, or with the names of parts.

Parts that fail are named and the others go on. Nothing is asserted: the bounds stand beside the figures.
"""

import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from tests.bench import archive, compare, memory, outlook, pages, rates, readings, start, taps
from tests.bench.drumside import serving, set_up
from tests.bench.report import Figure, show, write
from tests.bench.running import ROOT, bare_server

RESULTS = ROOT / "bench-results.json"


def main(asked: list[str]) -> int:
    """Run the parts that were asked for, or all; 1 when one could not be measured."""
    figures: list[Figure] = []
    failed: list[str] = []
    with set_up() as folder:
        for name, part in _parts(folder).items():
            if asked and name not in asked:
                continue
            print(f"measuring {name} …", file=sys.stderr, flush=True)
            begun_s = time.perf_counter()
            try:
                figures += part()
            except Exception as error:  # noqa: BLE001 - one part that fails must not take the others with it
                traceback.print_exc()
                failed.append(f"{name}: {error}")
            print(f"  {time.perf_counter() - begun_s:.0f} s", file=sys.stderr, flush=True)
    show(figures, failed)
    write(figures, failed, RESULTS)
    return 1 if failed else 0


def _parts(folder: Path) -> dict[str, Callable[[], list[Figure]]]:
    def with_both(measure: Callable[..., list[Figure]]) -> Callable[[], list[Figure]]:
        def run() -> list[Figure]:
            with serving(folder) as ours, bare_server() as bare:
                return measure(ours, bare)

        return run

    return {
        "start": lambda: start.measure(folder),
        "taps": with_both(taps.measure),
        "readings": with_both(readings.measure),
        "pages": with_both(pages.measure),
        "memory": memory.measure,
        "archive": archive.measure,
        "compare": compare.measure,
        "rates": rates.measure,
        "outlook": outlook.measure,
    }


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""Measure, print the results, and write bench-results.json: ``python -m tests.bench``, or with the names of parts.

With ``--record TITLE`` the run adds a row to docs/figures.md; without names it then runs the standard set, which
leaves out measures of accuracy. A part that fails is named and the others continue. Nothing is asserted: the bounds
are printed beside the figures.
"""

import argparse
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.bench import (
    archive,
    compare,
    first_tap,
    html,
    ledger,
    memory,
    openings,
    outlook,
    pages,
    plan,
    rates,
    readings,
    record,
    simulation,
    start,
    taps,
)
from tests.bench.drumside import serving, set_up
from tests.bench.report import Figure, show, write
from tests.bench.running import ROOT, bare_server

RESULTS = ROOT / "bench-results.json"
NOT_STANDARD = {"rates", "outlook", "plan", "ledger"}
FEW_BATCHES = 6_000  # an archive of this size is filled in half a minute


def main(words: Sequence[str]) -> int:
    """Run the parts that were named, or all; returns 1 if one could not be measured."""
    figures: list[Figure] = []
    failed: list[str] = []
    parser = argparse.ArgumentParser(prog="python -m tests.bench")
    parser.add_argument("parts", nargs="*", help="names of parts; all when none is named")
    parser.add_argument("--record", metavar="TITLE", help="add the run to docs/figures.md under a title")
    asked = parser.parse_args(words)
    with set_up() as folder:
        parts = _parts(folder, archive.BATCHES if asked.record is None else FEW_BATCHES)
        if unknown := set(asked.parts) - parts.keys():
            parser.error(f"there is no {', '.join(sorted(unknown))}; there is {', '.join(parts)}")
        wanted = asked.parts or [name for name in parts if asked.record is None or name not in NOT_STANDARD]
        for name in wanted:
            print(f"measuring {name} …", file=sys.stderr, flush=True)
            begun_s = time.perf_counter()
            try:
                figures += parts[name]()
            except Exception as error:  # noqa: BLE001 - one part that fails must not take the others with it
                traceback.print_exc()
                failed.append(f"{name}: {error}")
            print(f"  {time.perf_counter() - begun_s:.0f} s", file=sys.stderr, flush=True)
    show(figures, failed)
    write(figures, failed, RESULTS)
    if asked.record is not None:
        record.add_row(figures, asked.record)
    return 1 if failed else 0


def _parts(folder: Path, batches: int) -> dict[str, Callable[[], list[Figure]]]:
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
        "html": with_both(html.measure),
        "first_tap": with_both(first_tap.measure),
        "openings": with_both(openings.measure),
        "memory": memory.measure,
        "archive": lambda: archive.measure(batches),
        "compare": compare.measure,
        "rates": rates.measure,
        "outlook": outlook.measure,
        "simulation": simulation.measure,
        "ledger": ledger.measure,
        "plan": plan.measure,
    }


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

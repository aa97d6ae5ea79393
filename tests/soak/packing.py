"""A packing program, killed at random moments: every stored reading is there, packed or not."""

import os
import random
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

from roastlog.store import readings
from roastlog.store.backups import FILE_NAME
from roastlog.store.readings import SLOT_MS
from tests.checkout import ROOT
from tests.soak import sealer


def kill_packing(folder: Path, count: int, rng: random.Random) -> tuple[int, int]:
    """Number of readings stored in the end, and number of acknowledged ones that were ever missing or wrong."""
    missing = kept = 0
    for _ in range(count):
        acknowledged = _killed(folder, rng.uniform(0.02, 0.6))
        with closing(sqlite3.connect(folder / FILE_NAME)) as connection:
            rows = dict(readings.rows_between(connection, "drum-4", 0, sealer.START_MS + 9 * SLOT_MS))
        expected = dict(map(sealer.instant, range(acknowledged)))
        missing += sum(rows.get(at_ms) != values for at_ms, values in expected.items())
        kept = len(rows)
    return kept, missing


def _killed(folder: Path, after_s: float) -> int:
    """Let it run for a while after its first line, and kill it; returns the last number that it printed."""
    command = [sys.executable, sealer.__file__ or "", str(folder)]
    about = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=about) as process:
        assert process.stdout is not None
        said = process.stdout.readline()
        time.sleep(after_s)
        process.kill()
        lines = [said, *process.stdout.read().splitlines(keepends=True)]
    return int([line for line in lines if line.endswith("\n")][-1])

"""Serve the bare app by granian alone: WSGI, one worker, 64 threads. ``python -m tests.bench.bare PORT``."""

import sys

from granian import Granian
from granian.constants import Interfaces

if __name__ == "__main__":
    Granian(
        "tests.bench.bare.app:app",
        address="127.0.0.1",
        port=int(sys.argv[1]),
        interface=Interfaces.WSGI,
        workers=1,
        blocking_threads=64,
        workers_kill_timeout=1,
        log_enabled=False,
    ).serve()

"""A server whose wall clock is set by hand, by libfaketime; its monotonic clocks stay true.

The library reaches only a process that starts with it, so the launcher cannot fork such a server.
"""

import http.client
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final
from urllib.parse import urlencode

from roastlog.clock import Clock
from roastlog.services import open_services
from tests.checkout import ROOT
from tests.conftest import SHEET
from tests.recording.test_hub import until
from tests.recording.test_restart import PATIENCE_S, Server
from tests.soak import faketime

MINUTE_S, HOUR_S, DAY_S = 60, 3600, 86_400
YEAR_S: Final = 366 * DAY_S


class SteppedServer(Server):
    """A server whose wall clock is set by hand, with a machine whose readings are pushed."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder / "data")
        self.folder.mkdir(mode=0o700)
        self._lead, self.log = folder / "lead", folder / "server.log"
        self.set_wall(0)
        with closing(open_services(self.folder, Clock())) as services:
            services.machines.keep_sheet(SHEET)

    def start(self) -> None:
        """Start it and wait until it answers."""
        stepped = {
            "LD_PRELOAD": str(faketime.LIBRARY),
            "FAKETIME_TIMESTAMP_FILE": str(self._lead),
            "FAKETIME_NO_CACHE": "1",
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            "FAKETIME_FORCE_MONOTONIC_FIX": "0",  # else each wait for Python's lock returns at once and is repeated
            "NO_FAKE_STAT": "1",  # else no compiled module fits its source
        }
        words = [sys.executable, "app.py", "serve", "--data", str(self.folder), "--port", str(self.port)]
        with self.log.open("ab") as out:
            self.process = subprocess.Popen(
                words, cwd=ROOT, env=os.environ | stepped, stdout=out, stderr=out, start_new_session=True
            )
        until(lambda: self.healthy, PATIENCE_S)

    def set_wall(self, lead_s: float) -> None:
        """Set its wall clock to so much ahead of the true time, at once."""
        half = self._lead.with_suffix(".new")
        half.write_text(f"{lead_s:+.0f}", encoding="ascii")
        half.replace(self._lead)

    def lead_s(self) -> float:
        """How far its own clock is ahead of the true time. [s]"""
        return float(self.ask("GET", "/api/clock")[1]["now_ms"]) / 1000 - time.time()

    def page(self, path: str, form: dict[str, str] | None = None, *, cookie: str | None = None) -> tuple[int, str, str]:
        """Open a page or send a form, as the owner here, or from elsewhere with a cookie, which may be empty.

        Returns
        -------
        status, cookie, page
        """
        headers = {} if cookie is None else {"Cookie": cookie, "X-Forwarded-For": "192.0.2.7"}
        headers |= {"Content-Type": "application/x-www-form-urlencoded"} if form is not None else {}
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)) as connection:
            body = None if form is None else urlencode(form)
            connection.request("GET" if form is None else "POST", path, body, headers)
            answer = connection.getresponse()
            given = (answer.getheader("Set-Cookie") or "").partition(";")[0]
            return answer.status, given, answer.read().decode()

    def code(self) -> str:
        """A new pairing code, as the owner is shown it."""
        page = self.page("/devices/invite", {"role": "operate"})[2]
        found = re.search(r'id="code"[^>]*>\s*([\d ]+?)\s*<', page)
        if found is None:
            raise RuntimeError(f"no code was shown: {page[:300]}")
        return found[1]


@contextmanager
def stepped_server(folder: Path) -> Iterator[SteppedServer]:
    """A running server; it is killed in the end."""
    server = SteppedServer(folder)
    try:
        server.start()
        yield server
    finally:
        server.end()

"""Starts servers in no time: each is a fork of a process that has imported Drumside, which costs more than a test does.

`python -m tests.launcher` reads a request a line from its standard input and answers each with a line:
``{"start": [words of the command], "out": file, "err": file, "folder": where, "drawn": true}`` with the number of the
process, ``{"ended": number}`` with its exit status, or null while it runs. Without ``drawn`` BokehJS is a stub whose
charts are for ever about to be drawn: to run it costs a page more than all else on it.
"""

import gc
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from functools import cache
from pathlib import Path
from typing import Any, Final

from roastlog.web.http import assets
from tests.checkout import ROOT
from tests.kept import keep_templates

STUB: Final = str(Path(__file__).with_name("undrawn.js"))


class Launched:
    """A command of ours that the launcher started, with as much of `subprocess.Popen` as the tests need."""

    def __init__(
        self, words: list[str], out: Path, err: Path | None = None, *, folder: Path = ROOT, drawn: bool = True
    ) -> None:
        places = {"out": str(out), "err": str(err or out), "folder": str(folder)}
        self.pid: int = _ask({"start": words, **places, "drawn": drawn})
        self.returncode: int | None = None

    def poll(self) -> int | None:
        """Its exit status; None while it runs."""
        if self.returncode is None:
            self.returncode = _ask({"ended": self.pid})
        return self.returncode

    def wait(self, timeout: float) -> int:
        """Its exit status, once it has ended."""
        until_s = time.monotonic() + timeout
        while (status := self.poll()) is None:
            if time.monotonic() > until_s:
                raise subprocess.TimeoutExpired("drumside", timeout)
            time.sleep(0.02)
        return status

    def terminate(self) -> None:
        """Ask it to end, as a service manager does."""
        os.kill(self.pid, signal.SIGTERM)

    def kill(self) -> None:
        """End it at once."""
        os.kill(self.pid, signal.SIGKILL)


def run(words: list[str], folder: Path) -> "subprocess.CompletedProcess[str]":
    """Run a command in a folder, to its end."""
    with tempfile.TemporaryDirectory() as kept:
        out, err = Path(kept) / "out", Path(kept) / "err"
        status = Launched(words, out, err, folder=folder).wait(60)
        return subprocess.CompletedProcess(words, status, out.read_text("utf-8"), err.read_text("utf-8"))


@cache
def _launcher() -> "subprocess.Popen[str]":
    """The launcher of this process; it ends with it, when its standard input does."""
    words = [sys.executable, "-m", "tests.launcher"]
    return subprocess.Popen(words, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def _ask(request: dict[str, Any]) -> Any:  # noqa: ANN401 - JSON
    launcher = _launcher()
    assert launcher.stdin is not None
    assert launcher.stdout is not None
    launcher.stdin.write(json.dumps(request) + "\n")
    launcher.stdin.flush()
    return json.loads(launcher.stdout.readline())


def _start(words: list[str], out: str, err: str, folder: str, *, drawn: bool) -> int:
    """Fork a command; the number of its process. In that process it does not return."""
    process = os.fork()
    if process != 0:
        return process
    os.setsid()  # an interrupt of the tests is not for it
    os.chdir(folder)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    for number, path in ((1, out), (2, err)):
        os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND), number)
    if not drawn:
        assets._VENDOR["bokeh"] = undrawn()
    commands.main(words)
    sys.exit(0)


def undrawn() -> tuple[str, str, str]:
    """The stub in place of BokehJS; a path that is absolute stays as it is when it is looked up inside a package."""
    package, folder, _ = assets._VENDOR["bokeh"]
    return package, folder, STUB


def _ended(process: int) -> int | None:
    found, status = os.waitpid(process, os.WNOHANG)
    return None if found == 0 else os.waitstatus_to_exitcode(status)


def _warm_up() -> None:
    """Make once what each server makes for its first live page and then keeps in memory, such as compressed files."""
    from roastlog.clock import Clock
    from roastlog.services import open_services
    from roastlog.web.app import create_app
    from roastlog.web.public.install import kept_files

    with tempfile.TemporaryDirectory() as folder:
        services = open_services(Path(folder) / "data", Clock())
        client = create_app(services).test_client()
        assert client.post("/machines/practice", follow_redirects=True).status_code == 200
        for address in kept_files():
            assert client.get(address, headers={"Accept-Encoding": "gzip"}).status_code == 200
        services.close()
    assert threading.active_count() == 1, threading.enumerate()  # a fork has but one


if __name__ == "__main__":
    import granian  # noqa: F401 - what a server imports once it starts

    import demo.run  # noqa: F401
    import roastlog.plot.figures
    import roastlog.web.server  # noqa: F401
    from roastlog import commands

    keep_templates()
    _warm_up()
    gc.freeze()  # a fork collects none of it, which would copy it
    for line in sys.stdin:
        request = json.loads(line)
        if "start" in request:
            answer: int | None = _start(request.pop("start"), **request)
        else:
            answer = _ended(request["ended"])
        print(json.dumps(answer), flush=True)

"""Starts servers in no time: each is a fork of a process that has imported Drumside, which costs more than a test does.

`python -m tests.browser.launcher` reads a request a line from its standard input and answers each with a line:
``{"start": [words of the command], "log": file, "drawn": true}`` with the number of the process, ``{"ended": number}``
with its exit status, or null while it runs. Without ``drawn`` BokehJS is a stub whose charts are for ever about to be
drawn: to run it costs a page more than all else on it.
"""

import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any, Final

from flask import Flask
from jinja2 import FileSystemBytecodeCache

from tests.checkout import ROOT

STUB: Final = str(Path(__file__).with_name("undrawn.js"))


class Launched:
    """A server that the launcher started, with as much of `subprocess.Popen` as the tests need."""

    def __init__(self, words: list[str], log: Path, *, drawn: bool) -> None:
        self.pid: int = _ask({"start": words, "log": str(log), "drawn": drawn})

    def poll(self) -> int | None:
        """Its exit status; None while it runs."""
        ended: int | None = _ask({"ended": self.pid})
        return ended


@cache
def _launcher() -> "subprocess.Popen[str]":
    """The launcher of this process; it ends with it, when its standard input does."""
    words = [sys.executable, "-m", "tests.browser.launcher"]
    return subprocess.Popen(words, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def _ask(request: dict[str, Any]) -> Any:  # noqa: ANN401 - JSON
    launcher = _launcher()
    assert launcher.stdin is not None
    assert launcher.stdout is not None
    launcher.stdin.write(json.dumps(request) + "\n")
    launcher.stdin.flush()
    return json.loads(launcher.stdout.readline())


def _start(words: list[str], log: str, *, drawn: bool) -> int:
    """Fork a server; the number of its process. In that process it does not return."""
    from roastlog import commands
    from roastlog.web.http import assets

    process = os.fork()
    if process != 0:
        return process
    os.setsid()  # an interrupt of the tests is not for it
    for file, flags, number in ((os.devnull, os.O_RDONLY, 0), (log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 1)):
        os.dup2(os.open(file, flags), number)
    os.dup2(1, 2)
    if not drawn:  # a path that is absolute stays as it is when it is looked up inside a package
        assets._VENDOR["bokeh"] = (*assets._VENDOR["bokeh"][:2], STUB)
    commands.main(words)
    sys.exit(0)


def _ended(process: int) -> int | None:
    found, status = os.waitpid(process, os.WNOHANG)
    return None if found == 0 else os.waitstatus_to_exitcode(status)


if __name__ == "__main__":
    import granian  # noqa: F401 - what a server imports once it starts

    import roastlog.plot.figures
    import roastlog.web.app
    import roastlog.web.server  # noqa: F401

    templates = ROOT / ".cache" / "templates"
    templates.mkdir(parents=True, exist_ok=True)
    Flask.jinja_options = {"bytecode_cache": FileSystemBytecodeCache(str(templates))}
    for line in sys.stdin:
        request = json.loads(line)
        if "start" in request:
            answer: int | None = _start(request["start"], request["log"], drawn=request["drawn"])
        else:
            answer = _ended(request["ended"])
        print(json.dumps(answer), flush=True)

"""The wheel: built, installed outside of the checkout, and run."""

import os
import re
import subprocess
import sys
import time
import venv
from collections.abc import Iterator
from email import message_from_bytes
from http.client import HTTPConnection
from pathlib import Path
from zipfile import ZipFile

import pytest

from roastlog import __version__
from tests.checkout import ROOT, own_files
from tests.ports import held_port


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built by the installed backend: nothing is downloaded."""
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return next(folder.glob("*.whl"))


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Scripts of an environment with the installed wheel; its dependencies are those of this environment."""
    home = tmp_path_factory.mktemp("installed")
    venv.create(home, with_pip=False)
    python = home / ("bin/python" if os.name == "posix" else "Scripts/python.exe")
    command = ["-m", "pip", "--python", str(python), "install", "--quiet", "--no-deps", "--no-index", str(wheel)]
    subprocess.run([sys.executable, *command], check=True, capture_output=True)
    shown = subprocess.run(
        [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], capture_output=True, check=True
    )
    # Packages of this environment come last, and without its .pth files, which would lead back to the checkout.
    site = Path(shown.stdout.decode().strip())
    (site / "others.pth").write_text(str(Path(pytest.__file__).parents[1]), encoding="utf-8")
    return python.parent


@pytest.fixture(scope="module")
def served(installed: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """The installed command, serving an empty folder from outside the repository; its port."""
    away = tmp_path_factory.mktemp("away")
    port = held_port()
    with subprocess.Popen(
        [installed / "drumside", "serve", "--data", away / "data", "--port", str(port)],
        cwd=away,
        stdout=subprocess.DEVNULL,
        env=without_python_paths(),
    ) as process:
        try:
            until_s = time.monotonic() + 30
            while not answers(port):
                assert process.poll() is None, "it ended by itself"
                assert time.monotonic() < until_s, "it never answered"
                time.sleep(0.05)
            yield port
        finally:
            process.terminate()
            process.wait(15)


def without_python_paths() -> dict[str, str]:
    """The environment without variables that would let Python find the checkout."""
    return {name: value for name, value in os.environ.items() if name not in {"PYTHONPATH", "PYTHONHOME"}}


def get(port: int, path: str) -> tuple[int, str]:
    """GET over loopback: status and text."""
    connection = HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, answer.read().decode(errors="replace")  # an icon has no text
    finally:
        connection.close()


def answers(port: int) -> bool:
    """Whether Drumside answers there."""
    try:
        return get(port, "/healthz")[0] == 200
    except OSError:
        return False


def test_wheel_holds_templates_static_files_and_demo(wheel: Path):
    """Every committed template, static file and demo file is inside the package, and nothing is beside it."""
    with ZipFile(wheel) as archive:
        inside = set(archive.namelist())
    outside = {path.relative_to(ROOT) for path in own_files()}
    wanted = {f"roastlog/{path.as_posix()}" for path in outside if path.parts[0] in {"templates", "static", "demo"}}
    wanted |= {path.as_posix() for path in outside if path.parts[0] == "roastlog"}
    assert len(wanted) > 100
    assert wanted <= inside
    assert {name.split("/")[0] for name in inside} == {"roastlog", f"drumside-{__version__}.dist-info"}


def test_wheel_has_its_metadata(wheel: Path):
    """The wheel's metadata has version, licence and minimum Python."""
    with ZipFile(wheel) as archive:
        told = message_from_bytes(archive.read(f"drumside-{__version__}.dist-info/METADATA"))
    assert (told["Name"], told["Version"], told["License-Expression"]) == ("drumside", __version__, "MIT")
    assert told["Requires-Python"] == ">=3.11"


def test_installed_command_runs_from_anywhere(installed: Path, tmp_path: Path):
    """`drumside` prints its version and knows the demo, from a folder outside the repository."""
    for arguments in (["--version"], ["demo", "--help"]):
        command = [installed / "drumside", *arguments]
        done = subprocess.run(
            command, cwd=tmp_path, env=without_python_paths(), capture_output=True, text=True, check=True
        )
        assert done.stdout.startswith((f"Drumside {__version__}", "usage: drumside demo"))
    code = "from roastlog.demo import run, roaster; print(roaster.__name__, roaster.__file__)"
    command = [installed / "python", "-c", code]
    done = subprocess.run(command, cwd=tmp_path, env=without_python_paths(), capture_output=True, text=True, check=True)
    assert done.stdout.startswith("roastlog.demo.roaster ")
    assert str(ROOT) not in done.stdout


def test_installed_command_serves_pages_and_static_files(served: int):
    """On an empty folder it serves the first page, with its style sheet, its scripts and htmx."""
    status, page = get(served, "/")
    assert status == 200
    assert "Set up by form" in page
    addresses = re.findall(r'(?:href|src)="(/(?:static|vendor)/[^"]+)"', page)
    assert len(addresses) >= 4
    assert {address: get(served, address)[0] for address in addresses} == dict.fromkeys(addresses, 200)

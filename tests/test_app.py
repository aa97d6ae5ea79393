"""app.py without its packages, as in a fresh clone."""

import subprocess
import sys

import pytest

from tests.checkout import ROOT


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_without_its_packages_it_says_in_two_lines_what_to_type(command: str):
    """No traceback, and the commands that set them up."""
    bare = [sys.executable, "-S", "-E", str(ROOT / "app.py"), command]  # without site-packages
    run = subprocess.run(bare, capture_output=True, text=True, timeout=60, check=False, cwd=ROOT)
    assert run.returncode == 1
    assert "Traceback" not in run.stderr
    assert len(run.stderr.splitlines()) == 2
    assert "make demo" in run.stderr

"""The checkout in which the tests run."""

import subprocess
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[1]


def own_files() -> list[Path]:
    """Files in git, committed or new, without deleted ones."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, check=True).stdout.decode()
    return [path for path in (ROOT / name for name in told.split("\0") if name) if path.is_file()]

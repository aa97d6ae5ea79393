"""Files and folders that only their owner may open."""

import os
import stat
from pathlib import Path
from typing import Final

UMASK: Final = 0o077  # new files are 0600, new folders 0700


def tighten(path: Path) -> bool:
    """Close a file or folder of ours to other users; whether it was open to them."""
    if os.name != "posix":
        return False  # elsewhere a folder passes its rights on, and the bits of a mode mean nothing
    found = path.stat()
    if found.st_uid != os.geteuid() or not stat.S_IMODE(found.st_mode) & UMASK:
        return False
    path.chmod(0o700 if stat.S_ISDIR(found.st_mode) else 0o600)
    return True

"""The place of libfaketime, which sets the clocks of a process; `.ci/system` installs it."""

from pathlib import Path
from typing import Final

_FOLDERS: Final = ("/usr/lib", "/usr/lib64", "/usr/local/lib")
_FOUND: Final = (path for folder in _FOLDERS for path in Path(folder).glob("**/faketime/libfaketimeMT.so.1"))

LIBRARY: Final = next(_FOUND, None)
"""The library for programs with threads; None where it is not installed."""
MISSING: Final = None if LIBRARY else "libfaketime (Debian: libfaketime) is not installed"

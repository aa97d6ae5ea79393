"""The SQLite database: one writing thread, many readers."""

import sys

# sqlite-utils loads pandas where it is installed, to know its types when they are inserted, and we insert none. Without
# it the server starts half a second sooner and takes 45 MB less; whoever needs pandas loads it later.
if "pandas" not in sys.modules:
    sys.modules["pandas"] = None  # type: ignore[assignment]
    import sqlite_utils  # noqa: F401

    del sys.modules["pandas"]

"""The SQLite database: one writing thread, many readers."""

import sys

# sqlite-utils imports pandas where it is installed, to recognise its types on insert; we insert none. Without it the
# server starts half a second sooner and takes 45 MB less. Code that needs pandas can still import it later.
if "pandas" not in sys.modules:
    sys.modules["pandas"] = None  # type: ignore[assignment]
    import sqlite_utils  # noqa: F401

    del sys.modules["pandas"]

"""Drumside from a checkout: ``python app.py serve``, ``python app.py demo``, ``python app.py --help``."""

import sys

if __name__ == "__main__":
    try:
        from roastlog.commands import main

        main()
    except ModuleNotFoundError as missing:
        if (missing.name or "").partition(".")[0] in {"roastlog", "demo"}:
            raise
        sys.exit(
            f"This Python lacks {missing.name}, which Drumside needs.\n"
            "Type `make demo` or `make serve`: they set up what is needed, once. See README.md."
        )

"""Drumside from a checkout: ``python app.py serve``, ``python app.py demo``, ``python app.py --help``."""

from roastlog.commands import main

if __name__ == "__main__":
    main()

"""Drumside as `app.py` starts it, but BokehJS is a stub whose charts are for ever about to be drawn.

To run BokehJS costs a page more than all else on it. Run as `python -m tests.browser.undrawn serve …`.
"""

from pathlib import Path

from roastlog import commands
from roastlog.web.http import assets

if __name__ == "__main__":
    # A path that is absolute stays as it is when it is looked up inside a package.
    assets._VENDOR["bokeh"] = (*assets._VENDOR["bokeh"][:2], str(Path(__file__).with_suffix(".js")))
    commands.main()

"""Constants that a script and the package share, since a page that was cached has to draw by itself."""

import json
import re

import pytest

from roastlog import pictures
from roastlog.plot import overlays, panels
from tests.checkout import ROOT


@pytest.mark.parametrize(
    ("module", "name", "expected"),
    [
        ("core/figure/tiers.js", "TIERS", list(overlays._TIERS_Y)),
        ("core/figure/curve-figure.js", "TIER", pytest.approx(overlays._TIERS_Y[0] - overlays._TIERS_Y[1])),
        ("core/figure/text-width.js", "FONT", f"bold {panels.TYPE} {panels._FONT}"),
        ("core/photo.js", "LONG_SIDE_PX", pictures.LONG_SIDE_PX),
    ],
)
def test_a_script_has_the_constant_of_the_package(module: str, name: str, expected: object):
    """The value in the script is that of the package."""
    text = (ROOT / "static/js" / module).read_text(encoding="utf-8")
    (value,) = re.findall(rf"^(?:export )?const {name} = (.+?);", text, re.MULTILINE)
    assert json.loads(value) == expected

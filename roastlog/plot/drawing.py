"""A figure in two parts: what all figures of its kind share, which Bokeh makes once, and the data of this one.

Bokeh takes some hundred milliseconds to make the panels of a figure, and they are the same as long as channels,
controls, units and language are. So they are made with empty columns and kept as JSON; columns and the ends of axes go
beside them, and static/js/core/figure.js puts them in by the names of sources and ranges.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from bokeh.core.serialization import Serializer
from bokeh.embed import json_item
from bokeh.layouts import column
from bokeh.models import Plot
from numpy.typing import ArrayLike

from roastlog.jsonable import jsonable

KEPT: Final = 64  # figures of each kind: machines by units and languages
Columned = Mapping[str, ArrayLike]


@dataclass(frozen=True)
class Drawing:
    """A figure as it goes to the browser.

    Attributes
    ----------
    item
        Its panels with empty columns: the JSON of a Bokeh `json_item`.
    sources
        Columns by the name of their source.
    ranges
        Start and end of axes by the name of their range.
    """

    item: str
    sources: Mapping[str, Columned] = field(default_factory=dict)
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def json(self) -> str:
        """Both parts as JSON that may stand in a script element of a page."""
        encode = Serializer(deferred=False).encode
        sources = {name: encode(jsonable(dict(columns))).get("entries", []) for name, columns in self.sources.items()}
        return f'{{"item":{self.item},"data":{_text({"sources": sources, "ranges": self.ranges})}}}'


def panels_json(panels: Sequence[Plot]) -> str:
    """Panels one above the other, as the item of a drawing."""
    return _text(json_item(column(*panels, sizing_mode="stretch_width", spacing=0)))


def key_of(*shape: object) -> str:
    """What a figure looks like, in a word to keep it by: all that its panels are made of beside the data."""
    return json.dumps(shape, separators=(",", ":"))


def shape_of(key: str) -> list[Any]:
    """What was said to `key_of`."""
    shape: list[Any] = json.loads(key)
    return shape


def _text(value: object) -> str:
    """JSON without a character that could end a script element; such stand in strings alone."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", r"\u003c").replace(">", r"\u003e").replace("&", r"\u0026")

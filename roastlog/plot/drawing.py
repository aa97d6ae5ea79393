"""Figures as JSON in two parts: panels, which Bokeh makes once for all figures of a kind, and the data of one figure.

Bokeh takes some hundred milliseconds to make panels, which depend only on channels, controls, units and language. So
they are made with empty columns and cached as JSON. The columns and the ends of the axes are sent beside them, and
static/js/core/figure/figure.js inserts them by the names of sources and ranges.
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

KEPT: Final = 64  # cached panels of each kind: machines × units × languages
Columned = Mapping[str, ArrayLike]


@dataclass(frozen=True)
class Drawing:
    """A figure in the form that the browser receives.

    Attributes
    ----------
    item
        Panels with empty columns: the JSON of a Bokeh `json_item`.
    sources
        Columns by the name of their source.
    ranges
        Start and end of each axis by the name of its range.
    """

    item: str
    sources: Mapping[str, Columned] = field(default_factory=dict)
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def json(self) -> str:
        """Both parts as JSON that is safe inside a script element."""
        encode = Serializer(deferred=False).encode
        sources = {name: encode(jsonable(dict(columns))).get("entries", []) for name, columns in self.sources.items()}
        return f'{{"item":{self.item},"data":{_text({"sources": sources, "ranges": self.ranges})}}}'


def panels_json(panels: Sequence[Plot]) -> str:
    """Stacked panels, as the item of a drawing."""
    return _text(json_item(column(*panels, sizing_mode="stretch_width", spacing=0)))


def key_of(*shape: object) -> str:
    """Cache key of a figure's panels: all that they depend on."""
    return json.dumps(shape, separators=(",", ":"))


def shape_of(key: str) -> list[Any]:
    """The arguments of `key_of`."""
    shape: list[Any] = json.loads(key)
    return shape


def _text(value: object) -> str:
    """JSON without a character that could end a script element; such characters occur only in strings."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", r"\u003c").replace(">", r"\u003e").replace("&", r"\u0026")

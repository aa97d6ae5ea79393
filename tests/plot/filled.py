"""A drawing in the form that Bokeh receives: its data inserted into its item, as by static/js/core/figure/figure.js."""

import json
from collections.abc import Iterator
from typing import Any

from roastlog.plot.drawing import Drawing


def models(part: object) -> Iterator[dict[str, Any]]:
    """All models in an item, at any depth."""
    if isinstance(part, dict):
        if part.get("type") == "object" and "name" in part:
            yield part
        for value in part.values():
            yield from models(value)
    elif isinstance(part, list):
        for value in part:
            yield from models(value)


def filled(drawing: Drawing) -> dict[str, Any]:
    """The item with its sources and ranges filled."""
    drawn = json.loads(drawing.json())
    sources, ranges = drawn["data"]["sources"], drawn["data"]["ranges"]
    for model in models(drawn["item"]):
        attributes = model.get("attributes", {})
        name = attributes.get("name")
        if model["name"] == "ColumnDataSource" and name in sources:
            entries = dict(attributes["data"].get("entries", [])) | dict(sources[name])
            attributes["data"]["entries"] = [[column, values] for column, values in entries.items()]
        elif model["name"] == "Range1d" and name in ranges:
            attributes["start"], attributes["end"] = ranges[name]
    item: dict[str, Any] = drawn["item"]
    return item

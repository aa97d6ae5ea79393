"""The registry of kinds, one row each, by topic. It is the only list of them."""

from typing import Final

from roastlog.journal.kinds import bench, corrections, green, house, machine, packing, recall, roast, sales, stock
from roastlog.journal.kinds.base import Kind

_TOPICS: Final = (roast, bench, green, stock, packing, sales, recall, house, machine, corrections)
REGISTRY: Final[dict[str, Kind]] = {kind.name: kind for topic in _TOPICS for kind in topic.KINDS}


def corrects(name: str) -> bool:
    """Whether a kind is about another entry: undo, shift or amend."""
    return name in REGISTRY and REGISTRY[name].corrects


def shiftable(name: str) -> bool:
    """Whether pages offer to shift an entry of a kind in time."""
    return name in REGISTRY and REGISTRY[name].shiftable

"""The registry of kinds: a row each, by topic. Nothing else lists them."""

from typing import Final

from roastlog.journal.kinds import bench, corrections, green, house, machine, roast
from roastlog.journal.kinds.base import Kind

REGISTRY: Final[dict[str, Kind]] = {
    kind.name: kind for topic in (roast, bench, green, house, machine, corrections) for kind in topic.KINDS
}


def corrects(name: str) -> bool:
    """Whether a kind is about another entry: an undo, a shift, a correction."""
    return name in REGISTRY and REGISTRY[name].corrects


def shiftable(name: str) -> bool:
    """Whether pages offer to move an entry of a kind in time."""
    return name in REGISTRY and REGISTRY[name].shiftable

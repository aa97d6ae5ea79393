"""The tree of what came from what: lots, batches, blends, packs and customers, with the grams between them."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from roastlog.journal.fold import Account, Movement
from roastlog.journal.fold.movements import DRUM, ROASTED, SOLD


class Edge(NamedTuple):
    """Grams from one node to another, over all times."""

    source: Account
    target: Account
    grams: int


@dataclass(frozen=True)
class Tree:
    """Nodes that coffee went through, and the edges between them.

    A batch is one node, its loose coffee; what left it as loss, waste and the like ends at nodes without a name.
    """

    edges: tuple[Edge, ...]

    @property
    def nodes(self) -> frozenset[Account]:
        """All nodes with a name."""
        return frozenset(node for edge in self.edges for node in edge[:2] if node.name)

    def sources(self, node: Account) -> list[Edge]:
        """One step back: the edges that lead to a node."""
        return [edge for edge in self.edges if edge.target == node]

    def targets(self, node: Account) -> list[Edge]:
        """One step forward: the edges that lead away from a node."""
        return [edge for edge in self.edges if edge.source == node]


def node_of(account: Account) -> Account:
    """The node of an account: a batch in the drum and its loose coffee are one."""
    return Account(ROASTED, account.name) if account.kind == DRUM else account


def edges_of(movements: Iterable[Movement | Edge]) -> list[Edge]:
    """The edges between nodes that movements make, those within a node left out."""
    total_g: dict[tuple[Account, Account], int] = defaultdict(int)
    for one in movements:
        source, target = node_of(one.source), node_of(one.target)
        if source != target:
            total_g[source, target] += one.grams
    return [Edge(source, target, grams) for (source, target), grams in total_g.items()]


def forward(edges: Collection[Edge], starts: Iterable[Account]) -> Tree:
    """All that coffee of some nodes went into, as far as the customers.

    Nothing is followed beyond a customer: what one returned is not made of what the same one bought elsewhere.
    """
    return _reached(edges, starts, "source", "target")


def backward(edges: Collection[Edge], starts: Iterable[Account]) -> Tree:
    """All that the coffee of some nodes was made of, as far as the green lots."""
    return _reached(edges, starts, "target", "source")


def _reached(edges: Collection[Edge], starts: Iterable[Account], near: str, far: str) -> Tree:
    by_near: Mapping[Account, list[Edge]] = _grouped(edges, near)
    seen = {node_of(start) for start in starts}
    waiting, found = list(seen), []
    while waiting:
        for edge in by_near.get(waiting.pop(), ()):
            found.append(edge)
            node: Account = getattr(edge, far)
            if node not in seen and node.name and node.kind != SOLD:
                seen.add(node)
                waiting.append(node)
    return Tree(tuple(found))


def _grouped(edges: Iterable[Edge], end: str) -> Mapping[Account, list[Edge]]:
    grouped: dict[Account, list[Edge]] = defaultdict(list)
    for edge in edges:
        grouped[getattr(edge, end)].append(edge)
    return grouped

"""Trace: what any lot, batch, blend, pack or customer's coffee came from, and what it went into."""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from roastlog.errors import MistypedCode, NoSuchCode, NotACode
from roastlog.journal.fold import Account
from roastlog.journal.fold.movements import DRUM, GREEN, PACKED, ROASTED, SOLD
from roastlog.journal.subject import BATCH, BLEND, CUSTOMER, LOT, PACK, Subject
from roastlog.languages import _
from roastlog.store import ledger, stocks
from roastlog.store.store import Store
from roastlog.trace.codes import parse_pack, parse_source
from roastlog.trace.tree import Edge, Tree, edges_of, node_of

_ACCOUNTS: Final[Mapping[str, Sequence[str]]] = {
    LOT: (GREEN,),
    BATCH: (DRUM, ROASTED),
    BLEND: (ROASTED,),
    PACK: (PACKED,),
    CUSTOMER: (SOLD,),
}


@dataclass(frozen=True)
class Node:
    """A place in a tree. ``about`` names its subject, or is the word of an account such as loss.

    Attributes
    ----------
    about
        The subject, “lot HU-7”, or “loss” and the like.
    kind
        Kind of the subject; empty for an account without one.
    code
        Name of the subject; empty for an account without one.
    title
        Its coffee, product or customer; None where it has none, or it was erased.
    left_g
        Grams that are there now: green in stock, in the drum and loose, in bags on the shelf, with the customer. [g]
    """

    about: str
    kind: str
    code: str
    title: str | None
    left_g: int


@dataclass(frozen=True)
class Step:
    """Grams from one node to another, each by its ``about``. [g]"""

    source: str
    target: str
    grams: int


@dataclass(frozen=True)
class Trace:
    """A subject with its tree in both directions; ``sources`` and ``targets`` are the single steps."""

    about: str
    kind: str
    code: str
    title: str | None
    sources: tuple[Step, ...]
    targets: tuple[Step, ...]
    nodes: tuple[Node, ...]
    edges: tuple[Step, ...]

    def node(self, about: str) -> Node:
        """One of its nodes."""
        return next(node for node in self.nodes if node.about == about)


@dataclass(frozen=True)
class Posting:
    """A movement as the API gives it. [ms UTC, g]"""

    at_ms: int
    source: str
    target: str
    grams: int
    entry: str


@dataclass(frozen=True)
class Ledger:
    """Movements within a time, oldest first, and what accounts hold now. [g]"""

    movements: tuple[Posting, ...]
    balances: Mapping[str, int]
    more: bool


MOST_MOVEMENTS: Final = 5000
MOST_MS: Final = 2**53 - 1


class TraceService:
    """Answers questions to the ledger. Nothing here is stored."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def find(self, text: str) -> Subject:
        """The subject that a code names: of a lot, a batch, a blend, a pack or a customer; raises NoSuchCode."""
        known = stocks.named(self._store.read, text.strip())
        if known is not None:
            return known
        known = stocks.named(self._store.read, _canonical(text))
        if known is None:
            raise NoSuchCode(
                _("No lot, batch, blend or pack has the code “{code}”. Check it on the label.", code=text.strip()[:80])
            )
        return known

    def ledger(self, account: str = "", *, from_ms: int = 0, to_ms: int = MOST_MS) -> Ledger:
        """The movements of an account, or of all, from one time up to another, and the balances now. [ms UTC]"""
        read, asked = self._store.read, Account.parse(account) if account else None
        found = ledger.movements(read, asked, from_ms=from_ms, to_ms=to_ms, limit=MOST_MOVEMENTS + 1)
        held_g = ledger.balances(read) if asked is None else {asked: ledger.balance_g(read, asked)}
        return Ledger(
            movements=tuple(
                Posting(one.at_ms, str(one.source), str(one.target), one.grams, str(one.entry))
                for one in found[:MOST_MOVEMENTS]
            ),
            balances={str(name): grams for name, grams in held_g.items() if grams},
            more=len(found) > MOST_MOVEMENTS,
        )

    def trace(self, subject: Subject) -> Trace:
        """The tree of a subject, back to the green lots and forward to the customers."""
        starts = [Account(kind, subject.name) for kind in _ACCOUNTS[subject.kind]]
        tree = self._tree(starts, back=True, forward=True)
        start = node_of(starts[-1])
        nodes = self._nodes({start, *(node for edge in tree.edges for node in edge[:2])})
        return Trace(
            about=str(subject),
            kind=subject.kind,
            code=subject.name,
            title=nodes[start].title,
            sources=_steps(tree.sources(start), nodes),
            targets=_steps(tree.targets(start), nodes),
            nodes=tuple(nodes[node] for node in sorted(nodes)),
            edges=_steps(tree.edges, nodes),
        )

    def affected(self, subjects: Iterable[Subject]) -> frozenset[Account]:
        """The nodes of some subjects, and of all that came from them, as far as the customers."""
        starts = [Account(kind, subject.name) for subject in subjects for kind in _ACCOUNTS[subject.kind]]
        return self._tree(starts, back=False, forward=True).nodes | {node_of(start) for start in starts}

    def _tree(self, starts: Sequence[Account], *, back: bool, forward: bool) -> Tree:
        read = self._store.read
        edges: dict[Edge, None] = {}  # in order, each once
        if back:
            edges |= dict.fromkeys(ledger.reached(read, starts, back=True))
        if forward:
            edges |= dict.fromkeys(ledger.reached(read, starts))
        return Tree(tuple(edges_of(edges)))

    def _nodes(self, accounts: Iterable[Account]) -> dict[Account, Node]:
        """The nodes of accounts, with their titles and what is left there."""
        named = [account for account in accounts if account.name]
        titles = stocks.titles(self._store.read, named)
        drums = [Account(DRUM, node.name) for node in named if node.kind == ROASTED]
        left_g = ledger.held_g(self._store.read, [*named, *drums])
        found = {}
        for account in accounts:
            kind = titles[account].kind if account in titles else ""
            grams = left_g.get(account, 0) + (left_g.get(Account(DRUM, account.name), 0) if kind == BATCH else 0)
            found[account] = Node(
                about=str(Subject(kind, account.name)) if kind else str(account),
                kind=kind,
                code=account.name,
                title=titles[account].title if account in titles else None,
                left_g=grams,
            )
        return found


def _canonical(text: str) -> str:
    """The code of a pack, a batch or a blend as it is stored, else the text in capitals; raises NoSuchCode."""
    try:
        with suppress(NotACode):
            return parse_pack(text)
        with suppress(NotACode):
            return parse_source(text).code
    except MistypedCode as error:
        raise NoSuchCode(str(error)) from None
    return text.strip().upper()


def _steps(edges: Iterable[Edge], nodes: Mapping[Account, Node]) -> tuple[Step, ...]:
    return tuple(Step(nodes[edge.source].about, nodes[edge.target].about, edge.grams) for edge in edges)
